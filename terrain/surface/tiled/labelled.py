"""Catchments tile by tile: the mark that each cell's water meets first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.flow_paths import AS_NEXT, hand_up_strip
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP
from terrain.surface.tiled import drained
from terrain.surface.tiled.grid import Window, perimeter
from terrain.surface.tiled.ground import Values
from terrain.surface.tiled.spill import Rims
from terrain.surface.tiled.work import Handed, Run, Work, one_by_one

HANDED = ("rim_label", "exit_to")
#: In labels: this, less the number of the way out by which water leaves the tile unmarked.
FIRST_EXIT = -10


def label_tile(work: Work, number: int, name: str, marks: Values) -> Handed:
    """Labels of a tile, as far as it knows them, kept on disk.

    Returns
    -------
    handed : dict of arrays
        `rim_label` of each cell of the perimeter, and the cell that each way out leads to,
        `exit_to` (flat index in the raster).
    """
    step = step_of(name)
    if work.tiles.holds(step, number):
        return work.handed(step, number, HANDED)
    tile = work.grid.window(number)
    [direction] = work.tiles.get(drained.STEP, number, "direction")
    given = np.ascontiguousarray(marks.read(tile), np.int32)
    label = np.where(given > 0, given, np.where(direction < LEAVES, AS_NEXT, np.int32(0)))
    flat, way = label.reshape(-1), direction.reshape(-1)
    rim = perimeter(tile.shape)
    row, column = np.divmod(rim, tile.shape[1])
    k = np.minimum(way[rim], 7)
    row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
    out = (flat[rim] == AS_NEXT) & ((row < 0) | (row >= tile.shape[0]) | (column < 0)
                                    | (column >= tile.shape[1]))
    flat[rim[out]] = FIRST_EXIT - np.arange(out.sum(), dtype=np.int32)
    hand_up_strip(way, flat, tile.shape[1], 0, tile.shape[0])
    handed = {"rim_label": flat[rim],
              "exit_to": (row[out] + tile.top) * work.grid.shape[1] + column[out] + tile.left}
    work.tiles.put(step, number, {**handed, "label": label})
    return handed


def follow(work: Work, name: str, handed: Sequence[Handed]) -> None:
    """Find the mark that the water of each way out meets, and keep it tile by tile."""
    before = np.concatenate([[0], np.cumsum([part["exit_to"].size for part in handed])])
    rims = Rims(work.grid)
    # Ways out are numbered through, below 0, as labels of the whole.
    label = np.asarray(rims.lay([
        np.where(part["rim_label"] <= FIRST_EXIT,
                 part["rim_label"].astype(np.int64) - FIRST_EXIT - at - 1, part["rim_label"])
        for part, at in zip(handed, before[:-1], strict=True)]), np.int64)
    meets = label[np.searchsorted(rims.cell, np.concatenate([part["exit_to"] for part in handed]))]
    while (meets < 0).any():
        meets = np.where(meets < 0, meets[-1 - np.minimum(meets, -1)], meets)
    for number, part in enumerate(np.split(meets, before[1:-1])):
        work.tiles.put(rest_of(name), number, {"label": part.astype(np.int32)})


def step_of(name: str) -> str:
    """The step in which labels are kept."""
    return f"labelled-{name}"


def rest_of(name: str) -> str:
    """The step in which those are kept that lie beyond a tile."""
    return f"labelled-rest-{name}"


@dataclass(frozen=True)
class Labelled:
    """Labels, read window by window."""

    work: Work
    name: str

    @property
    def shape(self) -> tuple[int, int]:
        return self.work.grid.shape

    def read(self, window: Window) -> NDArray[np.int32]:
        """The first mark on the way down, a marked cell's own included; 0 where none is met."""
        laid = np.empty(window.shape, np.int32)
        for number in self.work.grid.tiles_of(window):
            tile = self.work.grid.window(number)
            part = Window(max(tile.top, window.top), min(tile.bottom, window.bottom),
                          max(tile.left, window.left), min(tile.right, window.right))
            here = np.array(self.work.tiles.mapped(step_of(self.name), number, "label")[
                part.within(tile)])
            [beyond] = self.work.tiles.get(rest_of(self.name), number, "label")
            out = here <= FIRST_EXIT
            here[out] = beyond[FIRST_EXIT - here[out]]
            laid[part.within(window)] = here
        return laid

    def identity(self) -> str:
        return f"{self.work.ground.identity()} {self.name}"


def label_all(work: Work, name: str, marks: Values, run: Run = one_by_one) -> Labelled:
    """Give every cell the mark that its water meets first, as `label_catchments` does.

    Parameters
    ----------
    name : str
        What to keep the labels under; other marks need another name.
    marks : Values
        int32, above 0 at the cells of each outlet, line or store; 0 elsewhere.

    Raises
    ------
    ValueError
        If the marks have another shape than the raster.
    """
    if marks.shape != work.grid.shape:
        raise ValueError(f"marks of shape {marks.shape} on a raster of shape {work.grid.shape}")
    follow(work, name, run(label_tile, [(work, number, name, marks)
                                        for number in range(work.grid.count)]))
    return Labelled(work, name)
