"""Money in the report: what all costs, when its water has paid, which work comes next."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

from terrain.inputs.site_money import Money, Price
from terrain.outputs.page.templates import filled
from terrain.plan.earth.cost import Range
from terrain.plan.money.money import ALL_TANKS, PARTS, WHOLE, SystemMoney, WorkMoney
from terrain.plan.money.priority import NO_MORE
from terrain.plan.planned import Plan
from terrain.units import PRINTED, shown, unit_name

Line = tuple[str, list[str]]
#: Heads of the columns of parts.
HEADS = {"machine": "machine", "pipe": "pipe", "tank": "tanks", "stone": "stone", "sod": "sod",
         "trees": "trees", "seed": "seed and mulch"}
#: What water costs otherwise, as it is told.
AGAINST = {"hauled": "hauled water", "well": "a well", "utility": "a utility's bill"}
#: Longer than this no payback is told in years.
LONGEST = 100.0


def money_section(plan: Plan) -> Any:
    """The section on money as HTML; empty where the site file has no `money`."""
    if plan.money is None or plan.site.money is None:
        return ""
    return filled(
        "money.html",
        currency=plan.money.currency, columns=work_columns(plan), works=work_rows(plan),
        paybacks=payback_rows(plan), order=next_rows(plan),
        before=standing_row(plan), per=per_words(plan.site.units),
        said=sentences(plan, plan.money), rates=rate_words(plan.site.money, plan.site.units),
        bare=bare_words(plan.site.money))


def per_words(system: str) -> str:
    """The amount of water that money is told for."""
    return "1,000 gal" if system == "us" else "m³"


def _per(system: str) -> float:
    """The same. [m3]"""
    return 3.785411784 if system == "us" else 1.0


def figure(value: float) -> str:
    """Money, to about three figures."""
    return f"{value:,.{0 if value >= 100 or not value else 1 if value >= 10 else 2}f}"


def span(given: Range | None, times: float = 1.0) -> str:
    """Money from low to high."""
    if given is None:
        return "–"
    low, high = (figure(value * times) for value in given)
    return low if low == high else f"{low} – {high}"


def years(given: Range, lasts: Range | None = None) -> str:
    """Years of a payback; one longer than its tank lasts at the least is none."""
    low, high = given
    if low == math.inf:
        return "never"
    if lasts is not None and high > lasts[0]:
        gone = f"longer than it lasts ({lasts[0]:g} – {lasts[1]:g} years)"
        first = f"{low:.1f}" if low < 10 else f"{low:.0f}"
        return gone if low > lasts[0] else f"{first} years to {gone}"
    if low > LONGEST:
        return f"over {LONGEST:g} years, if ever"
    first = f"{low:.1f}" if low < 10 else f"{low:.0f}"
    if high == math.inf:
        return f"{first} years to never"
    last = (f"over {LONGEST:g}" if high > LONGEST else f"{high:.1f}" if high < 10 else
            f"{high:.0f}")
    return f"{first} years" if first == last else f"{first} – {last} years"


def _parts(told: SystemMoney) -> list[str]:
    return [part for part in PARTS if part in told.whole.parts]


def work_columns(plan: Plan) -> list[str]:
    """Heads of the table of works."""
    assert plan.money is not None
    per = per_words(plan.site.units)
    return [*(HEADS[part] for part in _parts(plan.money)), "all", f"each {per} it holds",
            f"each {per} kept a year", "upkeep a year", "to lay by a year"]


def work_rows(plan: Plan) -> list[Line]:
    """What each work costs, the whole site last."""
    told, system = plan.money, plan.site.units
    assert told is not None

    def cells(work: WorkMoney) -> list[str]:
        more = " and what has no price" if work.unpriced else ""
        return [*(span(work.parts.get(part)) for part in _parts(told)),
                (span(work.cost) if work.parts else "no price stated") + (more if work.parts
                                                                          else ""),
                *(span(each if work.parts else None, _per(system))
                  for each in (work.a_stored, work.a_kept)),
                span(work.upkeep), span(work.renewal if work.renewal[1] else None)]

    return [(work.name, cells(work)) for work in (*told.works, told.whole)]


def cost_figure(plan: Plan) -> tuple[str, str, str] | None:
    """What all of it costs, in the page's first figures: words, figure, and what it rests on; the
    machine's days where no money is stated, None where nothing is dug."""
    if plan.money is not None and plan.money.whole.parts:
        low, high = (f"{value:,.0f}" for value in plan.money.whole.cost)
        return (f"{plan.money.currency} to build all that is priced",
                low if low == high else f"{low} – {high}", "from low to high")
    if plan.earth is None or not plan.earth.works:
        return None
    low, high = (f"{value:.0f}" for value in plan.earth.whole.days)
    return ("of one machine, to dig and build it",
            f"{low if low == high else f'{low} – {high}'} days", "no rates of money are stated")


def payback_rows(plan: Plan) -> list[Line]:
    """When water from tanks has paid for what it took."""
    told = plan.money
    assert told is not None
    return [(row.what + (", paid by its tanks alone" if row.what == WHOLE else ""), [
        AGAINST[row.against], shown(row.water, "volume", plan.site.units), span(row.saves),
        years(row.years, row.lasts)]) for row in told.paybacks]


def next_rows(plan: Plan) -> list[Line]:
    """Which work next brings the most water for the money."""
    told, system = plan.money, plan.site.units
    assert told is not None
    volume = partial(shown, dimension="volume", system=system)
    return [(step.work, [
        span(step.cost), volume(step.more), span(step.each, _per(system)), volume(step.kept),
        volume(step.alone)]) for step in told.order]


def standing_row(plan: Plan) -> Line | None:
    """What natural hollows, and works that nothing is priced of, keep before any ranked work
    stands; None where that is nothing."""
    told = plan.money
    if told is None or not told.order:
        return None
    kept = told.order[0].kept - told.order[0].more
    hollows = [p.store.name for p in plan.stores if p.placed.kind == "hollow"]
    if kept <= NO_MORE or not (hollows or told.unranked):
        return None
    names = ", ".join([*(f"{name} (natural hollow)" for name in hollows), *told.unranked])
    return f"stands already: {names}", ["–", "–", "–", shown(kept, "volume", plan.site.units), "–"]


def rate_words(money: Money, system: str) -> str:
    """The rates of the site file."""
    rates = [f"{span(price.range, factor)} for each {unit} of {what}"
             for what, price, unit, factor in (
                 ("pipe", money.pipe, *_unit(money.pipe, system)),
                 ("tank", money.tank, *_unit(money.tank, system)),
                 ("stone", money.stone, *_unit(money.stone, system, water=False)),
                 ("sod", money.sod, *_unit(money.sod, system)),
                 ("seed and mulch", money.seed, *_unit(money.seed, system))) if price is not None]
    if money.tree is not None:
        rates.append(f"{span(money.tree)} a tree")
    other = [f"{AGAINST[name]} {span(price.range, _per(system))}" for name in AGAINST
             if (price := getattr(money.water_otherwise, name)) is not None]
    said = [f"Rates, in {money.currency}: " + ("; ".join(rates) if rates else
            "none beside the machine's") + "."]
    if other:
        said.append(f"Each {per_words(system)} that comes another way: " + ", ".join(other) + ".")
    return " ".join(said)


def bare_words(money: Money) -> str:
    """What prices that name no unit were taken for, in a sentence; empty where all name one."""
    other = money.water_otherwise
    taken = [(what, price.bare) for what, price in (
        ("pipe", money.pipe), ("tank", money.tank), ("stone", money.stone), ("sod", money.sod),
        ("seed and mulch", money.seed), *((AGAINST[name], getattr(other, name))
                                          for name in AGAINST))
        if price is not None and price.bare is not None]
    if not taken:
        return ""
    return ("Prices without a unit are taken in the site's own: " + "; ".join(
        f"{what}: {low:,.12g}" + ("" if low == high else f" to {high:,.12g}")
        + f" as per {unit}" for what, ((low, high), unit) in taken)
        + ". Whoever changes the site file's units changes what they mean.")


def _unit(price: Price | None, system: str, water: bool = True) -> tuple[str, float]:
    """The unit that a price is told for, and how much of the unit inside it is; what is no water
    is told by the volume of earth."""
    dimension = price.unit if price is not None else "length"
    if dimension == "volume" and not water:
        unit, factor, _ = PRINTED["earth"][system == "us"]
        return unit, 1 / factor
    if dimension == "volume":
        return per_words(system), _per(system)
    if dimension == "mass":
        return ("short ton", 0.90718474) if system == "us" else ("tonne", 1.0)
    inside = {"length": 0.3048, "area": 0.09290304}[dimension]
    return unit_name(dimension, system), inside if system == "us" else 1.0


def sentences(plan: Plan, told: SystemMoney) -> list[str]:
    """What the tables come to, in words."""
    system, whole = plan.site.units, told.whole
    volume = partial(shown, dimension="volume", system=system)
    per, of = per_words(system), _per(system)
    said = [f"All that is priced costs {span(whole.cost)} {told.currency}: "
            f"{span(whole.a_stored, of)} for each {per} that it holds"
            + (f" and {span(whole.a_kept, of)} for each {per} that it keeps in an average year"
               if whole.a_kept else "")
            + f"; upkeep takes {span(whole.upkeep)} a year"
            + (f", and what wears out {span(whole.renewal)} a year to lay by" if whole.renewal[1]
               else "") + "."]
    if told.paybacks:
        best = [row for row in told.paybacks
                if row.what == (ALL_TANKS if any(r.what == ALL_TANKS for r in told.paybacks)
                                else told.paybacks[0].what)]
        said.append(f"Tanks give {volume(best[0].water)} in an average year that need not be "
                    "bought: what the accounts say is drawn, tanks empty when the record begins, "
                    "less what a tanker brings. (Under \"Roofs and tanks\" each tank is told of a "
                    "second time through the record, so a little more is drawn there.) "
                    + best[0].what[:1].upper() + best[0].what[1:]
                    + (" pay for themselves" if best[0].what == ALL_TANKS else " pays for itself")
                    + " against " + "; ".join(
                        f"{AGAINST[row.against]}: {years(row.years, row.lasts)}" for row in best)
                    + ". The low figure is the low cost against the dear water, the high one the "
                    "high cost against the cheap; upkeep is taken off, renewal is not.")
    elif told.soaks is not None and not told.otherwise:
        said.append("The site file does not say what water costs otherwise, so no payback is "
                    "reckoned.")
    if told.soaks:
        each = (told.soaks_cost[0] / told.soaks, told.soaks_cost[1] / told.soaks)
        bought = ", ".join(
            f"{span((told.soaks * price[0], told.soaks * price[1]))} as {AGAINST[name]}"
            if name == "hauled" else
            f"{span((told.soaks * price[0], told.soaks * price[1]))} from {AGAINST[name]}"
            for name, price in told.otherwise.items())
        said.append(
            f"The ground works let {volume(told.soaks)} soak in in an average year, for "
            f"{span(each, of)} of their cost for each {per}. That is soil moisture, not tap "
            "water: it pays no water bill, and only what roots reach is of use, so no payback is "
            "reckoned from it."
            + (f" As much, if it had to be bought, would cost in a year {bought}." if bought
               else ""))
    if told.order:
        first = told.order[0]
        said.append(
            f"The work that brings the most water for the money first is \"{first.work}\""
            + ("" if first.each is None else f", {span(first.each, of)} for each {per} a year")
            + ". The order is greedy: each next work is the one that brings the most extra water "
            "kept in an average year for its money, given those before it; two works that are "
            "good only together may stand too late. It weighs a tank's water like water in the "
            "soil, so compare tanks with tanks; and it is no order of digging.")
    return [*said, *told.said]
