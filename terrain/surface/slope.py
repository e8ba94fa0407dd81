"""Slope, aspect, curvature (by the flow library), wetness and hillshade."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal

import numpy as np
from numpy.typing import NDArray

_HUSH = threading.Lock()


@contextmanager
def hushed() -> Iterator[None]:
    """Keep what compiled code prints off the terminal, at the level of file descriptors."""
    with _HUSH:
        kept: list[tuple[int, int]] = []
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except (OSError, ValueError, AttributeError):
                continue
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            for descriptor in (1, 2):
                try:
                    kept.append((descriptor, os.dup(descriptor)))
                    os.dup2(nowhere, descriptor)
                except OSError:
                    continue
            yield
        finally:
            for descriptor, saved in kept:
                os.dup2(saved, descriptor)
                os.close(saved)
            os.close(nowhere)


def terrain_attribute(heights: NDArray[np.float32], cell: float, attribute: str
                      ) -> NDArray[np.float32]:
    """An attribute of the surface, as the flow library computes it.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown. [m]
    cell : float
        Side of a cell. [m]
    attribute : {"slope_riserun", "slope_degrees", "aspect", "planform_curvature",
            "profile_curvature"}

    Returns
    -------
    values : float32, same shape
        NaN where the height is unknown.

    References
    ----------
    .. [1] Horn, Proceedings of the IEEE 69 (1981), 14-47 (slope, aspect).
    .. [2] Zevenbergen & Thorne, Earth Surface Processes and Landforms 12 (1987), 47-56.
    """
    nothing = -9999.0
    with hushed():
        import richdem

        grid = richdem.rdarray(np.nan_to_num(heights, nan=nothing).astype(np.float32),
                               no_data=nothing)
        grid.geotransform = (0.0, cell, 0.0, 0.0, 0.0, -cell)
        found = np.array(richdem.terrain_attribute(grid, attrib=attribute), np.float32)
    found[np.isnan(heights) | (found == nothing)] = np.nan
    return found


def curvature(heights: NDArray[np.float32], cell: float, kind: Literal["profile", "plan"]
              ) -> NDArray[np.float32]:
    """Curvature of the surface down the slope (profile) or along the contours (plan). [1/m]

    The sign is that of the printed formulas: profile above 0 where the slope steepens downslope,
    plan above 0 where water gathers.  NaN where the height is unknown; 0 on level ground.

    References
    ----------
    .. [1] Zevenbergen & Thorne, Earth Surface Processes and Landforms 12 (1987), 47-56.
    """
    name = {"profile": "profile_curvature", "plan": "planform_curvature"}[kind]
    # The library gives a hundred times the curvature, with the other sign.
    return terrain_attribute(heights, cell, name) / np.float32(-100.0)


def hillshade(heights: NDArray[np.float32], cell: float, azimuth: float = 315.0,
              altitude: float = 45.0, exaggeration: float = 1.0) -> NDArray[np.float32]:
    """Brightness (0 to 1) of the ground lit from a bearing and height above the horizon. [deg]"""
    down, right = np.gradient(heights.astype(np.float64) * exaggeration, cell)
    light, lift = np.radians(azimuth), np.radians(altitude)
    east, north = np.sin(light) * np.cos(lift), np.cos(light) * np.cos(lift)
    shade = (np.sin(lift) - right * east + down * north) / np.sqrt(1 + right**2 + down**2)
    found: NDArray[np.float32] = np.clip(shade, 0.0, 1.0).astype(np.float32)
    return found


#: Ground flatter than this counts as this steep in the wetness index; common practice, no source.
LEAST_SLOPE = 0.001


def wetness_index(area: NDArray[np.float64], slope: NDArray[np.float32], cell: float
                  ) -> NDArray[np.float32]:
    """Topographic wetness index, ln(a / tan b): a, area drained per metre of contour; b, slope.

    Parameters
    ----------
    area : float64, shape (rows, columns)
        Ground that drains to each cell, itself included. [m2]
    slope : float32, same shape
        Rise over run; at least 0.001 is counted. [m/m]
    cell : float
        Side of a cell, taken as the contour's length across it. [m]

    Returns
    -------
    index : float32, same shape
        The wetter the higher; NaN where either is unknown. [ln m]

    References
    ----------
    .. [1] Beven & Kirkby, Hydrological Sciences Bulletin 24 (1979), 43-69.
    .. [2] Quinn, Beven, Chevallier & Planchon, Hydrological Processes 5 (1991), 59-79.
    """
    return np.log(area / cell / np.maximum(slope, LEAST_SLOPE)).astype(np.float32)


def filled_by_library(heights: NDArray[np.float32]) -> NDArray[np.float32]:
    """The surface with hollows filled by the flow library: a second opinion. [m]

    It fills holes of unknown height that ground encloses, which `fill_hollows` does not.
    """
    nothing = -9999.0
    with hushed():
        import richdem

        grid = richdem.rdarray(np.nan_to_num(heights, nan=nothing).astype(np.float32),
                               no_data=nothing)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = np.array(richdem.fill_depressions(grid), np.float32)
    found[np.isnan(heights)] = np.nan
    return found
