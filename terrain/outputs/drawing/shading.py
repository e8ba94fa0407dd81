"""The tone of shaded ground: what the printed map and the bench's page both lay under all else."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.kernels import cut_in_strips, in_strips, kernel

#: Bearings that the light comes from, all half way up the sky, and the weight of each. [deg], [-]
LIGHTS = ((315.0, 0.55), (260.0, 0.2), (10.0, 0.25))
ALTITUDE = 45.0
#: Tone of level ground, and how much tone a change of brightness makes. [-]
LEVEL_TONE, CONTRAST = 0.66, 1.05
#: Slopes are drawn out until the typical one is this steep, within these bounds. [m/m], [-]
TYPICAL, LEAST_LIFT, MOST_LIFT = 0.22, 1.0, 8.0


def typical_slope(dem: Dem) -> float:
    """Median slope of the ground shown. [m/m]"""
    down, right = np.gradient(dem.heights.astype(np.float64), dem.cell)
    slope = np.hypot(down, right)
    known = slope[np.isfinite(slope)]
    return float(np.median(known)) if known.size else 0.0


def lift_of(slope: float) -> float:
    """How much to draw heights out so that ground of a typical slope shows its shape. [-]"""
    return float(np.clip(TYPICAL / max(slope, 1e-3), LEAST_LIFT, MOST_LIFT))


@kernel
def fill_tones(heights: NDArray[np.float32], columns: int, run: np.float32,
               lights: NDArray[np.float32], level: np.float32, contrast: np.float32,
               tones: NDArray[np.float32], first: int, last: int) -> None:
    """Tones of rows `first` to `last`; both arrays flat, `run` twice a cell's side over the lift.

    Beside unknown ground the fall is that from the cell itself.
    """
    count = lights.size // 4
    rows = heights.size // columns
    for row in range(first, last):
        for column in range(columns):
            at = row * columns + column
            here = heights[at]
            if here != here:
                tones[at] = here
                continue
            west, east, north, south = here, here, here, here
            across, along = np.float32(0.0), np.float32(0.0)
            if column > 0 and heights[at - 1] == heights[at - 1]:
                west = heights[at - 1]
                across += np.float32(0.5)
            if column < columns - 1 and heights[at + 1] == heights[at + 1]:
                east = heights[at + 1]
                across += np.float32(0.5)
            if row > 0 and heights[at - columns] == heights[at - columns]:
                north = heights[at - columns]
                along += np.float32(0.5)
            if row < rows - 1 and heights[at + columns] == heights[at + columns]:
                south = heights[at + columns]
                along += np.float32(0.5)
            right = (east - west) / (run * max(across, np.float32(0.5)))
            down = (south - north) / (run * max(along, np.float32(0.5)))
            long = np.sqrt(np.float32(1.0) + right * right + down * down)
            bright = np.float32(0.0)
            for i in range(count):
                east_part, north_part = lights[4 * i], lights[4 * i + 1]
                shade = (lights[4 * i + 2] - right * east_part + down * north_part) / long
                bright += lights[4 * i + 3] * min(max(shade, np.float32(0.0)), np.float32(1.0))
            tones[at] = min(max(level + bright * contrast, np.float32(0.0)), np.float32(1.0))


def tones_of(heights: NDArray[np.float32], cell: float, lift: float) -> NDArray[np.float32]:
    """Tone of each cell, from 0, turned away from the light, to 1, facing it.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown. [m]
    cell : float
        Side of a cell. [m]
    lift : float
        What heights are multiplied by, see `lift_of`. [-]

    Returns
    -------
    tones : float32, same shape
        NaN where the height is unknown.

    Notes
    -----
    The cosine of the angle between ground and light (Lambert), of three lights from the
    north-west half of the sky, so that no slope lies wholly dark; slopes by central differences.
    """
    rows, columns = heights.shape
    azimuths, weights = np.radians([a for a, _ in LIGHTS]), [w for _, w in LIGHTS]
    altitude = np.radians(ALTITUDE)
    lights = np.column_stack([np.sin(azimuths) * np.cos(altitude),
                              np.cos(azimuths) * np.cos(altitude),
                              np.full(len(LIGHTS), np.sin(altitude)), weights])
    flat = np.ascontiguousarray(heights, np.float32).reshape(-1)
    tones = np.empty(flat.size, np.float32)
    level = np.float32(LEVEL_TONE - CONTRAST * np.sin(altitude) * sum(weights))

    def work(first: int, last: int, number: int) -> None:
        fill_tones(flat, columns, np.float32(2 * cell / lift),
                   np.ascontiguousarray(lights, np.float32).reshape(-1), level,
                   np.float32(CONTRAST), tones, first, last)
    in_strips(work, cut_in_strips(rows, columns))
    return tones.reshape(rows, columns)
