"""Day by day over the rain record: what every store takes, loses and passes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Cascade
from terrain.runoff.catchment import Catchment
from terrain.runoff.curve_number import RunoffRule
from terrain.runoff.evapotranspiration import MONTH_DAYS
from terrain.runoff.soil_moisture import soil_moisture
from terrain.works.store import Store
from terrain.works.water_area import area_above, point_below
from terrain.works.water_use import Use

if TYPE_CHECKING:
    import pandas as pd

#: A day's runoff comes evenly over its first hours (storms in dry country are short);
#: common practice, no source.
RAIN_HOURS = 6
#: Open shallow water evaporates this much of the reference; FAO 56, 1998, Table 12 (from memory).
OPEN_WATER_FACTOR = 1.05
#: A ration is met if no more than this share of it is wanting: the rounding of 24 hours.
SHORT_BY = 1e-9


@numba.njit(cache=True, nogil=True)
def _days(inflow: NDArray[np.float64], evaporation: NDArray[np.float64],
          volumes: NDArray[np.float64], areas: NDArray[np.float64], soak: float,
          month: NDArray[Any], wants: NDArray[np.float64], below: NDArray[np.float64],
          draw: NDArray[np.float64], top_below: float, load: float, rain_hours: int, start: float,
          lifts: float, fates: NDArray[np.float64], spill: NDArray[np.float64],
          over_pump: NDArray[np.float64], ration: NDArray[np.float64], used: NDArray[np.float64],
          brought: NDArray[np.float64]) -> float:
    """Hourly steps within each day; returns what is held at the end.

    In the morning a tanker comes and rations are set by what is held; in each hour water comes,
    what does not fit spills, a pump taking so much of it an hour, then the uses draw in their
    order, then sun and floor take theirs.
    """
    capacity, held, low = volumes[-1], start, 0
    uses, open_water = wants.shape[1], soak > 0
    for day in range(inflow.size):
        if held < top_below:
            loads = np.ceil((top_below - held) / load)
            brought[day] = loads * load
            held += brought[day]
        for use in range(uses):
            share = 1.0
            for step in range(below.shape[1]):  # the highest first: the lowest that holds counts
                if held < below[use, step] * capacity:
                    share = draw[use, step]
            ration[day, use] = share * wants[month[day], use]
        wet = open_water or evaporation[day] > 0
        if held == 0.0 and inflow[day] == 0.0:  # empty it stays, and its fates are 0 already
            continue
        comes, dries = inflow[day] / rain_hours, evaporation[day] / 24
        spilled = unlifted = infiltrated = evaporated = 0.0
        highest = held
        for hour in range(24):
            water = held
            if hour < rain_hours:
                water += comes
            over = max(water - capacity, 0.0)
            water -= over
            highest = max(highest, water)
            spilled += over
            unlifted += max(over - lifts, 0.0)
            for use in range(uses):
                taken = min(ration[day, use] / 24, water)
                water -= taken
                used[day, use] += taken
            if wet and water > 0:
                low = point_below(water, volumes, low)
                area = area_above(water, volumes, areas, low)
                dried = min(dries * area / 1000, water)
                water -= dried
                soaked = min(soak * area / 1000, water)
                water -= soaked
                infiltrated += soaked
                evaporated += dried
            held = water
            if held == 0.0 and hour >= rain_hours - 1:  # nothing more comes: nothing more goes
                break
        spill[day], over_pump[day] = spilled, unlifted
        fates[day, 0], fates[day, 1], fates[day, 2] = infiltrated, evaporated, held
        fates[day, 3] = highest
    return held


@dataclass(frozen=True)
class UseYears:
    """One use of a store's water over the record, a value a day. [m3]

    Attributes
    ----------
    use : Use
    wanted, ration, used : float64, shape (days,)
        What is wanted, what the rationing leaves of it, and what was drawn.
    """

    use: Use
    wanted: NDArray[np.float64]
    ration: NDArray[np.float64]
    used: NDArray[np.float64]


@dataclass(frozen=True)
class Lived:
    """A store's days with water that comes from elsewhere; each array has one value a day. [m3]

    `over` is the part of `spilled` that its pump cannot lift; `highest` the most that it held at
    an hour of the day, once what did not fit had spilled.
    """

    infiltrated: NDArray[np.float64]
    evaporated: NDArray[np.float64]
    held: NDArray[np.float64]
    spilled: NDArray[np.float64]
    brought: NDArray[np.float64]
    uses: tuple[UseYears, ...]
    over: NDArray[np.float64]
    highest: NDArray[np.float64]

    @property
    def used(self) -> NDArray[np.float64]:
        """All that is drawn each day. [m3]"""
        return sum((part.used for part in self.uses), np.zeros(self.held.size))

    @property
    def dry(self) -> NDArray[np.bool_]:
        """Days on which it cannot give what the rationing leaves."""
        return short_days(self.uses, self.held.size)


def short_days(uses: Sequence[UseYears], days: int) -> NDArray[np.bool_]:
    """Days on which some use draws less than its ration, by more than rounding."""
    short = np.zeros(days, bool)
    for part in uses:
        short |= part.used < part.ration * (1 - SHORT_BY)
    return short


def live(store: Store, inflow: NDArray[np.float64], months: NDArray[np.integer],
         evaporation: NDArray[np.float64], start: float = 0.0, lifts: float | None = None
         ) -> Lived:
    """Run one store through its days.

    Parameters
    ----------
    inflow : float64, shape (days,)
        All that comes but what a tanker brings. [m3]
    months : int, shape (days,)
        Month of each day, 0 to 11.
    evaporation : float64, shape (days,)
        From its open water. [mm]
    start : float
        What it holds when they begin. [m3]
    lifts : float, optional
        The most that a pump lifts of its spill. [m3/s]
    """
    days, drawn, top_up = inflow.size, store.drawn, store.top_up
    wants = np.zeros((12, len(drawn)))
    steps = max((len(use.steps) for use in drawn), default=0)
    below, draw = np.zeros((len(drawn), steps)), np.ones((len(drawn), steps))
    for i, use in enumerate(drawn):
        wants[:, i] = use.amounts
        for k, step in enumerate(sorted(use.steps, reverse=True)):
            below[i, k], draw[i, k] = step
    fates, spill, over, brought = (np.zeros((days, 4)), *np.zeros((3, days)))
    ration, used = np.zeros((days, len(drawn))), np.zeros((days, len(drawn)))
    _days(inflow, evaporation, store.curve.volumes, store.curve.areas, store.infiltration, months,
          wants, below, draw, top_up.below if top_up else 0.0, top_up.load if top_up else 1.0,
          RAIN_HOURS, start, np.inf if lifts is None else 3600 * lifts, fates, spill, over, ration,
          used, brought)
    uses = tuple(UseYears(use, wants[months, i], ration[:, i], used[:, i])
                 for i, use in enumerate(drawn))
    return Lived(fates[:, 0], fates[:, 1], fates[:, 2], spill, brought, uses, over, fates[:, 3])


@dataclass(frozen=True)
class StoreYears:
    """A store over the record; each array has one value a day. [m3]

    `roof_share` of the rain, runoff and spill of others that comes on a day came off roofs, of
    what it keeps of them and of what it spills on that day as much. [-]  `grey` is what uses of
    other stores return to it, `brought` what a tanker brings, `over` the part of `spilled` that
    its pump cannot lift.  `held` is what it holds when the day ends, `highest` the most that it
    held at an hour of the day, once what did not fit had spilled.
    """

    runoff: NDArray[np.float64]
    roof: NDArray[np.float64]
    from_above: NDArray[np.float64]
    run_on: NDArray[np.float64]
    infiltrated: NDArray[np.float64]
    evaporated: NDArray[np.float64]
    used: NDArray[np.float64]
    held: NDArray[np.float64]
    spilled: NDArray[np.float64]
    grey: NDArray[np.float64]
    brought: NDArray[np.float64]
    over: NDArray[np.float64]
    roof_share: NDArray[np.float64]
    highest: NDArray[np.float64]
    uses: tuple[UseYears, ...] = ()

    @property
    def off_roofs(self) -> NDArray[np.float64]:
        """The part of `captured` that came off roofs. [m3]"""
        return self.roof_share * self.captured

    @property
    def inflow(self) -> NDArray[np.float64]:
        """All that comes each day. [m3]"""
        return self.runoff + self.roof + self.from_above + self.grey + self.brought

    @property
    def captured(self) -> NDArray[np.float64]:
        """What it keeps each day of rain, runoff and spill of others: not what was brought, nor
        grey water, which a tank captured before. [m3]"""
        return self.inflow - self.grey - self.brought - self.spilled


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
    evaporation : float64, shape (days,)
        From open water. [mm]
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
    evaporation: NDArray[np.float64]

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
    import pandas as pd

    if continuous and reference is None:
        raise ValueError("soil moisture cannot be followed without evapotranspiration")
    days = pd.DatetimeIndex(record.index)
    known = record.notna().to_numpy()
    rain = record.fillna(0.0).to_numpy(np.float64)
    evaporation = OPEN_WATER_FACTOR * (np.zeros(rain.size) if reference is None else reference)
    shed = _Shed(cascade, rain, reference if continuous else None)
    found: list[StoreYears | None] = [None] * len(cascade.nodes)
    left, run_on = shed.runoff(cascade.open_ground)
    own = left - run_on
    different, which = np.unique(rain, return_inverse=True)
    months = np.asarray(days.month, np.int64) - 1
    for index in cascade.order:
        node = cascade.nodes[index]
        ground, beyond = shed.runoff(node.catchment)
        roof = node.roof.runoff_volumes(different)[which]
        above, above_roofs, grey = np.zeros((3, rain.size))
        for i, other in enumerate(cascade.nodes):
            lives = found[i]
            if lives is None:
                continue
            for to, part in other.given(lives.spilled, lives.over):
                if to == index:
                    above += part
                    above_roofs += lives.roof_share * part
            for use, to in zip(lives.uses, other.grey_to, strict=False):
                if to == index:
                    grey += use.use.grey * use.used
        store = node.store
        lived = live(store, ground + roof + above + grey if grey.any() else ground + roof + above,
                     months, evaporation * store.open_water, lifts=node.lifts)
        for to, part in node.given(lived.spilled, lived.over):
            if to is None:
                left = left + part
        own, run_on = own + ground - beyond, run_on + beyond
        found[index] = StoreYears(ground, roof, above, beyond, lived.infiltrated,
                                  lived.evaporated, lived.used, lived.held, lived.spilled, grey,
                                  lived.brought, lived.over,
                                  _share(roof + above_roofs, ground + roof + above),
                                  lived.highest, lived.uses)
    stores = [s for s in found if s is not None]
    falls = (cascade.ground_area + cascade.roof_area) * rain / 1000
    soaked = falls - own
    for store_years in stores:
        soaked = soaked - store_years.roof
    missing = int((~known).sum())
    return SeasonRun(days, rain, stores, falls, run_on, soaked, left,
                     (rain.size - missing) / 365.25, missing, _weights(record), known, evaporation)


def _share(part: NDArray[np.float64], whole: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.divide(part, whole, out=np.zeros(whole.size), where=whole > 0)


class _Shed:
    """Runoff of every day from every kind of ground in a cascade."""

    def __init__(self, cascade: Cascade, rain: NDArray[np.float64],
                 reference: NDArray[np.float64] | None) -> None:
        self.depths: dict[RunoffRule, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}
        self.which: NDArray[np.int64] | None = None  # days of the same depth shed the same
        for rule in {part.rule for part in cascade.ground}:
            numbers = np.unique(np.concatenate(
                [part.curve_numbers for part in cascade.ground if part.rule == rule]))
            if reference is None:
                depths, self.which = np.unique(rain, return_inverse=True)
                steady = replace(rule, condition="II")
                made = steady.runoff(depths[:, None], numbers[None, :])
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
        arrives, beyond = ground.arriving_of(depths), ground.run_on_of(depths)
        return ((arrives, beyond) if self.which is None else
                (arrives[self.which], beyond[self.which]))


def _weights(record: pd.Series) -> NDArray[np.float64]:
    """Share of each day in an average year; a record that lacks a month is averaged by days."""
    import pandas as pd

    months = pd.DatetimeIndex(record.index).month.to_numpy()
    known = record.notna().to_numpy()
    weights = np.zeros(len(record))
    for month, length in enumerate(MONTH_DAYS, 1):
        days = (months == month) & known
        if not days.any():
            return np.where(known, 365.25 / max(int(known.sum()), 1), 0.0)
        weights[days] = length / days.sum()
    return weights

