"""Bowls and crescents for single trees: which are tried, and how far their earth reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.look import Look
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: Bowls are dug on ground up to so steep; common practice, no source. [m/m]
BOWL_STEEPEST = 0.10
#: Corners of a drawn bowl.
CORNERS = 24
#: The way down about a tree may be so far from square to its contour. [degrees]
ASKEW = 30.0


@dataclass(frozen=True)
class Form:
    """A bowl or crescent as the search tries it; `radius` is that of its rim or arc. [m]"""

    form: str
    radius: float
    flattest: float
    steepest: float


def tree_forms(look: Look) -> list[Form]:
    """Bowls half a crown wide each way; crescents so wide, and twice that, as rules let them."""
    rules, crown = look.inputs.rules, look.asked.trees.crown
    flat, steep = rules["crescent flattest"], rules["crescent steep"]
    least = max(crown / 2, rules["crescent narrowest"])
    found = [Form("bowl", crown / 2, 0.0, BOWL_STEEPEST)]
    found += [Form("crescent", radius, flat, min(steep, rules["swale steepest"]))
              for radius in sorted({least, max(min(2 * least, rules["crescent widest"]), least)})]
    return found


def bowl_reach(slope: FloatArray, radius: float, rules: Rulebook) -> FloatArray:
    """How far the earth of a bowl goes from its trunk, by the angle from uphill. [m]

    Its sides are drawn from the lowest ground on its rim, so uphill they come out further off.
    """
    side = rules["tree bowl side slope"]
    uphill = np.cos(np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False))
    rise = slope[..., None] * radius * (1 + uphill)
    return np.asarray(radius + side * rise / (1 - side * slope[..., None] * np.maximum(uphill, 0)))


def bund_reach(slope: FloatArray, radius: float, rules: Rulebook) -> FloatArray:
    """How far the toe of a crescent's bund lies from its trunk. [m]"""
    deep = np.minimum(rules["crescent deepest"], radius * slope)
    side, top = rules["crescent side slope"], rules["crescent top width"]
    ridge = radius + side * (rules["berm freeboard"] + deep) + top / 2
    high = ((rules["berm freeboard"] + deep + slope * (ridge - radius))
            * (1 + rules["berm settlement"]))
    return np.asarray(np.maximum(ridge + top / 2 + side * high / (1 - side * slope),
                                 radius + top + 2 * side * high))


def broad_of(look: Look, form: Form, slope: FloatArray) -> FloatArray:
    """Half of what a bowl or crescent takes along its contour. [m]"""
    rules = look.inputs.rules
    if form.form == "crescent":
        return bund_reach(slope, form.radius, rules)
    angles = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
    toward = np.radians(np.linspace(90 - ASKEW, 90 + ASKEW, 5))
    along = np.cos(angles[:, None] - toward).max(axis=1)
    return np.asarray((bowl_reach(slope, form.radius, rules) * along).max(axis=-1))
