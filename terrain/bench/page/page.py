"""The bench's page: clicks, drags and keys on the map become changes of the works."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from bokeh.document import Document
from bokeh.events import DocumentReady, MouseMove, RangesUpdate, Tap
from bokeh.models import (
    Button,
    CheckboxButtonGroup,
    Column,
    CustomJS,
    Div,
    RadioButtonGroup,
    Row,
    TextInput,
)
from jinja2 import Environment, FileSystemLoader
from shapely import Point

from terrain.bench import answer, fields
from terrain.bench.desk import Desk, Step
from terrain.bench.handles import handles_of, moved
from terrain.bench.keeping import Changed
from terrain.bench.layers.lines import Contours, FlowWays, contours, flow_ways
from terrain.bench.layers.outlines import outlines
from terrain.bench.layers.pictures import Pictures
from terrain.bench.page import look
from terrain.bench.page.board import FINE, STRIDE, ZOOM, Board, Ground, tints_of
from terrain.bench.page.errand_bar import ErrandBar, Runs
from terrain.bench.page.panel import Panel
from terrain.bench.page.storm import Storm
from terrain.bench.sitting import Sitting
from terrain.errors import InputError
from terrain.outputs.one_system import in_one
from terrain.units import shown

#: What a click on the map does: its name, and what to do.
TOOLS = (("Look", "Click a work to choose it; drag its white handles to move it."),
         ("Swale", "Click the hillside: a swale appears on the contour through that place."),
         ("Wall", "Click in the bed of a gully: a wall appears across it, and its pool."),
         ("Dug basin", "Click where its middle is to be."),
         ("Trees", "Click where each tree is to stand; Escape ends the group."),
         ("Drain", "Click where it begins, then the work or the place that it leads to."),
         ("Tank", "Click beside a roof."),
         ("Pipe", "Click the work whose overflow it takes, then where it ends."),
         ("Measure", "Click from place to place; Escape begins anew."))
NAMES = [name for name, _ in TOOLS]
#: A drag is over when nothing has moved for so long; what can wait waits so long. [ms]
SETTLED, SOON, AT_ONCE = 350, 60, 8
#: A tank takes the nearest roof that is free, no further off than this. [m]
ROOF_NEAR = 25.0
#: Lines are drawn anew when so much less is shown than they were drawn for, and this share beyond
#: what is shown. [-]
FINER, PAD = 2.5, 0.35
#: A storm is proved on no more cells than this.
PROVED = 120_000
#: A glance at the errand and the site file's date. [ms]
GLANCE = 500
LINES = ("Contours", "Flow lines", "Catchments", "Names", "Spills")


@dataclass
class Shared:
    """What all pages of a sitting have in common."""

    sitting: Sitting
    pictures: Pictures
    picture_address: Callable[[str], str]
    runs: Runs
    aside: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "lines"))
    _contours: dict[str, Contours] | None = None
    _ways: Any = None

    def ready(self) -> None:
        """Draw what every page begins with, before the first one is asked for."""
        self.pictures.encoded("hillshade")
        self.ground(self.sitting.inputs.site.units)

    def contours(self, system: str) -> Contours:
        """Contours in a system's intervals."""
        self._contours = self._contours or {}
        if system not in self._contours:
            self._contours[system] = contours(self.sitting.inputs.dem, system)
        return self._contours[system]

    def lines(self, system: str, bounds: tuple[float, float, float, float], across: float
              ) -> tuple[Contours, FlowWays]:
        """Contours and ways of the water in a part of the ground that fills so many points of a
        screen."""
        inputs = self.sitting.inputs
        return (contours(inputs.dem, system, bounds, across),
                flow_ways(inputs.terrain, system, bounds))

    def ground(self, system: str) -> Ground:
        """What the map shows beside the works."""
        inputs = self.sitting.inputs
        if self._ways is None:
            self._ways = flow_ways(inputs.terrain, system)
        bounds = inputs.ground.boundary.bounds
        pad = 0.06 * max(bounds[2] - bounds[0], bounds[3] - bounds[1])
        return Ground(self.pictures.extent, (bounds[0] - pad, bounds[1] - pad, bounds[2] + pad,
                                             bounds[3] + pad),
                      self.picture_address("hillshade"), self.contours(system), self._ways,
                      outlines(inputs), system)


class Page:
    """One page that is open."""

    def __init__(self, doc: Document, shared: Shared) -> None:
        self.doc, self.shared, self.sitting = doc, shared, shared.sitting
        self.system: str = self.sitting.inputs.site.units
        self.chosen: str | None = None
        self.points: list[tuple[float, float]] = []
        self.first: Any = None
        self.mark: tuple[float, float] | None = None
        self._drags = self._soon = 0
        self._pending: dict[str, Callable[[], None]] = {}
        self._acting = False
        self._timer: Any = None
        self._first_lined = self._lined = self.sitting.inputs.dem.bounds
        self._contours_said = shared.contours(self.system).words
        self._make()
        self.sitting.lookers.append(self._looked)
        doc.on_session_destroyed(lambda _: self._gone())

    # The parts.

    def _make(self) -> None:
        self.board = Board(self.shared.ground(self.system), self._dragged)
        self.panel = Panel(self._set)
        self.storm = Storm(self.sitting.desk.laid, self.system,
                           lambda: self._later("storm", self._show_storm))
        self.tools = RadioButtonGroup(labels=NAMES, active=0, stylesheets=[look.widgets()],
                                      name="tools")
        self.tools.on_change("active", lambda a, old, new: self._tool_changed())
        self.undo, self.redo, self.save = (
            Button(label=label, name=label.lower(), stylesheets=[look.widgets()])
            for label in ("Undo", "Redo", "Save"))
        self.undo.on_click(lambda: self._do(Desk.undo))
        self.redo.on_click(lambda: self._do(Desk.redo))
        self.save.on_click(self._save)
        self.units = RadioButtonGroup(labels=["Metric", "US"], stylesheets=[look.widgets()],
                                      active=1 if self.system == "us" else 0, name="units")
        self.units.on_change("active", lambda a, old, new: self._tell_in("us" if new else "metric"))
        self.state = Div(stylesheets=[look.words()], name="state", width=190)
        steps = Row(children=[self.undo, self.redo, self.save, self.units, self.state],
                    name="steps")
        names = [name for name in self.shared.pictures.names if name != "hillshade"]
        self._overs = ["", *names]
        self.over = RadioButtonGroup(
            labels=["Ground", *(self.shared.pictures.label(name) for name in names)], active=0,
            stylesheets=[look.widgets()])
        self.over.on_change("active", lambda a, old, new: self._show_over())
        self.lines = CheckboxButtonGroup(labels=list(LINES), active=[0, 1, 3, 4],
                                         stylesheets=[look.widgets()])
        self.lines.on_change("active", lambda a, old, new: self._show_lines())
        self.key = Div(stylesheets=[look.words()])
        shows = Column(children=[Row(children=[self.over, self.lines]), self.key], name="shows")
        self.where = Div(text="", stylesheets=[look.words()], name="where", width=420)
        self.said = Div(stylesheets=[look.words()], sizing_mode="stretch_width", visible=False)
        self.asks = Row(visible=False)
        said = Column(children=[self.said, self.asks], name="said", sizing_mode="stretch_width")
        self.errands = ErrandBar(self.shared.runs, self._saved_file, self._to_prove, self._say)
        self.wire = TextInput(name="wire", value="")
        self.wire.on_change("value", lambda a, old, new: self._heard(new))
        fig = self.board.map
        fig.on_event(Tap, lambda event: self._click(event.x, event.y))
        fig.on_event(RangesUpdate, lambda event: self._later("scale", self._scaled))
        fig.js_on_event(MouseMove, CustomJS(args={"wire": self.wire},
                                            code=look.read("pointer.js")))
        self.doc.js_on_event(DocumentReady, CustomJS(args={"wire": self.wire},
                                                     code=look.read("keys.js")))
        with self.doc.models.freeze():  # else all of it is counted anew at each
            for root in (steps, self.errands.root, self.tools, fig, self.where, shows, said,
                         self.panel.root, self.storm.root, self.wire):
                self.doc.add_root(root)
        folder = Path(look.__file__).parent
        self.doc.template = Environment(  # page parts are our own; names in them are escaped
            loader=FileSystemLoader(folder), autoescape=False,
        ).get_template("bench.html")
        self.doc.title = self.sitting.inputs.site.name
        self.doc.template_variables.update(site=self.sitting.inputs.site.name,
                                           css=look.read("bench.css"))
        self.doc.add_periodic_callback(self._glance, GLANCE)
        self._show_lines()
        self._show_over()
        self._show(whole=True)
        self._offer_aside()

    def _gone(self) -> None:
        with suppress(ValueError):
            self.sitting.lookers.remove(self._looked)

    def _looked(self, said: str) -> None:
        if not self._acting:  # another page, or the file, changed it
            self.doc.add_next_tick_callback(lambda: self._show(whole=True))

    # Doing something.

    def _do(self, change: Callable[[Desk], Step], choose: str | None = None,
            quick: bool = False) -> bool:
        """Change something; a refusal is told and leaves all as it was."""
        self._acting = True
        try:
            step = self.sitting.do(change)
        except InputError as error:
            self._say(error)
            return False
        finally:
            self._acting = False
        if choose is not None:
            self.chosen = choose
        if self.chosen is not None and not step.laid.nodes_of(self.chosen):
            self.chosen = None
        self._say("")
        self._show(moving=quick)
        return True

    def _later(self, key: str, what: Callable[[], None], wait: int = AT_ONCE) -> None:
        """Do the newest of what is asked for under a key, when what came with it is read."""
        waiting = key in self._pending
        self._pending[key] = what
        if not waiting:
            self.doc.add_timeout_callback(lambda: self._pending.pop(key)(), wait)

    def _click(self, x: float, y: float) -> None:
        tool = NAMES[self.tools.active or 0]
        try:
            getattr(self, "_" + tool.lower().replace(" ", "_"))(x, y)
        except InputError as error:
            self._say(error)

    def _look(self, x: float, y: float) -> None:
        self._choose(self.board.nearest(self.sitting.desk.laid, x, y))
        roof = next((roof for roof in self.sitting.inputs.ground.roofs
                     if roof.outline.contains(Point(x, y))), None)
        if self.chosen is None and roof is not None:
            self._say(answer.roof_words(self.sitting.desk.laid, roof, self.storm.depth,
                                        self.system))

    def _swale(self, x: float, y: float) -> None:
        name = self.sitting.desk.free_name("swale")
        self._add_first(self.sitting.sketch.swales(name, x, y))

    def _add_first(self, works: list[Any]) -> None:
        """Lay out the first of some works that can lie."""
        def change(desk: Desk) -> Step:
            for work in works[:-1]:
                try:
                    return desk.add(work)
                except InputError as error:
                    if not error.where.endswith("length"):
                        raise
            return desk.add(works[-1])
        self._do(change, works[0].name)

    def _wall(self, x: float, y: float) -> None:
        sketch, name = self.sitting.sketch, self.sitting.desk.free_name("wall")
        if self.points:
            first = self.points[0]
            self._points([])
            self._add_first([sketch.wall_between(name, [first, (x, y)])])
            return
        try:
            self._add_first([sketch.wall(name, x, y)])
        except InputError as error:
            self._points([(x, y)])
            self._say(f"{_plain(error, self.system)} Or click the wall's other end: it begins "
                      "where you clicked.")

    def _dug_basin(self, x: float, y: float) -> None:
        self._add_first([self.sitting.sketch.dug(self.sitting.desk.free_name("basin"), x, y)])

    def _trees(self, x: float, y: float) -> None:
        sketch, desk = self.sitting.sketch, self.sitting.desk
        if self.first is not None and any(work.name == self.first for work in desk.works):
            row = desk.work(self.first)
            if row.at is not None:
                self._do(lambda d: d.change(row.name, sketch.one_more_tree(row, x, y),
                                            said=f"one more tree of {row.name}"), row.name)
                return
        name = desk.free_name("trees")
        if self._do(lambda d: d.add(sketch.trees(name, [(x, y)])), name):
            self.first = name

    def _drain(self, x: float, y: float) -> None:
        if not self.points:
            self.sitting.sketch.ground(x, y)
            self._points([(x, y)])
            return
        start, to = self.points[0], self.board.nearest(self.sitting.desk.laid, x, y)
        name = self.sitting.desk.free_name("drain")
        self._points([])
        self._do(lambda d: d.add(self.sitting.sketch.drain(name, start, to or (x, y))), name)

    def _tank(self, x: float, y: float) -> None:
        inputs = self.sitting.inputs
        taken = {roof for work in self.sitting.desk.works for roof in getattr(work, "roofs", [])}
        near = [(roof.outline.distance(Point(x, y)), roof.name) for roof in inputs.ground.roofs
                if roof.name not in taken]
        roofs = [name for gap, name in sorted(near)[:1] if gap <= ROOF_NEAR]
        name = self.sitting.desk.free_name("tank")
        if self._do(lambda d: d.add(self.sitting.sketch.tank(name, x, y, roofs)), name):
            self._say(f"It takes the roof \"{roofs[0]}\"." if roofs else
                      f"No free roof is within {shown(ROOF_NEAR, 'length', self.system, 0)}: lead "
                      "water to it with a pipe, or move it.")

    def _pipe(self, x: float, y: float) -> None:
        laid = self.sitting.desk.laid
        met = self.board.nearest(laid, x, y)
        if self.first is None:
            if met is None:
                self._say("Click the work whose overflow the pipe is to take.")
                return
            place = laid.placed[laid.nodes_of(met)[-1]]
            self.first = met
            self._points([(place.spill_x, place.spill_y)])
            return
        name, start = self.first, self.points[0]
        to = met if met != name else None
        end = (x, y) if to is None else next((p.x, p.y) for p in laid.placed if p.work.name == to)
        self._points([])
        self.first = None
        self._do(lambda d: d.change(name, self.sitting.sketch.piped(d.work(name), start, [end], to),
                                    said=f"a pipe from {name}"), name)

    def _measure(self, x: float, y: float) -> None:
        self._points([*self.points, (x, y)])

    def _points(self, points: list[tuple[float, float]]) -> None:
        self.points = points
        self.board.measure(points)
        if NAMES[self.tools.active or 0] == "Measure" and points:
            self._say(_measured(points, self.sitting.inputs.dem, self.system))

    def _tool_changed(self) -> None:
        self._points([])
        self.first = None
        self._say(TOOLS[self.tools.active or 0][1])

    # Dragging and setting.

    def _dragged(self, key: str, x: float, y: float) -> None:
        self._later("drag", lambda: self._drag(key, x, y))

    def _drag(self, key: str, x: float, y: float) -> None:
        name, desk = self.chosen, self.sitting.desk
        if name is None:
            return
        work, laid = desk.work(name), desk.laid
        placed = [laid.placed[i] for i in laid.nodes_of(name)]
        try:
            new = moved(work, placed, key, x, y, self.sitting.sketch)
        except InputError as error:
            self._say(error)
        else:
            self._do(lambda d: d.change(name, new, ("drag", name, key, self._drags),
                                        f"move {name}"), quick=True)
        self._settle()

    def _settle(self) -> None:
        """Once nothing moves any more, the next drag is a step of its own."""
        if self._timer is not None:
            with suppress(ValueError):
                self.doc.remove_timeout_callback(self._timer)

        def done() -> None:
            self._timer = None
            self._drags += 1
            self._hold()
            self._show_more()
        self._timer = self.doc.add_timeout_callback(done, SETTLED)

    def _set(self, what: str, value: Any) -> None:
        """Something beside the map was set."""
        if self.chosen is None or what == "settled":
            self._drags += 1
            return
        name, desk, sketch = self.chosen, self.sitting.desk, self.sitting.sketch
        work = desk.work(name)
        if what == "remove":
            self.chosen = None
            if not self._do(lambda d: d.take(name)):
                self.chosen = name
        elif what == "name":
            given = " ".join(str(value).split())
            if given and given != name and self._do(
                    lambda d: d.change(name, work.model_copy(update={"name": given}),
                                       said=f"call {name} {given}"), given):
                return
            self._show()
        elif what == "goal":
            if not self._do(lambda d: d.change(name, fields.spilling_to(work, value))):
                self._show()
        elif what == "roofs":
            if not self._do(lambda d: d.change(name, work.model_copy(update={"roofs": value}))):
                self._show()
        elif what == "soaks":
            try:
                new = fields.with_soaking(work, str(value), self.system)
            except ValueError as error:
                self._say(f"{error}. Write a rate such as 12 mm/h or 0.5 in/h.")
            else:
                self._do(lambda d: d.change(name, new))
            self._show()
        else:
            def dial() -> None:
                with suppress(KeyError):
                    self._do(lambda d: d.change(
                        name, fields.dialled(d.work(name), what, value, sketch),
                        ("dial", name, what, self._drags), f"{what} of {name}"), quick=True)
                    self._settle()
            self._later("dial", dial)

    def _choose(self, name: str | None) -> None:
        self.chosen = name
        self._say("")
        self._show()

    # Keys and the pointer.

    def _heard(self, said: str) -> None:
        word, *rest = said.split(" ")
        if word == "at":
            self._later("at", lambda: self._at(float(rest[0]), float(rest[1])))
        elif word == "tool":
            self.tools.active = min(int(rest[0]), len(TOOLS)) - 1
        elif word in ("north", "south", "east", "west"):
            self._move_mark(word, FINE if rest[0] == "finely" else STRIDE)
        elif word in ("nearer", "further"):
            self.board.zoom(ZOOM if word == "nearer" else 1 / ZOOM, self.mark)
        elif word == "click" and self.mark is not None:
            self._click(*self.mark)
        elif word == "leave":
            self.tools.active = 0
            self._tool_changed()
            self.board.mark(None)
        elif word == "remove":
            self._set("remove", None)
        elif word in ("undo", "redo"):
            self._do(Desk.undo if word == "undo" else Desk.redo)
        elif word == "save":
            self._save()

    def _move_mark(self, way: str, stride: float) -> None:
        x, y = self.mark or self.board.middle
        step = stride * (self.board.across.end - self.board.across.start)
        dx, dy = {"north": (0, step), "south": (0, -step), "east": (step, 0),
                  "west": (-step, 0)}[way]
        self.mark = (x + dx, y + dy)
        self.board.mark(self.mark)
        self.board.bring_in(*self.mark)
        self._at(*self.mark)

    def _at(self, x: float, y: float) -> None:
        dem = self.sitting.inputs.dem
        height = float(dem.height_at(x, y))
        level = "no height known" if np.isnan(height) else shown(height, "level", self.system)
        row, column = (int(v) for v in dem.row_column(x, y))
        falls = ""
        if 0 <= row < dem.shape[0] and 0 <= column < dem.shape[1]:
            slope = float(self.sitting.inputs.terrain.slope[row, column])
            falls = "" if np.isnan(slope) else f", falls {100 * slope:.0f} %"
        self.where.text = f"<b>{escape(dem.named(x, y))}</b>: {escape(level)}{falls}"

    # Showing.

    def _show(self, moving: bool = False, whole: bool = False) -> None:
        """Show the works as they are; what takes longer follows."""
        desk, laid = self.sitting.desk, self.sitting.desk.laid
        if self.chosen is not None and not laid.nodes_of(self.chosen):
            self.chosen = None
        with self.sitting.inputs.told(self.system):
            run = self.storm.run(laid)
            self.board.show(laid, self.chosen, {i: s.spilled for i, s in enumerate(run.stores)})
            self.board.shade(laid, self.chosen)
            if self.chosen is None:
                self.panel.clear()
            else:
                self.panel.show(laid, self.chosen, self.system)
            if not moving:
                self._hold()
        self.undo.disabled, self.redo.disabled = desk.undoes is None, desk.does_again is None
        self.state.text = ("<p class='warn'><b>Not saved yet</b></p>" if desk.unsaved else
                           "<p>Saved</p>")
        self._soon += 1
        number = self._soon
        self.doc.add_timeout_callback(lambda: self._follow(number, moving), SOON)

    def _follow(self, number: int, moving: bool) -> None:
        if number != self._soon:
            return
        self._show_storm()
        if not moving:
            self._show_more()
        if 2 in self.lines.active:
            self.board.tint(tints_of(self.sitting.desk.laid))
        self._later("aside", self._keep_aside, SETTLED)

    def _keep_aside(self) -> None:
        try:
            self.sitting.keep_aside()
        except InputError as error:
            self._say(error)

    def _show_more(self) -> None:
        if self.chosen is not None:
            with self.sitting.inputs.told(self.system):
                self.panel.show_more(self.sitting.desk.laid, self.chosen, self.system)

    def _show_storm(self) -> None:
        laid = self.sitting.desk.laid
        with self.sitting.inputs.told(self.system):
            run = self.storm.run(laid)
            self.storm.show(laid, run, self.chosen, self.system)
            self.board.show(laid, self.chosen, {i: s.spilled for i, s in enumerate(run.stores)})

    def _scaled(self) -> None:
        """Handles and names have a size of the screen's; so have the gaps between contours."""
        self._hold()
        self.board.name_again()
        self._later("lines", self._draw_lines, SETTLED)

    def _draw_lines(self) -> None:
        """Contours and ways of the water that suit what is shown, drawn aside."""
        west, south, east, north = view = self.board.view
        left, bottom, right, top = self._lined
        wide = east - west
        inside = left <= west and bottom <= south and east <= right and north <= top
        if inside and wide * FINER > right - left:
            return
        whole = self.sitting.inputs.dem.bounds
        pad = wide * PAD
        self._lined = bounds = (max(west - pad, whole[0]), max(south - pad, whole[1]),
                                min(east + pad, whole[2]), min(north + pad, whole[3]))
        if bounds[0] >= bounds[2] or bounds[1] >= bounds[3]:
            return
        system, across = self.system, self.board.wide * (bounds[2] - bounds[0]) / wide

        def draw() -> None:
            found = self.shared.lines(system, bounds, across)
            self.doc.add_next_tick_callback(lambda: self._lines_drawn(view, system, *found))
        self.shared.aside.submit(draw)

    def _lines_drawn(self, view: tuple[float, float, float, float], system: str,
                     made: Contours, ways: FlowWays) -> None:
        if system == self.system and view == self.board.view:
            self.board.line(made, ways)
            self._contours_said = made.words
            self._show_key()
        else:
            self._lined = self._first_lined
            self._later("lines", self._draw_lines, SETTLED)

    def _hold(self) -> None:
        laid = self.sitting.desk.laid
        if self.chosen is None:
            self.board.hold([])
            return
        placed = [laid.placed[i] for i in laid.nodes_of(self.chosen)]
        self.board.hold(handles_of(placed[0].work, placed, self.sitting.sketch))

    def _show_lines(self) -> None:
        on = set(self.lines.active)
        for glyphs in self.board.contours:
            glyphs.visible = 0 in on
        for glyphs in self.board.flow:
            glyphs.visible = 1 in on
        self.board.tint(tints_of(self.sitting.desk.laid) if 2 in on else None)
        for glyphs in self.board.names:
            glyphs.visible = 3 in on
        self.board.spills.visible = 4 in on
        self._show_key()

    def _show_over(self) -> None:
        name = self._overs[self.over.active or 0]
        self.board.over(self.shared.picture_address(name) if name else "")
        self._show_key()

    def _show_key(self) -> None:
        name = self._overs[self.over.active or 0]
        entries = self.shared.pictures.key(name, self.system) if name else ()
        said = [f"<span><i style='background:{escape(e.colour, quote=True)}'></i>"
                f"{escape(e.words)}</span>" for e in entries]
        if 0 in self.lines.active:
            said.append(f"<span>{escape(self._contours_said)}</span>")
        self.key.text = f"<div class='key'>{''.join(said)}</div>"

    def _tell_in(self, system: str) -> None:
        self.system = system
        made = self.shared.contours(system)
        self._lined, self._contours_said = self._first_lined, made.words
        self.board.tell_in(system)
        self.board.line(made, None)
        self._later("lines", self._draw_lines, SETTLED)
        self.storm.tell_in(system)
        self._show_key()
        self._show()

    def _say(self, what: str | InputError) -> None:
        words = what if isinstance(what, str) else _plain(what, self.system)
        self.said.text = f"<p>{escape(words)}</p>" if words else ""
        self.said.visible = bool(words)

    # Saving.

    def _save(self) -> bool:
        self._acting = True
        try:
            saved = self.sitting.save()
        except Changed as changed:
            self._ask(f"{changed}", [("Join both", self._join), ("Save mine beside it",
                                                                 self._save_beside),
                                     ("Take the file's", self._take_theirs)])
            return False
        except InputError as error:
            self._say(error)
            return False
        finally:
            self._acting = False
        self._show()
        self._say(saved.said)
        return True

    def _ask(self, words: str, answers: list[tuple[str, Callable[[], None]]]) -> None:
        self._say(words)
        buttons = []
        for label, reply in answers:
            button = Button(label=label, stylesheets=[look.widgets()])

            def clicked(reply: Callable[[], None] = reply) -> None:
                self.asks.visible = False
                reply()
            button.on_click(clicked)
            buttons.append(button)
        self.asks.children = buttons
        self.asks.visible = True

    def _join(self) -> None:
        try:
            both = self.sitting.join()
        except InputError as error:
            self._say(error)
            return
        self._show(whole=True)
        self._say("Both are joined; look it over, then save." + ("" if not both.clashes else
                  f" Changed on both sides, so the file's own is taken: {', '.join(both.clashes)}."
                  " Undo is begun anew."))

    def _save_beside(self) -> None:
        path = self.sitting.file.save_beside(self.sitting.text)
        self._say(f"Saved as {path.name}; the site file is as the other program left it.")

    def _take_theirs(self) -> None:
        path = self.sitting.file.save_beside(self.sitting.text)
        try:
            self.sitting.take_theirs()
        except InputError as error:
            self._say(error)
            return
        self._show(whole=True)
        self._say(f"The site file was read again; what was on the bench is in {path.name}.")

    def _offer_aside(self) -> None:
        aside, notes = self.sitting.left, " ".join(self.sitting.file.notes)
        if aside is None:
            self._say(notes)
            return
        beware = "" if aside.same else (
            " The site file was changed since: taking them up puts the works as they were then "
            "in the place of those that stand in it now; nothing is saved until you do.")
        self._ask(f"An earlier sitting ended at {aside.when:%H:%M on %d %B %Y} with changes that "
                  f"were not saved.{beware} {notes}".strip(),
                  [("Take them up", self._take_up), ("Leave them out", self.sitting.leave)])

    def _take_up(self) -> None:
        try:
            self.sitting.take_up()
        except InputError as error:
            self._say(error)
            return
        self._show(whole=True)

    def _saved_file(self) -> Path | None:
        if self.sitting.desk.unsaved and not self._save():
            return None
        return self.sitting.file.path

    def _to_prove(self) -> tuple[str, str]:
        """The storm that is shown, on cells so large that it takes a minute or two."""
        dem = self.sitting.inputs.dem
        cell = dem.cell * max(np.sqrt(dem.heights.size / PROVED), 1.0)
        return self.storm.name, f"{np.ceil(2 * cell) / 2 if cell > dem.cell else dem.cell:g} m"

    def _glance(self) -> None:
        self.errands.look()


def _measured(points: list[tuple[float, float]], dem: Any, system: str) -> str:
    line = np.array(points)
    heights = dem.height_at(*line.T)
    long = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0
    said = f"{shown(long, 'length', system)} long"
    fall = float(heights[0] - heights[-1])
    if len(line) > 1 and np.isfinite(fall):
        said += (f", {'falls' if fall >= 0 else 'rises'} {shown(abs(fall), 'level', system)}"
                 + (f", {100 * abs(fall) / long:.1f} %" if long else ""))
    if len(line) > 2:
        x, y = line.T
        area = abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2
        said += f"; closed, it holds {shown(area, 'area', system)}"
    return said + "."


def _plain(error: InputError, system: str) -> str:
    """An error without where in the file it stands, which is of no use on a map."""
    remedy = f" {error.remedy}." if error.remedy else ""
    what = error.what[:1].upper() + error.what[1:]
    return in_one(f"{what}.{remedy}", system)


def make_document(doc: Document, shared: Shared) -> None:
    """Fill a new document with the page."""
    Page(doc, shared)
