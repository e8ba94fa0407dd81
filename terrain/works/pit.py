"""A pit in sloping ground: the earth it takes, and how far its sides reach."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.units import in_both
from terrain.works.polyline import distance_to, points_along
from terrain.works.store import Curve

FloatArray = NDArray[np.float64]

#: A pit's cut is summed over about so many cells.
CELLS = 40_000
#: Sides that reach ten times as far as on level ground are refused: the ground rises this share as
#: fast as they do; common practice, no source. [-]
STEEPEST = 0.9
#: Where it rises this share as fast they reach two and a half times as far, and that is advised;
#: common practice, no source. [-]
EASY = 0.6
#: What a refused pit may do about it.
REMEDY = ("Draw its sides at {batter:g}:1 or steeper, or move it to ground that rises less than "
          "{slope:.0%}")


@dataclass(frozen=True)
class Pit:
    """A pit in sloping ground.

    Its sides are drawn from the lowest ground on its rim: within it down at `batter` (H:V) to a
    level floor, and outside on up until they meet the ground.

    Attributes
    ----------
    shape : shapely Polygon
    level : float
        Of the lowest ground on its rim. [m]
    batter : float
        [-]
    at : float64, shape (n, 2)
        Cells that it may open. [m]
    ground, apart : float64, shape (n,)
        Their ground, and distance from its rim, below 0 inside. [m]
    cell_area : float
        Of each of those. [m2]
    runs_off : bool
        Its sides come to ground of unknown height before they meet the ground.
    """

    shape: Any
    level: float
    batter: float
    at: FloatArray
    ground: FloatArray
    apart: FloatArray
    cell_area: float
    runs_off: bool = False

    def surface(self, apart: FloatArray, depth: float) -> FloatArray:
        """Level of its floor and sides at distances from its rim, below 0 inside. [m]"""
        return sides(self.level, self.batter, apart, depth)

    def cut(self, depth: float) -> float:
        """Earth that it takes to dig it so deep, bank measure: below its level by the prismoidal
        rule, above it and where the ground within lies lower cell by cell. [m3]"""
        within = prismoidal(self.level, self.shape, depth, self.batter).capacity
        return within + self._above - self._open(depth)

    @cached_property
    def _above(self) -> float:
        over = np.maximum(self.ground - self.level, 0.0)
        if self.batter:
            over = np.maximum(over - np.maximum(self.apart, 0.0) / self.batter, 0.0)
        else:  # upright sides cut through cells: each counts by its share inside
            over *= np.clip(0.5 - self.apart / np.sqrt(self.cell_area), 0.0, 1.0)
        return float(over.sum()) * self.cell_area

    def _open(self, depth: float) -> float:
        """Of what it holds below its level, what lies open already. [m3]"""
        low = (self.apart < 0) & (self.ground < self.level)
        deep = self.level - self.surface(self.apart[low], depth)
        return float(np.minimum(self.level - self.ground[low], deep).sum()) * self.cell_area

    def area(self, depth: float) -> float:
        """Ground that it opens. [m2]"""
        return float((self.ground > self.surface(self.apart, depth)).sum()) * self.cell_area

    @property
    def beyond(self) -> float:
        """How far its sides reach beyond the drawn shape. [m]"""
        return float(np.max(self.apart, where=self._opened, initial=0.0))

    @property
    def _opened(self) -> NDArray[np.bool_]:
        return np.asarray(self.ground > self.surface(self.apart, 0.0))

    def away(self, places: FloatArray) -> FloatArray:
        """Distance of places, shape (n, 2), from the ground that it opens. [m]"""
        from scipy.spatial import KDTree
        from shapely import distance, points

        found = np.asarray(distance(self.shape, points(places)))
        beyond = self.at[self._opened & (self.apart > 0)]
        if len(beyond):
            found = np.minimum(found, KDTree(beyond).query(places)[0])
        return found

    def lowered(self, depth: float) -> Callable[[Dem], Dem]:
        """What gives the ground of a window with this pit in it."""
        def lower(fine: Dem) -> Dem:
            rows, columns = np.indices(fine.shape)
            x, y = fine.xy(rows.ravel(), columns.ravel())
            west, south, east, north = self.shape.buffer(self.beyond + fine.cell).bounds
            near = (x > west) & (x < east) & (y > south) & (y < north)
            heights = fine.heights.ravel().copy()
            pit = self.surface(apart_from(self.shape, x[near], y[near]), depth)
            heights[near] = np.minimum(heights[near], pit)
            return replace(fine, heights=heights.reshape(fine.shape).astype(np.float32))
        return lower


def pit_in(dem: Dem, shape: Any, batter: float, where: str, level: float | None = None,
           cells: int = CELLS, remedy: str = REMEDY) -> Pit:
    """A drawn pit on the raster's ground.

    Parameters
    ----------
    level : float, optional
        Of the lowest ground on its rim; left out, it is sought. [m]
    cells : int
        It is summed over about so many.
    remedy : str
        What to do about ground too steep for it: {batter} and {slope} are what would do.

    Raises
    ------
    InputError
        If the ground is so steep that its sides hardly meet it, or never do.
    """
    from scipy import ndimage

    if level is None:
        level, _, _ = lowest_of_rim(dem, shape)
    rim = points_along(_edge(shape), np.linspace(0.0, shape.exterior.length, 400))
    rise = max(float(np.nanmax(dem.height_at(*rim.T))) - level, 0.0)
    wide = float(np.sqrt(shape.area))
    furthest = max(batter * rise / (1 - STEEPEST), wide)
    reach = min(1.5 * batter * rise + 0.05 * wide, furthest)
    while True:
        x, y, cell = _grid(shape.buffer(reach + 0.05 * wide), cells)
        ground = dem.height_at(x, y)
        apart = apart_from(shape, x, y)
        opened, _ = ndimage.label((ground > sides(level, batter, apart, 0.0)) | (apart < 0))
        opened = np.isin(opened, np.unique(opened[apart < 0]))  # no hill that lies further out
        beyond = float(np.max(apart, where=opened, initial=0.0))
        if beyond < reach or reach >= furthest:
            break
        reach = min(2 * reach, furthest)
    runs_off = bool((np.isnan(ground) & ndimage.binary_dilation(opened)).any())
    if batter and (beyond > 0.95 * furthest or runs_off):
        far = opened & (apart > 0.7 * beyond) & (apart > 0)
        _refuse_steep(dem, shape, batter, (x[far], y[far], ground[far], apart[far]), where, remedy)
    known = np.isfinite(ground) & (opened | (apart < cell))
    return Pit(shape, level, batter, np.column_stack([x[known], y[known]]), ground[known],
               apart[known], cell * cell, runs_off)


def _refuse_steep(dem: Dem, shape: Any, batter: float, found: tuple[FloatArray, ...], where: str,
                  remedy: str) -> None:
    """Refuse a pit where the ground rises nearly as fast as its sides.

    Parameters
    ----------
    found : (x, y, ground, apart), float64, shape (n,)
        Cells far out that its sides have not come up to yet, and how far out. [m]
    """
    from shapely import get_x, get_y, line_interpolate_point, line_locate_point, points

    x, y, ground, apart = found
    if not apart.size:
        return
    edge = shape.exterior
    nearest = line_interpolate_point(edge, line_locate_point(edge, points(x, y)))
    slopes = (ground - dem.height_at(get_x(nearest), get_y(nearest))) / apart
    steepest = int(np.nanargmax(slopes))
    slope, out = float(slopes[steepest]), float(apart[steepest])
    if slope * batter >= STEEPEST - 1e-3:
        raise InputError(
            where, f"the ground beyond its rim rises {slope:.0%}, too steep for sides of "
            f"{batter:g}:1, which rise {1 / batter:.0%}: {in_both(out, 'length')} out they have "
            "not come up to it yet",
            remedy.format(batter=max(np.floor(10 * EASY / slope) / 10, 0.1), slope=EASY / batter))


def inset_area(shape: Any, inset: float) -> float:
    """Area of a shape drawn in by `inset` on all sides. [m2]"""
    if inset < 1e-9:  # the library makes nothing at all of so small a step
        return float(shape.area)
    return float(shape.buffer(-inset, join_style="mitre").area)


def prismoidal(level: float, shape: Any, depth: float, batter: float) -> Curve:
    """What a shape holds up to a level, by the prismoidal rule, exact for straight sides.

    Parameters
    ----------
    level : float
        Of its rim. [m]
    depth, batter : float
        Of its level floor below that [m]; of its sides, H:V. [-]
    """
    from shapely import area, buffer

    levels = np.linspace(0.0, depth, 41)
    insets = batter * np.linspace(depth, 0.0, 81)
    every = np.where(insets < 1e-9, shape.area, area(buffer(shape, -insets, join_style="mitre")))
    areas, middles = every[::2], every[1::2]
    slices = np.diff(levels) * (areas[1:] + 4 * middles + areas[:-1]) / 6
    return Curve(level - depth + levels, areas, np.concatenate([[0.0], np.cumsum(slices)]))


def lowest_of_rim(dem: Dem, shape: Any) -> tuple[float, float, float]:
    """Level and place of the lowest ground on the rim of a shape. [m]"""
    step = min(dem.cell, 1.0) / 2
    spots = points_along(_edge(shape), np.arange(0.0, shape.exterior.length, step))
    ground = dem.height_at(*spots.T)
    lowest = int(np.nanargmin(ground))
    return float(ground[lowest]), float(spots[lowest, 0]), float(spots[lowest, 1])


def apart_from(shape: Any, x: FloatArray, y: FloatArray) -> FloatArray:
    """Distance of points from a shape's edge, below 0 inside. [m]"""
    from shapely import contains_xy

    away = distance_to(_edge(shape), x, y)
    return np.where(contains_xy(shape, x, y), -away, away)


def _edge(shape: Any) -> FloatArray:
    return np.asarray(shape.exterior.coords, np.float64)[:, :2]


def sides(level: float, batter: float, apart: FloatArray, depth: float) -> FloatArray:
    """Level of a pit's floor and sides at distances from its rim, below 0 inside. [m]"""
    if batter == 0:
        return np.where(apart < 0, level - depth, np.inf)
    return level + np.maximum(apart / batter, -depth)


def _grid(shape: Any, cells: int) -> tuple[FloatArray, FloatArray, float]:
    """Centres of square cells over a shape's bounds, shape (rows, columns), and their side. [m]"""
    west, south, east, north = shape.bounds
    cell = float(np.sqrt((east - west) * (north - south) / cells))
    x, y = np.meshgrid(np.arange(west + cell / 2, east, cell),
                       np.arange(south + cell / 2, north, cell))
    return x, y, cell
