"""The ways of the water past every candidate: who meets whose water, built or not.

Each cell's water passes candidates one after the other on its way down.  Cells that meet the same
ones in the same order are one node of a network; a node leads to the one that the same water
passes next.  A node's water goes into the candidate built there, or on if none is; what a built
one spills goes on from the node that its sill leads to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.candidate import Candidate
from terrain.surface.catchments import label_catchments
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP

#: In place of a node: off the site, or into no candidate any more.
OUT = -1


@dataclass(frozen=True)
class Network:
    """Nodes of the water's ways.

    Attributes
    ----------
    crossing : tuple of tuple of int
        For each node the candidates that its water passes there, of which one may be built.
    own : float64, shape (nodes, kinds)
        Runoff that meets its first candidate there, of each kind of rain. [m3]
    next : int64, shape (nodes,)
        Node that its water passes next, of a lower number, or `OUT`.
    spill : int64, shape (candidates,)
        Node that a candidate's spill meets, or `OUT`.
    """

    crossing: tuple[tuple[int, ...], ...]
    own: NDArray[np.float64]
    next: NDArray[np.int64]
    spill: NDArray[np.int64]


@dataclass(frozen=True)
class Crossings:
    """Cells that candidates take water at, in the order of the raster.

    Attributes
    ----------
    cells : int64, shape (n,)
        Flat indices.
    group : int64, shape (n,)
        Index into `groups`.
    groups : tuple of tuple of int
        Candidates that take water at the same cells.
    after : int64, shape (n,)
        Position in `cells` of the next that the water of each meets, or `OUT`.
    first : float64, shape (n, kinds)
        Runoff of each kind of rain that meets this cell first. [m3]
    spill : int64, shape (candidates,)
        Position in `cells` that a candidate's spill meets first, or `OUT`.
    """

    cells: NDArray[np.int64]
    group: NDArray[np.int64]
    groups: tuple[tuple[int, ...], ...]
    after: NDArray[np.int64]
    first: NDArray[np.float64]
    spill: NDArray[np.int64]


def crossings(candidates: Sequence[Candidate], direction: NDArray[np.uint8],
              runoff: Iterable[NDArray[np.float64]]) -> Crossings:
    """Find where the water meets candidates.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        D8.
    runoff : float64, each of that shape
        Of each cell, for each kind of rain. [m3]
    """
    rows, columns = direction.shape
    flat = [np.ravel_multi_index(c.cells.T, direction.shape) for c in candidates]
    cell = np.concatenate([*flat, np.zeros(0, np.int64)]).astype(np.int64)
    who = np.repeat(np.arange(len(candidates)), [len(c.cells) for c in candidates])
    order = np.lexsort((who, cell))
    cell, who = cell[order], who[order]
    cells, starts = np.unique(cell, return_index=True)
    ends = np.append(starts[1:], cell.size)[:starts.size]
    numbers: dict[tuple[int, ...], int] = {}
    group = np.array([numbers.setdefault(tuple(who[a:b].tolist()), len(numbers))
                      for a, b in zip(list(starts), list(ends), strict=True)], np.int64)
    marks = np.zeros(rows * columns, np.int32)
    marks[cells] = np.arange(1, cells.size + 1)
    met = label_catchments(direction, marks.reshape(direction.shape)).ravel()
    first = np.column_stack([np.bincount(met, np.nan_to_num(part).ravel(), cells.size + 1)[1:]
                             for part in runoff]).astype(np.float64)
    return Crossings(cells, group, tuple(numbers), _after(direction, cells, met), first,
                     _spills(candidates, met, direction))


def _after(direction: NDArray[np.uint8], cells: NDArray[np.int64], met: NDArray[np.int32]
           ) -> NDArray[np.int64]:
    rows, columns = np.unravel_index(cells, direction.shape)
    way = direction[rows, columns]
    goes = way < LEAVES
    step = np.where(goes, way, 0)
    r, c = rows + ROW_STEP[step], columns + COLUMN_STEP[step]
    r, c = np.where(goes, r, rows), np.where(goes, c, columns)
    found = met[np.ravel_multi_index((r, c), direction.shape)].astype(np.int64) - 1
    found[~goes] = OUT
    return found


def _spills(candidates: Sequence[Candidate], met: NDArray[np.int32],
            direction: NDArray[np.uint8]) -> NDArray[np.int64]:
    at = np.array([c.spill for c in candidates], np.int64).reshape(-1, 2)
    found: NDArray[np.int64] = met[np.ravel_multi_index(at.T, direction.shape)].astype(np.int64) - 1
    return found


def network_of(found: Crossings) -> Network:
    """The network of the cells at which the water meets candidates."""
    node_of = np.full(found.cells.size, OUT - 1, np.int64)
    numbers: dict[tuple[tuple[int, ...], int], int] = {}
    crossing: list[tuple[int, ...]] = []
    onward: list[int] = []
    for start in range(found.cells.size):
        way = []
        at = start
        while at != OUT and node_of[at] < OUT:
            way.append(at)
            at = int(found.after[at])
        below = OUT if at == OUT else int(node_of[at])
        for here in reversed(way):
            own = found.groups[int(found.group[here])]
            if below == OUT or crossing[below] != own:
                key = own, below
                if key not in numbers:
                    numbers[key] = len(crossing)
                    crossing.append(own)
                    onward.append(below)
                below = numbers[key]
            node_of[here] = below
    spill = [_past(OUT if at == OUT else int(node_of[at]), j, crossing, onward, numbers)
             for j, at in enumerate(found.spill)]
    water = np.zeros((len(crossing), found.first.shape[1]))
    np.add.at(water, node_of, found.first)
    return Network(tuple(crossing), water, np.array(onward, np.int64), np.array(spill, np.int64))


def _past(node: int, candidate: int, crossing: list[tuple[int, ...]], onward: list[int],
          numbers: dict[tuple[tuple[int, ...], int], int]) -> int:
    """The node that a candidate's spill meets on a way on which it does not stand itself.

    Where the way comes by its own cells again, which are full, nodes are added for the water that
    is past them.
    """
    way = []
    while node != OUT:
        way.append(node)
        node = onward[node]
    own = [place for place, at in enumerate(way) if candidate in crossing[at]]
    if not own:
        return way[0] if way else OUT
    to = way[own[-1] + 1] if own[-1] + 1 < len(way) else OUT
    for at in reversed(way[:own[-1]]):
        there = crossing[at]
        if candidate in there or (to != OUT and crossing[to] == there):
            continue
        if (there, to) not in numbers:
            numbers[there, to] = len(crossing)
            crossing.append(there)
            onward.append(to)
        to = numbers[there, to]
    return to


def alone(network: Network, count: int) -> NDArray[np.float64]:
    """What comes to each of so many candidates where no other stands, of each kind; each cell's
    water once, shape (count, kinds)."""
    through = network.own.copy()
    for node in range(network.next.size - 1, -1, -1):
        if network.next[node] != OUT:
            through[network.next[node]] += through[node]
    found = np.zeros((count, network.own.shape[1]))
    for node, crossing in enumerate(network.crossing):
        below = network.next[node]
        lower = network.crossing[below] if below != OUT else ()
        for j in crossing:
            if j not in lower:  # all that passes its lowest node there
                found[j] += through[node]
    return found


def restricted(network: Network, subset: Sequence[int]) -> Network:
    """The network of some of its candidates, renumbered in their order."""
    number = {j: i for i, j in enumerate(subset)}
    sets = [tuple(number[j] for j in whole if j in number) for whole in network.crossing]
    return _drawn_in(network, sets, [int(network.spill[j]) for j in subset])


def lowest(network: Network) -> Network:
    """The network with each candidate only at the lowest node of every way that passes it.

    Where water may pass what is built, as where works may be built in part, it can go into a
    candidate there as well as higher up: the same can be caught.
    """
    sets = [whole if to == OUT else tuple(j for j in whole if j not in network.crossing[to])
            for whole, to in zip(network.crossing, network.next.tolist(), strict=True)]
    return _drawn_in(network, sets, network.spill.tolist())


def _drawn_in(network: Network, sets: Sequence[tuple[int, ...]], spills: Sequence[int]) -> Network:
    """The network with other candidates at its nodes, and no more nodes than these need."""
    node_of = np.full(len(sets), OUT, np.int64)
    found: dict[tuple[tuple[int, ...], int], int] = {}
    crossing: list[tuple[int, ...]] = []
    onward: list[int] = []
    for node, (own, below) in enumerate(zip(sets, network.next.tolist(), strict=True)):
        to = OUT if below == OUT else int(node_of[below])
        if own and (to == OUT or crossing[to] != own):
            key = own, to
            if key not in found:
                found[key] = len(crossing)
                crossing.append(own)
                onward.append(to)
            to = found[key]
        node_of[node] = to
    water = np.zeros((len(crossing), network.own.shape[1]))
    meets = node_of != OUT
    np.add.at(water, node_of[meets], network.own[meets])
    spill = [OUT if at == OUT else int(node_of[at]) for at in spills]
    return Network(tuple(crossing), water, np.array(onward, np.int64), np.array(spill, np.int64))
