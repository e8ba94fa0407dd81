"""What of the ground the map shows: a picture, lines, tints; and the key to it."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from bokeh.models import (
    Button,
    CheckboxButtonGroup,
    Column,
    CustomJS,
    Div,
    RadioButtonGroup,
    Row,
)

from terrain.bench.layers.lines import Contours, FlowWays
from terrain.bench.page import look
from terrain.bench.page.drawn import tints_of

if TYPE_CHECKING:
    from terrain.bench.page.page import Page

#: What is switched on and off, and what of it is on at first.
LINES, ON = ("Contours", "Flow lines", "Catchments", "Names", "Spills"), [0, 1, 3, 4]
#: Lines are drawn anew when so much less is shown than they were drawn for, and this share beyond
#: what is shown. [-]
FINER, PAD = 2.5, 0.35
#: And not before the map has stood still for so long. [ms]
STILL = 350


class GroundShown:
    """The switches below the map of a page.

    Parameters
    ----------
    page : Page
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        pictures = page.shared.pictures
        names = [name for name in pictures.names if name != "hillshade"]
        self._overs = ["", *names]
        self.over = RadioButtonGroup(labels=["Ground", *(pictures.label(name) for name in names)],
                                     active=0, stylesheets=[look.widgets()], name="over")
        self.over.on_change("active", page.safely(lambda a, old, new: self.show_over()))
        self.lines = CheckboxButtonGroup(labels=list(LINES), active=ON, name="lines",
                                         stylesheets=[look.widgets()])
        self.lines.on_change("active", page.safely(lambda a, old, new: self.show_lines()))
        self.key = Div(stylesheets=[look.words()])
        whole = Button(label="Whole site", stylesheets=[look.widgets()], name="whole")
        whole.js_on_click(CustomJS(args={"map": page.board.map}, code=(
            "globalThis.benchTouched = false;\n" + look.read("scale.js"))))
        buttons = Row(children=[self.over, self.lines, whole], styles={"flex-wrap": "wrap"},
                      sizing_mode="stretch_width")
        self.root = Column(children=[buttons, self.key], name="shows",
                           sizing_mode="stretch_width")
        self._first_lined = self._lined = page.inputs.dem.bounds
        self._contours_said = page.shared.contours(page.system).words

    def tell_in(self, system: str) -> None:
        """Contours in another system of units."""
        made = self.page.shared.contours(system)
        self._lined, self._contours_said = self._first_lined, made.words
        self.page.board.tell_in(system)
        self.page.board.line(made, None)
        self.page.later("lines", self.draw_lines, STILL)
        self.show_key()

    def tint(self) -> None:
        """Tint the catchments if they are switched on."""
        on = LINES.index("Catchments") in self.lines.active
        self.page.board.tint(tints_of(self.page.desk.laid) if on else None)

    def draw_lines(self) -> None:
        """Contours and ways of the water that suit what is shown, drawn aside."""
        view, whole = self.page.board.view, self.page.inputs.dem.bounds
        west, south = (max(view[i], whole[i]) for i in (0, 1))
        east, north = (min(view[i], whole[i]) for i in (2, 3))
        if west >= east or south >= north:
            return
        left, bottom, right, top = self._lined
        wide = east - west
        inside = left <= west and bottom <= south and east <= right and north <= top
        if inside and wide * FINER > right - left:
            return
        pad = wide * PAD
        self._lined = bounds = (max(west - pad, whole[0]), max(south - pad, whole[1]),
                                min(east + pad, whole[2]), min(north + pad, whole[3]))
        system, across = self.page.system, (bounds[2] - bounds[0]) / self.page.board.per_point

        def draw() -> None:
            found = self.page.shared.lines(system, bounds, across)
            self.page.doc.add_next_tick_callback(lambda: self._lines_drawn(view, system, *found))
        self.page.shared.aside.submit(draw)

    def _lines_drawn(self, view: tuple[float, float, float, float], system: str,
                     made: Contours, ways: FlowWays) -> None:
        if system == self.page.system and view == self.page.board.view:
            self.page.board.line(made, ways)
            self._contours_said = made.words
            self.show_key()
        else:
            self._lined = self._first_lined
            self.page.later("lines", self.draw_lines, STILL)

    def show_lines(self) -> None:
        """Switch lines, tints and names on and off."""
        on = set(self.lines.active)
        for glyphs in self.page.board.contours:
            glyphs.visible = 0 in on
        for glyphs in self.page.board.flow:
            glyphs.visible = 1 in on
        self.tint()
        for glyphs in self.page.board.names:
            glyphs.visible = 3 in on
        self.page.board.spills.visible = 4 in on
        self.show_key()

    def show_over(self) -> None:
        """Lay the chosen picture over the hillshade."""
        name = self._overs[self.over.active or 0]
        self.page.board.over(self.page.shared.picture_address(name) if name else "")
        self.show_key()

    def show_key(self) -> None:
        """Say what colours mean."""
        name = self._overs[self.over.active or 0]
        entries = self.page.shared.pictures.key(name, self.page.system) if name else ()
        said = [f"<span><i style='background:{escape(e.colour, quote=True)}'></i>"
                f"{escape(e.words)}</span>" for e in entries]
        if 0 in self.lines.active:
            said.append(f"<span>{escape(self._contours_said)}</span>")
        self.key.text = f"<div class='key'>{''.join(said)}</div>"
