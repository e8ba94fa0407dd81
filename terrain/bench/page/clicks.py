"""What a click on the map does, by what was chosen above it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from bokeh.models import RadioButtonGroup
from shapely import Point

from terrain.bench import answer
from terrain.bench.desk import Desk, Step
from terrain.bench.page import look
from terrain.bench.page.board import NEAR
from terrain.bench.page.words import plain
from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.units import shown

if TYPE_CHECKING:
    from terrain.bench.page.page import Page

#: What a click on the map does: its name, and what to do.
TOOLS = (("Look", "Click a work to choose it; drag its white handles to move it."),
         ("Swale", "Click the hillside: a swale appears on the contour through that place."),
         ("Wall", "Click in the bed of a gully: a wall appears across it, and its pool."),
         ("Dug basin", "Click where its middle is to be."),
         ("Trees", "Click where each tree is to stand; Escape ends the group."),
         ("Drain", "Click where it begins, then the work or the place that it leads to."),
         ("Tank", "Click beside a roof."),
         ("Pipe", "Click the work whose overflow it takes, then where it ends."),
         ("Measure", "Click from place to place; the first one again closes it; Escape begins "
          "anew."))
NAMES = [name for name, _ in TOOLS]
#: A tank takes the nearest roof that is free, no further off than this. [m]
ROOF_NEAR = 25.0


class Clicks:
    """Clicks on the map of a page, and what they have begun.

    Parameters
    ----------
    page : Page
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.points: list[tuple[float, float]] = []
        self.first: Any = None
        self.choice = RadioButtonGroup(labels=NAMES, active=0, stylesheets=[look.widgets()],
                                       name="tools")
        self.choice.on_change("active", page.safely(lambda a, old, new: self.changed()))

    @property
    def tool(self) -> str:
        """What a click does now."""
        return NAMES[self.choice.active or 0]

    @property
    def hint(self) -> str:
        """What to do next with it; "" of Look, which needs no telling."""
        return "" if self.tool == NAMES[0] else TOOLS[NAMES.index(self.tool)][1]

    def choose(self, number: int) -> None:
        """Choose by number, from 0; leaves what was begun."""
        self.choice.active = min(number, len(NAMES) - 1)
        self.changed()

    def click(self, x: float, y: float) -> None:
        """A click at a place of the map. [m]

        Raises
        ------
        InputError
            If what it asks for cannot be.
        """
        getattr(self, "_" + self.tool.lower().replace(" ", "_"))(x, y)

    def _look(self, x: float, y: float) -> None:
        self.page.choose(self.page.board.nearest(self.page.desk.laid, x, y))
        roof = next((roof for roof in self.page.inputs.ground.roofs
                     if roof.outline.contains(Point(x, y))), None)
        if self.page.chosen is None and roof is not None:
            self.page.say(answer.roof_words(self.page.desk.laid, roof, self.page.storm.depth,
                                        self.page.system))

    def _swale(self, x: float, y: float) -> None:
        name = self.page.desk.free_name("swale")
        self._add_first(self.page.sketch.swales(name, x, y))

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
        self.page.do(change, works[0].name)

    def _wall(self, x: float, y: float) -> None:
        sketch, name = self.page.sketch, self.page.desk.free_name("wall")
        if self.points:
            first = self.points[0]
            self._points([])
            self._add_first([sketch.wall_between(name, [first, (x, y)])])
            return
        try:
            self._add_first([sketch.wall(name, x, y)])
        except InputError as error:
            self._points([(x, y)])
            self.page.say(f"{plain(error, self.page.system)} Or click the wall's other end: it "
                          "begins where you clicked.")

    def _dug_basin(self, x: float, y: float) -> None:
        self._add_first([self.page.sketch.dug(self.page.desk.free_name("basin"), x, y)])

    def _trees(self, x: float, y: float) -> None:
        sketch, desk = self.page.sketch, self.page.desk
        if self.first is not None and any(work.name == self.first for work in desk.works):
            row = desk.work(self.first)
            if row.at is not None:
                self.page.do(lambda d: d.change(row.name, sketch.one_more_tree(row, x, y),
                                            said=f"one more tree of {row.name}"), row.name)
                return
        name = desk.free_name("trees")
        if self.page.do(lambda d: d.add(sketch.trees(name, [(x, y)])), name):
            self.first = name

    def _drain(self, x: float, y: float) -> None:
        if not self.points:
            self.page.sketch.ground(x, y)
            self._points([(x, y)])
            return
        start, to = self.points[0], self.page.board.nearest(self.page.desk.laid, x, y)
        name = self.page.desk.free_name("drain")
        self._points([])
        self.page.do(lambda d: d.add(self.page.sketch.drain(name, start, to or (x, y))), name)

    def _tank(self, x: float, y: float) -> None:
        inputs = self.page.inputs
        taken = {roof for work in self.page.desk.works for roof in getattr(work, "roofs", [])}
        free = [(roof.outline.distance(Point(x, y)), roof.name) for roof in inputs.ground.roofs
                if roof.name not in taken]
        roofs = [name for gap, name in sorted(free)[:1] if gap <= ROOF_NEAR]
        name = self.page.desk.free_name("tank")
        if self.page.do(lambda d: d.add(self.page.sketch.tank(name, x, y, roofs)), name):
            near = shown(ROOF_NEAR, "length", self.page.system, 0)
            self.page.say(f"It takes the roof \"{roofs[0]}\"." if roofs else
                          f"No free roof is within {near}: lead water to it with a pipe, or move "
                          "it.")

    def _pipe(self, x: float, y: float) -> None:
        laid = self.page.desk.laid
        met = self.page.board.nearest(laid, x, y)
        if self.first is None:
            if met is None:
                self.page.say("Click the work whose overflow the pipe is to take.")
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
        sketch = self.page.sketch
        self.page.do(lambda d: d.change(name, sketch.piped(d.work(name), start, [end], to),
                                        said=f"a pipe from {name}"), name)

    def _measure(self, x: float, y: float) -> None:
        first = self.points[0] if len(self.points) > 2 else None
        if first is not None and np.hypot(x - first[0], y - first[1]) <= (
                NEAR * self.page.board.per_point):
            x, y = first  # closed
        self._points([*self.points, (x, y)])

    def _points(self, points: list[tuple[float, float]]) -> None:
        self.points = points
        self.page.board.measure(points)
        if self.tool == "Measure" and points:
            self.page.say(_measured(points, self.page.inputs.dem, self.page.system))

    def changed(self) -> None:
        """What a click does was changed, or what was begun is left."""
        self._points([])
        self.first = None
        self.page.say("")


def _measured(points: list[tuple[float, float]], dem: Dem, system: str) -> str:
    """Length, and fall from the first to the last; of a closed line the way round, and the area."""
    line = np.array(points)
    heights = dem.height_at(*line.T)
    long = float(np.hypot(*np.diff(line, axis=0).T).sum())
    x, y = line.T
    area = abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2
    if len(line) > 3 and points[0] == points[-1]:
        return f"{shown(long, 'length', system)} round, {shown(area, 'area', system)} within."
    said = f"{shown(long, 'length', system)} long"
    fall = float(heights[0] - heights[-1])
    if long and np.isfinite(fall):
        said += (f", {'falls' if fall >= 0 else 'rises'} {shown(abs(fall), 'level', system)}, "
                 f"{100 * abs(fall) / long:.1f} %")
    if len(line) > 2:
        said += f"; closed it would hold {shown(area, 'area', system)}"
    return said + "."
