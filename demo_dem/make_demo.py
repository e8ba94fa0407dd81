"""Make the demo site "Quailstone": invented ground, covers, soils, roads, roofs, rain and works,
and the demo district: the properties about it.

Everything here is invented.  The ground starts as a drawn ridge and valley with
fractal noise, is worn by running water (stream power, implicit) and by creep,
and then gets what people do to ground: a road, a yard, a levelled pad.  The
works are placed by reading that ground.  Seeded: the same script gives the same site.

Run: ``python make_demo.py [FOLDER]``; it overwrites its own outputs and nothing else.
"""

from __future__ import annotations

import heapq
import sys
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import rasterio.features
import shapely
from numpy.typing import NDArray
from rasterio.transform import from_origin
from scipy import ndimage, sparse
from scipy.interpolate import CubicSpline
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, Polygon, box, shape

Grid = NDArray[np.float64]

SEED, RAIN_SEED = 12, 28
COLUMNS, ROWS = 640, 600                    # 1 m cells
EAST, NORTH = 512_180.0, 6_429_740.0        # lower left corner, UTM 34S [m]
PAD = 100                                   # worn with the rest, then cut off [m]
STEP = 2                                    # cell of the wearing [m]

CRS = "EPSG:32734"
VOID = -9999.0

# Drawn by hand on the ground that the seed gives, in metres east and north of the corner.
BOUNDARY = [(96, 158), (236, 131), (441, 137), (512, 246), (503, 397), (468, 499), (331, 507),
            (118, 484), (88, 330)]
ROAD = [(226, 606), (212, 570), (192, 540), (172, 508), (166, 480), (171, 452), (172, 425),
        (181, 395), (183, 371), (174, 352), (169, 338)]
DRIVE = [(169, 338), (160, 331), (151, 321), (146, 309)]
YARD = (180.0, 328.0, 40.0, 31.0, 33.0)      # middle, length, breadth [m], downhill towards [deg]
HOUSE = (177.0, 321.0, 20.0, 9.5)           # middle, length, breadth of the roof [m]
RIB = [(366, 404), (446, 414)]               # hard rock across the main gully
MITRE = (184.0, 387.0)                       # where the road lets its water go
ROAD_WIDTH, DRIVE_WIDTH = 4.0, 3.0
TREE_RIM, TREE_FALL = 1.5, 0.06              # a bowl's radius, and one's sill under the last's [m]

D8 = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


# ---------------------------------------------------------------- noise and flow

def fractal(shape: tuple[int, int], rng: np.random.Generator, beta: float,
            longest: float, shortest: float = 2.0) -> Grid:
    """Gaussian noise of spectral slope `beta` between two wavelengths in cells; deviation 1."""
    fy = np.fft.fftfreq(shape[0])[:, None]
    fx = np.fft.rfftfreq(shape[1])[None, :]
    f = np.hypot(fy, fx)
    f[0, 0] = 1.0
    power = f ** (-beta / 2) * (1 - np.exp(-((f * longest) ** 4)))
    power *= np.exp(-((f * shortest / 2) ** 4))
    power[0, 0] = 0.0
    noise = np.fft.irfft2(np.fft.rfft2(rng.standard_normal(shape)) * power, s=shape)
    return noise / noise.std()


def flood(z: Grid, lift: float = 1e-5) -> Grid:
    """Fill hollows from the edge inwards, each cell `lift` above the one it drains to [m]."""
    rows, columns = z.shape
    filled = z.copy()
    flat = filled.ravel()
    known = np.zeros(z.size, bool)
    edge = np.zeros(z.shape, bool)
    edge[[0, -1]] = edge[:, [0, -1]] = True
    start = np.flatnonzero(edge.ravel())
    known[start] = True
    heap = [(flat[i], i) for i in start.tolist()]
    heapq.heapify(heap)
    level, seen = flat.tolist(), known.tolist()
    offsets = [dr * columns + dc for dr, dc in D8]
    last = rows * columns
    while heap:
        here, i = heapq.heappop(heap)
        least = here + lift
        for offset in offsets:
            j = i + offset
            if 0 <= j < last and not seen[j]:
                seen[j] = True
                if level[j] < least:
                    level[j] = least
                heapq.heappush(heap, (level[j], j))
    return np.array(level).reshape(z.shape)


def receivers(filled: Grid, rng: np.random.Generator | None = None, jitter: float = 0.0
              ) -> tuple[NDArray[np.int64], Grid]:
    """Steepest of eight neighbours of a filled surface, and the distance to it in cells.

    With `jitter` the choice wavers, which keeps worn valleys from following the grid.
    """
    rows, columns = filled.shape
    own = np.arange(filled.size).reshape(filled.shape)
    best = np.zeros(filled.shape)
    to, far = own.copy(), np.ones(filled.shape)
    inner = (slice(1, -1), slice(1, -1))
    for dr, dc in D8:
        other = (slice(1 + dr, rows - 1 + dr), slice(1 + dc, columns - 1 + dc))
        length = np.hypot(dr, dc)
        drop = (filled[inner] - filled[other]) / length
        if rng is not None:
            drop = drop * (1 + jitter * rng.random(drop.shape))
        better = drop > best[inner]
        best[inner] = np.where(better, drop, best[inner])
        to[inner] = np.where(better, own[other], to[inner])
        far[inner] = np.where(better, length, far[inner])
    return to.ravel(), far.ravel()


def tree(filled: Grid, to: NDArray[np.int64], weight: Grid) -> sparse.csc_matrix:
    """``I - weight * (cell -> receiver)``, rows and columns from the lowest cell up."""
    order = np.argsort(filled.ravel(), kind="stable")
    place = np.empty(order.size, np.int64)
    place[order] = np.arange(order.size)
    goes = to != np.arange(to.size)
    i, j = place[np.flatnonzero(goes)], place[to[goes]]
    size = to.size
    return sparse.csc_matrix((-weight[goes], (i, j)), (size, size)) + sparse.eye(size, format="csc")


def contributing(filled: Grid, to: NDArray[np.int64], start: Grid | None = None) -> Grid:
    """Cells that drain through each cell, itself included (or the sum of `start`)."""
    order = np.argsort(filled.ravel(), kind="stable")[::-1]
    total = (np.ones(filled.size) if start is None else start.astype(float).ravel()).tolist()
    onward = to.tolist()
    for i in order.tolist():
        if onward[i] != i:
            total[onward[i]] += total[i]
    return np.array(total).reshape(filled.shape)


# ---------------------------------------------------------------- natural ground

def drawn_shape(x: Grid, y: Grid) -> Grid:
    """The large form before any wear: a ridge in the south, a valley running north [m]."""
    valley = 415 + 30 * np.sin((y - 60) / 95) - 0.12 * (300 - y)
    crest = 36 + 13 * np.sin(x / 83 + 0.6) + 7 * np.sin(x / 37)
    north = y - crest
    z = 1187 + 0.034 * (560 - y)
    back = 40 * np.exp(-np.abs(north) / np.where(north > 0, 88, 170))
    saddle = 1 - 0.25 * np.exp(-((x - 355) / 70) ** 2)
    z = z + back * saddle - 0.05 * np.minimum(north, 0)
    west = valley - x
    side = np.where(west > 0, 0.043, 0.075) * (np.sqrt(west**2 + 30.0**2) - 30)
    divide = np.maximum(west - 330, 0)
    return z + side - 0.11 * divide * (1 - np.exp(-divide / 60))


def worn(z: Grid, rng: np.random.Generator, hard: Grid, rounds: int = 34) -> Grid:
    """Wear a surface by running water and creep; cells of `STEP` metres."""
    share, creep = 0.45, 0.030
    for _ in range(rounds):
        filled = flood(z)
        to, far = receivers(filled, rng, 0.5)
        area = contributing(filled, to) * STEP**2
        power = hard * 0.026 * np.maximum(area - 250, 0) ** share / (far.reshape(z.shape) * STEP)
        f = power.ravel()
        matrix = tree(filled, to, f / (1 + f))
        order = np.argsort(filled.ravel(), kind="stable")
        right = z.ravel() / (1 + np.where(to != np.arange(to.size), f, 0))
        solved = np.empty(z.size)
        solved[order] = splu(matrix, permc_spec="NATURAL", diag_pivot_thresh=0,
                             options={"SymmetricMode": True}).solve(right[order])
        new = np.minimum(solved.reshape(z.shape), z)
        new = np.maximum(new, z - 0.6)
        for _again in range(3):
            new = new + creep * 4 * ndimage.laplace(new, mode="nearest") * 0.9
        z = new
    return z


def natural_ground(rng: np.random.Generator) -> Grid:
    """The ground before people: 1 m cells, first row in the north. [m]"""
    columns, rows = (COLUMNS + 2 * PAD) // STEP, (ROWS + 2 * PAD) // STEP
    x = (np.arange(columns) + 0.5) * STEP - PAD
    y = ROWS + PAD - (np.arange(rows) + 0.5) * STEP
    x, y = np.meshgrid(x, y)
    shape = x.shape
    warp = [14 * fractal(shape, rng, 3.6, 110, 45) for _ in range(2)]
    z = drawn_shape(x + warp[0], y + warp[1])
    z = z + 0.42 * fractal(shape, rng, 2.6, 60, 7)
    z[0] -= 2.0
    hard = np.exp(0.35 * fractal(shape, rng, 2.5, 60, 6))
    z = worn(z, rng, hard)

    fine_x = np.arange(COLUMNS) + 0.5
    fine_y = ROWS - (np.arange(ROWS) + 0.5)
    fine_x, fine_y = np.meshgrid(fine_x, fine_y)
    sway = [1.8 * fractal(fine_x.shape, rng, 3.0, 60, 22) for _ in range(2)]
    column = (fine_x + sway[0] + PAD) / STEP - 0.5
    row = (ROWS + PAD - (fine_y + sway[1])) / STEP - 0.5
    return ndimage.map_coordinates(z, [row, column], order=3, mode="nearest")



# ---------------------------------------------------------------- what people did to it

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


# ---------------------------------------------------------------- layers

def patches(codes: NDArray[np.int16], names: dict[int, str], field: str) -> gpd.GeoDataFrame:
    """Turn a grid of codes into polygons with plain edges, in the raster's frame."""
    rows = [(names[int(code)], shape(part)) for part, code in rasterio.features.shapes(
        codes, mask=codes > 0, transform=from_origin(EAST, NORTH + ROWS, 1, 1))]
    plain = shapely.coverage_simplify([part for _, part in rows], 2.0)
    plain = shapely.set_precision(plain, 0.01)
    return gpd.GeoDataFrame({field: [name for name, _ in rows]}, geometry=list(plain), crs=CRS)


def without_crumbs(codes: NDArray[np.int16], least: int) -> NDArray[np.int16]:
    """Give patches smaller than `least` cells to what lies around them."""
    out = codes.copy()
    for code in np.unique(codes):
        label, _ = ndimage.label(codes == code)
        small = (np.bincount(label.ravel()) < least)[label] & (label > 0)
        out[small] = -1
    nearest = ndimage.distance_transform_edt(out == -1, return_distances=False,
                                             return_indices=True)
    return out[tuple(nearest)]


def above_stream(z: Grid) -> Grid:
    """Height of each cell above the stream it drains to [m]."""
    filled = flood(z)
    to = receivers(filled)[0]
    stream = (contributing(filled, to) > 12_000).ravel()
    order = np.argsort(filled.ravel(), kind="stable").tolist()
    base, level, onward = z.ravel().tolist(), z.ravel().tolist(), to.tolist()
    for i in order:
        if not stream[i] and onward[i] != i:
            base[i] = base[onward[i]]
    return np.maximum(np.array(level) - np.array(base), 0).reshape(z.shape)


def soil_codes(z: Grid, rng: np.random.Generator) -> NDArray[np.int16]:
    """1 = B on the valley floor, 2 = C on the slopes, 3 = D on the stony ridge."""
    slope = np.hypot(*np.gradient(ndimage.gaussian_filter(z, 8)))
    ragged = fractal(z.shape, rng, 3.0, 80, 12)
    stony = ndimage.gaussian_filter((slope + 0.0012 * (175 - Y) + 0.012 * ragged > 0.135) * 1.0, 6)
    floor = ndimage.gaussian_filter((above_stream(z) < 1.5 + 0.3 * ragged) * 1.0, 5)
    codes = np.where((floor > 0.55) & (ndimage.gaussian_filter(slope, 5) < 0.115), 1, 2)
    return without_crumbs(np.where(stony > 0.5, 3, codes).astype(np.int16), 900)


def cover_codes(soil: NDArray[np.int16], known: dict, orchard: Polygon,
                rng: np.random.Generator) -> NDArray[np.int16]:
    """1 fair shrub, 2 poor shrub, 3 range, 4 bare, 5 farmstead, 6 orchard; 0 left out."""
    ragged = fractal(soil.shape, rng, 3.0, 70, 10)
    codes = np.select([soil == 3, soil == 1], [2, 3], 1)
    codes[(codes == 1) & (ragged > 1.15) & (Y < 320)] = 2
    codes = without_crumbs(codes.astype(np.int16), 400)
    worn_slope = np.hypot((X - 143) / 21, (Y - 282) / 13) + 0.16 * ragged < 1
    path = np.hypot((X - 338) / 26, (Y - 262) / 9) + 0.20 * ragged < 1
    codes[worn_slope | path] = 4
    codes[away_from(known["yard"].buffer(3)) + 0.7 * ragged < 2] = 4
    codes[away_from(turned(*HOUSE, YARD[4])) + 0.4 * ragged < 7] = 5
    codes[away_from(orchard) == 0] = 6
    codes[(X + 25 * ragged < 235) & (Y - 8 * ragged > 474)] = 0
    return codes


def placed(geometry: shapely.Geometry) -> shapely.Geometry:
    """Move a shape from metres past the corner into the raster's frame."""
    return shapely.transform(geometry, lambda p: np.round(p + np.array([EAST, NORTH]), 2))


def roof_table() -> gpd.GeoDataFrame:
    """The roofs, in plan."""
    turn = YARD[4]
    parts = [
        ("house", "steel sheet", 0.92, turned(*HOUSE, turn)),
        ("shed", "steel sheet", 0.90, turned(153.5, 337.5, 13.75, 8.0, 52)),
        ("goat shed", "old steel sheet", 0.85, turned(138.5, 309.0, 8.0, 5.0, 20)),
        ("tarp by the pen", "tarpaulin", 0.75, turned(131.5, 314.5, 6.0, 3.0, 20)),
        ("milking awning", "tarpaulin", 0.75, turned(134.0, 304.0, 6.0, 3.0, 20)),
    ]
    names, materials, shares, shapes = zip(*parts, strict=True)
    table = gpd.GeoDataFrame({"name": names, "material": materials, "efficiency": shares},
                             geometry=[placed(p) for p in shapes], crs=CRS)
    return table.to_crs("EPSG:4326")


def keep_clear_layers() -> dict[str, gpd.GeoDataFrame]:
    """What lies in the ground and stands on it: a septic field, a water line and two old trees."""
    field = turned(198, 315, 12, 6, 20)
    line = LineString([(187, 327), (193, 336), (192.5, 350), (195, 361)])
    trees = [Point(203.5, 397), Point(267, 378)]
    return {
        "septic": gpd.GeoDataFrame({"name": ["house field"]}, geometry=[placed(field)], crs=CRS),
        "buried": gpd.GeoDataFrame({"name": ["orchard pipe"]}, geometry=[placed(line)], crs=CRS),
        "trees": gpd.GeoDataFrame({"name": ["road pine", "slope pine"],
                                   "crown": ["9 m", "8 m"]},
                                  geometry=[placed(tree) for tree in trees], crs=CRS)}


# ---------------------------------------------------------------- the properties about it

#: Corners of the neighbours' land, in metres east and north of the corner; they share its edges.
PARCELS = {
    "Harrier Rise": [(118, 484), (331, 507), (340, 588), (100, 588)],
    "Stony Brow": [(331, 507), (468, 499), (503, 397), (628, 410), (628, 588), (340, 588)],
    "Pan View": [(503, 397), (512, 246), (628, 230), (628, 410)],
    "Lower Reach": [(512, 246), (441, 137), (450, 12), (628, 12), (628, 230)],
    "Salt Meadow": [(441, 137), (236, 131), (225, 12), (450, 12)],
    "West Fold": [(236, 131), (96, 158), (88, 330), (12, 335), (12, 12), (225, 12)],
    "Old Quarry": [(88, 330), (118, 484), (100, 588), (12, 588), (12, 335)],
}
#: Parcels that ask for a page of their own.
PAGES = ("Quailstone", "Salt Meadow")
#: Footprints of the neighbours' buildings: middle, length, breadth [m], how they are turned [deg].
BUILDINGS = [("Harrier Rise house", 272.0, 551.0, 16.0, 9.0, 15.0),
             ("Harrier Rise barn", 296.0, 559.0, 22.0, 10.0, 15.0),
             ("Pan View cottage", 574.0, 318.0, 12.0, 8.0, 70.0),
             ("Salt Meadow house", 318.0, 62.0, 18.0, 9.0, 5.0),
             ("Salt Meadow stable", 342.0, 55.0, 14.0, 7.0, 95.0),
             ("West Fold barn", 112.0, 92.0, 24.0, 11.0, 40.0)]


def parcel_table() -> gpd.GeoDataFrame:
    """Quailstone and its neighbours, in longitude and latitude."""
    shapes = {"Quailstone": BOUNDARY, **PARCELS}
    table = gpd.GeoDataFrame(
        {"name": list(shapes), "page": ["yes" if name in PAGES else "no" for name in shapes]},
        geometry=[placed(Polygon(corners)) for corners in shapes.values()], crs=CRS)
    return table.to_crs("EPSG:4326")


def building_table() -> gpd.GeoDataFrame:
    """Every roof of the district, in plan."""
    own = roof_table()[["name", "geometry"]]
    more = gpd.GeoDataFrame({"name": [building[0] for building in BUILDINGS]},
                            geometry=[placed(turned(*building[1:])) for building in BUILDINGS],
                            crs=CRS).to_crs("EPSG:4326")
    return gpd.GeoDataFrame(pd.concat([own, more], ignore_index=True), crs="EPSG:4326")


DISTRICT = """\
# Quailstone and the land about it: a district that does not exist.  Every number here is invented.
name: Quailstone valley
units: metric          # what a number without a unit means
points: raster

# The ground: one raster here; a list of tiles or a pattern such as tiles/*.tif stands for many.
elevation:
  file: ground.tif

# Outlines of the properties.  Whose `page` says yes gets a page of its own.
parcels:
  file: parcels.geojson
  name field: name
  page field: page

# What the parcels are ranked by: kept, catchable, run-on, road or roof.
rank by: kept

# The rest is said as in a site file, once for all parcels.
cover:
  file: site.gpkg
  layer: cover
  field: cover
  otherwise: herbaceous range, fair

soils:
  file: site.gpkg
  layer: soils
  field: group
  otherwise: C

roads:
  file: site.gpkg
  layer: roads
  name field: name
  width field: width
  cover field: cover

# Footprints of all buildings.
roofs:
  file: buildings.geojson
  name field: name
  efficiency: 0.9

keep clear:
  - what: septic field
    file: site.gpkg
    layer: septic
  - what: buried water line
    file: site.gpkg
    layer: buried

rain:
  storms:
    - name: summer storm
      depth: 28 mm
      duration: 3 h
      pattern: II
    - name: 10-year day
      duration: 24 h
      pattern: II
      return period: 10
    - name: 100-year day
      duration: 24 h
      pattern: II
      return period: 100
  design storm: 10-year day
  frequency: rain_depths.csv
  start month: 7
  daily:
    file: rain_daily.csv
    unit: mm

# What a well-watered grass would use each month, January to December.
evapotranspiration: [225 mm, 184 mm, 165 mm, 116 mm, 84 mm, 63 mm,
                     70 mm, 98 mm, 132 mm, 172 mm, 196 mm, 221 mm]

money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6                # bank m3 in an hour
  haulage: [300, 500]
  pipe: [9, 16]
  stone: [60, 95]
  seed: [0.6, 1.4]

# What hole tests on such slopes took in.
suggest:
  infiltration: 12 mm/h
"""


def write_district(folder: Path) -> None:
    """Write the district file and its layers of parcels and buildings."""
    for name, table in (("parcels", parcel_table()), ("buildings", building_table())):
        path = folder / f"{name}.geojson"
        path.unlink(missing_ok=True)
        table.to_file(path, driver="GeoJSON", COORDINATE_PRECISION=8)
    (folder / "district.yaml").write_text(DISTRICT, encoding="utf-8")


# ---------------------------------------------------------------- rain

def daily_rain(rng: np.random.Generator) -> pd.DataFrame:
    """Invented daily rain: wet and dry days by a Markov chain, depths by a gamma law [mm]."""
    days = pd.date_range("2001-01-01", "2023-12-31", freq="D")
    after_dry = np.array([.20, .22, .21, .13, .07, .05, .045, .05, .07, .105, .145, .175])
    mean = np.array([7.4, 8.0, 7.4, 5.4, 3.6, 3.0, 2.8, 3.0, 3.8, 5.0, 6.2, 7.0])
    # seasons run from July; a good season is wetter both in days and in depth
    season = {year: float(np.exp(0.16 * rng.standard_normal())) for year in range(2000, 2024)}
    rain, wet = [], False
    for day in days:
        good = season[day.year if day.month >= 7 else day.year - 1]
        m = day.month - 1
        chance = after_dry[m] * good**0.6 + (0.20 if wet else 0.0)
        wet = bool(rng.random() < chance)
        depth = rng.gamma(0.60, 0.90 * mean[m] * good**0.5 / 0.60) if wet else 0.0
        rain.append(round(float(depth), 1))
    return pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "rain_mm": rain})


# ---------------------------------------------------------------- works, found on the ground

@dataclass
class Reading:
    """What the works are placed by: smoothed ground, its slope, and where water runs."""

    ground: Grid
    smooth: Grid
    gx: Grid
    gy: Grid
    slope: Grid
    to: NDArray[np.int64]
    area: Grid

    def downhill(self, x: float, y: float) -> Grid:
        """Unit vector of steepest descent on the smoothed ground."""
        v = -np.array([at(self.gx, x, y), at(self.gy, x, y)])
        return v / max(float(np.hypot(*v)), 1e-9)

    def run_down(self, x: float, y: float, far: float) -> Grid:
        """Follow the water from a point for `far` metres; one row per cell."""
        i = int(ROWS - y) * COLUMNS + int(x)
        path, gone = [(x, y)], 0.0
        while gone < far and self.to[i] != i:
            i = int(self.to[i])
            p = (i % COLUMNS + 0.5, ROWS - i // COLUMNS - 0.5)
            gone += float(np.hypot(p[0] - path[-1][0], p[1] - path[-1][1]))
            path.append(p)
        return np.array(path)


def read_ground(z: Grid) -> Reading:
    """Smooth the ground and route water over it."""
    smooth = ndimage.gaussian_filter(z, 2.0)
    gy, gx = np.gradient(ndimage.gaussian_filter(z, 4.0))
    filled = flood(z)
    to = receivers(filled)[0]
    return Reading(z, smooth, gx, -gy, np.hypot(gx, gy), to, contributing(filled, to))


def contour(read: Reading, x: float, y: float, reach: float, free: NDArray[np.bool_]) -> Grid:
    """Walk the contour through a point both ways, up to `reach` m each, on free ground."""
    level = at(read.smooth, x, y)
    sides = []
    for sign in (-1, 1):
        p, walked = np.array([x, y]), []
        for _ in range(int(reach)):
            down = read.downhill(*p)
            step = p + sign * np.array([-down[1], down[0]])
            for _ in range(3):
                down = read.downhill(*step)
                step = step + down * np.clip((at(read.smooth, *step) - level)
                                             / max(at(read.slope, *step), 0.02), -1, 1)
            if not free[int(ROWS - step[1]), int(step[0])]:
                break
            walked.append(step)
            p = step
        sides.append(walked)
    return np.array([*sides[0][::-1], np.array([x, y]), *sides[1]])


def straightness(line: Grid, window: int = 14) -> float:
    """The least chord over arc of any stretch of `window` steps; 1 is straight."""
    return float(np.hypot(*(line[window:] - line[:-window]).T).min() / window)


def swale_pair(read: Reading, free: NDArray[np.bool_]) -> dict:
    """Two contours one below the other, the lower across the path of the upper's spill.

    Looked for on the slope below the road, so that the road basin spills on to it too.
    """
    best, found = 0.0, None
    for y in range(380, 470, 4):
        for x in range(195, 290, 4):
            if not free[int(ROWS - y), x] or not 0.04 < at(read.slope, x, y) < 0.085:
                continue
            upper = contour(read, x, y, 38, free)
            if len(upper) < 60:
                continue
            slopes = [at(read.slope, *p) for p in upper[::6]]
            if min(slopes) < 0.02 or max(slopes) > 0.10:
                continue
            for share in (0.12, 0.25, 0.75, 0.88):
                sill = upper[int(share * (len(upper) - 1))]
                start = sill + 4 * read.downhill(*sill)
                path = read.run_down(*start, 34)
                if len(path) < 20:
                    continue
                px, py = path[-1]
                if not free[int(ROWS - py), int(px)] or not 0.03 < at(read.slope, px, py) < 0.09:
                    continue
                lower = contour(read, px, py, 42, free)
                ahead = np.hypot(*(lower - path[-1]).T).argmin()
                if len(lower) < 64 or min(ahead, len(lower) - ahead) < 12:
                    continue
                slopes = [at(read.slope, *p) for p in lower[::6]]
                if min(slopes) < 0.02 or max(slopes) > 0.10:
                    continue
                cells = {(int(ROWS - q[1]), int(q[0])) for q in upper}
                caught = sum(sorted((read.area[c] for c in cells), reverse=True)[:12])
                bend = straightness(upper) * straightness(lower)
                score = min(caught, 4000) ** 0.3 * bend**2
                if score > best:
                    best, found = score, {"upper": upper, "lower": lower, "sill": sill,
                                          "meets": path[-1], "caught": caught}
    if found is None:
        raise RuntimeError("no slope for two swales on this ground; change the seed")
    return found


def half(value: float) -> float:
    """Round to 0.5 m."""
    return round(float(value) * 2) / 2


def low_rim(z: Grid, p: Grid) -> float:
    """Lowest ground on the rim of a tree's bowl, as the site file rounds its place [m]."""
    x, y = half(p[0]), half(p[1])
    return min(at(z, x + TREE_RIM * np.cos(a), y + TREE_RIM * np.sin(a))
               for a in np.linspace(0, 2 * np.pi, 48, endpoint=False))


def place_works(z: Grid, known: dict) -> dict:
    """Find where each work goes; all places in metres past the corner."""
    read = read_ground(z)
    plot = Polygon(BOUNDARY)
    free = shapely.contains_xy(plot.buffer(-12), X, Y)
    free &= ndimage.maximum_filter(read.area, 7) < 4500
    road, drive = (LineString(known[k].points) for k in ("road", "drive"))
    for part, far in [(road, 14), (drive, 14), (known["yard"], 16), (Point(known["pan"]), 20)]:
        free &= away_from(part) > far
    pair = swale_pair(read, free)

    (ax, ay), (bx, by) = known["ends"]
    wall = np.linspace((ax, ay), (bx, by), 60)
    bed = min(at(z, *p) for p in wall)
    sill = round(bed + 0.85, 2)
    crest = round(sill + 0.45, 2)
    out = (wall[0] - wall[-1]) / np.hypot(*(wall[0] - wall[-1]))
    ends = []
    for end, way in ((wall[0], out), (wall[-1], -out)):
        reach = next(d for d in np.arange(-4, 14, 0.5)
                     if min(at(z, *(end + (d + e) * way)) for e in (0, 0.5, 1)) > crest + 0.08)
        ends.append(end + reach * way)

    # the pit lies across the flow just past the mouth of the road's mitre drain
    mouth = np.array(known["spout"])
    down = mouth - np.array(known["dip"])
    down /= np.hypot(*down)
    middle = mouth + 5.5 * down
    along = np.array([-down[1], down[0]])
    pit = [middle + a * along + d * down for a, d in
           [(-5.5, -3.6), (0, -4.1), (5.5, -3.6), (6.2, 0.4), (4.6, 3.8), (-4.6, 3.8), (-6.2, 0.4)]]

    a = np.radians(YARD[4])
    down = np.array([np.sin(a), np.cos(a)])
    side = np.array([np.cos(a), -np.sin(a)])
    foot = np.array(YARD[:2]) + (YARD[3] / 2 + 7.0) * down + 6.0 * side
    open_ground = (away_from(known["yard"]) > 2.5) & (
        away_from(LineString(known["road"].points)) > 7)
    yard_swale = contour(read, *foot, 19, open_ground)
    below = contour(read, *(foot + 8.0 * read.downhill(*foot)), 19, open_ground)
    spots = np.linspace(0.12, 0.88, 6) * (len(below) - 1)
    row = [below[int(i)] for i in spots]
    trees = [row[0]]
    for spot in row[1:]:  # each a little lower than the one before, so that the furrows fall
        while low_rim(z, spot) > low_rim(z, trees[-1]) - TREE_FALL:
            spot = spot + 0.25 * read.downhill(*spot)
        trees.append(spot)
    inlet = yard_swale[int(0.3 * (len(yard_swale) - 1))]
    if np.hypot(*(inlet - HOUSE[:2])) > np.hypot(*(yard_swale[-1] - HOUSE[:2])):
        inlet = yard_swale[int(0.7 * (len(yard_swale) - 1))]
    house_tank = np.array(HOUSE[:2]) + 8.5 * down + 6.0 * side
    return {"read": read, "pair": pair, "wall": ends, "crest": crest, "sill": sill, "bed": bed,
            "pit": pit, "foot": foot, "yard_swale": yard_swale, "trees": trees, "row": row,
            "inlet": inlet,
            "house_tank": house_tank, "bend": (house_tank + inlet) / 2 + 1.5 * side,
            "shed_tank": np.array([160.0, 345.0]), "barrels": np.array([137.0, 314.0])}


# ---------------------------------------------------------------- the site file

def write_site(folder: Path, z: Grid, known: dict, works: dict) -> None:
    """Write site.yaml, with the works where the ground wants them."""
    def xy(p: Grid) -> str:
        return f"[{half(p[0] + EAST):.1f}, {half(p[1] + NORTH):.1f}]"

    def many(points: list[Grid]) -> str:
        return "[" + ", ".join(xy(p) for p in points) + "]"

    pair = works["pair"]
    mark = np.array([191.5, 309.0])
    text = SITE.format(
        mark=xy(mark), mark_level=f"{at(z, *mark):.2f}",
        upper=xy(pair["upper"][len(pair["upper"]) // 2]), upper_sill=xy(pair["sill"]),
        upper_length=len(pair["upper"]) // 5 * 5,
        lower=xy(pair["lower"][len(pair["lower"]) // 2]), lower_length=len(pair["lower"]) // 5 * 5,
        wall=many(works["wall"]), crest=f"{works['crest']:.2f}", sill=f"{works['sill']:.2f}",
        pit=many(works["pit"]), pan=xy(known["pan"]), foot=xy(works["foot"]),
        trees=many(works["trees"]),
        house_tank=xy(works["house_tank"]), shed_tank=xy(works["shed_tank"]),
        barrels=xy(works["barrels"]),
        pipe=many([works["house_tank"], works["bend"], works["inlet"]]))
    (folder / "site.yaml").write_text(text, encoding="utf-8")


SITE = """\
# Quailstone: a dry smallholding that does not exist.  Every number here is invented.
name: Quailstone
units: metric          # what a number without a unit means
points: raster         # points below are [east, north] in the elevation raster's own frame

# The ground: a bare-earth raster with 1 m cells, heights in metres.
elevation:
  file: ground.tif

# Your land.  Rain on the neighbour's slope above it still runs on to it.
boundary:
  file: site.gpkg
  layer: boundary

# What covers the ground.  Where no polygon lies, the `otherwise` class is taken.
cover:
  file: site.gpkg
  layer: cover
  field: cover
  otherwise: herbaceous range, fair

# Soil groups: A soaks fast, D sheds most of its rain.
soils:
  file: site.gpkg
  layer: soils
  field: group
  otherwise: C

# Roads shed water from almost every shower; their width stands in the layer.
roads:
  file: site.gpkg
  layer: roads
  name field: name
  width field: width
  cover field: cover

# Roofs seen from above (this file is in longitude and latitude; that is fine).
roofs:
  file: roofs.geojson
  name field: name
  efficiency field: efficiency
  efficiency: 0.9      # for a roof that states none
  gutters:
    - roofs: [house]
      width: 125 mm
      downspouts: 2
      diameter: 90 mm
    - roofs: [shed]
      width: 100 mm
      diameter: 75 mm

# What works are to stay away from.
keep clear:
  - what: septic field
    file: site.gpkg
    layer: septic
  - what: buried water line
    file: site.gpkg
    layer: buried
  - what: tree
    file: site.gpkg
    layer: trees
    crown field: crown

# The storms to plan for, and a daily record to live through.
rain:
  storms:
    - name: small shower
      depth: 12 mm
      duration: 2 h
      pattern: II
    - name: summer storm
      depth: 28 mm
      duration: 3 h
      pattern: II
    # Depths of these stand in the table below; nested builds the storm from it.
    - name: 10-year cloudburst
      duration: 1 h
      pattern: nested
      return period: 10
    - name: 2-year day
      duration: 24 h
      pattern: II
      return period: 2
    - name: 10-year day
      duration: 24 h
      pattern: II
      return period: 10
    - name: 100-year day
      duration: 24 h
      pattern: II
      return period: 100
  design storm: 10-year day        # sills are sized for this one
  frequency: rain_depths.csv
  start month: 7                   # years begin in the dry season
  daily:
    file: rain_daily.csv
    unit: mm

# What a well-watered grass would use each month, January to December.
# South of the equator: the hot months stand at both ends.
evapotranspiration: [225 mm, 184 mm, 165 mm, 116 mm, 84 mm, 63 mm,
                     70 mm, 98 mm, 132 mm, 172 mm, 196 mm, 221 mm]

# An iron pin in the rock behind the house; all stakes are set from it.
benchmark:
  at: {mark}
  level: {mark_level} m

# What things cost here, from the low to the high quote.
money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6                # bank m3 in an hour
  haulage: [300, 500]
  pipe: [9, 16]                    # a metre, trench and all
  tank: [700, 1100]                # a m3; a tank may state its own price
  stone: [60, 95]                  # a tonne, brought
  tree: [40, 90]
  seed: [0.6, 1.4]                 # a m2 of bank and spread earth, with mulch
  water otherwise:                 # what a m3 costs that comes another way
    hauled: {{per: 5 m3, price: [330, 450]}}
    well: [2.5, 4]
    utility: [6, 9]

# For `levelsill suggest`: what a layout is to do best, and what it may cost.
suggest:
  aim: water in a year
  budget: 60000
  infiltration: 12 mm/h            # what the hole tests on the slope took in

# What is to be dug, built or set up, from the top of the land down.
works:

  # Two level channels on the slope below the road; the upper spills on to the lower.
  # A hole test beside each took in 12 mm/h.
  - name: upper swale
    kind: swale
    through: {upper}
    length: {upper_length} m
    depth: 0.35 m
    sill at: {upper_sill}
    infiltration: 12 mm/h
  - name: lower swale
    kind: swale
    through: {lower}
    length: {lower_length} m
    depth: 0.4 m
    infiltration: 12 mm/h
    # A row of young trees below its berm lives from what soaks in.
    trees:
      crown: 3 m
      spacing: 6 m

  # A low bank across the gully where a rib of rock pinches it.  Hole test: 6 mm/h.
  - name: gully pond
    kind: basin
    wall: {wall}
    crest: {crest} m
    sill: {sill} m
    infiltration: 6 mm/h

  # A pit where the road's mitre drain lets its water go.
  - name: road basin
    kind: basin
    dug: {pit}
    depth: 0.8 m
    batter: 3

  # A pan that was always there, east of the gully.  Its clay floor takes in 3 mm/h.
  - name: east pan
    kind: hollow
    at: {pan}
    infiltration: 3 mm/h

  # The yard sheds into a short swale, and that swale's spill waters the young trees.
  - name: yard swale
    kind: swale
    through: {foot}
    length: 34 m
    depth: 0.3 m
    infiltration: 12 mm/h
    spills to: orchard
  - name: orchard
    kind: tree basin
    at: {trees}
    crown: 3 m
    depth: 0.25 m

  # Roofs and their tanks.  The house tank's overflow is piped to the yard swale.
  - name: house tank
    kind: tank
    at: {house_tank}
    volume: 40 m3
    roofs: [house]
    first flush: 0.5 mm
    leaf screen: basket
    # Two people, and what seedlings get while there is plenty.  Half of the house's water goes on
    # to the first orchard tree.
    uses:
      - name: house
        kind: household
        heads: 2
        per head: intermediate access
        rationing: [{{below: 40 %, draw: 80 %}}, {{below: 15 %, draw: 50 %}}]
        grey water: 50 %
        grey water to: orchard
      - name: seedlings
        kind: garden
        amount: [40 L/day, 40 L/day, 30 L/day, 20 L/day, 10 L/day, 5 L/day,
                 5 L/day, 10 L/day, 20 L/day, 30 L/day, 35 L/day, 40 L/day]
        rationing: [{{below: 40 %, draw: 0}}]
    pipe: {pipe}
  - name: shed tank
    kind: tank
    at: {shed_tank}
    volume: 15 m3
    roofs: [shed]
    demand: 60 L/day
    first flush: 0.5 mm
  - name: goat barrels
    kind: tank
    at: {barrels}
    volume: 1.2 m3
    roofs: [goat shed, tarp by the pen, milking awning]
    uses:
      - name: goats
        kind: livestock
        heads: 8
        per head: goat
    top up: {{below: 0.2 m3, load: 1 m3, price: 90}}
    price: [350, 500]
"""


def depth_table() -> str:
    """Depths by duration and return period, invented: a day's depth times a share of it."""
    days = {2: 38, 5: 52, 10: 62, 25: 76, 50: 87, 100: 98}
    shares = {"5 min": 0.16, "10 min": 0.25, "15 min": 0.31, "30 min": 0.42, "1 h": 0.53,
              "2 h": 0.62, "3 h": 0.67, "6 h": 0.78, "12 h": 0.90, "24 h": 1.0}
    lines = ["duration," + ",".join(f"{years} yr mm" for years in days)]
    lines += [f"{name}," + ",".join(f"{share * depth:.1f}" for depth in days.values())
              for name, share in shares.items()]
    return "\n".join(lines) + "\n"


#: The survey: how many mm too high each point was dug, in order along its line.
SURVEY = {
    ("upper swale", "sill", 5): (1, 4, 9, 14, 20),
    ("upper swale", "line", 9): (4, -11, 6, 12, -3, 8, 15, -6, 9),
    ("upper swale", "bed", 10): (-8, 12, 21, -4, 9, 48, 41, 6, -11, 3),
    ("upper swale", "berm", 11): (14, 6, 3, 19, 8, -260, 11, 5, 2, 16, 9),
    ("road basin", "sill", 3): (-2, 3, 1),
    ("road basin", "floor", 6): (12, -9, 55, 8, -14, 4)}


def survey_rows(folder: Path) -> str:
    """A survey of two works with a dumpy level, as levelled from a peg at each: invented, with a
    sill that rises 20 mm to one end and a low place in a berm where goats cross it."""
    from terrain.asbuilt.designed_lines import designed_lines
    from terrain.plan.plan import make_plan

    plan = make_plan(folder / "site.yaml")
    lines = designed_lines(plan)
    rows = ["# Invented, as all of Quailstone: what a dumpy level might read on two works as dug.",
            "work,mark,station_m,set-up,elevation_m,reading_m"]
    for set_up, work in (("A", "upper swale"), ("B", "road basin")):
        peg = round(next(line for line in lines if line.work == work and line.name == "sill")
                    .levels[0] + 0.35, 2)
        sight = peg + 1.312
        rows.append(f",peg,,{set_up},{peg:.3f},1.312")
        for (name, mark, count), errors in SURVEY.items():
            if name != work:
                continue
            own = [line for line in lines if line.work == work and mark in line.marks]
            line = own[0]
            first, last = line.spans[0][0], line.spans[-1][1]
            if mark == "floor":
                at = np.linspace(0.0, line.shape.length, count, endpoint=False)
            else:
                at = np.linspace(first, last, count)
            for station, error in zip(at, errors, strict=True):
                if mark == "berm" and not line.counts(station):  # left out there for the sill
                    continue
                level = float(line.level_at(station)) + error / 1000
                rows.append(f"{work},{mark},{station:.2f},{set_up},,{sight - level:.3f}")
        rows.append(f",peg,,{set_up},{peg:.3f},1.314")
    return "\n".join(rows) + "\n"


def main(folder: Path | None = None) -> None:
    """Write every file of the demo site."""
    folder = Path(__file__).parent if folder is None else folder
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    z, known = make_ground(rng)
    z = np.round(z, 2)
    works = place_works(z, known)

    kept = np.round(z * 100).astype(np.float32) / np.float32(100)
    void = np.hypot((X - 618) / 13, (Y - 22) / 9) + 0.12 * np.sin(X / 3) < 1
    kept[void] = VOID
    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", width=COLUMNS, height=ROWS,
                       count=1, dtype="float32", crs=CRS, nodata=VOID, compress="deflate",
                       predictor=3, zlevel=9, tiled=True, blockxsize=256, blockysize=256,
                       transform=from_origin(EAST, NORTH + ROWS, 1, 1)) as out:
        out.write(kept, 1)
        out.units = ("metre",)

    soil = soil_codes(z, rng)
    orchard = shapely.MultiPoint(works["row"]).convex_hull.buffer(4.5)
    cover = cover_codes(soil, known, orchard, rng)
    layers = {
        "boundary": gpd.GeoDataFrame({"name": ["Quailstone"]},
                                     geometry=[placed(Polygon(BOUNDARY))], crs=CRS),
        "cover": patches(cover, {1: "desert shrub, fair", 2: "desert shrub, poor",
                                 3: "herbaceous range, fair", 4: "bare soil", 5: "farmstead",
                                 6: "orchard, fair"}, "cover"),
        "soils": patches(soil, {1: "B", 2: "C", 3: "D"}, "group"),
        "roads": gpd.GeoDataFrame(
            {"name": ["access road", "yard drive"], "width": [ROAD_WIDTH, DRIVE_WIDTH],
             "cover": ["dirt road", "gravel road"]},
            geometry=[placed(LineString(known[k].points[::6]).simplify(0.05)
                             .intersection(box(0, 0, COLUMNS, ROWS)))
                      for k in ("road", "drive")], crs=CRS),
    }
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2024-01-01T00:00:00.000Z"})
    package = folder / "site.gpkg"
    package.unlink(missing_ok=True)
    for name, table in (layers | keep_clear_layers()).items():
        table.to_file(package, layer=name, driver="GPKG")
    roofs = folder / "roofs.geojson"
    roofs.unlink(missing_ok=True)
    roof_table().to_file(roofs, driver="GeoJSON", COORDINATE_PRECISION=8)
    daily_rain(np.random.default_rng(RAIN_SEED)).to_csv(folder / "rain_daily.csv", index=False)
    (folder / "rain_depths.csv").write_text(depth_table(), encoding="utf-8")
    write_site(folder, z, known, works)
    write_district(folder)
    (folder / "as_built.csv").write_text(survey_rows(folder), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
