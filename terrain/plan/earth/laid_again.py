"""Works of a plan laid out and built again, with something about them changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.plan.earth.built import Built, build, with_sill
from terrain.plan.earth.cost import Range
from terrain.plan.earth.earthworks import earthworks
from terrain.plan.earth.fixed_value import Figures
from terrain.plan.earth.work_earth import Dug
from terrain.plan.siting.layout import Placed, Places, place_again
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.swale_layout import TRACED_BY, Traced, sill_place
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.works.rules import Rulebook
from terrain.works.wall import sill_below

#: Fields that a work is laid out without: they shape only what is built there.
BUILT_ONLY = {("swale", "crest"), ("swale", "sill_at"), ("swale", "sill_length"),
              ("basin", "sill_length"), ("drain", "width"), ("drain", "depth"),
              ("drain", "side_slope")}


class WatchedRules(Rulebook):
    """Rules that remember which of them were asked for."""

    def __init__(self, rules: Rulebook) -> None:
        self._rules, self._own, self.system = dict(rules._rules), rules._own, rules.system
        self.asked: dict[str, float] = {}

    def __getitem__(self, name: str) -> float:
        self.asked[name] = value = super().__getitem__(name)
        return value


@dataclass
class LaidAgain:
    """Lays works of a plan out again."""

    inputs: Inputs
    dug: Sequence[Dug]
    soft: Dem
    runoff: NDArray[np.float64]
    climates: list[tuple[dict[str, float], TreeClimate | None]] = field(default_factory=list)
    now: tuple[Range, Range | None] | None = None

    def climate(self, rules: Rulebook) -> TreeClimate | None:
        """The climate under some rules; that of others which agree in all that it asks for."""
        for asked, known in self.climates:
            if all(rules[name] == value for name, value in asked.items()):
                return known
        inputs, watched = self.inputs, WatchedRules(rules)
        found = tree_climate(inputs.site, inputs.record, inputs.evaporation,
                             inputs.ground.curve_number, inputs.hydrology.rule, watched)
        self.climates.append(({name: rules[name] for name in watched.asked}, found))
        return found

    def parts(self, name: str) -> list[Dug]:
        return [work for work in self.dug if work.placed.work.name == name]

    def without(self, work: Any, name: str) -> list[Built]:
        """A work with one of its fields left open, for the peaks that come to it as it is."""
        rules, parts = self.inputs.rules, self.parts(work.name)
        opened = work.model_copy(update={name: None})
        if _lies_the_same(work, name, rules):
            return [self._build(self._as_it_lies(part.placed, opened), part, rules)
                    for part in parts]
        laid = parts[0].placed.swale
        return self.built(opened, rules,
                          laid.traced if laid is not None and name not in TRACED_BY else None)

    def built(self, work: Any, rules: Rulebook, traced: Traced | None = None) -> list[Built]:
        """A work, changed or under other rules, for the peaks that come to it as it is."""
        inputs = self.inputs
        climate = self.climate(rules) if work.kind == "tree basin" else None
        found = place_again(work, inputs.site, inputs.terrain, self.soft, inputs.ground, rules,
                            self.runoff, climate, [other.placed for other in self.dug], traced)
        return [self._build(place, old, rules)
                for place, old in zip(found, self.parts(work.name), strict=True)]

    def _build(self, place: Placed, old: Dug, rules: Rulebook) -> Built:
        store = with_sill(replace(old.store, curve=place.curve), place, old.store.sill.peak, rules)
        return replace(build(self.inputs, place, store, rules), furrow=old.furrow,
                       pipe_line=old.pipe_line)

    def _as_it_lies(self, place: Placed, work: Any) -> Placed:
        """A work changed in what is only built where it lies."""
        laid, inputs = place.swale, self.inputs
        if laid is None:
            return replace(place, work=work)
        if work.sill_at is None and place.work.sill_at is not None:
            x, y = sill_place(work, laid.route, inputs.site.where_work(work.name),
                              Places(inputs.site, inputs.terrain).point, inputs.terrain,
                              inputs.ground)
            place = replace(place, spill_x=x, spill_y=y)
            laid = replace(laid, sill_x=x, sill_y=y)
        return replace(place, work=work, swale=replace(laid, crest=work.crest))

    def figures(self, parts: Sequence[Dug], dug: Sequence[Dug]) -> Figures:
        """Of one work among all; what the machine does is that of all."""
        alone = parts[0] if len(parts) == 1 else None
        sill = alone.store.sill if alone is not None and alone.drain is None else None
        return Figures(*_volumes(parts), sill.length if sill else None,
                       sill.head if sill else None, _freeboard(alone) if alone else None,
                       *self.machine(dug, self.inputs.rules))

    def whole(self, dug: Sequence[Dug], rules: Rulebook) -> Figures:
        """Of all works together."""
        heads = [work.store.sill.head for work in dug if work.swale or work.basin]
        free = [left for work in dug if (left := _freeboard(work)) is not None]
        return Figures(*_volumes(dug), None, max(heads, default=None), min(free, default=None),
                       *self.machine(dug, rules))

    def machine(self, dug: Sequence[Dug], rules: Rulebook) -> tuple[Range, Range | None]:
        """Hours and money of all works together, carrying and spreading included."""
        if dug is self.dug and rules is self.inputs.rules and self.now is not None:
            return self.now
        bills = earthworks(replace(self.inputs, rules=rules), dug).bills.values()
        hours = (sum(cost.hours[0] for cost in bills), sum(cost.hours[1] for cost in bills))
        paid = [cost.money for cost in bills if cost.money is not None]
        found = hours, ((sum(part[0] for part in paid), sum(part[1] for part in paid))
                        if self.inputs.site.money else None)
        if dug is self.dug and rules is self.inputs.rules:
            self.now = found
        return found

    def others(self, anew: Mapping[str, Sequence[Built]]) -> list[Dug]:
        """All works, those of some entries as they were built anew."""
        left = {name: list(parts) for name, parts in anew.items()}
        return [left[entry].pop(0) if (entry := old.placed.work.name) in left else old
                for old in self.dug]


def _volumes(dug: Sequence[Dug]) -> tuple[float, float, float]:
    """What works hold, their cut and their banks. [m3]"""
    amounts = [work.quantities for work in dug if work.quantities is not None]
    return (sum(work.store.capacity for work in dug), sum(amount.cut for amount in amounts),
            sum(amount.bank for amount in amounts))


def _freeboard(work: Dug) -> float | None:
    if work.swale is not None:
        return work.swale.berm_height - work.store.sill.head
    if work.basin is not None and work.basin.has_wall:
        return work.basin.crest - work.store.sill.level - work.store.sill.head
    return None


def _lies_the_same(work: Any, name: str, rules: Rulebook) -> bool:
    """Whether a work lies on the ground as it does, with that field left open."""
    return ((work.kind, name) in BUILT_ONLY
            or (name == "sill" and abs(work.sill - sill_below(work.crest, rules)) < 1e-9))


def as_built(work: Dug) -> Built:
    """A work of the plan, without what the plan did with its earth."""
    return Built(work.placed, work.store, work.swale, work.basin, work.drain, work.quantities)
