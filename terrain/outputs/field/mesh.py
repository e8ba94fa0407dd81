"""The designed ground about the works as triangles, as few as a tolerance allows.

References
----------
Garland & Heckbert, Fast Polygonal Approximation of Terrains and Height Fields, Carnegie Mellon
University CMU-CS-95-181, 1995: greedy insertion, the worst place first; here in every block of
cells at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.designed_ground import Bounds, Grid, WorkShape, joined

FloatArray = NDArray[np.float64]

#: The triangles leave the designed ground by no more than this; about what a machine grades to,
#: common practice, no source. [m]
TOLERANCE = 0.03
#: Ground about each work that is covered with it. [m]
BESIDE = 2.0
#: Where nothing is dug the ground is looked at on every so many cells, and on all of them once it
#: fits there; points start so far apart.
EVERY, COARSE = 4, 20
#: One point is added at a time to a block of so many cells a side; later on, of so many, so that
#: few rounds are needed.
BLOCK, LATE, SMALL = 8, 4, 2
#: Breaklines give points no closer than this. [m]
SPACING = 0.25
#: A point of a breakline that lies so far off the designed ground was dug away later. [m]
OVERRULED = 0.08
#: A centre so far outside a triangle counts as on its edge: rounding. [cells]
EDGE = 1e-6
#: Rounds of adding points, far more than are needed.
ROUNDS = 60


@dataclass(frozen=True)
class Mesh:
    """Triangles over a rectangle of ground about works that lie close together.

    Attributes
    ----------
    works : tuple of str
    points : float64, shape (n, 3)
        East, north, level in the working frame. [m]
    faces : int64, shape (m, 3)
        Places in `points`, counter-clockwise seen from above.
    off : float
        The furthest they leave the designed ground at the centres of cells. [m]
    """

    works: tuple[str, ...]
    points: FloatArray
    faces: NDArray[np.int64]
    off: float


def meshes(dem: Dem, shapes: Sequence[WorkShape], grid: Grid, level: FloatArray,
           change: FloatArray) -> list[Mesh]:
    """Triangles of the designed ground, one rectangle for works whose rectangles would overlap.

    Parameters
    ----------
    grid, level, change
        The designed ground, as `designed_raster` gives it.
    """
    return [_mesh(dem, group, bounds, grid, level, change)
            for bounds, group in rectangles(shapes)]


def rectangles(shapes: Sequence[WorkShape]) -> list[tuple[Bounds, list[WorkShape]]]:
    """Rectangles about shapes, west, south, east, north, joined until none overlap. [m]"""
    found: list[tuple[Bounds, list[WorkShape]]] = []
    for shape in shapes:
        west, south, east, north = shape.bounds
        one = (west - BESIDE, south - BESIDE, east + BESIDE, north + BESIDE), [shape]
        while True:
            meets = next((f for f in found if _overlap(f[0], one[0])), None)
            if meets is None:
                break
            found.remove(meets)
            one = joined([meets[0], one[0]]), [*meets[1], *one[1]]
        found.append(one)
    return found


def _overlap(a: Bounds, b: Bounds) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _mesh(dem: Dem, shapes: list[WorkShape], bounds: Bounds, grid: Grid, level: FloatArray,
          change: FloatArray) -> Mesh:
    from scipy.ndimage import binary_dilation
    from scipy.spatial import Delaunay

    window = grid.window(bounds)
    part = grid.part(*window)
    heights = np.where(np.isnan(level[window]), part.heights(dem), level[window])
    known = np.isfinite(heights)
    dug = binary_dilation(np.abs(np.nan_to_num(change[window])) > 1e-3, np.ones((3, 3)), 2)
    seen = np.zeros(part.shape, bool)
    seen[::EVERY, ::EVERY] = seen[-1, ::EVERY] = seen[::EVERY, -1] = seen[-1, -1] = True
    seen = (seen | dug) & known
    start = np.zeros(part.shape, bool)
    start[np.ix_(_few(part.rows), _few(part.columns))] = True
    rows, columns = np.nonzero(start & known)
    cells = np.column_stack([part.x[columns], part.y[rows], heights[rows, columns]])
    points = _apart(np.concatenate([cells, _of_breaklines(shapes, part, heights)]))
    sheet = _Sheet(part, heights)
    corner = part.left, part.top
    net = Delaunay(points[:, :2] - corner, incremental=True)
    for turn in range(ROUNDS):
        off = np.where(seen, sheet.off(net.simplices, points), 0.0)
        rows, columns = np.nonzero(off > TOLERANCE)
        if not rows.size and (seen == known).all():
            break
        if not rows.size:  # good where it was looked at: now everywhere
            seen = known
            continue
        size = BLOCK if turn < LATE else SMALL
        block = (rows // size) * part.columns + columns // size
        order = np.lexsort((-off[rows, columns], block))  # the worst of each, block by block
        first = order[np.unique(block[order], return_index=True)[1]]
        row, column = rows[first], columns[first]
        new = np.column_stack([part.x[column], part.y[row], heights[row, column]])
        points = np.concatenate([points, new])
        net.add_points(new[:, :2] - corner)
    net.close()
    faces = net.simplices.astype(np.int64)
    middle = points[faces][:, :, :2].mean(axis=1)
    row = np.clip(((part.top - middle[:, 1]) / part.cell).astype(int), 0, part.rows - 1)
    column = np.clip(((middle[:, 0] - part.left) / part.cell).astype(int), 0, part.columns - 1)
    twice = _twice_area(points, faces)
    faces = np.where((twice < 0)[:, None], faces[:, ::-1], faces)
    faces = faces[known[row, column] & (np.abs(twice) > 1e-6)]
    return Mesh(tuple(dict.fromkeys(shape.work for shape in shapes)), points, faces,
                float(off.max(initial=0.0)))


class _Sheet:
    """Triangles held against the ground at the centres of its cells, round after round.

    A triangle that a round leaves as it was is not looked at again: adding points changes few.
    """

    def __init__(self, part: Grid, heights: FloatArray) -> None:
        self.part, self.heights = part, heights
        self._off = np.zeros(part.shape)
        self._keys = np.zeros(0, np.int64)

    def off(self, simplices: NDArray[np.integer[Any]], points: FloatArray) -> FloatArray:
        """How far triangles leave the ground at every cell, shape of the grid; not known as 0. [m]

        Parameters
        ----------
        simplices : int, shape (m, 3)
            Places in `points`.
        points : float64, shape (n, 3)
            Those of the round before, in the same order, then the new ones. [m]
        """
        part = self.part
        a, b, c = np.sort(simplices.astype(np.int64), axis=1).T
        keys = (a << 42) | (b << 21) | c
        new = simplices[~np.isin(keys, self._keys)]
        self._keys = keys
        across = (points[:, 0] - part.left) / part.cell - 0.5
        down = (part.top - points[:, 1]) / part.cell - 0.5
        row, column, level = scanned(across[new], down[new], points[:, 2][new], part.shape)
        self._off[row, column] = np.abs(np.nan_to_num(level - self.heights[row, column]))
        return self._off


def scanned(across: FloatArray, down: FloatArray, level: FloatArray, shape: tuple[int, int]
            ) -> tuple[NDArray[np.int64], NDArray[np.int64], FloatArray]:
    """The cells whose centres lie in triangles, edges included, and the triangles' levels there.

    Parameters
    ----------
    across, down, level : float64, shape (m, 3)
        Of the corners; the centre of the cell in row i and column j is at i down and j across.
    shape : (int, int)
        Rows and columns that there are.

    Returns
    -------
    row, column, level : shape (n,)
        Row by row of each triangle; a cell on an edge comes once for each of its triangles.
    """
    first = np.maximum(np.ceil(down.min(axis=1) - EDGE), 0).astype(np.int64)
    last = np.minimum(np.floor(down.max(axis=1) + EDGE), shape[0] - 1).astype(np.int64)
    which, row = _runs(first, last)
    ends = []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        fall = (down[:, j] - down[:, i])[which]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (row - down[which, i]) / fall
        meets = (np.abs(fall) > EDGE) & (share >= -EDGE) & (share <= 1 + EDGE)
        share = np.clip(np.where(meets, share, 0.0), 0.0, 1.0)
        ends.append((meets, *((1 - share) * part[which, i] + share * part[which, j]
                              for part in (across, level))))
    meets, at, high = (np.array(part) for part in zip(*ends, strict=True))
    west, east = np.where(meets, at, np.inf), np.where(meets, at, -np.inf)
    left, right = west.argmin(axis=0), east.argmax(axis=0)
    every = np.arange(len(row))
    start, end = west[left, every], east[right, every]
    crossed = meets.any(axis=0)
    start, end = np.where(crossed, start, 1.0), np.where(crossed, end, 0.0)
    line, column = _runs(np.maximum(np.ceil(start - EDGE), 0).astype(np.int64),
                         np.minimum(np.floor(end + EDGE), shape[1] - 1).astype(np.int64))
    wide = np.maximum(end - start, EDGE)
    share = np.clip((column - start[line]) / wide[line], 0.0, 1.0)
    found = (1 - share) * high[left, every][line] + share * high[right, every][line]
    return row[line], column, found


def _runs(first: NDArray[np.int64], last: NDArray[np.int64]
          ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Every whole number from first to last of each run, and whose run it is of."""
    count = np.maximum(last - first + 1, 0)
    which = np.repeat(np.arange(len(first)), count)
    return which, np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + first[which]


def _twice_area(points: FloatArray, faces: NDArray[np.int64]) -> FloatArray:
    a, b, c = (points[faces[:, i], :2] for i in range(3))
    (ux, uy), (vx, vy) = (b - a).T, (c - a).T
    return np.asarray(ux * vy - uy * vx)


def _few(count: int) -> NDArray[np.int64]:
    """First, last, and some between."""
    return np.unique(np.linspace(0, count - 1, max(count // COARSE, 1) + 1).round().astype(int))


def _of_breaklines(shapes: list[WorkShape], part: Grid, heights: FloatArray) -> FloatArray:
    """Points along breaklines, where the designed ground still has their level."""
    from shapely import LineString, get_coordinates, line_interpolate_point

    found = [np.zeros((0, 3))]
    for line in (line for shape in shapes for line in shape.breaklines):
        if len(line.points) < 2 or not np.isfinite(line.points).all():
            continue
        string = LineString(line.points)
        at = np.linspace(0.0, string.length, max(int(string.length / SPACING), 1) + 1)
        points = get_coordinates(line_interpolate_point(string, at), include_z=True)
        row = ((part.top - points[:, 1]) / part.cell).astype(int)
        column = ((points[:, 0] - part.left) / part.cell).astype(int)
        inside = ((row >= 0) & (row < part.rows) & (column >= 0) & (column < part.columns)
                  & (points[:, 0] > part.x[0]) & (points[:, 0] < part.x[-1])
                  & (points[:, 1] < part.y[0]) & (points[:, 1] > part.y[-1]))
        points, row, column = points[inside], row[inside], column[inside]
        found.append(points[np.abs(points[:, 2] - heights[row, column]) < OVERRULED].round(3))
    return np.concatenate(found)


def _apart(points: FloatArray) -> FloatArray:
    """Points, the first kept of those that stand closer than 2 cm together."""
    from scipy.spatial import cKDTree

    gone = np.zeros(len(points), bool)
    for first, second in sorted(cKDTree(points[:, :2]).query_pairs(0.02)):
        if not gone[first]:
            gone[second] = True
    return points[~gone]
