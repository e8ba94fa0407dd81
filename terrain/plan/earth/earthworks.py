"""Earth between works: what each gives and wants, who serves whom, and what is left to spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.errors import InputError
from terrain.plan.earth.built import soil_of
from terrain.plan.earth.cost import (
    Bill,
    Quantities,
    Range,
    bill,
    dig_hours,
    hand_days,
    loose_per_bank,
    machine_output,
    whole_bill,
)
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.units import in_both
from terrain.works.basin import Basin
from terrain.works.drain import Drain
from terrain.works.furrow import Furrow
from terrain.works.rules import Rulebook
from terrain.works.store import Store
from terrain.works.swale_built import Swale

FloatArray = NDArray[np.float64]
#: Less earth than this prints as none and is carried nowhere. [m3]
LEAST = 0.05
#: Works whose places lie closer in height than this are level with each other. [m]
LEVEL = 0.5


class Dug(Protocol):
    """A work as it is to be built."""

    @property
    def placed(self) -> Placed: ...
    @property
    def store(self) -> Store: ...
    @property
    def swale(self) -> Swale | None: ...
    @property
    def basin(self) -> Basin | None: ...
    @property
    def drain(self) -> Drain | None: ...
    @property
    def quantities(self) -> Quantities | None: ...
    @property
    def furrow(self) -> Furrow | None: ...
    @property
    def pipe_line(self) -> FloatArray | None: ...


@dataclass(frozen=True)
class WorkEarth:
    """The earth of one work of the site file, all its tree basins together.

    Volumes are as earth lies in the ground unless said otherwise.

    Attributes
    ----------
    name, kind : str
    soil : str
        clay, loam or sand.
    loose_per_bank, compacted_per_bank : float
        Loose, and compacted, from each m3 in the ground. [-]
    cut : float
        All earth dug, topsoil included. [m3]
    topsoil : float
        Of the cut. [m3]
    topsoil_back : float
        Of the topsoil, what goes back on the bank. [m3]
    topsoil_within : float
        Of that, what makes part of the bank as it is reckoned. [m3]
    bank : float
        Bank as built, compacted. [m3]
    x, y, level : float
        Its middle, and the ground there. [m]
    largest : float
        Cut of the largest of its tree basins; of any other work its cut. [m3]
    leads_from : str
        Of furrows, the entry of the site file whose spill they lead; else "".
    """

    name: str
    kind: str
    soil: str
    loose_per_bank: float
    compacted_per_bank: float
    cut: float
    topsoil: float
    topsoil_back: float
    topsoil_within: float
    bank: float
    x: float
    y: float
    level: float
    largest: float
    leads_from: str = ""

    @property
    def usable(self) -> float:
        """Subsoil: cut without its topsoil. [m3]"""
        return self.cut - self.topsoil

    @property
    def wanted(self) -> float:
        """Subsoil that its bank takes. [m3]"""
        return self.bank / self.compacted_per_bank - self.topsoil_within

    @property
    def spare(self) -> float:
        """Subsoil left over; below 0 what is wanting. [m3]"""
        return self.usable - self.wanted

    @property
    def topsoil_left(self) -> float:
        """Topsoil that does not go back on its bank. [m3]"""
        return self.topsoil - self.topsoil_back


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
    works = _works(inputs, dug)
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


def _works(inputs: Inputs, dug: Sequence[Dug]) -> tuple[WorkEarth, ...]:
    """The works that are dug, tree basins of one entry together, from the highest down."""
    entries: dict[str, list[WorkEarth]] = {}
    for work in dug:
        if work.quantities is not None:
            entries.setdefault(work.placed.work.name, []).append(_earth(inputs, work,
                                                                        work.quantities))
    works = [_together(parts) for parts in entries.values()]
    works += _furrows(inputs, dug)
    return tuple(sorted(works, key=lambda work: -work.level))


def _furrows(inputs: Inputs, dug: Sequence[Dug]) -> list[WorkEarth]:
    """The furrows of each entry of the site file; their earth makes up their own low banks."""
    rules, entries = inputs.rules, dict[str, list[tuple[Dug, Furrow]]]()
    for work in dug:
        if work.furrow is not None:
            entries.setdefault(work.placed.work.name, []).append((work, work.furrow))
    found = []
    for name, parts in entries.items():
        first, share = parts[0][0], rules["compacted per bank"]
        soil = soil_of(inputs, first.placed)
        cuts = [furrow.earth for _, furrow in parts]
        topsoil = sum(furrow.topsoil(rules["topsoil depth"]) for _, furrow in parts)
        x, y, level = (float(np.mean(values)) for values in zip(
            *((*furrow.line.mean(axis=0), furrow.sill) for _, furrow in parts), strict=True))
        found.append(WorkEarth(
            furrows_of(name, len(parts)), "furrow", soil, loose_per_bank(soil, rules), share,
            sum(cuts), topsoil, topsoil, topsoil, sum(cuts) * share, x, y, level, max(cuts), name))
    return found


def furrows_of(name: str, count: int) -> str:
    """What the furrows that lead the spills of an entry are called."""
    return f"furrow{'s' if count > 1 else ''} of {name}"


def _together(parts: list[WorkEarth]) -> WorkEarth:
    first = parts[0]
    mean = {key: float(np.mean([getattr(part, key) for part in parts]))
            for key in ("x", "y", "level")}
    total = {key: float(sum(getattr(part, key) for part in parts))
             for key in ("cut", "topsoil", "topsoil_back", "topsoil_within", "bank")}
    return WorkEarth(name=first.name, kind=first.kind, soil=first.soil,
                     loose_per_bank=first.loose_per_bank,
                     compacted_per_bank=first.compacted_per_bank, **total, **mean, leads_from="",
                     largest=max(part.largest for part in parts))


def _earth(inputs: Inputs, work: Dug, amount: Quantities) -> WorkEarth:
    rules, place = inputs.rules, work.placed
    x, y = place.x, place.y
    if work.basin is not None and work.basin.has_wall:  # earth goes to the wall, not to the pool
        middle = LineString(work.basin.line).interpolate(0.5, normalized=True)
        x, y = float(middle.x), float(middle.y)
    ground = float(inputs.dem.height_at(x, y))
    share = rules["compacted per bank"]
    topsoil = min(_topsoil(work, rules), amount.cut)
    back, within = min(topsoil, _cover(work, rules)), 0.0
    if work.basin is None:  # of a berm or bund the cover is part, and all topsoil if need be
        short = amount.bank / share - back - (amount.cut - topsoil)
        back = within = min(back + max(short, 0.0), topsoil, amount.bank / share)
    return WorkEarth(place.work.name, place.kind, amount.soil,
                     loose_per_bank(amount.soil, rules), share, amount.cut, topsoil, back, within,
                     amount.bank, x, y, ground if np.isfinite(ground) else place.sill_level,
                     amount.cut)


def _topsoil(work: Dug, rules: Rulebook) -> float:
    """Topsoil in what a work digs. [m3]"""
    deep = rules["topsoil depth"]
    if work.basin is not None:
        return work.basin.topsoil
    if work.swale is not None:
        return deep * work.swale.top_width * work.swale.route.length
    if work.drain is not None:
        section = work.drain.section
        return deep * (section.width + 2 * section.side_slope * section.depth) \
            * work.drain.route.length
    return deep * float(work.placed.outline.area)


def bank_surface(work: Dug, rules: Rulebook) -> float:
    """Crest and dry side of a wall, crest and both sides of a berm or bund. [m2]"""
    if work.basin is not None:
        wall = work.basin.profile
        if wall is None:
            return 0.0
        high = wall.heights * (1 + wall.settlement)
        wide = np.where(high > 0, wall.top + np.hypot(1.0, wall.dry_slope) * high, 0.0)
        return float(np.trapezoid(wide, wall.stations))
    if work.swale is not None:
        swale = work.swale
        around = swale.berm_top + 2 * np.hypot(1.0, swale.berm_side_slope) \
            * swale.berm_height_built
        return float(around) * swale.route.length
    if work.placed.tree is not None and work.placed.tree.crescent is not None:
        bund = work.placed.tree.crescent  # taken as half a circle of its greatest height
        around = rules["crescent top width"] + 2 * np.hypot(1.0, rules["crescent side slope"]) \
            * bund.bund_height
        return float(around) * np.pi * bund.radius
    return 0.0


def _cover(work: Dug, rules: Rulebook) -> float:
    """Topsoil that the rules' `topsoil on banks` takes. [m3]"""
    return rules["topsoil on banks"] * bank_surface(work, rules) / rules["compacted per bank"]


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
