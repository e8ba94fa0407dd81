"""Where water gathers: the ways of cells that carry more than some amount, from fork to fork."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP


def gathered_ways(direction: NDArray[np.uint8], wet: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Ways from each source or junction of the wet cells down to the next junction or the end.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        D8, as `Terrain.direction`.
    wet : bool, same shape
        Cells that carry enough to count; whatever drains a wet cell is wet itself or off the grid.

    Returns
    -------
    ways : list of int64, shape (cells, 2)
        In the order of their first cells.  A way ends in the junction's own cell, so that ways
        join; what it carries is what the cell before that does, see `carrier`.
    """
    rows, columns = np.nonzero(wet & (direction < LEAVES))
    step = direction[rows, columns].astype(np.int64)
    next_rows, next_columns = rows + ROW_STEP[step], columns + COLUMN_STEP[step]
    high, wide = wet.shape
    inside = (next_rows >= 0) & (next_columns >= 0) & (next_rows < high) & (next_columns < wide)
    rows, columns = rows[inside], columns[inside]
    next_rows, next_columns = next_rows[inside], next_columns[inside]
    inflows = np.zeros(wet.shape, np.int64)
    np.add.at(inflows, (next_rows, next_columns), 1)
    following = {(int(a), int(b)): (int(c), int(d)) for a, b, c, d in
                 zip(rows, columns, next_rows, next_columns, strict=True)}
    found = []
    for start in sorted(cell for cell in following if inflows[cell] != 1):
        way = [start]
        while way[-1] in following:
            way.append(following[way[-1]])
            if inflows[way[-1]] > 1:
                break
        found.append(np.array(way))
    return found


def carrier(way: NDArray[np.int64]) -> tuple[int, int]:
    """The cell whose water is all that a way carries: its last before the junction that ends it."""
    row, column = way[max(len(way) - 2, 0)]
    return int(row), int(column)
