"""Sheets for the quick questions: a plan, a section to scale, and the figures beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.basin_sheet import basin_sheet
from terrain.outputs.sheets.sheet import Sheet
from terrain.outputs.sheets.sheet_plan import label_catchment
from terrain.outputs.sheets.subject import Subject, land
from terrain.outputs.sheets.swale_sheet import swale_sheet
from terrain.plan.basin_question import BasinAnswer
from terrain.plan.question import Question
from terrain.plan.safety.raster_edge import bound_of, reaches_edge
from terrain.plan.shed_question import ShedAnswer
from terrain.plan.survey import Survey
from terrain.plan.swale_question import SwaleAnswer
from terrain.surface.depressions import Hollow
from terrain.surface.terrain import LEAST_HOLLOW
from terrain.units import shown

#: So many hollows are named on a survey, if they are this deep [m] and this wide on paper [pt].
NAMED_HOLLOWS, LEAST_DEPTH, LEAST_WIDTH = 5, 0.05, 4.0


@sy.styled
def draw_swale(answer: SwaleAnswer, system: str) -> Figure:
    """Draw a swale: its plan, its sections, its long profile, its figures. A4, landscape."""
    return swale_sheet(_subject(answer, "Swale", system), answer.swale, answer.storage)


@sy.styled
def draw_basin(answer: BasinAnswer, system: str) -> Figure:
    """Draw a basin: its plan, its section to scale, its volume by level, its figures."""
    basin = answer.basin
    return basin_sheet(_subject(answer, "Basin", system), basin, basin.storage,
                       (answer.curve, [(storm.rain, storm.caught) for storm in answer.storms]))


def _subject(answer: SwaleAnswer | BasinAnswer, name: str, system: str) -> Subject:
    return Subject(name, answer.question.terrain, system, answer.cells, answer.catchment.area,
                   bound_of([answer.catchment]), answer.outline, ((answer.spill_path, ""),),
                   quantities=answer.quantities, storms=answer.storms, cautions=answer.cautions,
                   rests_on=answer.rests_on)


@sy.styled
def draw_shed(answer: ShedAnswer, system: str) -> Figure:
    """Draw the catchment of a point. A4, landscape."""
    bounds = answer.outline.union(_point(*answer.at)).bounds
    sheet = Sheet(answer.question.terrain, bounds, system, "Catchment",
                   _at_words(answer.question, *answer.at))
    sheet.catchment(answer.cells)
    sheet.flow()
    x, y = answer.at
    sheet.plan.add_patch(Circle((x, y), 5.0 * sheet.view.point, facecolor=sy.SHED,
                                edgecolor=sy.PAPER, linewidth=1.4, zorder=24, gid="point"))
    sheet.labels.ink(np.array([[x, y]]), 1.0, 5)
    sheet.corner()
    sheet.label(["the point"], np.array([[x, y]]), sy.SHED, 6.0)
    label_catchment(sheet, answer.cells, answer.catchment.area, bound_of([answer.catchment]))
    sheet.finish_plan()
    made = answer.catchment
    most = bound_of([made])
    sheet.head("Figures")
    rows = [("catchment", most + land(made.area, system)),
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
    if answer.off_path:
        cautions.append(answer.off_path)
    if answer.better is not None:
        bx, by, area, lower = answer.better
        cautions.append(f"Much more water passes close by, at {sheet.dem.named(bx, by)}: it drains "
                        f"{'at least ' if lower else ''}{land(area, system)}. Was that the place "
                        "you meant?")
    sheet.cautions(cautions)
    return sheet.figure


@sy.styled
def draw_survey(survey: Survey, system: str) -> Figure:
    """Draw what a raster holds: its slopes, contours and hollows. A4, landscape."""
    dem = survey.question.dem
    west, south, east, north = dem.bounds
    spare = 0.14 * (north - south)  # a strip below for the scale bar
    sheet = Sheet(survey.question.terrain, (west, south - spare, east, north), system, "Survey",
                   f"of the raster {dem.source}", margin=0.02)
    _slope_tints(sheet)
    wet = sheet.means(survey.question.terrain.in_hollows.astype(np.float32))
    hollows = base.draw_region(sheet.plan, wet >= 0.5, sheet.crop, sy.POOL, 0.95, 0.8, 6.0)
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
        (f"hollows of more than {sy.brief(LEAST_HOLLOW, 'volume', system)}",
         f"{len(survey.hollows):,}")])
    _slope_key(sheet, survey, hollows, bool(named))
    rests = [survey.checked_by, "Slope is drawn as its mean over "
             f"{'several feet' if system == 'us' else 'a few metres'}, or over a dot of the "
             "picture, where cells are finer; the shares count every cell."]
    sheet.cautions(survey.warnings, rests)
    return sheet.figure


def _point(x: float, y: float) -> Any:
    from shapely import Point

    return Point(x, y)


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


def _slope_tints(sheet: Sheet) -> None:
    from scipy.ndimage import gaussian_filter

    slope = sheet.means(sheet.terrain.slope)
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


def _hollow_spill(sheet: Sheet, hollow: Hollow) -> None:
    """Mark where a hollow spills, with an arrowhead the way the water goes there."""
    path = sheet.terrain.path(hollow.row, hollow.column)
    way = base.way_of(sheet.terrain, path)
    spill = int(np.abs(path - (hollow.spill_row, hollow.spill_column)).sum(axis=1).argmin())
    ahead = int(8 * sheet.view.point / sheet.dem.cell) + 1
    towards = way[min(spill + ahead, len(way) - 1)] - way[max(spill - 1, 0)]
    base.arrowhead(sheet.plan, way[spill], towards, 9.5 * sheet.view.point, sy.WATER, 20,
                   "hollow spill")
    sheet.labels.ink(way[spill:spill + 1], 1.0, 4)


def _slope_key(sheet: Sheet, survey: Survey, hollows: bool, spills: bool) -> None:
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
        column.ax.text(28, y, "hollow of more than "
                       f"{sy.brief(LEAST_HOLLOW, 'volume', sheet.system)}", fontsize=sy.TEXT_SIZE,
                       va="center", gid="legend:hollow")
        column.skip(15)
    if spills:
        y = column.y - 7.5
        base.arrowhead(column.ax, np.array([9.0, y]), np.array([1.0, 0.0]), 9.5, sy.WATER, 5)
        column.ax.text(28, y, "where a named hollow spills when full", fontsize=sy.TEXT_SIZE,
                       va="center", gid="legend:hollow spill")
        column.skip(15)


__all__ = ["draw_basin", "draw_shed", "draw_survey", "draw_swale"]
