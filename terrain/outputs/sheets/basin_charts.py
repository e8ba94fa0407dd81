"""A basin in charts: its wall along its line, and what it catches by how deep it rains."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.sections import BANK, GROUND, HEADING
from terrain.plan.water.catches import CatchCurve
from terrain.units import PRINTED, printed, shown
from terrain.works.basin import Basin

#: Figure of a basin in the report. [in]
WIDE, HIGH = 9.6, 2.3


def _axes(figure: Figure, left: float, bottom: float, wide: float, high: float, words: str
          ) -> Axes:
    """An axes with its heading in a place on a figure. [in]"""
    across, up = figure.get_size_inches()
    figure.text((left + 0.05) / across, (bottom + high - 0.06) / up, words,
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="head")
    ax = figure.add_axes(((left + 0.6) / across, (bottom + 0.36) / up, (wide - 0.75) / across,
                          (high - HEADING - 0.46) / up))
    ax.tick_params(length=3, pad=3, labelsize=sy.SMALL_SIZE)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    return ax


def wall_chart(figure: Figure, left: float, bottom: float, wide: float, high: float,
               basin: Basin, system: str) -> None:
    """Draw a wall along its line, heights stretched: ground, crest built and settled, trench."""
    wall = basin.profile
    if wall is None:
        return
    unit, stretch, _ = printed("level", system)
    x, ground, built = (v * stretch for v in (wall.stations, wall.ground, wall.built))
    crest, sill = wall.crest * stretch, basin.sill.level * stretch
    trench = np.where(wall.heights > 0,
                      wall.ground - wall.strip - wall.cutoff_depth, np.nan) * stretch
    low = float(np.nanmin([np.nanmin(trench), ground.min()]))
    high_most = float(built.max())
    spare = 0.08 * (high_most - low)
    times = (float(x[-1]) / max(wide - 0.75, 0.1)) / (
        (high_most - low + 2 * spare) / (high - HEADING - 0.46))
    ax = _axes(figure, left, bottom, wide, high,
               f"Along the wall, heights × {max(times, 1):.0f}")
    ax.set_xlim(0, float(x[-1]))
    ax.set_ylim(low - spare, high_most + spare)
    ax.fill_between(x, low - spare, ground, color=GROUND, linewidth=0)
    ax.fill_between(x, ground, built, where=built > ground, color=BANK, linewidth=0)
    ax.plot(x, ground, color=sy.INK, linewidth=1.2, gid="ground")
    ax.plot(x, np.where(built >= ground, built, np.nan), color=sy.EARTH, linewidth=1.4,
            gid="built")
    under = wall.heights > 0
    ax.plot(x[under], np.full(int(under.sum()), crest), color=sy.PAPER, linewidth=1.1,
            linestyle=(0, (3, 2)), gid="settled")
    ax.plot(x, trench, color=sy.SOFT_INK, linewidth=1.0, linestyle=(0, (1, 1.5)), gid="trench")
    wet = ground < sill
    ax.plot(np.where(wet, x, np.nan), np.where(wet, sill, np.nan), color=sy.WATER, linewidth=1.3,
            gid="sill")
    ax.set_xticks([0, float(x[-1])])
    ax.set_xticklabels(["0", f"{float(x[-1]):,.1f} {unit}"])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    per_point = (high_most - low + 2 * spare) / ((high - HEADING - 0.46) * 72)
    levels = [low, sill, crest] if crest - sill > 9 * per_point else [low, crest]
    ax.set_yticks(levels)
    ax.set_yticklabels([f"{v:,.2f}" for v in levels])


def catch_chart(figure: Figure, left: float, bottom: float, wide: float, high: float,
                curve: CatchCurve, storms: Sequence[tuple[float, float]], system: str
                ) -> None:
    """Draw what a basin catches against the depth of rain, from dry ground to wet.

    Parameters
    ----------
    storms : sequence of (rain [mm], caught [m3])
        Storms to mark.
    """
    ax = _axes(figure, left, bottom, wide, high, "Caught, dry to wet ground")
    depth, volume = (PRINTED[what][system == "us"][1] for what in ("rain", "volume"))
    rain = curve.rain * depth
    ax.fill_between(rain, curve.dry * volume, curve.wet * volume, color=sy.POOL, alpha=0.6,
                    linewidth=0, gid="range")
    ax.plot(rain, curve.caught * volume, color=sy.WATER, linewidth=1.6, gid="caught")
    for fallen, caught in storms:
        ax.plot([fallen * depth], [caught * volume], "o", color=sy.WATER, markersize=3.4,
                gid="storm")
    top = float(max(curve.wet.max(), curve.caught.max())) or 1.0
    ax.set_xlim(0, float(rain[-1]))
    ax.set_ylim(0, 1.08 * top * volume)
    ax.set_xticks([0, float(rain[-1])])
    ax.set_xticklabels(["0", shown(float(curve.rain[-1]), "rain", system)])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([0, top * volume])
    ax.set_yticklabels(["0", sy.brief(top, "volume", system)])


@sy.styled
def draw_basin_charts(basin: Basin, curve: CatchCurve, storms: Sequence[tuple[float, float]],
                      system: str) -> Figure:
    """Draw a basin's charts beside each other: wall, volume by level, catch."""
    figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
    basin_charts(figure, 0.1, 0.0, WIDE - 0.1, HIGH - 0.08, basin, curve, storms, system)
    return figure


def basin_charts(figure: Figure, left: float, bottom: float, wide: float, high: float,
                 basin: Basin, curve: CatchCurve | None,
                 storms: Sequence[tuple[float, float]], system: str) -> None:
    """Draw them in a place on a figure; no catch where no curve is known. [in]"""
    each = wide / 3
    if basin.has_wall:
        wall_chart(figure, left, bottom, each, high, basin, system)
        left += each
    stage_curve(figure, left, bottom, each, high, basin, system)
    if curve is not None:
        catch_chart(figure, left + each, bottom, each, high, curve, storms, system)


def stage_curve(figure: Figure, left: float, bottom: float, wide: float, high: float,
                basin: Basin, system: str) -> None:
    """Draw the volume that a basin holds at each level, in a place on a figure. [in]

    Nothing is drawn of a basin that its own bank fills up.
    """
    if not basin.storage > 0:
        return
    across, up = figure.get_size_inches()
    ax = figure.add_axes(((left + 0.55) / across, (bottom + 0.36) / up, (wide - 0.67) / across,
                          (high - HEADING - 0.46) / up))
    figure.text((left + 0.05) / across, (bottom + high - 0.06) / up, "Held at each level",
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="head")
    factor = PRINTED["volume"][system == "us"][1]
    stretch = printed("level", system)[1]
    volumes, levels = basin.curve.volumes * factor, basin.curve.levels * stretch
    ax.fill_betweenx(levels, 0, volumes, color=sy.POOL, alpha=0.6, linewidth=0)
    ax.plot(volumes, levels, color=sy.WATER, linewidth=1.6, gid="stage")
    ax.set_xlim(0, float(volumes[-1]) * 1.05)
    ax.set_ylim(float(levels[0]), float(levels[-1]) + 0.04 * float(levels[-1] - levels[0]))
    ax.set_xticks([0, float(volumes[-1])])
    ax.set_xticklabels(["0", sy.brief(basin.storage, "volume", system)], fontsize=sy.SMALL_SIZE)
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([float(levels[0]), float(levels[-1])])
    ax.set_yticklabels([f"{v:,.2f}" for v in (levels[0], levels[-1])], fontsize=sy.SMALL_SIZE)
    ax.tick_params(length=3, pad=3)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
