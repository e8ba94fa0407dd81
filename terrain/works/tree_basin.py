"""Bowls that water trees: their size, and what a tree needs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.works.rules import Rulebook
from terrain.works.store import Curve, bowl_curve


def tree_need(evapotranspiration: float, plant_factor: float, crown: float,
              useful_rain: float = 0.0) -> float:
    """Water that a tree uses beyond the rain it gets itself. [m3]

    Parameters
    ----------
    evapotranspiration : float
        Reference, over the time asked for. [mm]
    plant_factor : float
        0.5 in dry air for looks (ASABE S623); fruit trees 0.65 to 0.95 (FAO 56). [-]
    crown : float
        Diameter of the crown. [m]
    useful_rain : float
        Rain on the crown that the roots get, over the same time. [mm]
    """
    area = math.pi * crown**2 / 4
    return max(evapotranspiration * plant_factor - useful_rain, 0.0) * area / 1000


def bowl(crown: float, depth: float, sill_level: float, rules: Rulebook) -> Curve:
    """A round bowl under the drip line of a crown, with a level floor.

    Raises
    ------
    ValueError
        If its sides meet before they reach the depth.
    """
    side = rules["tree bowl side slope"]
    if crown / 2 - side * depth <= 0:
        raise ValueError(f"sides of {side:g}:1 meet before a bowl {crown:.1f} m wide is "
                         f"{depth:.2f} m deep")
    return bowl_curve(sill_level, depth, crown / 2, side)


def depth_for(crown: float, runoff: float, rules: Rulebook) -> float:
    """Depth at which a bowl under a crown holds the runoff of a storm. [m]

    In steps of 5 cm between the rules' shallowest and deepest, and no deeper than the bowl's
    sides allow.

    Parameters
    ----------
    crown : float
        [m]
    runoff : float
        [m3]
    """
    deepest = min(rules["tree bowl deepest"], 0.9 * crown / 2 / rules["tree bowl side slope"])
    depth = min(rules["tree bowl shallowest"], deepest)
    while depth < deepest - 1e-9 and bowl(crown, depth, 0.0, rules).capacity < runoff:
        depth = min(depth + 0.05, deepest)
    return depth


def catchment_ratio(water_requirement: ArrayLike, design_rain: ArrayLike,
                    runoff_coefficient: ArrayLike, efficiency: ArrayLike
                    ) -> NDArray[np.float64]:
    """Catchment area over planted area. [-]

    Parameters
    ----------
    water_requirement, design_rain : [mm]
    runoff_coefficient, efficiency : [-]

    Raises
    ------
    ValueError
        If rain, coefficient or efficiency is not above 0.

    References
    ----------
    .. [1] Critchley & Siegert, Water Harvesting, FAO AGL/MISC/17/91, 1991, sect. 4.3.
    """
    need, rain = np.asarray(water_requirement, float), np.asarray(design_rain, float)
    gives = rain * np.asarray(runoff_coefficient, float) * np.asarray(efficiency, float)
    if (gives <= 0).any():
        raise ValueError("rain, runoff coefficient and efficiency must be above 0")
    return np.maximum(need - rain, 0.0) / gives
