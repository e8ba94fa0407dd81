"""The way water takes downslope from a cell, and what it meets on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import cut_in_strips, in_strips, kernel
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP

#: In a label: not known yet, the same as the cell's that water goes to next.
AS_NEXT = np.int32(-2)


@kernel
def hand_up_strip(way: NDArray[np.uint8], known: NDArray[np.int32], columns: int, first: int,
                  last: int) -> None:
    """Hand labels up from the cells of rows first to last; see `hand_up`."""
    step = ROW_STEP * columns + COLUMN_STEP
    for start in range(first * columns, last * columns):
        if known[start] != AS_NEXT:
            continue
        cell = start
        while known[cell] == AS_NEXT:
            cell += step[way[cell]]
        found = known[cell]
        cell = start
        while known[cell] == AS_NEXT:
            known[cell] = found
            cell += step[way[cell]]


def hand_up(direction: NDArray[np.uint8], label: NDArray[np.int32]) -> None:
    """Give every cell marked AS_NEXT the label that its water meets first, in place.

    Every way down must end in another label.  Strips may walk over one another's cells: they
    write the same labels there.
    """
    way, known, columns = direction.reshape(-1), label.reshape(-1), direction.shape[1]
    in_strips(lambda first, last, _: hand_up_strip(way, known, columns, first, last),
              cut_in_strips(*direction.shape))


@kernel
def _trace(direction: NDArray[np.uint8], row: int, column: int, stop: NDArray[np.bool_],
           path: NDArray[np.int64]) -> int:
    count = 0
    while True:
        path[count, 0], path[count, 1] = row, column
        count += 1
        if (count > 1 and stop[row, column]) or direction[row, column] >= 8:
            return count
        if count == path.shape[0]:
            return -1
        k = direction[row, column]
        row += ROW_STEP[k]
        column += COLUMN_STEP[k]


def trace_downslope(direction: NDArray[np.uint8], row: int, column: int,
                    stop: NDArray[np.bool_] | None = None) -> NDArray[np.int64]:
    """Follow the water from a cell until it meets a `stop` cell or leaves the known ground.

    Returns
    -------
    path : int64, shape (cells, 2)
        Rows and columns from the start to the last cell; the start itself never stops it.
    """
    if stop is None:
        stop = np.zeros(direction.shape, np.bool_)
    room = 4096
    while True:
        path = np.empty((room, 2), np.int64)
        count = _trace(direction, row, column, stop, path)
        if count > 0:
            return path[:count]
        room *= 8


@kernel
def _climb(direction: NDArray[np.uint8], length: NDArray[np.float64], cell: float, row: int,
           column: int, path: NDArray[np.int64]) -> int:
    rows, columns = direction.shape
    count = 0
    while True:
        path[count, 0], path[count, 1] = row, column
        count += 1
        best, best_row, best_column = -1.0, -1, -1
        for k in range(8):
            r, c = row - ROW_STEP[k], column - COLUMN_STEP[k]
            if not (0 <= r < rows and 0 <= c < columns) or direction[r, c] != k:
                continue
            reached = length[r, c] + (cell * np.sqrt(2.0) if k % 2 else cell)
            if reached > best:
                best, best_row, best_column = reached, r, c
        if best_row < 0:
            return count
        if count == path.shape[0]:
            return -1
        row, column = best_row, best_column


def longest_path_to(direction: NDArray[np.uint8], length: NDArray[np.float64], cell: float,
                    row: int, column: int) -> NDArray[np.int64]:
    """The longest way that ends at a cell.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        D8.
    length : float64, same shape
        Longest way to each cell along it, as `longest_upslope_path` gives. [m]
    cell : float
        Side of a cell. [m]

    Returns
    -------
    path : int64, shape (cells, 2)
        Rows and columns from the divide to the cell.
    """
    room = 4096
    while True:
        path = np.empty((room, 2), np.int64)
        count = _climb(direction, length, cell, row, column, path)
        if count > 0:
            return path[:count][::-1]
        room *= 8
