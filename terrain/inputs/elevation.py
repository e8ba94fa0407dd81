"""Elevation rasters -> `Dem`: units, coordinate system, voids."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from rasterio.transform import Affine

from terrain.errors import InputError
from terrain.inputs.frame import METRES, Frame, in_metres, plane_near

#: No land lies outside these heights (Dead Sea shore about -440 m, Everest 8,849 m). [m]
LOWEST, HIGHEST = -500.0, 9000.0
#: Cells larger than this cannot size earthworks; common practice, no source. [m]
TOO_COARSE = 5.0
#: Above this many cells a whole raster is not read at once.
MOST_CELLS = 250_000_000


@dataclass(frozen=True)
class Dem:
    """Heights of the ground on a square grid in the working frame, north up.

    Attributes
    ----------
    heights : float32, shape (rows, columns)
        Height of each cell's centre; NaN where unknown. [m]
    left, top : float
        The grid's upper left corner in the working frame. [m]
    cell : float
        Side of a cell. [m]
    frame : Frame
        The working frame and the way to the raster's own CRS.
    source : str
        The file's name, for messages.
    notes : tuple of str
        What was assumed or done on reading, in whole sentences.
    """

    heights: NDArray[np.float32]
    left: float
    top: float
    cell: float
    frame: Frame
    source: str = "the raster"
    notes: tuple[str, ...] = field(default=())

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.heights.shape
        return rows, columns

    @property
    def cell_area(self) -> float:
        """Area of a cell. [m2]"""
        return self.cell * self.cell

    @property
    def transform(self) -> Affine:
        """Affine transform from (column, row) to the working frame."""
        return Affine(self.cell, 0.0, self.left, 0.0, -self.cell, self.top)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge in the working frame. [m]"""
        rows, columns = self.shape
        return (self.left, self.top - rows * self.cell,
                self.left + columns * self.cell, self.top)

    def row_column(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of the cells that hold points of the working frame."""
        column = np.floor((np.asarray(x, float) - self.left) / self.cell).astype(np.int64)
        row = np.floor((self.top - np.asarray(y, float)) / self.cell).astype(np.int64)
        return row, column

    def xy(self, row: ArrayLike, column: ArrayLike
           ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Centres of cells in the working frame. [m]"""
        return (self.left + (np.asarray(column, float) + 0.5) * self.cell,
                self.top - (np.asarray(row, float) + 0.5) * self.cell)

    def cell_of(self, x: float, y: float, where: str) -> tuple[int, int]:
        """Row and column of the cell of known height at a point.

        Raises
        ------
        InputError
            If the point lies off the raster or in a void; `where` says whose point it is.
        """
        if not (np.isfinite(x) and np.isfinite(y)):
            raise InputError(where, f"the point cannot be placed on {self.source}",
                             "Check that x comes before y, and longitude before latitude")
        row, column = (int(i) for i in self.row_column(x, y))
        rows, columns = self.shape
        if not (0 <= row < rows and 0 <= column < columns):
            raise InputError(where, f"the point {self.named(x, y)} lies {self._beyond(x, y)} of "
                             f"{self.source}", self._hint(x, y))
        if np.isnan(self.heights[row, column]):
            raise InputError(where, f"the point {self.named(x, y)} lies where {self.source} has "
                             "no height", "Move the point, or use a raster without that hole")
        return row, column

    def height_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Heights by bilinear interpolation between cell centres; NaN in voids. [m]"""
        from scipy.ndimage import map_coordinates

        shape = np.broadcast(x, y).shape
        column = (np.atleast_1d(np.asarray(x, float)) - self.left) / self.cell - 0.5
        row = (self.top - np.atleast_1d(np.asarray(y, float))) / self.cell - 0.5
        column, row = np.broadcast_arrays(column, row)
        rows, columns = self.shape
        inside = ((column >= -0.5) & (column <= columns - 0.5)
                  & (row >= -0.5) & (row <= rows - 0.5))
        found = map_coordinates(self.heights, [np.clip(row, 0, rows - 1),
                                               np.clip(column, 0, columns - 1)],
                                order=1, mode="nearest", output=np.float64)
        return np.where(inside, found, np.nan).reshape(shape)

    def named(self, x: float, y: float) -> str:
        """A point of the working frame as a person knows it: in the raster's own CRS."""
        sx, sy = self.frame.to_source(x, y)
        degrees = self.frame.source is not None and self.frame.source.is_geographic
        places = 6 if degrees else 1
        return f"{float(sx):.{places}f}, {float(sy):.{places}f}"

    def _hint(self, x: float, y: float) -> str:
        """What a person may have meant by a point off the raster."""
        west, south, east, north = self.bounds
        sx, sy = (float(v) for v in self.frame.to_source(x, y))
        tx, ty = (float(v) for v in self.frame.to_working(sy, sx))
        if west <= tx <= east and south <= ty <= north:
            return "Its two numbers look swapped: x comes before y, longitude before latitude"
        if abs(sx) <= 180 and abs(sy) <= 90 and (self.frame.source is not None
                                                 and not self.frame.source.is_geographic):
            return ("If these are longitude and latitude, say so (--lonlat on the command line, "
                    "points: lonlat in the site file)")
        return "Move the point, or use a raster that reaches it"

    def _beyond(self, x: float, y: float) -> str:
        west, south, east, north = self.bounds
        gaps = {"west": west - x, "east": x - east, "south": south - y, "north": y - north}
        side = max(gaps, key=lambda name: gaps[name])
        return f"{max(gaps[side], 1):,.0f} m {side}"


def read_elevation(path: Path, *, crs: str | None = None, plan_unit: str | None = None,
                   height_unit: str | None = None, nodata: float | None = None) -> Dem:
    """Read an elevation raster into a `Dem`.

    Parameters
    ----------
    path : Path
        Anything rasterio opens, with one band of heights.
    crs : str, optional
        The CRS, where the file states none.
    plan_unit : {"m", "ft", "us-ft"}, optional
        The unit of the plan, where there is no CRS at all.
    height_unit : {"m", "ft", "us-ft"}, optional
        The unit of the heights, where the file does not state it or states it wrongly.
    nodata : float, optional
        A value that marks holes, beside the one the file declares.

    Raises
    ------
    InputError
        If the file is missing, no raster, has several bands, or does not say enough of itself.
    """
    import rasterio
    from rasterio.errors import RasterioError

    path = Path(path)
    if not path.exists():
        raise InputError(str(path), "there is no such file",
                         "Check the name of the elevation raster")
    try:
        source = rasterio.open(path)
    except RasterioError:
        raise InputError(str(path), "this is not a raster that can be read",
                         "Give an elevation raster such as a GeoTIFF") from None
    with source:
        if source.count != 1:
            raise InputError(str(path), f"it has {source.count} bands, as a picture has",
                             "Give a raster with one band of heights")
        if source.width * source.height > MOST_CELLS:
            raise InputError(str(path), f"it has {source.width * source.height:,} cells, more than "
                             f"the {MOST_CELLS:,} that are read at once",
                             "Cut it to the property and the slopes above it")
        if np.dtype(source.dtypes[0]).kind not in "iuf":
            raise InputError(str(path), f"its values are of type {source.dtypes[0]}, not heights",
                             "Give a raster with one band of heights")
        if source.transform.is_identity and not source.gcps[0]:
            raise InputError(str(path), "it does not say where its cells lie or how large they are",
                             "Export it again with its georeference, or with its world file")
        try:
            masked = source.read(1, masked=True)
        except RasterioError:
            raise InputError(str(path), "its cells cannot be read; the file may be cut short",
                             "Fetch or export it again") from None
        stated, transform, band_unit = source.crs, source.transform, source.units[0]
    heights = masked.astype(np.float32).filled(np.nan)
    if nodata is not None:
        heights[masked.data == nodata] = np.nan
    heights[~np.isfinite(heights)] = np.nan

    notes: list[str] = []
    own = _crs(path, stated, crs, plan_unit)
    factor, how = _height_factor(path, own, plan_unit, band_unit, height_unit)
    if how:
        notes.append(how)
    if factor != 1.0:
        heights = (heights.astype(np.float64) * factor).astype(np.float32)
    heights, holes = _without_impossible(heights)
    notes += holes
    _refuse_empty(path, heights)
    datum = _height_datum(own)
    notes.append(f"Heights are relative to {datum}." if datum else
                 "The file does not say which height datum its heights are on; levels are relative "
                 "to the raster itself.")

    if own is None:
        unit = METRES[plan_unit or "m"]
        frame = Frame(None, None, unit)
        transform = Affine.scale(unit) * transform
        notes.append(f"The raster has no CRS; its plan is taken in {plan_unit} as stated.")
    elif own.is_geographic:
        height, width = heights.shape
        middle = transform * (width / 2, height / 2)
        frame = Frame(own, plane_near(own, *middle))
        heights, transform = _warped(heights, transform, own, frame.working)
        notes.append(f"The raster is in degrees; it was moved onto {frame.working.name} "  # type: ignore[union-attr]
                     f"with cells of {transform.a:.2f} m.")
    else:
        frame = Frame(own, in_metres(own))
        unit = own.axis_info[0].unit_conversion_factor
        if unit != 1.0:
            transform = Affine.scale(unit) * transform
            notes.append(f"The plan is in {own.axis_info[0].unit_name}; it is worked in metres.")
    heights, transform, squared = _square(heights, transform)
    notes += squared
    if transform.a > TOO_COARSE:
        notes.append(f"Cells of {transform.a:.1f} m are too coarse to size or set out earthworks: "
                     "take the answers as hints of where to look.")
    return Dem(np.ascontiguousarray(heights, dtype=np.float32), transform.c, transform.f,
               transform.a, frame, path.name, tuple(notes))


def _crs(path: Path, stated: Any, given: str | None, plan_unit: str | None) -> CRS | None:
    if stated is None and given is None:
        if plan_unit is None:
            raise InputError(str(path), "it has no coordinate system, so the size of its cells is "
                             "not known", "State its CRS (crs: EPSG:..., or --crs), or the unit of "
                             "its plan (plan unit: m, or --plan-unit m)")
        return None
    try:
        wanted = CRS.from_user_input(given) if given is not None else None
    except Exception:
        raise InputError(str(path), f"the stated CRS '{given}' is not known",
                         "Give one such as EPSG:32734") from None
    if stated is None:
        return wanted
    own = CRS.from_user_input(stated)
    if wanted is not None and not own.equals(wanted, ignore_axis_order=True):
        raise InputError(str(path), f"the file says its CRS is {own.name}, but {wanted.name} was "
                         "stated", "Leave the CRS out, or correct the file")
    return own


def _height_factor(path: Path, own: CRS | None, plan_unit: str | None, band_unit: str | None,
                   given: str | None) -> tuple[float, str | None]:
    """Metres per height unit, and how that is known where the file does not say so itself."""
    written = (band_unit or "").strip().lower()
    known = {"metre": "m", "meter": "m", "metres": "m", "meters": "m", "m": "m",
             "foot": "ft", "feet": "ft", "ft": "ft", "international foot": "ft",
             "us survey foot": "us-ft", "us-ft": "us-ft", "ftus": "us-ft",
             "us survey feet": "us-ft"}.get(written)
    if known is None and own is not None and len(own.axis_info) > 2:
        name = own.axis_info[2].unit_name.lower()
        known = "m" if name.startswith("met") else "us-ft" if "survey" in name else "ft"
    if given is not None:
        if known is not None and METRES[known] != METRES[given]:
            return METRES[given], (f"The file says its heights are in {known}; they were taken in "
                                   f"{given} as stated.")
        return METRES[given], None if known else f"Heights were taken in {given} as stated."
    if known is not None:
        return METRES[known], (None if known == "m" else
                               f"Heights in {known} were turned into metres.")
    unit = METRES.get(plan_unit or "m", 1.0) if own is None else (
        1.0 if own.is_geographic else own.axis_info[0].unit_conversion_factor)
    if unit != 1.0:
        raise InputError(str(path), "its plan is in feet and it does not say whether its heights "
                         "are in feet or metres", "State it (height unit: ft or m, or "
                         "--height-unit)")
    return 1.0, "The file does not say the unit of its heights; they were taken in metres."


def _without_impossible(heights: NDArray[np.float32]) -> tuple[NDArray[np.float32], list[str]]:
    with np.errstate(invalid="ignore"):
        bad = (heights < LOWEST) | (heights > HIGHEST)
    if not bad.any():
        return heights, []
    value = float(heights[bad].flat[0])
    heights = heights.copy()
    heights[bad] = np.nan
    return heights, [f"{int(bad.sum()):,} cells hold heights no land on Earth has (such as "
                     f"{value:,.0f} m); they were taken as holes. If that value marks holes, "
                     "declare it as nodata."]


def _refuse_empty(path: Path, heights: NDArray[np.float32]) -> None:
    rows, columns = heights.shape
    if rows < 3 or columns < 3:
        raise InputError(str(path), f"it is only {columns} by {rows} cells",
                         "Give a raster of at least 3 by 3 cells")
    if not np.isfinite(heights).any():
        raise InputError(str(path), "not one of its cells holds a height",
                         "Check the file and its nodata value")


def _height_datum(own: CRS | None) -> str | None:
    if own is None:
        return None
    vertical = [part for part in own.sub_crs_list if part.is_vertical]
    return vertical[0].name if vertical else None


def _warped(heights: NDArray[np.float32], transform: Affine, own: CRS, to: CRS | None
            ) -> tuple[NDArray[np.float32], Affine]:
    from rasterio.crs import CRS as RasterCRS
    from rasterio.transform import array_bounds
    from rasterio.warp import Resampling, calculate_default_transform, reproject

    start = RasterCRS.from_wkt(own.to_2d().to_wkt())
    end = start if to is None else RasterCRS.from_wkt(to.to_wkt())
    rows, columns = heights.shape
    moved, width, height = calculate_default_transform(
        start, end, columns, rows, *array_bounds(rows, columns, transform))
    out = np.full((height, width), np.nan, np.float32)
    reproject(heights, out, src_transform=transform, src_crs=start, dst_transform=moved,
              dst_crs=end, src_nodata=np.nan, dst_nodata=np.nan, resampling=Resampling.bilinear)
    return out, moved


def _square(heights: NDArray[np.float32], transform: Affine
            ) -> tuple[NDArray[np.float32], Affine, list[str]]:
    """Make a grid square and north up, by bilinear resampling where it is not."""
    a, b, d, e = transform.a, transform.b, transform.d, transform.e
    level = abs(b) < 1e-9 * abs(a) and abs(d) < 1e-9 * abs(e) if a and e else False
    if level and a > 0 and e < 0 and abs(a + e) < 1e-6 * a:
        return heights, transform, []
    if level and a > 0 and e > 0 and abs(a - e) < 1e-6 * a:
        rows = heights.shape[0]
        return heights[::-1], Affine(a, 0, transform.c, 0, -e, transform.f + rows * e), []
    from scipy.ndimage import map_coordinates

    rows, columns = heights.shape
    corners = [transform * at for at in ((0, 0), (columns, 0), (0, rows), (columns, rows))]
    xs, ys = zip(*corners, strict=True)
    cell = min(np.hypot(a, d), np.hypot(b, e))
    width = max(int(np.ceil((max(xs) - min(xs)) / cell - 1e-6)), 1)
    height = max(int(np.ceil((max(ys) - min(ys)) / cell - 1e-6)), 1)
    new = Affine(cell, 0, min(xs), 0, -cell, max(ys))
    column, row = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    old_column, old_row = ~transform * (new * (column, row))
    inside = (old_column >= 0) & (old_column <= columns) & (old_row >= 0) & (old_row <= rows)
    out = map_coordinates(heights, [np.clip(old_row - 0.5, 0, rows - 1),
                                    np.clip(old_column - 0.5, 0, columns - 1)], order=1)
    out = np.where(inside, out, np.nan).astype(np.float32)
    kind = "turned against north" if not level else "not square"
    return out, new, [f"The raster's cells are {kind}; it was resampled to squares of "
                      f"{cell:.2f} m."]
