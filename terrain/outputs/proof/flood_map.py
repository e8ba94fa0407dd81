"""The map of a flood: how deep the water stood, over the ground, the works and all that it meets.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.labels import Column, Line
from terrain.outputs.drawing.map_features import draw_sill, draw_wall, points_in
from terrain.outputs.drawing.map_labels import label_roofs_and_roads
from terrain.outputs.drawing.map_works import DRAW
from terrain.outputs.proof.depth_colours import depth_legend, water_colours
from terrain.proof.places import HAZARDS
from terrain.proof.proof import Flooded, Proof
from terrain.proof.store_proof import StoreProof

FloatArray = NDArray[np.float64]

#: Water lies over the roads and under the roofs.
OVER_ROADS = 8.7
#: Where words of legends begin, as in those of other maps. [pt]
LETTERS = 50.0
#: Arrows of the water stand so far apart [pt], where depth times speed is this at least [m2/s].
ARROWS_APART, STRONG = 62.0, 0.005
#: So many arrows are drawn.
MOST_ARROWS = 40
#: What fast ground is marked with.
FAST = "#b5502a"
#: What spills, or goes over a bank, is named from here. [m3]
NAMED = 0.05


class FloodMap(GroundMap):
    """The map of one run, with the works or without."""

    def __init__(self, proof: Proof, run: Flooded, ax: Axes, view: View, roofs_far: float = 100.0
                 ) -> None:
        """`roofs_far` is how far off its roof a roof's name may stand. [pt]"""
        super().__init__(proof.plan, ax, view)
        self.proof, self.run, self.roofs_far = proof, run, roofs_far
        self.with_works = run is not proof.before

    def draw(self) -> None:
        """Draw all of it."""
        self.land()
        contours = self.contours()
        self.water()
        self.over()
        self.arrows()
        self.scale_and_north()
        self.marks()
        self.names()
        self.finish_contours(contours)
        for text in self.ax.texts:
            if text.get_gid() == "contour label":
                text.set_zorder(OVER_ROADS + 0.1)

    def land(self) -> None:
        """What lies under the water."""
        base.draw_shade(self.ax, self.crop)
        self.surroundings()
        self.roads_and_roofs()

    def over(self) -> None:
        """What stands over the water."""
        if self.with_works:
            self._works()
        self.boundary()

    def roofs(self) -> None:
        """Roofs alone, for a layer over the water."""
        for roof in self.ground.roofs:
            if roof.outline.intersects(self.view.box()):
                base.draw_area(self.ax, roof.outline, facecolor=sy.ROOF, edgecolor=sy.ROOF_EDGE,
                               linewidth=1.0, zorder=9, gid="roof")
                self.labels.ink(points_in(roof.outline, self.view), 1.0)
                self.drawn.add("roof")

    def water(self) -> None:
        """The deepest water at each place."""
        grid = self.proof.ground.grid
        self.ax.imshow(water_colours(self.run.flow.greatest_depth), extent=(
            grid.left, grid.left + grid.columns * grid.cell,
            grid.top - grid.rows * grid.cell, grid.top), interpolation="nearest",
            zorder=OVER_ROADS, aspect="equal")
        self.view.shown_on(self.ax)

    def _works(self) -> None:
        """Edges of the works' full water, their banks and sills; tanks and drains as elsewhere."""
        box = self.view.box()
        assert self.plan.designed is not None
        for shape in self.plan.designed.shapes:
            if shape.pool is not None and shape.pool.intersects(box):
                self._edge(shape.pool)
            for crest in shape.crests:
                if len(crest) > 1:
                    self.ax.add_line(Line2D(crest[:, 0], crest[:, 1], color=sy.EARTH,
                                            linewidth=1.7, zorder=16.2, gid="bank"))
                    self.ink_of(crest[:, :2])
                    self.drawn.add("bank")
        for index, planned in enumerate(self.plan.stores):
            placed = planned.placed
            if not placed.outline.intersects(box):
                continue
            if placed.kind in ("tank", "drain"):
                DRAW[placed.kind](self, index)
                continue
            if placed.hollow is not None:
                self._edge(placed.outline)
            if placed.basin is not None and placed.basin.has_wall:
                draw_wall(self.ax, placed.basin.line)
                self.drawn.add("wall")
            if placed.kind != "tree basin" and self.view.holds(placed.spill_x, placed.spill_y):
                draw_sill(self.ax, placed.spill_x, placed.spill_y, self.view)
                self.block_at(placed.spill_x, placed.spill_y, 2.5)
                self.drawn.add("sill")

    def _edge(self, shape: Any) -> None:
        base.draw_area(self.ax, shape, facecolor="none", edgecolor=sy.PAPER, linewidth=2.2,
                       zorder=15.9)
        base.draw_area(self.ax, shape, facecolor="none", edgecolor=sy.WATER, linewidth=1.0,
                       zorder=16, gid="water's edge")
        self.labels.ink(points_in(shape, self.view), 0.9)
        self.drawn.add("edge")

    def arrows(self) -> None:
        """Which way the strongest water runs: down the slope of its own surface."""
        from scipy.ndimage import gaussian_filter

        ground, flow = self.proof.ground, self.run.flow
        bed = ground.after if self.with_works else ground.before
        depth = np.nan_to_num(flow.greatest_depth)
        top = np.where(np.isnan(bed), np.nanmean(bed), bed) + depth
        down, right = np.gradient(gaussian_filter(top, 1.0), ground.grid.cell)
        strong = np.where(depth > 0.01, np.nan_to_num(flow.greatest_depth_speed), 0.0)
        unit, placed = self.view.point, np.empty((0, 2))
        for cell in np.argsort(-strong, axis=None, kind="stable"):
            row, column = divmod(int(cell), ground.grid.columns)
            if strong[row, column] < STRONG or len(placed) >= MOST_ARROWS:
                break
            at = np.array([ground.grid.x[column], ground.grid.y[row]])
            if not self.view.holds(float(at[0]), float(at[1]), 12) or (
                    len(placed) and np.hypot(*(placed - at).T).min() < ARROWS_APART * unit):
                continue
            placed = np.vstack([placed, at])
            base.arrowhead(self.ax, at, np.array([-right[row, column], down[row, column]]),
                           9.5 * unit, sy.INK, 14, "way of the water")
            self.drawn.add("way")

    def marks(self) -> None:
        """Where water goes over banks, runs too fast, does harm, or leaves."""
        if self.with_works:
            for fast in self.proof.fast:
                if self.view.holds(fast.x, fast.y, 6):
                    self.ax.plot([fast.x], [fast.y], "^", markersize=6.5, markerfacecolor=FAST,
                                 markeredgecolor=sy.PAPER, markeredgewidth=0.8, zorder=22,
                                 gid="fast")
                    self.block_at(fast.x, fast.y, 4)
                    self.drawn.add("fast")
        x, y = self.run.leaves.where
        if self.run.leaves.volume_out > 0 and self.view.holds(x, y, 6):
            self._ring(x, y, sy.WATER, "leaves")
        if not self.with_works:
            return
        for store in self.proof.stores:
            bank = store.over_bank
            if bank is not None and self.view.holds(bank.x, bank.y, 6):
                self._ring(bank.x, bank.y, sy.SHED, "over bank")
        for spot in self.proof.spots:
            if spot.hazard != HAZARDS[0][3] and self.view.holds(spot.x, spot.y, 8):
                self.ax.text(spot.x, spot.y, "\u26a0", fontsize=13, color=sy.SHED,
                             ha="center", va="center", fontweight="bold", zorder=24,
                             path_effects=sy.halo(), gid="hazard")
                self.block_at(spot.x, spot.y, 7)
                self.drawn.add("hazard")

    def _ring(self, x: float, y: float, colour: str, key: str) -> None:
        for width, edge in ((4.0, sy.PAPER), (2.0, colour)):
            self.ax.add_patch(Circle((x, y), 6.0 * self.view.point, facecolor="none",
                                     edgecolor=edge, linewidth=width, zorder=23, gid=key))
        self.block_at(x, y, 7)
        self.drawn.add(key)

    def names(self, figures: bool = True) -> None:
        """Name works, with what they catch and spill, and all that water meets."""
        x, y = self.run.leaves.where
        if "leaves" in self.drawn:
            self.labels.place([Line("most leaves here", sy.SMALL_SIZE, sy.WATER, style="italic")],
                              np.array([[x, y]]), 7.0, "leaves label")
        if self.with_works:
            for store in sorted(self.proof.stores, key=lambda s: (-s.inflow, s.name)):
                self._name(store, figures)
        label_roofs_and_roads(self, self.roofs_far)

    def _name(self, store: StoreProof, figures: bool) -> None:
        shape = self.plan.stores[store.index].placed.outline
        if not shape.intersects(self.view.box()):
            return
        hull = shape.convex_hull
        ring = hull.exterior if hull.geom_type == "Polygon" else hull
        spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 9)[:-1]]
        small, bank = sy.SMALL_SIZE, store.over_bank
        lines = [Line(store.name, sy.LABEL_SIZE, sy.WATER, "bold")]
        if figures:
            lines.append(Line(f"catches {sy.brief(store.caught, 'volume', self.system)}", small,
                              sy.WATER))
        if figures and store.spilled >= NAMED:
            lines.append(Line(f"spills {sy.brief(store.spilled, 'volume', self.system)}", small,
                              sy.WATER))
        if figures and bank is not None and bank.volume >= NAMED:
            lines.append(Line(f"{sy.brief(bank.volume, 'volume', self.system)} over its bank",
                              small, sy.SHED, "bold"))
            if not store.drawn:
                lines.append(Line("as far as these cells tell", small, sy.SHED))
        self.labels.place(lines, np.array([[p.x, p.y] for p in spots]), 3.0, "work label")


def draw_depths(column: Column, system: str) -> None:
    """What the colours of the water mean, in two columns."""
    legend = depth_legend(system)
    wide, rows = column.width / 2, -(-len(legend) // 2)
    for number, (colour, words) in enumerate(legend):
        x, y = (number // rows) * wide, column.y - (number % rows + 0.5) * 15.0
        column.ax.add_patch(Rectangle((x + 8, y - 5), 26, 10, facecolor=colour,
                                      edgecolor=sy.SOFT_INK, linewidth=0.5))
        column.ax.text(x + LETTERS, y, words, fontsize=sy.SMALL_SIZE, va="center", ha="left",
                       gid="legend:depth")
    column.skip(rows * 15.0)


def draw_flood_legend(column: Column, drawn: set[str], size: float = sy.TEXT_SIZE) -> None:
    """Symbols that only maps of floods have, as far as they were drawn."""
    ax, step = column.ax, size + 6.0

    def edge(x: float, y: float) -> None:
        ax.add_patch(Rectangle((x + 8, y - 5), 26, 10, facecolor="none", edgecolor=sy.WATER,
                               linewidth=1.1))

    def bank(x: float, y: float) -> None:
        ax.add_line(Line2D([x + 4, x + 38], [y, y], color=sy.EARTH, linewidth=1.7))

    def way(x: float, y: float) -> None:
        base.arrowhead(ax, np.array([x + 21, y]), np.array([1.0, 0.0]), 9.5, sy.INK, 5)

    def ring(colour: str) -> Callable[[float, float], None]:
        def made(x: float, y: float) -> None:
            ax.add_patch(Circle((x + 21, y), 5, facecolor="none", edgecolor=colour, linewidth=2))
        return made

    def fast(x: float, y: float) -> None:
        ax.add_patch(Polygon([(x + 17, y - 3.5), (x + 25, y - 3.5), (x + 21, y + 4)], closed=True,
                             facecolor=FAST, edgecolor="none"))

    def hazard(x: float, y: float) -> None:
        ax.text(x + 21, y, "\u26a0", fontsize=sy.HEAD_SIZE, color=sy.SHED, ha="center",
                va="center", fontweight="bold", gid="legend sample")

    entries: list[tuple[str, str, Callable[[float, float], None]]] = [
        ("edge", "Edge of a work's full water", edge), ("bank", "Crest of its bank", bank),
        ("way", "Way of strong water", way), ("leaves", "Most leaves here", ring(sy.WATER)),
        ("over bank", "Water over a bank", ring(sy.SHED)),
        ("fast", "Faster than the ground stands", fast),
        ("hazard", "Unsafe beside or on it", hazard)]
    for key, words, sample in entries:
        if key not in drawn:
            continue
        y = column.y - step / 2
        sample(0.0, y)
        ax.text(LETTERS, y, words, fontsize=size, va="center", ha="left", gid=f"legend:{key}")
        column.skip(step)
