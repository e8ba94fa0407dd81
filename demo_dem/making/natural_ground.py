"""The ground before anybody came: a drawn ridge and valley, worn by water and by creep."""

from __future__ import annotations

import numpy as np
from scipy import ndimage
from scipy.sparse.linalg import splu

from making.drawn import COLUMNS, PAD, ROWS, STEP, Grid
from making.flow import contributing, flood, fractal, receivers, tree


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
