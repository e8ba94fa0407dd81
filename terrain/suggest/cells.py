"""Cells that shapes touch, whether they are open, and where water goes on from them."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.suggest.look import Look
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def touched(dem: Dem, shapes: Any) -> IntArray:
    """Rows and columns of the cells that a shape or several touch, shape (n, 2)."""
    from rasterio.features import rasterize
    from rasterio.transform import from_origin

    top, bottom, left, right = _window(dem, shapes)
    corner = from_origin(dem.left + left * dem.cell, dem.top - top * dem.cell, dem.cell, dem.cell)
    burned = rasterize([(_corners(shape), 1) for shape in np.atleast_1d(shapes)],
                       out_shape=(bottom - top, right - left), transform=corner, fill=0,
                       dtype="uint8", all_touched=True)
    found: IntArray = np.argwhere(burned) + np.array([top, left])
    return found


def known(dem: Dem, cells: IntArray) -> IntArray:
    """Those of some cells whose height is known."""
    return cells[np.isfinite(dem.heights[cells[:, 0], cells[:, 1]])]


def is_open(dem: Dem, room: NDArray[np.float32], shapes: Any) -> bool:
    """Whether a shape or several touch no cell without room, as `Look.room`; of none off the
    raster is asked."""
    top, bottom, left, right = _window(dem, shapes)
    if (room[top:bottom, left:right] > 0).all():
        return True
    cells = touched(dem, shapes)
    return bool((room[cells[:, 0], cells[:, 1]] > 0).all())


def _window(dem: Dem, shapes: Any) -> tuple[int, int, int, int]:
    """First row and one past the last, and so the columns, about shapes, a cell to spare."""
    west, south, east, north = shapely.total_bounds(shapes)
    (top, bottom), (left, right) = dem.row_column([west, east], [north, south])
    rows, columns = dem.shape
    top, left = min(max(int(top) - 1, 0), rows - 1), min(max(int(left) - 1, 0), columns - 1)
    return (top, min(max(int(bottom) + 2, top + 1), rows),
            left, min(max(int(right) + 2, left + 1), columns))


def _corners(shape: Any) -> Any:
    """A shape as GeoJSON has it: shapely's own way takes longer than to burn it."""
    if shape.geom_type != "Polygon":
        return shape
    return {"type": "Polygon", "coordinates": [
        shapely.get_coordinates(ring).tolist() for ring in (shape.exterior, *shape.interiors)]}


def onward_of(direction: NDArray[np.uint8]) -> IntArray:
    """The cell that each cell of a raster hands its water to, -1 where it leaves; shape (cells,)

    Parameters
    ----------
    direction : uint8, shape (rows, columns)
        As `terrain.surface.neighbours` numbers them.
    """
    rows, columns = direction.shape
    step = ROW_STEP[direction % 8] * columns + COLUMN_STEP[direction % 8]
    own = np.arange(rows * columns).reshape(rows, columns)
    return np.asarray(np.where(direction < 8, own + step, -1).ravel())


def arriving(gathered: FloatArray, onward: IntArray, cells: IntArray) -> float:
    """What arrives at some cells, each drop once: of all, less what one hands on to another.

    Parameters
    ----------
    gathered : float64, shape (rows, columns)
        That passes each cell, its own included; where it is not known it counts as 0.
    onward : int64, shape (rows * columns,)
        As `onward_of`.
    cells : int64, shape (n, 2)
        None twice.
    """
    flat = cells[:, 0] * gathered.shape[1] + cells[:, 1]
    last = flat[~np.isin(onward[flat], flat)]
    return float(np.nan_to_num(gathered.ravel()[last]).sum())


def spill_below(look: Look, start: tuple[int, int], own: IntArray, back: bool = False
                ) -> tuple[int, int] | None:
    """The cell on the way down from one past the last of a work's own; None where the way ends in
    those.

    Parameters
    ----------
    start : (int, int)
        Where water runs over its sill.
    own : int64, shape (n, 2)
    back : bool
        The way may come back to them, as below a long swale: then the first that is none of them
        counts, so that a work between is met.
    """
    path = look.inputs.terrain.path(*start)
    columns = look.inputs.dem.shape[1]
    mine = np.isin(path[:, 0] * columns + path[:, 1], own[:, 0] * columns + own[:, 1])
    past = np.flatnonzero(~mine) if back else np.flatnonzero(mine)[-1:] + 1
    at = int(past[0]) if past.size else (len(path) if back else 0)
    return (int(path[at, 0]), int(path[at, 1])) if at < len(path) else None
