"""Earth between works: who serves whom, what is left to spread, and what moving it takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.plan.earth.cost import (
    Bill,
    Range,
    bill,
    dig_hours,
    hand_days,
    machine_output,
    whole_bill,
)
from terrain.plan.earth.work_earth import Dug, WorkEarth, work_earths
from terrain.plan.siting.reading import Inputs
from terrain.units import in_both
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]
#: Less earth than this prints as none and is carried nowhere. [m3]
LEAST = 0.05
#: Works whose places lie closer in height than this are level with each other. [m]
LEVEL = 0.5


@dataclass(frozen=True)
class Haul:
    """Earth carried from one work to another.

    Attributes
    ----------
    source, to : str
    volume, loose : float
        As it lies in the ground, and as it is carried. [m3]
    distance, rise : float
        Between the middles of the two works; the rise is below 0 downhill. [m]
    hours : float
        [h]
    """

    source: str
    to: str
    volume: float
    loose: float
    distance: float
    rise: float
    hours: float

    @property
    def said(self) -> str:
        """In a sentence."""
        way = ("on the level" if abs(self.rise) < LEVEL else
               f"and {in_both(self.rise, 'length')} uphill" if self.rise > 0 else "downhill")
        return (f"{in_both(self.volume, 'earth')} from \"{self.source}\" to \"{self.to}\", "
                f"{in_both(self.distance, 'length', 0)} {way}; loose, as it is carried, "
                f"{in_both(self.loose, 'earth')}.")


@dataclass(frozen=True)
class Spread:
    """Earth spread beside the work that it comes from.

    Attributes
    ----------
    name : str
    volume, topsoil : float
        Spare earth, and topsoil that went on no bank, as they lie in the ground. [m3]
    loose : float
        Both together, loose. [m3]
    area : float
        Ground that they cover at the rules' `spoil thickness`. [m2]
    """

    name: str
    volume: float
    topsoil: float
    loose: float
    area: float


@dataclass(frozen=True)
class Earthworks:
    """All earth of a site, and what moving it takes.

    Attributes
    ----------
    works : tuple of WorkEarth
        From the highest down.
    hauls : tuple of Haul
    spreads : tuple of Spread
    wanting : dict of str to float
        What works still want, as it lies in the ground. [m3]
    bills : dict of str to Bill
        Of each work.
    whole : Bill
        Of all, the machine brought and fetched once.
    by_hand : dict of str to (float, float)
        Days of one worker, for works small enough. [days]
    said : tuple of str
        What is carried and what is still wanting, in whole sentences.
    """

    works: tuple[WorkEarth, ...]
    hauls: tuple[Haul, ...]
    spreads: tuple[Spread, ...]
    wanting: dict[str, float]
    bills: dict[str, Bill]
    whole: Bill
    by_hand: dict[str, Range]
    said: tuple[str, ...]


def least_haul(spare: FloatArray, want: FloatArray, cost: FloatArray) -> FloatArray:
    """Serve as much of what is wanted as can be, and of all ways to do so the one of least cost.

    Parameters
    ----------
    spare : float64, shape (sources,)
    want : float64, shape (goals,)
        [m3]
    cost : float64, shape (sources, goals)
        Of carrying 1 m3; infinite where nothing may be carried.

    Returns
    -------
    carried : float64, shape (sources, goals)
        [m3]

    Notes
    -----
    The transportation problem, as a linear program.  Serving one m3 more may send others round by
    every source and goal, so it is worth more than all those ways together.
    """
    from scipy.optimize import linprog

    carried = np.zeros(cost.shape)
    pairs = np.argwhere(np.isfinite(cost))
    if not len(pairs):
        return carried
    each = cost[pairs[:, 0], pairs[:, 1]]
    worth = (1 + 2 * min(cost.shape)) * (float(each.max()) + 1.0)
    limits = np.zeros((len(spare) + len(want), len(pairs)))
    limits[pairs[:, 0], np.arange(len(pairs))] = 1.0
    limits[len(spare) + pairs[:, 1], np.arange(len(pairs))] = 1.0
    found = linprog(each - worth, A_ub=limits, b_ub=np.concatenate([spare, want]),
                    bounds=(0, None), method="highs-ds")
    if not found.success:  # nothing carried is always allowed, and spare earth is finite
        raise RuntimeError(f"no way to share the earth was found: {found.message}")
    carried[pairs[:, 0], pairs[:, 1]] = np.where(found.x > 1e-9, found.x, 0.0)
    return carried


def haul_cost(from_: FloatArray, to: FloatArray, rules: Rulebook) -> tuple[FloatArray, ...]:
    """Cost of carrying 1 m3 between places, the distance, and the rise.

    Parameters
    ----------
    from_, to : float64, shape (n, 3) and (m, 3)
        East, north and level. [m]

    Returns
    -------
    cost, distance, rise : float64, shape (n, m)
        The cost is the distance and, for each metre uphill, the rules' `haul uphill` more;
        infinite beyond their `haul longest`. [m]
    """
    apart = to[None, :, :] - from_[:, None, :]
    distance = np.hypot(apart[..., 0], apart[..., 1])
    rise = apart[..., 2]
    cost = distance + rules["haul uphill"] * np.maximum(rise, 0.0)
    return np.where(distance <= rules["haul longest"], cost, np.inf), distance, rise


def earthworks(inputs: Inputs, dug: Sequence[Dug]) -> Earthworks:
    """Balance the earth of all works, share it out, and reckon the machine.

    Raises
    ------
    InputError
        If the rules leave the machine no time to work.
    """
    rules, money = inputs.rules, inputs.site.money
    works = work_earths(inputs, dug)
    places = np.array([[work.x, work.y, work.level] for work in works]).reshape(-1, 3)
    spare = np.array([work.spare for work in works])
    gives, wants = np.flatnonzero(spare >= LEAST), np.flatnonzero(spare <= -LEAST)
    cost, distance, rise = haul_cost(places[gives], places[wants], rules)
    carried = least_haul(spare[gives], -spare[wants], cost)
    hauls = []
    for i, j in np.argwhere(carried >= LEAST):
        source, to = works[gives[i]], works[wants[j]]
        loose = float(carried[i, j]) * source.loose_per_bank
        hauls.append(Haul(source.name, to.name, float(carried[i, j]), loose,
                          float(distance[i, j]), float(rise[i, j]),
                          haul_hours(loose, float(distance[i, j]), rules)))
    spreads = tuple(made for work in works
                    if (made := _spread(work, hauls, rules)) is not None)
    wanting = {work.name: left for work in works
               if (left := -work.spare - sum(h.volume for h in hauls if h.to == work.name))
               >= LEAST}
    rates = money.machine_hour if money else None
    try:
        bills = {work.name: _bill(inputs, work, hauls, spreads, wanting) for work in works}
        whole = whole_bill(list(bills.values()), rules, rates,
                           money.haulage if money else (0.0, 0.0))
    except ValueError as error:
        raise InputError(f"{inputs.site.where('rules')}, rules", str(error),
                         "Shorten the one or lengthen the other") from None
    by_hand = {work.name: days for work in works
               if (days := hand_days(work.cut, rules, work.largest)) is not None}
    return Earthworks(works, tuple(hauls), spreads, wanting, bills, whole, by_hand,
                      tuple(_said(works, hauls, wanting, rules)))


def haul_hours(loose: float, distance: float, rules: Rulebook) -> float:
    """Hours to carry loose earth over a distance and come back empty each time. [h]"""
    loads = np.ceil(loose / rules["haul load"] - 1e-9)
    there_and_back = 2 * distance / rules["haul speed"] / 3600
    return float(loads * there_and_back / rules["machine efficiency"])


def earth_rows(work: WorkEarth, spread: Spread | None, bank: str = "bank"
               ) -> list[tuple[str, float]]:
    """A work's earth in rows that add up, as sheet, report and step have it: what is dug, what of
    that its bank is made of, and what is left to spread. [m3, in the ground; the bank packed]"""
    said = [("cut", work.cut), ("of it topsoil, to set aside", work.topsoil),
            ("of it subsoil", work.usable)]
    if work.bank:
        said += [(f"{bank}, packed", work.bank),
                 ("made of subsoil", max(work.wanted, 0.0)),
                 ("made of topsoil placed on it" if work.topsoil_within else
                  "topsoil placed over it", work.topsoil_back)]
    if work.spare < 0:
        said.append(("subsoil wanting", -work.spare))
    if spread is not None:
        said += [("left to spread", spread.volume + spread.topsoil),
                 ("of it subsoil to spare", spread.volume),
                 ("of it topsoil to spare", spread.topsoil)]
    return [(what, volume) for what, volume in said if volume >= LEAST]


def _spread(work: WorkEarth, hauls: Sequence[Haul], rules: Rulebook) -> Spread | None:
    left = max(work.spare, 0.0) - sum(h.volume for h in hauls if h.source == work.name)
    left = max(left, 0.0)
    if left + work.topsoil_left < LEAST:
        return None
    loose = (left + work.topsoil_left) * work.loose_per_bank
    return Spread(work.name, left, work.topsoil_left, loose, loose / rules["spoil thickness"])


def _bill(inputs: Inputs, work: WorkEarth, hauls: Sequence[Haul], spreads: Sequence[Spread],
          wanting: dict[str, float]) -> Bill:
    """The machine's bill for a work: what it digs, and what its bank still wants from elsewhere;
    it carries its own spare earth, and shapes what comes from other works."""
    rules, money = inputs.rules, inputs.site.money
    output = (money.machine_output if money else None) or machine_output(rules, work.soil)
    come = sum(haul.volume for haul in hauls if haul.to == work.name)
    dug = dig_hours(work.cut + wanting.get(work.name, 0.0), output, rules,
                    rules["hard ground share"])
    shaping = come / output * rules["finishing share"]
    low, high = (hours * (1 + rules["finishing share"]) + shaping for hours in dug)
    spread = sum((part.volume + part.topsoil) / output * rules["spreading share"]
                 for part in spreads if part.name == work.name)
    return bill((low, high), sum(haul.hours for haul in hauls if haul.source == work.name),
                spread, rules, money.machine_hour if money else None)


def _said(works: Sequence[WorkEarth], hauls: Sequence[Haul], wanting: dict[str, float],
          rules: Rulebook) -> list[str]:
    said = [haul.said for haul in hauls]
    for name, volume in wanting.items():
        loose = next(w.loose_per_bank for w in works if w.name == name) * volume
        said.append(f"\"{name}\" still wants {in_both(volume, 'earth')} as it lies in the ground, "
                    f"{in_both(loose, 'earth')} loose: no work within "
                    f"{in_both(rules['haul longest'], 'length', 0)} (haul longest, "
                    f"{rules.source('haul longest')}) has more to spare. Dig it from a borrow near "
                    "by, as it is priced here, or have it brought in.")
    return said
