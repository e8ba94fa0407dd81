"""Charts of the rain: the greatest days, how often it rains more than a depth, and the months."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, MaxNLocator, NullLocator
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.plan.rain import RecordAnswer, TableAnswer
from terrain.runoff.evapotranspiration import MONTHS
from terrain.runoff.extremes import Extremes, plotting_positions
from terrain.runoff.rain_years import how_often
from terrain.units import PRINTED, shown, unit_name

#: Width of every chart. [in]
WIDE = 11.0
#: Return periods named below the greatest days. [years]
NAMED = (2, 5, 10, 25, 50, 100)
#: Words for how often: days a year and how they are named.
OFTEN = ((100.0, "100 days"), (30.0, "30 days"), (10.0, "10 days"), (3.0, "3 days"),
         (1.0, "once a year"), (1 / 3, "once in 3 years"), (0.1, "once in 10 years"),
         (1 / 30, "once in 30 years"), (0.01, "once in 100 years"))
#: Durations that are named first where not all have room. [h]
NAMED_FIRST = (24.0, 1.0, 0.25, 1 / 12, 6.0, 3.0, 72.0, 240.0, 720.0)
_GRID = sy.mixed(sy.PAPER, sy.FAINT_INK, 0.35)


def draw_rain(answer: RecordAnswer | TableAnswer, system: str = "metric") -> Figure:
    """One picture of what `levelsill rain` tells of a record, or of a table."""
    if isinstance(answer, TableAnswer):
        return draw_depths(answer, system)
    return draw_record(answer, system)


@sy.styled
def draw_record(answer: RecordAnswer, system: str = "metric") -> Figure:
    """The greatest days, how often it rains more than a depth, and the months of a record."""
    high = 9.0 if answer.extremes is not None else 4.9
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    days = answer.record.depths.index
    _title(figure, answer.record.source, f"daily rain, {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}")
    if answer.extremes is not None:
        _head(figure, 0.07, high - 1.0, "The greatest day of each year",
              f"{answer.begins}; the fitted curve, and the band that holds "
              f"{100 * answer.extremes.confidence:.0f} % of such curves", sy.PASSIVE)
        draw_maxima(figure.add_axes((0.07, 4.85 / high, 0.89, 2.9 / high)), answer.extremes, system)
    _head(figure, 0.07, 3.65, "How often it rains more", "days a year with more than a depth",
          sy.SHED)
    draw_how_often(figure.add_axes((0.145, 0.7 / high, 0.335, 2.6 / high)), answer.record.depths,
                   system)
    _head(figure, 0.55, 3.65, "An average year",
          "unknown, as a month has no readings" if np.isnan(answer.mean_year) else
          shown(answer.mean_year, "rain", system, 0 if system == "metric" else 1),
          sy.mixed(sy.RAIN, sy.INK, 0.45))
    draw_months(figure.add_axes((0.55, 0.7 / high, 0.41, 2.6 / high)), answer.months, system)
    return figure


@sy.styled
def draw_depths(answer: TableAnswer, system: str = "metric") -> Figure:
    """Depth by duration, a line for each return period of a table; what was asked stands out."""
    high = 6.4
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    _title(figure, answer.source, "depth of rain by duration, once in so many years")
    ax = figure.add_axes((0.07, 0.75 / high, 0.79, 4.75 / high))
    hours = answer.table.index.to_numpy(float)
    depths = answer.table.to_numpy(float) * _factor(system)
    ax.set_xscale("log")
    ax.set_yscale("log")
    colours = [sy.mixed(sy.RAIN, sy.WATER, share) for share in np.linspace(0, 1, depths.shape[1])]
    for colour, values in zip(colours, depths.T, strict=True):
        ax.plot(hours, values, color=colour, linewidth=1.6, marker="o", markersize=3.2,
                clip_on=False)
    ax.set_xlim(hours[0] / 1.08, hours[-1] * (1.0 if len(hours) > 1 else 1.08))
    ax.set_ylim(depths.min() / 1.15, depths.max() * 1.15)
    _name_lines(ax, depths[-1], ["1 year" if years == 1 else f"{years:g} years"
                                for years in answer.table.columns], colours)
    if answer.asked:
        asked = answer.depths.to_numpy(float)
        for values in asked.T:
            ax.plot(answer.depths.index.to_numpy(float), values * _factor(system), color=sy.SHED,
                    linewidth=1.8, marker="o", markersize=6, clip_on=False, gid="asked")
        ax.text(0.985, 0.045, _asked(answer, system), transform=ax.transAxes, ha="right",
                va="bottom", fontsize=sy.HEAD_SIZE, fontweight="bold", color=sy.SHED,
                gid="asked words")
    _ticks(ax.xaxis, hours, [_duration(one) for one in hours], 0.07, NAMED_FIRST)
    rounds = np.array([n * 10.0 ** p for p in range(-2, 4) for n in (1, 2, 5)])
    rounds = rounds[(rounds >= ax.get_ylim()[0]) & (rounds <= ax.get_ylim()[1])]
    _ticks(ax.yaxis, rounds, [f"{one:g} {unit_name('rain', system)}" for one in rounds], 0.03)
    _quiet(ax)
    return figure


def draw_maxima(ax: Axes, extremes: Extremes, system: str = "metric") -> None:
    """Annual maxima at their plotting positions, with the fitted curve and its band.

    The return period runs along a logarithmic axis; below it stand the fitted depths.
    """
    factor = _factor(system)
    periods, ranked = plotting_positions(extremes.maxima)
    along = np.geomspace(1.02, max(110.0, 1.1 * periods[-1]), 160)
    levels = extremes.levels(along) * factor
    ax.fill_between(along, levels["low_mm"], levels["high_mm"], color=sy.RAIN, alpha=0.38,
                    linewidth=0)
    ax.plot(along, levels["depth_mm"], color=sy.PASSIVE, linewidth=1.8)
    ax.plot(periods, ranked * factor, linestyle="none", marker="o", markersize=4.6,
            markerfacecolor=sy.PAPER, markeredgecolor=sy.INK, markeredgewidth=1.0, gid="maxima",
            zorder=4)
    ax.set_xscale("log")
    ax.set_xlim(1.0, along[-1])
    top = max(float(levels["high_mm"].max()), float(ranked[-1]) * factor)
    ax.set_ylim(0, 1.05 * top)
    fitted = extremes.curve.level(np.array(NAMED, float))
    _ticks(ax.xaxis, np.array(NAMED, float),
           [f"{years} years\n{shown(float(depth), 'rain', system)}"
            for years, depth in zip(NAMED, fitted, strict=True)], 0.0)
    _depth_ticks(ax, system)
    _quiet(ax)


def draw_how_often(ax: Axes, daily: pandas.Series, system: str = "metric") -> None:
    """Days a year on which more than a depth falls, against that depth.

    Parameters
    ----------
    daily : Series
        Depth of each day of a record, NaN where none was read. [mm]
    """
    curve = how_often(daily)
    depths = curve["depth_mm"].to_numpy(float) * _factor(system)
    days = curve["days_a_year"].to_numpy(float)
    rained = days > 0
    ax.set_yscale("log")
    if rained.any():
        ax.plot(np.append(depths[rained], depths[-1]), np.append(days[rained], days[rained][-1]),
                drawstyle="steps-post", color=sy.SHED, linewidth=1.8, gid="how often")
        low, high = days[rained].min() / 1.3, days.max() * 1.3
    else:
        low, high = 0.1, 1.0
    ax.set_xlim(0, float(depths[-1]) * 1.03 if rained.any() else 10 * _factor(system))
    ax.set_ylim(low, high)
    words = [(at, named) for at, named in OFTEN if low <= at <= high]
    _ticks(ax.yaxis, np.array([at for at, _ in words]), [named for _, named in words], 0.0)
    ax.xaxis.set_major_locator(MaxNLocator(6))
    unit = unit_name("rain", system)
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g} {unit}")
    _quiet(ax)


def draw_months(ax: Axes, months: pandas.Series, system: str = "metric") -> None:
    """Rain of each month of an average year.

    Parameters
    ----------
    months : Series
        By month, 1 to 12; NaN where unknown. [mm]
    """
    values: NDArray[np.float64] = months.to_numpy(float) * _factor(system)
    ax.bar(np.arange(12), np.nan_to_num(values), width=0.66, color=sy.RAIN)
    for month, value in enumerate(values):
        named = "?" if np.isnan(value) else f"{value:.{0 if system == 'metric' else 1}f}"
        ax.annotate(named, (month, np.nan_to_num(value)), (0, 2.5), textcoords="offset points",
                    ha="center", va="bottom", fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK,
                    gid="value")
    ax.set_xlim(-0.55, 11.55)
    ax.set_ylim(0, max(float(np.nanmax(np.append(values, 0.0))) * 1.12, 1e-6))
    ax.set_yticks([])
    ax.set_xticks(range(12))
    ax.set_xticklabels([month[:3] for month in MONTHS])
    ax.tick_params(length=0, pad=5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _asked(answer: TableAnswer, system: str) -> str:
    """What was asked of a table, and its depth if it is one."""
    rows, columns = answer.depths.shape
    words = []
    if rows == 1:
        words.append(f"in {_duration(float(answer.depths.index[0]))}")
    if columns == 1:
        words.append(f"once in {answer.depths.columns[0]:g} years")
    if rows == columns == 1:
        words[0] = f"{shown(float(answer.depths.iloc[0, 0]), 'rain', system)} {words[0]}"
    return ", ".join(words)


def _factor(system: str) -> float:
    return PRINTED["rain"][system == "us"][1]


def _title(figure: Figure, source: str, said: str) -> None:
    high = figure.get_figheight()
    figure.text(0.07, 1 - 0.42 / high, shortened(figure, source, 16, 430), fontsize=16,
                fontweight="bold", va="center", gid="title")
    figure.text(0.96, 1 - 0.42 / high, said, fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, ha="right",
                va="center", gid="note")


def _head(figure: Figure, x: float, up: float, head: str, said: str,
          colour: str | tuple[float, float, float]) -> None:
    """A panel's head and, behind it, what is drawn; `up` from the foot of the figure. [in]"""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    y = up / figure.get_figheight()
    words = figure.text(x, y, head, fontsize=sy.HEAD_SIZE, fontweight="bold", color=colour,
                        va="center", gid="head")
    canvas: Any = FigureCanvasAgg(figure)
    wide = words.get_window_extent(canvas.get_renderer()).width
    figure.text(x + wide / figure.bbox.width + 0.012, y, said, fontsize=sy.TEXT_SIZE,
                color=sy.SOFT_INK, va="center", gid="note")


def _ticks(axis: Axis, at: NDArray[np.float64], words: list[str], apart: float,
           first_named: Sequence[float] = ()) -> None:
    """Name places on a logarithmic axis, leaving out those closer than a share of it."""
    low, high = np.log(axis.get_view_interval())
    kept: list[int] = []
    first = [i for one in first_named for i in np.flatnonzero(np.isclose(at, one))]
    for i in dict.fromkeys([*first, *range(len(at))]):
        if all(abs(np.log(at[i] / at[k])) >= apart * (high - low) for k in kept):
            kept.append(i)
    kept.sort()
    axis.set_major_locator(FixedLocator([float(at[i]) for i in kept]))
    axis.set_minor_locator(NullLocator())
    axis.set_ticklabels([words[i] for i in kept])


def _depth_ticks(ax: Axes, system: str) -> None:
    unit = unit_name("rain", system)
    ax.yaxis.set_major_locator(MaxNLocator(6))
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:g} {unit}")


def _quiet(ax: Axes) -> None:
    ax.grid(True, color=_GRID, linewidth=0.6)
    ax.tick_params(length=0, pad=5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _name_lines(ax: Axes, ends: NDArray[np.float64], names: list[str],
                colours: list[tuple[float, float, float]]) -> None:
    """Name lines at their right ends; names that would lie on each other part both ways."""
    low, high = np.log(ax.get_ylim())
    places = (np.log(ends) - low) / (high - low)
    least = 0.038
    for _ in range(1000):
        short = least - np.diff(places)
        if (short <= 1e-6).all():
            break
        push = np.maximum(short, 0.0) / 2
        places[1:] += push
        places[:-1] -= push
    true = (np.log(ends) - low) / (high - low)
    for end, place, name, colour in zip(true, places, names, colours, strict=True):
        ax.plot([1.0, 1.03], [end, place], transform=ax.transAxes, clip_on=False, color=colour,
                linewidth=0.7)
        ax.text(1.034, place, name, transform=ax.transAxes, va="center", fontsize=sy.TEXT_SIZE,
                color=sy.SOFT_INK, gid="line")


def _duration(hours: float) -> str:
    if hours < 1:
        return f"{60 * hours:.0f} min"
    return f"{hours / 24:g} days" if hours >= 48 else f"{hours:g} h"
