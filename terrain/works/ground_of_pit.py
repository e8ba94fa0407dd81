"""The designed ground of a pit: a level floor, and sides at a batter down from its rim."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import contains_xy
from shapely.geometry import Polygon

from terrain.inputs.dem import Dem
from terrain.works.basin import Basin
from terrain.works.designed_ground import (
    Breakline,
    FloatArray,
    Grid,
    WorkShape,
    along,
    level_line,
    met,
)
from terrain.works.pit import pit_in

#: Feet and edges of cuts are sought this far apart along a rim. [m]
APART = 0.5
#: How far a pit's sides reach is found on about so many cells.
CELLS = 10_000


def pit_shape(dem: Dem, basin: Basin, name: str) -> WorkShape:
    """What a dug basin makes of the ground; it spills over the lowest ground on its rim."""
    rim = Polygon(basin.line)
    level, depth = basin.crest, basin.water_at_wall
    return pit_of(dem, rim, level, depth, basin.batter, name, (basin.sill_x, basin.sill_y))


def pit_of(dem: Dem, rim: Any, level: float, depth: float, batter: float, name: str,
           sill: tuple[float, float] | None = None) -> WorkShape:
    """What a pit makes of the ground.

    Parameters
    ----------
    rim : shapely Polygon
        The lowest ground on it is at `level`. [m]
    batter : float
        H:V; 0 for upright sides.
    sill : (float, float), optional
        Where it spills. [m]
    """
    ring = np.asarray(rim.exterior.coords, float)[:, :2]
    spots = np.array([rim.exterior.interpolate(s).coords[0] for s in
                      np.arange(0.0, rim.exterior.length, APART)])
    beyond = 1.1 * pit_in(dem, rim, batter, name, level, CELLS).beyond + 0.5
    west, south, east, north = rim.bounds
    across = min(east - west, north - south)
    narrowest = min(max(batter * depth, 0.3), across / 4)
    lines = [Breakline("rim", level_line(ring, level))]
    floor = rim.buffer(-batter * depth, join_style="mitre") if batter * depth > 1e-9 else rim
    for part in getattr(floor, "geoms", [floor]):
        if not part.is_empty:
            lines.append(Breakline("floor", level_line(
                np.asarray(part.exterior.coords, float)[:, :2], level - depth)))
    if batter:
        lines.append(Breakline("edge of the cut", _edge(dem, rim, spots, level, batter, beyond)))
    lip = None
    if sill is not None:
        reach = 0.25
        on = rim.exterior.project(_point(sill))
        lip = np.array([rim.exterior.interpolate((on + part) % rim.exterior.length).coords[0]
                        for part in (-reach, 0.0, reach)])
    return WorkShape(name, (west - beyond, south - beyond, east + beyond, north + beyond),
                     narrowest, partial(pit_levels, rim, level, depth, batter, beyond),
                     tuple(lines), (level_line(ring, level),), lip, level, rim)


def pit_levels(rim: Any, level: float, depth: float, batter: float, beyond: float, grid: Grid
               ) -> tuple[FloatArray, FloatArray]:
    """Levels dug at a grid's centres, and none heaped. [m]"""
    ring = np.asarray(rim.exterior.coords, float)[:, :2]
    reach = max(beyond, batter * depth) + grid.cell
    away = np.nan_to_num(along(ring, grid, reach).distance, nan=reach)
    away = np.where(inside(rim, grid), -away, away)
    if batter:
        dug = np.where(away < beyond, level + np.maximum(away / batter, -depth), np.inf)
    else:
        dug = np.where(away < 0, level - depth, np.inf)
    return dug, np.full(grid.shape, -np.inf)


def inside(shape: Any, grid: Grid) -> NDArray[np.bool_]:
    """Whether a grid's centres lie in a shape."""
    found = np.zeros(grid.shape, bool)
    window = grid.window(shape.bounds)
    part = grid.part(*window)
    found[window] = contains_xy(shape, *np.meshgrid(part.x, part.y))
    return found


def _edge(dem: Dem, rim: Any, spots: FloatArray, level: float, batter: float, beyond: float
          ) -> FloatArray:
    """Where the sides come to the ground, outward from the rim."""
    way = np.roll(spots, -1, axis=0) - np.roll(spots, 1, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    out = np.column_stack([way[:, 1], -way[:, 0]]) * (1.0 if rim.exterior.is_ccw else -1.0)
    feet = met(dem, spots, out, np.full(len(spots), level), 1 / batter, beyond)
    return np.concatenate([feet, feet[:1]])


def _point(at: tuple[float, float]) -> Any:
    from shapely import Point

    return Point(at)
