"""The water surface of a store that holds so much, within other kernels."""

from __future__ import annotations

from terrain.surface.kernels import kernel


@kernel
def water_area(volume, volumes, areas):
    """Water surface at a volume held, straight between the points of a store's curve. [m2]

    To the last bit what `numpy.interp` gives, which inside a kernel makes arrays at each call.
    """
    last = volumes.size - 1
    if volume <= volumes[0]:
        return areas[0]
    if volume >= volumes[last]:
        return areas[last]
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if volumes[middle] <= volume:
            low = middle
        else:
            high = middle
    if volumes[low] == volume:
        return areas[low]
    slope = (areas[high] - areas[low]) / (volumes[high] - volumes[low])
    return slope * (volume - volumes[low]) + areas[low]
