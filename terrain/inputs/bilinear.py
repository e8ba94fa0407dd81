"""Heights between cells' centres."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: A place so near a line between centres lies on it. [cells]
ON_LINE = 1e-6


@njit(cache=True, nogil=True, error_model="numpy")
def bilinear(heights: NDArray[np.float32], x: NDArray[np.float64], y: NDArray[np.float64],
             left: float, top: float, cell: float, found: NDArray[np.float64]) -> None:
    """Write the heights at places into `found`; NaN off the grid and where a cell that counts is
    unknown.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
    x, y, found : float64, shape (n,)
    left, top, cell : float
        Of the grid.

    Notes
    -----
    The additions are those of `scipy.ndimage.map_coordinates` with `order=1`, to the last bit.
    On a line between centres only the cells on it count: none beyond them need be known.
    """
    rows, columns = heights.shape
    for i in range(x.size):
        column = (x[i] - left) / cell - 0.5
        row = (top - y[i]) / cell - 0.5
        if not (-0.5 <= column <= columns - 0.5 and -0.5 <= row <= rows - 0.5):
            found[i] = np.nan
            continue
        row = _on_line(min(max(row, 0.0), rows - 1.0))
        column = _on_line(min(max(column, 0.0), columns - 1.0))
        r, c = int(np.floor(row)), int(np.floor(column))
        below, right = min(r + 1, rows - 1), min(c + 1, columns - 1)
        up, across = 1.0 - (row - r), 1.0 - (column - c)
        total = 0.0
        total += heights[r, c] * up * across
        total += heights[r, right] * up * (1.0 - across)
        total += heights[below, c] * (1.0 - up) * across
        total += heights[below, right] * (1.0 - up) * (1.0 - across)
        if total != total:  # is what is unknown a cell that counts?
            total = 0.0
            for down in range(2):
                for over in range(2):
                    share = (1 - abs(row - (r + down))) * (1 - abs(column - (c + over)))
                    if share > 0:
                        total += share * np.float64(heights[min(r + down, rows - 1),
                                                            min(c + over, columns - 1)])
        found[i] = total


@njit(cache=True, nogil=True)
def _on_line(place: float) -> float:
    near = np.rint(place)
    return near if abs(place - near) < ON_LINE else place
