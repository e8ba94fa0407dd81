"""Contours: lines of equal height, to sub-cell accuracy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem


def contour_lines(dem: Dem, level: float) -> list[NDArray[np.float64]]:
    """All contour lines at a level, each an array (points, 2) in the working frame. [m]

    Linear interpolation between cell centres; lines end at the raster's edge and at voids.
    """
    return _lines(dem, dem.heights, 0, 0, level)


def _lines(dem: Dem, heights: NDArray[np.float32], row: int, column: int, level: float
           ) -> list[NDArray[np.float64]]:
    from contourpy import LineType, contour_generator

    if min(heights.shape) < 2:
        return []
    rows, columns = heights.shape
    x, _ = dem.xy(0, column + np.arange(columns))
    _, y = dem.xy(row + np.arange(rows), 0)
    masked = np.ma.masked_invalid(heights.astype(np.float64))
    generator = contour_generator(x, y, masked, line_type=LineType.Separate)
    return [np.asarray(line) for line in generator.lines(level)]


def contour_through(dem: Dem, x: float, y: float, level: float | None = None,
                    reach: float = 1000.0) -> tuple[float, NDArray[np.float64], float] | None:
    """The contour line nearest to a point, and where on it the point lies.

    Parameters
    ----------
    x, y : float
        A point of the working frame. [m]
    level : float, optional
        The contour's level; the ground's own at the point if left out. [m]
    reach : float
        The contour is followed no further than this to each side of the point. [m]

    Returns
    -------
    level : float
        [m]
    line : float64, shape (points, 2)
        [m]
    along : float
        Distance from the line's start to its point nearest to (x, y). [m]

    None if there is no contour of that level within reach.
    """
    from shapely import Point
    from shapely.geometry import LineString

    if level is None:
        level = float(dem.height_at(x, y))
    rows, columns = dem.shape
    row, column = (int(i) for i in dem.row_column(x, y))
    span = int(np.ceil(reach / dem.cell)) + 1
    top, bottom = max(row - span, 0), min(row + span + 1, rows)
    left, right = max(column - span, 0), min(column + span + 1, columns)
    lines = _lines(dem, dem.heights[top:bottom, left:right], top, left, level)
    if not lines:
        return None
    point = Point(x, y)
    shapes = [LineString(line) for line in lines if len(line) > 1]
    if not shapes:
        return None
    nearest = min(range(len(shapes)), key=lambda i: (shapes[i].distance(point), i))
    line = np.asarray(shapes[nearest].coords)
    return level, line, float(shapes[nearest].project(point))
