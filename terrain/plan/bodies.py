"""The ground that a work's own earth and water take, to measure from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from terrain.inputs.dem import Dem
from terrain.plan.built import Built
from terrain.plan.layout import Placed
from terrain.works.basin import Basin, earth_above
from terrain.works.cross_section import width_on_slope
from terrain.works.drain import Drain
from terrain.works.rules import Rulebook
from terrain.works.swale_built import Swale
from terrain.works.wall_and_pit import lowered_ground

FloatArray = NDArray[np.float64]

#: Of ground nearly as steep as a side, so much is reckoned with.
STEEPEST = 0.9


@dataclass(frozen=True)
class Body:
    """A work in plan.

    Attributes
    ----------
    parts : tuple of (str, shapely geometry)
        What each part is called in a sentence, and the ground it takes. [m]
    line : shapely LineString or None
        The line that chainages are told along.
    """

    parts: tuple[tuple[str, Any], ...]
    line: LineString | None = None

    @property
    def whole(self) -> Any:
        """All its ground."""
        return shapely.union_all([shape for _, shape in self.parts])

    def nearest(self, shape: Any) -> tuple[float, str]:
        """Distance of its nearest part from a shape [m], and what that part is called."""
        gaps = [(float(part.distance(shape)), called) for called, part in self.parts]
        return min(gaps, key=lambda gap: gap[0])


def body_of(made: Built, dem: Dem, rules: Rulebook) -> Body | None:
    """A work in plan; None for a tank, which takes no ground of its own that matters."""
    place = made.placed
    if made.swale is not None:
        return _swale(made.swale, dem)
    if made.basin is not None:
        return _basin(made.basin, dem)
    if made.drain is not None:
        return _drain(made.drain, dem)
    if place.tree is not None:
        return _tree(place, rules)
    if place.hollow is not None:
        return Body((("its full pool", place.outline),))
    return None


def floor_at(made: Built, x: FloatArray, y: FloatArray, ground: FloatArray) -> FloatArray:
    """Level of a work's floor at points, the ground where nothing is dug. [m]"""
    place, basin, drain = made.placed, made.basin, made.drain
    if basin is not None and basin.rim is not None:
        return lowered_ground(basin, x, y, ground)
    if drain is not None:
        along = shapely.line_locate_point(LineString(drain.route.line), shapely.points(x, y))
        return np.minimum(ground, np.array([drain.bed(float(s)) for s in along]))
    if place.hollow is not None or (basin is not None and basin.has_wall):
        return ground
    return np.minimum(ground, float(place.curve.levels[0]))


def across(line: FloatArray, stations: FloatArray, dem: Dem) -> tuple[FloatArray, FloatArray]:
    """Points of a line at distances along it, and the unit vectors uphill, square to it."""
    shape = LineString(line)
    at, ahead, behind = (np.array([shape.interpolate(float(np.clip(s + step, 0.0, shape.length)))
                                   .coords[0] for s in stations]) for step in (0.0, 0.5, -0.5))
    way = ahead - behind
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    left = np.stack([-way[:, 1], way[:, 0]], 1)
    reach = max(2.0, 1.5 * dem.cell)
    rise = dem.height_at(*(at + reach * left).T) - dem.height_at(*(at - reach * left).T)
    uphill = -1.0 if np.nanmedian(rise) < 0 else 1.0
    return at, uphill * left


def strip(near: FloatArray, far: FloatArray) -> Any:
    """The ground between two lines of as many points each."""
    quads = [Polygon([near[i], near[i + 1], far[i + 1], far[i]]).convex_hull
             for i in range(len(near) - 1)]
    return shapely.union_all(quads)


def _swale(swale: Swale, dem: Dem) -> Body:
    line = swale.route.line
    stations = np.array([station.chainage for station in swale.stations])
    at, uphill = across(line, stations, dem)
    cut = np.array([station.cut_width for station in swale.stations])
    most = STEEPEST / swale.berm_side_slope
    toe = np.array([width_on_slope(max(swale.berm_height_built + swale.sill.level - s.ground, 0.0),
                                   swale.berm_top, swale.berm_side_slope,
                                   min(max(s.cross_slope, 0.0), most)) for s in swale.stations])
    return Body((("its cut", strip(at, at + cut[:, None] * uphill)),
                 ("its berm", strip(at, at - toe[:, None] * uphill))), LineString(line))


def _basin(basin: Basin, dem: Dem) -> Body:
    parts: list[tuple[str, Any]] = []
    line = None
    if basin.profile is not None:
        line = LineString(basin.line)
        parts.append(("its bank", bank_footprint(basin)))
    parts.append(("its full pool" if basin.has_wall else "its rim", basin.outline))
    if not basin.has_wall:
        _, beyond = earth_above(dem, basin.outline, basin.sill.level, basin.batter)
        if beyond > 0.1:
            parts.append(("its cut", basin.outline.buffer(beyond)))
    elif basin.rim is not None:
        parts.append(("its pit", Polygon(basin.rim)))
    return Body(tuple(parts), line)


def bank_footprint(basin: Basin) -> Any:
    """The ground that a wall covers as built, from foot to foot. [m]"""
    profile = basin.profile
    assert profile is not None
    shape = LineString(basin.line)
    at, ahead, behind = (np.array([shape.interpolate(float(np.clip(s + step, 0.0, shape.length)))
                                   .coords[0] for s in profile.stations])
                         for step in (0.0, 0.5, -0.5))
    way = ahead - behind
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    left = np.stack([-way[:, 1], way[:, 0]], 1)
    wet = left if _pool_is_left(basin, at, left) else -left
    high = profile.heights * (1 + profile.settlement)
    half = np.where(high > 0, profile.top / 2, 0.0)
    inner, outer = ((half + slope * high)[:, None] for slope in (profile.wet_slope,
                                                                 profile.dry_slope))
    return strip(at + inner * wet, at - outer * wet)


def _pool_is_left(basin: Basin, at: FloatArray, left: FloatArray) -> bool:
    """Whether a wall's pool lies to the left of its line."""
    gaps = [float(shapely.distance(shapely.points(at + sign * 2.0 * left), basin.outline).mean())
            for sign in (1.0, -1.0)]
    return gaps[0] < gaps[1]


def _drain(drain: Drain, dem: Dem) -> Body:
    route, section = drain.route, drain.section
    at, uphill = across(route.line, route.stations, dem)
    most = STEEPEST / section.side_slope
    wide = np.array([width_on_slope(max(section.depth + above, 0.0), section.width,
                                    section.side_slope, min(slope, most))
                     for above, slope in zip(route.above, route.cross_slopes, strict=True)])
    return Body((("its channel", strip(at, at + wide[:, None] * uphill)),), LineString(route.line))


def _tree(place: Placed, rules: Rulebook) -> Body:
    tree = place.tree
    assert tree is not None
    if tree.crescent is not None:
        foot = (rules["crescent top width"]
                + 2 * rules["crescent side slope"] * tree.crescent.bund_height)
        return Body((("its bund", LineString(tree.crescent.arc).buffer(foot)),
                     ("its pool", tree.outline)))
    called = {"bowl": "its rim", "trench": "its trench"}[tree.form]
    return Body(((called, tree.outline),))
