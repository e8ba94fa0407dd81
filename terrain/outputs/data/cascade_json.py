"""Keys of `plan.json` about the cascade: ways of the spills, storms, captures, totals, seasons."""

from __future__ import annotations

from typing import Any

from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS
from terrain.plan.water.rarity import Rarity
from terrain.plan.water.routing import StoreStorm
from terrain.plan.water.spill_ways import SpillWay, Step
from terrain.plan.water.totals import Total


def store_facts(plan: Plan, index: int) -> dict[str, Any]:
    """What a plan's cascade tells of one store."""
    told = plan.told
    if told is None:
        return {}
    way, curve = told.ways[index], told.capture.stores[index]
    rarity = told.capture.rarity
    found: dict[str, Any] = {
        "spill_way": _way(plan, way),
        "spill_way_without_pump": None if way.without_pump is None else
        _way(plan, way.without_pump),
        "pump": _pump(plan, index),
        "begins_at_mm": curve.begins, "spills_at_mm": curve.spills,
        "begins_once_in_years": _years(rarity, curve.begins),
        "full_once_in_years": _years(rarity, curve.full),
        "storm_levels": {name: _levels(plan, index, run.stores[index])
                         for name, run in plan.runs.items()},
        "capture_curve": [{"rain_mm": float(depth), "came_m3": float(came),
                           "caught_m3": float(caught), "spilled_m3": float(spilled),
                           **_levels(plan, index, run.stores[index])}
                          for depth, came, caught, spilled, run in zip(
                              told.capture.rain, curve.came, curve.caught, curve.spilled,
                              told.capture.runs, strict=True)]}
    if told.seasons and told.seasons[index]:
        found["store_years"] = [{
            "year": year.year, "fills": year.fills, "spills": year.spills,
            "days_with_water": year.days_with_water, "days_full": year.days_full,
            "dry_spell_days": year.dry_spell, "refill_days": year.refill,
            "held_before_m3": year.held_before, "left_over_m3": year.left_over,
            "wanted_m3": year.wanted, "used_m3": year.used, "short_days": year.short_days}
            for year in told.seasons[index]]
    return found


def _way(plan: Plan, way: SpillWay) -> dict[str, Any]:
    return {"length_m": way.length, "then": list(way.then), "leaves_site": way.leaves,
            "steps": [_step(plan, step) for step in way.steps]}


def _pump(plan: Plan, index: int) -> dict[str, Any] | None:
    node = plan.cascade.nodes[index]
    if node.rise is None:
        return None
    found: dict[str, Any] = {"rise_m": node.rise, "capacity_m3_s": node.lifts}
    if node.lifts is not None:
        to = node.over_to
        over = {name: run.stores[index].over for name, run in plan.runs.items()}
        if plan.year is not None:
            over["average year"] = plan.year.entries[index].over
        found |= {"over_goes_to": None if to is None else plan.stores[to].store.name,
                  "over_m3": over}
    return found


def site_facts(plan: Plan) -> dict[str, Any]:
    """What it tells of the whole site."""
    told = plan.told
    if told is None:
        return {}
    swept = told.capture
    return {
        "site_capture": {
            "return_periods_from": None if swept.rarity is None else swept.rarity.source,
            "curve": [{"rain_mm": float(depth), "came_m3": float(came), "passive_m3":
                       float(passive), "roof_m3": float(roof), "kept_share": float(kept),
                       "stays_share": float(stays), "stays_before_share": float(before)}
                      for depth, came, passive, roof, kept, stays, before in zip(
                          swept.rain, swept.came, swept.passive, swept.roof, swept.kept_of_all,
                          swept.stays, swept.stays_before, strict=True)]},
        "before_after": [_total(total) for total in told.totals]}


def _step(plan: Plan, step: Step) -> dict[str, Any]:
    x, y = plan.inputs.dem.frame.to_source(step.x, step.y)
    size = "volume_m3" if step.kind == "hollow" else "size_m"
    return {"kind": step.kind, "along_m": step.at, "at": [float(x), float(y)],
            "name": step.name or None, size: step.size}


def _levels(plan: Plan, index: int, storm: StoreStorm) -> dict[str, Any]:
    return {"peak_level_m": storm.peak_level,
            "freeboard_m": plan.stores[index].freeboard_left(storm),
            "spill_peak_m3_s": storm.peak_spill, "first_spill_h": storm.first_spill,
            "empties_in_h": storm.empties}


def _years(rarity: Rarity | None, depth: float | None) -> dict[str, Any] | None:
    if rarity is None or depth is None:
        return None
    years, beyond = rarity.once_in(depth)
    return {"years": years, "beyond": beyond or None}


def _total(total: Total) -> dict[str, Any]:
    name = "average year" if total.name in YEARS.values() else total.name
    return {"name": name, "rain_mm": total.rain_mm, "rain_m3": total.rain,
            "passive_m3": total.passive, "passive_mm": total.passive_mm, "roof_m3": total.roof,
            "roof_mm": total.roof_mm, "stays_share": total.stays,
            "stays_before_share": total.stays_before, "left_site_m3": total.left,
            "left_site_before_m3": total.left_before,
            "no_longer_leaves_m3": total.no_longer_leaves,
            "soaked_in_place_before_m3": total.soaked_before}
