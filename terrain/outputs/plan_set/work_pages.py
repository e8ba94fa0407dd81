"""The pages of a work: its plan and sections, then its water and its cautions."""

from __future__ import annotations

from dataclasses import replace

from terrain.outputs.charts.store_charts import draw_capture, draw_levels, draw_storage
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint, TitleBlock
from terrain.outputs.plan_set.page import Blank, Flow, Page
from terrain.outputs.sheets.plan_sheets import Entry, draw_subject_sheet, subject_of
from terrain.outputs.sheets.sheet import GUTTER
from terrain.plan.planned import Plan
from terrain.units import shown

PLAN, WATER = "plan and sections", "water and cautions"
#: Height of the charts. [in]
CHARTS = 2.05


@sy.styled
def work_pages(plan: Plan, entry: Entry, imprint: Imprint) -> list[Page]:
    """The pages of a work, its sheet first."""
    subject = replace(subject_of(plan, entry), told_in="on its next page",
                      block=TitleBlock(imprint, f"{entry.name}: {PLAN}"))
    return [Page(PLAN, draw_subject_sheet(plan, entry, subject), entry.name),
            *_water(plan, entry, imprint, list(subject.cautions))]


def _water(plan: Plan, entry: Entry, imprint: Imprint, cautions: list[str]) -> list[Page]:
    high = CHARTS * imprint.paper.grows
    holds = plan.stores[entry.members[0]].drain is None
    first = Blank(imprint, WATER.capitalize(), entry.name, entry.name, high + 0.2 if holds else 0.0)
    first.page.title = WATER
    if holds:
        charts = [draw_storage, *([draw_capture] if plan.told is not None else []),
                  *([draw_levels] if plan.seasons is not None else [])]
        each = (first.wide - 2 * GUTTER) / 3
        for number, draw in enumerate(charts):
            draw(first.figure, first.left + number * (each + GUTTER), first.ceiling - high, each,
                 high, plan, entry.members)

    def following() -> Blank:
        made = Blank(imprint, f"{WATER.capitalize()}, continued", entry.name, entry.name)
        made.page.title = f"{WATER}, continued"
        return made

    flow = Flow(first, following)
    if holds:
        _storms(plan, entry, flow)
    if cautions:
        flow.head(f"Cautions ({len(cautions)})")
        for said in cautions:
            flow.text(said)
    return [page.page for page in flow.pages]


def _storms(plan: Plan, entry: Entry, flow: Flow) -> None:
    """What comes of each storm, is kept and spills."""
    system = plan.site.units
    unit = "gal" if system == "us" else "m³"
    rows = []
    for storm in plan.site.rain.storms:
        entries = [plan.storms[storm.name].entries[i] for i in entry.members]
        inside = {plan.cascade.nodes[i].spills_to for i in entry.members} & set(entry.members)
        spilled = sum(e.spilled for i, e in zip(entry.members, entries, strict=True)
                      if not inside or plan.cascade.nodes[i].spills_to not in entry.members)
        kept = sum(e.caught for e in entries)
        rows.append([f"{storm.name}, {sy.plain(storm.depth, 'rain', system)}",
                     *(sy.brief(v, "volume", system).rsplit(" ", 1)[0]
                       for v in (kept + spilled, kept, spilled))])
    flow.head("Each storm, empty before", 60)
    flow.table(["volumes in " + unit, "comes", "kept", "spilled"], rows, (0.68, 0.83, 1.0))
    holds = sum(plan.stores[i].store.capacity for i in entry.members)
    first = plan.stores[entry.members[0]]
    flow.rows([("holds, up to its sill" if len(entry.members) == 1 else "hold together",
                shown(holds, "volume", system)),
               ("soaks in at", shown(first.store.infiltration, "rate", system)),
               ("spills to", plan.stores[entry.members[-1]].spills_to)])

