"""A window of ground that was routed as part of a larger whole."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.breaching import Breached
from terrain.surface.conditioning import Conditioned
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP
from terrain.surface.terrain import Terrain


class RoutedTerrain(Terrain):
    """Ground whose water goes as it does on the whole; all else is that of the window.

    Parameters
    ----------
    dem : Dem
        The window.
    ground, filled : float32, shape (rows, columns)
        The surface that water is led over, and with every hollow raised to its rim. [m]
    direction : uint8, same shape
        D8 directions, none of which leads off the window; see `within_window`.
    contributing_area : float64, same shape
        Ground that drains to each cell, itself included. [m2]
    """

    def __init__(self, dem: Dem, ground: NDArray[np.float32], filled: NDArray[np.float32],
                 direction: NDArray[np.uint8], contributing_area: NDArray[np.float64]) -> None:
        super().__init__(dem)
        self.conditioned = Conditioned(ground, {}, Breached(0, 0, 0.0, 0.0))
        self.filled, self.contributing_area = filled, contributing_area
        self._direction = direction

    @property
    def direction(self) -> NDArray[np.uint8]:
        """D8 directions, as `drain` gives them for the whole."""
        return self._direction


def within_window(direction: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Directions of a window of a larger raster, with water that goes on beyond it leaving."""
    found = direction.copy()
    rows, columns = direction.shape
    row, column = np.ogrid[:rows, :columns]
    k = np.where(direction < LEAVES, direction, 0)
    row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
    beyond = (row < 0) | (row >= rows) | (column < 0) | (column >= columns)
    found[beyond & (direction < LEAVES)] = LEAVES
    return found
