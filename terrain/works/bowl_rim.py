"""The edge of a bowl's water, as it is staked and surveyed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Corners of the edge.
ROUND = 96


def bowl_rim(x: float, y: float, across: float, spill_x: float, spill_y: float
             ) -> NDArray[np.float64]:
    """A circle that starts and ends where it lies furthest from the sill; shape (n, 2). [m]

    Parameters
    ----------
    x, y, across : float
        Its middle and its diameter. [m]
    spill_x, spill_y : float
        The sill. [m]
    """
    turns = np.arctan2(y - spill_y, x - spill_x) + np.linspace(0.0, 2 * np.pi, ROUND + 1)
    ring = np.column_stack([x + across / 2 * np.cos(turns), y + across / 2 * np.sin(turns)])
    ring[-1] = ring[0]
    return ring
