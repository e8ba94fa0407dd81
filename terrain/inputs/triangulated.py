"""Surveyed points -> a square grid: heights on the triangles between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rasterio.transform import Affine

from terrain.errors import InputError
from terrain.inputs.raster_tiles import Seen

#: A triangle with a side longer than this many times the median side is left empty; common
#: practice, no source.
LONGEST = 5.0
#: Heights of one place may differ by this much and are then averaged; common practice, no
#: source. [m]
SAME_HEIGHT = 0.05
#: Points this close are at one place. [m]
SAME_PLACE = 0.001
#: Chosen cells are no finer than this. [m]
FINEST = 0.1
_BLOCK = 100_000


@dataclass(frozen=True)
class Gridded:
    """Heights of all the ground between the points, on one grid.

    Attributes
    ----------
    heights : float32, shape (rows, columns)
        NaN outside the triangles. [m]
    transform : Affine
        From (column, row) to the working frame.
    """

    heights: NDArray[np.float32]
    transform: Affine

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.heights.shape
        return rows, columns

    def read(self, row: int, column: int, rows: int, columns: int
             ) -> tuple[NDArray[np.float32], Seen]:
        """Heights of a window of the grid. [m]"""
        return self.heights[row:row + rows, column:column + columns].copy(), Seen()


def one_height_a_place(x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64],
                       places: Sequence[str]) -> tuple[NDArray[np.float64], NDArray[np.float64],
                                                       NDArray[np.float64], list[str]]:
    """Points of different places, with the mean height where several lie at one. [m]

    Raises
    ------
    InputError
        If heights at one place differ by more than 5 cm, naming both lines.
    """
    at = np.round(np.column_stack([x, y]) / SAME_PLACE).astype(np.int64)
    _, first, which, many = np.unique(at, axis=0, return_index=True, return_inverse=True,
                                      return_counts=True)
    if len(first) == len(x):
        return x, y, z, []
    which = which.ravel()
    low, high = np.full(len(first), np.inf), np.full(len(first), -np.inf)
    np.minimum.at(low, which, z)
    np.maximum.at(high, which, z)
    apart = high - low
    if apart.max() > SAME_HEIGHT + 1e-9:
        worst = int(np.argmax(apart))
        here = np.flatnonzero(which == worst)
        one, other = sorted((here[np.argmin(z[here])], here[np.argmax(z[here])]))
        raise InputError(f"{places[one]} and {places[other]}", "these points are at one place, but "
                         f"their heights differ by {apart[worst]:.2f} m",
                         "Take out the wrong one")
    mean = np.bincount(which, weights=z) / many
    twice = int((many > 1).sum())
    return x[first], y[first], mean, [
        f"{twice:,} {'place was' if twice == 1 else 'places were'} surveyed more than once; the "
        f"heights there differ by at most {apart.max():.2f} m and were averaged."]


def triangulate(where: str, x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64],
                cell: float | None, most_cells: int) -> tuple[Gridded, list[str]]:
    """Spread heights over the Delaunay triangles of points, linear on each, onto a square grid.

    Parameters
    ----------
    where : str
        The file, for messages.
    x, y, z : float64, shape (points,)
        Points of different places in the working frame. [m]
    cell : float or None
        Side of a cell; None: half the median distance of a point to its nearest neighbour, rounded
        down to 1, 2 or 5 times a power of ten. [m]
    most_cells : int
        No larger grid is made.

    Raises
    ------
    InputError
        If the points span no ground, or the grid would be too large or too small.

    References
    ----------
    .. [1] Hengl, T., 2006. Finding the right pixel size. Computers & Geosciences 32(9),
       1283-1298: cells of half the spacing of points (the half from memory).
    """
    from scipy.spatial import Delaunay, QhullError
    from shapely import MultiPoint, contains_xy, prepare

    if len(x) < 3:
        raise InputError(where, f"it holds points at only {len(x)} "
                         f"{'place' if len(x) == 1 else 'places'}",
                         "Give at least three that are not in one line")
    middle = np.array([x.mean(), y.mean()])
    corners = np.column_stack([x, y]) - middle
    spread = np.linalg.svd(corners, compute_uv=False)
    if spread[1] < max(SAME_PLACE, 1e-6 * spread[0]):
        raise InputError(where, "its points all lie in one line, so there is no ground between "
                         "them", "Survey points to both sides of the line as well")
    try:
        mesh = Delaunay(corners)
    except QhullError:
        raise InputError(where, "no triangles can be laid between its points",
                         "Check the coordinates") from None
    sides = np.stack([np.linalg.norm(corners[mesh.simplices[:, i]]
                                     - corners[mesh.simplices[:, j]], axis=1)
                      for i, j in ((0, 1), (1, 2), (2, 0))], axis=1)
    pairs = np.sort(np.concatenate([mesh.simplices[:, [i, j]] for i, j in
                                    ((0, 1), (1, 2), (2, 0))]), axis=1)
    _, once = np.unique(pairs, axis=0, return_index=True)
    usual = float(np.median(sides.T.ravel()[once]))
    used = sides.max(axis=1) <= LONGEST * usual
    notes = []
    if not used.all():
        gone = int((~used).sum())
        notes.append(f"{gone:,} {'triangle' if gone == 1 else 'triangles'} between points with a "
                     f"side over {LONGEST * usual:.1f} m ({LONGEST:g} times the median side) "
                     f"{'was' if gone == 1 else 'were'} left empty.")
    if cell is None:
        near = _median_nearest(corners)
        cell = max(_round_down(near / 2), FINEST)
        notes.append(f"Cells of {cell:g} m were chosen, about half the median distance of "
                     f"{near:.2f} m from a point to its nearest neighbour.")
    low = np.floor(np.array([x.min(), y.min()]) / cell + 1e-9)
    high = np.ceil(np.array([x.max(), y.max()]) / cell - 1e-9)
    columns, rows = (int(n) for n in high - low)
    if rows * columns > most_cells:
        raise InputError(where, f"a grid over its points with cells of {cell:g} m would have "
                         f"{rows * columns:,} cells, more than the {most_cells:,} that are held "
                         "at once", "Look for a stray point, or state a larger cell (cell, or "
                         "--cell)")
    if rows < 3 or columns < 3:
        raise InputError(where, f"a grid over its points with cells of {cell:g} m is only "
                         f"{columns} by {rows} cells", "State a smaller cell (cell: 0.5 m, or "
                         "--cell)")
    hull = MultiPoint(corners).convex_hull.buffer(SAME_PLACE / 1000)
    prepare(hull)
    transform = Affine(cell, 0.0, low[0] * cell, 0.0, -cell, high[1] * cell)
    heights = np.empty((rows, columns), np.float32)
    step = max(1, _BLOCK // columns)
    for first in range(0, rows, step):
        last = min(first + step, rows)
        at = np.stack(np.meshgrid(
            transform.c + (np.arange(columns) + 0.5) * cell - middle[0],
            transform.f - (np.arange(first, last) + 0.5) * cell - middle[1]), axis=-1)
        # Far outside all triangles the search tries every one of them: those places are left out.
        inside = contains_xy(hull, at[..., 0], at[..., 1])
        block = np.full(inside.shape, np.nan)
        block[inside] = _on_triangles(mesh, used, z, at[inside])
        heights[first:last] = block
    return Gridded(heights, transform), notes


def _on_triangles(mesh: object, used: NDArray[np.bool_], z: NDArray[np.float64],
                  at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear heights at places; NaN outside the triangles in use."""
    found = mesh.find_simplex(at)  # type: ignore[attr-defined]
    out = np.full(len(at), np.nan)
    inside = np.flatnonzero((found >= 0) & used[found])
    triangle = found[inside]
    affine = mesh.transform[triangle]  # type: ignore[attr-defined]
    two = np.einsum("nij,nj->ni", affine[:, :2], at[inside] - affine[:, 2])
    share = np.column_stack([two, 1 - two.sum(axis=1)])
    out[inside] = (share * z[mesh.simplices[triangle]]).sum(axis=1)  # type: ignore[attr-defined]
    return out


def _median_nearest(corners: NDArray[np.float64]) -> float:
    from scipy.spatial import cKDTree

    return float(np.median(cKDTree(corners).query(corners, k=2)[0][:, 1]))


def _round_down(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above a value."""
    power = 10.0 ** np.floor(np.log10(value) + 1e-9)
    return float(next(n * power for n in (5, 2, 1) if n * power <= value * (1 + 1e-9)))
