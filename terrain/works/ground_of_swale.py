"""The designed ground of a swale: channel, checks, berm with its ends turned uphill, sill."""

from __future__ import annotations

from functools import partial

import numpy as np
from shapely import LineString
from shapely.ops import substring

from terrain.inputs.dem import Dem
from terrain.works.cross_section import Section
from terrain.works.designed_ground import (
    Bounds,
    Breakline,
    FloatArray,
    Grid,
    WorkShape,
    along,
    bounds_of,
    joined,
    level_line,
    met,
)
from terrain.works.return_end import Return
from terrain.works.swale_built import Swale
from terrain.works.swale_checks import Check
from terrain.works.swale_stations import STEEPEST, across

#: Feet and edges of cuts are sought this far apart along a line. [m]
APART = 0.5


def swale_shape(dem: Dem, swale: Swale, name: str) -> WorkShape:
    """What a swale makes of the ground.

    Its channel ends square.  Its berm is left out along the sill, where it slopes down to the
    sill's ends as its sides do, and turned uphill past both ends of the channel as far as
    its `returns` say.
    """
    line, section, berm = swale.route.line, swale.section, swale.built_berm
    beside = across(dem, line, np.linspace(0.0, swale.route.length, 40))
    left = beside.left
    steep = min(float(np.nanmax(np.abs(beside.rise), initial=0.02)) + 0.05,
                STEEPEST / max(section.side_slope, berm.side_slope))
    off_level = swale.route.deviation + 0.1
    wide = berm.top + 2 * berm.side_slope * berm.height
    reach = 1.0 + max(
        (wide + berm.side_slope * off_level) / (1 - berm.side_slope * steep),
        (section.top_width() + section.side_slope * off_level) / (1 - section.side_slope * steep))
    ends = [_End(swale, first, left) for first in (True, False)]
    bounds = joined([bounds_of(line, reach), *(end.bounds(reach) for end in ends)])
    narrowest = min(berm.top, section.width if section.shape == "trapezoid" else np.inf,
                    section.top_width() / 2)
    pool = LineString(line).buffer((1.0 if left else -1.0) * section.top_width(),
                                   single_sided=True)
    return WorkShape(name, bounds, max(narrowest, 0.2), partial(_levels, swale, reach, left, ends),
                     tuple(_breaklines(dem, swale, left, ends)), tuple(_crests(swale, left, ends)),
                     _part(line, swale.sill_from, swale.sill_to), swale.sill.level, pool)


class _End:
    """An end of a swale: places by how far past it and how far uphill of it they lie. [m]"""

    def __init__(self, swale: Swale, first: bool, left: bool) -> None:
        line = swale.route.line if first else swale.route.line[::-1]
        self.at = line[0]
        way = line[0] - line[1]
        self.way = way / np.hypot(*way)
        turn = np.array([-self.way[1], self.way[0]])
        # Looking back along the line, its left is on the right.
        self.uphill = turn * (1.0 if left != first else -1.0)
        self.made: Return = swale.returns[0 if first else 1]
        self.berm = swale.built_berm
        self.top = self.made.uphill

    def places(self, past: FloatArray, upward: FloatArray) -> FloatArray:
        """Points of the working frame, shape (n, 2). [m]"""
        found: FloatArray = self.at + np.outer(past, self.way) + np.outer(upward, self.uphill)
        return found

    def bounds(self, reach: float) -> Bounds:
        """Of all that it may cover. [m]"""
        beyond = self.made.beyond
        return bounds_of(self.places(np.array([0.0, beyond, beyond]),
                                     np.array([0.0, -beyond, self.top])), reach)

    def heaped(self, grid: Grid, crest: float) -> FloatArray:
        """Level of the berm past the end; minus infinite before it. [m]"""
        x, y = grid.x[None, :] - self.at[0], grid.y[:, None] - self.at[1]
        past = x * self.way[0] + y * self.way[1]
        upward = x * self.uphill[0] + y * self.uphill[1]
        beyond = self.made.beyond
        level = np.hypot(np.maximum(past - beyond, 0.0), upward + beyond)
        turned = np.hypot(past - beyond, upward - np.clip(upward, -beyond, self.top))
        away = np.minimum(level, turned)
        raised = crest - np.maximum(away - self.berm.top / 2, 0.0) / self.berm.side_slope
        return np.where(past > 0, raised, -np.inf)


def _levels(swale: Swale, reach: float, left: bool, ends: list[_End], grid: Grid
            ) -> tuple[FloatArray, FloatArray]:
    section, berm, level = swale.section, swale.built_berm, swale.sill.level
    place = along(swale.route.line, grid, reach)
    uphill = place.off if left else -place.off
    between = np.isfinite(uphill) & (place.past == 0)
    floor = floor_at(section, uphill)
    for check in swale.checks:
        floor = np.maximum(floor, _check(section, check, place.chainage))
    over = np.maximum(swale.sill_from - place.chainage, place.chainage - swale.sill_to)
    lip = uphill / berm.side_slope
    top = berm.height - np.maximum(-uphill - berm.side_slope * berm.height - berm.top, 0.0
                                   ) / berm.side_slope
    heap = np.minimum(np.minimum(-lip, top), over / berm.side_slope)
    heap = np.where(over < 0, np.maximum(heap, lip), heap)
    wide = berm.top + 2 * berm.side_slope * berm.height
    down = (over < 0) & (uphill <= 0)
    dug = np.where(down, np.where(uphill > -wide, 0.0, np.inf), floor)
    lower_half = floor_at(section, uphill)
    heap = np.where(uphill <= 0, heap,
                    np.where(uphill <= section.top_width() / 2, lower_half, -np.inf))
    heaped = np.where(between, level + heap, -np.inf)
    for end in ends:
        window = grid.window(end.bounds(reach))
        beyond = end.heaped(grid.part(*window), level + berm.height)
        heaped[window] = np.where(between[window], heaped[window],
                                  np.maximum(heaped[window], beyond))
    return np.where(between, level + dug, np.inf), heaped


def floor_at(section: Section, uphill: FloatArray) -> FloatArray:
    """Level of a section's floor and sides at distances uphill of its lip, from its sill's. [m]"""
    wide = section.top_width()
    outside = np.maximum(-uphill, uphill - wide)
    with np.errstate(divide="ignore", invalid="ignore"):
        rising = np.where(outside > 0, outside / section.side_slope if section.side_slope
                          else np.inf, 0.0)
    if section.shape == "parabola":
        inside = -4 * section.depth / wide**2 * uphill * (wide - uphill)
    elif section.side_slope:
        inside = np.maximum(-section.depth, outside / section.side_slope)
    else:
        inside = np.full_like(uphill, -section.depth)
    return np.asarray(np.where(outside > 0, rising, inside))


def _check(section: Section, check: Check, chainage: FloatArray) -> FloatArray:
    away = np.maximum(np.abs(chainage - check.chainage) - check.top / 2, 0.0)
    if not check.side_slope:
        return np.where(away > 0, -section.depth, check.height - section.depth)
    return np.asarray(check.height - section.depth - away / check.side_slope)


def _part(line: FloatArray, start: float, end: float, off: float = 0.0) -> FloatArray:
    """A stretch of a line, moved to its left by an offset; nothing where it is too short."""
    if end - start < 0.01:
        return np.empty((0, 2))
    piece = substring(LineString(line), start, end)
    if off:
        moved = piece.offset_curve(off)
        parts = getattr(moved, "geoms", [moved])
        piece = max(parts, key=lambda part: part.length)
    return np.asarray(piece.coords, float).reshape(-1, 2)


def _ridge(swale: Swale, left: bool, ends: list[_End], off: float, short: float
           ) -> list[FloatArray]:
    """A line along the berm so far from its ridge, up to the sill and on from it, ends turned.

    Parameters
    ----------
    off : float
        Above 0 towards the channel. [m]
    short : float
        It stops so far short of the sill. [m]
    """
    line, length = swale.route.line, swale.route.length
    beyond = ends[0].made.beyond - off
    side = (1.0 if left else -1.0) * -beyond
    found = []
    for end, first in zip(ends, (True, False), strict=True):
        span = ((0.0, max(swale.sill_from - short, 0.0)) if first else
                (min(swale.sill_to + short, length), length))
        straight = _part(line, *span, side)
        if not first:
            straight = straight[::-1]
        turned = end.places(np.array([beyond, beyond]), np.array([end.top, -beyond]))
        found.append(np.concatenate([turned, straight]))
    return found


def _crests(swale: Swale, left: bool, ends: list[_End]) -> list[FloatArray]:
    """The berm's ridge with its ends, down to the sill, and the sill."""
    berm, level = swale.built_berm, swale.sill.level
    back = berm.side_slope * berm.height
    found = []
    for ridge, edge, inward in zip(_ridge(swale, left, ends, 0.0, back),
                                   (swale.sill_from, swale.sill_to), (-1.0, 1.0), strict=True):
        crest = level_line(ridge, level + berm.height)
        place = min(max(edge + inward * back, 0.0), swale.route.length)
        near = _part(swale.route.line, max(place - 0.05, 0.0),
                     min(place + 0.05, swale.route.length), (1.0 if left else -1.0) * -back)
        lip = np.asarray(LineString(swale.route.line).interpolate(edge).coords, float)
        down = [level_line(near.mean(axis=0)[None, :], level + berm.height)] if len(near) else []
        found.append(np.concatenate([crest, *down, level_line(lip, level)]))
    sill = _part(swale.route.line, swale.sill_from, swale.sill_to)
    return [*found, level_line(sill, level)] if len(sill) else found


def _breaklines(dem: Dem, swale: Swale, left: bool, ends: list[_End]) -> list[Breakline]:
    line, section, berm = swale.route.line, swale.section, swale.built_berm
    level, length, sign = swale.sill.level, swale.route.length, 1.0 if left else -1.0
    bed, crest = level - section.depth, level + berm.height
    found = []

    def add(name: str, xy: FloatArray, at: float) -> None:
        if len(xy) > 1:
            found.append(Breakline(name, level_line(xy, at)))

    foot = section.side_slope * section.depth
    if section.shape == "trapezoid":
        add("bed, downhill edge", _part(line, 0.0, length, sign * foot), bed)
        add("bed, uphill edge", _part(line, 0.0, length, sign * (foot + section.width)), bed)
    else:
        add("bed", _part(line, 0.0, length, sign * section.top_width() / 2), bed)
    add("lip", _part(line, 0.0, swale.sill_from), level)
    add("sill", _part(line, swale.sill_from, swale.sill_to), level)
    add("lip", _part(line, swale.sill_to, length), level)
    back = berm.side_slope * berm.height
    for ridge in _ridge(swale, left, ends, berm.top / 2, back):
        add("berm crest, inner edge", ridge, crest)
    for ridge in _ridge(swale, left, ends, -berm.top / 2, back):
        add("berm crest, outer edge", ridge, crest)
    for check in swale.checks:
        for end in (-check.top / 2, check.top / 2):
            spot = _across_bed(swale, check.chainage + end, sign)
            add("check", spot, bed + check.height)
    found += _edges(dem, swale, left, ends)
    return found


def _across_bed(swale: Swale, chainage: float, sign: float) -> FloatArray:
    half = swale.section.top_width() / 4
    ends = [_part(swale.route.line, max(chainage - 0.05, 0.0), chainage + 0.05, sign * off)
            for off in (half, 3 * half)]
    return np.array([end.mean(axis=0) for end in ends if len(end)])


def _edges(dem: Dem, swale: Swale, left: bool, ends: list[_End]) -> list[Breakline]:
    """Where the berm's outer side and the channel's uphill side come to the ground."""
    line, section, berm = swale.route.line, swale.section, swale.built_berm
    level, sign = swale.sill.level, 1.0 if left else -1.0
    found = []
    far = 3 * (berm.top + 2 * berm.side_slope * berm.height)
    for name, off, at, slope, spans in (
            ("toe", -berm.side_slope * berm.height - berm.top, level + berm.height,
             -1 / berm.side_slope, ((0.0, swale.sill_from - berm.side_slope * berm.height),
                                    (swale.sill_to + berm.side_slope * berm.height,
                                     swale.route.length))),
            ("edge of the cut", section.top_width(), level,
             1 / section.side_slope if section.side_slope else 1e3,
             ((0.0, swale.route.length),))):
        for start, end in spans:
            edge = _part(line, max(start, 0.0), min(end, swale.route.length), sign * off)
            if len(edge) < 2:
                continue
            shape = LineString(edge)
            stops = np.linspace(0.0, shape.length, max(int(shape.length / APART), 1) + 1)
            spots = np.array([shape.interpolate(s).coords[0] for s in stops])
            way = np.gradient(spots, axis=0)
            way /= np.hypot(*way.T)[:, None]
            outward = np.column_stack([-way[:, 1], way[:, 0]]) * (sign if off > 0 else -sign)
            found.append(Breakline(name, met(dem, spots, outward, np.full(len(spots), at), slope,
                                             far)))
    return found
