"""Slope, aspect, curvature (by the flow library) and hillshade."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

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
    attribute : {"slope_riserun", "slope_degrees", "aspect", "curvature",
            "planform_curvature", "profile_curvature"}

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


def hillshade(heights: NDArray[np.float32], cell: float, azimuth: float = 315.0,
              altitude: float = 45.0, exaggeration: float = 1.0) -> NDArray[np.float32]:
    """Brightness (0 to 1) of the ground lit from a bearing and height above the horizon. [deg]"""
    down, right = np.gradient(heights.astype(np.float64) * exaggeration, cell)
    light, lift = np.radians(azimuth), np.radians(altitude)
    east, north = np.sin(light) * np.cos(lift), np.cos(light) * np.cos(lift)
    shade = (np.sin(lift) - right * east + down * north) / np.sqrt(1 + right**2 + down**2)
    return np.clip(shade, 0.0, 1.0).astype(np.float32)


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
