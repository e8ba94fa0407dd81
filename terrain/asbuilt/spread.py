"""Differences from the design between the points of a floor."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from terrain.asbuilt.matching import Measured

FloatArray = NDArray[np.float64]


def spread(points: Sequence[Measured], x: FloatArray, y: FloatArray) -> FloatArray:
    """Differences at places of a floor, from those at its points. [m]

    Notes
    -----
    Linear over the triangles of Delaunay between points; beyond them the nearest point's, and so
    everywhere where fewer than three points span a triangle.
    """
    if not points:
        return np.zeros(np.shape(x))
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
    from scipy.spatial import QhullError

    places = sorted({(round(p.x, 3), round(p.y, 3)) for p in points})
    at = np.array(places)
    values = np.array([np.mean(sorted(p.difference for p in points
                                      if (round(p.x, 3), round(p.y, 3)) == place))
                       for place in places])
    if len(at) == 1:
        return np.full(np.shape(x), values[0])
    found = np.asarray(NearestNDInterpolator(at, values)(x, y), np.float64)
    if len(at) >= 3:
        try:
            within = LinearNDInterpolator(at - at.mean(axis=0), values)(
                np.asarray(x) - at[:, 0].mean(), np.asarray(y) - at[:, 1].mean())
        except QhullError:  # all on one line
            return found
        found = np.where(np.isfinite(within), within, found)
    return found
