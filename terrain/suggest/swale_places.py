"""Where swales could lie: contour lines at fine intervals, cut into pieces that can be dug."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from shapely import LineString

from terrain.inputs.site_works import Swale
from terrain.suggest.candidate import Candidate
from terrain.suggest.cells import spill_below
from terrain.suggest.floors import soaked_depth
from terrain.suggest.look import Look
from terrain.suggest.naming import named
from terrain.surface.contours import contour_lines_at
from terrain.units import in_both
from terrain.works.alignment import radii
from terrain.works.cross_section import Berm, Section, earth_across, section_of
from terrain.works.rules import Rulebook
from terrain.works.swale import line_cells
from terrain.works.swale_built import berm_slope

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Points of a contour stand so far apart as it is looked along, and it is smoothed over about this
#: much; common practice, no source. [m]
STEP, SMOOTH = 1.0, 1.5
#: The slope of the ground is a running median over so much of a line; common practice, no source.
#: [m]
SLOPE_OVER = 9.0
#: Contours lie about so far apart on ground of median slope, or further, as many places as asked.
#: [m]
APART, FURTHER = 2.5, 1.15
#: Pieces are so long, times the first; common practice, no source. [m]
PIECE, TIMES = 15.0, (1, 2, 3, 4, 6)
#: A berm's ends, turned uphill, need so much of a line beyond the channel. [m]
ENDS = 3.0
#: Depths are stated to this. [m]
ROUNDED = 0.05
#: Slopes at which the earth of a section is reckoned; between them it is interpolated.
SLOPES = np.linspace(0.0, 0.2, 41)


@dataclass(frozen=True)
class _Shape:
    """A section to be dug, and its earth for each metre by the slope of the ground."""

    section: Section
    cut: FloatArray
    berm: FloatArray


@dataclass(frozen=True)
class _Line:
    """A contour as it would be dug: points a step apart, their level, slope, and whether fit."""

    level: float
    points: FloatArray
    slope: FloatArray
    fit: NDArray[np.bool_]


@dataclass(frozen=True)
class _Piece:
    """A piece of a line from one of its points to another, its cells, and sections worth digging.
    """

    line: _Line
    start: int
    end: int
    cells: IntArray
    shapes: tuple[_Shape, ...]


def swale_places(look: Look, most: int) -> list[Candidate]:
    """Swales that the ground lets lie, the most water for their earth first.

    Parameters
    ----------
    most : int
        So many at most; contours are taken further apart until that is kept to.
    """
    dem, rules = look.inputs.dem, look.inputs.rules
    fit = _fit_ground(look)
    if not fit.any():
        return []
    slope = float(np.nanmedian(look.inputs.terrain.slope[fit]))
    low, high = float(dem.heights[fit].min()), float(dem.heights[fit].max())
    apart, sections = APART, _Sections(rules)
    while True:
        interval = max(apart * slope, 0.02)
        levels = [float(level) for level in np.arange(low + interval / 2, high, interval)]
        lines = [line for level, drawn in zip(levels, contour_lines_at(look.soft, levels),
                                              strict=True)
                 for line in _lines(look, level, drawn, fit, rules)]
        pieces = [piece for line in lines for piece in _pieces(look, line, sections)]
        count = sum(len(piece.shapes) for piece in pieces)
        if count <= most:
            break
        apart *= max(count / most, FURTHER)
    found = [made for piece in pieces for made in _made(look, piece)]
    found.sort(key=lambda made: (-made.storage / made.cost.earth, made.name))
    return named(look, "swale", found)


def _fit_ground(look: Look) -> NDArray[np.bool_]:
    """Cells that a swale's line may cross."""
    rules, slope = look.inputs.rules, look.inputs.terrain.slope
    with np.errstate(invalid="ignore"):
        gentle = (slope <= rules["swale steep"]) & (slope >= rules["swale flat"])
    return (look.room >= _reach(rules)) & ~look.channel & gentle


def _reach(rules: Rulebook) -> float:
    """How far a usual swale's earth reaches to either side of its line. [m]"""
    berm = rules["sill head"] + rules["berm freeboard"]
    toe = rules["berm top width"] + 2 * rules["berm side slope sand"] * berm * 1.1
    cut = rules["swale width"] + 2 * rules["swale side slope"] * rules["swale deepest"]
    return 1.25 * max(toe, cut)


def _lines(look: Look, level: float, drawn: list[FloatArray], fit: NDArray[np.bool_],
           rules: Rulebook) -> list[_Line]:
    dem, found = look.inputs.dem, []
    for line in drawn:
        shape = LineString(line)
        if shape.length < PIECE:
            continue
        row, column = dem.row_column(*line.T)
        if not fit[np.clip(row, 0, dem.shape[0] - 1), np.clip(column, 0, dem.shape[1] - 1)].any():
            continue
        along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
        at = np.linspace(0.0, along[-1], max(int(along[-1] / STEP), 2) + 1)
        points = np.column_stack([gaussian_filter1d(np.interp(at, along, line[:, i]),
                                                    SMOOTH / STEP, mode="nearest")
                                  for i in (0, 1)])
        row, column = (np.clip(v, 0, n - 1) for v, n in
                       zip(dem.row_column(*points.T), dem.shape, strict=True))
        slope = median_filter(np.nan_to_num(look.inputs.terrain.slope[row, column], nan=1.0),
                              max(int(SLOPE_OVER / STEP), 1), mode="nearest")
        off = np.abs(dem.height_at(*points.T) - level)
        good = ((look.room[row, column] >= _reach(rules)) & ~look.channel[row, column]
                & (slope <= rules["swale steep"]) & (slope >= rules["swale flat"])
                & (off <= rules["level tolerance"]) & (radii(points) >= rules["digging radius"]))
        found.append(_Line(level, points, slope, good))
    return found


def _pieces(look: Look, line: _Line, sections: _Sections) -> list[_Piece]:
    """Every piece of a line that can be dug, of each length."""
    rules, found = look.inputs.rules, []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.fit.astype(np.int8), [0]])))
    spare, unit = int(np.ceil(ENDS / STEP)), int(PIECE / STEP)
    longest = int(rules["swale longest"] / STEP)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        start, end = start + spare, end - 1 - spare
        count = (end - start) // unit
        if count < 1:
            continue
        # The run in even parts, of which neighbours make the longer pieces.
        marks = np.round(np.linspace(start, end, count + 1)).astype(int)
        cells = [line_cells(look.inputs.dem, line.points[a:b + 1])
                 for a, b in pairwise(marks)]
        for times in TIMES:
            for first in range(count - times + 1):
                a, b = marks[first], marks[first + times]
                if b - a > longest:
                    continue
                own = np.unique(np.concatenate(cells[first:first + times]), axis=0)
                shapes = _shapes(look, own, sections)
                found.append(_Piece(line, int(a), int(b), own, shapes))
    return found


def _shapes(look: Look, cells: IntArray, sections: _Sections) -> tuple[_Shape, ...]:
    """Sections worth digging on some cells: the usual depth and the deepest, if they drain."""
    rules = look.inputs.rules
    drains = soaked_depth(look, look.soaks(cells).rate)
    most = np.floor(min(drains, rules["swale deepest"]) / ROUNDED + 1e-6) * ROUNDED
    if most < rules["swale shallowest"] - 1e-9:
        return ()
    side = berm_slope(look.soil_of(cells), rules)
    return tuple(sections.of(round(float(depth), 3), side)
                 for depth in sorted({min(rules["swale depth"], most), most}))


class _Sections:
    """Sections with their earth, each reckoned once."""

    def __init__(self, rules: Rulebook) -> None:
        self.rules, self.found = rules, dict[tuple[float, float], _Shape]()

    def of(self, depth: float, side: float) -> _Shape:
        """That of a depth [m] and a slope of the berm's sides, H:V."""
        if (depth, side) not in self.found:
            self.found[depth, side] = self._made(depth, side)
        return self.found[depth, side]

    def _made(self, depth: float, side: float) -> _Shape:
        rules = self.rules
        section = section_of("trapezoid", depth, None, rules["swale side slope"],
                             rules["swale width"])
        high = (rules["sill head"] + rules["berm freeboard"]) * (1 + rules["berm settlement"])
        berm = Berm(high, rules["berm top width"], side)
        most = 0.9 / max(section.side_slope, side)
        earth = [earth_across(section, berm, 0.0, min(float(s), most)) for s in SLOPES]
        return _Shape(section, np.array([e.cut for e in earth]), np.array([e.berm for e in earth]))


def _made(look: Look, piece: _Piece) -> list[Candidate]:
    """A piece as swales of each of its sections; none where its water has no way on."""
    if not piece.shapes:
        return []
    dem, line, a, b = look.inputs.dem, piece.line, piece.start, piece.end
    drawn = LineString(line.points[a:b + 1])
    length = drawn.length
    slopes = line.slope[a:b + 1]
    middle = drawn.interpolate(0.5, normalized=True)
    row, column = (int(i) for i in dem.row_column(middle.x, middle.y))
    spill = spill_below(look, (row, column), piece.cells, back=True)
    if spill is None:
        return []
    x, y = look.stated(middle.x, middle.y)
    wide = 2 * _reach(look.inputs.rules)
    body, soil = drawn.buffer(wide / 2), look.soil_of(piece.cells)
    soaks = look.soaks(piece.cells).rate
    said = (f"Contour at {in_both(line.level, 'level')} on ground that slopes "
            f"{float(np.median(slopes)):.0%}: {in_both(length, 'length')} of it can be dug in one "
            "piece.",)
    found = []
    for shape in piece.shapes:
        section = shape.section
        cut, berm = (float(np.interp(slopes, SLOPES, earth).mean()) * length
                     for earth in (shape.cut, shape.berm))
        work = Swale(name="swale", kind="swale", through=(x, y), length=round(length, 1),
                     depth=section.depth, infiltration=look.asked.infiltration)
        found.append(Candidate(
            f"{line.level:.3f} {a:06d} {b:06d} {section.depth:.3f}", "swale", (work,), piece.cells,
            spill, body, length * section.area(), length * section.top_width(), soaks,
            look.cost(cut, berm, soil, seeded=wide / 2 * length), said=said))
    return found
