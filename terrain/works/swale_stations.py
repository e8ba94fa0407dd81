"""Stations along a swale: the real ground at each, and the earth its section takes there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.inputs.dem import Dem
from terrain.works.cross_section import Berm, Earth, Section, earth_across, earth_at_sill
from terrain.works.polyline import points_along

#: The slope across a line is that of the ground between points this far to each side. [m]
ACROSS = 2.0
#: A station where the ground is nearly as steep as a side is reckoned with this share of it.
STEEPEST = 0.9
#: Where the berm is left out nowhere.
NO_GAP = (np.inf, -np.inf)


@dataclass(frozen=True)
class Station:
    """A station of a swale.

    Attributes
    ----------
    chainage : float
        Distance along the line from its start. [m]
    x, y : float
        On the line. [m]
    ground : float
        The raster's ground there. [m]
    cross_slope : float
        Rise of the ground uphill, across the line; below 0 where it falls. [m/m]
    cut, berm : float
        Areas of the cut and of the berm as built; within the sill of the earth at its lip. [m2]
    cut_width : float
        Of the cut on the ground. [m]
    marks : tuple of str
        What it stands for: end, sill, check; none for one between.
    too_steep : bool
        The ground was nearly as steep as the sides, and less was reckoned with.
    """

    chainage: float
    x: float
    y: float
    ground: float
    cross_slope: float
    cut: float
    berm: float
    cut_width: float
    marks: tuple[str, ...] = ()
    too_steep: bool = False


def chainages(length: float, spacing: float, marked: Iterable[tuple[float, str]]
              ) -> list[tuple[float, tuple[str, ...]]]:
    """Evenly spaced chainages with both ends, and marked ones among them. [m]

    A marked place takes the place of an even one within a tenth of the spacing.
    """
    count = max(int(np.ceil(length / spacing - 1e-9)), 1)
    found: list[tuple[float, tuple[str, ...]]] = [(0.0, ("end",)), (length, ("end",))]
    for place, mark in sorted(marked):
        place = min(max(place, 0.0), length)
        same = next((i for i, (at, _) in enumerate(found) if abs(at - place) < 0.01), None)
        if same is None:
            found.append((place, (mark,)))
        else:
            found[same] = (found[same][0], (*found[same][1], mark))
    taken = [at for at, _ in found]
    found += [(length * i / count, ()) for i in range(1, count)
              if min(abs(length * i / count - at) for at in taken) > spacing / 10]
    return sorted(found)


def stations_of(dem: Dem, line: NDArray[np.float64], level: float, section: Section, berm: Berm,
                at: list[tuple[float, tuple[str, ...]]], otherwise: float,
                gap: tuple[float, float] = NO_GAP) -> tuple[Station, ...]:
    """The ground, and the areas of cut and berm, at each chainage of a line.

    Parameters
    ----------
    level : float
        Of the sill. [m]
    at : list
        As `chainages` gives it.
    otherwise : float
        Cross-slope where the ground beside the line is not known. [m/m]
    gap : (float, float)
        Chainages between which the berm is left out along the sill. [m]
    """
    side = across(dem, line, np.array([place for place, _ in at]))
    slopes = np.where(np.isfinite(side.rise), side.rise, otherwise)
    most = STEEPEST / max(section.side_slope, berm.side_slope)
    found = []
    for i, (chainage, marks) in enumerate(at):
        above = float(side.ground[i]) - level if np.isfinite(side.ground[i]) else 0.0
        bare = Station(chainage, float(side.x[i]), float(side.y[i]), level + above,
                       float(slopes[i]), 0.0, 0.0, 0.0, marks, abs(float(slopes[i])) > most)
        earth = earth_at(bare, level, section, berm, gap[0] < chainage < gap[1])
        found.append(replace(bare, cut=earth.cut, berm=earth.berm, cut_width=earth.cut_width))
    return tuple(found)


def earth_at(station: Station, level: float, section: Section, berm: Berm, at_sill: bool) -> Earth:
    """Earth at a station, on its berm's stretch or on its sill's."""
    most = STEEPEST / max(section.side_slope, berm.side_slope)
    slope = float(np.clip(station.cross_slope, -most, most))
    if not at_sill:
        return earth_across(section, berm, station.ground - level, slope)
    wide = berm.top + 2 * berm.side_slope * berm.height
    return earth_at_sill(section, wide, berm.side_slope, station.ground - level, slope)


@dataclass(frozen=True)
class Across:
    """The ground along a line, and across it.

    Attributes
    ----------
    x, y, ground : float64, shape (n,)
        On the line, and the raster's ground there. [m]
    uphill_x, uphill_y : float64, shape (n,)
        Unit vectors square to the line, uphill.
    rise : float64, shape (n,)
        Of the ground that way; NaN where it is not known. [m/m]
    left : bool
        Whether uphill is on the left.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    ground: NDArray[np.float64]
    uphill_x: NDArray[np.float64]
    uphill_y: NDArray[np.float64]
    rise: NDArray[np.float64]
    left: bool


def across(dem: Dem, line: NDArray[np.float64], at: NDArray[np.float64]) -> Across:
    """Measure the ground along a line, and across it, at chainages. [m]"""
    x, y = points_along(line, at).T
    x0, y0 = points_along(line, np.maximum(at - 1.0, 0.0)).T
    x1, y1 = points_along(line, np.minimum(at + 1.0, LineString(line).length)).T
    long = np.hypot(x1 - x0, y1 - y0)
    left_x, left_y = -(y1 - y0) / long, (x1 - x0) / long
    apart = max(ACROSS, 1.5 * dem.cell)
    rise = (dem.height_at(x + apart * left_x, y + apart * left_y)
            - dem.height_at(x - apart * left_x, y - apart * left_y)) / (2 * apart)
    known = rise[np.isfinite(rise)]
    sign = -1.0 if known.size and np.median(known) < 0 else 1.0
    return Across(x, y, dem.height_at(x, y), sign * left_x, sign * left_y, sign * rise, sign > 0)


@dataclass(frozen=True)
class Volumes:
    """Volumes of cut and berm along a line, by two rules. [m3]

    Attributes
    ----------
    cut, berm : float
        By the prismoidal rule, with a section measured in the middle of each stretch.
    cut_end_areas, berm_end_areas : float
        By average end areas.
    """

    cut: float
    berm: float
    cut_end_areas: float
    berm_end_areas: float


def middles(at: list[tuple[float, tuple[str, ...]]]) -> list[tuple[float, tuple[str, ...]]]:
    """Chainages in the middle between each two. [m]"""
    return [((start + end) / 2, ()) for (start, _), (end, _) in pairwise(at)]


def volumes_of(stations: tuple[Station, ...], between: tuple[Station, ...], level: float,
               section: Section, berm: Berm, gap: tuple[float, float] = NO_GAP) -> Volumes:
    """Volumes of cut and berm along the chainage.

    Parameters
    ----------
    between : tuple of Station
        In the middle of each two.
    level, section, berm, gap
        As of `stations_of`, which gave the stations by the same ones.
    """
    def areas(station: Station, at_sill: bool) -> NDArray[np.float64]:
        if at_sill == (gap[0] < station.chainage < gap[1]):
            return np.array([station.cut, station.berm])
        earth = earth_at(station, level, section, berm, at_sill)  # where the stretch ends
        return np.array([earth.cut, earth.berm])

    sums = np.zeros((2, 2))
    for start, middle, end in zip(stations[:-1], between, stations[1:], strict=True):
        at_sill = gap[0] < middle.chainage < gap[1]
        first, half, last = (areas(station, at_sill) for station in (start, middle, end))
        long = end.chainage - start.chainage
        sums[0] += long / 6 * (first + 4 * half + last)
        sums[1] += long / 2 * (first + last)
    return Volumes(*(float(v) for v in sums.ravel()))
