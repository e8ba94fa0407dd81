"""Charts of one work: what it holds at each level, what it keeps of each rain, its year."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.outputs.charts.year_panels import last_days
from terrain.outputs.drawing import symbols as sy
from terrain.plan.planned import Plan
from terrain.units import PRINTED, printed, shown, unit_name

FloatArray = NDArray[np.float64]
#: Room above a chart for its heading and below it for figures; beside it for levels. [in]
ABOVE, BELOW, BESIDE = 0.42, 0.36, 0.72


def place(figure: Figure, left: float, bottom: float, wide: float, high: float, words: str,
          note: str = "") -> Axes:
    """An axes with its heading in a place on a figure. [in]"""
    across, up = figure.get_size_inches()
    figure.text(left / across, (bottom + high - 0.08) / up, words, fontsize=sy.TEXT_SIZE,
                fontweight="bold", va="center", gid="head")
    if note:
        figure.text(left / across, (bottom + high - 0.25) / up, note, fontsize=7.6,
                    color=sy.SOFT_INK, va="center", gid="note")
    ax = figure.add_axes(((left + BESIDE) / across, (bottom + BELOW) / up,
                          (wide - BESIDE - 0.12) / across, (high - ABOVE - BELOW) / up))
    ax.tick_params(length=3, pad=3, labelsize=7.6)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    return ax


def draw_storage(figure: Figure, left: float, bottom: float, wide: float, high: float,
                 plan: Plan, members: Sequence[int]) -> None:
    """Volume at each level up to the sill; of several tree basins together, below their sills."""
    system = plan.site.units
    stores = [plan.stores[i].store for i in members]
    stretch, factor = (printed(what, system)[1] for what in ("level", "volume"))
    one = len(stores) == 1
    ax = place(figure, left, bottom, wide, high, "Holds at each level",
               f"{unit_name('level', system)}" + ("" if one else ", below their sills"))
    depth = max(s.curve.levels[-1] - s.curve.levels[0] for s in stores)
    below = np.linspace(-depth, 0.0, 60)
    volume = np.sum([np.interp(s.curve.levels[-1] + below, s.curve.levels, s.curve.volumes)
                     for s in stores], axis=0)
    top = float(stores[0].curve.levels[-1]) if one else 0.0
    levels = (top + below) * stretch
    ax.fill_betweenx(levels, 0, volume * factor, color=sy.POOL, alpha=0.6, linewidth=0)
    ax.plot(volume * factor, levels, color=sy.WATER, linewidth=1.6, gid="stage")
    most = max(float(volume[-1]) * factor, 1e-9)
    ax.set_xlim(0, most * 1.04)
    ax.set_ylim(levels[0], levels[-1] + 0.05 * (levels[-1] - levels[0]))
    ax.set_xticks([0, most / 2, most])
    ax.set_xticklabels(["0", sy.brief(most / 2 / factor, "volume", system, most / factor),
                        sy.brief(most / factor, "volume", system)])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([levels[0], (levels[0] + levels[-1]) / 2, levels[-1]])
    ax.set_yticklabels([f"{v:,.2f}" for v in (levels[0], (levels[0] + levels[-1]) / 2,
                                              levels[-1])])


def draw_capture(figure: Figure, left: float, bottom: float, wide: float, high: float,
                 plan: Plan, members: Sequence[int]) -> None:
    """What comes to a work and what it keeps, by how deep it rains."""
    if plan.told is None:
        return
    system, capture = plan.site.units, plan.told.capture
    parts = [capture.stores[i] for i in members]
    depth, factor = (PRINTED[what][system == "us"][1] for what in ("rain", "volume"))
    rain = capture.rain * depth
    kept = np.sum([part.caught for part in parts], axis=0) * factor
    ax = place(figure, left, bottom, wide, high, "Keeps, by how deep it rains",
               f"{plan.site.rain.design.duration:g} h storms; ring: first water, dot: full")
    ax.fill_between(rain, 0, kept, color=sy.mixed(sy.PAPER, sy.POOL, 0.55), linewidth=0)
    ax.plot(rain, kept, color=sy.WATER, linewidth=1.6, gid="kept")
    starts = [part.begins for part in parts if part.begins is not None]
    full = [part.full for part in parts]
    last = None if any(f is None for f in full) else max(f for f in full if f is not None)
    for at, face in ((min(starts, default=None), sy.PAPER), (last, sy.WATER)):
        if at is not None and at * depth <= rain[-1]:
            ax.plot([at * depth], [np.interp(at * depth, rain, kept)], "o", markersize=5,
                    markerfacecolor=face, markeredgecolor=sy.WATER, clip_on=False, zorder=5,
                    gid="mark")
    most = max(float(kept.max()), 1e-9)
    ax.set_xlim(0, rain[-1])
    ax.set_ylim(0, 1.08 * most)
    ax.set_xticks([0, rain[-1] / 2, rain[-1]])
    ax.set_xticklabels(["0", shown(rain[-1] / depth / 2, "rain", system),
                        shown(rain[-1] / depth, "rain", system)])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([0, most])
    ax.set_yticklabels(["0", sy.brief(most / factor, "volume", system)])


def draw_levels(figure: Figure, left: float, bottom: float, wide: float, high: float,
                plan: Plan, members: Sequence[int]) -> None:
    """How full a work stood at most on each day of the record's last years: several tree basins
    each at its own most, together."""
    seasons = plan.seasons
    if seasons is None:
        return
    days = last_days(seasons)
    held = np.sum([seasons.stores[i].highest for i in members], axis=0)[-len(days):]
    share = 100 * held / max(sum(plan.stores[i].store.capacity for i in members), 1e-9)
    ax = place(figure, left, bottom, wide, high, "How full",
               "the most on each day of the record's last years")
    at = np.arange(len(days))
    ax.fill_between(at, 0, share, color=sy.PASSIVE, linewidth=0.3, gid="held")
    ax.set_ylim(0, 104)
    ax.set_xlim(0, max(len(days) - 1, 1))
    ax.set_yticks([0, 50, 100])
    ax.set_yticklabels(["0", "50", "100 %"])
    starts = [i for i, day in enumerate(days) if day.day == 1 and day.month == 1]
    ax.set_xticks(starts)
    ax.set_xticklabels([str(days[i].year) for i in starts])
