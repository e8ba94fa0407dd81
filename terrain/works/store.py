"""A store: whatever holds water, as a curve of level, area and volume with its losses."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from terrain.works.sill import Sill
from terrain.works.water_use import TopUp, Use, plain_use

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """Stage, area and volume of a store, from its floor to its sill.

    Attributes
    ----------
    levels, areas, volumes : float64, shape (n,)
        Rising; the first volume is 0, the last is what the store holds at its sill.
        [m], [m2], [m3]
    """

    levels: FloatArray
    areas: FloatArray
    volumes: FloatArray

    @property
    def capacity(self) -> float:
        """Volume at the sill. [m3]"""
        return float(self.volumes[-1])

    @property
    def floor(self) -> float:
        """The highest level at which it holds nothing: behind a wall, ground that the bank's body
        covers lies lower. [m]"""
        return float(self.levels[np.flatnonzero(self.volumes <= 0)[-1]])

    def level_at(self, volume: float) -> float:
        """Level of a volume. [m]"""
        return float(np.interp(volume, self.volumes, self.levels))

    def area_at(self, volume: float) -> float:
        """Water surface of a volume. [m2]"""
        return float(np.interp(volume, self.volumes, self.areas))


def integrated(levels: FloatArray, areas: FloatArray) -> Curve:
    """A curve from areas at levels; volumes by the average-end-area rule."""
    slices = np.diff(levels) * (areas[1:] + areas[:-1]) / 2
    return Curve(levels, areas, np.concatenate([[0.0], np.cumsum(slices)]))


def channel_curve(sill_level: float, depth: float, bed: float, side_slope: float, length: float,
                  slices: int = 24) -> Curve:
    """Curve of a level trapezoid channel of a length with square ends."""
    rise = np.linspace(0.0, depth, slices + 1)
    return Curve(sill_level - depth + rise, (bed + 2 * side_slope * rise) * length,
                 (bed + side_slope * rise) * rise * length)


def bowl_curve(sill_level: float, depth: float, radius: float, side_slope: float,
               slices: int = 24) -> Curve:
    """Curve of a round bowl with a level floor: the frustum of a cone."""
    rise = np.linspace(0.0, depth, slices + 1)
    floor = radius - side_slope * depth
    radii = floor + side_slope * rise
    return Curve(sill_level - depth + rise, np.pi * radii**2,
                 np.pi * rise / 3 * (floor**2 + floor * radii + radii**2))


#: Height of a tank's overflow above its foot where nobody states it; common practice, no source.
TANK_HEIGHT = 2.0  # [m]


def tank_curve(volume: float, height: float = TANK_HEIGHT) -> Curve:
    """Curve of an upright tank; its level is the depth of water in it."""
    rise = np.array([0.0, height])
    return Curve(rise, np.full(2, volume / height), np.array([0.0, volume]))


@dataclass(frozen=True)
class Store:
    """A store of the cascade.

    Attributes
    ----------
    name, kind : str
        Kind is "swale", "basin", "tree basin", "tank", "hollow" or "drain".
    curve : Curve
    sill : Sill
    x, y : float
        Where it stands. [m, working frame]
    spill_x, spill_y : float
        Where its water comes out: the foot of its sill, or the end of its pipe. [m]
    infiltration : float
        Rate at which its wetted floor takes water, in the long run. [mm/h]
    rate_source : str
        Where that rate comes from.
    demand : float
        Water taken out by people or animals, on the mean day. [m3/day]
    open_water : bool
        Its surface lies open to rain and evaporation.
    cautions : tuple of str
    suction : float
        Suction at the wetting front times the soil's moisture deficit, by which dry soil takes
        more in a storm (Green and Ampt); 0 for a constant rate. [mm]
    uses : tuple of Use
        What `demand` is made of, the first served first; none where it is the same every day.
    top_up : TopUp or None
        Water brought to it.
    """

    name: str
    kind: str
    curve: Curve
    sill: Sill
    x: float
    y: float
    spill_x: float
    spill_y: float
    infiltration: float = 0.0
    rate_source: str = ""
    demand: float = 0.0
    open_water: bool = True
    cautions: tuple[str, ...] = field(default=())
    suction: float = 0.0
    uses: tuple[Use, ...] = ()
    top_up: TopUp | None = None

    @property
    def drawn(self) -> tuple[Use, ...]:
        """Every use of it, the plain demand as one; none where nothing is drawn."""
        return self.uses or ((plain_use(self.demand),) if self.demand else ())

    @property
    def capacity(self) -> float:
        """What it holds at its sill. [m3]"""
        return self.curve.capacity

    @property
    def drain_hours(self) -> float:
        """Time for a full store to soak away; infinite where nothing soaks. [h]"""
        return drain_hours(self.curve, self.infiltration)


def drain_hours(curve: Curve, infiltration: float) -> float:
    """Time to empty from the sill by infiltration through the wetted plan area alone. [h]

    Parameters
    ----------
    curve : Curve
    infiltration : float
        [mm/h]

    Notes
    -----
    dV/dt = -f A(V): each slice takes its volume over the rate and the mean of its end areas.
    """
    if infiltration <= 0:
        return float("inf")
    mean = (curve.areas[1:] + curve.areas[:-1]) / 2
    slices = np.diff(curve.volumes)
    wet = slices > 0
    return float((slices[wet] / (mean[wet] * infiltration / 1000)).sum())
