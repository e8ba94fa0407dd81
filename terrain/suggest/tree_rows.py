"""Rows of trees along contours, where the ground lets trunk follow trunk."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from terrain.inputs.dem import Dem
from terrain.suggest.look import Look
from terrain.suggest.tree_forms import BOWL_STEEPEST, Form, broad_of, tree_forms
from terrain.suggest.tree_spots import Basis, Spots, fitting_spots, share_met
from terrain.surface.contours import contours

FloatArray = NDArray[np.float64]

#: A row has so many trees; common practice, no source.
COUNTS = (4, 8, 12)
#: Contours lie so many crowns apart on open ground of the usual slope; common practice, no source.
ROWS_APART = 2.0
#: Places along a contour are tried so far apart, and lines keep so close to their level. [m]
STEP, ON_LEVEL = 0.25, 0.05
#: Beside a place where no tree can stand a row goes on, if its next tree is no further off than
#: so many of its usual gaps; common practice, no source.
LEFT_OUT = 3.0
#: What is left between two of them for places rounded to 1 cm. [m]
ROUNDING = 0.03


@dataclass(frozen=True)
class Row:
    """A row before it is laid out: its form, spots, and the share of their need that comes."""

    form: Form
    spots: Spots
    share: float


def tree_rows(look: Look) -> list[Row]:
    """Rows of each form and length along contours, in the order in which they are met."""
    basis, lines = Basis.of(look), _lines(look)
    return [row for form in tree_forms(look) for row in _rows(look, basis, form, lines)]


def _lines(look: Look) -> list[FloatArray]:
    """Contours of the ground on which earth may be moved."""
    soft, crown = look.soft, look.asked.trees.crown
    slope = _even_slope(look.inputs.dem, crown / 2)
    open_ground = (look.room > crown / 2) & (slope <= BOWL_STEEPEST)
    if not open_ground.any():
        return []
    usual = float(np.median(slope[open_ground]))
    apart = max(ROWS_APART * crown * usual, 2 * ON_LEVEL)
    near = ndimage.binary_dilation(open_ground, np.ones((3, 3)), 2)
    part = replace(soft, heights=np.where(near, soft.heights, np.nan).astype(np.float32))
    heights = soft.heights[open_ground]
    levels = np.arange(math.floor(np.nanmin(heights) / apart) + 0.5,
                       math.ceil(np.nanmax(heights) / apart)) * apart
    traced = contours(part, levels.tolist(), ON_LEVEL)
    return [line for lines in traced for line in lines]


def _rows(look: Look, basis: Basis, form: Form, lines: list[FloatArray]) -> list[Row]:
    """Rows of one form along the contours."""
    even_slope = _even_slope(look.inputs.dem, form.radius)
    runs = [np.concatenate(parts) for line in lines
            if (parts := list(_open_runs(look, basis, form, line, even_slope)))]
    if not runs:
        return []
    numbers, spots = fitting_spots(look, basis, form, np.concatenate(runs))
    ends = np.searchsorted(numbers, np.cumsum([len(run) for run in runs]))
    trees = look.asked.trees
    found = []
    for stands in np.split(np.arange(len(numbers)), ends[:-1]):
        gaps = np.hypot(*np.diff(spots.at[stands], axis=0).T)
        usual = np.maximum(2 * broad_of(look, form, spots.slope[stands[:-1]]),
                           trees.spacing or trees.crown)
        for stretch in np.split(stands, np.flatnonzero(gaps > LEFT_OUT * usual) + 1):
            for many in COUNTS:
                for k in range(0, len(stretch) - many + 1, many):
                    chosen = spots.some(stretch[k:k + many])
                    found.append(Row(form, chosen, share_met(look, chosen)))
    return found


def _even_slope(dem: Dem, radius: float) -> FloatArray:
    """Slope of the ground about each cell, as the planes that fit it have; NaN where unknown."""
    size = 2 * round(max(radius, 1.5 * dem.cell) / dem.cell) + 1
    known = np.isfinite(dem.heights)
    heights = np.where(known, dem.heights, np.nanmean(dem.heights)).astype(np.float64)
    down, right = (ndimage.uniform_filter(part, size) for part in np.gradient(heights, dem.cell))
    return np.where(known, np.hypot(down, right), np.nan)


def _open_runs(look: Look, basis: Basis, form: Form, line: FloatArray, even_slope: FloatArray
               ) -> Iterator[FloatArray]:
    """Trunks along the open stretches of a contour, each as far from the last as they need."""
    dem = look.inputs.dem
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(STEP, length[-1], STEP)
    if not at.size:
        return
    points = np.stack([np.interp(at, length, line[:, k]) for k in (0, 1)], 1)
    row, column = dem.row_column(*points.T)
    slope = even_slope[row, column]
    # A first look: wide enough that what the fitted plane allows is not lost.
    fits = ((look.room[row, column] > form.radius) & (basis.channel_away[row, column] > form.radius)
            & (slope <= 1.2 * form.steepest) & (slope >= form.flattest / 2))
    trees = look.asked.trees
    for start, end in _stretches(fits):
        here = points[start:end]
        broad = broad_of(look, form, np.minimum(slope[start:end], form.steepest))
        picked, last = [0], 0
        while True:
            ahead = here[last + 1:]
            gap = np.maximum(broad[last] + broad[last + 1:], trees.spacing or trees.crown)
            far = np.hypot(*(ahead - here[last]).T) >= gap + ROUNDING
            if not far.any():
                break
            last += 1 + int(np.argmax(far))
            picked.append(last)
        yield here[picked]


def _stretches(fits: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one after the last of each run of true values."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], fits, [False]]).astype(np.int8)))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))
