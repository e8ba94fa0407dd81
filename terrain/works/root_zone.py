"""The soil that a tree's roots reach: a reservoir that rain fills and the tree empties.

References
----------
.. [1] Allen, Pereira, Raes & Smith, FAO Irrigation and Drainage Paper 56, 1998, ch. 8: total
   available water, eq. 82; readily available water, eq. 83; stress, eq. 84; daily balance, eq. 85;
   light rain that evaporates at once. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.surface.kernels import kernel
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: Rain of a day under this share of its reference evapotranspiration does not reach the roots.
LIGHT_RAIN = 0.2


#: Water between field capacity and wilting, least and most, of the textures that FAO 56, 1998,
#: Table 19, lists; from memory. [mm in a metre of soil]
AVAILABLE = {"sand": (50.0, 110.0), "loamy sand": (60.0, 120.0), "sandy loam": (110.0, 150.0),
             "loam": (130.0, 180.0), "silt loam": (130.0, 190.0),
             "silty clay loam": (130.0, 180.0), "silty clay": (130.0, 190.0),
             "clay": (120.0, 200.0)}


def available_water(texture: str | None, rules: Rulebook) -> float:
    """Water that a metre of soil holds for roots: the middle of its texture's range, or the rule
    where no texture is known, it is not in the table, or the owner states the rule. [mm]"""
    if texture not in AVAILABLE or rules.overruled("available water"):
        return rules["available water"]
    return sum(AVAILABLE[texture]) / 2


def root_zone_room(area: float, rules: Rulebook, texture: str | None = None) -> float:
    """What the soil under an area holds between field capacity and wilting, as deep as roots go.

    FAO 56, eq. 82: depth of roots times available water, over the area. [m3]
    """
    return area * rules["tree root depth"] * available_water(texture, rules) / 1000


def effective_rain(rain: ArrayLike, evapotranspiration: ArrayLike) -> FloatArray:
    """The rain of each day that reaches the roots: all of it but light showers. [mm]"""
    rain = np.asarray(rain, np.float64)
    return np.where(rain < LIGHT_RAIN * np.asarray(evapotranspiration, np.float64), 0.0, rain)


@kernel
def _live(want: NDArray[np.float64], gains: NDArray[np.float64], room: float, share: float,
          held: float, gets: NDArray[np.float64], drained: NDArray[np.float64],
          holds: NDArray[np.float64]) -> float:
    """Water of each day first fills the soil, then the tree takes from it; rates in m3 a day."""
    readily = (1.0 - share) * room
    for day in range(want.size):
        water = held + gains[day]
        over = max(water - room, 0.0)
        water -= over
        stress = 1.0 if water >= readily else water / readily
        taken = min(stress * want[day], water)
        drained[day] = over
        gets[day] = taken
        held = water - taken
        holds[day] = held
    return held


@dataclass(frozen=True)
class RootZone:
    """A tree's root zone over days; each array has one value a day. [m3]

    Attributes
    ----------
    want, gains : float64, shape (days,)
        What the tree would use with all the water it likes; what soaks into its soil.
    gets, drained, held : float64, shape (days,)
        What it takes; what sinks below its roots; what is left at the day's end.
    start : float
        Held before the first day.
    """

    want: FloatArray
    gains: FloatArray
    gets: FloatArray
    drained: FloatArray
    held: FloatArray
    start: float


def live(want: ArrayLike, gains: ArrayLike, room: float, depletion: float) -> RootZone:
    """Let a tree live from its root zone.

    The zone starts as wet as the same days leave it at their end.

    Parameters
    ----------
    want, gains : (days,)
        [m3]
    room : float
        What it holds. [m3]
    depletion : float
        Share of the room that the tree takes without stress; with less left, it takes the less
        the emptier the zone is (FAO 56, eq. 84). [-]

    Raises
    ------
    ValueError
        If the room is not above 0, or the share not between 0 and 1.
    """
    if not room > 0 or not 0 < depletion < 1:
        raise ValueError(f"a root zone of {room:g} m3 of which {depletion:g} is readily available")
    want, gains = np.asarray(want, np.float64), np.asarray(gains, np.float64)
    gets, drained, held = (np.zeros(want.size) for _ in range(3))
    start = _live(want, gains, room, depletion, 0.0, gets, drained, held)
    _live(want, gains, room, depletion, start, gets, drained, held)
    return RootZone(want, gains, gets, drained, held, float(start))


def longest_run(days: ArrayLike) -> tuple[int, int]:
    """The most days in a row that are marked.

    Returns
    -------
    first, count : int
        Index of the first of them, and how many; 0 and 0 where there is none.
    """
    marks = np.concatenate([[False], np.asarray(days, bool), [False]])
    turns = np.flatnonzero(marks[1:] != marks[:-1])
    runs = turns[1::2] - turns[::2]
    if not runs.size:
        return 0, 0
    longest = int(np.argmax(runs))
    return int(turns[::2][longest]), int(runs[longest])
