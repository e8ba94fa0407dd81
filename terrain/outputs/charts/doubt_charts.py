"""The chart of how sure the plan is: each headline's range, and the range of each doubt alone."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from terrain.errors import InputError
from terrain.outputs.charts.doubt_words import NAMES, figure, periods, span
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.plan.doubt.doubt_found import Headline
from terrain.plan.planned import Plan

#: Width of every chart, and the height of a headline's row and of what stands above. [in]
WIDE, ROW, ABOVE = 11.0, 1.32, 1.35
#: Room for names left of the panels [in], and the space between them as a share of the width.
NAMED, APART = 1.86, 0.035
COLOURS = {"passive": sy.PASSIVE, "roof": sy.ROOF_WATER, "left site": sy.SOFT_INK,
           "share kept": sy.TREE}
DOUBTS = ("curve number", "infiltration", "rain", "elevation")


@sy.styled
def draw_doubt(plan: Plan) -> Figure:
    """Ranges as bands: all doubts together thick, each alone thin below; the plan as a diamond.

    Raises
    ------
    InputError
        If the plan was not doubted.
    """
    if plan.doubt is None:
        raise InputError(str(plan.site.path), "the plan was not run with doubt",
                         "Ask for it, such as --doubt 1000")
    high = ranges_high(plan)
    figure_ = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    figure_.text(0.03, 1 - 0.32 / high, "How sure is this?", fontsize=16, fontweight="bold",
                 va="center", gid="title")
    draw_ranges(figure_, 0.33, high, WIDE - 0.66, plan)
    return figure_


def ranges_high(plan: Plan) -> float:
    """Height of `draw_ranges`. [in]"""
    assert plan.doubt is not None
    return ABOVE + ROW * len(next(iter(periods(plan.doubt)))[1]) + 0.2


def draw_ranges(figure_: Figure, left: float, top: float, wide: float, plan: Plan,
                squeeze: float = 1.0) -> None:
    """Draw the ranges into a place on a figure, its left edge and its top; rows lower by a share
    of their height where room is short. [in], [-]"""
    assert plan.doubt is not None
    told, system = list(periods(plan.doubt)), plan.site.units
    rows, row_high = list(told[0][1]), ROW * squeeze
    across, up = figure_.get_size_inches()
    words = "bands hold 8 runs in 10; thick: all doubts together; thin: each alone; line: the " \
            "middle run; diamond: the plan; each row from 0"
    figure_.text((left + wide) / across, (top - 0.55) / up, words, ha="right",
                 fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, va="center", gid="note")
    start = left + NAMED
    each = (wide - NAMED - APART * WIDE * (len(told) - 1)) / len(told)
    for column, (when, headlines) in enumerate(told):
        at = start + column * (each + APART * WIDE)
        figure_.text(at / across, (top - 0.92) / up, shortened(
            figure_, when[0].upper() + when[1:], sy.HEAD_SIZE, each * 72, "bold"),
                     fontsize=sy.HEAD_SIZE, fontweight="bold", va="center", gid="head")
        for row, name in enumerate(rows):
            bottom = top - ABOVE - row_high * (row + 1) + 0.22 * squeeze
            ax = figure_.add_axes((at / across, bottom / up, each / across,
                                   (row_high - 0.22 * squeeze) / up))
            _draw(ax, headlines[name], system)
            if column == 0:
                _name(ax, name)


def _draw(ax: Axes, headline: Headline, system: str) -> None:
    """One headline of one period, on a scale of its own from 0."""
    name, found = headline.name, headline.together
    colour = COLOURS[name]
    ends = [found.high, found.plan or 0.0, *(one.high for one in headline.alone.values())]
    most = max([*ends, 1e-12]) * 1.04
    ax.set_xlim(0, most)
    ax.set_ylim(0, 1)
    least = most / 160  # a range of nothing shows still

    def band(low: float, high: float, middle: float, at: float, height: float,
             share: float) -> None:
        width = max(high - low, least)
        ax.barh(at, width, left=low - (width - (high - low)) / 2, height=height,
                color=sy.mixed(sy.PAPER, colour, share), gid="band")
        if high - low > 4 * least:
            ax.plot([middle, middle], [at - height / 2, at + height / 2], color=sy.PAPER,
                    linewidth=1.3, solid_capstyle="butt", gid="median")

    band(found.low, found.high, found.median, 0.64, 0.2, 0.85)
    for number, doubt in enumerate(DOUBTS):
        if doubt in headline.alone:
            one = headline.alone[doubt]
            band(one.low, one.high, one.median, 0.44 - 0.115 * number, 0.065, 0.5)
    if found.plan is not None:
        ax.plot(found.plan, 0.64, marker="D", markersize=6.0, markerfacecolor=sy.PAPER,
                markeredgecolor=sy.INK, markeredgewidth=1.3, clip_on=False, zorder=5, gid="plan")
    ax.text(0.025, 0.98, span(found, name, system), transform=ax.transAxes, va="top",
            fontsize=sy.LABEL_SIZE, fontweight="bold", color=colour, gid="range")
    ax.text(1, 0.98, f"plan {figure(found.plan, name, system)}", transform=ax.transAxes, va="top",
            ha="right", fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, gid="plan words")
    ax.set_yticks([])
    ax.set_xticks([])
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.spines["left"].set_color(sy.FAINT_INK)


def _name(ax: Axes, name: str) -> None:
    """The headline's name and those of the doubts, left of a row."""
    said = NAMES[name]
    words = [(0.64, said[0].upper() + said[1:], sy.TEXT_SIZE, "bold", COLOURS[name]),
             *((0.435 - 0.115 * number, doubt, 7.5, "normal", sy.SOFT_INK)
               for number, doubt in enumerate(DOUBTS))]
    for at, one, size, weight, colour in words:
        ax.annotate(one, (0, at), (-7, 0), xycoords="axes fraction", textcoords="offset points",
                    ha="right", va="center", fontsize=size, fontweight=weight, color=colour,
                    gid="row")
