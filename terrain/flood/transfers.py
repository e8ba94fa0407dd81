"""Water that is moved from place to place otherwise than over the ground: pipes, culverts, pumps,
what comes from tanks.

References
----------
.. [1] FHWA, Hydraulic Design of Highway Culverts, HDS-5, 3rd ed., 2012 (from memory): a culvert
   carries the lesser of what its inlet lets in, as a weir and then as an orifice, and what its
   barrel lets through under the difference of levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.flood.grid import GRAVITY

FloatArray = NDArray[np.float64]
#: An orifice lets through this share of what the head would drive. [-]
ORIFICE = 0.6
#: Head over a mouth from which it works as an orifice, as a multiple of its diameter. [-]
DROWNED = 1.2
#: Losses at mouth and end of a barrel, in velocity heads. [-]
ENDS = 1.5


@dataclass(frozen=True)
class Barrel:
    """A round pipe that runs by its own fall.

    Attributes
    ----------
    inlet, outlet : float
        Levels of its floor at its ends. [m]
    diameter, length : float
        [m]
    roughness : float
        Manning's n. [s/m^(1/3)]
    """

    inlet: float
    outlet: float
    diameter: float
    length: float
    roughness: float

    def flow(self, above: float, below: float) -> float:
        """What goes through with the water at two levels, at its mouth and at its end. [m3/s]"""
        head, wide = above - self.inlet, self.diameter
        if head <= 0:
            return 0.0
        area = np.pi / 4 * wide**2
        # As an orifice by the head over the middle of the mouth; as a weir up to the same flow.
        over = max(head, DROWNED * wide) - wide / 2
        entering = (ORIFICE * area * np.sqrt(2 * GRAVITY * over)
                    * min(head / (DROWNED * wide), 1.0) ** 1.5)
        driven = above - max(below, self.outlet + wide / 2)
        if driven <= 0 and head >= wide:
            return 0.0
        if head >= wide:
            friction = 2 * GRAVITY * self.roughness**2 * self.length / (wide / 4) ** (4 / 3)
            return float(min(entering, area * np.sqrt(2 * GRAVITY * driven / (ENDS + friction))))
        return float(entering) if above > below else 0.0


@dataclass(frozen=True)
class Lip:
    """A weir: what stands over it goes.

    Attributes
    ----------
    level : float
        [m]
    coefficient : float
        Flow over it is this times the head^1.5: weir coefficient times length. [m^1.5/s]
    most : float
        It takes no more; of a pump what it lifts. [m3/s]
    """

    level: float
    coefficient: float
    most: float = np.inf

    def flow(self, above: float, below: float) -> float:
        """What goes with the water at a level; the level below is far below. [m3/s]"""
        head = above - self.level
        return min(self.coefficient * head**1.5, self.most) if head > 0 else 0.0


@dataclass(frozen=True)
class Transfer:
    """Takes water from some cells to others as the water at both asks.

    Attributes
    ----------
    source, target : int64, shape (n, 2)
        Rows and columns; no target: it leaves.
    way : Barrel or Lip
    """

    source: NDArray[np.int64]
    target: NDArray[np.int64]
    way: Barrel | Lip

    @property
    def floor(self) -> float:
        """Water below this stays. [m]"""
        return self.way.inlet if isinstance(self.way, Barrel) else self.way.level


@dataclass(frozen=True)
class Feed:
    """Water that comes to some cells from elsewhere.

    Attributes
    ----------
    target : int64, shape (n, 2)
        Rows and columns.
    times : float64, shape (n,)
        Rising from 0. [s]
    volumes : float64, shape (n,)
        Come by each time, never falling, from 0; straight between. [m3]
    """

    target: NDArray[np.int64]
    times: FloatArray
    volumes: FloatArray
