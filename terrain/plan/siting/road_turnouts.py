"""Where the roads of a site should let their water go, what would come there, and where to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point

from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.runoff.ground import Road
from terrain.units import either
from terrain.works.lining import ERODIBLE
from terrain.works.road_drainage import (
    GRADE_OVER,
    RoadOutlet,
    road_outlets,
    road_spacing,
    steepest_told,
)


@dataclass(frozen=True)
class Turnout:
    """A place where a road should let its water go; nothing is built there by the plan.

    Attributes
    ----------
    road : str
    outlet : RoadOutlet
    x, y : float
        [m]
    level : float
        Raster's ground there. [m]
    water_bar : float
        Spacing of water bars at that grade, on a track that is hardly driven. [m]
    volume, own : float
        What would come to it in the design storm, the ground above the road included, and what of
        it falls on the road itself. [m3]
    leads_to : str
        The nearest store within reach that lies low enough; "" where there is none.
    away, fall : float
        How far off it is, and how much lower. [m]
    """

    road: str
    outlet: RoadOutlet
    x: float
    y: float
    level: float
    water_bar: float
    volume: float
    own: float
    leads_to: str
    away: float
    fall: float


def road_turnouts(inputs: Inputs, placed: list[Placed]) -> tuple[Turnout, ...]:
    """Turn-outs of every road within the boundary, in the order of the roads and chainages.

    Each stretch of road is taken to lead its own water, and that of the ground above it, to the
    turn-out at its foot.
    """
    dem, ground = inputs.dem, inputs.ground
    erodible = inputs.site.roads is None or ERODIBLE[inputs.site.roads.soil]
    marks = np.zeros(dem.shape, np.int32)
    found: list[tuple[Road, LineString, RoadOutlet]] = []
    for road in ground.roads:
        stretches: list[tuple[LineString, RoadOutlet]] = []
        for line in road.lines:
            for part, offset in _within(line, ground.boundary):
                stretches += [(line, outlet) for outlet in _profiled(inputs, part, offset,
                                                                     erodible)]
        if stretches:
            _mark(inputs, road, stretches, marks, len(found))
            found += [(road, line, outlet) for line, outlet in stretches]
    if not found:
        return ()
    runoff = np.nan_to_num(inputs.runoff(inputs.site.rain.design.depth))
    count = len(found) + 1
    comes = np.bincount(inputs.terrain.labels(marks).ravel(), runoff.ravel(), count)
    own = np.bincount(marks.ravel(), runoff.ravel(), count)
    return tuple(_turnout(inputs, placed, road, line, outlet, float(comes[i]), float(own[i]))
                 for i, (road, line, outlet) in enumerate(found, 1))


def _within(line: LineString, boundary: Any) -> list[tuple[LineString, float]]:
    """The parts of a line within the boundary, each with the chainage that it begins at."""
    kept = line.intersection(boundary)
    parts = [p for p in getattr(kept, "geoms", [kept])
             if p.geom_type == "LineString" and p.length > 0]
    return sorted(((p, float(line.project(Point(p.coords[0])))) for p in parts),
                  key=lambda found: found[1])


def _profiled(inputs: Inputs, part: LineString, offset: float, erodible: bool) -> list[RoadOutlet]:
    dem = inputs.dem
    count = max(int(np.ceil(part.length / max(dem.cell, 0.5))), 1)
    distance = np.linspace(0.0, part.length, count + 1)
    points = shapely.line_interpolate_point(part, distance)
    height = dem.height_at(shapely.get_x(points), shapely.get_y(points))
    known = np.isfinite(height)
    if known.sum() < 2:
        return []
    height = np.interp(distance, distance[known], height[known])
    found = road_outlets(distance, height, erodible, inputs.rules["level tolerance"])
    return [RoadOutlet(outlet.chainage + offset, outlet.start + offset, outlet.end + offset,
                       outlet.grade, outlet.spacing, outlet.foot) for outlet in found]


def _mark(inputs: Inputs, road: Road, stretches: list[tuple[LineString, RoadOutlet]], marks: Any,
          before: int) -> None:
    """Mark each cell of a road with the number of the stretch that it belongs to."""
    rows, columns = np.nonzero(road.cells & inputs.ground.inside & ~inputs.terrain.in_culverts)
    points = shapely.points(*inputs.dem.xy(rows, columns))
    best = np.full(len(rows), np.inf)
    number = np.zeros(len(rows), np.int32)
    for line in dict.fromkeys(line for line, _ in stretches):
        gap = shapely.distance(line, points)
        along = shapely.line_locate_point(line, points)
        for i, (other, outlet) in enumerate(stretches, before + 1):
            if other is not line:
                continue
            own = ((along >= outlet.start - 1e-6) & (along <= outlet.end + 1e-6) & (gap < best))
            number[own], best[own] = i, gap[own]
    marks[rows, columns] = np.where(number > 0, number, marks[rows, columns])


def _turnout(inputs: Inputs, placed: list[Placed], road: Road, line: LineString,
             outlet: RoadOutlet, volume: float, own: float) -> Turnout:
    spot = line.interpolate(outlet.chainage)
    level = float(inputs.dem.height_at(spot.x, spot.y))
    name, away, fall = "", float("nan"), float("nan")
    for place in sorted(placed, key=lambda p: (p.outline.distance(spot), p.name)):
        if place.kind == "tank":
            continue
        gap = float(place.outline.distance(spot))
        if gap > inputs.rules["turn-out reach"]:
            break
        into = (place.sill_level if place.drain is None else
                place.drain.lip(float(place.outline.project(spot))))
        if level - into >= inputs.rules["drain flattest"] * gap:
            name, away, fall = place.name, gap, level - into
            break
    erodible = inputs.site.roads is None or ERODIBLE[inputs.site.roads.soil]
    return Turnout(road.name, outlet, float(spot.x), float(spot.y), level,
                   road_spacing("water bar", outlet.grade, erodible), volume, own, name, away, fall)


def turnout_notes(inputs: Inputs, turnouts: tuple[Turnout, ...]) -> list[str]:
    """What the turn-outs rest on, in whole sentences; none without roads."""
    drawn = [road.name for road in inputs.ground.roads if not road.lines]
    said = []
    if turnouts:
        soil = inputs.site.roads.soil if inputs.site.roads is not None else "loam"
        kind = "easily eroded" if ERODIBLE[soil] else "hard to erode"
        stated = (inputs.site.roads is not None and "soil" in inputs.site.roads.model_fields_set)
        over = either(f"{GRADE_OVER:g} m", GRADE_OVER, "length", 0)
        said.append("Road turn-outs: spacing of the Low-Volume Roads Field Guide (US Forest "
                    f"Service and USAID, 2003), Tables 7.1 and 7.2, on {soil}, {kind}"
                    f"{'' if stated else ' (assumed, as the site file does not say)'}, by the "
                    f"raster's grade over {over}; each stretch is taken to lead all its "
                    "water and that of the ground above it to the foot, as a road with a ditch "
                    "does; one that is crowned or leans outward sheds much of it on the way.")
    told = steepest_told("water bar")
    steep = sorted({t.road for t in turnouts if t.outlet.grade > told + 1e-9})
    if steep:
        said.append(f"The table of water bars (Table 7.2) ends at grades of {told:.0%}, and "
                    f"parts of {', '.join(steep)} are steeper: they take its last row, and "
                    "should stand closer than that.")
    if drawn:
        said.append("Roads drawn as areas have no line to measure turn-outs along: "
                    + ", ".join(drawn) + ".")
    return said
