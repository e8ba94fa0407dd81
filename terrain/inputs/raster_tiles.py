"""Elevation rasters on one lattice of cells: opened, compared, and read window by window."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.transform import Affine

from terrain.errors import InputError
from terrain.inputs.coordinate_words import crs_of
from terrain.inputs.file_list import files_named
from terrain.inputs.frame import METRES
from terrain.inputs.height_words import (
    HIGHEST,
    LOWEST,
    NAMES,
    declared_unit,
    height_datum,
    height_unit_of,
)
from terrain.inputs.virtual_raster import refuse_wild
from terrain.inputs.whole_bytes import refuse_no_files

#: Grids may be shifted against each other by this share of a cell; common practice, no source.
OFF_GRID = 0.01
#: Heights of two tiles in one place may differ by this much; common practice, no source. [m]
TILES_AGREE = 0.05
#: Cells read from a file at once, so that no second copy of a raster is ever in memory.
_STRIP = 1_000_000
#: Blocks of files kept while reading. [bytes]
_CACHE = 64 * 2 ** 20


@dataclass(frozen=True)
class Tile:
    """One raster file, with its first row in the north.

    Attributes
    ----------
    transform : Affine
        From (column, row) to the file's own coordinates.
    declared : str or None
        The unit of heights that the file declares.
    unit : str
        The unit its heights are taken in.
    scale, offset : float
        From stored numbers to heights in `unit`.
    turned : bool
        Whether the file holds its rows from the south.
    row, column : int
        Where the tile's first cell lies on the common lattice.
    """

    path: Path
    crs: CRS | None
    transform: Affine
    shape: tuple[int, int]
    declared: str | None
    unit: str
    scale: float
    offset: float
    turned: bool
    notes: tuple[str, ...]
    row: int = 0
    column: int = 0


@dataclass
class Seen:
    """What was met while reading cells; `outside` marks those that lie off a raster that was
    turned or moved, None where there are none such."""

    impossible: int = 0
    example: float = 0.0
    differing: int = 0
    difference: float = 0.0
    outside: NDArray[np.bool_] | None = None

    def notes(self, source: str) -> list[str]:
        """In sentences."""
        said = []
        if self.impossible:
            said.append(f"{self.impossible:,} cells hold heights no land on Earth has (such as "
                        f"{self.example:,.0f} m); they were taken as holes. If that value marks "
                        "holes, declare it as nodata.")
        if self.differing:
            said.append(f"Where tiles overlap, {self.differing:,} cells differ by more than "
                        f"{TILES_AGREE:g} m, by {self.difference:,.2f} m at most; the first of "
                        f"{source} that knows a height was believed.")
        return said


@dataclass(frozen=True)
class Mosaic:
    """Tiles on one lattice; the first tile that knows a height gives it.

    Attributes
    ----------
    tiles : tuple of Tile
    crs : CRS or None
    transform : Affine
        From (column, row) of the lattice to the files' own coordinates.
    shape : (rows, columns)
    name : str
        The files as a message names them.
    """

    tiles: tuple[Tile, ...]
    crs: CRS | None
    transform: Affine
    shape: tuple[int, int]
    name: str
    nodata: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def unit(self) -> str:
        """The unit of heights in the files."""
        return self.tiles[0].unit

    def read(self, row: int, column: int, rows: int, columns: int
             ) -> tuple[NDArray[np.float32], Seen]:
        """Heights of a window of the lattice, NaN where unknown. [m]

        Raises
        ------
        InputError
            If a file's cells cannot be read.
        """
        heights = np.full((rows, columns), np.nan, np.float32)
        seen = Seen()
        for index, tile in enumerate(self.tiles):
            self._read_tile(tile, row, column, heights, seen, alone=index == 0)
        return heights, seen

    def _read_tile(self, tile: Tile, row: int, column: int, heights: NDArray[np.float32],
                   seen: Seen, alone: bool) -> None:
        import rasterio
        from rasterio.windows import Window

        from terrain.inputs.raster_faults import UNREADABLE

        top, bottom = max(row, tile.row), min(row + heights.shape[0], tile.row + tile.shape[0])
        left = max(column, tile.column)
        right = min(column + heights.shape[1], tile.column + tile.shape[1])
        if top >= bottom or left >= right:
            return
        try:
            with rasterio.Env(GDAL_CACHEMAX=_CACHE), rasterio.open(tile.path) as source:
                step = max(1, _STRIP // (right - left))
                block = source.block_shapes[0][0]
                step = max(step // block, 1) * block if block <= 4 * step else step
                for first in range(top, bottom, step):
                    last = min(first + step, bottom)
                    begin = (tile.row + tile.shape[0] - last) if tile.turned else first - tile.row
                    window = Window(left - tile.column, begin, right - left, last - first)
                    strip = self._strip(source, window, tile, seen)
                    if tile.turned:
                        strip = strip[::-1]
                    here = heights[first - row:last - row, left - column:right - column]
                    if alone:
                        here[:] = strip
                        continue
                    with np.errstate(invalid="ignore"):
                        apart = np.abs(here - strip)
                        differing = apart > TILES_AGREE
                    if differing.any():
                        seen.differing += int(differing.sum())
                        seen.difference = max(seen.difference, float(apart[differing].max()))
                    np.copyto(here, strip, where=np.isnan(here))
        except UNREADABLE:
            raise InputError(str(tile.path), "its cells cannot be read; the file may be cut short",
                             "Fetch or export it again") from None

    def _strip(self, source: Any, window: Any, tile: Tile, seen: Seen) -> NDArray[np.float32]:
        masked = source.read(1, window=window, masked=True)
        gone = np.ma.getmaskarray(masked)
        raw = masked.data
        if self.nodata is not None:
            gone = gone | (raw == self.nodata)
        factor = tile.scale * METRES[tile.unit]
        shift = tile.offset * METRES[tile.unit]
        if factor != 1.0 or shift != 0.0 or raw.dtype.itemsize > 4:
            raw = raw.astype(np.float64)
            raw = raw * factor + shift
        with np.errstate(over="ignore"):
            strip: NDArray[np.float32] = raw.astype(np.float32)
        strip[gone] = np.nan
        strip[np.isinf(strip)] = np.nan
        with np.errstate(invalid="ignore"):
            bad = (strip < LOWEST) | (strip > HIGHEST)
        if bad.any():
            seen.example = seen.example or float(strip[bad][0])
            seen.impossible += int(bad.sum())
            strip[bad] = np.nan
        return strip


def open_mosaic(files: Sequence[Path], *, crs: str | None = None, plan_unit: str | None = None,
                height_unit: str | None = None, nodata: float | None = None) -> Mosaic:
    """Open rasters and lay them on one lattice, without reading a cell.

    Raises
    ------
    InputError
        If a file is no elevation raster, or two are not alike.
    """
    tiles = [_tile(path, crs, plan_unit, height_unit) for path in files]
    first = tiles[0]
    placed = [_placed(tile, first) for tile in tiles]
    row, column = min(t.row for t in placed), min(t.column for t in placed)
    rows = max(t.row + t.shape[0] for t in placed) - row
    columns = max(t.column + t.shape[1] for t in placed) - column
    placed = [Tile(**{**vars(t), "row": t.row - row, "column": t.column - column})
              for t in placed]
    notes = list(dict.fromkeys(note for tile in tiles for note in tile.notes))
    if len(tiles) > 1:
        notes += _gaps(placed, rows, columns)
    datums = {height_datum(t.crs) for t in tiles}
    own = next((t.crs for t in tiles if height_datum(t.crs)), first.crs)
    if len(datums) > 1:
        silent = next(t for t in tiles if height_datum(t.crs) is None)
        notes.append(f"{silent.path.name} does not say its height datum; it was taken to be that "
                     "of the other tiles.")
    return Mosaic(tuple(placed), own, first.transform * Affine.translation(column, row),
                  (rows, columns), files_named(files), nodata, tuple(notes))


def _tile(path: Path, crs: str | None, plan_unit: str | None, height_unit: str | None) -> Tile:
    import rasterio

    from terrain.inputs.raster_faults import UNREADABLE

    where = str(path)
    if path.is_file() and path.stat().st_size == 0:
        raise InputError(where, "the file is empty", "Fetch or export it again")
    refuse_no_files(path, where)
    refuse_wild(path)
    try:
        # A vertical datum in an old GeoTIFF is told only if asked for.
        with rasterio.Env(GTIFF_REPORT_COMPD_CS=True):
            source = rasterio.open(path)
    except UNREADABLE:
        if path.is_dir():
            raise InputError(where, "this is a folder, not an elevation raster",
                             f"Name the file in it, or several as {path.name}/*.tif") from None
        raise InputError(where, "this is not a raster that can be read",
                         "Give an elevation raster such as a GeoTIFF") from None
    try:
        with source:
            return _described(path, source, crs, plan_unit, height_unit)
    except UNREADABLE:
        raise InputError(where, "what it says of itself cannot be read; the file may be damaged",
                         "Fetch or export it again") from None


def _described(path: Path, source: Any, crs: str | None, plan_unit: str | None,
               height_unit: str | None) -> Tile:
    """What a raster that is open says of itself."""
    from rasterio.enums import ColorInterp

    where = str(path)
    kinds = source.colorinterp
    if source.count != 1 and not (source.count == 2 and kinds[1] == ColorInterp.alpha):
        raise InputError(where, f"it has {source.count} bands, as a picture has",
                         "Give a raster with one band of heights")
    dtype = np.dtype(source.dtypes[0])
    if dtype.kind in "iu" and dtype.itemsize == 1:
        raise InputError(where, "its values are bytes, as in a picture or a hillshade, not "
                         "heights", "Give the elevation raster that it was made from")
    if dtype.kind not in "iuf" or kinds[0] == ColorInterp.palette:
        raise InputError(where, f"its values are of type {dtype}, not heights",
                         "Give a raster with one band of heights")
    transform, shape = source.transform, (source.height, source.width)
    if not np.isfinite(transform[:6]).all():
        raise InputError(where, "the place and size of its cells make no sense "
                         f"({', '.join(f'{part:g}' for part in transform[:6])})",
                         "Save it again with its georeference")
    if transform.is_identity or abs(transform.determinant) == 0:
        raise InputError(where, "it does not say where its cells lie or how large they are",
                         "Export it again with its georeference, or with its world file")
    if min(shape) < 3:
        raise InputError(where, f"it is only {shape[1]:,} by {shape[0]:,} cells",
                         "Give a raster of at least 3 by 3 cells")
    if source.driver == "AAIGrid":
        _check_ascii_grid(path, shape)
    own = crs_of(where, source.crs, crs, plan_unit)
    declared = declared_unit(own, source.units[0])
    unit, how = height_unit_of(where, own, plan_unit, declared, height_unit)
    notes = [how] if how else []
    scale, offset = source.scales[0], source.offsets[0]
    if scale != 1.0 or offset != 0.0:
        notes.append(f"Heights are its stored numbers times {scale:g} plus {offset:g}, as the "
                     "file says.")
    turned = abs(transform.b) + abs(transform.d) < 1e-9 * abs(transform.a) and transform.e > 0
    if turned:
        transform = transform * Affine(1, 0, 0, 0, -1, shape[0])
    return Tile(path, own, transform, shape, declared, unit, scale, offset, turned, tuple(notes))


_NO_NUMBER = re.compile(rb"[^0-9eE+\-.,\s]")


def _check_ascii_grid(path: Path, shape: tuple[int, int]) -> None:
    """Refuse what GDAL would take silently: words among the numbers, rows of a wrong length."""
    numbers, body = 0, False
    with path.open("rb") as lines:
        for count, line in enumerate(lines, 1):
            words, wrong = line.split(), []
            if _NO_NUMBER.search(line):
                wrong = [word for word in words if _NO_NUMBER.search(word)
                         and word.lower().lstrip(b"+-") not in (b"nan", b"inf")]
            if not body and wrong and len(words) == 2:
                continue  # a line of the header
            body = True
            if wrong:
                word = wrong[0][:20].decode("latin-1")
                raise InputError(f"{path} line {count}", f"'{word}' is not a height",
                                 "Correct the file, or export it again")
            numbers += len(words)
    if numbers != shape[0] * shape[1]:
        raise InputError(str(path), f"it holds {numbers:,} heights, but its header speaks of "
                         f"{shape[0] * shape[1]:,}", "Fetch or export it again")


def _placed(tile: Tile, first: Tile) -> Tile:
    """The tile with its place on the lattice of the first."""
    if tile is first:
        return tile
    where = f"{tile.path.name} and {first.path.name}"

    def refuse(what: str, remedy: str) -> InputError:
        return InputError(where, what, remedy)

    one, other = tile.crs, first.crs
    flat_one, flat_other = one and one.to_2d(), other and other.to_2d()
    if (flat_one is None) != (flat_other is None) or (
            flat_one is not None and not flat_one.equals(flat_other, ignore_axis_order=True)):
        names = [crs.name if crs is not None else "none" for crs in (flat_one, flat_other)]
        raise refuse(f"their coordinate systems differ ({names[0]}; {names[1]})",
                     "Give tiles of one coordinate system")
    datums = height_datum(one), height_datum(other)
    if None not in datums and datums[0] != datums[1]:
        raise refuse(f"their heights are on different datums ({datums[0]}; {datums[1]})",
                     "Give tiles of one height datum; heights are never moved here")
    units = tile.declared or tile.unit, first.declared or first.unit
    if units[0] != units[1]:
        raise refuse(f"their heights are in different units ({NAMES[units[0]]}; "
                     f"{NAMES[units[1]]})", "Give tiles with heights in one unit")
    a, b = tile.transform, first.transform
    most = max(*tile.shape, *first.shape)
    side = max(abs(b.a), abs(b.b), abs(b.d), abs(b.e))
    if max(abs(a.a - b.a), abs(a.b - b.b), abs(a.d - b.d), abs(a.e - b.e)) * most > OFF_GRID * side:
        sizes = [f"{np.hypot(t.a, t.d):g} by {np.hypot(t.b, t.e):g}" for t in (a, b)]
        turned = " or are turned differently" if sizes[0] == sizes[1] else ""
        raise refuse(f"their cells differ in size{turned} ({sizes[0]}; {sizes[1]})",
                     "Give tiles with cells of one size")
    column, row = ~b * (a.c, a.f)
    off = max(abs(column - round(column)), abs(row - round(row)))
    if off > OFF_GRID:
        raise refuse(f"their grids do not line up: one is shifted by {off:.0%} of a cell",
                     "Give tiles cut from one grid")
    return Tile(**{**vars(tile), "row": round(row), "column": round(column)})


def _gaps(tiles: Sequence[Tile], rows: int, columns: int) -> list[str]:
    """Note how much of the rectangle around the tiles none of them covers."""
    from shapely import box, union_all

    covered = union_all([box(t.column, t.row, t.column + t.shape[1], t.row + t.shape[0])
                         for t in tiles]).area
    open_cells = round(rows * columns - covered)
    return [] if not open_cells else [
        f"The tiles leave {open_cells:,} cells ({open_cells / (rows * columns):.1%}) of the "
        "rectangle around them uncovered; those are voids."]
