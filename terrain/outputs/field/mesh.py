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
#: Where nothing is dug the ground is looked at on every so many cells; points start so far apart.
EVERY, COARSE = 4, 20
#: One point is added at a time to a block of so many cells a side; later on, of so many, so that
#: few rounds are needed.
BLOCK, LATE, SMALL = 8, 4, 2
#: Breaklines give points no closer than this. [m]
SPACING = 0.25
#: A point of a breakline that lies so far off the designed ground was dug away later. [m]
OVERRULED = 0.08
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
    rows, columns = np.nonzero(seen)
    places = np.column_stack([part.x[columns], part.y[rows]])
    wanted = heights[rows, columns]
    origin = np.array([part.left, part.top])
    looked = _Looked(places - origin, wanted)
    for turn in range(ROUNDS):
        net = Delaunay(points[:, :2] - origin)
        off = looked.off(net, points[:, 2])
        wrong = np.flatnonzero(off > TOLERANCE)
        if not wrong.size:
            break
        size = BLOCK if turn < LATE else SMALL
        block = (rows[wrong] // size) * part.columns + columns[wrong] // size
        order = np.lexsort((-off[wrong], block))  # the worst of each block, in their order
        first = wrong[order[np.unique(block[order], return_index=True)[1]]]
        points = np.concatenate([points, np.column_stack([places[first], wanted[first]])])
    faces = net.simplices.astype(np.int64)
    middle = points[faces][:, :, :2].mean(axis=1)
    row = np.clip(((part.top - middle[:, 1]) / part.cell).astype(int), 0, part.rows - 1)
    column = np.clip(((middle[:, 0] - part.left) / part.cell).astype(int), 0, part.columns - 1)
    twice = _twice_area(points, faces)
    faces = np.where((twice < 0)[:, None], faces[:, ::-1], faces)
    faces = faces[known[row, column] & (np.abs(twice) > 1e-6)]
    return Mesh(tuple(dict.fromkeys(shape.work for shape in shapes)), points, faces,
                float(off.max(initial=0.0)))


class _Looked:
    """Places at which triangles are held against the ground, round after round.

    A triangle that a round leaves as it was is not looked at again: adding a point changes few.
    """

    def __init__(self, places: FloatArray, wanted: FloatArray) -> None:
        self.places, self.wanted = places, wanted
        self._off = np.zeros(len(places))
        self._within = np.full(len(places), -1)  # number of the triangle in which each lies
        self._keys = np.zeros(0, np.int64)

    def off(self, net: Any, levels: FloatArray) -> FloatArray:
        """How far the triangles of a `scipy.spatial.Delaunay` leave the ground at each place;
        0 beyond them. [m]

        Parameters
        ----------
        levels : float64, shape (points,)
            Of its points, those of the round before first and in the same order. [m]
        """
        a, b, c = np.sort(net.simplices.astype(np.int64), axis=1).T
        keys = (a << 42) | (b << 21) | c
        order = np.argsort(keys)
        found = order[np.minimum(np.searchsorted(keys, self._keys, sorter=order), len(keys) - 1)]
        still = np.append(np.where(keys[found] == self._keys, found, -1), -1)  # the last for -1
        self._within = still[self._within]
        self._keys = keys
        anew = np.flatnonzero(self._within < 0)
        points = self.places[anew]
        within = net.find_simplex(points)
        move = net.transform[within]
        shares = np.einsum("nij,nj->ni", move[:, :2], points - move[:, 2])
        corners = levels[net.simplices[within]]
        made = (shares * corners[:, :2]).sum(axis=1) + (1 - shares.sum(axis=1)) * corners[:, 2]
        off = np.abs(made - self.wanted[anew])
        self._within[anew] = within
        self._off[anew] = np.where(within >= 0, np.nan_to_num(off), 0.0)
        return self._off


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
        found.append(points[np.abs(points[:, 2] - heights[row, column]) < OVERRULED])
    return np.concatenate(found)


def _apart(points: FloatArray) -> FloatArray:
    """Points to the millimetre, the first kept of those that stand closer than 2 cm together."""
    from scipy.spatial import cKDTree

    points = points.round(3)
    gone = np.zeros(len(points), bool)
    for first, second in sorted(cKDTree(points[:, :2]).query_pairs(0.02)):
        if not gone[first]:
            gone[second] = True
    return points[~gone]
