"""Pages of the set: paper with a title block, and what is drawn or written on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.title_block import Imprint, TitleBlock
from terrain.outputs.sheets.sheet import GUTTER, MARGIN

#: A column of text on A4 is about this wide. [in]
TEXT_WIDE = 3.2
#: Gap between columns of figures. [pt]
TABLE_GAP = 9.0
#: So many lines at most a name has beside its value.
MOST_LINES = 2
#: Height of a page's title. [in]
TITLE = 0.5


@dataclass
class Page:
    """A page that is drawn.

    Attributes
    ----------
    title : str
    figure : Figure
    work : str
        Of which work of the site file it is; "" for one of the whole site.
    part : str
        The part of the set that it belongs to, by a name of its own; "" for the plan itself.
    """

    title: str
    figure: Figure
    work: str = ""
    part: str = ""


class Blank:
    """A page with its title and its title block, and room to write and draw on between them."""

    def __init__(self, imprint: Imprint, title: str, subtitle: str = "", work: str = "",
                 top: float = 0.0, letters: float = 1.0) -> None:
        """`top` is what is kept free of text below the title, for drawings [in]; its text is
        `letters` times as large as is usual on its paper."""
        across, up = imprint.paper.inches
        self.figure = Figure(figsize=(across, up), dpi=sy.DPI, facecolor=sy.PAPER)
        self.page = Page(title, self.figure, work)
        self.figure.text(MARGIN / across, 1 - (MARGIN + 0.15) / up, title,
                         fontsize=17 * imprint.paper.letters,
                         fontweight="bold", va="center", gid="title")
        if subtitle:
            self.figure.text(1 - MARGIN / across, 1 - (MARGIN + 0.15) / up, subtitle, ha="right",
                             fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="note")
        self.wide = across - 2 * MARGIN
        #: How much larger than on A4 letters are.
        self.letters = imprint.paper.letters * letters
        text = TEXT_WIDE * imprint.paper.letters
        count = max(int((self.wide + GUTTER) / (text + GUTTER)), 1)
        each = (self.wide - (count - 1) * GUTTER) / count
        block = TitleBlock(imprint, title if not work else
                           f"{work}: {title[:1].lower()}{title[1:]}", letters=imprint.paper.letters)
        foot = Column(self.figure, across - MARGIN - each, MARGIN, each, up - 2 * MARGIN)
        below = block.height(foot) / 72
        block.draw(foot)
        #: Bottom and top of the room between title and block, and its left edge. [in]
        self.floor, self.ceiling, self.left = MARGIN + below, up - MARGIN - TITLE, MARGIN
        self.block_wide = each
        self.count, self._top, self._below = count, top, below
        self._columns: dict[int, Column] = {}

    def column(self, index: int) -> Column:
        """A column for text, made when it is first asked for: a page of charts needs none."""
        if index not in self._columns:
            floor = self._below if index == self.count - 1 else 0.0
            self._columns[index] = Column(
                self.figure, MARGIN + index * (self.block_wide + GUTTER), MARGIN + floor,
                self.block_wide, self.ceiling - self._top - MARGIN - floor)
        return self._columns[index]


class Flow:
    """Text that fills the columns of a page one after the other, then those of the next page."""

    def __init__(self, first: Blank, following: Callable[[], Blank]) -> None:
        self.pages, self.following = [first], following
        self.at = 0

    @property
    def column(self) -> Column:
        """The column that is being filled."""
        return self.pages[-1].column(self.at)

    @property
    def letters(self) -> float:
        """How much larger than on A4 letters are."""
        return self.pages[-1].letters

    def need(self, room: float) -> None:
        """Go on in the next column if less room than this is left. [pt]"""
        if self.column.room >= room:
            return
        self.at += 1
        if self.at == self.pages[-1].count:
            self.pages.append(self.following())
            self.at = 0

    def turn(self) -> None:
        """Go on in the next column of the page, if there is one and this one is begun."""
        if self.column.y < 0 and self.at + 1 < self.pages[-1].count:
            self.at += 1

    def head(self, words: str, room: float = 40.0) -> None:
        """A heading, with room for what follows it. [pt]"""
        size = (sy.HEAD_SIZE - 1) * self.letters
        self.need(room * self.letters + size * 1.32 + 11)
        if self.column.y < 0:
            self.column.skip(9)
        self.column.text(words, size, weight="bold")
        self.column.skip(2)

    def text(self, words: str, size: float = sy.SMALL_SIZE, colour: str = sy.INK,
             weight: str = "normal", gap: float = 3.5, number: str = "") -> None:
        """A paragraph; a number hangs in the margin beside it."""
        size *= self.letters
        left = 17.0 * self.letters if number else 0.0
        lines = self.column.wrapped(words, size, self.column.width - left, weight)
        self.need(min(len(lines), 3) * size * 1.32)
        for i, line in enumerate(lines):
            # Two lines or more go over together: the last one never stands alone.
            self.need(size * 1.32 * (2 if i and i == len(lines) - 2 else 1))
            if number and i == 0:
                self.column.ax.text(0, self.column.y - size * 0.66, number, fontsize=size,
                                    color=colour, va="center", fontweight="bold", gid="column")
            self.column.text(line, size, colour, weight, left)
        self.column.skip(gap)

    def blank(self, words: str, size: float = sy.SMALL_SIZE) -> None:
        """Words, and a line to write on."""
        size *= self.letters
        self.need(size * 2.1)
        column, y = self.column, self.column.y - size * 1.5
        column.ax.add_line(Line2D([column.wide(words, size) + 6, column.width], [y, y],
                                  color=sy.FAINT_INK, linewidth=0.7))
        column.row([(0.0, "left", words)], size, sy.SOFT_INK, lead=2.1)

    def rows(self, rows: Sequence[tuple[str, str]], size: float = sy.SMALL_SIZE) -> None:
        """Names and figures, one a line; a name that is too long goes on below itself."""
        size *= self.letters
        for name, value in rows:
            room = self.column.width - self.column.wide(value, size) - 10
            lines = self.column.wrapped(name, size, room)
            below = len(lines) > MOST_LINES  # beside a long value: that goes below its name
            if below:
                lines = self.column.wrapped(name, size, self.column.width)
            self.need((len(lines) + below) * size * 1.36)
            if below:
                for line in lines:
                    self.column.row([(0.0, "left", line)], size, lead=1.36)
                self.column.row([(self.column.width, "right", value)], size, lead=1.36)
                continue
            for i, line in enumerate(lines):
                cells = [(0.0, "left", line)]
                if i == 0:
                    cells.append((self.column.width, "right", value))
                self.column.row(cells, size, lead=1.36)

    def places(self, rows: Sequence[Sequence[str]], size: float = sy.SMALL_SIZE) -> list[float]:
        """Places of a table's columns of figures, each as wide as its widest, the last one at the
        column's edge."""
        size *= self.letters
        found, at = [], self.column.width
        for cells in reversed(list(zip(*rows, strict=True))[1:]):
            found.append(at / self.column.width)
            at -= max(self.column.wide(cell, size) for cell in cells) + TABLE_GAP * self.letters
        return found[::-1]

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]],
              places: Sequence[float], size: float = sy.SMALL_SIZE) -> None:
        """Columns of figures, the first one of names; a place is a share of the column's width."""
        def cells(values: Sequence[str]) -> list[tuple[float, str, str]]:
            wide = self.column.width
            return [(0.0, "left", values[0]), *((wide * at, "right", value) for at, value in
                                                zip(places, values[1:], strict=True))]
        size *= self.letters
        self.need(size * 1.4 * 3)
        self.column.row(cells(heads), size - 0.8, sy.SOFT_INK, lead=1.4)
        first = self.column.width * places[0] - 10
        for row in rows:
            room = first - self.column.wide(row[1], size) if len(row) > 1 else first
            lines = self.column.wrapped(row[0], size, room)
            self.need(len(lines) * size * 1.36)
            for line in lines[:-1]:
                self.column.row([(0.0, "left", line)], size, lead=1.36)
            self.column.row(cells([lines[-1], *row[1:]]), size, lead=1.36)
        self.column.skip(3)
