"""The pages of a work: its plan and sections, then its water and its cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from terrain.outputs.charts.store_charts import draw_capture, draw_levels, draw_storage
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint, TitleBlock
from terrain.outputs.field.stakes import Stake
from terrain.outputs.plan_set.page import Blank, Flow, Page
from terrain.outputs.sheets.plan_sheets import (
    Entry,
    cautions_of,
    draw_subject_sheet,
    dug_works,
    subject_of,
)
from terrain.outputs.sheets.sheet import GUTTER
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS
from terrain.plan.water.accounts import MORE_THAN_IT_HOLDS
from terrain.units import shown

PLAN, WATER = "plan and sections", "water and cautions"
#: Marks of the stakes that stand along a swale's line.
LINE = ("line", "end", "sill")
#: How the caution on buried lines begins, and what stands in its place where it is told of all.
OF_LINES = "Have buried pipes and cables located"
LINES_TOLD = f"{OF_LINES} before digging: see the first page of the field book."
#: Letters of a page whose last words would else take a page of their own. [-]
SMALLER = 0.88
#: Height of the charts. [in]
CHARTS = 2.05


@sy.styled
def work_pages(plan: Plan, entry: Entry, imprint: Imprint, stakes: Sequence[Stake] = ()
               ) -> list[Page]:
    """The pages of a work, its sheet first.

    Parameters
    ----------
    stakes : sequence of Stake
        Of the whole plan, in the order in which they are numbered.
    """
    own = {plan.stores[i].store.name for i in entry.members}
    subject = replace(subject_of(plan, entry), told_in="on its next page",
                      stakes=tuple((number, stake.station) for number, stake in
                                   enumerate(stakes, 1) if stake.work in own
                                   and stake.mark in LINE),
                      block=TitleBlock(imprint, f"{entry.name}: {PLAN}"))
    sheet = Page(PLAN, draw_subject_sheet(plan, entry, subject), entry.name)
    holds = plan.stores[entry.members[0]].drain is None
    if not holds and not any(subject.told_in in text.get_text() for ax in sheet.figure.axes
                             for text in ax.texts):
        return [sheet]  # it holds nothing, and all its cautions found room
    return [sheet, *_water(plan, entry, imprint, list(subject.cautions))]


def _water(plan: Plan, entry: Entry, imprint: Imprint, cautions: list[str]) -> list[Page]:
    """A work's water and cautions; in smaller letters if these take a page less."""
    usual = _water_at(plan, entry, imprint, cautions, 1.0)
    if len(usual) == 1:
        return usual
    small = _water_at(plan, entry, imprint, cautions, SMALLER)
    return small if len(small) < len(usual) else usual


def _water_at(plan: Plan, entry: Entry, imprint: Imprint, cautions: list[str], letters: float
              ) -> list[Page]:
    high = CHARTS * imprint.paper.grows
    holds = plan.stores[entry.members[0]].drain is None
    first = Blank(imprint, WATER.capitalize(), entry.name, entry.name, high + 0.2 if holds else 0.0,
                  letters)
    first.page.title = WATER
    if holds:
        charts = [draw_storage, *([draw_capture] if plan.told is not None else []),
                  *([draw_levels] if plan.seasons is not None else [])]
        each = (first.wide - 2 * GUTTER) / 3
        for number, draw in enumerate(charts):
            draw(first.figure, first.left + number * (each + GUTTER), first.ceiling - high, each,
                 high, plan, entry.members)

    def following() -> Blank:
        made = Blank(imprint, f"{WATER.capitalize()}, continued", entry.name, entry.name,
                     letters=letters)
        made.page.title = f"{WATER}, continued"
        return made

    flow = Flow(first, following)
    if holds:
        _storms(plan, entry, flow)
    of_all = told_once(plan)
    if cautions:
        flow.head(f"Cautions ({len(cautions)})")
        for said in cautions:
            flow.text(LINES_TOLD if said == of_all else said)
    return [page.page for page in flow.pages]


def told_once(plan: Plan) -> str:
    """The caution that every dug work has of buried lines, which the field book tells for all of
    them; "" where it is of one work alone."""
    said = [said for entry in dug_works(plan)
            for said in cautions_of([plan.stores[i] for i in entry.members])
            if said.startswith(OF_LINES)]
    return said[0] if len(said) > 1 and len(set(said)) == 1 else ""


def _storms(plan: Plan, entry: Entry, flow: Flow) -> None:
    """What comes of each storm and of an average year, is kept and spills."""
    system = plan.site.units
    unit = "gal" if system == "us" else "m³"
    rows: list[list[str]] = []
    more = False
    told = [(f"{storm.name}, {sy.plain(storm.depth, 'rain', system)}", plan.storms[storm.name])
            for storm in plan.site.rain.storms]
    told += [(name, account) for name, account in plan.accounts if name in YEARS.values()]
    for name, account in told:
        entries = [account.entries[i] for i in entry.members]
        inside = {plan.cascade.nodes[i].spills_to for i in entry.members} & set(entry.members)
        spilled = sum(e.spilled for i, e in zip(entry.members, entries, strict=True)
                      if not inside or plan.cascade.nodes[i].spills_to not in entry.members)
        kept = sum(e.caught for e in entries)
        more |= name not in YEARS.values() and any(
            e.caught > plan.stores[i].store.capacity + 0.05
            for i, e in zip(entry.members, entries, strict=True))
        rows.append([name, *(sy.bare(v, "volume", system)
                                   for v in (kept + spilled, kept, spilled))])
    flow.head("Each storm" + (" and year" if len(rows) > len(plan.site.rain.storms) else ""), 60)
    heads = [f"in {unit}; empty before storms", "comes", "kept", "spilled"]
    flow.table(heads, rows, flow.places([heads, *rows]))
    holds = sum(plan.stores[i].store.capacity for i in entry.members)
    first = plan.stores[entry.members[0]]
    flow.rows([("holds, up to its sill" if len(entry.members) == 1 else "hold together",
                shown(holds, "volume", system)),
               ("soaks in at", shown(first.store.infiltration, "rate", system)),
               ("spills to", plan.stores[entry.members[-1]].spills_to)])
    if more:
        flow.text(MORE_THAN_IT_HOLDS)

