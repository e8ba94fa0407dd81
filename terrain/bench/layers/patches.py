"""Sets of cells as small rasters: one store's catchment, or all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem

#: No side of a patch has more cells than this: a page shows no more at once.
MOST_CELLS = 1500


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
