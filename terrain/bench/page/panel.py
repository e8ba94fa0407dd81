"""What the page tells of the chosen work, and what can be set of it."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

from bokeh.models import (
    Button,
    CheckboxButtonGroup,
    Column,
    CustomJS,
    Div,
    NumericInput,
    Row,
    Select,
    Slider,
    TextInput,
)

from terrain.bench import answer, fields
from terrain.bench.laid import Laid
from terrain.bench.page import look
from terrain.bench.page.profile import Profile
from terrain.units import shown

#: Told when something of the chosen work is set: what, and to what.
Set = Callable[[str, Any], None]

#: Told by its heading's class, which no work's name can have.
NONE_CHOSEN = ("<h2 class='none'>Nothing is chosen</h2><p>Choose what a click does above the map, "
               "then click the ground. With \"Look\", a click chooses a work; drag its "
               "white handles to move it.</p>")


class Panel:
    """The chosen work.

    Parameters
    ----------
    set_to : callable
        Called with a field's name, or "name", "soaks", "roofs", "goal", "remove", "settled", and a
        value.
    """

    def __init__(self, set_to: Set) -> None:
        self._set, self._showing = set_to, False
        self.facts, self.storms = (Div(stylesheets=[look.words()], sizing_mode="stretch_width",
                                       name=name) for name in ("facts", "storms"))
        self.more = Div(stylesheets=[look.words()], sizing_mode="stretch_width")
        self.profile = Profile()
        self.dials = [Slider(start=0, end=1, value=0, step=1, css_classes=["hidden"],
                             stylesheets=[look.widgets()], sizing_mode="stretch_width",
                             margin=(4, 14, 14, 14)) for _ in range(3)]
        self.numbers = [NumericInput(mode="float", width=96, format="0.[00]",
                                     css_classes=["hidden"],
                                     stylesheets=[look.widgets()], margin=(14, 5, 5, 5))
                        for _ in self.dials]
        self._keys: list[fields.Dial] = []
        for number, typed in enumerate(self.numbers):
            typed.on_change("value", lambda a, old, new, n=number: self._typed(n, new))
        for number, dial in enumerate(self.dials):
            dial.on_change("value", lambda a, old, new, n=number: self._dialled(n, new))
            dial.on_change("value_throttled", lambda a, old, new: self._tell("settled", None))
        self.name = _input("Name", "name", self._tell)
        self.soaks = _input("Soaks at (or by its soil)", "soaks", self._tell)
        self.roofs = CheckboxButtonGroup(labels=[], stylesheets=[look.widgets()], name="roofs")
        self.roofs.on_change("active", lambda a, old, new: self._tell(
            "roofs", [self.roofs.labels[i] for i in new]))
        self.feeds = Column(children=[Div(text="<b>Roofs that feed it</b>",
                                          stylesheets=[look.words()]), self.roofs],
                            css_classes=["hidden"], stylesheets=[look.words()])
        self.goal = Select(title="Spills to", options=[], stylesheets=[look.widgets()],
                           sizing_mode="stretch_width")
        self.goal.on_change("value", lambda a, old, new: self._tell("goal", new))
        remove = Button(label="Remove", stylesheets=[look.widgets()], name="remove")
        remove.on_click(lambda: self._tell("remove", None))
        wide = "stretch_width"
        self.settings = Column(children=[
            *(Row(children=[dial, typed], sizing_mode=wide) for dial, typed in
              zip(self.dials, self.numbers, strict=True)),
            Row(children=[self.name, self.soaks], sizing_mode=wide), self.feeds,
            Row(children=[self.goal, remove], sizing_mode=wide)], sizing_mode=wide,
            name="settings")
        self.rest = Column(children=[self.profile.root, self.storms, self.more], name="rest",
                           sizing_mode=wide)
        # Out of sight by the page's own style, which costs no new layout.
        self.facts.js_on_change("text", CustomJS(code=(
            "document.documentElement.toggleAttribute('data-chosen', "
            "!cb_obj.text.startsWith(\"<h2 class='none'>\"));")))
        self.clear()

    @property
    def roots(self) -> list[Any]:
        """Its parts, from the top down."""
        return [self.facts, self.settings, self.rest]

    def _tell(self, what: str, value: Any) -> None:
        if not self._showing:
            self._set(what, value)

    def _dialled(self, number: int, value: float) -> None:
        if not self._showing and number < len(self._keys):
            dial = self._keys[number]
            self._set(dial.key, value / dial.factor)

    def _typed(self, number: int, value: float | None) -> None:
        if not self._showing and value is not None and number < len(self._keys):
            self._tell("settled", None)
            self._set(self._keys[number].key, value / self._keys[number].factor)
            self._tell("settled", None)

    def clear(self) -> None:
        """Nothing is chosen."""
        self.facts.text, self.storms.text, self.more.text = NONE_CHOSEN, "", ""

    def show(self, laid: Laid, name: str, system: str) -> None:
        """Figures, section and what each storm brings of a work."""
        self._showing = True
        try:
            work = laid.placed[laid.nodes_of(name)[0]].work
            self._show_settings(work, laid, system)
            rows = "".join(f"<tr><td>{escape(head)}</td><td>{escape(value)}</td></tr>"
                           for head, value in answer.figures(laid, name, system))
            storms = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>"
                             for row in answer.storm_rows(laid, name, system))
            self.facts.text = (
                f"<h2>{escape(name)}</h2><p class='small'>{escape(answer.kind_words(work))}</p>"
                f"<table id='figures'><tbody>{rows}</tbody></table>")
            self.storms.text = (
                "<h3>What each storm brings</h3><table id='storms'><thead><tr><th>Storm</th>"
                "<th>comes</th><th>caught</th><th>spilled</th></tr></thead>"
                f"<tbody>{storms}</tbody></table>")
            self.profile.show(laid, name, system)
        finally:
            self._showing = False

    def show_more(self, laid: Laid, name: str, system: str) -> None:
        """What takes longer: the year, why here, and cautions."""
        kept = answer.year_kept(laid, name)
        year = "" if kept is None else (f"<p>In an average year it keeps "
                                        f"<b>{escape(shown(kept, 'volume', system))}</b>.</p>")
        why = "".join(f"<li>{escape(said)}</li>" for said in answer.why(laid, name, system))
        said = answer.cautions(laid, name, system)
        warn = "".join(f"<li>{escape(one)}</li>" for one in said) or "<li>None of its own.</li>"
        fills = ("" if laid.placed[laid.nodes_of(name)[0]].kind == "drain" else
                 f"<p>{escape(answer.fills_at(laid, name, system))}</p>")
        self.more.text = (
            f"{fills}{year}<h3>Why here?</h3><ul>{why}</ul>"
            f"<h3 class='warn'>Cautions ({len(said)})</h3><ul class='warn'>{warn}</ul>"
            "<p class='small'>Figures are a planning aid. Local codes and licensed people come "
            "first, above all where water could reach a house, a road or a neighbour.</p>")

    def _show_settings(self, work: Any, laid: Laid, system: str) -> None:
        self._keys = fields.dials(work, laid, system)
        for slider, typed, dial in zip(self.dials, self.numbers, self._keys, strict=False):
            typed.value = round(dial.value, 2)
            look.hide(typed, False)
            look.hide(slider, False)
            slider.update(start=dial.low, end=dial.high, step=dial.step,
                          title=f"{dial.label}, {dial.unit}",
                          value=min(max(dial.value, dial.low), dial.high))
        for slider in (*self.dials[len(self._keys):], *self.numbers[len(self._keys):]):
            look.hide(slider, True)
        self.name.value = work.name
        words = fields.soaks_words(work, system)
        look.hide(self.soaks, words is None)
        self.soaks.value = words or ""
        roofs = fields.roofs(work, laid)
        look.hide(self.feeds, roofs is None)
        if roofs is not None:
            self.roofs.update(labels=roofs, active=[i for i, name in enumerate(roofs)
                                                    if name in work.roofs])
        look.hide(self.goal, work.kind == "drain" or getattr(work, "joined_with", None)
                  is not None)
        self.goal.update(options=fields.goals(work, laid), value=fields.goal_of(work))


def _input(title: str, what: str, tell: Set) -> TextInput:
    made = TextInput(title=title, stylesheets=[look.widgets()], sizing_mode="stretch_width",
                     max_length=120)
    made.on_change("value", lambda a, old, new: tell(what, new))
    return made
