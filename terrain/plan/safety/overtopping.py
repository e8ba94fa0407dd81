"""Where the water goes if a bank is overtopped or fails, and what lies in its way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.inputs.dem import Dem
from terrain.plan.earth.built import Built
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.runoff.ground import Ground
from terrain.surface.terrain import Terrain
from terrain.units import along_words, in_both
from terrain.works.rules import Rulebook
from terrain.works.setbacks import WELLS
from terrain.works.swale_built import Swale

FloatArray = NDArray[np.float64]

#: So many places along a swale's berm are tried, both ends among them; common practice, no source.
PLACES = 9
#: In a sentence no more things than this are named.
MOST_NAMED = 4
#: What is worst to meet comes first.
ORDER = ("building", "well", "septic field", "road", "work")


@dataclass(frozen=True)
class Met:
    """Something that a way of water comes to.

    Attributes
    ----------
    kind : str
        One of `ORDER`.
    name : str
    gap : float
        Between it and the way; 0 where the way crosses it. [m]
    along : float
        Distance down the way to where it comes nearest. [m]
    beyond : bool
        Past the property line.
    """

    kind: str
    name: str
    gap: float
    along: float
    beyond: bool = False

    @property
    def words(self) -> str:
        """E.g. ``the building "house" (2.1 m (6.9 ft) beside it, after 43.0 m (141.1 ft))``."""
        side = ("in it" if self.gap == 0 else f"{in_both(self.gap, 'length')} beside it")
        past = ", beyond the property line" if self.beyond else ""
        name = f"the {self.kind} \"{self.name}\"" if self.name != self.kind else f"the {self.kind}"
        return f"{name} ({side}, after {in_both(self.along, 'length', 0)}{past})"


@dataclass(frozen=True)
class Breach:
    """What happens where a bank fails at its worst place.

    Attributes
    ----------
    x, y : float
        The place. [m]
    chainage : float or None
        Along the bank. [m]
    volume : float
        All that the work holds. [m3]
    against : float
        Depth of water against the bank, full to the sill at the design peak for a swale. [m]
    way : float64, shape (points, 2)
        Down from there over the ground as it is now, to the end of the known ground. [m]
    length, fall : float
        Of the way until it leaves the site. [m]
    met : tuple of Met
        In the order in which the water comes to them.
    """

    x: float
    y: float
    chainage: float | None
    volume: float
    against: float
    way: FloatArray
    length: float
    fall: float
    met: tuple[Met, ...]

    @property
    def harms(self) -> tuple[Met, ...]:
        """Of what is met, all but other works."""
        return tuple(met for met in self.met if met.kind != "work")


def met_on(way: FloatArray, ground: Ground, reach: float, skip: float = 0.0,
           dem: Dem | None = None, bank: float = 0.0) -> list[Met]:
    """Roofs, roads, wells and septic fields by a way of water, in the order it comes to them.

    Parameters
    ----------
    way : float64, shape (points, 2)
        [m]
    reach : float
        How far to each side of it. [m]
    skip : float
        Roads are looked for only this far down it and further. [m]
    dem : Dem, optional
        Given, a thing beside the way counts only from where the way passes it downhill: where its
        ground stands no higher than the way's and `bank` together.
    bank : float
        [m]
    """
    if len(way) < 2 or not LineString(way).length:
        return []
    line = LineString(way)
    found = []
    things = [("building", roof.name, roof.outline) for roof in ground.roofs]
    things += [("building", thing.name, thing.shape) for thing in ground.keep_clear
               if thing.kind == "foundation"]
    things += [("well" if thing.kind in WELLS else "septic field", thing.name, thing.shape)
               for thing in ground.keep_clear if thing.kind in (*WELLS, "septic field")]
    for kind, name, shape in things:
        gap = float(line.distance(shape))
        if 0 < gap <= reach and dem is not None:
            below = _passed_below(line, shape, reach, dem, bank)
            if below is not None:
                along, gap = below
                found.append(Met(kind, name, gap, along, not ground.boundary.covers(
                    line.interpolate(along))))
        elif gap <= reach:
            found.append(_met(kind, name, shape, line, gap, ground))
    for road in ground.roads:  # a road beside the way is not in it
        if line.intersects(road.surface):
            met = _met("road", road.name, road.surface, line, 0.0, ground)
            if met.along >= skip:
                found.append(met)
    return sorted(found, key=lambda met: (met.along, ORDER.index(met.kind), met.name))


def _met(kind: str, name: str, shape: object, line: LineString, gap: float, ground: Ground) -> Met:
    from shapely.ops import nearest_points

    shared = line.intersection(shape)
    if shared.is_empty:
        spot = nearest_points(line, shape)[0]
        along = float(line.project(spot))
    else:
        along = min(float(line.project(Point(place)))
                    for part in getattr(shared, "geoms", [shared]) for place in part.coords)
        spot = line.interpolate(along)
    return Met(kind, name, gap, along, not ground.boundary.covers(spot))


def _passed_below(line: LineString, shape: Any, reach: float, dem: Dem, bank: float
                  ) -> tuple[float, float] | None:
    """Where a way passes nearest by a thing that its water may reach, and how near; None where
    the thing stands uphill of it all along. [m]"""
    along = np.append(np.arange(0.0, line.length, min(dem.cell, 1.0)), line.length)
    points = shapely.line_interpolate_point(line, along)
    gaps = shapely.distance(points, shape)
    near = np.flatnonzero(gaps <= reach)
    if not near.size:
        near = np.array([int(gaps.argmin())])
    across = shapely.shortest_line(points[near], shape)
    ends = shapely.get_coordinates(shapely.get_point(across, -1))
    here = shapely.get_coordinates(points[near])
    higher = dem.height_at(ends[:, 0], ends[:, 1]) - dem.height_at(here[:, 0], here[:, 1])
    low = near[~(higher > bank)]  # ground of unknown height counts
    if not low.size:
        return None
    best = low[int(gaps[low].argmin())]
    return float(along[best]), float(gaps[best])


def breach_of(inputs: Inputs, made: Built, others: Sequence[Placed] = ()) -> Breach | None:
    """Where a work's bank does most harm when it fails; None for works without a bank.

    A swale's berm is tried at several places and at both ends, a wall at its highest section, a
    crescent's bund at its lowest point. The worst is where the way down meets what is worst to
    meet, and of those that meet the same, where most water stands against the bank.

    Parameters
    ----------
    others : sequence of Placed
        Works that may lie in the way.
    """
    place, swale, basin = made.placed, made.swale, made.basin
    spots: list[_Spot]
    if swale is not None:
        spots = _berm_places(swale)
    elif basin is not None and basin.profile is not None:
        high = int(np.argmax(basin.profile.heights))
        point = LineString(basin.line).interpolate(float(basin.profile.stations[high]))
        spots = [_Spot(float(basin.profile.stations[high]), point.x, point.y, basin.water_at_wall,
                       float(basin.profile.heights[high]))]
    elif place.tree is not None and place.tree.crescent is not None:
        arc = place.tree.crescent.arc
        x, y = (float(v) for v in arc[len(arc) // 2])
        spots = [_Spot(None, x, y, place.tree.depth, place.tree.crescent.bund_height)]
    else:
        return None
    found = [_breach(inputs, place, made.store.capacity, spot, others) for spot in spots]
    known = [breach for breach in found if breach is not None]
    return min(known, key=_badness) if known else None


def _badness(breach: Breach) -> tuple[int, float, float, float]:
    worst = min((ORDER.index(met.kind) for met in breach.met), default=len(ORDER))
    gap = min((met.gap for met in breach.met if ORDER.index(met.kind) == worst), default=0.0)
    return worst, gap, -breach.against, breach.chainage or 0.0


@dataclass(frozen=True)
class _Spot:
    """A place where a bank is let fail, the water that stands against it there, its height. [m]"""

    chainage: float | None
    x: float
    y: float
    against: float
    bank: float


def _berm_places(swale: Swale) -> list[_Spot]:
    """Places along a berm, and the water that stands against it there at the design peak."""
    line = LineString(swale.route.line)
    found: list[_Spot] = []
    for chainage in np.linspace(0.0, line.length, PLACES):
        point = line.interpolate(float(chainage))
        near = swale.nearest_station(float(chainage))
        under = max(swale.sill.level - near.ground, 0.0)
        found.append(_Spot(float(chainage), float(point.x), float(point.y),
                           swale.sill.head + under, swale.berm_height + under))
    return found


def _breach(inputs: Inputs, place: Placed, volume: float,
            spot: _Spot, others: Sequence[Placed]) -> Breach | None:
    x, y = spot.x, spot.y
    terrain, ground, rules = inputs.terrain, inputs.ground, inputs.rules
    way = way_down(terrain, x, y)
    if way is None:
        return None
    length, fall = before_leaving(way, ground, terrain)
    met = met_on(way, ground, rules["breach reach"], dem=inputs.dem, bank=spot.bank)
    for other in others:
        if other.name != place.name and other.kind != "tank" and LineString(way).intersects(
                other.outline):
            met.append(_met("work", other.name, other.outline, LineString(way), 0.0, ground))
    met.sort(key=lambda found: (found.along, ORDER.index(found.kind), found.name))
    return Breach(x, y, spot.chainage, volume, spot.against, way, length, fall, tuple(met))


def way_down(terrain: Terrain, x: float, y: float) -> FloatArray | None:
    """The way of water down from a point, to the end of the known ground; None where it has none.
    """
    dem = terrain.dem
    row, column = (int(i) for i in dem.row_column(x, y))
    rows, columns = dem.shape
    if not (0 <= row < rows and 0 <= column < columns) or not np.isfinite(dem.heights[row, column]):
        return None
    path = terrain.path(row, column)
    if len(path) < 2:
        return None
    return np.concatenate([[[x, y]], np.stack(dem.xy(path[1:, 0], path[1:, 1]), 1)])


def before_leaving(way: FloatArray, ground: Ground, terrain: Terrain) -> tuple[float, float]:
    """Length and fall of a way of water until it first leaves the property. [m]"""
    from shapely import contains_xy

    inside = contains_xy(ground.boundary, way[:, 0], way[:, 1])
    last = len(way) - 1 if inside.all() else max(int(np.argmin(inside)), 1)
    steps = np.hypot(*np.diff(way[:last + 1], axis=0).T)
    heights = terrain.dem.height_at(way[[0, last], 0], way[[0, last], 1])
    return float(steps.sum()), float(np.nan_to_num(heights[0] - heights[1]))


def breach_cautions(breach: Breach | None, dem: Dem, rules: Rulebook) -> list[str]:
    """What a bank's failure would do, in a sentence; nothing where nothing lies in its way."""
    if breach is None:
        return []
    said = []
    if breach.harms:
        at = dem.named(breach.x, breach.y)
        where = f"at {at}" if breach.chainage is None else (
            f"at station {along_words(breach.chainage)} ({at})")
        shown = [met.words for met in breach.met[:MOST_NAMED]]
        more = len(breach.met) - MOST_NAMED
        named = ", ".join(shown) + (f" and {more} more" if more > 0 else "")
        said.append(
            f"If its bank is overtopped or fails {where}, up to {in_both(breach.volume, 'volume')},"
            f" all it holds, runs down {in_both(breach.length, 'length', 0)} of ground that falls "
            f"{in_both(breach.fall, 'size')} before it leaves the site, and in its way lie "
            f"{named}. Things up to {in_both(rules['breach reach'], 'length')} beside the way are "
            f"told ({rules.cited('breach reach')}): hold less there, move the bank, or turn the "
            "way aside.")
    public = [met for met in breach.met if met.kind in ("building", "road", "well")]
    if breach.against >= rules["embankment water"] and public and (
            breach.against < rules["engineer water"]):
        met = public[0]
        said.append(
            f"Engineer and permit check: {in_both(breach.against, 'size')} of water stand against "
            f"its bank, from {in_both(rules['embankment water'], 'length')} on it counts as an "
            f"embankment ({rules.cited('embankment water')}), and the {met.kind} \"{met.name}\" "
            "lies in the way of its water if it fails. Have it designed and permitted before any "
            "digging.")
    return said
