"""What a work really holds: its storage built again from the surveyed levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
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
#: Ground so little above a floor's level is of the floor. [m]
FLAT = 0.001


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
    The trench stands as designed, from lip to lip: where the bed lies higher it is full up to that,
    where it lies deeper it is dug that much deeper over its bed's width (of a parabola or a vee
    over none). Differences of the bed run straight from point to point along the line and stay as
    they are beyond the last. Volumes are the integral of the section's area along the line, by
    Simpson's rule between places where the bed crosses the designed one or the water, exact for
    straight sides.
    """
    section, line = swale.section, LineString(swale.route.line)
    floor = swale.sill.level - section.depth
    places, rises = (averaged([(line.project(Point(m.x, m.y)), m.difference) for m in bed])
                     if bed else (np.zeros(1), np.zeros(1)))
    inside = (places > 0) & (places < line.length)
    at = np.concatenate([[0.0], places[inside], [line.length]])
    off = np.interp(at, places, rises)
    tops = _check_tops(swale, line, checks)
    lowest = floor + float(off.min())
    levels = np.linspace(min(lowest, level - 1e-3), level, SLICES + 1)
    wet = np.concatenate([[min(lowest + FILM, level)], levels[1:]])
    areas = np.array([_along(section, at, off, w - floor, wide=True) for w in wet])
    volumes = np.array([_along(section, at, off, w - floor, wide=False) for w in levels])
    for check, top in zip(swale.checks, tops, strict=True):
        high = top - floor
        buried = max(float(np.interp(check.chainage, places, rises)), 0.0)
        if high <= buried:
            continue
        under = volume_under(section, high, check.top, check.side_slope, buried)
        for i, w in enumerate(levels):
            rise = float(w) - floor
            if rise > buried:
                volumes[i] -= volume_under(section, high, check.top, check.side_slope,
                                           rise) - under
            if buried < rise < high:
                long = check.top + 2 * check.side_slope * (high - rise)
                areas[i] -= section.top_width(rise) * long
    volumes = np.maximum.accumulate(np.maximum(volumes, 0.0))
    return Curve(levels, np.maximum(areas, 0.0), volumes)


def moved_whole(edge: Sequence[Measured], bottom: Sequence[Measured]) -> float:
    """How far a trench or pit lies too high (too low, below 0) as a whole: as far as its edge and
    its bottom both do. [m]"""
    if not edge or not bottom:
        return 0.0
    one, other = (float(np.median([m.difference for m in points])) for points in (edge, bottom))
    return float(np.sign(one)) * min(abs(one), abs(other)) if one * other > 0 else 0.0


def lowered(points: Sequence[Measured], by: float) -> tuple[Measured, ...]:
    """Points as they would have been surveyed so much lower. [m]"""
    return tuple(replace(m, surveyed=m.surveyed - by) for m in points)


def raised(curve: Curve, by: float) -> Curve:
    """A curve at levels so much higher. [m]"""
    return replace(curve, levels=curve.levels + by)


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


def _along(section: Section, at: FloatArray, off: FloatArray, rise: float, wide: bool) -> float:
    """The integral of water's area over a bed, or of its width, along a line.

    Parameters
    ----------
    off : float64, shape (n,)
        How far the bed lies above the designed one at places of the line. [m]
    rise : float
        Of the water above the designed bed. [m]
    """
    total = 0.0
    for (s0, b0), (s1, b1) in pairwise(zip(at, off, strict=True)):
        cuts = [0.0, *sorted((limit - b0) / (b1 - b0) for limit in (0.0, rise)
                             if min(b0, b1) < limit < max(b0, b1)), 1.0]
        for t0, t1 in pairwise(cuts):
            # Just within the ends: at a cut the one side's width, not the other's, is meant.
            one, half, other = (_of(section, b0 + t * (b1 - b0), rise, wide) for t in
                                (t0 + 1e-9 * (t1 - t0), (t0 + t1) / 2, t1 - 1e-9 * (t1 - t0)))
            total += (t1 - t0) * (s1 - s0) / 6 * (one + 4 * half + other)
    return float(total)


def _of(section: Section, off: float, rise: float, wide: bool) -> float:
    """Area, or width, of the water over a bed so far above the designed one. [m2], [m]"""
    if rise <= off:
        return 0.0
    bed = section.width if section.shape == "trapezoid" else 0.0
    if rise <= 0:
        return bed if wide else bed * (rise - off)
    if wide:
        return section.top_width(rise)
    return section.area(rise) - section.area(off) if off > 0 else section.area(rise) - bed * off


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
    The sides stand as designed: where the floor lies higher the pit is full up to that, where it
    lies deeper it is deeper over its floor.
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
    tree = planned.placed.tree
    if tree is not None and tree.form == "bowl" and shape.for_water is not None:
        shape = replace(shape, levels=shape.for_water)  # its curve counts no mound either
    pool = shape.pool
    west, south, east, north = pool.bounds
    cell = float(np.sqrt((east - west) * (north - south) / CELLS))
    grid = grid_over((west, south, east, north), cell, (dem.left, dem.top))
    ground = shape.made(grid, grid.heights(dem))
    x, y = np.meshgrid(grid.x, grid.y)
    inside = contains_xy(pool, x, y) & np.isfinite(ground)
    x, y, ground = x[inside], y[inside], ground[inside]
    bottom = float(np.median([m.designed for m in floor]))
    off = spread(floor, x, y)
    after = np.where(off > 0, np.maximum(ground, bottom + off),
                     np.where(ground <= bottom + FLAT, ground + off, ground))
    return ground, after, cell


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
