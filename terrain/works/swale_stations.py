"""Stations along a swale: the real ground at each, and the earth its section takes there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.inputs.dem import Dem
from terrain.works.cross_section import Berm, Section, earth_across
from terrain.works.store import integrated

#: The slope across a line is that of the ground between points this far to each side. [m]
ACROSS = 2.0
#: A station where the ground is nearly as steep as a side is reckoned with this share of it.
STEEPEST = 0.9


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
        Areas of the cut and of the berm as built. [m2]
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
                at: list[tuple[float, tuple[str, ...]]], otherwise: float) -> tuple[Station, ...]:
    """The ground, and the areas of cut and berm, at each chainage of a line.

    Parameters
    ----------
    level : float
        Of the sill. [m]
    at : list
        As `chainages` gives it.
    otherwise : float
        Cross-slope where the ground beside the line is not known. [m/m]
    """
    shape = LineString(line)
    where = np.array([place for place, _ in at])
    x, y = _points(shape, where)
    x0, y0 = _points(shape, np.maximum(where - 1.0, 0.0))
    x1, y1 = _points(shape, np.minimum(where + 1.0, shape.length))
    long = np.hypot(x1 - x0, y1 - y0)
    left_x, left_y = -(y1 - y0) / long, (x1 - x0) / long
    apart = max(ACROSS, 1.5 * dem.cell)
    rise = (dem.height_at(x + apart * left_x, y + apart * left_y)
            - dem.height_at(x - apart * left_x, y - apart * left_y)) / (2 * apart)
    uphill = -1.0 if np.nanmedian(rise) < 0 else 1.0
    slopes = np.where(np.isfinite(rise), uphill * rise, otherwise)
    ground = dem.height_at(x, y)
    most = STEEPEST / max(section.side_slope, berm.side_slope)
    found = []
    for i, (chainage, marks) in enumerate(at):
        slope = float(np.clip(slopes[i], -most, most))
        above = float(ground[i]) - level if np.isfinite(ground[i]) else 0.0
        earth = earth_across(section, berm, above, slope)
        found.append(Station(chainage, float(x[i]), float(y[i]), level + above, float(slopes[i]),
                             earth.cut, earth.berm, earth.cut_width, marks,
                             abs(float(slopes[i])) > most))
    return tuple(found)


def end_area_volumes(stations: tuple[Station, ...]) -> tuple[float, float]:
    """Volumes of cut and berm by average end areas along the chainage. [m3]"""
    at = np.array([station.chainage for station in stations])
    cut, berm = (np.array([getattr(station, what) for station in stations])
                 for what in ("cut", "berm"))
    return integrated(at, cut).capacity, integrated(at, berm).capacity


def _points(shape: LineString, at: NDArray[np.float64]
            ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    spots = [shape.interpolate(float(place)) for place in at]
    return np.array([p.x for p in spots]), np.array([p.y for p in spots])
