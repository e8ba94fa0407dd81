"""Ground made so that the answer is known: grids of a formula as `Dem`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame


def dem_of(heights: NDArray[np.floating], cell: float = 1.0, left: float = 0.0,
           top: float | None = None) -> Dem:
    """Heights as a `Dem` in a frame without a CRS; its south-west corner at 0, 0 if left out."""
    rows = heights.shape[0]
    return Dem(np.ascontiguousarray(heights, np.float32), left,
               rows * cell if top is None else top, cell, Frame(None, None))


def formula_dem(height: Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]],
                width: float, tall: float, cell: float, left: float = 0.0, bottom: float = 0.0
                ) -> Dem:
    """Heights of a formula of x and y at the cell centres of a rectangle. [m]"""
    columns, rows = round(width / cell), round(tall / cell)
    x = left + (np.arange(columns) + 0.5) * cell
    y = bottom + (rows - np.arange(rows) - 0.5) * cell
    return dem_of(height(*np.meshgrid(x, y)), cell, left, bottom + rows * cell)
