"""Lines of the ground for the bench's map: contours with their levels, and ways of the water."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.bench.layers.thinned import thinned
from terrain.inputs.dem import Dem
from terrain.outputs.drawing.base_map import (
    INTERVALS,
    View,
    contour_interval,
    flow_lines,
    window,
)
from terrain.surface.contours import contour_lines_at
from terrain.surface.terrain import Terrain
from terrain.units import shown
from terrain.works.swale import smoothed

FloatArray = NDArray[np.float64]

#: A line leaves the one that was traced by no more than this, in cells of the ground shown: little,
#: so that it stays round when a page is zoomed in, or half a cell where that makes too many points.
ASIDE = (0.15, 0.5)
#: All contours together have no more points than this, or a page would stutter.
MOST_POINTS = 200_000
#: Points of a screen that the longer side of what is shown fills: contours stand apart by it.
ACROSS = 1000.0
#: Contours stand this far apart on ground of the typical slope. [points of a screen]
APART = 13.0
#: Rings and scraps shorter than this are left out. [points of a screen]
SHORTEST = 18.0
#: Levels are written on lines as long as this, about so far apart. [points of a screen]
LONG_ENOUGH, LABELS_APART = 90.0, 420.0
#: A level stands on the straightest of so many places, over this length. [-], [points of a screen]
TRIED, UNDER_LABEL = 9, 40.0
#: Ways of the water are drawn from where this share of the ground shown gathers, but no less than
#: so many cells. [-]
GATHERED, LEAST_CELLS = 1 / 400, 60
#: Ways of the water are drawn over no more than so many cells.
MOST_WET = 60_000


@dataclass(frozen=True)
class Label:
    """A level beside its contour: where [m], how it is turned [rad, counter-clockwise from east,
    never upside down], and its words."""

    x: float
    y: float
    angle: float
    words: str


@dataclass(frozen=True)
class Contours:
    """Contours of the ground.

    Attributes
    ----------
    interval : float
        Between two neighbours; a round number of the site's unit. [m]
    thin, heavy : list of float64, shape (points, 2)
        Lines between, and every fifth. [m]
    levels, heavy_levels : list of float
        Of each line of `thin` and of `heavy`. [m]
    labels : list of Label
        On heavy lines.
    words : str
        E.g. "Contours every 1 m".
    """

    interval: float
    thin: list[FloatArray]
    heavy: list[FloatArray]
    levels: list[float]
    heavy_levels: list[float]
    labels: list[Label]
    words: str

    @property
    def points(self) -> int:
        """Of all lines."""
        return sum(len(line) for line in (*self.thin, *self.heavy))


@dataclass(frozen=True)
class FlowWay:
    """A way of the water from one junction to the next.

    Its line [m], the ground that drains to its end [m2], and how wide it is drawn. [points of a
    screen]
    """

    line: FloatArray
    area: float
    width: float


@dataclass(frozen=True)
class FlowWays:
    """Where water gathers: the ways, and the least ground that makes one. [m2]"""

    ways: list[FlowWay]
    least: float
    words: str


def contours(dem: Dem, system: str, bounds: tuple[float, float, float, float] | None = None,
             across: float = ACROSS) -> Contours:
    """Contours at an interval that suits the relief of what is shown.

    Parameters
    ----------
    dem : Dem
    system : {"metric", "us"}
        The interval is a round number of metres or of feet.
    bounds : (west, south, east, north), optional
        What is shown; all of the raster if left out. [m]
    across : float
        How many points of a screen its longer side fills.

    Returns
    -------
    contours : Contours
        Of the ground smoothed as the printed map's is, thinned first where it is finer than a
        screen shows; within half a cell of that ground's own lines, and of at most `MOST_POINTS`
        points together, for which the interval grows if it must.

    Raises
    ------
    ValueError
        If there is not a cell of the raster in the bounds.
    """
    dem = dem if bounds is None else _part(dem, bounds)
    ground = thinned(dem)
    west, south, east, north = ground.bounds
    point = max(east - west, north - south) / across
    if min(ground.shape) < 2 or not np.isfinite(ground.heights).any():
        return Contours(0.0, [], [], [], [], [], "No contours: no ground is known here")
    ground = smoothed(ground)
    interval = contour_interval(ground, point, system, APART)
    while True:
        traced = _traced(ground, interval, SHORTEST * point)
        for aside in ASIDE:
            made = _made(*traced, aside * ground.cell, interval, point, system)
            if made.points <= MOST_POINTS:
                return made
        interval = _next(interval, system)


def _part(dem: Dem, bounds: tuple[float, float, float, float]) -> Dem:
    rows, columns = window(dem, View(*bounds, 1.0))
    heights = dem.heights[rows, columns]
    if not heights.size:
        raise ValueError("the raster has no ground there")
    return replace(dem, heights=heights, left=dem.left + columns.start * dem.cell,
                   top=dem.top - rows.start * dem.cell, filled_holes=np.broadcast_to(
                       np.False_, heights.shape))


def _next(interval: float, system: str) -> float:
    """The next larger round interval. [m]"""
    unit = 0.3048 if system == "us" else 1.0
    return next((step * unit for step in INTERVALS if step * unit > interval * 1.001),
                2 * interval)


def _traced(ground: Dem, interval: float, shortest: float
            ) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Lines of all levels as shapely ones, and how many intervals each stands above 0."""
    low, high = float(np.nanmin(ground.heights)), float(np.nanmax(ground.heights))
    counts = range(int(np.ceil(low / interval)), int(np.floor(high / interval)) + 1)
    found = contour_lines_at(ground, [count * interval for count in counts])
    numbers = np.array([count for count, lines in zip(counts, found, strict=True) for _ in lines],
                       np.int64)
    shapes = np.empty(numbers.size, object)
    shapes[:] = [shapely.LineString(line) for lines in found for line in lines]
    long = shapely.length(shapes) >= shortest
    return numbers[long], shapes[long]


def _made(numbers: NDArray[np.int64], shapes: NDArray[Any], aside: float, interval: float,
          point: float, system: str) -> Contours:
    """Traced lines simplified, told apart and lettered."""
    lines = [shapely.get_coordinates(shape) for shape in
             shapely.simplify(shapes, aside, preserve_topology=False)]
    index = numbers % 5 == 0
    heavy = [line for line, chosen in zip(lines, index, strict=True) if chosen]
    heavy_levels = [float(n) * interval for n in numbers[index]]
    labels = [label for line, level in zip(heavy, heavy_levels, strict=True)
              for label in _labels(line, _written(level, interval, system), point)]
    return Contours(interval, [line for line, chosen in zip(lines, index, strict=True)
                               if not chosen], heavy,
                    [float(n) * interval for n in numbers[~index]], heavy_levels, labels,
                    f"Contours every {_every(interval, system)}")


def _every(interval: float, system: str) -> str:
    return (f"{interval / 0.3048:g} ft" if system == "us" else f"{interval:g} m")


def _written(level: float, interval: float, system: str) -> str:
    """A heavy line's level without its unit, with no more decimals than it needs."""
    unit = 0.3048 if system == "us" else 1.0
    step = 5 * interval / unit
    return f"{level / unit:,.{0 if abs(step - round(step)) < 1e-6 else 1}f}"


def _labels(line: FloatArray, words: str, point: float) -> list[Label]:
    """Places for a line's level: the straightest ones, about `LABELS_APART` from each other."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    total, reach = float(along[-1]), UNDER_LABEL * point / 2
    if total < LONG_ENOUGH * point:
        return []
    count = max(round(total / (LABELS_APART * point)), 1)
    # Of each stretch its middle half is searched, so that levels keep apart.
    shares = (np.arange(count)[:, None] + np.linspace(0.25, 0.75, TRIED)) / count
    middles = shares * total

    def at(stations: FloatArray) -> FloatArray:
        return np.stack([np.interp(stations, along, line[:, k]) for k in (0, 1)], -1)
    start, middle, end = (at(middles + shift) for shift in (-reach, 0.0, reach))
    chord = np.hypot(*np.moveaxis(end - start, -1, 0))
    best = chord.argmax(axis=1)
    labels = []
    for row, column in enumerate(best):
        across, up = end[row, column] - start[row, column]
        angle = float(np.arctan2(up, across))
        angle -= np.pi * round(angle / np.pi)
        x, y = (float(v) for v in middle[row, column])
        labels.append(Label(x, y, angle, words))
    return labels


def flow_ways(terrain: Terrain, system: str,
              bounds: tuple[float, float, float, float] | None = None) -> FlowWays:
    """The ways of the water that gather more than a round piece of ground.

    Parameters
    ----------
    bounds : (west, south, east, north), optional
        What is shown; all of the raster if left out. [m]

    Returns
    -------
    ways : FlowWays
        Lines as the printed map's, with fewer points: within a quarter of a cell of those.
    """
    dem = terrain.dem
    west, south, east, north = bounds or dem.bounds
    view = View(west, south, east, north, max(east - west, north - south) / ACROSS)
    rows, columns = window(dem, view)
    area = terrain.contributing_area[rows, columns]
    if not area.size:
        return FlowWays([], 0.0, "No ways of the water here")
    least = max(GATHERED * (east - west) * (north - south), LEAST_CELLS * dem.cell_area)
    if area.size > MOST_WET:
        flat = area[np.isfinite(area)]
        if flat.size > MOST_WET:
            least = max(least, float(np.partition(flat, flat.size - MOST_WET)[-MOST_WET]))
    least = _round_land(least, system)
    found = flow_lines(terrain, view, least)
    shapes = shapely.simplify(np.array([shapely.LineString(line) for line, _ in found], object),
                              dem.cell / 4, preserve_topology=False) if found else ()
    return FlowWays([FlowWay(np.asarray(shapely.get_coordinates(shape)), gathered,
                             width_of(gathered, least))
                     for shape, (_, gathered) in zip(shapes, found, strict=True)], least,
                    f"Water gathers from {shown(least, 'land', system)} and more")


def width_of(area: float, least: float) -> float:
    """How wide a way of the water is drawn, as on the printed map. [points of a screen]"""
    return float(0.7 + 0.95 * np.log10(max(area / least, 1.0)))


def _round_land(area: float, system: str) -> float:
    """The next larger of 1, 2 and 5 times a power of ten, in hectares or acres. [m2]"""
    unit = 4046.8564224 if system == "us" else 10_000.0
    power = 10.0 ** np.floor(np.log10(area / unit))
    return float(next(n * power for n in (1, 2, 5, 10) if n * power * unit >= area * 0.999) * unit)
