"""Charts of capture: by how deep it rains, of the site and of each store; and the totals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from terrain.outputs.charts.cascade_boxes import grouped
from terrain.outputs.charts.charts import WIDE
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS
from terrain.plan.water.capture import Capture
from terrain.plan.water.rarity import Rarity
from terrain.plan.water.totals import Total
from terrain.units import PRINTED, per_cent, share_words, shown, unit_name

FloatArray = NDArray[np.float64]
#: Panels beside one another, and their room. [in]
ACROSS, PANEL_WIDE, PANEL_HIGH = 4, 1.9, 1.05
#: Room left of each panel for its upright scale, and left and right of all. [in]
SCALE, BESIDE = 0.56, 0.45
#: Labels at the ends of lines stand no closer than this share of the chart's height.
APART = 0.085


@dataclass(frozen=True)
class Panel:
    """One store, or the tree basins of an entry: what it keeps by depth of rain [mm], [m3]."""

    name: str
    kept: FloatArray
    begins: float | None
    full: float | None
    holds: float
    leads_on: bool


def panels(plan: Plan, capture: Capture) -> list[Panel]:
    """The panels of a plan, in the order of its stores."""
    groups = grouped([p.placed.work.name if p.placed.kind == "tree basin" else None
                      for p in plan.stores], plan.cascade.nodes)
    found = []
    for group in groups:
        parts = [capture.stores[i] for i in group]
        starts = [part.begins for part in parts if part.begins is not None]
        fulls = [part.full for part in parts]
        name = (parts[0].name if len(group) == 1 else
                f"{plan.stores[group[0]].placed.work.name} ({len(group)})")
        found.append(Panel(
            name, np.sum([part.caught for part in parts], axis=0), min(starts, default=None),
            None if any(full is None for full in fulls) else
            max(full for full in fulls if full is not None),
            sum(plan.stores[i].store.capacity for i in group), parts[0].kind == "drain"))
    return found


@sy.styled
def draw_site_capture(capture: Capture, system: str, storm: str) -> Figure:
    """Shares of the rain that stay, and that the works keep, by how deep it rains.

    Parameters
    ----------
    storm : str
        The design storm's duration and pattern in words.
    """
    figure = Figure(figsize=(WIDE, 5.1), dpi=sy.DPI, facecolor=sy.PAPER)
    figure.text(0.045, 0.95, "What stays, by how deep it rains", fontsize=16, fontweight="bold",
                va="center", gid="title")
    figure.text(0.045, 0.885, f"storms of {storm}, every store empty before", va="center",
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, gid="note")
    ax = figure.add_axes((0.07, 0.12, 0.645, 0.575))
    factor = PRINTED["rain"][system == "us"][1]
    rain = capture.rain * factor
    wet = rain > 0
    ends = []
    lines = []
    for share, colour, words, key, style, wide in (
            (capture.stays, sy.PASSIVE, "stays with the works", "stays of the rain that falls on "
             "the property, with the works", "-", 2.4),
            (capture.stays_before, sy.SOFT_INK, "stayed before them", "the same before the works",
             (0, (4, 2)), 1.8),
            (capture.kept_of_all, sy.ROOF_WATER, "kept in the works", "of all that came, run-on "
             "too, the works keep", "-", 2.4)):
        lines += ax.plot(rain[wet], 100 * share[wet], color=colour, linewidth=wide,
                         linestyle=style, label=key)
        ends.append((100 * float(share[-1]), colour, f"{per_cent(share[-1])} {words}"))
    figure.legend(handles=lines, loc="center left", bbox_to_anchor=(0.037, 0.815), ncols=3,
                  frameon=False, fontsize=sy.SMALL_SIZE, handlelength=3.0, columnspacing=1.8,
                  labelcolor=sy.INK)
    ax.set_xlim(0, rain[-1])
    ax.set_ylim(0, 103)
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_yticklabels(["0", "25", "50", "75", "100 %"])
    ax.grid(axis="y", color=sy.FAINT_INK, linewidth=0.4, alpha=0.6)
    ax.set_xlabel(f"rain [{unit_name('rain', system)}]")
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=3, pad=4)
    _name_ends(ax, ends)
    if capture.rarity is not None:
        _mark_years(ax, capture.rarity, factor, float(rain[-1]))
    return figure


def _name_ends(ax: Axes, ends: list[tuple[float, str, str]]) -> None:
    """Write what each line is beside its end, apart from one another."""
    at = -math.inf
    for value, colour, words in sorted(ends):
        at = max(value / 103, at + APART)
        ax.text(1.012, at, words, transform=ax.transAxes, color=colour, va="center", ha="left",
                fontsize=sy.TEXT_SIZE, fontweight="bold", gid="line")


def _mark_years(ax: Axes, rarity: Rarity, factor: float, most: float) -> None:
    """Return periods along the top."""
    last = -math.inf
    for years, depth in zip(rarity.years, rarity.depths * factor, strict=True):
        if depth > most or not math.isclose(years, round(years)) or depth - last < 0.05 * most:
            continue
        last = float(depth)
        ax.plot([depth, depth], [103, 106], color=sy.SOFT_INK, linewidth=0.9, clip_on=False)
        ax.text(depth, 107.5, f"{years:.0f}", ha="center", va="bottom", fontsize=sy.SMALL_SIZE,
                color=sy.SOFT_INK, gid="years")
    if last > -math.inf:
        ax.text(0.0, 107.5, "once in so many years", ha="left", va="bottom",
                fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, gid="years")


@sy.styled
def draw_store_captures(plan: Plan, capture: Capture) -> Figure:
    """Small charts of what each store keeps by how deep it rains."""
    system, every = plan.site.units, panels(plan, capture)
    rows = max(math.ceil(len(every) / ACROSS), 1)
    pitch, head = PANEL_HIGH + 1.0, 1.0
    high = head + rows * pitch + 0.15
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    figure.text(0.045, 1 - 0.33 / high, f"What each store keeps, by how deep it rains "
                f"[{unit_name('rain', system)}]", fontsize=16,
                fontweight="bold", va="center", gid="title")
    figure.text(0.045, 1 - 0.6 / high, f"upright: {unit_name('volume', system)}, each panel on its "
                "own scale; ring: first water; dot: full, and spills", fontsize=sy.TEXT_SIZE,
                color=sy.SOFT_INK, va="center", gid="note")
    factor = PRINTED["rain"][system == "us"][1]
    rain = capture.rain * factor
    pitch_across = (WIDE - 2 * BESIDE - SCALE - PANEL_WIDE) / (ACROSS - 1)
    for number, panel in enumerate(every):
        row, column = divmod(number, ACROSS)
        left = BESIDE + SCALE + column * pitch_across
        floor = high - head - row * pitch - 0.48 - PANEL_HIGH
        ax = figure.add_axes((left / WIDE, floor / high, PANEL_WIDE / WIDE, PANEL_HIGH / high))
        _draw_panel(ax, figure, panel, rain, factor, system, left, floor + PANEL_HIGH, high)
    return figure


def _draw_panel(ax: Axes, figure: Figure, panel: Panel, rain: FloatArray, factor: float,
                system: str, left: float, top: float, high: float) -> None:
    colour = sy.SOFT_INK if panel.leads_on else sy.PASSIVE
    most = max(float(panel.kept.max()), 1e-9)
    ax.fill_between(rain, 0, panel.kept, color=sy.mixed(sy.PAPER, sy.POOL, 0.55), linewidth=0)
    ax.plot(rain, panel.kept, color=colour, linewidth=1.6)
    for depth, face in ((panel.begins, sy.PAPER), (panel.full, colour)):
        if depth is not None and depth * factor <= rain[-1]:
            ax.plot([depth * factor], [np.interp(depth * factor, rain, panel.kept)], "o",
                    markersize=5.5, markerfacecolor=face, markeredgecolor=colour, clip_on=False,
                    zorder=5)
    ax.set_xlim(0, rain[-1])
    ax.set_ylim(0, most * 1.12)
    unit = PRINTED["volume"][system == "us"][1]
    heights = [tick for tick in MaxNLocator(3).tick_values(0, most * unit)
               if 0 <= tick <= 1.12 * most * unit]
    ax.set_yticks([tick / unit for tick in heights])
    ax.set_yticklabels([f"{tick:,.6g}" for tick in heights])
    # The last figure would stand out of the panel, into the next one or off the page.
    ticks = MaxNLocator(4).tick_values(0, rain[-1])
    ax.set_xticks([tick for tick in ticks if 0 <= tick < 0.93 * rain[-1]])
    ax.tick_params(length=2.5, pad=3, labelsize=sy.SMALL_SIZE)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    figure.text(left / WIDE, (top + 0.34) / high,
                shortened(figure, panel.name, sy.LABEL_SIZE, PANEL_WIDE * 72 - 4, "bold"),
                fontsize=sy.LABEL_SIZE, fontweight="bold", va="center", gid="store")
    if panel.leads_on:
        said = "leads on all that comes"
    elif panel.full is None:
        said = f"holds {sy.brief(panel.holds, 'volume', system)}, never full"
    else:
        said = (f"{sy.brief(panel.holds, 'volume', system)}, full at "
                f"{shown(panel.full, 'rain', system)}")
    figure.text(left / WIDE, (top + 0.15) / high,
                shortened(figure, said, sy.SMALL_SIZE, PANEL_WIDE * 72 + 10),
                fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, va="center", gid="said")


@sy.styled
def draw_totals(totals: tuple[Total, ...], system: str) -> Figure:
    """Capture as a depth over the property, and the share of its rain that stays, before and after.
    """
    count = len(totals)
    high = 1.75 + 0.62 * count
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    low, tall = 0.35 / high, 0.62 * count / high
    kept = figure.add_axes((0.215, low, 0.27, tall))
    stays = figure.add_axes((0.585, low, 0.365, tall))
    figure.text(0.03, 1 - 0.3 / high, "What the works hold, and what stays", fontsize=16,
                fontweight="bold", va="center", gid="title")
    factor = PRINTED["rain"][system == "us"][1]
    unit = unit_name("rain", system)
    rows = np.arange(count, dtype=float)
    passive, roof = (np.array([getattr(t, name) for t in totals]) * factor
                     for name in ("passive_mm", "roof_mm"))
    kept.barh(rows, passive, height=0.4, color=sy.PASSIVE)
    kept.barh(rows, roof, left=passive, height=0.4, color=sy.ROOF_WATER)
    most = max(float((passive + roof).max()), 1e-9)
    kept.set_xlim(0, most * 1.32)
    for row, together in zip(rows, passive + roof, strict=True):
        kept.annotate(f"{together:.{1 if system == 'metric' else 2}f} {unit}", (together, row),
                      (5, 0), textcoords="offset points", va="center", fontsize=sy.TEXT_SIZE,
                      color=sy.SOFT_INK, gid="depth")
    figure.text(0.215, 1 - 0.83 / high, "Kept, spread over the property", fontsize=sy.HEAD_SIZE,
                fontweight="bold", va="center", gid="head")
    figure.text(0.215, 1 - 1.1 / high, "in the ground", fontsize=sy.TEXT_SIZE, color=sy.PASSIVE,
                fontweight="bold", va="center", gid="head")
    figure.text(0.335, 1 - 1.1 / high, "in tanks", fontsize=sy.TEXT_SIZE, color=sy.ROOF_WATER,
                fontweight="bold", va="center", gid="head")
    figure.text(0.585, 1 - 0.83 / high, "Share of the property's rain that stays",
                fontsize=sy.HEAD_SIZE, fontweight="bold", va="center", gid="head")
    figure.text(0.585, 1 - 1.1 / high, "ring: before the works    dot: with them",
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="note")
    for row, total in zip(rows, totals, strict=True):
        before, after = 100 * total.stays_before, 100 * total.stays
        stays.plot([before, after], [row, row], color=sy.PASSIVE, linewidth=2.2, zorder=2)
        stays.plot([before], [row], "o", markersize=7, markerfacecolor=sy.PAPER,
                   markeredgecolor=sy.SOFT_INK, zorder=3, clip_on=False)
        stays.plot([after], [row], "o", markersize=7, color=sy.PASSIVE, zorder=4, clip_on=False)
        words = f"{before:.1f} to {share_words(total.stays)}"
        right = max(before, after) < 68
        stays.annotate(words, (max(before, after) if right else min(before, after), row),
                       (10 if right else -10, 0), textcoords="offset points", va="center",
                       ha="left" if right else "right", fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK,
                       gid="stays")
        year, _, soil = (total.name.partition(", ") if total.name in YEARS.values() else
                         (total.name, "", ""))
        kept.text(-0.03, row - 0.13, shortened(figure, year, sy.LABEL_SIZE, 140),
                  transform=kept.get_yaxis_transform(), ha="right", va="center",
                  fontsize=sy.LABEL_SIZE, gid="row")
        kept.text(-0.03, row + 0.21,
                  sy.plain(total.rain_mm, "rain", system) + (f", {soil}" if soil else ""),
                  transform=kept.get_yaxis_transform(), ha="right", va="center",
                  fontsize=sy.SMALL_SIZE, color=sy.SOFT_INK, gid="row")
    stays.set_xlim(0, 100)
    for ax in (kept, stays):
        ax.set_ylim(count - 0.5, -0.5)
        ax.set_xticks([])
        ax.set_yticks([])
        for side in ("top", "right", "bottom"):
            ax.spines[side].set_visible(False)
    stays.spines["right"].set_visible(True)
    stays.spines["right"].set_color(sy.FAINT_INK)
    return figure
