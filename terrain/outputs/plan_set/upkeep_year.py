"""When in the year a site's upkeep falls: its rains, its driest month, its hot months."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from terrain.plan.order_of_work import wet_season
from terrain.plan.planned import Plan
from terrain.runoff.evapotranspiration import MONTHS
from terrain.runoff.rain_years import mean_months
from terrain.units import shown
from terrain.works.rules import Rulebook
from terrain.works.upkeep import Task, hottest_from, months_of

#: Months as the calendar heads them.
SHORT = tuple(month[:3] for month in MONTHS)


@dataclass(frozen=True)
class UpkeepYear:
    """The year of a site's upkeep.

    Attributes
    ----------
    rain : tuple of float
        Of each month of an average year of the record. [mm]
    season : (int, int)
        First and last month of the rains, 0 to 11.
    driest : int
    ahead : int
        Whole months before the rains by which all is to be ready.
    hot : int or None
        First of the hot months; None where none stand out, or the latitude is not known.
    """

    rain: tuple[float, ...]
    season: tuple[int, int]
    driest: int
    ahead: int
    hot: int | None

    def months(self, task: Task) -> list[int]:
        """Months in which a task falls, 0 to 11."""
        return months_of(task.when, self.season, self.driest, self.ahead, self.hot)

    @property
    def words(self) -> str:
        """What the months follow from, in sentences."""
        first, last = (MONTHS[month] for month in self.season)
        rains = first if first == last else f"{first} to {last}"
        hot = ("" if self.hot is None else
               f" The hot months are taken from {MONTHS[self.hot]} on, by the latitude.")
        return (f"The rains are those months of the record that are wetter than the mean one: "
                f"{rains}; the driest month is {MONTHS[self.driest]}.{hot}")


def upkeep_year(plan: Plan) -> UpkeepYear | None:
    """The year of a plan's upkeep; None where no rain record tells which months are wet."""
    record = plan.inputs.record
    if record is None:
        return None
    rain = [float(depth) for depth in mean_months(record.depths)]
    season = wet_season(rain)
    if season is None:
        return None
    boundary = plan.inputs.ground.boundary.centroid
    degrees = plan.inputs.dem.frame.to_lonlat([boundary.x], [boundary.y])
    return UpkeepYear(tuple(rain), season, rain.index(min(rain)),
                      math.ceil(plan.inputs.rules["finish before rain"]),
                      None if degrees is None else hottest_from(float(degrees[1][0])))


def when_words(task: Task, year: UpkeepYear | None) -> str:
    """When a task falls: its months in short, or its moments where no months are known."""
    months = [] if year is None else year.months(task)
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
                store.sill.level - float(store.curve.levels[0])
                > plan.inputs.rules["drowning depth"]):
            found.add("deep")
    return found


def said_with(words: str, rules: Rulebook, system: str) -> str:
    """A sentence of upkeep with the figures of the rules that it names."""
    thick = rules["mulch thickness"] * 1000  # [mm]
    return words.format_map({
        "sediment most": f"{rules['sediment most']:.0%}".replace("%", "\u00a0%"),
        "standing water": f"{rules['standing water']:g} h",
        "mulch thickness": shown(thick, "rain", system, 1 if system == "us" else 0)})
