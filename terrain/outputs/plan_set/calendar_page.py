"""The calendar of upkeep: what is done in which month of the year, under the year's rain."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column, shortened
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.plan_set.field_pages import BOOK
from terrain.outputs.plan_set.page import Blank, Page
from terrain.outputs.plan_set.upkeep_year import SHORT, UpkeepYear, kinds_of, said_with
from terrain.outputs.sheets.sheet import GUTTER, MARGIN
from terrain.plan.planned import Plan
from terrain.units import shown
from terrain.works.rules import PRACTICE
from terrain.works.upkeep import MOMENTS, TASKS, Task

TITLE = "Upkeep through the year"
#: Groups of tasks: a heading, the kinds of task in it, and the kinds of store that it names.
GROUPS = (("Tanks and roofs", ("roof", "first flush", "tank"), ("tank",)),
          ("Swales and basins", ("swale", "basin", "bank", "deep"), ("swale", "basin")),
          ("Tree basins", ("tree basin",), ("tree basin",)),
          ("Drains", ("drain",), ("drain",)), ("Natural hollows", ("hollow",), ("hollow",)),
          ("Roads", ("road",), ()))
#: Height of the strip of rain, and of a row at most and at least. [pt]
RAIN, ROW, LEAST = 46.0, 16.5, 11.5
#: Share of the width for what is done, and size of its letters [pt].
SAID, SIZE = 0.5, 8.2
#: Radius of a mark. [pt]
DOT = 3.6


@dataclass(frozen=True)
class Row:
    """A row of the calendar: a heading of its group where it has no task."""

    said: str
    task: Task | None = None


@sy.styled
def calendar_pages(plan: Plan, imprint: Imprint, year: UpkeepYear | None) -> list[Page]:
    """The calendar, on as many pages as its rows need; none where there is nothing to keep."""
    rows = rows_of(plan)
    pages: list[Page] = []
    while rows:
        title = f"{BOOK}: {TITLE[:1].lower()}{TITLE[1:]}"
        blank = Blank(imprint, title if not pages else f"{title}, continued")
        blank.page.part = BOOK
        pages.append(blank.page)
        rows = _draw(plan, year, blank, rows)
        _foot(plan, year, blank)
    return pages


def rows_of(plan: Plan) -> list[Row]:
    """Headings and tasks, each task once, in the first group that has its work."""
    kinds = kinds_of(plan, range(len(plan.stores)))
    if plan.turnouts or plan.terrain.conditioning.culverts:
        kinds.add("road")
    told: set[str] = set()
    rows: list[Row] = []
    for heading, of, stores in GROUPS:
        tasks = [task for task in TASKS if task.says not in told
                 and set(task.kinds) & set(of) & kinds]
        if not tasks:
            continue
        told |= {task.says for task in tasks}
        names = dict.fromkeys(planned.placed.work.name for planned in plan.stores
                              if planned.store.kind in stores)
        rows.append(Row(f"{heading}: {', '.join(names)}" if names else heading))
        rows += [Row(said_with(task.says, plan.inputs.rules, plan.site.units), task)
                 for task in tasks]
    return rows


def _draw(plan: Plan, year: UpkeepYear | None, blank: Blank, rows: list[Row]) -> list[Row]:
    """Draw as many rows as find room, heads above them; return those that are left."""
    high, k = (blank.ceiling - blank.floor) * 72 - 6, blank.letters
    column = Column(blank.figure, MARGIN, blank.floor + 6 / 72, blank.wide, high / 72)
    wide, ax = column.width, column.ax
    left = SAID * wide
    heads = SHORT if year is not None else MOMENTS
    each = (wide - left) / len(heads)
    top = (RAIN + 16 if year is not None else 40.0) * k
    step = max(min(ROW * k, (high - top) / len(rows)), LEAST * k)
    count = min(len(rows), int((high - top) / step + 1e-6))
    if count < len(rows) and rows[count - 1].task is None:
        count -= 1  # no heading at the foot of a page
    _heads(plan, ax, year, left, each, top, step * count, k)
    marks: list[tuple[float, float]] = []
    for number, row in enumerate(rows[:count]):
        y = -top - (number + 0.5) * step
        room = wide if row.task is None else left - 8
        ax.text(0, y, _fitting(column, row.said, room, row.task is None, SIZE * k),
                fontsize=SIZE * k,
                va="center", color=sy.INK, gid="column",
                fontweight="bold" if row.task is None else "normal")
        if row.task is None:
            continue
        ax.plot([0, wide], [y - step / 2] * 2, color=sy.FAINT_INK, linewidth=0.4, zorder=1)
        places: Collection[int] = (year.months(row.task) if year is not None else
                                   [MOMENTS.index(moment) for moment in row.task.when])
        marks += [(left + (place + 0.5) * each, y) for place in places]
    ax.scatter([x for x, _ in marks], [y for _, y in marks], s=(2 * DOT * k) ** 2, color=sy.WATER,
               zorder=5, linewidths=0, gid="due")
    return rows[count:]


def _fitting(column: Column, said: str, room: float, bold: bool, size: float) -> str:
    """Words on one line: of a heading as many names as find room, and how many more there are."""
    weight = "bold" if bold else "normal"
    if not bold or column.wide(said, size, weight) <= room:
        return said
    names = said.split(", ")
    for kept in range(len(names) - 1, 0, -1):
        short = f"{', '.join(names[:kept])} and {len(names) - kept} more"
        if column.wide(short, size, weight) <= room:
            return short
    return shortened(column.figure, said, size, room, weight)


def _heads(plan: Plan, ax: Axes, year: UpkeepYear | None, left: float, each: float, top: float,
           under: float, k: float) -> None:
    """Months with their rain, the wet ones shaded; moments where no months are known; `k` times
    as large as on A4."""
    if year is None:
        for number, moment in enumerate(MOMENTS):
            for i, word in enumerate(_broken(moment)):
                ax.text(left + (number + 0.5) * each, (-8 - 10 * i) * k, word, fontsize=7.4 * k,
                        ha="center", va="center", color=sy.SOFT_INK, gid="head")
        return
    most, system = max(year.rain), plan.site.units
    wet: set[int] = set()
    if year.season is not None:
        first, last = year.season
        wet = {(first + i) % 12 for i in range((last - first) % 12 + 1)}
    ax.text(left - 10, (-RAIN + 12) * k, f"rain of each month, {'in' if system == 'us' else 'mm'}",
            fontsize=(sy.SMALL_SIZE - 0.5) * k, ha="right", va="center", color=sy.SOFT_INK,
            gid="head")
    for month, depth in enumerate(year.rain):
        x = left + month * each
        if month in wet and (month == 0 or month - 1 not in wet):  # a run of them at once
            run = next(n for n in range(1, 13) if month + n == 12 or month + n not in wet)
            ax.add_patch(Rectangle((x, -top - under), run * each, top + under, linewidth=0,
                                   zorder=0, facecolor=sy.mixed(sy.PAPER, sy.RAIN, 0.22),
                                   gid="rains"))
        tall = (RAIN - 14) * k * depth / most
        ax.add_patch(Rectangle((x + 0.2 * each, -RAIN * k), 0.6 * each, tall, linewidth=0,
                               facecolor=sy.RAIN, zorder=2, gid="rain"))
        ax.text(x + each / 2, -RAIN * k + tall + 6 * k,
                shown(depth, "rain", system, 1 if system == "us" else 0, with_unit=False),
                fontsize=7.2 * k, ha="center", va="center", color=sy.SOFT_INK, gid="rain words")
        ax.text(x + each / 2, (-RAIN - 8) * k, SHORT[month], fontsize=sy.SMALL_SIZE * k,
                ha="center", va="center", fontweight="bold" if month in wet else "normal",
                gid="month")


def _broken(moment: str) -> list[str]:
    """A moment on lines of two words."""
    words = moment.split(" ")
    return [" ".join(words[i:i + 2]) for i in range(0, len(words), 2)]


def _foot(plan: Plan, year: UpkeepYear | None, blank: Blank) -> None:
    """When months are not what counts, and where tasks are from."""
    rules, system = plan.inputs.rules, plan.site.units
    column = Column(blank.figure, MARGIN, MARGIN, blank.wide - blank.block_wide - 2 * GUTTER,
                    blank.floor - MARGIN - 0.05)
    heavy = sy.plain(rules["inspect after storm"], "rain", system)
    said = (f"After every storm of {heavy} or more, walk all works: what to look at stands on "
            "the page of each. ")
    said += (year.words if year is not None else
             "No rain record tells which months are wet: ask people who have lived there when "
             "the rains come, and write the months over the columns.")
    if year is not None and plan.short_record:
        said += " The record is too short to be an average."
    sources = dict.fromkeys(row.task.source for row in rows_of(plan) if row.task is not None
                            and row.task.source != PRACTICE)
    why = "; ".join(f"{'what grows on banks' if 'FEMA' in name else 'standing water'}, {name}"
                    for name in sources)
    said += f" Tasks are {PRACTICE}" + (f", but {why}." if why else ".")
    column.text(said, 7.6 * blank.letters, sy.SOFT_INK, lead=1.25)
