"""A swale's section to scale, its sections at stations, and its long profile with chainage."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.long_profiles import LongProfile
from terrain.outputs.sheets.sections import BANK, CUT, GROUND, Level, Section
from terrain.units import shown
from terrain.works import cross_section as cs
from terrain.works.swale_built import Swale
from terrain.works.swale_stations import Station

FloatArray = NDArray[np.float64]

#: So many stations are drawn as sections.
DRAWN = 4
#: A section this close to a stake stands at it. [m]
AT_STAKE = 0.25


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
    built, settled, head = swale.berm_height_built, swale.berm_height, swale.sill.head
    wide = section.top_width()
    cut_end = -wide / (1 - side * slope)
    toe = (top + 2 * toes * built) / (1 - toes * slope)
    west, east = cut_end - 1.0, toe + 1.0
    floor = floor_points(section)[::-1] * (-1.0, 1.0)
    floor[0] = cut_end, -slope * cut_end
    made.head(f"Section, same scale both ways; ground falls {100 * slope:.1f} %")
    low = min(-depth - 0.35, -slope * east - 0.2)

    def level(value: float) -> str:
        return shown(swale.sill.level + value, "level", system)

    crest = toes * built + top
    peak_from, peak_to = -wide - side * head, min(toes * head, toes * built)
    beside = [Level(crest, built, f"crest as built {level(built)}", sy.EARTH),
              Level(crest, settled, f"crest settled {level(settled)}", sy.EARTH),
              Level(peak_to, head, f"water, design peak {level(head)}", sy.WATER),
              Level(0.0, 0.0, f"sill and lip {level(0.0)}", sy.WATER)]
    bed = -side * depth - section.width if section.shape == "trapezoid" else -wide / 2
    before = [Level(bed, -depth, f"bed {level(-depth)}")]
    low = made.frame(west, east, low, max(built, -slope * west),
                     made.room([b.words for b in beside]), 36,
                     made.room([b.words for b in before]), -depth)
    p = made.point
    profile = [(west, -slope * west), *map(tuple, floor), (east, -slope * east)]
    made.fill([*profile, (east, low), (west, low)], GROUND)
    made.fill([(cut_end, -slope * cut_end), *map(tuple, floor)], CUT, zorder=2.5, gid="cut")
    made.line(profile, sy.INK, 1.3, gid="profile")
    water = floor_points(section) * (-1.0, 1.0)
    made.fill([tuple(point) for point in water], sy.POOL, zorder=3, gid="water")
    made.line([(-wide, 0.0), (0.0, 0.0)], sy.WATER, 1.4)
    made.line([(peak_from, head), (peak_to, head)], sy.WATER, 0.9, (0, (1.5, 1.5)), gid="peak")
    berm = [(0.0, 0.0), (toes * built, built), (toes * built + top, built), (toe, -slope * toe)]
    made.fill(berm, BANK, sy.EARTH, 3, gid="berm")
    if settled < built:
        made.line([(toes * built, settled), (toes * built + top, settled)], sy.PAPER, 1.0,
                  (0, (3, 2)), 5)
    made.ground([(cut_end, -slope * cut_end), (toe, -slope * toe)])
    made.levels(beside)
    made.levels(before, right=False)
    middle = -wide / 2
    made.water_mark(middle - wide * 0.15, 0.0)
    # Beside the channel, where no line runs through the words.
    made.up(-wide - 9 * p, -depth, 0.0, shown(depth, "size", system), right=False)
    if section.shape == "trapezoid":
        foot = side * depth
        made.across(-foot - section.width, -foot, -depth - 7 * p,
                    f"bed {shown(section.width, 'size', system)}")
    elif section.shape == "parabola":
        made.across(-section.width, 0.0, -depth - 7 * p,
                    f"water {shown(section.width, 'size', system)}")
    over = max(-slope * cut_end, head) + 9 * p
    made.across(cut_end, 0.0, over, f"cut {shown(-cut_end, 'size', system)} wide", above=True)
    made.line([(cut_end, -slope * cut_end + 2 * p), (cut_end, over + 4 * p)], sy.FAINT_INK, 0.6)
    made.line([(0, 3 * p), (0, over + 4 * p)], sy.FAINT_INK, 0.6)
    made.across(toes * built, crest, built + 9 * p, f"top {shown(top, 'size', system)}",
                above=True)
    made.up(toe + 6 * p, 0.0, built, "")
    made.note(toe + 6 * p, -slope * toe - 9 * p, f"{shown(built, 'size', system)} as built",
              ha="right")
    made.slope((crest, built), (toe, -slope * toe))
    made.slope(tuple(floor[1]), tuple(floor[0]), above=False)
    made.key(["ground", "cut", "fill", "water"])


def told_stations(swale: Swale) -> list[Station]:
    """The stations to draw, by chainage: both ends, the sill, and the middles of the longest
    stretches between them.

    The middles lie where the berm stands at its full height, if it does anywhere.
    """
    every = swale.stations
    sill = swale.nearest_station((swale.sill_from + swale.sill_to) / 2)
    chosen = {station.chainage: station for station in (every[0], sill, every[-1])}
    full = swale.berm_side_slope * swale.berm_height_built
    closed = [s for s in every if _past_sill(swale, s.chainage) >= full] or list(every)
    while len(chosen) < DRAWN:
        left = [s for s in closed if s.chainage not in chosen]
        if not left:
            break
        start, end = max(itertools.pairwise(sorted(chosen)), key=lambda pair: pair[1] - pair[0])
        station = min(left, key=lambda s: abs(s.chainage - (start + end) / 2))
        chosen[station.chainage] = station
    return [chosen[at] for at in sorted(chosen)]


def stakes_near(chainage: float, stakes: Sequence[tuple[int, float]]) -> str:
    """The stakes of a line by which a chainage is found, in words.

    Parameters
    ----------
    stakes : sequence of (int, float)
        Number of each stake of the line, and its chainage. [m]
    """
    if not stakes:
        return ""
    number, at = min(stakes, key=lambda stake: (abs(stake[1] - chainage), stake[0]))
    if abs(at - chainage) <= AT_STAKE:
        return f"stake {number}"
    before = max((s for s in stakes if s[1] <= chainage), key=lambda s: s[1], default=None)
    after = min((s for s in stakes if s[1] > chainage), key=lambda s: s[1], default=None)
    if before is None or after is None:
        return f"stake {number}"
    return f"stakes {before[0]}, {after[0]}"


def _past_sill(swale: Swale, chainage: float) -> float:
    """How far a place lies from the sill's nearer end; below 0 beside the sill itself. [m]"""
    return max(swale.sill_from - chainage, chainage - swale.sill_to)


def station_section(made: Section, swale: Swale, station: Station, system: str,
                    stakes: str = "") -> None:
    """Draw a station on its own ground: cut, berm and water; downhill to the right.

    Along the sill no berm stands, and beside it the berm slopes down to the sill's ends.
    """
    section = swale.section
    above, slope = station.ground - swale.sill.level, station.cross_slope
    side, toes = section.side_slope, swale.berm_side_slope
    wide, past = section.top_width(), _past_sill(swale, station.chainage)
    open_here = past < 0.01
    built = swale.berm_height_built if open_here else min(swale.berm_height_built, past / toes)
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
    if open_here:  # earth at the lip falls away downhill; ground above the sill is taken off
        berm = np.where(x > 0, -1e3, x / toes)
        reach = swale.berm_top + 2 * toes * built
        dug = np.where((x < 0) & (x > -reach), np.minimum(ground, 0.0), dug)
    lip = np.where((x >= 0) & (x <= wide / 2), floor, -1e3)
    heap = np.maximum(berm, lip)
    low = min(float(dug.min()), -section.depth) - 0.15
    made.frame(-uphill, toe, low, float(max(ground.max(), built)), over=22)
    made.between(-x, np.full_like(x, low), dug, GROUND)
    made.between(-x, dug, ground, CUT, zorder=2.2)
    made.between(-x, dug, np.where((x >= 0) & (x <= wide), 0.0, dug), sy.POOL, zorder=2.5)
    made.between(-x, dug, np.maximum(dug, heap), BANK, zorder=3)
    made.surface(-x, np.maximum(dug, heap), ground)
    made.line([(-wide, 0.0), (0.0, 0.0)], sy.WATER, 1.2)
    places = {"metric": ("m²", 1.0, 2), "us": ("ft²", 1 / 0.3048**2, 1)}[system]
    named = ", ".join(dict.fromkeys(station.marks))
    at = shown(station.chainage, "length", system)
    made.head(", ".join(said for said in (at, named, stakes) if said))
    berm_words = "open" if open_here else f"berm {station.berm * places[1]:.{places[2]}f}"
    made.note((toe - uphill) / 2, made.ax.get_ylim()[1] - 2 * made.point,
              f"cut {station.cut * places[1]:.{places[2]}f}{f' {places[0]}' if open_here else ''}, "
              f"{berm_words}{'' if open_here else f' {places[0]}'}",
              ha="center", va="top")


def swale_profile(figure: Figure, left: float, bottom: float, wide: float, high: float,
                  swale: Swale, system: str) -> None:
    """Draw ground, bed, water and berm along a swale, in a place on a figure. [in]

    Its chainage starts where the line does; beyond both ends the berm is shown as far as its ridge
    turned uphill, and beside the sill it slopes down to the sill's ends.
    """
    at = np.array([s.chainage for s in swale.stations])
    ground = np.array([s.ground for s in swale.stations])
    level, bed = swale.sill.level, swale.sill.level - swale.depth
    built, settled = level + swale.berm_height_built, level + swale.berm_height
    peak, start, end = level + swale.sill.head, swale.sill_from, swale.sill_to
    length = float(at[-1])
    made = LongProfile(figure, left, bottom, wide, high, length,
                       min(bed, float(ground.min())), max(built, float(ground.max())), system,
                       before=swale.returns[0].beyond, after=swale.returns[1].beyond)
    words = "Long profile from the line's start"
    words += ", checks in the bed" if swale.checks else ""
    words += ", bends tighter than asked in red" if swale.route.tight else ""
    made.head(words, [("ground", "ground now"), ("built", "crest as built"),
                      ("settled", "settled"), ("level", "sill"), ("peak", "design peak"),
                      ("bed", "bed")])
    made.band([0.0, length], [bed, bed], [level, level], sy.POOL)
    made.band([0.0, length], [level, level], [peak, peak], sy.POOL, 0.45)
    whole = [0.0, length]
    made.line("bed", whole, [bed, bed])
    made.line("level", whole, [level, level])
    made.line("peak", whole, [peak, peak])
    made.line("ground", at, ground)
    for name, crest, gid in (("settled", settled, "settled"), ("built", built, "crest")):
        back = swale.berm_side_slope * (crest - level)
        made.line(name, [-swale.returns[0].beyond, start - back, start, end, end + back,
                         length + swale.returns[1].beyond],
                  [crest, crest, level, level, crest, crest], gid)
    for check in swale.checks:
        foot = check.top / 2 + check.side_slope * check.height
        middle, top, half = check.chainage, bed + check.height, check.top / 2
        made.shape([middle - foot, middle - half, middle + half, middle + foot],
                   [bed, top, top, bed], BANK, "check")
    for first, last in swale.route.tight:
        made.mark(first, last, bed, "tight")
    made.levels([("bed", bed), ("sill", level), ("crest", built)])
    made.chainage()


def draw_stations(figure: Figure, swale: Swale, system: str, left: float, bottom: float,
                  wide: float, high: float, stakes: Sequence[tuple[int, float]] = ()) -> None:
    """Draw sections at some stations beside one another, in a place on a figure [in]; `stakes` as
    of `stakes_near`."""
    told = told_stations(swale)
    share = wide / DRAWN
    for i, station in enumerate(told):
        station_section(Section(figure, left + i * share, bottom, share - 0.1, high), swale,
                        station, system, stakes_near(station.chainage, stakes))


__all__ = ["draw_stations", "floor_points", "station_section", "swale_profile",
           "swale_section", "told_stations"]
