"""Tanks as the site file states them: those joined, their roofs' losses, uses and deliveries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from terrain.errors import InputError
from terrain.inputs.site import Site
from terrain.inputs.site_tanks import WaterUse
from terrain.inputs.site_works import Basin, Hollow, Tank
from terrain.runoff.ground import Roof
from terrain.units import first_system, in_both
from terrain.works.roof import RoofCatchment
from terrain.works.rules import Rulebook
from terrain.works.water_use import PEOPLE, PER_HEAD, TopUp, Use

#: Kinds of work that may take grey water: it must soak in or stand where plants drink it.
TAKES_GREY = ("swale", "basin", "tree basin", "hollow")


@dataclass(frozen=True)
class JoinedTank:
    """A tank whose outlet is joined below to that of the tank that leads: name, place, volume."""

    name: str
    x: float
    y: float
    volume: float


def leader_of(site: Site, name: str) -> str:
    """The tank that a tank is joined with in the end; any other name as it is.

    Raises
    ------
    InputError
        If a tank is joined with itself, with what is no tank, or in a ring.
    """
    works = {work.name: work for work in site.works}
    seen = [name]
    while (work := works.get(seen[-1])) is not None and isinstance(work, Tank) and (
            work.joined_with is not None):
        where, to = site.where_work(work.name, "joined with"), work.joined_with
        if to == work.name:
            raise InputError(where, f"\"{to}\" is joined with itself", "Name another tank")
        if not isinstance(works.get(to), Tank):
            there = ", ".join(f'"{w.name}"' for w in site.works if isinstance(w, Tank))
            raise InputError(where, f"\"{to}\" is " + ("no tank" if to in works else "not there")
                             + f" (tanks: {there})", "Name one of the tanks")
        if to in seen:
            raise InputError(where, "tanks are joined in a ring: " + " with ".join(
                f'"{n}"' for n in [*seen, to]), "Let one of them lead: leave its joined with out")
        seen.append(to)
    return seen[-1]


def followers(site: Site, leader: Tank) -> list[Tank]:
    """The tanks joined with one, in the site file's order."""
    return [work for work in site.works if isinstance(work, Tank) and work is not leader
            and work.joined_with is not None and leader_of(site, work.name) == leader.name]


def whole_volume(site: Site, tank: Tank) -> float:
    """What a tank holds with all that are joined with it. [m3]"""
    return tank.volume + sum(other.volume for other in followers(site, tank))


def roof_of(work: Tank, roofs: Sequence[Roof], rules: Rulebook) -> RoofCatchment:
    """The roofs that feed a tank, less what its leaf screen lets go and its first flush."""
    kept = 1 - rules["screen loss"] if work.leaf_screen == "self-cleaning" else 1.0
    area = sum(roof.area for roof in roofs)
    collected = sum(roof.area * roof.efficiency for roof in roofs) * kept
    flush = work.first_flush
    if work.first_flush_volume is not None:
        flush = work.first_flush_volume / collected * 1000 if collected else 0.0
    return RoofCatchment(area, collected, flush, tuple(roof.name for roof in roofs))


def uses_of(site: Site, work: Tank | Basin | Hollow) -> tuple[Use, ...]:
    """The uses of a tank's, a basin's or a hollow's water, in the site file's order.

    Raises
    ------
    InputError
        If `per head` is a word for which nothing is published, or for another kind.
    """
    return tuple(_use(site, work, use) for use in work.uses)


def _use(site: Site, work: Tank | Basin | Hollow, use: WaterUse) -> Use:
    where = f"{site.where_work(work.name, 'uses')}, \"{use.name}\""
    steps = tuple((step.below, step.draw) for step in use.rationing)
    if use.amount is not None:
        return Use(use.name, use.kind, np.array(use.amount), steps, use.grey_water, "as stated")
    heads = use.heads or 0.0
    if isinstance(use.per_head, str):
        word = " ".join(use.per_head.lower().split())
        if word not in PER_HEAD:
            raise InputError(f"{where}, per head", f"nothing is published here for '{word}' (there "
                             f"are: {', '.join(PER_HEAD)})",
                             "Use one of them, or an amount such as "
                             + ("1.5 gal/day" if site.units == "us" else "5 L/day"))
        if (word in PEOPLE) != (use.kind == "household"):
            raise InputError(f"{where}, per head", f"'{word}' is not a use of {use.kind}",
                             "State its kind as " + ("household" if word in PEOPLE else
                                                     "livestock"))
        found = PER_HEAD[word]
        each = found.high / 1000
        basis = (f"{heads:g} at {_a_day(found.high)} each ({word}: {_number(found.low)} to "
                 f"{_number(found.high)}; {found.source})" if found.low < found.high else
                 f"{heads:g} at {_a_day(found.high)} each ({word}; {found.source})")
    else:
        each = use.per_head or 0.0
        basis = f"{heads:g} at {_a_day(each * 1000)} each, as stated"
    return Use(use.name, use.kind, np.full(12, heads * each), steps, use.grey_water, basis)


def top_up_of(site: Site, work: Tank) -> TopUp | None:
    """What a tanker brings to a tank.

    Raises
    ------
    InputError
        If a load does not fit above the mark at which it comes.
    """
    given = work.top_up
    if given is None:
        return None
    volume = whole_volume(site, work)
    below = given.below[1] or (given.below[0] or 0.0) * volume
    if below + given.load > volume * (1 + 1e-9):
        raise InputError(
            site.where_work(work.name, "top up"), f"a load of {in_both(given.load, 'volume')} on "
            f"top of the {in_both(below, 'volume')} below which it comes does not fit into "
            f"{in_both(volume, 'volume')}", "Order smaller loads, or later")
    return TopUp(below, given.load, given.price)


def refuse_unsourced(site: Site, names: Sequence[str], fed: Sequence[bool]) -> None:
    """Refuse a tank that is drawn from and that nothing fills.

    Parameters
    ----------
    names : sequence of str
        Of the stores' works.
    fed : sequence of bool
        Whether roofs, a spill or a tanker fill each.
    """
    works = {work.name: work for work in site.works}
    for name, filled in zip(names, fed, strict=True):
        work = works[name]
        if isinstance(work, Tank) and (work.demand or work.uses) and not filled:
            raise InputError(site.where_work(name), f"water is drawn from \"{name}\" and nothing "
                             "fills it: no roof, no other work's spill, no top-up",
                             "Name its roofs, lead a spill to it, or leave the use out")


def grey_target(site: Site, work: Tank, use: WaterUse, names: Sequence[str],
                kinds: Sequence[str], of_works: Sequence[str]) -> int | None:
    """Index of the store that takes a use's grey water; None where it has none.

    Raises
    ------
    InputError
        If it names no work, or one that holds no water in the ground.
    """
    if use.grey_water_to is None:
        return None
    where = f"{site.where_work(work.name, 'uses')}, \"{use.name}\", grey water to"
    here = [i for i, (name, of_work) in enumerate(zip(names, of_works, strict=True))
            if use.grey_water_to in (name, of_work)]
    takes = ", ".join(f'"{w.name}"' for w in site.works if w.kind in TAKES_GREY) or "none"
    if not here:
        raise InputError(where, f"there is no work \"{use.grey_water_to}\" (that could take grey "
                         f"water: {takes})", "Name one of them")
    if kinds[here[0]] not in TAKES_GREY:
        raise InputError(where, f"\"{use.grey_water_to}\" is a {kinds[here[0]]}, and grey water "
                         f"goes to the ground only (there are: {takes})", "Name one of them")
    return here[0]


def _number(litres: float) -> str:
    """So many litres, or US gallons, as a number."""
    return f"{litres / 3.785411784:,.3g}" if first_system() == "us" else f"{litres:g}"


def _a_day(litres: float) -> str:
    return f"{_number(litres)} {'gal' if first_system() == 'us' else 'L'}/day"
