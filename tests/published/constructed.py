"""Ground made so that the answer is known: grids of a formula as `Dem`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame

#: Corner of the small site's raster, in UTM zone 34S. [m]
WEST, NORTH = 500000.0, 6400000.0


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


def valley(rows: int = 160, columns: int = 120, along: float = 0.04, across: float = 0.08
           ) -> np.ndarray:
    """A V-valley that falls to the south with its floor in the middle column."""
    row, column = np.mgrid[0:rows, 0:columns].astype(float)
    return (200 - along * row + across * np.abs(column - columns // 2)).astype(np.float32)
