"""What lies under every map: the view, the shaded ground, contours and the ways of the water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import LinearSegmentedColormap, to_rgb
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path as Outline
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.shading import lift_of, tones_of, typical_slope
from terrain.surface.contours import contours as traced
from terrain.surface.flow_lines import flow_line
from terrain.surface.gathered_ways import carrier, gathered_ways
from terrain.surface.terrain import Terrain
from terrain.works.swale import smoothed

#: A raster is thinned until no side of a picture has more cells than this.
MOST_CELLS = 1800
#: Cells of this width on paper are drawn as cells, not smoothed. [pt]
WIDE_CELL = 12.0
#: Intervals between contours, in the unit printed (m or ft).
INTERVALS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class View:
    """The rectangle of ground that a map shows, in the working frame. [m]

    `point` is the ground that a point of paper covers. [m]
    """

    west: float
    south: float
    east: float
    north: float
    point: float

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, east, south, north."""
        return self.west, self.east, self.south, self.north

    def shown_on(self, ax: Axes) -> None:
        """Make an axes show this view at true shape, without ticks."""
        ax.set_xlim(self.west, self.east)
        ax.set_ylim(self.south, self.north)
        ax.set_xticks([])
        ax.set_yticks([])

    def box(self) -> Any:
        """As a shapely polygon."""
        from shapely import box

        return box(self.west, self.south, self.east, self.north)

    def holds(self, x: float, y: float, inset: float = 0.0) -> bool:
        """Whether a point lies in the view, `inset` points or more from its edge."""
        gap = inset * self.point
        return (self.west + gap <= x <= self.east - gap
                and self.south + gap <= y <= self.north - gap)


def view_of(bounds: tuple[float, float, float, float], width: float, height: float,
            margin: float = 0.08, least: float = 0.0) -> View:
    """The view of a piece of ground on a sheet of `width` by `height` points.

    Parameters
    ----------
    bounds : west, south, east, north
        [m]
    margin : float
        Share of each side that is added about them; the shorter side then grows to fill the sheet.
    least : float
        The view is at least this wide and high. [m]
    """
    west, south, east, north = bounds
    wide = max((east - west) * (1 + 2 * margin), least, 1e-6)
    high = max((north - south) * (1 + 2 * margin), least, 1e-6)
    point = max(wide / width, high / height)
    x, y = (west + east) / 2, (south + north) / 2
    return View(x - width * point / 2, y - height * point / 2, x + width * point / 2,
                y + height * point / 2, point)


def true_view(bounds: tuple[float, float, float, float], width: float, height: float,
              point: float) -> View:
    """The view about the middle of a piece of ground at a scale.

    Parameters
    ----------
    width, height : float
        Of the paper that it fills. [pt]
    point : float
        Ground that a point of paper covers. [m]
    """
    west, south, east, north = bounds
    x, y = (west + east) / 2, (south + north) / 2
    return View(x - width * point / 2, y - height * point / 2, x + width * point / 2,
                y + height * point / 2, point)


def window(dem: Dem, view: View) -> tuple[slice, slice]:
    """Rows and columns of a raster that a view shows, a few cells about it included."""
    rows, columns = dem.shape
    top, left = (int(i) for i in dem.row_column(view.west, view.north))
    bottom, right = (int(i) for i in dem.row_column(view.east, view.south))
    spare = 4
    return (slice(min(max(top - spare, 0), rows), max(min(bottom + spare + 1, rows), 0)),
            slice(min(max(left - spare, 0), columns), max(min(right + spare + 1, columns), 0)))


def stride_of(rows: slice, columns: slice, most: int = MOST_CELLS) -> int:
    """How many cells of a window make one of its picture, of at most `most` cells a side."""
    longest = max(rows.stop - rows.start, columns.stop - columns.start)
    return max(int(np.ceil(longest / most)), 1)


def means(cells: NDArray[Any], step: int) -> NDArray[np.float32]:
    """Means of the known cells of blocks of `step` by `step`; NaN where none is known."""
    if step == 1:
        return cells.astype(np.float32, copy=False)
    high, wide = cells.shape[0] // step, cells.shape[1] // step
    total, known = np.zeros((high, wide)), np.zeros((high, wide), np.int64)
    for row in range(step):
        for column in range(step):
            part = cells[row:high * step:step, column:wide * step:step]
            seen = np.isfinite(part)
            known += seen
            total += np.where(seen, part, 0.0)
    return np.where(known > 0, total / np.maximum(known, 1), np.nan).astype(np.float32)


def cropped(dem: Dem, view: View, most: int = MOST_CELLS) -> Dem:
    """The part of a raster that a view shows, thinned to means where it is very fine."""
    rows, columns = window(dem, view)
    step = stride_of(rows, columns, most)
    return replace(dem, heights=means(dem.heights[rows, columns], step),
                   left=dem.left + columns.start * dem.cell,
                   top=dem.top - rows.start * dem.cell, cell=dem.cell * step)


def _extent(dem: Dem) -> tuple[float, float, float, float]:
    west, south, east, north = dem.bounds
    return west, east, south, north


def draw_shade(ax: Axes, dem: Dem) -> None:
    """Shade a raster that is at least two cells high and wide, lit from the north-west."""
    if min(dem.shape) < 2:
        return
    tone = tones_of(dem.heights, dem.cell, lift_of(typical_slope(dem)))
    colours = LinearSegmentedColormap.from_list("ground", [sy.SHADE_DARK, sy.SHADE_LIGHT])
    ax.imshow(np.ma.masked_invalid(tone), cmap=colours.with_extremes(bad=sy.PAPER), vmin=0,
              vmax=1, extent=_extent(dem), interpolation="bilinear", zorder=1, aspect="equal")


def contour_interval(dem: Dem, point: float, system: str, apart: float = 15.0) -> float:
    """A round interval that sets contours about `apart` points from each other. [m]

    Smaller where the ground is so rough that fewer than about eight would be drawn.
    """
    unit = 0.3048 if system == "us" else 1.0
    relief = float(np.nanmax(dem.heights) - np.nanmin(dem.heights))
    wanted = typical_slope(dem) * apart * point / unit
    wanted = min(wanted, relief / unit / 8) if relief > 0 else wanted
    if any("terraced" in note for note in dem.notes):  # heights in whole units
        wanted = max(wanted, 1.0)
    return min(INTERVALS, key=lambda step: (abs(np.log(step / max(wanted, 1e-6))), step)) * unit


@dataclass(frozen=True)
class Contour:
    """A drawn contour line: its level [m], whether it is an index contour, its points. [m]"""

    level: float
    index: bool
    line: FloatArray


def contours_of(dem: Dem, interval: float, shortest: float) -> list[Contour]:
    """Contours of the smoothed ground, every fifth an index contour; none below `shortest` m.

    The smoothed ground along a line is within a twentieth of the interval of its level, and the
    line within a hundred and sixtieth of `shortest` of where it runs exactly, but for its corners
    at wide cells, which are rounded.  Its points are no further apart than a thirteenth, so that
    it can be left open under its label.
    """
    from shapely import LineString, segmentize

    soft, step = smoothed(dem), shortest / 13
    if not np.isfinite(soft.heights).any():
        return []
    low, high = float(np.nanmin(soft.heights)), float(np.nanmax(soft.heights))
    counts = range(int(np.ceil(low / interval)), int(np.floor(high / interval)) + 1)
    levels = [count * interval for count in counts]
    shapes = [(count, LineString(line)) for count, lines in
              zip(counts, traced(soft, levels, interval / 20, shortest / 160), strict=True)
              for line in lines]
    over = 0.3 * dem.cell / step if dem.cell > 2 * step else 0.0
    return [Contour(count * interval, count % 5 == 0,
                    softened(np.asarray(segmentize(shape, step).coords), over))
            for count, shape in shapes if shape.length >= shortest]


def draw_contours(ax: Axes, contours: list[Contour],
                  gaps: Sequence[tuple[int, NDArray[np.bool_]]] = ()) -> None:
    """Draw contours, left open under their labels.

    Parameters
    ----------
    gaps : list of (index into `contours`, bool array of its points to leave out)
    """
    if not contours:
        return
    hidden = dict(gaps)
    for index, colour, width in ((False, sy.CONTOUR, 0.5), (True, sy.INDEX_CONTOUR, 0.95)):
        pieces: list[FloatArray] = []
        for i, contour in enumerate(contours):
            if contour.index == index:
                pieces += _open(contour.line, hidden.get(i))
        ax.add_collection(LineCollection(pieces, colors=colour, linewidths=width, zorder=4,
                                         alpha=0.85, capstyle="round", gid="contour"),
                          autolim=False)


def _open(line: FloatArray, gap: Any) -> list[FloatArray]:
    if gap is None:
        return [line]
    keep = np.flatnonzero(~gap)
    runs = np.split(keep, np.flatnonzero(np.diff(keep) > 1) + 1)
    return [line[run] for run in runs if len(run) > 1]


def softened(line: FloatArray, over: float) -> FloatArray:
    """A line, or a ring, smoothed over so many of its points; a line keeps its ends."""
    from scipy.ndimage import gaussian_filter1d

    if len(line) < 4 or over <= 0:
        return line
    if (line[0] == line[-1]).all():
        ring = gaussian_filter1d(line[:-1], over, axis=0, mode="wrap")
        return np.concatenate([ring, ring[:1]])
    soft: FloatArray = gaussian_filter1d(line, over, axis=0, mode="nearest")
    soft[0], soft[-1] = line[0], line[-1]
    return soft


def rounded(shape: Any, over: float) -> Any:
    """An outline along cell edges without its steps; one with few corners stays as it is."""
    from scipy.ndimage import gaussian_filter1d
    from shapely import Polygon as Area

    if shape.geom_type != "Polygon" or len(shape.exterior.coords) < 30:
        return shape
    edge = shape.exterior
    count = max(int(edge.length / (over / 4)), 16)
    points = np.array([edge.interpolate(i / count, normalized=True).coords[0]
                       for i in range(count)])
    soft = gaussian_filter1d(points, 4.0, axis=0, mode="wrap")
    made = Area(soft, [hole.coords for hole in shape.interiors])
    return made if made.is_valid else shape


def way_of(terrain: Terrain, cells: NDArray[np.int64]) -> FloatArray:
    """The flow line of a path of cells, a little rounder still for the eye. [m]"""
    return softened(flow_line(terrain.dem, cells, terrain.filled).line, 1.0)


def flow_lines(terrain: Terrain, view: View, least: float,
               passing: NDArray[np.float64] | None = None) -> list[tuple[FloatArray, float]]:
    """Ways of the water that gather more than `least`, each with what it gathers at its end. [m]

    Parameters
    ----------
    least : float
        An area [m2] or, where what passes is given, a volume [m3].
    passing : float64, shape (rows, columns), optional
        Runoff that passes each cell. [m3]
    """
    rows, columns = window(terrain.dem, view)
    area = (terrain.contributing_area if passing is None else passing)[rows, columns]
    ways = gathered_ways(terrain.direction[rows, columns], area >= least)
    return [(way_of(terrain, way + np.array([rows.start, columns.start])),
             float(area[carrier(way)])) for way in ways]


def draw_flow(ax: Axes, lines: list[tuple[FloatArray, float]], least: float) -> None:
    """Draw the ways of the water, wider with what they gather."""
    if not lines:
        return
    widths = [0.5 + 0.75 * np.log10(max(area / least, 1.0)) for _, area in lines]
    ax.add_collection(LineCollection([line for line, _ in lines], colors=sy.FLOW,
                                     linewidths=widths, zorder=5, alpha=0.9, gid="flow",
                                     capstyle="round"), autolim=False)


def draw_region(ax: Axes, mask: NDArray[np.bool_], dem: Dem, colour: str,
                alpha: float = sy.TINT_ALPHA, edge: float = 0.8, zorder: float = 2.0) -> bool:
    """Tint a set of cells of a (cropped) raster; False if none shows.

    Its edges are smooth, but along the cells where these are `WIDE_CELL` points or more wide.
    """
    from contourpy import FillType, LineType, contour_generator
    from scipy.ndimage import gaussian_filter

    if not mask.any() or min(mask.shape) < 2:
        return False
    low, high = ax.get_xlim()
    figure = ax.get_figure()
    across = ax.get_window_extent().width / (figure.dpi if figure is not None else 72) * 72
    wide_cells = dem.cell * across / (high - low) >= WIDE_CELL
    rows, columns = mask.shape
    padded = np.pad(mask.astype(np.float64), 2, mode="edge")
    x, _ = dem.xy(0, np.arange(-2, columns + 2))
    _, y = dem.xy(np.arange(-2, rows + 2), 0)
    soft = gaussian_filter(padded, 0.9, mode="nearest")
    made = contour_generator(x, y, soft, fill_type=FillType.OuterOffset,
                             line_type=LineType.Separate)
    filled: Any = made.filled(0.5, 2.0)
    points, offsets = filled
    west, south, east, north = dem.bounds
    points = [np.clip(ring, (west, south), (east, north)) for ring in points]
    kept = sum(_area(ring, ends) for ring, ends in zip(points, offsets, strict=True))
    if wide_cells or kept < 0.6 * mask.sum() * dem.cell**2:  # or a strip of one cell would be lost
        from terrain.surface.catchments import outline

        draw_area(ax, outline(mask, dem.transform), facecolor=(*to_rgb(colour), alpha),
                  edgecolor=(*sy.mixed(colour, sy.INK, 0.45), 0.8), linewidth=edge,
                  zorder=zorder, gid="catchment")
        return True
    _draw_rings(ax, [ring[start:stop] for ring, ends in zip(points, offsets, strict=True)
                     for start, stop in pairwise(ends.tolist())],
                facecolor=colour, edgecolor="none", alpha=alpha, zorder=zorder, gid="catchment")
    if edge:
        edges = [np.asarray(line) for line in made.lines(0.5)]
        ax.add_collection(LineCollection(_within(edges, dem.bounds),
                                         colors=[sy.mixed(colour, sy.INK, 0.45)],
                                         linewidths=edge, zorder=zorder + 0.5, alpha=0.8),
                          autolim=False)
    return bool(len(points))


def _within(lines: list[FloatArray], bounds: tuple[float, float, float, float]
            ) -> list[FloatArray]:
    """The parts of lines whose points lie in a box."""
    west, south, east, north = bounds
    return [part for line in lines for part in _open(
        line, (line[:, 0] < west) | (line[:, 0] > east) | (line[:, 1] < south)
        | (line[:, 1] > north))]


def _area(ring: FloatArray, ends: NDArray[np.uint32]) -> float:
    """Area of a polygon whose first ring is its outside and the rest its holes. [m2]"""
    sizes = []
    for start, stop in pairwise(ends.tolist()):
        x, y = ring[start:stop, 0] - ring[0, 0], ring[start:stop, 1] - ring[0, 1]
        sizes.append(abs(float(x[:-1] @ y[1:] - x[1:] @ y[:-1])) / 2)
    return sizes[0] - sum(sizes[1:])


def draw_area(ax: Axes, shape: Any, **look: Any) -> None:
    """Draw a shapely polygon, or several, holes left open."""
    _draw_rings(ax, [np.asarray(ring.coords)[:, :2]
                     for part in getattr(shape, "geoms", [shape])
                     if part.geom_type == "Polygon" and not part.is_empty
                     for ring in (part.exterior, *part.interiors)], **look)


def _draw_rings(ax: Axes, rings: list[FloatArray], **look: Any) -> None:
    """Draw outlines and holes, which turn the other way, as one shape: thousands are quick."""
    if not rings:
        return
    codes = np.full(sum(map(len, rings)), Outline.LINETO, np.uint8)
    ends = np.cumsum([len(ring) for ring in rings])
    codes[[0, *ends[:-1]]] = Outline.MOVETO
    codes[ends - 1] = Outline.CLOSEPOLY
    patch = PathPatch(Outline(np.concatenate(rings), codes), **look)
    ax.add_artist(patch)  # `add_patch` would seek its bounds, curve by curve


def arrowhead(ax: Axes, at: FloatArray, towards: FloatArray, size: float, colour: str,
              zorder: float, gid: str | None = None) -> None:
    """Draw a filled arrowhead at a point, in units of the axes."""
    away = np.asarray(towards, float)
    norm = float(np.hypot(*away))
    if norm == 0:
        return
    away = away / norm
    side = np.array([-away[1], away[0]])
    tip = at + away * size * 0.6
    back = at - away * size * 0.4
    ax.add_patch(Polygon([tip, back + side * size * 0.4, at - away * size * 0.2,
                          back - side * size * 0.4], closed=True, facecolor=colour,
                         edgecolor=sy.PAPER, linewidth=0.5, zorder=zorder, gid=gid))


def arrows_along(ax: Axes, way: FloatArray, view: View, colour: str, gid: str,
                 short: bool = False, apart: float = 110.0) -> None:
    """Arrowheads along a way about `apart` points of paper from each other, within the view."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    total, unit = float(far[-1]), view.point
    if total < 6 * unit:
        return
    count = max(int(total / (apart * unit)), 1)
    stations = [total * (i + 0.55) / count for i in range(count)]
    if short and total < 30 * unit:
        stations = [total * 0.6]
    for at in stations:
        ends = [np.array([np.interp(at + d, far, way[:, k]) for k in (0, 1)])
                for d in (-3 * unit, 0.0, 3 * unit)]
        if view.holds(float(ends[1][0]), float(ends[1][1]), 3):
            arrowhead(ax, ends[1], ends[2] - ends[0], 8.5 * unit, colour, 15, gid)
