"""Where tiles are read from: an array, a raster of any kind, a folder of rasters."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.surface.tiled.grid import Window

#: What may lie in a folder of tiles.
RASTERS = (".tif", ".tiff", ".vrt", ".img", ".asc")


class Values(Protocol):
    """Something that gives a value for each cell of a raster, window by window."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the whole."""

    def read(self, window: Window) -> NDArray[Any]:
        """The values of a window; NaN where unknown."""

    def identity(self) -> str:
        """What tells it from any other, so that kept tiles are not taken for another's."""


@dataclass(frozen=True)
class ArrayValues:
    """An array in memory; for one process, as every task carries it."""

    array: NDArray[Any]

    @property
    def shape(self) -> tuple[int, int]:
        rows, columns = self.array.shape
        return rows, columns

    def read(self, window: Window) -> NDArray[Any]:
        return np.ascontiguousarray(self.array[window.top:window.bottom, window.left:window.right])

    def identity(self) -> str:
        digest = hashlib.sha256(f"{self.array.dtype} {self.array.shape}".encode())
        for first in range(0, self.shape[0], 256):
            digest.update(np.ascontiguousarray(self.array[first:first + 256]).data)
        return digest.hexdigest()


@dataclass(frozen=True)
class FileValues:
    """A `.npy` file, mapped and read as it is asked for."""

    path: str

    @property
    def shape(self) -> tuple[int, int]:
        rows, columns = np.load(self.path, mmap_mode="r").shape
        return rows, columns

    def read(self, window: Window) -> NDArray[Any]:
        return ArrayValues(np.load(self.path, mmap_mode="r")).read(window)

    def identity(self) -> str:
        return _stamp([Path(self.path)])


@dataclass(frozen=True)
class RasterValues:
    """Rasters on one lattice of cells: one file, a VRT, a COG, or the tiles of a folder.

    Attributes
    ----------
    places : tuple of (path, first row, first column, rows, columns)
        The first that knows a cell's value gives it.
    shape : (rows, columns)
    """

    places: tuple[tuple[str, int, int, int, int], ...]
    shape: tuple[int, int]

    def read(self, window: Window) -> NDArray[np.float32]:
        import rasterio
        from rasterio.windows import Window as Part

        values = np.full(window.shape, np.nan, np.float32)
        for path, row, column, rows, columns in self.places:
            top, bottom = max(window.top, row), min(window.bottom, row + rows)
            left, right = max(window.left, column), min(window.right, column + columns)
            if top >= bottom or left >= right:
                continue
            with rasterio.open(path) as raster:
                found = raster.read(1, window=Part(left - column, top - row, right - left,
                                                   bottom - top), masked=True)
            here = values[top - window.top:bottom - window.top,
                          left - window.left:right - window.left]
            read = np.ma.filled(found.astype(np.float32), np.nan)
            here[...] = np.where(np.isnan(here), read, here)
        return values

    def identity(self) -> str:
        return _stamp([Path(place[0]) for place in self.places])


def _stamp(paths: Sequence[Path]) -> str:
    """Names, sizes and times of files: to hash a county's bytes would be to read it once more."""
    return hashlib.sha256(json.dumps([(str(path.absolute()), path.stat().st_size,
                                       path.stat().st_mtime_ns) for path in paths]).encode()
                          ).hexdigest()


def open_values(path: Path) -> tuple[RasterValues, dict[str, Any]]:
    """Rasters of a folder, or one raster, as one lattice.

    Returns
    -------
    values : RasterValues
    profile : dict
        `crs` and `transform` of the lattice.

    Raises
    ------
    InputError
        If there is none, one cannot be read, or they do not lie on one lattice of cells.
    """
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.transform import Affine

    files = (sorted(file for file in path.iterdir() if file.suffix.lower() in RASTERS)
             if path.is_dir() else [path])
    if not files:
        raise InputError(str(path), "no raster lies in this folder", "Name a folder of rasters")
    found = []
    for file in files:
        try:
            with rasterio.open(file) as raster:
                found.append((str(file), raster.transform, raster.crs, raster.shape))
        except RasterioError as error:
            raise InputError(str(file), f"it cannot be read as a raster ({error})",
                             "Take it out of the folder, or fetch it again") from None
    _, first, crs, _ = found[0]
    if first.b or first.d or first.a <= 0 or first.e >= 0:
        raise InputError(found[0][0], "its rows do not run from north to south",
                         "Warp it to a north-up raster")
    left, top = (min(t.c for _, t, _, _ in found), max(t.f for _, t, _, _ in found))
    places, rows, columns = [], 0, 0
    for name, transform, its, (high, wide) in found:
        column, row = (transform.c - left) / first.a, (transform.f - top) / first.e
        apart = max(abs(column - round(column)), abs(row - round(row)),
                    abs(transform.a / first.a - 1) * wide, abs(transform.e / first.e - 1) * high)
        if its != crs or apart > 0.01:
            raise InputError(name, f"it does not lie on one lattice of cells with {found[0][0]}",
                             "Resample it to the others' cells and CRS")
        places.append((name, round(row), round(column), high, wide))
        rows, columns = max(rows, round(row) + high), max(columns, round(column) + wide)
    return (RasterValues(tuple(places), (rows, columns)),
            {"crs": crs, "transform": Affine(first.a, 0, left, 0, first.e, top)})
