"""The site map: the ground, the works, and the ways of the water, on one A3 sheet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.keep_clear_symbols import draw_keep_clear, symbol_of
from terrain.outputs.drawing.labels import Column, Labels, Line, shortened
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import (
    datum_words,
    draw_culvert,
    draw_drain,
    draw_grid,
    draw_hollow,
    draw_pit,
    draw_pool,
    draw_sill,
    draw_spill,
    draw_swale_line,
    draw_tree_shape,
    draw_wall,
    finish_contours,
    joined,
    points_in,
    scale_and_north,
    spill_parts,
)
from terrain.outputs.drawing.title_block import TitleBlock
from terrain.plan.plan import bare_ground
from terrain.plan.planned import Plan
from terrain.plan.safety.gravity import is_grave
from terrain.runoff.sheds import Shed, ShedPoint
from terrain.surface.accumulation import accumulate
from terrain.units import PRINTED, shown

FloatArray = NDArray[np.float64]

#: Margins, the panel on the right and the gap beside it. [in]
MARGIN, PANEL, GUTTER = 0.42, 3.25, 0.3
#: So many places where roads and bare ground shed are numbered.
MOST_SHED_POINTS = 6
#: A place that sheds less in the largest storm is not numbered. [m3]
LEAST_SHED = 1.0
#: On a panel lower than this the legend is small. [pt]
SMALL_PANEL = 620.0
#: The mark of a work that has grave cautions.
CAUTION = "\u26a0"
#: So many places where run-on enters are shown, each with at least this share of the property. [-]
MOST_RUN_ON, LEAST_RUN_ON = 3, 0.02


@dataclass(frozen=True)
class Group:
    """Works drawn and labelled as one: a single work, or the bowls of a tree basin."""

    name: str
    kind: str
    members: tuple[int, ...]


@sy.styled
def draw_site_map(plan: Plan) -> Figure:
    """Draw the map of a plan. A3, landscape.

    Everything is drawn from the plan; a figure of the same plan is the same, byte for byte, if
    it is saved without its maker's name (``metadata={"Software": None}``).
    """
    wide, high = sy.A3
    figure = Figure(figsize=sy.A3, dpi=sy.DPI, facecolor=sy.PAPER)
    map_wide, map_high = wide - 2 * MARGIN - PANEL - GUTTER, high - 2 * MARGIN
    ax = figure.add_axes((MARGIN / wide, MARGIN / high, map_wide / wide, map_high / high))
    view = base.view_of(plan.inputs.ground.boundary.bounds, map_wide * 72, map_high * 72)
    view.shown_on(ax)
    column = Column(figure, wide - MARGIN - PANEL, MARGIN, PANEL, map_high)
    SiteMap(plan, ax, view).draw(column)
    return figure


class SiteMap:
    """The state of one drawing: what is drawn is what the legend tells."""

    #: How far off its roof a roof's name may stand. [pt]
    roofs_far = 100.0

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
        self.numbered: list[tuple[Shed, ShedPoint]] = []

    def draw(self, column: Column) -> None:
        """Draw map and panel."""
        base.draw_shade(self.ax, self.crop)
        self._catchments()
        self._surroundings()
        contours = self._contours()
        self._flow()
        self._roads_and_roofs()
        self._bare()
        self._spills()
        self._works()
        self._boundary()
        self._keep_clear()
        self._scale_and_north()
        if self.block is not None:
            draw_grid(self.ax, self.view, self.labels)
        self._shed_points()
        entries = self._run_on()
        self._label_works()
        self._label_run_on(entries)
        self._label_roofs_and_roads()
        self._finish_contours(contours)
        self._panel(column)

    # What lies on the ground -----------------------------------------------------------------

    def _cut(self, cells: NDArray[Any]) -> NDArray[Any]:
        """The part of a raster of cells that the view shows, thinned as the ground is."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns)
        high, wide = self.crop.shape
        return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]

    def _catchments(self) -> None:
        labels = self._cut(self.plan.cascade.labels)
        tint = tints_of(labels, [group.members for group in self.groups])
        for group, colour in zip(self.groups, tint, strict=True):
            mask = np.isin(labels, np.array(group.members) + 1)
            if mask.shape == self.crop.shape and base.draw_region(self.ax, mask, self.crop,
                                                                  sy.TINTS[colour]):
                self.drawn.add("catchment")

    def _surroundings(self) -> None:
        """Pale what lies beyond the boundary, so that run-on is still seen."""
        beyond = self.view.box().difference(self.ground.boundary)
        base.draw_area(self.ax, beyond, facecolor=sy.PAPER, edgecolor="none", alpha=0.5,
                       zorder=4.5)

    def _contours(self) -> list[base.Contour]:
        if not np.isfinite(self.crop.heights).any():
            return []
        self.interval = base.contour_interval(self.crop, self.view.point, self.system)
        return base.contours_of(self.crop, self.interval, 26 * self.view.point)

    def _finish_contours(self, contours: list[base.Contour]) -> None:
        finish_contours(self.ax, contours, self.view, self.labels, self.interval, self.system)
        if contours:
            self.drawn.add("contour")

    def _flow(self) -> None:
        passing = passing_of(self.plan)
        self.flow_from = flow_least(self.plan, self.view, passing, self.system)
        lines = base.flow_lines(self.plan.terrain, self.view, self.flow_from, passing)
        base.draw_flow(self.ax, lines, self.flow_from)
        for line, _ in lines:
            self.labels.ink_line(line, 0.3, 0)
            self.drawn.add("flow")

    def _roads_and_roofs(self) -> None:
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
                self._ink_of(np.asarray(culvert.line.coords))
                self.drawn.add("culvert")
        for roof in self.ground.roofs:
            if roof.outline.intersects(box):
                base.draw_area(self.ax, roof.outline, facecolor=sy.ROOF, edgecolor=sy.ROOF_EDGE,
                               linewidth=1.0, zorder=9, gid="roof")
                self.labels.ink(points_in(roof.outline, self.view), 1.0)
                self.drawn.add("roof")

    def _keep_clear(self) -> None:
        for thing in self.ground.keep_clear:
            if not thing.shape.intersects(self.view.box()):
                continue
            draw_keep_clear(self.ax, thing, self.view)
            self.drawn.add(symbol_of(thing))
            for part in getattr(thing.shape, "geoms", [thing.shape]):
                if part.geom_type == "Polygon":
                    self.labels.ink(points_in(part, self.view), 0.8)
                elif part.geom_type == "Point":
                    self._block_at(part.x, part.y, 4.0)
                else:
                    self._ink_of(np.asarray(part.coords)[:, :2])

    def _bare(self) -> None:
        from terrain.surface.catchments import outline

        box = self.view.box()
        for cells in bare_ground(self.plan.inputs):
            shape = outline(cells, self.dem.transform).buffer(self.dem.cell * 0.7).buffer(
                -self.dem.cell * 0.7).simplify(self.dem.cell * 0.4)
            if shape.intersects(box):
                base.draw_area(self.ax, shape, facecolor="none", edgecolor=sy.BARE, hatch="....",
                               linewidth=0.0, zorder=5.5, alpha=0.85, gid="bare")
                self.drawn.add("bare")

    def _boundary(self) -> None:
        for part in getattr(self.ground.boundary, "geoms", [self.ground.boundary]):
            for ring in (part.exterior, *part.interiors):
                line = np.asarray(ring.coords)[:, :2]
                self.ax.add_line(Line2D(line[:, 0], line[:, 1], color=sy.BOUNDARY, linewidth=1.7,
                                        linestyle=(0, (9, 2.5, 1.5, 2.5)), zorder=12,
                                        gid="boundary", path_effects=sy.cased(3.6)))
                self.labels.ink_line(line, 1.0, 2)
        self.drawn.add("boundary")

    # The works ---------------------------------------------------------------------------------

    def _works(self) -> None:
        draw: dict[str, Callable[[int], None]] = {
            "swale": self._swale, "basin": self._basin, "tree basin": self._tree,
            "tank": self._tank, "hollow": self._hollow,
            "drain": self._drain}
        for index, planned in enumerate(self.plan.stores):
            if planned.placed.outline.intersects(self.view.box()):
                draw[planned.placed.kind](index)

    def _swale(self, index: int) -> None:
        planned = self.plan.stores[index]
        assert planned.placed.route is not None
        draw_swale_line(self.ax, planned.placed.route.line, self.dem, self.view,
                        planned.swale.top_width if planned.swale else 2.0,
                        [c.chainage for c in planned.swale.checks] if planned.swale else ())
        self._ink_of(planned.placed.route.line)
        self._sill(planned.placed.spill_x, planned.placed.spill_y)
        self.drawn.add("swale")

    def _basin(self, index: int) -> None:
        placed = self.plan.stores[index].placed
        assert placed.basin is not None
        draw_pool(self.ax, placed.basin.outline, self.dem.cell)
        if placed.basin.has_wall:
            draw_wall(self.ax, placed.basin.line)
            self.drawn.add("wall")
        if placed.basin.rim is not None:
            draw_pit(self.ax, placed.basin.rim)
            self.drawn.add("pit")
        self.labels.ink(points_in(placed.basin.outline, self.view), 0.9)
        self._sill(placed.spill_x, placed.spill_y)
        self.drawn.add("basin")

    def _tree(self, index: int) -> None:
        placed = self.plan.stores[index].placed
        self.labels.ink(np.array([[placed.x, placed.y]]), 1.0, 4)
        self.drawn.add("tree basin" if placed.tree is None or placed.tree.form == "bowl"
                       else placed.tree.form)
        if placed.tree is not None and placed.tree.form != "bowl":
            draw_tree_shape(self.ax, placed.tree, self.view)
            self.labels.ink(points_in(placed.outline, self.view), 0.9)
            return
        west, _, east, _ = placed.outline.bounds
        radius = max((east - west) / 2, 3.2 * self.view.point)
        self.ax.add_patch(Circle((placed.x, placed.y), radius, facecolor=sy.TREE_FILL,
                                 edgecolor=sy.TREE, linewidth=1.2, zorder=17, gid="tree basin"))

    def _tank(self, index: int) -> None:
        placed = self.plan.stores[index].placed
        radius = 4.6 * self.view.point
        for at in ((placed.x, placed.y), *((other.x, other.y) for other in placed.joined)):
            for share, face in ((1.0, sy.PAPER), (0.62, sy.TANK)):
                self.ax.add_patch(Circle(at, radius * share, facecolor=face, edgecolor=sy.TANK,
                                         linewidth=1.3, zorder=19, gid="tank"))
            self._block_at(*at, 5.0)
        self.drawn.add("tank")

    def _hollow(self, index: int) -> None:
        placed = self.plan.stores[index].placed
        draw_hollow(self.ax, placed.outline, self.dem.cell, self.view)
        self.labels.ink(points_in(placed.outline, self.view), 0.9)
        self._sill(placed.spill_x, placed.spill_y)
        self.drawn.add("hollow")

    def _drain(self, index: int) -> None:
        route = self.plan.stores[index].placed.drain
        assert route is not None
        draw_drain(self.ax, route.line, self.view)
        self._ink_of(route.line)
        self.drawn.add("drain")

    def _sill(self, x: float, y: float) -> None:
        if self.view.holds(x, y):
            draw_sill(self.ax, x, y, self.view)
            self._block_at(x, y, 2.5)
            self.drawn.add("sill")

    def _spills(self) -> None:
        """Ways of the spills, each drawn only until it joins another."""
        gone: set[tuple[int, int]] = set()
        order = sorted(range(len(self.plan.cascade.nodes)),
                       key=lambda i: (-len(self.plan.cascade.nodes[i].spill_path), i))
        for index in order:
            node, placed = self.plan.cascade.nodes[index], self.plan.stores[index].placed
            path = np.asarray(node.spill_path, float)
            led, over = spill_parts(node, placed)
            within = node.spills_to is not None and (
                self.plan.stores[node.spills_to].placed.work.name == placed.work.name)
            if led is not None and len(led) > 1 and not within and not (
                    placed.kind == "drain" and node.spills_to is not None):
                self.ax.add_line(Line2D(led[:, 0], led[:, 1], color=sy.TANK, linewidth=1.3,
                                        linestyle=(0, (1.2, 1.6)), zorder=14, gid="led"))
                base.arrows_along(self.ax, led, self.view, sy.TANK, "led", short=True)
                self._ink_of(led)
                self.drawn.add("led")
            if over is None or len(over) < 2 or len(path) < 2:
                continue
            rows, columns = self.dem.row_column(over[:, 0], over[:, 1])
            cells = [(int(r), int(c)) for r, c in zip(rows, columns, strict=True)]
            met = next((i for i, cell in enumerate(cells) if cell in gone), len(cells) - 1)
            gone.update(cells)
            if met < 1:
                continue
            way = joined(placed.spill_x, placed.spill_y, base.way_of(
                self.plan.terrain, np.array(cells[:met + 1])), self.dem.cell)
            draw_spill(self.ax, way, self.view)
            self._ink_of(way)
            self.drawn.add("spill")

    # Where water comes from ----------------------------------------------------------------------

    def _shed_points(self) -> None:
        self.numbered = [found for found in shed_points_of(self.plan)
                         if self.view.holds(*self._at(found[1]), 12)]
        if not self.numbered:
            return
        storm = largest_storm(self.plan)
        most = max(point.volumes[storm] for _, point in self.numbered)
        for number, (_, point) in enumerate(self.numbered, 1):
            x, y = self._at(point)
            size = shed_size(point.volumes[storm], most)
            self.ax.add_patch(Circle((x, y), size * self.view.point, facecolor=sy.SHED,
                                     edgecolor=sy.PAPER, linewidth=1.2, zorder=24, gid="shed"))
            self.ax.text(x, y, str(number), fontsize=sy.SMALL_SIZE, color=sy.PAPER, ha="center",
                         va="center_baseline", fontweight="bold", zorder=25, gid="shed number")
            self._block_at(x, y, size + 1)
        self.drawn.add("shed")

    def _at(self, point: ShedPoint) -> tuple[float, float]:
        x, y = self.dem.xy(point.row, point.column)
        return float(x), float(y)

    def _run_on(self) -> list[tuple[float, float, float, bool]]:
        entries = []
        for x, y, dx, dy, area, cut_off in run_on_of(self.plan):
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
                self._block_at(float(spot[0]), float(spot[1]), 7)
            entries.append((float((tip - way * 20 * unit)[0]), float((tip - way * 20 * unit)[1]),
                            area, cut_off))
            self.drawn.add("run-on")
        return entries

    def _block_at(self, x: float, y: float, radius: float) -> None:
        px, py = self.ax.transData.transform((x, y))
        reach = radius * self.labels.pixel
        self.labels.block(Bbox.from_extents(px - reach, py - reach, px + reach, py + reach))

    def _ink_of(self, line: FloatArray) -> None:
        self.labels.ink_line(np.asarray(line, float), 1.0, 2)

    # Lettering ---------------------------------------------------------------------------------

    def _label_works(self) -> None:
        order = sorted(self.groups, key=lambda g: (g.kind != "swale", g.kind == "tank", g.name))
        for group in order:
            stores = [self.plan.stores[i] for i in group.members]
            if not any(s.placed.outline.intersects(self.view.box()) for s in stores):
                continue
            held = sum(s.store.capacity for s in stores)
            colour = {"tank": sy.TANK, "tree basin": sy.TREE}.get(group.kind, sy.WATER)
            lines = [Line(group.name, sy.LABEL_SIZE, colour, "bold")]
            if group.kind != "drain":
                lines.append(Line(sy.brief(held, "volume", self.system), sy.LABEL_SIZE, colour))
            grave = {said for store in stores for said in store.cautions if is_grave(said)}
            if grave:
                lines.append(Line(f"{CAUTION} {len(grave)}", sy.SMALL_SIZE, sy.SHED, "bold",
                                  gid="caution"))
                self.drawn.add("caution")
            anchors, radius = self._anchors(group)
            self.labels.place(lines, anchors, radius, "work label")

    def _anchors(self, group: Group) -> tuple[FloatArray, float]:
        placed = [self.plan.stores[i].placed for i in group.members]
        route = placed[0].drain or placed[0].route
        if route is not None:
            from shapely.geometry import LineString

            line = LineString(route.line)
            spots = [line.interpolate(s, normalized=True) for s in (0.5, 0.35, 0.65, 0.2, 0.8, 0.05,
                                                                   0.95)]
            return np.array([[p.x, p.y] for p in spots]), 3.0
        if group.kind in ("basin", "hollow"):
            ring = placed[0].outline.exterior if placed[0].outline.geom_type == "Polygon" else (
                placed[0].outline.convex_hull.exterior)
            spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 9)[:-1]]
            return np.array([[p.x, p.y] for p in spots]), 2.0
        return np.array([[p.x, p.y] for p in placed]), 5.0

    def _label_run_on(self, entries: list[tuple[float, float, float, bool]]) -> None:
        for x, y, area, cut_off in entries:
            size = shown(area, "land", self.system, 1 if area > 8000 else 2)
            words = ("run-on from", f"at least {size}") if cut_off else ("run-on", f"from {size}")
            self.labels.place([Line(part, sy.TEXT_SIZE, sy.WATER, style="italic")
                               for part in words], np.array([[x, y]]), 8.0, "run-on label",
                              far=60)

    def _label_roofs_and_roads(self) -> None:
        box = self.view.box()
        for roof in self.ground.roofs:
            if not roof.outline.intersects(box):
                continue
            spot = roof.outline.representative_point()
            ring = roof.outline.convex_hull.exterior
            edge = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 9)[:-1]]
            anchors = np.array([[p.x, p.y] for p in edge])
            if not self.view.holds(spot.x, spot.y):
                continue
            self.labels.place([Line(roof.name, sy.SMALL_SIZE + 0.5, sy.ROOF_EDGE)], anchors, 0.0,
                              "roof label", far=self.roofs_far)
        for road in self.ground.roads:
            shape = road.surface.intersection(box)
            if shape.is_empty:
                continue
            part = max(getattr(shape, "geoms", [shape]), key=lambda g: g.area)
            ring = part.exterior
            spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 25)[:-1]]
            self.labels.place([Line(road.name, sy.SMALL_SIZE + 0.5, sy.ROAD_INK, style="italic")],
                              np.array([[p.x, p.y] for p in spots]), 0.0, "road label", far=12,
                              leader=False)

    def _scale_and_north(self) -> None:
        scale_and_north(self.ax, self.view, self.labels, self.system)

    # The panel -----------------------------------------------------------------------------------

    def _panel(self, column: Column) -> None:
        title(column, self.plan.site.name, "Works and the ways of the water")
        design = self.plan.site.rain.design.name
        flow = (f"Water gathers, from {sy.plain(self.flow_from, 'volume', self.system)} up",
                f"in the {design}, wider with its volume")
        Legend(column, flow, small=column.height < SMALL_PANEL).draw(self.drawn)
        foot = self._foot_lines(column)
        above = (len(foot) * sy.SMALL_SIZE * 1.32 + 16 if self.block is None else
                 self.block.height(column, self._of_page()))
        self._shed_table(column, above)
        self._works_table(column, above)
        if self.block is not None:
            self.block.draw(column, self._of_page())
            return
        column.y = -column.height + above - 8
        column.rule()
        column.skip(7)
        for line in foot:
            column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)

    def _works_table(self, column: Column, above: float) -> None:
        """Catchment of each work and the rain that fills it, if all find room."""
        if not self.groups or column.room - above < 13 + 52 + 14.3 * len(self.groups):
            return
        design = self.plan.site.rain.design
        column.skip(13)
        column.text("Works", sy.HEAD_SIZE, weight="bold")
        column.skip(2)
        column.text(f"Rain that fills each, in a storm of {design.duration:g} h.", sy.SMALL_SIZE,
                    sy.SOFT_INK)
        column.skip(3)
        wide = column.width
        column.row([(wide - 70, "right", "catchment"), (wide, "right", "full at")],
                   sy.SMALL_SIZE, sy.SOFT_INK)
        for group in self.groups:
            stores = [self.plan.stores[i] for i in group.members]
            nodes = [self.plan.cascade.nodes[i] for i in group.members]
            area = sum(n.catchment.area + n.roof.area for n in nodes)
            full = [s.full_at for s in stores]
            filled = "never" if any(f is None for f in full) else shown(
                max(f for f in full if f is not None), "rain", self.system,
                1 if self.system == "us" else 0)
            if group.kind == "drain":
                filled = "–"
            least = "≥ " if any(n.catchment.touches_edge and n.catchment.area for n in nodes
                                ) else ""
            column.row([(0, "left", shortened(self.figure, group.name, sy.TEXT_SIZE, 95)),
                        (wide - 70, "right", least + _area_words(area, self.system)),
                        (wide, "right", filled)])

    def _shed_table(self, column: Column, above: float) -> None:
        if not self.numbered:
            return
        storm = largest_storm(self.plan)
        spec = self.plan.site.rain.storms[storm]
        rows = min(len(self.numbered), max(int((column.room - above - 80) / 14.3), 0))
        if not rows:
            return
        column.skip(13)
        column.text("Roads and bare ground", sy.HEAD_SIZE, weight="bold")
        column.skip(2)
        column.text(f"Water that leaves them at each mark in the {spec.name} "
                    f"({sy.plain(spec.depth, 'rain', self.system)}), and what of it fell on them.",
                    sy.SMALL_SIZE, sy.SOFT_INK)
        column.skip(3)
        wide = column.width
        unit = "gal" if self.system == "us" else "m³"
        column.row([(wide - 58, "right", f"all, {unit}"), (wide, "right", f"own, {unit}")],
                   sy.SMALL_SIZE, sy.SOFT_INK)
        for number, (shed, point) in enumerate(self.numbered[:rows], 1):
            name = shortened(self.figure, shed.name, sy.TEXT_SIZE, 95)
            column.row([(6, "center", f"{number}"), (18, "left", name),
                        (wide - 58, "right", _bare_number(point.volumes[storm], self.system)),
                        (wide, "right", _bare_number(point.own_volumes[storm], self.system))])

    def _of_page(self) -> list[str]:
        """What a title block says of this map alone."""
        lines = [f"Contours every {_interval_words(self.interval, self.system)}."
                 ] if self.interval else []
        return [*lines, "Volumes are what each work holds up to its sill.",
                "Figures along the frame: metres east and north."]

    def _foot_lines(self, column: Column) -> list[str]:
        lines = [f"Contours every {_interval_words(self.interval, self.system)}."
                 ] if self.interval else []
        lines += ["Volumes are what each work holds up to its sill."]
        frame = self.dem.frame
        lines.append("Levels are heights of the elevation raster "
                     f"{self.dem.source}, in {'feet' if self.system == 'us' else 'metres'}; "
                     + datum_words(self.dem))
        lines.append(f"Coordinate system: {frame.working.name}." if frame.working is not None
                     else "The raster states no coordinate system.")
        lines.append("North is grid north.")
        return column.wrapped(" ".join(lines), sy.SMALL_SIZE, column.width)


def groups_of(plan: Plan) -> list[Group]:
    """Works as they are labelled: the bowls of a tree basin as one."""
    together: dict[str, list[int]] = {}
    for index, planned in enumerate(plan.stores):
        together.setdefault(planned.placed.work.name, []).append(index)
    return [Group(name if len(members) == 1 else f"{name} 1–{len(members)}",
                  plan.stores[members[0]].placed.kind, tuple(members))
            for name, members in together.items()]


def tints_of(labels: NDArray[np.int32], groups: list[tuple[int, ...]]) -> list[int]:
    """A tint for each group so that no two that touch share one, while tints last.

    Parameters
    ----------
    labels : int32, shape (rows, columns)
        Member + 1 of each cell; 0 for none.

    Returns
    -------
    tints : list of int
        Indices into `symbols.TINTS`; the largest catchment takes the first.
    """
    group_of = np.zeros(max((m for g in groups for m in g), default=0) + 2, np.int64)
    for number, members in enumerate(groups, 1):
        group_of[np.array(members) + 1] = number
    marked = group_of[np.clip(labels, 0, len(group_of) - 1)]
    touching: dict[int, set[int]] = {n: set() for n in range(1, len(groups) + 1)}
    for a, b in ((marked[1:], marked[:-1]), (marked[:, 1:], marked[:, :-1]),
                 (marked[1:, 1:], marked[:-1, :-1]), (marked[1:, :-1], marked[:-1, 1:])):
        met = (a != b) & (a > 0) & (b > 0)
        for one, other in np.unique(np.stack([a[met], b[met]], 1), axis=0):
            touching[int(one)].add(int(other))
            touching[int(other)].add(int(one))
    sizes = np.bincount(marked.ravel(), minlength=len(groups) + 1)
    chosen: dict[int, int] = {}
    used = [0] * len(sy.TINTS)
    for number in sorted(touching, key=lambda n: (-sizes[n], n)):
        taken = {chosen[n] for n in touching[number] if n in chosen}
        free = [t for t in range(len(sy.TINTS)) if t not in taken] or list(range(len(sy.TINTS)))
        tint = min(free, key=lambda t: (used[t], t))
        chosen[number] = tint
        used[tint] += 1
    return [chosen[n] for n in range(1, len(groups) + 1)]


def largest_storm(plan: Plan) -> int:
    """Index of the deepest storm."""
    storms = plan.site.rain.storms
    return max(range(len(storms)), key=lambda i: (storms[i].depth, i))


def shed_points_of(plan: Plan) -> list[tuple[Shed, ShedPoint]]:
    """The first places of the plan's ranking, as far as they shed enough to be numbered."""
    storm = largest_storm(plan)
    return [(shed, point) for shed, point in plan.ranked_shed_points[:MOST_SHED_POINTS]
            if point.volumes[storm] >= LEAST_SHED]


def shed_size(volume: float, most: float) -> float:
    """Radius of the mark of a place that sheds `volume`. [pt]"""
    return 5.8 + 4.2 * float(np.sqrt(volume / most))


def run_on_of(plan: Plan) -> list[tuple[float, float, float, float, float, bool]]:
    """Where most run-on enters: place [m], unit vector of its way, area it comes from [m2], and
    whether the raster cuts that area off."""
    terrain, inside, dem = plan.terrain, plan.inputs.ground.inside, plan.inputs.dem
    marks = np.where(inside, np.arange(1, inside.size + 1).reshape(inside.shape), 0)
    first = terrain.labels(marks.astype(np.int32))
    beyond = first[(~inside) & (first > 0)]
    if not beyond.size:
        return []
    cells, counts = np.unique(beyond, return_counts=True)
    cut_off = set(np.unique(first[terrain.edge & ~inside & (first > 0)]).tolist())
    order = np.lexsort((cells, -counts))
    least = max(LEAST_RUN_ON * inside.sum() * dem.cell_area, 0.0)
    found: list[list[Any]] = []
    for i in order[:4000]:
        row, column = divmod(int(cells[i]) - 1, inside.shape[1])
        x, y = (float(v) for v in dem.xy(row, column))
        area = float(counts[i]) * dem.cell_area
        near = next((f for f in found if np.hypot(f[0] - x, f[1] - y) < 25 * dem.cell), None)
        if near is not None:
            near[2] += area
            near[5] = near[5] or int(cells[i]) in cut_off
        else:
            found.append([x, y, area, row, column, int(cells[i]) in cut_off])
    entries = []
    for x, y, area, row, column, short in sorted(
            found, key=lambda f: (-f[2], f[3], f[4]))[:MOST_RUN_ON]:
        if area < least:
            continue
        path = terrain.path(int(row), int(column))[:14]
        px, py = dem.xy(path[:, 0], path[:, 1])
        way = np.array([px[-1] - x, py[-1] - y])
        norm = float(np.hypot(*way))
        if norm:
            entries.append((x, y, float(way[0] / norm), float(way[1] / norm), area,
                            bool(short)))
    return entries


def passing_of(plan: Plan) -> FloatArray:
    """Runoff that passes each cell of the ground in the design storm, as it is now. [m3]"""
    return accumulate(plan.terrain.direction, plan.inputs.runoff(plan.site.rain.design.depth))


def flow_least(plan: Plan, view: View, passing: FloatArray, system: str) -> float:
    """A round volume from which on the ways of the water in a view are drawn. [m3]

    It is what passes where water gathers from a hundred-and-fiftieth of the view.
    """
    dem = plan.inputs.dem
    rows, columns = base.window(dem, view)
    ground = (view.east - view.west) * (view.north - view.south)
    area, here = plan.terrain.contributing_area[rows, columns], passing[rows, columns]
    least = max(ground / 150, 20 * dem.cell_area)
    share = float((area >= least).mean())
    known = here[np.isfinite(here) & (here > 0)]
    if not known.size or not share:
        return 1.0
    return round_volume(float(np.quantile(known, max(1 - share * here.size / known.size, 0.0))),
                        system)


def round_volume(volume: float, system: str) -> float:
    """The nearest of 1, 2 and 5 times a power of ten, in m3 or gallons. [m3]"""
    unit = 0.003785411784 if system == "us" else 1.0
    power = 10.0 ** np.floor(np.log10(max(volume, 1e-6) / unit))
    return float(min((n * power for n in (1, 2, 5, 10)),
                     key=lambda v: abs(np.log(v * unit / max(volume, 1e-6)))) * unit)


def _area_words(area: float, system: str) -> str:
    """An area in m2, or in acres, so that a column of them can be compared; one that acres would
    print as next to nothing in ft2."""
    acres = system == "us" and area * PRINTED["land"][True][1] >= 0.05
    return shown(area, "land" if acres else "area", system)


def _bare_number(volume: float, system: str) -> str:
    return sy.brief(volume, "volume", system).rsplit(" ", 1)[0]


def _interval_words(interval: float, system: str) -> str:
    return f"{interval / 0.3048:g} ft" if system == "us" else f"{interval:g} m"
