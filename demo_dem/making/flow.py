"""Noise, and how water runs over a grid."""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from making.drawn import D8, Grid


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
