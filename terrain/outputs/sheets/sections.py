"""The frame of every section to scale: its look, dimensions, levels and slopes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Labels, Line

FloatArray = NDArray[np.float64]

#: Room for the heading above a section. [in]
HEADING = 0.26
GROUND, BANK, CUT = sy.GROUND, sy.BANK, sy.CUT
#: Least gap between two levels written below each other. [pt]
LEAD = 11.5
#: Room below a floor for a dimension. [pt]
UNDER = 24.0
#: Ground that is changed by less is drawn as the finished one. [m]
SAME = 0.004
#: What the key of a section can name: its words, face, edge, and style of the edge.
KEY: dict[str, tuple[str, str, str, Any]] = {
    "ground": ("ground now", "none", sy.SOFT_INK, (0, (3, 2))),
    "cut": ("cut", CUT, sy.EARTH, "-"),
    "fill": ("fill", BANK, sy.EARTH, "-"),
    "water": ("water", sy.POOL, sy.WATER, "-"),
    "gravel": ("gravel", "#cfc9bd", sy.SOFT_INK, "-"),
    "grass": ("grass", "none", sy.TREE, "-"),
    "stone": ("stone", "none", sy.SOFT_INK, (0, (1, 0.8)))}


@dataclass(frozen=True)
class Level:
    """A level to write beside a section: where it is read off [m], its words and colour."""

    x: float
    z: float
    words: str
    colour: str = sy.INK


class Section:
    """An axes in which a metre is as long across as up; lengths in m.

    Lettering keeps clear of lettering: words whose place is taken move to the next free one.
    """

    def __init__(self, figure: Figure, left: float, bottom: float, wide: float, high: float
                 ) -> None:
        """Place it and its heading on a figure. [in]"""
        self.wide, self.high = wide * 72, (high - HEADING) * 72
        self.figure = figure
        across, up = figure.get_size_inches()
        self.ax = figure.add_axes((left / across, bottom / up, wide / across,
                                   (high - HEADING) / up))
        self.ax.set_axis_off()
        self._heading = (left, bottom + high - 0.06)
        self._head = figure.text(left / across, self._heading[1] / up, "",
                                 fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center",
                                 gid="head")
        self.point = 1.0
        self.labels = Labels(self.ax)
        self.edges = (0.0, 0.0)

    def head(self, words: str) -> None:
        """Write its heading, smaller where it would run into that of the next section."""
        (wide, _), = self.labels.measured([Line(words)])
        room = self.wide * self.labels.pixel
        self._head.set_text(words)
        self._head.set_fontsize(sy.TEXT_SIZE * min(1.0, room / max(wide, 1.0)))

    def frame(self, west: float, east: float, low: float, high: float, beside: float = 0.0,
              over: float = 62.0, before: float = 0.0, floor: float | None = None) -> float:
        """Show this much of the section, with room for lettering about it.

        `before` points are kept free on its left and `beside` on its right, `over` points above
        and below it together.  Where a `floor` is given, what is shown goes down so far below it
        that a dimension written there stands on the ground.

        Returns
        -------
        low : float
            Lower edge of what is shown. [m]
        """
        if floor is not None:
            point = max((east - west) / (self.wide - 16 - beside - before),
                        (high - floor) / (self.high - over - UNDER))
            low = min(low, floor - UNDER * point)
        self.point = max((east - west) / (self.wide - 16 - beside - before),
                         (high - low) / (self.high - over))
        x = (west + east + (beside - before) * self.point) / 2
        z = (low + high) / 2
        if floor is not None:  # nothing is written below what is shown
            z += (over / 2 - 4) * self.point
        self.ax.set_xlim(x - self.wide * self.point / 2, x + self.wide * self.point / 2)
        self.ax.set_ylim(z - self.high * self.point / 2, z + self.high * self.point / 2)
        self.edges = (west, east)
        return low

    def room(self, words: Sequence[str]) -> float:
        """Room that levels beside the section take. [pt]"""
        wide = max(size[0] for size in self.labels.measured(
            [Line(said, sy.SMALL_SIZE) for said in words]))
        return float(wide) / self.labels.pixel + 22

    def fill(self, points: Sequence[tuple[float, float]] | FloatArray, face: str,
             edge: str = "none", zorder: float = 2, gid: str | None = None, alpha: float = 1.0,
             hatch: str | None = None) -> None:
        """Fill a shape."""
        self.ax.add_patch(Polygon(points, closed=True, facecolor=face, edgecolor=edge,
                                  linewidth=1.0, zorder=zorder, gid=gid, alpha=alpha,
                                  hatch=hatch))

    def between(self, x: FloatArray, low: FloatArray, high: FloatArray, face: str,
                edge: str = "none", zorder: float = 2, gid: str | None = None) -> None:
        """Fill what lies between two lines over the same x, where the second is higher."""
        over = high > low + 1e-9
        if not over.any():
            return
        shade = self.ax.fill_between(x, low, high, where=over, interpolate=True, facecolor=face,
                                     edgecolor=edge, linewidth=0.9 if edge != "none" else 0.0,
                                     zorder=zorder)
        shade.set_gid(gid)

    def line(self, points: Sequence[tuple[float, float]] | FloatArray, colour: str,
             width: float = 1.2, style: Any = "-", zorder: float = 4, gid: str | None = None
             ) -> None:
        """Draw a line."""
        where = np.asarray(points, float)
        self.ax.add_line(Line2D(*where.T, color=colour, linewidth=width, linestyle=style,
                                zorder=zorder, gid=gid))
        self.labels.ink_line(where, 0.7)

    def surface(self, x: FloatArray, finished: FloatArray, ground: FloatArray) -> None:
        """Draw the finished ground, and where it was another the ground as it is now, dashed."""
        self.line(np.stack([x, finished], 1), sy.INK, 1.3, zorder=5, gid="profile")
        differs = np.abs(finished - ground) > SAME
        differs[1:-1] |= differs[2:] | differs[:-2]
        on = np.flatnonzero(differs)
        for run in np.split(on, np.flatnonzero(np.diff(on) > 1) + 1):
            if len(run) > 1:
                self.ground(np.stack([x[run], ground[run]], 1))

    def ground(self, points: Sequence[tuple[float, float]] | FloatArray) -> None:
        """Draw the ground as it is now, dashed."""
        self.line(points, sy.SOFT_INK, 1.0, (0, (4, 2.5)), 5.5, "ground now")

    def across(self, x0: float, x1: float, z: float, words: str, above: bool = False) -> None:
        """Write a dimension that runs across."""
        self._dimension((x0, z), (x1, z))
        gap = 3.0 * self.point * (1 if above else -1)
        self.note((x0 + x1) / 2, z + gap, words, ha="center", va="bottom" if above else "top")

    def up(self, x: float, z0: float, z1: float, words: str, right: bool = True,
           at: float | None = None) -> None:
        """Write a dimension that runs up."""
        self._dimension((x, z0), (x, z1))
        gap = 4.0 * self.point * (1 if right else -1)
        if words:
            self.note(x + gap, (z0 + z1) / 2 if at is None else at, words,
                      ha="left" if right else "right")

    def _dimension(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.line([start, end], sy.SOFT_INK, 0.7, zorder=8)
        tick = 2.6 * self.point
        along = np.array(end) - np.array(start)
        norm = float(np.hypot(*along)) or 1.0
        side = np.array([-along[1], along[0]]) / norm * tick
        for at in (np.array(start), np.array(end)):
            self.line([tuple(at - side), tuple(at + side)], sy.SOFT_INK, 0.9, zorder=8)

    def note(self, x: float, z: float, words: str, colour: str = sy.INK, ha: str = "left",
             va: str = "center") -> None:
        """Write words at a place or, if that is taken, as near to it as there is room."""
        (wide, high), = self.labels.measured([Line(words, sy.SMALL_SIZE)])
        px, py = self.ax.transData.transform((x, z))
        x0 = px - {"left": 0.0, "center": 0.5, "right": 1.0}[ha] * wide
        y0 = py - {"bottom": 0.0, "center": 0.5, "top": 1.0}[va] * high
        if not self.labels.free(x0, y0, x0 + wide, y0 + high):
            self.labels.place([Line(words, sy.SMALL_SIZE, colour)], np.array([[x, z]]), 0.0,
                              "dimension", 64)
            return
        self.ax.text(x, z, words, ha=ha, va=va, fontsize=sy.SMALL_SIZE, color=colour, zorder=9,
                     path_effects=sy.halo(1.8), gid="dimension")
        self.labels.taken.append((x0 - 2, y0 - 1, x0 + wide + 2, y0 + high + 1))

    def slope(self, start: tuple[float, float], end: tuple[float, float], above: bool = True
              ) -> None:
        """Write the slope of a face, H:V; nothing on an upright one.

        It runs along the face where that is long enough and nothing lies there; else it stands
        near, and is led to a dot on the face.
        """
        (x0, z0), (x1, z1) = start, end
        if abs(z1 - z0) < 1e-9 or abs(x1 - x0) < 1e-9:
            return
        said = Line(f"{abs((x1 - x0) / (z1 - z0)):.3g}:1", sy.SMALL_SIZE, sy.SOFT_INK)
        if self._along(said, start, end, above):
            return
        middle = np.array([[(x0 + x1) / 2, (z0 + z1) / 2]])
        self.labels.place([said], middle, 0.0, "slope", 64, within=middle, lead_from=0.0)

    def _along(self, said: Line, start: tuple[float, float], end: tuple[float, float],
               above: bool) -> bool:
        """Write words along a face, above or below it; whether there was room."""
        (wide, high), = self.labels.measured([said])
        a, b = self.ax.transData.transform([min(start, end), max(start, end)])
        along = (b - a) / np.hypot(*(b - a))
        up = np.array([-along[1], along[0]]) * (1 if above else -1)
        if np.hypot(*(b - a)) < 1.3 * wide:
            return False
        middle = (a + b) / 2 + up * (high / 2 + 2.0 * self.labels.pixel)
        places = np.array([middle + along * wide * s + up * high * t
                           for s in np.linspace(-0.5, 0.5, 9) for t in (-0.4, 0.0, 0.4)])
        (x0, y0), (x1, y1) = places.min(0), places.max(0)
        if not self.labels.free(x0, y0, x1, y1) or self.labels.ink_at(places).any():
            return False
        x, z = self.ax.transData.inverted().transform(middle)
        self.ax.text(x, z, said.words, rotation=float(np.degrees(np.arctan2(along[1], along[0]))),
                     rotation_mode="anchor", ha="center", va="center", fontsize=said.size,
                     color=said.colour, zorder=9, path_effects=sy.halo(1.8), gid="slope")
        self.labels.taken.append((x0, y0, x1, y1))
        return True

    def levels(self, given: Sequence[Level], right: bool = True) -> None:
        """Write levels below each other beside the section, each with a line to its place."""
        if not given:
            return
        shown_at = sorted(given, key=lambda level: -level.z)
        wanted = [level.z for level in shown_at]
        lead, low = LEAD * self.point, self.ax.get_ylim()[0] + 7 * self.point
        high = self.ax.get_ylim()[1] - 7 * self.point
        places = spread(wanted, lead, low, high)
        side = 1 if right else -1
        edge = self.edges[1 if right else 0]
        column = edge + side * 16 * self.point
        for level, at in zip(shown_at, places, strict=True):
            self.ax.add_line(Line2D([level.x, edge + side * 4 * self.point, column],
                                    [level.z, level.z, at], color=level.colour, linewidth=0.5,
                                    alpha=0.8, zorder=6.5, gid="level"))
            self.labels.ink_line(np.array([[level.x, level.z], [edge, level.z]]), 0.8)
            text = self.ax.text(column + side * 2 * self.point, at, level.words,
                                ha="left" if right else "right", va="center",
                                fontsize=sy.SMALL_SIZE, color=level.colour, zorder=9,
                                gid="level words")
            self.labels.block(text.get_window_extent(self.labels.renderer), 1.0)

    def water_mark(self, x: float, z: float) -> None:
        """The mark of a water level."""
        size = 4.0 * self.point
        self.fill([(x, z), (x - size, z + 1.5 * size), (x + size, z + 1.5 * size)], sy.PAPER,
                  sy.WATER, 7)
        self.labels.ink(np.array([[x, z + size]]), 1.0, 3)

    def key(self, names: Sequence[str]) -> None:
        """Say in the line of the heading, on its right, what the tints stand for."""
        across, up = self.figure.get_size_inches()
        right = self._heading[0] + self.wide / 72
        y = self._heading[1]
        for name in reversed(names):
            words, face, edge, style = KEY[name]
            (wide, _), = self.labels.measured([Line(words, sy.SMALL_SIZE)])
            wide = wide / self.labels.pixel / 72
            self.figure.text((right - wide) / across, y / up, words, fontsize=sy.SMALL_SIZE,
                             color=sy.SOFT_INK, va="center", gid="key")
            left = right - wide - 0.24
            if face == "none":
                self.figure.add_artist(Line2D(
                    [left / across, (left + 0.19) / across], [y / up, y / up], color=edge,
                    linewidth=1.0 if name == "ground" else 2.6, linestyle=style,
                    transform=self.figure.transFigure))
            else:
                self.figure.add_artist(Rectangle(
                    (left / across, (y - 0.045) / up), 0.19 / across, 0.09 / up, facecolor=face,
                    edgecolor=edge, linewidth=0.7, transform=self.figure.transFigure))
            right = left - 0.12


def spread(wanted: Sequence[float], lead: float, low: float, high: float) -> list[float]:
    """Places from top to bottom, each `lead` or more below the last, near those wanted.

    They stay between `low` and `high` as far as there is room.
    """
    places: list[float] = []
    for value in wanted:
        top = places[-1] - lead if places else high
        places.append(min(value, top))
    # Half of what they were pushed down by goes back up, so that they stand about their middle.
    if places:
        pushed = sum(w - p for w, p in zip(wanted, places, strict=True)) / len(places)
        places = [place + max(min(pushed, high - places[0]), 0.0) for place in places]
        last = len(places) - 1  # only those too low go up, and those that they push
        places = [max(place, low + (last - i) * lead) for i, place in enumerate(places)]
    return places


__all__ = ["BANK", "CUT", "GROUND", "HEADING", "Level", "Section", "spread"]
