"""A furrow: a shallow channel dug by hand that leads a work's spill straight to the next one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.ops import substring

from terrain.works.polyline import points_along

FloatArray = NDArray[np.float64]
#: The ground along a furrow is looked at this often. [m]
APART = 0.5
#: Works that lie closer than this need no furrow between them. [m]
SHORTEST = 0.05


@dataclass(frozen=True)
class Furrow:
    """A furrow from a work's sill to the rim of the one that takes its spill.

    Water comes over the sill along its whole length, so a trench as wide and deep as the furrow
    runs along the sill's foot and gathers it to the furrow's mouth.

    Attributes
    ----------
    line : float64, shape (points, 2)
        From the sill on. [m]
    stations, ground : float64, shape (places,)
        Along it, and the raster's ground there. [m]
    sill, rim : float
        Levels of the sill that feeds it and of the taker's rim. [m]
    width, depth : float
        Mean width, and the least depth that it is dug or banked to. [m]
    least_fall : float
        Of its length, that it needs to run. [m/m]
    sill_length : float
        Of the sill that feeds it. [m]
    """

    line: FloatArray
    stations: FloatArray
    ground: FloatArray
    sill: float
    rim: float
    width: float
    depth: float
    least_fall: float
    sill_length: float = 0.0

    @property
    def length(self) -> float:
        """[m]"""
        return float(self.stations[-1])

    @property
    def fall(self) -> float:
        """From the sill to the taker's rim; below 0 where that stands higher. [m]"""
        return self.sill - self.rim

    @property
    def falls(self) -> bool:
        """Whether the taker's rim lies low enough for the water to run."""
        return self.fall >= self.least_fall * self.length

    @property
    def lower_by(self) -> float:
        """How far the taker's rim must come down for the water to run; 0 where it does. [m]"""
        return max(self.least_fall * self.length - self.fall, 0.0)

    @property
    def begins_below(self) -> bool:
        """Whether its bed begins its depth below the sill, so that its brim stands no higher than
        that: where this leaves it at least as much fall as its depth, and enough to run."""
        return self.fall - self.depth >= max(self.least_fall * self.length, self.depth)

    @property
    def start_level(self) -> float:
        """Of its bed at the sill: its depth below that, or the sill's own level, where its sides
        are banks and its water stands back over the sill. [m]"""
        return self.sill - self.depth if self.begins_below else self.sill

    @property
    def slope(self) -> float:
        """Of its bed. [m/m]"""
        return (self.start_level - self.end_level) / self.length

    @property
    def gathers(self) -> float:
        """Length of the trench along the sill's foot, the furrow's own mouth left out. [m]"""
        return max(self.sill_length - self.width, 0.0)

    @property
    def end_level(self) -> float:
        """Of its bed at the taker: the rim, or the sill's own level where the rim is higher. [m]"""
        return min(self.rim, self.sill)

    def bed(self, station: float | FloatArray) -> Any:
        """Level of its bed: evenly down from its start to its end. [m]"""
        share = np.asarray(station) / self.length
        found = self.start_level + share * (self.end_level - self.start_level)
        return float(found) if np.ndim(found) == 0 else found

    @property
    def cuts(self) -> FloatArray:
        """Ground over the bed at each place; below 0 where the bed lies on a bank. [m]"""
        found: FloatArray = self.ground - np.asarray(self.bed(self.stations))
        return found

    @property
    def deepest(self) -> tuple[float, float]:
        """Where the ground stands highest over the bed, and by how much. [m]"""
        at = int(np.argmax(self.cuts))
        return float(self.stations[at]), float(self.cuts[at])

    @property
    def lowest(self) -> tuple[float, float]:
        """Where the ground lies lowest to the bed, and by how much (below 0: under it). [m]"""
        at = int(np.argmin(self.cuts))
        return float(self.stations[at]), float(self.cuts[at])

    @property
    def section(self) -> FloatArray:
        """Depth that is dug, or banked, at each place. [m]"""
        return np.maximum(np.abs(self.cuts), self.depth)

    @property
    def earth(self) -> float:
        """Earth dug in the ground for it and its trench, or heaped under it in a low place. [m3]"""
        return self.earth_on_the_way + self.width * self.depth * self.gathers

    @property
    def earth_on_the_way(self) -> float:
        """Of that earth, what is not of the trench along the sill. [m3]"""
        return float(self.width * np.trapezoid(self.section, self.stations))

    def topsoil(self, deep: float) -> float:
        """Of that earth, what lies in the uppermost `deep` metres. [m3]"""
        along = float(np.trapezoid(np.minimum(self.section, deep), self.stations))
        return self.width * (along + self.gathers * min(self.depth, deep))

    @property
    def high_points(self) -> list[float]:
        """Stations between the ends where the ground is highest and deeper to dig than the least
        depth. [m]"""
        z, cuts = self.ground, self.cuts
        return [float(self.stations[i]) for i in range(1, len(z) - 1)
                if z[i] > z[i - 1] and z[i] >= z[i + 1] and cuts[i] > self.depth]


def furrow_line(sill: tuple[float, float], to: tuple[float, float], own: Any, taker: Any
                ) -> FloatArray:
    """The way of a furrow: round its own work's water where that lies between, else straight.

    Parameters
    ----------
    sill, to : (float, float)
        Where the water leaves, and the place in the taker that it is led to. [m]
    own, taker : shapely geometry
        Of the two works; the furrow ends where it meets the taker's.

    Returns
    -------
    line : float64, shape (points, 2)
        [m]
    """
    points = [sill, to]
    straight = LineString(points)
    if own.area:
        # A sill stands on its work's edge, which is drawn by straight pieces.
        edge = own.exterior if own.geom_type == "Polygon" else own.convex_hull.exterior
        inside = straight.intersection(own)
        if inside.length > SHORTEST:
            leaves = max((straight.project(Point(at)) for part in
                          getattr(inside, "geoms", [inside]) for at in part.coords), default=0.0)
            points = [*_round(edge, Point(sill), straight.interpolate(leaves)), to]
    line = LineString([sill, *points[1:]])
    met = line.intersection(taker)
    if not met.is_empty:
        first = min(line.project(Point(at)) for part in getattr(met, "geoms", [met])
                    for at in (part.exterior if part.geom_type == "Polygon" else part).coords)
        line = substring(line, 0.0, max(first, 1e-9))
    return np.asarray(line.coords, np.float64)[:, :2]


def _round(edge: LineString, start: Point, end: Point) -> list[tuple[float, float]]:
    """The shorter way along a closed edge between two of its points."""
    a, b = sorted((edge.project(start), edge.project(end)))
    ways = [list(substring(edge, a, b).coords),
            [*substring(edge, b, edge.length).coords, *substring(edge, 0.0, a).coords]]
    way = min(ways, key=lambda found: LineString(found).length)
    near = Point(way[0]).distance(start) <= Point(way[-1]).distance(start)
    return [(float(x), float(y)) for x, y, *_ in (way if near else way[::-1])]


def furrow(line: FloatArray, height_at: Any, sill: float, rim: float, width: float, depth: float,
           least_fall: float) -> Furrow | None:
    """A furrow along a line; None where the works lie so close that none is needed.

    Parameters
    ----------
    height_at : callable
        Gives the ground at east and north. [m]
    """
    way = LineString(line)
    if way.length < SHORTEST:
        return None
    count = max(int(np.ceil(way.length / APART - 1e-9)), 1)
    stations = np.linspace(0.0, way.length, count + 1)
    x, y = points_along(np.asarray(line, np.float64), stations).T
    ground = np.asarray(height_at(x, y), np.float64)
    straight = sill + stations / way.length * (min(rim, sill) - sill)
    ground = np.where(np.isfinite(ground), ground, straight)  # where nothing is known, none is dug
    return Furrow(np.asarray(line, np.float64), stations, ground, sill, rim, width, depth,
                  least_fall)
