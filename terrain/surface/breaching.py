"""Cutting shallow hollows open: a channel from the lowest cell to lower ground, the least dug."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import drain
from terrain.surface.flow_direction import steepest_descent
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, PIT, ROW_STEP


@kernel
def _push(costs, spots, count, cost, spot):
    at = count
    while at > 0:
        above = (at - 1) >> 1
        if costs[above] <= cost:
            break
        costs[at], spots[at] = costs[above], spots[above]
        at = above
    costs[at], spots[at] = cost, spot
    return count + 1


@kernel
def _pop(costs, spots, count):
    count -= 1
    cost, spot = costs[count], spots[count]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= count:
            break
        if below + 1 < count and costs[below + 1] < costs[below]:
            below += 1
        if costs[below] >= cost:
            break
        costs[at], spots[at] = costs[below], spots[below]
        at = below
    costs[at], spots[at] = cost, spot
    return count


@kernel
def _at_edge(ground, row, column):
    for k in range(8):
        r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if r < 0 or c < 0 or r >= ground.shape[0] or c >= ground.shape[1] or np.isnan(ground[r, c]):
            return True
    return False


@kernel
def _breach(ground, heights, bowl, stands, drained, pits, most_depth, most_cells):
    """Lower `heights`, at first the `ground`, along each pit's cheapest channel within bounds.

    `stands` is the level at which water stands in each bowl when full; those `drained` by a channel
    are told in it.
    """
    rows, columns = heights.shape
    reach = np.int64(np.ceil(most_cells)) + 1
    side = 2 * reach + 1
    cost, cut = np.empty(side * side), np.empty(side * side)
    came, state = np.empty(side * side, np.uint8), np.zeros(side * side, np.uint8)
    touched = np.empty(side * side, np.int64)
    heap_cost, heap_spot = np.empty(8 * side * side), np.empty(8 * side * side, np.int64)
    opened = 0
    for pit in pits:
        pit_row, pit_column = pit // columns, pit % columns
        level = heights[pit_row, pit_column]
        lower = False
        for k in range(8):
            lower = lower or heights[pit_row + ROW_STEP[k], pit_column + COLUMN_STEP[k]] < level
        if lower:  # an earlier channel goes through it
            continue
        own = bowl[pit_row, pit_column]
        start = reach * side + reach
        cost[start], cut[start], came[start], state[start] = 0.0, 0.0, 8, 1
        touched[0], touches = start, 1
        waiting = _push(heap_cost, heap_spot, 0, 0.0, start)
        end = np.int64(-1)
        while waiting > 0:
            spot, paid = heap_spot[0], heap_cost[0]
            waiting = _pop(heap_cost, heap_spot, waiting)
            if state[spot] == 2 or paid > cost[spot]:
                continue
            state[spot] = 2
            row = pit_row + spot // side - reach
            column = pit_column + spot % side - reach
            there = bowl[row, column]
            if _at_edge(ground, row, column) or (
                    heights[row, column] < level
                    and (there <= 0 or stands[there] < stands[own]
                         or (drained[there] and stands[there] == stands[own]))):
                end = spot
                break
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if r < 0 or c < 0 or r >= rows or c >= columns:
                    continue
                if not np.float64(ground[r, c]) - np.float64(level) <= most_depth:
                    continue  # too deep, or unknown
                depth = np.float64(heights[r, c]) - np.float64(level)
                there = spot + ROW_STEP[k] * side + COLUMN_STEP[k]
                if (abs(r - pit_row) > reach - 1 or abs(c - pit_column) > reach - 1
                        or state[there] == 2):
                    continue
                along = np.sqrt(2.0) if k % 2 == 1 else 1.0
                longer = cut[spot] + (along if depth > 0 else 0.0)
                dearer = paid + (depth * along if depth > 0 else 0.0) + 1e-6 * along
                if longer > most_cells or (state[there] == 1 and dearer >= cost[there]):
                    continue
                if state[there] == 0:
                    touched[touches] = there
                    touches += 1
                state[there], cost[there], cut[there], came[there] = 1, dearer, longer, k
                waiting = _push(heap_cost, heap_spot, waiting, dearer, there)
        if end >= 0:
            opened += 1
            drained[own] = True
            spot = end
            while spot != start:
                row = pit_row + spot // side - reach
                column = pit_column + spot % side - reach
                heights[row, column] = min(heights[row, column], level)
                k = came[spot]
                spot -= ROW_STEP[k] * side + COLUMN_STEP[k]
        for i in range(touches):
            state[touched[i]] = 0
    return opened


@dataclass(frozen=True)
class Breached:
    """What breaching did.

    Attributes
    ----------
    hollows, cells : int
        Hollows cut open, and cells that were lowered.
    deepest, volume : float
        The deepest cut [m], and all that was cut [m3].
    """

    hollows: int
    cells: int
    deepest: float
    volume: float


def breach_hollows(heights: NDArray[np.float32], cell: float, most_depth: float,
                   most_length: float) -> tuple[NDArray[np.float32], Breached]:
    """Cut hollows open where a channel no deeper and no longer than stated does it.

    From the lowest cell of each bowl, the lowest bowl first, the channel that takes the least
    digging (depth times length) is sought off the known ground, or to ground that is lower and
    where water does not stand as high, and the ground along it lowered to the level of the bowl's
    lowest cell.  Bowls without such a channel stay as they are.  Nowhere does water stand higher
    than before.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown; left as it is. [m]
    cell : float
        Side of a cell. [m]
    most_depth, most_length : float
        Depth of the cut, and its length over ground that is cut.  The channel also stays within
        `most_length` of the lowest cell, north to south and west to east. [m]

    Returns
    -------
    opened : float32, same shape
        A new surface. [m]
    breached : Breached

    Raises
    ------
    ValueError
        If a bound is below 0.

    References
    ----------
    .. [1] Lindsay & Dhun, International Journal of Geographical Information Science 29 (2015),
       397-411 (least-cost breaching, bounded).
    """
    if most_depth < 0 or most_length < 0:
        raise ValueError("the depth and length of a breach must not be below 0")
    heights = np.ascontiguousarray(heights, np.float32)
    opened = heights.copy()
    if most_depth == 0 or most_length == 0:
        return opened, Breached(0, 0, 0.0, 0.0)
    drainage = drain(opened)
    pits = np.flatnonzero(steepest_descent(opened) == PIT)
    pits = pits[np.argsort(opened.flat[pits], kind="stable")]
    drained = np.zeros(drainage.spill_level.size, np.bool_)
    hollows = _breach(heights, opened, drainage.bowl, drainage.spill_level, drained, pits,
                      most_depth, max(most_length / cell, 1.0))
    cut = heights[opened < heights].astype(np.float64) - opened[opened < heights]
    return opened, Breached(hollows, cut.size, float(cut.max(initial=0.0)),
                            float(cut.sum()) * cell**2)
