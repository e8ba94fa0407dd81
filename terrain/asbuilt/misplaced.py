"""Why a surveyed point may lie far from every line: columns exchanged, or in another unit."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from terrain.inputs.asbuilt_points import SurveyedPoint
from terrain.inputs.frame import METRES, Frame

Pair = tuple[float, float]

#: Read otherwise, a point this close to a line shows how it was meant. [m]
MEANT = 1000.0
OTHERWISE = "Correct its place and coordinate system, or name its work and mark"


def remedy_of_place(point: SurveyedPoint, frame: Frame, away: Callable[[Pair], float]) -> str:
    """What to do about a point that lies too far off: the slip that would explain it, if any does.

    Parameters
    ----------
    away : callable
        How far a point of the working frame lies from the nearest line that it may be of. [m]
    """
    if point.at is None:
        return OTHERWISE
    for place, remedy in _readings(point.at, point.lonlat, frame):
        if np.isfinite(place).all() and away(place) <= MEANT:
            return remedy
    return OTHERWISE


def _readings(at: Pair, lonlat: bool, frame: Frame) -> Iterator[tuple[Pair, str]]:
    """Other ways to read a place, and what to do where that is how it was meant."""
    def degrees(lon: float, lat: float) -> Pair | None:
        if frame.working is None or not (abs(lon) <= 180 and abs(lat) < 90):
            return None
        x, y = frame.from_lonlat(lon, lat)
        return float(x), float(y)

    def plane(east: float, north: float) -> Pair:
        x, y = frame.to_working(east, north)
        return float(x), float(y)

    one, other = at
    if lonlat:
        found = degrees(other, one)
        if found is not None:
            yield found, "Its longitude and latitude look exchanged: exchange the two columns"
        return
    yield plane(other, one), "Its easting and northing look exchanged: exchange the two columns"
    for lon, lat in ((one, other), (other, one)):
        found = degrees(lon, lat)
        if found is not None:
            yield found, "It looks like degrees: call the columns lon and lat"
    own = (frame.metres_per_unit if frame.source is None or frame.source.is_geographic else
           frame.source.axis_info[0].unit_conversion_factor)
    for unit, metres in METRES.items():
        if abs(metres - own) > 1e-9:
            yield plane(one * metres / own, other * metres / own), (
                f"It looks like {'metres' if unit == 'm' else unit}, and the raster's coordinates "
                f"are in {_called(own)}: convert it")


def _called(metres: float) -> str:
    key = min(METRES, key=lambda unit: abs(METRES[unit] - metres))
    return "metres" if key == "m" else key
