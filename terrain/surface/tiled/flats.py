"""Directions over flats, those that lie across borders of tiles included.

A flat within a tile is led as the whole raster's are.  One that crosses a border is gathered and
led as one, for which of two equal ways its cells take goes by the order in which the whole flat is
reached.  That takes some ten bytes for each of its cells, and a byte for each cell of the rectangle
around it, of which the system gives memory only where cells lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.flow_direction import (
    STRAIGHT_FIRST,
    count_code,
    descend,
    lead_over_flats,
    list_code,
)
from terrain.surface.kernels import kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, PIT, ROW_STEP
from terrain.surface.tiled.grid import Grid
from terrain.surface.tiled.work import Handed, Work

STEP = "flats"
HANDED = ("touching", "height", "part_of", "open", "cells_in", "box")
#: In directions: a cell of a flat that crosses a border of tiles, before that is led.
SHARED = np.uint8(11)
#: No direction.
NONE = np.uint8(255)
#: Flats are led together in tasks of about so many cells.
BATCH = 2_000_000


@kernel
def _shared_flats(height: NDArray[np.float32], way: NDArray[np.uint8], top: int, bottom: int,
                  left: int, right: int
                  ) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int64],
                             NDArray[np.uint8]]:
    """Mark the flats of a tile (rows top to bottom of the array) that go on beyond it.

    Returns their cells (row and column in the array), where each flat's cells start, and for
    each cell the way that it goes by itself, NONE if it lies within the flat.
    """
    row_of, column_of = np.empty(64, np.int32), np.empty(64, np.int32)
    starts, flats, last = np.empty(16, np.int64), 0, 0
    starts[0] = 0
    for row in range(top, bottom):
        inner = top < row < bottom - 1
        column = left
        while column < right:
            if way[row, column] == PIT:
                touches = False
                for k in range(8):
                    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    if ((r < top or r >= bottom or c < left or c >= right)
                            and way[r, c] == PIT and height[r, c] == height[row, column]):
                        touches = True
                if touches:
                    first = last
                    way[row, column] = SHARED
                    row_of[last], column_of[last] = row, column
                    last += 1
                    while first < last:
                        here_row, here_column = row_of[first], column_of[first]
                        first += 1
                        if last + 8 > row_of.size:
                            row_of = longer(row_of, 2 * row_of.size)
                            column_of = longer(column_of, row_of.size)
                        for k in range(8):
                            r, c = here_row + ROW_STEP[k], here_column + COLUMN_STEP[k]
                            if (top <= r < bottom and left <= c < right and way[r, c] == PIT
                                    and height[r, c] == height[row, column]):
                                way[r, c] = SHARED
                                row_of[last], column_of[last] = r, c
                                last += 1
                    flats += 1
                    if flats + 1 > starts.size:
                        starts = longer(starts, 2 * starts.size)
                    starts[flats] = last
            column += right - 1 - left if inner and column == left and right - left > 1 else 1
    rim = np.empty(last, np.uint8)
    for i in range(last):
        rim[i] = NONE
        for n in range(8):
            k = STRAIGHT_FIRST[n]
            r, c = row_of[i] + ROW_STEP[k], column_of[i] + COLUMN_STEP[k]
            if way[r, c] < PIT and height[r, c] == height[row_of[i], column_of[i]]:
                rim[i] = np.uint8(k)
                break
    return row_of[:last], column_of[:last], starts[:flats + 1], rim


@kernel
def _find_touching(height: NDArray[np.float32], way: NDArray[np.uint8], top: int, bottom: int,
                   left: int, right: int, row_of: NDArray[np.int32], column_of: NDArray[np.int32]
                   ) -> NDArray[np.bool_]:
    """Which of the cells lie beside a cell of their flat in another tile."""
    touching = np.empty(row_of.size, np.bool_)
    for i in range(row_of.size):
        touching[i] = False
        row, column = row_of[i], column_of[i]
        if top < row < bottom - 1 and left < column < right - 1:
            continue
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if ((r < top or r >= bottom or c < left or c >= right) and way[r, c] == PIT
                    and height[r, c] == height[row, column]):
                touching[i] = True
    return touching


def lie(work: Work, number: int) -> tuple[NDArray[np.uint8], Handed]:
    """Directions of a tile, its flats led but for those that cross its border.

    Returns
    -------
    direction : uint8, shape of the tile
        As `steepest_descent` gives them; SHARED in flats that cross the border.
    flats : dict of arrays
        Their `cells` (flat indices in the tile), flat after flat from `starts`, and the way that
        each goes by itself, `rim`; and what the tile hands over: cells `touching` another tile's
        (flat indices in the raster), their `height` and the flat that each is `part_of`; of each
        flat whether it is `open`, and its `cells_in` and `box` (rows, columns).
    """
    tile = work.grid.window(number)
    around = tile.wider(2, work.grid.shape)
    heights = work.heights(around)
    way = np.empty(heights.shape, np.uint8)
    descend(heights, way, 0, heights.shape[0])
    rows, columns = tile.within(around)
    bounds = rows.start, rows.stop, columns.start, columns.stop
    row_of, column_of, starts, rim = _shared_flats(heights, way, *bounds)
    low_in = way[rows]
    count = count_code(low_in, PIT, 0, low_in.shape[0])
    low = np.empty(count, np.int32)
    list_code(low_in, PIT, 0, low_in.shape[0], low, 0)
    low += rows.start * heights.shape[1]
    column = low % heights.shape[1]
    lead_over_flats(heights, way, low[(column >= columns.start) & (column < columns.stop)])
    flats = starts.size - 1
    part = np.repeat(np.arange(flats, dtype=np.int32), np.diff(starts))
    touching = _find_touching(heights, way, *bounds, row_of, column_of)
    cells = ((row_of.astype(np.int64) - rows.start) * tile.shape[1] + column_of - columns.start)
    box = np.zeros((flats, 4), np.int64)
    is_open = np.zeros(flats, np.bool_)
    if flats:
        is_open = np.logical_or.reduceat(rim != NONE, starts[:-1])
        high, along = row_of.astype(np.int64) + around.top, column_of.astype(np.int64) + around.left
        box = np.stack([np.minimum.reduceat(high, starts[:-1]),
                        np.maximum.reduceat(high, starts[:-1]) + 1,
                        np.minimum.reduceat(along, starts[:-1]),
                        np.maximum.reduceat(along, starts[:-1]) + 1], 1)
    return np.ascontiguousarray(way[rows, columns]), {
        "cells": cells.astype(np.int32), "starts": starts, "rim": rim,
        "touching": work.grid.in_raster(number, cells[touching]),
        "height": heights[row_of[touching], column_of[touching]], "part_of": part[touching],
        "open": is_open, "cells_in": np.diff(starts), "box": box}


@dataclass(frozen=True)
class Joined:
    """Flats that cross borders of tiles.

    Attributes
    ----------
    flat_of : list of int32 arrays
        For each tile, which flat of the whole raster each of its flats is part of.
    members : int32, shape (parts, 3)
        Flat, tile and the tile's flat, in order of the first.
    starts : int64, shape (flats + 1,)
        Where each flat's parts start in `members`.
    open : bool, shape (flats,)
        Whether water goes on from it without its being filled.
    cells : int64, shape (flats,)
    box : int64, shape (flats, 4)
        First row and the one after the last, first column and the one after the last.
    """

    flat_of: list[NDArray[np.int32]]
    members: NDArray[np.int32]
    starts: NDArray[np.int64]
    open: NDArray[np.bool_]
    cells: NDArray[np.int64]
    box: NDArray[np.int64]

    def tiles(self, flat: int) -> NDArray[np.int32]:
        """Tile and the tile's flat of each part of a flat; shape (parts, 2)."""
        return self.members[self.starts[flat]:self.starts[flat + 1], 1:]


def join(grid: Grid, handed: Sequence[Handed]) -> Joined:
    """Put the flats of all tiles together where they touch."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    counts = np.array([part["open"].size for part in handed], np.int64)
    before = np.concatenate([[0], np.cumsum(counts)])
    cell = np.concatenate([part["touching"] for part in handed])
    height = np.concatenate([part["height"] for part in handed])
    node = np.concatenate([part["part_of"] + at for part, at in
                           zip(handed, before[:-1], strict=True)]).astype(np.int64)
    order = np.argsort(cell)
    cell, height, node = cell[order], height[order], node[order]
    one, other = [], []
    for k in range(4):
        at, beside = neighbours_in(cell, grid.shape, k)
        same = (height[at] == height[beside]) & (node[at] != node[beside])
        one.append(node[at[same]])
        other.append(node[beside[same]])
    size = int(before[-1])
    ends = np.concatenate(one), np.concatenate(other)
    flats, flat = connected_components(
        coo_array((np.ones(ends[0].size, np.int8), ends), (size, size)), directed=False)
    flat = flat.astype(np.int32)
    tile = np.repeat(np.arange(len(handed), dtype=np.int32), counts)
    own = np.arange(size) - before[tile]
    by_flat = np.argsort(flat, kind="stable")
    members = np.stack([flat, tile, own.astype(np.int32)], 1)[by_flat]
    starts = np.searchsorted(members[:, 0], np.arange(flats + 1))
    is_open, cells = np.zeros(flats, bool), np.zeros(flats, np.int64)
    box = np.tile(np.array([2**62, -1, 2**62, -1], np.int64), (flats, 1))
    if size:
        boxes = np.concatenate([part["box"] for part in handed])
        np.logical_or.at(is_open, flat, np.concatenate([part["open"] for part in handed]))
        np.add.at(cells, flat, np.concatenate([part["cells_in"] for part in handed]))
        for side, least in enumerate((True, False, True, False)):
            (np.minimum if least else np.maximum).at(box[:, side], flat, boxes[:, side])
    return Joined(np.split(flat, before[1:-1]), members, starts, is_open, cells, box)


def neighbours_in(cells: NDArray[np.int64], shape: tuple[int, int], k: int
                  ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of places in a rising list of cells, of which the second is the neighbour k."""
    row, column = np.divmod(cells, shape[1])
    row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
    at = np.flatnonzero((row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1]))
    wanted = row[at] * shape[1] + column[at]
    found = np.minimum(np.searchsorted(cells, wanted), max(cells.size - 1, 0))
    there = cells[found] == wanted if cells.size else np.zeros(0, bool)
    return at[there], found[there]


def batches(joined: Joined, flats: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Flats in groups of about BATCH cells."""
    if not flats.size:
        return []
    group = np.cumsum(joined.cells[flats]) // BATCH
    return np.split(flats, np.flatnonzero(np.diff(group)) + 1)


@kernel
def _lead(way: NDArray[np.uint8], columns: int, queue: NDArray[np.int64]) -> None:
    """Lead a flat (1: waits; 2 and more: led, its direction + 2) from the cells in the queue."""
    step = ROW_STEP * columns + COLUMN_STEP
    following = np.empty(64, np.int64)
    count = queue.size
    while count > 0:
        last = 0
        for i in range(count):
            if last + 8 > following.size:
                following = longer(following, 2 * following.size + 8)
            for n in range(8):
                k = STRAIGHT_FIRST[n]
                there = queue[i] + step[k]
                if way[there] == 1:
                    way[there] = np.uint8((k + 4) % 8) + np.uint8(2)
                    following[last] = there
                    last += 1
        queue, following, count = following, queue, last


def lead_flats(work: Work, step: str, batch: int, parts: Sequence[NDArray[np.int32]],
               boxes: NDArray[np.int64], entries: NDArray[np.int64] | None) -> None:
    """Lead flats that cross borders, each as a whole, and keep their directions.

    Parameters
    ----------
    parts : for each flat, int32, shape (parts, 2)
        Tile and the tile's flat.
    boxes : int64, shape (flats, 4)
    entries : int64, shape (flats, 3), or None
        For flats with no way on: tile, cell (in the raster) and way from which its way out comes
        down to it; left out for those that lead out by their own rim.
    """
    if work.tiles.holds(step, batch):
        return
    pieces: list[tuple[int, NDArray[np.int32], NDArray[np.uint8]]] = []
    for flat, members in enumerate(parts):
        top, bottom, left, right = boxes[flat]
        wide = right - left + 2

        def held(tile: int, own: int, top: int = top, left: int = left, wide: int = wide
                 ) -> tuple[NDArray[np.int32], NDArray[np.int64], slice]:
            """Cells of a part, in its tile and in the box."""
            start, end = work.tiles.mapped(STEP, tile, "starts")[own:own + 2]
            inside = np.array(work.tiles.mapped(STEP, tile, "cells")[start:end])
            row, column = np.divmod(work.grid.in_raster(tile, inside), work.grid.shape[1])
            return inside, (row - top + 1) * wide + column - left + 1, slice(start, end)

        way = np.zeros((bottom - top + 2) * wide, np.uint8)
        roots, first = [], []
        for tile, own in members:
            _, there, part = held(tile, own)
            way[there] = 1
            if entries is None:
                rim = np.array(work.tiles.mapped(STEP, tile, "rim")[part])
                roots.append(there[rim != NONE])
                first.append(rim[rim != NONE])
        if entries is None:
            queue, led = np.concatenate(roots), np.concatenate(first)
            order = np.argsort(queue)
            queue, led = queue[order], led[order]
        else:
            cell, leave = _come_down(work, *(int(n) for n in entries[flat]))
            high, along = divmod(cell, work.grid.shape[1])
            queue = np.array([(high - top + 1) * wide + along - left + 1])
            led = np.array([leave], np.uint8)
        way[queue] = led + np.uint8(2)
        _lead(way, wide, queue)
        for tile, own in members:
            inside, there, _ = held(tile, own)
            pieces.append((tile, inside, way[there] - np.uint8(2)))
    pieces.sort(key=lambda piece: piece[0])
    work.tiles.put(step, batch, {
        "tile": np.array([piece[0] for piece in pieces], np.int32),
        "start": np.cumsum([0, *(piece[1].size for piece in pieces)]),
        "cell": np.concatenate([piece[1] for piece in pieces]),
        "direction": np.concatenate([piece[2] for piece in pieces])})


def _come_down(work: Work, tile: int, cell: int, onward: int) -> tuple[int, int]:
    """Where a way down within a tile meets a flat that crosses its border, and the way back up."""
    from terrain.surface.tiled.bowls import STEP as BOWLS

    direction = work.tiles.mapped(BOWLS, tile, "direction")
    window = work.grid.window(tile)
    row, column = divmod(int(work.grid.in_tile(tile, np.array([cell]))[0]), window.shape[1])
    while direction[row, column] < LEAVES:
        k = int(direction[row, column])
        row, column, onward = row + int(ROW_STEP[k]), column + int(COLUMN_STEP[k]), (k + 4) % 8
    return (row + window.top) * work.grid.shape[1] + column + window.left, onward


def put_led(work: Work, number: int, step: str, batches_of: Sequence[int],
            direction: NDArray[np.uint8]) -> None:
    """Write the directions of flats that were led as a whole into a tile's."""
    flat = direction.reshape(-1)
    for batch in batches_of:
        tile, start = work.tiles.get(step, batch, "tile", "start")
        part = slice(*start[np.searchsorted(tile, [number, number + 1])])
        flat[work.tiles.mapped(step, batch, "cell")[part]] = (
            work.tiles.mapped(step, batch, "direction")[part])


def batches_by_tile(joined: Joined, groups: Sequence[NDArray[np.int64]], tiles: int
                    ) -> list[list[int]]:
    """For each tile the batches that hold parts of it."""
    found: list[list[int]] = [[] for _ in range(tiles)]
    for batch, flats in enumerate(groups):
        for tile in np.unique(np.concatenate([joined.tiles(flat)[:, 0] for flat in flats])):
            found[tile].append(batch)
    return found
