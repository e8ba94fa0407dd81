"""Uses of a tank's water: how much a day, who is rationed when, what comes back as grey water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.evapotranspiration import MONTH_DAYS

_SPHERE = "Sphere Handbook, 2018, water supply standards, from memory"
_WHO = "Howard & Bartram, Domestic Water Quantity, Service Level and Health, WHO, 2003, from memory"
_CANADA = "Agriculture and Agri-Food Canada, Livestock water requirements: winter to summer"
_PALLAS = "Pallas, Water for Animals, FAO AGL/MISC/4/85, 1986, from memory"


@dataclass(frozen=True)
class PerHead:
    """What one person or animal uses a day, from `low` to `high` [L/day], and who says so."""

    low: float
    high: float
    source: str


#: Published uses by the words that the site file has for them; the high figure is counted on.
PER_HEAD: dict[str, PerHead] = {
    "survival": PerHead(2.5, 3.0, _SPHERE),
    "basic emergency": PerHead(7.5, 15.0, _SPHERE),
    "basic access": PerHead(20.0, 20.0, _WHO),
    "intermediate access": PerHead(50.0, 50.0, _WHO),
    "optimal access": PerHead(100.0, 100.0, _WHO),
    "water-conscious": PerHead(132.0, 132.0, "Home Power, Sizing a whole-house rainwater system: "
                               "35 gal"),
    "efficient fixtures": PerHead(171.0, 171.0, "Mayer and others, Residential End Uses of Water, "
                                  "1999: 45.2 gal, from memory"),
    "indoor average": PerHead(222.0, 222.0, "DeOreo and others, Residential End Uses of Water, "
                              "version 2, 2016: 58.6 gal, from memory"),
    "goat": PerHead(4.0, 5.0, _PALLAS),
    "donkey": PerHead(12.0, 16.0, _PALLAS),
    "camel": PerHead(30.0, 50.0, _PALLAS),
    "sheep": PerHead(3.6, 14.0, _CANADA),
    "horse": PerHead(36.0, 55.0, _CANADA),
    "dry cow": PerHead(36.0, 55.0, _CANADA),
    "cow and calf": PerHead(50.0, 68.0, _CANADA),
    "milk cow": PerHead(77.0, 95.0, _CANADA),
    "hen": PerHead(0.2, 0.4, "common practice, no source"),
}
PEOPLE = ("survival", "basic emergency", "basic access", "intermediate access", "optimal access",
          "water-conscious", "efficient fixtures", "indoor average")


@dataclass(frozen=True)
class Use:
    """One use of a store's water.

    Attributes
    ----------
    name, kind : str
        Kind is "household", "livestock", "wildlife", "garden" or "other".
    amounts : float64, shape (12,)
        What is wanted on a day of each month, January first. [m3/day]
    steps : tuple of (below, draw)
        Of a store that in the morning holds less than the share `below`, no more than the share
        `draw` of what is wanted is drawn that day; of several steps that hold the lowest counts.
    grey : float
        Share of what is drawn that comes back as grey water. [-]
    basis : str
        What the amount rests on.
    """

    name: str
    kind: str
    amounts: NDArray[np.float64]
    steps: tuple[tuple[float, float], ...] = ()
    grey: float = 0.0
    basis: str = ""

    @property
    def mean_day(self) -> float:
        """On the mean day of a year. [m3/day]"""
        return float(np.average(self.amounts, weights=MONTH_DAYS))


@dataclass(frozen=True)
class TopUp:
    """Water that a tanker brings: whole loads on the morning of a day on which a store holds less.

    Attributes
    ----------
    below : float
        Delivered when it holds less than this; as many loads as bring it back to that. [m3]
    load : float
        [m3]
    price : float or None
        Of one load.
    """

    below: float
    load: float
    price: float | None = None


def plain_use(amount: float) -> Use:
    """A use of so much every day of the year, never rationed. [m3/day]"""
    return Use("demand", "other", np.full(12, amount))
