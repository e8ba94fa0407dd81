"""Bowls of a tile, and the little of their passes that matters beyond it.

Of the passes within a tile only those of its lowest tree can be in the whole raster's.  A bowl
that touches no border of the tile is private to it: where it hangs on the tree by one pass, or
stands in a row of bowls without a fork, it need not be handed over.  So a tile hands over no more
than goes with its perimeter.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import (
    LOW_HALF,
    UNKNOWN,
    comes_before,
    list_passes,
    lowest_tree,
)
from terrain.surface.flow_paths import AS_NEXT, hand_up_strip
from terrain.surface.kernels import kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, PIT, ROW_STEP
from terrain.surface.tiled import flats
from terrain.surface.tiled.grid import perimeter
from terrain.surface.tiled.work import Handed, Work

STEP, OPEN_FLATS = "bowls", "open-flats"
HANDED = ("rim_height", "rim_node", "exit_cell", "exit_to", "flat_of", "public", "one", "other",
          "level", "cell", "way", "one_cell", "one_way", "other_cell", "other_way")
#: In labels while they are made: water goes on into another tile; a flat that crosses the border.
GOES_ON, IN_SHARED = np.int32(-3), np.int32(-4)


@kernel
def _number(direction: NDArray[np.uint8], label: NDArray[np.int32]) -> int:
    """Number pits row by row; returns how many there are."""
    rows, columns = direction.shape
    pits = 0
    for row in range(rows):
        for column in range(columns):
            k = direction[row, column]
            if k < LEAVES:
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                inside = 0 <= r < rows and 0 <= c < columns
                label[row, column] = AS_NEXT if inside else GOES_ON
            elif k == LEAVES:
                label[row, column] = 0
            elif k == PIT:
                pits += 1
                label[row, column] = pits
            elif k == flats.SHARED:
                label[row, column] = IN_SHARED
            else:
                label[row, column] = UNKNOWN
    return pits


@kernel
def beside_each(a: NDArray[Any], b: NDArray[Any], nodes: int
                ) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Edges at each node: where they start in a list of edges, and the list."""
    start, beside = np.empty(nodes + 1, np.int64), np.empty(2 * a.size, np.int32)
    at = np.empty(nodes, np.int64)
    for node in range(nodes + 1):
        start[node] = 0
    for e in range(a.size):
        start[a[e] + 1] += 1
        start[b[e] + 1] += 1
    for node in range(nodes):
        start[node + 1] += start[node]
        at[node] = start[node]
    for e in range(a.size):
        beside[at[a[e]]] = e
        at[a[e]] += 1
        beside[at[b[e]]] = e
        at[b[e]] += 1
    return start, beside


@kernel
def _kept(a: NDArray[np.int32], b: NDArray[np.int32], level: NDArray[np.float32],
          cell: NDArray[np.int32], way: NDArray[np.uint8], public: NDArray[np.bool_]
          ) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """The tree without private bowls at its tips, its rows of private bowls each as one edge.

    Returns the nodes kept, the public ones first; and of each edge its two ends (places among
    those), its highest pass, and the passes at its one end and its other.
    """
    nodes = public.size
    start, beside = beside_each(a, b, nodes)
    degree, number = np.empty(nodes, np.int64), np.empty(nodes, np.int32)
    stack, waiting = np.empty(nodes, np.int32), 0
    alive, walked = np.empty(a.size, np.bool_), np.empty(a.size, np.bool_)
    for e in range(a.size):
        alive[e], walked[e] = True, False
    for node in range(nodes):
        degree[node], number[node] = start[node + 1] - start[node], -1
        if degree[node] == 1 and not public[node]:
            stack[waiting] = node
            waiting += 1
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        for n in range(start[node], start[node + 1]):
            e = beside[n]
            if not alive[e]:
                continue
            alive[e] = False
            degree[node] = 0
            there = a[e] + b[e] - node
            degree[there] -= 1
            if degree[there] == 1 and not public[there]:
                stack[waiting] = there
                waiting += 1
    kept, count = np.empty(nodes, np.int32), 0
    for want in (True, False):
        for node in range(nodes):
            if public[node] == want and (want or degree[node] > 2):
                kept[count] = node
                number[node] = count
                count += 1
    room, edges = 64, 0
    ends, passes = np.empty(2 * room, np.int32), np.empty(3 * room, np.int32)
    for i in range(count):
        for n in range(start[kept[i]], start[kept[i] + 1]):
            first = beside[n]
            if not alive[first] or walked[first]:
                continue
            walked[first] = True
            highest, last = first, first
            node = a[first] + b[first] - kept[i]
            while number[node] < 0:
                for m in range(start[node], start[node + 1]):
                    e = beside[m]
                    if alive[e] and e != last:
                        last = e
                        break
                walked[last] = True
                if comes_before(highest, last, level, cell, way):
                    highest = last
                node = a[last] + b[last] - node
            if edges == room:
                room *= 2
                ends, passes = longer(ends, 2 * room), longer(passes, 3 * room)
            ends[2 * edges], ends[2 * edges + 1] = i, number[node]
            passes[3 * edges], passes[3 * edges + 1] = highest, first
            passes[3 * edges + 2] = last
            edges += 1
    return kept[:count], ends[:2 * edges], passes[:3 * edges]


def find(work: Work, number: int, direction: NDArray[np.uint8], shared: Handed,
         flat_of: NDArray[np.int32]) -> Handed:
    """Bowls and passes of a tile, kept on disk; returns what it hands over.

    Parameters
    ----------
    direction : uint8, shape of the tile
        Its flats led, but for those that cross its border and have no way on (SHARED).
    shared : dict
        `cells` and `starts` of the flats that cross its border, as `flats.lie` gives them.
    flat_of : int32
        Which flat of the whole raster each is part of.

    Returns
    -------
    handed : dict of arrays
        For each cell of the perimeter `rim_height` and `rim_node`: 0 where water leaves the known
        ground, -1 unknown, else a node.  Of each node, from 0, the cell by which its water goes
        on, `exit_cell`, and the cell there in the next tile, `exit_to` (-1: nowhere); the flat
        that it is, `flat_of` (-1: none).  `public` is the number of nodes that others may see.
        Of each edge its nodes `one` and `other`, its highest pass (`level`, `cell`, `way`), and
        the cell and way by which each of its ends spills over it.
    """
    grid, tile = work.grid, work.grid.window(number)
    heights = work.heights(tile)
    columns = tile.shape[1]
    label = np.empty(tile.shape, np.int32)
    pits = _number(direction, label)
    flat, way_of = label.reshape(-1), direction.reshape(-1)
    rim = perimeter(tile.shape)
    exits = rim[flat[rim] == GOES_ON]
    flat[exits] = pits + 1 + np.arange(exits.size, dtype=np.int32)
    part = np.repeat(np.arange(flat_of.size, dtype=np.int32), np.diff(shared["starts"]))
    cells = shared["cells"]
    closed = way_of[cells] == flats.SHARED
    flat[cells[closed]] = pits + exits.size + 1 + part[closed]
    hand_up_strip(way_of, flat, columns, 0, tile.shape[0])
    labels = pits + exits.size + flat_of.size
    public = np.zeros(labels + 1, np.bool_)
    public[0], public[pits + 1:] = True, True
    seen = flat[rim]
    public[seen[seen > 0]] = True
    rows, wide = grid.shape
    pair, level, cell, way = list_passes(
        heights, label, tile.top == 0, tile.bottom == rows, tile.left == 0, tile.right == wide,
        0, tile.shape[0])
    tree = lowest_tree(pair, level, cell, way, labels)
    level, cell, way = level[tree], cell[tree], way[tree]
    a, b = (pair[tree] >> np.uint64(32)).astype(np.int32), (pair[tree] & LOW_HALF).astype(np.int32)
    kept, ends, passes = _kept(a, b, level, cell, way, public)
    ends, passes = ends.reshape(-1, 2), passes.reshape(-1, 3)
    node = np.full(labels + 2, -1, np.int32)  # its last: of unknown ground
    node[kept] = np.arange(kept.size)
    exit_cell, exit_to = (np.full(kept.size, -1, np.int64) for _ in range(2))
    at = node[pits + 1:pits + 1 + exits.size]
    exit_cell[at] = grid.in_raster(number, exits)
    ways = way_of[exits]
    exit_to[at] = exit_cell[at] + ROW_STEP[ways] * wide + COLUMN_STEP[ways]
    flats_at = np.full(kept.size, -1, np.int32)
    flats_at[node[pits + exits.size + 1:labels + 1]] = flat_of
    step = ROW_STEP * columns + COLUMN_STEP
    spills = {}
    for name, end, own in (("one", 0, 1), ("other", 1, 2)):
        here, k = cell[passes[:, own]].astype(np.int64), way[passes[:, own]].astype(np.int64)
        across = (k < LEAVES) & (flat[here] != kept[ends[:, end]])
        here[across] += step[k[across]]
        k[across] = (k[across] + 4) % 8
        spills[f"{name}_cell"] = grid.in_raster(number, here)
        spills[f"{name}_way"] = k.astype(np.uint8)
    handed: Handed = {
        "rim_height": heights.reshape(-1)[rim], "rim_node": node[flat[rim]],
        "exit_cell": exit_cell, "exit_to": exit_to, "flat_of": flats_at,
        "public": np.array([int(public.sum())]),
        "one": ends[:, 0], "other": ends[:, 1], "level": level[passes[:, 0]],
        "cell": grid.in_raster(number, cell[passes[:, 0]]), "way": way[passes[:, 0]], **spills}
    work.tiles.put(STEP, number, {
        **handed, "direction": direction, "label": label, "tree_one": a, "tree_other": b,
        "tree_level": level, "tree_cell": cell, "tree_way": way, "kept": kept,
        "highest": passes[:, 0], "pits": np.array([pits])})
    return handed


def lie_and_find(work: Work, number: int) -> tuple[Handed, Handed | None]:
    """The first step of a tile: its flats and, where none crosses its border, its bowls too."""
    tiles = work.tiles
    if tiles.holds(flats.STEP, number):
        shared = work.handed(flats.STEP, number, flats.HANDED)
        if shared["open"].size:
            return shared, None
        if tiles.holds(STEP, number):
            return shared, work.handed(STEP, number, HANDED)
    direction, shared = flats.lie(work, number)
    alone = not shared["open"].size
    tiles.put(flats.STEP, number, shared if alone else {**shared, "direction": direction})
    handed = (find(work, number, direction, shared, np.empty(0, np.int32)) if alone else None)
    return {name: shared[name] for name in flats.HANDED}, handed


def find_across(work: Work, number: int, flat_of: NDArray[np.int32], batches: Sequence[int]
                ) -> Handed:
    """The second step of a tile with flats that cross its border, once the open ones are led."""
    if work.tiles.holds(STEP, number):
        return work.handed(STEP, number, HANDED)
    [direction] = work.tiles.get(flats.STEP, number, "direction")
    flats.put_led(work, number, OPEN_FLATS, batches, direction)
    shared = work.handed(flats.STEP, number, ("cells", "starts"))
    return find(work, number, direction, shared, flat_of)
