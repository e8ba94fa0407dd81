"""A catchment: the ground that drains to one place, by curve number."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.curve_number import (
    AS_PUBLISHED,
    Condition,
    RunoffRule,
    runoff_from_retention,
)
from terrain.runoff.hydrograph import STANDARD_PEAK_FACTOR, arriving, in_steps
from terrain.runoff.loss_on_the_way import Delivery
from terrain.runoff.travel_time import LAG_SHARE, LEAST_CONCENTRATION, Reach, lag_hours
from terrain.surface.terrain import Cells, Terrain, picked

#: Flatter ground is reckoned at this slope in the lag equation; common practice, no source. [m/m]
LEAST_SLOPE = 0.005


@dataclass(frozen=True)
class Catchment:
    """Ground that drains to a point, line or store.

    Runoff is summed over cells; cells of the same curve number are kept as one area, so
    the sum is the same as cell by cell for any storm.

    Attributes
    ----------
    curve_numbers : float64, shape (k,)
        The different curve numbers in it, for average wetness and 0.2 S. [-]
    areas : float64, shape (k,)
        Their areas. [m2]
    run_on_areas : float64, shape (k,)
        The part of each that lies beyond the boundary. [m2]
    longest_path : float
        Longest flow path in it. [m]
    slope : float
        Mean slope. [m/m]
    touches_edge : bool
        It reaches the border of the known ground, so it may be larger.
    at_risk : float
        The part of it that water from beyond that border would cross. [m2]
    along_edge : float
        The part of it whose water comes along that border, where ground beyond may take it. [m2]
    cut_by_hole : bool
        It reaches holes in the raster only, not the raster's own edge.
    rule : RunoffRule
        How its curve numbers become runoff.
    reaches : tuple of Reach
        The pieces of its longest path; empty where travel time goes by the lag equation alone.
    by_segments : bool
        Whether the time of concentration is that of the reaches.
    peak_factor : float
        Peak rate factor of its unit hydrograph.
    rational_c : float
        Its mean coefficient in the rational method; NaN where cover or soil is not known.
    delivery : Delivery or None
        What arrives of its ground's runoff where some soaks in on the way; None: all of it.
    direct : bool, shape (k,)
        Which of its parts lie in a store itself, the store's water surface and the ground under
        it, so that their runoff has no way to go; all False where left out.
    """

    curve_numbers: NDArray[np.float64]
    areas: NDArray[np.float64]
    run_on_areas: NDArray[np.float64]
    longest_path: float = 0.0
    slope: float = 0.05
    touches_edge: bool = False
    at_risk: float = 0.0
    along_edge: float = 0.0
    cut_by_hole: bool = False
    rule: RunoffRule = AS_PUBLISHED
    reaches: tuple[Reach, ...] = ()
    by_segments: bool = False
    peak_factor: float = STANDARD_PEAK_FACTOR
    rational_c: float = float("nan")
    delivery: Delivery | None = None
    direct: NDArray[np.bool_] | None = None

    @cached_property
    def _retention(self) -> NDArray[np.float64]:
        """Of each of its curve numbers, by its rule. [mm]"""
        return self.rule.retention(self.curve_numbers)

    @property
    def ground(self) -> Catchment:
        """Its ground outside the store itself, with all of its runoff."""
        areas, beyond = (self._outside(part) for part in (self.areas, self.run_on_areas))
        return replace(self, areas=areas, run_on_areas=beyond, delivery=None, direct=None)

    def _outside(self, areas: NDArray[np.float64]) -> NDArray[np.float64]:
        return areas if self.direct is None else np.where(self.direct, 0.0, areas)

    @property
    def area(self) -> float:
        """All of it. [m2]"""
        return float(self.areas.sum())

    @property
    def run_on_area(self) -> float:
        """The part beyond the boundary. [m2]"""
        return float(self.run_on_areas.sum())

    @property
    def mean_curve_number(self) -> float:
        """Area-weighted curve number of its ground outside a store; for show and for the lag, not
        for the runoff. [-]"""
        areas = self._outside(self.areas)
        if not areas.sum():
            return np.nan
        # Rounding alone may carry the mean of equal numbers past them, and so past 100.
        return min(float((self.curve_numbers * areas).sum() / areas.sum()),
                   float(self.curve_numbers.max()))

    @property
    def starts_at(self) -> float:
        """The smallest rain that makes some of it shed water. [mm]

        Rain on a store's own surface aside, where there is other ground.
        """
        water = (np.zeros(self.areas.size, bool) if self.direct is None
                 else self.direct & (self.curve_numbers == 100))
        ground = self.curve_numbers[(self.areas > 0) & ~water]
        if ground.size:
            return float(self.rule.starts_at(ground.max()))
        return 0.0 if self.area else float("inf")

    @property
    def concentration_by_lag(self) -> float:
        """Time of concentration by the watershed lag equation. [h]"""
        if not np.isfinite(self.mean_curve_number) or self.longest_path <= 0:
            return 0.0
        return lag_hours(self.longest_path, self.mean_curve_number,
                         max(self.slope, LEAST_SLOPE)) / LAG_SHARE

    @property
    def concentration_by_segments(self) -> float | None:
        """Time of concentration by the pieces of its longest path; None where not reckoned. [h]"""
        return sum(reach.hours for reach in self.reaches) if self.reaches else None

    @property
    def concentration(self) -> float:
        """The time of concentration that is used, `LEAST_CONCENTRATION` or more. [h]"""
        by_segments = self.concentration_by_segments
        return max(by_segments if self.by_segments and by_segments is not None
                   else self.concentration_by_lag, LEAST_CONCENTRATION)

    @property
    def lag(self) -> float:
        """Lag from rain excess to peak. [h]"""
        return LAG_SHARE * self.concentration

    def under(self, condition: Condition) -> Catchment:
        """The same ground in another antecedent runoff condition."""
        return replace(self, rule=replace(self.rule, condition=condition))

    def runoff(self, rain: float) -> float:
        """Runoff of a storm of `rain` mm. [m3]"""
        return float(self.runoff_volumes(np.array([rain]))[0])

    def run_on(self, rain: float) -> float:
        """The part of `runoff` that comes from beyond the boundary. [m3]"""
        return float(self.run_on_volumes(np.array([rain]))[0])

    def runoff_volumes(self, rain: NDArray[np.float64]) -> NDArray[np.float64]:
        """Runoff of each of several depths, or of cumulative rain. [m3]"""
        return self.arriving_of(self._depths(rain))

    def run_on_volumes(self, rain: NDArray[np.float64]) -> NDArray[np.float64]:
        """The part of `runoff_volumes` that comes from beyond the boundary. [m3]"""
        return self.run_on_of(self._depths(rain))

    def volumes(self, rain: NDArray[np.float64]
                ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """`runoff_volumes` and `run_on_volumes` of the same rain. [m3]"""
        depths = self._depths(rain)
        return self.arriving_of(depths), self.run_on_of(depths)

    def made(self, depths: NDArray[np.float64]) -> NDArray[np.float64]:
        """Volume of runoff depths, shape (n, k), one column for each curve number. [m3]"""
        return np.asarray(depths @ self.areas / 1000)

    def arriving_of(self, depths: NDArray[np.float64]) -> NDArray[np.float64]:
        """What arrives of runoff depths, shape (n, k). [m3]"""
        made = self.made(depths)
        if self.delivery is None:
            return made
        ground = np.asarray(depths @ self._outside(self.areas) / 1000)
        return made - ground + self.delivery.arriving(ground)

    def run_on_of(self, depths: NDArray[np.float64]) -> NDArray[np.float64]:
        """The part of `arriving_of` that comes from beyond the boundary. [m3]"""
        made = np.asarray(depths @ self.run_on_areas / 1000)
        if self.delivery is None:
            return made
        outside = np.asarray(depths @ self._outside(self.run_on_areas) / 1000)
        ground = np.asarray(depths @ self._outside(self.areas) / 1000)
        return made - outside + self.delivery.run_on(ground)

    def runoff_by_mean_number(self, rain: float) -> float:
        """Runoff of its ground outside a store by the weighted curve number, for comparison with
        that of `ground`. [m3]"""
        if not np.isfinite(self.mean_curve_number):
            return 0.0
        area = float(self._outside(self.areas).sum())
        return float(self.rule.runoff(rain, self.mean_curve_number)) * area / 1000

    def hydrograph(self, rain: NDArray[np.float64], step: float) -> NDArray[np.float64]:
        """Volume that arrives in each step of a storm, and after it. [m3]

        Parameters
        ----------
        rain : float64, shape (steps,)
            Cumulative. [mm]
        step : float
            [h]
        """
        if not self.area:
            return np.zeros(rain.size)
        made = in_steps(self.runoff_volumes(rain))
        return arriving(made, self.lag, step, self.peak_factor)

    def _depths(self, rain: NDArray[np.float64]) -> NDArray[np.float64]:
        return runoff_from_retention(np.asarray(rain)[:, None], self._retention[None, :],
                                     self.rule.abstraction_ratio)


def with_water(around: Catchment, under: Catchment, water: float) -> Catchment:
    """A store's catchment with the rain on its own water surface.

    Parameters
    ----------
    around : Catchment
        The ground that drains to the store, outside its cells.
    under : Catchment
        The ground of its cells.
    water : float
        Its water surface when full, in plan. [m2]

    Returns
    -------
    catchment : Catchment
        As large as both together.  The water surface has curve number 100; it takes the
        place of ground under the store first, then of ground around it in proportion.
    """
    water = min(water, around.area + under.area)
    first = min(water, under.area)
    rest = water - first
    kept = [1 - first / under.area if under.area else 0.0,
            1 - rest / around.area if around.area else 0.0]
    beyond = sum(part.run_on_area * (1 - share)
                 for part, share in zip((under, around), kept, strict=True))
    direct = np.ones(under.areas.size + around.areas.size + 1, bool)
    direct[under.areas.size:-1] = False
    return replace(
        around, direct=direct,
        delivery=None if around.delivery is None else around.delivery.times(kept[1]),
        curve_numbers=np.concatenate([under.curve_numbers, around.curve_numbers, [100.0]]),
        areas=np.concatenate([under.areas * kept[0], around.areas * kept[1], [water]]),
        run_on_areas=np.concatenate([under.run_on_areas * kept[0], around.run_on_areas * kept[1],
                                     [beyond]]))


@dataclass(frozen=True)
class Numbered:
    """Curve numbers cell by cell, sorted once, to gather many parts of the same ground.

    Attributes
    ----------
    different : float64, shape (k,)
        The different ones, rising.
    which : int64, shape (rows, columns)
        Which of them each cell has; k where its number is not known.
    """

    different: NDArray[np.float64]
    which: NDArray[np.int64]

    @classmethod
    def of(cls, curve_number: NDArray[np.float64]) -> Numbered:
        """Sort curve numbers of any shape; NaN where not known."""
        known = np.isfinite(curve_number)
        different, which = np.unique(curve_number[known], return_inverse=True)
        every = np.full(curve_number.shape, different.size, np.int64)
        every[known] = which
        return cls(different, every)

    def gather(self, cells: Cells, cell_area: float, inside: NDArray[np.bool_] | None,
               rule: RunoffRule) -> Catchment:
        """As the function `gather`."""
        which, count = picked(self.which, cells), self.different.size
        counts = np.bincount(which, minlength=count + 1)[:count]
        beyond = np.zeros(count) if inside is None else np.bincount(
            which[~picked(inside, cells)], minlength=count + 1)[:count]
        there = counts > 0
        return Catchment(self.different[there], (counts[there] * cell_area).astype(np.float64),
                         (beyond[there] * cell_area).astype(np.float64), rule=rule)


def gather(curve_number: NDArray[np.float64], cells: Cells, cell_area: float,
           inside: NDArray[np.bool_] | None = None, rule: RunoffRule = AS_PUBLISHED
           ) -> Catchment:
    """Gather cells into a `Catchment`, with neither path nor slope of its own.

    Parameters
    ----------
    curve_number : float64, shape (rows, columns)
        NaN counts as not part of the catchment.
    cells : bool, same shape, or int64, shape (n,)
    cell_area : float
        [m2]
    inside : bool, same shape, optional
        Cells within the boundary; all if left out.
    rule : RunoffRule, optional
    """
    numbers = picked(curve_number, cells)
    within = None if inside is None else picked(inside, cells)
    return Numbered.of(numbers).gather(np.arange(numbers.size), cell_area, within, rule)


def on_ground(catchment: Catchment, terrain: Terrain, cells: Cells,
              longest_path: float) -> Catchment:
    """A gathered catchment with what its ground adds: path [m], slope, and the edge's doubts."""
    catchment = replace(catchment, longest_path=longest_path, slope=terrain.mean_slope(cells))
    if not terrain.touches_edge(cells):
        return catchment
    return replace(catchment, touches_edge=True, at_risk=terrain.area_at_risk(cells),
                   along_edge=terrain.area_along_edge(cells),
                   cut_by_hole=terrain.cut_by_hole(cells))
