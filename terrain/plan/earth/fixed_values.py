"""What the owner fixed by hand, and what that costs: a work laid out again with one thing open."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.plan.earth.built import Built, build, with_sill
from terrain.plan.earth.cost import Range
from terrain.plan.earth.earthworks import Dug, earthworks
from terrain.plan.siting.layout import Placed, Places, place_again
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.swale_layout import TRACED_BY, Traced, sill_place
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.works.rules import RULES, Rulebook
from terrain.works.swale import smoothed
from terrain.works.wall import sill_below

#: Prints a figure of a dimension with its unit.
Show = Callable[[float, str], str]
#: Figures closer than this are the same to a person: lengths [m], slopes and counts; and earth or
#: water closer than this share of it, or than a tenth of a m3.
SAME = 0.005
SAME_VOLUME = 0.1
#: Machine hours of the whole site closer than this are the same. [h]
SAME_HOURS = 0.05
#: Fields that a work is laid out without: they shape only what is built there.
BUILT_ONLY = {("swale", "crest"), ("swale", "sill_at"), ("swale", "sill_length"),
              ("basin", "sill_length"), ("drain", "width"), ("drain", "depth"),
              ("drain", "side_slope")}


@dataclass(frozen=True)
class Figures:
    """What a work comes to, its tree basins together.

    Attributes
    ----------
    storage, cut, bank : float
        [m3]
    sill_length, head : float or None
        Of its sill, and the depth over it at the design peak; None where there are several, but of
        the whole site the greatest depth. [m]
    freeboard : float or None
        Of its bank above that water; None without a bank that holds water. Of the whole site the
        least. [m]
    hours : (float, float)
        Of the machine on the whole site: digging, finishing, carrying, spreading, and each day's
        set-up in its share; the sum of the bills of all works. [h]
    money : (float, float) or None
        For those hours, where the site file states rates; without hauling the machine.
    """

    storage: float
    cut: float
    bank: float
    sill_length: float | None
    head: float | None
    freeboard: float | None
    hours: Range
    money: Range | None


@dataclass(frozen=True)
class FixedValue:
    """One value fixed by hand, and the same work with it left open.

    Attributes
    ----------
    work : str
        "" for a rule, which is fixed for the whole site.
    field : str
        Name of the field, or of the rule, as it is written in the site file.
    dimension : str or None
        As `units.shown` takes it; None for a bare figure, "%" for a share.
    fixed : float or None
        As the site file states it; of checks how far apart they stand [m]; None for a place.
    built, built_most : float or None
        What it comes to as the work is built, the least and the most where tree basins of one
        entry differ; of checks how many there are.  None for a place and a rule.
    left_open, left_open_most : float or None
        What that would be.  None where it cannot be left open; of a place, how far off it would
        be.
    before, after : Figures or None
        As it is, and as it would be.
    refused : str
        Why it cannot be left open.
    rule : str
        The rule that decides it when left open, where one alone does.
    currency : str
    """

    work: str
    field: str
    dimension: str | None
    fixed: float | None
    built: float | None = None
    built_most: float | None = None
    left_open: float | None = None
    left_open_most: float | None = None
    before: Figures | None = None
    after: Figures | None = None
    refused: str = ""
    rule: str = ""
    currency: str = ""

    @property
    def changes(self) -> bool:
        """Whether anything would be otherwise."""
        before, after = self.before, self.after
        if self.refused or before is None or after is None:
            return False
        return (_more(before.storage, after.storage) or _more(before.cut, after.cut)
                or _more(before.bank, after.bank)
                or _apart(before.head, after.head) or _apart(before.sill_length, after.sill_length)
                or _apart(before.freeboard, after.freeboard)
                or _dearer(before.hours, after.hours))

    def said(self, show: Show) -> str:
        """In a sentence."""
        name = {"sill at": "the place of its sill (sill at)"}.get(self.field, f"its {self.field}")
        subject = f"\"{self.work}\": {name}" if self.work else f"The rule {self.field}"
        start = f"{subject} {'are' if self.field == 'checks' else 'is'} fixed"
        start += self._at(show)
        if self.refused:
            return f"{start}; it cannot be left open: {self.refused}."
        if self.same:
            return f"{start}; left open it would be the same{self._by_rule}, so it costs nothing."
        return f"{start}; left open {self._would(show)}: {self._said_of_changes(show)}."

    @property
    def same(self) -> bool:
        """Whether leaving it open changes neither it nor anything else."""
        near = 0.5 if self.field == "sill at" else SAME
        least, most = ((self.fixed or 0.0,) * 2 if self.built is None or self.built_most is None
                       else (self.built, self.built_most))
        return not self.refused and not self.changes and all(
            value is not None and abs(value - was) < near * max(1.0, 0.05 * value)
            for value, was in ((self.left_open, least), (self.left_open_most, most)))

    def _at(self, show: Show) -> str:
        """The value as the site file states it, and what comes of it where that is another."""
        if self.fixed is None:
            return ""
        if self.field == "checks":
            count = self._span(self.built, None, show)
            return f" at {show(self.fixed, 'length')} apart, {count} of them"
        value = self._value(self.fixed, show)
        comes = self._span(self.built, self.built_most, show)
        return f" at {value}" + (f", which comes to {comes} as built"
                                 if self.built is not None and comes != value else "")

    @property
    def _by_rule(self) -> str:
        return f" ({self.rule})" if self.rule else ""

    def _would(self, show: Show) -> str:
        assert self.left_open is not None
        if self.field == "sill at":
            return f"it would be cut {show(self.left_open, 'length')} from there"
        value = self._span(self.left_open, self.left_open_most, show)
        verb = "there would be" if self.field == "checks" else "it would be"
        return f"{verb} {value}{self._by_rule}"

    def _span(self, least: float | None, most: float | None, show: Show) -> str:
        if least is None:
            return ""
        apart = most is not None and most - least >= SAME
        return self._value(least, show) + (f" to {self._value(most, show)}"
                                           if most is not None and apart else "")

    def _value(self, value: float, show: Show) -> str:
        if self.dimension is None:
            return f"{value:.4g}"
        return f"{value:.2%}" if self.dimension == "%" else show(value, self.dimension)

    def _said_of_changes(self, show: Show) -> str:
        before, after = self.before, self.after
        if not self.changes or before is None or after is None:
            return "nothing that is held or dug would change"
        said, takes = [], []
        for what, was, would, dimension in (
                ("", before.storage, after.storage, "volume"),
                ("digging", before.cut, after.cut, "earth"),
                ("bank", before.bank, after.bank, "earth")):
            if _more(was, would):
                change = f"{show(abs(would - was), dimension)} {_way(was, would)}"
                if what:
                    takes.append(f"{change} {what}")
                else:
                    said.append(f"hold {change}")
        if takes:
            said.append(f"take {_listed(takes)}")
        parts = [f"it would {_listed(said)}"] if said else []
        if _dearer(before.hours, after.hours):
            parts.append("the machine work of the whole site, carrying and spreading included, "
                         f"would {self._price(before, after)}")
        for old, new, dimension, words in (
                (before.sill_length, after.sill_length, "length",
                 "" if self.field == "sill length" else "its sill would be {} long instead of {}"),
                (before.head, after.head, "size",
                 f"the design peak would stand {'' if self.work else 'at most '}{{}} on "
                 f"{'its' if self.work else 'a'} sill instead of {{}}"),
                (before.freeboard, after.freeboard, "size",
                 f"{'its' if self.work else 'the least'} freeboard would be {{}} instead of {{}}")
                ):
            if words and old is not None and new is not None and _apart(old, new):
                parts.append(words.format(show(new, dimension), show(old, dimension)))
        return "; ".join(parts)

    def _price(self, before: Figures, after: Figures) -> str:
        """The difference in money, or in hours where no rates are known."""
        if before.money is not None and after.money is not None:
            ends = [round(b - a) for a, b in zip(before.money, after.money, strict=True)]
            return f"cost {_ends(ends, ',.0f', self.currency)}"
        hours = [round(b - a, 1) for a, b in zip(before.hours, after.hours, strict=True)]
        return f"take {_ends(hours, '.1f', 'machine hours')}"


def _apart(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and abs(one - other) >= SAME


def _more(one: float, other: float) -> bool:
    return abs(one - other) >= max(SAME_VOLUME, SAME * abs(one))


def _dearer(before: Range, after: Range) -> bool:
    return any(abs(b - a) >= SAME_HOURS for a, b in zip(before, after, strict=True))


def _ends(ends: Sequence[float], digits: str, unit: str) -> str:
    """How much more or less, from the low end to the high; each by itself where they part."""
    if min(ends) < 0 < max(ends):
        return " and ".join(f"{abs(end):{digits}} {unit} {_way(0.0, end)} at the {which} end"
                            for end, which in zip(ends, ("low", "high"), strict=True))
    low, high = sorted(abs(end) for end in ends)
    return f"{low:{digits}} to {high:{digits}} {unit} {_way(0.0, sum(ends))}"


def _way(one: float, other: float) -> str:
    return "more" if other > one else "less"


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


@dataclass(frozen=True)
class _Field:
    """A field that may be left open: its dimension, and its value in a work as built."""

    dimension: str | None
    value: Callable[[Built], Any]


_LENGTH, _LEVEL, _SIZE = "length", "level", "size"
_SWALE = {
    "depth": _Field(_SIZE, lambda b: b.swale and b.swale.depth),
    "width": _Field(_SIZE, lambda b: b.swale and b.swale.width),
    "length": _Field(_LENGTH, lambda b: b.swale and b.swale.route.length),
    "side_slope": _Field(None, lambda b: b.swale and b.swale.side_slope),
    "berm_side_slope": _Field(None, lambda b: b.swale and b.swale.berm_side_slope),
    "crest": _Field(_LEVEL, lambda b: b.swale and b.store.sill.level + b.swale.berm_height),
    "level": _Field(_LEVEL, lambda b: b.store.sill.level),
    "radius": _Field(_LENGTH, lambda b: b.swale and b.swale.route.asked_radius),
    "checks": _Field(None, lambda b: b.swale and float(len(b.swale.checks))),
    "sill_length": _Field(_LENGTH, lambda b: b.store.sill.length),
    "sill_at": _Field(_LENGTH, lambda b: None),
}
_BASIN = {
    "depth": _Field(_SIZE, lambda b: b.basin and b.basin.pit_depth),
    "sill": _Field(_LEVEL, lambda b: b.store.sill.level),
    "sill_length": _Field(_LENGTH, lambda b: b.store.sill.length),
}
_TREE = {
    "depth": _Field(_SIZE, lambda b: b.placed.tree and b.placed.tree.depth),
    "radius": _Field(_LENGTH, lambda b: b.placed.tree and b.placed.tree.crescent
                     and b.placed.tree.crescent.radius),
    "length": _Field(_LENGTH, lambda b: b.placed.tree and b.placed.tree.length),
    "width": _Field(_SIZE, lambda b: b.placed.tree and b.placed.tree.width),
}
_DRAIN = {
    "grade": _Field("%", lambda b: b.drain and b.drain.route.grade),
    "width": _Field(_SIZE, lambda b: b.drain and b.drain.section.width),
    "depth": _Field(_SIZE, lambda b: b.drain and b.drain.section.depth),
    "side_slope": _Field(None, lambda b: b.drain and b.drain.section.side_slope),
}
FIELDS = {"swale": _SWALE, "basin": _BASIN, "tree basin": _TREE, "drain": _DRAIN}


class _Watched(Rulebook):
    """Rules that remember which of them were asked for."""

    def __init__(self, rules: Rulebook) -> None:
        self._rules, self._own, self.system = dict(rules._rules), rules._own, rules.system
        self.asked: dict[str, float] = {}

    def __getitem__(self, name: str) -> float:
        self.asked[name] = value = super().__getitem__(name)
        return value


@dataclass
class _Again:
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
        inputs, watched = self.inputs, _Watched(rules)
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


def fixed_values(inputs: Inputs, dug: Sequence[Dug]) -> tuple[FixedValue, ...]:
    """Every value fixed by hand, one left open at a time while all others stay.

    Parameters
    ----------
    dug : sequence of Dug
        The plan's works, as they are to be built.

    Notes
    -----
    The peak that comes to a work is kept, and so is all below it: what a changed work would spill
    on to others is not followed.
    """
    site = inputs.site
    again = _Again(inputs, dug, smoothed(inputs.dem), inputs.runoff(site.rain.design.depth))
    found = [_left_open(again, work, name, known)
             for work in site.works
             for name, known in FIELDS.get(work.kind, {}).items() if _is_fixed(work, name)]
    if site.rules:
        asked = {work.name: _asked(again, work) for work in site.works}
        found += [_rule_open(again, name, asked) for name in site.rules]
    return tuple(found)


def _is_fixed(work: Any, name: str) -> bool:
    """Whether the site file states a field that may be left open."""
    if getattr(work, name) is None:
        return False
    if work.kind == "swale" and name == "level":
        return work.along is not None  # with `near` it says which contour is meant
    if work.kind == "basin" and name == "depth":
        return work.wall is not None  # a dug shape alone has no other
    return True


def _left_open(again: _Again, work: Any, name: str, known: _Field) -> FixedValue:
    rules, money = again.inputs.rules, again.inputs.site.money
    parts = again.parts(work.name)
    comes = _values(known, [_as_built(part) for part in parts])
    given = getattr(work, name)
    made = FixedValue(work.name, name.replace("_", " "), known.dimension,
                      None if name == "sill_at" else float(given), min(comes, default=None),
                      max(comes, default=None), before=again.figures(parts, again.dug),
                      currency=money.currency if money else "")
    try:
        opened = again.without(work, name)
        after = again.figures(opened, again.others({work.name: opened}))
    except InputError as error:
        return replace(made, refused=error.what)
    if name == "sill_at":
        here, there = parts[0].placed, opened[0].placed
        values = [float(np.hypot(there.spill_x - here.spill_x, there.spill_y - here.spill_y))]
    else:
        values = _values(known, opened)
    return replace(made, left_open=min(values), left_open_most=max(values), after=after,
                   rule=_rule_of(name, opened[0], rules))


def _lies_the_same(work: Any, name: str, rules: Rulebook) -> bool:
    """Whether a work lies on the ground as it does, with that field left open."""
    return ((work.kind, name) in BUILT_ONLY
            or (name == "sill" and abs(work.sill - sill_below(work.crest, rules)) < 1e-9))


def _values(known: _Field, parts: Sequence[Built]) -> list[float]:
    return [float(value) for part in parts if (value := known.value(part)) is not None]


def _as_built(work: Dug) -> Built:
    return Built(work.placed, work.store, work.swale, work.basin, work.drain, work.quantities)


def _rule_of(name: str, made: Built, rules: Rulebook) -> str:
    """The rule that decides a value which is left open, where one alone does; with its source."""
    if name == "sill_length":
        walled = made.basin is not None and made.basin.has_wall
        rule = next((limit for limit in ("sill shortest", "sill longest")
                     if abs(made.store.sill.length - rules[limit]) < 1e-9),
                    "spillway head" if walled else "sill head")
    else:
        rule = {("swale", "side_slope"): "swale side slope", ("swale", "width"): "swale width",
                ("swale", "radius"): "digging radius", ("swale", "crest"): "berm freeboard",
                ("basin", "sill"): "basin freeboard and spillway head",
                ("drain", "side_slope"): "drain side slope"}.get((made.placed.kind, name), "")
    if not rule:
        return ""
    return f"{rule}, {'; '.join(rules.source(part) for part in rule.split(' and '))}"


def _asked(again: _Again, work: Any) -> set[str]:
    """The rules that decide anything of a work."""
    watched = _Watched(again.inputs.rules)
    with suppress(InputError):  # a drain may meet others that were not there when it was laid out
        again.built(work, watched)
    return set(watched.asked)


def _rule_open(again: _Again, name: str, asked: dict[str, set[str]]) -> FixedValue:
    """A rule that the owner overruled, left as published."""
    inputs = again.inputs
    site, money = inputs.site, inputs.site.money
    rules = Rulebook({rule: given for rule, given in site.rules.items() if rule != name},
                     site.units)
    rule = RULES[name]
    dimension = "size" if rule.dimension == "length" else rule.dimension
    if dimension == "time":
        dimension = None
    made = FixedValue("", name, dimension, inputs.rules[name],
                      before=again.whole(again.dug, inputs.rules),
                      currency=money.currency if money else "")
    try:
        anew = {work.name: again.built(work, rules) for work in site.works
                if name in asked[work.name]}
        after = again.whole(again.others(anew), rules)
    except InputError as error:
        return replace(made, refused=f"{error.where.partition(', ')[2]}: {error.what}")
    return replace(made, left_open=rules[name], left_open_most=rules[name], after=after,
                   rule=rules.source(name))
