"""A tank's size curve: how much of what is wanted it meets, were it smaller or larger."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from terrain.outputs.drawing import symbols as sy
from terrain.plan.water.tank_years import TankLife
from terrain.units import PRINTED, unit_name
from terrain.works.store import Store

#: Figure in the report. [in]
WIDE, HIGH = 7.6, 2.9


@sy.styled
def draw_size_curve(life: TankLife, store: Store, system: str) -> Figure:
    """Draw a tank's size curve, its own size and the knee marked.

    Raises
    ------
    ValueError
        If nothing is drawn from the tank.
    """
    curve = life.curve
    if curve is None:
        raise ValueError(f"nothing is drawn from {store.name}")
    figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
    ax = figure.add_axes((0.085, 0.2, 0.66, 0.62))
    x, days, met_by = (np.append(along, own) if curve.own > curve.volumes[-1] else along
                       for along, own in ((curve.volumes, curve.own),
                                          (100 * curve.days, 100 * curve.own_days),
                                          (100 * curve.met, 100 * curve.own_met)))
    without = [what for what, there in (
        ("rationing", any(use.steps for use in store.uses)),
        ("deliveries", store.top_up is not None)) if there]
    figure.text(0.02, 0.93, "By the size of the tank"
                + (f", without {' and '.join(without)}" if without else ""),
                fontsize=sy.HEAD_SIZE, fontweight="bold", va="center", gid="title")
    ax.plot(x, days, color=sy.TANK, linewidth=1.5, linestyle=(0, (4, 2)), gid="days")
    ax.plot(x, met_by, color=sy.ROOF_WATER, linewidth=2.2, gid="met")
    most = 1.04 * max(float(curve.volumes[-1]), curve.own)
    ax.plot([curve.own] * 2, [0, 100], color=sy.FAINT_INK, linewidth=0.9, gid="own")
    ax.plot([curve.own], [100 * curve.own_met], "o", color=sy.ROOF_WATER, markersize=6,
            gid="own")
    left = curve.own > 0.8 * most
    ax.annotate("as it is", (curve.own, 3), (-4 if left else 4, 0), textcoords="offset points",
                ha="right" if left else "left", va="bottom", fontsize=sy.SMALL_SIZE,
                color=sy.SOFT_INK, gid="note")
    if curve.knee is not None:
        at, met = float(x[curve.knee]), 100 * float(curve.met[curve.knee])
        ax.plot([at], [met], "D", markerfacecolor=sy.PAPER, markeredgecolor=sy.ROOF_WATER,
                markersize=7, markeredgewidth=1.6, gid="knee")
        below = met > 50
        ax.annotate("knee", (at, met), (0, -9 if below else 9), textcoords="offset points",
                    ha="center", va="top" if below else "bottom", fontsize=sy.SMALL_SIZE,
                    color=sy.SOFT_INK, path_effects=sy.halo(), gid="note")
    ax.set_xlim(0, most)
    ax.set_ylim(0, 103)
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_yticklabels(["0", "25", "50", "75", "100 %"])
    ticks = _round_ticks(most * PRINTED["volume"][system == "us"][1])
    ax.set_xticks([tick / PRINTED["volume"][system == "us"][1] for tick in ticks])
    ax.set_xticklabels([f"{tick:,g}" for tick in ticks[:-1]]
                       + [f"{ticks[-1]:,g} {unit_name('volume', system)}"])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.tick_params(length=3, pad=3, labelsize=sy.SMALL_SIZE)
    ax.grid(axis="y", color=sy.SHADE_MIDDLE, linewidth=0.7)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    _name_lines(figure, [(float(met_by[-1]), "share of what is\nwanted that is met",
                          sy.ROOF_WATER),
                         (float(days[-1]), "share of days with\nall that is wanted", sy.TANK)])
    return figure


def _round_ticks(most: float) -> list[float]:
    """Three to six round figures from 0 to at most `most`."""
    step = 10.0 ** np.floor(np.log10(most))
    apart = next(step * part for part in (1.0, 0.5, 0.25, 0.2, 0.1) if most / (step * part) >= 3)
    return [round(float(k * apart), 10) for k in range(int(most / apart) + 1)]


def _name_lines(figure: Figure, lines: list[tuple[float, str, str]]) -> None:
    """Name each line at its right end, the names kept apart."""
    bottom, high, least = 0.2, 0.62, 0.19
    places = sorted(((bottom + high * value / 100, words, colour)
                     for value, words, colour in lines), key=lambda place: place[0])
    low, top = places[0][0], min(places[1][0], bottom + high - 0.04)
    if top - low < least:
        middle = min(max((low + top) / 2, bottom + least / 2), bottom + high - 0.04 - least / 2)
        low, top = middle - least / 2, middle + least / 2
    for y, (_, words, colour) in zip((low, top), places, strict=True):
        figure.text(0.76, y, words, fontsize=sy.TEXT_SIZE, color=colour, va="center", gid="line")
