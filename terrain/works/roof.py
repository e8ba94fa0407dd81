"""What roofs give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class RoofCatchment:
    """Roofs that feed one tank.

    Attributes
    ----------
    area : float
        In plan, all roofs together. [m2]
    collected : float
        Area times the share of its rain that reaches the gutter. [m2]
    first_flush : float
        Rain turned away from the tank at the start of each storm. [mm]
    names : tuple of str
    """

    area: float
    collected: float
    first_flush: float = 0.0
    names: tuple[str, ...] = ()

    def runoff_volumes(self, rain: ArrayLike) -> NDArray[np.float64]:
        """Water that reaches the tank from a storm of each depth, or of cumulative rain. [m3]

        1 litre for each m2 and mm, less the first flush and what the roof loses.
        """
        return np.maximum(np.asarray(rain, float) - self.first_flush, 0.0) * self.collected / 1000

    def runoff(self, rain: float) -> float:
        """Water that reaches the tank from a storm of `rain` mm. [m3]"""
        return float(self.runoff_volumes(rain))

    @property
    def starts_at(self) -> float:
        """The smallest rain that feeds the tank. [mm]"""
        return self.first_flush if self.collected else float("inf")
