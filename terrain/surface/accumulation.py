"""What gathers at each cell from all the ground that drains to it."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.surface.flow_direction import COLUMN_STEP, ROW_STEP

DONE = np.uint8(255)  # a cell that has passed its sum on


@numba.njit(cache=True)
def count_inflows(direction):
    """Number of neighbours that send their water to each cell."""
    rows, columns = direction.shape
    inflows = np.zeros((rows, columns), np.uint8)
    for row in range(rows):
        for column in range(columns):
            k = direction[row, column]
            if k < 8:
                inflows[row + ROW_STEP[k], column + COLUMN_STEP[k]] += 1
    return inflows


@numba.njit(cache=True)
def _accumulate(direction, total):
    rows, columns = direction.shape
    inflows = count_inflows(direction)
    for row in range(rows):
        for column in range(columns):
            if inflows[row, column] != 0:
                continue
            r, c = row, column
            while direction[r, c] < 8:
                k = direction[r, c]
                value = total[r, c]
                inflows[r, c] = DONE
                r += ROW_STEP[k]
                c += COLUMN_STEP[k]
                total[r, c] += value
                inflows[r, c] -= 1
                if inflows[r, c] != 0:
                    break


def accumulate(direction: NDArray[np.uint8], weights: NDArray[np.float64] | None = None
               ) -> NDArray[np.float64]:
    """Sum a weight over all the cells that drain to each cell, itself included.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        As `steepest_descent` gives it.
    weights : same shape, optional
        Area, or the runoff of a storm, of each cell; 1 each if left out.  NaN counts as 0.

    Returns
    -------
    total : float64, same shape
        In the unit of the weights; NaN in voids.
    """
    total = (np.ones(direction.shape) if weights is None
             else np.nan_to_num(np.array(weights, np.float64), nan=0.0))
    void = direction == 255
    total[void] = 0.0
    _accumulate(direction, total)
    total[void] = np.nan
    return total


@numba.njit(cache=True)
def _longest(direction, length, side):
    rows, columns = direction.shape
    inflows = count_inflows(direction)
    diagonal = side * np.sqrt(2.0)
    for row in range(rows):
        for column in range(columns):
            if inflows[row, column] != 0:
                continue
            r, c = row, column
            while direction[r, c] < 8:
                k = direction[r, c]
                inflows[r, c] = DONE
                reach = length[r, c] + (diagonal if k % 2 == 1 else side)
                r += ROW_STEP[k]
                c += COLUMN_STEP[k]
                length[r, c] = max(length[r, c], reach)
                inflows[r, c] -= 1
                if inflows[r, c] != 0:
                    break


def longest_upslope_path(direction: NDArray[np.uint8], cell: float) -> NDArray[np.float64]:
    """Length of the longest flow path that ends at each cell, centre to centre. [m]"""
    length = np.zeros(direction.shape)
    _longest(direction, length, cell)
    return length
