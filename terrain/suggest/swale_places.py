"""Where swales could lie: contour lines at fine intervals, cut into pieces that can be dug."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from shapely import LineString

from terrain.inputs.site_works import Swale
from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look
from terrain.surface.contours import contour_lines_at
from terrain.units import in_both
from terrain.works.alignment import radii
from terrain.works.cross_section import Berm, Section, earth_across, section_of
from terrain.works.rules import Rulebook
from terrain.works.swale import line_cells
from terrain.works.swale_built import berm_slope

FloatArray = NDArray[np.float64]

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
        found = [made for line in lines for made in _pieces(look, line, sections)]
        if len(found) <= most:
            break
        apart *= max(len(found) / most, FURTHER)
    found.sort(key=lambda made: (-made.storage / made.cost.earth, made.name))
    return [_named(made, number) for number, made in enumerate(found, 1)]


def _named(made: Candidate, number: int) -> Candidate:
    name = f"swale {number}"
    return replace(made, name=name, works=(made.works[0].model_copy(update={"name": name}),))


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


def _pieces(look: Look, line: _Line, sections: _Sections) -> list[Candidate]:
    """Every piece of a line that can be dug, of each length and depth."""
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
                found += [_made(look, line, a, b, own, shape)
                          for shape in _shapes(look, own, sections)]
    return found


def _shapes(look: Look, cells: NDArray[np.int64], sections: _Sections) -> list[_Shape]:
    """Sections worth digging on some cells: the usual depth and the deepest, if they drain."""
    rules = look.inputs.rules
    rate = look.soaks(cells).rate
    drains = rules["standing water"] * rate / 1000
    most = np.floor(min(drains, rules["swale deepest"]) / ROUNDED + 1e-6) * ROUNDED
    if most < rules["swale shallowest"] - 1e-9:
        return []
    side = berm_slope(look.soil_of(cells), rules)
    return [sections.of(round(float(depth), 3), side)
            for depth in sorted({min(rules["swale depth"], most), most})]


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


def _made(look: Look, line: _Line, a: int, b: int, cells: NDArray[np.int64], shape: _Shape
          ) -> Candidate:
    dem, points = look.inputs.dem, line.points[a:b + 1]
    drawn = LineString(points)
    length = drawn.length
    slopes = line.slope[a:b + 1]
    cut = float(np.interp(slopes, SLOPES, shape.cut).mean()) * length
    berm = float(np.interp(slopes, SLOPES, shape.berm).mean()) * length
    middle = drawn.interpolate(0.5, normalized=True)
    x, y = look.stated(middle.x, middle.y)
    section = shape.section
    wide = 2 * _reach(look.inputs.rules)
    work = Swale(name="swale", kind="swale", through=(x, y), length=round(length, 1),
                 depth=section.depth, infiltration=look.asked.infiltration)
    said = (f"Contour at {in_both(line.level, 'level')} on ground that slopes "
            f"{float(np.median(slopes)):.0%}: {in_both(length, 'length')} of it can be dug in one "
            "piece.",)
    return Candidate(
        f"{line.level:.3f} {a:06d} {b:06d} {section.depth:.3f}", "swale", (work,), cells,
        spill_cell(look, cells, *(int(i) for i in dem.row_column(middle.x, middle.y))),
        drawn.buffer(wide / 2), length * section.area(), length * section.top_width(),
        look.soaks(cells).rate,
        look.cost(cut, berm, look.soil_of(cells), seeded=wide / 2 * length), said=said)


def spill_cell(look: Look, cells: NDArray[np.int64], row: int, column: int) -> tuple[int, int]:
    """The first cell on the way down from one that is none of some cells; the last of the way
    where all are."""
    own = {(int(r), int(c)) for r, c in cells}
    path = look.inputs.terrain.path(row, column)
    for r, c in path:
        if (int(r), int(c)) not in own:
            return int(r), int(c)
    return int(path[-1][0]), int(path[-1][1])
