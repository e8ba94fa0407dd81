"""`Dem`: heights of the ground on a square grid in the working frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rasterio.transform import Affine

from terrain.errors import InputError
from terrain.inputs.frame import Frame
from terrain.units import either

#: What to do about a point whose two numbers lie on the elevation the other way round.
SWAPPED = "Its two numbers look swapped: x comes before y, longitude before latitude"
#: Two numbers look swapped where the place comes so many times nearer by it.
MUCH_NEARER = 20


class Extent(Protocol):
    """Where elevation lies: a `Dem`, or files opened and not read yet."""

    @property
    def source(self) -> str:
        """What to call it in messages."""

    @property
    def frame(self) -> Frame:
        """The working frame."""

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge in the working frame. [m]"""


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
    goes_on : tuple of four bool
        Whether the source goes on beyond the west, south, east and north side; all False where
        the whole of it was read.
    filled_holes : bool, shape (rows, columns)
        Where a small hole was filled from its rim.
    part_of : (left, top, row, column), optional
        The upper left corner of the whole grid that this is a window of, in the working frame [m],
        and the row and column of the whole at which the window begins; left out, it is the whole.
    """

    heights: NDArray[np.float32]
    left: float
    top: float
    cell: float
    frame: Frame
    source: str = "the raster"
    notes: tuple[str, ...] = field(default=())
    goes_on: tuple[bool, bool, bool, bool] = (False, False, False, False)
    filled_holes: NDArray[np.bool_] = field(default=None)  # type: ignore[arg-type]
    part_of: tuple[float, float, int, int] | None = None

    def __post_init__(self) -> None:
        if self.filled_holes is None:  # one False stands for all: it takes no memory
            object.__setattr__(self, "filled_holes", np.broadcast_to(np.False_,
                                                                     self.heights.shape))
        if self.part_of is not None:  # a window that was cut or refined is a whole of its own
            left, top, row, column = self.part_of
            apart = (abs(left + column * self.cell - self.left)
                     + abs(top - row * self.cell - self.top))
            if apart > 1e-3 * self.cell:
                object.__setattr__(self, "part_of", None)

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
    def lattice(self) -> tuple[float, float, int, int]:
        """As `part_of`; of a whole grid its own corner, and 0 and 0."""
        return self.part_of or (self.left, self.top, 0, 0)

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
        refuse_beyond(self, x, y, where)
        row, column = (int(i) for i in self.row_column(x, y))
        if np.isnan(self.heights[row, column]):
            raise InputError(where, f"the point {self.named(x, y)} lies where {self.source} has "
                             "no height", "Move the point, or use a raster without that hole")
        return row, column

    def height_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Heights by bilinear interpolation between cell centres; NaN in voids. [m]"""
        from terrain.inputs.bilinear import bilinear

        across, up = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        found = np.empty(across.size)
        bilinear(self.heights, across.ravel(), up.ravel(), self.left, self.top, self.cell, found)
        return found.reshape(across.shape)

    def named(self, x: float, y: float) -> str:
        """A point of the working frame as a person knows it: in the raster's own CRS."""
        return named(self.frame, x, y)


def named(frame: Frame, x: float, y: float) -> str:
    """A point of the working frame in the raster's own CRS."""
    sx, sy = frame.to_source(x, y)
    places = 6 if frame.source is not None and frame.source.is_geographic else 1
    return f"{float(sx):.{places}f}, {float(sy):.{places}f}"


def placed_on(extent: Extent, given: tuple[float, float], lonlat: bool, where: str
           ) -> tuple[float, float]:
    """A point as a person gives it, in the working frame, on the elevation. [m]

    Parameters
    ----------
    given : (x, y)
        Longitude and latitude, if `lonlat`; else in the raster's own CRS.

    Raises
    ------
    InputError
        `where` says whose point it is.
    """
    frame = extent.frame
    if not lonlat:
        x, y = (float(v) for v in frame.to_working(*given))
        refuse_beyond(extent, x, y, where)
        return x, y
    if not (abs(given[0]) <= 360 and abs(given[1]) <= 90):
        own = _within(extent, *(float(v) for v in frame.to_working(*given)))
        swapped = abs(given[1]) <= 360 and abs(given[0]) <= 90
        raise InputError(where, f"{given[0]:.10g}, {given[1]:.10g} is no longitude and latitude "
                         "in degrees",
                         "Write the longitude first" if swapped else
                         "Leave out --lonlat (in a site file, points: lonlat), as in its own "
                         f"coordinates the point lies on {extent.source}" if own else
                         "Write degrees, the longitude first, such as 21.0064,-32.5374, or leave "
                         "out --lonlat (in a site file, points: lonlat)")
    x, y = (float(v) for v in frame.from_lonlat(*given))
    if not _within(extent, x, y) and abs(given[0]) <= 90 and _much_nearer(
            extent, frame.from_lonlat(given[1], given[0]), (x, y)):
        raise InputError(where, f"the point {given[0]:.10g}, {given[1]:.10g} lies off "
                         f"{extent.source}", SWAPPED)
    refuse_beyond(extent, x, y, where)
    return x, y


def _much_nearer(extent: Extent, place: tuple[Any, Any], than: tuple[float, float]) -> bool:
    """Whether one point lies on the elevation, or by far nearer to it than another."""
    west, south, east, north = extent.bounds
    middle = np.array([(west + east) / 2, (south + north) / 2])
    off, far = (float(np.hypot(*(middle - np.array(one, float)))) for one in (place, than))
    return _within(extent, float(place[0]), float(place[1])) or off * MUCH_NEARER < far


def _within(extent: Extent, x: float, y: float) -> bool:
    """Whether a point of the working frame lies on the elevation."""
    west, south, east, north = extent.bounds
    return west <= x < east and south < y <= north


def refuse_beyond(extent: Extent, x: float, y: float, where: str) -> None:
    """Refuse a point off the elevation.

    Raises
    ------
    InputError
        `where` says whose point it is.
    """
    if not (np.isfinite(x) and np.isfinite(y)):
        raise InputError(where, f"the point cannot be placed on {extent.source}",
                         "Check that x comes before y, longitude before latitude, and that only "
                         "degrees are called longitude and latitude")
    if _within(extent, x, y):
        return
    west, south, east, north = extent.bounds
    gaps = {"west": west - x, "east": x - east, "south": south - y, "north": y - north}
    side = max(gaps, key=lambda name: gaps[name])
    raise InputError(where, f"the point {named(extent.frame, x, y)} lies "
                     f"{_off(max(gaps[side], 1))} {side} of {extent.source}", _hint(extent, x, y))


def _off(gap: float) -> str:
    """How far a place lies off, in whole metres or feet."""
    return either(f"{gap:,.0f} m", gap, "length", 0)


def _hint(extent: Extent, x: float, y: float) -> str:
    """What a person may have meant by a point off the raster."""
    west, south, east, north = extent.bounds
    frame = extent.frame
    sx, sy = (float(v) for v in frame.to_source(x, y))
    tx, ty = (float(v) for v in frame.to_working(sy, sx))
    if west <= tx <= east and south <= ty <= north:
        return SWAPPED
    if abs(sx) <= 180 and abs(sy) <= 90 and (frame.source is not None
                                             and not frame.source.is_geographic):
        return ("If these are longitude and latitude, say so (--lonlat on the command line, "
                "points: lonlat in the site file)")
    return "Move the point, or use a raster that reaches it"
