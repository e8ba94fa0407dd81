"""The passes of all tiles as one graph: at what level every bowl spills, and where.

The lowest tree of what tiles handed over, and of the passes across their borders, is the part of
the whole raster's tree that tiles cannot find alone; for passes are ordered by level and place, so
that there is but one lowest tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP
from terrain.surface.tiled.bowls import beside_each
from terrain.surface.tiled.flats import neighbours_in
from terrain.surface.tiled.grid import Grid, perimeter
from terrain.surface.tiled.work import Handed


@dataclass(frozen=True)
class Answer:
    """What a tile is told.

    Attributes
    ----------
    spill_level : float32, shape (nodes,)
        Of the bowl that each of its nodes is part of; -inf outside. [m]
    parent : int8, shape (edges,)
        Which end of each of its edges the other spills into: 0 one, 1 other; -1 where the edge
        is not in the tree.
    turn_cell, turn_way : int64, uint8, shape (ways,)
        Cells (in the raster) from which a way down is turned, and the way on from there.
    """

    spill_level: NDArray[np.float32]
    parent: NDArray[np.int8]
    turn_cell: NDArray[np.int64]
    turn_way: NDArray[np.uint8]


@dataclass(frozen=True)
class Solution:
    """What each tile is told; and for each flat with no way on, that crosses borders, the tile,
    the cell and the way from which its way out comes down to it.

    `nodes` and `edges` are the size of the graph that was solved.
    """

    answers: list[Answer]
    entries: NDArray[np.int64]
    nodes: int
    edges: int


@kernel
def _choose(order: NDArray[np.int64], one: NDArray[np.int64], other: NDArray[np.int64], nodes: int
            ) -> NDArray[np.int64]:
    """Which edges, taken in order, join what was not joined (Kruskal)."""
    group = np.empty(nodes, np.int64)
    for node in range(nodes):
        group[node] = node
    chosen, count = np.empty(nodes, np.int64), 0
    for e in order:
        a, b = one[e], other[e]
        while group[a] != a:
            group[a] = group[group[a]]
            a = group[a]
        while group[b] != b:
            group[b] = group[group[b]]
            b = group[b]
        if a != b:
            group[max(a, b)] = min(a, b)
            chosen[count] = e
            count += 1
    return chosen[:count]


@kernel
def _walk(one: NDArray[np.int64], other: NDArray[np.int64], level: NDArray[np.float32],
          start: NDArray[np.int64], beside: NDArray[np.int32], spill_level: NDArray[np.float32],
          by: NDArray[np.int64]) -> None:
    """From node 0 inwards: each node's spill level, and the edge by which it spills."""
    nodes = spill_level.size
    stack, waiting = np.empty(nodes, np.int64), 1
    stack[0] = 0
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        for n in range(start[node], start[node + 1]):
            e = np.int64(beside[n])
            if e == by[node]:
                continue
            there = one[e] + other[e] - node
            by[there] = e
            spill_level[there] = max(spill_level[node], level[e])
            stack[waiting] = there
            waiting += 1


@kernel
def _turns(first_node: NDArray[np.int64], cell: NDArray[np.int64], way: NDArray[np.uint8],
           exit_cell: NDArray[np.int64], exit_to: NDArray[np.int64], to_node: NDArray[np.int64],
           flat_of: NDArray[np.int32], columns: int, entries: NDArray[np.int64]
           ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint8]]:
    """Cells from which ways down are turned, of bowls that spill at `cell` of a node.

    Returns node, cell and way of each; where one comes to a flat, it is that flat's entry.
    """
    room, count = 64, 0
    nodes, cells = np.empty(room, np.int64), np.empty(room, np.int64)
    ways = np.empty(room, np.uint8)
    for i in range(first_node.size):
        node, here, onward = first_node[i], cell[i], way[i]
        while True:
            if count == room:
                room *= 2
                nodes, cells, ways = longer(nodes, room), longer(cells, room), longer(ways, room)
            nodes[count], cells[count], ways[count] = node, here, onward
            count += 1
            if exit_to[node] < 0:
                break
            here = exit_to[node]
            for k in range(8):
                if exit_cell[node] + ROW_STEP[k] * columns + COLUMN_STEP[k] == here:
                    onward = np.uint8((k + 4) % 8)
            node = to_node[node]
        flat = flat_of[node]
        if flat >= 0:
            entries[flat, 0], entries[flat, 1], entries[flat, 2] = node, here, onward
    return nodes[:count], cells[:count], ways[:count]


class Rims:
    """The perimeters of all tiles as one rising list of cells."""

    def __init__(self, grid: Grid) -> None:
        parts = [grid.in_raster(number, perimeter(grid.window(number).shape))
                 for number in range(grid.count)]
        self.tile = np.repeat(np.arange(grid.count, dtype=np.int32), [p.size for p in parts])
        cell = np.concatenate(parts)
        self.order = np.argsort(cell)
        self.cell, self.tile = cell[self.order], self.tile[self.order]

    def lay(self, parts: Sequence[NDArray[np.generic]]) -> NDArray[np.generic]:
        """What tiles handed over for their perimeters, in the order of the list."""
        laid: NDArray[np.generic] = np.concatenate(parts)[self.order]
        return laid


def solve(grid: Grid, handed: Sequence[Handed], flats: int) -> Solution:
    """Join what all tiles handed over.

    Parameters
    ----------
    handed : for each tile, what `bowls.find` returned
    flats : int
        How many flats cross borders of tiles.

    References
    ----------
    .. [1] Barnes, Computers & Geosciences 96 (2016), 56-68 (tiles joined by the graph of their
       borders).
    .. [2] Kruskal, Proceedings of the American Mathematical Society 7 (1956), 48-50.
    """
    wide = grid.shape[1]
    counts = np.array([part["exit_to"].size for part in handed])
    before = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    size = int(before[-1])
    rims = Rims(grid)
    height = rims.lay([part["rim_height"] for part in handed])
    node = np.asarray(rims.lay([np.where(part["rim_node"] > 0, part["rim_node"] + at,
                                         part["rim_node"].astype(np.int64))
                                for part, at in zip(handed, before[:-1], strict=True)]), np.int64)
    exit_cell, exit_to, flat_of = (np.concatenate([part[name] for part in handed]) for name in
                                   ("exit_cell", "exit_to", "flat_of"))
    goes_on = exit_to >= 0
    # Nodes of the whole: each tile's, and the flats; node 0 of every tile is outside.
    to_node = np.arange(size + flats, dtype=np.int64)
    to_node[before[:-1]] = 0
    to_node[:size][flat_of >= 0] = size + flat_of[flat_of >= 0]
    to_node[:size][goes_on] = node[np.searchsorted(rims.cell, exit_to[goes_on])]
    whole = to_node
    while True:
        further = whole[whole]
        if np.array_equal(further, whole):
            break
        whole = further
    one, other, level, cell, way, own = [], [], [], [], [], []
    for part, at in zip(handed, before[:-1], strict=True):
        one.append(part["one"] + at)
        other.append(part["other"] + at)
        level.append(part["level"])
        cell.append(part["cell"])
        way.append(part["way"])
        own.append(np.stack([part["one_cell"], part["one_way"].astype(np.int64),
                             part["other_cell"], part["other_way"].astype(np.int64)], 1))
    within = np.array([part.size for part in one])
    for across in _across(grid, rims, height, node, whole):
        for found, value in zip((one, other, level, cell, way, own), across, strict=True):
            found.append(value)
    raw_one, raw_other, levels, cells, ways, ends = (
        np.concatenate(found) for found in (one, other, level, cell, way, own))
    ends_one, ends_other = whole[raw_one], whole[raw_other]
    matters = np.flatnonzero(ends_one != ends_other)
    order = matters[np.lexsort(((ways[matters].astype(np.int64) + 1) % 9, cells[matters],
                                levels[matters]))]  # as `comes_before` has it
    chosen = _choose(order, ends_one, ends_other, size + flats)
    tree_one, tree_other = ends_one[chosen], ends_other[chosen]
    spill_level = np.full(size + flats, -np.inf, np.float32)
    by = np.full(size + flats, -1, np.int64)
    start, beside = beside_each(tree_one, tree_other, size + flats)
    _walk(tree_one, tree_other, levels[chosen], start, beside, spill_level, by)
    spilling = np.flatnonzero(by >= 0)
    edge = chosen[by[spilling]]
    at_other = ends_other[edge] == spilling
    parent = np.full(raw_one.size, -1, np.int8)
    parent[edge] = np.where(at_other, 0, 1)
    raw = np.where(at_other, raw_other[edge], raw_one[edge])
    public = np.zeros(size, bool)
    for part, at in zip(handed, before[:-1], strict=True):
        public[at:at + int(part["public"][0])] = True
    told = public[raw]
    spill_cell = np.where(at_other, ends[edge, 2], ends[edge, 0])[told]
    spill_way = np.where(at_other, ends[edge, 3], ends[edge, 1])[told].astype(np.uint8)
    entries = np.full((flats, 3), -1, np.int64)
    turn_node, turn_cell, turn_way = _turns(raw[told], spill_cell, spill_way, exit_cell, exit_to,
                                            to_node, flat_of, wide, entries)
    turn_tile = np.searchsorted(before, turn_node, "right") - 1
    entries[:, 0] = np.where(entries[:, 0] >= 0,
                             np.searchsorted(before, entries[:, 0], "right") - 1, -1)
    by_tile = np.argsort(turn_tile, kind="stable")
    cuts = np.searchsorted(turn_tile[by_tile], np.arange(1, grid.count))
    edge_cuts = np.cumsum(within)
    levels_of = np.split(spill_level[whole[:size]], before[1:-1])
    answers = [Answer(*told_tile) for told_tile in zip(
        levels_of, np.split(parent[:edge_cuts[-1]], edge_cuts[:-1]),
        np.split(turn_cell[by_tile], cuts), np.split(turn_way[by_tile], cuts), strict=True)]
    return Solution(answers, entries, size + flats, int(matters.size))


def _across(grid: Grid, rims: Rims, height: NDArray[np.generic], node: NDArray[np.int64],
            whole: NDArray[np.int64]) -> list[tuple[NDArray[Any], ...]]:
    """Passes between cells beside each other in different tiles, as `list_passes` finds them."""
    found: list[tuple[NDArray[Any], ...]] = []
    for k in range(4):
        at, beside = neighbours_in(rims.cell, grid.shape, k)
        apart = rims.tile[at] != rims.tile[beside]
        at, beside = at[apart], beside[apart]
        here, there = node[at], node[beside]
        bowl_here = np.where(here > 0, whole[here], here)
        bowl_there = np.where(there > 0, whole[there], there)
        matter = (bowl_here != bowl_there) & ((bowl_here > 0) | (bowl_there > 0))
        at, beside, here, there = at[matter], beside[matter], here[matter], there[matter]
        from_there = here < 0  # beside unknown ground water leaves
        leaves = from_there | (there < 0)
        cell = np.where(from_there, rims.cell[beside], rims.cell[at])
        level = np.where(from_there, height[beside],
                         np.where(there < 0, height[at], np.maximum(height[at], height[beside])))
        way = np.where(leaves, LEAVES, np.uint8(k))
        back = np.where(leaves, LEAVES, np.uint8((k + 4) % 8)).astype(np.int64)
        own = np.stack([cell, way.astype(np.int64), rims.cell[beside], back], 1)
        found.append((np.maximum(here, 0), np.maximum(there, 0), level.astype(np.float32), cell,
                      way.astype(np.uint8), own))
    return found
