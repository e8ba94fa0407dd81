"""Run-on loss: runoff that crosses ground which can still take water soaks in on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.curve_number import RunoffRule
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID

#: Depths of rain for which the loss is reckoned; straight between. [mm]
DEPTHS = np.unique(np.concatenate([np.arange(1, 20, 1), np.arange(20, 60, 2.5),
                                   np.arange(60, 160, 10), [160, 200, 250, 300, 400, 500, 700,
                                                            1000, 2000]])).astype(np.float64)


@dataclass(frozen=True)
class Delivery:
    """What arrives of a catchment's runoff.

    Attributes
    ----------
    made, arrives, from_beyond : float64, shape (n,)
        Runoff made, what arrives of it, and the part of that from beyond the boundary, in
        storms of rising depth; the first of each is 0. [m3]
    """

    made: NDArray[np.float64]
    arrives: NDArray[np.float64]
    from_beyond: NDArray[np.float64]

    def arriving(self, made: NDArray[np.float64]) -> NDArray[np.float64]:
        """What arrives when so much runoff is made. [m3]"""
        return np.interp(made, self.made, self.arrives)

    def run_on(self, made: NDArray[np.float64]) -> NDArray[np.float64]:
        """The part of `arriving` from beyond the boundary. [m3]"""
        return np.interp(made, self.made, self.from_beyond)


@kernel
def _downstream_order(way, columns, order):
    """Known cells, each after all that send water to it; how many there are."""
    step = ROW_STEP * columns + COLUMN_STEP
    waits = np.empty(way.size, np.uint8)
    for cell in range(way.size):
        waits[cell] = 0
    for cell in range(way.size):
        if way[cell] < LEAVES:
            waits[cell + step[way[cell]]] += 1
    filled = 0
    for cell in range(way.size):
        if waits[cell] == 0 and way[cell] != VOID:
            order[filled] = cell
            filled += 1
    taken = 0
    while taken < filled:
        cell = order[taken]
        taken += 1
        if way[cell] < LEAVES:
            goes = cell + step[way[cell]]
            waits[goes] -= 1
            if waits[goes] == 0 and way[goes] != VOID:
                order[filled] = goes
                filled += 1
    return filled


@kernel
def _lose(order, count, way, columns, rain, retention, ratio, beyond, owner, inflow, outside,
          lost, lost_beyond):
    """Send each cell's runoff on; a cell takes the water that runs onto it as more rain. [mm]"""
    step = ROW_STEP * columns + COLUMN_STEP
    for i in range(count):
        cell = order[i]
        onto, foreign, spread = inflow[cell], outside[cell], retention[cell]
        out, foreign_out = onto, foreign
        if spread == spread:
            excess = rain - ratio * spread
            own = excess * excess / (excess + spread) if excess > 0.0 else 0.0
            excess = rain + onto - ratio * spread
            out = excess * excess / (excess + spread) if excess > 0.0 else 0.0
            if beyond[cell]:
                foreign += own
            came = own + onto
            foreign_out = foreign * out / came if came > 0.0 else 0.0
            lost[owner[cell]] += came - out
            lost_beyond[owner[cell]] += foreign - foreign_out
        if way[cell] < LEAVES:
            goes = cell + step[way[cell]]
            inflow[goes] += out
            outside[goes] += foreign_out


def run_on_losses(direction: NDArray[np.uint8], curve_number: NDArray[np.float64],
                  owner: NDArray[np.int32], count: int, inside: NDArray[np.bool_],
                  cell_area: float, rule: RunoffRule, depths: NDArray[np.float64] = DEPTHS
                  ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What soaks in on the way of the runoff of several pieces of ground.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        D8.
    curve_number : float64, same shape
        NaN: no runoff comes from there, and what reaches it goes on untouched.
    owner : int32, same shape
        Number of the piece of ground that a cell belongs to, 0 to count - 1; below 0 for cells
        that water is not followed on, such as those of stores.
    count : int
    inside : bool, same shape
        Cells within the boundary.
    cell_area : float
        [m2]
    rule : RunoffRule
    depths : float64, shape (n,)
        [mm]

    Returns
    -------
    lost, lost_beyond : float64, shape (n, count)
        Lost on the way in each storm, and the part of it made beyond the boundary. [m3]

    Notes
    -----
    Each cell sheds what the curve-number equation gives for its rain and the depth of water that
    runs onto it together, so it takes no more than S and the initial abstraction from both.
    Water that gathers is spread over a cell's width, so the loss depends on the size of cells:
    where channels are narrower it is an upper bound.  Common practice, no source.
    """
    columns = direction.shape[1]
    known = np.isfinite(curve_number)
    retention = np.full(curve_number.shape, np.nan)
    retention[known] = rule.retention(curve_number[known])
    way = np.where(owner < 0, VOID, direction).astype(np.uint8).reshape(-1)
    order = np.empty(way.size, np.int64)
    length = _downstream_order(way, columns, order)
    beyond = ~inside.reshape(-1)
    lost = np.zeros((len(depths), count))
    lost_beyond = np.zeros_like(lost)
    for number, depth in enumerate(depths):
        _lose(order, length, way, columns, float(depth), retention.reshape(-1),
              rule.abstraction_ratio, beyond, owner.reshape(-1), np.zeros(way.size),
              np.zeros(way.size), lost[number], lost_beyond[number])
    return lost * (cell_area / 1000), lost_beyond * (cell_area / 1000)
