"""Tables of the report about earth, machine time and money, the order of work, what is fixed."""

from __future__ import annotations

from functools import partial

from terrain.plan.earth.cost import Bill, Range, machine_output
from terrain.plan.earth.earthworks import LEAST
from terrain.plan.planned import Plan
from terrain.units import shown

Line = tuple[str, list[str]]
WHOLE = "the whole site"


def balance_rows(plan: Plan) -> list[Line]:
    """What each work digs, keeps as topsoil, heaps, and has to spare."""
    if plan.earth is None:
        return []
    earth = partial(_earth, plan.site.units)
    rows = []
    for work in plan.earth.works:
        spare = ("balances" if abs(work.spare) < LEAST else
                 f"{earth(work.spare)} subsoil spare" if work.spare > 0 else
                 f"{earth(-work.spare)} wanting")
        rows.append((work.name, [
            work.soil, earth(work.cut), earth(work.cut * work.loose_per_bank),
            earth(work.topsoil), earth(work.usable), earth(work.bank),
            earth(max(work.wanted, 0.0)), earth(work.topsoil_back), spare]))
    return rows


def share_rows(plan: Plan) -> list[Line]:
    """Where the earth of each work goes, and where what it wants comes from."""
    if plan.earth is None:
        return []
    found, system = plan.earth, plan.site.units
    rows = []
    for work in found.works:
        come, gone = (sum(haul.volume for haul in found.hauls if getattr(haul, end) == work.name)
                      for end in ("to", "source"))
        part = next((part for part in found.spreads if part.name == work.name), None)
        rows.append((work.name, [
            *(_earth(system, volume) for volume in (
                come, found.wanting.get(work.name, 0.0), gone, part.volume if part else 0.0,
                part.topsoil if part else 0.0)),
            shown(part.area, "ground", system) if part else "–"]))
    return rows


def _earth(system: str, volume: float) -> str:
    return shown(volume, "earth", system) if volume >= LEAST else "–"


def cost_rows(plan: Plan) -> list[Line]:
    """Machine time and money of each work, the whole site last."""
    if plan.earth is None or not plan.earth.works:
        return []
    found = plan.earth
    rows = [(work.name, _cost(found.bills[work.name], found.by_hand.get(work.name), "{:.1f}"))
            for work in found.works]
    return [*rows, (WHOLE, _cost(found.whole, None, "{:.0f}"))]


def _cost(cost: Bill, by_hand: Range | None, days: str) -> list[str]:
    return [_range(cost.dig, "{:.1f}", " h"),
            *(f"{hours:.1f} h" if hours else "–" for hours in (cost.carry, cost.spread)),
            _range(cost.hours, "{:.1f}", " h"), _range(cost.days, days, ""),
            "–" if by_hand is None else _range(by_hand, "{:.1f}", ""),
            "no rate given" if cost.money is None else _range(cost.money, "{:,.0f}", "")]


def _range(given: Range, form: str, unit: str) -> str:
    low, high = (form.format(value) for value in given)
    return (low if low == high else f"{low} – {high}") + unit


def machine_words(plan: Plan) -> str:
    """What the machine's hours and money rest on."""
    rules, money, system = plan.inputs.rules, plan.site.money, plan.site.units
    earth = partial(shown, dimension="earth", system=system)
    if money is not None and money.machine_output is not None:
        output = f"{earth(money.machine_output)} an hour, as the site file says"
    else:
        soils = sorted({work.soil for work in plan.earth.works}) if plan.earth else []
        each = ", ".join(f"{earth(machine_output(rules, soil))} in {soil}" for soil in soils)
        output = (f"in an hour {each}: bucket {shown(rules['machine bucket'], 'earth', system, 2)} "
                  f"× fill {rules['machine fill']:g} × 3600 / {rules['machine cycle']:g} s × "
                  f"efficiency {rules['machine efficiency']:g} / loose per bank (formula of US "
                  "Army FM 5-434, 2000; its inputs are rules of common practice, no source)")
    said = (f"The machine digs {output}; {rules['finishing share']:.0%} more for finishing. The "
            f"high figure has {rules['hard ground share']:.0%} of the ground so hard that only "
            f"{rules['hard ground output']:g} of that is dug. Spreading what is left takes "
            f"{rules['spreading share']:g} of the time it took to dig. A day is "
            f"{rules['machine day']:g} h, {rules['machine set-up']:g} h of it to set up; a work's "
            "own days are parts of days, those of the whole site whole ones.")
    if money is None:
        return said + " The site file states no rates, so no money is reckoned."
    rates = f" Rates: {_range(money.machine_hour, '{:,.0f}', '')} {money.currency} an hour"
    if money.haulage[1]:
        rates += (f"; bringing the machine and fetching it again, "
                  f"{_range(money.haulage, '{:,.0f}', '')} {money.currency} each, is in the sum "
                  "of the whole site alone")
    return f"{said}{rates}."


def order_rows(plan: Plan) -> list[tuple[str, str, str]]:
    """Each step: the work, what is done, and how long it takes."""
    return [(step.work, step.says, step.takes) for step in plan.order]


def fixed_rows(plan: Plan) -> list[str]:
    """What is fixed by hand, and what that costs, in sentences."""
    return [value.said(partial(_shown, plan.site.units)) for value in plan.fixed]


def _shown(system: str, value: float, dimension: str) -> str:
    return shown(value, dimension, system)
