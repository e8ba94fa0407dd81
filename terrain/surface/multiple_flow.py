"""Flow in several directions at once (MFD): each cell sends water to all its lower neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import DONE, UNKNOWN, Weights, sum_downslope
from terrain.surface.kernels import cut_in_strips, in_strips, kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, PER_DIAGONAL, ROW_STEP, VOID

#: In `single`: the cell has lower neighbours and sends water to all of them; the second, at the
#: raster's border, where neighbours may be missing.
TO_ALL_LOWER, TO_ALL_LOWER_AT_BORDER = np.uint8(253), np.uint8(254)
#: Length of contour that water crosses to a straight and to a diagonal neighbour, in cell sides.
STRAIGHT_CONTOUR, DIAGONAL_CONTOUR = 0.5, 0.25 * 2**0.5


@kernel
def _find_single(filled: NDArray[np.float32], direction: NDArray[np.uint8],
                 single: NDArray[np.uint8], first: int, last: int) -> None:
    rows, columns = filled.shape
    for row in range(first, last):
        inner = 0 < row < rows - 1 and columns > 2
        if inner:
            north, level, south = filled[row - 1], filled[row], filled[row + 1]
            way, out = direction[row], single[row]
            for c in range(1, columns - 1):  # no branch: compiles to vector instructions
                here = level[c]
                lower = ((level[c + 1] < here) | (south[c + 1] < here) | (south[c] < here)
                         | (south[c - 1] < here) | (level[c - 1] < here) | (north[c - 1] < here)
                         | (north[c] < here) | (north[c + 1] < here))
                out[c] = TO_ALL_LOWER if lower else way[c]
        for column in range(columns):
            if inner and 0 < column < columns - 1:
                continue
            k = direction[row, column]
            for n in range(8):
                r, c = row + ROW_STEP[n], column + COLUMN_STEP[n]
                if (0 <= r < rows and 0 <= c < columns
                        and filled[r, c] < filled[row, column]):
                    k = TO_ALL_LOWER_AT_BORDER
            single[row, column] = k


@kernel
def _count_inflows(filled: NDArray[np.float32], single: NDArray[np.uint8],
                   inflows: NDArray[np.uint8], first: int, last: int) -> None:
    """Higher neighbours, which all send water, and those that send theirs here alone."""
    rows, columns = filled.shape
    for row in range(first, last):
        inner = 0 < row < rows - 1 and columns > 2
        if inner:
            north, level, south = filled[row - 1], filled[row], filled[row + 1]
            above, beside, below = single[row - 1], single[row], single[row + 1]
            out = inflows[row]
            for c in range(1, columns - 1):  # no branch: compiles to vector instructions
                here = level[c]
                count = (np.uint8((level[c + 1] > here) | (beside[c + 1] == 4))
                         + np.uint8((south[c + 1] > here) | (below[c + 1] == 5))
                         + np.uint8((south[c] > here) | (below[c] == 6))
                         + np.uint8((south[c - 1] > here) | (below[c - 1] == 7))
                         + np.uint8((level[c - 1] > here) | (beside[c - 1] == 0))
                         + np.uint8((north[c - 1] > here) | (above[c - 1] == 1))
                         + np.uint8((north[c] > here) | (above[c] == 2))
                         + np.uint8((north[c + 1] > here) | (above[c + 1] == 3)))
                out[c] = UNKNOWN if beside[c] == VOID else np.uint8(count)
        for column in range(columns):
            if inner and 0 < column < columns - 1:
                continue
            number = 0
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if 0 <= r < rows and 0 <= c < columns:
                    number += (filled[r, c] > filled[row, column]
                               or single[r, c] == (k + 4) % 8)
            inflows[row, column] = UNKNOWN if single[row, column] == VOID else np.uint8(number)


@kernel
def _raise_to(exponent: float, share: NDArray[np.float64]) -> None:
    """Raise slopes to a power; as parts of the steepest, so that none grows or shrinks away."""
    steepest = share.max()
    for k in range(share.size):
        if 0.0 < share[k] < steepest:
            share[k] = np.float64(np.float32(share[k] / steepest) ** np.float32(exponent))
        elif share[k] > 0.0:
            share[k] = 1.0


@kernel
def _pass_on(height: NDArray[np.float32], way: NDArray[np.uint8], waits: NDArray[np.uint8],
             sums: NDArray[np.float64], columns: int, exponent: float, contour: NDArray[np.float64],
             first: int, last: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    rows = height.size // columns
    step = ROW_STEP * columns + COLUMN_STEP
    low, high = first * columns, last * columns
    stack, waiting = np.empty(1024, np.int64), 0
    to, amount, crossed = np.empty(6 * columns + 8, np.int64), np.empty(6 * columns + 8), 0
    lower, share, per_side = np.empty(8, np.bool_), np.empty(8), np.ones(8)
    per_side[1::2] = PER_DIAGONAL
    for start in range(low, high):
        if waits[start] != 0:
            continue
        stack[0], waiting = start, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            waits[cell] = DONE
            k = way[cell]
            if k in (LEAVES, VOID):
                continue
            if waiting + 8 > stack.size:
                stack = longer(stack, 2 * stack.size)
            here = np.float64(height[cell])
            for n in range(8):
                there = cell + step[n]
                if k == TO_ALL_LOWER_AT_BORDER:
                    row, column = cell // columns + ROW_STEP[n], cell % columns + COLUMN_STEP[n]
                    if row < 0 or column < 0 or row >= rows or column >= columns:
                        there = cell
                slope = (here - np.float64(height[there]) if k >= TO_ALL_LOWER
                         else np.float64(n == k)) * per_side[n]
                lower[n] = slope > 0
                share[n] = slope if slope > 0 else 0.0
            if exponent != 1.0:
                _raise_to(exponent, share)
            whole = 0.0
            for n in range(8):
                share[n] *= contour[n]
                whole += share[n]
            each = sums[cell] / whole
            inside = low + columns <= cell < high - columns
            for n in range(8):
                if not lower[n]:
                    continue
                there = cell + step[n]
                if not inside and (there < low or there >= high):
                    to[crossed], amount[crossed] = there, share[n] * each
                    crossed += 1
                    continue
                sums[there] += share[n] * each
                waits[there] -= 1
                if waits[there] == 0:
                    waits[there] = DONE  # not to be started from again
                    stack[waiting] = there
                    waiting += 1
    return to[:crossed], amount[:crossed]


def accumulate_multiple_flow(filled: NDArray[np.float32], direction: NDArray[np.uint8],
                             weights: Weights = 1.0, *,
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
    contour = np.ones(8)
    if contour_lengths:
        contour[0::2], contour[1::2] = STRAIGHT_CONTOUR, DIAGONAL_CONTOUR
    in_strips(lambda first, last, _: _find_single(filled, direction, single, first, last), strips)
    in_strips(lambda first, last, _: _count_inflows(filled, single, inflows, first, last), strips)
    return sum_downslope(
        lambda total, first, last: _pass_on(
            filled.reshape(-1), single.reshape(-1), inflows.reshape(-1), total.reshape(-1),
            filled.shape[1], float(exponent), contour, first, last),
        inflows, weights)
