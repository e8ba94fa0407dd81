"""A swale of the site file laid out: its line, its ends, its size, its sill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.ops import unary_union

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem
from terrain.runoff.ground import Ground
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.cross_section import Section
from terrain.works.rules import Rulebook
from terrain.works.store import Curve
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import SOIL_OF_GROUP, berm_slope
from terrain.works.swale_checks import Check, checks_of, swale_curve
from terrain.works.swale_size import Wanted, size_swale

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
    route, along, said = _kept(route, anchor, terrain, ground, rules, where)
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


def _kept(route: SwaleLine, anchor: Point, terrain: Terrain, ground: Ground, rules: Rulebook,
          where: str) -> tuple[SwaleLine, float, list[str]]:
    """The stretch about a point that stays within the boundary and clear of buildings."""
    apart = rules["building setback"]
    if not ground.boundary.covers(anchor):
        raise InputError(where, "its line lies outside the boundary there",
                         "Move it on to the property")
    for roof in ground.roofs:
        gap = roof.outline.distance(anchor)
        if gap == 0:
            raise InputError(where, f"the swale would run through the roof \"{roof.name}\"",
                             "Move it clear of the building")
        if gap < apart:
            raise InputError(where, f"the swale would lie {in_both(gap, 'level')} from the roof "
                             f"\"{roof.name}\", and {in_both(apart, 'level')} are to be kept "
                             f"(building setback, {rules.source('building setback')})",
                             "Move it clear of the building")
    shape = LineString(route.line)
    inside = _part(shape.intersection(ground.boundary), anchor)
    near = unary_union([roof.outline.buffer(apart, quad_segs=32) for roof in ground.roofs])
    clear = _part(inside.difference(near), anchor)
    notes = []
    for roof in ground.roofs:
        beyond = roof.outline.buffer(apart + 0.05, quad_segs=32)
        ends = [Point(end) for end in (clear.coords[0], clear.coords[-1])]
        at = [end for end in ends if beyond.covers(end)]
        if at:
            place = terrain.dem.named(float(at[0].x), float(at[0].y))
            notes.append(f"Its line ends at {place}: further on it would come nearer to the roof "
                         f"\"{roof.name}\" than {in_both(apart, 'level')} (building setback, "
                         f"{rules.source('building setback')}).")
    start, end = sorted(float(shape.project(Point(p))) for p in (clear.coords[0],
                                                                 clear.coords[-1]))
    cut = swales.cut_to(terrain, route, start, end)
    return cut, float(LineString(cut.line).project(anchor)), notes


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


