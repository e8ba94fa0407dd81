"""A legend in two columns of small entries, of what one page shows and of nothing else."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import samples
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.legend import SHORT

#: Height of an entry, width of its sample with the gap beside it. [pt]
STEP, ROOM = 12.6, 30.0
#: The least height of an entry. [pt]
CLOSE_STEP = 9.2
SIZE = 7.6


def draw_page_legend(column: Column, drawn: Collection[str], room: float = 1e9) -> None:
    """Draw an entry for everything that was drawn on a work's plan, by the names it is drawn by;
    closer where the room for them is short. [pt]"""
    ax = column.ax
    entries: list[tuple[str, str, Callable[[float, float], None]]] = []

    def area(face: Any, edge: str, alpha: float = 1.0, style: Any = "-", hatch: str = ""
             ) -> Callable[[float, float], None]:
        def made(x: float, y: float) -> None:
            ax.add_patch(Rectangle((x + 2, y - 3.6), 20, 7.2, facecolor=face, edgecolor=edge,
                                   linewidth=0.8, alpha=alpha, linestyle=style, hatch=hatch))
        return made

    def line(colour: str, width: float, style: Any = "-", head: bool = False
             ) -> Callable[[float, float], None]:
        def made(x: float, y: float) -> None:
            ax.add_line(Line2D([x, x + 24], [y, y], color=colour, linewidth=width,
                               linestyle=style))
            if head:
                base.arrowhead(ax, np.array([x + 15, y]), np.array([1.0, 0.0]), 7.0, colour, 5)
        return made

    def dot(face: str, edge: str, size: float) -> Callable[[float, float], None]:
        def made(x: float, y: float) -> None:
            ax.add_patch(Circle((x + 12, y), size, facecolor=face, edgecolor=edge, linewidth=1.0))
        return made

    def furrow(x: float, y: float) -> None:
        line(sy.EARTH, 2.8)(x, y)
        line(sy.POOL, 1.1)(x, y)

    tint = sy.mixed(sy.SHADE_MIDDLE, sy.TINTS[0], sy.TINT_ALPHA + 0.1)
    entries += [
        ("channel", "channel, full", area(sy.POOL, sy.WATER)),
        ("basin", "water, full to the sill", area(sy.POOL, sy.WATER)),
        ("berm", "berm", area(sy.BERM, sy.EARTH)), ("bank", "bank", area(sy.BERM, sy.EARTH)),
        ("toes", "bank, and its top", area(sy.BERM, sy.EARTH)),
        ("bund", "bund", area(sy.BERM, sy.EARTH)),
        ("check", "check across the bed", line(sy.EARTH, 2.2)),
        ("floor", "floor of the pit", area("none", sy.WATER)),
        ("cut edge", "edge of the cut", line(sy.EARTH, 0.9, (0, (3, 2)))),
        ("spillway", "floor of the spillway", area(sy.CUT, sy.EARTH, 1.0, (0, (3, 2)), "//")),
        ("spillway sill", "sill", line(sy.WATER, 2.2)), ("sill line", "sill", line(sy.WATER, 2.6)),
        ("sill", "sill", dot(sy.PAPER, sy.WATER, 2.7)),
        ("tree basin", "basin of a tree", area(sy.POOL, sy.WATER)),
        ("crown", "crown", area("none", sy.TREE, 1.0, (0, (3, 2)))),
        ("tree", "trunk", dot(sy.TREE, sy.PAPER, 2.4)),
        ("drain", "drain, the way it runs", line(sy.WATER, 1.0, "-", True)),
        ("spill", "way of the spill", line(sy.WATER, 1.2, (0, (4.5, 2.2)), True)),
        ("furrow", "furrow dug by hand", furrow),
        ("led", "spill led by pipe", line(sy.TANK, 1.3, (0, (1.2, 1.6)), True)),
        ("catchment", "its catchment", area(tint, sy.CONTOUR)),
        ("flow", "water gathers", line(sy.FLOW, 1.4)),
        ("contour", "contour", line(sy.INDEX_CONTOUR, 0.9)),
        ("road", "road", area(sy.ROAD, sy.ROAD_EDGE)),
        ("roof", "roof", area(sy.ROOF, sy.ROOF_EDGE)),
        ("neighbour work", "another work",
         area(sy.mixed(sy.SOFT_INK, sy.PAPER, 0.65), sy.SOFT_INK)),
        ("boundary", "boundary", line(sy.BOUNDARY, 1.3, (0, (9, 2.5, 1.5, 2.5)))),
    ]
    seen: dict[str, Callable[[float, float], None]] = {}
    for key, words, draw in entries:
        if key in drawn and words not in seen:
            seen[words] = draw
    for key, _, sample in samples(ax, 0.62):
        if key in drawn:
            seen[SHORT[key]] = _turned(sample)
    step = min(STEP, max(room / max((len(seen) + 1) // 2, 1), CLOSE_STEP))
    for number, (words, draw) in enumerate(seen.items()):
        x = (number % 2) * column.width / 2
        if number % 2 == 0 and number:
            column.skip(step)
        y = column.y - step / 2
        draw(x, y)
        ax.text(x + ROOM, y, words, fontsize=SIZE, va="center", ha="left", gid="legend")
    if seen:
        column.skip(step)


def _turned(sample: Callable[..., None]) -> Callable[[float, float], None]:
    """A sample that takes its left edge first."""
    return lambda x, y: sample(y, x)
