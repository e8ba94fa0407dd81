"""The front of a search: what is aimed at against what it costs, and what nothing can pass."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Labels, Line, shortened
from terrain.outputs.suggest.figures import aim_unit, aim_words, limit_unit, limit_words
from terrain.outputs.suggest.words import lead
from terrain.suggest.suggestion import Suggestion

FloatArray = NDArray[np.float64]

#: Size of the chart, its margins, and room above for the words. [in]
WIDE, HIGH, LEFT, RIGHT, TOP, BELOW = 11.0, 6.6, 1.2, 0.4, 1.3, 0.7
FOUND, BOUND, OWN = sy.WATER, sy.SOFT_INK, sy.EARTH
#: Points at which the band under the bound is drawn.
FINE = 600
DASHES: Any = (0, (4, 2.2))


@sy.styled
def draw_front(suggestion: Suggestion) -> Figure:
    """The front, with the proposals, its knee and the owner's own plan."""
    system = suggestion.site.units
    figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
    room = (WIDE - LEFT - RIGHT) * 72
    figure.text(LEFT / WIDE, 1 - 0.36 / HIGH, shortened(
        figure, f"{suggestion.site.name}: what more would bring", 16, room, "bold"),
        fontsize=16, fontweight="bold", va="center", gid="title")
    figure.text(LEFT / WIDE, 1 - 0.66 / HIGH, shortened(figure, lead(suggestion), sy.TEXT_SIZE,
                                                        room),
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="words")
    axes = figure.add_axes((LEFT / WIDE, BELOW / HIGH, (WIDE - LEFT - RIGHT) / WIDE,
                            (HIGH - TOP - BELOW) / HIGH))
    aim, of_aim = aim_unit(suggestion, system)
    limit, of_limit = limit_unit(suggestion, system)
    cost, model, top, bound = _lines(suggestion)
    _scale(axes, suggestion, of_limit, of_aim)
    at = np.linspace(top.min(), top.max(), FINE)
    # Up to each limit its own bound holds.
    over = bound[np.minimum(np.searchsorted(top, at), top.size - 1)]
    axes.fill_between(at * of_limit, over * of_aim, np.interp(at, cost, model) * of_aim,
                      color=sy.mixed(sy.PAPER, FOUND, 0.16), linewidth=0, gid="gap",
                      label="between them lies the best that these places allow")
    axes.plot(top * of_limit, bound * of_aim, color=BOUND, linewidth=0.9, linestyle=DASHES,
              drawstyle="steps-pre", gid="bound", label="no choice of these places passes this")
    axes.plot(cost * of_limit, model * of_aim, color=FOUND, linewidth=1.9, marker="o",
              markersize=5, gid="found", label="best layouts found, by the model")
    real = [(p.cost, p.real) for p in suggestion.front if p.real is not None]
    if real:
        x, y = np.array(real).T
        axes.plot(x * of_limit, y * of_aim, linestyle="none", marker="s", markersize=5.5,
                  markerfacecolor=sy.PAPER, markeredgecolor=FOUND, markeredgewidth=1.3,
                  zorder=4, gid="real", label="the same by the runs of the plan")
    own = suggestion.own
    if own is not None:
        axes.plot([own.cost * of_limit], [own.model * of_aim], linestyle="none", marker="D",
                  markersize=8, markerfacecolor=OWN, markeredgecolor=sy.PAPER, zorder=6,
                  gid="own", label="the site file's own works, by the model")
    if suggestion.knee is not None:
        knee = suggestion.front[suggestion.knee]
        axes.plot([knee.cost * of_limit], [knee.model * of_aim], linestyle="none", marker="o",
                  markersize=14, markerfacecolor="none", markeredgecolor=sy.SHED,
                  markeredgewidth=1.5, zorder=5, gid="knee",
                  label="the knee: furthest over the straight line")
    what = suggestion.aim.what
    axes.set_xlabel(f"{_against(suggestion)}, {limit}", fontsize=sy.TEXT_SIZE)
    axes.set_ylabel(f"{what[0].upper()}{what[1:]}, {aim}" if len(what) < 48 else aim,
                    fontsize=sy.TEXT_SIZE)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="upper left", ncols=3, frameon=False,
                  fontsize=sy.SMALL_SIZE, borderaxespad=0.0, borderpad=0.0, columnspacing=1.8,
                  bbox_to_anchor=(LEFT / WIDE, 1 - 0.83 / HIGH))
    _names(axes, suggestion, of_limit, of_aim, system)
    return figure


def _against(suggestion: Suggestion) -> str:
    return {"money": "Cost", "hours": "Hours of the machine",
            "earth": "Earth dug"}[suggestion.aim.limit]


def _lines(suggestion: Suggestion) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The front from what stands on: cost and aim by the model, limit and what bounds the aim."""
    front = sorted(suggestion.front, key=lambda p: (p.cost, p.model))
    bounds = sorted(suggestion.front, key=lambda p: (p.limit, p.bound))
    return (np.array([p.cost for p in front]), np.array([p.model for p in front]),
            np.array([p.limit for p in bounds]), np.array([p.bound for p in bounds]))


def _scale(axes: Axes, suggestion: Suggestion, of_limit: float, of_aim: float) -> None:
    """Axes that begin at nothing where that is near, and leave room for names."""
    x = [v for p in suggestion.front for v in (p.limit, p.cost)]
    y = [v for p in suggestion.front for v in (p.model, p.bound, p.real) if v is not None]
    if suggestion.own is not None:
        x.append(suggestion.own.cost)
        y.append(suggestion.own.model)
    right = max([*x, 1e-9]) * of_limit
    low, high = min(y or [0.0]) * of_aim, max([*y, 1e-9]) * of_aim
    low = 0.0 if 0 <= low < 0.6 * high else low
    reach = max(high - low, 1e-9)
    axes.set_xlim(0, right * 1.06)
    axes.set_ylim(low - (0.04 * reach if low else 0.0), high + 0.1 * reach)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    whole = suggestion.aim.dimension is None
    axes.set_xticks([t for t in MaxNLocator(8).tick_values(left, right) if left <= t <= right])
    axes.set_yticks([t for t in MaxNLocator(6, integer=whole).tick_values(low, high)
                     if low <= t <= high])
    axes.grid(axis="y", color=sy.mixed(sy.PAPER, sy.FAINT_INK, 0.35), linewidth=0.6)
    axes.tick_params(length=3, pad=3, labelsize=sy.SMALL_SIZE)
    axes.spines[["top", "right"]].set_visible(False)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda v, _: f"{v:,.10g}")


def _names(axes: Axes, suggestion: Suggestion, of_limit: float, of_aim: float, system: str
           ) -> None:
    """Name the proposals and the owner's plan where nothing is in the way."""
    labels = Labels(axes)
    for line in axes.get_lines():
        if line.get_gid() in ("real", "own", "knee", "found"):
            _keep_off(labels, line)
        points = np.column_stack([np.asarray(line.get_xdata(), float),
                                  np.asarray(line.get_ydata(), float)])
        if line.get_drawstyle() == "steps-pre":  # up at each limit, then on to the next
            points = np.column_stack([np.repeat(points[:, 0], 2)[:-1],
                                      np.repeat(points[:, 1], 2)[1:]])
        if line.get_gid() in ("found", "bound") and len(points) > 1:
            labels.ink_line(points, 1.0, 1)
    named = [(p.name.capitalize(), p.cost, p.model, p.works) for p in suggestion.front if p.name]
    for name, cost, model, works in named:
        labels.place([Line(name, sy.LABEL_SIZE, FOUND, "bold"),
                      Line(f"{works} work{'' if works == 1 else 's'}, {_brief(cost, suggestion)}",
                           sy.SMALL_SIZE, FOUND),
                      Line(aim_words(model, suggestion, system), sy.SMALL_SIZE, FOUND)],
                     np.array([[cost * of_limit, model * of_aim]]), 7.0, "proposal label")
    own = suggestion.own
    if own is not None:
        labels.place([Line("own works", sy.LABEL_SIZE, OWN, "bold"),
                      Line(aim_words(own.model, suggestion, system), sy.SMALL_SIZE, OWN)],
                     np.array([[own.cost * of_limit, own.model * of_aim]]), 6.0, "own label")


def _brief(cost: float, suggestion: Suggestion) -> str:
    return limit_words(cost, suggestion, suggestion.site.units).removesuffix(" of the machine")


def _keep_off(labels: Labels, line: Line2D) -> None:
    """Keep lettering off the markers of a line, lettering of what they mark beside them."""
    reach = (float(line.get_markersize()) / 2 + 1.0) * labels.pixel
    for x, y in labels.ax.transData.transform(line.get_xydata()):
        labels.block(Bbox.from_extents(x - reach, y - reach, x + reach, y + reach))
