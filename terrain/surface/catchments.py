"""Catchments of points, lines and stores, and whether the raster cuts them off."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.transform import Affine

from terrain.surface.flow_paths import AS_NEXT, hand_up
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP


def label_catchments(direction: NDArray[np.uint8], marks: NDArray[np.int32]
                     ) -> NDArray[np.int32]:
    """Give every cell the mark that its water meets first.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
    marks : int32, same shape
        Above 0 at the cells of each outlet, line or store; 0 elsewhere.

    Returns
    -------
    label : int32, same shape
        The first mark on the way down, a marked cell's own included; 0 where none is met.
    """
    label = np.where(marks > 0, marks, np.where(direction < LEAVES, AS_NEXT, np.int32(0)))
    label = np.ascontiguousarray(label, np.int32)
    hand_up(direction, label)
    return label


def first_met(label: NDArray[np.int32], values: NDArray[np.float64], count: int
              ) -> NDArray[np.float64]:
    """The sum of a value over the cells of each label from 1 to `count`; NaN counts as 0."""
    cells = np.flatnonzero(label)
    return np.bincount(label.reshape(-1)[cells], np.nan_to_num(values.reshape(-1)[cells]),
                       count + 1)[1:].astype(np.float64)


def edge_cells(heights: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Cells at the raster's border or beside an unknown cell: more ground may drain there."""
    known = np.isfinite(heights)
    across = known[:-2] & known[1:-1] & known[2:]  # of three rows, then of three columns
    at_edge = known.copy()
    at_edge[1:-1, 1:-1] &= ~(across[:, :-2] & across[:, 1:-1] & across[:, 2:])
    return at_edge


def led_along_edge(heights: NDArray[np.float32], direction: NDArray[np.uint8],
                   edge: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Cells whose water is led along the border although the ground falls towards it.

    An edge cell has no neighbour outside, so its water takes the lower one along the edge.  Where
    the neighbour across from the unknown side is higher, ground beyond may take that water.

    Returns
    -------
    cells : int64, shape (n, 2)
        Places in the flattened raster of such a cell and of the edge cell it drains to.
    """
    rows, columns = np.nonzero(edge & (direction < LEAVES))
    way = direction[rows, columns]
    to_row, to_column = rows + ROW_STEP[way], columns + COLUMN_STEP[way]
    along = edge[to_row, to_column]
    rows, columns, to_row, to_column = (at[along] for at in (rows, columns, to_row, to_column))

    def beside(k: int) -> NDArray[np.float32]:
        r, c = rows + ROW_STEP[k], columns + COLUMN_STEP[k]
        there = (r >= 0) & (r < heights.shape[0]) & (c >= 0) & (c < heights.shape[1])
        found = np.full(rows.size, np.nan, np.float32)
        found[there] = heights[r[there], c[there]]
        return found
    sides = (0, 2, 4, 6)
    around = {k: beside(k) for k in sides}
    own = heights[rows, columns]
    falls = np.zeros(rows.size, bool)
    for k in sides:
        falls |= np.isnan(around[k]) & (around[(k + 4) % 8] > own)
    width = heights.shape[1]
    return np.stack([rows * width + columns, to_row * width + to_column], 1)[falls].astype(np.int64)


def count_above(direction: NDArray[np.uint8], cells: NDArray[np.int64],
                marks: NDArray[np.int64]) -> int:
    """How many of some cells have water that passes one of the marks among them.

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
    cells, marks : int64, shape (n,) and (m,)
        Places in the flattened raster.
    """
    rows, columns = np.divmod(cells, direction.shape[1])
    top, left = max(int(rows.min()) - 1, 0), max(int(columns.min()) - 1, 0)
    part = np.ascontiguousarray(direction[top:int(rows.max()) + 2, left:int(columns.max()) + 2])
    label = np.zeros(part.shape, np.int32)
    label[rows - top, columns - left] = AS_NEXT
    label[part >= LEAVES] = 0
    mark_rows, mark_columns = np.divmod(marks, direction.shape[1])
    label[mark_rows - top, mark_columns - left] = 1
    hand_up(part, label)
    return int((label > 0).sum())


def outline(mask: NDArray[np.bool_], transform: Affine) -> Any:
    """The outline of a set of cells as a shapely geometry along their edges."""
    from rasterio import features
    from shapely.geometry import shape
    from shapely.ops import unary_union

    parts = [shape(part) for part, value in features.shapes(
        mask.astype(np.uint8), mask=mask, transform=transform, connectivity=4) if value]
    return unary_union(parts)
