"""Make the demo site "Quailstone": invented ground, covers, soils, roads, roofs, rain and works.

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

SEED = 12
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
YARD = (182.0, 327.0, 46.0, 32.0, 33.0)      # middle, length, breadth [m], downhill towards [deg]
HOUSE = (186.0, 325.0, 20.0, 9.5)           # middle, length, breadth of the roof [m]
ROAD_WIDTH, DRIVE_WIDTH = 4.0, 3.0

D8 = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


# ---------------------------------------------------------------- noise and flow

def fractal(shape: tuple[int, int], rng: np.random.Generator, beta: float,
            longest: float, shortest: float = 2.0) -> Grid:
    """Gaussian noise of spectral slope `beta` between two wavelengths in cells; deviation 1."""
    fy = np.fft.fftfreq(shape[0])[:, None]
    fx = np.fft.rfftfreq(shape[1])[None, :]
    f = np.hypot(fy, fx)
    f[0, 0] = 1.0
    power = f ** (-beta / 2) * (1 - np.exp(-((f * longest) ** 4))) * np.exp(-((f * shortest / 2) ** 4))
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
    back = 40 * np.exp(-np.abs(north) / np.where(north > 0, 88, 170)) * (1 - 0.25 * np.exp(-((x - 355) / 70) ** 2))
    z = z + back - np.where(north < 0, -0.05 * -north, 0)
    west = valley - x
    side = np.where(west > 0, 0.043, 0.075) * (np.sqrt(west**2 + 30.0**2) - 30)
    divide = np.maximum(west - 330, 0)
    return z + side - 0.11 * divide * (1 - np.exp(-divide / 60))


def worn(z: Grid, rng: np.random.Generator, hard: Grid, rounds: int = 34) -> Grid:
    """Wear a surface by running water and creep; cells of `STEP` metres."""
    share, creep = 0.45, 0.030
    for n in range(rounds):
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
        for _ in range(3):
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
    return float(ndimage.map_coordinates(field, [[ROWS - y - 0.5], [x - 0.5]], order=1,
                                         mode="nearest")[0])


def turned(x: float, y: float, length: float, breadth: float, downhill: float) -> Polygon:
    """A rectangle whose short side points downhill; angle from north, clockwise [deg]."""
    a = np.radians(downhill)
    along, down = np.array([np.cos(a), -np.sin(a)]), np.array([np.sin(a), np.cos(a)])
    return Polygon([np.array([x, y]) + i * along * length / 2 + j * down * breadth / 2
                    for i, j in [(-1, -1), (1, -1), (1, 1), (-1, 1)]])


def away_from(polygon: Polygon) -> Grid:
    """Distance of every cell to a polygon, 0 inside [m]."""
    mask = rasterio.features.rasterize([(polygon, 1)], (ROWS, COLUMNS), transform=_local())
    return ndimage.distance_transform_edt(mask == 0)


def _local() -> rasterio.Affine:
    return from_origin(0, ROWS, 1, 1)


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


def with_road(z: Grid, line: Line, width: float, outslope: float, ruts: float) -> Grid:
    """Cut a road into the hillside: outsloped, with two worn tracks."""
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
    return np.where(distance < 25, graded(z, target, beyond), z)


def narrows(z: Grid, area: Grid, inside: NDArray[np.bool_]) -> tuple[Grid, Grid, float]:
    """The best place for a wall: its two ends and the bed level there.

    Looks at each gully cell for a short line to ground 1.5 m above the bed, with much room above.
    """
    smooth_dir = ndimage.gaussian_filter(z, 9)
    gy, gx = np.gradient(smooth_dir)
    gy = -gy
    best, found = 0.0, None
    rows, columns = np.nonzero((area > 60_000) & inside & (away_from(Polygon(BOUNDARY)) == 0))
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
            if volume / width**1.5 > best:
                best, found = volume / width**1.5, (ends[0], ends[1], float(z[r, c]))
    if found is None:
        raise RuntimeError("no narrows on this ground; change the seed")
    return found


if __name__ == "__main__":
    z = np.load("/tmp/demo_look/natural.npy")
    f = flood(z)
    a = contributing(f, receivers(f)[0])
    print(narrows(z, a, np.ones(z.shape, bool)))
    for k in (ROAD, DRIVE):
        L = road_line(k, z, 18)
        print([(int(s), round(float(v), 2)) for s, v in zip(L.station[::40], L.level[::40])])
        g = np.gradient(L.level, 0.5)
        print([round(float(100 * v), 1) for v in g[::40]])
    print(Polygon(BOUNDARY).area)
