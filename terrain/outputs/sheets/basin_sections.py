"""Sections of basins: across a wall at its highest, with the pit behind it, and along a pit."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.long_profiles import LongProfile
from terrain.outputs.sheets.sections import BANK, CUT, GROUND, Level, Section
from terrain.units import shown
from terrain.works.basin import Basin
from terrain.works.footprints import cut_edge
from terrain.works.wall_and_pit import lowered_ground

FloatArray = NDArray[np.float64]

#: A pit's side is followed so far beyond its rim. [m]
FURTHEST = 30.0


def basin_section(made: Section, basin: Basin, dem: Dem, system: str) -> None:
    """Draw the section of a basin of any form."""
    (wall_section if basin.has_wall else dug_section)(made, basin, dem, system)


def _across_wall(basin: Basin, dem: Dem) -> tuple[FloatArray, FloatArray, float]:
    """Where a wall is highest, the way from its water to its dry side, and the ground there."""
    from shapely.geometry import LineString

    line = LineString(basin.line)
    spots = [line.interpolate(s) for s in np.linspace(0, line.length, 200)]
    heights = dem.height_at([s.x for s in spots], [s.y for s in spots])
    low = int(np.nanargmin(heights))
    ahead, behind = spots[min(low + 2, 199)], spots[max(low - 2, 0)]
    along = np.array([ahead.x - behind.x, ahead.y - behind.y])
    along = along / np.hypot(*along)
    away = np.array([-along[1], along[0]])
    pool = basin.outline.representative_point()
    at = np.array([spots[low].x, spots[low].y])
    if (np.array([pool.x, pool.y]) - at) @ away > 0:
        away = -away
    return at, away, float(heights[low])


def wall_section(made: Section, basin: Basin, dem: Dem, system: str) -> None:
    """Draw the section across a wall at its highest; the water to the left."""
    assert basin.profile is not None
    wall = basin.profile
    top, wet, dry = wall.top, wall.wet_slope, wall.dry_slope
    at, away, lowest = _across_wall(basin, dem)
    height = basin.crest - lowest
    built = wall.settlement * height  # above the settled crest
    reach = max(wet * height + top, 3 * height, 3.0) * 1.5
    if basin.rim is not None:  # as far as the pit's cut
        edge = cut_edge(basin, dem)
        pit = float((((basin.rim if edge is None else edge) - at) @ -away).max()) + 2 * height
        reach = min(max(reach, pit), 6 * reach)
    tail = max(dry * (height + built) + top, 3.0) * 1.25
    s = np.linspace(-reach, tail, 320)
    x, y = at[0] + s * away[0], at[1] + s * away[1]
    read = dem.height_at(x, y)
    natural = np.where(np.isfinite(read), read, np.nanmean(read)) - basin.crest
    ground = np.where(s < 0, lowered_ground(basin, x, y, natural + basin.crest) - basin.crest,
                      natural)
    water = basin.sill.level - basin.crest
    foot = float(np.interp(0.0, s, natural)) - wall.strip
    trench = foot - wall.cutoff_depth
    bottom = min(float(ground.min()) - 0.12 * height, trench - 0.06 * height)
    made.head("Section at the wall's highest, same scale both ways")

    def level(value: float) -> str:
        return shown(basin.crest + value, "level", system)

    peak = water + basin.sill.head
    beside = [
        Level(top / 2, built, f"crest as built {level(built)}", sy.EARTH),
        Level(top / 2, 0.0, f"crest settled {level(0.0)}", sy.EARTH),
        Level(-top / 2 - wet * (built - peak), peak, f"water, design peak {level(peak)}",
              sy.WATER),
        Level(-top / 2 - wet * (built - water), water, f"sill, full {level(water)}", sy.WATER),
        Level(0.0, foot + wall.strip, f"ground {level(foot + wall.strip)}"),
        Level(wall.cutoff_width / 2, trench, f"trench floor {level(trench)}")]
    before = []
    if basin.rim is not None:
        deep = basin.floor - basin.crest
        before.append(Level(float(s[int(np.argmin(ground + 1e-6 * s))]), deep,
                            f"pit floor {level(deep)}"))
    bottom = made.frame(-reach, tail, bottom, built, made.room([b.words for b in beside]), 34,
                        made.room([b.words for b in before]) if before else 8, trench)
    p = made.point
    made.between(s, np.full_like(s, bottom), ground, GROUND)
    made.between(s, ground, natural, CUT, zorder=2.5, gid="cut")
    face = built + np.minimum(0.0, np.where(s < 0, (s + top / 2) / wet, -(s - top / 2) / dry))
    settled = np.minimum(face, 0.0)
    made.between(s, ground, np.maximum(face, ground), BANK, sy.EARTH, 4, "wall")
    wetted = (s < 0) & (np.maximum(settled, ground) < water)
    if wetted.any():
        floor, end = np.maximum(face, ground)[wetted], float(s[wetted].max())
        start = float(s[wetted].min())
        made.between(s[wetted], floor, np.full(int(wetted.sum()), water), sy.POOL, zorder=3,
                     gid="water")
        made.line([(start, water), (end, water)], sy.WATER, 1.4)
        made.line([(start, peak), (min(end + wet * basin.sill.head, 0.0), peak)], sy.WATER, 0.9,
                  (0, (1.5, 1.5)), gid="peak")
        made.water_mark(start + (end - start) * 0.35, water)
    made.surface(s, np.maximum(face, ground), natural)
    made.line([(-top / 2, 0.0), (top / 2, 0.0)], sy.PAPER, 1.0, (0, (3, 2)), 5)
    side = wall.cutoff_width / 2 + wall.cutoff_slope * wall.cutoff_depth
    made.fill([(-side, foot), (-wall.cutoff_width / 2, trench), (wall.cutoff_width / 2, trench),
               (side, foot)], BANK, sy.EARTH, 4, "trench")
    made.levels(beside)
    made.levels(before, right=False)
    if basin.rim is not None:
        _pit_slopes(made, s, ground, natural)
    # Its height is written above it: the lines of its levels run through all that is beside it.
    made.across(-top / 2, top / 2, built + 9 * p, f"top {shown(top, 'size', system)}, "
                f"{shown(height + built, 'size', system)} high as built", above=True)
    made.up(0.0, float(np.interp(0.0, s, natural)), built, "")
    made.slope((-top / 2 - wet * (height + built), -height), (-top / 2, built), True)
    made.slope((top / 2, built), (top / 2 + dry * (height + built), -height), True)
    made.across(-wall.cutoff_width / 2, wall.cutoff_width / 2, trench - 7 * p,
                f"trench {shown(wall.cutoff_width, 'size', system)}")
    made.key(["ground", *(["cut"] if basin.rim is not None else []), "fill", "water"])


def _pit_slopes(made: Section, s: FloatArray, ground: FloatArray, natural: FloatArray) -> None:
    """Write the slope of a pit's sides beside them."""
    steep = np.gradient(ground, s)
    on = np.flatnonzero((np.abs(steep) > 0.2) & (ground < natural - 0.02))
    for run in np.split(on, np.flatnonzero(np.diff(on) > 1) + 1):
        if len(run) > 3:
            a, b = int(run[1]), int(run[-2])
            made.slope((float(s[a]), float(ground[a])), (float(s[b]), float(ground[b])),
                       above=False)


def dug_section(made: Section, basin: Basin, dem: Dem, system: str, across: bool = False) -> None:
    """Draw the section along a pit's longer way, or across that, through its middle."""
    from shapely.geometry import LineString

    shape = basin.outline
    ring = np.asarray(shape.minimum_rotated_rectangle.exterior.coords)
    sides = [ring[1] - ring[0], ring[2] - ring[1]]
    way = max(sides, key=lambda v: float(np.hypot(*v)))
    long = float(np.hypot(*way))
    way = way / long
    if across:
        way = np.array([way[1], -way[0]])
    middle = shape.representative_point()
    probe = LineString([(middle.x - way[0] * 2 * long, middle.y - way[1] * 2 * long),
                        (middle.x + way[0] * 2 * long, middle.y + way[1] * 2 * long)])

    def chord(rise: float) -> tuple[float, float] | None:
        inner = shape.buffer(-basin.batter * (basin.water_at_wall - rise), join_style="mitre")
        cut: Any = inner.intersection(probe)
        parts = [q for q in getattr(cut, "geoms", [cut]) if q.geom_type == "LineString"
                 and not q.is_empty]
        if not parts:
            return None
        part = max(parts, key=lambda q: q.length)
        at = sorted((c[0] - middle.x) * way[0] + (c[1] - middle.y) * way[1]
                    for c in (part.coords[0], part.coords[-1]))
        return at[0], at[1]

    depth, batter, head = basin.water_at_wall, basin.batter, basin.sill.head
    rim, floor = chord(depth), chord(0.0)
    made.head(f"Section {'across' if across else 'along'} the pit, same scale both ways")
    if rim is None:
        return
    spare = max((rim[1] - rim[0]) * 0.16, 1.5)
    out = [_comes_out(dem, (middle.x + at * way[0], middle.y + at * way[1]), sign * way,
                      basin.sill.level, batter) for at, sign in zip(rim, (-1, 1), strict=True)]
    s = np.linspace(rim[0] - out[0] - spare, rim[1] + out[1] + spare, 480)
    ground = dem.height_at(middle.x + s * way[0], middle.y + s * way[1]) - basin.sill.level
    ground = np.where(np.isfinite(ground), ground, 0.0)
    pit = [(rim[0], 0.0)] + ([(floor[0], -depth), (floor[1], -depth)] if floor else []) + [
        (rim[1], 0.0)]
    # Above the water its sides go on at the same slope until they meet the ground.
    within = np.interp(s, *np.array(pit).T)
    beyond = np.maximum(rim[0] - s, s - rim[1])
    slope_on = beyond / batter if batter else np.where(beyond > 0, np.inf, 0.0)
    dug = np.minimum(np.where(beyond > 0, slope_on, within), ground)
    bottom = -depth * 1.3

    def level(value: float) -> str:
        return shown(basin.sill.level + value, "level", system)

    beside = [Level(rim[1], 0.0, f"sill, full {level(0.0)}", sy.WATER)]
    if head > 0:
        beside.append(Level(rim[1], head, f"water, design peak {level(head)}", sy.WATER))
    before = [Level(floor[0], -depth, f"floor {level(-depth)}")] if floor else []
    bottom = made.frame(float(s[0]), float(s[-1]), bottom, float(max(ground.max(), 0.0)),
                        made.room([b.words for b in beside]), 40,
                        made.room([b.words for b in before]) if before else 8, -depth)
    p = made.point
    made.between(s, np.full_like(s, bottom), dug, GROUND)
    made.between(s, dug, ground, CUT, zorder=2.5, gid="cut")
    made.between(s, dug, np.where(beyond <= 0, np.minimum(0.0, np.inf), dug), sy.POOL, zorder=3,
                 gid="water")
    made.surface(s, dug, ground)
    made.line([(rim[0], 0.0), (rim[1], 0.0)], sy.WATER, 1.4)
    made.water_mark(rim[0] + (rim[1] - rim[0]) * 0.3, 0.0)
    if head > 0:
        made.line([(rim[0], head), (rim[1], head)], sy.WATER, 0.9, (0, (1.5, 1.5)), gid="peak")
    made.levels(beside)
    made.levels(before, right=False)
    made.up(rim[0] - 9 * p, -depth, 0.0, shown(depth, "size", system), right=False)
    made.across(rim[0], rim[1], float(max(ground.max(), head)) + 12 * p,
                f"rim {shown(rim[1] - rim[0], 'length', system)}", above=True)
    if floor:
        made.across(floor[0], floor[1], -depth - 7 * p,
                    f"floor {shown(floor[1] - floor[0], 'length', system)}; sides {batter:g}:1")
    made.key(["ground", "cut", "water"])


def _comes_out(dem: Dem, at: tuple[float, float], way: FloatArray, level: float, batter: float
               ) -> float:
    """How far beyond a place on the rim a pit's side comes out of the ground. [m]"""
    if not batter:
        return 0.0
    far = np.arange(0.0, FURTHEST, 0.05)
    ground = dem.height_at(at[0] + far * way[0], at[1] + far * way[1])
    above = np.nan_to_num(ground, nan=-np.inf) > level + far / batter
    return float(FURTHEST if above.all() else far[np.argmin(above)])


def wall_long_profile(figure: Figure, left: float, bottom: float, wide: float, high: float,
                      basin: Basin, dem: Dem, system: str) -> None:
    """Draw a wall along its line, in a place on a figure: ground, crest, cut-off trench, spillway.
    """
    from shapely.geometry import LineString, Point

    wall = basin.profile
    assert wall is not None
    at, ground, built, sill = wall.stations, wall.ground, wall.built, basin.sill.level
    high_at = wall.heights > 0
    trench = np.where(high_at, ground - wall.strip - wall.cutoff_depth, np.nan)
    lowest = float(np.nanmin([np.nanmin(trench), ground.min()]))
    line = LineString(basin.line)
    spot = Point(basin.sill_x, basin.sill_y)
    spills_at = float(line.project(spot))
    beside = line.distance(spot) < max(2 * dem.cell, wall.top)
    made = LongProfile(figure, left, bottom, wide, high, float(at[-1]), lowest,
                       float(max(built.max(), ground.max())), system, beside=1.62)
    made.band(at, np.full_like(at, lowest - 1e3), ground, GROUND)
    made.band(at, ground, np.maximum(built, ground), BANK)
    made.line("ground", at, ground)
    made.line("built", at, np.where(built >= ground, built, np.nan))
    made.line("settled", at, np.where(high_at, wall.crest, np.nan))
    made.line("trench", at, trench)
    made.line("level", at, np.where(ground < sill, sill, np.nan), "sill")
    made.line("peak", at, np.where(ground < sill + basin.sill.head, sill + basin.sill.head, np.nan))
    if beside:
        made.pin(spills_at, sill, "spillway")
    made.head("Long profile of the wall", [
        ("ground", "ground now"), ("built", "crest as built"), ("settled", "settled"),
        ("trench", "cut-off trench"), ("level", "sill"), ("peak", "design peak")])
    made.levels([("crest built", float(built.max())), ("settled", wall.crest), ("sill", sill),
                 ("lowest ground", float(ground.min()))])
    made.chainage()
