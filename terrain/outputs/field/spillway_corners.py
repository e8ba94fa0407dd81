"""Corners of a wall's spillway: where the sides of its level floor run out into the ground."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.ops import substring

from terrain.inputs.dem import Dem
from terrain.works.basin import Basin
from terrain.works.ground_of_bank import spillway_dug

FloatArray = NDArray[np.float64]

#: Corners stand so far within the floor, and have it all about them so far. [m]
WITHIN = 0.3
#: Sides are followed in steps of this. [m]
STEP = 0.05
#: A side that never runs out ends where the floor's edge turns by more than this.
TURN = np.radians(45.0)


class Corner(NamedTuple):
    """A corner: "inlet" or "outlet", which side it lies on for who looks the way the water goes,
    its place [m] and how far along the floor's side it lies from the sill [m]."""

    mark: str
    side: str
    x: float
    y: float
    station: float


def spillway_corners(dem: Dem, basin: Basin) -> list[Corner]:
    """Left and right corners of a spillway's floor, towards the pool and where water leaves it.

    Each side of the floor is followed from the sill's end to where natural ground about it comes
    down to the floor's level, so that floor and ground are one there; a side that runs out within
    a step of the sill has none, as the sill's own stake stands there.
    """
    dug, lip = spillway_dug(dem, basin)
    inner = dug.buffer(-WITHIN, join_style="mitre")
    parts = [part for part in getattr(inner, "geoms", [inner]) if not part.is_empty]
    if not parts:
        return []
    ring = LineString(max(parts, key=lambda part: float(part.area)).exterior.coords)
    sides = _sides(ring, np.asarray(lip))
    # The floor towards the pool is the one that reaches its edge.
    sides.sort(key=lambda side: float(side.distance(basin.outline)))
    flow = np.array(sides[1].centroid.coords[0]) - np.array(sides[0].centroid.coords[0])
    across = np.array([-flow[1], flow[0]])
    found = []
    for mark, edge in zip(("inlet", "outlet"), sides, strict=True):
        corners = []
        for way in (edge, edge.reverse()):
            at = _runs_out(way, dem, basin.sill.level)
            if at is not None and 0 < at < edge.length:
                corners.append((np.array(way.interpolate(at).coords[0]), at))
        if len(corners) == 2:
            corners.sort(key=lambda corner: -float(corner[0] @ across))
        found += [Corner(mark, side, float(x), float(y), at) for side, ((x, y), at) in
                  zip(("left", "right"), corners, strict=False)]
    return found


def _sides(ring: LineString, lip: FloatArray) -> list[LineString]:
    """A ring's two ways from one end of a line across it to the other."""
    first, last = (float(ring.project(Point(end))) for end in lip)
    low, high = min(first, last), max(first, last)
    rest = [*substring(ring, high, ring.length).coords, *substring(ring, 0.0, low).coords[1:]]
    return [substring(ring, low, high), LineString(rest)]


def _runs_out(edge: LineString, dem: Dem, level: float) -> float | None:
    """How far along an edge the ground about it is last above a level, else where it turns. [m]"""
    turns = np.arange(0.0, 2 * np.pi, np.pi / 4)
    at = np.arange(0.0, edge.length, STEP)
    xy = np.array([edge.interpolate(s).coords[0] for s in at])
    about = [dem.height_at(xy[:, 0] + WITHIN * np.cos(turn), xy[:, 1] + WITHIN * np.sin(turn))
             for turn in turns]
    low = np.flatnonzero(np.nan_to_num(np.min(about, axis=0), nan=-np.inf) < level)
    if low.size:
        return float(at[low[0] - 1]) if low[0] > 0 else None
    points = np.asarray(edge.coords)
    ways = np.diff(points, axis=0)
    bends = np.abs(np.diff(np.unwrap(np.arctan2(ways[:, 1], ways[:, 0]))))
    sharp = np.flatnonzero(bends > TURN)
    along = np.cumsum(np.hypot(*ways.T))
    return float(along[sharp[0]]) if sharp.size else None
