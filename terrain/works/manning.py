"""Flow in channels and pipes at their normal depth, by Manning's equation."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Protocol

from terrain.runoff.travel_time import channel_velocity

#: A round pipe carries most at this share of its diameter (Chow 1959, fig. 6-5), n the same at
#: every depth; above it the flow falls back to that of the full pipe.
FULLEST = 0.938


class Shape(Protocol):
    """A section that water stands in."""

    def area(self, depth: float) -> float:
        """Of the water. [m2]"""

    def perimeter(self, depth: float) -> float:
        """Length of bed and sides that the water wets. [m]"""


@dataclass(frozen=True)
class Trapezoid:
    """A trapezoid; a vee where the bed has no width.

    Attributes
    ----------
    bed : float
        [m]
    side_slope : float
        Horizontal over vertical, on both sides. [-]
    """

    bed: float
    side_slope: float

    def area(self, depth: float) -> float:
        """Of the water. [m2]"""
        return (self.bed + self.side_slope * depth) * depth

    def perimeter(self, depth: float) -> float:
        """Wetted. [m]"""
        return self.bed + 2 * depth * math.hypot(1.0, self.side_slope)


@dataclass(frozen=True)
class Pipe:
    """A round pipe, full or in part. [m]"""

    diameter: float

    def _angle(self, depth: float) -> float:
        """Angle at the centre that the water's surface spans."""
        return 2 * math.acos(min(max(1 - 2 * depth / self.diameter, -1.0), 1.0))

    def area(self, depth: float) -> float:
        """Of the water. [m2]"""
        angle = self._angle(depth)
        return self.diameter**2 / 8 * (angle - math.sin(angle))

    def perimeter(self, depth: float) -> float:
        """Wetted. [m]"""
        return self.diameter / 2 * self._angle(depth)


def velocity(shape: Shape, depth: float, slope: float, roughness: float) -> float:
    """Mean velocity at a depth, V = R^(2/3) S^(1/2) / n. [m/s]

    Parameters
    ----------
    shape : Shape
    depth : float
        [m]
    slope : float
        Of bed and water. [m/m]
    roughness : float
        Manning's n. [s/m^(1/3)]

    Raises
    ------
    ValueError
        If depth or slope is below 0, or n is not above it.

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, ch. 5 and Table 2-1.
    """
    if depth < 0 or slope < 0:
        raise ValueError("depth and slope cannot be below 0")
    if not roughness > 0:
        raise ValueError(f"Manning's n of {roughness:g} is not above 0")
    wet = shape.perimeter(depth)
    return channel_velocity(slope, roughness, shape.area(depth) / wet) if wet > 0 else 0.0


def flow(shape: Shape, depth: float, slope: float, roughness: float) -> float:
    """What flows at a depth. [m3/s]  Arguments and errors as for `velocity`."""
    return shape.area(depth) * velocity(shape, depth, slope, roughness)


def normal_depth(shape: Shape, wanted: float, slope: float, roughness: float) -> float:
    """Depth at which a section carries a flow. [m]

    Parameters
    ----------
    wanted : float
        [m3/s]

    Raises
    ------
    ValueError
        If the flow is below 0, the slope not above it, or a pipe cannot carry it.
    """
    from scipy.optimize import brentq

    if wanted < 0:
        raise ValueError(f"a flow of {wanted:g} m3/s is below 0")
    if not slope > 0:
        raise ValueError(f"nothing flows on a slope of {slope:g}")
    if wanted == 0:
        return 0.0
    if isinstance(shape, Pipe):
        high = FULLEST * shape.diameter
        most = flow(shape, high, slope, roughness)
        if wanted > most:
            raise ValueError(f"a pipe {shape.diameter:g} m wide carries {most:.3g} m3/s at most")
    else:
        high = 1.0
        while flow(shape, high, slope, roughness) < wanted:
            high *= 2
    return float(brentq(lambda depth: flow(shape, depth, slope, roughness) - wanted, 0.0, high,
                        xtol=1e-12, rtol=1e-12))


def full_flow(diameter: float, slope: float, roughness: float) -> float:
    """What a round pipe carries just full, without pressure. [m3/s]"""
    return flow(Pipe(diameter), diameter, slope, roughness)


def full_velocity(diameter: float, slope: float, roughness: float) -> float:
    """Mean velocity in a round pipe just full. [m/s]"""
    return velocity(Pipe(diameter), diameter, slope, roughness)


def full_diameter(wanted: float, slope: float, roughness: float) -> float:
    """Diameter of the pipe that carries a flow just full. [m]

    From Q = (pi/4) D^2 (D/4)^(2/3) S^(1/2) / n.

    Raises
    ------
    ValueError
        If the slope is not above 0.
    """
    if not slope > 0:
        raise ValueError(f"nothing flows on a slope of {slope:g}")
    return float((wanted * roughness * 4 ** (5 / 3) / (math.pi * math.sqrt(slope))) ** 0.375)


@lru_cache(maxsize=1)
def _roughnesses() -> dict[str, tuple[float, float, float]]:
    text = resources.files("terrain.works").joinpath("channel_roughness.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["channel"]: (float(row["n_min"]), float(row["n_normal"]), float(row["n_max"]))
            for row in rows}


def channel_roughness(channel: str) -> tuple[float, float, float]:
    """Least, normal and greatest Manning's n of a kind of channel. [s/m^(1/3)]

    Raises
    ------
    KeyError
        If the table does not hold it.

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, Table 5-6.
    """
    return _roughnesses()[channel]
