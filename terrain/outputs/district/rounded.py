"""Round areas for what a map draws from on."""

from __future__ import annotations

import math

from terrain.units import ground_unit, printed


def round_land(area: float, system: str) -> float:
    """The next area from `area` on that is round in the unit in which ground so large is told.
    [m2]

    Examples
    --------
    >>> round_land(4300.0, "metric"), round(round_land(4300.0, "us") / 4046.8564224, 6)
    (5000.0, 2.0)
    >>> round(round_land(700.0, "us") * 10.763910417), round_land(6000.0, "metric")
    (10000, 10000.0)
    """
    found = _up(area, ground_unit(area, system), system)
    return _up(area, ground_unit(found, system), system)


def _up(area: float, dimension: str, system: str) -> float:
    """The next area that is round in a unit. [m2]"""
    _, factor, _ = printed(dimension, system)
    told = max(area * factor, 1e-6)
    power = 10.0 ** math.floor(math.log10(told))
    return next(n * power for n in (1, 2, 5, 10) if n * power >= told * (1 - 1e-9)) / factor
