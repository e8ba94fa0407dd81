"""Sets of cells as small rasters: one store's catchment, all of them, the water of a pool."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem

#: No side of a patch has more cells than this: a page shows no more at once.
MOST_CELLS = 1500
#: The water about a point is first looked for within so many cells.
FIRST_REACH = 64


@dataclass(frozen=True)
class Patch:
    """A piece of a raster as a page draws it.

    Attributes
    ----------
    cells : uint8 or uint16, shape (rows, columns)
        The first row is the southernmost; 0 where nothing is to be drawn.
    extent : (left, bottom, right, top)
        In the working frame. [m]
    """

    cells: NDArray[Any]
    extent: tuple[float, float, float, float]


def catchment_patch(dem: Dem, cells: NDArray[np.bool_], most: int = MOST_CELLS) -> Patch | None:
    """The part of a raster that holds a set of cells, cut out; None where there are none.

    Parameters
    ----------
    cells : bool, shape (rows, columns)
        E.g. ``labels == n``.
    most : int
        A side with more cells than this is thinned: a cell of the patch is 1 if one of those in
        it is, so that no strip of single cells is lost.
    """
    found = _span(cells)
    return None if found is None else _cut(dem, cells.astype(np.uint8), *found, most)


def catchments_patch(dem: Dem, labels: NDArray[np.int32], most: int = MOST_CELLS) -> Patch:
    """All catchments as one raster of their numbers, 0 where water meets no store.

    Parameters
    ----------
    labels : int32, shape (rows, columns)
        From 0 to 65535.

    Raises
    ------
    ValueError
        If a number lies outside that.
    """
    top = int(labels.max(initial=0))
    if top > 65535 or labels.min(initial=0) < 0:
        raise ValueError(f"the number {top} of a catchment is outside 0 to 65535")
    kind = np.uint8 if top < 256 else np.uint16
    rows, columns = labels.shape
    return _cut(dem, labels.astype(kind), slice(0, rows), slice(0, columns), most)


def water_reach(dem: Dem, x: float, y: float, level: float, heights: NDArray[np.float32] | None
                = None) -> tuple[NDArray[np.bool_], bool] | None:
    """The cells that still water over a point covers when it stands at a level.

    Parameters
    ----------
    x, y : float
        In the working frame. [m]
    level : float
        [m]
    heights : float32, shape (rows, columns), optional
        The ground as it is laid out, walls and pits in it; as it was read if left out. [m]

    Returns
    -------
    cells : bool, shape (rows, columns)
        Below the level and joined to the point's own cell by their sides, as `flood` of a wall's
        pool has it.
    open : bool
        Whether they reach the raster's edge or a void: the water would run on.

    None if the point is off the raster, its height is not known, or it lies above the water.
    """
    from scipy import ndimage

    ground = dem.heights if heights is None else heights
    row, column = (int(i) for i in dem.row_column(x, y))
    high, wide = ground.shape
    if not (0 <= row < high and 0 <= column < wide and ground[row, column] < level):
        return None
    reach = FIRST_REACH
    while True:  # a window about the point, larger until the water ends in it
        rows = slice(max(row - reach, 0), min(row + reach + 1, high))
        columns = slice(max(column - reach, 0), min(column + reach + 1, wide))
        label, _ = ndimage.label(ground[rows, columns] < level)
        wet = label == label[row - rows.start, column - columns.start]
        sides = ((wet[0].any(), rows.start == 0), (wet[-1].any(), rows.stop == high),
                 (wet[:, 0].any(), columns.start == 0), (wet[:, -1].any(), columns.stop == wide))
        if not any(touched and not last for touched, last in sides):
            break
        reach *= 2
    beside = ndimage.binary_dilation(wet) & np.isnan(ground[rows, columns])
    cells = np.zeros(ground.shape, bool)
    cells[rows, columns] = wet
    return cells, bool(beside.any() or any(touched for touched, _ in sides))


def _span(cells: NDArray[np.bool_]) -> tuple[slice, slice] | None:
    rows = np.flatnonzero(cells.any(axis=1))
    if not rows.size:
        return None
    columns = np.flatnonzero(cells[rows[0]:rows[-1] + 1].any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _cut(dem: Dem, cells: NDArray[Any], rows: slice, columns: slice, most: int) -> Patch:
    """The part of a raster, thinned by the largest number in each new cell."""
    part = cells[rows, columns]
    step = max(int(np.ceil(max(part.shape) / most)), 1)
    high, wide = (-(-n // step) for n in part.shape)
    if step > 1:
        padded = np.zeros((high * step, wide * step), part.dtype)
        padded[:part.shape[0], :part.shape[1]] = part
        part = padded[::step, ::step].copy()
        for row in range(step):
            for column in range(step):
                np.maximum(part, padded[row::step, column::step], out=part)
    left = dem.left + columns.start * dem.cell
    top = dem.top - rows.start * dem.cell
    size = dem.cell * step
    return Patch(np.ascontiguousarray(part[::-1]),
                 (left, top - high * size, left + wide * size, top))
