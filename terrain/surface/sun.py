"""Direct sun on sloping ground beside level ground, from the sun's path alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

#: Sun's power above the air on a surface that faces it: FAO 56, 1998, eq. 21. [MJ/m2 min]
SOLAR_CONSTANT = 0.0820
#: Days of a year.
DAYS = np.arange(1, 366)
#: So many slopes are worked at a time, lest all days of a large raster fill the memory.
AT_ONCE = 20_000


def declination(day: ArrayLike) -> FloatArray:
    """Declination of the sun on a day of the year: FAO 56, 1998, eq. 24. [rad]"""
    return np.asarray(0.409 * np.sin(2 * np.pi * np.asarray(day, float) / 365 - 1.39))


def nearness(day: ArrayLike) -> FloatArray:
    """Inverse relative distance of the earth from the sun: FAO 56, 1998, eq. 23. [-]"""
    return np.asarray(1 + 0.033 * np.cos(2 * np.pi * np.asarray(day, float) / 365))


def sunset(latitude: ArrayLike, day: ArrayLike) -> FloatArray:
    """Hour angle of the sunset on level ground: FAO 56, 1998, eq. 25. [rad]

    0 where the sun does not rise that day, and half a turn where it does not set.

    Parameters
    ----------
    latitude : degrees, below 0 south of the equator
    """
    tangents = np.tan(np.radians(np.asarray(latitude, float))) * np.tan(declination(day))
    return np.asarray(np.arccos(np.clip(-tangents, -1.0, 1.0)))


def daily_sun(slope: ArrayLike, aspect: ArrayLike, latitude: float, day: ArrayLike) -> FloatArray:
    """Sun of a day above the air on a plane, on each m2 of the plane itself. [MJ/m2]

    Parameters
    ----------
    slope : broadcasts with `aspect` and `day`
        0 or more. [m/m]
    aspect : same
        Bearing that the slope faces, clockwise from north; of no matter on level ground. [degrees]
    latitude : float
        Below 0 south of the equator. [degrees]
    day : same
        Of the year, 1 to 365.

    Returns
    -------
    sun : broadcast shape
        NaN where the slope or the aspect of a slope is not known.

    Raises
    ------
    ValueError
        If the latitude is beyond a pole.

    Notes
    -----
    The cosine of the angle between the sun and the plane's normal is a + b cos w + c sin w over
    the hour angle w [1]_.  It is integrated in closed form over all of the day in which it is
    above 0 while the sun stands above the level horizon; of steep slopes that may be two parts of
    the day, as [2]_ says.  Level ground gives eq. 21 of [3]_.

    Left out are air and cloud, light from the sky and from the ground about, and the shade of
    hills, trees and houses.

    References
    ----------
    .. [1] Duffie & Beckman, Solar Engineering of Thermal Processes, eq. 1.6.2, from memory.
    .. [2] Allen, Trezza & Tasumi, Analytical integrated functions for daily solar radiation on
       slopes, Agricultural and Forest Meteorology 139, 2006, 55-73.
    .. [3] Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998.
    """
    if not -90 <= latitude <= 90:
        raise ValueError(f"a latitude of {latitude:g} degrees is beyond a pole")
    tilt = np.arctan(np.asarray(slope, float))
    bearing = np.where(tilt == 0, 0.0, np.radians(np.asarray(aspect, float)))
    day = np.asarray(day, float)
    place, sun = np.radians(latitude), declination(day)
    up, north = np.cos(tilt), np.sin(tilt) * np.cos(bearing)
    east = np.sin(tilt) * np.sin(bearing)
    constant = np.sin(sun) * (np.sin(place) * up + np.cos(place) * north)
    noon = np.cos(sun) * (np.cos(place) * up - np.sin(place) * north)
    evening = -np.cos(sun) * east
    # The cosine is a + R cos(w - best): above 0 within `half` of `best`, the plane's own noon.
    swing = np.hypot(noon, evening)
    best = np.arctan2(evening, noon)
    half = np.arccos(np.clip(-constant / np.maximum(swing, 1e-12), -1.0, 1.0))
    ends = sunset(latitude, day)
    total = np.zeros(np.broadcast(constant, swing).shape)
    for turn in (-2 * np.pi, 0.0, 2 * np.pi):
        start = np.clip(best - half + turn, -ends, ends)
        end = np.clip(best + half + turn, start, ends)
        total = total + (constant * (end - start) + noon * (np.sin(end) - np.sin(start))
                         - evening * (np.cos(end) - np.cos(start)))
    return np.asarray(24 * 60 / (2 * np.pi) * SOLAR_CONSTANT * nearness(day) * total)


def sun_ratio(slope: ArrayLike, aspect: ArrayLike, latitude: float) -> FloatArray:
    """A year's direct sun on sloping ground over that on level ground there. [-]

    Parameters
    ----------
    slope : any shape
        0 or more. [m/m]
    aspect : same shape
        Bearing that the slope faces, clockwise from north. [degrees]
    latitude : float
        Below 0 south of the equator. [degrees]

    Returns
    -------
    ratio : same shape
        On a m2 of the slope itself; NaN where slope or aspect is not known.

    Raises
    ------
    ValueError
        If the latitude is beyond a pole.

    Notes
    -----
    All days of the year summed, by `daily_sun`: clear sky without any air, no hill that shades.
    Real ground differs less between its sides, as cloud and the light of the sky fall on all of
    them alike, and more where a hill stands before the sun.
    """
    slope, aspect = np.broadcast_arrays(np.asarray(slope, float), np.asarray(aspect, float))
    level = float(daily_sun(0.0, 0.0, latitude, DAYS).sum())
    flat_slope, flat_aspect = slope.ravel(), aspect.ravel()
    found = np.empty(flat_slope.size)
    for first in range(0, flat_slope.size, AT_ONCE):
        part = slice(first, first + AT_ONCE)
        found[part] = daily_sun(flat_slope[part, None], flat_aspect[part, None], latitude,
                                DAYS).sum(axis=1) / level
    return found.reshape(slope.shape)
