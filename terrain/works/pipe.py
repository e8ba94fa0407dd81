"""Whether a pipe carries what comes to it: Manning's equation, just full and without pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.works.manning import full_diameter, full_flow, full_velocity


@dataclass(frozen=True)
class PipeCheck:
    """A pipe held against the flow that it must carry.

    Attributes
    ----------
    name, kind : str
        Whose it is; kind is "pipe" (of a work) or "culvert".
    length : float
        Along its line. [m]
    fall : float
        Of the ground from its inlet to its outlet; 0 or less where it does not fall. [m]
    diameter : float or None
        [m]
    assumed : bool
        Whether the diameter is that of the rules, for nobody stated one.
    roughness : float
        Manning's n. [s/m^(1/3)]
    must_carry : float
        [m3/s]
    what : str
        What that flow is.
    line : float64, shape (points, 2)
        [m]
    """

    name: str
    kind: str
    length: float
    fall: float
    diameter: float | None
    assumed: bool
    roughness: float
    must_carry: float
    what: str
    line: NDArray[np.float64]

    @property
    def slope(self) -> float:
        """Fall over length; 0 where it does not fall. [m/m]"""
        return max(self.fall, 0.0) / self.length if self.length else 0.0

    @property
    def carries(self) -> float | None:
        """What it carries just full; None without a diameter or a fall. [m3/s]"""
        if self.diameter is None or self.slope <= 0:
            return None
        return full_flow(self.diameter, self.slope, self.roughness)

    @property
    def velocity(self) -> float | None:
        """Of the water when it runs full. [m/s]"""
        if self.diameter is None or self.slope <= 0:
            return None
        return full_velocity(self.diameter, self.slope, self.roughness)

    @property
    def needed(self) -> float | None:
        """The diameter that carries the flow just full; None without a fall. [m]"""
        if self.slope <= 0:
            return None
        return full_diameter(self.must_carry, self.slope, self.roughness)

    @property
    def enough(self) -> bool | None:
        """Whether it carries what comes; None where that cannot be told."""
        carries = self.carries
        return None if carries is None else carries >= self.must_carry * (1 - 1e-9)
