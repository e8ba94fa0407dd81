"""How the ground lies about a point: the plane that fits it best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from terrain.inputs.dem import Dem


@dataclass(frozen=True)
class Lie:
    """The plane that fits the ground about a point best.

    Attributes
    ----------
    slope : float
        [m/m]
    down_x, down_y : float
        Unit vector down the slope; south where the ground is level.
    level : float
        Of the plane at the point. [m]
    """

    slope: float
    down_x: float
    down_y: float
    level: float


def lie_of(dem: Dem, x: float, y: float, radius: float) -> Lie:
    """Fit a plane to the ground within a radius, or one cell and a half where that is more.

    Raises
    ------
    ValueError
        If some of that ground is not known.
    """
    radius = max(radius, 1.5 * dem.cell)
    steps = np.linspace(-radius, radius, 13)
    east, north = (part.ravel() for part in np.meshgrid(steps, steps))
    within = np.hypot(east, north) <= radius * (1 + 1e-9)
    east, north = east[within], north[within]
    heights = dem.height_at(x + east, y + north)
    if np.isnan(heights).any():
        raise ValueError(f"{dem.source} has no height for some of the ground within {radius:.1f} m")
    fitted = np.linalg.lstsq(np.stack([east, north, np.ones(east.size)], 1), heights, rcond=None)[0]
    slope = float(np.hypot(fitted[0], fitted[1]))
    if slope < 1e-9:
        return Lie(0.0, 0.0, -1.0, float(fitted[2]))
    return Lie(slope, float(-fitted[0] / slope), float(-fitted[1] / slope), float(fitted[2]))
