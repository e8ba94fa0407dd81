"""The line of a swale: the contour it is set out on, as far as it is fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.contours import contour_through
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.alignment import eased, off_level, radii, stretches, tight_stretches
from terrain.works.rules import Rulebook

#: The ground is smoothed over about this distance before a line is traced on it. [m]
SMOOTHED_OVER = 1.5
#: Points that a line can do without while it moves by no more than this are left out. [m]
FINEST = 0.002


#: A contour of a given level, or that of a drawn line, is looked for this far away; common
#: practice, no source. [m]
CONTOUR_NEAR = 50.0


@dataclass(frozen=True)
class SwaleLine:
    """A line on contour.

    Attributes
    ----------
    line : float64, shape (points, 2)
        In the working frame. [m]
    level : float
        Natural ground on the contour it is set out on. [m]
    deviation : float
        Largest rise or dip of the raster's ground from that level along the line. [m]
    cross_slope : float
        Median slope of the ground along it. [m/m]
    steepest : float
        90th percentile of that slope. [m/m]
    radius : float
        Of its tightest bend; infinite where it is straight. [m]
    tight : tuple of (float, float)
        Chainages between which it bends more tightly than was asked. [m]
    asked_radius : float
        The least radius it was smoothed to. [m]
    off : tuple of (float, float)
        Chainages between which its ground leaves the level by more than the tolerance. [m]
    """

    line: NDArray[np.float64]
    level: float
    deviation: float
    cross_slope: float
    steepest: float
    radius: float = math.inf
    tight: tuple[tuple[float, float], ...] = ()
    asked_radius: float = 0.0
    off: tuple[tuple[float, float], ...] = ()

    @property
    def length(self) -> float:
        """[m]"""
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


def smoothed(dem: Dem) -> Dem:
    """The ground with its smallest roughness taken out, to trace lines on."""
    from dataclasses import replace

    from scipy.ndimage import gaussian_filter

    sigma = SMOOTHED_OVER / dem.cell
    if sigma < 0.5:
        return dem
    known = np.isfinite(dem.heights)
    base = float(np.nanmean(dem.heights))
    filled = np.where(known, dem.heights - base, 0.0)
    weight = gaussian_filter(known.astype(np.float64), sigma, mode="constant")
    total = gaussian_filter(filled, sigma, mode="constant")
    with np.errstate(invalid="ignore", divide="ignore"):
        soft = total / weight + base
    # Close to the border the window is lopsided and would tilt the ground; keep it as it is.
    soft = np.where(weight > 0.999, soft, dem.heights)
    return replace(dem, heights=np.where(known, soft, np.nan).astype(np.float32))


def trace(terrain: Terrain, ground: Dem, x: float, y: float, where: str, rules: Rulebook,
          reach: float, level: float | None = None, radius: float | None = None
          ) -> tuple[SwaleLine, float]:
    """Trace the contour through a point, or that of a level near it, as far as a swale may lie.

    Parameters
    ----------
    ground : Dem
        As `smoothed` gives it.
    reach : float
        How far to go to each side at most. [m]
    level : float, optional
        That of the ground at the point if left out. [m]
    radius : float, optional
        Least radius to smooth the line to; that of the rules if left out. [m]

    Returns
    -------
    route : SwaleLine
    along : float
        Where on it the point lies. [m]

    Raises
    ------
    InputError
        If the point is off the raster, no contour passes, or the ground is too steep.
    """
    from shapely import Point
    from shapely.geometry import LineString

    terrain.dem.cell_of(x, y, where)
    found = contour_through(ground, x, y, level, reach + (CONTOUR_NEAR if level else 0.0))
    if level is not None and (found is None or LineString(found[1]).distance(Point(x, y))
                              > CONTOUR_NEAR):
        at = float(ground.height_at(x, y))
        raise InputError(where, f"no contour at {in_both(level, 'level')} lies within "
                         f"{in_both(CONTOUR_NEAR, 'length')} of {terrain.dem.named(x, y)}, where "
                         f"the ground stands at {in_both(at, 'level')}",
                         "Move the point, or give a level that the ground near it has")
    if found is None:
        raise InputError(where, f"no contour passes through {terrain.dem.named(x, y)}",
                         "Move the point off the flat or the summit")
    level, line, along = found
    line, along = _opened(line, along)
    shape = LineString(line)
    piece = _piece(shape, max(along - reach, 0.0), min(along + reach, shape.length))
    return _fit(terrain, ground, piece, level, x, y, where, rules, radius)


def trace_along(terrain: Terrain, ground: Dem, drawn: Sequence[tuple[float, float]], where: str,
                rules: Rulebook, level: float | None = None, radius: float | None = None
                ) -> tuple[SwaleLine, float, float]:
    """Pull a drawn line on to the contour it lies along.

    Parameters
    ----------
    drawn : two or more points
        In the working frame. [m]
    level : float, optional
        The median of the ground along the drawn line if left out. [m]

    Returns
    -------
    route : SwaleLine
    along : float
        Where on it the drawn line's middle lies. [m]
    pulled : float
        How far the drawn line was moved at most. [m]

    Raises
    ------
    InputError
        If the line is a point, is off the raster, lies nowhere near one contour, or the ground
        is too steep.
    """
    from shapely import Point
    from shapely.geometry import LineString

    dem = terrain.dem
    for x, y in drawn:
        dem.cell_of(x, y, where)
    shape = LineString(drawn)
    if len(drawn) < 2 or not shape.length > 0:
        raise InputError(where, "a drawn line needs two different points or more",
                         "Draw the line, or give one point as through")
    spots = [shape.interpolate(s, normalized=True)
             for s in np.linspace(0.0, 1.0, max(int(2 * shape.length / dem.cell), 8) + 1)]
    if level is None:
        level = float(np.nanmedian(dem.height_at([p.x for p in spots], [p.y for p in spots])))
    reach = shape.length + CONTOUR_NEAR
    best, least = None, math.inf
    for spot in (spots[len(spots) // 4], spots[len(spots) // 2], spots[3 * len(spots) // 4]):
        found = contour_through(ground, spot.x, spot.y, level, reach)
        if found is not None:
            contour = LineString(found[1])
            opened = _opened(found[1], float(contour.project(spots[len(spots) // 2])))
            contour = LineString(opened[0])
            gap = float(np.mean([contour.distance(p) for p in spots]))
            if gap < least:
                best, least = contour, gap
    if best is None or max(best.distance(p) for p in spots) > CONTOUR_NEAR:
        raise InputError(where, f"no contour at {in_both(level, 'level')} lies within "
                         f"{in_both(CONTOUR_NEAR, 'length')} of all of the drawn line",
                         "Draw it closer to a contour, or give its level")
    ends = sorted(float(best.project(p)) for p in (spots[0], spots[-1]))
    if ends[1] - ends[0] < 1.0:
        raise InputError(where, f"the drawn line runs across the contour at "
                         f"{in_both(level, 'level')}, not along it",
                         "Draw it along the slope, not down it")
    pulled = max(best.distance(p) for p in spots)
    piece = _piece(best, *ends)
    middle = LineString(piece).interpolate(0.5, normalized=True)
    route, along = _fit(terrain, ground, piece, level, float(middle.x), float(middle.y), where,
                        rules, radius)
    line = LineString(route.line)
    return route, along, max(pulled, *(line.distance(Point(p)) for p in spots))


def _fit(terrain: Terrain, ground: Dem, piece: NDArray[np.float64], level: float, x: float,
         y: float, where: str, rules: Rulebook, radius: float | None) -> tuple[SwaleLine, float]:
    """The stretch of a contour about a point whose ground is not too steep, smoothed to dig."""
    from shapely import Point
    from shapely.geometry import LineString

    most = rules["swale steepest"]
    slope_here = _slope_along(terrain, piece)
    middle = int(np.argmin(np.hypot(piece[:, 0] - x, piece[:, 1] - y)))
    near = slice(max(middle - 3, 0), middle + 4)
    falls = float(np.nanmedian(slope_here[near]))
    if falls > most:
        raise InputError(where, f"the ground there slopes {100 * falls:.3g}%, "
                         f"and a swale is refused above {most:.0%} "
                         f"(swale steepest, {rules.source('swale steepest')})",
                         "Choose gentler ground, or lead the water off the contour in a drain that "
                         f"falls {100 * rules['drain flattest']:g} to "
                         f"{100 * rules['drain steep']:g} % (kind: drain)")
    smooth = _running_median(slope_here, max(int(8 / max(terrain.dem.cell, 0.5)), 1))
    fit = smooth <= most
    left, right = middle, middle
    while left > 0 and fit[left - 1]:
        left -= 1
    while right < len(fit) - 1 and fit[right + 1]:
        right += 1
    piece = piece[left:right + 1]
    if len(piece) < 2:
        raise InputError(where, f"the contour through {terrain.dem.named(x, y)} is too short for "
                         "a swale", "Move the point")
    radius = rules["digging radius"] if radius is None else radius
    piece = eased(terrain.dem, ground, piece, level, radius, rules["level tolerance"])
    route = _described(terrain, piece, level, radius, rules["level tolerance"])
    return route, float(LineString(piece).project(Point(x, y)))


def _opened(line: NDArray[np.float64], along: float) -> tuple[NDArray[np.float64], float]:
    """A contour that closes on itself, cut opposite a point of it; others as they are. [m]"""
    from shapely.geometry import LineString

    if (line[0] != line[-1]).any():
        return line, along
    ring = LineString(line)
    half = ring.length / 2
    opposite = (along + half) % ring.length
    turned = np.concatenate([_piece(ring, opposite, ring.length), _piece(ring, 0.0, opposite)])
    return turned[np.append(True, np.hypot(*np.diff(turned, axis=0).T) > 1e-9)], half


def cut_to(terrain: Terrain, route: SwaleLine, start: float, end: float,
           tolerance: float = math.inf) -> SwaleLine:
    """The part of a line between two distances from its start; those off its level by more than
    a tolerance are told. [m]"""
    from shapely.geometry import LineString

    return _described(terrain, _piece(LineString(route.line), start, end), route.level,
                      route.asked_radius, tolerance)


def window(total: float, along: float, length: float) -> tuple[float, float]:
    """Start and end of a stretch of `length` about `along`, shifted to stay on the line. [m]"""
    length = min(length, total)
    start = min(max(along - length / 2, 0.0), total - length)
    return start, start + length


def line_cells(dem: Dem, line: NDArray[np.float64]) -> NDArray[np.int64]:
    """Cells that a line touches, so that no water slips between them diagonally.

    Returns
    -------
    cells : int64, shape (n, 2)
        Rows and columns.
    """
    column = (line[:, 0] - dem.left) / dem.cell
    row = (dem.top - line[:, 1]) / dem.cell
    pieces = np.arange(len(line) - 1)
    cuts = [(pieces, np.zeros(pieces.size)), (pieces, np.ones(pieces.size)), _crossed(row),
            _crossed(column)]
    piece, share = (np.concatenate(part) for part in zip(*cuts, strict=True))
    order = np.lexsort((share, piece))
    piece, share = piece[order], share[order]
    between = np.flatnonzero((piece[1:] == piece[:-1]) & (share[1:] != share[:-1]))
    middle, piece = (share[between + 1] + share[between]) / 2, piece[between]
    way = np.stack([at[piece] + middle * (at[piece + 1] - at[piece]) for at in (row, column)], 1)
    way = np.floor(way).astype(np.int64)
    # From one cell to the next across a corner: take the one between as well.
    corner = np.flatnonzero((way[1:] != way[:-1]).all(axis=1))
    way = np.concatenate([way, np.stack([way[corner, 0], way[corner + 1, 1]], 1)])
    rows, columns = dem.shape
    way = way[(way >= 0).all(axis=1) & (way[:, 0] < rows) & (way[:, 1] < columns)]
    way = way[np.isfinite(dem.heights[way[:, 0], way[:, 1]])]
    return np.stack(np.divmod(np.unique(way[:, 0] * columns + way[:, 1]), columns), 1)


def _crossed(at: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where whole numbers are passed from each of some numbers to the next: after which, and at
    which share of the way."""
    start, end = at[:-1], at[1:]
    first = np.ceil(np.minimum(start, end))
    count = np.floor(np.maximum(start, end)) - first + 1
    count = np.where(start == end, 0, np.maximum(count, 0)).astype(np.int64)
    piece = np.repeat(np.arange(count.size), count)
    nth = np.arange(piece.size) - np.repeat(np.cumsum(count) - count, count)
    return piece, (first[piece] + nth - start[piece]) / (end[piece] - start[piece])


def along_of(dem: Dem, line: NDArray[np.float64], cells: NDArray[np.int64]
             ) -> NDArray[np.float64]:
    """Distance along a line of the point nearest to each cell. [m]"""
    from shapely import line_locate_point, points
    from shapely.geometry import LineString

    x, y = dem.xy(cells[:, 0], cells[:, 1])
    return np.asarray(line_locate_point(LineString(line), points(x, y)))


def place_sill(terrain: Terrain, route: SwaleLine, avoid: NDArray[np.bool_] | None = None,
               reach: float = 60.0) -> tuple[float, float]:
    """Where along the line the overflow does least harm.

    The stations keep a tenth of the line's length from its ends.  First come those whose
    water meets no `avoid` cell within `reach` below; among them the one whose way down
    is joined by least other water and is the gentlest.
    """
    dem = terrain.dem
    from shapely.geometry import LineString

    shape = LineString(route.line)
    count = max(int(route.length / 4), 3)
    stations = np.linspace(0.1, 0.9, count) * shape.length
    best: tuple[float, ...] | None = None
    chosen = (0.0, 0.0)
    for distance in stations:
        point = shape.interpolate(distance)
        row, column = (int(i) for i in dem.row_column(point.x, point.y))
        rows, columns = dem.shape
        if not (0 <= row < rows and 0 <= column < columns) or terrain.direction[row, column] == 255:
            continue
        path = terrain.path(row, column)[:max(int(reach / dem.cell), 2)]
        below = path[1:] if len(path) > 1 else path
        bad = bool(avoid is not None and avoid[below[:, 0], below[:, 1]].any())
        gathered = float(terrain.contributing_area[below[:, 0], below[:, 1]].max())
        fall = (dem.heights[path[0, 0], path[0, 1]] - dem.heights[path[-1, 0], path[-1, 1]])
        steep = float(fall) / max(len(path) * dem.cell, dem.cell)
        score = (float(bad), round(steep, 2), math.log10(max(gathered, 1.0)))
        if best is None or score < best:
            best, chosen = score, (float(point.x), float(point.y))
    return chosen


def _piece(shape: Any, start: float, end: float) -> NDArray[np.float64]:
    from shapely.ops import substring

    return np.asarray(substring(shape, start, end).coords)


def _slope_along(terrain: Terrain, line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the ground at each vertex, over the 3 by 3 cells about it."""
    row, column = terrain.dem.row_column(line[:, 0], line[:, 1])
    rows, columns = terrain.dem.shape
    found = terrain.slope[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    return found.astype(np.float64)


def _running_median(values: NDArray[np.float64], half: int) -> NDArray[np.float64]:
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(np.nan_to_num(values, nan=1.0), 2 * half + 1, mode="nearest"))


def _described(terrain: Terrain, line: NDArray[np.float64], level: float, radius: float,
               tolerance: float) -> SwaleLine:
    from shapely.geometry import LineString

    slopes = _slope_along(terrain, line)
    simple = np.asarray(LineString(line).simplify(FINEST).coords)
    simple = _without_stubs(simple)
    chainage, rise = off_level(terrain.dem, simple, level)
    beyond = chainage[np.abs(rise) > tolerance]
    bends = radii(simple)
    return SwaleLine(simple, level, float(np.nanmax(np.abs(rise))), float(np.nanmedian(slopes)),
                     float(np.nanpercentile(slopes, 90)), float(bends.min()),
                     tuple(tight_stretches(simple, radius)), radius,
                     tuple(stretches(beyond, 2 * terrain.dem.cell)))


def _without_stubs(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """A line less the point next to an end that a cut has left close to it."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    keep = np.ones(len(line), bool)
    if len(line) > 3:
        keep[1] = steps[0] >= 0.5 * steps[1]
        keep[-2] = steps[-1] >= 0.5 * steps[-2]
    return line[keep]
