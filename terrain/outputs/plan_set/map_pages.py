"""The pages of the set that are maps: the site plan, in parts where it is large, and the sheds."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.map_page import Frame
from terrain.outputs.drawing.paper import Scale, fitting_scale, round_scale
from terrain.outputs.drawing.shed_map import ShedMap
from terrain.outputs.drawing.site_map import SiteMap
from terrain.outputs.drawing.title_block import Imprint, TitleBlock
from terrain.outputs.plan_set.page import Page
from terrain.outputs.sheets.sheet import GUTTER, MARGIN
from terrain.plan.planned import Plan

FRAME = Frame(MARGIN, panel=3.25, gutter=GUTTER)
#: Share of each side of the property that is shown beyond it, at least.
BEYOND = 0.03
#: A site plan at less than this is followed by its parts at a larger scale: to so many times
#: smaller than the ground a swale can still be told from its sill.  Common practice, no source.
READABLE = 5000.0
#: So many parts at most; a larger site is drawn in parts at a smaller scale.
MOST_PARTS = 12
#: Parts overlap by this share of a side.
LAP = 0.08

Bounds = tuple[float, float, float, float]


def room(imprint: Imprint) -> tuple[float, float]:
    """Width and height of a map on its page. [pt]"""
    wide, high = FRAME.room(imprint.paper.inches)
    return wide * 72, high * 72


def site_scale(plan: Plan, imprint: Imprint) -> Scale:
    """The largest round scale at which the whole property finds room on a page."""
    west, south, east, north = plan.inputs.ground.boundary.bounds
    return fitting_scale((east - west) * (1 + 2 * BEYOND), (north - south) * (1 + 2 * BEYOND),
                         *room(imprint), imprint.system)


def parts_of(bounds: Bounds, wide: float, high: float, system: str) -> tuple[Scale, list[Bounds]]:
    """Parts of a large site, each as large as a page shows at a readable scale, by rows from the
    north-west on.

    Parameters
    ----------
    bounds : west, south, east, north
        [m]
    wide, high : float
        Of a map on a page. [pt]
    """
    west, south, east, north = bounds
    wanted = READABLE / 2
    while True:
        scale = round_scale(wanted, system)
        a, b = wide * scale.point * (1 - LAP), high * scale.point * (1 - LAP)
        columns, rows = math.ceil((east - west) / a), math.ceil((north - south) / b)
        if columns * rows <= MOST_PARTS:
            break
        wanted = scale.ratio * 1.01
    x = (west + east - columns * a) / 2
    y = (south + north + rows * b) / 2
    return scale, [(x + i * a, y - (j + 1) * b, x + (i + 1) * a, y - j * b)
                   for j in range(rows) for i in range(columns)]


def _sheet(imprint: Imprint, bounds: Bounds, scale: Scale
           ) -> tuple[Figure, Axes, base.View, Column]:
    """A figure with its map's axes, its view, and its panel."""
    figure, ax = FRAME.begun(imprint.paper.inches)
    view = base.true_view(bounds, *room(imprint), scale.point)
    view.shown_on(ax)
    return figure, ax, view, FRAME.column(figure)


@sy.styled
def site_plan(plan: Plan, imprint: Imprint) -> Page:
    """The whole property on one page."""
    scale = site_scale(plan, imprint)
    title = "Site plan"
    figure, ax, view, column = _sheet(imprint, plan.inputs.ground.boundary.bounds, scale)
    SiteMap(plan, ax, view, TitleBlock(imprint, title, scale.words)).draw(column)
    return Page(title, figure)


@sy.styled
def site_parts(plan: Plan, imprint: Imprint) -> list[Page]:
    """Parts of a property whose plan on one page is too small to read; none of a smaller one."""
    if site_scale(plan, imprint).ratio <= READABLE:
        return []
    boundary = plan.inputs.ground.boundary
    scale, parts = parts_of(boundary.bounds, *room(imprint), imprint.system)
    from shapely import box

    parts = [part for part in parts if box(*part).intersects(boundary)]
    pages = []
    for number, part in enumerate(parts, 1):
        title = f"Site plan, part {number} of {len(parts)}"
        figure, ax, view, column = _sheet(imprint, part, scale)
        SiteMap(plan, ax, view, TitleBlock(imprint, title, scale.words)).draw(column)
        pages.append(Page(title, figure))
    return pages


@sy.styled
def shed_map(plan: Plan, imprint: Imprint) -> Page | None:
    """What roads and bare ground shed, and where; None where neither is known."""
    if not plan.sheds:
        return None
    scale = site_scale(plan, imprint)
    title = "Road sheds"
    figure, ax, view, column = _sheet(imprint, plan.inputs.ground.boundary.bounds, scale)
    ShedMap(plan, ax, view, TitleBlock(imprint, title, scale.words)).draw(column)
    return Page(title, figure)
