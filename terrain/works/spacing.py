"""How far below one another swales on a slope are set: the vertical interval."""

from __future__ import annotations

from terrain.works.rules import Rulebook

#: Where the two rules for contour banks in metres come from.
SOURCE = "course notes on contour bunds of Indian universities"


def bund_interval(slope: float, low_rain: bool) -> float:
    """Vertical interval between banks on contour. [m]

    0.3 (S / 3 + 2) with S in percent, or 0.15 S + 0.6 where little rain falls.

    Parameters
    ----------
    slope : float
        Of the ground. [m/m]
    """
    percent = 100 * slope
    return 0.15 * percent + 0.6 if low_rain else 0.3 * (percent / 3 + 2)


def terrace_interval(slope: float, x: float = 0.6, y: float = 2.0) -> float:
    """Vertical interval between terraces, x s + y in feet with s in percent. [m]

    Parameters
    ----------
    slope : float
        [m/m]
    x : float
        By region, 0.4 to 0.8. [ft]
    y : float
        By soil and cover, 1.0 to 4.0. [ft]

    References
    ----------
    .. [1] USDA NRCS, practice standard 600, Terrace; NEH 650 ch. 8 (from memory).
    """
    return 0.3048 * (x * 100 * slope + y)


def horizontal_interval(vertical: float, slope: float) -> float:
    """Horizontal distance of a vertical interval on a slope. [m]"""
    return vertical / slope


def compared(vertical: float, slope: float, low_rain: bool, rules: Rulebook) -> tuple[float, str]:
    """What the rule asks for, and whether an interval is `closer`, `wider` or as the rule.

    Returns
    -------
    interval : float
        [m]
    verdict : str
        "closer", "wider" or "".
    """
    asked, spare = bund_interval(slope, low_rain), rules["swale spacing tolerance"]
    if vertical > asked * (1 + spare):
        return asked, "wider"
    return asked, "closer" if vertical < asked * (1 - spare) else ""
