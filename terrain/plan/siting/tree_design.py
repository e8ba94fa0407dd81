"""Tree basins of the site file laid out on the terrain: where each stands and how large it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.site_works import TreeBasin, Trees
from terrain.plan.siting.tree_climate import TreeClimate
from terrain.surface.catchments import first_met
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.basin import cells_of
from terrain.works.crescent import crescent_at
from terrain.works.dug import refuse_rock
from terrain.works.infiltration_trench import trench_curve, trench_outline
from terrain.works.lie import Lie, lie_of
from terrain.works.pit import pit_in
from terrain.works.root_zone import root_zone_room
from terrain.works.rules import OWNER, Rulebook
from terrain.works.swale import SwaleLine
from terrain.works.tree_basin import (
    TreeShape,
    Wanted,
    bowl,
    catchment_ratio,
    crescent_size,
    depth_for,
    tree_need,
    trench_depth,
    wanted,
)
from terrain.works.tree_kinds import tree_named
from terrain.works.tree_row import below_swale, nearest_gap, toe_of_berm

FloatArray = NDArray[np.float64]

#: The cut of a bowl or trench is summed over about so many cells.
PIT_CELLS = 4_000


def plant_factor(work: TreeBasin | Trees, where: str, rules: Rulebook) -> tuple[float, str]:
    """The plant factor of trees, and what it rests on.

    Raises
    ------
    InputError
        If its tree is not known.
    """
    kind = None
    if work.tree is not None:
        try:
            kind = tree_named(work.tree)
        except ValueError as error:
            raise InputError(f"{where}, tree", str(error),
                             "Use one of them, or leave tree out and state a plant factor"
                             ) from None
    if work.plant_factor is not None:
        return work.plant_factor, "as stated" + (f", {kind.name}" if kind else "")
    if kind is not None:
        return kind.middle, f"{kind.name}: {kind.crop} (FAO 56, 1998, Table 12, from memory)"
    return rules["plant factor"], rules.source("plant factor")


def row_below(work: TreeBasin, where: str, dem: Dem, route: SwaleLine, side_slope: float,
              rules: Rulebook, crest: float | None = None) -> FloatArray:
    """Trunks of a row below a swale's toe, first to last along its line. [m]

    Parameters
    ----------
    crest : float, optional
        Level of the berm's settled crest, where the owner fixes it. [m]

    Raises
    ------
    InputError
        If its stations are not on the swale, or there is no such row.
    """
    first = work.first or 0.0
    last = route.length if work.last is None else work.last
    if not 0 <= first < last <= route.length * (1 + 1e-6):
        raise InputError(f"{where}, {'last' if work.last is not None else 'first'}",
                         f"the row from station {in_both(first, 'length')} to "
                         f"{in_both(last, 'length')} is not on the swale, which is "
                         f"{in_both(route.length, 'length')} long",
                         "Keep 0 <= first < last <= its length")
    beside = 0.0
    if work.form == "trench":
        beside = _width(work, rules)
    reach = max(work.crown / 2, work.radius or 0.0)
    downhill = (toe_of_berm(route, side_slope, rules, crest) + rules["tree clear of berm"] + reach
                + beside)
    try:
        return below_swale(dem, route, first, min(last, route.length), work.spacing, work.count,
                           downhill)
    except ValueError as error:
        raise InputError(f"{where}, along", str(error), "Change the row") from None


def refuse_crowded(work: TreeBasin, where: str, places: FloatArray) -> None:
    """Refuse a row whose trees stand closer than their crowns are wide.

    Raises
    ------
    InputError
    """
    if work.along is None or len(places) < 2:
        return
    gap = nearest_gap(places)
    if gap < work.crown * (1 - 1e-3):
        field = "count" if work.count is not None else "spacing"
        raise InputError(f"{where}, {field}", f"its trees would stand {in_both(gap, 'length')} "
                         f"apart, closer than their crowns of {in_both(work.crown, 'length')} are "
                         "wide", "Give them more room, or state a smaller crown")


def shapes_of(work: TreeBasin, where: str, places: FloatArray, terrain: Terrain, rules: Rulebook,
              design_runoff: FloatArray, climate: TreeClimate | None) -> list[TreeShape]:
    """Size and lay out the basins of one entry of the site file.

    Parameters
    ----------
    places : float64, shape (trees, 2)
        Trunks. [m]
    design_runoff : float64, shape (rows, columns)
        [m3]

    Raises
    ------
    InputError
        For a size or place that cannot be.
    """
    dem = terrain.dem
    factor, kind = plant_factor(work, where, rules)
    refuse_crowded(work, where, places)
    lies = []
    for x, y in places:
        try:
            lies.append(lie_of(dem, float(x), float(y), max(work.crown / 2, work.radius or 0.0)))
        except ValueError as error:
            raise InputError(where, f"about {dem.named(float(x), float(y))} {error}",
                             "Move it, or use a raster without that hole") from None
    _refuse_sizes(work, where, rules, dem, places, lies)
    touched = [cells_of(dem, _footprint(work, float(x), float(y), lie, rules))
               for (x, y), lie in zip(places, lies, strict=True)]
    asks = _wanted(work, factor, terrain, touched, design_runoff, climate, rules)
    made = []
    for (x, y), lie, want in zip(places, lies, asks, strict=True):
        make = {"bowl": _bowl, "crescent": _crescent, "trench": _trench}[work.form]
        gap = nearest_gap(places)
        try:
            shape = make(work, where, float(x), float(y), lie, want, dem, rules, gap)
        except ValueError as error:
            raise InputError(f"{where}, {_size_field(work)}" if _size_field(work) else where,
                             str(error), _remedy(work)) from None
        if work.form != "crescent":  # a crescent heaps its bund and digs no floor
            inset = shape.depth * rules["tree bowl side slope"] if work.form == "bowl" else 0.0
            refuse_rock(dem, shape.outline, shape.level - shape.depth, inset, work.rock_at,
                        f"{where}, rock at")
        made.append(replace(shape, factor=factor, kind=kind))
    return made


def _size_field(work: TreeBasin) -> str:
    return "depth" if work.depth is not None else "radius" if work.radius is not None else ""


def _remedy(work: TreeBasin) -> str:
    return {"bowl": "Make it shallower or wider", "trench": "Make it longer or move it",
            "crescent": "Change its depth or radius, move it, or use form: bowl"}[work.form]


def _width(work: TreeBasin, rules: Rulebook) -> float:
    return rules["trench width"] if work.width is None else work.width


def _refuse_sizes(work: TreeBasin, where: str, rules: Rulebook, dem: Dem, places: FloatArray,
                  lies: Sequence[Lie]) -> None:
    if work.form == "trench" and (work.depth or 0.0) > rules["trench deepest"]:
        raise InputError(f"{where}, depth", f"a trench {in_both(work.depth or 0.0, 'size')} deep "
                         "buries whoever stands in it when a side falls in; from "
                         f"{in_both(rules['trench deepest'], 'size')} on it must be sloped or "
                         f"shored ({rules.source('trench deepest')})",
                         "Make it longer or wider instead")
    if work.form == "crescent":
        if work.radius is not None and work.radius < work.crown / 2 * (1 - 1e-9):
            raise InputError(f"{where}, radius", f"a radius of {in_both(work.radius, 'length')} "
                             "does not reach the drip line of a crown "
                             f"{in_both(work.crown, 'length')} wide",
                             "Make it half the crown's width or more")
        for (x, y), lie in zip(places, lies, strict=True):
            if lie.slope < rules["crescent flattest"]:
                raise InputError(where, f"the ground about {dem.named(float(x), float(y))} slopes "
                                 f"only {lie.slope:.1%}, and a crescent holds water by the fall "
                                 "from its tips to its toe; under "
                                 f"{rules['crescent flattest']:.1%} it is refused "
                                 f"({rules.source('crescent flattest')})", "Use form: bowl there")


def _footprint(work: TreeBasin, x: float, y: float, lie: Lie, rules: Rulebook) -> Any:
    """Roughly where water enters it, before its size is known."""
    from shapely import Point

    if work.form == "trench":
        return Polygon(trench_outline(x, y, work.length or work.crown, _width(work, rules),
                                      _uphill(work, rules), lie))
    disc = Point(x, y).buffer(work.crown / 2 if work.form == "bowl" else
                              work.radius or max(work.crown / 2, rules["crescent narrowest"]))
    if work.form == "bowl":
        return disc
    far = 2 * disc.length
    down, across = np.array([lie.down_x, lie.down_y]), np.array([-lie.down_y, lie.down_x])
    at = np.array([x, y])
    half = Polygon([at - far * across, at + far * across, at + far * (across + down),
                    at + far * (down - across)])
    return disc.intersection(half)


def _uphill(work: TreeBasin, rules: Rulebook) -> float:
    """A trench lies at the drip line, uphill of its tree. [m]"""
    return work.crown / 2 + _width(work, rules) / 2


def _wanted(work: TreeBasin, factor: float, terrain: Terrain, touched: Sequence[NDArray[np.int64]],
            design_runoff: FloatArray, climate: TreeClimate | None, rules: Rulebook
            ) -> list[Wanted]:
    """What each basin is to hold, from the ground that reaches it before the others."""
    marks = np.zeros(terrain.dem.shape, np.int32)
    for number, cells in enumerate(touched, 1):
        marks[cells[:, 0], cells[:, 1]] = number
    labels, count = terrain.labels(marks), len(touched)
    storm = first_met(labels, design_runoff, count)
    crown = math.pi * work.crown**2 / 4
    room = root_zone_room(crown, rules, work.texture)
    if climate is None:
        return [wanted(float(volume), room) for volume in storm]
    need = tree_need(climate.thirst, factor, work.crown, climate.rain)
    area = np.bincount(labels.ravel(), minlength=count + 1)[1:] * terrain.dem.cell_area
    shed = first_met(labels, climate.shed, count) * terrain.dem.cell_area / 1000  # m3 a year
    found = []
    for volume, ground, yearly in zip(storm, area, shed, strict=True):
        ratio_ground = None
        if ground > 0 and yearly > 0 and climate.rain > 0 and climate.design_rain > 0:
            share = yearly / ground * 1000 / climate.rain
            ratio_ground = crown * float(catchment_ratio(
                climate.thirst * factor, climate.design_rain, share, rules["harvest efficiency"]))
        found.append(wanted(float(volume), room, need, float(ground), ratio_ground))
    return found


_DECIDERS = {
    "storm": "the design storm, which brings {}",
    "ratio": "the catchment ratio: of the design storm {} come from as much ground as it asks for",
    "need": "the tree, which wants {} beyond rain in a year",
    "root zone": "the root zone, which holds {}"}


def _decided(want: Wanted, capacity: float, atmost: str, stated: bool) -> str:
    if stated:
        return "as stated"
    asks = _DECIDERS[want.decided_by].format(in_both(want.volume, "volume"))
    return asks if capacity >= want.volume * (1 - 1e-9) else f"{atmost}; {asks}"


def _bowl(work: TreeBasin, where: str, x: float, y: float, lie: Lie, want: Wanted, dem: Dem,
          rules: Rulebook, gap: float) -> TreeShape:
    from shapely import Point

    disc = Point(x, y).buffer(work.crown / 2)
    ring = dem.height_at(*np.asarray(disc.exterior.coords).T)
    low = int(np.nanargmin(ring))
    level, spill = float(ring[low]), disc.exterior.coords[low]
    depth = work.depth or depth_for(work.crown, want.volume, rules)
    curve = bowl(work.crown, depth, level, rules)
    pit = pit_in(dem, disc, rules["tree bowl side slope"], where, level, PIT_CELLS,
                 "Move it to ground that rises less than {slope:.0%}, or use form: crescent or "
                 "trench")
    dig = pit.cut(depth)
    return TreeShape("bowl", x, y, work.crown, 0.0, "",
                     _decided(want, curve.capacity, "the crown and the usual depth",
                              work.depth is not None), depth, curve, disc, level,
                     float(spill[0]), float(spill[1]), dig)


def _crescent(work: TreeBasin, where: str, x: float, y: float, lie: Lie, want: Wanted, dem: Dem,
              rules: Rulebook, gap: float) -> TreeShape:
    radius, depth = crescent_size(work.crown, lie.slope, want.volume, rules, work.radius,
                                  work.depth, gap / 2 - 1.0 if math.isfinite(gap) else math.inf)
    lie = lie_of(dem, x, y, radius)
    if lie.slope < rules["crescent flattest"]:
        raise ValueError(f"the ground within {in_both(radius, 'length')} of "
                         f"{dem.named(x, y)} slopes only {lie.slope:.1%}")
    if lie.slope > rules["swale steepest"]:
        raise ValueError(f"the ground within {in_both(radius, 'length')} of {dem.named(x, y)} "
                         f"slopes {lie.slope:.0%}, and a bank of earth that holds water is "
                         f"refused above {rules['swale steepest']:.0%} "
                         f"({rules.source('swale steepest')})")
    depth = min(depth, radius * lie.slope) if work.depth is None else depth
    made = crescent_at(dem, x, y, radius, depth, lie, rules)
    said = []
    if lie.slope > rules["crescent steep"]:
        said.append(f"The ground slopes {lie.slope:.1%}; above {rules['crescent steep']:.0%} a "
                    f"bund holds little for its earth ({rules.cited('crescent steep')}).")
    off = made.curve.capacity / made.closed_form - 1
    if abs(off) > 0.25:
        said.append(f"On the raster it holds {in_both(made.curve.capacity, 'volume')}, "
                    f"{abs(off):.0%} {'less' if off < 0 else 'more'} than on an even slope: the "
                    "ground is uneven, so go and look. What you find decides.")
    said.append("Set the ends of its bund out with a level, on one contour: water goes round the "
                f"lower one (common practice, no source; {OWNER}).")
    return TreeShape("crescent", x, y, work.crown, 0.0, "",
                     _decided(want, made.closed_form, "the widest and deepest that are usual "
                              "there", work.radius is not None),
                     made.level - float(made.curve.levels[0]), made.curve, Polygon(made.pool),
                     made.level, float(made.tips[0, 0]), float(made.tips[0, 1]),
                     made.bund / rules["compacted per bank"], made.bund, crescent=made,
                     cautions=tuple(said))


def _trench(work: TreeBasin, where: str, x: float, y: float, lie: Lie, want: Wanted, dem: Dem,
            rules: Rulebook, gap: float) -> TreeShape:
    length = work.length or work.crown
    if work.along is not None and length > gap * (1 + 1e-9):
        raise ValueError(f"trenches of {in_both(length, 'length')} run into each other where trees "
                         f"stand {in_both(gap, 'length')} apart")
    width, porosity = _width(work, rules), work.gravel_porosity or 1.0
    corners = trench_outline(x, y, length, width, _uphill(work, rules), lie)
    rim = LineString(corners)
    spots = [rim.interpolate(s) for s in np.linspace(0.0, rim.length, 60)]
    ground = dem.height_at([p.x for p in spots], [p.y for p in spots])
    if np.isnan(ground).any():
        raise ValueError(f"{dem.source} has no height for some of its rim")
    low = int(np.argmin(ground))
    level = float(ground[low])
    depth = work.depth or trench_depth(length, width, porosity, want.volume, rules)
    curve = trench_curve(level, length, width, depth, porosity)
    shape = Polygon(corners)
    dig = pit_in(dem, shape, 0.0, where, level, PIT_CELLS).cut(depth)
    said = []
    if porosity < 1:
        said.append(f"Of its gravel {porosity:.0%} are pores: wash it, wrap it in cloth, and keep "
                    f"mud out with a strip of grass uphill (common practice, no source; {OWNER}).")
    else:
        said.append("An open trench with upright sides crumbles: fill it with gravel or brush, or "
                    f"lay its sides back (common practice, no source; {OWNER}).")
    return TreeShape("trench", x, y, work.crown, 0.0, "",
                     _decided(want, curve.capacity, "its length and the usual depth",
                              work.depth is not None), depth, curve, shape, level,
                     float(spots[low].x), float(spots[low].y), dig, length=length, width=width,
                     porosity=porosity, cautions=tuple(said))
