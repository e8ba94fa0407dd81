"""Places along the ways of the water, and at the outlets of hollows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.look import Look
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Ways of the water are walked from so much ground on; common practice, no source. [m2]
GATHERS = 1000.0
#: On them a wall is tried every so far. [m]
APART = 4.0
#: The way of the water at a place is that over so much of it each way. [m]
WAY = 5.0


@dataclass(frozen=True)
class Place:
    """A place on the way of the water: where, and the unit vector that it comes from. [m]"""

    at: FloatArray
    up: FloatArray
    cell: tuple[int, int]
    hollow: bool


def valley_places(look: Look) -> list[Place]:
    """Places along the ways of the water, and at the outlets of hollows."""
    terrain, dem = look.inputs.terrain, look.inputs.dem
    area = np.nan_to_num(terrain.contributing_area)
    rows, columns = np.nonzero((area >= GATHERS) & (look.room > 0))
    block = max(round(APART / dem.cell), 1)
    order = np.argsort(-area[rows, columns], kind="stable")
    rows, columns = rows[order], columns[order]
    _, first = np.unique(np.stack([rows // block, columns // block]), axis=1, return_index=True)
    first = np.sort(first)
    spills = [(h.spill_row, h.spill_column) for h in terrain.hollows
              if look.room[h.spill_row, h.spill_column] > 0]
    cells = np.concatenate([np.stack([rows[first], columns[first]], 1),
                            np.array(spills, np.int64).reshape(-1, 2)])
    steps = max(round(WAY / dem.cell), 1)
    down, up = _followed(terrain.direction, cells, steps), _climbed(terrain.direction, area, cells,
                                                                     steps)
    way = np.stack([up[:, 1] - down[:, 1], down[:, 0] - up[:, 0]], 1).astype(np.float64)
    length = np.hypot(*way.T)
    at = np.stack(dem.xy(cells[:, 0], cells[:, 1]), 1)
    return [Place(at[i], way[i] / length[i], (int(cells[i, 0]), int(cells[i, 1])),
                   i >= first.size)
            for i in range(len(cells)) if length[i] > 0]


def _followed(direction: NDArray[np.uint8], cells: IntArray, steps: int) -> IntArray:
    """Cells so many steps down the water's way."""
    at = cells.copy()
    for _ in range(steps):
        way = direction[at[:, 0], at[:, 1]]
        on = way < 8
        at[on] += np.stack([ROW_STEP[way[on]], COLUMN_STEP[way[on]]], 1)
    return at


def _climbed(direction: NDArray[np.uint8], area: FloatArray, cells: IntArray, steps: int
             ) -> IntArray:
    """Cells so many steps up it, each time where most water comes from."""
    at, size = cells.copy(), np.array(direction.shape)
    for _ in range(steps):
        best, most = at.copy(), np.zeros(len(at))
        for k in range(8):
            there = at - np.array([ROW_STEP[k], COLUMN_STEP[k]])
            safe = np.clip(there, 0, size - 1)
            gathers = np.where((there == safe).all(axis=1)
                               & (direction[safe[:, 0], safe[:, 1]] == k),
                               area[safe[:, 0], safe[:, 1]], 0.0)
            better = gathers > most
            best[better], most = there[better], np.maximum(most, gathers)
        at = best
    return at
