"""A drain's section to scale at a station, and its long profile from its head to its end."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.long_profiles import LongProfile
from terrain.outputs.sheets.sections import BANK, CUT, GROUND, Level, Section
from terrain.units import shown
from terrain.works.drain import LEAST_BANK, Drain

#: Look of a lining along the channel.
LININGS = {"grass": (sy.TREE, "-"), "stone": (sy.SOFT_INK, (0, (1, 0.8)))}


def drain_section(made: Section, drain: Drain, at: int, system: str) -> None:
    """Draw the channel at one of the drain's stations, on its own ground; downhill to the right.

    The lip on the downhill side is at (0, 0).
    """
    route, section = drain.route, drain.section
    side, depth, bed = section.side_slope, section.depth, section.width
    slope = float(np.clip(route.cross_slopes[at], 0.0, 0.9 / side))
    above, station = float(route.above[at]), float(route.stations[at])
    lip, wide = route.lip(station), bed + 2 * side * depth
    uphill = wide + max(above + slope * wide, 0.0) * side / (1 - side * slope)
    down = min(-above / (slope + 1 / side), wide / 2)  # uphill of the lip is above 0
    low = max(-above, 0.0) if -above > LEAST_BANK else 0.0
    high, top = low * drain.settlement, drain.bank_top if low else 0.0
    toe = (side * high + top + side * (high + low + slope * top) / (1 - side * slope)) if low else (
        max(-down, 0.0))
    west, east = uphill + 0.9, -(toe + 1.3)
    x = np.unique(np.concatenate([np.linspace(east, west, 400),
                                  [0.0, side * depth, side * depth + bed, wide]]))
    ground = above + slope * x
    floor = np.interp(x, [0.0, side * depth, side * depth + bed, wide], [0.0, -depth, -depth, 0.0])
    floor = np.where(x < 0, -x / side, np.where(x > wide, (x - wide) / side, floor))
    dug = np.minimum(ground, floor)
    foot = min(-depth, float(dug.min())) - 0.18
    made.head(f"Section at {shown(station, 'length', system)}, same scale both ways")

    def level(value: float) -> str:
        return shown(lip + value, "level", system)

    water = -depth + section.water
    low_side = (depth - section.water) * side
    beside = [Level(max(-down, 0.0), 0.0, f"lip {level(0.0)}", sy.EARTH),
              Level(-low_side, water, f"water, design peak {level(water)}", sy.WATER)]
    before = [Level(-side * depth - bed, -depth, f"bed {level(-depth)}")]
    foot = made.frame(-west, -east, foot, max(float(ground.max()), high),
                      made.room([b.words for b in beside]), 52,
                      made.room([b.words for b in before]), -depth)
    p = made.point
    made.between(-x, np.full_like(x, foot), dug, GROUND)
    made.between(-x, dug, ground, CUT, zorder=2.5, gid="cut")
    inside = (x >= 0) & (x <= wide)
    made.between(-x, dug, np.where(inside, water, -1e3), sy.POOL, zorder=3, gid="water")
    made.line([(-(wide - low_side), water), (-low_side, water)], sy.WATER, 1.4)
    if low:
        made.fill([(0.0, 0.0), (side * high, high), (side * high + top, high),
                   (toe, above - slope * toe), (-max(down, 0.0), above + slope * max(down, 0.0))],
                  BANK, sy.EARTH, 3.2, "bank")
    made.surface(-x, dug, ground)
    if section.lining in LININGS:
        colour, style = LININGS[section.lining]
        on = inside & (floor < ground)
        made.line(np.stack([-x[on], dug[on]], 1), colour, 2.6, style, 5.2, "lining")
    made.levels(beside)
    made.levels(before, right=False)
    made.up(-wide - 9 * p, -depth, 0.0, shown(depth, "size", system), right=False)
    if bed:
        made.across(-side * depth - bed, -side * depth, -depth - 7 * p,
                    f"bed {shown(bed, 'size', system)}")
    over = max(above + slope * uphill, high + (20 * p if low else 0.0)) + 8 * p
    made.across(-uphill, -down, over, f"cut {shown(uphill - down, 'size', system)} wide",
                above=True)
    for edge in (uphill, down):
        made.line([(-edge, above + slope * edge + 2 * p), (-edge, over + 4 * p)], sy.FAINT_INK,
                  0.6)
    made.slope((-wide, 0.0), (-side * depth - bed, -depth), above=False)
    if low:
        made.across(side * high, side * high + top, high + 5 * p,
                    f"bank {shown(top, 'size', system)}", above=True)
    made.key(["ground", "cut", *(["fill"] if low else []), "water",
              *([section.lining] if section.lining in LININGS else [])])


def drain_profile(figure: Figure, left: float, bottom: float, wide: float, high: float,
                  drain: Drain, system: str) -> None:
    """Draw ground, lip, bed and water at the design peak along a drain, in a place. [in]"""
    route, section = drain.route, drain.section
    at = route.stations
    lip = np.array([route.lip(float(s)) for s in at])
    ground, bed = lip + route.above, lip - section.depth
    water = bed + section.water
    made = LongProfile(figure, left, bottom, wide - 0.75, high, route.length, float(bed.min()),
                       float(max(lip.max(), ground.max())), system)
    made.head(f"Long profile from its head, grade {route.grade:.2%}",
              [("ground", "ground now"), ("lip", "lip"), ("peak", "water, design peak"),
               ("bed", "bed")])
    made.band(at, bed, water, sy.POOL)
    for name, level in (("bed", bed), ("peak", water), ("lip", lip), ("ground", ground)):
        made.line(name, at, level)
    made.levels([("lip", float(lip[0])), ("bed", float(bed[0]))])
    made.levels([("", float(lip[-1])), ("", float(bed[-1]))], right=True)
    made.chainage()
