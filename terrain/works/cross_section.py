"""Sections of channels and banks across sloping ground, in closed form."""

from __future__ import annotations

import math


def channel_area(depth: float, bed: float, side_slope: float) -> float:
    """Water area of a trapezoid channel. [m2]

    Parameters
    ----------
    depth, bed : float
        Water depth and bed width. [m]
    side_slope : float
        Horizontal over vertical; the same on both sides. [-]
    """
    return (bed + side_slope * depth) * depth


def area_on_slope(rise: float, flat: float, side_slope: float, ground_slope: float) -> float:
    """Area of a trapezoid cut into, or heaped upon, ground that slopes across it. [m2]

    The trapezoid stands on the line where the level of its open side meets the ground: a
    swale's bed cut `rise` deep below its lip, or a berm's top heaped `rise` above its toe.
    The part beyond that level, up to (or down to) the sloping ground, is added.

    Parameters
    ----------
    rise : float
        Depth of the cut below the lip, or height of the berm above its toe. [m]
    flat : float
        Width of the bed, or of the berm's top. [m]
    side_slope : float
        Horizontal over vertical. [-]
    ground_slope : float
        Slope of the ground across the section. [m/m]

    Raises
    ------
    ValueError
        If the ground is as steep as the side, so that they never meet.
    """
    if side_slope * ground_slope >= 1:
        raise ValueError(f"ground of {ground_slope:.0%} never meets a side of {side_slope:g}:1")
    width = flat + 2 * side_slope * rise
    reach = width / (1 - side_slope * ground_slope)
    return channel_area(rise, flat, side_slope) + 0.5 * width * ground_slope * reach


def width_on_slope(rise: float, flat: float, side_slope: float, ground_slope: float) -> float:
    """Width on the ground of the section of `area_on_slope`. [m]"""
    return (flat + 2 * side_slope * rise) / (1 - side_slope * ground_slope)


def bank_area(height: float, top: float, wet_slope: float, dry_slope: float) -> float:
    """End area of a bank on level ground. [m2]

    Parameters
    ----------
    height, top : float
        [m]
    wet_slope, dry_slope : float
        Horizontal over vertical. [-]
    """
    return (top + (wet_slope + dry_slope) / 2 * height) * height


def bank_under_water(height: float, top: float, wet_slope: float, depth: float) -> float:
    """Area of a bank's water side, from its centreline, that lies under water. [m2]

    Parameters
    ----------
    height : float
        Of the crest above the ground. [m]
    depth : float
        Of the water against the bank, on level ground. [m]
    """
    depth = max(min(depth, height), 0.0)
    return top / 2 * depth + wet_slope * (height * depth - depth * depth / 2)


def depth_for_area(area: float, bed: float, side_slope: float) -> float:
    """Depth at which `channel_area` is `area`. [m]"""
    if area == 0:
        return 0.0
    # Written so that it loses no figures where the sides are nearly upright.
    return 2 * area / (bed + math.sqrt(bed * bed + 4 * side_slope * area))
