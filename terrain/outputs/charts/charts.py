"""Charts: what each storm leaves on the property, and the water of a year."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.plan.planned import Plan
from terrain.plan.water.water_balance import SeasonRun
from terrain.units import PRINTED, shown

FloatArray = NDArray[np.float64]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: So many tanks get a line of their own; the largest, in the site file's order.
MOST_TANKS = 5
#: Years at the end of the record whose tank levels are drawn.
TANK_YEARS = 3
#: Capture and what left share one scale until one is so many times the other.
SAME_SCALE = 4.0
#: Width of every chart. [in]
WIDE = 11.0


@sy.styled
def draw_storm_bars(plan: Plan) -> Figure:
    """Bars for every storm: kept in the ground beside kept in tanks, and what left the site."""
    system = plan.site.units
    storms = plan.site.rain.storms
    accounts = [plan.storms[storm.name] for storm in storms]
    count = len(storms)
    high = 1.5 + 0.72 * count
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    kept = figure.add_axes((0.19, 0.3 / high, 0.38, 0.72 * count / high))
    left = figure.add_axes((0.62, 0.3 / high, 0.34, 0.72 * count / high))
    factor = PRINTED["volume"][system == "us"][1]
    passive, roof, gone = (np.array([getattr(a, key) for a in accounts]) * factor
                           for key in ("passive", "roof", "left_site"))
    rows = np.arange(count, dtype=float)
    for values, offset, colour, gid in ((passive, -0.19, sy.PASSIVE, "passive"),
                                        (roof, 0.19, sy.ROOF_WATER, "roof")):
        kept.barh(rows + offset, values, height=0.34, color=colour)
        _name_bars(kept, values, rows + offset, system, gid, colour)
    left.barh(rows, gone, height=0.5, color=sy.LEFT)
    _name_bars(left, gone, rows, system, "left", sy.SOFT_INK)
    most_kept = float(max(passive.max(initial=0), roof.max(initial=0), 1e-9))
    most_left = float(max(gone.max(initial=0), 1e-9))
    same = most_kept / SAME_SCALE <= most_left <= most_kept * SAME_SCALE
    reach_kept, reach_left = most_kept * 1.28, most_left * 1.28
    if same:  # a length of paper is the same volume in both
        most = max(reach_kept / 0.38, reach_left / 0.34)
        reach_kept, reach_left = most * 0.38, most * 0.34
    for ax, reach in ((kept, reach_kept), (left, reach_left)):
        ax.set_xlim(0, reach)
        _bare_rows(ax, count)
    for row, storm in zip(rows, storms, strict=True):
        kept.text(-0.03, row - 0.13, shortened(figure, storm.name, sy.LABEL_SIZE, 130),
                  transform=kept.get_yaxis_transform(), ha="right", va="center",
                  fontsize=sy.LABEL_SIZE, gid="row")
        kept.text(-0.03, row + 0.22, f"{sy.plain(storm.depth, 'rain', system)} over "
                  f"{storm.duration:g} h", transform=kept.get_yaxis_transform(), ha="right",
                  va="center", fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, gid="row")
    figure.text(0.03, 1 - 0.28 / high, "Each storm", fontsize=16, fontweight="bold",
                va="center", gid="title")
    _words(figure, 0.19, 1 - 0.84 / high, [("Passive capture", sy.PASSIVE),
                                           (" in the ground, beside ", sy.SOFT_INK),
                                           ("roof capture", sy.ROOF_WATER)])
    _words(figure, 0.62, 1 - 0.84 / high, [("Left the site", sy.SOFT_INK)])
    if not same:
        figure.text(0.62, 1 - 1.07 / high, _other_scale(reach_kept / 0.38, reach_left / 0.34),
                    fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, va="center", gid="note")
    return figure


def _other_scale(kept: float, left: float) -> str:
    """How the two scales of paper differ."""
    if left > kept:
        return f"drawn {left / kept:.0f} times smaller than the bars on the left"
    return f"drawn {kept / left:.0f} times larger than the bars on the left"


@sy.styled
def draw_year(plan: Plan) -> Figure:
    """Months of an average year, and the tanks over the record's last years.

    Raises
    ------
    InputError
        If the plan has no daily rain record.
    """
    if plan.seasons is None:
        raise InputError(plan.site.where("rain"), "there is no daily rain record to draw a year of",
                         "Name one under rain, daily")
    seasons, system = plan.seasons, plan.site.units
    tanks = tanks_of(plan)
    tall = 0.0 if not tanks else 0.75 + 0.82 * len(tanks)
    high = 6.0 + tall
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    figure.text(0.05, 1 - 0.32 / high, "An average year", fontsize=16, fontweight="bold",
                va="center", gid="title")
    figure.text(0.95, 1 - 0.32 / high,
                f"{seasons.years:.0f} years of daily rain, {seasons.days[0].year} to "
                f"{seasons.days[-1].year}", fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, ha="right",
                va="center", gid="note")
    rain = monthly(seasons, seasons.rain_mm) * PRINTED["rain"][system == "us"][1]
    top = figure.add_axes((0.05, 1 - 2.3 / high, 0.9, 1.3 / high))
    months = np.arange(12, dtype=float)
    top.bar(months, rain, width=0.62, color=sy.RAIN)
    places = 0 if system == "metric" else 1
    _name_columns(top, months, rain, [f"{value:.{places}f}" for value in rain], sy.SOFT_INK)
    _bare_columns(top)
    total = seasons.mean(seasons.rain_mm)
    _words(figure, 0.05, 1 - 0.82 / high,
           [("Rain", sy.mixed(sy.RAIN, sy.INK, 0.45)),
            (f"   {shown(total, 'rain', system, 0 if system == 'metric' else 1)} a year",
             sy.SOFT_INK)])
    passive, roof = captures(plan)
    middle = figure.add_axes((0.05, 1 - 5.35 / high, 0.9, 2.15 / high))
    factor = PRINTED["volume"][system == "us"][1]
    for values, offset, colour in ((passive, -0.2, sy.PASSIVE), (roof, 0.2, sy.ROOF_WATER)):
        middle.bar(months + offset, values * factor, width=0.36, color=colour)
        _name_columns(middle, months + offset, values * factor,
                      [_short(v, system) for v in values], colour)
    _bare_columns(middle)
    _words(figure, 0.05, 1 - 2.95 / high, [
        ("Passive capture", sy.PASSIVE),
        (f" in the ground   {sy.brief(float(passive.sum()), 'volume', system)} a year        ",
         sy.SOFT_INK),
        ("Roof capture", sy.ROOF_WATER),
        (f" in tanks   {sy.brief(float(roof.sum()), 'volume', system)} a year", sy.SOFT_INK)])
    if tanks:
        _draw_tanks(figure, plan, seasons, tanks, high)
    return figure


def tanks_of(plan: Plan) -> list[int]:
    """Indices of the tanks whose levels are drawn: the largest, in the site file's order."""
    every = [i for i, s in enumerate(plan.stores) if s.placed.kind == "tank"]
    largest = sorted(every, key=lambda i: (-plan.stores[i].store.capacity, i))[:MOST_TANKS]
    return sorted(largest)


def monthly(seasons: SeasonRun, daily: FloatArray) -> FloatArray:
    """Sums of a daily series by month of the year, for an average year; twelve values."""
    return np.bincount(np.asarray(seasons.days.month) - 1, weights=daily * seasons.weights,
                       minlength=12).astype(np.float64)


def captures(plan: Plan) -> tuple[FloatArray, FloatArray]:
    """Passive and roof capture of each month of an average year. [m3]

    Raises
    ------
    ValueError
        If the plan has no seasons.
    """
    if plan.seasons is None:
        raise ValueError("the plan has no rain record")
    passive, roof = np.zeros(12), np.zeros(12)
    for planned, part in zip(plan.stores, plan.seasons.stores, strict=True):
        caught = monthly(plan.seasons, part.captured)
        if planned.placed.kind == "tank":
            roof += caught
        else:
            passive += caught
    return passive, roof


def _draw_tanks(figure: Figure, plan: Plan, seasons: SeasonRun, tanks: list[int], high: float
                ) -> None:
    system = plan.site.units
    first = max(len(seasons.days) - round(TANK_YEARS * 365.25), 0)
    days = seasons.days[first:]
    at = np.arange(len(days))
    _words(figure, 0.05, 1 - 6.08 / high, [
        ("In the tanks", sy.TANK),
        (f"   over the record's last {TANK_YEARS} years; the line is a full tank", sy.SOFT_INK)]
        if first else [("In the tanks", sy.TANK),
                       ("   over the record; the line is a full tank", sy.SOFT_INK)])
    starts = [i for i, day in enumerate(days) if day.day == 1 and day.month in (1, 7)]
    for row, index in enumerate(tanks):
        planned = plan.stores[index]
        full = planned.store.capacity
        held = seasons.stores[index].held[first:]
        ax = figure.add_axes((0.19, 1 - (6.85 + 0.82 * row) / high, 0.62, 0.58 / high))
        ax.fill_between(at, 0, held / full, color=sy.ROOF_WATER, alpha=0.75, linewidth=0)
        ax.axhline(1.0, color=sy.SOFT_INK, linewidth=0.8)
        ax.set_xlim(0, max(len(days) - 1, 1))
        ax.set_ylim(0, 1.08)
        ax.set_yticks([])
        last = row == len(tanks) - 1
        ax.set_xticks(starts)
        ax.set_xticklabels([f"{MONTHS[days[i].month - 1]} {days[i].year}" for i in starts]
                           if last else [])
        ax.tick_params(length=3 if last else 0, pad=3)
        for side in ("top", "right", "left"):
            ax.spines[side].set_visible(False)
        ax.text(-0.02, 0.68, shortened(figure, planned.store.name, sy.LABEL_SIZE, 128),
                transform=ax.transAxes, ha="right", va="center",
                fontsize=sy.LABEL_SIZE, color=sy.TANK, gid="row")
        ax.text(-0.02, 0.26, sy.brief(full, "volume", system), transform=ax.transAxes, ha="right",
                va="center", fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, gid="row")
        dry = float((held < 0.01 * full).mean())
        said = f"empty {100 * dry:.0f} % of days" if dry else "never empty"
        ax.text(1.02, 0.5, said, transform=ax.transAxes, ha="left",
                va="center", fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, gid="row")


def _short(volume: float, system: str) -> str:
    """A volume for the head of a narrow column."""
    value = volume * PRINTED["volume"][system == "us"][1]
    if value >= 9950:
        return f"{value / 1000:,.0f}k"
    if value >= 1000 and system == "us":
        return f"{value / 1000:,.1f}k"
    return f"{value:,.0f}" if value >= 0.5 or value == 0 else f"{value:.1f}"


def _name_bars(ax: Axes, values: FloatArray, rows: FloatArray, system: str, gid: str,
               colour: str) -> None:
    factor = PRINTED["volume"][system == "us"][1]
    for value, row in zip(values, rows, strict=True):
        ax.annotate(sy.brief(float(value) / factor, "volume", system), (value, row), (5, 0),
                    textcoords="offset points", va="center", fontsize=sy.TEXT_SIZE,
                    color=colour, gid=gid)


def _name_columns(ax: Axes, at: FloatArray, values: FloatArray, words: Sequence[str],
                  colour: str) -> None:
    for x, value, word in zip(at, values, words, strict=True):
        ax.annotate(word, (x, value), (0, 2.5), textcoords="offset points", ha="center",
                    va="bottom", fontsize=sy.SMALL_SIZE, color=colour, gid="value")


def _bare_rows(ax: Axes, count: int) -> None:
    ax.set_ylim(count - 0.5, -0.5)
    ax.set_xticks([])
    ax.set_yticks([])
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)


def _bare_columns(ax: Axes) -> None:
    ax.set_xlim(-0.55, 11.55)
    ax.set_ylim(0, max(ax.get_ylim()[1] * 1.08, 1e-9))
    ax.set_yticks([])
    ax.set_xticks(range(12))
    ax.set_xticklabels(MONTHS)
    ax.tick_params(length=0, pad=5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _words(figure: Figure, x: float, y: float,
           parts: Sequence[tuple[str, str | tuple[float, float, float]]]) -> None:
    """Write words of several colours one after another."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    for words, colour in parts:
        weight = "normal" if colour == sy.SOFT_INK and len(parts) > 1 else "bold"
        figure.text(x, y, words, fontsize=sy.HEAD_SIZE - 0.5, color=colour, fontweight=weight,
                    va="center", gid="head")
        # A trailing blank has no ink of its own: measure it between two strokes.
        wide = [Text(0, 0, f"|{inner}|", fontsize=sy.HEAD_SIZE - 0.5, fontweight=weight)
                for inner in (words, "")]
        for text in wide:
            text.set_figure(figure)
        first, second = (t.get_window_extent(renderer).width for t in wide)
        x += (first - second) / figure.bbox.width
