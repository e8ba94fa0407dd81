"""What gathers at each cell from all the ground that drains to it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import between, cut_in_strips, in_strips, kernel
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID

#: In counts of inflows: a cell that has passed its sum on; a cell of unknown height.
DONE, UNKNOWN = np.uint8(255), np.uint8(254)
#: Added to counts of inflows above 1, so that it shows at the last of them that there were others.
MANY = np.uint8(16)


@kernel
def count_inflows(direction: NDArray[np.uint8], inflows: NDArray[np.uint8], first: int, last: int
                  ) -> None:
    """Number of neighbours that send their water to each cell; UNKNOWN in voids."""
    rows, columns = direction.shape
    for row in range(first, last):
        inner = 0 < row < rows - 1 and columns > 2
        for column in range(columns):
            if inner and 0 < column < columns - 1:
                continue
            number = 0
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if 0 <= r < rows and 0 <= c < columns:
                    number += direction[r, c] == (k + 4) % 8
            inflows[row, column] = UNKNOWN if direction[row, column] == VOID else number
        if not inner:
            continue
        north, level, south = direction[row - 1], direction[row], direction[row + 1]
        out = inflows[row]
        for c in range(1, columns - 1):  # no branch: compiles to vector instructions
            count = (np.uint8(level[c + 1] == 4) + np.uint8(south[c + 1] == 5)
                     + np.uint8(south[c] == 6) + np.uint8(south[c - 1] == 7)
                     + np.uint8(level[c - 1] == 0) + np.uint8(north[c - 1] == 1)
                     + np.uint8(north[c] == 2) + np.uint8(north[c + 1] == 3))
            out[c] = UNKNOWN if level[c] == VOID else np.uint8(count)


@kernel
def _start(inflows: NDArray[np.uint8], weights: NDArray[np.float64], total: NDArray[np.float64],
           first: int, last: int) -> None:
    """Each cell's own weight; one value stands for all, an unknown weight for nothing."""
    for row in range(first, last):
        for column in range(inflows.shape[1]):
            weight = weights[0, 0] if weights.size == 1 else weights[row, column]
            if inflows[row, column] == UNKNOWN:
                total[row, column] = np.nan
            else:
                total[row, column] = weight if weight == weight else 0.0


@kernel
def _take_in(waits: NDArray[np.uint8], sums: NDArray[np.float64], to: NDArray[np.int64],
             amount: NDArray[np.float64]) -> None:
    """Add what crossed between strips; a cell that now waits for none is ready."""
    for i in range(to.size):
        sums[to[i]] += amount[i]
        waits[to[i]] -= 1


#: A weight for each cell, or one for all.
Weights = NDArray[np.floating] | NDArray[np.integer] | NDArray[np.bool_] | float
Crossed = tuple[NDArray[np.int64], NDArray[np.float64]]


def sum_downslope(pass_on: Callable[[NDArray[np.float64], int, int], Crossed],
                  inflows: NDArray[np.uint8], weights: Weights) -> NDArray[np.float64]:
    """Sum a weight downslope: each cell passes its sum on once all its inflows are in.

    Parameters
    ----------
    pass_on : callable (total, first, last) -> (to, amount)
        Does so for the rows first to last, and returns what crossed out of them: to which cells
        (flat indices), and how much.
    inflows : uint8, shape (rows, columns)
        How many neighbours send water to each cell, UNKNOWN in voids; used up.
    weights : same shape, or one number for every cell
        NaN counts as 0.

    Raises
    ------
    ValueError
        If the weights have another shape.

    References
    ----------
    .. [1] Zhou, Wei & Fu, Frontiers of Earth Science 13 (2019), 317-326 (by counts of inflows).
    .. [2] Barnes, Environmental Modelling & Software 92 (2017), 202-212 (strips, joined by what
       crosses between them).
    """
    strips = cut_in_strips(*inflows.shape)
    given = np.atleast_2d(np.asarray(weights, np.float64))
    if given.size > 1 and given.shape != inflows.shape:
        raise ValueError(f"weights of shape {given.shape} on a raster of shape {inflows.shape}")
    total = np.empty(inflows.shape)
    in_strips(lambda first, last, _: _start(inflows, given, total, first, last), strips)
    # Two rounds, the second with the cuts between those of the first; then all that is left.
    for cuts in (strips, between(strips)):
        for to, amount in in_strips(lambda first, last, _: pass_on(total, first, last), cuts):
            _take_in(inflows.reshape(-1), total.reshape(-1), to, amount)
    if len(strips) > 1:
        pass_on(total, 0, inflows.shape[0])
    return total


@kernel
def gather(way: NDArray[np.uint8], sums: NDArray[np.float64], step: NDArray[np.int64], cell: int
           ) -> None:
    """Add to a cell's own weight what its neighbours send it, clockwise from the east.

    In that order whichever came first, so that a sum has the same bits however a raster is cut.
    No way leads off the raster, so what lies beside a cell only in the flattened array sends it
    nothing.
    """
    gathered = sums[cell]
    for k in range(8):
        there = cell + step[k]
        if 0 <= there < way.size and way[there] == (k + 4) % 8:
            gathered += sums[there]
    sums[cell] = gathered


@kernel
def mark_many(inflows: NDArray[np.uint8], first: int, last: int) -> None:
    """Add MANY to counts of inflows from 2 to 8; no branch: compiles to vector instructions."""
    for row in range(first, last):
        out = inflows[row]
        for column in range(out.size):
            count = out[column]
            out[column] = count + MANY * (np.uint8(count > 1) & np.uint8(count < MANY))


@kernel
def _pass_on(way: NDArray[np.uint8], waits: NDArray[np.uint8], sums: NDArray[np.float64],
             columns: int, again: bool, first: int, last: int
             ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The rows first to last; `again` once cells may wait for none after what has crossed."""
    step = ROW_STEP * columns + COLUMN_STEP
    low, high = first * columns, last * columns
    to, nothing, crossed = np.empty(2 * columns, np.int64), np.zeros(2 * columns), 0
    for start in range(low, high):
        if waits[start] != 0 and waits[start] != MANY:
            continue
        cell = start
        waits[cell] = DONE
        if again:
            gather(way, sums, step, cell)
        while way[cell] < LEAVES:
            gathered = sums[cell]
            cell += step[way[cell]]
            if cell < low or cell >= high:
                to[crossed] = cell
                crossed += 1
                break
            waits[cell] -= 1
            if waits[cell] == 0:
                sums[cell] += gathered
            elif waits[cell] == MANY:
                gather(way, sums, step, cell)
            else:
                break
            waits[cell] = DONE
    return to[:crossed], nothing[:crossed]


def accumulate(direction: NDArray[np.uint8], weights: Weights = 1.0) -> NDArray[np.float64]:
    """Sum a weight over all the cells that drain to each cell, itself included.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        D8 directions without a loop, as `drain` gives them.
    weights : same shape, or one number for every cell
        Area, or the runoff of a storm, of each cell.  NaN counts as 0.

    Returns
    -------
    total : float64, same shape
        In the unit of the weights; NaN in voids.
    """
    inflows = np.empty(direction.shape, np.uint8)
    strips = cut_in_strips(*direction.shape)

    def count(first: int, last: int, _: int) -> None:
        count_inflows(direction, inflows, first, last)
        mark_many(inflows, first, last)

    in_strips(count, strips)
    return sum_downslope(
        lambda total, first, last: _pass_on(direction.reshape(-1), inflows.reshape(-1),
                                            total.reshape(-1), direction.shape[1],
                                            (first, last) not in strips, first, last),
        inflows, weights)


@kernel
def _longest(way: NDArray[np.uint8], waits: NDArray[np.uint8], slow: NDArray[np.float64],
             reach: NDArray[np.float64], columns: int, side: float) -> None:
    step = ROW_STEP * columns + COLUMN_STEP
    diagonal = side * np.sqrt(2.0)
    for start in range(way.size):
        cell = start
        while waits[cell] == 0:
            waits[cell] = DONE
            k = way[cell]
            if k >= LEAVES:
                break
            there = cell + step[k]
            along = diagonal if k % 2 == 1 else side
            if slow.size > 1:
                along *= 0.5 * (slow[cell] + slow[there])
            reach[there] = max(reach[there], reach[cell] + along)
            cell = there
            waits[cell] -= 1


def longest_upslope_path(direction: NDArray[np.uint8], cell: float,
                         pace: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Length of the longest flow path that ends at each cell, centre to centre. [m]

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
    cell : float
        Side of a cell. [m]
    pace : float64, same shape, optional
        Time that water takes for a metre on each cell [s/m]: the answer is then the time of the
        slowest path [s], each step at the mean pace of its two cells.
    """
    inflows = np.empty(direction.shape, np.uint8)
    in_strips(lambda first, last, _: count_inflows(direction, inflows, first, last),
              cut_in_strips(*direction.shape))
    length = np.zeros(direction.shape)
    slow = np.ones(1) if pace is None else np.ascontiguousarray(pace, np.float64).reshape(-1)
    _longest(direction.reshape(-1), inflows.reshape(-1), slow, length.reshape(-1),
             direction.shape[1], cell)
    return length
