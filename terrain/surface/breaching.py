"""Cutting shallow hollows open: a channel from the lowest cell to lower ground, the least dug."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import drain
from terrain.surface.flow_direction import steepest_descent
from terrain.surface.kernels import kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, PIT, ROW_STEP


@kernel
def _push(costs: NDArray[np.float64], spots: NDArray[np.int64], count: int, cost: float, spot: int
          ) -> int:
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
def _pop(costs: NDArray[np.float64], spots: NDArray[np.int64], count: int) -> int:
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
def _at_edge(ground: NDArray[np.float32], row: int, column: int) -> bool:
    for k in range(8):
        r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if r < 0 or c < 0 or r >= ground.shape[0] or c >= ground.shape[1] or np.isnan(ground[r, c]):
            return True
    return False


@kernel
def _breach(ground: NDArray[np.float32], heights: NDArray[np.float32], bowl: NDArray[np.int32],
            stands: NDArray[np.float32], drained: NDArray[np.bool_], pits: NDArray[np.int64],
            lowest_near: NDArray[np.float32], most_depth: float, most_cells: float,
            cost: NDArray[np.float64], length: NDArray[np.float32], came: NDArray[np.uint8],
            state: NDArray[np.uint8]) -> int:
    """Lower `heights`, at first the `ground`, along each pit's cheapest channel within bounds.

    `stands` is the level at which water stands in each bowl when full; those `drained` by a channel
    are told in it.  `lowest_near` is the lowest height within reach of each cell: where nothing
    lower is, none is looked for.
    """
    columns = heights.shape[1]
    step = ROW_STEP * columns + COLUMN_STEP
    level_of, first_of = heights.ravel(), ground.ravel()
    touched = np.empty(1024, np.int64)
    heap_cost, heap_cell = np.empty(1024), np.empty(1024, np.int64)
    opened, lowest_opened = 0, np.inf
    for pit in pits:
        level, own = level_of[pit], bowl[pit]
        # The whole flat floor is where channels start from.
        touched[0], touches, at = pit, 1, 0
        state[pit], cost[pit], length[pit], came[pit] = 1, 0.0, 0.0, 8
        drains, near = False, False
        while at < touches:
            cell = touched[at]
            at += 1
            near = near or lowest_near[cell] < level
            if touches + 8 > touched.size:
                touched = longer(touched, 2 * touched.size)
            for k in range(8):
                there = cell + step[k]
                drains = drains or level_of[there] < level
                if level_of[there] == level and state[there] == 0 and not drains:
                    row, column = there // columns, there % columns
                    if _at_edge(ground, row, column):
                        drains = True  # an earlier channel leads it off
                        break
                    state[there], cost[there], length[there], came[there] = 1, 0.0, 0.0, 8
                    touched[touches] = there
                    touches += 1
            if drains:
                break
        waiting, end = 0, np.int64(-1)
        if not drains and (near or lowest_opened < level):
            for i in range(touches):
                if waiting == heap_cost.size:
                    heap_cost, heap_cell = longer(heap_cost, 2 * waiting), longer(heap_cell,
                                                                                  2 * waiting)
                waiting = _push(heap_cost, heap_cell, waiting, 0.0, touched[i])
        while waiting > 0:
            cell, paid = heap_cell[0], heap_cost[0]
            waiting = _pop(heap_cost, heap_cell, waiting)
            if state[cell] == 2 or paid > cost[cell]:
                continue
            state[cell] = 2
            row, column = cell // columns, cell % columns
            there = bowl[cell]
            if _at_edge(ground, row, column) or (
                    level_of[cell] < level
                    and (there <= 0 or stands[there] < stands[own]
                         or (drained[there] and stands[there] == stands[own]))):
                end = cell
                break
            if touches + 8 > touched.size:
                touched = longer(touched, 2 * touched.size)
            if waiting + 8 > heap_cost.size:
                heap_cost = longer(heap_cost, 2 * heap_cost.size)
                heap_cell = longer(heap_cell, 2 * heap_cell.size)
            for k in range(8):
                there = cell + step[k]
                if not np.float64(first_of[there]) - np.float64(level) <= most_depth:
                    continue  # too deep, or unknown
                depth = max(np.float64(level_of[there]) - np.float64(level), 0.0)
                along = np.sqrt(2.0) if k % 2 == 1 else 1.0
                dearer = paid + depth * along + 1e-6 * along
                # Through water that stands lower the way is free.
                farther = length[cell] + (along if level_of[there] >= level else 0.0)
                if (state[there] == 2 or farther > most_cells
                        or (state[there] == 1 and dearer >= cost[there])):
                    continue
                if state[there] == 0:
                    touched[touches] = there
                    touches += 1
                state[there], cost[there], came[there] = 1, dearer, k
                length[there] = farther
                waiting = _push(heap_cost, heap_cell, waiting, dearer, there)
        if end >= 0:
            opened += 1
            drained[own], lowest_opened = True, min(lowest_opened, level)
            while came[end] < 8:
                level_of[end] = min(level_of[end], level)
                end -= step[came[end]]
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

    From the floor of each bowl, the lowest bowl first, the channel that takes the least
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
        Depth of the cut, and length of the channel from the bowl's floor to lower ground. [m]

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
    from scipy import ndimage

    heights = np.ascontiguousarray(heights, np.float32)
    opened = heights.copy()
    if most_depth == 0 or most_length == 0:
        return opened, Breached(0, 0, 0.0, 0.0)
    drainage = drain(opened)
    pits = np.flatnonzero(steepest_descent(opened) == PIT)
    pits = pits[np.argsort(opened.flat[pits], kind="stable")]
    drained = np.zeros(drainage.spill_level.size, np.bool_)
    most_cells = max(most_length / cell, 1.0)
    # The lowest height within reach of each cell; off the known ground lies the lowest of all.
    side = 2 * min(int(np.ceil(most_cells)) + 1, max(heights.shape)) + 1
    lowest_near = ndimage.minimum_filter(np.nan_to_num(heights, nan=-np.inf), side,
                                         mode="constant", cval=-np.inf)
    size = heights.shape
    hollows = _breach(heights, opened, drainage.bowl.reshape(-1), drainage.spill_level, drained,
                      pits, lowest_near.reshape(-1), most_depth, most_cells,
                      np.empty(size).reshape(-1), np.empty(size, np.float32).reshape(-1),
                      np.empty(size, np.uint8).reshape(-1), np.zeros(size, np.uint8).reshape(-1))
    cut = heights[opened < heights].astype(np.float64) - opened[opened < heights]
    return opened, Breached(hollows, cut.size, float(cut.max(initial=0.0)),
                            float(cut.sum()) * cell**2)
