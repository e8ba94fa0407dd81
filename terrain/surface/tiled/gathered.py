"""Sums of a weight downslope, tile by tile, to the same bits as on one machine.

A sum's bits depend on the order of adding, so what flows in from beyond a tile cannot be added to
a sum made before.  So a tile makes the sums of all cells that nothing from beyond reaches; of the
others it keeps what is to be added, in its order, as trees that each end where water leaves the
tile.  Trees are worked off as soon as all that flows into them is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import (
    DONE,
    MANY,
    UNKNOWN,
    count_inflows,
    gather,
    mark_many,
)
from terrain.surface.kernels import kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID
from terrain.surface.tiled import drained
from terrain.surface.tiled.grid import Grid, Window, perimeter
from terrain.surface.tiled.ground import Values
from terrain.surface.tiled.work import Handed, Run, Work, one_by_one

HANDED = ("entry_cell", "entry_tree", "exit_cell", "exit_value", "exit_tree", "trees")
REST = ("cells", "base", "term_start", "term_of", "term", "tree_start")
#: In counts of inflows: a cell of the next tile; a cell whose sum waits for what comes from there.
BEYOND, LATER = np.uint8(253), np.uint8(252)
#: In terms: a number that is known.
KNOWN = np.int32(-2**31)


@kernel
def _start(waits: NDArray[np.uint8], weights: NDArray[np.float64], sums: NDArray[np.float64]
           ) -> None:
    """Each cell's own weight, in the middle of an array with a ring; NaN in voids."""
    rows, columns = sums.shape
    for row in range(rows):
        for column in range(columns):
            if row == 0 or row == rows - 1 or column == 0 or column == columns - 1:
                waits[row, column], sums[row, column] = BEYOND, 0.0
                continue
            weight = weights[0, 0] if weights.size == 1 else weights[row - 1, column - 1]
            if waits[row, column] == UNKNOWN:
                sums[row, column] = np.nan
            else:
                sums[row, column] = weight if weight == weight else 0.0


@kernel
def _gather_within(way: NDArray[np.uint8], waits: NDArray[np.uint8], sums: NDArray[np.float64],
                   columns: int) -> None:
    """The sums of cells that nothing from beyond the tile reaches."""
    step = ROW_STEP * columns + COLUMN_STEP
    for start in range(way.size):
        if waits[start] != 0:
            continue
        cell = start
        waits[cell] = DONE
        while way[cell] < LEAVES:
            gathered = sums[cell]
            cell += step[way[cell]]
            if waits[cell] == BEYOND:
                break
            waits[cell] -= 1
            if waits[cell] == 0:
                sums[cell] += gathered
            elif waits[cell] == MANY:
                gather(way, sums, step, cell)
            else:
                break
            waits[cell] = DONE


@kernel
def _keep_rest(way: NDArray[np.uint8], waits: NDArray[np.uint8], sums: NDArray[np.float64],
               columns: int, enters: NDArray[np.int64]
               ) -> tuple[NDArray[np.int32], NDArray[np.float64], NDArray[np.int64],
                          NDArray[np.int32], NDArray[np.float64], NDArray[np.int32], int]:
    """The cells that something from beyond reaches, upstream ones first, and their terms.

    `enters` are the cells of the ring that send water in.  Returns cells, base (own weight and
    what is known to be added first), where the terms of each start, what they are (place in the
    list; -1 - entry; KNOWN) and their numbers, and the tree of each cell.  Of a listed cell,
    `sums` holds its place in the list.
    """
    step = ROW_STEP * columns + COLUMN_STEP
    room, count, terms_room, terms = 64, 0, 64, 0
    cells, base = np.empty(room, np.int32), np.empty(room, np.float64)
    term_start = np.empty(room + 1, np.int64)
    term_of, term = np.empty(terms_room, np.int32), np.empty(terms_room, np.float64)
    for entry in range(enters.size):
        sums[enters[entry]] = entry
    for entry in range(enters.size):
        cell = np.int64(enters[entry])
        while way[cell] < LEAVES:
            cell += step[way[cell]]
            if waits[cell] == BEYOND:
                break
            waits[cell] -= 1
            if waits[cell] != 0 and waits[cell] != MANY:
                break
            if count == room:
                room *= 2
                cells, base = longer(cells, room), longer(base, room)
                term_start = longer(term_start, room + 1)
            if terms + 8 > terms_room:
                terms_room *= 2
                term_of, term = longer(term_of, terms_room), longer(term, terms_room)
            known, first = sums[cell], terms
            for k in range(8):
                there = cell + step[k]
                if way[there] != (k + 4) % 8:
                    continue
                term_of[terms], term[terms] = KNOWN, sums[there]
                if waits[there] == BEYOND:
                    term_of[terms] = -1 - np.int32(sums[there])
                elif waits[there] == LATER:
                    term_of[terms] = np.int32(sums[there])
                elif terms == first:
                    known += sums[there]
                    continue
                terms += 1
            waits[cell], sums[cell] = LATER, count
            cells[count], base[count], term_start[count] = cell, known, first
            count += 1
    term_start[count] = terms
    tree, trees = np.empty(count, np.int32), 0
    for i in range(count - 1, -1, -1):
        k = way[cells[i]]
        there = cells[i] + step[k] if k < LEAVES else np.int64(-1)
        if there < 0 or waits[there] == BEYOND:
            tree[i] = trees
            trees += 1
        else:
            tree[i] = tree[np.int64(sums[there])]
    return (cells[:count], base[:count], term_start[:count + 1], term_of[:terms], term[:terms],
            tree, trees)


def gather_tile(work: Work, number: int, name: str, weights: Values | float) -> Handed:
    """Sums of a tile, as far as it can make them alone, kept on disk.

    Returns
    -------
    handed : dict of arrays
        For each way in, the cell beyond from which water comes, `entry_cell`, and the tree that
        it feeds, `entry_tree`; for each way out its `exit_cell` and what leaves there,
        `exit_value`, or the tree that ends there, `exit_tree` (-1: none); the number of `trees`.
    """
    step_name = step_of(name)
    if work.tiles.holds(step_name, number):
        return work.handed(step_name, number, HANDED)
    grid, tile = work.grid, work.grid.window(number)
    around = Window(tile.top - 1, tile.bottom + 1, tile.left - 1, tile.right + 1)
    way = work.laid_out(drained.STEP, "direction", around, VOID, np.uint8)
    columns = way.shape[1]
    given = (np.full((1, 1), weights, np.float64) if isinstance(weights, (int, float)) else
             np.ascontiguousarray(weights.read(tile), np.float64))
    waits, sums = np.empty(way.shape, np.uint8), np.empty(way.shape)
    count_inflows(way, waits, 0, way.shape[0])
    mark_many(waits, 0, way.shape[0])
    _start(waits, given, sums)
    ways, waiting, gathered = way.reshape(-1), waits.reshape(-1), sums.reshape(-1)
    _gather_within(ways, waiting, gathered, columns)
    step = ROW_STEP * columns + COLUMN_STEP
    ring = np.flatnonzero(waiting == BEYOND)
    going = ring[ways[ring] < LEAVES]
    target = going + step[ways[going]]
    inside = (target >= 0) & (target < ways.size)
    inside[inside] = waiting[target[inside]] != BEYOND
    # A step off one side of the flattened array comes in on the other: not a neighbour.
    inside &= abs(target % columns - going % columns) <= 1
    enters, target = going[inside], target[inside]
    cells, base, start, term_of, term, tree, trees = _keep_rest(ways, waiting, gathered, columns,
                                                                enters)
    entry_tree = tree[gathered[target].astype(np.int64)]
    rows_of, columns_of = np.divmod(enters, columns)
    row, column = np.divmod(perimeter(tile.shape), tile.shape[1])
    exits = (row + 1) * columns + column + 1
    exits = exits[ways[exits] < LEAVES]
    exits = exits[waiting[exits + step[ways[exits]]] == BEYOND]
    later = waiting[exits] == LATER
    exit_tree = np.full(exits.size, -1, np.int32)
    exit_tree[later] = tree[gathered[exits[later]].astype(np.int64)]
    handed: Handed = {
        "entry_cell": (rows_of + around.top) * grid.shape[1] + columns_of + around.left,
        "entry_tree": entry_tree,
        "exit_cell": ((exits // columns + around.top) * grid.shape[1] + exits % columns
                      + around.left),
        "exit_value": np.where(later, np.nan, gathered[exits]), "exit_tree": exit_tree,
        "trees": np.array([trees])}
    order = np.argsort(tree, kind="stable")
    place = np.empty(order.size, np.int32)
    place[order] = np.arange(order.size, dtype=np.int32)
    lengths = np.diff(start)[order]
    new_start = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    take = np.repeat(start[:-1][order] - new_start[:-1], lengths) + np.arange(term_of.size)
    moved = term_of[take]
    moved = np.where(moved >= 0, place[np.maximum(moved, 0)] if place.size else moved, moved)
    row, column = np.divmod(cells[order].astype(np.int64), columns)
    work.tiles.put(step_name, number, {
        **handed, "sums": sums[1:-1, 1:-1],
        "cells": ((row - 1) * tile.shape[1] + column - 1).astype(np.int32), "base": base[order],
        "term_start": new_start, "term_of": moved.astype(np.int32), "term": term[take],
        "tree_start": np.searchsorted(tree[order], np.arange(trees + 1))})
    return handed


@kernel
def _work_off(head: NDArray[np.int64], following: NDArray[np.int64], waiting_for: NDArray[np.int64],
              first_tree: int, first_entry: int, base: NDArray[np.float64],
              term_start: NDArray[np.int64], term_of: NDArray[np.int32], term: NDArray[np.float64],
              tree_start: NDArray[np.int64], value: NDArray[np.float64],
              entry_value: NDArray[np.float64], exit_of_tree: NDArray[np.int64],
              entry_of_exit: NDArray[np.int64], entry_tree: NDArray[np.int64],
              tile_of_tree: NDArray[np.int64], tile: int) -> int:
    """Work off all trees of a tile that wait for nothing; returns how many."""
    done = 0
    while head[tile] >= 0:
        tree = head[tile]
        head[tile] = following[tree]
        own = tree - first_tree
        found = np.nan
        for i in range(tree_start[own], tree_start[own + 1]):
            found = base[i]
            for n in range(term_start[i], term_start[i + 1]):
                of = term_of[n]
                if of == KNOWN:
                    found += term[n]
                elif of >= 0:
                    found += value[of]
                else:
                    found += entry_value[first_entry - 1 - of]
            value[i] = found
        done += 1
        way_out = exit_of_tree[tree]
        if way_out >= 0:
            _come_in(entry_of_exit[way_out], found, head, following, waiting_for, entry_value,
                     entry_tree, tile_of_tree)
    return done


@kernel
def _come_in(entry: int, amount: float, head: NDArray[np.int64], following: NDArray[np.int64],
             waiting_for: NDArray[np.int64], entry_value: NDArray[np.float64],
             entry_tree: NDArray[np.int64], tile_of_tree: NDArray[np.int64]) -> None:
    """Let an amount flow in; a tree that then waits for nothing is put with its tile's others."""
    entry_value[entry] = amount
    tree = entry_tree[entry]
    waiting_for[tree] -= 1
    if waiting_for[tree] == 0:
        following[tree] = head[tile_of_tree[tree]]
        head[tile_of_tree[tree]] = tree


@kernel
def _come_in_all(entries: NDArray[np.int64], amounts: NDArray[np.float64], head: NDArray[np.int64],
                 following: NDArray[np.int64], waiting_for: NDArray[np.int64],
                 entry_value: NDArray[np.float64], entry_tree: NDArray[np.int64],
                 tile_of_tree: NDArray[np.int64]) -> None:
    for i in range(entries.size):
        _come_in(entries[i], amounts[i], head, following, waiting_for, entry_value, entry_tree,
                 tile_of_tree)


def follow(work: Work, name: str, handed: Sequence[Handed]) -> None:
    """Work off the trees of all tiles, each once all that flows into it is known.

    Only the trees of tiles that are begun and not ended are in memory.
    """
    def joined(key: str) -> NDArray[np.generic]:
        return np.concatenate([part[key] for part in handed])

    def starts(sizes: Sequence[int]) -> NDArray[np.int64]:
        return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)

    first_tree = starts([int(part["trees"][0]) for part in handed])
    first_entry = starts([part["entry_cell"].size for part in handed])
    trees = np.diff(first_tree)
    entry_tree = np.concatenate([part["entry_tree"].astype(np.int64) + at for part, at in
                                 zip(handed, first_tree[:-1], strict=True)])
    exit_tree = np.concatenate([np.where(part["exit_tree"] >= 0, part["exit_tree"] + at, -1)
                                for part, at in zip(handed, first_tree[:-1], strict=True)])
    exit_value = np.asarray(joined("exit_value"), np.float64)
    by_cell = np.argsort(joined("entry_cell"))
    # Every way out of a tile is one way into the next.
    entry_of_exit = np.empty(by_cell.size, np.int64)
    entry_of_exit[np.argsort(joined("exit_cell"))] = by_cell
    exit_of_tree = np.full(int(first_tree[-1]), -1, np.int64)
    ends = np.flatnonzero(exit_tree >= 0)
    exit_of_tree[exit_tree[ends]] = ends
    waiting_for = np.bincount(entry_tree, minlength=exit_of_tree.size)
    tile_of_tree = np.repeat(np.arange(trees.size), trees)
    head, following = np.full(trees.size, -1, np.int64), np.full(exit_of_tree.size, -1, np.int64)
    entry_value = np.full(entry_tree.size, np.nan)
    known = np.flatnonzero(exit_tree < 0)
    _come_in_all(entry_of_exit[known], exit_value[known], head, following, waiting_for,
                 entry_value, entry_tree, tile_of_tree)
    left, begun = trees.copy(), dict[int, NDArray[np.float64]]()
    for alone in map(int, np.flatnonzero(trees == 0)):
        work.tiles.put(rest_of(name), alone, {"value": np.empty(0)})
    while True:
        ready = np.flatnonzero(head >= 0)
        if not ready.size:
            break
        for tile in map(int, ready):
            _, base, term_start, term_of, term, tree_start = work.tiles.get(
                step_of(name), tile, *REST)
            value = begun.setdefault(tile, np.empty(base.size))
            left[tile] -= _work_off(
                head, following, waiting_for, first_tree[tile], first_entry[tile], base,
                term_start, term_of, term, tree_start, value, entry_value, exit_of_tree,
                entry_of_exit, entry_tree, tile_of_tree, tile)
            if left[tile] == 0:
                work.tiles.put(rest_of(name), tile, {"value": begun.pop(tile)})


def step_of(name: str) -> str:
    """The step in which the sums of a weight are kept."""
    return f"gathered-{name}"


def rest_of(name: str) -> str:
    """The step in which those are kept that waited for what came from beyond."""
    return f"gathered-rest-{name}"


@dataclass(frozen=True)
class Gathered:
    """Sums of a weight, read window by window."""

    work: Work
    name: str

    @property
    def shape(self) -> tuple[int, int]:
        return self.work.grid.shape

    def read(self, window: Window) -> NDArray[np.float64]:
        """The sums, in the unit of the weights; NaN in voids."""
        laid = np.empty(window.shape)
        grid: Grid = self.work.grid
        for number in grid.tiles_of(window):
            tile = grid.window(number)
            part = Window(max(tile.top, window.top), min(tile.bottom, window.bottom),
                          max(tile.left, window.left), min(tile.right, window.right))
            here = np.array(self.work.tiles.mapped(step_of(self.name), number, "sums")[
                part.within(tile)])
            [cells] = self.work.tiles.get(step_of(self.name), number, "cells")
            [value] = self.work.tiles.get(rest_of(self.name), number, "value")
            row, column = np.divmod(cells, tile.shape[1])
            row, column = row + tile.top - part.top, column + tile.left - part.left
            among = ((row >= 0) & (row < here.shape[0]) & (column >= 0)
                     & (column < here.shape[1]))
            here[row[among], column[among]] = value[among]
            laid[part.within(window)] = here
        return laid

    def identity(self) -> str:
        return f"{self.work.ground.identity()} {self.name}"


def gather_all(work: Work, name: str, weights: Values | float = 1.0, run: Run = one_by_one
               ) -> Gathered:
    """Sum a weight over all the cells that drain to each cell, itself included.

    To the same bits as `terrain.surface.accumulation.accumulate`, on a raster that `route` has
    been over.

    Parameters
    ----------
    name : str
        What to keep the sums under; another weight needs another name.
    weights : Values, or one number for every cell
        NaN counts as 0.

    Raises
    ------
    ValueError
        If the weights have another shape.

    References
    ----------
    .. [1] Barnes, Environmental Modelling & Software 92 (2017), 202-212 (tiles joined by what
       crosses their borders; there what comes from beyond is added to sums made before, which
       gives other bits unless weights are whole numbers).
    """
    if not isinstance(weights, (int, float)) and weights.shape != work.grid.shape:
        raise ValueError(f"weights of shape {weights.shape} on a raster of shape "
                         f"{work.grid.shape}")
    follow(work, name, run(gather_tile, [(work, number, name, weights)
                                         for number in range(work.grid.count)]))
    return Gathered(work, name)
