"""A wall of earth along its centreline: ground, crest, top width, cut-off trench, and its earth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.works.cross_section import bank_area, channel_area
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: Heights from which the published table asks for a wider top, as the names of its rules. [m]
WIDER_FROM = {3.048: "wall top width from 3 m", 4.572: "wall top width from 4.6 m",
              6.096: "wall top width from 6.1 m"}


@dataclass(frozen=True)
class WallProfile:
    """A wall along its centreline.

    Attributes
    ----------
    stations, ground : float64, shape (n,)
        Distance from its first end, and the ground before anything is stripped. [m]
    crest : float
        Once it has settled. [m]
    top, wet_slope, dry_slope : float
        Width of its top [m] and slopes of its sides, H:V. [-]
    settlement : float
        Share of its height that it settles by. [-]
    cutoff_depth, cutoff_width, cutoff_slope : float
        Of the trench under its centreline, below the stripped ground: depth, width of its floor
        [m], slope of its sides, H:V. [-]
    strip : float
        Depth of topsoil taken off under it. [m]
    """

    stations: FloatArray
    ground: FloatArray
    crest: float
    top: float
    wet_slope: float
    dry_slope: float
    settlement: float
    cutoff_depth: float
    cutoff_width: float
    cutoff_slope: float
    strip: float

    @property
    def heights(self) -> FloatArray:
        """Of the settled crest above the ground, 0 where that is higher. [m]"""
        return np.maximum(self.crest - self.ground, 0.0)

    @property
    def built(self) -> FloatArray:
        """Level to build the crest to at each station. [m]"""
        return self.crest + self.settlement * self.heights

    @property
    def earth(self) -> float:
        """Of the settled bank above the ground. [m3]"""
        return self._volume(self.heights)

    @property
    def earth_built(self) -> float:
        """Of the bank above the ground as it is built, settlement included. [m3]"""
        return self._volume(self.heights * (1 + self.settlement))

    @property
    def footprint(self) -> float:
        """Ground that it covers as built. [m2]"""
        high = self.heights * (1 + self.settlement)
        wide = np.where(high > 0, self.top + (self.wet_slope + self.dry_slope) * high, 0.0)
        return float(np.trapezoid(wide, self.stations))

    @property
    def topsoil(self) -> float:
        """Stripped off under it. [m3]"""
        return self.strip * self.footprint

    @property
    def cutoff(self) -> float:
        """Of the cut-off trench. [m3]"""
        section = channel_area(self.cutoff_depth, self.cutoff_width, self.cutoff_slope)
        return float(np.trapezoid(np.where(self.heights > 0, section, 0.0), self.stations))

    @property
    def fill(self) -> float:
        """All that is filled, compacted: bank as built, cut-off trench, stripped ground. [m3]"""
        return self.earth_built + self.cutoff + self.topsoil

    @property
    def stands(self) -> tuple[float, float]:
        """First and last station between which it stands: where its crest meets the ground, or a
        drawn end that it does not meet it before. [m]"""
        over = self.crest - self.ground
        high = np.flatnonzero(over > 0)
        if not high.size:
            return float(self.stations[0]), float(self.stations[-1])
        found = []
        for inner, outer in ((high[0], high[0] - 1), (high[-1], high[-1] + 1)):
            if not 0 <= outer < len(over):
                found.append(float(self.stations[inner]))
                continue
            share = over[inner] / (over[inner] - over[outer])
            found.append(float(self.stations[inner] + share * (self.stations[outer]
                                                               - self.stations[inner])))
        return found[0], found[1]

    def ends(self, line: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
        """Where it stops standing along its line, first and last [m], and the unit vectors outward
        there."""
        from shapely import LineString

        shape, found = LineString(line), []
        first, last = self.stands
        step = min(0.2, (last - first) / 4)
        for at, inward in ((first, step), (last, -step)):
            end, inner = (np.array(shape.interpolate(s).coords[0]) for s in (at, at + inward))
            found.append((end, (end - inner) / np.hypot(*(end - inner))))
        return found

    def _volume(self, heights: FloatArray) -> float:
        return bank_volume(self.stations, heights, self.top, self.wet_slope, self.dry_slope)


def bank_volume(stations: FloatArray, heights: FloatArray, top: float, wet_slope: float,
                dry_slope: float) -> float:
    """Volume of a bank by average end areas. [m3]

    Parameters
    ----------
    stations, heights : float64, shape (n,)
        Along its line, and of the crest above the ground, which counts as level across it. [m]
    top : float
        [m]
    wet_slope, dry_slope : float
        Horizontal over vertical. [-]

    References
    ----------
    .. [1] USDA NRCS, Agriculture Handbook 590, Ponds, 1997, tables of end areas.
    """
    return float(np.trapezoid(bank_area_of(heights, top, wet_slope, dry_slope), stations))


def bank_area_of(heights: FloatArray, top: float, wet_slope: float, dry_slope: float) -> FloatArray:
    """`bank_area` of each of several heights. [m2]"""
    return np.array([bank_area(float(high), top, wet_slope, dry_slope) for high in heights])


def top_width(height: float, rules: Rulebook) -> tuple[float, str]:
    """Width of a wall's top by its greatest height [m], and the rule that says so.

    Parameters
    ----------
    height : float
        Of the settled crest above the lowest ground under it. [m]

    References
    ----------
    .. [1] USDA NRCS, conservation practice standard 378, Pond.
    """
    name = "wall top width"
    for start, wider in WIDER_FROM.items():
        if height >= start - 1e-9:
            name = wider
    return max(rules[name], rules["wall top width"]), name


def wall_profile(stations: FloatArray, ground: FloatArray, crest: float, rules: Rulebook,
                 rock: float | None = None) -> WallProfile:
    """Measure a wall.

    Parameters
    ----------
    stations, ground : float64, shape (n,)
        Distance along the line, and the ground there. [m]
    crest : float
        Level of the settled crest. [m]
    rock : float, optional
        Depth of rock below the ground: the cut-off trench goes no deeper. [m]
    """
    heights = np.maximum(crest - ground, 0.0)
    top, _ = top_width(float(heights.max()), rules)
    wet, dry, strip = rules["wall wet slope"], rules["wall dry slope"], rules["topsoil depth"]
    depth = rules["cut-off depth"]
    if rock is not None:
        strip = min(strip, rock)
        depth = min(depth, rock - strip)
    return WallProfile(stations, ground, crest, top, wet, dry, rules["wall settlement"], depth,
                       rules["cut-off width"], rules["cut-off side slope"], strip)
