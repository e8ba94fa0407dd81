"""A berm's end turned uphill: how far it runs, how high it stands at its tip, its earth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.cross_section import Berm, area_on_slope, simpson
from terrain.works.rules import Rulebook
from terrain.works.swale_stations import STEEPEST, across

FloatArray = NDArray[np.float64]

#: Ground as high as the crest is sought so far apart. [m]
STEP = 0.1
#: As many places along a line tell which side of it is uphill.
PLACES = 40


@dataclass(frozen=True)
class Return:
    """A berm's end turned uphill, to ground at the level of its crest or as far as it runs at most.

    Attributes
    ----------
    beyond : float
        Of its ridge from the end of the channel, and of the corner downhill from the line. [m]
    uphill : float
        How far uphill of the line it runs. [m]
    volume : float
        From the end of the channel on. [m3]
    tip : float
        Of its crest over the ground at its tip; 0 where that is as high as the crest. [m]
    """

    beyond: float
    uphill: float
    volume: float
    tip: float = 0.0

    def slope_under(self, berm: Berm) -> float:
        """The ground's rise uphill under it. [m/m]"""
        return (berm.height - self.tip) / self.uphill if self.uphill else 0.0


def return_end(berm: Berm, ground_slope: float, longest: float = math.inf) -> Return:
    """A berm's end turned uphill, in closed form on ground that slopes evenly.

    Parameters
    ----------
    berm : Berm
        As built.
    ground_slope : float
        Rise of the ground uphill, across the line, 0 or more. [m/m]
    longest : float
        How far uphill of the line it runs at most. [m]

    Notes
    -----
    The berm goes on past the channel's end to its corner, a = z H + b / 2 beyond it, and turns
    uphill there.  Its height over the ground falls evenly from h = H + s a at the corner to e at
    its tip, 0 at H / s uphill of the line or what is left where it stops before: over the run l
    l (b (h + e) / 2 + z (h2 + h e + e2) / 3).  To that come a quarter of a turn about the ridge
    outside the corner and half a turn about its tip, less what both stretches count twice inside
    the corner; these are summed by Simpson's rule.

    Raises
    ------
    ValueError
        If the ground is level and nothing ends it.
    """
    side, half = berm.side_slope, berm.top / 2
    uphill = min(berm.height / ground_slope if ground_slope > 0 else math.inf, longest)
    if not math.isfinite(uphill):
        raise ValueError("level ground never comes up to a berm's crest")
    beyond = side * berm.height + half
    high = berm.height + ground_slope * beyond
    tip = max(berm.height - ground_slope * uphill, 0.0)
    straight = beyond * area_on_slope(berm.height, berm.top, side, ground_slope)
    falling = (uphill + beyond) * (berm.top * (high + tip) / 2
                                   + side * (high**2 + high * tip + tip**2) / 3)

    def outside(height: float, fall: float) -> float:
        out = max(height + half / side, 0.0) / (1 / side - fall)
        if out < half:  # the ground comes up through its flat top
            out = height / -fall
            return height * out**2 / 2 + fall * out**3 / 3
        return (height * out**2 / 2 + fall * out**3 / 3
                - ((out**3 - half**3) / 3 - half * (out**2 - half**2) / 2) / side)

    def twice(away: float) -> float:
        over = high - max(away - half, 0.0) / side
        uphill = max(over - ground_slope * away, 0.0) * away
        if over <= 0:
            return uphill
        until = min(away, over / ground_slope) if ground_slope > 0 else away
        return uphill + over * until - ground_slope * until**2 / 2

    turn = [math.pi / 2 * i / 8 for i in range(9)]
    corner = simpson([outside(high, ground_slope * math.sin(t)) for t in turn], math.pi / 2)
    around = 2 * simpson([outside(tip, -ground_slope * math.cos(t)) for t in turn],
                         math.pi / 2) if tip > 0 else 0.0
    inside = simpson([twice(beyond * i / 64) for i in range(65)], beyond)
    return Return(beyond, uphill, straight + falling + corner + around - inside, tip)


def reach_uphill(dem: Dem, foot: FloatArray, uphill: FloatArray, level: float, berm: Berm,
                 longest: float) -> tuple[float, float]:
    """How far a ridge runs uphill to ground as high as its crest, and the slope that stands for it.

    Parameters
    ----------
    foot, uphill : float64, shape (2,)
        Of the ridge, beside the line, and a unit vector. [m]
    level : float
        Of the sill. [m]

    Returns
    -------
    slope : float
        Of even ground, as steep as a berm stands on at most, on which it reaches as far. [m/m]
    reach : float
        `longest` at most. [m]
    """
    at = np.append(np.arange(0.0, longest - 1e-9, STEP), longest)
    rise = dem.height_at(*(foot + np.outer(at, uphill)).T) - level
    most = STEEPEST / berm.side_slope
    high = np.flatnonzero(rise >= berm.height)
    if not high.size:
        known = np.flatnonzero(np.isfinite(rise) & (at > 0))
        last = known[-1] if known.size else -1
        slope = float(rise[last] / at[last]) if known.size else 0.0
        return min(max(slope, 0.0), most), longest
    first = int(high[0])
    if not first:
        return most, berm.height / most
    reach = float(at[first])
    if np.isfinite(rise[first - 1]):
        reach = float(np.interp(berm.height, rise[first - 1:first + 1], at[first - 1:first + 1]))
    return min(berm.height / reach, most), max(reach, berm.height / most)


def turned_ends(dem: Dem, line: FloatArray, level: float, berm: Berm, rules: Rulebook
                ) -> tuple[Return, Return]:
    """A berm's ends at the start and at the end of its line, on the raster's ground.

    Parameters
    ----------
    line : float64, shape (n, 2)
        [m]
    level : float
        Of the sill. [m]
    berm : Berm
        As built.
    """
    from shapely import LineString

    beside = across(dem, line, np.linspace(0.0, LineString(line).length, PLACES))
    beyond = berm.side_slope * berm.height + berm.top / 2
    made = []
    for place, outward in ((0, -1.0), (-1, 1.0)):
        up = np.array([beside.uphill_x[place], beside.uphill_y[place]])
        way = np.array([up[1], -up[0]]) * (1.0 if beside.left else -1.0)
        foot = np.array([beside.x[place], beside.y[place]]) + outward * beyond * way
        made.append(return_end(berm, *reach_uphill(dem, foot, up, level, berm,
                                                   rules["return end longest"])))
    return made[0], made[1]
