"""When in the year a site's upkeep falls: its rains, its driest month, its hot months."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from terrain.plan.order_of_work import share_of_wettest, wet_season, wetter_too
from terrain.plan.planned import Plan
from terrain.runoff.evapotranspiration import MONTHS
from terrain.runoff.rain_years import mean_months
from terrain.units import per_cent, shown
from terrain.works.rules import Rulebook
from terrain.works.upkeep import QUARTERS, Task, drained_words, hottest_from, months_of

#: Months as the calendar heads them.
SHORT = tuple(month[:3] for month in MONTHS)


@dataclass(frozen=True)
class UpkeepYear:
    """The year of a site's upkeep.

    Attributes
    ----------
    rain : tuple of float
        Of each month of an average year of the record. [mm]
    season : (int, int) or None
        First and last month of the rains, 0 to 11; None where none are distinct.
    driest : int
    ahead : int
        Whole months before the rains by which all is to be ready.
    hot : int or None
        First of the hot months; None where none stand out, or the latitude is not known.
    told_by : str
        The rule by which rains are distinct, and its source.
    """

    rain: tuple[float, ...]
    season: tuple[int, int] | None
    driest: int
    ahead: int
    hot: int | None
    told_by: str

    def months(self, task: Task) -> list[int]:
        """Months in which a task falls, 0 to 11."""
        return months_of(task.when, self.season, self.driest, self.ahead, self.hot)

    @property
    def words(self) -> str:
        """What the months follow from, in sentences."""
        hot = ("" if self.hot is None else
               f" The hot months are taken from {MONTHS[self.hot]} on, by the latitude.")
        if self.season is None:
            return ("The record shows no distinct rains: its six wettest months bring "
                    f"{per_cent(share_of_wettest(self.rain))} of the rain ({self.told_by}). So "
                    "what belongs to rains or dry months is done each month, what comes before or "
                    f"after rains each quarter; the driest month is {MONTHS[self.driest]}.{hot}")
        first, last = (MONTHS[month] for month in self.season)
        rains = first if first == last else f"{first} to {last}"
        return (f"The rains are the run of months, each wetter than the mean one, that brings "
                f"most of the record's rain: {rains}.{wetter_too(self.rain, self.season)} "
                f"The driest month is {MONTHS[self.driest]}.{hot}")


def upkeep_year(plan: Plan) -> UpkeepYear | None:
    """The year of a plan's upkeep; None where no rain record tells which months are wet."""
    record = plan.inputs.record
    if record is None:
        return None
    rain = [float(depth) for depth in mean_months(record.depths)]
    if not math.isfinite(share_of_wettest(rain)):
        return None
    rules = plan.inputs.rules
    least = per_cent(rules["distinct rains"])
    season = wet_season(rain, rules["distinct rains"])
    boundary = plan.inputs.ground.boundary.centroid
    degrees = plan.inputs.dem.frame.to_lonlat([boundary.x], [boundary.y])
    return UpkeepYear(tuple(rain), season, rain.index(min(rain)),
                      math.ceil(rules["finish before rain"]),
                      None if degrees is None else hottest_from(float(degrees[1][0])),
                      f"from {least} on they are distinct; distinct rains, "
                      f"{rules.source('distinct rains')}")


def when_words(task: Task, year: UpkeepYear | None) -> str:
    """When a task falls: its months in short, or its moments where no months are known."""
    months = [] if year is None else year.months(task)
    if year is not None and year.season is None and len(months) == 12:
        return "each month"
    if year is not None and year.season is None and months == list(QUARTERS):
        return "each quarter"
    return runs_of(months) if months else ", ".join(task.when)


def runs_of(months: Sequence[int]) -> str:
    """Months in short, those that follow one another as one: "Nov to Apr, Jun"."""
    if len(set(months)) == 12:
        return "all year"
    held = set(months)
    found = []
    for start in sorted(held):
        if (start - 1) % 12 in held:
            continue
        length = next(n for n in range(1, 13) if (start + n) % 12 not in held)
        end = (start + length - 1) % 12
        found.append(SHORT[start] if length == 1 else
                     f"{SHORT[start]} to {SHORT[end]}" if length > 2 else
                     f"{SHORT[start]}, {SHORT[end]}")
    return ", ".join(found)


def kinds_of(plan: Plan, members: Sequence[int]) -> set[str]:
    """What kinds of upkeep works ask for, as `terrain.works.upkeep` names them."""
    found: set[str] = set()
    for index in members:
        planned = plan.stores[index]
        work, store = planned.placed.work, planned.store
        found.add(store.kind)
        if store.kind == "tank":
            found |= {"roof"} if work.roofs else set()
            flushes = work.first_flush or work.first_flush_volume
            found |= {"first flush"} if work.roofs and flushes else set()
        if planned.basin is not None and planned.basin.has_wall:
            found.add("bank")
        if store.kind in ("basin", "hollow") and (
                store.sill.level - store.curve.floor
                > plan.inputs.rules["drowning depth"]):
            found.add("deep")
    return found


def said_with(words: str, rules: Rulebook, system: str, drain_hours: Sequence[float] = ()
              ) -> str:
    """A sentence of upkeep with the figures of the rules that it names, and of how long the works
    of its page take to drain [h]."""
    thick = rules["mulch thickness"] * 1000  # [mm]
    return words.format_map({
        "sediment most": f"{rules['sediment most']:.0%}".replace("%", "\u00a0%"),
        "standing water": f"{rules['standing water']:g} h",
        "drained": drained_words(drain_hours, rules["standing water"]) if drain_hours else "",
        "mulch thickness": shown(thick, "rain", system, 1 if system == "us" else 0)})
