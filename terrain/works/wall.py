"""A basin behind a wall across a valley."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.terrain import Terrain
from terrain.units import METRES, in_both
from terrain.works.basin import Basin, drowning
from terrain.works.designed_ground import FloatArray, Grid, along
from terrain.works.ground_of_bank import wet_left
from terrain.works.permits import permit_cautions
from terrain.works.pool import Levels, flood, lowest_pass
from terrain.works.rules import ENGINEER, OWNER, Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.sill import Sill
from terrain.works.wall_profile import WallProfile, top_width, wall_profile

#: Less than this is printed as nothing. [m3]
NOTHING = 0.05
#: A bank that leaves less than this share of its pool is not worth its earth; common practice, no
#: source. [-]
LITTLE = 0.1
#: A crest further off the ground than this is in another unit, if that brings it near; common
#: practice, no source. [m]
OFF_GROUND = 30.0
#: A bank's side is followed so many times as far as on level ground.
FURTHER = 1.6


def sill_below(crest: float, rules: Rulebook) -> float:
    """Sill level under a crest: freeboard and the spillway's own depth of flow. [m]"""
    return crest - rules["basin freeboard"] - rules["spillway head"]


def design_wall(terrain: Terrain, wall: Sequence[tuple[float, float]], crest: float,
                sill_level: float | None, rules: Rulebook, where: str,
                rock: float | None = None, dug: Callable[[Dem], Dem] | None = None) -> Basin:
    """Design a basin behind a wall across a valley.

    Parameters
    ----------
    wall : two or more points
        Centreline. [m]
    crest : float
        Settled. [m]
    sill_level : float, optional
        The crest less `basin freeboard` and `spillway head` if left out. [m]
    rock : float, optional
        Depth below the ground at which rock lies. [m]
    dug : callable, optional
        Gives the ground of a window with a pit in it.

    Raises
    ------
    InputError
        If the ends lie lower than the crest's sill, the sill is not below the crest, or the
        wall holds nothing that its own bank does not fill.
    """
    dem = terrain.dem
    level = sill_below(crest, rules) if sill_level is None else sill_level
    profile = measured(dem, wall, crest, level, rules, where, rock)
    ends = profile.ground[[0, -1]]
    if (ends < level).any():
        i = int(np.argmin(ends))
        raise InputError(where, f"the ground at the wall's end {dem.named(*wall[-i])} is at "
                         f"{in_both(ends[i], 'level')}, below the sill at "
                         f"{in_both(level, 'level')}, so water would run round it",
                         "Lengthen the wall into higher ground, or lower the crest")
    pool = flood(terrain, wall, level, where, dug, _settled(profile, wall))
    gross = pool.curve.capacity
    storage = pool.net.capacity
    depth = float(np.maximum(level - profile.ground, 0.0).max())
    spill = _spills_at(dem, wall, profile, rules)
    sill = Sill(level, rules["sill shortest"], 0.0, 0.0, rules["sill coefficient"])
    if storage < NOTHING:
        raise InputError(where, f"the bank fills its pool: of {in_both(gross, 'volume')} behind a "
                         f"thin wall nothing is left behind one {in_both(profile.top, 'size')} "
                         "wide at its top", "Choose a place with more room behind it, raise sill "
                         "and crest, or dig a basin")
    cautions = _cautions(profile, depth, pool.depth, storage, gross - storage, rules, rock)
    if pool.beside_void:
        cautions.append(f"The pool borders on ground of which {dem.source} has no height: it may "
                        "hold more, or run out there. Measure that ground; what you find decides.")
    if (ends < crest).any():
        low = float(crest - ends.min())
        cautions.append(f"The ground at an end of the wall is {in_both(low, 'size')} lower than "
                        "the crest: tie the bank back into ground at crest level. "
                        f"{ENGINEER[:1].upper()}{ENGINEER[1:]}.")
    if _leaves_raster(dem, wall, profile, pool.outline):
        cautions.append(f"Its bank runs on to ground of which {dem.source} has no height, so where "
                        "its foot lies and what earth it takes there is not known: measure that "
                        "ground, or move the wall; what you find decides.")
    return Basin("wall", np.asarray(wall, float), crest, sill, float(spill[0]), float(spill[1]),
                 gross, storage, pool.curve, pool.net,
                 float(pool.net.areas[-1]), profile.earth, profile.cutoff + profile.topsoil,
                 float(profile.heights.max()), depth, pool.cells, pool.outline, tuple(cautions),
                 profile=profile, topsoil=profile.topsoil, pool_depth=pool.depth,
                 outflank=lowest_pass(dem, wall, pool, level, crest))


def measured(dem: Dem, wall: Sequence[tuple[float, float]], crest: float, sill: float,
             rules: Rulebook, where: str, rock: float | None = None) -> WallProfile:
    """A wall along its centreline on the raster's ground.

    Raises
    ------
    InputError
        If its sill is not below its crest, it crosses itself, or it lies off the raster or over a
        hole in it.
    """
    from shapely.geometry import LineString

    for x, y in wall:
        dem.cell_of(x, y, where)
    if sill >= crest:
        raise InputError(where, f"the sill at {in_both(sill, 'level')} is not below the crest "
                         f"at {in_both(crest, 'level')}", "Lower the sill or raise the crest")
    line = LineString(wall)
    if not line.is_simple or not line.length > 0:
        raise InputError(where, "the wall crosses itself or has no length",
                         "Draw its points in order from one end to the other")
    count = max(int(np.ceil(line.length / (min(dem.cell, 1.0) / 2))), 8)
    stations = np.linspace(0.0, line.length, count + 1)
    points = [line.interpolate(s) for s in stations]
    ground = dem.height_at([p.x for p in points], [p.y for p in points])
    if np.isnan(ground).any():
        raise InputError(where, f"the wall crosses ground of which {dem.source} has no height",
                         "Move the wall, or use a raster without that hole")
    _refuse_other_unit(crest, float(np.median(ground)), where)
    return wall_profile(stations, ground, crest, rules, rock)


def _refuse_other_unit(crest: float, ground: float, where: str) -> None:
    """Refuse a crest far off the ground that would lie near it if feet were metres. [m]"""
    if abs(crest - ground) <= OFF_GROUND:
        return
    for factor, written, meant in ((METRES["ft"], "metres", "feet"),
                                   (1 / METRES["ft"], "feet", "metres")):
        if abs(crest * factor - ground) <= OFF_GROUND:
            raise InputError(where, f"the crest at {in_both(crest, 'level')} lies far off the "
                             f"ground under the wall, at {in_both(ground, 'level')}",
                             f"It looks like {meant} taken as {written}: write it with its unit, "
                             f"{in_both(crest * factor, 'level')}")


def _settled(profile: WallProfile, wall: Sequence[tuple[float, float]]) -> Levels:
    """What gives the settled bank's levels on the wet side of a wall over a window, -inf where none
    stands. [m]"""
    line, (first, last) = np.asarray(wall, float), profile.stands

    def levels(fine: Dem) -> FloatArray:
        reach = profile.top / 2 + FURTHER * profile.wet_slope * float(profile.heights.max())
        place = along(line, Grid(fine.left, fine.top, fine.cell, *fine.shape), reach)
        level = profile.crest - (np.maximum(place.distance - profile.top / 2, 0.0)
                                 / profile.wet_slope)
        there = (place.chainage >= first) & (place.chainage <= last)
        return np.where(there, level, -np.inf)
    return levels


def _spills_at(dem: Dem, wall: Sequence[tuple[float, float]], profile: WallProfile,
               rules: Rulebook) -> FloatArray:
    """The end of the bank whose spillway needs less cutting: the lower ground past it. [m]"""
    ends = profile.ends(np.asarray(wall, float))
    out = profile.top / 2 + np.linspace(0.0, rules["sill shortest"], 9)
    past = [dem.height_at(*(end + out[:, None] * way).T) for end, way in ends]
    means = [float(ground.mean()) for ground in past]
    last = means[1] < means[0] - 1e-3 or np.isnan(means[0])
    return ends[int(last)][0]


def _leaves_raster(dem: Dem, wall: Sequence[tuple[float, float]], profile: WallProfile,
                   pool: Any) -> bool:
    """Whether a side of a bank as built comes to ground of unknown height before its foot."""
    from shapely.geometry import LineString

    line, stands, at = LineString(wall), profile.heights > 0, profile.stations
    high = float((profile.built - profile.ground).max())
    near = [np.array([line.interpolate(s).coords[0] for s in np.clip(at + step, 0, line.length)])
            for step in (-0.05, 0.0, 0.05)]
    way = near[2] - near[0]
    way /= np.hypot(*way.T)[:, None]
    wet = np.column_stack([-way[:, 1], way[:, 0]])
    if not wet_left(np.asarray(wall, float), pool):
        wet = -wet
    for side, slope in ((wet, profile.wet_slope), (-wet, profile.dry_slope)):
        out = np.linspace(0.0, profile.top / 2 + FURTHER * slope * high, 100)
        spots = near[1][:, None] + out[:, None] * side[:, None]
        ground = dem.height_at(spots[..., 0], spots[..., 1])
        level = profile.built[:, None] - np.maximum(out - profile.top / 2, 0.0) / slope
        ended = np.maximum.accumulate(level <= ground, axis=1)
        if (np.isnan(ground) & ~ended)[stands].any():
            return True
    return False


def outflanking(basin: Basin, dem: Dem) -> str | None:
    """What it means that water would get round a wall below its crest; None where it would not.

    By then the basin's sill has the depth of its design peak on it.
    """
    found = basin.outflank
    if found is None:
        return None
    peak = basin.sill.level + basin.sill.head
    below = basin.crest - found.level
    if below < 0.005:
        return None
    lower = (f", and {in_both(peak - found.level, 'size')} below the water of the design peak: "
             "it would run out there, over ground that nobody made ready for it"
             if found.level < peak else "")
    return (f"Ground by which water would get round the wall, at {dem.named(found.x, found.y)}, "
            f"stands at {in_both(found.level, 'level')}: {in_both(below, 'size')} below the "
            f"crest{lower}. Lengthen the wall, or raise the ground there, to the level of the "
            f"crest; {ENGINEER}.")


def _cautions(profile: WallProfile, depth: float, deepest: float, storage: float,
              in_pool: float, rules: Rulebook, rock: float | None) -> list[str]:
    """Of a wall with water of a depth against it, over the ground under its centreline, and of
    another where it is deepest. [m]"""
    said = []
    height = float(profile.heights.max())
    if depth >= rules["engineer water"]:
        said.append(f"{in_both(depth, 'size')} of water against the bank: this is a dam. From "
                    f"{in_both(rules['engineer water'], 'length')} on have it designed and "
                    f"permitted by licensed people before any digging "
                    f"({rules.cited('engineer water')}).")
    elif depth >= rules["embankment water"]:
        said.append(f"{in_both(depth, 'size')} of water against the bank: from "
                    f"{in_both(rules['embankment water'], 'length')} on the rules for dams apply "
                    f"({rules.cited('embankment water')}): ask before digging.")
    if deepest > rules["drowning depth"]:
        said.append(drowning(deepest, rules))
    said += permit_cautions(height, storage, rules)
    said.append("Build the bank in thin, damp, rolled layers on stripped ground with a cut-off "
                "trench; pressing with the bucket or tracks is not compaction. Keep trees off it. "
                f"{ENGINEER[:1].upper()}{ENGINEER[1:]} how.")
    said.append(buried_lines(rules))
    said += slope_cautions(profile, rules)
    _, name = top_width(height, rules)
    if name != "wall top width":
        said.append(f"So high a wall is {in_both(profile.top, 'size')} wide at its top "
                    f"({rules.cited(name)}).")
    if profile.cutoff_depth < rules["cut-off depth"] and rock is not None:
        said.append(f"Rock at {in_both(rock, 'size')} leaves the cut-off trench "
                    f"{in_both(max(profile.cutoff_depth, 0.0), 'size')} of soil: clean the rock, "
                    f"fill its cracks, and have it looked at before earth goes on; {ENGINEER}.")
    gross = storage + in_pool
    if storage < LITTLE * gross:
        said.append(f"Its bank fills its pool: of {in_both(gross, 'volume')} behind a thin wall it "
                    f"leaves {in_both(storage, 'volume')}, for {in_both(profile.fill, 'earth')} of "
                    "earth. Choose a place with more room behind it, raise sill and crest, or dig "
                    f"a basin; {OWNER}.")
    elif in_pool > storage:
        said.append(f"The bank itself fills {in_pool / gross:.0%} of its pool: a wall elsewhere, "
                    f"or a dug basin, holds more for the earth; {OWNER}.")
    said.append("The spillway goes into natural ground beside the wall, never over the fill; "
                f"{ENGINEER} where.")
    return said


def slope_cautions(profile: WallProfile, rules: Rulebook) -> list[str]:
    """Whether a wall's sides are flatter than the published limits."""
    wet, dry = profile.wet_slope, profile.dry_slope
    said = []
    if wet + dry < rules["wall slopes together"]:
        said.append(f"Its sides of {wet:g}:1 and {dry:g}:1 come to {wet + dry:g}:1 together; "
                    f"{rules['wall slopes together']:g}:1 is the least "
                    f"({rules.cited('wall slopes together')}). Flatten one of them.")
    for side, slope, name in (("wet", wet, "wall wet slope least"),
                              ("dry", dry, "wall dry slope least")):
        if slope < rules[name]:
            said.append(f"Its {side} side at {slope:g}:1 is steeper than {rules[name]:g}:1 "
                        f"({rules.cited(name)}). Flatten it.")
    return said
