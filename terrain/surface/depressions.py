"""Hollows of a surface: filling them to their rim, and listing what they hold."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

#: Row and column steps to the eight neighbours: E, SE, S, SW, W, NW, N, NE.
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], np.int64)
COLUMN_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], np.int64)
#: In `way_out`: a cell at the edge of the known ground, where water leaves it.
LEAVES = np.uint8(8)
#: In `way_out` and directions: a cell of unknown height.
VOID = np.uint8(255)


@numba.njit(cache=True)
def _push(keys, cells, count, key, cell):
    at = count
    while at > 0:
        above = (at - 1) >> 1
        if keys[above] <= key:
            break
        keys[at], cells[at] = keys[above], cells[above]
        at = above
    keys[at], cells[at] = key, cell
    return count + 1


@numba.njit(cache=True)
def _pop(keys, cells, count):
    first = cells[0]
    count -= 1
    key, cell = keys[count], cells[count]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= count:
            break
        if below + 1 < count and keys[below + 1] < keys[below]:
            below += 1
        if keys[below] >= key:
            break
        keys[at], cells[at] = keys[below], cells[below]
        at = below
    keys[at], cells[at] = key, cell
    return first, count


@numba.njit(cache=True)
def _flood(heights, filled, way_out):
    rows, columns = heights.shape
    seen = np.zeros((rows, columns), np.bool_)
    keys = np.empty(rows * columns, np.float32)
    cells = np.empty(rows * columns, np.int32)
    plain = np.empty(rows * columns, np.int32)
    waiting, first, last = 0, 0, 0
    for row in range(rows):
        for column in range(columns):
            if np.isnan(heights[row, column]):
                seen[row, column] = True
                continue
            edge = row == 0 or column == 0 or row == rows - 1 or column == columns - 1
            if not edge:
                for k in range(8):
                    if np.isnan(heights[row + ROW_STEP[k], column + COLUMN_STEP[k]]):
                        edge = True
                        break
            if edge:
                seen[row, column] = True
                filled[row, column] = heights[row, column]
                way_out[row, column] = LEAVES
                waiting = _push(keys, cells, waiting, heights[row, column],
                                row * columns + column)
    while waiting > 0 or first < last:
        if first < last:
            cell = plain[first]
            first += 1
        else:
            cell, waiting = _pop(keys, cells, waiting)
        row, column = cell // columns, cell % columns
        level = filled[row, column]
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if r < 0 or c < 0 or r >= rows or c >= columns or seen[r, c]:
                continue
            seen[r, c] = True
            way_out[r, c] = (k + 4) % 8
            if heights[r, c] <= level:
                filled[r, c] = level
                plain[last] = r * columns + c
                last += 1
            else:
                filled[r, c] = heights[r, c]
                waiting = _push(keys, cells, waiting, heights[r, c], r * columns + c)


def fill_hollows(heights: NDArray[np.float32]
                 ) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Raise every hollow to the lowest level at which it spills.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown; water leaves at the raster's border and at unknown cells. [m]

    Returns
    -------
    filled : float32, same shape
        The least surface, nowhere below `heights`, from which every cell drains. [m]
    way_out : uint8, same shape
        The neighbour (0 to 7, see `ROW_STEP`) from which the flood reached the cell: a
        way out over flats and filled hollows; 8 at the edge of the known ground; 255 in voids.

    References
    ----------
    .. [1] Barnes, Lehman & Mulla, Priority-flood, Computers & Geosciences 62 (2014), 117-127.
    """
    heights = np.ascontiguousarray(heights, np.float32)
    filled = heights.copy()
    way_out = np.full(heights.shape, VOID, np.uint8)
    _flood(heights, filled, way_out)
    return filled, way_out


@dataclass(frozen=True)
class Hollow:
    """A natural hollow: water that comes here stays until it stands at the spill level.

    Attributes
    ----------
    row, column : int
        Its lowest cell.
    spill_level : float
        Level at which it overflows. [m]
    depth, area, volume : float
        Greatest depth [m], water surface [m2] and water held [m3] at that level.
    """

    row: int
    column: int
    spill_level: float
    depth: float
    area: float
    volume: float


def list_hollows(heights: NDArray[np.float32], filled: NDArray[np.float32], cell_area: float,
                 least_volume: float = 0.0) -> list[Hollow]:
    """List hollows that hold more than `least_volume` [m3], the largest first."""
    from scipy import ndimage

    depth = np.where(np.isnan(heights), 0.0, filled.astype(np.float64) - heights)
    label, count = ndimage.label(depth > 0, structure=np.ones((3, 3)))
    if not count:
        return []
    index = np.arange(1, count + 1)
    volumes = ndimage.sum_labels(depth, label, index) * cell_area
    areas = ndimage.sum_labels(np.ones_like(depth), label, index) * cell_area
    deepest = ndimage.maximum_position(depth, label, index)
    found = [Hollow(int(row), int(column), float(filled[row, column]), float(depth[row, column]),
                    float(area), float(volume))
             for (row, column), area, volume in zip(deepest, areas, volumes, strict=True)
             if volume > least_volume]
    return sorted(found, key=lambda hollow: -hollow.volume)
