"""What a work really holds: its storage built again from the surveyed levels."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, contains_xy

from terrain.asbuilt.compared import averaged
from terrain.asbuilt.matching import Measured
from terrain.asbuilt.spread import spread
from terrain.inputs.dem import Dem
from terrain.plan.earth.designed import work_shapes
from terrain.plan.planned import PlannedStore
from terrain.works.cross_section import Section
from terrain.works.designed_ground import grid_over
from terrain.works.pool import columns_of_water
from terrain.works.rules import Rulebook
from terrain.works.store import Curve
from terrain.works.swale_built import Swale
from terrain.works.swale_checks import volume_under

FloatArray = NDArray[np.float64]

#: Slices of a swale's curve, and of a pool's.
SLICES = 40
#: Water so deep covers what a survey cannot tell from level, so that a nearly empty store is as
#: wide as its floor; common practice, no source. [m]
FILM = 0.005
#: A floor's differences are summed over about so many cells.
CELLS = 40_000


def swale_held(swale: Swale, bed: Sequence[Measured], checks: Sequence[Measured], level: float
               ) -> Curve:
    """What a swale holds up to a level.

    Parameters
    ----------
    bed, checks : sequence of Measured
        Surveyed on its bed, and on tops of its checks.
    level : float
        Of the lowest place where water leaves it. [m]

    Notes
    -----
    Sections as designed, from the bed as surveyed: its difference runs straight from point to
    point along the line and stays as it is beyond the last. Volumes are the integral of the
    section's area along the line, by Simpson's rule between points, exact for straight sides.
    Where the bed bends out of the water a stretch ends at the water's edge.
    """
    section, line = swale.section, LineString(swale.route.line)
    floor = swale.sill.level - section.depth
    places, rises = (averaged([(line.project(Point(m.x, m.y)), m.difference) for m in bed])
                     if bed else (np.zeros(1), np.zeros(1)))
    inside = (places > 0) & (places < line.length)
    at = np.concatenate([[0.0], places[inside], [line.length]])
    beds = floor + np.interp(at, places, rises)
    tops = _check_tops(swale, line, checks)
    lowest = float(beds.min())
    levels = np.linspace(min(lowest, level - 1e-3), level, SLICES + 1)
    wet = np.concatenate([[min(lowest + FILM, level)], levels[1:]])
    areas = np.array([_along(section, at, beds, w, wide=True) for w in wet])
    volumes = np.array([_along(section, at, beds, w, wide=False) for w in levels])
    for check, top in zip(swale.checks, tops, strict=True):
        bottom = floor + float(np.interp(check.chainage, places, rises))
        high = top - bottom
        if high <= 0:
            continue
        for i, w in enumerate(levels):
            rise = float(w) - bottom
            volumes[i] -= volume_under(section, high, check.top, check.side_slope, rise)
            if 0 < rise < high:
                long = check.top + 2 * check.side_slope * (high - rise)
                areas[i] -= section.top_width(rise) * long
    volumes = np.maximum.accumulate(np.maximum(volumes, 0.0))
    return Curve(levels, np.maximum(areas, 0.0), volumes)


def _check_tops(swale: Swale, line: LineString, found: Sequence[Measured]) -> list[float]:
    """Levels of the checks' tops: as surveyed, else as designed. [m]"""
    floor = swale.sill.level - swale.depth
    tops = []
    for check in swale.checks:
        own = [m.difference for m in found if abs(line.project(Point(m.x, m.y)) - check.chainage)
               == min(abs(line.project(Point(m.x, m.y)) - other.chainage)
                      for other in swale.checks)]
        tops.append(floor + check.height + (float(np.mean(sorted(own))) if own else 0.0))
    return tops


def _along(section: Section, at: FloatArray, beds: FloatArray, level: float, wide: bool) -> float:
    """The integral of a section's area, or of its water's width, along a line."""
    total = 0.0
    for (s0, b0), (s1, b1) in pairwise(zip(at, beds, strict=True)):
        d0, d1, long = level - b0, level - b1, s1 - s0
        if max(d0, d1) <= 0:
            continue
        if min(d0, d1) < 0:
            long *= max(d0, d1) / abs(d1 - d0)
            d0, d1 = max(d0, 0.0), max(d1, 0.0)
        one, half, other = (_of(section, d, wide) for d in (d0, (d0 + d1) / 2, d1))
        total += long / 6 * (one + 4 * half + other)
    return float(total)


def _of(section: Section, rise: float, wide: bool) -> float:
    return section.top_width(rise) if wide else section.area(rise)


def ground_held(dem: Dem, planned: PlannedStore, floor: Sequence[Measured], level: float,
                rules: Rulebook) -> Curve:
    """What a basin or a tree basin holds up to a level.

    Parameters
    ----------
    floor : sequence of Measured
        Surveyed on its floor.
    level : float
        Of the lowest place where water leaves it. [m]

    Notes
    -----
    The plan's own curve, plus what columns of water hold more, or less, over the designed ground
    with the floor's differences spread on it (`terrain.asbuilt.spread`) than over the designed
    ground itself; both are counted as the plan counts a pool, within the full pool's outline.
    Differences are laid on the floor whole and fall off over a pit's sides, to nothing at its rim.
    Above the sill the water's surface goes on widening as it did below it.
    """
    curve = _to_level(planned.store.curve, level)
    if not floor:
        return curve
    before, after, cell = _columns(dem, planned, floor, rules)
    lowest = min(float(after.min()), float(curve.levels[0]))
    levels = np.linspace(min(lowest, level - 1e-3), level, SLICES + 1)
    was, now = (columns_of_water(level - ground, level, cell**2, levels)
                for ground in (before, after))
    share = planned.placed.tree.porosity if planned.placed.tree is not None else 1.0
    volumes = np.interp(levels, curve.levels, curve.volumes, left=0.0) + share * (
        now.volumes - was.volumes)
    wet = np.concatenate([[min(lowest + FILM, level)], levels[1:]])
    was, now = (columns_of_water(level - ground, level, cell**2, wet) for ground in (before, after))
    areas = np.interp(wet, curve.levels, curve.areas, left=0.0) + share * (now.areas - was.areas)
    volumes = np.maximum.accumulate(np.maximum(volumes - volumes[0], 0.0))
    return Curve(levels, np.maximum(areas, 0.0), volumes)


def floor_field(floor: Sequence[Measured], area: object) -> tuple[FloatArray, float]:
    """Differences over the cells of a floor, and a cell's side. [m]"""
    west, south, east, north = area.bounds  # type: ignore[attr-defined]
    cell = float(np.sqrt(max((east - west) * (north - south), 1e-6) / CELLS * 10))
    grid = grid_over((west, south, east, north), cell, (west, north))
    x, y = np.meshgrid(grid.x, grid.y)
    inside = contains_xy(area, x, y)
    return spread(floor, x[inside], y[inside]), cell


def _columns(dem: Dem, planned: PlannedStore, floor: Sequence[Measured], rules: Rulebook
             ) -> tuple[FloatArray, FloatArray, float]:
    """Ground of the cells of a full pool as designed and as surveyed, and a cell's side. [m]"""
    shape = work_shapes(dem, planned, rules)[0]
    pool = shape.pool
    west, south, east, north = pool.bounds
    cell = float(np.sqrt((east - west) * (north - south) / CELLS))
    grid = grid_over((west, south, east, north), cell, (dem.left, dem.top))
    ground = shape.made(grid, grid.heights(dem))
    x, y = np.meshgrid(grid.x, grid.y)
    inside = contains_xy(pool, x, y) & np.isfinite(ground)
    x, y, ground = x[inside], y[inside], ground[inside]
    bottom = float(np.median([m.designed for m in floor]))
    rim = _rim_level(planned)
    share = (np.clip((rim - ground) / max(rim - bottom, 1e-6), 0.0, 1.0) if np.isfinite(rim)
             else np.ones(ground.shape))
    return ground, ground + share * spread(floor, x, y), cell


def _rim_level(planned: PlannedStore) -> float:
    """Level at which a pit's sides begin. [m]"""
    basin = planned.basin
    if basin is not None and basin.rim is not None:
        return basin.floor + basin.pit_depth
    return planned.store.sill.level


def _to_level(curve: Curve, level: float) -> Curve:
    """A curve cut off at a level, or carried on to it with its surface widening as before. [m]"""
    top = float(curve.levels[-1])
    if level <= top:
        keep = curve.levels < level
        if not keep.any():
            return Curve(np.array([level - 1e-3, level]), np.array([0.0, curve.areas[0]]),
                         np.zeros(2))
        return Curve(np.append(curve.levels[keep], level),
                     np.append(curve.areas[keep], np.interp(level, curve.levels, curve.areas)),
                     np.append(curve.volumes[keep], _volume_at(curve, level)))
    step = max(top - float(curve.levels[-2]), 1e-6)
    widens = max(float(curve.areas[-1] - curve.areas[-2]), 0.0) / step
    area = float(curve.areas[-1]) + widens * (level - top)
    more = (level - top) * (area + float(curve.areas[-1])) / 2
    return Curve(np.append(curve.levels, level), np.append(curve.areas, area),
                 np.append(curve.volumes, curve.capacity + more))


def _volume_at(curve: Curve, level: float) -> float:
    """Volume below a level within a curve, its surface straight between the curve's levels. [m3]"""
    i = int(np.searchsorted(curve.levels, level, side="right")) - 1
    i = min(i, len(curve.levels) - 2)
    low, area = float(curve.levels[i]), float(curve.areas[i])
    at = float(np.interp(level, curve.levels, curve.areas))
    return min(float(curve.volumes[i]) + (level - low) * (area + at) / 2,
               float(curve.volumes[i + 1]))
