"""The designed ground of a wall of earth, the pit behind it, and its spillway."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from shapely import LineString, MultiPoint, Point, Polygon, buffer, contains_xy, points
from shapely.ops import unary_union

from terrain.inputs.dem import Dem
from terrain.works.basin import Basin
from terrain.works.designed_ground import (
    UNCHANGED,
    Breakline,
    FloatArray,
    Grid,
    WorkShape,
    along,
    bounds_of,
    joined,
    level_line,
    met,
    patch_of,
)
from terrain.works.ground_of_pit import pit_of
from terrain.works.polyline import points_along
from terrain.works.wall_profile import WallProfile

#: A spillway is followed no further than this past its sill; common practice, no source. [m]
FURTHEST = 40.0
#: Its foot is where the ground falls away within so much of the shortest way. [m]
FOOT = 2.0
#: Feet are sought this far apart along a wall. [m]
APART = 0.5


def wall_shapes(dem: Dem, basin: Basin, name: str) -> list[WorkShape]:
    """What a wall makes of the ground, the pit behind it and its spillway.

    The wall stands as it is built, higher by what it settles, its ends rounded.  Stripped ground
    and the cut-off trench are filled again and do not show.  The spillway is a part of its own:
    a level floor in natural ground from the pool, over a sill that begins at the foot of the
    bank's end, where its crest meets the ground, and runs on outward, to where the ground below
    falls away.
    """
    wall, line = basin.profile, basin.line
    assert wall is not None
    left = wet_left(line, basin.outline)
    high = float((wall.built - wall.ground).max())
    steep = max(wall.wet_slope, wall.dry_slope)
    reach = wall.top / 2 + 1.6 * steep * high + 2.0
    crest = _crest(wall, line)
    bounds = bounds_of(line, reach)
    levels = partial(_bank, wall, line, left, reach)
    lines = _breaklines(dem, wall, line, left, reach)
    pit = None
    if basin.rim is not None:
        pit = pit_of(dem, Polygon(basin.rim), basin.floor + basin.pit_depth, basin.pit_depth,
                     basin.batter, name)
        bounds = joined([bounds, pit.bounds])
        lines += pit.breaklines
    spillway, lip, way, _ = _spillway(dem, basin, name)
    crests = [np.concatenate([crest[::-1], level_line(lip, basin.sill.level)])
              if way == 0 else np.concatenate([crest, level_line(lip, basin.sill.level)])]
    bank = WorkShape(name, bounds, wall.top, partial(_both, levels, pit), tuple(lines),
                     tuple(crests), lip, basin.sill.level, basin.outline)
    return [bank, spillway]


def with_spillway(dem: Dem, basin: Basin) -> Basin:
    """A basin with the cut of its spillway, as long as its sill now is; topsoil on it counted."""
    wall = basin.profile
    if wall is None:
        return basin
    patch = patch_of(dem, _spillway(dem, basin, "")[0])
    opened = float((patch.change < -UNCHANGED).sum()) * patch.grid.cell**2
    return replace(basin, spillway=patch.cut,
                   topsoil=basin.topsoil + min(wall.strip * opened, patch.cut))


def spillway_floor(dem: Dem, basin: Basin) -> tuple[Any, FloatArray]:
    """The level floor of a wall's spillway in plan, and the line of its sill. [m]"""
    shape, lip, *_ = _spillway(dem, basin, "")
    ring = next(line.points for line in shape.breaklines if line.name == "spillway floor")
    return Polygon(ring[:, :2]), lip


def spillway_outlet(dem: Dem, basin: Basin) -> tuple[float, float]:
    """Where a wall's spillway lets its water go: the middle of its floor's foot. [m]"""
    x, y = _spillway(dem, basin, "")[3].mean(axis=0)
    return float(x), float(y)


def spillway_dug(dem: Dem, basin: Basin) -> tuple[Any, FloatArray]:
    """The level floor of a wall's spillway as far as the bank does not cover it, in plan, and the
    line of its sill. [m]"""
    floor, lip = spillway_floor(dem, basin)
    assert basin.profile is not None
    left = floor.difference(_footprint(basin.profile, basin.line))
    return max(getattr(left, "geoms", [left]), key=lambda part: float(part.area)), lip


def _both(bank: Any, pit: WorkShape | None, grid: Grid) -> tuple[FloatArray, FloatArray]:
    dug, heaped = bank(grid)
    if pit is not None:
        dug = np.minimum(dug, pit.levels(grid)[0])
    return dug, heaped


def _bank(wall: WallProfile, line: FloatArray, wet_left: bool, reach: float, grid: Grid
          ) -> tuple[FloatArray, FloatArray]:
    place = along(line, grid, reach)
    built = np.interp(place.chainage, wall.stations, wall.built)
    stands = np.interp(place.chainage, wall.stations, wall.heights) > 0
    wet = (place.off > 0) == wet_left
    slope = np.where(wet, wall.wet_slope, wall.dry_slope)
    level = built - np.maximum(place.distance - wall.top / 2, 0.0) / slope
    return (np.full(grid.shape, np.inf),
            np.where(np.isfinite(level) & stands, level, -np.inf))


def wet_left(line: FloatArray, pool: Any) -> bool:
    """Whether the pool lies on the left of a wall's line."""
    shape = LineString(line)
    at = np.linspace(0.05, 0.95, 19) * shape.length
    on = np.array([shape.interpolate(s).coords[0] for s in at])
    way = np.array([shape.interpolate(s + 0.01 * shape.length).coords[0] for s in at]) - on
    way /= np.hypot(*way.T)[:, None]
    left = np.column_stack([-way[:, 1], way[:, 0]])
    score = 0
    for out in (0.5, 1.5, 3.0):
        score += int(contains_xy(pool, *(on + out * left).T).sum())
        score -= int(contains_xy(pool, *(on - out * left).T).sum())
    return score >= 0


def _crest(wall: WallProfile, line: FloatArray) -> FloatArray:
    """The crest as built, from where it comes out of the ground to where it runs into it. [m]"""
    shape, (first, last) = LineString(line), wall.stands
    between = (wall.stations > first) & (wall.stations < last)
    at = np.concatenate([[first], wall.stations[between], [last]])
    xy = np.array([shape.interpolate(s).coords[0] for s in at])
    return level_line(xy, np.interp(at, wall.stations, np.maximum(wall.built, wall.ground)))


def _spillway(dem: Dem, basin: Basin, name: str
              ) -> tuple[WorkShape, FloatArray, int, FloatArray]:
    """The spillway, the line of its sill, whether it lies beyond the wall's last end (1), and the
    foot of its floor."""
    wall, level = basin.profile, basin.sill.level
    assert wall is not None
    near = np.array([basin.sill_x, basin.sill_y])
    ends = wall.ends(basin.line)
    last = int(np.hypot(*(ends[1][0] - near)) < np.hypot(*(ends[0][0] - near)))
    end, out = ends[last]
    side = np.array([-out[1], out[0]])
    steep = max(wall.wet_slope, wall.dry_slope)
    stands = wall.heights[-1 if last else 0] > 0
    rise = float(wall.built[-1 if last else 0]) - level
    foot = wall.top / 2 + (steep * rise if stands else 0.0)
    starts = end + foot * out
    lip = np.array([starts, starts + basin.sill.length * out])
    bank = _footprint(wall, basin.line)
    from_pool = _approach(basin, lip, bank)
    downhill = side if ((from_pool - starts) @ side).mean() < 0 else -side
    below = _falls_away(dem, lip, downhill, level)
    floor = unary_union([MultiPoint([*lip, *from_pool]).convex_hull,
                         MultiPoint([*lip, *below]).convex_hull])
    batter = min(wall.wet_slope, wall.dry_slope)
    ring = np.asarray(floor.exterior.coords, float)[:, :2]
    tall = max(float(np.nanmax(dem.height_at(*ring.T))) - level, 0.0)
    beyond = 2 * batter * tall + 0.5
    shape = WorkShape(name, bounds_of(ring, beyond), max(min(basin.sill.length / 4, 2.0), 0.2),
                      partial(_cut, floor, bank, level, batter, beyond),
                      (Breakline("sill", level_line(lip, level)),
                       Breakline("spillway floor", level_line(ring, level))),
                      (level_line(lip, level),), lip, level, None, None, "spillway")
    return shape, lip, last, below


def _footprint(wall: WallProfile, line: FloatArray) -> Any:
    """Ground that a wall as built covers, its flatter side taken for both."""
    steep, stands = max(wall.wet_slope, wall.dry_slope), wall.heights > 0
    reach = wall.top / 2 + steep * (wall.built - wall.ground)[stands]
    return unary_union(buffer(points(points_along(line, wall.stations[stands])), reach,
                              quad_segs=16))


def _approach(basin: Basin, lip: FloatArray, bank: Any) -> FloatArray:
    """The edge of the pool where a spillway begins, clear of the bank, as wide as the sill is long;
    shape (n, 2). [m]"""
    clear = basin.outline.difference(bank)
    if clear.is_empty:
        clear = basin.outline
    near = Point(lip[0])
    width = float(np.hypot(*(lip[1] - lip[0])))
    part = clear.intersection(near.buffer(clear.distance(near) + width / 2))
    return np.asarray(part.convex_hull.exterior.coords, float)[:, :2]


def _falls_away(dem: Dem, lip: FloatArray, way: FloatArray, level: float) -> FloatArray:
    """Where the ground past a sill first lies below it: the foot of a spillway's floor. [m]"""
    out = np.arange(0.0, FURTHEST, 0.25)
    starts = lip[0] + np.linspace(0.0, 1.0, 17)[:, None] * (lip[1] - lip[0])
    at = starts[:, None, :] + out[None, :, None] * way
    ground = dem.height_at(at[..., 0], at[..., 1])
    low = np.where(np.isfinite(ground), ground, level) <= level
    reach = np.where(low.any(axis=1), out[np.argmax(low, axis=1)], FURTHEST)
    first = reach <= reach.min() + FOOT
    return np.asarray(starts[first] + (reach[first] + 0.5)[:, None] * way)


def _cut(floor: Any, bank: Any, level: float, batter: float, beyond: float, grid: Grid
         ) -> tuple[FloatArray, FloatArray]:
    """Levels of a spillway's floor and sides; none under the bank, which it never cuts."""
    from terrain.works.ground_of_pit import inside

    ring = np.asarray(floor.exterior.coords, float)[:, :2]
    away = along(ring, grid, beyond + grid.cell).distance
    dug = np.where(inside(floor, grid), level,
                   np.where(np.isfinite(away), level + away / batter, np.inf))
    dug = np.where(inside(bank, grid), np.inf, dug)
    return dug, np.full(grid.shape, -np.inf)


def _breaklines(dem: Dem, wall: WallProfile, line: FloatArray, wet_left: bool, reach: float
                ) -> list[Breakline]:
    shape, sign = LineString(line), 1.0 if wet_left else -1.0
    stands = np.flatnonzero(wall.heights > 0)
    if stands.size < 2:
        return []
    first, last = wall.stations[stands[0]], wall.stations[stands[-1]]
    at = np.linspace(first, last, max(int((last - first) / APART), 2) + 1)
    spots = np.array([shape.interpolate(s).coords[0] for s in at])
    way = np.gradient(spots, axis=0)
    way /= np.hypot(*way.T)[:, None]
    wet = np.column_stack([-way[:, 1], way[:, 0]]) * sign
    built = np.interp(at, wall.stations, wall.built)
    found = []
    for name, outward, slope in (("wet", wet, wall.wet_slope), ("dry", -wet, wall.dry_slope)):
        edge = spots + wall.top / 2 * outward
        found += [Breakline(f"crest, {name} edge", level_line(edge, built)),
                  Breakline(f"toe, {name}", met(dem, edge, outward, built, -1 / slope, reach))]
    return found
