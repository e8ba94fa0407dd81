"""Cells by kind, tile by tile: those that belong to each seam, and those of parcels to none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.district import kinds, seams
from terrain.district.kept_layers import Kept, lands
from terrain.surface.catchments import edge_cells
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import ElevationValues
from terrain.surface.tiled.labelled import Labelled
from terrain.surface.tiled.work import Handed, Work

HANDED = ("onward", "group", "kind", "cells", "edge", "lacking", "gap")
#: Cells that are looked at at once.
STRIP = 1 << 20
#: Beyond any cell.
NOWHERE = np.iinfo(np.int64).max


def step_of(kept: Kept) -> str:
    """The step in which counts are kept."""
    return f"counted-{kept.ground}-{kept.outlines}"


def count_tile(work: Work, number: int, values: ElevationValues, kept: Kept) -> Handed:
    """Cells of a tile by what they belong to and by kind, kept on disk.

    A group is the number of the seam that a cell's water meets first, its own included; where it
    meets none, the number of the cell's parcel below 0.  Ground of no parcel whose water meets no
    seam is left out.

    Returns
    -------
    handed : dict of arrays
        For each of the tile's seams the seam that its water meets next, `onward` (0: none).  Each
        `group` with each `kind` (as the tile numbers them) and its `cells`.  The groups with
        cells at the border of the known ground, `edge`.  The groups with ground whose number is
        not known, `lacking`, and of the first such cell its flat index in the raster and what it
        lacks, as `as_gap` has it, `gap`.
    """
    step = step_of(kept)
    if work.tiles.holds(step, number):
        return work.handed(step, number, HANDED)
    grid, tile = work.grid, work.grid.window(number)
    labels = Labelled(work, seams.step_of(kept))
    [to, cell] = work.tiles.get(seams.step_of(kept), number, "to", "cell")
    kind_of = work.tiles.mapped(kinds.step_of(kept), number, "kind")
    [lacks] = work.tiles.get(kinds.step_of(kept), number, "lacks")
    many = np.int64(lacks.size + 1)
    onward = np.zeros(to.size, np.int32)
    counts: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    edges: list[NDArray[np.int64]] = []
    lacking: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    rows = max(STRIP // tile.shape[1], 1)
    for top in range(tile.top, tile.bottom, rows):
        strip = Window(top, min(top + rows, tile.bottom), tile.left, tile.right)
        around = strip.wider(1, grid.shape)
        label = labels.read(around)
        here = (cell >= strip.top * grid.shape[1]) & (cell < strip.bottom * grid.shape[1])
        row, column = np.divmod(to[here], grid.shape[1])
        onward[here] = label[row - around.top, column - around.left]
        inner = strip.within(around)
        group = label[inner].astype(np.int64)
        group = np.where(group > 0, group, -lands(kept.parcels, values.lattice(strip)))
        kind = np.array(kind_of[strip.top - tile.top:strip.bottom - tile.top])
        counts.append(_counted(group * many + kind, (group != 0) & (kind < lacks.size)))
        edges.append(np.unique(group[edge_cells(work.heights(around))[inner] & (group != 0)]))
        lack = np.append(lacks, kinds.NOTHING)[kind]
        gaps = np.flatnonzero((group != 0) & (lack != kinds.NOTHING))
        groups, first = np.unique(group.reshape(-1)[gaps], return_index=True)
        gaps = gaps[first]
        lacking.append((groups, as_gap(
            grid.in_raster(number, gaps + (strip.top - tile.top) * tile.shape[1]),
            lack.reshape(-1)[gaps])))
    keys, cells = (np.concatenate(part) for part in zip(*counts, strict=True))
    keys, place = np.unique(keys, return_inverse=True)
    groups, gap = (np.concatenate(part) for part in zip(*lacking, strict=True))
    groups, first = np.unique(groups, return_index=True)  # of the first strip that has it
    group, kind = np.divmod(keys, many)
    handed: Handed = {"onward": onward, "group": group, "kind": kind.astype(np.int32),
                      "cells": _summed(place, cells, keys.size),
                      "edge": np.unique(np.concatenate(edges)), "lacking": groups,
                      "gap": gap[first]}
    work.tiles.put(step, number, handed)
    return handed


def as_gap(cell: NDArray[np.int64], lack: NDArray[np.uint8]) -> NDArray[np.int64]:
    """A cell and what it lacks as one number, the smaller the earlier the cell."""
    return cell * 4 + lack


def _counted(key: NDArray[np.int64], wanted: NDArray[np.bool_]
             ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The different keys of cells that are wanted, and how many cells have each.

    Runs of cells with one key are taken together first, as most have many.
    """
    keys = key[wanted]
    starts = np.flatnonzero(np.diff(keys, prepend=keys[:1] - 1))
    lengths = np.diff(starts, append=keys.size)
    found, place = np.unique(keys[starts], return_inverse=True)
    return found, _summed(place, lengths, found.size)


def _summed(place: NDArray[np.int64], cells: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    found = np.zeros(size, np.int64)
    np.add.at(found, place.reshape(-1), cells)
    return found
