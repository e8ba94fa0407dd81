"""Run-on loss: runoff that crosses ground which can still take water soaks in on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.curve_number import RunoffRule
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID

#: Depths of rain for which the loss is reckoned first; between them where it bends. [mm]
DEPTHS = np.array([1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048.0])
#: What arrives is known to this share of the runoff made.
WITHIN = 0.01
#: Depths closer than this are not parted further. [mm]
FINEST = 0.05


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
        """What arrives when so much runoff is made; beyond the table nothing more is lost. [m3]"""
        found: NDArray[np.float64] = (np.interp(made, self.made, self.arrives)
                                      + np.maximum(made - self.made[-1], 0.0))
        return found

    def run_on(self, made: NDArray[np.float64]) -> NDArray[np.float64]:
        """The part of `arriving` from beyond the boundary. [m3]"""
        share = self.from_beyond[-1] / self.arrives[-1] if self.arrives[-1] > 0 else 0.0
        found: NDArray[np.float64] = (np.interp(made, self.made, self.from_beyond)
                                      + share * np.maximum(made - self.made[-1], 0.0))
        return found

    def times(self, share: float) -> Delivery:
        """That of a share of the ground, spread evenly."""
        return Delivery(self.made * share, self.arrives * share, self.from_beyond * share)


@kernel
def _downstream_order(way: NDArray[np.uint8], columns: int, order: NDArray[np.int64]) -> int:
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
def _lose(order: NDArray[np.int64], count: int, way: NDArray[np.uint8], columns: int, rain: float,
          retention: NDArray[np.float64], ratio: float, beyond: NDArray[np.bool_],
          owner: NDArray[np.int32], inflow: NDArray[np.float64], outside: NDArray[np.float64],
          lost: NDArray[np.float64], lost_beyond: NDArray[np.float64]) -> None:
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


class RunOn:
    """Ground that water runs over, ready to be rained on.

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

    Notes
    -----
    Each cell sheds what the curve-number equation gives for its rain and the depth of water that
    runs onto it together, so it takes no more than S and the initial abstraction from both.
    Water that gathers is spread over a cell's width, so the loss depends on the size of cells:
    where channels are narrower it is an upper bound.  Common practice, no source.
    """

    def __init__(self, direction: NDArray[np.uint8], curve_number: NDArray[np.float64],
                 owner: NDArray[np.int32], count: int, inside: NDArray[np.bool_],
                 cell_area: float, rule: RunoffRule) -> None:
        known = np.isfinite(curve_number)
        retention = np.full(curve_number.shape, np.nan)
        retention[known] = rule.retention(curve_number[known])
        self._retention = retention.reshape(-1)
        self._columns, self._count = direction.shape[1], count
        self._way = np.where(owner < 0, VOID, direction).astype(np.uint8).reshape(-1)
        self._order = np.empty(self._way.size, np.int64)
        self._length = _downstream_order(self._way, self._columns, self._order)
        self._beyond, self._owner = ~inside.reshape(-1), owner.reshape(-1)
        self._to_volume, self._ratio = cell_area / 1000, rule.abstraction_ratio

    def lost(self, depth: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lost on the way from each piece of ground in a storm of `depth` mm, and the part of it
        that was made beyond the boundary; shape (count,) each. [m3]"""
        lost, lost_beyond = np.zeros(self._count), np.zeros(self._count)
        _lose(self._order, self._length, self._way, self._columns, float(depth), self._retention,
              self._ratio, self._beyond, self._owner, np.zeros(self._way.size),
              np.zeros(self._way.size), lost, lost_beyond)
        return lost * self._to_volume, lost_beyond * self._to_volume

    def deliveries(self, made: Callable[[float], NDArray[np.float64]],
                   made_beyond: Callable[[float], NDArray[np.float64]]) -> list[Delivery]:
        """What arrives of the runoff of each piece of ground.

        Parameters
        ----------
        made, made_beyond : callable
            Runoff that each piece makes in a storm of some depth [mm], and the part of it from
            beyond the boundary; shape (count,). [m3]

        Returns
        -------
        found : list of Delivery
            From as many depths as it takes for what arrives halfway between two of them to lie
            within `WITHIN` of the runoff made there, for every piece.
        """
        known: dict[float, tuple[NDArray[np.float64], ...]] = {
            0.0: tuple(np.zeros(self._count) for _ in range(3))}

        def at(depth: float) -> tuple[NDArray[np.float64], ...]:
            if depth not in known:
                whole, beyond = made(depth), made_beyond(depth)
                lost, lost_beyond = self.lost(depth)
                arrives = np.clip(whole - lost, 0.0, None)
                known[depth] = whole, arrives, np.clip(beyond - lost_beyond, 0.0, arrives)
            return known[depth]

        pairs = list(pairwise([0.0, *DEPTHS.tolist()]))
        while pairs:
            low, high = pairs.pop()
            if high - low <= FINEST:
                continue
            (made_low, got_low, _), (made_high, got_high, _) = at(low), at(high)
            whole, arrives, _ = at((low + high) / 2)
            between = np.divide(whole - made_low, made_high - made_low,
                                out=np.zeros_like(whole), where=made_high > made_low)
            guess = got_low + between * (got_high - got_low)
            if (np.abs(guess - arrives) > WITHIN * whole).any():
                pairs += [(low, (low + high) / 2), ((low + high) / 2, high)]
        depths = sorted(known)
        tables = [np.stack([known[depth][part] for depth in depths]) for part in range(3)]
        return [_table(*(table[:, piece] for table in tables)) for piece in range(self._count)]


def _table(made: NDArray[np.float64], arrives: NDArray[np.float64],
           from_beyond: NDArray[np.float64]) -> Delivery:
    """A table whose runoff rises: of depths that make none yet the last one stands for all."""
    first = int(np.searchsorted(made, 0.0, side="right")) - 1
    return Delivery(made[first:], np.maximum.accumulate(arrives[first:]), from_beyond[first:])
