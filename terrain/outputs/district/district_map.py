"""The map of a whole district: parcels in colours of their rank on the shaded ground."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.transforms import Bbox
from numpy.typing import NDArray
from shapely import MultiPolygon, box, maximum_inscribed_circle
from shapely.geometry.polygon import orient

from terrain.district.screened import Screened, Screening
from terrain.outputs.district.figures import ranks_of
from terrain.outputs.district.rank_colours import (
    ALPHA,
    COLOURS,
    NOTHING,
    class_of,
    class_words,
    classes_for,
    nothing_words,
    ranked_count,
)
from terrain.outputs.district.rounded import round_land
from terrain.outputs.district.told import land, round_land_words, run_on_at_least, volume
from terrain.outputs.district.words import rank_value, ranked_by
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.labels import Column, Labels, Line, shortened
from terrain.outputs.drawing.legend import title
from terrain.outputs.drawing.map_features import places_words, scale_and_north
from terrain.outputs.drawing.map_page import Frame
from terrain.surface.terrain import Terrain

FRAME = Frame(margin=0.42, panel=3.25, gutter=0.3)
#: Ranks up to this are named on the map even where they find no room within their parcel.
NAMED = 25
#: From this volume on gallons are told in millions, as the column has no room for more. [m3]
MILLIONS = 35_000.0
#: How far off its parcel such a name may stand. [pt]
FAR = 80.0
#: Ways of the water are drawn where the share of the map's ground that they gather is larger.
GATHERS = 1 / 60
#: Classes that are so dark that they are lettered in light.
_DARK = set(COLOURS[:2])
#: Sizes of ranks and names on the map. [pt]
NUMBER_SIZE, NAME_SIZE = 14.5, 10.5
#: Where about a parcel's middle its label is tried. [pt]
_AROUND = [(8.0 * i, 8.0 * j) for i in range(-3, 4) for j in range(-3, 4)]
#: What a parcel that could not be screened is hatched with.
HATCH = "////"


@sy.styled
def draw_district(screening: Screening) -> Figure:
    """The map. A3, landscape."""
    figure, ax = FRAME.begun(sy.A3)
    wide, high = FRAME.room(sy.A3)
    sides = np.array([one.parcel.outline.bounds for one in screening.parcels
                      if not one.parcel.outline.is_empty])
    bounds = (float(sides[:, 0].min()), float(sides[:, 1].min()), float(sides[:, 2].max()),
              float(sides[:, 3].max()))
    view = base.view_of(bounds, wide * 72, high * 72, margin=0.04)
    view.shown_on(ax)
    DistrictMap(screening, ax, view).draw(FRAME.column(figure))
    return figure


class DistrictMap:
    """The state of one drawing."""

    def __init__(self, screening: Screening, ax: Axes, view: View) -> None:
        self.screening, self.ax, self.view = screening, ax, view
        self.system = screening.district.units
        self.crop = base.cropped(screening.overview, view)
        self.labels = Labels(ax)
        self.ranked = list(zip(ranks_of(screening), screening.parcels, strict=True))
        self.least = 0.0
        self.unnamed = 0

    def draw(self, column: Column) -> None:
        """Draw map and panel."""
        base.draw_shade(self.ax, self.crop)
        self._parcels()
        self._ways()
        scale_and_north(self.ax, self.view, self.labels, self.system)
        self._names()
        self._panel(column)

    def _parcels(self) -> None:
        """Parcels of one class as one shape: a county has a hundred thousand."""
        parts: dict[str | None, list[Any]] = {}
        rings: list[NDArray[np.float64]] = []
        for rank, one in self.ranked:
            colour = None if rank is None else self._colour(rank)
            parts.setdefault(colour, []).extend(_polygons(one.parcel.outline))
            rings += _rings(one.parcel.outline)
        for colour, shapes in parts.items():
            together = MultiPolygon(shapes)
            if colour is None:
                base.draw_area(self.ax, together, facecolor="none", hatch=HATCH,
                               edgecolor=sy.SOFT_INK, linewidth=0.0, zorder=3.5, alpha=0.6,
                               gid="not screened")
            else:
                base.draw_area(self.ax, together, facecolor=colour, edgecolor="none", alpha=ALPHA,
                               zorder=3, gid="nothing found" if colour == NOTHING else
                               f"rank class {COLOURS.index(colour)}")
        self.ax.add_collection(LineCollection(rings, colors=sy.BOUNDARY, linewidths=1.0, zorder=6,
                                              gid="parcel edge"), autolim=False)
        for ring in rings:
            self.labels.ink_line(ring, 0.8, 1)

    def _ways(self) -> None:
        """Where water gathers by the coarse ground of the overview."""
        if min(self.crop.shape) < 3 or not np.isfinite(self.crop.heights).any():
            return
        terrain = Terrain(self.crop)
        self.least = round_land(GATHERS * float(np.isfinite(self.crop.heights).sum())
                                * self.crop.cell_area, self.system)
        lines = base.flow_lines(terrain, self.view, self.least)
        for width, colour, alpha in ((2.6, sy.PAPER, 0.75), (1.3, sy.WATER, 1.0)):
            for line, _ in lines:
                self.ax.add_line(Line2D(*np.asarray(line).T, color=colour, alpha=alpha,
                                        linewidth=width, zorder=5 + (width < 2), gid="flow"))
        for line, _ in lines:
            self.labels.ink_line(line, 0.5, 0)

    def _colour(self, rank: int) -> str:
        number = class_of(rank, self.screening)
        return NOTHING if number is None else COLOURS[classes_for(self.screening)[number]]

    def _names(self) -> None:
        """Rank and name within each parcel, the rank alone where they find no room, beside it for
        the best; those without are counted."""
        for rank, one in self.ranked:
            number = "–" if rank is None else str(rank)
            if not self._tried(rank, one):
                self.unnamed += 1
                continue
            dark = rank is not None and self._colour(rank) in _DARK
            ink, edge = (sy.PAPER, sy.INK) if dark else (sy.INK, sy.PAPER)
            name = shortened(self.labels.figure, one.parcel.name, NAME_SIZE, 150)
            whole = [Line(number, NUMBER_SIZE, ink, "bold"), Line(name, NAME_SIZE, ink)]
            spot = _middle(one.parcel.outline)
            if self._within(whole, spot, one, edge) or self._within(whole[:1], spot, one, edge):
                continue
            if rank is None or rank > NAMED or not self.labels.place(
                    [Line(f"{number} {name}", sy.SMALL_SIZE, sy.INK, "bold")],
                    np.array([spot]), 1.0, "parcel label", far=FAR):
                self.unnamed += 1

    def _tried(self, rank: int | None, one: Screened) -> bool:
        """Whether a parcel may have room for its rank at all, or is named in any case."""
        west, south, east, north = one.parcel.outline.bounds
        return (rank is not None and rank <= NAMED) or (
            min(east - west, north - south) > NUMBER_SIZE * self.view.point)

    def _within(self, lines: Sequence[Line], spot: tuple[float, float], one: Screened, edge: str
                ) -> bool:
        """Write a label about the middle of a parcel if there is room on its own ground."""
        sizes = self.labels.measured(lines)
        wide, high = max(w for w, _ in sizes), sum(h for _, h in sizes)
        middle = self.ax.transData.transform(spot)
        back = self.ax.transData.inverted()

        def frame(off: tuple[float, float]) -> tuple[float, float, float, float]:
            x, y = middle + np.array(off) * self.labels.pixel
            return x - wide / 2 - 3, y - high / 2 - 2, x + wide / 2 + 3, y + high / 2 + 2

        def cost(off: tuple[float, float]) -> tuple[float, float]:
            return round(self.labels.ink_in(*frame(off)), 2), float(np.hypot(*off))

        for off in sorted(_AROUND, key=cost):
            x0, y0, x1, y1 = frame(off)
            own = box(*back.transform((x0, y0)), *back.transform((x1, y1)))
            if not self.labels.free(x0, y0, x1, y1) or not one.parcel.outline.covers(own):
                continue
            top = y1 - 2
            for line, (_, tall) in zip(lines, sizes, strict=True):
                across, up = back.transform(((x0 + x1) / 2, top - tall / 2))
                self.ax.text(across, up, line.words, ha="center", va="center",
                             fontsize=line.size, color=line.colour, fontweight=line.weight,
                             zorder=32, path_effects=sy.halo(2.0, edge), gid="parcel label")
                top -= tall
            self.labels.block(Bbox.from_extents(x0, y0, x1, y1))
            return True
        return False

    def _panel(self, column: Column) -> None:
        screening, system = self.screening, self.system
        title(column, screening.district.name, "Parcels by rank")
        column.skip(8)
        column.text(f"Ranked by {ranked_by(screening)}.", sy.SMALL_SIZE + 0.3)
        column.skip(6)
        self._legend(column)
        foot = column.wrapped(self._foot(), sy.SMALL_SIZE, column.width)
        above = len(foot) * sy.SMALL_SIZE * 1.32 + 16
        self._best(column, above, system)
        column.y = -column.height + above - 8
        column.rule()
        column.skip(7)
        for line in foot:
            column.text(line, sy.SMALL_SIZE, sy.SOFT_INK)

    def _legend(self, column: Column) -> None:
        entries: list[tuple[str, str, Any]] = [
            (class_words(number, self.screening), "rank", COLOURS[colour])
            for number, colour in enumerate(classes_for(self.screening))]
        if any(rank is not None and self._colour(rank) == NOTHING for rank, _ in self.ranked):
            entries.append((nothing_words(self.screening), "nothing", NOTHING))
        if any(rank is None for rank, _ in self.ranked):
            entries.append(("Not screened", "hatch", None))
        if self.least:
            entries.append((f"Water gathers, from {round_land_words(self.least, self.system)} up",
                            "flow", None))
        for words, kind, colour in entries:
            y = column.y - 8.5
            if kind == "flow":
                column.ax.add_line(Line2D([5, 37], [y, y], color=sy.WATER, linewidth=1.6))
            else:
                column.ax.add_patch(Rectangle(
                    (5, y - 5.5), 32, 11, facecolor="none" if colour is None else colour,
                    alpha=ALPHA if colour else 1.0, edgecolor="none"))
                column.ax.add_patch(Rectangle(
                    (5, y - 5.5), 32, 11, facecolor="none", edgecolor=sy.BOUNDARY, linewidth=0.9,
                    hatch=HATCH if kind == "hatch" else None))
            column.ax.text(50, y, words, fontsize=sy.TEXT_SIZE, va="center", ha="left",
                           gid=f"legend:{kind}")
            column.skip(17)

    def _best(self, column: Column, above: float, system: str) -> None:
        """The best parcels, as many as find room."""
        step = sy.SMALL_SIZE * 1.5
        rows = [(rank, one) for rank, one in self.ranked[:ranked_count(self.screening)]
                if rank is not None]
        room = int((column.room - above - 13 - 34 - 8) / step)
        if not rows or room < 2:
            return
        wide = column.width
        column.skip(13)
        column.text("The best", sy.HEAD_SIZE, weight="bold")
        column.skip(2)
        column.row([(0, "left", "rank, parcel"), (wide - 78, "right", "area"),
                    (wide, "right", _by(self.screening))], sy.SMALL_SIZE, sy.SOFT_INK)
        for rank, one in rows[:room]:
            name = shortened(self.labels.figure, one.parcel.name, sy.SMALL_SIZE, wide - 78 - 82)
            value, dimension = rank_value(one, self.screening)
            least = "≥ " if self.screening.district.rank_by in ("catchable", "run-on") and (
                run_on_at_least(one, self.screening)) else ""
            column.row([(14, "right", f"{rank}"), (20, "left", name),
                        (wide - 78, "right", land(one.parcel.area, system)),
                        (wide, "right", least + (
                            volume(value, system) if system == "us" and value < MILLIONS else
                            sy.brief(value, dimension, system)))],
                       sy.SMALL_SIZE)

    def _foot(self) -> str:
        said = (f"{self.unnamed} parcels found no room for their rank on the map; the table has "
                "them all. " if self.unnamed > 1 else
                "One parcel found no room for its rank on the map; the table has it. "
                if self.unnamed else "")
        return (f"{said}A screening from a raster says where to look first, and designs nothing. "
                "Ground and ways of the water are drawn coarsely here. "
                f"{places_words(self.screening.overview.frame)}")


def _by(screening: Screening) -> str:
    return {"kept": "keeps", "catchable": "catchable", "run-on": "run-on", "road": "from roads",
            "roof": "from roofs"}[screening.district.rank_by]


def _middle(outline: Any) -> tuple[float, float]:
    """The place in an outline that is furthest from its edge."""
    part = max(getattr(outline, "geoms", [outline]), key=lambda shape: shape.area)
    x, y = maximum_inscribed_circle(part, tolerance=max(part.length / 400, 1e-3)).coords[0]
    return float(x), float(y)


def _polygons(outline: Any) -> list[Any]:
    """The polygons of an outline, all turning the same way."""
    return [orient(part) for part in getattr(outline, "geoms", [outline])
            if part.geom_type == "Polygon"]


def _rings(outline: Any) -> list[NDArray[np.float64]]:
    return [np.asarray(ring.coords)[:, :2] for part in getattr(outline, "geoms", [outline])
            for ring in (part.exterior, *part.interiors)]
