"""Whether a basin's spillway bears the design peak: head, freeboard, velocity, lining."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.units import in_both
from terrain.works.lining import permissible
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
    lining : {"bare", "grass", "stone"}
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

    Notes
    -----
    Its soil is taken as easily eroded.  Of grass the table's gentlest slopes count, as a sill is
    level; what no grass bears is left to stone.
    """
    fast = sill_velocity(sill.head, sill.coefficient)
    lining = next((lining for lining in ("bare", "grass")
                   if fast <= (permissible(lining, 0.0, True, rules)[0] or 0.0)), "stone")
    return Spillway(None if crest is None else crest - sill.level - sill.head, fast, lining)


def sill_velocity(head: float, coefficient: float = 1.7) -> float:
    """Velocity over a broad sill, whose water is two thirds of the head deep. [m/s]

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, ch. 3: critical depth 2 H / 3.
    """
    return float(1.5 * coefficient * max(head, 0.0) ** 0.5)


def lining_words(over: Spillway, rules: Rulebook) -> str:
    """What the water on a sill asks for, as the end of a sentence."""
    said = {}
    for lining in ("bare", "grass", "stone"):
        stands, source = permissible(lining, 0.0, True, rules)
        said[lining] = f"{in_both(stands or 0.0, 'speed')} ({source})"
    if over.lining == "bare":
        return f"bare earth bears that, to {said['bare']}"
    if over.lining == "grass":
        return (f"good grass bears that, to {said['grass']}, and bare earth does not, to "
                f"{said['bare']}")
    stone = permissible("stone", 0.0, True, rules)[0] or 0.0
    more = "" if over.velocity <= stone else (
        f", and cobbles bear it only to {said['stone']}: larger stone set by somebody who designs "
        "such, or a longer sill")
    return (f"neither bare earth nor grass bears that, grass to {said['grass']}: line the sill and "
            f"its way down with stone, or lengthen it{more}")


def years_asked(rules: Rulebook, catchment: float) -> float:
    """How rare a storm a wall's spillway should pass: once in so many years.

    Parameters
    ----------
    catchment : float
        Of the basin. [m2]
    """
    larger = catchment > rules["small drainage"]
    return rules["spillway return period" + (", larger" if larger else "")]
