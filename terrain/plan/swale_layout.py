"""A swale of the site file laid out: its line, its ends, its size, its sill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem
from terrain.runoff.ground import Ground
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.cross_section import Section, width_on_slope
from terrain.works.rules import Rulebook
from terrain.works.setbacks import BURIED, setback_of
from terrain.works.store import Curve
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import SOIL_OF_GROUP, berm_slope
from terrain.works.swale_checks import Check, checks_of, swale_curve
from terrain.works.swale_size import Wanted, size_swale
from terrain.works.tree_row import toe_of_berm

#: A line is looked along in such steps for what it must end before. [m]
STEP = 0.1

#: Moves a point of the site file into the working frame.
Locate = Callable[[tuple[float, float], str], tuple[float, float]]


@dataclass(frozen=True)
class LaidSwale:
    """A swale on the terrain, before anything is known of the water that comes to it.

    Attributes
    ----------
    route : SwaleLine
    section : Section
    checks : tuple of Check
    sill_x, sill_y : float
        [m]
    soil : str
        What its berm is made of: clay, loam or sand.
    berm_side_slope : float
        H:V.
    crest : float or None
        Level of the settled crest, where the owner fixes it. [m]
    notes : tuple of str
        What decided its line and size.
    """

    route: SwaleLine
    section: Section
    checks: tuple[Check, ...]
    sill_x: float
    sill_y: float
    soil: str
    berm_side_slope: float
    crest: float | None
    notes: tuple[str, ...]

    @property
    def curve(self) -> Curve:
        """Its stage, area and volume."""
        return swale_curve(self.route.level, self.section, self.route.length, self.checks)


def lay_swale(work: asked.Swale, where: str, locate: Locate, terrain: Terrain, soft: Dem,
              ground: Ground, rules: Rulebook, design_runoff: NDArray[np.float64]) -> LaidSwale:
    """Lay out a swale.

    Parameters
    ----------
    soft : Dem
        The ground as `terrain.works.swale.smoothed` gives it.
    design_runoff : float64, shape (rows, columns)
        Runoff of each cell in the storm to hold. [m3]

    Raises
    ------
    InputError
        If no swale as it is asked for can lie there.
    """
    route, along, notes = _traced(work, where, locate, terrain, soft, rules)
    anchor = LineString(route.line).interpolate(along)
    route, along, said = _kept(work, route, anchor, terrain, ground, rules, where)
    notes += said
    fit = route.length
    length = work.length if work.along is None else route.length
    wanted = Wanted(length, work.depth, work.width, work.side_slope, work.shape, work.solve,
                    work.checks)
    try:
        size = size_swale(terrain, route, along, rules, design_runoff, wanted)
        route = swales.cut_to(terrain, route, size.start, size.end, rules["level tolerance"])
        checks, said_of_checks = checks_of(route, size.section, rules, work.checks)
    except ValueError as error:
        raise InputError(where, str(error), "Change its checks, depth or width") from None
    if work.length is not None and route.length < work.length * 0.98:
        raise InputError(f"{where}, length", f"only {fit:.0f} m of contour are fit for a "
                         f"swale there, and {work.length:.0f} m were asked for (it ends at the "
                         "boundary, near a building, at steep ground, or where the contour "
                         "closes)", "Shorten it or move its point")
    notes += [*size.notes, *([said_of_checks] if said_of_checks else [])]
    _refuse_rock(work, route, size.section, terrain, where)
    if work.crest is not None and work.crest <= route.level:
        raise InputError(f"{where}, crest", f"the sill, at the contour's level of "
                         f"{in_both(route.level, 'level')}, stands above the berm's crest at "
                         f"{in_both(work.crest, 'level')}",
                         "Raise the crest, or set the swale out on a lower contour")
    soil, slope, why = _soil(work, swales.line_cells(terrain.dem, route.line), ground, rules)
    notes.append(why)
    sill_x, sill_y = _sill(work, route, where, locate, terrain, ground)
    return LaidSwale(route, size.section, checks, sill_x, sill_y, soil, slope, work.crest,
                     tuple(notes))


def _traced(work: asked.Swale, where: str, locate: Locate, terrain: Terrain, soft: Dem,
            rules: Rulebook) -> tuple[SwaleLine, float, list[str]]:
    """The contour that the owner means, smoothed to dig, and where on it the swale is wanted."""
    if work.along is not None:
        field = f"{where}, along"
        drawn = [locate(point, f"{field}, point {i}") for i, point in enumerate(work.along, 1)]
        route, along, pulled = swales.trace_along(terrain, soft, drawn, field, rules, work.level,
                                                  work.radius)
        which = ("its stated level" if work.level is not None else
                 "the median level of the ground along it")
        return route, along, [f"The drawn line was pulled by up to {in_both(pulled, 'length')} on "
                              f"to the contour at {in_both(route.level, 'level')}, {which}."]
    reach = rules["swale longest"] / 2 if work.length is None else work.length
    if work.near is not None:
        field = f"{where}, level"
        x, y = locate(work.near, f"{where}, near")
        return *swales.trace(terrain, soft, x, y, field, rules, reach, work.level,
                             work.radius), []
    assert work.through is not None  # the site file was refused without a start
    x, y = locate(work.through, f"{where}, through")
    return *swales.trace(terrain, soft, x, y, where, rules, reach, None, work.radius), []


def _kept(work: asked.Swale, route: SwaleLine, anchor: Point, terrain: Terrain, ground: Ground,
          rules: Rulebook, where: str) -> tuple[SwaleLine, float, list[str]]:
    """The stretch about a point that stays within the boundary and clear of what lies about it.

    Its earth, on both sides of its line, counts as of the usual section.
    """
    if not ground.boundary.covers(anchor):
        raise InputError(where, "its line lies outside the boundary there",
                         "Move it on to the property")
    earth = _beside(work, route, terrain, ground, rules)
    shape, things = LineString(route.line), _to_keep_from(ground, rules)
    along = float(shape.project(anchor))
    for called, thing, apart, told in things:
        gap = float(_bars(shape, np.array([along]), earth)[0].distance(thing))
        if thing.area and thing.covers(anchor):
            raise InputError(where, f"the swale would run through {called}", "Move it clear of it")
        if gap < apart:
            raise InputError(where, f"the swale's earth would lie {in_both(gap, 'level')} from "
                             f"{called}, and {in_both(apart, 'level')} are to be kept ({told})",
                             "Move it clear of it")
    inside = _part(shape.intersection(ground.boundary), anchor)
    first, last = sorted(float(shape.project(Point(p))) for p in (inside.coords[0],
                                                                  inside.coords[-1]))
    notes = []
    ends = []
    for sign, end in ((-1.0, first), (1.0, last)):
        at = along + sign * np.append(np.arange(0.0, abs(end - along), STEP), abs(end - along))
        bars = _bars(shape, at, earth)
        near = [shapely.distance(bars, thing) < apart for _, thing, apart, _ in things]
        bad = np.any(near, axis=0) if near else np.zeros(len(at), bool)
        if not bad.any():
            ends.append(end)
            continue
        stop = int(np.argmax(bad))
        ends.append(float(at[max(stop - 1, 0)]))
        spot = shape.interpolate(ends[-1])
        for (called, _, apart, told), met in zip(things, near, strict=True):
            if met[stop]:
                notes.append(f"Its line ends at {terrain.dem.named(spot.x, spot.y)}: further on "
                             f"its earth, up to {in_both(earth, 'level')} beside its line, would "
                             f"come nearer to {called} than {in_both(apart, 'level')} ({told}).")
    cut = swales.cut_to(terrain, route, *ends)
    return cut, float(LineString(cut.line).project(anchor)), notes


def _bars(shape: LineString, at: NDArray[np.float64], reach: float) -> NDArray[Any]:
    """Lines square to a line at chainages, that reach so far to each side of it. [m]"""
    ahead, behind = (np.array([shape.interpolate(float(np.clip(s + step, 0.0, shape.length)))
                               .coords[0] for s in at]) for step in (0.25, -0.25))
    way = ahead - behind
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    middle = np.array([shape.interpolate(float(s)).coords[0] for s in at])
    left = reach * np.stack([-way[:, 1], way[:, 0]], 1)
    return np.asarray(shapely.linestrings(np.stack([middle - left, middle + left], 1)))


def _refuse_rock(work: asked.Swale, route: SwaleLine, section: Section, terrain: Terrain,
                 where: str) -> None:
    """Refuse a bed that lies deeper than rock anywhere along its line.

    Raises
    ------
    InputError
    """
    if work.rock_at is None:
        return
    shape = LineString(route.line)
    spots = [shape.interpolate(s) for s in np.arange(0.0, shape.length, min(terrain.dem.cell, 1.0))]
    above = terrain.dem.height_at([p.x for p in spots], [p.y for p in spots]) - route.level
    bed = section.depth * section.side_slope + (section.width if section.shape == "trapezoid"
                                                else 0.0)
    deepest = float(np.nanmax(above)) + section.depth + route.cross_slope * bed
    if deepest > work.rock_at + 1e-6:
        raise InputError(f"{where}, rock at", f"its bed would lie up to "
                         f"{in_both(deepest, 'level')} below the ground, and rock is said to be at "
                         f"{in_both(work.rock_at, 'level')}",
                         f"Make it {in_both(deepest - work.rock_at, 'level')} shallower (depth), "
                         "or move it")


def _beside(work: asked.Swale, route: SwaleLine, terrain: Terrain, ground: Ground,
            rules: Rulebook) -> float:
    """How far a swale's berm or cut reaches beside its line at most, before its size is known. [m]
    """
    _, slope, _ = _soil(work, swales.line_cells(terrain.dem, route.line), ground, rules)
    side = work.side_slope or rules["swale side slope"]
    cut = width_on_slope(work.depth or rules["swale deepest"],
                         rules["swale width"] if work.width is None else work.width, side,
                         min(route.cross_slope, 0.9 / side))
    return max(cut, toe_of_berm(route, slope, rules))


def _to_keep_from(ground: Ground, rules: Rulebook) -> list[tuple[str, Any, float, str]]:
    """What a swale's line ends before: its name, its shape, the distance to keep and the rule."""
    found = [(f"the roof \"{roof.name}\"", roof.outline, rules["building setback"],
              f"building setback, {rules.source('building setback')}") for roof in ground.roofs]
    for thing in ground.keep_clear:
        setback = setback_of(thing, rules)
        if setback is not None and thing.kind not in BURIED:
            found.append((thing.called, thing.shape, max(setback.distance, 0.0), setback.told))
    return found


def _part(shape: object, anchor: Point) -> LineString:
    """The piece of a line that lies nearest to a point."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "LineString"
             and not p.is_empty]
    return min(parts, key=lambda part: part.distance(anchor))


def _soil(work: asked.Swale, cells: NDArray[np.int64], ground: Ground, rules: Rulebook
          ) -> tuple[str, float, str]:
    """What the berm is made of, the slope of its sides, and why."""
    group = ground.soil_group_of(cells)
    soil = work.soil or SOIL_OF_GROUP.get(group or "", "loam")
    source = ("as the site file says" if work.soil else
              f"taken from soil group {group}" if group else "as nobody says")
    rule = f"berm side slope {soil}"
    if work.berm_side_slope is not None:
        return soil, work.berm_side_slope, (f"Its berm's sides are {work.berm_side_slope:g}:1, as "
                                            f"the site file says; {soil} asks for "
                                            f"{rules[rule]:g}:1 ({rule}, {rules.source(rule)}).")
    slope = berm_slope(soil, rules)
    return soil, slope, (f"Its berm is of {soil}, {source}: sides {slope:g}:1 ({rule}, "
                         f"{rules.source(rule)}).")


def _sill(work: asked.Swale, route: SwaleLine, where: str, locate: Locate, terrain: Terrain,
          ground: Ground) -> tuple[float, float]:
    """Where the sill is cut: as the owner says, else where the overflow does least harm."""
    if work.sill_at is None:
        buildings = np.zeros(terrain.dem.shape, bool)
        for roof in ground.roofs:
            buildings |= roof.cells
        return swales.place_sill(terrain, route, buildings)
    shape, point = LineString(route.line), Point(locate(work.sill_at, f"{where}, sill at"))
    gap = shape.distance(point)
    if gap > 10:
        raise InputError(f"{where}, sill at", f"the point lies {gap:.0f} m from the swale",
                         "Choose a point on the swale's line")
    found = shape.interpolate(shape.project(point))
    return float(found.x), float(found.y)


