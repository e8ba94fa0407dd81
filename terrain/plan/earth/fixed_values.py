"""What the owner fixed by hand, and what that costs: a work laid out again with one thing open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from terrain.errors import InputError
from terrain.plan.earth.built import Built
from terrain.plan.earth.fixed_value import FixedValue
from terrain.plan.earth.laid_again import LaidAgain, WatchedRules, as_built
from terrain.plan.earth.work_earth import Dug
from terrain.plan.siting.reading import Inputs
from terrain.works.rules import RULES, Rulebook
from terrain.works.swale import smoothed


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
    again = LaidAgain(inputs, dug, smoothed(inputs.dem), inputs.runoff(site.rain.design.depth))
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


def _left_open(again: LaidAgain, work: Any, name: str, known: _Field) -> FixedValue:
    rules, money = again.inputs.rules, again.inputs.site.money
    parts = again.parts(work.name)
    comes = _values(known, [as_built(part) for part in parts])
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


def _values(known: _Field, parts: Sequence[Built]) -> list[float]:
    return [float(value) for part in parts if (value := known.value(part)) is not None]


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


def _asked(again: LaidAgain, work: Any) -> set[str]:
    """The rules that decide anything of a work."""
    watched = WatchedRules(again.inputs.rules)
    with suppress(InputError):  # a drain may meet others that were not there when it was laid out
        again.built(work, watched)
    return set(watched.asked)


def _rule_open(again: LaidAgain, name: str, asked: dict[str, set[str]]) -> FixedValue:
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
