"""Sheets for the quick questions: a plan, a section to scale, and the figures beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import to_rgb, to_rgba_array
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from numpy.typing import NDArray

from terrain.outputs import base_map as base
from terrain.outputs import symbols as sy
from terrain.outputs.basin_charts import basin_charts
from terrain.outputs.labels import Column, Labels, Line, shortened
from terrain.outputs.legend import title
from terrain.outputs.map_features import (
    datum_words,
    draw_pit,
    draw_pool,
    draw_sill,
    draw_spill,
    draw_swale_line,
    draw_wall,
    finish_contours,
    joined,
    points_in,
    scale_and_north,
)
from terrain.outputs.sections import (
    Section,
    dug_section,
    wall_section,
)
from terrain.outputs.swale_sections import (
    draw_stations,
    long_profile,
    profile_words,
    swale_section,
)
from terrain.plan.cautions import reaches_edge
from terrain.plan.cost import Quantities
from terrain.plan.question import Question
from terrain.plan.questions import BasinAnswer, ShedAnswer, StormAnswer, SwaleAnswer
from terrain.plan.survey import Survey
from terrain.surface.depressions import Hollow
from terrain.units import PRINTED, shown
from terrain.works.swale_built import Swale

FloatArray = NDArray[np.float64]

#: A4, landscape; margins, the panel on the right, the gap beside it, and the section. [in]
WIDE, HIGH = 297 / 25.4, 210 / 25.4
MARGIN, PANEL, GUTTER, SECTION = 0.38, 3.7, 0.28, 2.05
#: Height of a basin's charts, above its section. [in]
CHARTS = 1.55
#: Room below a swale's plan for its stations and its long profile. [in]
PROFILE = 1.15
#: A raster is thinned until no side of a plan has more cells than this, about one a pixel.
MOST_CELLS = 1100
#: So many hollows are named on a survey, if they are this deep [m] and this wide on paper [pt].
NAMED_HOLLOWS, LEAST_DEPTH, LEAST_WIDTH = 5, 0.05, 4.0


class _Sheet:
    """A sheet with a plan on the left and a column of figures on the right."""

    def __init__(self, question: Question, bounds: tuple[float, float, float, float],
                 system: str, name: str, subtitle: str, section: bool, margin: float = 0.08,
                 more: float = 0.0) -> None:
        self.question, self.system, self.dem = question, system, question.dem
        from shapely import box

        self.figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
        left = WIDE - 2 * MARGIN - PANEL - GUTTER
        self.below = SECTION + 0.3 + more if section else 0.0
        high = HIGH - 2 * MARGIN - self.below
        self.plan = self.figure.add_axes((MARGIN / WIDE, (MARGIN + self.below) / HIGH,
                                          left / WIDE, high / HIGH))
        self.left_wide = left
        self.view = base.view_of(bounds, left * 72, high * 72, margin, 12 * self.dem.cell)
        self.view.shown_on(self.plan)
        self.labels = Labels(self.plan)
        self.crop = base.cropped(self.dem, self.view, MOST_CELLS)
        base.draw_shade(self.plan, self.crop)
        # Blank paper is a little better to write on than ground.
        self.labels.ink(points_in(box(*self.crop.bounds), self.view), 0.02)
        self.interval, self.contours = 0.0, list[base.Contour]()
        if np.isfinite(self.crop.heights).any() and min(self.crop.shape) > 1:
            self.interval = base.contour_interval(self.crop, self.view.point, system, 18.0)
            self.contours = base.contours_of(self.crop, self.interval, 26 * self.view.point)
        self.column = Column(self.figure, WIDE - MARGIN - PANEL, MARGIN, PANEL, HIGH - 2 * MARGIN)
        title(self.column, name, subtitle)

    def cut(self, cells: NDArray[Any]) -> NDArray[Any]:
        """A raster of cells as the plan shows it."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns, MOST_CELLS)
        high, wide = self.crop.shape
        return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]

    def means(self, values: NDArray[np.float32]) -> NDArray[np.float64]:
        """A raster of values as the plan shows it, thinned as its ground is."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns, MOST_CELLS)
        return base.means(values[rows, columns], step).astype(np.float64)

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
            cells = np.stack(self.dem.row_column(path[:, 0], path[:, 1]), 1)
            way = joined(x, y, base.way_of(self.question.terrain, cells), self.dem.cell)
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

    def finish_plan(self, darker: float = 0.0) -> None:
        """Contours, with this share of ink in their colour; after everything else on the plan."""
        finish_contours(self.plan, self.contours, self.view, self.labels, self.interval,
                        self.system)
        for lines in self.plan.collections:
            if lines.get_gid() == "contour":
                lines.set_edgecolor([sy.mixed(colour, sy.INK, darker)
                                     for colour in to_rgba_array(lines.get_edgecolor())[:, :3]])

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
                   f"{shown(route.level, 'level', system)}", section=True, more=PROFILE)
    sheet.catchment(answer.cells)
    sheet.flow()
    draw_swale_line(sheet.plan, route.line, sheet.dem, sheet.view, swale.top_width,
                    [check.chainage for check in swale.checks])
    sheet.labels.ink_line(route.line, 1.0, 2)
    sheet.spill(answer.spill_path, swale.sill_x, swale.sill_y)
    sheet.corner()
    sheet.label(["swale", sy.brief(answer.storage, "volume", system)], _along(route.line), sy.WATER)
    sheet.label([f"sill, {shown(swale.sill.length, 'length', system)} long"],
                np.array([[swale.sill_x, swale.sill_y]]), sy.WATER, 4.0, 60)
    _label_catchment(sheet, answer.cells, answer.catchment.area, answer.catchment.touches_edge)
    sheet.finish_plan()
    _swale_below(sheet, swale, system)
    sheet.head("Figures")
    most = "at least " if answer.catchment.touches_edge else ""
    sheet.rows([
        ("holds, up to its sill", shown(answer.storage, "volume", system)),
        ("catchment", most + _land(answer.catchment.area, system)),
        ("level of line and sill", shown(swale.sill.level, "level", system)),
        ("line leaves that level by up to", shown(route.deviation, "level", system)),
        ("tightest bend", "straight" if route.radius > 1e6 else
         f"{shown(route.radius, 'level', system)} in radius"),
        ("water on the sill, design peak", shown(swale.sill.head, "level", system)),
        *sheet.earth(answer.quantities, "berm as built")])
    sheet.storms(answer.storms, store=True)
    sheet.cautions(answer.cautions, answer.rests_on)
    return sheet.figure


def _swale_below(sheet: _Sheet, swale: Swale, system: str) -> None:
    """The swale's section, its sections at stations and its long profile, below its plan."""
    figure, wide = sheet.figure, sheet.left_wide
    swale_section(Section(figure, MARGIN, 2.02, wide, 1.72), swale, system)
    draw_stations(figure, swale, system, MARGIN, 1.04, wide, 0.98)
    ax = figure.add_axes(((MARGIN + 0.95) / WIDE, 0.47 / HIGH, (wide - 1.25) / WIDE, 0.47 / HIGH))
    long_profile(ax, swale, system)
    figure.text(MARGIN / WIDE, 0.12 / HIGH, profile_words(swale), fontsize=sy.SMALL_SIZE,
                color=sy.SOFT_INK, gid="head")


@sy.styled
def draw_basin(answer: BasinAnswer, system: str) -> Figure:
    """Draw a basin: its plan, its section to scale, its volume by level, its figures."""
    basin = answer.basin
    form = {"wall": "behind a wall", "dug": "dug into the ground",
            "wall and pit": "behind a wall, with a pit"}[basin.form]
    sheet = _Sheet(answer.question, _about(answer.outline, basin.line, answer.spill_path,
                                           basin.outline), system, "Basin",
                   f"{form}, its sill at {shown(basin.sill.level, 'level', system)}", section=True,
                   more=CHARTS + 0.12)
    sheet.catchment(answer.cells)
    sheet.flow()
    draw_pool(sheet.plan, basin.outline, sheet.dem.cell)
    sheet.labels.ink(points_in(basin.outline, sheet.view), 0.9)
    if basin.rim is not None:
        draw_pit(sheet.plan, basin.rim)
    if basin.has_wall:
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
    section = Section(sheet.figure, MARGIN, MARGIN, sheet.left_wide, SECTION)
    across = wall_section if basin.has_wall else dug_section
    across(section, basin, sheet.dem, system)
    basin_charts(sheet.figure, MARGIN, MARGIN + SECTION + 0.12, sheet.left_wide, CHARTS, basin,
                 answer.curve, [(storm.rain, storm.caught) for storm in answer.storms], system)
    sheet.head("Figures")
    most = "at least " if answer.catchment.touches_edge else ""
    rows = [("holds, up to its sill", shown(basin.storage, "volume", system))]
    if basin.has_wall:
        rows.append(("as behind a thin wall", shown(basin.gross, "volume", system)))
    rows += [("pool, full", shown(basin.pool_area, "area", system)),
             ("catchment", most + _land(answer.catchment.area, system)),
             ("deepest water", shown(basin.deepest_water, "level", system)),
             ("water on the sill, design peak", shown(basin.sill.head, "level", system)),
             *sheet.earth(answer.quantities, "wall and trench")]
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
        cautions.append(reaches_edge(made, sheet.dem))
    if answer.better is not None:
        bx, by, area, lower = answer.better
        cautions.append(f"Much more water passes close by, at {sheet.dem.named(bx, by)}: it drains "
                        f"{'at least ' if lower else ''}{_land(area, system)}. Was that the place "
                        "you meant?")
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
    depth = sheet.means(survey.question.terrain.filled) - sheet.crop.heights
    hollows = base.draw_region(sheet.plan, depth > LEAST_DEPTH, sheet.crop, sy.POOL, 0.95, 0.8, 6.0)
    sheet.flow()
    sheet.corner()
    edge = np.array([[west, south], [west, north], [east, north], [east, south], [west, south]])
    sheet.labels.ink_line(edge, 1.0, 1)  # no label astride it
    named = [hollow for hollow in survey.hollows[:NAMED_HOLLOWS] if hollow.depth > LEAST_DEPTH
             and hollow.area > (LEAST_WIDTH * sheet.view.point)**2]
    for hollow in named:
        _hollow_spill(sheet, hollow)
    for hollow in named:
        x, y = (float(v) for v in dem.xy(hollow.row, hollow.column))
        sheet.label([f"{shown(hollow.depth, 'level', system)} deep",
                     sy.brief(hollow.volume, "volume", system)], np.array([[x, y]]), sy.WATER)
    sheet.finish_plan(0.7)
    sheet.head("Figures")
    unit = "ft" if system == "us" else "m"
    cell = survey.cell / (0.3048 if system == "us" else 1.0)
    sheet.rows([
        ("cells", f"{survey.columns:,} across, {survey.rows:,} down, {cell:,.2f} {unit} wide"),
        ("ground of known height", shown(survey.area, "land", system)),
        ("lowest, highest", f"{shown(survey.low, 'level', system)}, "
         f"{shown(survey.high, 'level', system)}"),
        ("cells without a height", f"{survey.void_cells:,}"),
        ("hollows", f"{len(survey.hollows):,}")])
    _slope_key(sheet, survey, hollows, bool(named))
    rests = [survey.checked_by, "Slope is drawn as its mean over a few metres, or over a dot of "
             "the picture, where cells are finer; the shares count every cell."]
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


# Survey ----------------------------------------------------------------------------------------

#: Slopes are drawn as their mean over about this distance; the shares count every cell. [m]
SLOPE_OVER = 2.0


def _slope_tints(sheet: _Sheet) -> None:
    from scipy.ndimage import gaussian_filter

    slope = sheet.means(sheet.question.terrain.slope)
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


def _hollow_spill(sheet: _Sheet, hollow: Hollow) -> None:
    """Mark where a hollow spills, with an arrowhead the way the water goes there."""
    path = sheet.question.terrain.path(hollow.row, hollow.column)
    way = base.way_of(sheet.question.terrain, path)
    spill = int(np.abs(path - (hollow.spill_row, hollow.spill_column)).sum(axis=1).argmin())
    ahead = int(8 * sheet.view.point / sheet.dem.cell) + 1
    towards = way[min(spill + ahead, len(way) - 1)] - way[max(spill - 1, 0)]
    base.arrowhead(sheet.plan, way[spill], towards, 9.5 * sheet.view.point, sy.WATER, 20,
                   "hollow spill")
    sheet.labels.ink(way[spill:spill + 1], 1.0, 4)


def _slope_key(sheet: _Sheet, survey: Survey, hollows: bool, spills: bool) -> None:
    """Slope classes with their shares of the ground, legend and chart in one; then the hollows."""
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
    if spills:
        y = column.y - 7.5
        base.arrowhead(column.ax, np.array([9.0, y]), np.array([1.0, 0.0]), 9.5, sy.WATER, 5)
        column.ax.text(28, y, "where a named hollow spills when full", fontsize=sy.TEXT_SIZE,
                       va="center", gid="legend:hollow spill")
        column.skip(15)


__all__ = ["draw_basin", "draw_shed", "draw_survey", "draw_swale"]
