"""What crosses a line about the land."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.flood.storm_flow import Flow
from terrain.works.designed_ground import Grid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Crossing:
    """What crossed a rim.

    Attributes
    ----------
    times : float64, shape (records,)
        [s]
    flow_out : float64, shape (records,)
        Mean since the record before. [m3/s]
    volume_out, volume_in : float
        [m3]
    peak : float
        Greatest flow out. [m3/s]
    peak_at : float
        [s]
    where : (x, y)
        Of the face through which most went out. [m]
    """

    times: FloatArray
    flow_out: FloatArray
    volume_out: float
    volume_in: float
    peak: float
    peak_at: float
    where: tuple[float, float]


def crossing_of(flow: Flow, rim: str, grid: Grid) -> Crossing:
    """What crossed a rim in a run."""
    record = flow.rims[rim]
    step = np.diff(flow.times, prepend=-np.inf)
    out = np.diff(record.outflow, prepend=0.0) / step
    top = int(np.argmax(out))
    row, column = record.faces[int(np.argmax(record.passed))] if len(record.faces) else (0.0, 0.0)
    return Crossing(flow.times, out, float(record.outflow[-1]), float(record.inflow[-1]),
                    float(out[top]), float(flow.times[top]),
                    (grid.left + column * grid.cell, grid.top - row * grid.cell))
