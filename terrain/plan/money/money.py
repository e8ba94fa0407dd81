"""What the system costs, what a m3 of it costs, and when its water has paid for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from terrain.inputs.site_money import Money, Price
from terrain.plan.earth.cost import Range
from terrain.plan.earth.earthworks import Earthworks
from terrain.plan.earth.work_earth import Dug
from terrain.plan.money.bought import Bought, OneTank, bought
from terrain.plan.money.left_out import Partly
from terrain.plan.money.payback import laid_by, payback_years
from terrain.plan.money.priority import Next, next_best
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.accounts import Account
from terrain.plan.water.cascade import Cascade
from terrain.units import either, first_system, shown
from terrain.works.rules import PRACTICE, Rulebook

#: Parts of a cost, in the order they are told.
PARTS = ("machine", "pipe", "tank", "stone", "sod", "trees", "seed")
WHOLE = "the whole site"
ALL_TANKS = "all tanks together"
#: What no rate of the site file prices.
NEVER_PRICED = ("gutters and downspouts", "fittings and filters", "permits", "your own days")


@dataclass(frozen=True)
class WorkMoney:
    """What a work costs, or all of them.

    Attributes
    ----------
    name : str
    parts : mapping of str to (float, float)
        Money for each of `PARTS` that has a price, low and high.
    unpriced : tuple of str
        What it takes beside and no rate is stated for.
    stored : float
        What it holds at its sill. [m3]
    kept : float or None
        Water that it keeps in an average year; None without a record. [m3]
    upkeep : (float, float)
        Money a year.
    renewal : (float, float)
        Money to lay by each year for what wears out.
    """

    name: str
    parts: Mapping[str, Range]
    unpriced: tuple[str, ...]
    stored: float
    kept: float | None
    upkeep: Range
    renewal: Range

    @property
    def cost(self) -> Range:
        """All that is priced."""
        return added(*self.parts.values())

    @property
    def a_stored(self) -> Range | None:
        """Money for each m3 that it holds."""
        return _each(self.cost, self.stored)

    @property
    def a_kept(self) -> Range | None:
        """Money for each m3 that it keeps in an average year."""
        return _each(self.cost, self.kept or 0.0)


@dataclass(frozen=True)
class Payback:
    """When water from tanks has paid for what it took.

    Attributes
    ----------
    what : str
        A tank, `ALL_TANKS`, or `WHOLE`, paid for by its tanks' water alone.
    against : str
        "hauled", "well" or "utility".
    water : float
        That need not be bought in an average year. [m3]
    saves : (float, float)
        Money a year, upkeep not taken off.
    years : (float, float)
        Infinite where it never does.
    lasts : (float, float) or None
        How long its tanks last, the least and the most; of several the shortest-lived. [years]
    """

    what: str
    against: str
    water: float
    saves: Range
    years: Range
    lasts: Range | None = None


@dataclass(frozen=True)
class SystemMoney:
    """Money of a site.

    Attributes
    ----------
    currency : str
    works : tuple of WorkMoney
        In the site file's order.
    whole : WorkMoney
        The machine for whole days, brought and fetched once.
    bought : tuple of Bought
        What each work takes beside the machine.
    otherwise : mapping of str to (float, float)
        Money for a m3 that comes another way.
    paybacks : tuple of Payback
    soaks : float or None
        Water that ground works let into the soil in an average year, grey water left out. [m3]
    soaks_cost : (float, float)
        What the ground works cost.
    order : tuple of Next
        Which work next brings the most water for the money.
    unranked : tuple of str
        Works nothing of which is priced, taken as standing.
    said : tuple of str
        What the figures rest on.
    """

    currency: str
    works: tuple[WorkMoney, ...]
    whole: WorkMoney
    bought: tuple[Bought, ...]
    otherwise: Mapping[str, Range]
    paybacks: tuple[Payback, ...]
    soaks: float | None
    soaks_cost: Range
    order: tuple[Next, ...]
    unranked: tuple[str, ...]
    said: tuple[str, ...]


def added(*ranges: Range) -> Range:
    """Lows with lows, and highs with highs."""
    return sum(low for low, _ in ranges), sum(high for _, high in ranges)


def times(amount: float, rate: Range) -> Range:
    """An amount at a rate."""
    return amount * rate[0], amount * rate[1]


def parts_of(work: Bought, machine: Range | None, money: Money, rules: Rulebook
             ) -> tuple[dict[str, Range], tuple[str, ...]]:
    """Money for a work's parts, and what of it has no rate.

    Parameters
    ----------
    machine : (float, float), optional
        Its machine's bill; None for a work that is not dug.
    """
    parts: dict[str, Range] = {}
    unpriced = []
    if machine is not None:
        parts["machine"] = machine
    bare = [one for one in work.tanks if one.price is None and money.tank is None]
    priced = [tank_price(one, money) for one in work.tanks if one not in bare]
    if priced:
        parts["tank"] = added(*priced)
    if bare:
        unpriced.append("tank")
    rated: tuple[tuple[str, float, Range | None], ...] = (
        ("pipe", work.pipe, None if money.pipe is None else money.pipe.range),
        ("stone", work.stone, None if money.stone is None else stone_rate(money.stone, rules)),
        ("sod", work.sod, None if money.sod is None else money.sod.range),
        ("trees", float(work.trees), money.tree),
        ("seed", work.raw, None if money.seed is None else money.seed.range))
    for part, amount, rate in rated:
        if not amount:
            continue
        if rate is None:
            unpriced.append(part)
        else:
            parts[part] = times(amount, rate)
    if work.gravel:
        unpriced.append("gravel")
    if work.pump:
        unpriced.append("pump")
    if work.drops:
        unpriced.append("drops")
    return parts, tuple(unpriced)


def tank_price(one: OneTank, money: Money) -> Range:
    """A tank's own price, or the rate for what it holds."""
    if one.price is not None:
        return one.price
    return times(one.volume, money.tank.range if money.tank is not None else (0.0, 0.0))


def stone_rate(stone: Price, rules: Rulebook) -> Range:
    """Money for a m3 of loose stone."""
    return times(rules["stone density"], stone.range) if stone.unit == "mass" else stone.range


def renewal_of(work: Bought, parts: Mapping[str, Range], money: Money, rules: Rulebook) -> Range:
    """Money to lay by each year so that tanks and pipes can be bought again when they wear out:
    the low price over the long life, and the high one over the short."""
    found = []
    for one in work.tanks:
        if one.price is not None or money.tank is not None:
            low, high = tank_price(one, money)
            life = f"{one.made_of} tank lasts"
            found.append((laid_by(low, rules[f"{life} at best"], money.interest),
                          laid_by(high, rules[life], money.interest)))
    if "pipe" in parts:
        low, high = parts["pipe"]
        found.append((laid_by(low, rules["pipe lasts at best"], money.interest),
                      laid_by(high, rules["pipe lasts"], money.interest)))
    return added(*found)


def payback_of(what: str, against: str, water: float, price: Range, cost: Range, upkeep: Range,
               interest: float, lasts: Range | None = None) -> Payback:
    """When water that need not be bought has paid a cost and its upkeep."""
    saves = times(water, price)
    return Payback(what, against, water, saves,
                   (payback_years(cost[0], saves[1] - upkeep[0], interest),
                    payback_years(cost[1], saves[0] - upkeep[1], interest)), lasts)


def system_money(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed],
                 stores: Sequence[Dug], earth: Earthworks, year: Account | None,
                 some: Partly | None) -> SystemMoney | None:
    """Money of a site; None where the site file has no `money`.

    Parameters
    ----------
    placed, stores : in the order of the cascade's nodes
    year : Account or None
        Of an average year.
    some : Partly or None
        The record by any part of the works.
    """
    money, rules = inputs.site.money, inputs.rules
    if money is None:
        return None
    taken = bought(inputs, stores, earth)
    shares = money.upkeep or (rules["upkeep least"], rules["upkeep most"])
    nodes = {work.name: [i for i, place in enumerate(placed) if place.work.name == work.name]
             for work in taken}
    works = []
    for work in taken:
        bill = earth.bills.get(work.name)
        parts, unpriced = parts_of(work, None if bill is None else bill.money, money, rules)
        own = nodes[work.name]
        works.append(WorkMoney(
            work.name, parts, unpriced, sum(cascade.nodes[i].store.capacity for i in own
                                            if cascade.nodes[i].store.kind != "drain"),
            None if year is None else sum(year.entries[i].captured for i in own),
            _share(added(*parts.values()), shares), renewal_of(work, parts, money, rules)))
    whole = _whole(works, earth, shares)
    other = {name: price.range for name in ("hauled", "well", "utility")
             if (price := getattr(money.water_otherwise, name)) is not None}
    tanks = [work for work in works if _kind(taken, work.name) == "tank"]
    on_ground = [work for work in works if _kind(taken, work.name) != "tank"]
    order: tuple[Next, ...] = ()
    unranked: tuple[str, ...] = ()
    if some is not None:
        unranked = tuple(work.name for work in works
                         if not work.parts and _kind(taken, work.name) != "furrow")
        standing = frozenset(i for i, place in enumerate(placed)
                             if place.work.name not in nodes or place.work.name in unranked)
        furrows = {of.leads_from: work.cost for of in earth.works for work in works
                   if of.leads_from and of.name == work.name}  # dug with the work they lead from
        order = next_best({work.name: added(work.cost, *([furrows[work.name]]
                                                         if work.name in furrows else []))
                           for work in works if work.parts and _kind(taken, work.name) != "furrow"},
                          lambda built: some.kept(standing | {i for name in built
                                                              for i in nodes[name]}))
    soaks = None if year is None else sum(
        max(entry.infiltrated - entry.grey, 0.0) for entry, place in
        zip(year.entries, placed, strict=True) if place.kind not in ("tank", "hollow"))
    return SystemMoney(
        money.currency, tuple(works), whole, taken, other,
        tuple(_paybacks(tanks, whole, nodes, year, other, shares, money.interest,
                        {work.name: _lasts(work, rules) for work in taken if work.tanks})), soaks,
        added(*(work.cost for work in on_ground)), order, unranked,
        tuple(_said(money, rules, works, taken, unranked, shares)))


def _lasts(work: Bought, rules: Rulebook) -> Range:
    """How long its tanks last, those joined with it too: the shortest-lived. [years]"""
    low, high = (min(rules[f"{one.made_of} tank lasts{best}"] for one in work.tanks)
                 for best in ("", " at best"))
    return low, high


def replaces(year: Account, nodes: Sequence[int]) -> float:
    """Water drawn from tanks in an average year that nobody brought. [m3]"""
    return sum(max(year.entries[i].used - year.entries[i].brought, 0.0) for i in nodes)


def _paybacks(tanks: Sequence[WorkMoney], whole: WorkMoney, nodes: Mapping[str, list[int]],
              year: Account | None, other: Mapping[str, Range], shares: Range, interest: float,
              lives: Mapping[str, Range]) -> list[Payback]:
    if year is None:
        return []
    water = {tank.name: replaces(year, nodes[tank.name]) for tank in tanks}
    rows = [(tank.name, water[tank.name], tank.cost) for tank in tanks if "tank" in tank.parts]
    if len(rows) > 1:
        rows.append((ALL_TANKS, sum(row[1] for row in rows), added(*(row[2] for row in rows))))
    if rows:
        rows.append((WHOLE, sum(water.values()), whole.cost))
    shortest = min((lives[row[0]] for row in rows if row[0] in lives), default=None)
    return [payback_of(what, against, volume, price, cost, _share(cost, shares), interest,
                       lives.get(what, shortest))
            for what, volume, cost in rows for against, price in other.items()]


def _whole(works: Sequence[WorkMoney], earth: Earthworks, shares: Range) -> WorkMoney:
    parts: dict[str, Range] = {}
    for part in PARTS:
        if any(part in work.parts for work in works):
            parts[part] = added(*(work.parts[part] for work in works if part in work.parts))
    if "machine" in parts and earth.whole.money is not None:
        parts["machine"] = earth.whole.money
    kept = [work.kept for work in works if work.kept is not None]
    return WorkMoney(
        WHOLE, parts, tuple(dict.fromkeys(part for work in works for part in work.unpriced)),
        sum(work.stored for work in works), sum(kept) if kept else None,
        _share(added(*parts.values()), shares), added(*(work.renewal for work in works)))


def _share(cost: Range, shares: Range) -> Range:
    return cost[0] * shares[0], cost[1] * shares[1]


def _each(cost: Range, amount: float) -> Range | None:
    return (cost[0] / amount, cost[1] / amount) if amount > 1e-9 else None


def _kind(taken: Sequence[Bought], name: str) -> str:
    return next(work.kind for work in taken if work.name == name)


def _said(money: Money, rules: Rulebook, works: Sequence[WorkMoney], taken: Sequence[Bought],
          unranked: Sequence[str], shares: Range) -> list[str]:
    """What the figures rest on, in whole sentences."""
    lacking = {part: [work.name for work in works if part in work.unpriced]
               for part in (*PARTS, "gravel", "pump", "drops")}
    said = ["Not priced: " + "; ".join(
        [*(f"{'drops over stone' if part == 'drops' else part} of {', '.join(names)}"
           for part, names in lacking.items() if names),
         *([f"trees beside {', '.join(work.name for work in taken if work.beside)}"]
           if any(work.beside for work in taken) else []),
         *NEVER_PRICED]) + "."]
    by = "as the site file says" if money.upkeep is not None else _why(rules, "upkeep most")
    said.append(f"Upkeep is {shares[0]:.1%} to {shares[1]:.1%} of the cost a year ({by}).")
    made = sorted({one.made_of for work in taken for one in work.tanks})
    lives = [f"a {name} tank lasts {rules[f'{name} tank lasts']:g} to "
             f"{rules[f'{name} tank lasts at best']:g} years "
             f"({_why(rules, f'{name} tank lasts')})" for name in made]
    if any("pipe" in work.parts for work in works):
        lives.append(f"pipe {rules['pipe lasts']:g} to {rules['pipe lasts at best']:g} years "
                     f"({_why(rules, 'pipe lasts')})")
    if lives:
        at = f"at {money.interest:.1%} interest" if money.interest else "without interest"
        said.append("Renewal: " + ", ".join(lives) + f"; what is laid by each year, {at}, buys "
                    "them again at today's price. Earth, stone, sod and trees are kept by upkeep "
                    "and never bought again.")
    if any(work.stone for work in taken):
        along, thick, dense = (rules[f"stone {what}"] for what in (
            "along the flow", "thickness", "density"))
        heavy = (f"{dense * 0.842778:.2g} short tons a yd³" if first_system() == "us" else
                 f"{dense:g} t a m³")
        said.append(
            "Stone lies on sills whose water neither bare earth nor grass bears, their length "
            f"times {either(f'{along:g} m', along, 'size')} along the flow, on the wetted face of "
            "drains lined with it, and on bed and sides of such furrows, "
            f"{either(f'{thick:g} m', thick, 'size')} thick, at {heavy} loose "
            f"({_why(rules, 'stone thickness')}).")
    said += _lined_furrows(taken)
    if unranked:
        said.append("Nothing of " + ", ".join(unranked) + " is priced: the order takes them as "
                    "standing.")
    return said


def _lined_furrows(taken: Sequence[Bought]) -> list[str]:
    """What lines the furrows, in a sentence; none where bare earth holds in all of them."""
    def told(amount: float, dimension: str) -> str:
        return shown(amount, dimension, first_system())

    found = [f"{work.name}: " + ", ".join(
        f"{told(amount, dimension)} of {what}" for amount, dimension, what in (
            (work.stone, "earth", "stone"), (work.sod, "area", "sod"),
            (work.drops, "size", "fall in drops over stone")) if amount)
             for work in taken if work.kind == "furrow" and (work.stone or work.sod or work.drops)]
    if not found:
        return []
    return ["Furrows in which bare earth scours are lined as the order of work tells: "
            f"{'; '.join(found)}. Their greater width and depth are not priced."]


def _why(rules: Rulebook, name: str) -> str:
    return PRACTICE if rules.source(name).startswith(PRACTICE) else rules.source(name)
