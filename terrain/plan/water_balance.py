"""Day by day over the rain record: what every store takes, loses and passes on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numba
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from terrain.plan.cascade import Cascade
from terrain.runoff.catchment import Catchment
from terrain.runoff.curve_number import RunoffRule
from terrain.runoff.evapotranspiration import MONTH_DAYS
from terrain.runoff.soil_moisture import soil_moisture

#: A day's runoff comes evenly over its first hours (storms in dry country are short);
#: common practice, no source.
RAIN_HOURS = 6
#: Open shallow water evaporates this much of the reference; FAO 56, 1998, Table 12 (from memory).
OPEN_WATER_FACTOR = 1.05


@numba.njit(cache=True)
def _days(inflow, evaporation, volumes, areas, soak, demand, rain_hours, fates, spill):
    """Hourly steps within each day; returns what is held at the end."""
    capacity, held = volumes[-1], 0.0
    for day in range(inflow.size):
        for hour in range(24):
            water = held
            if hour < rain_hours:
                water += inflow[day] / rain_hours
            over = max(water - capacity, 0.0)
            water -= over
            spill[day] += over
            used = min(demand / 24, water)
            water -= used
            area = np.interp(water, volumes, areas) if water > 0 else 0.0
            dried = min(evaporation[day] / 24 * area / 1000, water)
            water -= dried
            soaked = min(soak * area / 1000, water)
            water -= soaked
            fates[day, 0] += soaked
            fates[day, 1] += dried
            fates[day, 2] += used
            held = water
        fates[day, 3] = held
    return held


@dataclass(frozen=True)
class StoreYears:
    """A store over the record; each array has one value a day. [m3]"""

    runoff: NDArray[np.float64]
    roof: NDArray[np.float64]
    from_above: NDArray[np.float64]
    run_on: NDArray[np.float64]
    infiltrated: NDArray[np.float64]
    evaporated: NDArray[np.float64]
    used: NDArray[np.float64]
    held: NDArray[np.float64]
    spilled: NDArray[np.float64]

    @property
    def inflow(self) -> NDArray[np.float64]:
        """All that comes each day. [m3]"""
        return self.runoff + self.roof + self.from_above


@dataclass(frozen=True)
class SeasonRun:
    """The record through the cascade.

    Attributes
    ----------
    days : DatetimeIndex
    rain_mm : float64, shape (days,)
        Days without a reading count as dry. [mm]
    stores : list of StoreYears
    rain, run_on, soaked_in_place, left_site : float64, shape (days,)
        As in `StormRun`, each day. [m3]
    years : float
        Length of the record, days without a reading left out.
    missing : int
        Days without a reading.
    weights : float64, shape (days,)
        Share of each day in an average year: each calendar month counts once, however often
        the record holds it; days without a reading count 0.  A record that lacks a whole
        month is averaged by days.
    known : bool, shape (days,)
        Days with a reading.
    """

    days: pd.DatetimeIndex
    rain_mm: NDArray[np.float64]
    stores: list[StoreYears]
    rain: NDArray[np.float64]
    run_on: NDArray[np.float64]
    soaked_in_place: NDArray[np.float64]
    left_site: NDArray[np.float64]
    years: float
    missing: int
    weights: NDArray[np.float64]
    known: NDArray[np.bool_]

    def mean(self, series: NDArray[np.float64]) -> float:
        """Sum of a daily series over an average year."""
        return float((series * self.weights).sum())


def run_seasons(cascade: Cascade, record: pd.Series,
                reference: NDArray[np.float64] | None = None, continuous: bool = False
                ) -> SeasonRun:
    """Run a daily rain record through the cascade, stores empty at its start.

    Parameters
    ----------
    record : Series
        Daily rain on a DatetimeIndex without gaps in its days; NaN where nothing was read. [mm]
    reference : float64, shape (days,), optional
        Reference evapotranspiration of each day; no evaporation is counted without it. [mm]
    continuous : bool
        Let curve numbers follow the wetness of the soil; needs `reference`.  Otherwise each day
        is one storm on ground of average wetness, whatever the storms meet.

    Raises
    ------
    ValueError
        If `continuous` is asked for without `reference`.
    """
    if continuous and reference is None:
        raise ValueError("soil moisture cannot be followed without evapotranspiration")
    days = pd.DatetimeIndex(record.index)
    known = record.notna().to_numpy()
    rain = record.fillna(0.0).to_numpy(np.float64)
    evaporation = OPEN_WATER_FACTOR * (np.zeros(rain.size) if reference is None else reference)
    shed = _Shed(cascade, rain, reference if continuous else None)
    spills: list[NDArray[np.float64] | None] = [None] * len(cascade.nodes)
    found: list[StoreYears | None] = [None] * len(cascade.nodes)
    left, run_on = shed.runoff(cascade.open_ground)
    own = left - run_on
    different, which = np.unique(rain, return_inverse=True)
    for index in cascade.order:
        node = cascade.nodes[index]
        ground, beyond = shed.runoff(node.catchment)
        roof = node.roof.runoff_volumes(different)[which]
        above = np.zeros(rain.size)
        for i, other in enumerate(cascade.nodes):
            if other.spills_to == index and spills[i] is not None:
                above += spills[i]
        fates, spill = np.zeros((rain.size, 4)), np.zeros(rain.size)
        store = node.store
        _days(ground + roof + above, evaporation * store.open_water, store.curve.volumes,
              store.curve.areas, store.infiltration, store.demand, RAIN_HOURS, fates, spill)
        spills[index] = spill
        if node.spills_to is None:
            left = left + spill
        own, run_on = own + ground - beyond, run_on + beyond
        found[index] = StoreYears(ground, roof, above, beyond, fates[:, 0], fates[:, 1],
                                  fates[:, 2], fates[:, 3], spill)
    stores = [s for s in found if s is not None]
    falls = (cascade.ground_area + cascade.roof_area) * rain / 1000
    soaked = falls - own
    for part in stores:
        soaked = soaked - part.roof
    missing = int((~known).sum())
    return SeasonRun(days, rain, stores, falls, run_on, soaked, left,
                     (rain.size - missing) / 365.25, missing, _weights(record), known)


class _Shed:
    """Runoff of every day from every kind of ground in a cascade."""

    def __init__(self, cascade: Cascade, rain: NDArray[np.float64],
                 reference: NDArray[np.float64] | None) -> None:
        self.depths: dict[RunoffRule, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}
        for rule in {part.rule for part in cascade.ground}:
            numbers = np.unique(np.concatenate(
                [part.curve_numbers for part in cascade.ground if part.rule == rule]))
            if reference is None:
                depths, which = np.unique(rain, return_inverse=True)
                steady = replace(rule, condition="II")
                made = steady.runoff(depths[:, None], numbers[None, :])[which]
            else:
                dry, average, wet = (rule.retention(numbers, condition)
                                     for condition in ("I", "II", "III"))
                made = soil_moisture(rain, reference, dry, average, wet,
                                     rule.abstraction_ratio).runoff
            self.depths[rule] = (numbers, made)

    def runoff(self, ground: Catchment) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What arrives of a catchment's runoff each day, and its part from beyond. [m3]"""
        numbers, made = self.depths[ground.rule]
        depths = made[:, np.searchsorted(numbers, ground.curve_numbers)]
        return ground.arriving_of(depths), ground.run_on_of(depths)


def _weights(record: pd.Series) -> NDArray[np.float64]:
    """Share of each day in an average year; a record that lacks a month is averaged by days."""
    months = pd.DatetimeIndex(record.index).month.to_numpy()
    known = record.notna().to_numpy()
    weights = np.zeros(len(record))
    for month, length in enumerate(MONTH_DAYS, 1):
        days = (months == month) & known
        if not days.any():
            return np.where(known, 365.25 / max(int(known.sum()), 1), 0.0)
        weights[days] = length / days.sum()
    return weights

