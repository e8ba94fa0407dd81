"""A swale's section to scale, its sections at stations, and its long profile with chainage."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.outputs import symbols as sy
from terrain.outputs.sections import BANK, GROUND, Section
from terrain.units import PRINTED, shown
from terrain.works import cross_section as cs
from terrain.works.swale_built import Swale
from terrain.works.swale_stations import Station

FloatArray = NDArray[np.float64]

#: Size of the figure of one swale's profile and sections. [in]
WIDE, HIGH = 11.0, 3.4
#: So many stations are drawn as sections.
DRAWN = 4


def floor_points(section: cs.Section) -> FloatArray:
    """The floor from the lip at (0, 0) uphill to the water's edge. [m]"""
    points = [(0.0, 0.0)]
    for piece in section.floor():
        if piece.end == piece.start:
            continue
        bent = piece.c != 0
        for x in np.linspace(piece.start, piece.end, 13 if bent else 2)[1:]:
            points.append((float(x), piece.at(float(x))))
    return np.array(points)


def swale_section(made: Section, swale: Swale, system: str) -> None:
    """Draw a swale's section on ground of its median slope that meets the sill's level.

    Downhill is to the right; the line on contour, where the sill's level meets the ground, is
    at (0, 0).
    """
    section = swale.section
    depth, side, slope = section.depth, section.side_slope, swale.route.cross_slope
    top, toes = swale.berm_top, swale.berm_side_slope
    built, settled = swale.berm_height_built, swale.berm_height
    cut_end = -section.top_width() / (1 - side * slope)
    toe = (top + 2 * toes * built) / (1 - toes * slope)
    west, east = cut_end - 1.0, toe + 1.0
    floor = floor_points(section)[::-1] * (-1.0, 1.0)
    floor[0] = cut_end, -slope * cut_end
    berm_words = f", berm {toes:g}:1" if toes != side else ""
    made.head(f"Section, the same scale both ways, downhill to the right; sides {side:.3g}:1"
              f"{berm_words}, ground falls {100 * slope:.1f} %")
    low = min(-depth - 0.35, -slope * east - 0.2)
    made.frame(west, east, low, max(built, -slope * west), 70)
    profile = [(west, -slope * west), *map(tuple, floor), (east, -slope * east)]
    made.fill([*profile, (east, low), (west, low)], GROUND)
    made.line(profile, sy.INK, 1.3, gid="profile")
    made.line([(cut_end, -slope * cut_end), (0.0, 0.0)], sy.SOFT_INK, 0.9, (0, (4, 3)))
    water = floor_points(section) * (-1.0, 1.0)
    made.fill([tuple(p) for p in water], sy.POOL, zorder=3, gid="water")
    made.line([(-section.top_width(), 0.0), (0.0, 0.0)], sy.WATER, 1.4)
    berm = [(0.0, 0.0), (toes * built, built), (toes * built + top, built), (toe, -slope * toe)]
    made.fill(berm, BANK, sy.EARTH, 3, gid="berm")
    if settled < built:
        made.line([(toes * built, settled), (toes * built + top, settled)], sy.PAPER, 1.0,
                  (0, (3, 2)), 5)
    p = made.point
    middle = -section.top_width() / 2
    made.water_mark(middle - section.top_width() * 0.15, 0.0)
    made.up(middle, -depth, 0.0, shown(depth, "level", system))
    if section.shape == "trapezoid":
        foot = side * depth
        made.across(-foot - section.width, -foot, -depth - 7 * p,
                    f"bed {shown(section.width, 'level', system)}")
    elif section.shape == "parabola":
        made.across(-section.width, 0.0, -depth - 7 * p,
                    f"water {shown(section.width, 'level', system)}")
    made.across(cut_end, 0.0, -slope * cut_end + 12 * p,
                f"cut {shown(-cut_end, 'level', system)} wide", above=True)
    made.line([(cut_end, -slope * cut_end + 3 * p), (cut_end, -slope * cut_end + 16 * p)],
              sy.FAINT_INK, 0.6)
    made.line([(0, 3 * p), (0, -slope * cut_end + 16 * p)], sy.FAINT_INK, 0.6)
    made.across(toes * built, toes * built + top, built + 9 * p,
                f"top {shown(top, 'level', system)}", above=True)
    right = toe + 12 * p
    made.line([(0.0, 0.0), (right + 5 * p, 0.0)], sy.FAINT_INK, 0.6, zorder=3.5)
    made.line([(toes * built + top, built), (right + 5 * p, built)], sy.FAINT_INK, 0.6)
    made.up(right, 0.0, built, f"berm {shown(built, 'level', system)},\nsettles to "
            f"{shown(settled, 'level', system)}")


def told_stations(swale: Swale) -> list[Station]:
    """The stations to draw: the two with the most and the least cut, the sill, an end; by chainage.
    """
    middle = (swale.sill_from + swale.sill_to) / 2
    wanted = [swale.nearest_station(middle), max(swale.stations, key=lambda s: s.cut),
              min(swale.stations, key=lambda s: s.cut), swale.stations[0], swale.stations[-1]]
    chosen = {station.chainage: station for station in wanted[:1]}
    for station in wanted[1:]:
        if len(chosen) < DRAWN:
            chosen[station.chainage] = station
    return [chosen[at] for at in sorted(chosen)]


def station_section(made: Section, swale: Swale, station: Station, system: str) -> None:
    """Draw a station on its own ground: cut, berm and water; downhill to the right."""
    section = swale.section
    above, slope = station.ground - swale.sill.level, station.cross_slope
    side, toes, built = section.side_slope, swale.berm_side_slope, swale.berm_height_built
    wide = section.top_width()
    uphill = wide + max(side * (above + slope * wide) / max(1 - side * slope, 0.1), 0.0) + 0.8
    toe = toes * built + swale.berm_top + toes * max(built - above, 0.0) / max(
        1 - toes * slope, 0.1) + 0.6
    x = np.unique(np.concatenate([np.linspace(-toe, uphill, 240),
                                  floor_points(section)[:, 0]]))
    ground = above + slope * x
    floor = np.interp(x, *floor_points(section).T)
    floor = np.where(x < 0, -x / side if side else 1e3, np.where(x > wide, (x - wide) / side
                                                                if side else 1e3, floor))
    dug = np.minimum(ground, floor)
    crest = toes * built
    berm = np.where(x > 0, -1e3, np.where(x > -crest, -x / toes, np.where(
        x > -crest - swale.berm_top, built, built + (x + crest + swale.berm_top) / toes)))
    lip = np.where((x >= 0) & (x <= wide / 2), floor, -1e3)
    heap = np.maximum(berm, lip)
    low = min(float(dug.min()), -section.depth) - 0.15
    made.frame(-uphill, toe, low, float(max(ground.max(), built)), over=24)
    bottom = np.full_like(x, low)
    _between(made, x, bottom, dug, GROUND, "none", 2)
    _between(made, x, dug, np.where((x >= 0) & (x <= wide), 0.0, dug), sy.POOL, "none", 2.5)
    _between(made, x, dug, np.maximum(dug, heap), BANK, "none", 3)
    made.line(list(zip(-x, ground, strict=True)), sy.SOFT_INK, 0.9, (0, (4, 3)))
    made.line(list(zip(-x, np.maximum(dug, heap), strict=True)), sy.INK, 1.1)
    made.line([(-wide, 0.0), (0.0, 0.0)], sy.WATER, 1.2)
    places = {"metric": ("m²", 1.0), "us": ("ft²", 1 / 0.3048**2)}[system]
    named = ", ".join(dict.fromkeys(station.marks))
    made.head(f"{shown(station.chainage, 'length', system)}{f', {named}' if named else ''}")
    made.note((toe - uphill) / 2, low - 3 * made.point,
              f"cut {station.cut * places[1]:.2f}, berm {station.berm * places[1]:.2f} {places[0]}",
              ha="center", va="top")


def _between(made: Section, x: FloatArray, low: FloatArray, high: FloatArray, face: str, edge: str,
             zorder: float) -> None:
    made.fill([*zip(-x, low, strict=True), *zip(-x[::-1], high[::-1], strict=True)], face, edge,
              zorder)


def long_profile(ax: Axes, swale: Swale, system: str) -> None:
    """Draw ground, bed, water and berm along a swale; heights drawn out.

    Its chainage starts where the line does.
    """
    unit, factor, _ = PRINTED["level"][system == "us"]
    at = np.array([s.chainage for s in swale.stations]) * factor
    ground = np.array([s.ground for s in swale.stations]) * factor
    level, bed = swale.sill.level * factor, (swale.sill.level - swale.depth) * factor
    crest = (swale.sill.level + swale.berm_height_built) * factor
    start, end = swale.sill_from * factor, swale.sill_to * factor
    ax.fill_between([at[0], at[-1]], bed, level, color=sy.POOL, linewidth=0, zorder=1)
    ax.plot([at[0], at[-1]], [bed, bed], color=sy.INK, linewidth=1.2, zorder=4, gid="bed")
    ax.plot([at[0], at[-1]], [level, level], color=sy.WATER, linewidth=1.4, zorder=4, gid="level")
    edge: list[Any] = [[at[0], crest], [start, crest], [start, level], [end, level], [end, crest],
                       [at[-1], crest]]
    ax.plot(*zip(*edge, strict=True), color=sy.EARTH, linewidth=1.4, zorder=3, gid="crest")
    ax.plot(at, ground, color=sy.SOFT_INK, linewidth=1.1, linestyle=(0, (4, 2)), zorder=5,
            gid="ground")
    for check in swale.checks:
        foot = (check.top / 2 + check.side_slope * check.height) * factor
        middle, top = check.chainage * factor, bed + check.height * factor
        half = check.top / 2 * factor
        ax.fill([middle - foot, middle - half, middle + half, middle + foot], [bed, top, top, bed],
                color=BANK, zorder=2, gid="check")
    for first, last in swale.route.tight:
        ax.plot([first * factor, last * factor], [bed, bed], color=sy.SHED, linewidth=4,
                solid_capstyle="round", zorder=5, gid="tight")
    low, high = min(bed, float(ground.min())), max(crest, float(ground.max()))
    ax.set_ylim(low - 0.1 * (high - low), high + 0.12 * (high - low))
    ax.set_xlim(at[0], at[-1])
    named = [("bed", bed), ("sill", level)]
    point = (high - low) * 1.22 / (ax.bbox.height / ax.figure.dpi * 72)
    if crest - level > sy.SMALL_SIZE * point:
        named.append(("crest", crest))
    ax.set_yticks([value for _, value in named])
    ax.set_yticklabels([f"{name} {value:,.2f}" for name, value in named], fontsize=sy.SMALL_SIZE)
    ax.tick_params(length=3, pad=3)
    step = _round_step(float(at[-1]) / 8)
    ticks = [t for t in np.arange(0.0, at[-1], step) if at[-1] - t > 0.5 * step]
    ax.set_xticks([*ticks, at[-1]])
    ax.set_xticklabels([*(f"{t:g}" for t in ticks), f"{at[-1]:.1f} {unit}"],
                       fontsize=sy.SMALL_SIZE)
    for spine in ("top", "right"):
        ax.spines[spine].set_visible(False)


def _round_step(wanted: float) -> float:
    scale = 10 ** np.floor(np.log10(max(wanted, 1e-6)))
    return float(next(m * scale for m in (1, 2, 5, 10) if m * scale >= wanted))


def profile_words(swale: Swale) -> str:
    """What the lines of a long profile are."""
    return ("Long profile by chainage, heights drawn out: ground dashed, berm's crest as built in "
            "brown, open at the sill, water in blue"
            + ("; checks in the bed" if swale.checks else "")
            + ("; bends tighter than asked in red" if swale.route.tight else ""))


@sy.styled
def draw_swale_profile(swale: Swale, name: str, system: str) -> Figure:
    """Draw a swale's long profile, and below it sections at some of its stations."""
    figure = Figure(figsize=(WIDE, HIGH), dpi=sy.DPI, facecolor=sy.PAPER)
    figure.text(0.02, 1 - 0.17 / HIGH, name, fontsize=12, fontweight="bold", va="center",
                gid="title")
    figure.text(0.02, 1 - 0.42 / HIGH, profile_words(swale), fontsize=sy.SMALL_SIZE,
                color=sy.SOFT_INK, va="center", gid="head")
    ax = figure.add_axes((1.1 / WIDE, 1.65 / HIGH, (WIDE - 1.5) / WIDE, 1.15 / HIGH))
    long_profile(ax, swale, system)
    draw_stations(figure, swale, system, 0.2, 0.1, WIDE - 0.4, 1.2)
    return figure


def draw_stations(figure: Figure, swale: Swale, system: str, left: float, bottom: float,
                  wide: float, high: float) -> None:
    """Draw sections at some stations beside one another, in a place on a figure. [in]"""
    told = told_stations(swale)
    share = wide / DRAWN
    for i, station in enumerate(told):
        station_section(Section(figure, left + i * share, bottom, share - 0.1, high), swale,
                        station, system)
