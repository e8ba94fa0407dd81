"""Catchments of points, lines and stores, and whether the raster cuts them off."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.transform import Affine

from terrain.surface.flow_paths import AS_NEXT, hand_up
from terrain.surface.neighbours import LEAVES


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


def outline(mask: NDArray[np.bool_], transform: Affine) -> Any:
    """The outline of a set of cells as a shapely geometry along their edges."""
    from rasterio import features
    from shapely.geometry import shape
    from shapely.ops import unary_union

    parts = [shape(part) for part, value in features.shapes(
        mask.astype(np.uint8), mask=mask, transform=transform, connectivity=4) if value]
    return unary_union(parts)
