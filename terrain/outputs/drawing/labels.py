"""Lettering that keeps out of its own way: a greedy placer, and columns of text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy

FloatArray = NDArray[np.float64]
#: Directions in which a label is tried about its anchor, the best reading place first. [deg]
DIRECTIONS = (20, -20, 160, -160, 50, -50, 130, -130, 90, -90, 0, 180, 70, -70, 110, -110)
#: Gaps from anchor to label that are tried. [pt]
GAPS = (5, 9, 14, 20, 28, 38, 50, 64, 80, 100, 125, 155, 190, 230)
#: From this gap on a label gets a line to what it names. [pt]
LEADER_FROM = 12.0
#: What a leader costs for each point of its gap, were it inked from end to end; what one across a
#: bar costs, and a label across one: rather than that it stands some 110 points further off.
LEADER_INK, LEADER_ACROSS, ACROSS = 0.35, 14.0, 60.0
#: What a label costs that stands nearer to another thing of its kind than to its own. [pt]
NEARER = 90.0
#: A leader that ends within its thing ends in a dot (ISO 128-2, from memory); its width. [pt]
DOT = 3.6
#: No leader to a dot is shorter, or the label would hide it. [pt]
LEAST_LEADER = 5.0
#: Widths of words that were measured, by words, size, weight and pixels in a point. [pt]
_WIDTHS: dict[tuple[str, float, str, float], float] = {}
#: Widths and heights of lines that were measured, with their style and the dots in an inch. [px]
_SIZES: dict[tuple[str, float, str, str, float], tuple[float, float]] = {}


@lru_cache(maxsize=8)
def _measure(dpi: float) -> Any:
    """What measures lettering at so many dots in an inch; nothing is painted with it."""
    made: Any = RendererAgg
    return made(1, 1, dpi)


class Unmarked(Axes):
    """Axes without ticks or figures along them, which takes half the time to make."""

    def tick_params(self, axis: Any = "both", **kwargs: Any) -> None:
        """Nothing: making ticks to set their looks is what takes long."""


@dataclass(frozen=True)
class Line:
    """One line of a label: its words and look."""

    words: str
    size: float = sy.LABEL_SIZE
    colour: str = sy.INK
    weight: str = "normal"
    style: str = "normal"
    gid: str = ""


@dataclass(frozen=True)
class _Asked:
    """A label that is to be placed: its size [px], anchors and ends of their leaders [px], and
    the rest as of `Labels.place`."""

    wide: float
    high: float
    points: FloatArray
    ends: FloatArray
    radius: float
    far: float
    leader: bool
    lead_from: float
    dotted: bool
    others: FloatArray


class Labels:
    """Places labels on an axes so that none overlaps another or leaves it.

    What is `block`ed is never written on; a line that is `bar`red only by a label that finds no
    other place near; what has `ink` if nothing better offers.
    """

    def __init__(self, ax: Axes) -> None:
        figure = ax.get_figure()
        assert isinstance(figure, Figure)
        self.ax, self.figure = ax, figure
        self.renderer = _measure(figure.dpi)
        self.pixel = figure.dpi / 72
        self.frame = ax.get_window_extent(self.renderer)
        self.taken: list[tuple[float, float, float, float]] = []
        self.left_out: list[str] = []
        #: Both ends of every leader. [px]
        self.leaders: list[tuple[FloatArray, FloatArray]] = []
        #: Shapes of the axes' data that cover what lies lower: no words run along a line there.
        self.covered: list[Any] = []
        self.grain = 3.0
        self.ink_map = np.zeros((int(self.frame.height / self.grain) + 2,
                                 int(self.frame.width / self.grain) + 2), np.float32)
        self.barred = np.zeros(self.ink_map.shape, np.bool_)

    def block(self, box: Bbox, pad: float = 0.0) -> None:
        """Keep a box of pixels free, with `pad` points about it."""
        gap = pad * self.pixel
        self.taken.append((box.x0 - gap, box.y0 - gap, box.x1 + gap, box.y1 + gap))

    def ink(self, points: FloatArray, weight: float, spread: int = 1) -> None:
        """Say that something is drawn at points of the axes' data."""
        if not len(points):
            return
        row, column = self._grains(self.ax.transData.transform(points))
        rows, columns = self.ink_map.shape
        for dr in range(-spread, spread + 1):
            for dc in range(-spread, spread + 1):
                r, c = row + dr, column + dc
                ok = (r >= 0) & (c >= 0) & (r < rows) & (c < columns)
                self.ink_map[r[ok], c[ok]] = np.maximum(self.ink_map[r[ok], c[ok]], weight)

    def ink_line(self, line: FloatArray, weight: float, spread: int = 1) -> None:
        """Say that a line is drawn along points of the axes' data."""
        self.ink(self._close(line), weight, spread)

    def bar(self, line: FloatArray) -> None:
        """Let no label lie across a line of the axes' data that finds another place near."""
        row, column = self._grains(self.ax.transData.transform(self._close(line)))
        rows, columns = self.barred.shape
        ok = (row >= 0) & (column >= 0) & (row < rows) & (column < columns)
        self.barred[row[ok], column[ok]] = True

    def _close(self, line: FloatArray) -> FloatArray:
        """Points along a line, a grain apart."""
        where = self.ax.transData.transform(line)
        steps = np.hypot(*np.diff(where, axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        if along[-1] == 0:
            return line[:1]
        at = np.arange(0.0, along[-1] + self.grain, self.grain)
        return np.stack([np.interp(at, along, line[:, k]) for k in (0, 1)], 1)

    def _grains(self, pixels: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows and columns of the maps of ink and bars that hold pixels."""
        return (((pixels[:, 1] - self.frame.y0) / self.grain).astype(np.int64),
                ((pixels[:, 0] - self.frame.x0) / self.grain).astype(np.int64))

    def measured(self, lines: Sequence[Line]) -> list[tuple[float, float]]:
        """Width and height of each line of a label. [px]"""
        return [self._measured(line) for line in lines]

    def _measured(self, line: Line) -> tuple[float, float]:
        key = line.words, line.size, line.weight, line.style, self.figure.dpi
        if key not in _SIZES:
            text = Text(0, 0, line.words, fontsize=line.size, fontweight=line.weight,
                        fontstyle=line.style)
            text.set_figure(self.figure)
            box = text.get_window_extent(self.renderer)
            _SIZES[key] = box.width, box.height
        return _SIZES[key]

    def free(self, x0: float, y0: float, x1: float, y1: float) -> bool:
        """Whether a box of pixels lies in the axes and off everything that is taken."""
        edge = 4 * self.pixel
        if (x0 < self.frame.x0 + edge or y0 < self.frame.y0 + edge
                or x1 > self.frame.x1 - edge or y1 > self.frame.y1 - edge):
            return False
        return not any(x0 < b[2] and b[0] < x1 and y0 < b[3] and b[1] < y1 for b in self.taken)

    def _part(self, x0: float, y0: float, x1: float, y1: float) -> tuple[slice, slice]:
        """The part of the maps of ink and bars that a box of pixels covers."""
        r0, r1 = (int((v - self.frame.y0) / self.grain) for v in (y0, y1))
        c0, c1 = (int((v - self.frame.x0) / self.grain) for v in (x0, x1))
        return slice(max(r0, 0), r1 + 1), slice(max(c0, 0), c1 + 1)

    def ink_in(self, x0: float, y0: float, x1: float, y1: float) -> float:
        """Mean ink in a box of pixels."""
        part = self.ink_map[self._part(x0, y0, x1, y1)]
        return float(part.sum()) / part.size if part.size else 0.0

    def across(self, x0: float, y0: float, x1: float, y1: float) -> bool:
        """Whether a box of pixels lies across a barred line."""
        return bool(self.barred[self._part(x0, y0, x1, y1)].any())

    def ink_at(self, pixels: FloatArray) -> FloatArray:
        """Ink at points in pixels, shape (points,); that of the edge beyond it."""
        row, column = self._grains(pixels)
        rows, columns = self.ink_map.shape
        return np.asarray(self.ink_map[np.clip(row, 0, rows - 1),
                                       np.clip(column, 0, columns - 1)], np.float64)

    def place(self, lines: Sequence[Line], anchors: FloatArray, radius: float = 0.0,
              gid: str = "label", far: float = 230.0, leader: bool = True,
              within: FloatArray | None = None, lead_from: float = LEADER_FROM,
              others: FloatArray | None = None) -> bool:
        """Write a label beside the best of its anchors.

        Parameters
        ----------
        anchors : (points, 2)
            In the axes' data; the first is preferred a little.
        radius : float
            Of the symbol at the anchor. [pt]
        far : float
            Greatest gap to try. [pt]
        leader : bool
            Whether a label at a distance gets a line to its anchor; without, none goes there.
        within : (points, 2), optional
            Where the leader of each anchor ends instead, in a dot, within what is named; in the
            axes' data.
        lead_from : float
            The least gap with a leader. [pt]
        others : (points, 2), optional
            Things for which this one might be taken; in the axes' data.

        Returns
        -------
        placed : bool
            False if no free place was found; the words are then in `left_out`.
        """
        asked = self._asked(lines, anchors, radius, far, leader, within, lead_from, others)
        best = self._best(asked)
        if best is None and not asked.dotted:  # a work unnamed is worse than a leader that crosses
            best = self._best(asked, crossing=True)
        if best is None:
            self.left_out.append(" ".join(line.words for line in lines))
            return False
        _, x, y, end, apart = best
        self._write(lines, self.measured(lines), x, y, asked.wide, asked.high, gid)
        box = self._box(asked, x, y)
        self.taken.append(box)
        if apart >= lead_from:
            self._lead(float(asked.ends[end][0]), float(asked.ends[end][1]), box, radius,
                       asked.dotted)
        return True

    def cost_of(self, lines: Sequence[Line], anchors: FloatArray, radius: float = 0.0,
                others: FloatArray | None = None) -> float:
        """What the best place of a label costs as things stand [pt], infinity where it has none;
        the rest as of `place`."""
        best = self._best(self._asked(lines, anchors, radius, others=others))
        return float("inf") if best is None else best[0]

    def _asked(self, lines: Sequence[Line], anchors: FloatArray, radius: float,
               far: float = 230.0, leader: bool = True, within: FloatArray | None = None,
               lead_from: float = LEADER_FROM, others: FloatArray | None = None) -> _Asked:
        """What is asked of `place`, in pixels."""
        sizes, to_pixels = self.measured(lines), self.ax.transData.transform
        points = to_pixels(np.atleast_2d(anchors))
        return _Asked(
            max(s[0] for s in sizes), sum(s[1] for s in sizes), points,
            points if within is None else to_pixels(np.atleast_2d(within)), radius, far, leader,
            lead_from, within is not None,
            np.empty((0, 2)) if others is None or not len(others) else to_pixels(others))

    def _box(self, asked: _Asked, x: float, y: float) -> tuple[float, float, float, float]:
        """What a label takes about its middle. [px]"""
        pad = 2.5 * self.pixel
        return (x - asked.wide / 2 - pad, y - asked.high / 2 - pad / 2,
                x + asked.wide / 2 + pad, y + asked.high / 2 + pad / 2)

    def _best(self, asked: _Asked, crossing: bool = False
              ) -> tuple[float, float, float, int, float] | None:
        """The best place of a label: its cost, middle [px], number of its anchor, and gap [pt].

        With `crossing` its leader may cross other leaders and marks.
        """
        wide, high = asked.wide, asked.high
        best: tuple[float, float, float, int, float] | None = None
        for number, (ax_, ay) in enumerate(asked.points):
            if not (self.frame.x0 <= ax_ <= self.frame.x1
                    and self.frame.y0 <= ay <= self.frame.y1):
                continue
            for gap in GAPS:
                led = gap >= asked.lead_from
                if gap > asked.far or (not asked.leader and led):
                    break
                reach = (gap + asked.radius) * self.pixel
                least = gap * 0.55 + number * 0.8
                if best is not None and least >= best[0]:
                    break
                for order, angle in enumerate(DIRECTIONS):
                    if best is not None and least + order * 0.35 >= best[0]:
                        break
                    along = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
                    x = ax_ + along[0] * (reach + wide / 2)
                    y = ay + along[1] * (reach + high / 2)
                    box = self._box(asked, x, y)
                    cost = least + order * 0.35 + 36 * self.ink_in(*box) ** 0.5
                    cost += ACROSS * self.across(*box)
                    if len(asked.others):
                        off = np.hypot(*(asked.others - np.clip(
                            asked.others, box[:2], box[2:])).T).min()
                        cost += NEARER * bool(off < np.hypot(*(
                            asked.points[number] - np.clip(asked.points[number], box[:2],
                                                           box[2:]))))
                    if best is not None and cost >= best[0]:
                        continue
                    if not self.free(*box):
                        continue
                    if led:
                        way = self._way(asked.ends[number], box)
                        if not (crossing or self._clear(way)) or (asked.dotted and np.hypot(
                                *(way[-1] - way[0])) < LEAST_LEADER * self.pixel):
                            continue
                        row, column = self._grains(way)
                        cost += LEADER_INK * gap * float(self.ink_at(way).mean())
                        cost += LEADER_ACROSS * bool(self.barred[row, column].any())
                        if best is not None and cost >= best[0]:
                            continue
                    best = (cost, x, y, number, gap)
        return best

    def _under(self, box: tuple[float, float, float, float]) -> bool:
        """Whether a box of pixels lies under what is drawn over it."""
        from shapely import box as rectangle

        (x0, y0), (x1, y1) = self.ax.transData.inverted().transform([box[:2], box[2:]])
        place = rectangle(x0, y0, x1, y1)
        return any(shape.intersects(place) for shape in self.covered)

    def _way(self, start: FloatArray, box: tuple[float, float, float, float]) -> FloatArray:
        """Points of a leader from what is named to a label's box. [px]"""
        end = np.clip(start, box[:2], box[2:])
        count = max(int(np.hypot(*(end - start)) / (2 * self.grain)), 12)
        return np.asarray(start + (end - start) * np.linspace(0.15, 0.95, count)[:, None],
                          np.float64)

    def _clear(self, way: FloatArray) -> bool:
        """Whether a leader crosses no other and nothing that is taken, but for the space about
        it."""
        if any(_cross(way[0], way[-1], *other) for other in self.leaders):
            return False
        spare = 1.5 * self.pixel
        return not any(b[0] + spare < px < b[2] - spare and b[1] + spare < py < b[3] - spare
                       for px, py in way for b in self.taken)

    def _write(self, lines: Sequence[Line], sizes: list[tuple[float, float]], x: float, y: float,
               wide: float, high: float, gid: str) -> None:
        back = self.ax.transData.inverted()
        top = y + high / 2
        for line, (_, tall) in zip(lines, sizes, strict=True):
            across, up = back.transform((x, top - tall / 2))
            self.ax.text(across, up, line.words, ha="center", va="center", fontsize=line.size,
                         color=line.colour, fontweight=line.weight, fontstyle=line.style,
                         path_effects=sy.halo(), zorder=32, gid=line.gid or gid)
            top -= tall

    def _lead(self, x: float, y: float, box: tuple[float, float, float, float],
              radius: float, within: bool) -> None:
        """Draw a leader from a label's box to what it names: to the edge of its symbol, or to a
        dot within it."""
        gap = 2 * self.pixel
        end = np.array([np.clip(x, box[0] + gap, box[2] - gap), np.clip(y, box[1], box[3])])
        start = np.array([x, y])
        way = end - start
        norm = float(np.hypot(*way))
        if norm <= (radius + 2) * self.pixel:
            return
        if not within:
            start = start + way / norm * max(radius - 0.5, 0.0) * self.pixel
        self.leaders.append((start, end))
        back = self.ax.transData.inverted()
        (x0, y0), (x1, y1) = back.transform([start, end])
        self.ax.add_line(Line2D([x0, x1], [y0, y1], color=sy.SOFT_INK, linewidth=0.8, zorder=31,
                                path_effects=sy.cased(2.0), gid="leader", markevery=[0],
                                marker="o" if within else "", markersize=DOT,
                                markeredgewidth=0.0))
        for share in np.linspace(0, 1, max(int(norm / 8), 2)):
            px, py = start + (end - start) * share
            self.taken.append((px - 3, py - 3, px + 3, py + 3))

    def along(self, words: str, line: FloatArray, size: float, colour: str, gid: str,
              apart: float = 0.0, style: str = "normal") -> NDArray[np.bool_] | None:
        """Write words along a line where it runs straightest.

        Returns
        -------
        under : bool, one for each point of the line
            Points that lie under the words; None if there was no room.
        """
        (wide, high), = self.measured([Line(words, size, style=style)])
        where = self.ax.transData.transform(line)
        steps = np.hypot(*np.diff(where, axis=0).T)
        far = np.concatenate([[0.0], np.cumsum(steps)])
        if far[-1] < wide * 2.2:
            return None
        best: tuple[float, float, FloatArray, float] | None = None
        for at in np.linspace(wide, far[-1] - wide, 40):
            ends = np.array([[np.interp(at + s * wide / 2, far, where[:, k]) for k in (0, 1)]
                             for s in (-1, 0, 1)])
            chord = ends[2] - ends[0]
            bent = 1 - float(np.hypot(*chord)) / wide
            angle = float(np.degrees(np.arctan2(chord[1], chord[0])))
            angle = (angle + 90) % 180 - 90
            middle = ends.mean(0)
            turn = np.radians(angle)
            half_w = (abs(np.cos(turn)) * wide + abs(np.sin(turn)) * high) / 2 + 3
            half_h = (abs(np.sin(turn)) * wide + abs(np.cos(turn)) * high) / 2 + 3
            box = (middle[0] - half_w, middle[1] - half_h, middle[0] + half_w, middle[1] + half_h)
            if (bent > 0.06 or self.across(*box) or not self.free(*box)
                    or self._under(box)):
                continue
            cost = bent * 60 + 12 * self.ink_in(*box) + abs(angle) / 60
            if best is None or cost < best[0]:
                best = (cost, angle, middle, at)
                chosen = box
        if best is None:
            return None
        _, angle, middle, at = best
        x, y = self.ax.transData.inverted().transform(middle)
        self.ax.text(x, y, words, rotation=angle, rotation_mode="anchor", ha="center",
                     va="center", fontsize=size, color=colour, fontstyle=style, zorder=6,
                     path_effects=sy.halo(1.6), gid=gid)
        gap = apart * self.pixel
        self.taken.append((chosen[0] - gap, chosen[1] - gap, chosen[2] + gap, chosen[3] + gap))
        return np.asarray(np.abs(far - at) < wide / 2 + 2 * self.pixel)


def _cross(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> bool:
    """Whether the stretch from a to b crosses that from c to d."""
    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return (side(a, b, c) * side(a, b, d) <= 0) and (side(c, d, a) * side(c, d, b) <= 0)


def shortened(figure: Figure, words: str, size: float, most: float, weight: str = "normal"
              ) -> str:
    """Words cut with an ellipsis if they are wider than `most` points."""
    def wide(said: str) -> float:
        return width_of(said, size, weight, figure.dpi / 72)

    if wide(words) <= most:
        return words
    kept = len(words) - 1
    while kept > 1 and wide(words[:kept].rstrip() + "…") > most:
        kept -= 1
    return words[:kept].rstrip() + "…"


@lru_cache(maxsize=64)
def _font(size: float, weight: str) -> FontProperties:
    """The house's lettering of a size and weight."""
    return FontProperties(family="DejaVu Sans", size=size, weight=weight)


def width_of(words: str, size: float, weight: str, point: float) -> float:
    """Width of words, where a point is so many pixels. [pt]"""
    key = words, size, weight, point
    if key not in _WIDTHS:
        # What a `Text` would ask for, without making one.
        wide, _, _ = _measure(point * 72).get_text_width_height_descent(
            words, _font(size, weight), False)
        _WIDTHS[key] = float(wide) / point
    return _WIDTHS[key]


class Column:
    """A column of text and symbols, filled from the top; the axes' units are points."""

    def __init__(self, figure: Figure, left: float, bottom: float, width: float, height: float
                 ) -> None:
        """Place it on a figure. [in]"""
        wide, high = figure.get_size_inches()
        self.figure = figure
        self.ax: Axes = figure.add_axes((left / wide, bottom / high, width / wide, height / high),
                                        axes_class=Unmarked)
        self.ax.set_axis_off()
        self.width, self.height = width * 72, height * 72
        self.ax.set_xlim(0, self.width)
        self.ax.set_ylim(-self.height, 0)
        self.y = 0.0
        self.point = figure.dpi / 72

    @property
    def room(self) -> float:
        """What is left below. [pt]"""
        return self.height + self.y

    def wide(self, words: str, size: float, weight: str = "normal") -> float:
        """Width of words. [pt]"""
        return width_of(words, size, weight, self.point)

    def skip(self, gap: float) -> None:
        """Leave a gap. [pt]"""
        self.y -= gap

    def rule(self, colour: str = sy.FAINT_INK) -> None:
        """Draw a thin line across."""
        self.ax.add_line(Line2D([0, self.width], [self.y, self.y], color=colour, linewidth=0.7))

    def wrapped(self, words: str, size: float, width: float, weight: str = "normal") -> list[str]:
        """Words broken into lines no wider than `width`. [pt]

        A line is as wide as its words and the blanks between them; those that come close to the
        edge are measured whole.
        """
        lines, reached = [""], 0.0
        gap = self.wide("a a", size, weight) - self.wide("aa", size, weight)
        for word in (word for word in words.split(" ") if word):  # other blanks do not break
            wide = self.wide(word, size, weight)
            longer = f"{lines[-1]} {word}".strip()
            after = reached + (gap if lines[-1] else 0.0) + wide
            if abs(after - width) < 0.02 * width:
                after = self.wide(longer, size, weight)
            if lines[-1] and after > width:
                lines.append(word)
                reached = wide
            else:
                lines[-1], reached = longer, after
        return lines

    def text(self, words: str, size: float = sy.TEXT_SIZE, colour: str = sy.INK,
             weight: str = "normal", left: float = 0.0, lead: float = 1.32,
             gid: str = "column", style: str = "normal") -> None:
        """Write words, wrapped to the column."""
        for line in self.wrapped(words, size, self.width - left, weight):
            self.ax.text(left, self.y - size * lead / 2, line, fontsize=size, color=colour,
                         fontweight=weight, ha="left", va="center", gid=gid, fontstyle=style)
            self.y -= size * lead

    def row(self, cells: Sequence[tuple[float, str, str]], size: float = sy.TEXT_SIZE,
            colour: str = sy.INK, weight: str = "normal", lead: float = 1.5,
            gid: str = "column") -> None:
        """Write cells (position [pt], "left" or "right", words) on one line."""
        for at, side, words in cells:
            self.ax.text(at, self.y - size * lead / 2, words, fontsize=size, color=colour,
                         fontweight=weight, ha=side, va="center", gid=gid)
        self.y -= size * lead
