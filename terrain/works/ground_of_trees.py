"""The designed ground of tree basins: bowls, crescents, trenches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from shapely import LineString
from shapely.geometry import Point, Polygon

from terrain.inputs.dem import Dem
from terrain.works.crescent import Crescent
from terrain.works.designed_ground import (
    Breakline,
    FloatArray,
    Grid,
    WorkShape,
    along,
    bounds_of,
    level_line,
)
from terrain.works.ground_of_pit import pit_levels, pit_of
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import MOUND, TreeShape, mound_over

Levels = Callable[[Grid], tuple[FloatArray, FloatArray]]
#: Points on a bowl's rim.
ROUND = 96


def tree_shape(dem: Dem, tree: TreeShape, name: str, rules: Rulebook, head: float = 0.0
               ) -> WorkShape:
    """What a tree basin makes of the ground.

    The mound about a bowl's trunk is left standing, or heaped where the ground lies lower than its
    top; as its curve does, water is reckoned without it. A trench is shown without the gravel that
    fills it.

    Parameters
    ----------
    head : float
        Depth over its sill at the design peak. [m]
    """
    if tree.crescent is not None:
        return _crescent(dem, tree.crescent, name)
    sill = (tree.spill_x, tree.spill_y)
    if tree.form == "bowl":
        rim = Point(tree.x, tree.y).buffer(tree.crown / 2, quad_segs=ROUND // 4)
        side = rules["tree bowl side slope"]
        pit = pit_of(dem, rim, tree.level, tree.depth, side, name, sill)
        top = tree.level + mound_over(tree, head, rules)
        foot = MOUND / 2 + top - (tree.level - tree.depth)
        rings = tuple(Breakline(line, level_line(np.asarray(
            Point(tree.x, tree.y).buffer(reach, quad_segs=ROUND // 4).exterior.coords), level))
            for line, reach, level in (("top of the mound", MOUND / 2, top),
                                       ("foot of the mound", foot, tree.level - tree.depth)))
        return replace(pit, levels=partial(_with_mound, pit.levels, tree, top),
                       for_water=pit.levels, breaklines=(*pit.breaklines, *rings))
    shape = pit_of(dem, tree.outline, tree.level, tree.depth, 0.0, name, sill)
    if tree.porosity == 1:
        return shape
    return replace(shape, for_water=partial(pit_levels, tree.outline, tree.level,
                                            tree.depth * tree.porosity, 0.0, 0.5))


def _with_mound(pit: Levels, tree: TreeShape, top: float, grid: Grid
                ) -> tuple[FloatArray, FloatArray]:
    """A bowl's levels with the mound about its trunk, its sides falling 1:1 to the floor."""
    dug, heaped = pit(grid)
    away = np.hypot(grid.x[None, :] - tree.x, grid.y[:, None] - tree.y)
    mound = top - np.maximum(away - MOUND / 2, 0.0)
    stands = mound > tree.level - tree.depth
    return (np.where(stands, np.maximum(dug, mound), dug),
            np.where(stands & (mound > dug), mound, heaped))


def _crescent(dem: Dem, made: Crescent, name: str) -> WorkShape:
    """An arc bund whose ends slope down to the water's level at its tips; where its earth is dug
    is not fixed, and no cut shows."""
    reach = made.top / 2 + made.side_slope * 2 * made.bund_height + 0.5
    inner, outer = (_beside(made.ridge, np.array(made.centre), off)
                    for off in (-made.top / 2, made.top / 2))
    lines = [Breakline("berm crest, inner edge", np.column_stack([inner, made.built])),
             Breakline("berm crest, outer edge", np.column_stack([outer, made.built])),
             Breakline("inner foot", level_line(made.arc, dem.height_at(*made.arc.T)))]
    whole = LineString(made.ridge).length
    chainage = np.linspace(0.0, whole, len(made.ridge))
    falls = np.minimum(made.built, made.level + np.minimum(chainage, whole - chainage)
                       / made.side_slope)
    pool = Polygon(made.pool)
    return WorkShape(name, bounds_of(made.ridge, reach), min(made.top, made.bund_height),
                     partial(_bund, made, reach), tuple(lines),
                     (np.column_stack([made.ridge, falls]),), made.ridge[[0]], made.level, pool)


def _beside(ridge: FloatArray, centre: FloatArray, off: float) -> FloatArray:
    away = ridge - centre
    return np.asarray(centre + away * (1 + off / np.hypot(*away.T)[:, None]))


def _bund(made: Crescent, reach: float, grid: Grid) -> tuple[FloatArray, FloatArray]:
    place = along(made.ridge, grid, reach)
    whole = LineString(made.ridge).length
    stations = np.linspace(0.0, whole, len(made.ridge))
    built = np.interp(place.chainage, stations, made.built)
    side = made.side_slope
    level = built - np.maximum(np.abs(place.off) - made.top / 2, 0.0) / side
    inward = np.minimum(place.chainage, whole - place.chainage) - place.past
    level = np.minimum(level, made.level + inward / side)
    return np.full(grid.shape, np.inf), np.where(np.isfinite(level), level, -np.inf)
