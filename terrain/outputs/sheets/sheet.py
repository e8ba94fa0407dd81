"""A sheet: a plan on the left, room for drawings below it, a column of figures on the right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import to_rgba_array
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import samples
from terrain.outputs.drawing.labels import Labels, Line, shortened
from terrain.outputs.drawing.legend import title
from terrain.outputs.drawing.map_features import (
    datum_words,
    draw_sill,
    draw_spill,
    finish_contours,
    joined,
    places_words,
    points_in,
    scale_and_north,
)
from terrain.outputs.drawing.map_page import Frame
from terrain.outputs.drawing.page_legend import draw_page_legend
from terrain.outputs.drawing.paper import PAPERS, fitting_scale
from terrain.outputs.drawing.title_block import TitleBlock
from terrain.outputs.sheets.long_profiles import round_step
from terrain.plan.answered import StormAnswer
from terrain.plan.earth.cost import Quantities
from terrain.surface.terrain import Terrain
from terrain.units import PRINTED, length_words, shown
from terrain.works.footprints import along

FloatArray = NDArray[np.float64]

#: Margins, the column on the right, and the gap beside it. [in]
MARGIN, PANEL, GUTTER = 0.38, 3.7, 0.28
FRAME = Frame(MARGIN, PANEL, GUTTER)
#: Gap between the plan and what is drawn below it. [in]
GAP = 0.3
#: Room that is kept below the legend for a word on the cautions. [pt]
KEPT = 18.0
#: Share of each side that is added about what a plan at a round scale shows.
CLOSE = 0.03
#: A raster is thinned until no side of a plan has more cells than this, about one a pixel.
MOST_CELLS = 1100


class Sheet:
    """A sheet with a plan on the left and a column of figures on the right."""

    def __init__(self, terrain: Terrain, bounds: tuple[float, float, float, float],
                 system: str, name: str, subtitle: str, below: float = 0.0, margin: float = 0.08,
                 gather: float = 12.0, block: TitleBlock | None = None) -> None:
        """Begin a sheet.

        Parameters
        ----------
        bounds : west, south, east, north
            What its plan shows. [m]
        below : float
            Height of the room for drawings below the plan. [in]
        margin : float
            Share of each side of the bounds that is added about them.
        gather : float
            The plan is at least so many cells wide and high.
        block : TitleBlock, optional
            Of a page that is printed: its plan is then at a round scale of its paper.  Without
            one the sheet is A4, and its plan as large as finds room.
        """
        from shapely import box

        self.terrain, self.system, self.dem = terrain, system, terrain.dem
        self.block = block
        paper = (block.imprint.paper if block is not None else PAPERS["A4"]).inches
        self.below = below + GAP if below else 0.0
        self.figure, self.plan = FRAME.begun(paper, self.below)
        self.left_wide, high = FRAME.room(paper, self.below)
        if block is None:
            self.view = base.view_of(bounds, self.left_wide * 72, high * 72, margin,
                                     gather * self.dem.cell)
        else:
            west, south, east, north = bounds
            least = gather * self.dem.cell
            scale = fitting_scale(max((east - west) * (1 + 2 * CLOSE), least),
                                  max((north - south) * (1 + 2 * CLOSE), least),
                                  self.left_wide * 72, high * 72, system)
            block.scale = scale.words
            self.view = base.true_view(bounds, self.left_wide * 72, high * 72, scale.point)
        self.view.shown_on(self.plan)
        self.labels = Labels(self.plan)
        #: Symbols that want an entry in the key, and what is known of the benchmark.
        self.keys, self.benchmark = set[str](), ""
        #: Ground from which on ways of the water are drawn; 0 if none is. [m2]
        self.gathers = 0.0
        #: The work, and ways of its spill: the scale keeps off them.
        self.works, self.ways = list[Any](), list[Any]()
        self.crop = base.cropped(self.dem, self.view, MOST_CELLS)
        base.draw_shade(self.plan, self.crop)
        # Blank paper is a little better to write on than ground.
        self.labels.ink(points_in(box(*self.crop.bounds), self.view), 0.02)
        self.interval, self.contours = 0.0, list[base.Contour]()
        if np.isfinite(self.crop.heights).any() and min(self.crop.shape) > 1:
            self.interval = base.contour_interval(self.crop, self.view.point, system, 18.0)
            self.contours = base.contours_of(self.crop, self.interval, 26 * self.view.point)
        self.column = FRAME.column(self.figure)
        title(self.column, name, re.sub(r"(\d) (m|ft)\b", "\\1\u00a0\\2", subtitle))

    def cut(self, cells: NDArray[Any]) -> NDArray[Any]:
        """A raster of cells as the plan shows it."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns, MOST_CELLS)
        high, wide = self.crop.shape
        return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]

    def means(self, values: NDArray[np.float32]) -> NDArray[np.float64]:
        """A raster of values as the plan shows it, thinned as its ground is."""
        rows, columns = base.window(self.dem, self.view)
        step = base.stride_of(rows, columns, MOST_CELLS)
        return base.means(values[rows, columns], step).astype(np.float64)

    def catchment(self, cells: NDArray[np.bool_]) -> None:
        """Tint a catchment."""
        base.draw_region(self.plan, self.cut(cells), self.crop, sy.TINTS[0], edge=1.1)

    def flow(self, cells: float = 20.0) -> None:
        """Draw where water gathers, from a fortieth of the plan and so many cells on."""
        ground = (self.view.east - self.view.west) * (self.view.north - self.view.south)
        least = max(ground / 40.0, cells * self.dem.cell_area)
        lines = base.flow_lines(self.terrain, self.view, least)
        base.draw_flow(self.plan, lines, least)
        self.gathers = least if lines else 0.0
        for line, _ in lines:
            self.labels.ink_line(line, 0.3, 0)

    def work(self, *shapes: Any) -> None:
        """Say what ground the work takes: neither scale nor levels of contours stand there."""
        found = [shape for shape in shapes if shape is not None and not shape.is_empty]
        self.works += found
        self.labels.covered += found

    def spill(self, path: FloatArray, x: float, y: float) -> None:
        """Draw a sill and the way of its spill."""
        if len(path) > 1:
            cells = np.stack(self.dem.row_column(path[:, 0], path[:, 1]), 1)
            way = joined(x, y, base.way_of(self.terrain, cells), self.dem.cell)
            draw_spill(self.plan, way, self.view)
            self.labels.ink_line(way, 1.0)
        draw_sill(self.plan, x, y, self.view)
        self.labels.ink(np.array([[x, y]]), 1.0, 4)

    def label(self, words: Sequence[str], anchors: FloatArray, colour: str, radius: float = 3.0,
              far: float = 230.0) -> None:
        """Write a label on the plan, its first line bold."""
        lines = [Line(said, sy.TEXT_SIZE, colour, "bold" if i == 0 else "normal")
                 for i, said in enumerate(words)]
        self.labels.place(lines, anchors, radius, "label", far)

    def finish_plan(self, darker: float = 0.0) -> None:
        """Contours, with this share of ink in their colour; after everything else on the plan."""
        finish_contours(self.plan, self.contours, self.view, self.labels, self.interval,
                        self.system)
        for lines in self.plan.collections:
            if lines.get_gid() == "contour":
                lines.set_edgecolor([sy.mixed(colour, sy.INK, darker)
                                     for colour in to_rgba_array(lines.get_edgecolor())[:, :3]])

    def chainages(self, line: FloatArray, beside: float) -> None:
        """Tick a line at round chainages, `beside` m to its left, and write them there."""
        unit = 0.3048 if self.system == "us" else 1.0
        length = float(np.hypot(*np.diff(line, axis=0).T).sum())
        step = round_step(length / unit / 6) * unit
        at = np.array([s for s in np.arange(0.0, length, step) if length - s > 0.35 * step]
                      + [length])
        points, left = along(line, at)
        side = left * (1 if beside >= 0 else -1)
        for i, (point, way) in enumerate(zip(points, side, strict=True)):
            start = point + way * abs(beside)
            tip = start + way * 6 * self.view.point
            self.plan.add_line(Line2D(*np.array([start, tip]).T, color=sy.INK, linewidth=0.8,
                                      zorder=21, gid="chainage"))
            last = i == len(at) - 1
            words = (shown(length, "length", self.system) if last else f"{at[i] / unit:g}")
            self.labels.place([Line(words, sy.SMALL_SIZE - 0.5, sy.INK)], tip[None, :], 0.0,
                              "chainage words", 9, leader=False)

    def corner(self) -> None:
        """Scale bar, north arrow, and where two corners of the plan lie; before the labels."""
        scale_and_north(self.plan, self.view, self.labels, self.system, 105.0,
                        [*self.works, *self.ways])
        view, gap = self.view, 4 * self.view.point
        pairs = [[("left", "bottom"), ("right", "top")], [("left", "top"), ("right", "bottom")]]
        found: list[tuple[bool, float, int, list[Any]]] = []
        for pair in pairs:
            boxes = []
            for across, up in pair:
                x = view.west if across == "left" else view.east
                y = view.south if up == "bottom" else view.north
                words = self.dem.named(x, y)
                (wide, high), = self.labels.measured([Line(words, sy.SMALL_SIZE - 0.5)])
                at = (x + gap if across == "left" else x - gap,
                      y + gap if up == "bottom" else y - gap)
                px, py = self.plan.transData.transform(at)
                x0 = px if across == "left" else px - wide
                y0 = py if up == "bottom" else py - high
                boxes.append((words, at, across, up, (x0, y0, x0 + wide, y0 + high)))
            free = all(not any(b[4][0] < t[2] and t[0] < b[4][2] and b[4][1] < t[3]
                               and t[1] < b[4][3] for t in self.labels.taken) for b in boxes)
            inked = sum(self.labels.ink_in(*b[4]) for b in boxes)
            found.append((not free, round(inked, 3), len(found), boxes))
        for words, (x, y), across, up, box in min(found, key=lambda f: f[:3])[3]:
            self.plan.text(x, y, words, ha=across, va=up, fontsize=sy.SMALL_SIZE - 0.5,
                           color=sy.SOFT_INK, zorder=33, path_effects=sy.halo(1.8), gid="corner")
            self.labels.block(Bbox.from_extents(*box), 2.0)

    def head(self, words: str) -> None:
        """A heading in the column."""
        self.column.skip(9)
        self.column.text(words, sy.HEAD_SIZE - 1, weight="bold")
        self.column.skip(2)

    def rows(self, figures: Sequence[tuple[str, str]]) -> None:
        """Names and figures, one a line."""
        for name, value in figures:
            room = self.column.width - self.column.wide(value, sy.TEXT_SIZE) - 10
            self.column.row([(0, "left", shortened(self.figure, name, sy.TEXT_SIZE, room)),
                             (self.column.width, "right", value)],
                            lead=1.46 if self.block is None else 1.34)

    def storms(self, storms: Sequence[StormAnswer], store: bool) -> None:
        """What comes of each storm."""
        if not storms:
            return
        self.head("Storms")
        wide = self.column.width
        unit = PRINTED["volume"][self.system == "us"][0]
        places = (0.50, 0.75, 1.0) if store else (1.0,)
        heads = ("runoff", "caught", "spilled")
        self.column.row([(0, "left", f"rain; volumes in {unit}")] + [
            (wide * at, "right", head) for at, head in zip(places, heads, strict=False)],
            sy.SMALL_SIZE, sy.SOFT_INK)
        for storm in storms:
            values = (storm.runoff, storm.caught, storm.spilled)
            self.column.row([(0, "left", sy.plain(storm.rain, "rain", self.system))] + [
                (wide * at, "right", sy.bare(value, "volume", self.system))
                for at, value in zip(places, values, strict=False)], lead=1.46)

    def cautions(self, cautions: Sequence[str], rests: Sequence[str] = (),
                 stand_in: str = "in the answer's text") -> None:
        """Cautions and notes, as many as find room; then how many of each are left out, and where
        they stand."""
        self._key()
        size = sy.SMALL_SIZE
        said = [(text, sy.INK) for text in cautions] + [(text, sy.SOFT_INK) for text in rests]
        foot = self._foot()
        below = (len(foot) * size * 1.32 + 18 if self.block is None else
                 self.block.height(self.column, self._of_page()))
        head = 11 + (sy.HEAD_SIZE - 1) * 1.32
        first = len(self.column.wrapped(said[0][0], size, self.column.width)) if said else 0
        room = head + first * size * 1.32 + 3.5 + (size * 1.32 if len(said) > 1 else 0.0)
        if self.block is not None and self.column.room - below < room:
            self.column.skip(4)
            self.column.text(left_out(len(cautions), len(rests), stand_in), size, sy.SHED,
                             style="italic")
            said = []
        elif cautions:
            self.head("Take care")
        else:
            self.column.skip(9)
        space = self.column.room - below
        for i, (text, colour) in enumerate(said):
            lines = self.column.wrapped(text, size, self.column.width)
            need = len(lines) * size * 1.32 + 3.5
            after = left_out(len(cautions), len(rests), stand_in, i + 1)
            last = len(self.column.wrapped(after, size, self.column.width)) if after else 0
            if need + last * size * 1.32 > space:
                self.column.text(left_out(len(cautions), len(rests), stand_in, i), size, sy.SHED,
                                 style="italic")
                break
            self.column.text(text, size, colour)
            self.column.skip(3.5)
            space -= need
        if self.block is not None:
            self.block.draw(self.column, self._of_page())
            return
        self.column.y = -self.column.height + len(foot) * size * 1.32 + 7
        self.column.rule()
        self.column.skip(7)
        for line in foot:
            self.column.text(line, size, sy.SOFT_INK)

    def _key(self) -> None:
        """What the symbols mean: on a page all of them, else those of the ways of the water and of
        things to keep clear of."""
        if self.block is not None:
            self.column.skip(7)
            draw_page_legend(self.column, {
                str(artist.get_gid()) for artist in self.plan.get_children()
                if artist.get_gid() and self._in_view(artist)},
                self.column.room - self.block.height(self.column, self._of_page()) - KEPT)
            return
        def way(y: float) -> None:
            self.column.ax.add_line(Line2D([4, 38], [y, y], color=sy.FLOW, linewidth=1.4))

        found = [entry for entry in samples(self.column.ax) if entry[0] in self.keys]
        if self.gathers:
            from_ = shown(self.gathers, "ground", self.system)
            found.insert(0, ("flow", f"water gathers, from {from_} of ground on", way))
        self.column.skip(6 if found else 0)
        for key, words, draw in found:
            y = self.column.y - 7.5
            draw(y)
            self.column.ax.text(46, y, words, fontsize=sy.SMALL_SIZE, va="center",
                                gid=f"legend:{key}")
            self.column.skip(15)

    def _in_view(self, artist: Any) -> bool:
        """Whether a line or an area is seen on the plan; all else is drawn where it is."""
        from shapely import LineString, Polygon

        if isinstance(artist, Line2D):
            points = np.asarray(artist.get_xydata(), float)
            shape: Any = LineString(points) if len(points) > 1 else None
        elif isinstance(artist, PathPatch):
            points = np.asarray(artist.get_path().vertices, float)
            shape = Polygon(points).buffer(0) if len(points) > 3 else None
        else:
            return True
        return shape is None or bool(shape.intersects(self.view.box()))

    def _of_page(self) -> list[str]:
        """What its block says of its plan alone."""
        return [*self._first(), f"Numbers in two corners of the plan: {self._corners()}."]

    def _first(self) -> list[str]:
        parts = [self.benchmark] if self.benchmark else []
        if self.system == "us":
            parts.append(f"Levels in {length_words(self.system)}, in decimals of a foot, "
                         "not inches.")
        if self.interval:
            unit = ("ft", 0.3048) if self.system == "us" else ("m", 1.0)
            parts.append(f"Contours every {self.interval / unit[1]:g} {unit[0]}.")
        return parts

    def _corners(self) -> str:
        source = self.dem.frame.source
        return ("longitude, latitude" if source is not None and source.is_geographic else
                "east, north")

    def _foot(self) -> list[str]:
        parts = self._first()
        parts.append(f"Levels are those of {self.dem.source}; {datum_words(self.dem)}")
        parts.append(places_words(self.dem.frame))
        parts.append(f"Numbers in two corners of the plan: {self._corners()}.")
        return self.column.wrapped(" ".join(parts), sy.SMALL_SIZE, self.column.width)

    def earth(self, made: Quantities, bank: str) -> list[tuple[str, str]]:
        """Earth, hours and money."""
        found = [("cut", shown(made.cut, "earth", self.system))] if made.cut else []
        if made.bank:
            found.append((f"{bank}, compacted", shown(made.bank, "earth", self.system)))
        low, high = made.hours, max(made.hours, made.hours_most)
        found.append(("machine time", "under an hour" if high < 1 else
                      f"about {max(low, 1):,.0f} h" if round(high) <= round(max(low, 1)) else
                      f"{max(low, 1):,.0f} to {high:,.0f} h"))
        if made.money is not None:
            low, high = made.money
            found.append(("digging, in your money", f"{low:,.0f} to {high:,.0f}"
                          + (f" {made.currency}" if made.currency else "")))
        return found


def left_out(cautions: int, notes: int, where: str, drawn: int = 0) -> str:
    """How many of a sheet's cautions, and of the notes after them, find no room beside those
    drawn, and where they stand; "" where all are drawn."""
    found, left = [], cautions + notes - drawn
    for of_all, what in ((cautions, "caution"), (notes, "note")):
        count, drawn = of_all - min(drawn, of_all), max(drawn - of_all, 0)
        if count:
            more = " more" if count < of_all else ""
            found.append(f"{count}{more} {what}{'' if count == 1 else 's'}")
    return f"{' and '.join(found)} {'stands' if left == 1 else 'stand'} {where}." if found else ""
