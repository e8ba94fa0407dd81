"""The earth of each work: what digging it gives, and what its bank takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.plan.earth.built import soil_of
from terrain.plan.earth.cost import Quantities, loose_per_bank
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.works.basin import Basin
from terrain.works.drain import Drain
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow
from terrain.works.rules import Rulebook
from terrain.works.store import Store
from terrain.works.swale_built import Swale

FloatArray = NDArray[np.float64]


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
    @property
    def furrow_runs(self) -> FurrowFlow | None: ...
    @property
    def over_sill(self) -> float: ...


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


def work_earths(inputs: Inputs, dug: Sequence[Dug]) -> tuple[WorkEarth, ...]:
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
