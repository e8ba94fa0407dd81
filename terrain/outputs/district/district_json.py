"""What a screening found for programs, in SI; keys end in their unit."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from terrain.district.screened import Ground, Screened, Screening, Water
from terrain.inputs.frame import Frame
from terrain.outputs.district.figures import ranks_of
from terrain.outputs.district.told import own_at_least, run_on_at_least


def district_object(screening: Screening, pages: dict[int, str] | None = None) -> dict[str, Any]:
    """Everything that a screening says.

    Parameters
    ----------
    pages : dict of int to str, optional
        Files of parcels that have a page of their own, by the parcel's number.
    """
    district, frame = screening.district, screening.overview.frame
    return {
        "district": district.name, "units": district.units, "ranked_by": district.rank_by,
        "design_storm": district.rain.storms[screening.design].name,
        "storms": [{"name": storm.name, "rain_mm": storm.depth, "duration_h": storm.duration}
                   for storm in district.rain.storms],
        "cells": screening.cells, "tiles": screening.tiles,
        "graph_nodes": screening.graph[0], "graph_edges": screening.graph[1],
        "places_crs": None if frame.source is None else frame.source.name,
        "parcels": [_parcel(one, rank, screening, (pages or {}).get(one.parcel.number))
                    for rank, one in zip(ranks_of(screening), screening.parcels, strict=True)],
        "notes": list(screening.notes)}


def _parcel(one: Screened, rank: int | None, screening: Screening, page: str | None
            ) -> dict[str, Any]:
    frame = screening.overview.frame
    told: dict[str, Any] = {"name": one.parcel.name, "number": one.parcel.number, "rank": rank,
                            "area_m2": one.parcel.area, "page": page, "fault": one.fault or None}
    if one.fault:
        return told
    return {
        **told, "own_m2": one.own_area, "run_on_m2": one.run_on_area,
        "own_at_least": own_at_least(one, screening),
        "at_least": run_on_at_least(one, screening),
        "storms": {water.name: _water(water) for water in one.storms},
        "average_year": None if one.year is None else _water(one.year),
        "road": {"own_m2": one.road.own, "run_on_m2": one.road.run_on,
                 "at": None if one.road.at is None else _at(one.road.at, frame),
                 "there_m2": one.road.there},
        "roofs": {"count": one.roofs.count, "area_m2": one.roofs.area},
        "entries": [{"at": _at(entry.at, frame), "area_m2": entry.area} for entry in one.entries],
        "best_swale": None if one.swale is None else _ground(one.swale, one, frame),
        "best_basin": None if one.basin is None else _ground(one.basin, one, frame),
        "notes": list(one.notes)}


def _water(water: Water) -> dict[str, Any]:
    return {"rain_mm": water.rain, "own_m3": water.own, "run_on_m3": water.run_on,
            "catchable_m3": water.catchable, "road_m3": water.road, "roof_m3": water.roof}


def _ground(ground: Ground, one: Screened, frame: Frame) -> dict[str, Any]:
    return {
        "kind": ground.kind, "line": shape_of(ground.line, frame),
        "footprint": shape_of(ground.footprint, frame), "holds_m3": ground.storage,
        "cut_m3": ground.cut, "machine_h": ground.hours, "cost_money": ground.money,
        "bank_m": ground.bank, "catchment_m2": ground.catchment,
        "storms": {water.name: {"comes_m3": comes, "kept_m3": kept} for water, comes, kept
                   in zip(one.storms, ground.comes, ground.kept, strict=True)},
        "comes_in_year_m3": ground.comes_in_year, "kept_in_year_m3": ground.kept_in_year,
        "why": list(ground.why)}


def _at(at: tuple[float, float], frame: Frame) -> list[float]:
    """A place in the elevation's own coordinates."""
    x, y = frame.to_source(*at)
    places = 8 if frame.source is not None and frame.source.is_geographic else 3
    return [round(float(x), places), round(float(y), places)]


def shape_of(shape: Any, frame: Frame) -> dict[str, Any]:
    """A shape of the working frame as GeoJSON in the elevation's own coordinates."""
    moved = shapely.transform(shape, lambda xy: np.column_stack(
        frame.to_source(xy[:, 0], xy[:, 1])))
    return dict(shapely.geometry.mapping(moved))
