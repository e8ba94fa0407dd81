"""What a tile writes once it is told how bowls spill: its directions and its filled surface."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import lead_out, raise_to_spill
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID
from terrain.surface.tiled import bowls, flats
from terrain.surface.tiled.bowls import beside_each
from terrain.surface.tiled.spill import Answer
from terrain.surface.tiled.work import Work

STEP, CLOSED_FLATS = "drained", "closed-flats"


@kernel
def _walk_inwards(a: NDArray[np.int32], b: NDArray[np.int32], level: NDArray[np.float32],
                  cell: NDArray[np.int32], way: NDArray[np.uint8], alive: NDArray[np.bool_],
                  tops: NDArray[np.int32], label: NDArray[np.int32], step: NDArray[np.int64],
                  spill_level: NDArray[np.float32], pass_cell: NDArray[np.int64],
                  pass_way: NDArray[np.uint8]) -> None:
    """From the nodes that spill elsewhere over the tile's tree: spill level and pass of each."""
    start, beside = beside_each(a, b, spill_level.size)
    stack, waiting = np.empty(spill_level.size, np.int32), 0
    for top in tops:
        stack[waiting] = top
        waiting += 1
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        for n in range(start[node], start[node + 1]):
            e = beside[n]
            if not alive[e]:
                continue
            alive[e] = False
            there = a[e] + b[e] - node
            spill_level[there] = max(spill_level[node], level[e])
            here, k = np.int64(cell[e]), np.int64(way[e])
            if k < LEAVES and label[here] != there:
                here += step[k]
                k = (k + 4) % 8
            pass_cell[there], pass_way[there] = here, k
            stack[waiting] = there
            waiting += 1


@kernel
def _turn(way: NDArray[np.uint8], step: NDArray[np.int64], cells: NDArray[np.int64],
          onwards: NDArray[np.uint8]) -> None:
    """Turn ways down from cells until they leave the tile or meet a flat that crosses its border.

    Unknown ground stands around the tile.
    """
    for i in range(cells.size):
        cell, onward = cells[i], onwards[i]
        while way[cell] < LEAVES:
            before = np.int64(way[cell])
            way[cell] = onward
            cell += step[before]
            onward = np.uint8((before + 4) % 8)
            if way[cell] == VOID:
                break


def drain_tile(work: Work, number: int, answer: Answer, batches: Sequence[int]) -> None:
    """Directions without a pit, and the surface with its hollows full, kept on disk.

    Parameters
    ----------
    batches : sequence of int
        Those of `CLOSED_FLATS` that hold cells of the tile.
    """
    if work.tiles.holds(STEP, number):
        return
    tile = work.grid.window(number)
    heights = work.heights(tile)
    found, label, kept, one, other, highest, public, pits, a, b, level, cell, way = work.tiles.get(
        bowls.STEP, number, "direction", "label", "kept", "one", "other", "highest", "public",
        "pits", *(f"tree_{name}" for name in ("one", "other", "level", "cell", "way")))
    ends = np.stack([one, other], 1)
    labels = max(int(kept.max(initial=0)), int(pits[0])) + 1
    spill_level = np.full(labels, -np.inf, np.float32)
    spill_level[kept] = answer.spill_level
    alive = np.ones(a.size, bool)
    alive[highest[answer.parent < 0]] = False
    in_tree = answer.parent >= 0
    tops = np.ones(kept.size, bool)
    tops[ends[in_tree, 1 - answer.parent[in_tree]]] = False
    pass_cell, pass_way = np.full(labels, -1, np.int64), np.full(labels, LEAVES)
    rows, columns = tile.shape
    _walk_inwards(a, b, level, cell, way, alive, kept[tops], label.reshape(-1),
                  ROW_STEP * columns + COLUMN_STEP, spill_level, pass_cell, pass_way)
    filled = np.empty(tile.shape, np.float32)
    raise_to_spill(heights, label, spill_level, filled, 0, rows)
    # Ways are turned in an array with a ring of unknown ground around the tile.
    ring = np.full((rows + 2, columns + 2), VOID)
    ring[1:-1, 1:-1] = found
    high = np.full(ring.shape, np.nan, np.float32)
    high[1:-1, 1:-1] = heights
    start = work.grid.in_tile(number, answer.turn_cell)
    to_pit = label.reshape(-1)[start] <= pits[0]
    pass_cell[kept[:public[0]]] = -1
    pass_cell[label.reshape(-1)[start[to_pit]]] = start[to_pit]
    pass_way[label.reshape(-1)[start[to_pit]]] = answer.turn_way[to_pit]
    own = np.flatnonzero(pass_cell[:pits[0] + 1] >= 0)
    lead_out(high.reshape(-1), ring.reshape(-1), columns + 2,
             np.concatenate([[-1], _in_ring(pass_cell[own], columns)]),
             np.concatenate([[LEAVES], pass_way[own]]))
    _turn(ring.reshape(-1), ROW_STEP * (columns + 2) + COLUMN_STEP,
          _in_ring(start[~to_pit], columns), answer.turn_way[~to_pit])
    direction = np.ascontiguousarray(ring[1:-1, 1:-1])
    flats.put_led(work, number, CLOSED_FLATS, batches, direction)
    work.tiles.put(STEP, number, {"direction": direction, "filled": filled})


def _in_ring(cells: NDArray[np.int64], columns: int) -> NDArray[np.int64]:
    """Flat indices in an array with one cell more on each side."""
    row, column = np.divmod(cells, columns)
    return (row + 1) * (columns + 2) + column + 1
