"""The pages of the set that are charts: the cascade, passive beside roof, the water of a year."""

from __future__ import annotations

from collections.abc import Iterator

from terrain.outputs.charts.cascade_boxes import Flows, flows_of
from terrain.outputs.charts.cascade_diagram import ENTRY, GAP, LOW_HEAD, Layout, canvas
from terrain.outputs.charts.charts import (
    bars_high,
    draw_bars,
    record_words,
    storms_told,
    years_told,
)
from terrain.outputs.charts.doubt_charts import draw_ranges, ranges_high
from terrain.outputs.charts.year_panels import PANELS
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.plan_set.page import Blank, Page
from terrain.outputs.sheets.sheet import GUTTER, MARGIN
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS
from terrain.units import shown

#: A cascade is drawn no smaller than this, so that its least letters keep six points. [-]
SMALLEST = 0.75
#: What says where a cascade goes on stands so far from the cut. [in]
LEADS = 0.12
#: Height of a row of bars at least where storms and years share a page, and at most. [in]
CLOSE_ROW, WIDE_ROW = 0.42, 0.75


@sy.styled
def cascade_pages(plan: Plan, imprint: Imprint) -> list[Page]:
    """The cascade in the design storm and in the average year, some rows of it a page."""
    if not plan.stores:
        return []
    design, system = plan.site.rain.design, plan.site.units
    drawn = [("Cascade in the design storm", flows_of(
        plan, f"storm \"{design.name}\": {shown(design.depth, 'rain', system)} in "
        f"{design.duration:g} h, stores empty before", plan.storms[design.name]))]
    if plan.year is not None and plan.seasons is not None:
        name = next((name for name, account in plan.accounts if account is plan.year),
                    YEARS[False])
        depth = shown(plan.seasons.mean(plan.seasons.rain_mm), "rain", system)
        drawn.append(("Cascade in the average year",
                      flows_of(plan, f"{name}: {depth} of rain", plan.year)))
    return [page for title, flows in drawn for page in _cascade(title, flows, imprint)]


def _cascade(title: str, flows: Flows, imprint: Imprint) -> Iterator[Page]:
    made = Layout(flows, imprint.system)
    across, up = imprint.paper.inches
    blank = Blank(imprint, title)
    shrink, cuts = _parted(made, blank)
    for number, (first, last) in enumerate(cuts):
        if number:
            blank = Blank(imprint, f"{title}, continued")
        tall = made.high(first, last, low=True) * shrink / 72
        ax = canvas(blank.figure, (MARGIN / across, (blank.ceiling - tall) / up,
                                   made.wide * shrink / 72 / across, tall / up),
                    made.wide, made.high(first, last, low=True))
        made.draw(blank.figure, ax, first, last, shrink)
        if number:
            _leads(blank, made, first, blank.ceiling - LEADS, "page before")
        if last < len(made.rows):
            _leads(blank, made, last, blank.ceiling - tall + LEADS, "page after")
        if last == len(made.rows):
            below = Column(blank.figure, MARGIN, MARGIN,
                           blank.wide - blank.block_wide - 2 * GUTTER,
                           blank.floor - MARGIN - 0.1)
            below.text(flows.account, sy.SMALL_SIZE * blank.letters, sy.SOFT_INK, gid="account")
        yield blank.page


def _leads(blank: Blank, made: Layout, row: int, y: float, gid: str) -> None:
    """Say beside the lines that are cut above a row where they go on, or come from. [in]"""
    across, up = blank.figure.get_size_inches()
    ends = [item.x / made.wide for item in made.rows[row]]
    wide = blank.figure.axes[-1].get_position().width * across
    free = blank.wide - blank.block_wide if gid == "page after" else blank.wide
    beside = (ENTRY + 14.0) * wide / made.wide  # clear of a line that comes in beside a box
    room = 0.75 * blank.letters
    x = MARGIN + max(ends) * wide + beside
    x = x if x < MARGIN + free - room else max(MARGIN + min(ends) * wide - beside - room, MARGIN)
    y = max(y, MARGIN + 0.06 * blank.letters)
    blank.figure.text(x / across, y / up, "page 00", fontsize=sy.SMALL_SIZE * blank.letters,
                      color=sy.SOFT_INK, fontstyle="italic", va="center", gid=gid)


def _parted(made: Layout, blank: Blank) -> tuple[float, list[tuple[int, int]]]:
    """How much smaller a cascade is drawn, and the rows of each of its pages: on as few pages as
    at its smallest, as large as they hold."""
    wide, high = blank.wide * 72, (blank.ceiling - blank.floor) * 72
    whole = min(wide / made.wide, high / made.high(0, len(made.rows), low=True))
    least = min(max(SMALLEST, whole), 1.0)
    few = _cuts(made, blank, least)
    for percent in range(round(100 * blank.letters), round(least * 100), -2):
        cuts = _cuts(made, blank, percent / 100)
        if made.wide * percent / 100 <= wide and len(cuts) <= len(few):
            return percent / 100, cuts
    return least, few


def _cuts(made: Layout, blank: Blank, shrink: float) -> list[tuple[int, int]]:
    """First row of each page, and the row after its last, where a cascade is drawn so small."""
    wide, high = blank.wide * 72, (blank.ceiling - blank.floor) * 72
    count, first = len(made.rows), 0
    cuts: list[tuple[int, int]] = []
    while first < count:
        last = first + max(_rows_in(made, high / shrink), 1)
        if last < count:  # rows beside the title block may reach further down
            deeper = first + _rows_in(made, (blank.ceiling - MARGIN) * 72 / shrink)
            free = (wide - blank.block_wide * 72 - 8) / shrink
            # What leads on to the row after them keeps off it too.
            if all(item.x + item.wide / 2 < free for row in made.rows[last:deeper + 1]
                   for item in row):
                last = max(last, min(deeper, count - 1))
        last = min(last, count)
        if last == count and made.high(first, last, low=True) > high / shrink and last - first > 1:
            last -= 1  # the open ground takes its room too
        cuts.append((first, last))
        first = last
    return cuts


def _rows_in(made: Layout, high: float) -> int:
    """So many rows of a cascade find room in a height. [pt]"""
    return int((high - LOW_HEAD + 0.6 * GAP) / (made.row + GAP) + 1e-9)


@sy.styled
def beside_pages(plan: Plan, imprint: Imprint) -> list[Page]:
    """Passive beside roof capture, storm by storm and year by year."""
    groups = [(name, told) for name, told in (("Each storm", storms_told(plan)),
                                              ("Each year", years_told(plan))) if told]
    title = "Passive beside roof capture"
    blank = Blank(imprint, title)
    room = blank.ceiling - blank.floor
    row = 0.55 * imprint.paper.grows
    together = sum(len(told) for _, told in groups)
    spare = room - sum(bars_high(told, 0.0) for _, told in groups)
    if together and spare / together >= CLOSE_ROW:  # all on one page
        row, places = min(row, spare / together), [groups]
    else:
        places = [[group] for group in groups]
    pages = []
    for number, place in enumerate(places):
        if number:
            blank = Blank(imprint, f"{title}, continued")
        top = blank.ceiling
        for name, told in place:
            fits = row if len(place) > 1 else min(
                max(row, (room - bars_high(told, 0.0)) / len(told)), WIDE_ROW)
            draw_bars(blank.figure, blank.left, top, blank.wide, name, told, plan.site.units, fits)
            top -= bars_high(told, fits)
        pages.append(blank.page)
    return pages


@sy.styled
def year_pages(plan: Plan, imprint: Imprint) -> list[Page]:
    """The water of a year: rain, captures, what trees want and get; levels of tanks and works."""
    pages: list[Page] = []
    if plan.seasons is None:
        return pages
    title, blank, top = "Water of a year", None, 0.0
    for draw, tall in PANELS:
        high = tall(plan)
        if not high:
            continue
        if blank is None or top - high < blank.floor:
            blank = Blank(imprint, title if blank is None else f"{title}, continued",
                          record_words(plan))
            top = blank.ceiling - 0.1
            pages.append(blank.page)
        draw(blank.figure, blank.left, top, blank.wide, plan)
        top -= high
    return pages


@sy.styled
def doubt_pages(plan: Plan, imprint: Imprint) -> list[Page]:
    """How sure the figures are, where that was asked for."""
    if plan.doubt is None:
        return []
    blank = Blank(imprint, "How sure is this?")
    room = blank.ceiling - blank.floor
    draw_ranges(blank.figure, blank.left, blank.ceiling, blank.wide, plan,
                min(1.0, room / ranges_high(plan)))
    return [blank.page]
