"""Sums over the forest that seams form: each runs on into the ground of another, or of none.

Every cell belongs to the first seam that its water meets.  So what passes a seam is what belongs
to it and to all seams whose water comes by it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import kernel

Ints = NDArray[np.int64]


@kernel
def _walk(onward: NDArray[np.int64], land: NDArray[np.int32], to_land: NDArray[np.int32],
          lands: int, order: NDArray[np.int64], returns: NDArray[np.bool_]) -> int:
    """Seams from the last ones up, each before all whose water comes by it; and whether water
    that leaves a land by a seam comes back onto it further on."""
    seams = onward.size
    child, beside = np.empty(seams + 1, np.int64), np.empty(seams + 1, np.int64)
    met = np.empty(lands, np.int64)
    for i in range(seams + 1):
        child[i], beside[i] = 0, 0
    for i in range(lands):
        met[i] = 0
    for seam in range(seams, 0, -1):
        below = onward[seam - 1]
        beside[seam] = child[below]
        child[below] = seam
    at, count = child[0], 0
    while at > 0:
        order[count] = at
        count += 1
        returns[at - 1] = met[land[at - 1]] > 0
        met[to_land[at - 1]] += 1
        if child[at] > 0:
            at = child[at]
            continue
        while at > 0:
            met[to_land[at - 1]] -= 1
            if beside[at] > 0:
                at = beside[at]
                break
            at = onward[at - 1]
    return count


@kernel
def _gather(onward: NDArray[np.int64], order: NDArray[np.int64], amount: NDArray[np.int64]) -> None:
    """Add to each seam what comes by the seams above it, in place; place 0 is no seam."""
    for i in range(order.size - 1, -1, -1):
        seam = order[i]
        amount[onward[seam - 1]] += amount[seam]


@kernel
def _least(onward: NDArray[np.int64], order: NDArray[np.int64], value: NDArray[np.int64]) -> None:
    for i in range(order.size - 1, -1, -1):
        seam = order[i]
        below = onward[seam - 1]
        if below > 0 and value[seam] < value[below]:
            value[below] = value[seam]


@kernel
def _share_out(land: NDArray[np.int32], to_land: NDArray[np.int32], returns: NDArray[np.bool_],
               amount: NDArray[np.int64], run_on: NDArray[np.int64]) -> None:
    for i in range(land.size):
        run_on[to_land[i]] += amount[i + 1]
        if returns[i]:
            run_on[land[i]] -= amount[i + 1]


@dataclass(frozen=True)
class Forest:
    """Seams, numbered from 1, and where their water goes.

    Attributes
    ----------
    onward : int64, shape (seams,)
        The seam that the water of each meets next; 0 where none.
    land, to_land : int32, shape (seams,)
        The land that it leaves, and that it comes onto.
    lands : int
        Lands are numbered from 0 and below this.
    order : int64, shape (seams,)
        Each seam before all those whose water comes by it.
    returns : bool, shape (seams,)
        Whether its water comes back onto the land that it leaves.
    """

    onward: Ints
    land: NDArray[np.int32]
    to_land: NDArray[np.int32]
    lands: int
    order: Ints
    returns: NDArray[np.bool_]

    @classmethod
    def grown(cls, onward: Ints, land: NDArray[np.int32], to_land: NDArray[np.int32], lands: int
              ) -> Forest:
        """The forest of seams.

        Raises
        ------
        ArithmeticError
            If water goes in a circle.
        """
        order, returns = np.empty(onward.size, np.int64), np.empty(onward.size, np.bool_)
        if _walk(onward, land, to_land, lands, order, returns) != onward.size:
            raise ArithmeticError("water of some seams goes in a circle")
        return cls(onward, land, to_land, lands, order, returns)

    def through(self, amount: Ints) -> Ints:
        """What passes each seam, of amounts that belong to each; place 0 stands for no seam."""
        passing = amount.copy()
        _gather(self.onward, self.order, passing)
        return passing

    def least(self, value: Ints) -> Ints:
        """The least value of those of a seam and of all whose water comes by it."""
        found = value.copy()
        _least(self.onward, self.order, found)
        return found

    def run_on(self, passing: Ints) -> Ints:
        """What comes onto each land from others, once, whether or not it leaves and comes back.

        Water that leaves a land and comes back counts at each seam by which it comes; what then
        counts twice, or is the land's own, has left it by a seam from which it returns.
        """
        found = np.zeros(self.lands, np.int64)
        _share_out(self.land, self.to_land, self.returns, passing, found)
        return found
