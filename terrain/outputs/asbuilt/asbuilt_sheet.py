"""The sheet of a work as built: where it was surveyed, its profiles, its storage, what to mend."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from shapely import MultiPoint

from terrain.asbuilt.asbuilt import AsBuilt
from terrain.asbuilt.compared import LineFound
from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.work_found import WorkFound
from terrain.outputs.asbuilt.difference_panel import LOOKS, difference_panel
from terrain.outputs.asbuilt.words import (
    NAMES,
    held_words,
    is_to_mend,
    level,
    mend_words,
    small,
    spill_words,
    verdict_words,
)
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.sheet import MARGIN, Sheet
from terrain.units import PRINTED, printed, shown

#: Height of one profile, of the chart of storage, and most rows of profiles on a sheet. [in]
PROFILE, CURVE, MOST = 1.32, 1.55, 3
#: What stands in a row of profiles, in the order in which they are drawn.
ROWS = (("sill", "lip", "rim"), ("berm", "wall", "bund"), ("bed",), ("floor",), ("cut-off",),
        ("check",))
#: Height of a heading. [pt]
HEADING = 27.0
#: Height of the storms' heading with the head of their table, and of a storm. [pt]
STORM_HEAD, STORM = 42.0, 12.0
#: So many storms have room before sentences have theirs.
FEW = 2
#: Share of a row that a sill takes where something stands beside it.
SILL = 0.42


@sy.styled
def draw_as_built(found: AsBuilt, work: WorkFound, system: str) -> Figure:
    """Draw a work as built. A4, landscape."""
    panels = _panels(work)
    shown_lines = [*(line.line for line in work.lines), *work.unsurveyed]
    every = np.concatenate([line.xy for line in shown_lines if line.name != "cut-off"]
                           + [[[m.x, m.y] for line in work.lines for m in line.points]])
    sheet = Sheet(found.plan.terrain, MultiPoint(every).bounds, system, work.name,
                  f"as built, {found.plan.site.name}",
                  below=PROFILE * len(panels), margin=0.12)
    _plan(sheet, work, shown_lines)
    for i, row in enumerate(panels):
        bottom = MARGIN + PROFILE * (len(panels) - 1 - i)
        left, whole = MARGIN, sheet.left_wide
        for line in row:
            share = (1.0 if len(row) == 1 else SILL if line.line.name == "sill" else
                     (1 - SILL) / (len(row) - 1))
            difference_panel(sheet.figure, left, bottom, share * whole, PROFILE - 0.06, [line],
                             work.spill, system)
            left += share * whole
    _column(sheet, work, found.plan.site.rain.design.name if work.storms else None, system)
    return sheet.figure


def _panels(work: WorkFound) -> list[list[LineFound]]:
    """Lines by the row that they stand in; those out of tolerance where there are too many."""
    found = [[line for line in work.lines if line.line.name in names] for names in ROWS]
    rows = [sorted(row, key=lambda line: line.line.name != "sill") for row in found if row]
    if len(rows) > MOST:
        chosen = sorted(range(len(rows)), key=lambda i: (
            not any(line.stretches for line in rows[i]), i))[:MOST]
        rows = [rows[i] for i in sorted(chosen)]
    return rows


def _plan(sheet: Sheet, work: WorkFound, lines: list[DesignedLine]) -> None:
    """Lines as designed, and every surveyed point by how it lies."""
    outline = work.planned.placed.outline
    if outline is not None and not outline.is_empty:
        sheet.work(outline.buffer(0.5))
    for line in lines:
        if line.name in ("cut-off", "check"):
            continue
        colour = (sy.EARTH if line.role == "crest" else
                  sy.WATER if line.role in ("sill", "rim") else sy.SOFT_INK)
        counted = [line.shape] if line.area is not None else list(line.counted.geoms)
        for part in counted:
            x, y = np.asarray(part.coords).T
            sheet.plan.add_line(Line2D(x, y, color=colour, zorder=15,
                                       linewidth=3.0 if line.role == "sill" else 1.3,
                                       gid=f"line {line.name}"))
            sheet.labels.ink_line(np.asarray(part.coords), 0.8, 2)
    for found in work.lines:
        if found.line.name == "cut-off":
            continue
        for i, point in enumerate(found.points):
            symbol, face, edge, size = LOOKS[found.state(i)]
            sheet.plan.plot([point.x], [point.y], symbol, markersize=size, markerfacecolor=face,
                            markeredgecolor=edge, markeredgewidth=0.9, zorder=22,
                            gid=f"point {found.state(i)}")
            sheet.labels.ink(np.array([[point.x, point.y]]), 1.0, 4)
    sheet.corner()
    if work.spill is not None:
        spot = np.array([[work.spill.x, work.spill.y]])
        sheet.plan.plot(*spot.T, "o", markersize=13, markerfacecolor="none",
                        markeredgecolor=sy.SHED, markeredgewidth=1.8, zorder=23, gid="spill")
        sheet.label(["spills here first", level(work.spill.level, sheet.system)], spot, sy.SHED,
                    9.0, 90)
    for found in work.lines:
        for point in {found.highest, found.lowest}:
            state = found.state(found.points.index(point))
            if state != "within" and found.line.name != "cut-off":
                sheet.label([small(point.difference, sheet.system, True)],
                            np.array([[point.x, point.y]]),
                            sy.EARTH if state == "high" else sy.WATER, 6.0, 60)
    sheet.finish_plan()


def _column(sheet: Sheet, work: WorkFound, design: str | None, system: str) -> None:
    column = sheet.column
    size = sy.SMALL_SIZE
    if work.spill is not None:
        column.skip(4)
        for head, words in (("Holds ", held_words(work, system)),
                            ("First spills ", spill_words(work, system))):
            column.text(f"{head}{words}.", sy.TEXT_SIZE)
            column.skip(3)
    _key(sheet, work)
    sheet.head(f"Surveyed: points, lowest to highest in {'ft' if system == 'us' else 'mm'}")
    for found in work.lines:
        bold = is_to_mend(found, work.mends)
        low, most = (small(p.difference, system, True).rsplit(" ", 1)[0]
                     for p in (found.lowest, found.highest))
        column.row([(0, "left", f"{NAMES[found.line.name]}, {len(found.points)}"),
                    (0.64 * column.width, "right", f"{low} to {most}"),
                    (column.width, "right",
                     verdict_words(found, work.mends).replace(" to judge", ""))], size,
                   weight="bold" if bold else "normal", lead=1.5)
    room = (CURVE + 0.28) * 72 if work.spill is not None else 0.0
    # Cautions come before storms that could be read elsewhere, not before all of them.
    rows = len(work.storms) if len(work.storms) <= FEW else FEW + 1
    storms = STORM_HEAD + STORM * rows if work.storms else 0.0
    _sentences(sheet, "To do", [mend_words(mend, system) for mend in work.mends if mend.needed],
               room + storms)
    _sentences(sheet, "Take care", list(work.cautions), room + storms)
    _storms(sheet, work, design, system, room)
    if work.spill is not None:
        _curves(sheet, work, system)


def _key(sheet: Sheet, work: WorkFound) -> None:
    """What the points' symbols mean, those that are there."""
    column = sheet.column
    words = {"high": "too high", "low": "too low", "within": "within tolerance"}
    states = {line.state(i) for line in work.lines for i in range(len(line.points))}
    column.skip(13)
    x = 5.0
    for state in ("high", "low", "within"):
        if state not in states:
            continue
        symbol, face, edge, size = LOOKS[state]
        column.ax.plot([x], [column.y], symbol, markersize=size, markerfacecolor=face,
                       markeredgecolor=edge, markeredgewidth=0.9, clip_on=False)
        column.ax.text(x + 8, column.y, words[state], fontsize=sy.SMALL_SIZE, va="center",
                       gid="column")
        x += 20 + column.wide(words[state], sy.SMALL_SIZE)
    column.skip(4)


def _sentences(sheet: Sheet, head: str, said: list[str], keep: float) -> None:
    """Sentences under a heading, as many as leave room below; then how many are left out. [pt]"""
    column, size = sheet.column, sy.SMALL_SIZE
    if not said:
        return
    first = len(column.wrapped(said[0], size, column.width)) * size * 1.32 + 3
    if column.room - keep < first + (1.5 * size if len(said) > 1 else 0.0) + HEADING:
        column.skip(4)
        stand = "sentence stands" if len(said) == 1 else "sentences stand"
        column.text(f"{head}: {len(said)} {stand} in the printed answer.", size, sy.SHED,
                    style="italic")
        return
    sheet.head(head)
    for i, text in enumerate(said):
        need = len(column.wrapped(text, size, column.width)) * size * 1.32 + 3
        last = 0.0 if i == len(said) - 1 else size * 1.5
        if need + last > column.room - keep:
            left = len(said) - i
            column.text(f"{left} more {'stands' if left == 1 else 'stand'} in the printed answer.",
                        size, sy.SHED, style="italic")
            return
        column.text(text, size)
        column.skip(3)


def _storms(sheet: Sheet, work: WorkFound, design: str | None, system: str, keep: float) -> None:
    """What it now catches beside the design; where there is no room for all storms, the design
    storm and those that rain most, and how many stand elsewhere."""
    column = sheet.column
    if not work.storms:
        return
    fits = int((column.room - keep - STORM_HEAD) / STORM)
    if fits < len(work.storms):
        fits = max(fits - 1, 0)  # a line says how many are left out
    chosen = sorted(range(len(work.storms)), key=lambda i: (
        work.storms[i].name != design, -work.storms[i].depth))[:fits]
    left = len(work.storms) - len(chosen)
    told = (f"{left} {'more ' if chosen else ''}storm{' stands' if left == 1 else 's stand'} in "
            "the printed answer.")
    if not chosen:
        column.skip(4)
        column.text(f"Storms: {told}", sy.SMALL_SIZE, sy.SHED, style="italic")
        return
    sheet.head("Storms")
    unit = PRINTED["volume"][system == "us"][0]
    places = (0.66 * column.width, column.width)
    column.row([(0, "left", f"rain; volumes in {unit}"), (places[0], "right", "catches"),
                (places[1], "right", "as designed")], sy.SMALL_SIZE, sy.SOFT_INK)
    for storm in (work.storms[i] for i in sorted(chosen)):
        column.row([(0, "left", sy.plain(storm.depth, "rain", system)), *(
            (at, "right", shown(s.caught, "volume", system, with_unit=False))
            for at, s in zip(places, (storm.built, storm.designed), strict=True))],
            sy.SMALL_SIZE, lead=1.4)
    if left:
        column.text(told, sy.SMALL_SIZE, sy.SHED, style="italic")


def _curves(sheet: Sheet, work: WorkFound, system: str) -> None:
    """Stage and volume as built beside as designed, at the foot of the column."""
    figure = sheet.figure
    across, up = figure.get_size_inches()
    wide = sheet.column.width / 72
    left, bottom = across - MARGIN - wide, MARGIN
    volume, height = (printed(what, system)[1] for what in ("volume", "level"))
    figure.text(left / across, (bottom + CURVE + 0.1) / up, "Held at each level: filled, as built; "
                "dashes, as designed", fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, va="center",
                gid="head")
    ax = figure.add_axes(((left + 0.7) / across, (bottom + 0.3) / up, (wide - 0.8) / across,
                          (CURVE - 0.4) / up))
    built, designed = work.store.curve, work.planned.store.curve
    ax.fill_betweenx(built.levels * height, 0, built.volumes * volume, color=sy.POOL, alpha=0.6,
                     linewidth=0, gid="held")
    ax.plot(built.volumes * volume, built.levels * height, color=sy.WATER, linewidth=1.6,
            gid="built")
    ax.plot(designed.volumes * volume, designed.levels * height, color=sy.INK, linewidth=1.1,
            linestyle=(0, (4, 2)), gid="designed")
    most = max(built.capacity, designed.capacity)
    low = float(min(built.levels[0], designed.levels[0])) * height
    top = float(max(built.levels[-1], designed.levels[-1])) * height
    ax.set_xlim(0, 1.04 * most * volume)
    ax.set_ylim(low, top + 0.06 * (top - low))
    ax.set_xticks([0, most * volume])
    ax.set_xticklabels(["0", sy.brief(most, "volume", system)], fontsize=sy.SMALL_SIZE)
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([low, top])
    ax.set_yticklabels([f"{v:,.2f}" for v in (low, top)], fontsize=sy.SMALL_SIZE)
    ax.tick_params(length=3, pad=3)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
