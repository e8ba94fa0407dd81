"""Field pages: of each work what to check, set, dig and hold, and how it is looked after."""

from __future__ import annotations

import re
from collections.abc import Sequence

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.field.setting_out import runs_of as numbers_of
from terrain.outputs.field.stakes import Stake
from terrain.outputs.plan_set.page import Blank, Flow, Page
from terrain.outputs.plan_set.upkeep_year import (
    UpkeepYear,
    kinds_of,
    said_with,
    when_words,
)
from terrain.outputs.sheets.plan_sheets import Entry, cautions_of
from terrain.plan.order_of_work import Step
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.safety.gravity import is_grave
from terrain.units import shown
from terrain.works.rules import Rulebook
from terrain.works.upkeep import looks_for, tasks_for

#: The part of the set that goes to the field.
BOOK = "Field book"
#: A box to tick.
BOX = "\u2610"
#: So many trees of one work are told one by one; of more the levels are told from least to most.
MOST_APART = 8
#: The rules by which each mark may lie below and above its level; a mark that is not here shows a
#: place, not a level to hold.
WITHIN = {"sill": ("sill off level", "sill off level"),
          "end": ("crest too low", "crest too high"), "line": ("crest too low", "crest too high"),
          "berm": ("crest too low", "crest too high"), "wall": ("crest too low", "crest too high"),
          "bund": ("crest too low", "crest too high"),
          "bed": ("bed off level", "bed off level"), "check": ("bed off level", "bed off level"),
          "floor": ("bed off level", "bed off level"), "rim": ("bed off level", "bed off level"),
          "cut-off": ("bed off level", "bed off level"),
          "furrow": ("bed off level", "bed off level")}


@sy.styled
def field_pages(plan: Plan, entry: Entry, imprint: Imprint, stakes: Sequence[Stake],
                year: UpkeepYear | None) -> list[Page]:
    """The field pages of a dug work.

    Parameters
    ----------
    stakes : sequence of Stake
        Of the whole plan, in the order in which they are numbered.
    """
    flow = begun(imprint, entry.name)
    rules, system = plan.inputs.rules, plan.site.units
    stores = [plan.stores[i] for i in entry.members]
    flow.head("Before digging")
    for said in (*_before(rules, system), *(said for said in cautions_of(stores)
                                            if is_grave(said))):
        flow.text(said, number=BOX)
    _levels(plan, flow, stores, stakes)
    flow.turn()
    _steps(plan, entry, flow)
    flow.head("Written in the field")
    for said in ("dug on", "by", *(["sill: left, middle, right"] if any(
            stake.mark == "sill" and stake.work in {p.store.name for p in stores}
            for stake in stakes) else []), "benchmark, first and last", "after the first storm"):
        flow.blank(said)
    flow.turn()
    after_and_upkeep(plan, flow, entry.members, year)
    return done(flow)


def begun(imprint: Imprint, name: str) -> Flow:
    """Pages of the field book of one matter."""
    title = f"{BOOK}: {name}"
    return Flow(Blank(imprint, title), lambda: Blank(imprint, f"{title}, continued"))


def done(flow: Flow) -> list[Page]:
    """The pages, as part of the field book."""
    for made in flow.pages:
        made.page.part = BOOK
    return [made.page for made in flow.pages]


def _before(rules: Rulebook, system: str) -> tuple[str, ...]:
    """What is checked before any work is dug."""
    closes = shown(rules["benchmark read again"] * 1000, "rain", system,
                   1 if system == "us" else 0)
    return ("Buried pipes and cables are located and marked, private lines too.",
            "Whatever permits the cautions name are in hand.",
            f"Its stakes stand, and the benchmark read the same within {closes} at the end as at "
            f"the beginning (benchmark read again, {rules.source('benchmark read again')}).",
            "Places for topsoil and spare earth are marked, clear of sill and spill.",
            "No storm is in sight: a raw bank is packed, or opened again, before one comes.")


def _levels(plan: Plan, flow: Flow, stores: Sequence[PlannedStore], stakes: Sequence[Stake]
            ) -> None:
    """The work's stakes by what they mark, and the level that each is to hold."""
    names = {planned.store.name for planned in stores}
    system, rules = plan.site.units, plan.inputs.rules
    groups: dict[tuple[str, tuple[str, str] | None], list[tuple[int, Stake]]] = {}
    for number, stake in enumerate(stakes, 1):
        if stake.work in names:
            groups.setdefault((stake.design_of, WITHIN.get(stake.mark)), []).append((number, stake))
    if not groups:
        return
    flow.head("Stakes to set, levels to hold", 60)
    unit = "ft" if system == "us" else "m"
    if 1 < len(names) <= MOST_APART:  # each of several trees has its own levels
        flow.table([f"levels in {unit}", "floor", "sill"],
                   [_of_tree(planned, stakes, system) for planned in stores], (0.72, 1.0))
    rows = []
    for (what, within), found in groups.items():
        said = f"{what}: {numbers_of([number for number, _ in found])}"
        low, high = (shown(pick(stake.design for _, stake in found), "level", system, 3,
                           with_unit=False) for pick in (min, max))
        if low != high and not 1 < len(names) <= MOST_APART:
            said += f"; {low} to {high}"
        rows.append([said, low if low == high else "by stake", _within(within, rules, system)])
    flow.table([f"its stakes; levels in {unit}", "level", "within"], rows, (0.72, 1.0))
    used = dict.fromkeys(rule for _, within in groups for rule in within or ())
    whence = dict.fromkeys(f"{rule}, {rules.source(rule)}" for rule in used)
    flow.text("Readings of the staff and offset stakes stand in field/stakes.pdf. How far a level "
              f"may be off: {'; '.join(whence)}." if whence else
              "Readings of the staff and offset stakes stand in field/stakes.pdf.",
              colour=sy.SOFT_INK)


def _of_tree(planned: PlannedStore, stakes: Sequence[Stake], system: str) -> list[str]:
    """A tree's stakes, and the levels of its floor and its sill."""
    store = planned.store
    own = [number for number, stake in enumerate(stakes, 1) if stake.work == store.name]
    return [f"{store.name}: {numbers_of(own)}",
            *(shown(level, "level", system, 3, with_unit=False)
              for level in (float(store.curve.levels[0]), store.sill.level))]


def _within(names: tuple[str, str] | None, rules: Rulebook, system: str) -> str:
    """How far a level may be off by its rules, in words."""
    if names is None:
        return "–"
    low, high = (shown(rules[name] * 1000, "rain", system, 1 if system == "us" else 0)
                 for name in names)
    return f"±{high}" if low == high else f"−{low.split(' ')[0]}, +{high}"


def _steps(plan: Plan, entry: Entry, flow: Flow) -> None:
    """How it is built, step by step."""
    steps = steps_of(plan, entry)
    if not steps:
        return
    flow.head("Steps, in their order")
    for number, step in steps:
        hours = "" if step.hours is None else (
            f"; {step.hours[0]:.1f} to {step.hours[1]:.1f} h of a machine")
        flow.text(f"Step {number} of the order of work{hours}.", colour=sy.SOFT_INK)
        for said in parts_of(step.says):
            flow.text(said, number=BOX, gap=2.5)


def parts_of(says: str) -> list[str]:
    """The parts of a step, each a sentence, in their order."""
    # What stands in brackets is not cut.
    parts = re.split(r"; (?![^()]*\))|(?<=[a-z]): (?=only then)", says.rstrip("."))
    return [f"{part[:1].upper()}{part[1:]}." for part in parts]


def after_and_upkeep(plan: Plan, flow: Flow, members: Sequence[int], year: UpkeepYear | None
                     ) -> None:
    """What is looked at once it has held water, and what is done when in the year."""
    rules, system = plan.inputs.rules, plan.site.units
    kinds = kinds_of(plan, members)
    heavy = sy.plain(rules["inspect after storm"], "rain", system)
    flow.head("After the first storm")
    flow.text(f"And after every one of {heavy} or more (inspect after storm, "
              f"{rules.source('inspect after storm')}).", colour=sy.SOFT_INK)
    for look in looks_for(kinds):
        flow.text(said_with(look.says, rules, system), number=BOX, gap=2.5)
    flow.head("Upkeep")
    flow.rows([(said_with(task.says, rules, system), when_words(task, year))
               for task in tasks_for(kinds)])


def steps_of(plan: Plan, entry: Entry) -> list[tuple[int, Step]]:
    """The steps of the site's order that build a work, by their numbers."""
    names = {entry.name, *(plan.stores[i].store.name for i in entry.members)}
    names |= {work.name for work in (plan.earth.works if plan.earth else ())
              if work.leads_from == entry.name}
    return [(number, step) for number, step in enumerate(plan.order, 1)
            if step.work and (step.work in names or set(step.work.split(", ")) <= names)]
