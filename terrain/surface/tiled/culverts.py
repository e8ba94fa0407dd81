"""Culverts on a raster beyond memory: cells lowered as they are read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.conditioning import Culvert, cells_along, grade_through
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import Values


@dataclass(frozen=True)
class LedThrough:
    """A ground with some cells at other heights.

    Attributes
    ----------
    ground : Values
    rows, columns : int64, shape (cells,)
    heights : float32, same shape
        [m]
    """

    ground: Values
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    heights: NDArray[np.float32]

    @property
    def shape(self) -> tuple[int, int]:
        return self.ground.shape

    def read(self, window: Window) -> NDArray[np.float32]:
        found = np.array(self.ground.read(window), np.float32)
        among = ((self.rows >= window.top) & (self.rows < window.bottom)
                 & (self.columns >= window.left) & (self.columns < window.right))
        found[self.rows[among] - window.top, self.columns[among] - window.left] = (
            self.heights[among])
        return found

    def identity(self) -> str:
        digest = hashlib.sha256(self.ground.identity().encode())
        for array in (self.rows, self.columns, self.heights):
            digest.update(array.tobytes())
        return digest.hexdigest()


def lead_through(ground: Values, lattice: Dem, culverts: Sequence[Culvert]) -> LedThrough:
    """Cut a way for water through the bank that each culvert crosses, as
    `terrain.surface.conditioning.lead_through` does on a raster in memory.

    Parameters
    ----------
    lattice : Dem
        Of the whole raster's grid; its heights are not read, so one broadcast will do.

    Raises
    ------
    ValueError
        If an end lies off the known ground; the message names the culvert.
    """
    lowered: dict[tuple[int, int], np.float32] = {}
    for culvert in culverts:
        cells = cells_along(lattice, culvert.line)
        here = np.full(len(cells), np.nan, np.float32)
        if ((cells >= 0) & (cells < np.array(ground.shape))).all():
            (top, left), (bottom, right) = cells.min(axis=0), cells.max(axis=0) + 1
            part = np.asarray(ground.read(Window(int(top), int(bottom), int(left), int(right))),
                              np.float32)
            here = np.array([lowered.get((int(row), int(column)), part[row - top, column - left])
                             for row, column in cells], np.float32)
        grade, above = grade_through(lattice, culvert, cells, here)
        for (row, column), height in zip(cells[above], grade[above], strict=True):
            lowered[int(row), int(column)] = height
    places = np.array(list(lowered), np.int64).reshape(-1, 2)
    return LedThrough(ground, places[:, 0], places[:, 1],
                      np.array(list(lowered.values()), np.float32))
