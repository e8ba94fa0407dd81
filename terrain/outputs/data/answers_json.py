"""Answers of the quick commands as one JSON object in SI; keys end in their unit."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.outputs.data.basin_json import basin_parts, curve_points
from terrain.plan.answered import StormAnswer
from terrain.plan.basin_question import BasinAnswer
from terrain.plan.shed_question import ShedAnswer
from terrain.plan.survey import Survey
from terrain.plan.swale_question import SwaleAnswer
from terrain.runoff.catchment import Catchment
from terrain.runoff.peak import Peaks
from terrain.works.swale_built import Swale


def dumped(answer: dict[str, Any]) -> str:
    """JSON text; figures rounded to 1e-8, unknown and infinite ones null."""
    return json.dumps(tidy(answer), indent=2, ensure_ascii=False)


def tidy(value: Any) -> Any:
    """Plain Python of what JSON can hold, rounded so that every machine prints the same."""
    if isinstance(value, dict):
        return {str(key): tidy(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [tidy(part) for part in value]
    if isinstance(value, np.ndarray):
        return tidy(value.tolist())
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), 8) if math.isfinite(value) else None
    return value


def line_string(dem: Dem, line: NDArray[np.float64]) -> dict[str, Any]:
    """A line of the working frame as GeoJSON in the raster's own CRS."""
    x, y = dem.frame.to_source(line[:, 0], line[:, 1])
    return {"type": "LineString", "coordinates": np.stack([x, y], 1).tolist()}


def survey_answer(survey: Survey) -> dict[str, Any]:
    """What `survey --json` prints."""
    dem = survey.question.dem
    west, south, east, north = dem.bounds
    return {
        "file": dem.source, "rows": survey.rows, "columns": survey.columns,
        "own_rows": survey.rows if survey.own is None else survey.own.rows,
        "own_columns": survey.columns if survey.own is None else survey.own.columns,
        "cell_m": survey.cell, "area_m2": survey.area,
        "working_crs": None if dem.frame.working is None else dem.frame.working.name,
        "west_m": west, "south_m": south, "east_m": east, "north_m": north,
        "lowest_m": survey.low, "highest_m": survey.high, "void_cells": survey.void_cells,
        "slope_shares": survey.slope_shares,
        "hollows": [{"at": list(_at(dem, *(float(v) for v in dem.xy(h.row, h.column)))),
                     "spill_level_m": h.spill_level,
                     "depth_m": h.depth, "area_m2": h.area, "volume_m3": h.volume}
                    for h in survey.hollows[:50]],
        "hollow_count": len(survey.hollows),
        "warnings": list(survey.warnings), "notes": [*dem.notes, survey.checked_by]}


def ground_facts(catchment: Catchment) -> dict[str, Any]:
    """How much ground, and whether the raster's edge cuts it off."""
    return {"catchment_m2": catchment.area, "touches_edge": catchment.touches_edge,
            "at_risk_m2": catchment.at_risk,
            "along_edge_m2": catchment.along_edge}


def reaches(catchment: Catchment) -> list[dict[str, Any]]:
    """The pieces of a catchment's longest way."""
    return [{"kind": reach.kind, "surface": reach.surface, "length_m": reach.length,
             "slope": reach.slope, "hours": reach.hours} for reach in catchment.reaches]


def peaks(found: Peaks | None) -> dict[str, Any]:
    """Peak discharge by each method; null where one does not apply."""
    if found is None:
        return {}
    return {"peak_m3_s": found.unit_hydrograph, "peak_graphical_m3_s": found.graphical,
            "peak_rational_m3_s": found.rational}


def shed_answer(answer: ShedAnswer) -> dict[str, Any]:
    """What `shed --json` prints."""
    catchment = answer.catchment
    return {
        **ground_facts(catchment),
        "longest_path_m": answer.longest_path, "mean_slope": catchment.slope,
        "mean_curve_number": catchment.mean_curve_number,
        "cover": [{"class": c.name, "area_m2": c.area, "road": c.road} for c in answer.covers],
        "road_m2": sum(c.area for c in answer.covers if c.road) if answer.covers else None,
        "concentration_by_lag_h": catchment.concentration_by_lag,
        "concentration_by_segments_h": catchment.concentration_by_segments,
        "reaches": reaches(catchment),
        "storms": [{"rain_mm": s.rain, "runoff_m3": s.runoff,
                    "runoff_by_mean_number_m3": s.by_mean_number, **peaks(s.peaks)}
                   for s in answer.storms],
        "at": list(_at(answer.question.dem, *answer.at)),
        "notes": [*answer.question.dem.notes, *answer.rests_on]}


def swale_answer(answer: SwaleAnswer) -> dict[str, Any]:
    """What `swale --json` prints."""
    swale, dem = answer.swale, answer.question.dem
    sill_x, sill_y = dem.frame.to_source(swale.sill_x, swale.sill_y)
    return {
        "level_m": swale.route.level, "sill_level_m": swale.sill.level,
        "length_m": swale.route.length, "line": line_string(dem, swale.route.line),
        "depth_m": swale.depth, "width_m": swale.width, "side_slope": swale.side_slope,
        "cross_slope": swale.route.cross_slope, "ground_deviation_m": swale.route.deviation,
        "storage_m3": answer.storage, "cut_m3": swale.cut, "berm_m3": swale.berm,
        "earth_left_m3": answer.left_over[0], "earth_left_loose_m3": answer.left_over[1],
        "berm_height_m": swale.berm_height, "berm_height_built_m": swale.berm_height_built,
        **swale_facts(swale), **ground_facts(answer.catchment),
        "sill_length_m": swale.sill.length, "sill_head_m": swale.sill.head,
        "sill_peak_m3_s": swale.sill.peak, "sill_at": [float(sill_x), float(sill_y)],
        "spill_path": line_string(dem, answer.spill_path) if len(answer.spill_path) > 1 else None,
        "machine_hours": answer.quantities.hours, "cautions": list(answer.cautions),
        "storms": _storms(answer.storms), "notes": [*dem.notes, *answer.rests_on]}


def swale_facts(swale: Swale) -> dict[str, Any]:
    """Section, line, checks and stations of a swale."""
    section, route = swale.section, swale.route
    return {
        "shape": section.shape, "section_m2": section.area(),
        "top_width_m": section.top_width(), "wetted_perimeter_m": section.wetted_perimeter(),
        "tightest_radius_m": route.radius, "asked_radius_m": route.asked_radius,
        "tight_at_m": route.tight, "off_level_at_m": route.off,
        "berm_top_m": swale.berm_top, "berm_side_slope": swale.berm_side_slope,
        "sill_from_m": swale.sill_from, "sill_to_m": swale.sill_to,
        "checks": [{"station_m": check.chainage, "top_above_bed_m": check.height,
                    "top_level_m": swale.sill.level - section.depth + check.height,
                    "volume_m3": check.volume} for check in swale.checks],
        "stations": [{"station_m": s.chainage, "ground_m": s.ground,
                      "cross_slope": s.cross_slope, "cut_m2": s.cut, "berm_m2": s.berm,
                      "marks": list(s.marks)} for s in swale.stations]}


def basin_answer(answer: BasinAnswer) -> dict[str, Any]:
    """What `basin --json` prints."""
    basin, dem = answer.basin, answer.question.dem
    curve = basin.gross_curve
    return {
        "form": basin.form, "crest_m": basin.crest, "sill_level_m": basin.sill.level,
        "gross_storage_m3": basin.gross, "storage_m3": basin.storage,
        "pool_area_m2": basin.pool_area, "gross_pool_area_m2": basin.gross_area,
        "wall_m3": basin.wall, "cut_m3": basin.dug,
        "wall_height_m": basin.height, "water_at_wall_m": basin.water_at_wall,
        **basin_parts(basin, dem, answer.rules), **ground_facts(answer.catchment),
        "sill_length_m": basin.sill.length, "sill_head_m": basin.sill.head,
        "sill_peak_m3_s": basin.sill.peak,
        "curve": [{"level_m": level, "area_m2": area, "volume_m3": volume}
                  for level, area, volume in zip(curve.levels, curve.areas, curve.volumes,
                                                 strict=True)],
        "caught_curve": [] if answer.curve is None else curve_points(answer.curve),
        "machine_hours": answer.quantities.hours, "cautions": list(answer.cautions),
        "storms": [{**told, "caught_dry_m3": storm.caught_dry, "caught_wet_m3": storm.caught_wet}
                   for told, storm in zip(_storms(answer.storms), answer.storms, strict=True)],
        "said": list(answer.said), "notes": [*dem.notes, *answer.rests_on]}


def _storms(storms: tuple[StormAnswer, ...]) -> list[dict[str, Any]]:
    return [{"rain_mm": s.rain, "runoff_m3": s.runoff, "caught_m3": s.caught,
             "spilled_m3": s.spilled, **peaks(s.peaks)} for s in storms]


def _at(dem: Dem, x: float, y: float) -> tuple[float, float]:
    """A point of the working frame in the raster's own CRS."""
    sx, sy = dem.frame.to_source(x, y)
    return float(sx), float(sy)
