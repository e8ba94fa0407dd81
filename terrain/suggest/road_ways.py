"""Ways that the water of a road takes from its turn-outs: down the ground, or in a drain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.plan.siting.road_turnouts import Turnout, road_turnouts
from terrain.suggest.look import Look
from terrain.surface.graded_walk import graded_walk

FloatArray = NDArray[np.float64]

#: A drain begins so far off the road's edge. [m]
OFF_EDGE = 0.5


@dataclass(frozen=True)
class Way:
    """The way that water takes from a turn-out: down the ground (no grade), or in a drain."""

    turnout: Turnout
    start: tuple[float, float]
    line: FloatArray
    grade: float | None = None
    side: int = 0


def road_ways(look: Look, least: float, furthest: float) -> list[Way]:
    """The ways from each turn-out that brings enough, in the order of the roads.

    Parameters
    ----------
    least : float
        That must come to it in the design storm. [m3]
    furthest : float
        They are followed so far. [m]
    """
    inputs, rules = look.inputs, look.inputs.rules
    found = []
    for turnout in road_turnouts(inputs, list(look.stands)):
        if turnout.volume < least:
            continue
        start = _off_the_road(look, turnout)
        row, column = inputs.dem.row_column(turnout.x, turnout.y)
        down = inputs.terrain.path(int(row), int(column))[:int(2 * furthest / inputs.dem.cell)]
        line = np.stack(inputs.dem.xy(down[:, 0], down[:, 1]), 1)
        found.append(Way(turnout, (turnout.x, turnout.y), line))
        if start is None:
            continue
        free = np.zeros(inputs.dem.shape, np.int32)
        for grade in sorted({rules["drain grade"], rules["drain steep"]}):
            for side in (1, -1):
                walk = graded_walk(look.soft, free, start, grade, side, furthest)
                found.append(Way(turnout, start, walk.line, grade, side))
    return [way for way in found if len(way.line) > 1]


def _off_the_road(look: Look, turnout: Turnout) -> tuple[float, float] | None:
    """A point just off the road's edge on its downhill side, as the site file would state it; None
    where the ground there does not lie low enough or is not the owner's."""
    ground, dem = look.inputs.ground, look.inputs.dem
    spot = Point(turnout.x, turnout.y)
    lines = [line for road in ground.roads if road.name == turnout.road for line in road.lines]
    line = min(lines, key=lambda one: one.distance(spot))
    surface = shapely.union_all([road.surface for road in ground.roads])
    at = line.project(spot)
    before, after = line.interpolate(max(at - 1.0, 0.0)), line.interpolate(at + 1.0)
    way = np.array([after.x - before.x, after.y - before.y])
    way /= max(float(np.hypot(*way)), 1e-9)
    sides = []
    for square in ((-way[1], way[0]), (way[1], -way[0])):
        ray = LineString([(spot.x, spot.y), (spot.x + 30 * square[0], spot.y + 30 * square[1])])
        beyond = ray.difference(surface)
        parts = [part for part in getattr(beyond, "geoms", [beyond]) if part.length > OFF_EDGE]
        if parts:
            edge = min(ray.project(Point(part.coords[0])) for part in parts)
            off = ray.interpolate(edge + OFF_EDGE)
            level = float(look.soft.height_at(off.x, off.y))
            if math.isfinite(level):
                sides.append((level, float(off.x), float(off.y)))
    if not sides:
        return None
    level, x, y = min(sides)
    x, y = as_stated(look, x, y)
    row, column = dem.row_column(x, y)
    if level > turnout.level + look.inputs.rules["level tolerance"]:
        return None
    if not ground.boundary.covers(Point(x, y)) or not ground.inside[row, column]:
        return None
    return x, y


def as_stated(look: Look, x: float, y: float) -> tuple[float, float]:
    """A point as it is read again from the site file, rounded. [m]"""
    frame = look.inputs.dem.frame
    move = frame.from_lonlat if look.inputs.site.points == "lonlat" else frame.to_working
    east, north = (float(v) for v in move(*look.stated(x, y)))
    return east, north
