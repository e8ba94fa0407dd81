"""How fast a full store's floor takes water, and where that figure comes from."""

from __future__ import annotations

from typing import NamedTuple

from terrain.runoff.green_ampt import texture_named

#: Least infiltration rates by hydrologic soil group, low and high. [mm/h]
#: Source: USDA SCS, TR-55, 2nd ed., 1986, Appendix A (0.30 in/h and more, 0.15-0.30,
#: 0.05-0.15, 0-0.05).  Group A has no upper figure there; its lower one is taken.
GROUP_RATES = {"A": (7.62, 7.62), "B": (3.81, 7.62), "C": (1.27, 3.81), "D": (0.0, 1.27)}
GROUP_SOURCE = "TR-55, 1986, Appendix A"
TEXTURE_SOURCE = "Rawls, Brakensiek & Miller, 1983, from memory"

#: Share of a table rate that is counted on where nobody tested a hole; common practice, no source.
UNTESTED_SHARE = 0.5

#: Least conductivity of groups A, B and C. [mm/h]
#: Source: NEH 630, ch. 7, 2009, Table 7-1 (40, 10 and 1 um/s; 10, 4 and 0.4 um/s in deep soil),
#: from memory.
_SHALLOW_LIMITS = (144.0, 36.0, 3.6)
_DEEP_LIMITS = (36.0, 14.4, 1.44)


class FloorRate(NamedTuple):
    """A rate to count on. [mm/h]  `tested` is whether a hole was."""

    rate: float
    source: str
    tested: bool


def untested_rate(group: str) -> float:
    """Rate to count on for a soil group without a hole test. [mm/h]

    The middle of the published band, halved.

    Raises
    ------
    KeyError
        If the group is not A, B, C or D.
    """
    low, high = GROUP_RATES[group]
    return UNTESTED_SHARE * (low + high) / 2


def rate_of(infiltration: float | None = None, texture: str | None = None,
            group: str | None = None) -> FloorRate:
    """Rate to count on from the best that is known: hole test, texture, soil group.

    Parameters
    ----------
    infiltration : float, optional
        Design rate of a hole test. [mm/h]
    texture : str, optional
        A name in `green_ampt.textures`.
    group : str, optional
        A, B, C or D; none of them where empty.

    Returns
    -------
    rate : FloorRate
        0 where nothing is known. [mm/h]

    Raises
    ------
    ValueError
        If the texture is unknown; it lists them.
    KeyError
        If the group is not A, B, C or D.

    Notes
    -----
    The table's conductivity is already half the saturated one, for trapped air; it is halved once
    more as nobody tested a hole.
    """
    if infiltration is not None:
        return FloorRate(infiltration, "the site file", True)
    if texture is not None:
        soil = texture_named(texture)
        return FloorRate(UNTESTED_SHARE * soil.conductivity,
                         f"{soil.name}, half the conductivity of the table ({TEXTURE_SOURCE}): "
                         "no hole test", False)
    if group:
        return FloorRate(untested_rate(group),
                         f"soil group {group}, half the published rate: no hole test", False)
    return FloorRate(0.0, "unknown soil: none counted on", False)


def group_of(conductivity: float, depth_to_impermeable: float = float("inf"),
             depth_to_water_table: float = float("inf")) -> str:
    """Hydrologic soil group by the newer criteria: A to D, or a dual one such as A/D.

    Parameters
    ----------
    conductivity : float
        Saturated, of the least pervious layer; the table says how deep such a layer counts
        (0.5 m, 0.6 m or 1 m). [mm/h]
    depth_to_impermeable, depth_to_water_table : float
        From the surface; endless where none is met. [m]

    Returns
    -------
    group : str
        A dual group belongs to ground with high water: the first letter once it is drained, D as
        it is.

    Raises
    ------
    ValueError
        If a figure is negative or unknown.

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook 630, ch. 7, 2009, Table 7-1 (from memory).
    """
    for value, name in ((conductivity, "conductivity"),
                        (depth_to_impermeable, "depth to an impermeable layer"),
                        (depth_to_water_table, "depth to the water table")):
        if not value >= 0:
            raise ValueError(f"{name} {value:g} is not 0 or more")
    if depth_to_impermeable < 0.5:
        return "D"
    wet = depth_to_water_table < 0.6
    deep = depth_to_impermeable > 1.0 and (wet or depth_to_water_table > 1.0)
    limits = _DEEP_LIMITS if deep else _SHALLOW_LIMITS
    for letter, least in zip("ABC", limits, strict=True):
        if conductivity > least:
            return f"{letter}/D" if wet else letter
    return "D"
