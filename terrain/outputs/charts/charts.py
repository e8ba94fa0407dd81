"""Charts: what each storm leaves on the property, and the water of a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.outputs.charts.year_panels import MONTHS, PANELS, captures, tanks_of, words
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened, width_of
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS, soil_dries
from terrain.plan.water.accounts import Account
from terrain.units import PRINTED, shown

FloatArray = NDArray[np.float64]
#: Capture and what left share one scale until one is so many times the other.
SAME_SCALE = 4.0
#: Width of every chart, and height of a row of bars. [in]
WIDE, ROW = 11.0, 0.72
#: Heads of the bars of what is kept, the shorter where room is short.
HEADS = (("Passive capture", " in the ground, beside ", "roof capture"),
         ("Passive capture", " beside ", "roof capture"), ("Passive", " beside ", "roof capture"))
#: Room above the rows of bars for their heads. [in]
ABOVE = 1.2


@dataclass(frozen=True)
class Told:
    """An account with its name, and what is said of it in small."""

    name: str
    said: str
    account: Account


def storms_told(plan: Plan) -> list[Told]:
    """The plan's storms."""
    system = plan.site.units
    return [Told(storm.name, f"{sy.plain(storm.depth, 'rain', system)} over {storm.duration:g} h",
                 plan.storms[storm.name]) for storm in plan.site.rain.storms]


def years_told(plan: Plan) -> list[Told]:
    """The years of the record that stand for their kind, and the average year; none without a
    record."""
    system = plan.site.units
    if plan.seasons is None:
        return []
    mean = shown(plan.seasons.mean(plan.seasons.rain_mm), "rain", system)
    depths = {year.name: shown(year.rain, "rain", system) for year in plan.years}
    return [Told(name, depths.get(name, mean), account)
            for name, account in plan.accounts if name not in plan.storms]


@sy.styled
def draw_storm_bars(plan: Plan) -> Figure:
    """Bars for every storm: kept in the ground beside kept in tanks, and what left the site."""
    return _bars("Each storm", storms_told(plan), plan.site.units)


@sy.styled
def draw_year_bars(plan: Plan) -> Figure:
    """The same for years of the record and the average year.

    Raises
    ------
    InputError
        If the plan has no daily rain record.
    """
    if plan.seasons is None:
        raise _no_record(plan)
    return _bars("Each year", years_told(plan), plan.site.units)


def _bars(title: str, told: Sequence[Told], system: str) -> Figure:
    high = bars_high(told) + 0.05
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    draw_bars(figure, 0.33, high, WIDE - 0.66, title, told, system)
    return figure


def bars_high(told: Sequence[Told], row: float = ROW) -> float:
    """Height of `draw_bars`. [in]"""
    return ABOVE + row * len(told) + 0.25


def draw_bars(figure: Figure, left: float, top: float, wide: float, title: str,
              told: Sequence[Told], system: str, row: float = ROW) -> None:
    """Draw bars of accounts into a place on a figure: its left edge and its top. [in]"""
    across, up = figure.get_size_inches()
    count = len(told)
    widest = max((width_of(said, size, "normal", figure.dpi / 72) for one in told
                  for said, size in ((one.name, sy.LABEL_SIZE), (one.said, sy.SMALL_SIZE))),
                 default=0.0)
    named = min(max(1.76, widest / 72 + 0.19), 0.3 * wide)
    room = wide - named
    kept_wide, left_wide = 0.51 * room, 0.43 * room
    right = left + named + 0.55 * room
    floor = top - ABOVE - row * count
    kept, gone = (figure.add_axes((x / across, floor / up, w / across, row * count / up))
                  for x, w in ((left + named, kept_wide), (right, left_wide)))
    factor = PRINTED["volume"][system == "us"][1]
    passive, roof, out = (np.array([getattr(t.account, key) for t in told]) * factor
                          for key in ("passive", "roof", "left_site"))
    rows = np.arange(count, dtype=float)
    for values, offset, colour, gid in ((passive, -0.19, sy.PASSIVE, "passive"),
                                        (roof, 0.19, sy.ROOF_WATER, "roof")):
        kept.barh(rows + offset, values, height=0.34, color=colour)
        _name_bars(kept, values, rows + offset, system, gid, colour)
    gone.barh(rows, out, height=0.5, color=sy.LEFT)
    _name_bars(gone, out, rows, system, "left", sy.SOFT_INK)
    most_kept = float(max(passive.max(initial=0), roof.max(initial=0), 1e-9))
    most_left = float(max(out.max(initial=0), 1e-9))
    same = most_kept / SAME_SCALE <= most_left <= most_kept * SAME_SCALE
    reach_kept, reach_left = most_kept * 1.28, most_left * 1.3
    if same:  # a length of paper is the same volume in both
        most = max(reach_kept / kept_wide, reach_left / left_wide)
        reach_kept, reach_left = most * kept_wide, most * left_wide
    for ax, reach in ((kept, reach_kept), (gone, reach_left)):
        ax.set_xlim(0, reach)
        _bare_rows(ax, count)
    for at, one in zip(rows, told, strict=True):
        for up_by, said, size, colour in ((6.5, one.name, sy.LABEL_SIZE, sy.INK),
                                          (-7.5, one.said, sy.SMALL_SIZE, sy.SOFT_INK)):
            kept.annotate(shortened(figure, said, size, named * 72 - 12), (0, at), (-8, up_by),
                          textcoords="offset points", ha="right", va="center", fontsize=size,
                          color=colour, gid="row")
    figure.text(left / across, (top - 0.28) / up, title, fontsize=16, fontweight="bold",
                va="center", gid="title")
    head = next((head for head in HEADS if left + named + sum(
        width_of(said, sy.HEAD_SIZE - 0.5, "bold", figure.dpi / 72) for said in head) / 72
        < right - 0.25), HEADS[-1])
    words(figure, left + named, top - 0.74, list(zip(
        head, (sy.PASSIVE, sy.SOFT_INK, sy.ROOF_WATER), strict=True)))
    words(figure, right, top - 0.74, [("Left the site", sy.SOFT_INK)])
    if not same:
        figure.text(right / across, (top - 0.97) / up,
                    _other_scale(reach_kept / kept_wide, reach_left / left_wide),
                    fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, va="center", gid="note")


def _other_scale(kept: float, left: float) -> str:
    """How the two scales of paper differ."""
    if left > kept:
        return f"drawn {left / kept:.0f} times smaller than the bars on the left"
    return f"drawn {kept / left:.0f} times larger than the bars on the left"


@sy.styled
def draw_year(plan: Plan) -> Figure:
    """Months of an average year: rain, captures, stores and trees; the tanks over the record's
    last years.

    Raises
    ------
    InputError
        If the plan has no daily rain record.
    """
    if plan.seasons is None:
        raise _no_record(plan)
    high = 0.7 + sum(tall(plan) for _, tall in PANELS)
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    figure.text(0.05, 1 - 0.32 / high, "An average year", fontsize=16, fontweight="bold",
                va="center", gid="title")
    figure.text(0.95, 1 - 0.32 / high, record_words(plan), fontsize=sy.TEXT_SIZE,
                color=sy.SOFT_INK, ha="right", va="center", gid="note")
    top = high - 0.7
    for draw, tall in PANELS:
        draw(figure, 0.55, top, WIDE - 1.1, plan)
        top -= tall(plan)
    return figure


def record_words(plan: Plan) -> str:
    """Of how long the rain record is, its days without a reading left out, and how wet the soil is
    that the rain of its days falls on."""
    seasons = plan.seasons
    assert seasons is not None
    wetness = YEARS[soil_dries(plan.site)].split(", ")[1]
    return (f"{seasons.years:.1f} years of days with a reading, {seasons.days[0].year} to "
            f"{seasons.days[-1].year}; {wetness}")


def _no_record(plan: Plan) -> InputError:
    return InputError(plan.site.where("rain"), "there is no daily rain record to draw a year of",
                      "Name one under rain, daily")


def _name_bars(ax: Axes, values: FloatArray, rows: FloatArray, system: str, gid: str,
               colour: str) -> None:
    factor = PRINTED["volume"][system == "us"][1]
    most = float(values.max(initial=0.0)) / factor
    for value, row in zip(values, rows, strict=True):
        ax.annotate(sy.brief(float(value) / factor, "volume", system, most), (value, row), (5, 0),
                    textcoords="offset points", va="center", fontsize=sy.TEXT_SIZE,
                    color=colour, gid=gid)


def _bare_rows(ax: Axes, count: int) -> None:
    ax.set_ylim(count - 0.5, -0.5)
    ax.set_xticks([])
    ax.set_yticks([])
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)


__all__ = ["MONTHS", "WIDE", "bars_high", "captures", "draw_bars", "draw_storm_bars", "draw_year",
           "draw_year_bars", "record_words", "storms_told", "tanks_of", "years_told"]
