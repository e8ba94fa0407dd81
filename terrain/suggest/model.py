"""The linear model of a layout: who keeps how much of each kind of rain, and what it costs.

Works take all water that comes to them, keep what they have room for and pass the rest on; a m3
has its worth, a day its number, a work its cost.  It is what the programme optimises and what
every choice is weighed by; what a choice really does is told by the plan's own runs.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.network import Network, lowest, restricted
from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Model:
    """Candidates, their water and their cost, as numbers alone.

    Attributes
    ----------
    network : Network
    room : float64, shape (candidates, kinds)
        What each can keep of one day of each kind of rain. [m3]
    days : float64, shape (kinds,)
    worth : float64, shape (candidates,)
        Of each m3 that it keeps.
    gift : float64, shape (candidates,)
        What each reaches of the aim by being built: rain on its own water.
    costs : mapping of str to float64, shape (candidates,)
        By what is limited.
    clashes : tuple of tuple of int
        Candidates of which no two can stand together.
    stands : frozenset of int
        Candidates that stand in every layout.
    trees : int64, shape (candidates,)
        Trees that each has room for; all 0 where trees are not the aim.
    thirst : float64, shape (candidates,)
        Water that each of its trees must get of what it keeps; counts where it has trees. [m3]
    """

    network: Network
    room: FloatArray
    days: FloatArray
    worth: FloatArray
    gift: FloatArray
    costs: Mapping[str, FloatArray]
    clashes: tuple[tuple[int, ...], ...]
    stands: frozenset[int] = frozenset()
    trees: NDArray[np.int64] | None = None
    thirst: FloatArray | None = None

    @property
    def count(self) -> int:
        """Of candidates."""
        found: int = self.room.shape[0]
        return found

    def cost(self, chosen: Collection[int], limit: str) -> float:
        """Of some candidates together."""
        return float(sum(self.costs[limit][j] for j in sorted(chosen)))

    @cached_property
    def apart(self) -> tuple[frozenset[int], ...]:
        """For each candidate those that it cannot stand with."""
        found: list[set[int]] = [set() for _ in range(self.count)]
        for clash in self.clashes:
            for j in clash:
                found[j].update(clash)
        return tuple(frozenset(others - {j}) for j, others in enumerate(found))

    def part(self, subset: Sequence[int]) -> Model:
        """The model of some candidates alone, renumbered in their order."""
        number = {j: i for i, j in enumerate(subset)}
        network = restricted(self.network, subset)
        some = list(subset)
        groups = {tuple(number[j] for j in clash if j in number) for clash in self.clashes}
        return Model(network, self.room[some], self.days, self.worth[some], self.gift[some],
                     {name: cost[some] for name, cost in self.costs.items()},
                     tuple(sorted(group for group in groups if len(group) > 1)),
                     frozenset(number[j] for j in self.stands),
                     None if self.trees is None else self.trees[some],
                     None if self.thirst is None else self.thirst[some])

    def lowest(self) -> Model:
        """Each candidate only where water passes it last: no choice reaches less in it where works
        may be built in part, as water may then pass what is built."""
        return replace(self, network=lowest(self.network))

    def eased(self) -> Model:
        """The same with all kinds of rain as one, which is solved far sooner: a work may use on one
        day the room that it had on others, so no choice reaches less."""
        whole = self.lowest()
        network = replace(whole.network, own=(whole.network.own @ self.days)[:, None])
        return replace(whole, network=network, room=(self.room @ self.days)[:, None],
                       days=np.ones(1))

    def fits(self, chosen: Collection[int]) -> bool:
        """Whether they can all stand together."""
        together = frozenset(chosen)
        return all(self.apart[j].isdisjoint(together) for j in together)

    @cached_property
    def arrays(self) -> tuple[NDArray[Any], ...]:
        """The network and the figures as `aim_of` takes them."""
        crossing = self.network.crossing
        start = np.concatenate([[0], np.cumsum([len(c) for c in crossing])]).astype(np.int64)
        who = np.array([j for c in crossing for j in c], np.int64)
        none = np.zeros(0)
        return (start, who, self.network.next, np.ascontiguousarray(self.network.own),
                self.network.spill, np.ascontiguousarray(self.room), self.days, self.worth,
                self.gift, np.zeros(0, np.int64) if self.trees is None else self.trees,
                none if self.thirst is None else self.thirst)

    def outcome(self, chosen: Collection[int]) -> Outcome:
        """What some candidates do together.

        Parameters
        ----------
        chosen : collection of int
            Those that stand in every layout may be left out.

        Returns
        -------
        outcome : Outcome
            Its aim is -inf where spills run in a circle.
        """
        built = self._built(chosen)
        start, who, onward, own, spill, room, days, worth, gift, trees, thirst = self.arrays
        listed, _, comes, to = _laid(built, start, who, onward, own, spill)
        kept = np.zeros_like(comes)
        done = _pass_on(to, listed, room, comes, kept)
        aim = _reached(listed, kept, days, worth, gift, trees, thirst) if done else -np.inf
        return Outcome(tuple(listed.tolist()), kept, comes, to, aim)

    def _built(self, chosen: Collection[int]) -> NDArray[np.bool_]:
        built = np.zeros(self.count, np.bool_)
        built[sorted(self.stands | frozenset(chosen))] = True
        return built

    def aim(self, chosen: Collection[int]) -> float:
        """What is aimed at, of some candidates together."""
        return self.outcome(chosen).aim


@dataclass(frozen=True)
class Outcome:
    """What a choice of candidates does.

    Attributes
    ----------
    built : tuple of int
        Those that stand, in order.
    kept, comes : float64, shape (built, kinds)
        Of one day of each kind. [m3]
    to : int64, shape (built,)
        Position in `built` that each spills to, or `OUT`.
    aim : float
    """

    built: tuple[int, ...]
    kept: FloatArray
    comes: FloatArray
    to: NDArray[np.int64]
    aim: float


@kernel
def aim_of(built: NDArray[np.bool_], start: NDArray[np.int64], who: NDArray[np.int64],
           onward: NDArray[np.int64], own: NDArray[np.float64], spill: NDArray[np.int64],
           room: NDArray[np.float64], days: NDArray[np.float64], worth: NDArray[np.float64],
           gift: NDArray[np.float64], trees: NDArray[np.int64], thirst: NDArray[np.float64]
           ) -> float:
    """What is aimed at, of what is built; -inf where spills run in a circle."""
    listed, _, comes, to = _laid(built, start, who, onward, own, spill)
    kept = np.zeros(comes.shape)
    if not _pass_on(to, listed, room, comes, kept):
        return -np.inf
    return _reached(listed, kept, days, worth, gift, trees, thirst)


@kernel
def _laid(built: NDArray[np.bool_], start: NDArray[np.int64], who: NDArray[np.int64],
          onward: NDArray[np.int64], own: NDArray[np.float64], spill: NDArray[np.int64]
          ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """The built ones, which of them each node's water meets first, what comes to each of them,
    and which of them each spills to, -1 for none."""
    count = 0
    place = np.empty(built.size, np.int64)
    listed = np.empty(built.size, np.int64)
    for j in range(built.size):
        place[j] = -1
        if built[j]:
            place[j] = count
            listed[count] = j
            count += 1
    met = np.empty(onward.size, np.int64)
    comes = np.zeros((count, own.shape[1]))
    for node in range(onward.size):  # a node stands behind the one that it leads to
        found = -1
        for i in range(start[node], start[node + 1]):
            if place[who[i]] >= 0:
                found = place[who[i]]
                break
        if found < 0 and onward[node] >= 0:
            found = met[onward[node]]
        met[node] = found
        if found >= 0:
            for k in range(own.shape[1]):
                comes[found, k] += own[node, k]
    only = np.empty(count, np.int64)
    to = np.empty(count, np.int64)
    for i in range(count):
        only[i] = listed[i]
        to[i] = met[spill[listed[i]]] if spill[listed[i]] >= 0 else -1
    return only, met, comes, to


@kernel
def _pass_on(to: NDArray[np.int64], listed: NDArray[np.int64], room: NDArray[np.float64],
             comes: NDArray[np.float64], kept: NDArray[np.float64]) -> bool:
    """Fill every store, those above first; whether that comes to an end."""
    count = to.size
    above = np.zeros(count, np.int64)
    for i in range(count):
        if to[i] >= 0:
            above[to[i]] += 1
    ready = np.empty(count, np.int64)
    last = 0
    for i in range(count):
        if above[i] == 0:
            ready[last] = i
            last += 1
    at = 0
    while at < last:
        i = ready[at]
        at += 1
        for k in range(comes.shape[1]):
            kept[i, k] = min(comes[i, k], room[listed[i], k])
            if to[i] >= 0:
                comes[to[i], k] += comes[i, k] - kept[i, k]
        if to[i] >= 0:
            above[to[i]] -= 1
            if above[to[i]] == 0:
                ready[last] = to[i]
                last += 1
    return last == count


@kernel
def _reached(listed: NDArray[np.int64], kept: NDArray[np.float64], days: NDArray[np.float64],
             worth: NDArray[np.float64], gift: NDArray[np.float64], trees: NDArray[np.int64],
             thirst: NDArray[np.float64]) -> float:
    """What is aimed at: water by its worth, or trees that get what they need."""
    aim = 0.0
    for i in range(listed.size):
        water = 0.0
        for k in range(days.size):
            water += kept[i, k] * days[k]
        if trees.size == 0:
            aim += water * worth[listed[i]] + gift[listed[i]]
        elif trees[listed[i]] > 0:
            aim += min(water / thirst[listed[i]], float(trees[listed[i]]))
    return aim
