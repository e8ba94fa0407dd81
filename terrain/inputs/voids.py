"""Holes in a grid of heights: found as connected voids, small ones filled from their rims."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Enclosed holes up to this area are filled; common practice, no source. [m2]
FILL_UP_TO = 25.0
#: Holes of more cells than this are solved as a sparse system.
_SPARSE_FROM = 150
_NEIGHBOURS = ((-1, 0), (1, 0), (0, -1), (0, 1))


@dataclass(frozen=True)
class Voids:
    """The connected voids of a grid; cells that touch by a side or a corner belong together.

    Attributes
    ----------
    row, start, end : int64, shape (runs,)
        Runs of cells without height: their row, first column and the column behind the last.
    void : int, shape (runs,)
        Number of the void that a run belongs to.
    cells : int64, shape (voids,)
        How many cells a void has.
    box : int64, shape (voids, 4)
        First and last row and first and last column of each void.
    """

    row: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    void: NDArray[np.int64]
    cells: NDArray[np.int64]
    box: NDArray[np.int64]

    @property
    def count(self) -> int:
        """How many voids there are."""
        return len(self.cells)

    def touching(self, sides: tuple[bool, bool, bool, bool], shape: tuple[int, int]
                 ) -> NDArray[np.bool_]:
        """Which voids touch the sides asked for (west, south, east, north) of a grid."""
        west, south, east, north = sides
        rows, columns = shape
        found: NDArray[np.bool_] = (
            (north & (self.box[:, 0] == 0)) | (south & (self.box[:, 1] == rows - 1))
            | (west & (self.box[:, 2] == 0)) | (east & (self.box[:, 3] == columns - 1)))
        return found

    def within(self, top: int, bottom: int, left: int, right: int) -> NDArray[np.bool_]:
        """Which voids have a cell in a window of rows and columns."""
        runs = ((self.row >= top) & (self.row < bottom) & (self.start < right) & (self.end > left))
        found = np.zeros(self.count, bool)
        found[self.void[runs]] = True
        return found

    def beside(self, cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which voids touch some other cells of the grid, by a side or a corner."""
        from scipy.ndimage import binary_dilation

        around = binary_dilation(cells, np.ones((3, 3), bool))
        around &= ~cells
        row, column = np.nonzero(around)
        wide = cells.shape[1] + 1
        run = np.searchsorted(self.row * wide + self.start, row * wide + column, "right") - 1
        row, column, run = (part[run >= 0] for part in (row, column, run))
        there = (self.row[run] == row) & (column < self.end[run])
        found = np.zeros(self.count, bool)
        found[self.void[run[there]]] = True
        return found

    def cells_of(self, chosen: NDArray[np.bool_]) -> list[tuple[NDArray[np.int64],
                                                               NDArray[np.int64]]]:
        """Rows and columns of the cells of each void that is chosen, row by row."""
        runs = np.flatnonzero(chosen[self.void])
        runs = runs[np.argsort(self.void[runs], kind="stable")]
        lengths = self.end[runs] - self.start[runs]
        firsts = np.cumsum(lengths) - lengths
        rows = np.repeat(self.row[runs], lengths)
        columns = np.arange(lengths.sum()) + np.repeat(self.start[runs] - firsts, lengths)
        ends = np.cumsum(self.cells[chosen])[:-1]
        return list(zip(np.split(rows, ends), np.split(columns, ends), strict=True))


def find_voids(heights: NDArray[np.float32]) -> Voids:
    """Find the connected voids (NaN) of a grid, by runs, so that little memory is taken.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
    """
    row, start, end = _runs(heights)
    if not row.size:
        none = np.zeros(0, np.int64)
        return Voids(none, none, none, none, none, np.zeros((0, 4), np.int64))
    # Rows laid end to end with two columns between them, so that no run meets another row's.
    stride = heights.shape[1] + 2
    begins, stops = row * stride + start, row * stride + end
    low = np.searchsorted(stops, begins + stride, side="left")
    high = np.searchsorted(begins, stops + stride, side="right")
    many = np.maximum(high - low, 0)
    one = np.repeat(np.arange(row.size), many)
    other = np.arange(many.sum()) + np.repeat(low - (np.cumsum(many) - many), many)
    void = _joined(row.size, one, other)
    count = int(void.max()) + 1
    cells = np.bincount(void, weights=end - start, minlength=count).astype(np.int64)
    box = np.empty((count, 4), np.int64)
    box[:, 0::2], box[:, 1::2] = np.iinfo(np.int64).max, -1
    np.minimum.at(box[:, 0], void, row)
    np.maximum.at(box[:, 1], void, row)
    np.minimum.at(box[:, 2], void, start)
    np.maximum.at(box[:, 3], void, end - 1)
    return Voids(row, start, end, void, cells, box)


def _joined(count: int, one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number the connected parts of a graph of so many nodes, by its edges: each node's part.

    Each part is led to its least node, by halves of the way (Y. Shiloach and U. Vishkin, An
    O(log n) parallel connectivity algorithm, Journal of Algorithms 3, 1982).  Not by scipy's
    graphs: every question of a raster with a hole would wait 0.2 s for that to be loaded.
    """
    least = np.arange(count)
    while True:
        low, high = least[one], least[other]
        if (low == high).all():
            return np.unique(least, return_inverse=True)[1]
        np.minimum.at(least, high, low)
        np.minimum.at(least, low, high)
        while (least[least] != least).any():
            least = least[least]


def _runs(heights: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.int64],
                                                 NDArray[np.int64]]:
    """Row, first column and column behind the last of every run of voids, in order."""
    rows, columns = heights.shape
    found = []
    step = max(1, 2_000_000 // max(columns, 1))
    for first in range(0, rows, step):
        gone = np.isnan(heights[first:first + step])
        if not gone.any():
            continue
        edged = np.zeros((gone.shape[0], columns + 2), np.int8)
        edged[:, 1:-1] = gone
        change = np.diff(edged, axis=1)
        row, start = np.nonzero(change == 1)
        found.append((row + first, start, np.nonzero(change == -1)[1]))
    if not found:
        return np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int64)
    row, start, end = (np.concatenate(part).astype(np.int64) for part in zip(*found, strict=True))
    return row, start, end


def fill_voids(heights: NDArray[np.float32], voids: Voids, chosen: NDArray[np.bool_]
               ) -> NDArray[np.bool_]:
    """Fill the enclosed voids that are chosen, in place, and say which cells that were."""
    filled = np.zeros(heights.shape, bool)
    single = chosen & (voids.cells == 1)
    rows, columns = voids.box[single, 0], voids.box[single, 2]
    # All at once, as there may be very many; each stands apart, so none looks at another.
    heights[rows, columns] = sum(heights[rows + down, columns + across].astype(np.float64)
                                 for down, across in _NEIGHBOURS) / 4
    filled[rows, columns] = True
    larger = chosen & ~single
    for hole in voids.cells_of(larger) if larger.any() else []:
        fill_from_rim(heights, *hole)
        filled[hole] = True
    return filled


def fill_from_rim(heights: NDArray[np.float32], rows: NDArray[np.int64],
                  columns: NDArray[np.int64]) -> None:
    """Fill an enclosed hole in place by a membrane stretched over its rim.

    The height of every cell in the hole becomes the mean of its four neighbours (Laplace's
    equation in differences).  A membrane keeps a plane a plane, and has no pit and no hump of
    its own: every height lies between those of the rim.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        Changed in the hole. [m]
    rows, columns : int64, shape (cells,)
        Cells of the hole; all that touch them, corners included, must be known or among them.
    """
    n = len(rows)
    top, left = rows.min() - 1, columns.min() - 1
    number = np.full((rows.max() - top + 2, columns.max() - left + 2), -1)
    number[rows - top, columns - left] = np.arange(n)
    right_side = np.zeros(n)
    links: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    for down, across in _NEIGHBOURS:
        near = number[rows - top + down, columns - left + across]
        rim = near < 0
        right_side[rim] += heights[rows[rim] + down, columns[rim] + across]
        links.append((np.flatnonzero(~rim), near[~rim]))
    one, other = (np.concatenate(part) for part in zip(*links, strict=True))
    if n <= _SPARSE_FROM:
        matrix = 4.0 * np.eye(n)
        matrix[one, other] = -1.0
        heights[rows, columns] = np.linalg.solve(matrix, right_side)
        return
    from scipy.sparse import coo_array, eye_array
    from scipy.sparse.linalg import spsolve

    sparse = 4.0 * eye_array(n) - coo_array((np.ones(one.size), (one, other)), shape=(n, n))
    heights[rows, columns] = spsolve(sparse.tocsc(), right_side)
