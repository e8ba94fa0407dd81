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


class Labels:
    """Places labels on an axes so that none overlaps another or leaves it.

    What is `block`ed is never written on; what has `ink` is written on only if nothing better
    offers.
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
        #: Shapes of the axes' data that cover what lies lower: no words run along a line there.
        self.covered: list[Any] = []
        self.grain = 3.0
        self.ink_map = np.zeros((int(self.frame.height / self.grain) + 2,
                                 int(self.frame.width / self.grain) + 2), np.float32)

    def block(self, box: Bbox, pad: float = 0.0) -> None:
        """Keep a box of pixels free, with `pad` points about it."""
        gap = pad * self.pixel
        self.taken.append((box.x0 - gap, box.y0 - gap, box.x1 + gap, box.y1 + gap))

    def ink(self, points: FloatArray, weight: float, spread: int = 1) -> None:
        """Say that something is drawn at points of the axes' data."""
        if not len(points):
            return
        where = self.ax.transData.transform(points)
        column = ((where[:, 0] - self.frame.x0) / self.grain).astype(int)
        row = ((where[:, 1] - self.frame.y0) / self.grain).astype(int)
        rows, columns = self.ink_map.shape
        for dr in range(-spread, spread + 1):
            for dc in range(-spread, spread + 1):
                r, c = row + dr, column + dc
                ok = (r >= 0) & (c >= 0) & (r < rows) & (c < columns)
                self.ink_map[r[ok], c[ok]] = np.maximum(self.ink_map[r[ok], c[ok]], weight)

    def ink_line(self, line: FloatArray, weight: float, spread: int = 1) -> None:
        """Say that a line is drawn along points of the axes' data."""
        where = self.ax.transData.transform(line)
        steps = np.hypot(*np.diff(where, axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        if along[-1] == 0:
            self.ink(line[:1], weight, spread)
            return
        at = np.arange(0.0, along[-1] + self.grain, self.grain)
        self.ink(np.stack([np.interp(at, along, line[:, k]) for k in (0, 1)], 1), weight, spread)

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

    def ink_in(self, x0: float, y0: float, x1: float, y1: float) -> float:
        """Mean ink in a box of pixels."""
        r0, r1 = (int((v - self.frame.y0) / self.grain) for v in (y0, y1))
        c0, c1 = (int((v - self.frame.x0) / self.grain) for v in (x0, x1))
        part = self.ink_map[max(r0, 0):r1 + 1, max(c0, 0):c1 + 1]
        return float(part.sum()) / part.size if part.size else 0.0

    def place(self, lines: Sequence[Line], anchors: FloatArray, radius: float = 0.0,
              gid: str = "label", far: float = 230.0, leader: bool = True) -> bool:
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

        Returns
        -------
        placed : bool
            False if no free place was found; the words are then in `left_out`.
        """
        sizes = self.measured(lines)
        wide, high = max(s[0] for s in sizes), sum(s[1] for s in sizes)
        pad = 2.5 * self.pixel
        best: tuple[float, float, float, float, float, float] | None = None
        points = self.ax.transData.transform(np.atleast_2d(anchors))
        for number, (ax_, ay) in enumerate(points):
            if not (self.frame.x0 <= ax_ <= self.frame.x1
                    and self.frame.y0 <= ay <= self.frame.y1):
                continue
            for gap in GAPS:
                if gap > far or (not leader and gap >= LEADER_FROM):
                    break
                reach = (gap + radius) * self.pixel
                least = gap * 0.55 + number * 0.8
                if best is not None and least >= best[0]:
                    break
                for order, angle in enumerate(DIRECTIONS):
                    if best is not None and least + order * 0.35 >= best[0]:
                        break
                    along = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
                    x = ax_ + along[0] * (reach + wide / 2)
                    y = ay + along[1] * (reach + high / 2)
                    box = (x - wide / 2 - pad, y - high / 2 - pad / 2,
                           x + wide / 2 + pad, y + high / 2 + pad / 2)
                    cost = least + order * 0.35 + 36 * self.ink_in(*box) ** 0.5
                    if best is not None and cost >= best[0]:
                        continue
                    if not self.free(*box):
                        continue
                    if gap >= LEADER_FROM and not self._clear(ax_, ay, box):
                        continue
                    best = (cost, x, y, ax_, ay, gap)
        if best is None:
            self.left_out.append(" ".join(line.words for line in lines))
            return False
        _, x, y, ax_, ay, apart = best
        self._write(lines, sizes, x, y, wide, high, gid)
        box = (x - wide / 2 - pad, y - high / 2 - pad / 2,
               x + wide / 2 + pad, y + high / 2 + pad / 2)
        self.taken.append(box)
        if apart >= LEADER_FROM:
            self._lead(ax_, ay, box, radius)
        return True

    def _under(self, box: tuple[float, float, float, float]) -> bool:
        """Whether a box of pixels lies under what is drawn over it."""
        from shapely import box as rectangle

        (x0, y0), (x1, y1) = self.ax.transData.inverted().transform([box[:2], box[2:]])
        place = rectangle(x0, y0, x1, y1)
        return any(shape.intersects(place) for shape in self.covered)

    def _clear(self, x: float, y: float, box: tuple[float, float, float, float]) -> bool:
        end_x, end_y = np.clip(x, box[0], box[2]), np.clip(y, box[1], box[3])
        for share in np.linspace(0.15, 0.95, 12):
            px, py = x + (end_x - x) * share, y + (end_y - y) * share
            if any(b[0] < px < b[2] and b[1] < py < b[3] for b in self.taken):
                return False
        return True

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
              radius: float) -> None:
        gap = 2 * self.pixel
        end = np.array([np.clip(x, box[0] + gap, box[2] - gap), np.clip(y, box[1], box[3])])
        start = np.array([x, y])
        way = end - start
        norm = float(np.hypot(*way))
        if norm <= (radius + 2) * self.pixel:
            return
        start = start + way / norm * (radius + 1.0) * self.pixel
        back = self.ax.transData.inverted()
        (x0, y0), (x1, y1) = back.transform([start, end])
        self.ax.add_line(Line2D([x0, x1], [y0, y1], color=sy.SOFT_INK, linewidth=0.7, zorder=31,
                                path_effects=sy.cased(2.0), gid="leader"))
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
            if bent > 0.06 or not self.free(*box) or self._under(box):
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
