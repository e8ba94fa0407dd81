"""What people did to the ground: a road, a yard, a levelled pad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import ndimage
from scipy.interpolate import CubicSpline
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, Polygon

from making.drawn import (
    BOUNDARY,
    COLUMNS,
    DRIVE,
    DRIVE_WIDTH,
    HOUSE,
    MITRE,
    RIB,
    ROAD,
    ROAD_WIDTH,
    ROWS,
    YARD,
    Grid,
)
from making.flow import contributing, flood, fractal, receivers
from making.natural_ground import natural_ground

X, Y = np.meshgrid(np.arange(COLUMNS) + 0.5, ROWS - (np.arange(ROWS) + 0.5))


def at(field: Grid, x: float, y: float) -> float:
    """Read a grid between cell centres."""
    r = min(max(ROWS - y - 0.5, 0.0), ROWS - 1.001)
    c = min(max(x - 0.5, 0.0), COLUMNS - 1.001)
    i, j = int(r), int(c)
    u, v = r - i, c - j
    return float((1 - u) * ((1 - v) * field[i, j] + v * field[i, j + 1])
                 + u * ((1 - v) * field[i + 1, j] + v * field[i + 1, j + 1]))


def turned(x: float, y: float, length: float, breadth: float, downhill: float) -> Polygon:
    """A rectangle whose short side points downhill; angle from north, clockwise [deg]."""
    a = np.radians(downhill)
    along, down = np.array([np.cos(a), -np.sin(a)]), np.array([np.sin(a), np.cos(a)])
    return Polygon([np.array([x, y]) + i * along * length / 2 + j * down * breadth / 2
                    for i, j in [(-1, -1), (1, -1), (1, 1), (-1, 1)]])


def away_from(polygon: Polygon) -> Grid:
    """Distance of every cell to a polygon, 0 inside [m]."""
    return shapely.distance(polygon, shapely.points(X, Y))


def graded(z: Grid, target: Grid, away: Grid, cut: float = 0.6, fill: float = 0.5) -> Grid:
    """Cut and fill to a target surface, with batters of the given slopes around it."""
    return np.clip(z, target - fill * away, target + cut * away)


@dataclass
class Line:
    """A road line sampled each half metre, with its levels."""

    points: Grid
    station: Grid
    level: Grid


def road_line(knots: list[tuple[float, float]], z: Grid, easing: float) -> Line:
    """A smooth line through knots whose level follows the ground, eased over `easing` m."""
    knot = np.array(knots, float)
    chord = np.r_[0, np.cumsum(np.hypot(*np.diff(knot, axis=0).T))]
    fine = CubicSpline(chord, knot)(np.linspace(0, chord[-1], 4000))
    run = np.r_[0, np.cumsum(np.hypot(*np.diff(fine, axis=0).T))]
    station = np.arange(0, run[-1], 0.5)
    points = np.column_stack([np.interp(station, run, fine[:, i]) for i in (0, 1)])
    ground = np.array([at(z, x, y) for x, y in points])
    return Line(points, station, ndimage.gaussian_filter1d(ground, easing / 0.5, mode="nearest"))


def with_road(z: Grid, line: Line, width: float, outslope: float, ruts: float,
              windrow: tuple[float, float] = (0, 0)) -> Grid:
    """Cut a road into the hillside: outsloped, with two worn tracks.

    Between the `windrow` stations the grader has left low ridges on both edges.
    """
    smooth = ndimage.gaussian_filter(z, 7)
    distance, nearest = cKDTree(line.points).query(np.column_stack([X.ravel(), Y.ravel()]))
    distance, nearest = distance.reshape(z.shape), nearest.reshape(z.shape)
    heading = np.gradient(line.points, axis=0)
    heading /= np.hypot(*heading.T)[:, None]
    left = np.column_stack([-heading[:, 1], heading[:, 0]])
    across = ((X - line.points[nearest, 0]) * left[nearest, 0]
              + (Y - line.points[nearest, 1]) * left[nearest, 1])
    rise = np.array([at(smooth, *(p + 6 * n)) - at(smooth, *(p - 6 * n))
                     for p, n in zip(line.points, left, strict=True)]) / 12
    tilt = ndimage.gaussian_filter1d(np.clip(rise / 0.04, -1, 1) * outslope, 30)
    half = width / 2
    inside = np.clip(across, -half, half)
    target = line.level[nearest] + tilt[nearest] * inside
    target -= ruts * np.exp(-((np.abs(across) - 0.85) / 0.42) ** 2)
    beyond = np.maximum(distance - half, 0)
    done = np.where(distance < 25, graded(z, target, beyond), z)
    here = line.station[nearest]
    ridge = np.clip(np.minimum(here - windrow[0], windrow[1] - here) / 3, 0, 1)
    return done + 0.15 * ridge * np.exp(-((distance - half - 0.2) / 0.55) ** 2)


def rock_rib(z: Grid, area: Grid, ends: tuple[tuple[float, float], tuple[float, float]]) -> Grid:
    """Raise a rib of hard rock across the valley, cut through where the gully runs."""
    line = LineString(ends)
    across = shapely.distance(line, shapely.points(X, Y))
    from_gully = ndimage.distance_transform_edt(area < 60_000)
    notch = 1 - np.exp(-((from_gully / 5.5) ** 2))
    along = ((X - ends[0][0]) / (ends[1][0] - ends[0][0]) - 0.5) * 2
    height = 1.55 * np.exp(-np.abs(along) ** 3) * (0.8 + 0.2 * np.sin(X / 5 + Y / 9))
    return z + height * np.exp(-((across / 7.5) ** 2)) * notch


def narrows(z: Grid, area: Grid) -> tuple[Grid, Grid, float]:
    """The best place for a wall: its two ends and the bed level there.

    Looks at each gully cell for a short line to ground 1.5 m above the bed, with much room above.
    """
    smooth_dir = ndimage.gaussian_filter(z, 9)
    gy, gx = np.gradient(smooth_dir)
    gy = -gy
    best, found = 0.0, None
    rows, columns = np.nonzero((area > 25_000) & (away_from(Polygon(BOUNDARY)) == 0))
    for r, c in list(zip(rows, columns, strict=True))[::3]:
        x, y = c + 0.5, ROWS - r - 0.5
        if Point(x, y).distance(Polygon(BOUNDARY).exterior) < 45:
            continue
        flow = np.array([-gx[r, c], -gy[r, c]])
        flow /= np.hypot(*flow)
        reach = np.arange(0, 26, 0.5)
        for turn in np.radians([-40, -20, 0, 20, 40]):
            side = np.array([-flow[1] * np.cos(turn) - flow[0] * np.sin(turn),
                             flow[0] * np.cos(turn) - flow[1] * np.sin(turn)])
            ends = []
            for sign in (-1, 1):
                p = np.array([x, y])[:, None] + sign * side[:, None] * reach
                height = ndimage.map_coordinates(z, [ROWS - p[1] - 0.5, p[0] - 0.5], order=1)
                high = np.flatnonzero(height > z[r, c] + 1.75)
                if high.size == 0 or reach[high[0]] > 22:
                    break
                ends.append(np.array([x, y]) + sign * side * (reach[high[0]] + 1))
            if len(ends) < 2:
                continue
            width = np.hypot(*(ends[0] - ends[1]))
            box_ = (X - x) * flow[0] + (Y - y) * flow[1]
            pool = ((z < z[r, c] + 0.85) & (box_ < 0) & (np.hypot(X - x, Y - y) < 45))
            volume = np.clip(z[r, c] + 0.85 - z, 0, 2)[pool].sum()
            if volume / width**2.2 > best:
                best, found = volume / width**2.2, (ends[0], ends[1], float(z[r, c]))
    if found is None:
        raise RuntimeError("no narrows on this ground; change the seed")
    return found


def valley_floor(z: Grid, ends: tuple[Grid, Grid], bed: float) -> Grid:
    """Lay river silt above the narrows, as behind a bar of hard rock."""
    bar = LineString(ends).distance(shapely.points(X, Y))
    dammed = np.where(bar < 2.0, np.maximum(z, bed + 0.55), z)
    silt = flood(dammed, 0.007)
    raised = np.where(np.hypot(X - ends[0][0], Y - ends[0][1]) < 140, silt - z, 0)
    return z + ndimage.gaussian_filter(np.maximum(raised, 0), 1.5)


def water_lines(z: Grid, rng: np.random.Generator) -> Grid:
    """Cut the small steep-sided channels in which water really runs."""
    wavering = z + 0.06 * fractal(z.shape, rng, 2.5, 30, 5)
    filled = flood(wavering)
    area = contributing(filled, receivers(filled, rng, 0.3)[0])
    depth = np.where(area > 2500, 0.10 * (area / 1e4) ** 0.42, 0)
    groove = np.zeros(z.shape)
    for low, high, wide in [(0, 0.14, 0.9), (0.14, 0.25, 1.3), (0.25, 9, 2.1)]:
        part = np.where((depth > low) & (depth <= high), depth, 0)
        groove += ndimage.gaussian_filter(part, wide) * wide * 2.6
    return z - groove


def ledges(z: Grid, rng: np.random.Generator) -> Grid:
    """Lay bands of harder rock across the steep back slope."""
    steep = np.hypot(*np.gradient(ndimage.gaussian_filter(z, 5)))
    share = np.clip((steep - 0.13) / 0.14, 0, 1) * 0.75
    phase = z / 3.1 * 2 * np.pi + 1.3 * fractal(z.shape, rng, 2.5, 120, 20)
    return z - share * 3.1 / (2 * np.pi) * 0.9 * np.sin(phase) * (0.8 + 0.2 * np.sin(phase / 2.7))


def pan(z: Grid, x: float, y: float, depth: float, radius: float) -> Grid:
    """Press a shallow natural hollow into the ground."""
    far = np.hypot((X - x) * 0.86 + 0.1 * (Y - y), Y - y)
    lip = z[np.abs(far - radius) < 1].min()
    floor = lip - depth * (1 - (far / radius) ** 2)
    weight = np.clip((radius + 3 - far) / 4, 0, 1)
    return np.where(far < radius + 3, z + weight * (np.minimum(z, floor) - z), z)


def quiet_place(z: Grid, keep_off: list[shapely.Geometry]) -> tuple[float, float]:
    """The flattest spot on the property that no stream, road or yard is near."""
    filled = flood(z)
    area = ndimage.maximum_filter(contributing(filled, receivers(filled)[0]), 15)
    slope = np.hypot(*np.gradient(ndimage.gaussian_filter(z, 5)))
    free = (area < 1800) & (area > 350) & shapely.contains_xy(Polygon(BOUNDARY).buffer(-25), X, Y)
    for part in keep_off:
        free &= away_from(part) > 30
    r, c = np.unravel_index(np.argmin(np.where(free, slope, 9)), z.shape)
    return c + 0.5, ROWS - r - 0.5


def small_roughness(z: Grid, tame: Grid, rng: np.random.Generator) -> Grid:
    """Add bush hummocks, stones and the noise of a survey; `tame` is 0 to 1 where smooth."""
    hummocks = np.zeros(z.shape)
    wild = 1 - tame
    place = rng.random((3800, 2)) * [COLUMNS, ROWS]
    patch = fractal(z.shape, rng, 2.2, 60, 6)
    for x, y in place:
        r, c = int(ROWS - y), int(x)
        inner = 4 <= r <= ROWS - 5 and 4 <= c <= COLUMNS - 5
        if not inner or rng.random() > 0.5 + 0.4 * patch[r, c]:
            continue
        window = (slice(r - 4, r + 5), slice(c - 4, c + 5))
        far = np.hypot(X[window] - x, Y[window] - y)
        bush = rng.uniform(0.03, 0.13) * np.exp(-(far / rng.uniform(0.8, 1.7)) ** 2)
        hummocks[window] = np.maximum(hummocks[window], bush)
    steep = np.clip(np.hypot(*np.gradient(ndimage.gaussian_filter(z, 4))) / 0.25, 0, 1)
    stones = (0.010 + 0.045 * steep) * fractal(z.shape, rng, 1.4, 9, 2)
    return z + wild * (hummocks + stones) + 0.011 * rng.standard_normal(z.shape)


def mitre_drain(z: Grid, line: Line, station: float, length: float = 8.0
                ) -> tuple[Grid, tuple[float, float]]:
    """Cut a dip in the road and a short drain that leads its water out; returns where it ends."""
    i = int(station / 0.5)
    start = line.points[i]
    heading = line.points[i + 4] - line.points[i - 4]
    heading /= np.hypot(*heading)
    side = np.array([heading[1], -heading[0]])
    smooth = ndimage.gaussian_filter(z, 6)
    if at(smooth, *(start + 8 * side)) > at(smooth, *(start - 8 * side)):
        side = -side
    out = side * 0.90 - heading * 0.43           # knots run downhill to uphill: lean downhill
    out /= np.hypot(*out)
    head, end = start - 2.2 * out, start + length * out
    level = line.level[i] - 0.16
    path = np.linspace(head, end, 60)
    distance, nearest = cKDTree(path).query(np.column_stack([X.ravel(), Y.ravel()]))
    distance, nearest = distance.reshape(z.shape), nearest.reshape(z.shape)
    bed = level - 0.04 * np.linspace(0, length + 2.2, 60)[nearest]
    beyond = np.maximum(distance - 0.6, 0)
    cut = np.minimum(z, bed + 0.32 * beyond)
    lip = np.hypot(X - start[0], Y - start[1]) < length + 4
    z = np.where(lip, cut, z)

    # below it lies a shelf from which the road's fill was once dug
    middle = end + 5.5 * out
    fall = -np.array([at(g, *middle) for g in np.gradient(smooth)[::-1]]) * [1, -1]
    fall /= np.hypot(*fall)
    drop = (X - middle[0]) * fall[0] + (Y - middle[1]) * fall[1]
    floor = at(smooth, *(middle + 6.5 * fall)) + 0.045 * (6.5 - drop)
    beside = (X - middle[0]) * -fall[1] + (Y - middle[1]) * fall[0]
    ragged = 0.7 * np.sin(X / 3.1 + 1) + 0.6 * np.sin(Y / 2.3 + X / 4.7)
    away = np.maximum(np.hypot(beside / 1.35, drop) + ragged - 6.3, 0)
    return np.minimum(z, floor + 0.35 * away), (float(end[0]), float(end[1]))


def make_ground(rng: np.random.Generator) -> tuple[Grid, dict]:
    """Build the whole ground; also returns what the placing of the works needs."""
    z = natural_ground(rng)
    z = ledges(z, rng)
    filled = flood(z)
    area = contributing(filled, receivers(filled)[0])
    z = rock_rib(z, area, RIB)
    *ends, bed = narrows(z, np.where(away_from(LineString(RIB)) < 4, area, 0))
    z = valley_floor(z, tuple(ends), bed)
    z = water_lines(z, rng)

    yard = turned(*YARD)
    x, y, *_, downhill = YARD
    a = np.radians(downhill)
    down = (X - x) * np.sin(a) + (Y - y) * np.cos(a)
    plane = at(ndimage.gaussian_filter(z, 6), x, y) - 0.022 * down
    yard_away = away_from(yard.buffer(-7).buffer(7))
    z = graded(z, plane, yard_away, 0.4, 0.35)
    pad = turned(HOUSE[0], HOUSE[1], HOUSE[2] + 5, HOUSE[3] + 5, downhill)
    z = graded(z, np.full(z.shape, at(z, HOUSE[0], HOUSE[1]) + 0.05), away_from(pad), 0.7, 0.5)

    road = road_line(ROAD, z, 16)
    drive = road_line(DRIVE, z, 6)
    dip = 0.5 * int(np.hypot(*(road.points - MITRE).T).argmin())
    z = with_road(z, road, ROAD_WIDTH, 0.032, 0.08, (dip + 2, 285))
    z = with_road(z, drive, DRIVE_WIDTH, 0.02, 0.02)

    bench = quiet_place(z, [yard, LineString(road.points), LineString(drive.points)])
    z = pan(z, *bench, 0.45, 6.5)

    tame = np.zeros(z.shape)
    for part, wide in [(LineString(road.points), 3.2), (LineString(drive.points), 2.4), (yard, 1)]:
        tame = np.maximum(tame, np.clip(1.5 - away_from(part.buffer(wide)) / 2, 0, 1) * 0.8)
    z = small_roughness(z, tame, rng)
    z, spout = mitre_drain(z, road, dip)
    return z, {"ends": ends, "bed": bed, "yard": yard, "road": road, "drive": drive,
               "spout": spout, "dip": road.points[int(dip / 0.5)], "pan": bench}
