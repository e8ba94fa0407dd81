"""Sections through a tree and its bowl, crescent or trench, down the slope."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.sections import BANK, CUT, GROUND, KEY, Level, Section
from terrain.units import shown
from terrain.works.lie import lie_of
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import MOUND, TreeShape, mound_over

FloatArray = NDArray[np.float64]

#: How much of a trunk is drawn. [m]
TRUNK = 0.35


def tree_section(made: Section, tree: TreeShape, name: str, dem: Dem, rules: Rulebook,
                 system: str, head: float) -> None:
    """Draw the section of a tree basin through its trunk; downhill to the right.

    Parameters
    ----------
    head : float
        Depth over its sill at the design peak. [m]
    """
    made.head(f"Section of {name}, same scale both ways")
    if tree.form == "bowl":
        _bowl(made, tree, dem, rules, system, mound_over(tree, head, rules))
        return
    draw = _crescent if tree.form == "crescent" else _trench
    draw(made, tree, dem, rules, system)


def _ground(tree: TreeShape, dem: Dem, west: float, east: float) -> tuple[FloatArray, FloatArray]:
    """Distances down the slope from the trunk, and the ground there above the sill. [m]"""
    radius = tree.crescent.radius if tree.crescent is not None else tree.crown / 2
    lie = lie_of(dem, tree.x, tree.y, radius)
    s = np.linspace(west, east, 360)
    read = dem.height_at(tree.x + s * lie.down_x, tree.y + s * lie.down_y) - tree.level
    plane = lie.level - tree.level - lie.slope * s
    return s, np.where(np.isfinite(read), read, plane)


def _level(tree: TreeShape, value: float, system: str) -> str:
    return shown(tree.level + value, "level", system)


def _trunk(made: Section, foot: float) -> None:
    made.line([(0.0, foot), (0.0, foot + TRUNK)], sy.TREE, 4.0, zorder=6, gid="trunk")


def _bowl(made: Section, tree: TreeShape, dem: Dem, rules: Rulebook, system: str, over: float
          ) -> None:
    side, depth, reach = rules["tree bowl side slope"], tree.depth, tree.crown / 2
    s, natural = _ground(tree, dem, -reach - 1.6, reach + 1.2)
    floor = reach - side * depth
    shape = np.maximum((np.abs(s) - reach) / side, -depth)
    mound = over - np.maximum(np.abs(s) - MOUND / 2, 0.0)
    dug = np.minimum(natural, np.maximum(shape, mound))  # the mound is ground left
    built = np.maximum(dug, np.where(mound > -depth, mound, -np.inf))
    low = -depth - 0.2
    beside = [Level(reach, 0.0, f"sill, full {_level(tree, 0.0, system)}", sy.WATER)]
    before = [Level(-floor, -depth, f"floor {_level(tree, -depth, system)}")]
    low = made.frame(float(s[0]), float(s[-1]), low,
                     float(max(natural.max(), over + TRUNK)),
                     made.room([b.words for b in beside]), 36,
                     made.room([b.words for b in before]), -depth)
    p = made.point
    made.between(s, np.full_like(s, low), dug, GROUND)
    made.between(s, dug, natural, CUT, zorder=2.5, gid="cut")
    made.between(s, dug, np.where(np.abs(s) < reach, 0.0, -1e3), sy.POOL, zorder=3, gid="water")
    made.between(s, dug, built, BANK, sy.EARTH, 4, "mound")
    made.surface(s, built, natural)
    made.line([(-reach, 0.0), (reach, 0.0)], sy.WATER, 1.3, zorder=3.5)
    _trunk(made, over)
    made.levels(beside)
    made.levels(before, right=False)
    made.water_mark(reach * 0.62, 0.0)
    made.up(-reach - 9 * p, -depth, 0.0, shown(depth, "size", system), right=False)
    made.across(-floor, floor, -depth - 6 * p, f"floor {shown(2 * floor, 'size', system)}")
    made.across(-reach, reach, max(float(natural.max()), over + TRUNK) + 6 * p,
                f"bowl and crown {shown(tree.crown, 'size', system)} across", above=True)
    made.slope((floor, -depth), (reach, 0.0), above=False)
    made.key(["ground", "cut", *(["fill"] if (built > dug + 1e-6).any() else []), "water"])


def _crescent(made: Section, tree: TreeShape, dem: Dem, rules: Rulebook, system: str) -> None:
    bund = tree.crescent
    assert bund is not None
    side, top = rules["crescent side slope"], rules["crescent top width"]
    radius, crest = bund.radius, bund.freeboard
    ridge = radius + side * (crest + bund.depth) + top / 2
    s, natural = _ground(tree, dem, -tree.crown / 2 - 1.0, ridge + 2.2)
    under = float(np.interp(ridge, s, natural))
    built = under + (crest - under) * (1 + rules["berm settlement"])
    heap = np.minimum(built, np.where(s < ridge, built + (s - ridge + top / 2) / side,
                                      built - (s - ridge - top / 2) / side))
    heap = np.maximum(heap, natural)
    low = float(natural.min()) - 0.2
    wet = (heap < 0) & (s < ridge)
    start, end = float(s[wet].min()), float(s[wet].max())
    beside = [Level(ridge + top / 2, built, f"crest as built {_level(tree, built, system)}",
                    sy.EARTH),
              Level(ridge + top / 2, crest, f"crest settled {_level(tree, crest, system)}",
                    sy.EARTH),
              Level(end, 0.0, f"tips, full {_level(tree, 0.0, system)}", sy.WATER),
              Level(ridge, under, f"ground {_level(tree, under, system)}")]
    made.frame(float(s[0]), float(s[-1]), low, float(max(natural.max(), built,
                                                         natural[0] + TRUNK)),
               made.room([b.words for b in beside]), 44, 10)
    p = made.point
    made.between(s, np.full_like(s, low), natural, GROUND)
    made.between(s, natural, heap, BANK, sy.EARTH, 4, "bund")
    made.between(s, heap, np.where(wet, 0.0, -1e3), sy.POOL, zorder=3, gid="water")
    made.line([(start, 0.0), (end, 0.0)], sy.WATER, 1.3)
    made.surface(s, heap, natural)
    made.line([(ridge - top / 2, crest), (ridge + top / 2, crest)], sy.PAPER, 1.0,
              (0, (3, 2)), 5)
    _trunk(made, float(np.interp(0.0, s, natural)))
    made.levels(beside)
    made.water_mark(start + 0.5 * (end - start), 0.0)
    over = max(float(natural.max()), built, TRUNK + float(np.interp(0.0, s, natural))) + 6 * p
    made.across(0.0, radius, over, f"{shown(radius, 'size', system)} to the bund's inner foot",
                above=True)
    made.across(ridge - top / 2, ridge + top / 2, built + 7 * p,
                f"top {shown(top, 'size', system)}", above=True)
    made.up(ridge, under, built, "")
    made.note(ridge, under - 9 * p, f"{shown(built - under, 'size', system)} high as built",
              ha="center")
    made.note(ridge + top / 2 + side * (built - under) / 2 + 6 * p, (built + under) / 2,
              f"{side:.3g}:1", sy.SOFT_INK)
    made.key(["ground", "fill", "water"])


def _trench(made: Section, tree: TreeShape, dem: Dem, rules: Rulebook, system: str) -> None:
    lower = -tree.crown / 2
    upper, depth = lower - tree.width, tree.depth
    s, natural = _ground(tree, dem, upper - 1.2, tree.crown / 2 + 0.4)
    inside = (s > upper) & (s < lower)
    dug = np.where(inside, -depth, natural)
    low = -depth - 0.25
    before = [Level(upper, 0.0, f"sill, full {_level(tree, 0.0, system)}", sy.WATER),
              Level(upper, -depth, f"floor {_level(tree, -depth, system)}")]
    low = made.frame(float(s[0]), float(s[-1]), low, float(max(
        natural.max(), np.interp(0.0, s, natural) + TRUNK)), 40, 40,
        made.room([b.words for b in before]), -depth)
    p = made.point
    made.between(s, np.full_like(s, low), np.minimum(dug, natural), GROUND)
    rises = np.interp([upper, lower], s, natural)
    box = [(upper, -depth), (lower, -depth)]
    made.fill([(upper, rises[0]), *box, (lower, rises[1])], CUT, zorder=2.5, gid="cut")
    face = KEY["gravel"][1] if tree.porosity < 1 else sy.POOL
    gravel = tree.porosity < 1
    made.fill([(upper, 0.0), *box, (lower, 0.0)], face, sy.SOFT_INK if gravel else "none", 3,
              gid="water", hatch="oo" if gravel else None)
    made.line([*zip(s[s <= upper], natural[s <= upper], strict=True), (upper, rises[0]), *box,
               (lower, rises[1]), *zip(s[s >= lower], natural[s >= lower], strict=True)], sy.INK,
              1.3, zorder=5, gid="profile")
    made.line([(upper, 0.0), (lower, 0.0)], sy.WATER, 1.4)
    made.ground([(upper, rises[0]), (lower, rises[1])])
    _trunk(made, float(np.interp(0.0, s, natural)))
    made.levels(before, right=False)
    over = float(natural.max()) + 8 * p
    made.across(upper, lower, over, f"{shown(tree.width, 'size', system)} wide", above=True)
    made.up(upper - 9 * p, -depth, 0.0, shown(depth, "size", system), right=False)
    made.across(lower, 0.0, -depth - 4 * p,
                f"{shown(-lower, 'size', system)} from trunk to trench")
    made.key(["ground", "cut", "gravel" if tree.porosity < 1 else "water"])
