"""Sheets of a flood: the deepest water, and without the works beside with them."""

from __future__ import annotations

from matplotlib.figure import Figure

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import datum_words, places_words
from terrain.outputs.drawing.site_map import FRAME
from terrain.outputs.page.figures import with_figures
from terrain.outputs.proof.flood_map import FloodMap, draw_depths, draw_flood_legend
from terrain.outputs.proof.words import answer_lines, danger_lines, hours, rain_words
from terrain.proof.proof import Proof
from terrain.units import length_words, shown

#: Of a sheet with two maps: their margin, the gap between them, room above and below. [in]
MARGIN, GAP, HEAD, FOOT = 0.42, 0.3, 1.0, 2.3
#: How far off its roof a roof's name may stand there. [pt]
ROOFS_FAR = 30.0


@sy.styled
def draw_deepest(proof: Proof) -> Figure:
    """The deepest water anywhere, with the works. A3, landscape."""
    figure, ax = FRAME.begun(sy.A3)
    wide, high = FRAME.room(sy.A3)
    view = base.view_of(proof.plan.inputs.ground.boundary.bounds, wide * 72, high * 72)
    view.shown_on(ax)
    drawing = FloodMap(proof, proof.after, ax, view)
    drawing.draw()
    column = FRAME.column(figure)
    system = proof.plan.site.units
    title(column, proof.plan.site.name, f"{rain_words(proof)}: the deepest water at each place")
    _keys(column, drawing, system)
    foot = column.wrapped(_foot(proof), sy.SMALL_SIZE, column.width)
    above = len(foot) * sy.SMALL_SIZE * 1.32 + 16
    _said(column, "The answer", answer_lines(proof, system), above, system)
    _said(column, "Take care", danger_lines(proof, system), above, system)
    column.y = -column.height + above - 8
    column.rule()
    column.skip(7)
    for line in foot:
        column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)
    return figure


def _keys(column: Column, drawing: FloodMap, system: str) -> None:
    column.skip(10)
    column.text("Deepest water", sy.HEAD_SIZE, weight="bold")
    column.skip(3)
    draw_depths(column, system)
    column.skip(8)
    draw_flood_legend(column, drawing.drawn)
    Legend(column, ("", ""), small=True).draw(drawing.drawn)


def _said(column: Column, head: str, lines: list[str], above: float, system: str) -> None:
    """Sentences under a heading, as many as leave room below; then how many are left out."""
    size = sy.TEXT_SIZE
    if not lines:
        return
    lines = [with_figures(line, system) for line in lines]
    need = [len(column.wrapped(line, size, column.width)) * size * 1.32 + 3 for line in lines]
    if column.room - above < need[0] + 48:
        return
    column.skip(11)
    column.text(head, sy.HEAD_SIZE, weight="bold")
    column.skip(2)
    for number, (line, high) in enumerate(zip(lines, need, strict=True)):
        last = 0.0 if number == len(lines) - 1 else size * 1.5
        if column.room - above < high + last:
            left = len(lines) - number
            column.text(f"{left} more {'stands' if left == 1 else 'stand'} in proof.html.", size,
                        sy.SHED, style="italic")
            return
        column.text(line, size)
        column.skip(3)


def _foot(proof: Proof) -> str:
    """What the sheet rests on."""
    system, dem = proof.plan.site.units, proof.plan.inputs.dem
    return with_figures(
        f"Followed for {hours(proof.until)} on cells of {sy.plain(proof.cell, 'length', system)}; "
        "each place's own deepest water, not all at one time. Levels are heights of the elevation "
        f"raster {dem.source}, in {length_words(system)}; {datum_words(dem)} "
        f"{places_words(dem.frame)} {proof.notes[0]}", system)


@sy.styled
def draw_before_after(proof: Proof) -> Figure:
    """The deepest water without the works and with them, side by side. A3, landscape.

    Raises
    ------
    ValueError
        If the storm was not run without the works.
    """
    if proof.before is None:
        raise ValueError("the storm was not run over the ground without the works")
    system, (across, up) = proof.plan.site.units, sy.A3
    figure = Figure(figsize=sy.A3, dpi=sy.DPI, facecolor=sy.PAPER)
    wide, high = (across - 2 * MARGIN - GAP) / 2, up - HEAD - FOOT
    bounds = proof.plan.inputs.ground.boundary.bounds
    drawn: set[str] = set()
    figure.text(MARGIN / across, 1 - 0.4 / up, proof.plan.site.name, fontsize=18,
                fontweight="bold", va="center", gid="title")
    figure.text(1 - MARGIN / across, 1 - 0.4 / up, rain_words(proof), fontsize=sy.HEAD_SIZE,
                color=sy.SOFT_INK, va="center", ha="right", gid="title")
    for number, (run, name) in enumerate(((proof.before, "Without the works"),
                                          (proof.after, "With the works"))):
        left = MARGIN + number * (wide + GAP)
        ax = figure.add_axes((left / across, FOOT / up, wide / across, high / up))
        view = base.view_of(bounds, wide * 72, high * 72)
        view.shown_on(ax)
        drawing = FloodMap(proof, run, ax, view, ROOFS_FAR)
        drawing.draw()
        drawn |= drawing.drawn
        figure.text(left / across, 1 - (HEAD - 0.14) / up, name, fontsize=sy.HEAD_SIZE,
                    fontweight="bold", va="center", gid="head")
        figure.text((left + wide) / across, 1 - (HEAD - 0.14) / up,
                    f"{shown(run.leaves.volume_out, 'volume', system)} leave the land, at most "
                    f"{shown(run.leaves.peak, 'flow', system)}", fontsize=sy.TEXT_SIZE,
                    color=sy.SOFT_INK, va="center", ha="right", gid="head")
    _below(figure, proof, drawn, system)
    return figure


def _below(figure: Figure, proof: Proof, drawn: set[str], system: str) -> None:
    across, _ = figure.get_size_inches()
    room = across - 2 * MARGIN
    shares, left = (0.25, 0.21, 0.25, 0.29), MARGIN
    columns = []
    for share in shares:
        columns.append(Column(figure, left, 0.3, share * room - 0.2, FOOT - 0.45))
        left += share * room
    columns[0].text("Deepest water at each place", sy.HEAD_SIZE, weight="bold")
    columns[0].skip(3)
    draw_depths(columns[0], system)
    draw_flood_legend(columns[1], drawn, sy.SMALL_SIZE)
    columns[2].skip(-12)  # the legend begins with a gap
    Legend(columns[2], ("", ""), small=True).draw(drawn)
    for line in columns[3].wrapped(_foot(proof), sy.SMALL_SIZE, columns[3].width):
        columns[3].text(line, sy.SMALL_SIZE, sy.SOFT_INK)
