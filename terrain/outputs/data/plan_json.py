"""`plan.json`: the plan for programs to read, in SI; documented in docs/plan-json.md."""

from __future__ import annotations

from typing import Any

from terrain.inputs.made_from import fingerprints
from terrain.outputs.data.answers_json import (
    ground_facts,
    line_string,
    peaks,
    reaches,
    swale_facts,
    tidy,
)
from terrain.outputs.data.basin_json import basin_facts_of, basin_parts
from terrain.outputs.data.breach_json import breach_facts
from terrain.outputs.data.cascade_json import site_facts, store_facts
from terrain.outputs.data.doubt_json import doubt_object
from terrain.outputs.data.earth_json import earth_facts, earth_of, fixed_facts, order_facts
from terrain.outputs.data.money_json import money_facts
from terrain.outputs.data.tank_json import gutter_facts, tank_facts, use_facts
from terrain.outputs.data.trees_json import carried_facts, stand_facts, tree_facts
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.siting.road_turnouts import Turnout
from terrain.plan.water.accounts import Account
from terrain.plan.water.entry import Entry

FORMAT = 1


def plan_object(plan: Plan) -> dict[str, Any]:
    """The plan as plain objects, ready to dump."""
    accounts = {**plan.storms, **({"": plan.year} if plan.year else {})}
    entries = {name: {entry.name: entry for entry in account.entries}
               for name, account in accounts.items()}
    found: dict[str, Any] = tidy({
        "format": FORMAT,
        "site": plan.site.name,
        "units": "SI",
        "inputs": fingerprints(plan.site),
        "boundary_m2": float(plan.inputs.ground.boundary.area),
        "storms": [{"name": s.name, "depth_mm": s.depth, "duration_h": s.duration,
                    "pattern": s.pattern, "return_period_years": s.return_period,
                    "design": s.name == plan.site.rain.design.name}
                   for s in plan.site.rain.storms],
        "stores": [_store(plan, i, store, entries) for i, store in enumerate(plan.stores)],
        "sheds": [_shed(plan, i) for i in range(len(plan.sheds))],
        "road_turnouts": [_turnout(plan, turnout) for turnout in plan.turnouts],
        "pipes": [{"name": check.name, "kind": check.kind, "length_m": check.length,
                   "fall_m": check.fall, "diameter_m": check.diameter, "assumed": check.assumed,
                   "roughness": check.roughness, "must_carry_m3_s": check.must_carry,
                   "carries_m3_s": check.carries, "velocity_m_s": check.velocity,
                   "needs_diameter_m": check.needed, "enough": check.enough}
                  for check in plan.pipes],
        "totals": {"storms": {name: _total(account) for name, account in plan.storms.items()},
                   "average_year": _total(plan.year) if plan.year else None,
                   "average_year_beside": None if plan.beside is None else {
                       "soil": plan.beside[0].partition(", ")[2], **_total(plan.beside[1])},
                   "years": {year.kind: {"year": year.year, "start_month": year.start_month,
                                         "rain_mm": year.rain, "missing_days": year.missing,
                                         **_total(year.account)} for year in plan.years}},
        "record": None if plan.seasons is None else {
            "first_day": plan.seasons.days[0].date().isoformat(),
            "last_day": plan.seasons.days[-1].date().isoformat(),
            "years": plan.seasons.years, "missing_days": plan.seasons.missing},
        "earthworks": earth_facts(plan),
        "money": money_facts(plan),
        "order_of_work": order_facts(plan),
        "fixed": fixed_facts(plan),
        "trees_carried": [carried_facts(plan, part) for part in plan.carried],
        "gutters": gutter_facts(plan),
        **site_facts(plan),
        "doubt": doubt_object(plan.doubt),
        "notes": list(plan.notes),
    })
    return found


def _store(plan: Plan, index: int, planned: PlannedStore, entries: dict[str, dict[str, Entry]]
           ) -> dict[str, Any]:
    node, store = plan.cascade.nodes[index], planned.store
    dem = plan.inputs.dem
    x, y = dem.frame.to_source(store.x, store.y)
    tank = store.kind in ("tank", "drain")
    yearly = entries.get("", {}).get(store.name)
    found: dict[str, Any] = {
        "name": store.name, "kind": store.kind, "at": [float(x), float(y)],
        **ground_facts(node.catchment), "run_on_catchment_m2": node.catchment.run_on_area,
        "roof_m2": node.roof.area,
        "storage_m3": store.capacity, "sill_level_m": None if tank else store.sill.level,
        "sill_length_m": None if tank else store.sill.length,
        "sill_head_m": None if tank else store.sill.head,
        "infiltration_mm_h": store.infiltration, "infiltration_source": store.rate_source,
        **_arrival(plan, index),
        "spills_to": planned.spills_to, "spill_led_by": node.led or None,
        "furrow": None if planned.furrow is None else furrow_facts(plan, planned),
        "starts_at_mm": planned.starts_at,
        "full_at_mm": planned.full_at, "drains_in_h": planned.drain_hours,
        "storms": {name: _fates(entries[name][store.name]) for name in plan.storms},
        "average_year": None if yearly is None else _fates(yearly),
        "cautions": list(planned.cautions), "breach": breach_facts(planned.breach, dem)}
    if planned.swale is not None:
        swale = planned.swale
        found |= {"line": line_string(dem, swale.route.line), "level_m": swale.route.level,
                  "length_m": swale.route.length, "depth_m": swale.depth, "width_m": swale.width,
                  "berm_height_m": swale.berm_height,
                  "berm_height_built_m": swale.berm_height_built, **swale_facts(swale)}
    if planned.basin is not None:
        basin = planned.basin
        found |= {"gross_storage_m3": basin.gross, "pool_area_m2": basin.pool_area,
                  "gross_pool_area_m2": basin.gross_area,
                  "crest_m": basin.crest if basin.has_wall else None,
                  "wall_height_m": basin.height, "water_at_wall_m": basin.water_at_wall,
                  **basin_parts(basin, dem, plan.inputs.rules)}
    if planned.facts is not None:
        found |= basin_facts_of(planned.facts)
    if store.kind == "tank":
        found |= tank_facts(plan, index)
    elif node.store.drawn:
        found["uses"] = use_facts(plan, index)
    found |= store_facts(plan, index)
    if planned.drain is not None:
        route, section = planned.drain.route, planned.drain.section
        found |= {"line": line_string(dem, route.line), "length_m": route.length,
                  "grade": route.grade, "start_level_m": route.start_level,
                  "end_level_m": route.end_level, "width_m": section.width,
                  "depth_m": section.depth, "side_slope": section.side_slope,
                  "lining": section.lining, "design_peak_m3_s": section.peak,
                  "water_m": section.water, "velocity_m_s": section.velocity,
                  "permissible_velocity_m_s": section.permissible}
    if planned.placed.hollow is not None:
        found |= {"pool_area_m2": planned.placed.hollow.area,
                  "depth_m": planned.placed.hollow.depth}
    if planned.quantities is not None:
        amount = planned.quantities
        found |= {"cut_m3": amount.cut, "bank_m3": amount.bank, "machine_hours": amount.hours,
                  "money": None if amount.money is None else list(amount.money),
                  "currency": amount.currency or None}
    found |= earth_of(plan, store.name)
    if planned.trees_need is not None:
        found |= {"tree_need_m3_year": planned.trees_need,
                  "tree_catchment_wanted_m2": planned.trees_catchment}
    if planned.placed.tree is not None:
        found |= tree_facts(planned.placed.tree, planned.life)
    if planned.placed.stand is not None:
        found |= stand_facts(planned.placed.stand, planned.life)
    return found


def furrow_facts(plan: Plan, planned: PlannedStore) -> dict[str, Any]:
    """The furrow that leads a store's spill, from the sill on."""
    made, runs, dem = planned.furrow, planned.furrow_runs, plan.inputs.dem
    assert made is not None  # asked for furrows alone
    assert runs is not None
    return {"line": line_string(dem, made.line), "length_m": made.length, "width_m": made.width,
            "sill_level_m": made.sill, "start_level_m": made.start_level,
            "end_level_m": made.end_level, "rim_level_m": made.rim,
            "fall_m": made.fall, "falls": made.falls, "lower_rim_by_m": made.lower_by,
            "deepest_m": made.deepest[1], "deepest_at_m": made.deepest[0],
            "lowest_m": made.lowest[1], "lowest_at_m": made.lowest[0],
            "trench_along_sill_m": made.gathers, "earth_m3": made.earth,
            "peak_m3_s": runs.peak, "capacity_m3_s": runs.capacity, "enough": runs.enough,
            "velocity_m_s": runs.velocity, "permissible_velocity_m_s": runs.permissible,
            "needed_width_m": runs.needed_width, "dug_as": runs.way or None,
            "dug_width_m": runs.dug_width, "water_over_sill_m": planned.over_sill}


def _arrival(plan: Plan, index: int) -> dict[str, Any]:
    """How the runoff of a store's own ground comes in the design storm."""
    ground, depth = plan.cascade.nodes[index].catchment.ground, plan.site.rain.design.depth
    found = plan.peaks[index]
    if found is None:
        return {}
    return {"mean_curve_number": ground.mean_curve_number,
            "runoff_m3": ground.runoff(depth),
            "runoff_by_mean_number_m3": ground.runoff_by_mean_number(depth),
            "concentration_by_segments_h": ground.concentration_by_segments,
            "concentration_by_lag_h": ground.concentration_by_lag,
            "reaches": reaches(ground), **peaks(found)}


def _fates(entry: Entry) -> dict[str, float]:
    return {"inflow_m3": entry.inflow, "own_ground_m3": entry.runoff, "run_on_m3": entry.run_on,
            "roof_m3": entry.roof, "from_above_m3": entry.from_above, "grey_m3": entry.grey,
            "brought_m3": entry.brought, "caught_m3": entry.caught,
            "infiltrated_m3": entry.infiltrated, "evaporated_m3": entry.evaporated,
            "used_m3": entry.used, "held_m3": entry.held, "spilled_m3": entry.spilled}


def _total(account: Account) -> dict[str, float]:
    return {"rain_m3": account.rain, "run_on_m3": account.run_on,
            "soaked_in_place_m3": account.soaked_in_place, "roof_m3": account.roof,
            "passive_m3": account.passive, "left_site_m3": account.left_site,
            "led_to_tanks_m3": account.led, "brought_m3": account.brought,
            "grey_m3": account.grey}


def _shed(plan: Plan, index: int) -> dict[str, Any]:
    shed, dem = plan.sheds[index], plan.inputs.dem
    names = [storm.name for storm in plan.site.rain.storms]
    points = []
    for point in shed.points:
        x, y = dem.frame.to_source(*dem.xy(point.row, point.column))
        points.append({
            "at": [float(x), float(y)],
            "ends_at": (plan.stores[point.ends_at - 1].store.name if point.ends_at
                        else "off the site"),
            "storms": {name: {"passes_m3": passes, "own_m3": own} for name, passes, own
                       in zip(names, point.volumes, point.own_volumes, strict=True)}})
    return {"name": shed.name, "kind": shed.kind, "area_m2": shed.area,
            **ground_facts(shed.catchment), "points": points}


def _turnout(plan: Plan, turnout: Turnout) -> dict[str, Any]:
    x, y = plan.inputs.dem.frame.to_source(turnout.x, turnout.y)
    outlet = turnout.outlet
    return {"road": turnout.road, "at": [float(x), float(y)], "station_m": outlet.chainage,
            "from_m": outlet.start, "to_m": outlet.end, "grade": outlet.grade,
            "spacing_m": outlet.spacing, "water_bar_spacing_m": turnout.water_bar,
            "foot": outlet.foot, "volume_m3": turnout.volume, "own_m3": turnout.own,
            "leads_to": turnout.leads_to or None,
            "away_m": turnout.away if turnout.leads_to else None,
            "fall_m": turnout.fall if turnout.leads_to else None}
