"""The frame of every long profile: chainage across, heights drawn out, and what each line is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import ArrayLike

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Labels, Line
from terrain.outputs.sheets.sections import spread
from terrain.units import printed

#: Look of each line: colour, width, style, order.
LINES: dict[str, tuple[str, float, Any, float]] = {
    "ground": (sy.SOFT_INK, 1.1, (0, (4, 2)), 5),
    "bed": (sy.INK, 1.2, "-", 4),
    "level": (sy.WATER, 1.4, "-", 4),
    "peak": (sy.WATER, 0.9, (0, (1.5, 1.5)), 4.2),
    "built": (sy.EARTH, 1.4, "-", 3),
    "settled": (sy.EARTH, 0.9, (0, (3, 2)), 3.2),
    "lip": (sy.EARTH, 1.3, "-", 3.4),
    "trench": (sy.SOFT_INK, 1.0, (0, (1, 1.5)), 3.1)}
#: Room for heading and key above, for chainage below, for levels on the left. [in]
ABOVE, BELOW, BESIDE = 0.42, 0.25, 0.98


class LongProfile:
    """A long profile on a figure; what is given in m is printed in the person's units."""

    def __init__(self, figure: Figure, left: float, bottom: float, wide: float, high: float,
                 length: float, lowest: float, highest: float, system: str,
                 beside: float = BESIDE, before: float = 0.0, after: float = 0.0) -> None:
        """Place it on a figure, with room beside it for levels [in]; it shows `length` m between
        two levels, and so much `before` and `after` it [m]."""
        self.figure, self.left, self.top, self.wide = figure, left, bottom + high, wide
        self.across, self.up = figure.get_size_inches()
        self.unit, self.factor, _ = printed("level", system)
        self.length = length * self.factor
        self.west, self.east = -before * self.factor, (length + after) * self.factor
        inner, tall = wide - beside - 0.3, high - ABOVE - BELOW
        self.ax = figure.add_axes(((left + beside) / self.across, (bottom + BELOW) / self.up,
                                   inner / self.across, tall / self.up))
        drop = max((highest - lowest) * self.factor, 1e-3)
        low, top = lowest * self.factor - 0.1 * drop, highest * self.factor + 0.12 * drop
        self.ax.set_xlim(self.west, self.east)
        self.ax.set_ylim(low, top)
        self.ax.set_autoscale_on(False)
        self.times = ((self.east - self.west) / inner) / ((top - low) / tall)
        self.point = (top - low) / (tall * 72)
        for spine in ("top", "right"):
            self.ax.spines[spine].set_visible(False)

    def head(self, words: str, lines: Sequence[tuple[str, str]]) -> None:
        """Write its heading, and what each of its lines is."""
        times = f"heights × {self.times:.0f}" if self.times >= 1.5 else (
            f"heights × {self.times:.1f}" if abs(self.times - 1) > 0.05 else "same scale both ways")
        self.figure.text(self.left / self.across, (self.top - 0.08) / self.up,
                         f"{words}; {times}", fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK,
                         va="center", gid="head")
        y, x = (self.top - 0.26) / self.up, self.left
        labels = Labels(self.ax)
        said_wide = sum(size[0] for size in labels.measured(
            [Line(said, sy.SMALL_SIZE) for _, said in lines])) / labels.pixel / 72
        # Samples and gaps are as long as the words leave room for.
        close = min((self.wide - said_wide) / (0.53 * len(lines)), 1.0)
        for name, said in lines:
            colour, width, style, _ = LINES[name]
            self.figure.add_artist(Line2D([x / self.across, (x + 0.28 * close) / self.across],
                                          [y, y],
                                          color=colour, linewidth=width, linestyle=style,
                                          transform=self.figure.transFigure))
            self.figure.text((x + 0.33 * close) / self.across, y, said, fontsize=sy.SMALL_SIZE,
                             color=sy.SOFT_INK, va="center", gid="key")
            (wide, _), = labels.measured([Line(said, sy.SMALL_SIZE)])
            x += 0.53 * close + wide / labels.pixel / 72

    def line(self, name: str, at: ArrayLike, level: ArrayLike, gid: str | None = None) -> None:
        """Draw one of `LINES`. [m]"""
        colour, width, style, order = LINES[name]
        self.ax.plot(np.asarray(at, float) * self.factor, np.asarray(level, float) * self.factor,
                     color=colour, linewidth=width, linestyle=style, zorder=order,
                     gid=gid or name, clip_on=name != "level")

    def band(self, at: ArrayLike, low: ArrayLike, high: ArrayLike, colour: str,
             alpha: float = 1.0) -> None:
        """Tint what lies between two lines. [m]"""
        self.ax.fill_between(np.asarray(at, float) * self.factor,
                             np.asarray(low, float) * self.factor,
                             np.asarray(high, float) * self.factor, color=colour, linewidth=0,
                             zorder=1, alpha=alpha)

    def shape(self, at: Sequence[float], level: Sequence[float], colour: str, gid: str) -> None:
        """Fill a shape. [m]"""
        self.ax.fill(np.array(at) * self.factor, np.array(level) * self.factor, color=colour,
                     zorder=2, gid=gid)

    def mark(self, first: float, last: float, level: float, gid: str) -> None:
        """Mark a stretch to beware of. [m]"""
        self.ax.plot([first * self.factor, last * self.factor], [level * self.factor] * 2,
                     color=sy.SHED, linewidth=4, solid_capstyle="round", zorder=5, gid=gid)

    def pin(self, at: float, level: float, words: str) -> None:
        """Mark a place on it, and write what it is above. [m]"""
        x, y = at * self.factor, level * self.factor
        self.ax.plot([x], [y], "o", markersize=5, markerfacecolor=sy.PAPER,
                     markeredgecolor=sy.WATER, markeredgewidth=1.2, zorder=6,
                     gid="pin", clip_on=False)
        right = x < 0.5 * self.length
        point = self.length / (self.ax.get_window_extent().width / self.figure.dpi * 72)
        self.ax.text(x + (6 if right else -6) * point, y + 8 * self.point, words,
                     ha="left" if right else "right", va="center", fontsize=sy.SMALL_SIZE,
                     color=sy.WATER, path_effects=sy.halo(1.8), zorder=7, gid="pin words")

    def levels(self, named: Sequence[tuple[str, float]], right: bool = False) -> None:
        """Write levels beside it, none over another; beside its end on the right. [m]"""
        ordered = sorted(named, key=lambda pair: -pair[1])
        low, high = self.ax.get_ylim()
        wanted = [value * self.factor for _, value in ordered]
        places = spread(wanted, 10.5 * self.point, low - 2 * self.point, high + 4 * self.point)
        self.ax.set_yticks([])
        edge, step = (self.east, 1) if right else (self.west, -1)
        point = (self.east - self.west) / (self.ax.get_window_extent().width / self.figure.dpi * 72)
        for (name, _), at, place in zip(ordered, wanted, places, strict=True):
            self.ax.add_line(Line2D([edge, edge + step * 3 * point, edge + step * 9 * point],
                                    [at, at, place], color=sy.SOFT_INK, linewidth=0.5,
                                    clip_on=False))
            self.ax.text(edge + step * 11 * point, place, f"{name} {at:,.2f}".strip(),
                         fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK,
                         ha="left" if right else "right", va="center", gid="level words")

    def chainage(self) -> None:
        """Write the chainage below it."""
        step = round_step(self.length / 8)
        ticks = [t for t in np.arange(0.0, self.length, step) if self.length - t > 0.5 * step]
        self.ax.set_xticks([*ticks, self.length])
        self.ax.set_xticklabels([*(f"{t:g}" for t in ticks), f"{self.length:.1f} {self.unit}"],
                                fontsize=sy.SMALL_SIZE)
        self.ax.tick_params(length=3, pad=3)


def round_step(wanted: float) -> float:
    """The smallest of 1, 2 and 5 times a power of ten that is no less."""
    scale = 10 ** np.floor(np.log10(max(wanted, 1e-6)))
    return float(next(m * scale for m in (1, 2, 5, 10) if m * scale >= wanted * (1 - 1e-9)))
