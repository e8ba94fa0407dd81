"""Panels of an average year: rain, captures, tanks, stores on the ground, what trees want and get.

Each is drawn into a place on a figure, its left edge and its top in inches from the figure's lower
left corner; it is as high as `PANELS` says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.plan.planned import Plan
from terrain.plan.water.store_years import wet_days
from terrain.plan.water.tree_life import TreeMonths
from terrain.plan.water.water_balance import SeasonRun
from terrain.units import PRINTED, per_cent, shown

FloatArray = NDArray[np.float64]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: So many tanks, and stores on the ground, get a line of their own; the largest, in the site
#: file's order.
MOST_TANKS, MOST_STORES = 5, 6
#: Years at the end of the record whose levels are drawn.
LAST_YEARS = 3
#: Room beside rows for names on the left and for words on the right. [in]
NAMES, BESIDE = 1.5, 1.5
#: Height of a tank's row and of a store's, its gap included. [in]
TANK_ROW, STORE_ROW = 0.55, 0.45


def tanks_of(plan: Plan) -> list[int]:
    """Indices of the tanks whose levels are drawn: the largest, in the site file's order."""
    return _largest(plan, [i for i, s in enumerate(plan.stores) if s.placed.kind == "tank"],
                    MOST_TANKS)


def ground_stores_of(plan: Plan) -> list[int]:
    """Indices of the stores on the ground whose levels are drawn, tree basins left out."""
    return _largest(plan, [i for i, s in enumerate(plan.stores)
                           if s.placed.kind not in ("tank", "tree basin", "drain")], MOST_STORES)


def _largest(plan: Plan, every: list[int], most: int) -> list[int]:
    return sorted(sorted(every, key=lambda i: (-plan.stores[i].store.capacity, i))[:most])


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
        kept = monthly(plan.seasons, part.captured)
        tank = planned.placed.kind == "tank"
        off_roofs = monthly(plan.seasons, part.off_roofs) if tank else np.zeros(12)
        roof += off_roofs
        passive += kept - off_roofs
    return passive, roof


def _axes(figure: Figure, left: float, bottom: float, wide: float, high: float) -> Axes:
    across, up = figure.get_size_inches()
    return figure.add_axes((left / across, bottom / up, wide / across, high / up))


def draw_rain(figure: Figure, left: float, top: float, wide: float, plan: Plan) -> None:
    """Rain of each month."""
    seasons, system = plan.seasons, plan.site.units
    assert seasons is not None
    rain = monthly(seasons, seasons.rain_mm) * PRINTED["rain"][system == "us"][1]
    ax = _axes(figure, left, top - 1.27, wide, 0.95)
    months = np.arange(12, dtype=float)
    ax.bar(months, rain, width=0.62, color=sy.RAIN)
    places = 0 if system == "metric" else 1
    _name_columns(ax, months, rain, [f"{value:.{places}f}" for value in rain], sy.SOFT_INK)
    bare_columns(ax)
    total = seasons.mean(seasons.rain_mm)
    words(figure, left, top - 0.12,
          [("Rain", sy.mixed(sy.RAIN, sy.INK, 0.45)),
           (f"   {shown(total, 'rain', system, 0 if system == 'metric' else 1)} a year",
            sy.SOFT_INK)])


def draw_captures(figure: Figure, left: float, top: float, wide: float, plan: Plan) -> None:
    """Passive beside roof capture of each month."""
    system = plan.site.units
    passive, roof = captures(plan)
    ax = _axes(figure, left, top - 1.97, wide, 1.6)
    factor = PRINTED["volume"][system == "us"][1]
    months = np.arange(12, dtype=float)
    for values, offset, colour in ((passive, -0.2, sy.PASSIVE), (roof, 0.2, sy.ROOF_WATER)):
        ax.bar(months + offset, values * factor, width=0.36, color=colour)
        _name_columns(ax, months + offset, values * factor,
                      [short(v, system) for v in values], colour)
    bare_columns(ax)
    words(figure, left, top - 0.12, [
        ("Passive capture", sy.PASSIVE),
        (f" in the ground   {sy.brief(float(passive.sum()), 'volume', system)} a year        ",
         sy.SOFT_INK),
        ("Roof capture", sy.ROOF_WATER),
        (f" in tanks   {sy.brief(float(roof.sum()), 'volume', system)} a year", sy.SOFT_INK)])


def draw_tanks(figure: Figure, left: float, top: float, wide: float, plan: Plan) -> None:
    """Levels of the tanks over the record's last years."""
    _draw_levels(figure, left, top, wide, plan, tanks_of(plan), "In the tanks",
                 (sy.TANK, sy.ROOF_WATER), TANK_ROW, "row")


def draw_stores(figure: Figure, left: float, top: float, wide: float, plan: Plan) -> None:
    """Levels of the works on the ground over the same years."""
    _draw_levels(figure, left, top, wide, plan, ground_stores_of(plan), "In the ground works",
                 (sy.WATER, sy.PASSIVE), STORE_ROW, "store row")


def _draw_levels(figure: Figure, left: float, top: float, wide: float, plan: Plan,
                 stores: list[int], name: str, colours: tuple[str, str], pitch: float, gid: str
                 ) -> None:
    """The most that stores held on each day of the record's last years, a row each; colours of
    words and water.

    Words beside a row are of the days drawn, not of the whole record; a day is wet as it is among
    the seasons of each store."""
    seasons, system = plan.seasons, plan.site.units
    if not stores or seasons is None:
        return
    days = last_days(seasons)
    at = np.arange(len(days))
    words(figure, left, top - 0.12, [(name, colours[0]), (
        f"   most on each day of the record's last {LAST_YEARS} years; the line is full"
        if len(days) < len(seasons.days) else
        "   most on each day of the record; the line is full",
        sy.SOFT_INK)])
    starts = [i for i, day in enumerate(days) if day.day == 1 and day.month in (1, 7)]
    for row, index in enumerate(stores):
        planned = plan.stores[index]
        full = max(planned.store.capacity, 1e-9)
        part = seasons.stores[index]
        held = part.highest[-len(days):]
        ax = _axes(figure, left + NAMES, top - 0.31 - pitch * (row + 1) + 0.2,
                   wide - NAMES - BESIDE, pitch - 0.2)
        ax.fill_between(at, 0, held / full, color=colours[1], alpha=0.8, linewidth=0.3)
        ax.axhline(1.0, color=sy.SOFT_INK, linewidth=0.8)
        ax.set_xlim(0, max(len(days) - 1, 1))
        ax.set_ylim(0, 1.08)
        ax.set_yticks([])
        last = row == len(stores) - 1
        ax.set_xticks(starts)
        ax.set_xticklabels([f"{MONTHS[days[i].month - 1]} {days[i].year}" for i in starts]
                           if last else [])
        ax.tick_params(length=3 if last else 0, pad=3)
        for side in ("top", "right", "left"):
            ax.spines[side].set_visible(False)
        _name_row(figure, ax, planned.store.name, sy.brief(full, "volume", system), colours[0],
                  gid)
        said = (_how_empty(part.held[-len(days):] / full) if planned.placed.kind == "tank" else
                _how_wet(wet_days(part, full), seasons, len(days)))
        ax.text(1.02, 0.5, said,
                transform=ax.transAxes, ha="left", va="center", fontsize=sy.TEXT_SIZE,
                color=sy.SOFT_INK, gid=gid)


def last_days(seasons: SeasonRun) -> pd.DatetimeIndex:
    """The days of the record's last years."""
    return seasons.days[max(len(seasons.days) - round(LAST_YEARS * 365.25), 0):]


def _how_empty(share: FloatArray) -> str:
    """On how many of the days drawn a tank is empty when they end."""
    dry = float((share < 0.01).mean())
    part = f"{100 * dry:.0f} %" if dry >= 0.005 else "under 1 %"
    return f"empty {part} of days" if dry else "no empty day here"


def _how_wet(wet: NDArray[np.bool_], seasons: SeasonRun, drawn: int) -> str:
    """On how many days a year of the last ones, which are drawn, days without a reading left out,
    a work is wet; where those are not all, also in the average year of the record."""
    last, known = wet[-drawn:], seasons.known[-drawn:]
    found = [365.25 * float(last[known].mean()) if known.any() else 0.0]
    if drawn < wet.size:
        found.append(float((wet * seasons.weights).sum()))
    days = [f"{some:.{0 if some >= 9.95 else 1}f}" if some else "no" for some in found]
    if len(days) == 1:
        return f"wet {days[0]} days a year" if last.any() else "never wet"
    return f"wet {days[0]} days a year;\n{days[1]} on the average"


def draw_trees(figure: Figure, left: float, top: float, wide: float, plan: Plan) -> None:
    """What all tree basins' trees want and get each month of an average year."""
    system, lives = plan.site.units, _lives(plan)
    if not lives:
        return
    factor = PRINTED["volume"][system == "us"][1]
    want, gets = (np.sum([getattr(life, name) for life in lives], axis=0) * factor
                  for name in ("want", "gets"))
    count = _trees(plan)
    share = float(gets.sum() / want.sum()) if want.sum() else 1.0
    words(figure, left, top - 0.12, [
        ("What the trees want", sy.TREE),
        (f"   outlined; filled, what {'they get' if count > 1 else 'it gets'}: "
         f"{per_cent(share)} of {sy.brief(float(want.sum()) / factor, 'volume', system)} a year, "
         f"{count} tree{'s' if count > 1 else ''}", sy.SOFT_INK)])
    ax = _axes(figure, left, top - 1.3, wide, 0.93)
    months = np.arange(12, dtype=float)
    ax.bar(months, gets, width=0.62, color=sy.TREE_FILL, gid="gets")
    ax.bar(months, want, width=0.62, facecolor="none", edgecolor=sy.TREE, linewidth=1.2,
           gid="want")
    tops = np.maximum(want, gets)
    _name_columns(ax, months, tops, [short(v / factor, system) for v in want], sy.TREE)
    bare_columns(ax)


def _trees(plan: Plan) -> int:
    """How many trees those are: one of a tree basin, all of a swale or basin that has some."""
    return sum(1 if planned.placed.stand is None else planned.placed.stand.count
               for planned in plan.stores if planned.life is not None and planned.life.months)


def _lives(plan: Plan) -> list[TreeMonths]:
    """Months of an average year of every tree of which they are known."""
    return [planned.life.months[0] for planned in plan.stores
            if planned.life is not None and planned.life.months]


def _rows_high(count: int, row: float) -> float:
    return 0.31 + row * count + 0.36 if count else 0.0


#: Each panel, and how high it is for a plan; 0 where it has nothing to show. [in]
PANELS: tuple[tuple[Callable[[Figure, float, float, float, Plan], None],
                    Callable[[Plan], float]], ...] = (
    (draw_rain, lambda plan: 1.67), (draw_captures, lambda plan: 2.37),
    (draw_trees, lambda plan: 1.67 if _lives(plan) else 0.0),
    (draw_tanks, lambda plan: _rows_high(len(tanks_of(plan)), TANK_ROW)),
    (draw_stores, lambda plan: _rows_high(len(ground_stores_of(plan)), STORE_ROW)))


def _name_row(figure: Figure, ax: Axes, name: str, holds: str, colour: str, gid: str) -> None:
    """A row's name and what it holds, left of it, apart whatever its height."""
    for at, said, size, tint in ((7.5, shortened(figure, name, sy.LABEL_SIZE, NAMES * 72 - 14),
                                  sy.LABEL_SIZE, colour), (-6.5, holds, sy.SMALL_SIZE,
                                                           sy.SOFT_INK)):
        ax.annotate(said, (0, 0.5), (-8, at), xycoords="axes fraction",
                    textcoords="offset points", ha="right", va="center", fontsize=size,
                    color=tint, gid=gid)


def short(volume: float, system: str) -> str:
    """A volume for the head of a narrow column."""
    value = volume * PRINTED["volume"][system == "us"][1]
    if value >= 9950:
        return f"{value / 1000:,.0f}k"
    if value >= 1000 and system == "us":
        return f"{value / 1000:,.1f}k"
    return f"{value:,.0f}" if value >= 0.5 or value == 0 else f"{value:.1f}"


def _name_columns(ax: Axes, at: FloatArray, values: FloatArray, said: Sequence[str],
                  colour: str) -> None:
    for x, value, word in zip(at, values, said, strict=True):
        ax.annotate(word, (x, value), (0, 2.5), textcoords="offset points", ha="center",
                    va="bottom", fontsize=sy.SMALL_SIZE, color=colour, gid="value")


def bare_columns(ax: Axes) -> None:
    """Columns of months on a line, and no other frame."""
    ax.set_xlim(-0.55, 11.55)
    ax.set_ylim(0, max(ax.get_ylim()[1] * 1.08, 1e-9))
    ax.set_yticks([])
    ax.set_xticks(range(12))
    ax.set_xticklabels(MONTHS)
    ax.tick_params(length=0, pad=5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def words(figure: Figure, left: float, y: float,
          parts: Sequence[tuple[str, str | tuple[float, float, float]]]) -> None:
    """Write words of several colours one after another, from a place on. [in]"""
    canvas: Any = FigureCanvasAgg(figure)
    renderer = canvas.get_renderer()
    across, up = figure.get_size_inches()
    x = left / across
    for said, colour in parts:
        weight = "normal" if colour == sy.SOFT_INK and len(parts) > 1 else "bold"
        figure.text(x, y / up, said, fontsize=sy.HEAD_SIZE - 0.5, color=colour, fontweight=weight,
                    va="center", gid="head")
        # A trailing blank has no ink of its own: measure it between two strokes.
        wide = [Text(0, 0, f"|{inner}|", fontsize=sy.HEAD_SIZE - 0.5, fontweight=weight)
                for inner in (said, "")]
        for text in wide:
            text.set_figure(figure)
        first, second = (t.get_window_extent(renderer).width for t in wide)
        # At another size of dot letters are a little wider: the next words stand clear of them.
        x += ((first - second) + 0.6 * figure.dpi / 72) / figure.bbox.width
