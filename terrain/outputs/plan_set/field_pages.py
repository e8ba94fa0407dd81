"""Field pages: of each work what to check, set, dig and hold, and how it is looked after."""

from __future__ import annotations

import re
from collections.abc import Sequence

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.field.setting_out import runs_of as numbers_of
from terrain.outputs.field.stakes import MOUND_STAKE, Stake
from terrain.outputs.one_system import in_one
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
from terrain.units import per_cent, shown
from terrain.works.rules import Rulebook
from terrain.works.upkeep import looks_for, tasks_for

#: The part of the set that goes to the field.
BOOK = "Field book"
#: A box to tick.
BOX = "\u2610"
#: So many trees of one work are told one by one; of more the levels are told from least to most.
MOST_APART = 8
#: A column that holds no more than this is gone on in. [pt]
FEW_LINES = 150.0
#: Cautions beside the grave ones that are settled before anybody digs, by words that they hold:
#: water round or over a bank, rock and trench walls, whoever else has a say, what lies in its way.
_SETTLED_FIRST = re.compile(
    r"end of the wall|get round the wall|run out there|berm's end|is sized for|is asked for|"
    r"of bank is left above|freeboard|overflows its lip|sloped or shored|above the rock|"
    r"of the rock\b|the rock, said|Rock at|property line|leaves the property|across the road|"
    r"crosses a way of gathered|^It (?:changes|overlaps)|swales are dear and risky")
#: The rules by which each mark may lie below and above its level; a mark that is not here shows a
#: place, not a level to hold.
WITHIN = {"sill": ("sill off level", "sill off level"),
          "end": ("crest too low", "crest too high"), "line": ("crest too low", "crest too high"),
          "berm": ("crest too low", "crest too high"), "wall": ("crest too low", "crest too high"),
          "bund": ("crest too low", "crest too high"),
          "bed": ("bed off level", "bed off level"), "check": ("bed off level", "bed off level"),
          "floor": ("bed off level", "bed off level"), "rim": ("bed off level", "bed off level"),
          "cut-off": ("bed off level", "bed off level"),
          "furrow": ("bed off level", "bed off level"),
          "inlet": ("bed off level", "bed off level"), "outlet": ("bed off level", "bed off level")}


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
                                            if settled_first(said))):
        flow.text(said, number=BOX)
    _levels(plan, flow, stores, stakes)
    _pipe(plan, flow, entry.name)
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


def settled_first(caution: str) -> bool:
    """Whether a caution is grave, or one that must be settled before anybody digs."""
    return is_grave(caution) or _SETTLED_FIRST.search(caution) is not None


class FieldFlow(Flow):
    """Pages of the field book: their words tell figures in the site's own units alone."""

    system = "metric"

    def text(self, words: str, size: float = sy.SMALL_SIZE, colour: str = sy.INK,
             weight: str = "normal", gap: float = 3.5, number: str = "") -> None:
        """A paragraph; a number, or a box to tick, hangs in the margin beside it."""
        super().text(in_one(words, self.system), size, colour, weight, gap, number)

    def turn(self) -> None:
        """Go on in the next column, unless this one holds but the last lines of the one before."""
        if -self.column.y > FEW_LINES * self.letters:
            super().turn()


def begun(imprint: Imprint, name: str) -> Flow:
    """Pages of the field book of one matter."""
    title = f"{BOOK}: {name}"
    flow = FieldFlow(Blank(imprint, title), lambda: Blank(imprint, f"{title}, continued"))
    flow.system = imprint.system
    return flow


def done(flow: Flow) -> list[Page]:
    """The pages, as part of the field book."""
    for made in flow.pages:
        made.page.part = BOOK
    return [made.page for made in flow.pages]


def _before(rules: Rulebook, system: str) -> tuple[str, ...]:
    """What is checked before any work is dug."""
    closes = _off(rules["benchmark read again"], system)
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
        mounds = [next((stake.design for _, stake in groups.get((MOUND_STAKE, None), [])
                        if stake.work == planned.store.name), None) for planned in stores]
        bowls = any(mound is not None for mound in mounds)
        heads = [f"levels in {unit}", *(["mound"] if bowls else []), "floor", "sill"]
        trees = [_of_tree(planned, stakes, system, mound, bowls)
                 for planned, mound in zip(stores, mounds, strict=True)]
        flow.table(heads, trees, flow.places([heads, *trees]))
    rows = []
    for (what, within), found in groups.items():
        said = f"{what}: {numbers_of([number for number, _ in found])}"
        low, high = (shown(pick(stake.design for _, stake in found), "level", system, 3,
                           with_unit=False) for pick in (min, max))
        if low != high and not 1 < len(names) <= MOST_APART:
            said += f"; {low} to {high}"
        if what == MOUND_STAKE:
            sills = {planned.store.name: planned.store.sill.level for planned in stores}
            over = [stake.design - sills[stake.work] for _, stake in found]
            least, most = (shown(pick(over), "size", system, with_unit=False)
                           for pick in (min, max))
            said += f"; {least}{'' if least == most else f' to {most}'} {unit} over the sill"
        rows.append([said, low if low == high else "by stake", _within(within, rules, system)])
    flow.table([f"its stakes; levels in {unit}", "level",
                "within, ft" if system == "us" else "within"], rows, (0.72, 1.0))
    used = dict.fromkeys(rule for _, within in groups for rule in within or ())
    whence = dict.fromkeys(f"{rule}, {rules.source(rule)}" for rule in used)
    flow.text("Readings of the staff and offset stakes stand in field/stakes.pdf. How far a level "
              f"may be off: {'; '.join(whence)}." if whence else
              "Readings of the staff and offset stakes stand in field/stakes.pdf.",
              colour=sy.SOFT_INK)


def _of_tree(planned: PlannedStore, stakes: Sequence[Stake], system: str, mound: float | None,
             bowls: bool) -> list[str]:
    """A tree's stakes, and the levels of its mound, where any tree has one, floor and sill."""
    store = planned.store
    own = [number for number, stake in enumerate(stakes, 1) if stake.work == store.name]
    return [f"{store.name}: {numbers_of(own)}", *([] if not bowls else ["–"] if mound is None else [
                shown(mound, "level", system, 3, with_unit=False)]),
            *(shown(level, "level", system, 3, with_unit=False)
              for level in (float(store.curve.levels[0]), store.sill.level))]


def _within(names: tuple[str, str] | None, rules: Rulebook, system: str) -> str:
    """How far a level may be off by its rules, in words."""
    if names is None:
        return "–"
    low, high = (_off(rules[name], system) for name in names)
    unit = "" if system == "us" else " mm"  # feet stand in the head of the column
    low, high = low.split(" ")[0], high.split(" ")[0]
    return f"±{high}{unit}" if low == high else f"−{low}, +{high}{unit}"


def _off(metres: float, system: str) -> str:
    """How far a level may be off: in mm, or in hundredths of a foot, as a staff is read."""
    return (shown(metres, "level", system, 2) if system == "us" else
            shown(metres * 1000, "rain", system, 0))


def _pipe(plan: Plan, flow: Flow, name: str) -> None:
    """The pipe that leads its spill."""
    rows = pipe_rows(plan, name)
    if rows:
        flow.head("Its pipe")
        flow.rows(rows)


def pipe_rows(plan: Plan, name: str) -> list[tuple[str, str]]:
    """The pipe of an entry of the site file in figures: length, width, and fall of the ground."""
    rows: list[tuple[str, str]] = []
    system = plan.site.units
    for check in plan.pipes:
        if check.kind != "pipe" or check.name != name or check.diameter is None:
            continue
        wide = shown(check.diameter * 1000, "rain", system, 1 if system == "us" else 0)
        fall = (f"{shown(check.fall, 'level', system)}, {per_cent(check.slope, 1)}"
                if check.slope > 0 else "none: set it out with a level")
        rows += [("pipe of its spill, long", shown(check.length, "length", system)),
                 ("pipe, wide", f"{wide}, assumed" if check.assumed else wide),
                 ("pipe, fall of the ground", fall)]
    return rows


def _steps(plan: Plan, entry: Entry, flow: Flow) -> None:
    """How it is built, step by step."""
    steps = steps_of(plan, entry)
    if not steps:
        return
    flow.head("Steps, in their order")
    for number, step in steps:
        flow.text(f"Step {number} of the order of work{f'; {step.takes}' if step.takes else ''}.",
                  colour=sy.SOFT_INK)
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
    drains = [plan.stores[i].drain_hours for i in members if plan.stores[i].drain is None]
    for look in looks_for(kinds):
        flow.text(said_with(look.says, rules, system, drains), number=BOX, gap=2.5)
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
