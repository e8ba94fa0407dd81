"""What every map of a site draws of its ground: contours, ways of water, roads, roofs, edges.

A map of one matter is drawn on it, and adds what the matter asks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.groups import groups_of
from terrain.outputs.drawing.keep_clear_symbols import draw_keep_clear, symbol_of
from terrain.outputs.drawing.labels import Labels
from terrain.outputs.drawing.map_features import (
    draw_culvert,
    finish_contours,
    points_in,
    scale_and_north,
)
from terrain.outputs.drawing.map_water import (
    LEAST_RUN_ON,
    flow_least,
    passing_of,
    run_on_ground,
    run_on_of,
)
from terrain.outputs.drawing.title_block import TitleBlock
from terrain.plan.plan import bare_ground
from terrain.plan.planned import Plan
from terrain.runoff.sheds import Shed, ShedPoint
from terrain.units import shown

FloatArray = NDArray[np.float64]


class GroundMap:
    """The state of one drawing: what is drawn is what the legend tells."""

    def __init__(self, plan: Plan, ax: Axes, view: View, block: TitleBlock | None = None
                 ) -> None:
        self.plan, self.ax, self.view, self.block = plan, ax, view, block
        self.system = plan.site.units
        self.dem = plan.inputs.dem
        self.ground = plan.inputs.ground
        self.crop = base.cropped(self.dem, view)
        self.labels = Labels(ax)
        self.figure = self.labels.figure
        self.groups = groups_of(plan)
        self.drawn: set[str] = set()
        self.flow_from = 0.0
        self.interval = 0.0
        #: How much more run-on there is than arrows tell, in words.
        self.run_on_words = ""
        self.numbered: list[tuple[Shed, ShedPoint]] = []

    def cut(self, cells: NDArray[Any]) -> NDArray[Any]:
        """The part of a raster of cells that the view shows, thinned as the ground is."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns)
        high, wide = self.crop.shape
        return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]

    def surroundings(self) -> None:
        """Pale what lies beyond the boundary, so that run-on is still seen."""
        beyond = self.view.box().difference(self.ground.boundary)
        base.draw_area(self.ax, beyond, facecolor=sy.PAPER, edgecolor="none", alpha=0.5,
                       zorder=4.5)

    def contours(self) -> list[base.Contour]:
        """Contours of the ground in view; drawn last, by `finish_contours`."""
        if not np.isfinite(self.crop.heights).any():
            return []
        self.interval = base.contour_interval(self.crop, self.view.point, self.system)
        return base.contours_of(self.crop, self.interval, 26 * self.view.point)

    def finish_contours(self, contours: list[base.Contour]) -> None:
        """Draw contours and their levels, where lettering leaves room."""
        finish_contours(self.ax, contours, self.view, self.labels, self.interval, self.system)
        if contours:
            self.drawn.add("contour")

    def flow(self) -> None:
        """Draw where water gathers."""
        passing = passing_of(self.plan)
        self.flow_from = flow_least(self.plan, self.view, passing, self.system)
        lines = base.flow_lines(self.plan.terrain, self.view, self.flow_from, passing)
        base.draw_flow(self.ax, lines, self.flow_from)
        for line, _ in lines:
            self.labels.ink_line(line, 0.3, 0)
            self.drawn.add("flow")

    def roads_and_roofs(self) -> None:
        """Draw roads, their culverts, and roofs."""
        box = self.view.box()
        for road in self.ground.roads:
            if road.surface.intersects(box):
                base.draw_area(self.ax, road.surface, facecolor=sy.ROAD, edgecolor=sy.ROAD_EDGE,
                               linewidth=0.8, zorder=8, gid="road")
                self.labels.ink(points_in(road.surface, self.view), 0.6)
                self.drawn.add("road")
        for culvert in self.plan.terrain.conditioning.culverts:
            if culvert.line.intersects(box):
                draw_culvert(self.ax, np.asarray(culvert.line.coords))
                self.ink_of(np.asarray(culvert.line.coords))
                self.drawn.add("culvert")
        for roof in self.ground.roofs:
            if roof.outline.intersects(box):
                base.draw_area(self.ax, roof.outline, facecolor=sy.ROOF, edgecolor=sy.ROOF_EDGE,
                               linewidth=1.0, zorder=9, gid="roof")
                self.labels.ink(points_in(roof.outline, self.view), 1.0)
                self.drawn.add("roof")

    def keep_clear(self) -> None:
        """Draw what is to be kept clear of."""
        for thing in self.ground.keep_clear:
            if not thing.shape.intersects(self.view.box()):
                continue
            draw_keep_clear(self.ax, thing, self.view)
            self.drawn.add(symbol_of(thing))
            for part in getattr(thing.shape, "geoms", [thing.shape]):
                if part.geom_type == "Polygon":
                    self.labels.ink(points_in(part, self.view), 0.8)
                elif part.geom_type == "Point":
                    self.block_at(part.x, part.y, 4.0)
                else:
                    self.ink_of(np.asarray(part.coords)[:, :2])

    def bare(self) -> None:
        """Dot bare ground."""
        from terrain.surface.catchments import outline

        box = self.view.box()
        for cells in bare_ground(self.plan.inputs):
            shape = outline(cells, self.dem.transform).buffer(self.dem.cell * 0.7).buffer(
                -self.dem.cell * 0.7).simplify(self.dem.cell * 0.4)
            if shape.intersects(box):
                base.draw_area(self.ax, shape, facecolor="none", edgecolor=sy.BARE, hatch="....",
                               linewidth=0.0, zorder=5.5, alpha=0.85, gid="bare")
                self.drawn.add("bare")

    def boundary(self) -> None:
        """Draw the boundary of the property."""
        for part in getattr(self.ground.boundary, "geoms", [self.ground.boundary]):
            for ring in (part.exterior, *part.interiors):
                line = np.asarray(ring.coords)[:, :2]
                self.ax.add_line(Line2D(line[:, 0], line[:, 1], color=sy.BOUNDARY, linewidth=1.7,
                                        linestyle=(0, (9, 2.5, 1.5, 2.5)), zorder=12,
                                        gid="boundary", path_effects=sy.cased(3.6)))
                self.labels.ink_line(line, 1.0, 2)
                self.labels.bar(line)
        self.drawn.add("boundary")

    def scale_and_north(self) -> None:
        """Draw scale bar and north arrow."""
        scale_and_north(self.ax, self.view, self.labels, self.system)

    def at(self, point: ShedPoint) -> tuple[float, float]:
        """Where a place that sheds lies. [m]"""
        x, y = self.dem.xy(point.row, point.column)
        return float(x), float(y)

    def block_at(self, x: float, y: float, radius: float) -> None:
        """Keep lettering off a spot; its radius in points."""
        px, py = self.ax.transData.transform((x, y))
        reach = radius * self.labels.pixel
        self.labels.block(Bbox.from_extents(px - reach, py - reach, px + reach, py + reach))

    def ink_of(self, line: FloatArray) -> None:
        """Have lettering shun a line."""
        self.labels.ink_line(np.asarray(line, float), 1.0, 2)

    def run_on(self) -> list[tuple[float, float, float, bool]]:
        """Draw an arrow where run-on enters: its place [m], its ground [m2], cut off or not."""
        entries = []
        found = run_on_of(self.plan)
        told, (every, short) = sum(entry[4] for entry in found), run_on_ground(self.plan)
        if every - told > LEAST_RUN_ON * told:
            self.run_on_words = (f"where most comes in, of {'≥ ' if short else ''}"
                                 f"{shown(every, 'land', self.system, 1)} in all")
        for x, y, dx, dy, area, cut_off in found:
            if not self.view.holds(x, y, 10):
                continue
            unit = self.view.point
            way, side = np.array([dx, dy]), np.array([-dy, dx])
            tip = np.array([x, y]) + way * 7 * unit
            corners = ((0, 0), (15, 11), (15, 5), (34, 5), (34, -5), (15, -5), (15, -11))
            shape = [tip + (side * across - way * back) * unit for back, across in corners]
            self.ax.add_patch(Polygon(shape, closed=True, facecolor=sy.PAPER, edgecolor=sy.WATER,
                                      linewidth=1.2, zorder=21, alpha=0.95, gid="run-on"))
            for share in (4, 12, 20, 28):
                spot = tip - way * share * unit
                self.block_at(float(spot[0]), float(spot[1]), 7)
            entries.append((float((tip - way * 20 * unit)[0]), float((tip - way * 20 * unit)[1]),
                            area, cut_off))
            self.drawn.add("run-on")
        return entries

    def shed_marks(self, places: Sequence[tuple[float, float, float]]
                   ) -> list[tuple[float, float, float]]:
        """Mark places where roads or bare ground shed water with their numbers: east and north
        [m], radius of the mark [pt].

        Returns
        -------
        placed : list of (x, y, size)
            Where the marks stand, none on another; one that was moved is led to its place.
        """
        placed: list[tuple[float, float, float]] = []
        for number, (x, y, size) in enumerate(places, 1):
            px, py = self._apart(x, y, size, placed)
            placed.append((px, py, size))
            if np.hypot(px - x, py - y) > size * self.view.point:
                self.ax.add_line(Line2D([x, px], [y, py], color=sy.SHED, linewidth=1.0, zorder=23.5,
                                        marker="o", markevery=[0], markersize=3.0, gid="shed lead",
                                        path_effects=sy.cased(2.4)))
            self._shed_mark(number, px, py, size)
        return placed

    def _apart(self, x: float, y: float, size: float, placed: list[tuple[float, float, float]]
               ) -> tuple[float, float]:
        """The place of a mark, moved as little as it takes not to stand on another's."""
        unit = self.view.point
        for step in range(60):
            for turn in range(16 if step else 1):
                angle = turn * np.pi / 8
                px = x + step * 2.0 * unit * np.cos(angle)
                py = y + step * 2.0 * unit * np.sin(angle)
                if self.view.holds(px, py, size + 1) and all(
                        np.hypot(px - u, py - v) > (size + other + 1.5) * unit
                        for u, v, other in placed):
                    return float(px), float(py)
        return x, y

    def _shed_mark(self, number: int, x: float, y: float, size: float) -> None:
        """Mark a place with a number. [m], [pt]"""
        self.ax.add_patch(Circle((x, y), size * self.view.point, facecolor=sy.SHED,
                                 edgecolor=sy.PAPER, linewidth=1.2, zorder=24, gid="shed"))
        self.ax.text(x, y, str(number), fontsize=sy.SMALL_SIZE, color=sy.PAPER, ha="center",
                     va="center_baseline", fontweight="bold", zorder=25, gid="shed number")
        self.block_at(x, y, size + 1)
        self.drawn.add("shed")
