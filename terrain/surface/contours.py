"""Contours: lines of equal height, to sub-cell accuracy, with no more points than they need."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]

#: A level at which a cell stands is traced this much higher. [m]
RAISED = 0.0005
#: Lines less than this share of a cell side across are left out.
SMALLEST_LINE = 0.01
#: A simplified line leaves the whole one by no more than this, in cell sides, if not told.
ASIDE = 2.0
#: Shares of the tolerance that a line which would cross is tried again with; 0 keeps it whole.
SHARES = (1.0, 0.5, 0.25, 0.0)


def contour_lines(dem: Dem, level: float) -> list[FloatArray]:
    """All contour lines at a level, each an array (points, 2) in the working frame. [m]

    Linear interpolation between cell centres; lines end at the raster's edge and at voids, and
    rings end where they start.  No point comes twice running, and specks less than a hundredth
    of a cell side across are left out.

    Notes
    -----
    Where a cell stands at the level (to the last digit of float32), lines would run through
    centres, along both sides of flats, and touch.  Such a level is traced half a millimetre
    higher, so that they pass outside the flat on the side of the higher ground.
    """
    return contour_lines_at(dem, [level])[0]


def contour_lines_at(dem: Dem, levels: Sequence[float]) -> list[list[FloatArray]]:
    """The lines of `contour_lines` at several levels, for each its own list. [m]"""
    return _lines(dem, dem.heights, 0, 0, levels)


def contours(dem: Dem, levels: Sequence[float], tolerance: float, aside: float | None = None
             ) -> list[list[FloatArray]]:
    """The contour lines at several levels, as `simplified`; no two of a level cross.

    Parameters
    ----------
    levels : floats
        [m]
    tolerance, aside : float
        As for `simplified`.  Lines of levels more than twice the tolerance apart do not cross
        either where that is kept to, as no ground has both heights.

    Returns
    -------
    lines : list of list of float64, shape (points, 2)
        For each level its lines in the working frame. [m]

    Raises
    ------
    ValueError
        If the tolerance is not above 0.
    """
    return [_simplified(lines, dem, level, tolerance, aside) for level, lines in
            zip(levels, _lines(dem, dem.heights, 0, 0, levels), strict=True)]


def simplified(line: FloatArray, dem: Dem, level: float, tolerance: float,
               aside: float | None = None) -> FloatArray:
    """A contour line with fewer points, along all of which the ground is still at its level.

    Parameters
    ----------
    line : float64, shape (points, 2)
        As `contour_lines` gives it. [m]
    level : float
        [m]
    tolerance : float
        The ground (bilinear, as `Dem.height_at`) is no more than this above or below the level
        anywhere on the new line, between its points too. [m]
    aside : float, optional
        The new line leaves the old one by no more than this (and within a cell where points are
        put in, see below), so that on flat ground no bend is cut off; two cell sides if left
        out. [m]

    Returns
    -------
    line : float64, shape (points, 2)
        Same ends; a ring stays a ring, of three corners or more.  Does not cross itself where
        the old one did not. [m]

    Raises
    ------
    ValueError
        If the tolerance is not above 0.

    Notes
    -----
    Longest pieces first found by doubling, then by halving [1]_; each is held against the
    exact maximum of the ground along it, a parabola in each cell that it passes.  A line
    that would cross is made again with half the tolerance, a quarter, at last whole.

    Across a cell a contour runs straight, but bilinear ground has the level on a hyperbola.
    Where the two differ by more than the tolerance, as at steps in the ground, points of the
    hyperbola are put in.  What stays out of tolerance is as it was in the old line: the two
    straight pieces in a saddle cell that join other branches of the hyperbola than the ground
    does, pieces beside a void, where bilinear ground has no height, and a level raised by half
    a millimetre if the tolerance is less than that.

    References
    ----------
    .. [1] Agarwal, P. K., Har-Peled, S., Mustafa, N. H. and Wang, Y., 2005: Near-linear time
       approximation algorithms for curve simplification. Algorithmica 42, 203-219.
    """
    return _simplified([line], dem, level, tolerance, aside)[0]


def _simplified(lines: list[FloatArray], dem: Dem, level: float, tolerance: float,
                aside: float | None) -> list[FloatArray]:
    if not tolerance > 0:
        raise ValueError(f"the tolerance {tolerance:g} m is not above 0")
    apart = ASIDE if aside is None else aside / dem.cell
    origin = np.array([dem.left, dem.top])
    scale = np.array([dem.cell, -dem.cell])
    # In columns and rows from the first cell's centre.
    whole = [_bent(dem.heights, (line - origin) / scale - 0.5, level, tolerance)
             for line in lines]
    tries = np.zeros(len(lines), np.int64)
    kept = [_kept(dem.heights, way, level, tolerance, apart) for way in whole]
    while True:
        again = _crossing([way[keep] for way, keep in zip(whole, kept, strict=True)])
        again = again[tries[again] < len(SHARES) - 1]
        if not again.size:
            break
        tries[again] += 1
        for i in again:
            share = SHARES[tries[i]]
            kept[i] = _kept(dem.heights, whole[i], level, share * tolerance, share * apart)
    made = [(way[keep] + 0.5) * scale + origin for way, keep in zip(whole, kept, strict=True)]
    for line, new in zip(lines, made, strict=True):
        new[0], new[-1] = line[0], line[-1]
    return made


def _bent(heights: NDArray[np.float32], way: FloatArray, level: float, tolerance: float
          ) -> FloatArray:
    """A contour in columns and rows, with more points where it leaves its level within a cell.

    In a cell the ground is s + d U V, with U and V counted from the hyperbola's centre.  Points
    from one to the next of which U and V change by the same ratios stay on the hyperbola, and
    all the chords between them leave the level by the same: d U V sinh(log(ratio) / 2)^2.
    """
    rows, columns = heights.shape
    start, end = way[:-1], way[1:]
    corner = np.clip(np.floor((start + end) / 2).astype(np.int64), 0, (columns - 2, rows - 2))
    c, r = corner.T
    z = [heights[r + i, c + j].astype(np.float64) for i in (0, 1) for j in (0, 1)]
    d = z[0] - z[1] - z[2] + z[3]
    far = np.flatnonzero(np.abs(d * (end - start).prod(axis=1)) / 4 > tolerance / 2)
    if not far.size:
        return way
    d = d[far]
    slope = np.stack([z[2] - z[0], z[1] - z[0]], 1)[far]
    centre = corner[far] - slope / d[:, None]
    start, end = start[far] - centre, end[far] - centre
    rise = [d * at.prod(axis=1) for at in (start, end)]
    saddle = z[0][far] - slope.prod(axis=1) / d - level
    room = np.maximum(tolerance - np.abs(saddle + rise).max(axis=0), tolerance / 10)
    one_branch = np.flatnonzero((start * end > 0).all(axis=1))
    ratio = end[one_branch] / start[one_branch]
    steepest = np.abs(rise).max(axis=0)[one_branch]
    pieces = np.ceil(np.abs(np.log(ratio)).max(axis=1)
                     / (2 * np.arcsinh(np.sqrt(room[one_branch] / steepest)))).astype(np.int64)
    more = pieces - 1
    which = np.repeat(np.arange(len(more)), more)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(more) - more, more) + 1) / pieces[which]
    cell = one_branch[which]
    points = centre[cell] + start[cell] * ratio[which] ** share[:, None]
    return np.insert(way, far[cell] + 1, points, axis=0)


def _kept(heights: NDArray[np.float32], way: FloatArray, level: float, tolerance: float,
          aside: float) -> NDArray[np.bool_]:
    """Which points of a contour in columns and rows a simpler one keeps; all at no tolerance."""
    kept = np.ones(len(way), np.bool_)
    if tolerance > 0 and len(way) > 2:
        last = len(way) - 1
        _keep_few(heights, way, level, tolerance, aside, np.array([0, last]), kept)
        ring = (way[0] == way[-1]).all()
        if kept.sum() < (4 if ring else 3):
            # Lest a ring shrinks to two corners, or a line that turns back to a stub: hold the
            # farthest point, and of a ring the one farthest off the axis through that.
            off = way - way[0]
            corners = [0, int(np.argmax(np.hypot(*off.T))), last]
            if ring:
                along = off[corners[1]]
                corners.append(int(np.argmax(np.abs(off @ (along[1], -along[0])))))
            _keep_few(heights, way, level, tolerance, aside, np.unique(corners), kept)
    return kept


@kernel
def _keep_few(heights: NDArray[np.float32], way: NDArray[np.float64], level: float,
              tolerance: float, aside: float, corners: NDArray[np.int64], kept: NDArray[np.bool_]
              ) -> None:
    kept[:] = False
    kept[0] = True
    for corner in range(1, corners.size):
        at, end = corners[corner - 1], corners[corner]
        while at < end:
            fits, fails, step = at + 1, end + 1, 1
            while fails - fits > 1:
                reach = min(fits + step, end) if fails > end else (fits + fails) // 2
                if _stays(heights, way, at, reach, level, tolerance, aside):
                    fits, step = reach, 2 * step
                else:
                    fails = reach
            at = fits
            kept[at] = True


@kernel
def _stays(heights: NDArray[np.float32], way: NDArray[np.float64], first: int, last: int,
           level: float, tolerance: float, aside: float) -> bool:
    """Whether the straight piece between two points keeps to the level and to the line."""
    column, row = way[first]
    right, down = way[last, 0] - column, way[last, 1] - row
    length = right * right + down * down
    for k in range(first + 1, last):
        x, y = way[k, 0] - column, way[k, 1] - row
        share = min(max((x * right + y * down) / length, 0.0), 1.0) if length > 0 else 0.0
        if (x - share * right) ** 2 + (y - share * down) ** 2 > aside * aside:
            return False
    rows, columns = heights.shape
    at = 0.0
    while at < 1.0:
        end = min(_next_line(column, right, at), _next_line(row, down, at), 1.0)
        middle = (at + end) / 2
        c = min(max(int(np.floor(column + middle * right)), 0), columns - 2)
        r = min(max(int(np.floor(row + middle * down)), 0), rows - 2)
        corner = np.float64(heights[r, c])
        east, south = heights[r, c + 1] - corner, heights[r + 1, c] - corner
        twist = heights[r + 1, c + 1] - corner - east - south
        u, v, share = column + at * right - c, row + at * down - r, end - at
        # The height off the level along the piece: off + s (rise + s bend), s from 0 to share.
        off = corner - level + east * u + south * v + twist * u * v
        rise = east * right + south * down + twist * (u * down + v * right)
        bend = twist * right * down
        most = max(abs(off), abs(off + share * (rise + share * bend)))
        if bend != 0.0 and 0.0 < -rise / (2.0 * bend) < share:
            most = max(most, abs(off - rise * rise / (4.0 * bend)))
        if not most <= tolerance:  # nor where a height is unknown
            return False
        at = end
    return True


@kernel
def _next_line(start: float, way: float, at: float) -> float:
    """Share of a way from `start` at which it next passes a whole number, after share `at`."""
    if way == 0.0:
        return 1.0
    place = start + at * way
    line = np.floor(place) + 1.0 if way > 0 else np.ceil(place) - 1.0
    share = (line - start) / way
    if share <= at:  # rounding: that line is behind
        share = (line + np.sign(way) - start) / way
    return float(share)


def _crossing(ways: list[FloatArray]) -> NDArray[np.int64]:
    """Which lines cross themselves or another."""
    import shapely

    shapes = np.array([shapely.linestrings(way) for way in ways], dtype=object)
    if not shapes.size or shapely.is_simple(shapely.multilinestrings(shapes)):
        return np.empty(0, np.int64)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    return np.unique(np.concatenate([one[one != other],
                                     np.flatnonzero(~shapely.is_simple(shapes))]))


def _lines(dem: Dem, heights: NDArray[np.float32], row: int, column: int,
           levels: Sequence[float]) -> list[list[FloatArray]]:
    from contourpy import LineType, contour_generator

    if min(heights.shape) < 2:
        return [[] for _ in levels]
    rows, columns = heights.shape
    x, _ = dem.xy(0, column + np.arange(columns))
    _, y = dem.xy(row + np.arange(rows), 0)
    masked = np.ma.masked_invalid(heights.astype(np.float64))
    generator = contour_generator(x, y, masked, line_type=LineType.Separate)
    return [[line for found in generator.lines(level)
             if (line := _clean(np.asarray(found), dem.cell)) is not None]
            for level in _raised(heights, levels)]


def _raised(heights: NDArray[np.float32], levels: Sequence[float]) -> list[float]:
    """The levels, half a millimetre higher where a cell stands at one."""
    wanted = np.asarray(levels, np.float32)
    if not wanted.size:
        return []
    near = np.stack([wanted, np.nextafter(wanted, -np.inf), np.nextafter(wanted, np.inf)])
    sought = np.unique(near)
    place = np.minimum(np.searchsorted(sought, heights), sought.size - 1)
    stood_at = np.unique(place[sought[place] == heights])
    raised = np.isin(near, sought[stood_at]).any(axis=0) * RAISED
    return [float(level) for level in np.asarray(levels, np.float64) + raised]


def _clean(line: FloatArray, cell: float) -> FloatArray | None:
    """A line without points twice running; None if nothing of it is left."""
    keep = np.ones(len(line), np.bool_)
    keep[1:] = np.hypot(*np.diff(line, axis=0).T) > 1e-6 * cell
    line = np.concatenate([line[keep][:-1], line[-1:]]) if not keep[-1] else line[keep]
    least = 4 if (line[0] == line[-1]).all() else 2
    whole = len(line) >= least and np.ptp(line, axis=0).max() >= SMALLEST_LINE * cell
    return line if whole else None


def contour_through(dem: Dem, x: float, y: float, level: float | None = None,
                    reach: float = 1000.0) -> tuple[float, FloatArray, float] | None:
    """The contour line nearest to a point, and where on it the point lies.

    Parameters
    ----------
    x, y : float
        A point of the working frame. [m]
    level : float, optional
        The contour's level; the ground's own at the point if left out.  Where a cell stands at
        it, traced half a millimetre higher, as `contour_lines` does. [m]
    reach : float
        The contour is followed no further than this to each side of the point. [m]

    Returns
    -------
    level : float
        [m]
    line : float64, shape (points, 2)
        [m]
    along : float
        Distance from the line's start to its point nearest to (x, y). [m]

    None if there is no contour of that level within reach.
    """
    from shapely import Point
    from shapely.geometry import LineString

    if level is None:
        level = float(dem.height_at(x, y))
    rows, columns = dem.shape
    row, column = (int(i) for i in dem.row_column(x, y))
    span = int(np.ceil(reach / dem.cell)) + 1
    top, bottom = max(row - span, 0), min(row + span + 1, rows)
    left, right = max(column - span, 0), min(column + span + 1, columns)
    lines = _lines(dem, dem.heights[top:bottom, left:right], top, left, [level])[0]
    if not lines:
        return None
    point = Point(x, y)
    shapes = [LineString(line) for line in lines]
    nearest = min(range(len(shapes)), key=lambda i: (shapes[i].distance(point), i))
    line = np.asarray(shapes[nearest].coords)
    return level, line, float(shapes[nearest].project(point))
