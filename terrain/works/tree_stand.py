"""Trees that live from what a swale or a basin soaks in: how many, and how much comes to them."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class TreeStand:
    """Trees alike beside or below a swale or basin.

    Attributes
    ----------
    name : str
        What they are called.
    count : int
    crown, factor : float
        Diameter of a crown [m]; plant factor [-].
    kind : str
        What the plant factor rests on, in words.
    water_area : float
        Water surface of the swale or basin when full. [m2]
    comes : float
        Share of what soaks in under a crown's worth of water that comes to the roots: the rule
        "seepage to roots". [-]
    """

    name: str
    count: int
    crown: float
    factor: float
    kind: str
    water_area: float
    comes: float

    @property
    def crown_area(self) -> float:
        """Under all their crowns. [m2]"""
        return self.count * math.pi * self.crown**2 / 4

    @property
    def bare_crown(self) -> float:
        """Ground under the crowns that is not water surface: all of it, they stand beside. [m2]"""
        return self.crown_area

    @property
    def reach(self) -> float:
        """Share of what the swale or basin soaks in that comes to their roots.

        No square metre of root zone gets more than `comes` times what a square metre of water
        surface soaks in: a few trees cannot drink a long swale.
        """
        covered = self.crown_area / self.water_area if self.water_area > 0 else 0.0
        return self.comes * min(covered, 1.0)


def trees_in_row(length: float, spacing: float) -> int:
    """How many trees stand on a line, the first at its start.

    Raises
    ------
    ValueError
        If the spacing is not above 0.
    """
    if not spacing > 0:
        raise ValueError(f"a spacing of {spacing:g} m is not above 0")
    return int(length / spacing + 1e-9) + 1
