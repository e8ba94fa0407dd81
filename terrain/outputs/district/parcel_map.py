"""The map of one parcel: its ground, where water comes in, and where it is best caught."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely import Polygon as Shape

from terrain.district.screened import Entry, Ground, Screened, Screening
from terrain.inputs.dem import Dem
from terrain.inputs.elevation import ElevationFiles
from terrain.inputs.site import Site
from terrain.outputs.district.rounded import round_land
from terrain.outputs.district.told import (
    land,
    own_at_least,
    round_land_words,
    run_on_at_least,
    volume,
)
from terrain.outputs.district.words import (
    design_name,
    ground_lines,
    off_lines,
)
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.labels import Column, Line
from terrain.outputs.drawing.legend import Legend, title
from terrain.outputs.drawing.map_features import places_words, scale_and_north
from terrain.outputs.drawing.map_labels import label_roofs_and_roads
from terrain.outputs.drawing.map_page import Frame
from terrain.outputs.page.figures import with_figures
from terrain.plan.planned import Plan
from terrain.runoff.ground import Ground as Covered
from terrain.runoff.ground import read_ground
from terrain.surface.accumulation import accumulate
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain
from terrain.units import shown

FRAME = Frame(margin=0.42, panel=3.25, gutter=0.3)
#: More cells than these are not read for one map; the overview then stands for the ground.
MOST_CELLS = 40_000_000
#: So many places where water comes in are drawn, each at least this share of the largest.
MOST_ENTRIES, LEAST_ENTRY = 10, 0.03
#: Arrows from the smallest to the largest entry are so long. [pt]
SHORTEST, LONGEST = 13.0, 38.0
#: Arrows stand so far from each other. [pt]
APART = 24.0
#: Ways of the water are drawn where they gather more than this share of the parcel's water's
#: ground.
GATHERS = 1 / 40
#: Colours of the best places, as on the district's layers.
SWALE, BASIN = sy.WATER, sy.EARTH


@dataclass(frozen=True)
class Land:
    """A parcel's ground as a map asks for it of a plan."""

    site: Site
    dem: Dem
    ground: Covered
    terrain: Terrain
    stores: tuple[Any, ...] = ()

    @property
    def inputs(self) -> Land:
        """What a plan was read from."""
        return self


def land_of(screening: Screening, one: Screened, files: ElevationFiles) -> Land:
    """Read the ground about a parcel, and the roads and roofs on it.

    Raises
    ------
    InputError
        If a layer cannot be read.
    """
    site = screening.district.site_of(one.parcel.name)
    view = view_of(one, files.cell)
    more = 4 * files.cell
    asked = (view.west - more, view.south - more, view.east + more, view.north + more)
    cells = (asked[2] - asked[0]) * (asked[3] - asked[1]) / files.cell**2
    dem = (base.cropped(screening.overview, view) if cells > MOST_CELLS else
           files.read(_within(asked, files.bounds)))
    ground = read_ground(site, dem, one.parcel.outline)
    return Land(site, dem, replace(ground, keep_clear=()), Terrain(dem))


def view_of(one: Screened, cell: float) -> View:
    """What the map of a parcel shows."""
    wide, high = FRAME.room(sy.A3)
    return base.view_of(one.parcel.outline.bounds, wide * 72, high * 72, margin=0.07,
                        least=30 * cell)


def _within(asked: tuple[float, float, float, float], whole: tuple[float, float, float, float]
            ) -> tuple[float, float, float, float]:
    """The part of a rectangle that lies on the elevation."""
    return (max(asked[0], whole[0]), max(asked[1], whole[1]), min(asked[2], whole[2]),
            min(asked[3], whole[3]))


@sy.styled
def draw_parcel(screening: Screening, rank: int | None, one: Screened, land: Land) -> Figure:
    """The map of a parcel that was screened. A3, landscape."""
    figure, ax = FRAME.begun(sy.A3)
    view = view_of(one, land.dem.cell)
    view.shown_on(ax)
    drawing = ParcelMap(screening, one, land, ax, view)
    drawing.draw()
    _panel(FRAME.column(figure), drawing, rank)
    return figure


class ParcelMap(GroundMap):
    """The map of what was found of a parcel."""

    def __init__(self, screening: Screening, one: Screened, land: Land, ax: Axes, view: View
                 ) -> None:
        super().__init__(cast(Plan, land), ax, view)  # a map asks no more of a plan than it has
        self.screening, self.one, self.land = screening, one, land
        self.entered: dict[int, list[int]] = {}  # by an entry with an arrow, all numbers of it
        self.off: list[Any] = []  # what the scale bar is to keep off

    def draw(self) -> None:
        """Draw all of it."""
        base.draw_shade(self.ax, self.crop)
        self.surroundings()
        contours = self.contours()
        self.ways()
        self.roads_and_roofs()
        self.best(self.one.swale, SWALE)
        self.best(self.one.basin, BASIN)
        self.boundary()
        self.road_water()
        self.entries()
        scale_and_north(self.ax, self.view, self.labels, self.system, off=self.off)
        self.names()
        label_roofs_and_roads(self, 60.0)
        self.finish_contours(contours)

    def ways(self) -> None:
        """Where water gathers on the parcel, what comes in from beyond included."""
        dem, inside = self.dem, self.ground.inside
        come = np.where(inside, dem.cell_area, 0.0)
        for entry in self.one.entries:
            row, column = (int(i) for i in dem.row_column(*entry.at))
            if 0 <= row < dem.shape[0] and 0 <= column < dem.shape[1]:
                come[row, column] += entry.area
        passing = np.where(inside, accumulate(self.land.terrain.direction, come), 0.0)
        all_ = self.one.own_area + self.one.run_on_area
        self.flow_from = round_land(max(GATHERS * all_, 20 * dem.cell_area), self.system)
        lines = base.flow_lines(self.land.terrain, self.view, self.flow_from, passing)
        base.draw_flow(self.ax, lines, self.flow_from)
        for line, _ in lines:
            self.labels.ink_line(line, 0.3, 0)
            self.drawn.add("flow")

    def best(self, ground: Ground | None, colour: str) -> None:
        """The ground of a best place, and its line."""
        if ground is None:
            return
        base.draw_area(self.ax, ground.footprint, facecolor=colour, edgecolor=colour, alpha=0.32,
                       linewidth=0.8, zorder=13, gid="best ground")
        for part in getattr(ground.line, "geoms", [ground.line]):
            line = np.asarray(part.coords)[:, :2]
            self.ax.add_line(Line2D(*line.T, color=colour, linewidth=2.6, zorder=15,
                                    path_effects=sy.cased(4.4), gid=f"best {ground.kind}"))
            self.labels.ink_line(line, 1.0, 2)
        self.drawn.add("best swale" if ground.kind == "swale" else "best basin")

    def road_water(self) -> None:
        """Where the water of most road passes."""
        at = self.one.road.at
        if at is None or not self.view.holds(*at, 6):
            return
        self.ax.add_patch(Circle(at, 5.5 * self.view.point, facecolor=sy.SHED, edgecolor=sy.PAPER,
                                 linewidth=1.3, zorder=24, gid="road water"))
        self.block_at(*at, 6.5)
        self.off.append(Point(at).buffer(6.5 * self.view.point))
        self.drawn.add("road water")

    def entries(self) -> None:
        """An arrow where water comes in, as long as the ground behind it is large."""
        entries = shown_entries(self.one.entries)
        for number, entry in enumerate(entries):
            near = [other for other in self.entered if np.hypot(
                entry.at[0] - entries[other].at[0], entry.at[1] - entries[other].at[1])
                < APART * self.view.point]
            if near:  # a larger one stands for it
                self.entered[near[0]].append(number + 1)
                continue
            self.entered[number] = [number + 1]
            share = (entry.area / self.one.entries[0].area) ** 0.5
            long = SHORTEST + (LONGEST - SHORTEST) * share
            way, unit = self._way_in(entry), self.view.point
            side = np.array([-way[1], way[0]])
            tip = np.array(entry.at) + way * 4 * unit
            half = 0.3 * long
            corners = ((0, 0), (0.45 * long, half), (0.45 * long, half * 0.45),
                       (long, half * 0.45), (long, -half * 0.45), (0.45 * long, -half * 0.45),
                       (0.45 * long, -half))
            shape = [tip + (side * across - way * back) * unit for back, across in corners]
            self.off.append(Shape(shape))
            self.ax.add_patch(Polygon(
                shape, closed=True, facecolor=sy.PAPER, edgecolor=sy.WATER, linewidth=1.2,
                zorder=21, alpha=0.95, gid="run-on"))
            for back in np.arange(0.1, 1.0, 0.2):
                spot = tip - way * back * long * unit
                self.block_at(float(spot[0]), float(spot[1]), half)
            self.drawn.add("run-on")

    def _way_in(self, entry: Entry) -> NDArray[np.float64]:
        """The way the water takes from where it comes in, over some cells."""
        direction = self.land.terrain.direction
        row, column = (int(i) for i in self.dem.row_column(*entry.at))
        start = np.array([row, column])
        at = start.copy()
        for _ in range(max(int(12 * self.view.point / self.dem.cell), 4)):
            if not (0 <= at[0] < self.dem.shape[0] and 0 <= at[1] < self.dem.shape[1]):
                break
            code = int(direction[at[0], at[1]])
            if code > 7:
                break
            at += np.array([ROW_STEP[code], COLUMN_STEP[code]])
        step = np.array([at[1] - start[1], start[0] - at[0]], float)
        norm = float(np.hypot(*step))
        if norm == 0:
            middle = np.array(self.one.parcel.outline.representative_point().coords[0])
            step, norm = middle - np.array(entry.at), 0.0
            norm = float(np.hypot(*step)) or 1.0
        return np.asarray(step / norm, np.float64)

    def names(self) -> None:
        """Say what each place is."""
        for ground, colour, words in ((self.one.swale, SWALE, "best swale"),
                                      (self.one.basin, BASIN, "best basin")):
            if ground is None:
                continue
            anchors = _along(ground.line)
            self.labels.place([
                Line(words, sy.LABEL_SIZE, colour, "bold"),
                Line(f"holds {sy.brief(ground.storage, 'volume', self.system)}", sy.SMALL_SIZE,
                     colour)], anchors, 4.0, "best label")
        if "road water" in self.drawn:
            self.labels.place([
                Line("road water", sy.SMALL_SIZE, sy.SHED, "bold"),
                Line(f"from {shown(self.one.road.there, 'area', self.system)}", sy.SMALL_SIZE,
                     sy.SHED)], np.array([self.one.road.at]), 6.0, "road label")
        for first, numbers in self.entered.items():
            entry, called = self.one.entries[first], ", ".join(str(n) for n in numbers)
            size = land(entry.area, self.system)
            for words in (f"{called}: run-on, {size}", called):  # its number alone in a crowd
                if self.labels.place([Line(words, sy.SMALL_SIZE, sy.WATER, style="italic")],
                                     np.array([entry.at]), 8.0, "run-on label", far=60):
                    break


def shown_entries(entries: Sequence[Entry]) -> list[Entry]:
    """Places where water comes in that are worth an arrow, the largest first."""
    return [entry for entry in entries[:MOST_ENTRIES]
            if entry.area >= LEAST_ENTRY * entries[0].area]


def _along(line: Any) -> NDArray[np.float64]:
    """Places along a line that its label may belong to."""
    part = max(getattr(line, "geoms", [line]), key=lambda shape: shape.length)
    spots = [LineString(part.coords).interpolate(share, normalized=True)
             for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95)]
    return np.array([[spot.x, spot.y] for spot in spots])


def _panel(column: Column, on: ParcelMap, rank: int | None) -> None:
    """What the map shows, and what the parcel comes to."""
    one, screening, system = on.one, on.screening, on.system
    title(column, one.parcel.name, f"Rank {rank} of {screening.district.name}")
    size = sy.SMALL_SIZE + 0.3
    column.skip(8)
    for line in _said(one, screening, system):
        column.text(with_figures(line, system), size)
        column.skip(2)
    _own_legend(column, on)
    gathers = f"Water gathers, from {round_land_words(on.flow_from, system)} up"
    column.skip(-10)
    Legend(column, (gathers, "what comes in from beyond included"), small=True).draw(
        on.drawn - {"best swale", "best basin", "road water"})
    foot = column.wrapped(_foot(on), sy.SMALL_SIZE, column.width)
    above = len(foot) * sy.SMALL_SIZE * 1.32 + 16
    for head, ground in (("Best ground for a swale", one.swale),
                         ("Best ground for a basin", one.basin)):
        _place(column, on, head, ground, above)
    column.y = -column.height + above - 8
    column.rule()
    column.skip(7)
    for line in foot:
        column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)


def _said(one: Screened, screening: Screening, system: str) -> list[str]:
    water = one.storms[screening.design]
    least = "at least " if run_on_at_least(one, screening) else ""
    own = "at least " if own_at_least(one, screening) else ""
    said = [f"{land(one.parcel.area, system)}; {least}"
            f"{land(one.run_on_area, system)} beyond drain over it.",
            *off_lines(one, screening)[:1],
            f"{design_name(screening)}: {own}{volume(water.own, system)} run off its own "
            f"ground, {least}{volume(water.run_on, system)} come from beyond."]
    if one.year is not None:
        said.append(f"Average year: {least}{volume(one.year.catchable, system)} could "
                    f"be caught on the ground, {volume(one.year.roof, system)} on "
                    f"{one.roofs.count} roof{'' if one.roofs.count == 1 else 's'}.")
    return said


def _own_legend(column: Column, on: ParcelMap) -> None:
    entries = (("best swale", "Best ground for a swale", SWALE),
               ("best basin", "Best ground for a basin", BASIN),
               ("road water", "The water of most road passes", sy.SHED))
    column.skip(10)
    for key, words, colour in entries:
        if key not in on.drawn:
            continue
        y = column.y - 7.1
        if key == "road water":
            column.ax.add_patch(Circle((21, y), 5.0, facecolor=colour, edgecolor=sy.PAPER))
        else:
            column.ax.add_patch(Rectangle((4, y - 4.5), 34, 9, facecolor=colour, alpha=0.32,
                                          edgecolor="none"))
            column.ax.add_line(Line2D([4, 38], [y, y], color=colour, linewidth=2.6))
        column.ax.text(50, y, words, fontsize=sy.SMALL_SIZE, va="center", ha="left",
                       gid=f"legend:{key}")
        column.skip(14.2)


def _place(column: Column, on: ParcelMap, head: str, ground: Ground | None, above: float) -> None:
    """A best place in words, if they find room."""
    size = sy.SMALL_SIZE
    lines = (["None of its ground lets one lie."] if ground is None else
             ground_lines(ground, on.one, on.screening, on.system))
    lines = [line for said in lines
             for line in column.wrapped(with_figures(said, on.system), size, column.width)]
    if column.room - above < 13 + 18 + len(lines) * size * 1.32 + 10:
        return
    column.skip(11)
    column.text(head, sy.HEAD_SIZE, weight="bold")
    column.skip(1)
    for line in lines:
        column.text(line, size)


def _foot(on: ParcelMap) -> str:
    unit = 0.3048 if on.system == "us" else 1.0
    lines = (f"Contours every {on.interval / unit:g} {'ft' if on.system == 'us' else 'm'}. "
             if on.interval else "")
    return ("A screening from a raster: look at each place on the ground, and plan the parcel by "
            f"itself. {lines}{places_words(on.dem.frame)}")
