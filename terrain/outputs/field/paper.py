"""The stakes on paper: a table with room for a tick and for what the staff read, work by work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont, stringWidth
from reportlab.pdfgen.canvas import Canvas

from terrain.outputs.drawing.paper import Paper, paper_of
from terrain.outputs.field.setting_out import SettingOut, Staked, runs_of
from terrain.outputs.field.words import cut_words

#: Sizes on paper. [mm]
MARGIN, ROW, HEAD, FOOT = 12.0, 6.2, 11.0, 7.0
#: Sizes of letters. [pt]
TITLE, WORDS, CELL, SMALL = 15.0, 9.0, 8.0, 7.0
#: Every other row is shaded so lightly that a pencil shows on it.
SHADE, LINE = "#f0f0ec", "#8a8a84"
#: What to make, where the whole of it is too long for its column.
BRIEF = {"top of the mound to leave": "top of mound (leave it)",
         "floor of the cut-off trench": "floor of the trench",
         "settled crest, set at its inner foot": "crest, at its foot"}
#: Points in a millimetre.
MM = 72 / 25.4
#: Lettering: the typeface of all drawings, which holds Greek and Cyrillic too.
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
#: Blank beside what stands in a cell. [mm]
ASIDE = 1.2


@dataclass(frozen=True)
class Column:
    """A column: its head, its share of the width, how it lies."""

    head: str
    wide: float
    lies: str = "right"


def write_paper(field: SettingOut, path: Path) -> None:
    """Write the table as a PDF on the site's paper: how to go about it first, then the stakes."""
    _lettering()
    paper = _lying(paper_of(field.plan.site))
    # The same plan gives the same bytes: no time of writing.
    canvas = Canvas(str(path), (paper.wide * MM, paper.high * MM), invariant=1,
                    initialFontName=PLAIN)
    for say, what in ((canvas.setTitle, "Stakes to set out"), (canvas.setCreator, "levelsill"),
                      (canvas.setAuthor, ""), (canvas.setSubject, "")):
        say(what)
    leaves = [*_first_leaves(field, paper), *_table_leaves(field, paper)]
    for number, leaf in enumerate(leaves, 1):
        page = _Page(canvas, paper)
        leaf(page)
        page.foot(f"{field.plan.site.name}: stakes to set out",
                  f"Page {number} of {len(leaves)}")
        canvas.showPage()
    canvas.save()


def _lettering() -> None:
    """Make the typeface known; it comes with matplotlib."""
    import matplotlib
    from reportlab.pdfbase.ttfonts import TTFont

    held = Path(matplotlib.get_data_path()) / "fonts/ttf"
    for name in {PLAIN, BOLD} - set(getRegisteredFontNames()):
        registerFont(TTFont(name, str(held / f"{name}.ttf")))


def _lying(paper: Paper) -> Paper:
    """No more than a clipboard holds: A4 or Letter."""
    from terrain.outputs.drawing.paper import PAPERS

    return PAPERS[{"A3": "A4", "Tabloid": "Letter"}.get(paper.name, paper.name)]


class _Page:
    """A page drawn in millimetres from its upper left corner."""

    def __init__(self, canvas: Canvas, paper: Paper) -> None:
        self.canvas, self.paper = canvas, paper

    def write(self, x: float, y: float, said: str, size: float = CELL, lies: str = "left",
              bold: bool = False) -> None:
        write = {"left": self.canvas.drawString, "right": self.canvas.drawRightString,
                 "center": self.canvas.drawCentredString}[lies]
        self.canvas.setFillColor("black")
        self.canvas.setFont(BOLD if bold else PLAIN, size)
        write(x * MM, (self.paper.high - y) * MM, said)

    def line(self, x0: float, y0: float, x1: float, y1: float, wide: float = 0.4) -> None:
        self.canvas.setStrokeColor(LINE)
        self.canvas.setLineWidth(wide)
        self.canvas.line(x0 * MM, (self.paper.high - y0) * MM, x1 * MM,
                         (self.paper.high - y1) * MM)

    def box(self, x: float, y: float, wide: float, high: float, fill: str | None = None) -> None:
        self.canvas.setLineWidth(0.6)
        self.canvas.setStrokeColor("black")
        self.canvas.setFillColor(fill or "white")
        self.canvas.rect(x * MM, (self.paper.high - y - high) * MM, wide * MM, high * MM,
                         stroke=fill is None, fill=fill is not None)

    def foot(self, left: str, right: str) -> None:
        y = self.paper.high - MARGIN + 2
        self.write(MARGIN, y, _short(left, self.paper.wide - 2 * MARGIN - 40, SMALL), SMALL)
        self.write(self.paper.wide - MARGIN, y, right, SMALL, "right")


def _wide(said: str, size: float, bold: bool = False) -> float:
    """How wide words are. [mm]"""
    return float(stringWidth(said, BOLD if bold else PLAIN, size)) / MM


def _short(said: str, room: float, size: float, bold: bool = False) -> str:
    """Words on one line, cut where they are wider than the room. [mm]"""
    said = " ".join(said.split())
    if _wide(said, size, bold) <= room:
        return said
    while said and _wide(said + "…", size, bold) > room:
        said = said[:-1]
    return said + "…"


def _first_leaves(field: SettingOut, paper: Paper) -> list[Any]:
    """How to go about it: what the figures mean, where the level stands."""
    step, top = 5.0, MARGIN + 16
    room = int((paper.high - top - MARGIN - 6) / step)
    chunks: list[list[tuple[str, bool]]] = [[]]
    for said, bold in _told(field):
        parts = simpleSplit(said, BOLD if bold else PLAIN, WORDS, (paper.wide - 2 * MARGIN) * MM)
        # A sentence is not parted over two pages, unless it is as long as one.
        if len(chunks[-1]) + min(len(parts) + bold, room) > room:
            chunks.append([])
        for part in parts or [""]:
            if len(chunks[-1]) == room:
                chunks.append([])
            chunks[-1].append((part, bold))

    def leaf(chunk: list[tuple[str, bool]], first: bool) -> Any:
        def draw(page: _Page) -> None:
            page.write(MARGIN, MARGIN + 7,
                       _short(f"Stakes to set out: {field.plan.site.name}",
                              paper.wide - 2 * MARGIN, TITLE, bold=True)
                       if first else "Before the first stake, continued", TITLE, bold=True)
            for i, (said, bold) in enumerate(chunk):
                page.write(MARGIN, top + i * step, said, WORDS, bold=bold)
        return draw

    return [leaf(chunk, i == 0) for i, chunk in enumerate(chunks)]


def _told(field: SettingOut) -> Iterator[tuple[str, bool]]:
    unit, sign = field.unit, field.unit.sign
    if unit.key != "m":
        yield "All levels and lengths are feet, tenths and hundredths, not inches.", True
    yield "What the columns mean", True
    yield ("A stake marks what to make and at which level. C is how deep to cut from the raster's "
           "ground to that level, F how high to fill. Staff is what the staff is planned to read "
           "with its foot at that level; find below what it must read on the day. Write what it "
           "reads beside it, and tick the stake."), False
    yield ("An offset stake stands out of the digger's way. Write on it its number, its offset "
           "and the cut or fill from its own ground to the stake's level, measured again with the "
           "level."), False
    yield ("The raster's ground is an estimate: where it and your reading differ by more than "
           f"{unit.of(field.plan.inputs.rules['level tolerance']):.2f} {sign}, trust the level "
           "and look again at the plan. Have buried lines marked before you drive a stake."), False
    yield "", False
    yield "Where the level stands", True
    mark = field.benchmark
    if mark is not None:
        yield (f"Benchmark: {_place(field, mark.x, mark.y)}, level "
               f"{unit.of(mark.level):.3f} {sign}."), False
    if field.set_ups:
        yield ("At each set-up read first the mark named. Where that is the benchmark and it reads "
               "otherwise than planned, add the difference to every staff figure of that set-up. "
               + ("Where it is a peg, do not: the staff figures there hold the raster's ground at "
                  "the peg, and are only what to expect. Line of sight = the peg's level as found "
                  "+ the reading on it; staff = line of sight less the stake's level. "
                  if field.pegs else "")
               + "Read the mark again before you move the level: it must read the same to "
               f"{'0.02 ft' if field.plan.site.units == 'us' else '5 mm'} "
               "(common practice, no source). The table below follows the set-ups."), False
    for set_up in field.set_ups:
        read = [s.number for s in field.stakes if s.set_up == set_up.number]
        leaves = [other.back for other in field.pegs if other.of == set_up.number]
        then = [f"then stake{'s' if len(read) > 1 else ''} {runs_of(read)}"] if read else []
        then += [f"before you leave, {' and '.join(leaves)}"] if leaves else []
        yield (f"Set-up {set_up.number}, near {_place(field, set_up.x, set_up.y)}, line of sight "
               f"planned at {unit.of(set_up.height):.3f} {sign}: read {set_up.back}, planned "
               f"{unit.of(set_up.back_reading):.3f} {sign}"
               + (", line of sight as found _______" if field.by_peg(set_up.number) else "")
               + "".join(f"; {what}" for what in then) + "."), False
    if field.pegs:
        yield "", False
        yield "Pegs that carry the level on", True
        yield ("They stand on natural ground that no work touches: drive them flush with it and "
               "leave them. A peg's level is the line of sight that it was read from first, less "
               "that reading. Its level and the reading on it from the next set-up, added, make "
               "the line of sight there, and each stake's staff is that less its level."), False
    for peg in field.pegs:
        first = unit.of(field.set_ups[(peg.of or 1) - 1].height - peg.back_level)
        yield (f"{peg.back[:1].upper()}{peg.back[1:]}: {_place(field, peg.back_x, peg.back_y)}, "
               f"ground {unit.of(peg.back_level):.2f} {sign}; from set-up {peg.of} planned "
               f"{first:.3f}, read _______; its level _______; from set-up {peg.number} planned "
               f"{unit.of(peg.back_reading):.3f}, read _______"), False
    yield "", False
    yield "What this rests on", True
    for note in field.notes:
        yield note, False


def _place(field: SettingOut, x: float, y: float) -> str:
    return field.plan.inputs.dem.named(x, y)


def _columns(field: SettingOut) -> list[Column]:
    sign = field.unit.sign
    found = [Column("done", 10, "center"), Column("stake", 11), Column("mark", 18, "left"),
             Column(f"station\n{sign}", 16), Column("east", 25), Column("north", 26),
             Column("what to make", 35, "left"), Column(f"its level\n{sign}", 21),
             Column(f"ground\n{sign}", 18), Column(f"cut / fill\n{sign}", 18)]
    if field.set_ups:
        found += [Column("set-\nup", 10), Column(f"staff\n{sign}", 17), Column("read", 19)]
    elif field.benchmark is not None:
        found += [Column(f"below\nbenchmark {sign}", 22), Column("read", 22)]
    else:
        found += [Column("read", 24)]
    return [*found, Column(f"offset\n{sign}", 29, "left"), Column(f"cut / fill\nthere, {sign}", 20)]


def _cells(field: SettingOut, staked: Staked) -> list[str]:
    stake, offset, of = staked.stake, staked.offset, field.unit.of
    source = field.plan.inputs.dem.frame.source
    places = 7 if source is not None and source.is_geographic else 2
    row = ["", str(staked.number), stake.mark, f"{of(stake.station):.2f}",
           f"{staked.at.east:.{places}f}", f"{staked.at.north:.{places}f}",
           BRIEF.get(stake.design_of, stake.design_of.removeprefix("spillway ")),
           f"{of(stake.design):.3f}", f"{of(stake.ground):.2f}", _c(field, stake.cut)]
    if field.set_ups:
        row += [str(staked.set_up or "–"),
                "–" if staked.reading is None else f"{of(staked.reading):.3f}", ""]
    elif field.benchmark is not None:
        row += [f"{of(field.benchmark.level - stake.design):.3f}", ""]
    else:
        row += [""]
    if offset is None:
        return [*row, "", ""]
    return [*row, f"{of(offset.distance):.1f} {offset.side}", _c(field, offset.cut)]


def _c(field: SettingOut, cut: float) -> str:
    """C and F, as they are written on stakes; common practice, no source."""
    return cut_words(field, cut).replace("cut", "C").replace("fill", "F").rsplit(" ", 1)[0]


def _sections(field: SettingOut) -> Iterator[tuple[str, list[Staked]]]:
    """The stakes by work, in the order in which the level is moved; those read by none last."""
    if not field.set_ups:
        yield from field.works.items()
        return
    for number in (*(set_up.number for set_up in field.set_ups), None):
        for work, staked in field.works.items():
            here = [one for one in staked if one.set_up == number]
            if here:
                yield (f"Read from no set-up: {work}" if number is None else
                       f"Set-up {number}: {work}"
                       + ("; staff = line of sight as found, less its level"
                          if field.by_peg(number) else ""), here)


def _table_leaves(field: SettingOut, paper: Paper) -> list[Any]:
    rows: list[tuple[str, Staked | None]] = []
    for head, staked in _sections(field):
        rows.append((head, None))
        rows += [(head, one) for one in staked]
    room = int((paper.high - 2 * MARGIN - HEAD - FOOT) / ROW)
    leaves, i = [], 0
    while i < len(rows):
        chunk = rows[i:i + room]
        if rows[i][1] is not None:  # a work that goes on is named again
            chunk = [(f"{rows[i][0]}, continued", None), *rows[i:i + room - 1]]
            i -= 1
        if len(chunk) == room and chunk[-1][1] is None:  # no heading alone at the foot
            chunk = chunk[:-1]
        i += len(chunk)
        leaves.append(_table(field, chunk))
    return leaves


def _table(field: SettingOut, rows: Sequence[tuple[str, Staked | None]]) -> Any:
    columns = _columns(field)

    def draw(page: _Page) -> None:
        factor = (page.paper.wide - 2 * MARGIN) / sum(c.wide for c in columns)
        lefts, x = [], MARGIN
        for column in columns:
            lefts.append(x)
            x += column.wide * factor
        right, y = x, MARGIN + HEAD
        for column, left in zip(columns, lefts, strict=True):
            for j, part in enumerate(column.head.split("\n")[::-1]):
                _cell(page, column, left, column.wide * factor, y - 2 - 3.4 * j, part, True)
        page.line(MARGIN, y, right, y, 1.0)
        shaded = False
        for work, staked in rows:
            if staked is None:
                page.write(MARGIN + 1, y + ROW - 1.6,
                           _short(work, right - MARGIN - 2, WORDS, bold=True), WORDS, bold=True)
                shaded = False
            else:
                if shaded:
                    page.box(MARGIN, y, right - MARGIN, ROW, SHADE)
                shaded = not shaded
                for column, left, said in zip(columns, lefts, _cells(field, staked), strict=True):
                    _cell(page, column, left, column.wide * factor, y + ROW - 2, said)
                page.box(lefts[0] + columns[0].wide * factor / 2 - 1.8, y + 1.2, 3.6, 3.6)
            y += ROW
            page.line(MARGIN, y, right, y)
        read = next(i for i, c in enumerate(columns) if c.head == "read")
        for left in (lefts[read], lefts[read + 1]):
            page.line(left, MARGIN + HEAD, left, y)
    return draw


def _cell(page: _Page, column: Column, left: float, wide: float, y: float, said: str,
          head: bool = False) -> None:
    at = {"left": left + ASIDE, "right": left + wide - ASIDE,
          "center": left + wide / 2}[column.lies]
    size = SMALL if head else CELL
    # No figure is ever cut: what is too wide for its column is written smaller.
    size *= min(1.0, (wide - 2 * ASIDE) / max(_wide(said, size, head), 1e-6))
    page.write(at, y, said, size, column.lies, head)
