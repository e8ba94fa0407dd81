"""The rain that a layout is to live with, as a few kinds of days that a linear model can add up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.tree_climate import daily_runoff
from terrain.plan.water.accounts import LEAST_YEARS
from terrain.plan.water.routing import route
from terrain.plan.water.water_balance import OPEN_WATER_FACTOR, SeasonRun, live
from terrain.runoff.rain_years import SHARES, year_of, year_totals, year_with_less, years_of
from terrain.runoff.storms import storm_steps
from terrain.works.sill import Sill
from terrain.works.store import Curve, Store

FloatArray = NDArray[np.float64]

#: Days with runoff are put into so many kinds, each with as much of the year's runoff.
KINDS_OF_DAYS = 3
#: A storm that brings a store so many times what it holds shows what it can keep of any.
FLOODED = 3.0
#: A store that spills no more than this share hardly spills; the spill of others may then bring it
#: so many times its own water, and what more would come counts as passing it.
HARDLY, FED = 0.01, 2.0


@dataclass(frozen=True)
class Rains:
    """Kinds of days, or one storm.

    Attributes
    ----------
    numbers : float64, shape (n,)
        The curve numbers of the ground. [-]
    depths : float64, shape (kinds, n)
        Runoff of one day of each kind. [mm]
    days : float64, shape (kinds,)
        How many of them there are in the time that is looked at.
    kind : int64, shape (days of the record,)
        Which kind each day is, -1 for none; empty for a storm.
    made : float64, shape (days of the record, n)
        Runoff of each; empty for a storm. [mm]
    months, evaporation : shape (days of the record,)
        Month, 0 to 11, and evaporation of open water. [mm]
    within : float64, shape (days of the record,)
        Weight of each day in the time that is looked at.
    falls : float64, shape (days of the record,) or (steps,)
        Rain of each day, or of each step of the storm. [mm]
    storm : float64, shape (steps,)
        Share of a storm's runoff that comes in each step; empty otherwise.
    step : float
        [s]
    """

    numbers: FloatArray
    depths: FloatArray
    days: FloatArray
    kind: NDArray[np.int64]
    made: FloatArray
    months: NDArray[np.int64]
    evaporation: FloatArray
    within: FloatArray
    falls: FloatArray
    storm: FloatArray
    step: float

    def room(self, storage: float, water_area: float, soak: float, areas: FloatArray
             ) -> tuple[FloatArray, float]:
        """What a store can keep of the runoff of one day of each kind, or of the storm, shape
        (kinds,); and what it keeps in all that time of the rain on its own water. [m3]

        Parameters
        ----------
        storage, water_area, soak : float
            Up to its sill [m3], of its water when full [m2], into its floor [mm/h].
        areas : float64, shape (n,)
            Ground that drains to it where no other work stands, by curve number. [m2]

        Notes
        -----
        Of a storm: what it keeps of one that is far too large for it.  Of days of a kind: what it
        keeps on a mean one of them as it lives alone through the record with all of its ground;
        where it hardly spills on them, what it would keep of `FED` times that water.
        """
        store = _store(storage, water_area, soak)
        if self.storm.size:
            volume = float(self.depths[0] @ areas) / 1000
            found = route(max(volume, FLOODED * storage) * self.storm, store, self.step)
            kept = [part.held + part.soaked for part in (
                route(volume * self.storm + rain * water_area / 1000, store, self.step)
                for rain in (self.falls, np.zeros(self.falls.size)))]
            return np.array([found.held + found.soaked]), kept[0] - kept[1]
        comes = self.made @ areas / 1000
        alone, fed = (self._mean(series - live(store, series, self.months,
                                               self.evaporation).spilled)
                      for series in (comes, FED * comes))
        came = self._mean(comes)
        rain = self.falls * water_area / 1000
        wet, dry = (float((series - live(store, series, self.months, self.evaporation).spilled)
                          @ self.within) for series in (comes + rain, comes))
        return (np.where(came - alone > HARDLY * came, alone, np.maximum(alone, fed)),
                wet - dry)

    def kept(self, storage: float, water_area: float, soak: float, areas: FloatArray
             ) -> tuple[float, float]:
        """What comes to a store that stands alone, the rain on its own water included, and what it
        keeps of that, in all that time. [m3]

        Parameters
        ----------
        storage, water_area, soak, areas
            As of `room`.
        """
        store = _store(storage, water_area, soak)
        rain = self.falls * water_area / 1000
        if self.storm.size:
            comes = float(self.depths[0] @ areas) / 1000 * self.storm + rain
            found = route(comes, store, self.step)
            return float(comes.sum()), found.held + found.soaked
        comes = self.made @ areas / 1000 + rain
        spilled = live(store, comes, self.months, self.evaporation).spilled
        return float(comes @ self.within), float((comes - spilled) @ self.within)

    def _mean(self, series: FloatArray) -> FloatArray:
        """The mean of a daily series over the days of each kind."""
        there = self.kind >= 0
        sums = np.bincount(self.kind[there], (series * self.within)[there], self.days.size)
        return np.asarray(sums / np.maximum(self.days, 1e-12))


def _store(storage: float, water_area: float, soak: float) -> Store:
    """A store with sides that slope alike."""
    curve = Curve(np.array([0.0, storage / max(water_area, 1e-9) * 1.33]),
                  np.array([water_area / 2, water_area]), np.array([0.0, storage]))
    return Store("", "swale", curve, Sill(float(curve.levels[-1]), 1.0, 0.0, 0.0, 1.7), 0.0, 0.0,
                 0.0, 0.0, soak)


def storm_rains(inputs: Inputs, name: str) -> Rains:
    """One storm of the site file."""
    storm = next(one for one in inputs.site.rain.storms if one.name == name)
    numbers = _numbers(inputs)
    shape, step = inputs.hydrology.shapes[name], storm_steps(storm.duration)
    rule = inputs.hydrology.rule
    falls = shape.cumulative(storm.depth, step)
    middle = float(np.median(inputs.ground.curve_number[inputs.ground.inside
                                                        & np.isfinite(inputs.ground.curve_number)]))
    comes = np.diff(np.asarray(rule.runoff(falls, middle)), prepend=0.0)
    if not comes.sum() > 0:
        comes = np.diff(falls, prepend=0.0)
    none = np.zeros(0)
    return Rains(numbers, np.asarray(rule.runoff(storm.depth, numbers))[None, :], np.ones(1),
                 np.zeros(0, np.int64), np.zeros((0, numbers.size)), np.zeros(0, np.int64), none,
                 none, np.diff(falls, prepend=0.0), comes / comes.sum(), step * 3600)


def year_rains(inputs: Inputs, run: SeasonRun, dry: bool = False) -> Rains:
    """The days of an average year, or of the dry year that the accounts tell of: that than which
    one in ten has less rain.

    Parameters
    ----------
    run : SeasonRun
        The record lived through by any works: for its days and their weights.

    Raises
    ------
    InputError
        If a dry year is asked for, and too few years of the record are whole.
    """
    assert inputs.record is not None
    numbers = _numbers(inputs)
    reference = None if inputs.evaporation is None else inputs.evaporation.daily
    made = daily_runoff(run.rain_mm, numbers, inputs.hydrology.rule,
                        reference if soil_dries(inputs.site) else None)
    weights = _dry_year(inputs, run) if dry else run.weights
    known = inputs.ground.curve_number
    areas = np.array([float((known[inputs.ground.inside] == number).sum()) for number in numbers])
    comes = made @ areas
    kind = np.full(comes.size, -1, np.int64)
    counted = np.flatnonzero((comes > 0) & (weights > 0))
    order = counted[np.argsort(comes[counted], kind="stable")]
    total = np.cumsum(comes[order] * weights[order])
    if order.size:
        kind[order] = np.minimum((total / total[-1] * KINDS_OF_DAYS * (1 - 1e-12)).astype(int),
                                 KINDS_OF_DAYS - 1)
    days = np.array([weights[kind == k].sum() for k in range(KINDS_OF_DAYS)])
    depths = np.array([(weights[kind == k] @ made[kind == k]) / max(days[k], 1e-12)
                       for k in range(KINDS_OF_DAYS)])
    return Rains(numbers, depths, days, kind, made,
                 np.asarray(run.days.month, np.int64) - 1,
                 OPEN_WATER_FACTOR * (np.zeros(comes.size) if reference is None else reference),
                 weights, run.rain_mm, np.zeros(0), 1.0)


def _dry_year(inputs: Inputs, run: SeasonRun) -> FloatArray:
    """1 on the days of the dry year that the accounts tell of, 0 on all others."""
    assert inputs.record is not None
    month = inputs.site.rain.start_month
    rain = inputs.record.depths
    # As the accounts rank years: gaps count as the mean of their month.
    filled = rain.fillna(rain.groupby(run.days.month).transform("mean"))
    totals = year_totals(filled, years_of(rain, month))
    if len(totals) < LEAST_YEARS:
        raise InputError(inputs.site.where("rain", "daily"), f"fewer than {LEAST_YEARS} years of "
                         "the record are whole, so there is no dry year to carry trees through",
                         "Choose another aim, or give a longer record")
    away = (totals - year_with_less(totals, SHARES["dry"])).abs()
    year = int(totals.index[int(np.argmin(away.to_numpy()))])
    return np.asarray(year_of(run.days, month) == year).astype(np.float64)


def _numbers(inputs: Inputs) -> FloatArray:
    return inputs.ground.numbered.different
