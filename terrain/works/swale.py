"""A swale on contour: traced, sectioned, sized, with its berm and sill."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.contours import contour_through
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.cross_section import area_on_slope, channel_area, width_on_slope
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.store import Curve, channel_curve

#: The ground is smoothed over about this distance before a line is traced on it. [m]
SMOOTHED_OVER = 1.5


@dataclass(frozen=True)
class SwaleLine:
    """A line on contour.

    Attributes
    ----------
    line : float64, shape (points, 2)
        In the working frame. [m]
    level : float
        Natural ground on the contour it is set out on. [m]
    deviation : float
        Largest rise or dip of the raster's ground from that level along the line. [m]
    cross_slope : float
        Median slope of the ground along it. [m/m]
    steepest : float
        90th percentile of that slope. [m/m]
    """

    line: NDArray[np.float64]
    level: float
    deviation: float
    cross_slope: float
    steepest: float

    @property
    def length(self) -> float:
        """[m]"""
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


@dataclass(frozen=True)
class Swale:
    """A swale as it is to be dug.

    Attributes
    ----------
    depth, width, side_slope
        Water depth at the sill [m], bed width [m], H:V [-].
    sill : Sill
        Its level is the swale's water level when full.
    sill_x, sill_y : float
        Where the sill is cut. [m]
    berm_height, berm_height_built : float
        Settled and freshly built height of the crest above the sill. [m]
    cut, berm : float
        Earth dug (bank measure) and berm as built, before it settles (compacted measure). [m3]
    """

    route: SwaleLine
    depth: float
    width: float
    side_slope: float
    sill: Sill
    sill_x: float
    sill_y: float
    berm_height: float
    berm_height_built: float
    cut: float
    berm: float
    spare: float
    top_width: float
    cautions: tuple[str, ...]

    @property
    def curve(self) -> Curve:
        """Its stage, area and volume."""
        return channel_curve(self.sill.level, self.depth, self.width, self.side_slope,
                             self.route.length)


def smoothed(dem: Dem) -> Dem:
    """The ground with its smallest roughness taken out, to trace lines on."""
    from dataclasses import replace

    from scipy.ndimage import gaussian_filter

    sigma = SMOOTHED_OVER / dem.cell
    if sigma < 0.5:
        return dem
    known = np.isfinite(dem.heights)
    base = float(np.nanmean(dem.heights))
    filled = np.where(known, dem.heights - base, 0.0)
    weight = gaussian_filter(known.astype(np.float64), sigma, mode="constant")
    total = gaussian_filter(filled, sigma, mode="constant")
    with np.errstate(invalid="ignore", divide="ignore"):
        soft = total / weight + base
    # Close to the border the window is lopsided and would tilt the ground; keep it as it is.
    soft = np.where(weight > 0.999, soft, dem.heights)
    return replace(dem, heights=np.where(known, soft, np.nan).astype(np.float32))


def trace(terrain: Terrain, ground: Dem, x: float, y: float, where: str, rules: Rulebook,
          reach: float) -> tuple[SwaleLine, float]:
    """Trace the contour through a point, as far as it is fit for a swale.

    Parameters
    ----------
    ground : Dem
        As `smoothed` gives it.
    reach : float
        How far to go to each side at most. [m]

    Returns
    -------
    route : SwaleLine
    along : float
        Where on it the point lies. [m]

    Raises
    ------
    InputError
        If the point is off the raster, no contour passes, or the ground is too steep.
    """
    terrain.dem.cell_of(x, y, where)
    found = contour_through(ground, x, y, reach=reach)
    if found is None:
        raise InputError(where, f"no contour passes through {terrain.dem.named(x, y)}",
                         "Move the point off the flat or the summit")
    level, line, along = found
    from shapely.geometry import LineString

    shape = LineString(line)
    start = max(along - reach, 0.0)
    piece = _piece(shape, start, min(along + reach, shape.length))
    slope_here = _slope_along(terrain, piece)
    middle = int(np.argmin(np.hypot(piece[:, 0] - x, piece[:, 1] - y)))
    near = slice(max(middle - 3, 0), middle + 4)
    if np.nanmedian(slope_here[near]) > rules["swale steepest"]:
        raise InputError(where, f"the ground there slopes {np.nanmedian(slope_here[near]):.0%}, "
                         f"and a swale is refused above {rules['swale steepest']:.0%} "
                         f"({rules.source('swale steepest')})",
                         "Choose gentler ground, or lead the water away in a drain")
    smooth = _running_median(slope_here, max(int(8 / max(terrain.dem.cell, 0.5)), 1))
    fit = smooth <= rules["swale steepest"]
    left, right = middle, middle
    while left > 0 and fit[left - 1]:
        left -= 1
    while right < len(fit) - 1 and fit[right + 1]:
        right += 1
    piece = piece[left:right + 1]
    if len(piece) < 2:
        raise InputError(where, f"the contour through {terrain.dem.named(x, y)} is too short for "
                         "a swale", "Move the point")
    shape = LineString(piece)
    from shapely import Point

    return _described(terrain, piece, level), float(shape.project(Point(x, y)))


def cut_to(terrain: Terrain, route: SwaleLine, start: float, end: float) -> SwaleLine:
    """The part of a line between two distances from its start. [m]"""
    from shapely.geometry import LineString

    return _described(terrain, _piece(LineString(route.line), start, end), route.level)


def window(total: float, along: float, length: float) -> tuple[float, float]:
    """Start and end of a stretch of `length` about `along`, shifted to stay on the line. [m]"""
    length = min(length, total)
    start = min(max(along - length / 2, 0.0), total - length)
    return start, start + length


def line_cells(dem: Dem, line: NDArray[np.float64]) -> NDArray[np.int64]:
    """Cells that a line touches, so that no water slips between them diagonally.

    Returns
    -------
    cells : int64, shape (n, 2)
        Rows and columns.
    """
    column = (line[:, 0] - dem.left) / dem.cell
    row = (dem.top - line[:, 1]) / dem.cell
    touched = []
    for r0, c0, r1, c1 in zip(row[:-1], column[:-1], row[1:], column[1:], strict=True):
        cuts = np.unique(np.concatenate([[0.0, 1.0], _crossed(r0, r1), _crossed(c0, c1)]))
        middle = (cuts[1:] + cuts[:-1]) / 2
        touched.append(np.floor(np.stack([r0 + middle * (r1 - r0), c0 + middle * (c1 - c0)], 1)))
    way = np.concatenate(touched).astype(np.int64)
    # From one cell to the next across a corner: take the one between as well.
    corner = np.flatnonzero((way[1:] != way[:-1]).all(axis=1))
    way = np.concatenate([way, np.stack([way[corner, 0], way[corner + 1, 1]], 1)])
    rows, columns = dem.shape
    way = way[(way >= 0).all(axis=1) & (way[:, 0] < rows) & (way[:, 1] < columns)]
    way = way[np.isfinite(dem.heights[way[:, 0], way[:, 1]])]
    return np.unique(way, axis=0)


def _crossed(start: float, end: float) -> NDArray[np.float64]:
    """Shares of the way from one number to another at which whole numbers are passed."""
    low, high = min(start, end), max(start, end)
    whole = np.arange(np.ceil(low), np.floor(high) + 1)
    return (whole - start) / (end - start) if high > low else whole[:0]


def along_of(dem: Dem, line: NDArray[np.float64], cells: NDArray[np.int64]
             ) -> NDArray[np.float64]:
    """Distance along a line of the point nearest to each cell. [m]"""
    from shapely import line_locate_point, points
    from shapely.geometry import LineString

    x, y = dem.xy(cells[:, 0], cells[:, 1])
    return np.asarray(line_locate_point(LineString(line), points(x, y)))


def earth(route: SwaleLine, depth: float, width: float, side_slope: float, berm_height: float,
          rules: Rulebook) -> tuple[float, float]:
    """Bank volume of the cut and compacted volume of the berm as built. [m3]"""
    cut = area_on_slope(depth, width, side_slope, route.cross_slope) * route.length
    heaped = area_on_slope(berm_height, rules["berm top width"], side_slope, route.cross_slope)
    return cut, heaped * route.length


def finish(route: SwaleLine, depth: float, width: float, side_slope: float,
           sill: Sill, sill_x: float, sill_y: float, rules: Rulebook) -> Swale:
    """Put berm, earth volumes and cautions to a traced line with its section and sill."""
    height = sill.head + rules["berm freeboard"]
    built = height * (1 + rules["berm settlement"])
    cut, berm = earth(route, depth, width, side_slope, built, rules)
    spare = cut * rules["compacted per bank"] - berm
    cautions = list(_cautions(route, depth, sill, rules))
    if spare < 0:
        cautions.append(f"The cut gives "
                        f"{in_both(cut * rules['compacted per bank'], 'earth')} of berm and "
                        f"{in_both(berm, 'earth')} is needed: dig wider or deeper, or bring earth.")
    return Swale(route, depth, width, side_slope, sill, sill_x, sill_y, height, built, cut, berm,
                 spare, width_on_slope(depth, width, side_slope, route.cross_slope),
                 tuple(cautions))


def storage_per_metre(depth: float, width: float, side_slope: float) -> float:
    """What a metre of swale holds up to its sill. [m3/m]"""
    return channel_area(depth, width, side_slope)


def place_sill(terrain: Terrain, route: SwaleLine, avoid: NDArray[np.bool_] | None = None,
               reach: float = 60.0) -> tuple[float, float]:
    """Where along the line the overflow does least harm.

    The stations keep a tenth of the line's length from its ends.  First come those whose
    water meets no `avoid` cell within `reach` below; among them the one whose way down
    is joined by least other water and is the gentlest.
    """
    dem = terrain.dem
    from shapely.geometry import LineString

    shape = LineString(route.line)
    count = max(int(route.length / 4), 3)
    stations = np.linspace(0.1, 0.9, count) * shape.length
    best: tuple[float, ...] | None = None
    chosen = (0.0, 0.0)
    for distance in stations:
        point = shape.interpolate(distance)
        row, column = (int(i) for i in dem.row_column(point.x, point.y))
        rows, columns = dem.shape
        if not (0 <= row < rows and 0 <= column < columns) or terrain.direction[row, column] == 255:
            continue
        path = terrain.path(row, column)[:max(int(reach / dem.cell), 2)]
        below = path[1:] if len(path) > 1 else path
        bad = bool(avoid is not None and avoid[below[:, 0], below[:, 1]].any())
        gathered = float(terrain.contributing_area[below[:, 0], below[:, 1]].max())
        fall = (dem.heights[path[0, 0], path[0, 1]] - dem.heights[path[-1, 0], path[-1, 1]])
        steep = float(fall) / max(len(path) * dem.cell, dem.cell)
        score = (float(bad), round(steep, 2), math.log10(max(gathered, 1.0)))
        if best is None or score < best:
            best, chosen = score, (float(point.x), float(point.y))
    return chosen


def _cautions(route: SwaleLine, depth: float, sill: Sill, rules: Rulebook) -> list[str]:
    said = []
    if route.steepest > rules["swale steep"]:
        said.append(f"Across the line the ground slopes up to {route.steepest:.1%}; above "
                    f"{rules['swale steep']:.0%} swales are dear and risky "
                    f"({rules.source('swale steep')}). Have the slope looked at before digging.")
    if depth > rules["swale deepest"] + 1e-9:
        said.append(f"Water {in_both(depth, 'level')} deep is more than the usual "
                    f"{in_both(rules['swale deepest'], 'level')} "
                    f"({rules.source('swale deepest')}): it can drown a child, and a pit 1.5 m "
                    "deep or more must be sloped or shored while people are in it.")
    if route.cross_slope < rules["swale flat"]:
        said.append(f"The ground slopes only {route.cross_slope:.1%}; below "
                    f"{rules['swale flat']:.0%} the fall hides in the level error "
                    f"({rules.source('swale flat')}): a basin may do better.")
    if route.deviation > rules["level tolerance"]:
        said.append(f"The raster's ground is up to {in_both(route.deviation, 'level')} above or "
                    "below the line's level: set it out with a level, and cut the sill where the "
                    "ground is natural and undisturbed.")
    if sill.head > rules["sill head"] * 1.001:
        said.append(f"At the design peak {in_both(sill.head, 'level')} stands on the sill; more "
                    f"than {in_both(rules['sill head'], 'level', 3)} needs a stone lip "
                    f"({rules.source('sill head')}).")
    said.append("Have buried pipes and cables located before digging; the locating service does "
                "not mark private lines.")
    return said


def _piece(shape: Any, start: float, end: float) -> NDArray[np.float64]:
    from shapely.ops import substring

    return np.asarray(substring(shape, start, end).coords)


def _slope_along(terrain: Terrain, line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the ground at each vertex, over the 3 by 3 cells about it."""
    row, column = terrain.dem.row_column(line[:, 0], line[:, 1])
    rows, columns = terrain.dem.shape
    found = terrain.slope[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    return found.astype(np.float64)


def _running_median(values: NDArray[np.float64], half: int) -> NDArray[np.float64]:
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(np.nan_to_num(values, nan=1.0), 2 * half + 1, mode="nearest"))


def _described(terrain: Terrain, line: NDArray[np.float64], level: float) -> SwaleLine:
    from shapely.geometry import LineString

    slopes = _slope_along(terrain, line)
    simple = np.asarray(LineString(line).simplify(min(terrain.dem.cell / 8, 0.1)).coords)
    heights = terrain.dem.height_at(line[:, 0], line[:, 1])
    return SwaleLine(simple, level, float(np.nanmax(np.abs(heights - level))),
                     float(np.nanmedian(slopes)), float(np.nanpercentile(slopes, 90)))
