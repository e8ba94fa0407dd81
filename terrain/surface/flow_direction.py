"""Where each cell sends its water: steepest descent to one of eight neighbours (D8)."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import COLUMN_STEP, LEAVES, ROW_STEP, VOID


@numba.njit(cache=True)
def _steepest(filled, way_out, direction):
    rows, columns = filled.shape
    diagonal = np.sqrt(2.0)
    for row in range(rows):
        for column in range(columns):
            if way_out[row, column] == VOID:
                continue
            here = np.float64(filled[row, column])
            best = 0.0
            choice = way_out[row, column]
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if r < 0 or c < 0 or r >= rows or c >= columns:
                    continue
                drop = here - np.float64(filled[r, c])
                if k % 2 == 1:
                    drop /= diagonal
                if drop > best:
                    best = drop
                    choice = np.uint8(k)
            direction[row, column] = choice


def steepest_descent(filled: NDArray[np.float32], way_out: NDArray[np.uint8]
                     ) -> NDArray[np.uint8]:
    """D8 directions on a surface without hollows.

    Parameters
    ----------
    filled, way_out : shape (rows, columns)
        As `fill_hollows` gives them.

    Returns
    -------
    direction : uint8, same shape
        0 to 7 (E, SE, S, SW, W, NW, N, NE) to the neighbour of greatest drop per distance,
        the first of equals; on flats the neighbour nearest to the way out; 8 where water
        leaves the known ground; 255 in voids.  The directions hold no loop.

    References
    ----------
    .. [1] O'Callaghan & Mark, Computer Vision, Graphics and Image Processing 28 (1984), 323-344.
    """
    direction = np.full(filled.shape, VOID, np.uint8)
    _steepest(filled, way_out, direction)
    return direction


__all__ = ["COLUMN_STEP", "LEAVES", "ROW_STEP", "VOID", "steepest_descent"]
