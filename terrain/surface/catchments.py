"""Catchments of points, lines and stores, and whether the raster cuts them off."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from rasterio.transform import Affine

from terrain.surface.flow_direction import COLUMN_STEP, ROW_STEP


@numba.njit(cache=True)
def _label(direction, marks, label):
    rows, columns = direction.shape
    done = np.zeros((rows, columns), np.bool_)
    trail = np.empty(rows * columns, np.int64)
    for row in range(rows):
        for column in range(columns):
            if done[row, column]:
                continue
            r, c, count = row, column, 0
            while True:
                if done[r, c]:
                    found = label[r, c]
                    break
                trail[count] = r * columns + c
                count += 1
                if marks[r, c] != 0 or direction[r, c] >= 8:
                    found = marks[r, c]
                    break
                k = direction[r, c]
                r += ROW_STEP[k]
                c += COLUMN_STEP[k]
            for i in range(count):
                r, c = trail[i] // columns, trail[i] % columns
                label[r, c] = found
                done[r, c] = True


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
    label = np.zeros(direction.shape, np.int32)
    _label(direction, np.ascontiguousarray(marks, np.int32), label)
    return label


def edge_cells(heights: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Cells at the raster's border or beside an unknown cell: more ground may drain there."""
    from scipy import ndimage

    known = np.isfinite(heights)
    inner = ndimage.binary_erosion(known, structure=np.ones((3, 3)), border_value=0)
    return known & ~inner


def outline(mask: NDArray[np.bool_], transform: Affine) -> Any:
    """The outline of a set of cells as a shapely geometry along their edges."""
    from rasterio import features
    from shapely.geometry import shape
    from shapely.ops import unary_union

    parts = [shape(part) for part, value in features.shapes(
        mask.astype(np.uint8), mask=mask, transform=transform, connectivity=4) if value]
    return unary_union(parts)
