"""The water surface of a store that holds so much, within other kernels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import kernel


@kernel
def water_area(volume: float, volumes: NDArray[np.float64], areas: NDArray[np.float64]) -> float:
    """Water surface at a volume held, straight between the points of a store's curve. [m2]

    To the last bit what `numpy.interp` gives, which inside a kernel makes arrays at each call.
    """
    low, high = 0, volumes.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        if volumes[middle] <= volume:
            low = middle
        else:
            high = middle
    return area_above(volume, volumes, areas, low)


@kernel
def point_below(volume: float, volumes: NDArray[np.float64], near: int) -> int:
    """The last point of a curve but one at the most, that holds no more than a volume, looked for
    from one near it."""
    low = near
    while low > 0 and volumes[low] > volume:
        low -= 1
    while low < volumes.size - 2 and volumes[low + 1] <= volume:
        low += 1
    return low


@kernel
def area_above(volume: float, volumes: NDArray[np.float64], areas: NDArray[np.float64], low: int
               ) -> float:
    """As `water_area`, where `point_below` is known. [m2]"""
    last = volumes.size - 1
    if volume <= volumes[0]:
        return float(areas[0])
    if volume >= volumes[last]:
        return float(areas[last])
    if volumes[low] == volume:
        return float(areas[low])
    slope = (areas[low + 1] - areas[low]) / (volumes[low + 1] - volumes[low])
    return float(slope * (volume - volumes[low]) + areas[low])
