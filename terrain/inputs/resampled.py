"""A lattice of cells seen through a square, north-up grid of the working frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.transform import Affine

from terrain.inputs.raster_tiles import Mosaic, Seen
from terrain.units import in_both

#: From x and y of the working frame to column and row of the lattice.
ToLattice = Callable[[NDArray[np.float64], NDArray[np.float64]],
                     tuple[NDArray[np.float64], NDArray[np.float64]]]
_BLOCK = 100_000


@dataclass(frozen=True)
class Resampled:
    """Bilinear heights on a grid that is laid once over the whole of the lattice.

    Every cell's height depends on its own place alone, never on the window it is read in.
    """

    mosaic: Mosaic
    transform: Affine
    shape: tuple[int, int]
    to_lattice: ToLattice

    def read(self, row: int, column: int, rows: int, columns: int
             ) -> tuple[NDArray[np.float32], Seen]:
        """Heights of a window of the grid, NaN where unknown. [m]"""
        left, top, right, bottom = self._reach(row, column, rows, columns)
        if left >= right or top >= bottom:
            return (np.full((rows, columns), np.nan, np.float32),
                    Seen(outside=np.ones((rows, columns), bool)))
        known, seen = self.mosaic.read(top, left, bottom - top, right - left)
        out = np.empty((rows, columns), np.float32)
        outside = np.empty((rows, columns), bool)
        step = max(1, _BLOCK // columns)
        for first in range(0, rows, step):
            last = min(first + step, rows)
            at = self._places(np.arange(row + first, row + last),
                              np.arange(column, column + columns))
            inside = _within(self.mosaic.shape, *at)
            out[first:last] = _bilinear(known, top, left, self.mosaic.shape, *at, inside)
            outside[first:last] = ~inside
        seen.outside = outside
        return out, seen

    def _places(self, rows: NDArray[np.int64], columns: NDArray[np.int64]
                ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Column and row on the lattice of the centres of cells."""
        x = self.transform.c + (columns + 0.5) * self.transform.a
        y = self.transform.f + (rows + 0.5) * self.transform.e
        return self.to_lattice(*np.meshgrid(x, y))

    def _reach(self, row: int, column: int, rows: int, columns: int
               ) -> tuple[int, int, int, int]:
        """The window of the lattice that the cells of a window rest on."""
        high, wide = np.arange(row, row + rows), np.arange(column, column + columns)
        # The map is smooth and one to one: the rim of the window holds the extremes.
        rims = [self._places(high[[0, -1]], wide), self._places(high, wide[[0, -1]])]
        xs = np.concatenate([r[0].ravel() for r in rims])
        ys = np.concatenate([r[1].ravel() for r in rims])
        most_rows, most_columns = self.mosaic.shape
        return (max(int(np.floor(xs.min())) - 2, 0), max(int(np.floor(ys.min())) - 2, 0),
                min(int(np.ceil(xs.max())) + 2, most_columns),
                min(int(np.ceil(ys.max())) + 2, most_rows))


def _within(whole: tuple[int, int], column: NDArray[np.float64], row: NDArray[np.float64]
            ) -> NDArray[np.bool_]:
    """Which places lie on the lattice."""
    rows, columns = whole
    return (column >= 0) & (column <= columns) & (row >= 0) & (row <= rows)


def _bilinear(known: NDArray[np.float32], top: int, left: int, whole: tuple[int, int],
              column: NDArray[np.float64], row: NDArray[np.float64], inside: NDArray[np.bool_]
              ) -> NDArray[np.float32]:
    """Heights between the centres of cells.

    A place whose own cell is unknown stays unknown; elsewhere the unknown of the four cells
    around it are left out, and beyond the outermost centres the nearest height holds.
    """
    rows, columns = whole
    column, row = np.where(inside, column, 1.0), np.where(inside, row, 1.0)
    u, v = np.clip(column - 0.5, 0, columns - 1), np.clip(row - 0.5, 0, rows - 1)
    c = np.minimum(np.floor(u).astype(np.int64), columns - 2)
    r = np.minimum(np.floor(v).astype(np.int64), rows - 2)
    fu, fv = u - c, v - r
    # Places outside were moved to a cell of the raster that may not be in hand.
    c = np.clip(c - left, 0, known.shape[1] - 2)
    r = np.clip(r - top, 0, known.shape[0] - 2)
    total, weight = np.zeros(u.shape), np.zeros(u.shape)
    near = np.zeros(u.shape, bool)
    for down, across in ((0, 0), (0, 1), (1, 0), (1, 1)):
        height = known[r + down, c + across]
        share = (fv if down else 1 - fv) * (fu if across else 1 - fu)
        there = ~np.isnan(height)
        near |= there & ((fv >= 0.5) == bool(down)) & ((fu >= 0.5) == bool(across))
        share = np.where(there, share, 0.0)
        total += share * np.where(there, height, 0.0)
        weight += share
    with np.errstate(invalid="ignore"):
        found = total / weight
    return np.where(inside & near, found, np.nan).astype(np.float32)


def squared(mosaic: Mosaic, unit: float) -> tuple[Resampled | None, list[str]]:
    """A square, north-up view of a metric lattice; None where it is that already.

    Parameters
    ----------
    mosaic : Mosaic
    unit : float
        Metres per unit of its plan.
    """
    lattice = Affine.scale(unit) * mosaic.transform
    a, b, d, e = lattice.a, lattice.b, lattice.d, lattice.e
    level = abs(b) < 1e-9 * abs(a) and abs(d) < 1e-9 * abs(e) if a and e else False
    if level and a > 0 and e < 0 and abs(a + e) < 1e-6 * a:
        return None, []
    rows, columns = mosaic.shape
    corners = [lattice * at for at in ((0, 0), (columns, 0), (0, rows), (columns, rows))]
    xs, ys = zip(*corners, strict=True)
    cell = float(min(np.hypot(a, d), np.hypot(b, e)))
    width = max(int(np.ceil((max(xs) - min(xs)) / cell - 1e-6)), 1)
    height = max(int(np.ceil((max(ys) - min(ys)) / cell - 1e-6)), 1)
    back = ~lattice
    view = Resampled(mosaic, Affine(cell, 0, min(xs), 0, -cell, max(ys)), (height, width),
                     lambda x, y: (back.a * x + back.b * y + back.c,
                                   back.d * x + back.e * y + back.f))
    kind = "turned against north" if not level else "not square"
    return view, [f"The raster's cells are {kind}; it was resampled to squares of "
                  f"{in_both(cell, 'size', 2)}."]


def flattened(mosaic: Mosaic, own: CRS, working: CRS, to_source: ToLattice
              ) -> tuple[Resampled, list[str]]:
    """A view of a lattice in degrees on the working plane, with cells of about its own size."""
    from rasterio.crs import CRS as RasterCRS
    from rasterio.transform import array_bounds
    from rasterio.warp import calculate_default_transform

    rows, columns = mosaic.shape
    new, width, height = calculate_default_transform(
        RasterCRS.from_wkt(own.to_2d().to_wkt()), RasterCRS.from_wkt(working.to_wkt()), columns,
        rows, *array_bounds(rows, columns, mosaic.transform))
    back = ~mosaic.transform
    west = mosaic.transform.c

    def to_lattice(x: NDArray[np.float64], y: NDArray[np.float64]
                   ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        lon, lat = to_source(x, y)
        lon = west - 1 + (lon - (west - 1)) % 360  # theirs may run from 0 to 360, or past 180
        return back.a * lon + back.b * lat + back.c, back.d * lon + back.e * lat + back.f
    view = Resampled(mosaic, new, (height, width), to_lattice)
    return view, [f"The raster is in degrees; it was moved onto {working.name} with cells of "
                  f"{in_both(new.a, 'size', 2)}."]
