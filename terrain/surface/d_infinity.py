"""Flow in any direction (D-infinity): each cell sends its water to one or two neighbours."""

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

#: In an angle: water leaves the known ground here.
NOWHERE = np.float32(-1.0)
#: The straight neighbour and the diagonal one of each of the eight facets about a cell.
STRAIGHT = np.array([0, 2, 2, 4, 4, 6, 6, 0], np.int64)
DIAGONAL = np.array([1, 1, 3, 3, 5, 5, 7, 7], np.int64)


@numba.njit(cache=True, nogil=True)
def _point(filled, direction, angle, first, last):
    rows, columns = filled.shape
    drop = np.empty(8)
    for row in range(first, last):
        for column in range(columns):
            way = direction[row, column]
            if way == VOID:
                angle[row, column] = np.nan
                continue
            here = np.float64(filled[row, column])
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                drop[k] = (here - np.float64(filled[r, c])
                           if 0 <= r < rows and 0 <= c < columns else np.nan)
            best, best_facet, best_part = 0.0, -1, 0
            for facet in range(8):
                along = drop[STRAIGHT[facet]]
                corner = drop[DIAGONAL[facet]]
                across = corner - along
                if along != along or corner != corner:  # beside a void: what is known of it
                    if along > 0 and along * along > best:
                        best, best_facet, best_part = along * along, facet, 0
                    slope = corner * PER_DIAGONAL
                    if corner > 0 and slope * slope > best:
                        best, best_facet, best_part = slope * slope, facet, 2
                elif across <= 0:
                    if along > 0 and along * along > best:
                        best, best_facet, best_part = along * along, facet, 0
                elif across >= along:
                    slope = corner * PER_DIAGONAL
                    if corner > 0 and slope * slope > best:
                        best, best_facet, best_part = slope * slope, facet, 2
                elif along * along + across * across > best:
                    best, best_facet, best_part = along * along + across * across, facet, 1
            if best_facet < 0:
                angle[row, column] = NOWHERE if way == LEAVES else np.float32(way)
                continue
            part = 0.0 if best_part == 0 else 1.0
            if best_part == 1:
                along = drop[STRAIGHT[best_facet]]
                part = np.arctan((drop[DIAGONAL[best_facet]] - along) / along) * (4.0 / np.pi)
            # Facets with an even number turn clockwise from the straight neighbour.
            turned = STRAIGHT[best_facet] + (part if best_facet % 2 == 0 else -part)
            found = np.float32(turned + 8.0 if turned < 0 else turned)
            angle[row, column] = np.float32(0.0) if found >= 8 else found


def d_infinity(filled: NDArray[np.float32], direction: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Direction of steepest descent over the eight triangular facets about each cell.

    Parameters
    ----------
    filled, direction : shape (rows, columns)
        A surface without hollows and its D8 directions, which lead over its flats.

    Returns
    -------
    angle : float32, same shape
        In eighths of a turn clockwise from east, 0 up to 8: between the neighbours of those
        codes; -1 where water leaves the known ground; NaN in voids.

    References
    ----------
    .. [1] Tarboton, Water Resources Research 33 (1997), 309-319.
    """
    filled = np.ascontiguousarray(filled, np.float32)
    angle = np.empty(filled.shape, np.float32)
    in_strips(lambda first, last, _: _point(filled, direction, angle, first, last),
              cut_in_strips(*filled.shape))
    return angle


@numba.njit(cache=True, nogil=True)
def _count_inflows(angle, inflows, first, last):
    rows, columns = angle.shape
    for row in range(first, last):
        for column in range(columns):
            count = 0
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if not (0 <= r < rows and 0 <= c < columns):
                    continue
                # How far the neighbour's angle lies from pointing here, in eighths of a turn.
                off = abs(angle[r, c] - np.float32((k + 4) % 8))
                count += angle[r, c] >= 0 and (off < 1 or off > 7)
            inflows[row, column] = count


@numba.njit(cache=True, nogil=True)
def _pass_on(angle, inflows, total, first, last):
    columns = angle.shape[1]
    step = ROW_STEP * columns + COLUMN_STEP
    flow, waits, sums = angle.ravel(), inflows.ravel(), total.ravel()
    low, high = first * columns, last * columns
    stack, waiting = np.empty(1024, np.int64), 0
    to, amount, crossed = np.empty(4 * columns + 8, np.int64), np.empty(4 * columns + 8), 0
    for start in range(low, high):
        if waits[start] != 0:
            continue
        stack[0], waiting = start, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            waits[cell] = DONE
            if not flow[cell] >= 0:
                continue
            k = np.int64(flow[cell])
            second = np.float64(flow[cell]) - k
            for part in range(2):
                share = second if part == 1 else 1.0 - second
                if share == 0:
                    continue
                there = cell + step[(k + part) % 8]
                if there < low or there >= high:
                    to[crossed], amount[crossed] = there, share * sums[cell]
                    crossed += 1
                    continue
                sums[there] += share * sums[cell]
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


def accumulate_d_infinity(angle: NDArray[np.float32],
                          weights: NDArray[np.floating] | float = 1.0) -> NDArray[np.float64]:
    """Sum a weight over the ground that drains to each cell by `d_infinity`, itself included.

    Parameters
    ----------
    angle : float32, shape (rows, columns)
    weights : same shape, or one number for every cell
        NaN counts as 0.

    Returns
    -------
    total : float64, same shape
        In the unit of the weights; NaN in voids.
    """
    inflows = np.empty(angle.shape, np.uint8)
    in_strips(lambda first, last, _: _count_inflows(angle, inflows, first, last),
              cut_in_strips(*angle.shape))
    return sum_downslope(
        lambda total, first, last: _pass_on(angle, inflows, total, first, last),
        inflows, np.isnan(angle), weights)
