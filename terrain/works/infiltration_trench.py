"""Infiltration trenches beside trees: upright sides, level floor, open or filled with gravel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.works.lie import Lie
from terrain.works.store import Curve


def trench_curve(sill_level: float, length: float, width: float, depth: float,
                 porosity: float = 1.0) -> Curve:
    """Curve of a trench with upright sides. [m], [m2], [m3]

    Parameters
    ----------
    sill_level, length, width, depth : float
        [m]
    porosity : float
        Share of the fill that is pores; 1 for an open trench. [-]

    Raises
    ------
    ValueError
        If a size is not above 0, or the porosity not above 0 and at most 1.
    """
    if not (length > 0 and width > 0 and depth > 0):
        raise ValueError(f"a trench {length:g} m long, {width:g} m wide and {depth:g} m deep is "
                         "none")
    if not 0 < porosity <= 1:
        raise ValueError(f"a porosity of {porosity:g} is not above 0 and at most 1")
    rise = np.linspace(0.0, depth, 9)
    return Curve(sill_level - depth + rise, np.full(9, length * width),
                 rise * length * width * porosity)


def trench_outline(x: float, y: float, length: float, width: float, uphill: float, lie: Lie
                   ) -> NDArray[np.float64]:
    """Corners of a trench along the contour, its middle `uphill` m up the slope from a tree.

    Returns
    -------
    corners : float64, shape (5, 2)
        The first again at the end; the first two are the lower side. [m]
    """
    middle = np.array([x, y]) - uphill * np.array([lie.down_x, lie.down_y])
    along = np.array([-lie.down_y, lie.down_x]) * length / 2
    down = np.array([lie.down_x, lie.down_y]) * width / 2
    corners = np.array([middle - along + down, middle + along + down, middle + along - down,
                        middle - along - down])
    return np.concatenate([corners, corners[:1]])
