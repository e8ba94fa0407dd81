"""A place where a work could go: what it would hold, catch from and cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.site_suggest import Kind


@dataclass(frozen=True)
class Cost:
    """What a work takes.

    Attributes
    ----------
    money : float or None
        Between the low and the high quote; None where the site file states no rates.
    hours : float
        Of the machine, its share of each day's set-up included. [h]
    earth : float
        Dug, as it lies in the ground. [m3]
    """

    money: float | None
    hours: float
    earth: float

    def of(self, limit: str) -> float:
        """What of it a limit counts: "money", "hours" or "earth"."""
        found = {"money": self.money, "hours": self.hours, "earth": self.earth}[limit]
        if found is None:
            raise ValueError("the site file states no rates, so works have no price")
        return found


@dataclass(frozen=True)
class Candidate:
    """A work that could be built, alone or with the drain that leads to it.

    Attributes
    ----------
    name : str
        As it is to be called in the site file; no other candidate and no work of the owner has it.
    kind : str
        One of `terrain.inputs.site_suggest.KINDS`, or "own" for a work that the site file lists.
    works : tuple
        Entries of the site file, the store last.
    cells : int64, shape (n, 2)
        Rows and columns where water from upslope enters it.
    spill : (int, int)
        Row and column that its overflow runs on from: a cell just below its sill, none of its own.
    footprint : shapely geometry
        Ground that its earth and its water take; no two works of a layout share any. [m]
    storage : float
        Up to its sill. [m3]
    water_area : float
        Of its water when full. [m2]
    soak : float
        Into its floor. [mm/h]
    cost : Cost
    bank : float
        Deepest water against a bank of earth; 0 where none holds it. [m]
    trees : int
        That it is to water; 0 where it waters none of its own.
    crown : float
        Of each of them. [m]
    said : tuple of str
        Why this place: what the ground offers here, in whole sentences.
    """

    name: str
    kind: Kind | str
    works: tuple[Any, ...]
    cells: NDArray[np.int64]
    spill: tuple[int, int]
    footprint: Any
    storage: float
    water_area: float
    soak: float
    cost: Cost
    bank: float = 0.0
    trees: int = 0
    crown: float = 0.0
    said: tuple[str, ...] = ()
