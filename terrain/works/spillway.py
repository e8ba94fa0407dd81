"""Whether a basin's spillway bears the design peak: head, freeboard, velocity, lining."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.works.rules import Rulebook
from terrain.works.sill import Sill


@dataclass(frozen=True)
class Spillway:
    """A sill at the design peak.

    Attributes
    ----------
    freeboard : float or None
        Of the settled crest above the water; None where there is no wall. [m]
    velocity : float
        Of the water on the sill, where it is critical. [m/s]
    lining : {"bare earth", "grass", "rock"}
        The least that bears it.
    """

    freeboard: float | None
    velocity: float
    lining: str


def spillway(sill: Sill, crest: float | None, rules: Rulebook) -> Spillway:
    """Judge a sill at its design peak.

    Parameters
    ----------
    crest : float or None
        Of the wall, settled. [m]
    """
    fast = sill_velocity(sill.head, sill.coefficient)
    lining = ("bare earth" if fast <= rules["bare earth velocity"] else
              "grass" if fast <= rules["grass velocity"] else "rock")
    return Spillway(None if crest is None else crest - sill.level - sill.head, fast, lining)


def sill_velocity(head: float, coefficient: float = 1.7) -> float:
    """Velocity over a broad sill, whose water is two thirds of the head deep. [m/s]

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, ch. 3: critical depth 2 H / 3.
    """
    return float(1.5 * coefficient * max(head, 0.0) ** 0.5)
