"""The ground as works leave it freshly built: levels dug and heaped, on a fine grid."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem

FloatArray = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

#: A patch has about so many cells across the narrowest part of its work.
ACROSS = 10
#: No patch has more cells than about this.
MOST_CELLS = 2_000_000
#: Ground that changes by less is not counted as changed. [m]
UNCHANGED = 1e-6


@dataclass(frozen=True)
class Grid:
    """Square cells on the working frame, north up; positions of their centres. [m]"""

    left: float
    top: float
    cell: float
    rows: int
    columns: int

    @cached_property
    def x(self) -> FloatArray:
        """East of each column, shape (columns,). [m]"""
        return np.asarray(self.left + (np.arange(self.columns) + 0.5) * self.cell, np.float64)

    @cached_property
    def y(self) -> FloatArray:
        """North of each row, shape (rows,). [m]"""
        return np.asarray(self.top - (np.arange(self.rows) + 0.5) * self.cell, np.float64)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.columns

    def window(self, bounds: Bounds) -> tuple[slice, slice]:
        """Rows and columns whose centres may lie within bounds."""
        west, south, east, north = bounds

        def limits(low: float, high: float, count: int) -> slice:
            first = min(max(int(np.floor(low / self.cell)), 0), count)
            return slice(first, max(min(int(np.ceil(high / self.cell)) + 1, count), first))

        return (limits(self.top - north, self.top - south, self.rows),
                limits(west - self.left, east - self.left, self.columns))

    def part(self, rows: slice, columns: slice) -> Grid:
        """A window of it."""
        return Grid(self.left + columns.start * self.cell, self.top - rows.start * self.cell,
                    self.cell, rows.stop - rows.start, columns.stop - columns.start)

    def heights(self, dem: Dem) -> FloatArray:
        """The raster's ground at its centres; NaN where unknown. [m]"""
        return dem.height_at(*np.meshgrid(self.x, self.y))


def grid_over(bounds: Bounds, cell: float, origin: tuple[float, float]) -> Grid:
    """A grid that covers bounds, its lines at whole cells from an origin. [m]"""
    west, south, east, north = bounds
    left, top = (int(np.floor(v / cell)) for v in (west - origin[0], origin[1] - north))
    right, bottom = (int(np.ceil(v / cell)) for v in (east - origin[0], origin[1] - south))
    return Grid(origin[0] + left * cell, origin[1] - top * cell, cell, max(bottom - top, 1),
                max(right - left, 1))


@dataclass(frozen=True)
class Breakline:
    """A line at which the designed ground bends.

    Attributes
    ----------
    name : str
        Such as "toe" or "sill".
    points : float64, shape (n, 3)
        East, north, level. [m]
    """

    name: str
    points: FloatArray


@dataclass(frozen=True)
class WorkShape:
    """What a work makes of the ground.

    Attributes
    ----------
    work, part : str
        Its name; "" or what part of it this is.
    bounds : (west, south, east, north)
        Beyond which it changes nothing. [m]
    narrowest : float
        Width of its narrowest part. [m]
    levels : callable
        Gives at the centres of a `Grid` the level dug down to, infinite where nothing is dug, and
        the level heaped up to, minus infinite where nothing is heaped. [m]
    breaklines : tuple of Breakline
    crests : tuple of float64, shape (n, 3)
        Lines that no water crosses below their level. [m]
    sill : float64, shape (n, 2), or None
        The line over which it spills. [m]
    level : float
        Of that sill. [m]
    pool : shapely geometry or None
        Ground in which its water stands.
    for_water : callable or None
        Levels as `levels`, of open ground that holds as much as the gravel that fills this.
    """

    work: str
    bounds: Bounds
    narrowest: float
    levels: Callable[[Grid], tuple[FloatArray, FloatArray]]
    breaklines: tuple[Breakline, ...] = ()
    crests: tuple[FloatArray, ...] = ()
    sill: FloatArray | None = None
    level: float = float("nan")
    pool: Any = None
    for_water: Callable[[Grid], tuple[FloatArray, FloatArray]] | None = None
    part: str = ""

    @property
    def name(self) -> str:
        """The work's name, and the part's."""
        return f"{self.work}, {self.part}" if self.part else self.work

    def made(self, grid: Grid, before: FloatArray) -> FloatArray:
        """The ground at a grid's centres once this is built: dug first, then heaped. [m]"""
        dug, heaped = self.levels(grid)
        return np.maximum(np.minimum(before, dug), heaped)


@dataclass(frozen=True)
class Patch:
    """The ground about one work before and after it is built.

    Attributes
    ----------
    shape : WorkShape
    left, top, cell : float
        Upper left corner, and side of a cell. [m]
    ground, design : float64, shape (rows, columns)
        The raster's ground, interpolated, and the work in it. [m]
    """

    shape: WorkShape
    left: float
    top: float
    cell: float
    ground: FloatArray
    design: FloatArray

    @property
    def breaklines(self) -> tuple[Breakline, ...]:
        """Lines at which the designed ground bends."""
        return self.shape.breaklines

    @property
    def change(self) -> FloatArray:
        """Fill above 0, cut below; 0 where the ground is not known. [m]"""
        return np.nan_to_num(self.design - self.ground)

    @property
    def cut(self) -> float:
        """Earth dug, bank measure. [m3]"""
        return float(np.maximum(-self.change, 0.0).sum()) * self.cell**2

    @property
    def fill(self) -> float:
        """Earth heaped, as built. [m3]"""
        return float(np.maximum(self.change, 0.0).sum()) * self.cell**2

    @property
    def grid(self) -> Grid:
        """Its cells."""
        return Grid(self.left, self.top, self.cell, *self.ground.shape)


def patch_cell(shape: WorkShape) -> float:
    """Side of the cells that a work is modelled on. [m]"""
    west, south, east, north = shape.bounds
    most = np.sqrt((east - west) * (north - south) / MOST_CELLS)
    return float(max(shape.narrowest / ACROSS, most))


def patch_of(dem: Dem, shape: WorkShape, cell: float | None = None) -> Patch:
    """Model a work on the raster's ground.

    Parameters
    ----------
    cell : float, optional
        A tenth of the narrowest part if left out, or what makes 2 million cells. [m]
    """
    cell = patch_cell(shape) if cell is None else cell
    grid = grid_over(shape.bounds, cell, (dem.left, dem.top))
    ground = grid.heights(dem)
    return Patch(shape, grid.left, grid.top, cell, ground, shape.made(grid, ground))


@dataclass(frozen=True)
class Along:
    """Places of a grid by a line; each array has the grid's shape, NaN out of reach. [m]

    Attributes
    ----------
    chainage : float64
        Of the nearest point of the line.
    off : float64
        Distance square to it, above 0 on its left; past an end square to the end's direction.
    past : float64
        How far past the line's end, or its start, along the direction there; 0 beside the line.
    """

    chainage: FloatArray
    off: FloatArray
    past: FloatArray

    @property
    def distance(self) -> FloatArray:
        """From the line. [m]"""
        return np.hypot(self.off, self.past)


def along(line: FloatArray, grid: Grid, reach: float) -> Along:
    """Chainage and offset of each cell within a reach of a line.

    Parameters
    ----------
    line : float64, shape (points, 2)
        [m]
    reach : float
        [m]
    """
    best = np.full(grid.shape, reach)
    chainage, off, past = (np.full(grid.shape, np.nan) for _ in range(3))
    start, last = 0.0, len(line) - 2
    for i, (first, second) in enumerate(pairwise(line)):
        long = float(np.hypot(*(second - first)))
        if not long:
            continue
        way = (second - first) / long
        west, south = np.minimum(first, second) - reach
        east, north = np.maximum(first, second) + reach
        window = grid.window((west, south, east, north))
        x, y = grid.x[window[1]][None, :] - first[0], grid.y[window[0]][:, None] - first[1]
        ahead, left = x * way[0] + y * way[1], y * way[0] - x * way[1]
        over = ahead - np.clip(ahead, 0.0, long)
        gap = np.hypot(over, left)
        nearer = gap < best[window]
        ended = ((over < 0) & (i == 0)) | ((over > 0) & (i == last))
        best[window] = np.where(nearer, gap, best[window])
        for field, value in ((chainage, start + ahead - over),
                             (off, np.where(ended, left, np.copysign(gap, left))),
                             (past, np.where(ended, np.abs(over), 0.0))):
            field[window] = np.where(nearer, value, field[window])
        start += long
    return Along(chainage, off, past)


def level_line(xy: FloatArray, level: float | FloatArray) -> FloatArray:
    """Points of a line with a level each, shape (n, 3). [m]"""
    return np.column_stack([xy, np.broadcast_to(level, len(xy))])


def bounds_of(points: FloatArray, reach: float) -> Bounds:
    """Bounds of points, so much wider. [m]"""
    west, south = points[:, :2].min(axis=0) - reach
    east, north = points[:, :2].max(axis=0) + reach
    return float(west), float(south), float(east), float(north)


def joined(parts: Iterable[Bounds]) -> Bounds:
    """Bounds that hold others."""
    west, south, east, north = zip(*parts, strict=True)
    return min(west), min(south), max(east), max(north)


def met(dem: Dem, starts: FloatArray, ways: FloatArray, levels: FloatArray, slope: float,
        far: float) -> FloatArray:
    """Where sides that rise (or fall, below 0) evenly come to the ground.

    Parameters
    ----------
    starts, ways : float64, shape (n, 2)
        Where they begin, and unit vectors outward. [m]
    levels : float64, shape (n,)
        Where they begin. [m]
    slope : float
        Vertical over horizontal: above 0 for the side of a cut, below for that of a bank. [-]
    far : float
        They are followed no further. [m]

    Returns
    -------
    feet : float64, shape (n, 3)
        Those that meet no ground so far out end there; those that begin beyond it, there. [m]
    """
    out = np.linspace(0.0, far, 400)
    at = starts[:, None, :] + out[None, :, None] * ways[:, None, :]
    ground = dem.height_at(at[..., 0], at[..., 1])
    over = np.sign(slope) * (levels[:, None] + slope * out[None, :] - ground)
    there = np.argmax(over >= 0, axis=1)
    there = np.where((over >= 0).any(axis=1), there, len(out) - 1)
    each = np.arange(len(starts))
    return np.column_stack([at[each, there], ground[each, there]])
