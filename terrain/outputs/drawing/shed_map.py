"""The map of road sheds: what runs off roads and bare ground at each place, and from where."""

from __future__ import annotations

import numpy as np
from matplotlib.patches import RegularPolygon

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.groups import tints_of
from terrain.outputs.drawing.labels import Column, Line, shortened
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import draw_grid, draw_spill
from terrain.outputs.drawing.map_labels import (
    anchors_of,
    label_roofs_and_roads,
    label_run_on,
)
from terrain.outputs.drawing.map_panel import SMALL_PANEL, of_page
from terrain.outputs.drawing.map_water import (
    LEAST_SHED,
    largest_storm,
    listed_words,
    shed_size,
)
from terrain.outputs.drawing.map_works import draw_works
from terrain.runoff.sheds import Shed, ShedPoint

#: So many places are numbered.
MOST_POINTS = 12
#: How far off its roof a roof's name may stand. [pt]
ROOFS_FAR = 30.0


class ShedMap(GroundMap):
    """A map of where water leaves roads and bare ground, with the ground that each place drains."""

    def draw(self, column: Column) -> None:
        """Draw map and panel."""
        storm = largest_storm(self.plan)
        self.numbered = [
            (shed, point) for shed, point in self.plan.ranked_shed_points
            if point.volumes[storm] >= LEAST_SHED and self.view.holds(*self.at(point), 12)
        ][:MOST_POINTS]
        base.draw_shade(self.ax, self.crop)
        self._drained()
        self.surroundings()
        contours = self.contours()
        self.flow()
        self.roads_and_roofs()
        self.bare()
        self._ways_on()
        draw_works(self)
        self.boundary()
        self.scale_and_north()
        if self.block is not None:
            draw_grid(self.ax, self.view, self.labels, self.dem.frame)
        self._marks(storm)
        self._turnouts()
        entries = self.run_on()
        self._name_works()
        label_run_on(self, entries)
        label_roofs_and_roads(self, ROOFS_FAR)
        self.finish_contours(contours)
        self._panel(column)

    def _drained(self) -> None:
        """Tint the ground that drains to each place first, whatever lies further down."""
        marks = np.zeros(self.dem.shape, np.int32)
        for number, (_, point) in reversed(list(enumerate(self.numbered, 1))):
            marks[point.exits[:, 0], point.exits[:, 1]] = number
        labels = self.cut(self.plan.terrain.labels(marks))
        groups: list[tuple[int, ...]] = [(i,) for i in range(len(self.numbered))]
        for number, colour in enumerate(tints_of(labels, groups), 1):
            if base.draw_region(self.ax, labels == number, self.crop, sy.TINTS[colour]):
                self.drawn.add("drained")

    def _ways_on(self) -> None:
        """Where the water goes from each place, to the first store or off the ground."""
        gone: set[tuple[int, int]] = set()
        for _, point in self.numbered:
            cells = [(int(r), int(c)) for r, c in point.path]
            met = next((i for i, cell in enumerate(cells) if cell in gone), len(cells) - 1)
            gone.update(cells)
            if met < 2:
                continue
            way = base.way_of(self.plan.terrain, np.array(cells[:met + 1]))
            draw_spill(self.ax, way, self.view)
            self.ink_of(way)
            self.drawn.add("way on")

    def _marks(self, storm: int) -> None:
        if not self.numbered:
            return
        most = max(point.volumes[storm] for _, point in self.numbered)
        placed = self.shed_marks([(*self.at(point), shed_size(point.volumes[storm], most))
                                  for _, point in self.numbered])
        for number, (_, point) in enumerate(self.numbered, 1):
            x, y, size = placed[number - 1]
            words = sy.brief(point.volumes[storm], "volume", self.system)
            self.labels.place([Line(words, sy.SMALL_SIZE, sy.SHED, "bold")], np.array([[x, y]]),
                              size, "shed volume", 60)

    def _turnouts(self) -> None:
        """Where roads should let their water go."""
        for turnout in self.plan.turnouts:
            if not self.view.holds(turnout.x, turnout.y, 5):
                continue
            self.ax.add_patch(RegularPolygon(
                (turnout.x, turnout.y), 4, radius=3.6 * self.view.point, orientation=0.0,
                facecolor=sy.PAPER, edgecolor=sy.INK, linewidth=1.1, zorder=23, gid="turn-out"))
            self.block_at(turnout.x, turnout.y, 3.5)
            self.drawn.add("turn-out")

    def _name_works(self) -> None:
        """Works are named small: they are where the water may go."""
        for group in self.groups:
            anchors, radius = anchors_of(self, group)
            self.labels.place([Line(group.name, sy.SMALL_SIZE, sy.SOFT_INK, style="italic")],
                              anchors, radius, "work label", 90)

    def _panel(self, column: Column) -> None:
        storm = self.plan.site.rain.storms[largest_storm(self.plan)]
        design = self.plan.site.rain.design.name
        title(column, "Road sheds", f"{self.plan.site.name}: what roads and bare ground let go")
        flow = (f"Water gathers, from {sy.plain(self.flow_from, 'volume', self.system)} up",
                f"in the {design}, wider with its volume")
        legend = Legend(column, flow, run_on=self.run_on_words)
        if column.height < SMALL_PANEL:
            legend.draw_short(self.drawn)
        else:
            legend.draw(self.drawn)
        more = of_page(self, volumes=False)
        above = self.block.height(column, more) if self.block is not None else 0.0
        column.skip(9)
        column.text("At each place", sy.HEAD_SIZE, weight="bold")
        column.text(f"In the {storm.name} ({sy.plain(storm.depth, 'rain', self.system)}), as the "
                    "ground is now: all that passes, what of it runs on to the road or bare "
                    "ground from above, and what fell on it.", sy.SMALL_SIZE, sy.SOFT_INK)
        column.skip(3)
        self._rows(column, above)
        if self.block is not None:
            self.block.draw(column, more)

    def _rows(self, column: Column, above: float) -> None:
        at, wide = largest_storm(self.plan), column.width
        unit = "gal" if self.system == "us" else "m³"
        size, every = sy.SMALL_SIZE, len(self.plan.ranked_shed_points)
        column.row([(wide - 92, "right", f"all, {unit}"), (wide - 42, "right", "run-on"),
                    (wide, "right", "own")], size, sy.SOFT_INK)
        said = column.room - above > len(self.numbered) * size * 2.6  # where each goes, below it
        for number, (shed, point) in enumerate(self.numbered, 1):
            last = number == every
            if column.room - above < size * (2.5 if said else 1.3) + (0 if last else size * 1.4):
                column.text(listed_words(number - 1, every), size, sy.SHED, style="italic")
                return
            self._row(column, number, shed, point, at, said)
        if every > len(self.numbered):
            column.text(listed_words(len(self.numbered), every), size, sy.SHED, style="italic")

    def _row(self, column: Column, number: int, shed: Shed, point: ShedPoint, storm: int,
             said: bool) -> None:
        wide, size = column.width, sy.SMALL_SIZE
        every, own = point.volumes[storm], point.own_volumes[storm]

        def bare(volume: float) -> str:
            return sy.bare(volume, "volume", self.system)

        column.row([(6, "center", f"{number}"),
                    (16, "left", shortened(self.figure, shed.name, size, wide - 92 - 54)),
                    (wide - 92, "right", bare(every)),
                    (wide - 42, "right", bare(max(every - own, 0.0))),
                    (wide, "right", bare(own))], size, lead=1.3)
        if not said:
            return
        to = (f"to {self.plan.stores[point.ends_at - 1].store.name}" if point.ends_at else
              "leaves the site")
        column.row([(16, "left", shortened(self.figure, to, size - 0.8, wide - 16))], size - 0.8,
                   sy.SOFT_INK, lead=1.28)
