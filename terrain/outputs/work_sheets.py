"""Sheets for the quick questions: a plan, a section to scale, and the figures beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle
from numpy.typing import NDArray

from terrain.outputs import base_map as base
from terrain.outputs import symbols as sy
from terrain.outputs.base_map import View
from terrain.outputs.labels import Column, Labels, Line, shortened
from terrain.outputs.site_map import (
    datum_words,
    draw_pool,
    draw_sill,
    draw_spill,
    draw_swale_line,
    draw_wall,
    finish_contours,
    joined,
    scale_and_north,
    title,
)
from terrain.plan.cost import Quantities
from terrain.plan.questions import (
    BasinAnswer,
    Question,
    ShedAnswer,
    StormAnswer,
    Survey,
    SwaleAnswer,
)
from terrain.units import PRINTED, shown
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: A4, landscape; margins, the panel on the right, the gap beside it, and the section. [in]
WIDE, HIGH = 297 / 25.4, 210 / 25.4
MARGIN, PANEL, GUTTER, SECTION = 0.38, 3.7, 0.28, 2.05
#: So many hollows are named on a survey.
NAMED_HOLLOWS = 5


class _Sheet:
    """A sheet with a plan on the left and a column of figures on the right."""

    def __init__(self, question: Question, bounds: tuple[float, float, float, float],
                 system: str, name: str, subtitle: str, section: bool, margin: float = 0.08
                 ) -> None:
        self.question, self.system, self.dem = question, system, question.dem
        self.figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
        left = WIDE - 2 * MARGIN - PANEL - GUTTER
        self.below = SECTION + 0.3 if section else 0.0
        high = HIGH - 2 * MARGIN - self.below
        self.plan = self.figure.add_axes((MARGIN / WIDE, (MARGIN + self.below) / HIGH,
                                          left / WIDE, high / HIGH))
        self.left_wide = left
        self.view = base.view_of(bounds, left * 72, high * 72, margin, 12 * self.dem.cell)
        self.view.shown_on(self.plan)
        self.labels = Labels(self.plan)
        self.crop = base.cropped(self.dem, self.view)
        base.draw_shade(self.plan, self.crop)
        self.interval, self.contours = 0.0, list[base.Contour]()
        if np.isfinite(self.crop.heights).any() and min(self.crop.shape) > 1:
            self.interval = base.contour_interval(self.crop, self.view.point, system, 18.0)
            self.contours = base.contours_of(self.crop, self.interval, 26 * self.view.point)
        self.column = Column(self.figure, WIDE - MARGIN - PANEL, MARGIN, PANEL, HIGH - 2 * MARGIN)
        title(self.column, name, subtitle)

    def cut(self, cells: NDArray[Any]) -> NDArray[Any]:
        """A raster of cells as the plan shows it."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns)
        high, wide = self.crop.shape
        return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]

    def catchment(self, cells: NDArray[np.bool_]) -> None:
        """Tint a catchment."""
        base.draw_region(self.plan, self.cut(cells), self.crop, sy.TINTS[0], edge=1.1)

    def flow(self, share: float = 40.0) -> None:
        """Draw where water gathers."""
        ground = (self.view.east - self.view.west) * (self.view.north - self.view.south)
        least = max(ground / share, 20 * self.dem.cell_area)
        lines = base.flow_lines(self.question.terrain, self.view, least)
        base.draw_flow(self.plan, lines, least)
        for line, _ in lines:
            self.labels.ink_line(line, 0.3, 0)

    def spill(self, path: FloatArray, x: float, y: float) -> None:
        """Draw a sill and the way of its spill."""
        if len(path) > 1:
            way = joined(x, y, base.softened(np.asarray(path, float), 2.2), self.dem.cell)
            draw_spill(self.plan, way, self.view)
            self.labels.ink_line(way, 1.0)
        draw_sill(self.plan, x, y, self.view)
        self.labels.ink(np.array([[x, y]]), 1.0, 4)

    def label(self, words: Sequence[str], anchors: FloatArray, colour: str, radius: float = 3.0,
              far: float = 230.0) -> None:
        """Write a label on the plan, its first line bold."""
        lines = [Line(said, sy.TEXT_SIZE, colour, "bold" if i == 0 else "normal")
                 for i, said in enumerate(words)]
        self.labels.place(lines, anchors, radius, "label", far)

    def finish_plan(self) -> None:
        """Scale, north and contours; after everything else on the plan."""
        finish_contours(self.plan, self.contours, self.view, self.labels, self.interval,
                        self.system)

    def corner(self) -> None:
        """Scale bar and north arrow; before the labels."""
        scale_and_north(self.plan, self.view, self.labels, self.system, 105.0)

    def head(self, words: str) -> None:
        """A heading in the column."""
        self.column.skip(9)
        self.column.text(words, sy.HEAD_SIZE - 1, weight="bold")
        self.column.skip(2)

    def rows(self, figures: Sequence[tuple[str, str]]) -> None:
        """Names and figures, one a line."""
        for name, value in figures:
            room = self.column.width - self.column.wide(value, sy.TEXT_SIZE) - 10
            self.column.row([(0, "left", shortened(self.figure, name, sy.TEXT_SIZE, room)),
                             (self.column.width, "right", value)], lead=1.46)

    def storms(self, storms: Sequence[StormAnswer], store: bool) -> None:
        """What comes of each storm."""
        if not storms:
            return
        self.head("Storms")
        wide = self.column.width
        unit = PRINTED["volume"][self.system == "us"][0]
        places = (0.50, 0.75, 1.0) if store else (1.0,)
        heads = ("runoff", "caught", "spilled")
        self.column.row([(0, "left", f"rain; volumes in {unit}")] + [
            (wide * at, "right", head) for at, head in zip(places, heads, strict=False)],
            sy.SMALL_SIZE, sy.SOFT_INK)
        for storm in storms:
            values = (storm.runoff, storm.caught, storm.spilled)
            self.column.row([(0, "left", sy.plain(storm.rain, "rain", self.system))] + [
                (wide * at, "right", sy.brief(value, "volume", self.system).rsplit(" ", 1)[0])
                for at, value in zip(places, values, strict=False)], lead=1.46)

    def cautions(self, cautions: Sequence[str], rests: Sequence[str] = ()) -> None:
        """Cautions, as many as find room; then what is left out is said."""
        if cautions:
            self.head("Take care")
        size = sy.SMALL_SIZE
        said = [(text, sy.INK) for text in cautions] + [(text, sy.SOFT_INK) for text in rests]
        foot = self._foot()
        space = self.column.room - (len(foot) * size * 1.32 + 18)
        for i, (text, colour) in enumerate(said):
            lines = self.column.wrapped(text, size, self.column.width)
            need = len(lines) * size * 1.32 + 3.5
            last = 0.0 if i == len(said) - 1 else size * 1.32
            if need + last > space:
                self.column.text(f"{len(said) - i} more stand in the answer's text.", size,
                                 sy.SHED, style="italic")
                break
            self.column.text(text, size, colour)
            self.column.skip(3.5)
            space -= need
        self.column.y = -self.column.height + len(foot) * size * 1.32 + 7
        self.column.rule()
        self.column.skip(7)
        for line in foot:
            self.column.text(line, size, sy.SOFT_INK)

    def _foot(self) -> list[str]:
        parts = []
        if self.interval:
            unit = ("ft", 0.3048) if self.system == "us" else ("m", 1.0)
            parts.append(f"Contours every {self.interval / unit[1]:g} {unit[0]}.")
        frame = self.dem.frame
        parts.append(f"Levels are those of {self.dem.source}; {datum_words(self.dem)}")
        if frame.working is not None:
            parts.append(f"{frame.working.name}.")
        return self.column.wrapped(" ".join(parts), sy.SMALL_SIZE, self.column.width)

    def earth(self, made: Quantities, bank: str) -> list[tuple[str, str]]:
        """Earth, hours and money."""
        found = [("cut", shown(made.cut, "earth", self.system))] if made.cut else []
        if made.bank:
            found.append((f"{bank}, compacted", shown(made.bank, "earth", self.system)))
        found.append(("machine time", f"about {made.hours:,.0f} h" if made.hours >= 1 else
                      "under an hour"))
        if made.money is not None:
            low, high = made.money
            found.append(("digging, in your money", f"{low:,.0f} to {high:,.0f}"
                          + (f" {made.currency}" if made.currency else "")))
        return found


# The sheets ------------------------------------------------------------------------------------

@sy.styled
def draw_swale(answer: SwaleAnswer, system: str) -> Figure:
    """Draw a swale: its plan, its section to scale, and its figures. A4, landscape."""
    swale, route = answer.swale, answer.swale.route
    sheet = _Sheet(answer.question, _about(answer.outline, route.line, answer.spill_path), system,
                   "Swale", f"{shown(route.length, 'length', system)} on the contour at "
                   f"{shown(route.level, 'level', system)}", section=True)
    sheet.catchment(answer.cells)
    sheet.flow()
    draw_swale_line(sheet.plan, route.line, sheet.dem, sheet.view, swale.top_width)
    sheet.labels.ink_line(route.line, 1.0, 2)
    sheet.spill(answer.spill_path, swale.sill_x, swale.sill_y)
    sheet.corner()
    sheet.label(["swale", sy.brief(answer.storage, "volume", system)], _along(route.line), sy.WATER)
    sheet.label([f"sill, {shown(swale.sill.length, 'length', system)} long"],
                np.array([[swale.sill_x, swale.sill_y]]), sy.WATER, 4.0, 60)
    _label_catchment(sheet, answer.cells, answer.catchment.area, answer.catchment.touches_edge)
    sheet.finish_plan()
    _swale_section(sheet, answer)
    sheet.head("Figures")
    most = "at least " if answer.catchment.touches_edge else ""
    sheet.rows([
        ("holds, up to its sill", shown(answer.storage, "volume", system)),
        ("catchment", most + _land(answer.catchment.area, system)),
        ("level of line and sill", shown(swale.sill.level, "level", system)),
        ("line leaves that level by up to", shown(route.deviation, "level", system)),
        ("water on the sill, design peak", shown(swale.sill.head, "level", system)),
        *sheet.earth(answer.quantities, "berm as built")])
    sheet.storms(answer.storms, store=True)
    sheet.cautions(answer.cautions, answer.rests_on)
    return sheet.figure


@sy.styled
def draw_basin(answer: BasinAnswer, system: str) -> Figure:
    """Draw a basin: its plan, its section to scale, its volume by level, its figures."""
    basin = answer.basin
    form = "behind a wall" if basin.form == "wall" else "dug into the ground"
    sheet = _Sheet(answer.question, _about(answer.outline, basin.line, answer.spill_path,
                                           basin.outline), system, "Basin",
                   f"{form}, its sill at {shown(basin.sill.level, 'level', system)}", section=True)
    sheet.catchment(answer.cells)
    sheet.flow()
    draw_pool(sheet.plan, basin.outline, sheet.dem.cell)
    sheet.labels.ink(_inside(basin.outline, sheet.view), 0.9)
    if basin.form == "wall":
        draw_wall(sheet.plan, basin.line)
        sheet.labels.ink_line(basin.line, 1.0, 2)
    sheet.spill(answer.spill_path, basin.sill_x, basin.sill_y)
    sheet.corner()
    sheet.label(["pool", sy.brief(basin.storage, "volume", system)],
                _around(basin.outline), sy.WATER, 2.0)
    sheet.label([f"sill, {shown(basin.sill.length, 'length', system)} long"],
                np.array([[basin.sill_x, basin.sill_y]]), sy.WATER, 4.0, 90)
    _label_catchment(sheet, answer.cells, answer.catchment.area, answer.catchment.touches_edge)
    sheet.finish_plan()
    if basin.form == "wall":
        _wall_section(sheet, answer)
    else:
        _dug_section(sheet, answer)
    _stage_curve(sheet, answer)
    sheet.head("Figures")
    most = "at least " if answer.catchment.touches_edge else ""
    rows = [("holds, up to its sill", shown(basin.storage, "volume", system))]
    if basin.form == "wall":
        rows.append(("as behind a thin wall", shown(basin.gross, "volume", system)))
    rows += [("pool, full", shown(basin.pool_area, "area", system)),
             ("catchment", most + _land(answer.catchment.area, system)),
             ("deepest water", shown(basin.water_at_wall, "level", system)),
             ("water on the sill, design peak", shown(basin.sill.head, "level", system)),
             *sheet.earth(answer.quantities, "wall")]
    sheet.rows(rows)
    sheet.storms(answer.storms, store=True)
    sheet.cautions(answer.cautions, answer.rests_on)
    return sheet.figure


@sy.styled
def draw_shed(answer: ShedAnswer, system: str) -> Figure:
    """Draw the catchment of a point. A4, landscape."""
    bounds = answer.outline.union(_point(*answer.at)).bounds
    sheet = _Sheet(answer.question, bounds, system, "Catchment",
                   _at_words(answer.question, *answer.at), section=False)
    sheet.catchment(answer.cells)
    sheet.flow()
    x, y = answer.at
    sheet.plan.add_patch(Circle((x, y), 5.0 * sheet.view.point, facecolor=sy.SHED,
                                edgecolor=sy.PAPER, linewidth=1.4, zorder=24, gid="point"))
    sheet.labels.ink(np.array([[x, y]]), 1.0, 5)
    sheet.corner()
    sheet.label(["the point"], np.array([[x, y]]), sy.SHED, 6.0)
    _label_catchment(sheet, answer.cells, answer.catchment.area, answer.catchment.touches_edge)
    sheet.finish_plan()
    made = answer.catchment
    most = "at least " if made.touches_edge else ""
    sheet.head("Figures")
    rows = [("catchment", most + _land(made.area, system)),
            ("longest path of the water", shown(answer.longest_path, "length", system, 0)),
            ("mean slope", f"{100 * made.slope:.1f} %")]
    if answer.storms:
        rows += [("mean curve number", f"{made.mean_curve_number:.0f}"),
                 ("runs off from", f"{shown(made.starts_at, 'rain', system)} of rain")]
    sheet.rows(rows)
    sheet.storms(answer.storms, store=False)
    cautions = []
    if made.touches_edge:
        cautions.append(f"The catchment reaches the edge of {sheet.dem.source}: read every figure "
                        "as \"at least\".")
    if answer.better is not None:
        bx, by, area = answer.better
        cautions.append(f"Much more water passes close by, at {sheet.dem.named(bx, by)}: it drains "
                        f"{_land(area, system)}. Was that the place you meant?")
    sheet.cautions(cautions)
    return sheet.figure


@sy.styled
def draw_survey(survey: Survey, system: str) -> Figure:
    """Draw what a raster holds: its slopes, contours and hollows. A4, landscape."""
    dem = survey.question.dem
    west, south, east, north = dem.bounds
    spare = 0.14 * (north - south)  # a strip below for the scale bar
    sheet = _Sheet(survey.question, (west, south - spare, east, north), system, "Survey",
                   f"of the raster {dem.source}", section=False, margin=0.02)
    _slope_tints(sheet)
    terrain = survey.question.terrain
    depth = np.nan_to_num(terrain.filled.astype(np.float64) - dem.heights, nan=0.0)
    deep = sheet.cut(depth) > 0.05
    hollows = base.draw_region(sheet.plan, deep, sheet.crop, sy.POOL, 0.95, 0.8, 6.0)
    sheet.flow()
    sheet.corner()
    for hollow in survey.hollows[:NAMED_HOLLOWS]:
        if hollow.depth <= 0.05:
            continue
        x, y = (float(v) for v in dem.xy(hollow.row, hollow.column))
        sheet.label([f"{shown(hollow.depth, 'level', system)} deep",
                     sy.brief(hollow.volume, "volume", system)], np.array([[x, y]]), sy.WATER)
    sheet.finish_plan()
    sheet.head("Figures")
    unit = "ft" if system == "us" else "m"
    cell = survey.cell / (0.3048 if system == "us" else 1.0)
    sheet.rows([
        ("cells", f"{survey.columns:,} across, {survey.rows:,} down, {cell:.3g} {unit} wide"),
        ("ground of known height", shown(survey.area, "land", system)),
        ("lowest, highest", f"{shown(survey.low, 'level', system)}, "
         f"{shown(survey.high, 'level', system)}"),
        ("cells without a height", f"{survey.void_cells:,}"),
        ("hollows", f"{len(survey.hollows):,}")])
    _slope_key(sheet, survey, hollows)
    rests = [survey.checked_by, "Slope is drawn as its mean over a few metres where cells are "
             "finer; the shares count every cell."]
    sheet.cautions(survey.warnings, rests)
    return sheet.figure


# Parts of the plans ------------------------------------------------------------------------------

def _point(x: float, y: float) -> Any:
    from shapely import Point

    return Point(x, y)


def _about(outline: Any, line: FloatArray, spill: FloatArray, *more: Any
           ) -> tuple[float, float, float, float]:
    """What a plan shows of a work: all of it, and its catchment as far as that is not vast."""
    from shapely.geometry import LineString

    work = LineString(line)
    for shape in more:
        work = work.union(shape)
    west, south, east, north = work.bounds
    size = max(east - west, north - south, 10.0)
    near = work.union(outline.intersection(work.buffer(size * 1.4)))
    if len(spill) > 1:
        near = near.union(LineString(spill).intersection(work.buffer(size * 0.5)))
    bounds = near.bounds
    return float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3])


def _along(line: FloatArray) -> FloatArray:
    from shapely.geometry import LineString

    shape = LineString(line)
    spots = [shape.interpolate(s, normalized=True) for s in (0.5, 0.3, 0.7, 0.1, 0.9)]
    return np.array([[p.x, p.y] for p in spots])


def _around(shape: Any) -> FloatArray:
    ring = shape.convex_hull.exterior
    spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 13)[:-1]]
    return np.array([[p.x, p.y] for p in spots])


def _inside(shape: Any, view: View) -> FloatArray:
    from shapely import contains_xy

    west, south, east, north = shape.bounds
    step = 4 * view.point
    x, y = np.meshgrid(np.arange(west, east + step, step), np.arange(south, north + step, step))
    held = contains_xy(shape.buffer(step / 2), x, y)
    return np.stack([x[held], y[held]], 1)


def _label_catchment(sheet: _Sheet, cells: NDArray[np.bool_], area: float, cut_off: bool) -> None:
    """Write the catchment's size in its broadest place."""
    from scipy.ndimage import distance_transform_edt

    mask = np.pad(sheet.cut(cells), 1)
    if not mask.any():
        return
    deep = distance_transform_edt(mask)[1:-1, 1:-1]
    order = np.argsort(-deep.ravel(), kind="stable")[:1]
    row, column = np.unravel_index(order, deep.shape)
    x, y = sheet.crop.xy(row, column)
    words = "catchment, at least" if cut_off else "catchment"
    colour = "#6b5a21"
    sheet.label([words, _land(area, sheet.system)], np.stack([x, y], 1), colour, 0.0, 100)


def _land(area: float, system: str) -> str:
    """Small ground in m2 or ft2, larger in ha or acres."""
    return shown(area, "land" if area >= 4000 else "area", system)


def _at_words(question: Question, x: float, y: float) -> str:
    """Where a point lies, as the person gave it."""
    frame = question.dem.frame
    if question.words.lonlat:
        found = frame.to_lonlat(x, y)
        if found is not None:
            return f"of {float(found[0]):.5f}, {float(found[1]):.5f}"
    return f"of {question.dem.named(x, y)}"


# Sections ----------------------------------------------------------------------------------------

class _Section:
    """An axes below the plan in which a metre is as long across as up; lengths in m."""

    def __init__(self, sheet: _Sheet, left: float, wide: float, words: str) -> None:
        """Place it `left` inches from the plan's left edge, `wide` inches wide."""
        self.sheet, self.wide, self.high = sheet, wide * 72, (SECTION - 0.26) * 72
        self.ax = sheet.figure.add_axes(((MARGIN + left) / WIDE, MARGIN / HIGH, wide / WIDE,
                                         (SECTION - 0.26) / HIGH))
        self.ax.set_axis_off()
        sheet.figure.text((MARGIN + left) / WIDE, (MARGIN + SECTION - 0.06) / HIGH, words,
                          fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="head")
        self.point = 1.0

    def frame(self, west: float, east: float, low: float, high: float, beside: float = 0.0
              ) -> None:
        """Show this much of the section, with room for lettering about it.

        `beside` points are kept free on its right.
        """
        self.point = max((east - west) / (self.wide - 16 - beside),
                         (high - low) / (self.high - 62))
        x, z = (west + east + beside * self.point) / 2, (low + high) / 2
        self.ax.set_xlim(x - self.wide * self.point / 2, x + self.wide * self.point / 2)
        self.ax.set_ylim(z - self.high * self.point / 2, z + self.high * self.point / 2)

    def fill(self, points: Sequence[tuple[float, float]], face: str, edge: str = "none",
             zorder: float = 2, gid: str | None = None) -> None:
        """Fill a shape."""
        self.ax.add_patch(Polygon(points, closed=True, facecolor=face, edgecolor=edge,
                                  linewidth=1.0, zorder=zorder, gid=gid))

    def line(self, points: Sequence[tuple[float, float]], colour: str, width: float = 1.2,
             style: Any = "-", zorder: float = 4, gid: str | None = None) -> None:
        """Draw a line."""
        x, z = np.asarray(points, float).T
        self.ax.add_line(Line2D(x, z, color=colour, linewidth=width, linestyle=style,
                                zorder=zorder, gid=gid))

    def across(self, x0: float, x1: float, z: float, words: str, above: bool = False) -> None:
        """Write a dimension that runs across."""
        self._dimension((x0, z), (x1, z))
        gap = 3.0 * self.point * (1 if above else -1)
        self.ax.text((x0 + x1) / 2, z + gap, words, ha="center", va="bottom" if above else "top",
                     fontsize=sy.SMALL_SIZE, zorder=9, path_effects=sy.halo(1.8), gid="dimension")

    def up(self, x: float, z0: float, z1: float, words: str, right: bool = True,
           at: float | None = None) -> None:
        """Write a dimension that runs up."""
        self._dimension((x, z0), (x, z1))
        gap = 4.0 * self.point * (1 if right else -1)
        self.ax.text(x + gap, (z0 + z1) / 2 if at is None else at, words,
                     ha="left" if right else "right", va="center", fontsize=sy.SMALL_SIZE,
                     zorder=9, path_effects=sy.halo(1.8), gid="dimension")

    def _dimension(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.line([start, end], sy.SOFT_INK, 0.7, zorder=8)
        tick = 2.6 * self.point
        along = np.array(end) - np.array(start)
        norm = float(np.hypot(*along)) or 1.0
        side = np.array([-along[1], along[0]]) / norm * tick
        for at in (np.array(start), np.array(end)):
            self.line([tuple(at - side), tuple(at + side)], sy.SOFT_INK, 0.9, zorder=8)

    def note(self, x: float, z: float, words: str, colour: str = sy.INK, ha: str = "left",
             va: str = "center") -> None:
        """Write a word in the section."""
        self.ax.text(x, z, words, ha=ha, va=va, fontsize=sy.SMALL_SIZE, color=colour, zorder=9,
                     path_effects=sy.halo(1.8), gid="dimension")

    def water_mark(self, x: float, z: float) -> None:
        """The mark of a water level."""
        size = 4.0 * self.point
        self.fill([(x, z), (x - size, z + 1.5 * size), (x + size, z + 1.5 * size)], sy.PAPER,
                  sy.WATER, 7)


GROUND, BANK = "#d8cbb5", "#b98f6a"


def _swale_section(sheet: _Sheet, answer: SwaleAnswer) -> None:
    """Downhill is to the right; the line on contour, where the sill's level meets the ground,
    is at (0, 0)."""
    swale, system = answer.swale, sheet.system
    depth, bed, side = swale.depth, swale.width, swale.side_slope
    slope = swale.route.cross_slope
    top = Rulebook()["berm top width"]
    built, settled = swale.berm_height_built, swale.berm_height
    cut_end = -(bed + 2 * side * depth) / (1 - side * slope)
    toe = (top + 2 * side * built) / (1 - side * slope)
    west, east = cut_end - 1.0, toe + 1.0
    floor = -depth - 0.35
    made = _Section(sheet, 0.0, sheet.left_wide, "Section, the same scale both ways, "
                    f"downhill to the right; sides {side:g}:1, ground falls {100 * slope:.1f} %")
    low = min(floor, -slope * east - 0.2)
    made.frame(west, east, low, max(built, -slope * west), 70)
    bed_right, bed_left = -side * depth, -side * depth - bed
    profile = [(west, -slope * west), (cut_end, -slope * cut_end), (bed_left, -depth),
               (bed_right, -depth), (0.0, 0.0), (east, -slope * east)]
    base_line = low
    made.fill([*profile, (east, base_line), (west, base_line)], GROUND)
    made.line(profile, sy.INK, 1.3, gid="profile")
    made.line([(cut_end, -slope * cut_end), (0.0, 0.0)], sy.SOFT_INK, 0.9, (0, (4, 3)))
    made.fill([(bed_left - side * depth, 0.0), (bed_left, -depth), (bed_right, -depth),
               (0.0, 0.0)], sy.POOL, zorder=3, gid="water")
    made.line([(bed_left - side * depth, 0.0), (0.0, 0.0)], sy.WATER, 1.4)
    berm = [(0.0, 0.0), (side * built, built), (side * built + top, built), (toe, -slope * toe)]
    made.fill(berm, BANK, sy.EARTH, 3, gid="berm")
    ratio = settled / built if built else 1.0
    lower = [(0.0, 0.0), (side * built, settled), (side * built + top, settled),
             (toe, -slope * toe)]
    if ratio < 1:
        made.line(lower[1:3], sy.PAPER, 1.0, (0, (3, 2)), 5)
    p = made.point
    made.water_mark((bed_left + bed_right) / 2 - bed * 0.28, 0.0)
    made.up((bed_left + bed_right) / 2, -depth, 0.0, shown(depth, "level", system))
    made.across(bed_left, bed_right, -depth - 7 * p, f"bed {shown(bed, 'level', system)}")
    made.across(cut_end, 0.0, -slope * cut_end + 12 * p,
                f"cut {shown(-cut_end, 'level', system)} wide", above=True)
    made.line([(cut_end, -slope * cut_end + 3 * p), (cut_end, -slope * cut_end + 16 * p)],
              sy.FAINT_INK, 0.6)
    made.line([(0, 3 * p), (0, -slope * cut_end + 16 * p)], sy.FAINT_INK, 0.6)
    made.across(side * built, side * built + top, built + 9 * p,
                f"top {shown(top, 'level', system)}", above=True)
    right = toe + 12 * p
    made.line([(0.0, 0.0), (right + 5 * p, 0.0)], sy.FAINT_INK, 0.6, zorder=3.5)
    made.line([(side * built + top, built), (right + 5 * p, built)], sy.FAINT_INK, 0.6)
    made.up(right, 0.0, built, f"berm {shown(built, 'level', system)},\nsettles to "
            f"{shown(settled, 'level', system)}")


def _wall_section(sheet: _Sheet, answer: BasinAnswer) -> None:
    """Across the wall at its highest; the water to the left."""
    basin, system, dem = answer.basin, sheet.system, sheet.dem
    rules = Rulebook()
    top, wet, dry = rules["wall top width"], rules["wall wet slope"], rules["wall dry slope"]
    from shapely.geometry import LineString

    line = LineString(basin.line)
    spots = [line.interpolate(s) for s in np.linspace(0, line.length, 200)]
    heights = dem.height_at([s.x for s in spots], [s.y for s in spots])
    low = int(np.nanargmin(heights))
    ahead, behind = spots[min(low + 2, 199)], spots[max(low - 2, 0)]
    along = np.array([ahead.x - behind.x, ahead.y - behind.y])
    along = along / np.hypot(*along)
    away = np.array([-along[1], along[0]])
    pool = basin.outline.representative_point()
    if (np.array([pool.x - spots[low].x, pool.y - spots[low].y]) @ away) > 0:
        away = -away  # away from the water
    height = basin.crest - float(heights[low])
    reach = max(wet * height + top, 3 * height, 3.0) * 1.5
    tail = max(dry * height + top, 3.0) * 1.25
    s = np.linspace(-reach, tail, 160)
    ground = dem.height_at(spots[low].x + s * away[0], spots[low].y + s * away[1])
    ground = np.where(np.isfinite(ground), ground, np.nanmean(ground)) - basin.crest
    made = _Section(sheet, 0.0, sheet.left_wide * 0.66,
                    f"Section at the wall's highest; water side {wet:g}:1, dry side {dry:g}:1")
    water, bottom = basin.sill.level - basin.crest, float(ground.min()) - 0.12 * height
    made.frame(-reach, tail, bottom, 0.0)
    p = made.point
    made.fill([*zip(s, ground, strict=True), (tail, bottom), (-reach, bottom)], GROUND)
    wet_face = np.minimum(0.0, np.where(s < 0, (s + top / 2) / wet, -(s - top / 2) / dry))
    bank = np.maximum(wet_face, ground)
    on = wet_face > ground
    made.fill([*zip(s[on], bank[on], strict=True),
               *zip(s[on][::-1], ground[on][::-1], strict=True)], BANK, sy.EARTH, 4)
    wetted = (s < 0) & (np.maximum(wet_face, ground) < water)
    if wetted.any():
        floor = np.maximum(wet_face, ground)[wetted]
        end = float(s[wetted].max())
        made.fill([(float(s[wetted].min()), water), (end, water),
                   *zip(s[wetted][::-1], floor[::-1], strict=True)], sy.POOL, zorder=3)
        made.line([(float(s[wetted].min()), water), (end, water)], sy.WATER, 1.4)
        made.water_mark(float(s[wetted].min()) + (end - float(s[wetted].min())) * 0.35, water)
    made.line(list(zip(s, ground, strict=True)), sy.INK, 1.3, zorder=5)
    made.across(-top / 2, top / 2, 9 * p, f"top {shown(top, 'level', system)}", above=True)
    made.up(0.0, float(ground[np.argmin(np.abs(s))]), 0.0, shown(height, "level", system))
    made.note(-reach + 2 * p, water + 9 * p,
              f"sill {shown(basin.sill.level, 'level', system)}", sy.WATER, "left", "bottom")
    made.note(tail, 9 * p, f"crest {shown(basin.crest, 'level', system)}", sy.EARTH, "right",
              "bottom")


def _dug_section(sheet: _Sheet, answer: BasinAnswer) -> None:
    """Along the pit's longer way, through its middle."""
    from shapely.geometry import LineString

    basin, system, dem = answer.basin, sheet.system, sheet.dem
    shape = basin.outline
    ring = np.asarray(shape.minimum_rotated_rectangle.exterior.coords)
    sides = [ring[1] - ring[0], ring[2] - ring[1]]
    way = max(sides, key=lambda v: float(np.hypot(*v)))
    long = float(np.hypot(*way))
    way = way / long
    middle = shape.representative_point()
    probe = LineString([(middle.x - way[0] * 2 * long, middle.y - way[1] * 2 * long),
                        (middle.x + way[0] * 2 * long, middle.y + way[1] * 2 * long)])

    def chord(rise: float) -> tuple[float, float] | None:
        inner = shape.buffer(-_batter(answer) * (basin.water_at_wall - rise), join_style="mitre")
        cut = inner.intersection(probe)
        parts = [q for q in getattr(cut, "geoms", [cut]) if q.geom_type == "LineString"
                 and not q.is_empty]
        if not parts:
            return None
        part = max(parts, key=lambda q: q.length)
        at = sorted((c[0] - middle.x) * way[0] + (c[1] - middle.y) * way[1]
                    for c in (part.coords[0], part.coords[-1]))
        return at[0], at[1]

    depth = basin.water_at_wall
    rim, floor = chord(depth), chord(0.0)
    made = _Section(sheet, 0.0, sheet.left_wide * 0.66,
                    "Section along the pit, the same scale both ways")
    if rim is None:
        return
    spare = max((rim[1] - rim[0]) * 0.12, 1.0)
    s = np.linspace(rim[0] - spare, rim[1] + spare, 160)
    ground = dem.height_at(middle.x + s * way[0], middle.y + s * way[1]) - basin.sill.level
    ground = np.where(np.isfinite(ground), ground, 0.0)
    bottom = -depth * 1.3
    made.frame(float(s[0]), float(s[-1]), bottom, float(max(ground.max(), 0.0)))
    p = made.point
    pit = [(rim[0], 0.0)] + ([(floor[0], -depth), (floor[1], -depth)] if floor else []) + [
        (rim[1], 0.0)]
    left, right = s < rim[0], s > rim[1]
    edge = ([*zip(s[left], ground[left], strict=True)] + pit
            + [*zip(s[right], ground[right], strict=True)])
    made.fill([*edge, (float(s[-1]), bottom), (float(s[0]), bottom)], GROUND)
    made.fill(pit, sy.POOL, zorder=3)
    made.line(edge, sy.INK, 1.3)
    made.line(list(zip(s, ground, strict=True)), sy.SOFT_INK, 0.9, (0, (4, 3)))
    made.line([(rim[0], 0.0), (rim[1], 0.0)], sy.WATER, 1.4)
    made.water_mark(rim[0] + (rim[1] - rim[0]) * 0.3, 0.0)
    made.up((rim[0] + rim[1]) / 2, -depth, 0.0, shown(depth, "level", system))
    made.across(rim[0], rim[1], float(max(ground.max(), 0.0)) + 12 * p,
                f"rim {shown(rim[1] - rim[0], 'length', system)}", above=True)
    if floor:
        made.across(floor[0], floor[1], -depth - 7 * p,
                    f"floor {shown(floor[1] - floor[0], 'length', system)}; "
                    f"sides {_batter(answer):g}:1")


def _batter(answer: BasinAnswer) -> float:
    """The sides of a dug basin (H:V), from its top and floor areas. [-]"""
    basin = answer.basin
    shape, depth = basin.outline, basin.water_at_wall
    floor = float(basin.curve.areas[0])
    low, high = 0.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        if shape.buffer(-middle * depth, join_style="mitre").area > floor:
            low = middle
        else:
            high = middle
    return round((low + high) / 2, 2)


def _stage_curve(sheet: _Sheet, answer: BasinAnswer) -> None:
    """Volume held at each level."""
    basin, system = answer.basin, sheet.system
    left = sheet.left_wide * 0.66 + 0.62
    wide = sheet.left_wide - left - 0.12
    ax = sheet.figure.add_axes(((MARGIN + left) / WIDE, (MARGIN + 0.36) / HIGH, wide / WIDE,
                                (SECTION - 0.72) / HIGH))
    sheet.figure.text((MARGIN + left - 0.5) / WIDE, (MARGIN + SECTION - 0.06) / HIGH,
                      "Held at each level", fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK,
                      va="center", gid="head")
    (volume_unit, factor, _), (level_unit, stretch, _) = (
        PRINTED["volume"][system == "us"], PRINTED["level"][system == "us"])
    volumes, levels = basin.curve.volumes * factor, basin.curve.levels * stretch
    ax.fill_betweenx(levels, 0, volumes, color=sy.POOL, alpha=0.6, linewidth=0)
    ax.plot(volumes, levels, color=sy.WATER, linewidth=1.6)
    ax.set_xlim(0, float(volumes[-1]) * 1.05)
    ax.set_ylim(float(levels[0]), float(levels[-1]) + 0.04 * float(levels[-1] - levels[0]))
    ax.set_xticks([0, float(volumes[-1])])
    ax.set_xticklabels(["0", sy.brief(basin.storage, "volume", system)], fontsize=sy.SMALL_SIZE)
    ax.get_xticklabels()[-1].set_ha("right")
    ax.set_yticks([float(levels[0]), float(levels[-1])])
    ax.set_yticklabels([f"{v:,.2f}" for v in (levels[0], levels[-1])], fontsize=sy.SMALL_SIZE)
    ax.tick_params(length=3, pad=3)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


# Survey --------------------------------------------------------------------------------------------

#: Slopes are drawn as their mean over about this distance; the shares count every cell. [m]
SLOPE_OVER = 2.0


def _slope_tints(sheet: _Sheet) -> None:
    from scipy.ndimage import gaussian_filter

    slope = sheet.cut(sheet.question.terrain.slope).astype(np.float64)
    known = np.isfinite(slope)
    wide = SLOPE_OVER / sheet.crop.cell
    if wide >= 0.5:
        weight = gaussian_filter(known.astype(np.float64), wide)
        total = gaussian_filter(np.where(known, slope, 0.0), wide)
        slope = np.where(known, total / np.maximum(weight, 1e-9), np.nan)
    image = np.zeros((*slope.shape, 4))
    for least, _, colour in sy.SLOPES:
        image[slope >= least] = (*to_rgb(colour), sy.SLOPE_ALPHA)
    image[~known] = 0.0
    west, south, east, north = sheet.crop.bounds
    sheet.plan.imshow(image, extent=(west, east, south, north), interpolation="nearest",
                      zorder=2, aspect="equal")
    sheet.view.shown_on(sheet.plan)
    box = _box(west, south, east, north)
    sheet.labels.ink(_inside(box, sheet.view), 0.02)


def _box(west: float, south: float, east: float, north: float) -> Any:
    from shapely import box

    return box(west, south, east, north)


def _slope_key(sheet: _Sheet, survey: Survey, hollows: bool) -> None:
    """Slope classes with their shares of the ground: legend and chart in one."""
    sheet.head("Slope")
    column = sheet.column
    most = max([*survey.slope_shares.values(), 1e-9])
    for _, name, colour in sy.SLOPES:
        share = survey.slope_shares.get(name, 0.0)
        y = column.y - 7.5
        column.ax.add_patch(Rectangle(
            (0, y - 5), 20, 10, edgecolor=sy.FAINT_INK, linewidth=0.6,
            facecolor=sy.mixed(sy.SHADE_MIDDLE, colour, sy.SLOPE_ALPHA)))
        column.ax.text(28, y, name, fontsize=sy.TEXT_SIZE, va="center", gid="legend:slope")
        column.ax.add_patch(Rectangle((100, y - 3.5), max(share / most, 0.002)
                                      * (column.width - 145), 7, facecolor=sy.SOFT_INK,
                                      edgecolor="none"))
        column.ax.text(column.width, y, f"{100 * share:.0f} %", fontsize=sy.TEXT_SIZE,
                       va="center", ha="right", gid="column")
        column.skip(15)
    if hollows:
        y = column.y - 7.5
        column.ax.add_patch(Rectangle((0, y - 5), 20, 10, facecolor=sy.POOL,
                                      edgecolor=sy.WATER, linewidth=0.8))
        column.ax.text(28, y, "hollow, deeper than 5 cm" if sheet.system == "metric"
                       else "hollow, deeper than 2 in", fontsize=sy.TEXT_SIZE, va="center",
                       gid="legend:hollow")
        column.skip(15)


__all__ = ["draw_basin", "draw_shed", "draw_survey", "draw_swale"]
