"""Seams, tile by tile: cells whose water runs on into a cell of other land."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.district.kept_layers import Kept, lands
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP
from terrain.surface.tiled import drained
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import ElevationValues
from terrain.surface.tiled.work import Handed, Work

HANDED = ("cell", "to", "land", "to_land")


def step_of(kept: Kept) -> str:
    """The step in which seams are kept, and the name that labels by them have."""
    return f"seams-{kept.outlines}"


def seam_tile(work: Work, number: int, values: ElevationValues, kept: Kept) -> Handed:
    """The seams of a tile, kept on disk.

    Returns
    -------
    handed : dict of arrays
        Of each seam its `cell` and the cell that its water runs on `to` (flat indices in the
        raster), and the parcel that each of them lies in, `land` and `to_land` (0: none).
    """
    step = step_of(kept)
    if work.tiles.holds(step, number):
        return work.handed(step, number, HANDED)
    tile = work.grid.window(number)
    around = tile.wider(1, work.grid.shape)
    land = lands(kept.parcels, values.lattice(around))
    [direction] = work.tiles.get(drained.STEP, number, "direction")
    own = land[tile.within(around)]
    goes = direction < LEAVES
    ways = np.where(goes, direction, 0)
    to_land = np.zeros(tile.shape, np.int32)
    for k in range(8):
        there = goes & (ways == k)
        if there.any():
            row, column = np.nonzero(there)
            to_land[there] = land[row + tile.top - around.top + ROW_STEP[k],
                                  column + tile.left - around.left + COLUMN_STEP[k]]
    row, column = np.nonzero(goes & (own != to_land))
    way = ways[row, column]
    wide = work.grid.shape[1]
    cell = (row + tile.top) * wide + column + tile.left
    handed: Handed = {"cell": cell, "to": cell + ROW_STEP[way] * wide + COLUMN_STEP[way],
                      "land": own[row, column], "to_land": to_land[row, column]}
    work.tiles.put(step, number, handed)
    return handed


@dataclass(frozen=True)
class Marks:
    """Seams as marks: their numbers from 1, tile after tile.

    Attributes
    ----------
    before : int64, shape (tiles + 1,)
        How many seams lie in the tiles before each.
    """

    work: Work
    step: str
    before: NDArray[np.int64]

    @property
    def shape(self) -> tuple[int, int]:
        return self.work.grid.shape

    def read(self, window: Window) -> NDArray[np.int32]:
        laid = np.zeros(window.shape, np.int32)
        for number in self.work.grid.tiles_of(window):
            [cell] = self.work.tiles.get(self.step, number, "cell")
            row, column = np.divmod(cell, self.shape[1])
            row, column = row - window.top, column - window.left
            inside = ((row >= 0) & (row < window.shape[0]) & (column >= 0)
                      & (column < window.shape[1]))
            laid[row[inside], column[inside]] = (np.flatnonzero(inside) + 1
                                                 + self.before[number])
        return laid

    def identity(self) -> str:
        return f"{self.work.ground.identity()} {self.step}"
