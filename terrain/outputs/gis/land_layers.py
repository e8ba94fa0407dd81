"""Layers of the land: what covers it, what drains to roads, where water gathers, contours."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.inputs.dem import Dem
from terrain.outputs.drawing.base_map import contour_interval
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.gis.fields import storm_fields
from terrain.plan.plan import bare_ground
from terrain.plan.planned import Plan
from terrain.runoff.cover import SOIL_GROUPS
from terrain.runoff.ground import ROOF_CLASS
from terrain.surface.accumulation import accumulate
from terrain.surface.catchments import outline
from terrain.surface.contours import contours
from terrain.surface.flow_lines import flow_line
from terrain.surface.gathered_ways import carrier, gathered_ways
from terrain.works.swale import smoothed

#: Ground about the boundary that contours and ways of the water reach. [m]
ABOUT = 20.0
#: Ways that gather less ground than this are left out. [m2]
LEAST_GATHERED = 500.0
#: Interval of contours of the designed ground, metric and US. [m]
DESIGNED_INTERVAL = {"metric": 0.25, "us": 0.3048}
#: Points of paper that contours of the ground stand apart by, on a sheet so many points wide.
SHEET = 1000.0
Row = dict[str, Any]


def cover_rows(plan: Plan) -> list[Row]:
    """What covers the ground, as it was read onto the cells: an area for each class."""
    ground, dem = plan.inputs.ground, plan.inputs.dem
    rows = []
    for index, name in enumerate(ground.classes):
        cells = ground.cover == index
        if cells.any():
            looks = ("roof or paving" if name == ROOF_CLASS else
                     "bare" if ground.known[name].bare else "other")
            rows.append({"cover": name, "looks": looks,
                         "area_m2": float(cells.sum()) * dem.cell_area,
                         "geometry": outline(cells, dem.transform)})
    return rows


def soil_rows(plan: Plan) -> list[Row]:
    """Hydrologic soil groups, as they were read onto the cells."""
    ground, dem = plan.inputs.ground, plan.inputs.dem
    return [{"group": group, "area_m2": float((ground.soil == index).sum()) * dem.cell_area,
             "geometry": outline(ground.soil == index, dem.transform)}
            for index, group in enumerate(SOIL_GROUPS) if (ground.soil == index).any()]


def shed_rows(plan: Plan, kind: str) -> list[Row]:
    """The ground that drains to each road, or to each bare patch, itself included."""
    inputs = plan.inputs
    rows = []
    sheds = [shed for shed in plan.sheds if shed.kind == kind]
    for shed, cells in zip(sheds, _surfaces(plan, kind), strict=True):
        rows.append({"name": shed.name, "own_area_m2": shed.area,
                     "catchment_m2": shed.catchment.area,
                     "touches_edge": shed.catchment.touches_edge,
                     "mean_curve_number": shed.catchment.mean_curve_number,
                     "geometry": outline(plan.terrain.catchment(cells), inputs.dem.transform)})
    return rows


def _surfaces(plan: Plan, kind: str) -> Iterator[NDArray[np.bool_]]:
    """The cells of the roads or of the bare patches that have a shed, in the sheds' order."""
    inputs = plan.inputs
    if kind != "road":
        yield from bare_ground(inputs)
        return
    surface = inputs.ground.inside & ~plan.terrain.in_culverts
    for road in inputs.ground.roads:
        if (road.cells & surface).any():
            yield road.cells & surface


def flow_rows(plan: Plan) -> list[Row]:
    """Where water gathers on the land and about it, before any work is built."""
    terrain, dem = plan.terrain, plan.inputs.dem
    part = _window(dem, plan.inputs.ground.boundary.bounds)
    area = terrain.contributing_area
    ways = gathered_ways(terrain.direction[part], area[part] >= LEAST_GATHERED)
    storms = plan.site.rain.storms
    named = storm_fields([storm.name for storm in storms], "sheds", "m3")
    passing = [accumulate(terrain.direction, plan.inputs.runoff(storm.depth))
               for storm in storms]
    corner = np.array([part[0].start, part[1].start])
    rows = []
    for way in ways:
        cells = way + corner
        at = carrier(cells)
        size = 1 + int(np.clip(math.log10(area[at] / LEAST_GATHERED), 0, 3))
        rows.append({"area_m2": float(area[at]), "size": size,
                     **{field: float(flow[at]) for field, flow in zip(named, passing,
                                                                      strict=True)},
                     "geometry": LineString(flow_line(dem, cells, terrain.filled).line)})
    return rows


def contour_rows(plan: Plan) -> list[Row]:
    """Contours of the ground as it is, smoothed as the map's are, on the land and about it."""
    dem = plan.inputs.dem
    part = _window(dem, plan.inputs.ground.boundary.bounds)
    near = replace(dem, heights=dem.heights[part], left=dem.left + part[1].start * dem.cell,
                   top=dem.top - part[0].start * dem.cell,
                   filled_holes=dem.filled_holes[part])
    if min(near.shape) < 2:
        return []
    soft = smoothed(near)
    if not np.isfinite(soft.heights).any():
        return []
    interval = contour_interval(near, max(near.shape) * dem.cell / SHEET, plan.site.units)
    low, high = float(np.nanmin(soft.heights)), float(np.nanmax(soft.heights))
    counts = range(math.ceil(low / interval), math.floor(high / interval) + 1)
    lines = contours(soft, [count * interval for count in counts], interval / 20, dem.cell / 4)
    return [_contour(count, interval, line) for count, several in zip(counts, lines, strict=True)
            for line in several if len(line) > 1]


def designed_contour_rows(plan: Plan, field: SettingOut) -> list[Row]:
    """Contours of the designed ground, on the works and about them."""
    from contourpy import contour_generator
    from scipy import ndimage

    grid, level = field.grid, field.level
    if grid is None or level is None:
        return []
    interval = DESIGNED_INTERVAL["us" if plan.site.units == "us" else "metric"]
    label, _ = ndimage.label(np.isfinite(level))
    rows = []
    for number, part in enumerate(ndimage.find_objects(label), 1):
        heights = np.ma.masked_where(label[part] != number, level[part])
        if min(heights.shape) < 2:
            continue
        made = contour_generator(grid.x[part[1]], grid.y[part[0]], heights)
        low, high = float(heights.min()), float(heights.max())
        for count in range(math.ceil(low / interval), math.floor(high / interval) + 1):
            for line in made.lines(count * interval):
                shape = LineString(line).simplify(grid.cell / 5)
                if shape.length > 2 * grid.cell:
                    rows.append(_contour(count, interval, np.asarray(shape.coords)))
    return rows


def _contour(count: int, interval: float, line: NDArray[np.float64]) -> Row:
    return {"level_m": round(count * interval, 4), "index": int(count % 5 == 0),
            "geometry": LineString(line)}


def _window(dem: Dem, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
    """The cells of the land and `ABOUT` it."""
    west, south, east, north = bounds
    rows, columns = dem.row_column([west - ABOUT, east + ABOUT], [north + ABOUT, south - ABOUT])
    first, last = np.clip(rows, 0, dem.shape[0] - 1)
    left, right = np.clip(columns, 0, dem.shape[1] - 1)
    return slice(int(first), int(last) + 1), slice(int(left), int(right) + 1)
