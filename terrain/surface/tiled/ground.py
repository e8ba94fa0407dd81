"""Where tiles are read from: elevation as a site reads it, or an array."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.inputs.elevation import ElevationFiles
from terrain.inputs.made_from import parts_of_layer
from terrain.inputs.raster_tiles import Mosaic
from terrain.inputs.resampled import Resampled
from terrain.surface.tiled.grid import Window


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
class ElevationValues:
    """Elevation as a site reads it: in metres, in the working frame, small holes filled.

    Attributes
    ----------
    files : ElevationFiles
    """

    files: ElevationFiles

    @property
    def shape(self) -> tuple[int, int]:
        return self.files.shape

    def dem(self, window: Window) -> Dem:
        """The ground of a window.

        Raises
        ------
        InputError
            If a file cannot be read, or the window is too large to read at once.
        """
        cell = self.files.cell
        west, _, _, north = self.files.bounds
        return self.files.read((west + window.left * cell, north - window.bottom * cell,
                                west + window.right * cell, north - window.top * cell))

    def lattice(self, window: Window) -> Dem:
        """The grid of a window, without heights."""
        cell = self.files.cell
        west, _, _, north = self.files.bounds
        return Dem(np.broadcast_to(np.float32(np.nan), window.shape), west + window.left * cell,
                   north - window.top * cell, cell, self.files.frame, self.files.source,
                   part_of=(west, north, window.top, window.left))

    def read(self, window: Window) -> NDArray[np.float32]:
        return self.dem(window).heights

    def identity(self) -> str:
        return self._identity

    @cached_property
    def _identity(self) -> str:
        """Files by name, size and time, and all that makes heights of their numbers."""
        source, frame = self.files._source, self.files.frame
        lattice = source.mosaic if isinstance(source, Resampled) else source
        words: list[Any] = [
            self.files.fill_holes, list(self.files.transform), list(self.files.shape),
            frame.metres_per_unit, *(crs and crs.to_wkt() for crs in (frame.source, frame.working))]
        if isinstance(lattice, Mosaic):
            paths = [part for tile in lattice.tiles for part in _parts(tile.path)]
            words += [_stamp(paths), lattice.nodata, *(
                [tile.unit, tile.scale, tile.offset, tile.turned, tile.row, tile.column]
                for tile in lattice.tiles)]
        else:  # surveyed points are in memory
            whole = Window(0, self.shape[0], 0, self.shape[1])
            words.append(ArrayValues(self.read(whole)).identity())
        return hashlib.sha256(json.dumps(words).encode()).hexdigest()

    @cached_property
    def _packed(self) -> tuple[str, bytes]:
        """Packed once for all tasks; cloudpickle also packs the way between two lattices."""
        import cloudpickle

        data = zlib.compress(cloudpickle.dumps(self.files), 1)
        return hashlib.sha256(data).hexdigest(), data

    def __reduce__(self) -> tuple[Any, ...]:
        return _unpacked, self._packed


#: Unpacked by this process, by the SHA-256 of what was packed: a county's tiles are thousands.
_HELD: dict[str, ElevationValues] = {}


def _unpacked(digest: str, data: bytes) -> ElevationValues:
    import cloudpickle

    if digest not in _HELD:
        _HELD.clear()
        _HELD[digest] = ElevationValues(cloudpickle.loads(zlib.decompress(data)))
    return _HELD[digest]


def _parts(path: Path) -> list[Path]:
    """A raster, and of a virtual one what it is made of."""
    return parts_of_layer(path) if path.suffix.lower() == ".vrt" else [path]


def _stamp(paths: Sequence[Path]) -> str:
    """Names, sizes and times of files: to hash a county's bytes would be to read it once more."""
    return hashlib.sha256(json.dumps([(str(path.absolute()), path.stat().st_size,
                                       path.stat().st_mtime_ns) for path in paths]).encode()
                          ).hexdigest()
