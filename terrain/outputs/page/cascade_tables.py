"""The report's part about the cascade: drawing, spills, storms, captures, totals, seasons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import groupby
from typing import Any

from terrain.outputs.charts.capture_charts import (
    draw_site_capture,
    draw_store_captures,
    draw_totals,
)
from terrain.outputs.charts.cascade_boxes import flows_of
from terrain.outputs.charts.cascade_diagram import draw_cascade
from terrain.outputs.page.picture_words import kept_words, picture_words
from terrain.outputs.page.templates import filled
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS, soil_dries
from terrain.plan.water.accounts import MORE_THAN_IT_HOLDS, Account
from terrain.plan.water.cascade_told import CascadeTold
from terrain.plan.water.rarity import how_often
from terrain.plan.water.routing import StormRun
from terrain.plan.water.spill_ways import SpillWay, Step
from terrain.plan.water.store_years import StoreYear
from terrain.plan.water.totals import Total
from terrain.units import lasting, share_words, shown

STORM_COLUMNS = ("comes", "caught", "peak level", "freeboard left", "first spill after",
                 "spill, peak", "spill, volume", "empty again after the rain")
SEASON_COLUMNS = ("fills", "spills", "days with water", "days full", "longest dry spell",
                  "empty to full again", "held when it begins", "held when it ends", "drawn",
                  "days short")
TOTAL_COLUMNS = ("rain", "passive capture", "over the property", "roof capture",
                 "over the property", "stays of the property's rain", "before the works",
                 "left the site", "before the works", "no longer leaves")

Rows = list[tuple[str, list[str]]]


def cascade_section(plan: Plan, picture: Any) -> Any:
    """The sections about the cascade as HTML; empty where the site has no store.

    Parameters
    ----------
    picture : callable
        Makes the address of an image of a figure.
    """
    told = plan.told
    if told is None or not plan.stores:
        return ""
    system, design = plan.site.units, plan.site.rain.design
    in_words = f"{design.duration:g} h, " + (
        f"type {design.pattern}" if design.pattern in ("I", "IA", "II", "III") else
        f"{design.pattern} in time")
    rarity = told.capture.rarity
    return filled(
        "cascade.html",
        pictured=picture_words(plan),
        drawings=[(name, picture(draw_cascade(flows_of(plan, title, account), system)),
                   kept_words(plan, "All stores", account))
                  for name, title, account in _drawn(plan)],
        ways=[(name, way_steps(plan, way)) for of in told.ways for name, way in (
            (of.name, of), (f"{of.name}, while its pump stands still", of.without_pump))
            if way is not None],
        storm_columns=STORM_COLUMNS,
        storms=[(name, storm_rows(plan, run)) for name, run in plan.runs.items()],
        marks=mark_rows(plan, told), design=design.name,
        within=shown(0.25, "rain", system, 2),
        rarity=None if rarity is None else rarity.source, duration=f"{design.duration:g} h",
        site_curve=picture(draw_site_capture(told.capture, system, in_words)),
        store_curves=picture(draw_store_captures(plan, told.capture)),
        more_than_it_holds=MORE_THAN_IT_HOLDS,
        total_columns=TOTAL_COLUMNS, totals=total_rows(told.totals, system),
        totals_chart=picture(draw_totals(told.totals, system)),
        season_columns=SEASON_COLUMNS, seasons=_by_year(season_rows(plan, told)),
        season_soil=YEARS[soil_dries(plan.site)].partition(", ")[2])


def _drawn(plan: Plan) -> list[tuple[str, str, Account]]:
    """What the cascade is drawn for, the design storm first: name, title, account.

    The deepest storm follows, and the average year; the live map shows every storm.
    """
    storms = [plan.site.rain.design]
    deepest = max(plan.site.rain.storms, key=lambda storm: storm.depth)
    if deepest.depth > plan.site.rain.design.depth:
        storms.append(deepest)
    found = [(f"storm \"{storm.name}\"",
              f"storm \"{storm.name}\": {shown(storm.depth, 'rain', plan.site.units)} over "
              f"{storm.duration:g} h, stores empty before", plan.storms[storm.name])
             for storm in storms]
    if plan.year is not None and plan.seasons is not None:
        depth = shown(plan.seasons.mean(plan.seasons.rain_mm), "rain", plan.site.units)
        name = next((name for name, account in plan.accounts if account is plan.year),
                    YEARS[False])
        found.append((name, f"{name}: {depth} of rain", plan.year))
    return found


def way_steps(plan: Plan, way: SpillWay) -> list[str]:
    """The steps of a spill's way in words, each with its distance from the sill."""
    length = partial(shown, dimension="length", system=plan.site.units, decimals=0)
    said = [f"{step_words(plan, way, step)}" if step.at == 0 and step.kind in _LED else
            f"after {length(step.at)} {step_words(plan, way, step)}" for step in way.steps]
    if way.then[1:]:
        said.append("then, as each is full: " + " to ".join(_in_turn(plan, way.then[1:]))
                    + (", and off the site" if way.leaves else ""))
    elif way.then and way.leaves:
        said.append("from there, when that is full, off the site")
    return said


def _in_turn(plan: Plan, names: tuple[str, ...]) -> list[str]:
    """Names of stores in turn; several tree basins of one entry by its name and their count."""
    entry = {p.store.name: p.placed.work.name for p in plan.stores}
    found = []
    for work, group in groupby(names, key=lambda name: entry[name]):
        members = list(group)
        found.append(members[0] if len(members) == 1 else f"{len(members)} of {work}")
    return found


_LED = ("pipe", "pump", "furrow", "drain")


def step_words(plan: Plan, way: SpillWay, step: Step) -> str:
    """What a spill meets, in words."""
    length = partial(shown, dimension="length", system=plan.site.units)
    place = plan.inputs.dem.named(step.x, step.y)
    size = step.size or 0.0
    if step.kind == "pump":
        return (f"pumped up by {length(size)}" if size > 0 else
                f"pumped, though it falls by {length(-size)}")
    if step.kind in _LED:
        way_in = {"pipe": "in a pipe for", "furrow": "in a furrow, straight, for",
                  "drain": "along the drain for"}[step.kind]
        return f"{way_in} {length(size)}"
    if step.kind == "road":
        width = max((road.surface.area / max(road.surface.length / 2, 1e-9)
                     for road in plan.inputs.ground.roads if road.name == step.name), default=0.0)
        how = ("runs along" if size > 3 * width else "crosses")
        return f"{how} the road \"{step.name}\" for {length(size)}, from {place} on"
    if step.kind == "culvert":
        return f"passes under the road \"{step.name}\" at {place}"
    if step.kind == "roof":
        return (f"runs against the roof \"{step.name}\"" if size <= 0 else
                f"comes within {length(size)} of the roof \"{step.name}\"") + f" at {place}"
    if step.kind == "hollow":
        return _hollow_words(plan, way, size, place)
    if step.kind == "leaves":
        return f"leaves the property over its {step.name} side at {place}"
    if step.kind == "returns":
        return f"comes back over the property's {step.name} side at {place}"
    if step.kind == "edge":
        return f"reaches the end of the known ground at {place}"
    if step.kind == "word":
        return "off the site, by the owner's word"
    return f"joins \"{step.name}\""


def _hollow_words(plan: Plan, way: SpillWay, holds: float, place: str) -> str:
    """A hollow on the way, and whether the design storm's spill would fill it."""
    volume = partial(shown, dimension="volume", system=plan.site.units)
    design = plan.site.rain.design.name
    index = next(i for i, p in enumerate(plan.stores) if p.store.name == way.name)
    spilled = plan.runs[design].stores[index].spilled
    held = (f"all {volume(spilled)} that spill in the storm \"{design}\" would stay there, though "
            "the accounts lead them on" if 0 < spilled <= holds else
            f"in the storm \"{design}\" {volume(spilled)} spill, and run on" if spilled else
            f"in the storm \"{design}\" nothing spills")
    return (f"runs into a hollow at {place}, a dead end until it holds {volume(holds)}; {held}")


def storm_rows(plan: Plan, run: StormRun) -> Rows:
    """What a storm does at each store."""
    system = plan.site.units
    volume, level, flow = (partial(shown, dimension=d, system=system)
                           for d in ("volume", "level", "flow"))
    rows = []
    for planned, storm in zip(plan.stores, run.stores, strict=True):
        left = planned.freeboard_left(storm)
        tank = planned.store.kind == "tank"
        rows.append((storm.name, [
            volume(storm.inflow), volume(storm.caught),
            "–" if storm.peak_level is None else
            level(storm.peak_level) + (" deep" if tank else ""),
            "–" if left is None else level(left) if left > 0 else f"over it by {level(-left)}",
            "–" if storm.first_spill is None else f"{storm.first_spill:.1f} h",
            flow(storm.peak_spill) if storm.spilled > 0 else "–",
            volume(storm.spilled) if storm.spilled > 0 else "–",
            "–" if planned.store.kind == "drain" else _hours(storm.empties)]))
    return rows


def mark_rows(plan: Plan, told: CascadeTold) -> Rows:
    """The rain at which each store begins to fill, is full and spills, and how often it comes."""
    rain = partial(shown, dimension="rain", system=plan.site.units)
    rarity = told.capture.rarity

    def often(depth: float | None) -> str:
        return "–" if rarity is None else rarity.words(depth)

    rows = []
    for store in told.capture.stores:
        leads = store.kind == "drain"
        rows.append((store.name, [
            "never" if store.begins is None else rain(store.begins) if store.begins > 0 else
            "any rain",
            often(store.begins or None),
            "–" if leads else "never" if store.full is None else rain(store.full),
            often(store.full),
            "never" if store.spills is None else rain(store.spills) if store.spills > 0 else
            "any rain"]))
    return rows


def total_rows(totals: tuple[Total, ...], system: str) -> Rows:
    """Captures and what stays, with the works and before them."""
    rain = partial(shown, dimension="rain", system=system)
    volume = _one_unit([value for total in totals for value in (
        total.passive, total.roof, total.left, total.left_before)], system)
    return [(total.name, [
        rain(total.rain_mm), volume(total.passive), rain(total.passive_mm),
        volume(total.roof), rain(total.roof_mm), share_words(total.stays),
        share_words(total.stays_before), volume(total.left), volume(total.left_before),
        volume(total.no_longer_leaves)])
        for total in totals]


def _one_unit(volumes: Sequence[float], system: str) -> Callable[[float], str]:
    """How to print volumes of one table, all in one unit: litres where none is as much as a m3.
    [m3 in]"""
    if system == "metric" and max(map(abs, volumes), default=0.0) < 1:
        return lambda volume: f"{1000 * volume:,.0f} L"
    return partial(shown, dimension="volume", system=system)


def season_rows(plan: Plan, told: CascadeTold) -> list[tuple[str, list[tuple[str, list[str]]]]]:
    """Average, dry, median and wet year of each store."""
    return [(planned.store.name, [(year.year, _season(year, plan.site.units)) for year in years])
            for planned, years in zip(plan.stores, told.seasons, strict=False) if years]


def _by_year(stores: list[tuple[str, list[tuple[str, list[str]]]]]) -> list[tuple[str, Rows]]:
    """The same by the year: each year's stores."""
    found: dict[str, Rows] = {}
    for store, years in stores:
        for year, cells in years:
            found.setdefault(year, []).append((store, cells))
    return list(found.items())


def _season(year: StoreYear, system: str) -> list[str]:
    def times(value: float) -> str:
        if 0 < value < 0.5:  # of an average year
            return how_often(1 / value)
        return f"{value:.1f} times" if value != round(value) else (
            "never" if not value else "once" if value == 1 else f"{value:.0f} times")

    def days(value: float) -> str:
        return f"{value:.{0 if value > 9.95 or value == round(value) else 1}f}"

    return [times(year.fills), times(year.spills), days(year.days_with_water),
            days(year.days_full), f"{year.dry_spell:,} days"
            + (" in the whole record" if year.year == "average year" else ""),
            "–" if year.refill is None else f"{year.refill:,.0f} days",
            shown(year.held_before, "volume", system), shown(year.left_over, "volume", system),
            "–" if not year.wanted else f"{shown(year.used, 'volume', system)} of "
            f"{shown(year.wanted, 'volume', system)}",
            "–" if not year.wanted else days(year.short_days)]


def _hours(hours: float) -> str:
    return "at once" if hours < 0.05 else lasting(hours)
