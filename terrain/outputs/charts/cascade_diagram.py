"""The cascade as a drawing: catchments, stores and spills from the top of the land down."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, PathPatch, Polygon
from matplotlib.path import Path
from scipy.optimize import isotonic_regression

from terrain.outputs.charts.cascade_boxes import Box, Flows
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column, shortened
from terrain.units import PRINTED, shown

#: Of a box, what stands above it, and the gaps about it. [pt]
WIDE, CHIP_WIDE, CHIP_HIGH, BAND, HIGH, EXIT = 124.0, 84.0, 27.0, 13.0, 57.0, 25.0
APART, GAP, MARGIN, HEAD, FOOT = 16.0, 44.0, 20.0, 78.0, 74.0
ROW = CHIP_HIGH + BAND + HIGH + EXIT
#: A line of words in a box about what comes to it, or what its pump leaves. [pt]
LINE = 11.5
#: The head of a page that has its title above. [pt]
LOW_HEAD = 50.0
#: So many boxes stand in a row.
MOST_IN_ROW = 6
#: Width of the line of the largest flow, and of the least; between them it grows with the root of
#: the volume. [pt]
THICKEST, THINNEST = 16.0, 0.8
#: Room that a line takes where it passes between boxes, beside its width. [pt]
PASSING = 9.0
#: No letter is wider than this share of its size, but a few that seldom stand together.
_WIDEST = 0.72
#: Times that rows are put in order and in place.
ROUNDS = 6

#: By kind: the line about a box, its face.
_LOOKS = {"tank": (sy.TANK, sy.mixed(sy.PAPER, sy.TANK, 0.10)),
          "tree basin": (sy.TREE, sy.mixed(sy.PAPER, sy.TREE_FILL, 0.45)),
          "hollow": (sy.WATER, sy.mixed(sy.PAPER, sy.HOLLOW, 0.55)),
          "drain": (sy.WATER, sy.PAPER)}
_USUAL = (sy.WATER, sy.mixed(sy.PAPER, sy.POOL, 0.38))
_GROUND = (sy.CONTOUR, sy.mixed(sy.PAPER, sy.CONTOUR, 0.22))
_ROOF = (sy.ROOF_EDGE, sy.mixed(sy.PAPER, sy.ROOF, 0.6))


@dataclass
class _Item:
    """What stands in a row: a box, or the passage of lines to one further down."""

    box: int
    passes: bool
    wide: float
    x: float = 0.0
    above: list[_Item] = field(default_factory=list)
    below: list[_Item] = field(default_factory=list)


def layers(boxes: Sequence[Box]) -> list[int]:
    """Layer of each box, 0 at the top: one below the lowest of those that spill to it.

    A box that nothing spills to stands right above the one it spills to.
    """
    feeds: list[list[int]] = [[] for _ in boxes]
    for i, box in enumerate(boxes):
        if box.to is not None:
            feeds[box.to].append(i)
    found = [-1] * len(boxes)

    def layer(i: int) -> int:
        if found[i] < 0:
            found[i] = 1 + max((layer(j) for j in feeds[i]), default=-1)
        return found[i]

    for i in range(len(boxes)):
        layer(i)
    return [found[box.to] - 1 if box.to is not None and not feeds[i] else found[i]
            for i, box in enumerate(boxes)]


def _rows(boxes: Sequence[Box]) -> list[list[int]]:
    """Boxes by row: a layer with too many is broken into several."""
    by_layer: dict[int, list[int]] = {}
    for i, layer in enumerate(layers(boxes)):
        by_layer.setdefault(layer, []).append(i)
    fed = {box.to for box in boxes}
    rows = []
    for layer in sorted(by_layer):
        # Those fed from above stand first, those that lead on last: their lines are shortest so.
        here = sorted(by_layer[layer], key=lambda i: (
            boxes[i].to is not None, i not in fed, boxes[i].to or 0, i))
        count = math.ceil(len(here) / MOST_IN_ROW)
        rows += [part.tolist() for part in np.array_split(np.array(here), count)]
    return rows


def _items(boxes: Sequence[Box], thick: float) -> list[list[_Item]]:
    """Rows of boxes and of passages, joined to those above and below."""
    rows = [[_Item(i, False, WIDE) for i in row] for row in _rows(boxes)]
    at = {item.box: (r, item) for r, row in enumerate(rows) for item in row}
    passing: dict[tuple[int, int], _Item] = {}
    for r, row in enumerate([list(row) for row in rows]):
        for item in row:
            to = boxes[item.box].to
            if to is None:
                continue
            last, goal = at[to]
            here = item
            for between in range(r + 1, last):
                step = passing.get((between, to))
                if step is None:
                    step = _Item(to, True, PASSING)
                    passing[between, to] = step
                    rows[between].append(step)
                if here not in step.above:
                    step.above.append(here)
                    here.below.append(step)
                here = step
            if here not in goal.above:
                goal.above.append(here)
                here.below.append(goal)
    for row in rows:
        for item in row:
            if item.passes:
                item.wide += math.sqrt(_through(item, boxes)) * thick
    return rows


def _order(rows: list[list[_Item]]) -> None:
    """Put each row in the order of what it is joined to."""
    def place(row: list[_Item]) -> None:
        for number, item in enumerate(row):
            item.x = float(number)

    for row in rows:
        place(row)
    for turn in range(ROUNDS):
        down = turn % 2 == 0
        for row in rows if down else rows[::-1]:
            def middle(item: _Item, down: bool = down) -> float:
                others = item.above if down else item.below
                return float(np.mean([o.x for o in others])) if others else item.x
            row.sort(key=middle)
            place(row)


def _spread(rows: list[list[_Item]]) -> float:
    """Place the items of every row; returns the width of all. [pt]"""
    wide = max(sum(i.wide + APART for i in row) - APART for row in rows)
    for row in rows:
        at = (wide - sum(i.wide + APART for i in row) + APART) / 2
        for item in row:
            item.x = at + item.wide / 2
            at += item.wide + APART
    for turn in range(4 * ROUNDS):
        for row in rows if turn % 2 == 0 else rows[::-1]:
            wanted = np.array([np.mean([o.x for o in item.above + item.below] or [item.x])
                               for item in row])
            steps = np.array([(a.wide + b.wide) / 2 + APART
                              for a, b in itertools.pairwise(row)])
            ahead = np.concatenate([[0.0], np.cumsum(steps)])
            first, last = row[0].wide / 2, wide - row[-1].wide / 2
            # The nearest places in this order with room between them, and none off the page.
            base = np.clip(isotonic_regression(wanted - ahead).x, first, last - ahead[-1])
            for item, x in zip(row, base + ahead, strict=True):
                item.x = float(x)
    return wide


class Layout:
    """Where all of a cascade's boxes stand, whatever page shows them.

    Attributes
    ----------
    flows : Flows
    rows : list of list of items
    wide : float
        Of all, its margins included. [pt]
    row, box_high : float
        Height of a row, and of a box in it. [pt]
    """

    def __init__(self, flows: Flows, system: str) -> None:
        boxes = flows.boxes
        self.flows, self.system = flows, system
        self.greatest = max([1e-9, flows.open_runoff,
                             *(v for b in boxes for v in (b.gives, b.above, b.spilled))])
        self.thick = THICKEST / math.sqrt(self.greatest)
        self.rows = _items(boxes, self.thick)
        more = LINE * max((len(others(box, system)) for box in boxes), default=0)
        self.row, self.box_high = ROW + more, HIGH + more
        _order(self.rows)
        self.within = max(_spread(self.rows) if self.rows else 0.0, 6 * WIDE + 5 * APART)
        used = max((item.x + item.wide / 2 for row in self.rows for item in row), default=0.0)
        for row in self.rows:
            for item in row:
                item.x += MARGIN + (self.within - used) / 2
        self.wide = self.within + 2 * MARGIN

    def high(self, first: int, last: int, low: bool = False) -> float:
        """Height of so many of its rows with head and foot; see `draw`. [pt]"""
        foot = FOOT + MARGIN if last >= len(self.rows) else 0.0
        return (LOW_HEAD if low else HEAD) + (last - first) * (self.row + GAP) + foot

    def draw(self, figure: Figure, ax: Axes, first: int, last: int, shrink: float | None = None
             ) -> None:
        """Draw rows from the first to before the last, the open ground below the very last.

        Parameters
        ----------
        ax : Axes
            Its upper left corner is (0, 0).
        shrink : float, optional
            Points of paper in a unit of the axes, on a page that has its title, and room for the
            account in a sentence; left out, they are drawn here.
        """
        draw = _Drawing(figure, ax, self, shrink)
        boxes = self.flows.boxes
        head = HEAD if shrink is None else LOW_HEAD
        if first == 0:
            draw.head(self.flows, self.within, self.greatest)
        for r in range(max(first - 1, 0), last):
            for item in self.rows[r]:
                draw.lines(item, boxes, -(head + (r - first) * (self.row + GAP)))
        for r in range(first, last):
            for item in self.rows[r]:
                if not item.passes:
                    draw.box(item, boxes, -(head + (r - first) * (self.row + GAP)))
        if last >= len(self.rows):
            draw.foot(self.flows, self.within,
                      -(self.high(first, last, shrink is not None) - FOOT - MARGIN / 2))


@sy.styled
def draw_cascade(flows: Flows, system: str) -> Figure:
    """Draw the cascade over a storm or a year.

    Parameters
    ----------
    flows : Flows
    system : {"metric", "us"}
    """
    made = Layout(flows, system)
    high = made.high(0, len(made.rows))
    figure = Figure(figsize=(made.wide / 72, high / 72), dpi=sy.DPI, facecolor=sy.PAPER)
    ax = canvas(figure, (0.0, 0.0, 1.0, 1.0), made.wide, high)
    made.draw(figure, ax, 0, len(made.rows))
    return figure


def canvas(figure: Figure, place: tuple[float, float, float, float], wide: float, high: float
           ) -> Axes:
    """An axes whose units are points, its upper left corner at (0, 0)."""
    ax = figure.add_axes(place)
    ax.set_axis_off()
    ax.set_xlim(0, wide)
    ax.set_ylim(-high, 0)
    return ax


class _Drawing:
    """Draws on axes whose units are points."""

    def __init__(self, figure: Figure, ax: Axes, made: Layout, shrink: float | None = None
                 ) -> None:
        self.figure, self.ax, self.system, self.thick = figure, ax, made.system, made.thick
        self.row, self.high = made.row, made.box_high
        self.shrink, self.whole = shrink or 1.0, shrink is None

    def volume(self, value: float) -> str:
        """A volume for a label."""
        return volume_words(value, self.system)

    def text(self, x: float, y: float, words: str, size: float, most: float, gid: str,
             colour: Any = sy.INK, side: str = "center", weight: str = "normal") -> None:
        """Write words no wider than `most` points."""
        if len(words) * size * _WIDEST > most:  # else it fits, and need not be measured
            words = _fitted(words, size, most, weight)
        self.ax.text(x, y, words, ha=side,
                     va="center", fontsize=size * self.shrink, color=colour, fontweight=weight,
                     zorder=20,
                     gid=gid)

    def halves(self, words: str, size: float, most: float) -> list[str]:
        """Bold words on one line or, where they are too wide, on two."""
        if _fitted(words, size, most, "bold") == words:
            return [words]
        parts = words.split()
        for cut in range(len(parts) - 1, 0, -1):
            first = " ".join(parts[:cut])
            if _fitted(first, size, most, "bold") == first:
                return [first, " ".join(parts[cut:])]
        return [words]

    def width(self, volume: float) -> float:
        """Width of a line. [pt]"""
        return max(math.sqrt(volume) * self.thick, THINNEST)

    def line(self, points: list[tuple[float, float]], volume: float, colour: Any = sy.FLOW,
             curved: bool = False) -> None:
        """Draw a flow; a dotted line where nothing flows."""
        codes = [Path.MOVETO, *([Path.CURVE4] * 3 if curved else
                                [Path.LINETO] * (len(points) - 1))]
        empty = volume <= 0
        self.ax.add_patch(PathPatch(
            Path(points, codes), facecolor="none", edgecolor=sy.FAINT_INK if empty else colour,
            linewidth=self.shrink * (THINNEST if empty else self.width(volume)),
            linestyle=(0, (1, 3)) if empty else "solid", capstyle="butt", zorder=3,
            gid="flow"))

    def lines(self, item: _Item, boxes: Sequence[Box], top: float) -> None:
        """What leaves an item for the next row, and passes through it."""
        bottom = top - self.row
        if item.passes:
            volume = _through(item, boxes)
            self.line([(item.x, top), (item.x, bottom)], volume)
        else:
            volume = boxes[item.box].sent
        for goal in item.below:
            x = goal.x if goal.passes else goal.x + ENTRY
            y, end = bottom, bottom - GAP
            self.line([(item.x, y), (item.x, y - GAP * 0.55), (x, end + GAP * 0.55), (x, end)],
                      volume, curved=True)

    def box(self, item: _Item, boxes: Sequence[Box], top: float) -> None:
        """A store with its catchment above it and its way out below."""
        box = boxes[item.box]
        left, floor = item.x - WIDE / 2, top - CHIP_HIGH - BAND - self.high
        edge, face = _LOOKS.get(box.kind, _USUAL)
        if box.source:
            self.chip(left + CHIP_WIDE / 2, top, box.source, box.gives, box.roofed)
            self.line([(left + CHIP_WIDE / 2, top - CHIP_HIGH),
                       (left + CHIP_WIDE / 2, top - CHIP_HIGH - BAND)], box.gives,
                      sy.ROOF_WATER if box.roofed else sy.CONTOUR)
        if item.above:
            x = item.x + ENTRY
            self.line([(x, top), (x, floor + self.high)], _through(item, boxes))
        self.ax.add_patch(FancyBboxPatch(
            (left, floor), WIDE, self.high, boxstyle="round,pad=0,rounding_size=3", facecolor=face,
            edgecolor=edge, linewidth=1.3 * self.shrink, zorder=10, gid="store",
            linestyle="--" if box.kind == "drain" else "-"))
        room = WIDE - 12
        names = self.halves(box.name, 9.0, room)
        for number, words in enumerate(names):
            self.text(item.x, floor + self.high - (10 if len(names) > 1 else 15.5) - 11.5 * number,
                      words, 9.0, room, "store name", edge, weight="bold")
        comes = others(box, self.system)
        for number, said in enumerate(comes):
            self.text(item.x, floor + 20.5 + LINE * (len(comes) - number), said, sy.SMALL_SIZE,
                      room, "comes", sy.SOFT_INK)
        kept = "leads it on" if box.kind == "drain" else f"keeps {self.volume(box.caught)}"
        self.text(item.x, floor + 20.5, kept, sy.SMALL_SIZE, room, "kept")
        self.text(item.x, floor + 9, f"spills {self.volume(box.spilled)}" if box.spilled > 0
                  else "does not spill", sy.SMALL_SIZE, room, "spilled",
                  sy.INK if box.spilled > 0 else sy.SOFT_INK)
        if box.to is not None:
            self.line([(item.x, floor), (item.x, floor - EXIT)], box.sent)
        else:
            self.exit(item.x, floor, box.sent)
        if box.pumped and box.to is not None:
            self.text(item.x + self.width(box.sent) / 2 + 4, floor - EXIT / 2, "pumped", 8.0,
                      WIDE / 2 - self.width(box.sent) / 2 - 4, "pumped", sy.SOFT_INK, side="left")

    def chip(self, x: float, top: float, source: str, gives: float, roofed: bool) -> None:
        """A catchment: ground or roofs."""
        edge, face = _ROOF if roofed else _GROUND
        half = CHIP_WIDE / 2
        corners = ([(x - half, top - 8), (x, top), (x + half, top - 8), (x + half, top - CHIP_HIGH),
                    (x - half, top - CHIP_HIGH)] if roofed else
                   [(x - half, top), (x + half, top), (x + half - 9, top - CHIP_HIGH),
                    (x - half + 9, top - CHIP_HIGH)])
        self.ax.add_patch(Polygon(corners, closed=True, facecolor=face, edgecolor=edge,
                                  linewidth=0.9, zorder=10, gid="catchment"))
        self.text(x, top - (11.0 if roofed else 8.0), source, 8.0, CHIP_WIDE - 7, "catchment area",
                  sy.SOFT_INK)
        self.text(x, top - (21.0 if roofed else 19.0), self.volume(gives), 8.0, CHIP_WIDE - 20,
                  "gives")

    def exit(self, x: float, floor: float, volume: float) -> None:
        """An arrow off the site under a store."""
        if volume <= 0:
            return
        wide = self.width(volume)
        self.line([(x, floor), (x, floor - 8)], volume, sy.LEFT)
        half = max(wide / 2 + 2.5, 4.0)
        self.ax.add_patch(Polygon([(x - half, floor - 7.5), (x + half, floor - 7.5),
                                   (x, floor - 13.5)], closed=True, facecolor=sy.LEFT,
                                  edgecolor="none", zorder=4))
        self.text(x, floor - 20, "leaves the site", 8.0, WIDE, "exit", sy.SOFT_INK)

    def head(self, flows: Flows, wide: float, greatest: float) -> None:
        """Title, what it is of, and the key to widths."""
        if self.whole:
            self.text(MARGIN, -22, "From the top of the land down", 15, wide * 0.6, "title",
                      side="left", weight="bold")
        self.text(MARGIN, -44 if self.whole else -16, flows.title, sy.LABEL_SIZE, wide - 400,
                  "title", sy.SOFT_INK, side="left")
        x, up = MARGIN + wide, 0 if self.whole else 16
        for volume in _round_volumes(greatest, self.system):
            words = self.volume(volume)
            self.text(x, up - 27, words, sy.SMALL_SIZE, 70, "key", sy.SOFT_INK, side="right")
            self.line([(x - 44, up - 44), (x, up - 44)], volume)
            x -= 92
        for y, words in ((27, "a line twice as wide"), (40, "carries four times as much:")):
            self.text(x, up - y, words, sy.SMALL_SIZE, 130, "key", sy.SOFT_INK, side="right")

    def foot(self, flows: Flows, wide: float, top: float) -> None:
        """Open ground, and the whole account in a sentence."""
        x = MARGIN + CHIP_WIDE / 2
        self.ax.plot([MARGIN, MARGIN + wide], [top + 10, top + 10], color=sy.FAINT_INK,
                     linewidth=0.7)
        self.chip(x, top, flows.open_words, flows.open_runoff, False)
        self.exit(x, top - CHIP_HIGH, flows.open_runoff)
        if self.whole:
            column = Column(self.figure, (MARGIN + CHIP_WIDE + 18) / 72, MARGIN / 2 / 72,
                            (wide - CHIP_WIDE - 18) / 72, (FOOT - 4) / 72)
            column.text(flows.account, sy.SMALL_SIZE + 0.5, sy.SOFT_INK, gid="account")


#: Where spills of others come in, from the middle of a box. [pt]
ENTRY = WIDE / 2 - (WIDE - CHIP_WIDE) / 2 + 2


def others(box: Box, system: str) -> list[str]:
    """What comes to a box beside what stands above it, and what its pump leaves, in words."""
    said = [f"{words} {volume_words(value, system)}" for words, value in (
        ("rain on its water" if not box.source else "", box.gives if not box.source else 0.0),
        ("from above", box.above), ("grey water", box.grey), ("brought", box.brought))
        if value > 0]
    if box.over > 0:
        said += [f"over its pump {volume_words(box.over, system)}", box.over_to]
    return said


def volume_words(value: float, system: str) -> str:
    """A volume as the accounts print it, so that those of a box add up; millions in short."""
    unit, factor, _ = PRINTED["volume"][system == "us"]
    number = (sy.bare(value, "volume", system) if value * factor >= 1e7 else
              shown(value, "volume", system, with_unit=False))
    return f"{number} {unit}"


@lru_cache(maxsize=4096)
def _fitted(words: str, size: float, most: float, weight: str) -> str:
    """Words cut to a width [pt]; kept, as every drawing of a cascade has the same names."""
    small = Figure(figsize=(1, 1), dpi=sy.DPI)  # so that measuring is quick
    return shortened(small, words, size, most, weight)


def _through(item: _Item, boxes: Sequence[Box]) -> float:
    """Volume that passes along a passage. [m3]"""
    return sum(_through(other, boxes) if other.passes else boxes[other.box].sent
               for other in item.above)


def _round_volumes(greatest: float, system: str) -> list[float]:
    """Up to three round volumes for the key, the largest first. [m3]"""
    unit = 0.003785411784 if system == "us" else 1.0
    power = 10.0 ** math.floor(math.log10(greatest / unit))
    first = max(n for n in (1, 2, 5) if n * power <= greatest / unit * (1 + 1e-9)) * power
    found = [first, first / 10, first / 100]
    least = 0.1 if system == "metric" else 1.0
    return [value * unit for value in found if value >= least] or [first * unit]

