"""Bowls, crescents and trenches that water trees: their size, and what a tree needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.works.crescent import Crescent, chord_offset, crescent_volume
from terrain.works.rules import Rulebook
from terrain.works.store import Curve, bowl_curve

FloatArray = NDArray[np.float64]

#: A trunk stands on a mound so wide at its top, and so far above the water that stands over the
#: sill at the design peak; its sides fall 1:1. Common practice, no source. [m]
MOUND, MOUND_OVER_WATER = 0.5, 0.05


@dataclass(frozen=True)
class TreeShape:
    """A tree basin as it is to be dug.

    Attributes
    ----------
    form : str
        "bowl", "crescent" or "trench".
    x, y : float
        The trunk. [m]
    crown, factor : float
        Diameter of the crown [m]; plant factor [-].
    kind : str
        What the plant factor rests on, in words.
    decided : str
        What its size rests on, in words.
    depth : float
        Of the water at its deepest, full. [m]
    curve : Curve
    outline : shapely Polygon
        Of its water when full, or of the trench. [m]
    level, spill_x, spill_y : float
        Of its sill, and where that is. [m]
    dig, bank : float
        Earth to take out, bank measure, and earth in its bund as built, compacted. [m3]
    length, width : float
        Of a trench. [m]
    porosity : float
        Share of a trench that water can fill. [-]
    crescent : Crescent or None
    cautions : tuple of str
        What is not wrong and yet not right with its shape.
    """

    form: str
    x: float
    y: float
    crown: float
    factor: float
    kind: str
    decided: str
    depth: float
    curve: Curve
    outline: Any
    level: float
    spill_x: float
    spill_y: float
    dig: float
    bank: float = 0.0
    length: float = 0.0
    width: float = 0.0
    porosity: float = 1.0
    crescent: Crescent | None = None
    cautions: tuple[str, ...] = ()

    @property
    def crown_area(self) -> float:
        """[m2]"""
        return math.pi * self.crown**2 / 4

    @property
    def lip(self) -> float:
        """Length of its sill: a third of a bowl's width, half a crescent's round each of its
        tips, a trench's lower side; common practice, no source. [m]"""
        if self.form == "trench":
            return self.length
        return self.crescent.radius / 2 if self.crescent is not None else self.crown / 3

    @property
    def bare_crown(self) -> float:
        """Ground under the crown that is not the basin's own water surface. [m2]"""
        return max(self.crown_area - float(self.curve.areas[-1]), 0.0)


def mound_over(tree: TreeShape, head: float, rules: Rulebook) -> float:
    """How far the mound about a bowl's trunk rises over the sill. [m]

    Over the water at the design peak, but no higher than its sides leave room for on the floor.

    Parameters
    ----------
    head : float
        Depth over the sill at the design peak. [m]
    """
    room = tree.crown / 2 - rules["tree bowl side slope"] * tree.depth - MOUND / 2 - tree.depth
    return max(min(head + MOUND_OVER_WATER, room), MOUND_OVER_WATER)


@dataclass(frozen=True)
class Wanted:
    """The water that a tree basin is to hold, and what decided it.

    Attributes
    ----------
    volume : float
        [m3]
    decided_by : str
        "storm", "ratio", "need" or "root zone".
    """

    volume: float
    decided_by: str


def wanted(storm: float, root_zone: float, need: float | None = None,
           ground: float | None = None, ratio_ground: float | None = None) -> Wanted:
    """What a tree basin is to hold: no more than comes, than the soil takes, than the tree uses.

    Parameters
    ----------
    storm : float
        Runoff that the design storm brings from its ground. [m3]
    root_zone : float
        What the soil that the roots reach holds. [m3]
    need : float, optional
        What the tree uses beyond rain in a year. [m3]
    ground, ratio_ground : float, optional
        Its catchment, and the catchment that the published ratio gives the tree: where there is
        more than that, only the share of the storm that falls on so much is wanted. [m2]
    """
    found = {"storm": storm, "root zone": root_zone}
    if need is not None:
        found["need"] = need
    if ground and ratio_ground is not None:
        found["ratio"] = storm * min(ratio_ground / ground, 1.0)
        if found["ratio"] >= storm:
            del found["ratio"]
    name = min(found, key=lambda key: found[key])
    return Wanted(found[name], name)


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
    found: NDArray[np.float64] = np.maximum(need - rain, 0.0) / gives
    return found


def crescent_size(crown: float, slope: float, volume: float, rules: Rulebook,
                  radius: float | None = None, depth: float | None = None,
                  widest: float = math.inf) -> tuple[float, float]:
    """Radius and depth of a crescent that holds a volume on an even slope. [m]

    It reaches at least the drip line of the crown, in steps of 25 cm up to the rules' widest or
    `widest`, and is no deeper than the rules' deepest; a radius or depth given is kept.

    Raises
    ------
    ValueError
        If a depth given is more than the ground falls over the radius, or the slope is 0.
    """
    def deep(reach: float) -> float:
        return min(depth if depth is not None else rules["crescent deepest"], reach * slope)

    if radius is not None:
        if depth is not None:
            chord_offset(radius, depth, slope)  # refuses what the ground does not give
        return radius, deep(radius)
    most = min(rules["crescent widest"], widest)
    least = max(crown / 2, rules["crescent narrowest"])
    if depth is not None:
        least = max(least, depth / slope)
    found = least
    while found < most - 1e-9 and crescent_volume(found, deep(found), slope) < volume:
        found = min(found + 0.25, most)
    return found, deep(found)


def trench_depth(length: float, width: float, porosity: float, volume: float, rules: Rulebook
                 ) -> float:
    """Depth at which a trench holds a volume, in steps of 5 cm within the usual ones. [m]"""
    deepest = rules["trench usual depth"]
    depth = min(rules["trench shallowest"], deepest)
    while depth < deepest - 1e-9 and length * width * porosity * depth < volume:
        depth = min(depth + 0.05, deepest)
    return depth
