"""The pages of the set that are words and figures: contents, quantities, order, cautions."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.page.earth_tables import machine_words
from terrain.outputs.page.led_water import culvert_cautions
from terrain.outputs.page.money_tables import HEADS, rate_words, span
from terrain.outputs.plan_set.field_pages import BOX, begun, done
from terrain.outputs.plan_set.page import Blank, Flow, Page
from terrain.outputs.plan_set.work_pages import told_once
from terrain.outputs.sheets.plan_sheets import DUG
from terrain.plan.earth.earthworks import earth_rows
from terrain.plan.money.money import PARTS, WorkMoney
from terrain.plan.planned import Plan
from terrain.plan.safety.gravity import by_gravity
from terrain.units import shown

#: Why the works' own hours and money come to less than those of the whole site.
NO_SUM = ("Hours and money of the machine are more than those of the works together: the site's "
          "days are whole ones, each with its set-up, and the machine is brought and fetched once.")
#: What a plan set never leaves out.
FIRST = ("Figures are a planning aid. Local codes and licensed people come first, above all where "
         "water could reach a house, a road or a neighbour.")


def _flow(imprint: Imprint, title: str, subtitle: str = "") -> Flow:
    return Flow(Blank(imprint, title, subtitle),
                lambda: Blank(imprint, f"{title}, continued", subtitle))


def _pages(flow: Flow) -> list[Page]:
    return [made.page for made in flow.pages]


@sy.styled
def contents(plan: Plan, imprint: Imprint, titles: Sequence[tuple[str, int]],
             scale_words: str) -> list[Page]:
    """What the set holds, what the works catch, and what all rests on.

    Parameters
    ----------
    titles : sequence of (str, int)
        The pages that follow and those before, each with its number.
    """
    flow = _flow(imprint, "Contents and figures", plan.site.name)
    flow.text(FIRST, sy.TEXT_SIZE, sy.SHED, gap=5)
    flow.head("Pages")
    flow.rows([(title, str(number)) for title, number in titles])
    system = plan.site.units
    flow.head("Captured", sy.SMALL_SIZE * 1.4 * (len(plan.accounts) + 6))  # long names wrap
    unit = "gal" if system == "us" else "m³"

    def bare(volume: float) -> str:
        return shown(volume, "volume", system, with_unit=False)

    heads = [f"volumes in {unit}", "passive", "roof", "left the site"]
    rows = [[name, bare(a.passive), bare(a.roof), bare(a.left_site)] for name, a in plan.accounts]
    flow.table(heads, rows, flow.places([heads, *rows]))
    led = any(account.led > 0 for _, account in plan.accounts)
    flow.text("Passive: kept in the ground by swales, basins and tree basins"
              + (", or led from it into tanks" if led else "") + "; roof: kept in tanks"
              + (", off roofs." if led else "."), colour=sy.SOFT_INK)
    flow.head("About these pages")
    for said in (scale_words, imprint.date, f"Paper: {imprint.paper.name} "
                 f"({imprint.paper.size(system)}, {imprint.paper.standard}). Printed at full size, "
                 "a length on a page at scale is true; check a scale bar with a ruler.",
                 imprint.of_levels, imprint.of_places,
                 imprint.of_units, "What the figures rest on stands in report.html."):
        flow.text(said)
    return _pages(flow)


@sy.styled
def quantities(plan: Plan, imprint: Imprint) -> list[Page]:
    """Earth, machine time and money of each work, then of all."""
    system = plan.site.units
    flow = _flow(imprint, "Quantities and cost")

    def earth(volume: float) -> str:
        return shown(volume, "earth", system)

    currency = plan.site.money.currency if plan.site.money is not None else ""
    made = {work.name: work for work in plan.earth.works} if plan.earth is not None else {}
    priced = {work.name: work for work in plan.money.works} if plan.money is not None else {}
    spreads = {part.name: part for part in plan.earth.spreads} if plan.earth is not None else {}
    furrows = [work.name for work in made.values() if work.leads_from]
    for name in dict.fromkeys([*(p.placed.work.name for p in plan.stores), *furrows]):
        rows: list[tuple[str, str]] = []
        work, bill = made.get(name), plan.earth.bills.get(name) if plan.earth is not None else None
        if work is not None:
            rows += [("dug in", work.soil), *((what, earth(volume)) for what, volume in
                                              earth_rows(work, spreads.get(name)))]
        if name in spreads:
            rows.append(("spread over", shown(spreads[name].area, "ground", system)))
        if bill is not None:
            rows.append(("machine time", _span(bill.hours, "{:.1f}", " h")))
        if name in priced:
            rows += _money(priced[name], currency)
        if rows:
            flow.head(name, sy.SMALL_SIZE * 1.36 * len(rows))
            flow.rows(rows)
    if plan.earth is not None:
        whole = plan.earth.whole
        flow.head("The whole site", sy.SMALL_SIZE * 1.36 * 12)
        flow.rows([("cut", earth(sum(work.cut for work in plan.earth.works))),
                   ("banks, compacted", earth(sum(work.bank for work in plan.earth.works))),
                   ("machine time", _span(whole.hours, "{:.1f}", " h")),
                   ("machine days", _span(whole.days, "{:.0f}", "")),
                   *(_money(plan.money.whole, currency) if plan.money is not None else
                     [("money", _span(whole.money, "{:,.0f}", f" {currency}".rstrip()))]
                     if whole.money is not None else [])])
        flow.text(NO_SUM, colour=sy.SOFT_INK)
        flow.head("Where earth goes")
        for said in plan.earth.said or ("Each work takes its own earth.",):
            flow.text(said)
        flow.head("What this rests on")
        flow.text(machine_words(plan), colour=sy.SOFT_INK)
    if plan.site.money is not None:
        flow.text(rate_words(plan.site.money, system), colour=sy.SOFT_INK)
    return _pages(flow)


def _span(given: tuple[float, float], form: str, unit: str) -> str:
    low, high = (form.format(value) for value in given)
    return (low if low == high else f"{low} – {high}") + unit


def _money(work: WorkMoney, currency: str) -> list[tuple[str, str]]:
    rows = [("machine, priced" if part == "machine" else HEADS[part], work.parts[part])
            for part in PARTS if part in work.parts]
    if len(rows) > 1:
        rows.append(("all that is priced", work.cost))
    return [(name, f"{span(money)} {currency}".rstrip()) for name, money in rows]


@sy.styled
def order_and_cautions(plan: Plan, imprint: Imprint) -> list[Page]:
    """What is done in what order, then cautions of the whole site and of works without pages of
    their own: the first of the field book."""
    flow = begun(imprint, "order of work and cautions" if plan.order else "cautions")
    if plan.order:
        flow.head("Order of work")
        flow.text("From the top of the land down. How each work is built stands among the steps "
                  "on its own page, which follows.", colour=sy.SOFT_INK)
        for number, step in enumerate(plan.order, 1):
            # The box stands before the words, as the number hangs in the margin.
            said = f"{step.work}: {step.takes}" if step.work else step.says
            flow.text(f"{BOX} {said}", number=str(number), gap=5,
                      size=sy.TEXT_SIZE, weight="bold" if step.work else "normal")
        flow.turn()
    flow.head("Cautions")
    flow.text(FIRST, sy.TEXT_SIZE, sy.SHED, gap=5)
    if of_all := told_once(plan):
        flow.text(f"Every work that is dug: {of_all[:1].lower()}{of_all[1:]}", gap=4)
    dug = dict.fromkeys(p.placed.work.name for p in plan.stores if p.placed.kind in DUG
                        and p.cautions)
    if dug:
        flow.text("The cautions of these works stand on their own pages: " + ", ".join(dug) + ".",
                  gap=4)
    if plan.short_record:
        flow.text(plan.short_record)
    for planned in plan.stores:
        if planned.placed.kind not in (*DUG, "hollow") and planned.cautions:
            flow.head(planned.store.name)
            for said in by_gravity(planned.cautions):
                flow.text(said)
    for name, told in culvert_cautions(plan):
        flow.head(name)
        for one in told:
            flow.text(one)
    return done(flow)
