"""How long water takes to arrive: by segments of its way, or by the watershed lag equation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.resistance import Resistance

#: Sheet flow gives way to shallow concentrated flow within this length; USDA NRCS, National
#: Engineering Handbook Part 630, ch. 15, 2010 (100 ft). [m]
LONGEST_SHEET = 30.48
#: Flatter reaches are reckoned at this slope: the equations send water nowhere on level ground;
#: common practice, no source. [m/m]
LEAST_SLOPE = 0.001
#: Lag over time of concentration; NEH 630, ch. 15, 2010, eq. 15-3.
LAG_SHARE = 0.6
#: Peaks are reckoned with no shorter time of concentration; USDA SCS, TR-55, 2nd ed., 1986, ch. 3
#: (0.1 h). [h]
LEAST_CONCENTRATION = 0.1
#: Pieces of the way shorter than this are counted to the piece before; common practice, no
#: source. [m]
SHORT = 5.0


def lag_hours(longest_path: float, curve_number: float, slope: float) -> float:
    """Watershed lag: from the middle of the rain excess to the peak of the runoff. [h]

    Parameters
    ----------
    longest_path : float
        Length of the longest flow path. [m]
    curve_number : float
        Mean of the catchment, 50 to 95 in the data behind the equation. [-]
    slope : float
        Mean slope of the ground in the catchment. [m/m]

    Raises
    ------
    ValueError
        If length or slope is not above 0, or the curve number lies outside (0, 100].

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook Part 630, ch. 15, 2010, eq. 15-4a (in feet,
       inches and percent; after Mockus 1961).
    """
    if not 0 < curve_number <= 100:
        raise ValueError(f"curve number {curve_number:g} is outside 0 to 100")
    if longest_path <= 0 or slope <= 0:
        raise ValueError("the path's length and slope must be above 0")
    retention_in = 1000.0 / curve_number - 10.0
    return float((longest_path / 0.3048) ** 0.8 * (retention_in + 1.0) ** 0.7
                 / (1900.0 * (100.0 * slope) ** 0.5))


def sheet_hours(length: float, slope: float, roughness: float, two_year_rain: float) -> float:
    """Travel time of sheet flow. [h]

    Parameters
    ----------
    length : float
        [m]
    slope : float
        [m/m]
    roughness : float
        Manning's n for sheet flow. [s/m^(1/3)]
    two_year_rain : float
        The 2-year 24-hour rain. [mm]

    Raises
    ------
    ValueError
        If one of them is not above 0.

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 3-3: 0.007 (n L)^0.8 / (P2^0.5 s^0.4), in ft and in.
    """
    if min(length, slope, roughness, two_year_rain) <= 0:
        raise ValueError("length, slope, roughness and rain must be above 0")
    found: float = (0.007 * (roughness * length / 0.3048) ** 0.8
                    / ((two_year_rain / 25.4) ** 0.5 * slope**0.4))
    return found


def shallow_velocity(slope: float, factor: float) -> float:
    """Velocity of shallow concentrated flow, k sqrt(s). [m/s]

    Parameters
    ----------
    slope : float
        [m/m]
    factor : float
        k of the surface. [ft/s]

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook Part 630, ch. 15, 2010, Table 15-3.
    """
    found: float = 0.3048 * factor * slope**0.5
    return found


def channel_velocity(slope: float, roughness: float, radius: float) -> float:
    """Velocity in a channel by Manning's equation. [m/s]

    Parameters
    ----------
    slope : float
        [m/m]
    roughness : float
        Manning's n. [s/m^(1/3)]
    radius : float
        Hydraulic radius. [m]

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 3-4.
    """
    found: float = radius ** (2 / 3) * slope**0.5 / roughness
    return found


@dataclass(frozen=True)
class Reach:
    """A piece of the water's way.

    Attributes
    ----------
    kind : str
        "sheet", "shallow" (shallow concentrated) or "channel".
    surface : str
        The published surface whose coefficient was taken.
    length : float
        [m]
    slope : float
        [m/m]
    hours : float
        Travel time. [h]
    """

    kind: str
    surface: str
    length: float
    slope: float
    hours: float

    @property
    def velocity(self) -> float:
        """[m/s]"""
        return self.length / (3600 * self.hours)


@dataclass(frozen=True)
class Timing:
    """What is said of the way, for the whole site.

    Attributes
    ----------
    two_year_rain : float or None
        2-year 24-hour rain; without it nothing is reckoned by segments. [mm]
    by : {"segments", "lag"} or None
        The way to take; None takes segments where the 2-year rain is known.
    channel_from : float
        Area above which the path runs in a channel. [m2]
    channel_roughness : float
        Manning's n. [s/m^(1/3)]
    channel_radius : float
        Hydraulic radius. [m]
    """

    two_year_rain: float | None = None
    by: str | None = None
    channel_from: float = 20_000.0
    channel_roughness: float = 0.035
    channel_radius: float = 0.15


def reaches_along(distance: NDArray[np.float64], height: NDArray[np.float64],
                  area: NDArray[np.float64], surfaces: Sequence[Resistance], timing: Timing
                  ) -> tuple[Reach, ...]:
    """Cut a flow path into sheet, shallow concentrated and channel flow.

    Parameters
    ----------
    distance : float64, shape (n,)
        Along the path, 0 at the divide. [m]
    height : float64, shape (n,)
        Never rising. [m]
    area : float64, shape (n,)
        Ground that drains to each point. [m2]
    surfaces : sequence of n Resistance
        What covers the way.
    timing : Timing
        With a 2-year rain.

    Returns
    -------
    reaches : tuple of Reach
        Sheet flow over the first 30 m (100 ft) at most; shallow concentrated flow, a reach for
        each surface; channel flow from where `timing.channel_from` drains.  Slopes are drop over
        length of each reach, 0.1 % at least.

    Raises
    ------
    ValueError
        If `timing` has no 2-year rain.

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, ch. 3; USDA NRCS, National Engineering Handbook Part
       630, ch. 15, 2010.
    """
    if timing.two_year_rain is None:
        raise ValueError("travel time by segments needs the 2-year 24-hour rain")
    if distance.size < 2:
        return ()
    end = float(distance[-1])
    wet = np.flatnonzero(area >= timing.channel_from)
    channel = float(distance[wet[0]]) if wet.size else end
    sheet = min(LONGEST_SHEET, channel, end)
    found = []
    if sheet > 0:
        slope = _slope(distance, height, 0.0, sheet)
        over = np.clip(np.minimum(distance[1:], sheet) - distance[:-1], 0.0, None)
        rough = float(sum(part * s.sheet_n for part, s in zip(over, surfaces[1:], strict=True))
                      / over.sum())
        longest = surfaces[1 + int(np.argmax(over))]
        crossed = {s.sheet for part, s in zip(over, surfaces[1:], strict=True) if part > 0}
        name = longest.sheet + (" and others" if len(crossed) > 1 else "")
        found.append(Reach("sheet", name, sheet, slope,
                           sheet_hours(sheet, slope, rough, timing.two_year_rain)))
    for first, last, surface in _runs(distance, surfaces, sheet, channel):
        slope = _slope(distance, height, first, last)
        speed = shallow_velocity(slope, surface.shallow_k)
        found.append(Reach("shallow", surface.shallow, last - first, slope,
                           (last - first) / speed / 3600))
    if channel < end:
        slope = _slope(distance, height, channel, end)
        speed = channel_velocity(slope, timing.channel_roughness, timing.channel_radius)
        found.append(Reach("channel", f"Manning's n {timing.channel_roughness:g}", end - channel,
                           slope, (end - channel) / speed / 3600))
    return tuple(found)


def _slope(distance: NDArray[np.float64], height: NDArray[np.float64], first: float, last: float
           ) -> float:
    top, foot = np.interp([first, last], distance, height)
    return max(float(top - foot) / (last - first), LEAST_SLOPE)


def _runs(distance: NDArray[np.float64], surfaces: Sequence[Resistance], first: float,
          last: float) -> list[tuple[float, float, Resistance]]:
    """Stretches of one surface between two distances; short ones go with the one before."""
    runs: list[tuple[float, float, Resistance]] = []
    for start, end, surface in zip(distance[:-1], distance[1:], surfaces[1:], strict=True):
        a, b = max(float(start), first), min(float(end), last)
        if b <= a:
            continue
        if runs and runs[-1][2].shallow == surface.shallow:
            runs[-1] = (runs[-1][0], b, surface)
        else:
            runs.append((a, b, surface))
    merged: list[tuple[float, float, Resistance]] = []
    for run in runs:
        if merged and (run[1] - run[0] < SHORT or merged[-1][2].shallow == run[2].shallow):
            merged[-1] = (merged[-1][0], run[1], merged[-1][2])
        else:
            merged.append(run)
    return merged
