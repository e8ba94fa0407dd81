"""The block at the foot of every printed page: what it is of, its scale, what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from terrain.inputs.elevation import Dem
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column, shortened
from terrain.outputs.drawing.map_features import datum_words, places_words
from terrain.outputs.drawing.paper import Paper

#: Size of its small words, and height of a line of them in sizes. [pt], [-]
SMALL, LEAD = 7.2, 1.26
#: What every page says of itself.
AID = "A planning aid: local codes and licensed people come first."
#: Height of its three heads. [pt]
HEADS = 44.0


@dataclass(frozen=True)
class Imprint:
    """What every page of a set says.

    Attributes
    ----------
    site, date : str
        `date` is a sentence that says where it is from, or leaves room to write one.
    paper : Paper
    system : str
        "metric" or "us".
    dem : Dem
    """

    site: str
    date: str
    paper: Paper
    system: str
    dem: Dem

    @property
    def of_levels(self) -> str:
        """Where levels come from, and from which datum."""
        return f"Levels are those of {self.dem.source}; {datum_words(self.dem)}"

    @property
    def of_places(self) -> str:
        """The coordinate system."""
        return places_words(self.dem.frame)

    @property
    def of_units(self) -> str:
        """The unit of lengths and levels."""
        return f"Lengths and levels in {'feet' if self.system == 'us' else 'metres'}."


class TitleBlock:
    """A page's block, drawn into the foot of a column."""

    def __init__(self, imprint: Imprint, title: str, scale: str = "", letters: float = 1.0) -> None:
        """`scale` in words; "" for a page that is not to scale; `letters` are so many times as
        large as on A4."""
        self.imprint, self.title, self.scale, self.letters = imprint, title, scale, letters

    def lines(self, column: Column, more: Sequence[str] = ()) -> list[str]:
        """Its small lines, those of a page among them."""
        made = self.imprint
        ground = [made.of_levels, made.of_places] if self.scale else []
        print_at = "Print at full size, not fitted to the page." if self.scale else ""
        said = [*more, *ground, made.of_units, made.date, print_at, AID]
        return column.wrapped(" ".join(part for part in said if part), SMALL * self.letters,
                              0.965 * column.width)

    def height(self, column: Column, more: Sequence[str] = ()) -> float:
        """Room that it takes at a column's foot, a gap above it included. [pt]"""
        return (HEADS + len(self.lines(column, more)) * SMALL * LEAD) * self.letters + 12

    def draw(self, column: Column, more: Sequence[str] = ()) -> None:
        """Draw it; the page's number is filled in by `number_page`."""
        lines = self.lines(column, more)
        column.y = -column.height + self.height(column, more) - 8
        column.rule(sy.INK)
        column.skip(3)
        wide, figure = column.width, column.ax.get_figure()
        assert isinstance(figure, Figure)
        large, small = sy.LABEL_SIZE * self.letters, sy.SMALL_SIZE * self.letters
        column.ax.text(wide, column.y - 7 * self.letters, "page 00 of 00", fontsize=small,
                       ha="right", va="center", gid="page number")
        column.row([(0, "left", shortened(figure, self.imprint.site, large,
                                          wide - 80 * self.letters, "bold"))], large,
                   weight="bold", lead=1.35)
        column.row([(0, "left", shortened(figure, self.title, small, wide))], small, lead=1.4,
                   gid="page title")
        scale = (f"Scale {self.scale} on {self.imprint.paper.name} paper" if self.scale else
                 "Not to scale")
        column.row([(0, "left", scale)], small, lead=1.4, weight="bold", gid="scale")
        column.skip(1.5)
        for line in lines:
            column.text(line, SMALL * self.letters, sy.SOFT_INK, lead=LEAD, gid="imprint")


def number_page(figure: Figure, number: int, count: int) -> None:
    """Say in a page's block which of how many it is, and where what is cut goes on."""
    texts = [text for ax in figure.axes for text in ax.texts]
    for text in (*texts, *figure.texts):  # `findobj` would make the ticks of axes that show none
        said = {"page number": f"page {number} of {count}",
                "page after": f"to page {number + 1}",
                "page before": f"from page {number - 1}"}.get(str(text.get_gid()))
        if said is not None:
            text.set_text(said)
