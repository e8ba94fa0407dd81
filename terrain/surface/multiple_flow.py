"""Flow in several directions at once (MFD): each cell sends water to all its lower neighbours."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import DONE, sum_downslope
from terrain.surface.neighbours import (
    COLUMN_STEP,
    LEAVES,
    PER_DIAGONAL,
    ROW_STEP,
    VOID,
    cut_in_strips,
    in_strips,
)

#: In `single`: the cell has lower neighbours, and sends water to all of them.
TO_ALL_LOWER = np.uint8(254)
#: Length of contour that water crosses to a straight and to a diagonal neighbour, in cell sides.
STRAIGHT_CONTOUR, DIAGONAL_CONTOUR = 0.5, 0.25 * 2**0.5


@numba.njit(cache=True, nogil=True)
def _find_single(filled, direction, single, first, last):
    rows, columns = filled.shape
    for row in range(first, last):
        for column in range(columns):
            k = direction[row, column]
            if k < LEAVES:
                here = filled[row, column]
                for n in range(8):
                    r, c = row + ROW_STEP[n], column + COLUMN_STEP[n]
                    if 0 <= r < rows and 0 <= c < columns and filled[r, c] < here:
                        k = TO_ALL_LOWER
                        break
            single[row, column] = k


@numba.njit(cache=True, nogil=True)
def _count_inflows(filled, single, inflows, first, last):
    rows, columns = filled.shape
    for row in range(first, last):
        for column in range(columns):
            count, here = 0, filled[row, column]
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if 0 <= r < rows and 0 <= c < columns:
                    if single[r, c] == TO_ALL_LOWER:
                        count += filled[r, c] > here
                    else:
                        count += single[r, c] == (k + 4) % 8
            inflows[row, column] = count


@numba.njit(cache=True, nogil=True)
def _pass_on(filled, single, inflows, exponent, straight, diagonal, total, first, last):
    rows, columns = filled.shape
    step = ROW_STEP * columns + COLUMN_STEP
    height, way, waits, sums = filled.ravel(), single.ravel(), inflows.ravel(), total.ravel()
    low, high = first * columns, last * columns
    stack, waiting = np.empty(1024, np.int64), 0
    to, amount, crossed = np.empty(6 * columns + 8, np.int64), np.empty(6 * columns + 8), 0
    target, share = np.empty(8, np.int64), np.empty(8)
    for start in range(low, high):
        if waits[start] != 0:
            continue
        stack[0], waiting = start, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            waits[cell] = DONE
            count, whole = 0, 0.0
            if way[cell] == TO_ALL_LOWER:
                row = cell // columns
                column = cell - row * columns
                inner = 0 < row < rows - 1 and 0 < column < columns - 1
                here = height[cell]
                for k in range(8):
                    if not inner and not (0 <= row + ROW_STEP[k] < rows
                                          and 0 <= column + COLUMN_STEP[k] < columns):
                        continue
                    there = height[cell + step[k]]
                    if there < here:
                        slope = np.float64(here) - np.float64(there)
                        if k % 2 == 1:
                            slope *= PER_DIAGONAL
                        if exponent != 1.0:
                            slope = np.float64(np.float32(slope) ** np.float32(exponent))
                        target[count] = cell + step[k]
                        share[count] = slope * (diagonal if k % 2 == 1 else straight)
                        whole += share[count]
                        count += 1
            elif way[cell] < LEAVES:
                target[0], share[0], count, whole = cell + step[way[cell]], 1.0, 1, 1.0
            for i in range(count):
                there, given = target[i], sums[cell] * (share[i] / whole)
                if there < low or there >= high:
                    to[crossed], amount[crossed] = there, given
                    crossed += 1
                    continue
                sums[there] += given
                waits[there] -= 1
                if waits[there] == 0:
                    waits[there] = DONE  # not to be started from again
                    if waiting == stack.size:
                        longer = np.empty(2 * stack.size, np.int64)
                        longer[:waiting] = stack
                        stack = longer
                    stack[waiting] = there
                    waiting += 1
    return to[:crossed], amount[:crossed]


def accumulate_multiple_flow(filled: NDArray[np.float32], direction: NDArray[np.uint8],
                             weights: NDArray[np.floating] | float = 1.0, *,
                             exponent: float = 1.0, contour_lengths: bool = True
                             ) -> NDArray[np.float64]:
    """Sum a weight over the ground that drains to each cell by several ways, itself included.

    A cell gives each lower neighbour a share that goes with slope^exponent times the length of
    contour crossed; on a flat all its water goes by its D8 direction.

    Parameters
    ----------
    filled, direction : shape (rows, columns)
        A surface without hollows [m] and its D8 directions, which lead over its flats.
    weights : same shape, or one number for every cell
        NaN counts as 0.
    exponent : float
        Above 0.  1 with contour lengths is Quinn et al.'s; 1.1 without them Freeman's; larger
        exponents gather more, towards D8.
    contour_lengths : bool
        Weigh straight neighbours with 0.5 and diagonal ones with 0.354 of a cell's side.

    Returns
    -------
    total : float64, same shape
        In the unit of the weights; NaN in voids.

    Raises
    ------
    ValueError
        If the exponent is not above 0.

    References
    ----------
    .. [1] Quinn, Beven, Chevallier & Planchon, Hydrological Processes 5 (1991), 59-79.
    .. [2] Freeman, Computers & Geosciences 17 (1991), 413-422.
    """
    if not exponent > 0:
        raise ValueError(f"exponent {exponent:g} is not above 0")
    filled = np.ascontiguousarray(filled, np.float32)
    strips = cut_in_strips(*filled.shape)
    single, inflows = np.empty(filled.shape, np.uint8), np.empty(filled.shape, np.uint8)
    straight, diagonal = ((STRAIGHT_CONTOUR, DIAGONAL_CONTOUR) if contour_lengths else (1.0, 1.0))
    in_strips(lambda first, last, _: _find_single(filled, direction, single, first, last), strips)
    in_strips(lambda first, last, _: _count_inflows(filled, single, inflows, first, last), strips)
    return sum_downslope(
        lambda total, first, last: _pass_on(filled, single, inflows, float(exponent), straight,
                                            diagonal, total, first, last),
        inflows, direction == VOID, weights)
