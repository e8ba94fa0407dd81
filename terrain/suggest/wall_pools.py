"""Pools behind walls: the ground flooded up to their sills, on finely read cells."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import box, union_all

from terrain.inputs.dem import Dem
from terrain.suggest.look import Look
from terrain.suggest.wall_lines import LONGEST, Wall
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.works.pool import DRY, FINE_CELL

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: No pool is larger; common practice, no source. [m2]
WIDEST = 20_000.0
#: The finely read ground has no more cells.
MOST_FINE = 16_000_000
#: What a flood ends in where the wall holds no water back.
GETS_ROUND, RUNS_ON, SHUT = -1, -2, -3


@dataclass(frozen=True)
class Held:
    """A wall and the water behind it: net of its bank [m3], [m2], deepest [m]; its fine cells."""

    wall: Wall
    storage: float
    area: float
    deepest: float
    cells: NDArray[np.int64]
    rate: float
    pond: bool = False

    @cached_property
    def worth(self) -> float:
        """Water for each m3 of earth in the bank. [-]"""
        return self.storage / self.wall.fill


class Pools:
    """Floods behind walls, on the ground read as finely as the plan reads it."""

    def __init__(self, look: Look) -> None:
        self.look, dem = look, look.inputs.dem
        rows, columns = np.nonzero(look.room > 0)
        margin = int(LONGEST / dem.cell)
        self.top, self.left = (max(int(i.min()) - margin, 0) for i in (rows, columns))
        bottom, right = (min(int(i.max()) + margin, size - 1)
                         for i, size in zip((rows, columns), dem.shape, strict=True))
        tall, wide = bottom - self.top + 1, right - self.left + 1
        factor = max(int(np.ceil(dem.cell / FINE_CELL)), 2)
        while factor > 1 and tall * wide * factor * factor > MOST_FINE:
            factor -= 1
        self.factor, cell = factor, dem.cell / factor
        left, top = dem.left + self.left * dem.cell, dem.top - self.top * dem.cell
        x = left + (np.arange(wide * factor) + 0.5) * cell
        y = top - (np.arange(tall * factor) + 0.5) * cell
        heights = dem.height_at(*np.meshgrid(x, y)).astype(np.float32)
        self.fine = Dem(heights, left, top, cell, dem.frame)
        self.room = np.ascontiguousarray(look.room[self.top:bottom + 1, self.left:right + 1])
        self.mark = np.zeros(heights.shape, np.int32)
        self.queue = np.empty(int(WIDEST / (cell * cell)) + 16, np.int64)
        self.count = 0

    def behind(self, wall: Wall, rate: float) -> Held | None:
        """What a wall holds up to its sill; None where it holds nothing, or water would come on
        shut ground.

        Parameters
        ----------
        rate : float
            That its floor takes. [mm/h]
        """
        found = self._flood(wall, wall.level, True)
        if found is None:
            return None
        storage, area, deepest, cells = found
        return Held(wall, storage, area, deepest, cells.copy(), rate)

    def stays(self, wall: Wall) -> bool:
        """Whether water up to its crest stays behind a wall."""
        return self._flood(wall, wall.profile.crest, False) is not None

    def _flood(self, wall: Wall, level: float, keep: bool
               ) -> tuple[float, float, float, IntArray] | None:
        fine, made = self.fine, wall.profile
        self.count += 1
        ends = np.stack([(wall.ends[:, 0] - fine.left) / fine.cell,
                         (fine.top - wall.ends[:, 1]) / fine.cell], 1)
        first, last = made.stands
        sums = np.zeros(3)
        count = _fill(fine.heights, self.room, self.factor, self.mark, self.count, self.queue,
                      ends[0, 0], ends[0, 1], ends[1, 0], ends[1, 1], wall.up[0], -wall.up[1],
                      level, made.crest, made.top / 2, made.wet_slope, first, last, fine.cell,
                      keep, sums)
        if count <= 0:
            return None
        area = fine.cell_area
        return float(sums[0]) * area, float(sums[1]) * area, float(sums[2]), self.queue[:count]

    def middles(self, cells: IntArray) -> FloatArray:
        """Of some fine cells, shape (n, 2). [m]"""
        row, column = np.divmod(cells, self.fine.shape[1])
        return np.stack(self.fine.xy(row, column), 1)

    def cells_of(self, cells: IntArray) -> IntArray:
        """Rows and columns of the raster's cells that hold some fine ones, shape (n, 2)."""
        row, column = np.divmod(cells, self.fine.shape[1])
        columns = self.look.inputs.dem.shape[1]
        whole = np.unique((row // self.factor + self.top) * columns
                          + column // self.factor + self.left)
        return np.stack(np.divmod(whole, columns), 1)

    def outline_of(self, cells: IntArray) -> Any:
        """The ground that some fine cells cover. [m]"""
        fine = self.fine
        row, column = np.divmod(np.sort(cells), fine.shape[1])
        ends = np.flatnonzero((np.diff(row) != 0) | (np.diff(column) != 1))
        first, last = np.concatenate([[0], ends + 1]), np.concatenate([ends, [row.size - 1]])
        west, south = fine.left + column[first] * fine.cell, fine.top - (row[first] + 1) * fine.cell
        return union_all(box(west, south, fine.left + (column[last] + 1) * fine.cell,
                             south + fine.cell))


@kernel
def _fill(heights: NDArray[np.float32], room: NDArray[np.float32], factor: int,
          mark: NDArray[np.int32], stamp: int, queue: NDArray[np.int64], ax: float, ay: float,
          bx: float, by: float, nx: float, ny: float, level: float, crest: float, half: float,
          slope: float, first: float, last: float, cell: float, keep: bool,
          sums: NDArray[np.float64]) -> int:
    """Fill the ground behind a straight wall up to a level.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        Fine ground. [m]
    room : float32
        Of the raster's cells, `factor` fine ones wide; only where `keep` must it be above 0.
    mark, stamp : int32
        What this flood marks the cells with that it has met.
    queue : int64
        Takes the cells that it covers.
    ax, ay, bx, by : float
        The wall's ends, in fine cells.
    nx, ny : float
        Unit vector to the side that water comes from, y down.
    first, last : float
        Between which the bank stands along its line. [m]
    sums : float64, shape (3,)
        Takes the sum of net depths, the number of net cells and the greatest net depth.

    Returns
    -------
    count : int
        Of cells covered, or why there are none.
    """
    rows, columns = heights.shape
    length = np.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
    dx, dy = (bx - ax) / length, (by - ay) / length
    thick = 0.5 * (abs(nx) + abs(ny)) + 1e-9
    least_x, most_x = min(ax, bx) - 0.5, max(ax, bx) + 0.5
    least_y, most_y = min(ay, by) - 0.5, max(ay, by) + 0.5
    count = 0
    for k in range(int(length * 1.5) + 1):  # from just above the wall
        at = k / 1.5
        column = int(np.floor(ax + at * dx + (thick + 0.6) * nx))
        row = int(np.floor(ay + at * dy + (thick + 0.6) * ny))
        if row < 0 or column < 0 or row >= rows or column >= columns:
            return RUNS_ON
        off = (column + 0.5 - ax) * nx + (row + 0.5 - ay) * ny
        if off <= thick or mark[row, column] == stamp or not heights[row, column] < level:
            continue
        mark[row, column] = stamp
        queue[count] = row * columns + column
        count += 1
    taken = 0
    while taken < count:
        place = queue[taken]
        taken += 1
        row, column = place // columns, place % columns
        px, py = column + 0.5 - ax, row + 0.5 - ay
        off, along = px * nx + py * ny, px * dx + py * dy
        if off < -thick and 0.0 <= along <= length and off > -40.0:
            return GETS_ROUND
        if row == 0 or column == 0 or row == rows - 1 or column == columns - 1:
            return RUNS_ON
        if keep:
            if not room[row // factor, column // factor] > 0:
                return SHUT
            ground = heights[row, column]
            depth = level - ground
            if first <= along * cell <= last:
                bank = crest - max(abs(off) * cell - half, 0.0) / slope
                if bank > ground:
                    depth = min(depth, level - bank)
            if depth > DRY:
                sums[0] += depth
                sums[1] += 1.0
                sums[2] = max(sums[2], depth)
        under = (abs(off) <= thick and least_x <= column + 0.5 <= most_x
                 and least_y <= row + 0.5 <= most_y)
        if under:  # covered, but no water passes
            continue
        for k in range(0, 8, 2):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if mark[r, c] == stamp:
                continue
            if heights[r, c] != heights[r, c]:
                return RUNS_ON
            if not heights[r, c] < level:
                continue
            off = (c + 0.5 - ax) * nx + (r + 0.5 - ay) * ny
            if (abs(off) <= thick and off < 0.0 and least_x <= c + 0.5 <= most_x
                    and least_y <= r + 0.5 <= most_y):
                continue  # under the wall, on its far side
            if count == queue.size:
                return RUNS_ON
            mark[r, c] = stamp
            queue[count] = r * columns + c
            count += 1
    return count
