"""A way over the ground that falls steadily at a grade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.kernels import kernel

#: Why a walk ends of its own: at the longest it may be, at the edge of the known ground, where
#: all the ground about it stands above the level it should come to, or below.
TOO_LONG, EDGE, TOO_HIGH, TOO_LOW = 0, -1, -2, -3
#: What a walk has come to that it was to come to.
ARRIVED = 1

#: Bearings are tried this far to each side of the way so far, and so far apart. [degrees]
TURN, APART = 120.0, 5.0
#: A step is halved so often to find the bearing between two of them.
HALVINGS = 24


@kernel
def _height(heights: NDArray[np.float32], row: float, column: float) -> float:
    """Bilinear between cell centres; NaN beside unknown cells and off the raster."""
    rows, columns = heights.shape
    if row < -0.5 or column < -0.5 or row >= rows - 0.5 or column >= columns - 0.5:
        return np.nan
    row, column = min(max(row, 0.0), rows - 1.0), min(max(column, 0.0), columns - 1.0)
    top, left = min(int(row), rows - 2), min(int(column), columns - 2)
    down, across = row - top, column - left
    upper = heights[top, left] * (1 - across) + heights[top, left + 1] * across
    lower = heights[top + 1, left] * (1 - across) + heights[top + 1, left + 1] * across
    return float(upper * (1 - down) + lower * down)


@kernel
def _walk(heights: NDArray[np.float32], codes: NDArray[np.int32], row: float, column: float,
          level: float, fall: float, step: float, side: float, goal_row: float, goal_column: float,
          near: float, way: NDArray[np.float64]) -> tuple[int, int]:
    """Steps in cells; `fall` is that of a step. Returns the number of points and why it ended."""
    way[0, 0], way[0, 1] = row, column
    turn, apart = np.radians(TURN), np.radians(APART)
    heading, begun = 0.0, False
    for count in range(1, way.shape[0]):
        wanted = level - fall * count
        spread = turn if begun else np.pi
        tries = int(np.round(2 * spread / apart))
        found, best, higher, lower = False, np.inf, False, False
        chosen = 0.0
        before, angle_before = 0.0, 0.0
        for i in range(tries + 1):
            angle = heading - spread + 2 * spread * i / tries
            above = _height(heights, row - step * np.sin(angle),
                            column + step * np.cos(angle)) - wanted
            if np.isnan(above):
                return count, EDGE
            higher, lower = higher or above > 0, lower or above <= 0
            if i > 0 and before * side <= 0 and above * side > 0:
                # Begin where the ground falls most plainly across; then turn as little as can be.
                worth = abs(angle - heading) if begun else -abs(above - before)
                if worth < best:
                    low, high = angle_before, angle
                    for _ in range(HALVINGS):
                        middle = (low + high) / 2
                        here = _height(heights, row - step * np.sin(middle),
                                       column + step * np.cos(middle)) - wanted
                        if here * side > 0:
                            high = middle
                        else:
                            low = middle
                    found, best, chosen = True, worth, (low + high) / 2
            before, angle_before = above, angle
        if not found:
            return count, TOO_LOW if lower and not higher else TOO_HIGH
        heading, begun = chosen, True
        for half in range(1, 3):
            at_row = row - step * half / 2 * np.sin(heading)
            at_column = column + step * half / 2 * np.cos(heading)
            code = codes[int(np.floor(at_row + 0.5)), int(np.floor(at_column + 0.5))]
            if near > 0 and np.hypot(at_row - goal_row, at_column - goal_column) <= near:
                code = ARRIVED
            if code > 0:
                way[count, 0], way[count, 1] = at_row, at_column
                return count + 1, code
        row, column = row - step * np.sin(heading), column + step * np.cos(heading)
        way[count, 0], way[count, 1] = row, column
    return way.shape[0], TOO_LONG


@dataclass(frozen=True)
class Walk:
    """A way that falls at a grade, as far as it could go.

    Attributes
    ----------
    line : float64, shape (points, 2)
        In the working frame. [m]
    ended : int
        `ARRIVED`, the code of the cell that it stopped at, or one of this module's reasons.
    """

    line: NDArray[np.float64]
    ended: int

    @property
    def length(self) -> float:
        """[m]"""
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


def graded_walk(ground: Dem, codes: NDArray[np.int32], start: tuple[float, float], grade: float,
                side: int, longest: float, goal: tuple[float, float] | None = None) -> Walk:
    """Walk over the ground so that the way falls steadily at a grade.

    At each step the bearing is taken on which the ground, bilinear between cell centres, stands
    at the level of the start less grade times the way so far; so no error adds up.

    Parameters
    ----------
    ground : Dem
        Smoothed, lest roughness bends the line.
    codes : int32, shape (rows, columns)
        Above 0 where the walk stops: 1 where it has arrived.
    start : (float, float)
        On known ground. [m]
    grade : float
        [m/m]
    side : {1, -1}
        Whether higher ground lies on the left or on the right of the way.
    longest : float
        [m]
    goal : (float, float), optional
        A point that the walk has come to when it is within half a step of it. [m]

    Raises
    ------
    ValueError
        If the grade is not above 0.
    """
    if not grade > 0:
        raise ValueError(f"a grade of {grade:g} does not fall")
    cell = ground.cell
    step = max(cell, 0.5) / cell

    def grid(x: float, y: float) -> tuple[float, float]:
        return (ground.top - y) / cell - 0.5, (x - ground.left) / cell - 0.5

    row, column = grid(*start)
    goal_row, goal_column = grid(*goal) if goal is not None else (0.0, 0.0)
    way = np.empty((int(longest / (step * cell)) + 1, 2))
    level = float(_height(ground.heights, row, column))
    count, ended = _walk(ground.heights, codes, row, column, level, grade * step * cell, step,
                         float(side), goal_row, goal_column,
                         step / 2 if goal is not None else 0.0, way)
    x, y = ground.xy(way[:count, 0], way[:count, 1])
    return Walk(np.stack([x, y], 1), int(ended))
