"""Where a swale's line ends: at the boundary, and before what it must keep clear of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem
from terrain.runoff.ground import Ground
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.cross_section import Berm, width_on_slope
from terrain.works.footprints import lower_side
from terrain.works.polyline import points_along
from terrain.works.return_end import reach_uphill
from terrain.works.rules import Rulebook
from terrain.works.setbacks import BURIED, setback_of
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import SOIL_OF_GROUP, berm_height, berm_slope
from terrain.works.tree_row import toe_of_berm

#: A line is looked along in such steps for what it must end before. [m]
STEP = 0.1
#: Less of a line than this is none. [m]
SHORTEST = 1.0


def kept(work: asked.Swale, route: SwaleLine, anchor: Point, terrain: Terrain, ground: Ground,
         rules: Rulebook, where: str) -> tuple[SwaleLine, float, list[str]]:
    """The stretch about a point that stays within the boundary and clear of what lies about it.

    Its earth, on both sides of its line, counts as of the usual section, and at its ends the berm
    that turns uphill there.  Where a contour's ends meet,
    room is left between them for both.

    Raises
    ------
    InputError
        If no swale can lie there.
    """
    if not ground.boundary.covers(anchor):
        raise InputError(where, "its line lies outside the boundary there",
                         "Move it on to the property")
    earth = _beside(work, route, terrain, ground, rules)
    turned = _Turned.of(work, route, terrain, ground, rules)
    route = _apart(route, 2 * turned.past)  # room for both ends of the berm
    shape, things = LineString(route.line), _to_keep_from(ground, rules)
    along = float(shape.project(anchor))
    for called, thing, apart, told in things:
        gap = float(_bars(shape, np.array([along]), earth)[0].distance(thing))
        if thing.area and thing.covers(anchor):
            raise InputError(where, f"the swale would run through {called}", "Move it clear of it")
        if gap < apart:
            raise InputError(where, f"the swale's earth would lie {in_both(gap, 'size')} from "
                             f"{called}, and {in_both(apart, 'size')} are to be kept ({told})",
                             "Move it clear of it")
    inside = _part(shape.intersection(ground.boundary), anchor)
    first, last = sorted(float(shape.project(Point(p))) for p in (inside.coords[0],
                                                                  inside.coords[-1]))
    notes = []
    ends = []
    for sign, end in ((-1.0, first), (1.0, last)):
        at = along + sign * np.append(np.arange(0.0, abs(end - along), STEP), abs(end - along))
        bars = _bars(shape, at, earth)
        room = shapely.box(*shapely.total_bounds(bars))
        near = [shapely.distance(bars, thing) < apart if room.distance(thing) < apart else
                np.zeros(len(at), bool) for _, thing, apart, _ in things]
        bad = np.any(near, axis=0) if near else np.zeros(len(at), bool)
        clear = int(np.argmax(bad)) - 1 if bad.any() else len(at) - 1
        free = not bad.any() and not 0.0 < end < shape.length
        stop = max(clear, 0) if free else turned.last(shape, at[:max(clear, 0) + 1], sign, things,
                                                      ground.boundary, where)
        ends.append(float(at[stop]))
        if not bad.any():
            continue
        stop, spot = clear + 1, shape.interpolate(ends[-1])
        for (called, _, apart, told), met in zip(things, near, strict=True):
            if met[stop]:
                notes.append(f"Its line ends at {terrain.dem.named(spot.x, spot.y)}: further on "
                             f"its earth, up to {in_both(earth, 'size')} beside its line, would "
                             f"come nearer to {called} than {in_both(apart, 'size')} ({told}).")
    if ends[1] - ends[0] < SHORTEST:
        raise InputError(where, "its berm's turned ends leave no room for a swale between them "
                         "there", "Move it clear of the boundary and of what lies about it")
    cut = swales.cut_to(terrain, route, *ends)
    return cut, float(LineString(cut.line).project(anchor)), notes


@dataclass(frozen=True)
class _Turned:
    """Ground that a berm's end, turned uphill, takes beside its line and past its end.

    Attributes
    ----------
    berm : Berm
        As built for the usual head, or to the crest that the owner fixes.
    downhill : float
        How far below its line it reaches. [m]
    uphill_left : bool
    """

    dem: Dem
    rules: Rulebook
    level: float
    berm: Berm
    downhill: float
    uphill_left: bool

    @property
    def past(self) -> float:
        """How far past the channel's end it reaches on level ground. [m]"""
        return 2 * self.berm.side_slope * self.berm.height + self.berm.top

    @classmethod
    def of(cls, work: asked.Swale, route: SwaleLine, terrain: Terrain, ground: Ground,
           rules: Rulebook) -> _Turned:
        """That of a swale before its size is known."""
        _, side, _ = berm_soil(work, swales.line_cells(terrain.dem, route.line), ground, rules)
        settled = berm_height(route.level, rules["sill head"], rules, work.crest)
        berm = Berm(max(settled, 0.0) * (1 + rules["berm settlement"]), rules["berm top width"],
                    side)
        left = lower_side(terrain.dem, route.line, max(2.5, 1.5 * terrain.dem.cell)) < 0
        return cls(terrain.dem, rules, route.level, berm,
                   toe_of_berm(route, side, rules, work.crest), left)

    def last(self, shape: LineString, at: NDArray[np.float64], sign: float,
             things: Sequence[tuple[str, Any, float, str]], boundary: Any, where: str) -> int:
        """The last of some chainages at which a swale may end.

        Raises
        ------
        InputError
            If it may end at none.
        """
        for index in range(len(at) - 1, -1, -1):
            zone = self._zone(shape, float(at[index]), sign).shape
            if boundary.covers(zone) and all(zone.distance(thing) >= apart
                                             for _, thing, apart, _ in things):
                return index
        zone = self._zone(shape, float(at[0]), sign)
        bars = ("reaches over the boundary" if not boundary.covers(zone.shape) else next(
            f"comes nearer to {called} than {in_both(apart, 'size')}"
            for called, thing, apart, _ in things if zone.shape.distance(thing) < apart))
        raise InputError(
            where, f"the swale's berm, turned uphill where it ends, needs "
            f"{in_both(zone.uphill, 'size')} uphill of its line, "
            f"{in_both(self.downhill, 'size')} downhill and "
            f"{in_both(zone.past, 'size')} past its end; towards the line's "
            f"{'start' if sign < 0 else 'end'} it {bars} wherever it may end",
            "Move it, or shorten the berm's ends (rules: {return end longest: ...})")

    def _zone(self, shape: LineString, at: float, sign: float) -> _Zone:
        start, ahead = (np.array(shape.interpolate(float(np.clip(s, 0.0, shape.length))).coords[0])
                        for s in (at - 0.25, at + 0.25))
        way = (ahead - start) / np.hypot(*(ahead - start))
        up = np.array([-way[1], way[0]]) * (1 if self.uphill_left else -1)
        here = np.array(shape.interpolate(at).coords[0])
        berm = self.berm
        beyond = berm.side_slope * berm.height + berm.top / 2
        slope, reach = reach_uphill(self.dem, here + beyond * sign * way, up, self.level, berm,
                                    self.rules["return end longest"])
        tip = max(berm.height - slope * reach, 0.0)
        if tip:
            reach += (berm.top / 2 + berm.side_slope * tip) / (1 + berm.side_slope * slope)
        past = beyond + berm.top / 2 + berm.side_slope * (berm.height + slope * beyond)
        out = here + past * sign * way
        return _Zone(Polygon([here - self.downhill * up, here + reach * up, out + reach * up,
                              out - self.downhill * up]), reach, past)


@dataclass(frozen=True)
class _Zone:
    """The ground that a turned end takes, and how far it goes uphill and past the end. [m]"""

    shape: Polygon
    uphill: float
    past: float


def _apart(route: SwaleLine, gap: float) -> SwaleLine:
    """A line round a hill whose ends meet, shortened so that they lie a gap apart. [m]"""
    shape = LineString(route.line)
    lacks = gap - float(np.hypot(*(route.line[0] - route.line[-1])))
    if lacks <= 0 or shape.length < 4 * gap:
        return route
    cut = substring(shape, lacks / 2, shape.length - lacks / 2)
    return replace(route, line=np.asarray(cut.coords))


def _bars(shape: LineString, at: NDArray[np.float64], reach: float) -> NDArray[Any]:
    """Lines square to a line at chainages, that reach so far to each side of it. [m]"""
    line = np.asarray(shape.coords)
    ahead, behind = (points_along(line, np.clip(at + step, 0.0, shape.length))
                     for step in (0.25, -0.25))
    way = ahead - behind
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    middle = points_along(line, at)
    left = reach * np.stack([-way[:, 1], way[:, 0]], 1)
    return np.asarray(shapely.linestrings(np.stack([middle - left, middle + left], 1)))


def _beside(work: asked.Swale, route: SwaleLine, terrain: Terrain, ground: Ground,
            rules: Rulebook) -> float:
    """How far a swale's berm or cut reaches beside its line at most, before its size is known. [m]
    """
    _, slope, _ = berm_soil(work, swales.line_cells(terrain.dem, route.line), ground, rules)
    side = work.side_slope or rules["swale side slope"]
    cut = width_on_slope(work.depth or rules["swale deepest"],
                         rules["swale width"] if work.width is None else work.width, side,
                         min(route.cross_slope, 0.9 / side))
    return max(cut, toe_of_berm(route, slope, rules, work.crest))


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


def berm_soil(work: asked.Swale, cells: NDArray[np.int64], ground: Ground, rules: Rulebook
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
