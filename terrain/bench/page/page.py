"""The bench's page: clicks, drags and keys on the map become changes of the works."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from contextlib import suppress
from functools import wraps
from html import escape
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
from bokeh.document import Document
from bokeh.events import DocumentReady, MouseMove, RangesUpdate, Tap
from bokeh.models import Button, Column, CustomJS, Div, RadioButtonGroup, Row, TextInput
from jinja2 import Environment, FileSystemLoader

from terrain.bench import fields
from terrain.bench.desk import Desk, Step
from terrain.bench.handles import handles_of, moved
from terrain.bench.page import look
from terrain.bench.page.board import FINE, STRIDE, ZOOM, Board
from terrain.bench.page.clicks import Clicks
from terrain.bench.page.errand_bar import ErrandBar, cell_to_prove
from terrain.bench.page.ground_shown import GroundShown
from terrain.bench.page.panel import Panel
from terrain.bench.page.saving import Saving
from terrain.bench.page.shared import Shared
from terrain.bench.page.storm import Storm
from terrain.bench.page.words import plain
from terrain.bench.sketch import Sketch
from terrain.errors import InputError
from terrain.plan.siting.reading import Inputs
from terrain.units import shown

#: A drag is over when nothing has moved for so long; what can wait waits so long. [ms]
SETTLED, SOON, AT_ONCE = 350, 220, 8
#: But what is asked for again and again does not wait longer than this. [s]
LONGEST_WAIT = 0.12
#: A glance at the errand. [ms]
GLANCE = 500
#: Numbers of the pages.
PAGES = count()


def make_document(doc: Document, shared: Shared) -> None:
    """Fill a new document with the page."""
    Page(doc, shared)


class Page:
    """One page that is open.

    Attributes
    ----------
    chosen : str or None
        The work that is told of beside the map.
    system : str
        Units that are shown, metric or us.
    """

    def __init__(self, doc: Document, shared: Shared) -> None:
        self.doc, self.shared, self.sitting = doc, shared, shared.sitting
        self.system: str = self.sitting.inputs.site.units
        self.chosen: str | None = None
        self._mark: tuple[float, float] | None = None
        self._place: tuple[float, float] | None = None
        self._soon = self._done = self._glances = 0
        self._drags = next(PAGES) << 32  # no drag of a page is one with another page's
        self._spilt: dict[str, float] = {}
        self._pending: dict[str, tuple[Callable[[], None], float, Any]] = {}
        self._acting = False
        self._timer: Any = None
        self.board = Board(shared.ground(self.system), self._dragged)
        self.clicks, self.ground, self.saving = Clicks(self), GroundShown(self), Saving(self)
        self.panel = Panel(self.safely(self._set))
        self.storm = Storm(self.desk.laid, self.system,
                           lambda: self.later("storm", self._show_storm))
        self._make()
        self.sitting.lookers.append(self._looked)
        doc.on_session_destroyed(lambda _: self._gone())
        self.ground.show_lines()
        self.ground.show_over()
        self.show()
        self.saving.offer_aside()

    @property
    def desk(self) -> Desk:
        """The works as they are."""
        return self.sitting.desk

    @property
    def inputs(self) -> Inputs:
        """What was read of the site."""
        return self.sitting.inputs

    @property
    def sketch(self) -> Sketch:
        """Clicks as entries of the site file."""
        return self.sitting.sketch

    # The parts.

    def _make(self) -> None:
        def button(label: str, do: Callable[[], object]) -> Button:
            made = Button(label=label, name=label.lower(), stylesheets=[look.widgets()])
            made.on_click(self.safely(do))
            return made

        self._undo = button("Undo", lambda: self.do(Desk.undo))
        self._redo = button("Redo", lambda: self.do(Desk.redo))
        self._units = RadioButtonGroup(labels=["Metric", "US"], stylesheets=[look.widgets()],
                                       active=1 if self.system == "us" else 0, name="units")
        self._units.on_change("active", self.safely(
            lambda a, old, new: self._tell_in("us" if new else "metric")))
        self._state = Div(stylesheets=[look.words()], name="state", width=190)
        self._where = Div(text="", stylesheets=[look.words()], name="where", width=420)
        self._said = Div(stylesheets=[look.note()], sizing_mode="stretch_width",
                         css_classes=["hidden"])
        self._under = Div(stylesheets=[look.note()], sizing_mode="stretch_width",
                          css_classes=["hidden"])
        self._errands = ErrandBar(self.shared.runs, self.saving.saved_file, self._to_prove,
                                  lambda: self.desk.works, self.say)
        self._wire = TextInput(name="wire", value="")
        self._wire.on_change("value", self.safely(lambda a, old, new: self._heard(new)))
        steps = Row(children=[self._undo, self._redo, button("Save", self.saving.save),
                              self._units, self._state], name="steps")
        said = Column(children=[self._under, self._said, self.saving.asks], name="said",
                      sizing_mode="stretch_width")
        roots = [steps, self._errands.root, self._errands.told, self.clicks.choice,
                 self.board.map, self._where, self.ground.root, said, self.storm.root,
                 *self.panel.roots, self.storm.table, self._wire]
        self._listen()
        with self.doc.models.freeze():  # else all of it is counted anew at each
            for root in roots:
                self.doc.add_root(root)
        folder = Path(look.__file__).parent
        self.doc.template = Environment(  # bokeh's parts of it are markup; a name is escaped
            loader=FileSystemLoader(folder), autoescape=False).get_template("bench.html")
        self.doc.title = self.inputs.site.name
        self.doc.template_variables.update(site=self.inputs.site.name, css=look.read("bench.css"))
        self.doc.add_periodic_callback(self.safely(self._glance), GLANCE)

    def _listen(self) -> None:
        """Hear the map and the keyboard."""
        fig, wire = self.board.map, {"wire": self._wire}
        fig.on_event(Tap, self.safely(self._tapped))
        fig.on_event(RangesUpdate, lambda event: self.later("scale", self._scaled))
        fig.js_on_event(MouseMove, CustomJS(args=wire, code=look.read("pointer.js")))
        self.doc.js_on_event(DocumentReady, CustomJS(args=wire, code=look.read("keys.js")))
        # Shown as busy from the click until the answer is there.
        fig.js_on_event(Tap, CustomJS(code="document.documentElement.dataset.busy = '';"))
        self._state.js_on_change("tags", CustomJS(
            code="delete document.documentElement.dataset.busy;"))

    def _tapped(self, event: Tap) -> None:
        self._mark = None
        self.board.mark(None)
        self._at(event.x, event.y)
        self.clicks.click(event.x, event.y)

    def _glance(self) -> None:
        """See how far the errand is, and whether another program wrote the site file or what it
        names."""
        self._errands.look()
        self._glances += 1
        if self._glances % 4 == 0:
            self._tell_state()
            self._tell_underneath()

    def _tell_state(self) -> None:
        words = ("<p class='warn'><b>Not saved yet</b></p>" if self.desk.unsaved else
                 "<p>Saved</p>")
        if self.sitting.file.changed():
            words = "<p class='warn'><b>The file was changed by another program</b></p>"
        if self._state.text != words:
            self._state.text = words

    def _tell_underneath(self) -> None:
        words = self.sitting.underneath()
        text = f"<p class='warn'><b>{escape(words)}</b></p>" if words else ""
        if self._under.text != text:
            self._under.text = text
            look.hide(self._under, not words)

    def _gone(self) -> None:
        with suppress(ValueError):
            self.sitting.lookers.remove(self._looked)

    def _looked(self, said: str) -> None:
        if not self._acting:  # another page, or the file, changed it
            with suppress(AttributeError):  # a document that is just being thrown away
                self.doc.add_next_tick_callback(self.safely(self.show))

    # Doing something.

    def safely(self, do: Callable[..., object]) -> Callable[..., None]:
        """The same, but what goes wrong is told on the page."""
        @wraps(do)  # bokeh asks how many arguments it takes
        def done(*given: Any) -> None:
            try:
                do(*given)
            except InputError as error:
                self.say(error)
            except Exception as error:
                if os.environ.get("LEVELSILL_TRACE"):
                    raise
                self.say(f"This is a fault of levelsill itself ({type(error).__name__}: {error}). "
                         "What was saved stands. Please report it with what you did; if the page "
                         "looks wrong now, load it again.")
            finally:
                self._done += 1
                self._state.tags = [self._done]
        return done

    def do(self, change: Callable[[Desk], Step], choose: str | None = None,
           quick: bool = False) -> bool:
        """Change something; a refusal is told and leaves all as it was.

        Parameters
        ----------
        choose : str, optional
            The work to tell of from then on.
        quick : bool
            It is one of many changes in a row: what takes longer comes when they end.
        """
        self._acting = True
        try:
            self.sitting.do(change)
        except InputError as error:
            self.say(error)
            return False
        finally:
            self._acting = False
        self.chosen = choose or self.chosen
        self.say("")
        self.show(quick)
        return True

    def later(self, key: str, what: Callable[[], object], wait: int = AT_ONCE) -> None:
        """Do the newest of what is asked for under a key, when what came with it is read. [ms]"""
        _, since, timer = self._pending.get(key, (None, time.monotonic(), None))
        if timer is not None:
            # What has come meanwhile is read first, else each of many moves would be reckoned.
            if time.monotonic() - since > LONGEST_WAIT:
                self._pending[key] = self.safely(what), since, timer
                return
            with suppress(ValueError):
                self.doc.remove_timeout_callback(timer)
        timer = self.doc.add_timeout_callback(lambda: self._pending.pop(key)[0](), wait)
        self._pending[key] = self.safely(what), since, timer

    # Dragging and setting.

    def _dragged(self, key: str, x: float, y: float) -> None:
        name = self.chosen  # another may be, by the time that this is done
        self.later("drag", lambda: self._drag(name, key, x, y))

    def _drag(self, name: str | None, key: str, x: float, y: float) -> None:
        laid = self.desk.laid
        if name is None or not laid.nodes_of(name):  # another page took it away
            return
        self._settle()
        placed = [laid.placed[i] for i in laid.nodes_of(name)]
        new = moved(self.desk.work(name), placed, key, x, y, self.sketch)
        self.do(lambda d: d.change(name, new, ("drag", name, key, self._drags), f"move {name}"),
                quick=True)

    def _let_go(self) -> None:
        """The next drag is a step of its own."""
        self._drags += 1

    def _settle(self) -> None:
        """What takes longer follows once nothing moves any more."""
        if self._timer is not None:
            with suppress(ValueError):
                self.doc.remove_timeout_callback(self._timer)

        def done() -> None:
            self._timer = None
            self._hold()
            if self.chosen is not None:  # a slider that asked for what cannot be goes back
                with self.inputs.told(self.system):
                    self.panel.show(self.desk.laid, self.chosen, self.system)
            self._show_more()
        self._timer = self.doc.add_timeout_callback(self.safely(done), SETTLED)

    def _set(self, what: str, value: Any) -> None:
        """Something beside the map was set."""
        if what == "settled":  # the last of what was slid may come after it
            self.later("up", self._let_go, SETTLED)
            return
        if self.chosen is None:
            return
        if not self.desk.laid.nodes_of(self.chosen):  # another page took it away
            return
        name = self.chosen
        work = self.desk.work(name)
        if what == "remove":
            self.do(lambda d: d.take(name))
        elif what == "name":
            given = " ".join(str(value).split())
            if not given or not self.do(
                    lambda d: d.change(name, work.model_copy(update={"name": given}),
                                       said=f"call {name} {given}"), given):
                self.show()
        elif what == "roofs":
            if not self.do(lambda d: d.change_several(fields.roofs_moved(d.works, name, value),
                                                      f"roofs of {name}")):
                self.show()
        elif what in ("goal", "soaks"):
            try:
                new = (fields.spilling_to(work, value) if what == "goal" else
                       fields.with_soaking(work, str(value), self.system))
            except ValueError as error:
                self.say(f"{error}. Write a rate such as 12 mm/h or 0.5 in/h.")
                self.show()
                return
            if not self.do(lambda d: d.change(name, new)):
                self.show()
        else:
            of = ("dial", name, what, self._drags)  # it may be let go before this is done
            self.later(f"dial {what}", lambda: self._dial(name, what, value, of))

    def _dial(self, name: str, what: str, value: float, of: object) -> None:
        self._settle()
        if name in [work.name for work in self.desk.works]:
            self.do(lambda d: d.change(name, fields.dialled(d.work(name), what, value, self.sketch,
                                                            self.desk.laid),
                                       of, f"{what} of {name}"), quick=True)

    def choose(self, name: str | None) -> None:
        """Tell of another work."""
        self.chosen = name
        self.say("")
        self.show()

    # Keys and the pointer.

    def _heard(self, said: str) -> None:
        word, *rest = said.split(" ")
        if word == "at":
            self.later("at", lambda: self._at(float(rest[0]), float(rest[1])))
        elif word == "tool":
            self.clicks.choose(int(rest[0]) - 1)
        elif word in ("north", "south", "east", "west"):
            self._move_mark(word, FINE if rest[0] == "finely" else STRIDE)
        elif word in ("nearer", "further"):
            self.board.zoom(ZOOM if word == "nearer" else 1 / ZOOM, self._mark)
        elif word == "click" and self._mark is not None:
            self.clicks.click(*self._mark)
        elif word == "leave":
            self._mark = None
            self.board.mark(None)
            self.clicks.choose(0)
        elif word == "up":
            self.later("up", self._let_go, SETTLED)
        elif word == "remove":
            self._set("remove", None)
        elif word in ("undo", "redo"):
            self.do(Desk.undo if word == "undo" else Desk.redo)
        elif word == "save":
            self.saving.save()

    def _move_mark(self, way: str, stride: float) -> None:
        x, y = self._mark or self.board.middle
        step = stride * self.board.per_point * self.board.wide
        dx, dy = {"north": (0, step), "south": (0, -step), "east": (step, 0),
                  "west": (-step, 0)}[way]
        self._mark = (x + dx, y + dy)
        self.board.mark(self._mark)
        self.board.bring_in(*self._mark)
        self._at(*self._mark)

    def _at(self, x: float, y: float) -> None:
        dem = self.inputs.dem
        self._place = x, y
        height = float(dem.height_at(x, y))
        level = "no height known" if np.isnan(height) else shown(height, "level", self.system)
        row, column = (int(v) for v in dem.row_column(x, y))
        falls = ""
        if 0 <= row < dem.shape[0] and 0 <= column < dem.shape[1]:
            slope = float(self.inputs.terrain.slope[row, column])
            falls = "" if np.isnan(slope) else f", falls {100 * slope:.0f} %"
        self._where.text = f"<b>{escape(dem.named(x, y))}</b>: {escape(level)}{falls}"

    # Showing.

    def show(self, quick: bool = False) -> None:
        """Show the works as they are; what takes longer follows."""
        desk, laid = self.desk, self.desk.laid
        if self.chosen is not None and not laid.nodes_of(self.chosen):
            self.chosen = None
        with self.inputs.told(self.system):
            self.board.show(laid, self.chosen, self._spilt)  # as they spilt last; the storm follows
            self.board.shade(laid, self.chosen)
            if self.chosen is None:
                self.panel.clear()
            else:
                self.panel.show(laid, self.chosen, self.system)
            if not quick:
                self._hold()
        self._undo.disabled, self._redo.disabled = desk.undoes is None, desk.does_again is None
        self._tell_state()
        self._soon += 1
        number = self._soon
        self.doc.add_timeout_callback(self.safely(lambda: self._follow(number, quick)), SOON)

    def _follow(self, number: int, quick: bool) -> None:
        if number != self._soon:
            return
        self.later("aside", self.sitting.keep_aside, SETTLED)
        self._show_storm()
        if not quick:
            self._show_more()
        self.ground.tint()

    def _show_more(self) -> None:
        if self.chosen is not None:
            with self.inputs.told(self.system):
                self.panel.show_more(self.desk.laid, self.chosen, self.system)

    def _show_storm(self) -> None:
        laid = self.desk.laid
        with self.inputs.told(self.system):
            run = self.storm.run(laid)
            self.storm.show(laid, run, self.chosen, self.system)
            self._spilt = {entry.name: entry.spilled for entry in run.stores}
            self.board.spill(laid, self._spilt)

    def _scaled(self) -> None:
        """Handles and names have a size of the screen's; so have the gaps between contours."""
        self._hold()
        self.board.name_again()
        self.later("lines", self.ground.draw_lines, SETTLED)

    def _hold(self) -> None:
        laid = self.desk.laid
        if self.chosen is None:
            self.board.hold([])
            return
        placed = [laid.placed[i] for i in laid.nodes_of(self.chosen)]
        self.board.hold(handles_of(placed[0].work, placed, self.sketch))

    def _tell_in(self, system: str) -> None:
        self.system = system
        self.ground.tell_in(system)
        self.storm.tell_in(system)
        if self._place is not None:
            self._at(*self._place)
        self.show()

    def say(self, what: str | InputError) -> None:
        """Tell the person a sentence, or why something cannot be; "" takes the last one away, and
        what a click does is told again."""
        words = what if isinstance(what, str) else plain(what, self.system)
        kind = "" if isinstance(what, str) else " class='warn'"
        words = words or self.clicks.hint
        self._said.text = f"<p{kind}>{escape(words)}</p>" if words else ""
        look.hide(self._said, not words)

    def _to_prove(self) -> tuple[str, str]:
        """The storm that is shown, on cells so large that it takes a minute or two."""
        dem = self.inputs.dem
        return self.storm.name, cell_to_prove(dem.cell, dem.heights.size)
