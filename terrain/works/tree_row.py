"""Trees in a row: along a drawn line, or below the toe of a swale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.cross_section import width_on_slope
from terrain.works.polyline import points_along
from terrain.works.rules import Rulebook
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import berm_height

FloatArray = NDArray[np.float64]


def stations(length: float, spacing: float | None, count: int | None) -> FloatArray:
    """Distances of the trees of a row from its start. [m]

    At `spacing` from the first end on, or `count` of them evenly from end to end; one alone
    stands in the middle.

    Raises
    ------
    ValueError
        If neither or both are given, or the spacing is more than the row is long.
    """
    if (spacing is None) == (count is None):
        raise ValueError("a row needs either a spacing or a count of its trees")
    if count is not None:
        return np.array([i * length / (count - 1) for i in range(count)] if count > 1 else
                        [length / 2])
    assert spacing is not None
    if spacing > length * (1 + 1e-9):
        raise ValueError(f"a spacing of {spacing:.1f} m is more than the row's {length:.1f} m")
    return np.array([i * spacing for i in range(math.floor(length / spacing + 1e-9) + 1)])


def toe_of_berm(route: SwaleLine, side_slope: float, rules: Rulebook, crest: float | None = None
                ) -> float:
    """How far downhill of its line a swale's berm reaches, as built for the usual head. [m]

    Parameters
    ----------
    crest : float, optional
        Level of the settled crest, where the owner fixes it. [m]
    """
    height = max(berm_height(route.level, rules["sill head"], rules, crest), 0.0)
    built = height * (1 + rules["berm settlement"])
    slope = min(route.cross_slope, 0.9 / side_slope)
    return width_on_slope(built, rules["berm top width"], side_slope, slope)


def below_swale(dem: Dem, route: SwaleLine, start: float, end: float, spacing: float | None,
                count: int | None, downhill: float) -> FloatArray:
    """Places in a row below a swale, `downhill` m from its line. [m]

    Parameters
    ----------
    start, end : float
        Chainages of the swale between which the row stands. [m]

    Returns
    -------
    places : float64, shape (trees, 2)

    Raises
    ------
    ValueError
        As `stations`; or if the line bends so sharply that there is no row beside it.
    """
    from shapely import LineString
    from shapely.ops import substring

    stretch = substring(LineString(route.line), start, end)
    sides = []
    for offset in (downhill, -downhill):
        moved = stretch.offset_curve(offset)
        if moved.geom_type == "LineString" and not moved.is_empty:
            if np.hypot(*(np.array(moved.coords[0]) - stretch.coords[0])) > np.hypot(
                    *(np.array(moved.coords[-1]) - stretch.coords[0])):
                moved = moved.reverse()
            heights = dem.height_at(*np.asarray(moved.coords)[:, :2].T)
            sides.append((float(np.nanmean(heights)), moved))
    if len(sides) < 2:
        raise ValueError("its line bends too sharply for a row beside it")
    row = min(sides, key=lambda side: side[0])[1]
    return _at(row, stations(row.length, spacing, count))


def along_line(points: Sequence[tuple[float, float]], spacing: float | None, count: int | None
               ) -> FloatArray:
    """Places in a row along a drawn line. [m]

    Raises
    ------
    ValueError
        As `stations`.
    """
    from shapely import LineString

    line = LineString(points)
    return _at(line, stations(line.length, spacing, count))


def nearest_gap(places: FloatArray) -> float:
    """Least distance between two trees of a row; endless for one alone. [m]"""
    gaps = np.hypot(*np.diff(places, axis=0).T)
    return float(gaps.min()) if gaps.size else math.inf


def _at(line: Any, distances: FloatArray) -> FloatArray:
    return points_along(np.asarray(line.coords)[:, :2], distances)
