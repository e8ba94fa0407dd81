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
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import splu

Grid = NDArray[np.float64]

SEED = 20611
COLUMNS, ROWS = 640, 600                    # 1 m cells
EAST, NORTH = 512_180.0, 6_429_740.0        # lower left corner, UTM 34S [m]
PAD = 100                                   # worn with the rest, then cut off [m]
STEP = 2                                    # cell of the wearing [m]

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


if __name__ == "__main__":
    import time
    t = time.time()
    z = natural_ground(np.random.default_rng(SEED))
    print(z.min(), z.max(), time.time() - t)
    np.save("/tmp/demo_look/natural.npy", z)
