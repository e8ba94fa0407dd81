"""The way water takes downslope from a cell."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.surface.flow_direction import COLUMN_STEP, ROW_STEP


@numba.njit(cache=True)
def _trace(direction, row, column, stop, path):
    count = 0
    while True:
        path[count, 0], path[count, 1] = row, column
        count += 1
        if (count > 1 and stop[row, column]) or direction[row, column] >= 8:
            return count
        if count == path.shape[0]:
            return -1
        k = direction[row, column]
        row += ROW_STEP[k]
        column += COLUMN_STEP[k]


def trace_downslope(direction: NDArray[np.uint8], row: int, column: int,
                    stop: NDArray[np.bool_] | None = None) -> NDArray[np.int64]:
    """Follow the water from a cell until it meets a `stop` cell or leaves the known ground.

    Returns
    -------
    path : int64, shape (cells, 2)
        Rows and columns from the start to the last cell; the start itself never stops it.
    """
    if stop is None:
        stop = np.zeros(direction.shape, np.bool_)
    room = 4096
    while True:
        path = np.empty((room, 2), np.int64)
        count = _trace(direction, row, column, stop, path)
        if count > 0:
            return path[:count]
        room *= 8
