"""Elevation files -> `Dem`: rasters, tiles or surveyed points, whole or window by window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray
from rasterio.transform import Affine

from terrain.errors import InputError
from terrain.inputs.coordinate_words import crs_of, frame_of
from terrain.inputs.dem import Dem
from terrain.inputs.file_list import elevation_files, files_named
from terrain.inputs.frame import METRES, Frame
from terrain.inputs.height_words import (
    HIGHEST,
    LOWEST,
    datum_notes,
    declared_unit,
    height_unit_of,
    terrace_notes,
    whole_steps,
)
from terrain.inputs.raster_tiles import Mosaic, Seen, open_mosaic
from terrain.inputs.resampled import Resampled, flattened, squared
from terrain.inputs.survey_points import (
    POINT_FILES,
    checked_columns,
    read_points,
    refuse_swapped,
)
from terrain.inputs.triangulated import Gridded, one_height_a_place, triangulate
from terrain.inputs.voids import FILL_UP_TO, fill_voids, find_voids
from terrain.units import in_both

__all__ = ["MOST_CELLS", "TOO_COARSE", "Dem", "ElevationFiles", "foot_of", "open_elevation",
           "read_elevation"]

#: Cells larger than this cannot size earthworks; common practice, no source. [m]
TOO_COARSE = 5.0
#: More cells than this are not read at once.
MOST_CELLS = 300_000_000
#: More cells than this are not looked through, not even band by band: that would take hours.
MOST_LOOKED_THROUGH = 100_000_000_000
#: Surveyed points of one piece of ground do not lie farther apart; common practice, no source. [m]
FARTHEST_APART = 100_000.0
#: No hole larger than this is filled; common practice, no source. [m2]
MOST_FILLED = 10_000.0
#: Cells read at a time for a coarse look at the whole.
BAND = 8_000_000


class _Source(Protocol):
    """Where heights come from: any window of one grid in the working frame."""

    @property
    def shape(self) -> tuple[int, int]: ...

    def read(self, row: int, column: int, rows: int, columns: int
             ) -> tuple[NDArray[np.float32], Seen]: ...


class OwnGrid(NamedTuple):
    """A raster's own grid, as its file has it; west, south, east and north in its own CRS."""

    rows: int
    columns: int
    bounds: tuple[float, float, float, float]


@dataclass(frozen=True)
class ElevationFiles:
    """Elevation that was opened and checked, to be read whole or by windows.

    The grid is laid once over the whole: cells of any two windows coincide and hold the same
    heights.

    Attributes
    ----------
    name : str
        The file, or ``3 tiles (a.tif, b.tif, ...)``.
    frame : Frame
        The working frame and the way to the files' own CRS.
    transform : Affine
        From (column, row) of the whole grid to the working frame.
    fill_holes : float
        Enclosed holes up to this area are filled. [m2]
    notes : tuple of str
        What was assumed on opening, in whole sentences.
    """

    name: str
    frame: Frame
    transform: Affine
    fill_holes: float
    notes: tuple[str, ...]
    _where: str
    _source: _Source
    _unit: str | None

    @property
    def source(self) -> str:
        """What to call it in messages."""
        return self.name

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the whole."""
        return self._source.shape

    @property
    def cell(self) -> float:
        """Side of a cell. [m]"""
        return float(self.transform.a)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge of the whole in the working frame. [m]"""
        rows, columns = self.shape
        left, top = self.transform.c, self.transform.f
        return left, top - rows * self.cell, left + columns * self.cell, top

    @property
    def moved_from(self) -> OwnGrid | None:
        """The raster's own grid, where its heights were moved onto another; else None."""
        if not isinstance(self._source, Resampled):
            return None
        mosaic = self._source.mosaic
        rows, columns = mosaic.shape
        xs, ys = zip(*(mosaic.transform * at for at in ((0, 0), (columns, 0), (0, rows),
                                                        (columns, rows))), strict=True)
        return OwnGrid(rows, columns, (min(xs), min(ys), max(xs), max(ys)))

    def read(self, bounds: tuple[float, float, float, float] | None = None) -> Dem:
        """Read the whole, or the cells that a rectangle touches.

        Parameters
        ----------
        bounds : (west, south, east, north), optional
            In the working frame. [m]

        Returns
        -------
        Dem
            `goes_on` says on which sides the whole goes on. A window may hold no height at all.

        Raises
        ------
        InputError
            If that is too much at once, lies outside, or (for the whole) holds no height.
        """
        row, column, rows, columns = self._window(bounds)
        self._refuse_too_many(rows * columns)
        if self.fill_holes:
            heights, filled, seen, said = self._filled(row, column, rows, columns)
        else:
            (heights, seen), filled, said = self._source.read(row, column, rows, columns), None, []
        if bounds is None and np.isnan(heights).all():
            raise self._empty(seen)
        notes = [*self.notes, *seen.notes(self.name), *said,
                 *_void_notes(heights, seen.outside, self.cell ** 2)]
        if self._unit is not None:
            notes += terrace_notes(whole_steps(heights, self._unit))
        all_rows, all_columns = self.shape
        goes_on = (column > 0, row + rows < all_rows, column + columns < all_columns, row > 0)
        return Dem(heights, self.transform.c + column * self.cell,
                   self.transform.f - row * self.cell, self.cell, self.frame, self.name,
                   tuple(notes), goes_on, filled,  # type: ignore[arg-type]
                   (self.transform.c, self.transform.f, row, column))

    def read_coarse(self, factor: int) -> tuple[Dem, NDArray[np.float32]]:
        """Look at the whole in cells as many times as large.

        Read in bands, so that it takes little memory; small holes are left as they are.

        Returns
        -------
        lowest : Dem
            The lowest height of each block of factor by factor cells; NaN where none is known.
        highest : float32, same shape
            The highest; NaN where any is unknown. [m]

        Raises
        ------
        InputError
            If the whole has more cells than are looked through.
        """
        rows, columns = self.shape
        if rows * columns > MOST_LOOKED_THROUGH:
            raise InputError(self._where, f"it has {rows * columns:,} cells, more than the "
                             f"{MOST_LOOKED_THROUGH:,} that are looked through",
                             "Cut it to the ground in question")
        high, wide = -(-rows // factor), -(-columns // factor)
        lowest, highest = np.empty((high, wide), np.float32), np.empty((high, wide), np.float32)
        band = max(BAND // columns // factor, 1)
        for first in range(0, high, band):
            last = min(first + band, high)
            top, bottom = first * factor, min(last * factor, rows)
            fine, _ = self._source.read(top, 0, bottom - top, columns)
            whole = np.pad(fine, ((0, (last - first) * factor - fine.shape[0]),
                                  (0, wide * factor - columns)), mode="edge")
            blocks = whole.reshape(last - first, factor, wide, factor)
            lowest[first:last] = np.fmin.reduce(np.fmin.reduce(blocks, axis=3), axis=1)
            highest[first:last] = np.maximum.reduce(np.maximum.reduce(blocks, axis=3), axis=1)
        return Dem(lowest, self.transform.c, self.transform.f, self.cell * factor, self.frame,
                   self.name), highest

    def _window(self, bounds: tuple[float, float, float, float] | None
                ) -> tuple[int, int, int, int]:
        """First row and column, rows and columns of the cells that a rectangle touches."""
        rows, columns = self.shape
        if bounds is None:
            return 0, 0, rows, columns
        west, south, east, north = bounds
        if not (np.isfinite(bounds).all() and west < east and south < north):
            raise InputError(self._where, f"the window {tuple(bounds)} is no rectangle",
                             "Give west, south, east and north in metres")
        left, top, near = self.transform.c, self.transform.f, 1e-6
        first, last = (west - left) / self.cell + near, (east - left) / self.cell - near
        upper, lower = (top - north) / self.cell + near, (top - south) / self.cell - near
        column, row = max(int(np.floor(first)), 0), max(int(np.floor(upper)), 0)
        end, bottom = min(int(np.ceil(last)), columns), min(int(np.ceil(lower)), rows)
        if column >= end or row >= bottom:
            raise InputError(self._where, "the window asked for lies outside it",
                             "Ask for a part that it covers")
        return row, column, bottom - row, end - column

    def _filled(self, row: int, column: int, rows: int, columns: int
                ) -> tuple[NDArray[np.float32], NDArray[np.bool_] | None, Seen, list[str]]:
        """A window with its small holes filled, exactly as they are filled in the whole.

        A small hole that the window cuts is read to its end: the margin grows until every void
        that the window shares is whole or too large.
        """
        all_rows, all_columns = self.shape
        most = int(self.fill_holes / self.cell ** 2 + 1e-9)
        margin = 0
        while True:
            top, left = max(row - margin, 0), max(column - margin, 0)
            bottom = min(row + rows + margin, all_rows)
            right = min(column + columns + margin, all_columns)
            self._refuse_too_many((bottom - top) * (right - left))
            heights, seen = self._source.read(top, left, bottom - top, right - left)
            voids = find_voids(heights)
            small = voids.cells <= most
            cut = voids.touching((left > 0, bottom < all_rows, right < all_columns, top > 0),
                                 heights.shape)
            inner = (row - top, row - top + rows, column - left, column - left + columns)
            if not (small & cut & voids.within(*inner)).any():
                break
            margin = max(16, 2 * margin)
        small &= ~voids.touching((True, True, True, True), heights.shape) & voids.within(*inner)
        filled, said = None, []
        if small.any():
            filled = np.ascontiguousarray(fill_voids(heights, voids, small)[
                inner[0]:inner[1], inner[2]:inner[3]])
            said = [_filled_note(int(filled.sum()), int(small.sum()))] if filled.any() else []
        if heights.shape != (rows, columns):
            if seen.outside is not None:
                seen.outside = seen.outside[inner[0]:inner[1], inner[2]:inner[3]]
            heights = np.ascontiguousarray(heights[inner[0]:inner[1], inner[2]:inner[3]])
        return heights, filled, seen, said

    def _refuse_too_many(self, cells: int) -> None:
        if cells > MOST_CELLS:
            raise InputError(self._where, f"it has {cells:,} cells, more than the {MOST_CELLS:,} "
                             "that are read at once", "Cut it to the property and the slopes "
                             "above it")

    def _empty(self, seen: Seen) -> InputError:
        if seen.impossible:
            return InputError(self._where, "not one of its cells holds a height that land on Earth "
                              f"has ({LOWEST:,.0f} to {HIGHEST:,.0f} m; here stands "
                              f"{seen.example:,.0f} m)", "Check the unit of its heights")
        return InputError(self._where, "not one of its cells holds a height",
                          "Check the file and its nodata value")


def _filled_note(cells: int, holes: int) -> str:
    return (f"{cells:,} {'cell' if cells == 1 else 'cells'} in {holes:,} small "
            f"{'hole' if holes == 1 else 'holes'} {'was' if cells == 1 else 'were'} filled from "
            f"{'its rim' if holes == 1 else 'their rims'}.")


#: How a note on voids ends.
_LOST = "counts as leaving."


def of_voids(notes: Sequence[str]) -> list[str]:
    """Of an elevation's notes those on holes in its data."""
    return [note for note in notes if note.endswith(_LOST)]


def _void_notes(heights: NDArray[np.float32], outside: NDArray[np.bool_] | None,
                cell_area: float) -> list[str]:
    """What is said of holes in the data; cells outside of the raster are none."""
    if outside is not None and outside.any():
        voids = find_voids(np.where(outside, np.float32(0.0), heights))
        at_edge = voids.beside(outside)
    else:
        voids = find_voids(heights)
        at_edge = np.zeros(voids.count, bool)
    if not voids.count:
        return []
    at_edge |= voids.touching((True, True, True, True), heights.shape)
    enclosed = int((~at_edge).sum())
    area = float(voids.cells.max()) * cell_area
    size = in_both(area, "ground", None if area >= 10 else 2)
    if voids.count == 1:
        return [f"One void of {size} {'enclosed by ground' if enclosed else 'at the edge'} has no "
                f"heights; water that reaches it {_LOST}"]
    return [f"{voids.count:,} voids have no heights, {enclosed:,} of them enclosed by ground and "
            f"the largest of {size}; water that reaches one {_LOST}"]


def open_elevation(files: Path | str | Sequence[Path | str], *, crs: str | None = None,
                   plan_unit: str | None = None, height_unit: str | None = None,
                   nodata: float | None = None, cell: float | None = None,
                   columns: str | Sequence[str] | None = None, fill_holes: float = FILL_UP_TO
                   ) -> ElevationFiles:
    """Open elevation and check it, without reading a raster's cells.

    Parameters
    ----------
    files : path, or several
        A raster that rasterio opens, with one band of heights; several tiles of one grid; a
        pattern such as ``tiles/*.tif``; or text with surveyed points.  Where tiles overlap, the
        first that knows a height gives it.
    crs : str, optional
        The CRS, where the files state none.
    plan_unit : {"m", "ft", "us-ft"}, optional
        The unit of the plan, where there is no CRS at all.
    height_unit : {"m", "ft", "us-ft"}, optional
        The unit of the heights, where the files do not state it or state it wrongly.
    nodata : float, optional
        A value that marks holes, beside the one the files declare.
    cell : float, optional
        Side of a cell, for surveyed points. [m]
    columns : str or sequence of str, optional
        What each column is, for surveyed points: point, x, y, z, code, or - for one not used.
    fill_holes : float
        Enclosed holes up to this area are filled from their rims; 0 for none. [m2]

    Raises
    ------
    InputError
        If a file is missing, is no elevation, does not say enough of itself, or does not fit
        the others.
    """
    paths = elevation_files(files)
    where = str(paths[0]) if len(paths) == 1 else files_named(paths)
    if not fill_holes >= 0:
        raise InputError(where, f"holes up to {fill_holes:g} m2 cannot be filled",
                         "State an area of 0 or more (fill holes up to, or --fill-holes)")
    if fill_holes > MOST_FILLED:
        raise InputError(where, f"holes of {fill_holes:,.0f} m2 are too large for ground to be "
                         "made up in them", f"State {MOST_FILLED:,.0f} m2 or less")
    points = [path for path in paths if _holds_points(path)]
    if points and len(points) < len(paths):
        raster = next(path for path in paths if path not in points)
        raise InputError(where, f"{points[0].name} holds surveyed points and {raster.name} is a "
                         "raster, and they do not go together", "Give one or the other")
    if points:
        return _open_points(points, where, crs, plan_unit, height_unit, cell, columns)
    for given, words in ((cell, "a cell (cell, or --cell)"),
                         (columns, "columns (columns, or --columns)")):
        if given is not None:
            raise InputError(where, f"it is a raster, and {words} can only be stated for surveyed "
                             "points", "Leave it out")
    mosaic = open_mosaic(paths, crs=crs, plan_unit=plan_unit, height_unit=height_unit,
                         nodata=nodata)
    return _open_raster(mosaic, where, plan_unit, fill_holes)


def foot_of(files: Path | str | Sequence[Path | str], *, crs: str | None = None,
            plan_unit: str | None = None, height_unit: str | None = None) -> str:
    """The foot of elevation's own, ft or us-ft, from the head of its first file.

    Raises
    ------
    InputError
        As `open_elevation`.
    """
    path = elevation_files(files)[0]
    if _holds_points(path):
        own, unit = crs_of(str(path), None, crs, plan_unit), height_unit or "m"
    else:
        mosaic = open_mosaic([path], crs=crs, plan_unit=plan_unit, height_unit=height_unit)
        own, unit = mosaic.crs, mosaic.unit
    return Frame(own, own, METRES[plan_unit or "m"], unit).foot


def read_elevation(files: Path | str | Sequence[Path | str], *, crs: str | None = None,
                   plan_unit: str | None = None, height_unit: str | None = None,
                   nodata: float | None = None, cell: float | None = None,
                   columns: str | Sequence[str] | None = None, fill_holes: float = FILL_UP_TO
                   ) -> Dem:
    """Open elevation and read all of it; see `open_elevation`."""
    return open_elevation(files, crs=crs, plan_unit=plan_unit, height_unit=height_unit,
                          nodata=nodata, cell=cell, columns=columns, fill_holes=fill_holes).read()


def _holds_points(path: Path) -> bool:
    """Whether a file is text with points; text that starts as an ASCII grid is a raster."""
    if path.suffix.lower() not in POINT_FILES or not path.is_file():
        return False
    with path.open("rb") as file:
        return not file.read(5).lower().startswith(b"ncols")


def _open_raster(mosaic: Mosaic, where: str, plan_unit: str | None, fill_holes: float
                 ) -> ElevationFiles:
    rows, columns = mosaic.shape
    notes = [*mosaic.notes, *datum_notes(mosaic.crs)]
    middle = mosaic.transform * (columns / 2, rows / 2)
    frame, unit, how = frame_of(where, mosaic.crs, plan_unit, middle,
                                columns * abs(mosaic.transform.a), mosaic.unit)
    if how:
        notes.append(how)
    source: Mosaic | Resampled | None
    if frame.source is not None and frame.working is not None and frame.source.is_geographic:
        source, said = flattened(mosaic, frame.source, frame.working, frame.to_source)
    else:
        source, said = squared(mosaic, unit)
    transform = source.transform if source else Affine.scale(unit) * mosaic.transform
    notes += said
    if transform.a > TOO_COARSE:
        notes.append(f"Cells of {in_both(transform.a, 'length')} are too coarse to size or "
                     "set out earthworks: take the answers as hints of where to look.")
    return ElevationFiles(mosaic.name, frame, transform, fill_holes, tuple(notes), where,
                          source or mosaic, mosaic.unit)


def _open_points(paths: Sequence[Path], where: str, crs: str | None, plan_unit: str | None,
                 height_unit: str | None, cell: float | None,
                 columns: str | Sequence[str] | None) -> ElevationFiles:
    try:
        order = checked_columns(columns)
    except ValueError as error:
        raise InputError(where, f"its columns cannot be read: {error}",
                         "State them (columns, or --columns), such as point, y, x, z, code"
                         ) from None
    own = crs_of(where, None, crs, plan_unit)
    parts = [read_points(path, order) for path in paths]
    notes = [note for part in parts for note in part.notes]
    z, unit = [], "m"
    for path, part in zip(paths, parts, strict=True):
        unit, how = height_unit_of(str(path), own, plan_unit, declared_unit(own, part.height_unit),
                                   height_unit)
        notes += [how] if how else []
        z.append(part.z * METRES[unit])
    x, y = (np.concatenate([getattr(part, axis) for part in parts]) for axis in "xy")
    heights, lines = np.concatenate(z), [line for part in parts for line in part.places]
    notes += [*refuse_swapped(where, x, y, own), *datum_notes(own)]
    wrong = np.flatnonzero((heights < LOWEST) | (heights > HIGHEST))
    if wrong.size:
        raise InputError(lines[wrong[0]], f"its height of {heights[wrong[0]]:,.0f} m is none that "
                         "land on Earth has", "Correct it; check the unit and the order of columns")
    frame, _, how = frame_of(where, own, plan_unit, (float(np.median(x)), float(np.median(y))),
                             float(np.ptp(x)), unit)
    notes += [how] if how else []
    x, y = frame.to_working(x, y)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        bad = int(np.flatnonzero(~(np.isfinite(x) & np.isfinite(y)))[0])
        raise InputError(lines[bad], "this point cannot be placed on the ground",
                         "Check the coordinate system and the order of the columns")
    apart = np.hypot(x - np.median(x), y - np.median(y))
    far = int(np.argmax(apart))
    if apart[far] > FARTHEST_APART:
        raise InputError(lines[far], f"this point lies {apart[far] / 1000:,.0f} km from most "
                         "others", "Correct its coordinates, or take the line out")
    x, y, heights, said = one_height_a_place(x, y, heights, lines)
    notes += said
    grid, said = triangulate(where, x, y, heights, cell, MOST_CELLS)
    count = f"{len(lines):,} surveyed points"
    notes += [f"Heights lie on the triangles between {count}, straight from point to point.", *said]
    source: Gridded = grid
    return ElevationFiles(files_named(paths, "point files"), frame, grid.transform, 0.0,
                          tuple(dict.fromkeys(notes)), where, source, None)
