"""A wall, and behind it a pit whose spoil builds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.basin import Basin, drowning
from terrain.works.dug import outlined, pit_cautions, refuse_rock
from terrain.works.pit import Pit, apart_from, inset_area, pit_in, sides
from terrain.works.rules import Rulebook
from terrain.works.wall import design_wall, measured, sill_below
from terrain.works.wall_profile import WallProfile

#: No pit is dug deeper than this; common practice, no source. [m]
DEEPEST = 6.0


def lowered_ground(basin: Basin, x: NDArray[np.float64], y: NDArray[np.float64],
                   ground: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ground at points with a basin's pit in it; as it is where there is none. [m]"""
    from shapely.geometry import Polygon

    if basin.rim is None:
        return ground
    shape = Polygon(basin.rim)
    pit = sides(basin.floor + basin.pit_depth, basin.batter, apart_from(shape, x, y),
                basin.pit_depth)
    return np.minimum(ground, pit)


def design_wall_and_pit(terrain: Terrain, wall: Sequence[tuple[float, float]], crest: float,
                        sill_level: float | None, rim: Sequence[tuple[float, float]],
                        depth: float | None, batter: float, rules: Rulebook, where: str,
                        rock: float | None = None) -> Basin:
    """Design a basin behind a wall with a pit in its pool.

    Parameters
    ----------
    wall, crest, sill_level
        As of `design_wall`.
    rim : three or more points
        Outline of the pit at the level of the lowest ground on it. [m]
    depth : float, optional
        Of its floor below that ground; left out, what makes its spoil build the wall. [m]
    batter : float
        Horizontal over vertical. [-]
    rock : float, optional
        Depth below the ground at which rock lies. [m]

    Raises
    ------
    InputError
        For all that is wrong with a wall or a pit; and if the pit cuts into the wall's foot, lies
        outside the pool, or cannot give the earth that the wall takes.

    Notes
    -----
    The pool is that of the ground with the pit in it, so no water is counted twice.  Topsoil of
    pit and wall goes into no bank; what the cut-off trench gives does.
    """
    dem = terrain.dem
    shape = outlined(rim, dem, where)
    level = sill_below(crest, rules) if sill_level is None else sill_level
    profile = measured(dem, wall, crest, level, rules, where, rock)
    pit = pit_in(dem, shape, batter, where)
    clear = clearance(wall, profile, pit)
    if clear < 0:
        raise InputError(where, f"the pit reaches {in_both(-clear, 'length')} into the foot of the "
                         "wall", "Draw it further back, at best "
                         f"{in_both(rules['pit from wall'], 'length')} clear of the wall's foot")
    balanced = depth is None
    if depth is None:
        depth = balancing_depth(pit, profile, rules, where)
    if inset_area(shape, batter * depth) <= 0:
        raise InputError(where, f"sides of {batter:g}:1 meet before they are {depth:.2f} m deep",
                         "Widen the shape, or make it shallower or steeper")
    floor = pit.level - depth
    refuse_rock(dem, shape, floor, batter * depth, rock, where)
    made = design_wall(terrain, wall, crest, level, rules, where, rock, pit.lowered(depth))
    if not made.outline.intersects(shape):
        raise InputError(where, "the pit does not lie in the pool behind the wall",
                         "Draw it where the pool is, on the side that the water comes from")
    cut, topsoil = pit.cut(depth), pit_topsoil(pit, depth, rules)
    deep = level - floor
    cautions = list(made.cautions)
    if deep > rules["drowning depth"] >= made.deepest_water:
        cautions.append(drowning(deep, rules))
    if clear < rules["pit from wall"]:
        cautions.append(f"The pit comes within {in_both(clear, 'length')} of the wall's foot; keep "
                        f"{in_both(rules['pit from wall'], 'length')} "
                        f"({rules.cited('pit from wall')}), or the bank may slide into it.")
    cautions += [said for said in pit_cautions(depth, pit, rules) if said not in cautions]
    return replace(made, form="wall and pit", cut=made.cut + cut, pit=cut, batter=batter,
                   topsoil=made.topsoil + topsoil, rim=np.asarray(shape.exterior.coords, float),
                   pit_depth=depth, floor=floor, balanced=balanced, cautions=tuple(cautions))


def clearance(wall: Sequence[tuple[float, float]], profile: WallProfile, pit: Pit) -> float:
    """Ground left between a wall's wet foot and a pit, below 0 where they overlap. [m]"""
    from shapely.geometry import LineString

    line = LineString(wall)
    on = np.array([line.interpolate(s).coords[0] for s in profile.stations])
    high = profile.heights * (1 + profile.settlement)
    foot = np.where(high > 0, profile.top / 2 + profile.wet_slope * high, 0.0)
    return float((pit.away(on) - foot).min())


def pit_topsoil(pit: Pit, depth: float, rules: Rulebook) -> float:
    """Topsoil in a pit's cut. [m3]"""
    return min(rules["topsoil depth"] * pit.area(depth), pit.cut(depth))


def balancing_depth(pit: Pit, profile: WallProfile, rules: Rulebook, where: str) -> float:
    """Depth at which a pit and the cut-off trench give just the earth that the wall takes. [m]

    Raises
    ------
    InputError
        If no depth does.
    """
    share = rules["compacted per bank"]

    def spare(depth: float) -> float:
        usable = pit.cut(depth) - pit_topsoil(pit, depth, rules) + profile.cutoff
        return usable * share - profile.fill

    if spare(0.0) > 0:
        raise InputError(where, "levelling the ground of the pit gives more earth than the wall "
                         "takes, before it is any deeper", "Draw it smaller, or state its depth")
    low, high = 0.0, _deepest(pit)
    if spare(high) < 0:
        raise InputError(where, f"dug as deep as its sides allow, {in_both(high, 'size')}, the "
                         f"pit leaves {in_both(-spare(high), 'earth')} of compacted earth "
                         "wanting for the wall",
                         "Draw it larger, or state its depth and bring earth")
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if spare(middle) > 0 else (middle, high)
    return high


def _deepest(pit: Pit) -> float:
    """Depth at which the sides of a pit meet, or the deepest that is dug. [m]"""
    inside = float(-pit.apart.min())
    return min(inside / pit.batter, DEEPEST) if pit.batter else DEEPEST
