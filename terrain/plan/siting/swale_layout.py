"""A swale of the site file laid out: its line, its ends, its size, its sill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem
from terrain.plan.siting.swale_ends import berm_soil, kept
from terrain.runoff.ground import Ground
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.cross_section import Section
from terrain.works.rules import Rulebook
from terrain.works.store import Curve
from terrain.works.swale import SwaleLine
from terrain.works.swale_checks import Check, checks_of, swale_curve
from terrain.works.swale_size import Wanted, size_swale

#: Ends of lines so near are one place. [m]
CLOSE = 0.5
#: Moves a point of the site file into the working frame.
Locate = Callable[[tuple[float, float], str], tuple[float, float]]
#: A contour smoothed to dig, where on it a swale is wanted [m], and what is to be told of it.
Traced = tuple[SwaleLine, float, list[str]]
#: Fields that decide it; no other does.
TRACED_BY = frozenset({"through", "near", "level", "along", "radius", "length"})


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
    traced : Traced
        The contour that it is a stretch of.
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
    traced: Traced

    @property
    def curve(self) -> Curve:
        """Its stage, area and volume."""
        return swale_curve(self.route.level, self.section, self.route.length, self.checks)


def lay_swale(work: asked.Swale, where: str, locate: Locate, terrain: Terrain, soft: Dem,
              ground: Ground, rules: Rulebook, design_runoff: NDArray[np.float64],
              traced: Traced | None = None) -> LaidSwale:
    """Lay out a swale.

    Parameters
    ----------
    soft : Dem
        The ground as `terrain.works.swale.smoothed` gives it.
    design_runoff : float64, shape (rows, columns)
        Runoff of each cell in the storm to hold. [m3]
    traced : Traced, optional
        That of the same swale laid out before under the same rules, to spare the time.

    Raises
    ------
    InputError
        If no swale as it is asked for can lie there.
    """
    traced = _traced(work, where, locate, terrain, soft, rules) if traced is None else traced
    route, along, told = traced
    anchor = LineString(route.line).interpolate(along)
    route, along, said = kept(work, route, anchor, terrain, ground, rules, where)
    notes = [*told, *said]
    fit, whole = route.length, route
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
        why = _why_short(traced[0], whole, said, ground)
        raise InputError(f"{where}, length", f"only {in_both(fit, 'length')} of contour are fit "
                         f"for a swale there, and {in_both(work.length, 'length')} were asked for "
                         f"({why})", "Shorten it or move its point")
    notes += [*size.notes, *([said_of_checks] if said_of_checks else [])]
    _refuse_rock(work, route, size.section, terrain, where)
    if work.crest is not None and work.crest <= route.level:
        raise InputError(f"{where}, crest", f"the sill, at the contour's level of "
                         f"{in_both(route.level, 'level')}, stands above the berm's crest at "
                         f"{in_both(work.crest, 'level')}",
                         "Raise the crest, or set the swale out on a lower contour")
    soil, slope, why = berm_soil(work, swales.line_cells(terrain.dem, route.line), ground, rules)
    notes.append(why)
    sill_x, sill_y = sill_place(work, route, where, locate, terrain, ground)
    return LaidSwale(route, size.section, checks, sill_x, sill_y, soil, slope, work.crest,
                     tuple(notes), traced)


def _why_short(traced: SwaleLine, kept_part: SwaleLine, said: list[str], ground: Ground) -> str:
    """Why a line ends where it does: what it must keep from, the boundary or the contour's end."""
    first, last = (Point(end) for end in traced.line[[0, -1]])
    found = [note[:1].lower() + note[1:].rstrip(".") for note in said]
    whole = sum(min(Point(end).distance(first), Point(end).distance(last)) < CLOSE
                for end in kept_part.line[[0, -1]])
    if first.distance(last) < CLOSE:
        found.append("the contour closes")
    elif whole:
        found.append("the contour comes to steep ground or to the edge of the known ground")
    if whole + len(said) < 2 and not ground.boundary.covers(LineString(traced.line)):
        found.append("it ends at the boundary, within which its berm's ends need room too")
    return "; ".join(found) or "its berm's ends need room too"


def _traced(work: asked.Swale, where: str, locate: Locate, terrain: Terrain, soft: Dem,
            rules: Rulebook) -> Traced:
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
                         f"{in_both(deepest, 'size')} below the ground, and rock is said to be at "
                         f"{in_both(work.rock_at, 'size')}",
                         f"Make it {in_both(deepest - work.rock_at, 'size')} shallower (depth), "
                         "or move it")


def sill_place(work: asked.Swale, route: SwaleLine, where: str, locate: Locate,
               terrain: Terrain, ground: Ground) -> tuple[float, float]:
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


