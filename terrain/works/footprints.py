"""The ground that works take, to scale in plan: channels, berms, walls, pits, bunds and spoil."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.basin import Basin
from terrain.works.crescent import Crescent
from terrain.works.drain import LEAST_BANK, Drain
from terrain.works.polyline import points_along
from terrain.works.swale_built import Swale

FloatArray = NDArray[np.float64]

#: A strip beside a line is drawn from places at most this far apart. [m]
STEP = 1.0


def lower_side(dem: Dem, line: FloatArray, reach: float) -> int:
    """1 if the ground on the left of a line, `reach` m off, lies lower than on its right; else -1.
    """
    from shapely.geometry import LineString

    shape = LineString(line)
    sides = []
    for offset in (reach, -reach):
        moved = shape.offset_curve(offset)
        points = np.concatenate([np.asarray(p.coords) for p in getattr(moved, "geoms", [moved])
                                 if len(p.coords)] or [line])
        heights = dem.height_at(points[:, 0], points[:, 1])
        sides.append(float(np.nanmean(heights)) if np.isfinite(heights).any() else 0.0)
    return 1 if sides[0] <= sides[1] else -1


def along(line: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of a line at chainages, and unit vectors to its left there. [m]"""
    from shapely.geometry import LineString

    points = points_along(line, at)
    back = points_along(line, np.maximum(at - 0.5, 0.0))
    ahead = points_along(line, np.minimum(at + 0.5, LineString(line).length))
    way = ahead - back
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return points, np.stack([-way[:, 1], way[:, 0]], 1)


def strip(line: FloatArray, at: FloatArray, near: FloatArray, far: FloatArray) -> Any:
    """The ground between two distances to the left of a line, which change along it. [m]"""
    from shapely import Polygon, union_all

    length = float(at[-1])
    places = np.unique(np.concatenate([at, np.arange(float(at[0]), length, STEP)]))
    points, left = along(line, places)
    inner = points + left * np.interp(places, at, near)[:, None]
    outer = points + left * np.interp(places, at, far)[:, None]
    pieces = [Polygon([inner[i], inner[i + 1], outer[i + 1], outer[i]])
              for i in range(len(places) - 1)]
    pieces = [piece if piece.is_valid else piece.buffer(0) for piece in pieces]
    whole = union_all([piece for piece in pieces if not piece.is_empty])
    return whole.buffer(0.03, join_style="mitre").buffer(-0.03, join_style="mitre")


def _ground_along(swale: Swale) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Stations of a swale, the ground there over its sill [m] and its slope across [m/m]."""
    steepest = 0.9 / max(swale.section.side_slope, swale.berm_side_slope)
    return (np.array([s.chainage for s in swale.stations]),
            np.array([s.ground - swale.sill.level for s in swale.stations]),
            np.clip([s.cross_slope for s in swale.stations], -steepest, steepest))


def berm_toe(swale: Swale) -> FloatArray:
    """How far downhill of its line a swale's berm as built reaches, at each station. [m]"""
    _, above, slope = _ground_along(swale)
    toes, built = swale.berm_side_slope, swale.berm_height_built
    crest = toes * built + swale.berm_top
    return np.asarray(-np.minimum((above - built - crest / toes) / (1 / toes - slope), -crest))


def swale_footprint(swale: Swale, dem: Dem) -> tuple[Any, Any]:
    """A swale's channel, and its berm: open at the sill, turned uphill at both ends."""
    from shapely import union_all

    line, section = swale.route.line, swale.section
    side, wide = section.side_slope, section.top_width()
    at, above, slope = _ground_along(swale)
    steep = 1 / side if side else 1e9
    near = np.clip(-above / (slope + steep), -3.0, wide / 2)  # uphill of the line is above 0
    far = wide + np.maximum(above + slope * wide, 0.0) / (steep - slope)
    toe = berm_toe(swale)
    up = -lower_side(dem, line, max(2.5, dem.cell * 1.5))
    channel = strip(line, at, up * near, up * far)
    pieces = []
    for start, end in ((0.0, swale.sill_from), (swale.sill_to, float(at[-1]))):
        if end - start > 0.05:
            places = np.unique(np.concatenate([[start, end], at[(at > start) & (at < end)]]))
            pieces.append(strip(line, places, np.zeros(len(places)),
                                -up * np.interp(places, at, toe)))
    # Beside a sill at an end too: its bank closes the channel there.
    pieces += [_turned(swale, float(at[end]), up, end) for end in (0, -1)]
    return channel, union_all(pieces).buffer(0.03).buffer(-0.03)


def _turned(swale: Swale, at: float, up: int, end: int) -> Any:
    """A berm's end that goes on past the channel's and turns uphill, ever lower."""
    from shapely import LineString, Polygon, union_all

    turned, toes = swale.returns[end], swale.berm_side_slope
    half, high = swale.berm_top / 2, swale.berm_height_built
    points, left = along(swale.route.line, np.array([at]))
    uphill = left[0] * up
    out = np.array([left[0][1], -left[0][0]]) * (-1 if end == 0 else 1)
    beyond, reach = turned.beyond, turned.uphill
    slope = turned.slope_under(swale.built_berm)
    corner = high + slope * beyond

    def at_place(outward: float, upward: float) -> FloatArray:
        return np.asarray(points[0] + out * outward + uphill * upward)

    low, wide = half + toes * turned.tip, half + toes * corner
    ridge = Polygon([at_place(beyond - wide, -beyond), at_place(beyond - low, reach),
                     at_place(beyond + low, reach), at_place(beyond + wide, -beyond)])
    before = LineString([at_place(0.0, -beyond), at_place(beyond, -beyond)]).buffer(
        wide, cap_style="flat")
    round_corner = LineString([at_place(beyond, -beyond), at_place(beyond, -beyond + 0.01)]).buffer(
        wide)
    pieces = [ridge, before, round_corner]
    turn = np.linspace(-np.pi / 2, np.pi / 2, 17)
    far = toes * (turned.tip + half / toes) / (1 + toes * slope * np.cos(turn))
    if turned.tip > 1e-6:
        pieces.append(Polygon([at_place(beyond + r * np.sin(t), reach + r * np.cos(t))
                               for r, t in zip(far, turn, strict=True)]))
    # Nothing of it lies in the channel.
    side = Polygon([at_place(0.0, -99), at_place(0.0, 99), at_place(99, 99), at_place(99, -99)])
    return union_all(pieces).intersection(side)


def wall_footprint(basin: Basin, dem: Dem) -> tuple[Any, Any]:
    """The top of a wall as built, and all the ground that it covers."""
    from shapely import Point

    wall = basin.profile
    assert wall is not None
    at = wall.stations
    high = wall.heights * (1 + wall.settlement)
    wet = np.where(high > 0, wall.top / 2 + wall.wet_slope * high, 0.0)
    dry = np.where(high > 0, wall.top / 2 + wall.dry_slope * high, 0.0)
    points, left = along(basin.line, at[[int(np.argmax(high))]])
    pool, reach = basin.outline, max(float(wet.max()), 2 * dem.cell)
    away = [pool.distance(Point(points[0] + sign * reach * left[0])) for sign in (1, -1)]
    water = 1 if away[0] < away[1] else -1
    if away[0] == away[1]:
        water = -lower_side(dem, basin.line, reach)
    half = np.where(high > 0, wall.top / 2, 0.0)
    return (strip(basin.line, at, -half, half),
            strip(basin.line, at, -water * dry, water * wet))


def pit_footprint(basin: Basin) -> tuple[Any, Any] | None:
    """The rim of a pit and its floor; None where there is none, and no floor in a vee."""
    from shapely import Polygon

    if basin.rim is not None:
        rim = Polygon(basin.rim)
        return rim, rim.buffer(-basin.batter * basin.pit_depth, join_style="mitre")
    if basin.has_wall:
        return None
    return basin.outline, basin.outline.buffer(-basin.batter * basin.water_at_wall,
                                               join_style="mitre")


def cut_edge(basin: Basin, dem: Dem) -> FloatArray | None:
    """Where a pit's sides, gone on above the level they are drawn from, come out of the ground.

    None where they hardly reach beyond the pit's rim.
    """
    pit = pit_footprint(basin)
    if pit is None or not basin.batter:
        return None
    level = basin.sill.level if basin.rim is None else basin.floor + basin.pit_depth
    rim = pit[0].segmentize(0.5).buffer(0.01).exterior.segmentize(0.5)
    corners = np.asarray(rim.coords)[:-1]
    way = np.roll(corners, -1, 0) - np.roll(corners, 1, 0)
    out = np.stack([way[:, 1], -way[:, 0]], 1) * (1 if rim.is_ccw else -1)
    out = out / np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    far = np.arange(0.0, 30.0, 0.1)
    x, y = (corners[:, k, None] + out[:, k, None] * far for k in (0, 1))
    ground = dem.height_at(x.ravel(), y.ravel()).reshape(x.shape)
    inside = np.nan_to_num(ground, nan=-np.inf) > level + far / basin.batter
    reach = np.where(inside.all(axis=1), far[-1], far[np.argmin(inside, axis=1)])
    if reach.max() < 0.2:
        return None
    edge = corners + out * reach[:, None]
    return np.concatenate([edge, edge[:1]])


def drain_footprint(drain: Drain, dem: Dem) -> tuple[Any, Any]:
    """A drain's channel, and its bank where the ground lies below its lip; None for no bank."""
    route, section = drain.route, drain.section
    side = section.side_slope
    wide = section.width + 2 * side * section.depth
    slope = np.clip(route.cross_slopes, 0.0, 0.9 / side)
    near = np.clip(-route.above / (slope + 1 / side), -3.0, wide / 2)
    far = wide + np.maximum(route.above + slope * wide, 0.0) / (1 / side - slope)
    up = 1 if route.left else -1
    low = np.maximum(-route.above, 0.0)
    high = low * drain.settlement
    toe = np.where(low > LEAST_BANK, side * high + drain.bank_top
                   + side * (high + low + slope * drain.bank_top) / (1 - side * slope), 0.0)
    channel = strip(route.line, route.stations, up * near, up * far)
    if not toe.any():
        return channel, None
    return channel, strip(route.line, route.stations, np.zeros(len(toe)), -up * toe)


def bund_footprint(made: Crescent, top: float, side: float, trunk: tuple[float, float]) -> Any:
    """The ground under a crescent's bund: full at its toe, as wide as its top at its tips."""
    from shapely import Polygon

    arc = made.arc
    out = arc - np.array(trunk)
    out = out / np.hypot(*out.T)[:, None]
    turn = np.linspace(-1.0, 1.0, len(arc))
    wide = top + 2 * side * made.bund_height * (1 - turn**2)
    return Polygon(np.concatenate([arc, (arc + out * wide[:, None])[::-1]]))
