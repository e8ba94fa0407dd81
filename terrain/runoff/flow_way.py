"""The longest way of a catchment's water: what it crosses, and how long it takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.catchment import Catchment
from terrain.runoff.resistance import rational_coefficient, resistance_of
from terrain.runoff.travel_time import Reach, Timing, reaches_along
from terrain.surface.terrain import Cells, Terrain, picked


def reaches_of(terrain: Terrain, path: NDArray[np.int64], gathered: NDArray[np.float64],
               cover: NDArray[np.int16], classes: Sequence[str], timing: Timing
               ) -> tuple[Reach, ...]:
    """The reaches of a path over the ground.

    Parameters
    ----------
    path : int64, shape (cells, 2)
        Rows and columns from the divide down.
    gathered : float64, shape (rows, columns)
        Ground whose water passes each cell. [m2]
    cover : int16, shape (rows, columns)
        Index into `classes`; -1 where unknown.
    timing : Timing

    Returns
    -------
    reaches : tuple of Reach
        Empty where the 2-year rain is not known or the path is a single cell.
    """
    if timing.two_year_rain is None or len(path) < 2:
        return ()
    rows, columns = path[:, 0], path[:, 1]
    steps = np.hypot(np.diff(rows), np.diff(columns)) * terrain.dem.cell
    distance = np.concatenate([[0.0], np.cumsum(steps)])
    names = [None if index < 0 else classes[index] for index in cover[rows, columns]]
    return reaches_along(distance, terrain.filled[rows, columns].astype(np.float64),
                         gathered[rows, columns],
                         [resistance_of(name) for name in names], timing)


def timed(catchment: Catchment, reaches: tuple[Reach, ...], timing: Timing, peak_factor: float
          ) -> Catchment:
    """A catchment with the reaches of its longest way, and how its time is told."""
    return replace(catchment, reaches=reaches, by_segments=bool(reaches) and timing.by != "lag",
                   peak_factor=peak_factor)


def mean_rational_c(cover: NDArray[np.int16], classes: Sequence[str], soil: NDArray[np.int8],
                    cells: Cells, slope: float) -> float:
    """Mean coefficient of the rational method over some cells; NaN where one is unknown. [-]

    Parameters
    ----------
    cover, soil : int16 and int8, shape (rows, columns)
        Index into `classes`, and 0 to 3 for soil groups A to D; -1 where unknown.
    slope : float
        Mean of the cells. [m/m]
    """
    kinds, groups = picked(cover, cells), picked(soil, cells)
    if not kinds.size or (kinds < 0).any() or (groups < 0).any():
        return float("nan")
    counts = np.bincount(kinds.astype(np.int64) * 4 + groups, minlength=4 * len(classes))
    pairs = [int(pair) for pair in np.flatnonzero(counts)]
    each = [rational_coefficient(resistance_of(classes[pair // 4]).rational, "ABCD"[pair % 4],
                                 slope) for pair in pairs]
    return float(np.average(each, weights=counts[pairs]))
