"""The map of a proposal: its works and their names, what stays, and ground that is left alone."""

from __future__ import annotations

from typing import cast

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.groups import Group
from terrain.outputs.drawing.labels import Column, Line, shortened
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import places_words, points_in
from terrain.outputs.drawing.map_labels import anchors_of, label_roofs_and_roads
from terrain.outputs.drawing.map_works import draw_spills, draw_works
from terrain.outputs.drawing.site_map import FRAME
from terrain.outputs.page.figures import with_figures
from terrain.outputs.suggest.figures import (
    aim_words,
    cost_words,
    gap_words,
    ground_words,
    limit_words,
)
from terrain.outputs.suggest.laid import Laid, Standing, laid_out
from terrain.outputs.suggest.words import named
from terrain.plan.planned import Plan
from terrain.suggest.suggestion import Proposal, Suggestion

#: With more works than this each has its name alone.
MOST_TOLD = 12
#: How far off its work a name may stand, and a roof's off its roof. [pt]
FAR, ROOFS_FAR = 120.0, 40.0
#: The ground that is left alone is hatched with this.
LEFT_ALONE = "#8d8478"


@sy.styled
def draw_proposal(suggestion: Suggestion, proposal: Proposal, about: Standing) -> Figure:
    """The map of a proposal. A3, landscape."""
    laid = laid_out(suggestion, proposal, about)
    figure, ax = FRAME.begun(sy.A3)
    wide, high = FRAME.room(sy.A3)
    view = base.view_of(laid.inputs.ground.boundary.bounds, wide * 72, high * 72, margin=0.05)
    view.shown_on(ax)
    drawing = ProposalMap(laid, ax, view, about.closed)
    drawing.draw()
    _panel(FRAME.column(figure), drawing, suggestion, proposal)
    return figure


class ProposalMap(GroundMap):
    """The map of a proposal's works."""

    def __init__(self, laid: Laid, ax: Axes, view: View, closed: NDArray[np.bool_]) -> None:
        super().__init__(cast(Plan, laid), ax, view)  # a map asks no more of a plan than it has
        self.laid, self.closed = laid, closed
        self.unnamed: list[str] = []

    def draw(self) -> None:
        """Draw all of it."""
        base.draw_shade(self.ax, self.crop)
        self._left_alone()
        self.surroundings()
        contours = self.contours()
        self.flow()
        self.roads_and_roofs()
        draw_spills(self)
        draw_works(self)
        self.boundary()
        self.keep_clear()
        self.scale_and_north()
        self.names()
        label_roofs_and_roads(self, ROOFS_FAR)
        self.finish_contours(contours)

    def _left_alone(self) -> None:
        """Hatch ground on which no earth may be moved."""
        from terrain.surface.catchments import outline

        if not self.closed.any():
            return
        cell = self.dem.cell
        shape = outline(self.closed, self.dem.transform).simplify(cell * 0.6)
        shape = shape.intersection(self.ground.boundary).intersection(self.view.box())
        if shape.is_empty or not shape.area:
            return
        for part in getattr(shape, "geoms", [shape]):
            if part.geom_type == "Polygon" and part.area > 4 * cell * cell:
                base.draw_area(self.ax, part, facecolor="none", edgecolor=LEFT_ALONE,
                               hatch="////", linewidth=0.0, zorder=3.5, alpha=0.5,
                               gid="left alone")
        self.drawn.add("left alone")
        self.labels.ink(points_in(shape, self.view), 0.12)

    def names(self) -> None:
        """Name the works, those that are new first; with few works, what each holds too."""
        new = [g for g in self.groups if not self._stays(g)]
        few = len(new) <= MOST_TOLD
        for group in sorted(new, key=lambda g: (g.kind == "drain", g.kind != "swale", g.name)):
            if group.kind == "drain":
                continue  # it belongs to the basin that it leads to
            self._name(group, few, True)
        for group in self.groups:
            if self._stays(group):
                self._name(group, False, False)

    def _stays(self, group: Group) -> bool:
        return self.laid.stores[group.members[0]].stays

    def _name(self, group: Group, told: bool, new: bool) -> None:
        stores = [self.laid.stores[i].placed for i in group.members]
        if not any(place.outline.intersects(self.view.box()) for place in stores):
            return
        colour = sy.SOFT_INK if not new else sy.TREE if group.kind == "tree basin" else sy.WATER
        size = sy.LABEL_SIZE if new else sy.SMALL_SIZE
        lines = [Line(stores[0].work.name, size, colour, "bold" if new else "normal",
                      "normal" if new else "italic")]
        if told:
            held = sum(place.curve.capacity for place in stores)
            lines.append(Line(sy.brief(held, "volume", self.system), sy.SMALL_SIZE, colour))
        anchors, radius = anchors_of(self, group)
        if not self.labels.place(lines, anchors, radius, "work label" if new else "stays label",
                                 far=FAR):
            self.unnamed.append(stores[0].work.name)


def _panel(column: Column, on: ProposalMap, suggestion: Suggestion, proposal: Proposal) -> None:
    """What the map shows, and what the proposal comes to."""
    system = on.system
    title(column, suggestion.site.name, f"Proposal \"{proposal.name}\"")
    design = suggestion.site.rain.design.name
    flow = (f"Water gathers, from {sy.plain(on.flow_from, 'volume', system)} up",
            f"in the {design}, wider with its volume")
    column.skip(8)
    size = sy.SMALL_SIZE + 0.3
    for line in _said(suggestion, proposal, system):
        column.text(with_figures(line, system), size)
        column.skip(2)
    column.skip(2)
    if "left alone" in on.drawn:
        column.skip(4)
        y = column.y - 7
        column.ax.add_patch(Rectangle((6, y - 5.5), 30, 11, facecolor="none", hatch="////",
                                      edgecolor=LEFT_ALONE, linewidth=0.0, alpha=0.7))
        column.ax.text(50, y, "Ground that is left alone", fontsize=sy.SMALL_SIZE, va="center",
                       ha="left", gid="legend:left alone")
        column.skip(5)
    Legend(column, flow, small=True).draw(on.drawn)
    foot = column.wrapped(_foot(on), sy.SMALL_SIZE, column.width)
    above = len(foot) * sy.SMALL_SIZE * 1.32 + 16
    _works(column, on, suggestion, proposal, above)
    column.y = -column.height + above - 8
    column.rule()
    column.skip(7)
    for line in foot:
        column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)


def _said(suggestion: Suggestion, proposal: Proposal, system: str) -> list[str]:
    what = suggestion.aim.what
    said = [f"{what[0].upper()}{what[1:]}: {aim_words(proposal.water.aim, suggestion, system)}, "
            f"with what stands alone {aim_words(suggestion.before.aim, suggestion, system)}.",
            f"Takes {cost_words(proposal.cost, suggestion, system)}.",
            f"Below the best that these places allow for that, by the model: at most "
            f"{gap_words(proposal.gap)}."]
    if proposal.leaves_out:
        said.append(f"Leaves out {named(proposal.leaves_out, 5)}.")
    return said


def _works(column: Column, on: ProposalMap, suggestion: Suggestion, proposal: Proposal,
           above: float) -> None:
    """Works to build with what they hold, drain and take, as many as find room."""
    step, head = sy.SMALL_SIZE * 1.5, 13 + 20 + sy.SMALL_SIZE * 1.5
    rows = list(proposal.works)
    room = int((column.room - above - head - 8) / step)
    if not rows or room < 2:
        return
    system, wide = on.system, column.width
    column.skip(13)
    column.text("Works to build", sy.HEAD_SIZE, weight="bold")
    column.skip(2)
    at = (wide - 122, wide - 62, wide)
    column.row([(at[0], "right", "holds"), (at[1], "right", "drains"), (at[2], "right", "takes")],
               sy.SMALL_SIZE, sy.SOFT_INK)
    told = rows if len(rows) <= room else rows[:room - 1]
    for chosen in told:
        candidate = chosen.candidate
        takes = limit_words(chosen.cost.of(suggestion.aim.limit), suggestion, system)
        column.row([(0, "left", shortened(on.figure, candidate.name, sy.SMALL_SIZE, at[0] - 48)),
                    (at[0], "right", sy.brief(candidate.storage, "volume", system)),
                    (at[1], "right", ground_words(chosen.ground, system)),
                    (at[2], "right", takes.removesuffix(" of the machine"))], sy.SMALL_SIZE)
    if len(told) < len(rows):
        column.text(f"{len(rows) - len(told)} more stand in suggest.html.", sy.SMALL_SIZE,
                    sy.SOFT_INK, style="italic")


def _foot(on: ProposalMap) -> str:
    left = on.unnamed
    unnamed = f"No room on the map to name {named(left, 6)}. " if left else ""
    unit = 0.3048 if on.system == "us" else 1.0
    lines = (f"Contours every {on.interval / unit:g} {'ft' if on.system == 'us' else 'm'}. "
             if on.interval else "")
    return (f"{unnamed}A sketch from a raster: look at each place on the ground, plan it, prove "
            f"it. {lines}{places_words(on.dem.frame)}")
