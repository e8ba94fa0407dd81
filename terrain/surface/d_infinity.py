"""Flow in any direction (D-infinity): each cell sends its water to one or two neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import DONE, UNKNOWN, Weights, sum_downslope
from terrain.surface.kernels import cut_in_strips, in_strips, kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID

#: In an angle: water leaves the known ground here.
NOWHERE = np.float32(-1.0)
#: The straight and the diagonal neighbour of each of the eight facets about a cell.
STRAIGHT = np.array([0, 2, 2, 4, 4, 6, 6, 0], np.int64)
DIAGONAL = np.array([1, 1, 3, 3, 5, 5, 7, 7], np.int64)
#: In the choice of a cell: 0 to 7 straight towards a neighbour, 8 to 15 within a facet.
NO_CHOICE = 16


@kernel
def _steeper(along: float, corner: float, choice: np.int32, best: float, facet: int
             ) -> tuple[np.int32, float]:
    """The facet's own slope, squared, where its steepest descent lies within it."""
    across = corner - along
    slope = along * along + across * across
    within = (across > 0.0) & (across < along) & (slope > best)
    return (np.int32(8 + facet) if within else choice), (slope if within else best)


@kernel
def _choose(e: float, se: float, s: float, sw: float, w: float, nw: float, n: float, ne: float
            ) -> np.int32:
    """Steepest of eight facets by the drops to the neighbours; of equals the first.

    Along a straight or diagonal line slopes are those to one neighbour; a facet's own descent
    counts where it lies within the facet.  Unknown drops (NaN) are never chosen.
    """
    choice, best = np.int32(NO_CHOICE), 0.0
    choice, best = (np.int32(0), e * e) if (e > 0) & (e * e > best) else (choice, best)
    choice, best = (np.int32(2), s * s) if (s > 0) & (s * s > best) else (choice, best)
    choice, best = (np.int32(4), w * w) if (w > 0) & (w * w > best) else (choice, best)
    choice, best = (np.int32(6), n * n) if (n > 0) & (n * n > best) else (choice, best)
    slope = 0.5 * se * se
    choice, best = (np.int32(1), slope) if (se > 0) & (slope > best) else (choice, best)
    slope = 0.5 * sw * sw
    choice, best = (np.int32(3), slope) if (sw > 0) & (slope > best) else (choice, best)
    slope = 0.5 * nw * nw
    choice, best = (np.int32(5), slope) if (nw > 0) & (slope > best) else (choice, best)
    slope = 0.5 * ne * ne
    choice, best = (np.int32(7), slope) if (ne > 0) & (slope > best) else (choice, best)
    choice, best = _steeper(e, se, choice, best, 0)
    choice, best = _steeper(s, se, choice, best, 1)
    choice, best = _steeper(s, sw, choice, best, 2)
    choice, best = _steeper(w, sw, choice, best, 3)
    choice, best = _steeper(w, nw, choice, best, 4)
    choice, best = _steeper(n, nw, choice, best, 5)
    choice, best = _steeper(n, ne, choice, best, 6)
    choice, best = _steeper(e, ne, choice, best, 7)
    return choice


@kernel
def _drop(filled: NDArray[np.float32], row: int, column: int, k: int) -> float:
    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
    if r < 0 or c < 0 or r >= filled.shape[0] or c >= filled.shape[1]:
        return np.nan
    return np.float64(filled[row, column]) - np.float64(filled[r, c])


@kernel
def _point(filled: NDArray[np.float32], direction: NDArray[np.uint8], angle: NDArray[np.float32],
           first: int, last: int) -> None:
    rows, columns = filled.shape
    choice = np.empty(columns, np.uint8)
    for row in range(first, last):
        inner = 0 < row < rows - 1 and columns > 2
        if inner:
            north, level, south = filled[row - 1], filled[row], filled[row + 1]
            for c in range(1, columns - 1):  # no branch: compiles to vector instructions
                here = np.float64(level[c])
                choice[c] = _choose(here - level[c + 1], here - south[c + 1], here - south[c],
                                    here - south[c - 1], here - level[c - 1], here - north[c - 1],
                                    here - north[c], here - north[c + 1])
        for c in range(columns):
            if not inner or c == 0 or c == columns - 1:
                choice[c] = _choose(
                    _drop(filled, row, c, 0), _drop(filled, row, c, 1), _drop(filled, row, c, 2),
                    _drop(filled, row, c, 3), _drop(filled, row, c, 4), _drop(filled, row, c, 5),
                    _drop(filled, row, c, 6), _drop(filled, row, c, 7))
            way = direction[row, c]
            if choice[c] < 8:
                angle[row, c] = choice[c]
            elif choice[c] < NO_CHOICE:
                facet = choice[c] - 8
                along = _drop(filled, row, c, STRAIGHT[facet])
                part = np.arctan(_drop(filled, row, c, DIAGONAL[facet]) / along - 1.0) * (4 / np.pi)
                # Facets with an even number turn clockwise from their straight neighbour.
                turned = STRAIGHT[facet] + (part if facet % 2 == 0 else -part)
                found = np.float32(turned + 8.0 if turned < 0 else turned)
                angle[row, c] = np.float32(0.0) if found >= 8 else found
            elif way == VOID:
                angle[row, c] = np.nan
            else:
                angle[row, c] = NOWHERE if way == LEAVES else np.float32(way)


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


@kernel
def _sends(angle: np.float32, k: int) -> np.uint8:
    """1 where an angle lies less than an eighth of a turn from neighbour k."""
    if k == 0:
        return np.uint8(((angle >= 0) & (angle < 1)) | (angle > 7))
    return np.uint8((angle > np.float32(k - 1)) & (angle < np.float32(k + 1)))


@kernel
def _count_inflows(angle: NDArray[np.float32], inflows: NDArray[np.uint8], first: int, last: int
                   ) -> None:
    rows, columns = angle.shape
    for row in range(first, last):
        inner = 0 < row < rows - 1 and columns > 2
        if inner:
            north, level, south = angle[row - 1], angle[row], angle[row + 1]
            out = inflows[row]
            for c in range(1, columns - 1):  # no branch: compiles to vector instructions
                count = (_sends(level[c + 1], 4) + _sends(south[c + 1], 5) + _sends(south[c], 6)
                         + _sends(south[c - 1], 7) + _sends(level[c - 1], 0)
                         + _sends(north[c - 1], 1) + _sends(north[c], 2) + _sends(north[c + 1], 3))
                out[c] = UNKNOWN if level[c] != level[c] else np.uint8(count)
        for column in range(columns):
            if inner and 0 < column < columns - 1:
                continue
            number = np.int64(0)
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if 0 <= r < rows and 0 <= c < columns:
                    number += np.int64(_sends(angle[r, c], (k + 4) % 8))
            inflows[row, column] = UNKNOWN if np.isnan(angle[row, column]) else np.uint8(number)


@kernel
def _pass_on(flow: NDArray[np.float32], waits: NDArray[np.uint8], sums: NDArray[np.float64],
             columns: int, first: int, last: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    step = ROW_STEP * columns + COLUMN_STEP
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
                        stack = longer(stack, 2 * stack.size)
                    stack[waiting] = there
                    waiting += 1
    return to[:crossed], amount[:crossed]


def accumulate_d_infinity(angle: NDArray[np.float32],
                          weights: Weights = 1.0) -> NDArray[np.float64]:
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
        lambda total, first, last: _pass_on(angle.reshape(-1), inflows.reshape(-1),
                                            total.reshape(-1), angle.shape[1], first, last),
        inflows, weights)
