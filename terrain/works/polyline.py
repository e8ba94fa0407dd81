"""Many places on a line, and many distances from one, at once.

To the last bit as shapely gives them one by one; shapely walks the line from its start for every
place, and makes an object of every point.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]


def points_along(line: FloatArray, chainage: ArrayLike) -> FloatArray:
    """Points of a line at distances from its start.

    Parameters
    ----------
    line : float64, shape (points, 2)
        [m]
    chainage : float64, shape (n,)
        Below 0 counts from the line's end. [m]

    Returns
    -------
    points : float64, shape (n, 2)
        The line's first or last point where a distance lies beyond it. [m]
    """
    line = np.asarray(line, np.float64)
    at = np.asarray(chainage, np.float64)
    steps = np.diff(line, axis=0)
    lengths = np.sqrt(steps[:, 0] * steps[:, 0] + steps[:, 1] * steps[:, 1])
    ends = np.cumsum(lengths)
    at = np.maximum(np.where(at < 0, ends[-1] + at, at), 0.0)
    piece = np.searchsorted(ends, at, side="right")
    inside = np.minimum(piece, len(lengths) - 1)
    share = (at - np.append(0.0, ends)[inside]) / np.where(lengths > 0, lengths, 1.0)[inside]
    found = line[inside] + share[:, None] * steps[inside]
    answer: FloatArray = np.where((piece == len(lengths))[:, None], line[-1], found)
    return answer


@kernel
def _distances(line: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64],
               found: NDArray[np.float64]) -> None:
    for i in range(x.size):
        best = np.inf
        for j in range(line.shape[0] - 1):
            x0, y0 = line[j, 0], line[j, 1]
            dx, dy = line[j + 1, 0] - x0, line[j + 1, 1] - y0
            square = dx * dx + dy * dy
            east, north = x[i] - x0, y[i] - y0
            share = (east * dx + north * dy) / square if square > 0 else 0.0
            if share <= 0.0:
                away = np.sqrt(east * east + north * north)
            elif share >= 1.0:
                east, north = x[i] - line[j + 1, 0], y[i] - line[j + 1, 1]
                away = np.sqrt(east * east + north * north)
            else:
                away = abs((dx * north - east * dy) / square) * np.sqrt(square)
            if away < best:
                best = away
        found[i] = best


def distance_to(line: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Distance of points from a line. [m]

    Parameters
    ----------
    line : float64, shape (points, 2)
        Two or more. [m]
    x, y : float64, any shape
        [m]

    Returns
    -------
    distance : float64, same shape
    """
    found = np.empty(x.size)
    _distances(np.ascontiguousarray(line, np.float64), np.ravel(x), np.ravel(y), found)
    return found.reshape(np.shape(x))
