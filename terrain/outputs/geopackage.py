"""Every layer of the plan in one GeoPackage, in the working frame."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from terrain.outputs.design_surface import breakline_rows
from terrain.plan.planned import Plan
from terrain.surface.catchments import outline
from terrain.surface.flow_lines import flow_line
from terrain.works.pipe import PipeCheck
from terrain.works.setbacks import setback_of


def write_geopackage(plan: Plan, path: Path) -> None:
    """Write works, catchments, spills, sheds and the layers that the owner gave.

    Fields end in their unit.  A layer without features is left out.
    """
    layers = {
        "boundary": [{"name": plan.site.name, "area_m2": float(plan.inputs.ground.boundary.area),
                      "geometry": plan.inputs.ground.boundary}],
        "stores": _stores(plan), "swales": _swales(plan), "basins": _basins(plan),
        "hollows": _hollows(plan), "drains": _drains(plan),
        "sills": _sills(plan), "catchments": _catchments(plan), "spills": _spills(plan),
        "longest_ways": _longest_ways(plan),
        "road_surfaces": [{"name": r.name, "cover": r.cover, "geometry": r.surface}
                          for r in plan.inputs.ground.roads],
        "roof_outlines": [{"name": r.name, "area_m2": r.area, "efficiency": r.efficiency,
                           "geometry": r.outline} for r in plan.inputs.ground.roofs],
        "breaklines": breakline_rows(plan),
        "keep_clear": _keep_clear(plan), "breach_ways": _breach_ways(plan),
        "culverts": _culverts(plan), "pipes": _pipes(plan), "road_turnouts": _turnouts(plan),
        "shed_points": _shed_points(plan), "shed_paths": _shed_paths(plan)}
    import geopandas
    import pyogrio

    # The same plan gives the same bytes: no time of writing in the file.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2000-01-01T00:00:00.000Z"})
    for name, rows in layers.items():
        if rows:
            frame = geopandas.GeoDataFrame(rows, geometry="geometry",
                                           crs=plan.inputs.dem.frame.working)
            frame.to_file(path, layer=name, driver="GPKG", engine="pyogrio")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _stores(plan: Plan) -> list[dict[str, Any]]:
    from shapely import Point

    rows = []
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        store = planned.store
        row: dict[str, Any] = {
            "name": store.name, "kind": store.kind, "storage_m3": store.capacity,
            "catchment_m2": node.catchment.area, "roof_m2": node.roof.area,
            "sill_level_m": None if store.kind in ("tank", "drain") else store.sill.level,
            "spills_to": planned.spills_to,
            "starts_at_mm": planned.starts_at, "full_at_mm": planned.full_at,
            "drains_in_h": planned.drain_hours if np.isfinite(planned.drain_hours) else None}
        for name, account in plan.storms.items():
            entry = next(e for e in account.entries if e.name == store.name)
            row[f"caught {name} m3"] = entry.caught
        if plan.year is not None:
            row["caught average year m3"] = next(e for e in plan.year.entries
                                                 if e.name == store.name).caught
        rows.append({**row, "geometry": Point(store.x, store.y)})
    return rows


def _swales(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": p.store.name, "level_m": p.swale.route.level,
             "length_m": p.swale.route.length, "depth_m": p.swale.depth,
             "width_m": p.swale.width, "storage_m3": p.store.capacity, "cut_m3": p.swale.cut,
             "berm_m3": p.swale.berm, "shape": p.swale.section.shape,
             "checks": len(p.swale.checks), "geometry": LineString(p.swale.route.line)}
            for p in plan.stores if p.swale is not None]


def _basins(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for planned in plan.stores:
        if planned.store.kind in ("basin", "tree basin"):
            rows.append({"name": planned.store.name, "kind": planned.store.kind,
                         "storage_m3": planned.store.capacity,
                         "sill_level_m": planned.store.sill.level,
                         "geometry": planned.placed.outline})
    return rows


def _hollows(plan: Plan) -> list[dict[str, Any]]:
    return [{"name": p.store.name, "storage_m3": p.store.capacity,
             "sill_level_m": p.store.sill.level, "depth_m": p.placed.hollow.depth,
             "area_m2": p.placed.hollow.area, "geometry": p.placed.outline}
            for p in plan.stores if p.placed.hollow is not None]


def _keep_clear(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for thing in plan.inputs.ground.keep_clear:
        setback = setback_of(thing, plan.inputs.rules)
        rows.append({"name": thing.name, "kind": thing.kind,
                     "keep_m": None if setback is None else setback.distance,
                     "measure_m": thing.measure, "geometry": thing.shape})
    return rows


def _breach_ways(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": p.store.name, "volume_m3": p.breach.volume, "length_m": p.breach.length,
             "fall_m": p.breach.fall, "water_against_m": p.breach.against,
             "meets": "; ".join(f"{met.kind} {met.name}" for met in p.breach.met),
             "geometry": LineString(p.breach.way)}
            for p in plan.stores if p.breach is not None and len(p.breach.way) > 1]


def _drains(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": p.store.name, "leads_to": p.spills_to, "grade": p.drain.route.grade,
             "length_m": p.drain.route.length, "start_level_m": p.drain.route.start_level,
             "end_level_m": p.drain.route.end_level, "bed_width_m": p.drain.section.width,
             "depth_m": p.drain.section.depth, "side_slope": p.drain.section.side_slope,
             "lining": p.drain.section.lining, "peak_m3_s": p.drain.section.peak,
             "water_m": p.drain.section.water, "velocity_m_s": p.drain.section.velocity,
             "permissible_m_s": p.drain.section.permissible, "cut_m3": p.drain.cut,
             "geometry": LineString(p.drain.route.line)}
            for p in plan.stores if p.drain is not None]


def _pipe_row(check: PipeCheck) -> dict[str, Any]:
    return {"diameter_m": check.diameter, "assumed": check.assumed, "length_m": check.length,
            "slope": check.slope, "carries_m3_s": check.carries,
            "must_carry_m3_s": check.must_carry, "needs_diameter_m": check.needed}


def _culverts(plan: Plan) -> list[dict[str, Any]]:
    checks = [check for check in plan.pipes if check.kind == "culvert"]
    return [{"name": culvert.name, **_pipe_row(check), "geometry": culvert.line}
            for culvert, check in zip(plan.terrain.conditioning.culverts, checks, strict=True)]


def _pipes(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": check.name, **_pipe_row(check), "geometry": LineString(check.line)}
            for check in plan.pipes if check.kind == "pipe"]


def _turnouts(plan: Plan) -> list[dict[str, Any]]:
    from shapely import Point

    return [{"road": t.road, "chainage_m": t.outlet.chainage, "from_m": t.outlet.start,
             "to_m": t.outlet.end, "grade": t.outlet.grade, "spacing_m": t.outlet.spacing,
             "water_bar_spacing_m": t.water_bar, "foot": t.outlet.foot,
             "volume_m3": t.volume, "own_m3": t.own, "leads_to": t.leads_to or None,
             "away_m": t.away if t.leads_to else None, "fall_m": t.fall if t.leads_to else None,
             "geometry": Point(t.x, t.y)} for t in plan.turnouts]


def _sills(plan: Plan) -> list[dict[str, Any]]:
    from shapely import Point

    return [{"name": p.store.name, "level_m": p.store.sill.level,
             "length_m": p.store.sill.length, "head_m": p.store.sill.head,
             "peak_m3_s": p.store.sill.peak,
             "geometry": Point(p.placed.spill_x, p.placed.spill_y)}
            for p in plan.stores if p.store.kind not in ("tank", "drain")]


def _catchments(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for index, (planned, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        cells = plan.cascade.labels == index + 1
        if cells.any():
            rows.append({"name": planned.store.name, "area_m2": node.catchment.area,
                         "run_on_m2": node.catchment.run_on_area,
                         "touches_edge": node.catchment.touches_edge,
                         "at_risk_m2": node.catchment.at_risk,
                         "mean_curve_number": node.catchment.mean_curve_number,
                         "geometry": outline(cells, plan.inputs.dem.transform)})
    return rows


def _spills(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": p.store.name, "spills_to": p.spills_to, "piped": node.piped,
             "geometry": LineString(node.spill_path)}
            for p, node in zip(plan.stores, plan.cascade.nodes, strict=True)
            if len(node.spill_path) > 1]


def _longest_ways(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

    return [{"name": p.store.name, "length_m": node.catchment.longest_path,
             "concentration_by_segments_h": node.catchment.concentration_by_segments,
             "concentration_by_lag_h": node.catchment.concentration_by_lag,
             "geometry": LineString(node.longest_way)}
            for p, node in zip(plan.stores, plan.cascade.nodes, strict=True)
            if len(node.longest_way) > 1]


def _shed_points(plan: Plan) -> list[dict[str, Any]]:
    from shapely import Point

    names = [storm.name for storm in plan.site.rain.storms]
    rows = []
    for shed in plan.sheds:
        for rank, point in enumerate(shed.points, 1):
            x, y = plan.inputs.dem.xy(point.row, point.column)
            row: dict[str, Any] = {"shed": shed.name, "kind": shed.kind, "rank": rank}
            row |= {f"passes {name} m3": v for name, v in zip(names, point.volumes, strict=True)}
            row |= {f"own {name} m3": v for name, v in zip(names, point.own_volumes, strict=True)}
            rows.append({**row, "geometry": Point(float(x), float(y))})
    return rows


def _shed_paths(plan: Plan) -> list[dict[str, Any]]:
    from shapely.geometry import LineString

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
