"""The rows of every layer of the plan, in the working frame; fields end in their unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point

from terrain.outputs.drawing.groups import groups_of, tints_of
from terrain.outputs.drawing.keep_clear_symbols import symbol_of
from terrain.outputs.field.breaklines import breaklines_of
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.gis.fields import storm_fields
from terrain.outputs.gis.land_layers import (
    Row,
    contour_rows,
    cover_rows,
    designed_contour_rows,
    flow_rows,
    shed_rows,
    soil_rows,
)
from terrain.plan.earth.bodies import body_of
from terrain.plan.planned import Plan
from terrain.surface.catchments import outline
from terrain.surface.flow_lines import flow_line
from terrain.works.pipe import PipeCheck
from terrain.works.setbacks import setback_of

#: What the parts of a work take the ground for, by what they are called.
TAKES = {"its cut": "dug", "its channel": "dug", "its pit": "dug", "its trench": "dug",
         "its rim": "dug", "its berm": "heaped", "its bank": "heaped", "its bund": "heaped",
         "its full pool": "water", "its pool": "water"}
#: What leads a spill, in words.
LED = {"": "over the ground", "furrow": "by a furrow", "pipe": "by a pipe", "pump": "by a pump",
       "drain": "by a drain", "word": "by the owner's word"}
#: A stake this close to its level has nothing to dig or fill. [m]
AT_LEVEL = 0.005
#: Things to keep clear of are as many layers as they have kinds of shapes, which a style fits.
KEEP_CLEAR = {"points": "Point", "lines": "LineString", "areas": "Polygon"}
#: The field of what a store catches in an average year.
YEAR = "caught average year m3"


@dataclass(frozen=True)
class Layer:
    """A layer: its name, what it is in a sentence, its features with their `geometry`."""

    name: str
    said: str
    rows: list[Row]


def layers_of(plan: Plan, field: SettingOut) -> list[Layer]:
    """Every layer that has features; those that lie over others come first.

    Parameters
    ----------
    field : SettingOut
        Of the same plan: its stakes, and the designed ground.
    """
    ground = plan.inputs.ground
    found = [
        Layer("cautions", "What can hurt somebody or something, at the work that earns it.",
              _cautions(plan)),
        Layer("stores", "Everything that holds or leads water, at its middle, with what it holds "
              "and catches.", _stores(plan)),
        Layer("sills", "Where stores spill: the sill's level, length, and the head and peak of the "
              "storms that size it.", _sills(plan)),
        Layer("stakes", "Stakes of setting_out.csv: ground, level to make, cut above 0 or fill "
              "below.", _stakes(field)),
        Layer("shed_points", "Where roads and bare ground let their water go for good, most first, "
              "with what passes in each storm.", _shed_points(plan)),
        Layer("road_turnouts", "Where a road should let its water go.", _turnouts(plan)),
        Layer("swales", "The downhill lips of swales, on the contour of the sill.", _swales(plan)),
        Layer("drains", "The downhill lips of drains, from the inlet down.", _drains(plan)),
        Layer("spills", "Ways of the spills, from each sill to the next store or off the land.",
              _spills(plan)),
        Layer("furrows", "Furrows dug by hand that lead a spill, from the sill on.",
              _furrows(plan)),
        Layer("pipes", "Pipes between works, with what they carry.", _pipes(plan)),
        Layer("culverts", "Culverts and bridges as drawn, with what they carry.", _culverts(plan)),
        Layer("breaklines", "Lines at which the designed ground bends, with levels.",
              breakline_rows(field)),
        Layer("breach_ways", "Where the water goes if a bank fails, full, to the end of the known "
              "ground; length and fall are of the way to where it leaves the land.",
              _breach_ways(plan)),
        Layer("longest_ways", "The longest way of the water in each catchment.",
              _longest_ways(plan)),
        Layer("shed_paths", "Ways of what roads and bare ground shed, to the next store or off "
              "the ground.", _shed_paths(plan)),
        Layer("flow_lines", "Where water gathers before any work is built: the ground that drains "
              "there, and what runs off it in each storm.", flow_rows(plan)),
        Layer("works", "Ground that works take, part by part: dug, heaped, or under water when "
              "full.", _works(plan)),
        Layer("basins", "Water surfaces of full basins and tree basins.", _basins(plan)),
        Layer("hollows", "Water surfaces of full natural hollows.", _hollows(plan)),
        *(Layer(f"keep_clear_{end}", "What works are to keep clear of, and how far.",
                _keep_clear(plan, shape)) for end, shape in KEEP_CLEAR.items()),
        Layer("roof_outlines", "Roofs as read.",
              [{"name": r.name, "area_m2": r.area, "efficiency": r.efficiency,
                "geometry": r.outline} for r in ground.roofs]),
        Layer("road_surfaces", "Roads as read, at their width.",
              [{"name": r.name, "cover": r.cover, "geometry": r.surface} for r in ground.roads]),
        Layer("designed_contours", "Contours of the designed ground, on works and about them.",
              designed_contour_rows(plan, field)),
        Layer("contours", "Contours of the ground as it is, smoothed.", contour_rows(plan)),
        Layer("boundary", "The land.",
              [{"name": plan.site.name, "area_m2": float(ground.boundary.area),
                "geometry": ground.boundary}]),
        Layer("road_sheds", "All ground that drains to each road, itself included.",
              shed_rows(plan, "road")),
        Layer("bare_sheds", "All ground that drains to each bare patch, itself included.",
              shed_rows(plan, "bare ground")),
        Layer("catchments", "The ground whose water meets each store first.", _catchments(plan)),
        Layer("cover", "What covers the ground, as read onto the raster's cells.",
              cover_rows(plan)),
        Layer("soils", "Hydrologic soil groups, as read onto the raster's cells.",
              soil_rows(plan))]
    return [layer for layer in found if layer.rows]


def _stores(plan: Plan) -> list[Row]:
    rows = []
    fields = storm_fields(list(plan.storms), "caught", "m3", [YEAR])
    for index, (planned, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        store = planned.store
        row: Row = {
            "name": store.name, "kind": store.kind, "storage_m3": store.capacity,
            "catchment_m2": node.catchment.area, "roof_m2": node.roof.area,
            "sill_level_m": None if store.kind in ("tank", "drain") else store.sill.level,
            "spills_to": planned.spills_to,
            "starts_at_mm": planned.starts_at, "full_at_mm": planned.full_at,
            "drains_in_h": planned.drain_hours if np.isfinite(planned.drain_hours) else None}
        for field, account in zip(fields, plan.storms.values(), strict=True):
            row[field] = account.entries[index].caught
        if plan.year is not None:
            row[YEAR] = plan.year.entries[index].caught
        rows.append({**row, "geometry": Point(store.x, store.y)})
    return rows


def _swales(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "level_m": p.swale.route.level,
             "length_m": p.swale.route.length, "depth_m": p.swale.depth,
             "width_m": p.swale.width, "storage_m3": p.store.capacity, "cut_m3": p.swale.cut,
             "berm_m3": p.swale.berm, "shape": p.swale.section.shape,
             "checks": len(p.swale.checks), "geometry": LineString(p.swale.route.line)}
            for p in plan.stores if p.swale is not None]


def _basins(plan: Plan) -> list[Row]:
    rows = []
    for planned in plan.stores:
        if planned.store.kind in ("basin", "tree basin"):
            rows.append({"name": planned.store.name, "kind": planned.store.kind,
                         "storage_m3": planned.store.capacity,
                         "sill_level_m": planned.store.sill.level,
                         "geometry": planned.placed.outline})
    return rows


def _hollows(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "storage_m3": p.store.capacity,
             "sill_level_m": p.store.sill.level, "depth_m": p.placed.hollow.depth,
             "area_m2": p.placed.hollow.area, "geometry": p.placed.outline}
            for p in plan.stores if p.placed.hollow is not None]


def _keep_clear(plan: Plan, shape: str) -> list[Row]:
    rows = []
    for thing in plan.inputs.ground.keep_clear:
        if not thing.shape.geom_type.endswith(shape):
            continue
        setback = setback_of(thing, plan.inputs.rules)
        rows.append({"name": thing.name, "kind": thing.kind, "symbol": symbol_of(thing),
                     "keep_m": None if setback is None else setback.distance,
                     "measure_m": thing.measure, "geometry": thing.shape})
    return rows


def _breach_ways(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "volume_m3": p.breach.volume, "length_m": p.breach.length,
             "fall_m": p.breach.fall, "water_against_m": p.breach.against,
             "meets": "; ".join(f"{met.kind} {met.name}" for met in p.breach.met),
             "geometry": LineString(p.breach.way)}
            for p in plan.stores if p.breach is not None and len(p.breach.way) > 1]


def _drains(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "leads_to": p.spills_to, "grade": p.drain.route.grade,
             "length_m": p.drain.route.length, "start_level_m": p.drain.route.start_level,
             "end_level_m": p.drain.route.end_level, "bed_width_m": p.drain.section.width,
             "depth_m": p.drain.section.depth, "side_slope": p.drain.section.side_slope,
             "lining": p.drain.section.lining, "peak_m3_s": p.drain.section.peak,
             "water_m": p.drain.section.water, "velocity_m_s": p.drain.section.velocity,
             "permissible_velocity_m_s": p.drain.section.permissible, "cut_m3": p.drain.cut,
             "geometry": LineString(p.drain.route.line)}
            for p in plan.stores if p.drain is not None]


def _pipe_row(check: PipeCheck) -> Row:
    return {"diameter_m": check.diameter, "assumed": check.assumed, "length_m": check.length,
            "slope": check.slope, "carries_m3_s": check.carries,
            "must_carry_m3_s": check.must_carry, "needs_diameter_m": check.needed}


def _culverts(plan: Plan) -> list[Row]:
    checks = [check for check in plan.pipes if check.kind == "culvert"]
    return [{"name": culvert.name, **_pipe_row(check), "geometry": culvert.line}
            for culvert, check in zip(plan.terrain.conditioning.culverts, checks, strict=True)]


def _pipes(plan: Plan) -> list[Row]:
    return [{"name": check.name, **_pipe_row(check), "geometry": LineString(check.line)}
            for check in plan.pipes if check.kind == "pipe"]


def _turnouts(plan: Plan) -> list[Row]:
    return [{"road": t.road, "station_m": t.outlet.chainage, "from_m": t.outlet.start,
             "to_m": t.outlet.end, "grade": t.outlet.grade, "spacing_m": t.outlet.spacing,
             "water_bar_spacing_m": t.water_bar, "foot": t.outlet.foot,
             "volume_m3": t.volume, "own_m3": t.own, "leads_to": t.leads_to or None,
             "away_m": t.away if t.leads_to else None, "fall_m": t.fall if t.leads_to else None,
             "geometry": Point(t.x, t.y)} for t in plan.turnouts]


def _sills(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "level_m": p.store.sill.level,
             "length_m": p.store.sill.length, "head_m": p.store.sill.head,
             "peak_m3_s": p.store.sill.peak,
             "geometry": Point(p.placed.spill_x, p.placed.spill_y)}
            for p in plan.stores if p.store.kind not in ("tank", "drain")]


def _catchments(plan: Plan) -> list[Row]:
    rows = []
    tints = _tints(plan)
    for index, (planned, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        cells = plan.cascade.labels == index + 1
        if cells.any():
            rows.append({"name": planned.store.name, "area_m2": node.catchment.area,
                         "run_on_m2": node.catchment.run_on_area,
                         "touches_edge": node.catchment.touches_edge,
                         "at_risk_m2": node.catchment.at_risk,
                         "mean_curve_number": node.catchment.mean_curve_number,
                         "tint": tints[index],
                         "geometry": outline(cells, plan.inputs.dem.transform)})
    return rows


def _spills(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "spills_to": p.spills_to, "piped": node.piped,
             "led": LED[node.led],
             "geometry": LineString(node.spill_path)}
            for p, node in zip(plan.stores, plan.cascade.nodes, strict=True)
            if len(node.spill_path) > 1]


def _furrows(plan: Plan) -> list[Row]:
    return [{"name": planned.store.name, "spills_to": planned.spills_to,
             "length_m": made.length, "width_m": made.width,
             "sill_level_m": made.sill, "start_level_m": made.start_level,
             "end_level_m": made.end_level, "fall_m": made.fall,
             "falls": made.falls, "lower_rim_by_m": made.lower_by,
             "deepest_m": made.deepest[1], "lowest_m": made.lowest[1], "earth_m3": made.earth,
             "geometry": LineString(made.line)}
            for planned in plan.stores if (made := planned.furrow) is not None]


def _longest_ways(plan: Plan) -> list[Row]:
    return [{"name": p.store.name, "length_m": node.catchment.longest_path,
             "concentration_by_segments_h": node.catchment.concentration_by_segments,
             "concentration_by_lag_h": node.catchment.concentration_by_lag,
             "geometry": LineString(node.longest_way)}
            for p, node in zip(plan.stores, plan.cascade.nodes, strict=True)
            if len(node.longest_way) > 1]


def _shed_points(plan: Plan) -> list[Row]:
    names = [storm.name for storm in plan.site.rain.storms]
    passes, own = (storm_fields(names, verb, "m3") for verb in ("passes", "own"))
    rows = []
    for shed in plan.sheds:
        for rank, point in enumerate(shed.points, 1):
            x, y = plan.inputs.dem.xy(point.row, point.column)
            row: Row = {"shed": shed.name, "kind": shed.kind, "rank": rank}
            row |= dict(zip(passes, point.volumes, strict=True))
            row |= dict(zip(own, point.own_volumes, strict=True))
            rows.append({**row, "geometry": Point(float(x), float(y))})
    return rows


def _shed_paths(plan: Plan) -> list[Row]:
    rows = []
    for shed in plan.sheds:
        for rank, point in enumerate(shed.points, 1):
            if len(point.path) > 1:
                way = flow_line(plan.inputs.dem, point.path, plan.terrain.filled).line
                ends = (plan.stores[point.ends_at - 1].store.name if point.ends_at
                        else "off the site")
                rows.append({"shed": shed.name, "rank": rank, "ends_at": ends,
                             "geometry": LineString(way)})
    return rows


def breakline_rows(field: SettingOut) -> list[Row]:
    """Lines at which the designed ground bends, with their levels, for the layer of them."""
    return [{"work": line.work, "line": line.name,
             "marks": "sill" if line.name == "sill" else "edge",
             "geometry": LineString(line.points)} for line in breaklines_of(field)]


def _works(plan: Plan) -> list[Row]:
    rows = []
    for planned in plan.stores:
        body = body_of(planned, plan.inputs.dem, plan.inputs.rules)
        for called, shape in (() if body is None else body.parts):
            if not shape.is_empty:
                rows.append({"name": planned.store.name, "kind": planned.store.kind,
                             "part": called.removeprefix("its "), "takes": TAKES[called],
                             "area_m2": float(shape.area), "geometry": shape})
    return rows


def _stakes(field: SettingOut) -> list[Row]:
    return [{"stake": staked.number, "work": staked.stake.work, "mark": staked.stake.mark,
             "station_m": staked.stake.station, "ground_m": staked.stake.ground,
             "design_m": staked.stake.design, "design_of": staked.stake.design_of,
             "cut_m": staked.stake.cut, "staff_reading_m": staked.reading,
             "to": ("keep" if not abs(staked.stake.cut) >= AT_LEVEL else
                    "dig" if staked.stake.cut > 0 else "fill"),
             "geometry": Point(staked.stake.x, staked.stake.y)} for staked in field.stakes]


def _cautions(plan: Plan) -> list[Row]:
    return [{"name": planned.store.name, "kind": planned.store.kind, "number": number,
             "caution": said, "geometry": Point(planned.store.x, planned.store.y)}
            for planned in plan.stores for number, said in enumerate(planned.cautions, 1)]


def _tints(plan: Plan) -> dict[int, int]:
    """A tint for every store's catchment, 1 to 5, neighbours' different, as on the map."""
    groups = [group.members for group in groups_of(plan)]
    return {index: tint + 1 for group, tint in
            zip(groups, tints_of(plan.cascade.labels, groups), strict=True) for index in group}
