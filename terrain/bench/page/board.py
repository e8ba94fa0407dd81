"""The map of the bench: the ground, the works on it, and what is taken hold of."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from bokeh.core.property.descriptors import UnsetValueError
from bokeh.events import RangesUpdate
from bokeh.models import (
    BoxAnnotation,
    ColumnDataSource,
    CustomJS,
    GlyphRenderer,
    ImageURL,
    ImperialLength,
    LinearColorMapper,
    PanTool,
    Range1d,
    ScaleBar,
    WheelZoomTool,
)
from bokeh.plotting import figure
from numpy.typing import NDArray

from terrain.bench.handles import Handle
from terrain.bench.laid import Laid
from terrain.bench.layers.lines import Contours, FlowWays
from terrain.bench.layers.outlines import Outline
from terrain.bench.layers.patches import Patch, catchment_patch
from terrain.bench.page import look
from terrain.bench.page.drawn import (
    LETTER,
    WIDE_LETTER,
    apart,
    drawn,
    image_of,
    labels_of,
    lines_of,
    sides_of,
    spills_of,
    tints,
    ways_of,
)
from terrain.outputs.drawing import symbols as sy

FloatArray = NDArray[np.float64]

#: Half a handle's side, and how near a click must come to what it means. [points of a screen]
HANDLE, NEAR = 12, 14
#: So many handles are ready from the first.
HANDLES = 12
#: What a step of zooming by key or button does.
ZOOM = 1.5
#: The mark moves by such shares of the map's width.
STRIDE, FINE = 1 / 40, 1 / 400
#: Looks of what is on the ground: fill, edge, its width.
_OUTLINES = {"road": (sy.ROAD, sy.ROAD_EDGE, 1.0), "roof": (sy.ROOF, sy.ROOF_EDGE, 1.5),
             "culvert": (None, sy.ROOF_EDGE, 3.0), "boundary": (None, sy.BOUNDARY, 2.5)}
_KEPT_CLEAR = (None, "#7a1f5c", 1.5)


@dataclass(frozen=True)
class Ground:
    """What the map shows beside the works.

    Attributes
    ----------
    extent : (left, bottom, right, top)
        Of the pictures. [m]
    view : (west, south, east, north)
        What is shown first. [m]
    """

    extent: tuple[float, float, float, float]
    view: tuple[float, float, float, float]
    hillshade: str
    contours: Contours
    ways: FlowWays
    outlines: Sequence[Outline]
    system: str


class Board:
    """The map.

    Parameters
    ----------
    ground : Ground
    dragged : callable
        Called with a handle's key and its place, as it is dragged.
    """

    def __init__(self, ground: Ground, dragged: Callable[[str, float, float], None]) -> None:
        self._dragged = dragged
        west, south, east, north = ground.view
        self.across, self.up = Range1d(start=west, end=east), Range1d(start=south, end=north)
        self.map = figure(
            x_range=self.across, y_range=self.up, toolbar_location=None,
            tools="", sizing_mode="stretch_both", min_border=0, outline_line_color=None,
            background_fill_color=sy.PAPER, lod_threshold=None, name="map")
        self.map.axis.visible = False
        self.map.grid.visible = False
        pan, wheel = PanTool(), WheelZoomTool(zoom_on_axis=False)
        self.map.add_tools(pan, wheel)
        self.map.toolbar.active_drag, self.map.toolbar.active_scroll = pan, wheel
        scale = CustomJS(args={"map": self.map}, code=look.read("scale.js"))
        for side in ("inner_width", "inner_height"):
            self.map.js_on_change(side, scale)
        self.map.js_on_event(RangesUpdate, CustomJS(code="globalThis.benchTouched = true;"))
        self._ground(ground)
        self._works()
        self._held: list[BoxAnnotation] = []
        self._named: dict[str, list[Any]] = {"x": [], "y": [], "text": [], "colour": []}
        self._keys: list[str] = []
        self._told: dict[str, bytes] = {}
        self._feet: Range1d | None = None
        self._moving = False
        for _ in range(HANDLES):  # to add one to a page that is shown takes long
            self._one_more_handle()
        self._scale_bar(ground.system)

    def _ground(self, ground: Ground) -> None:
        left, bottom, right, top = ground.extent
        place = {"x": left, "y": bottom, "w": right - left, "h": top - bottom,
                 "anchor": "bottom_left"}
        self._over = ColumnDataSource({"url": []})
        for source in (ColumnDataSource({"url": [ground.hillshade]}), self._over):
            self.map.add_glyph(source, ImageURL(url="url", **place))
        self._all = self.map.image(
            "image", "x", "y", "w", "h", color_mapper=tints(), global_alpha=0.5, visible=False,
            source=ColumnDataSource({head: [] for head in ("image", "x", "y", "w", "h")}))
        self.contours = [
            self.map.multi_line(*lines_of(ground.contours.thin), line_color=sy.CONTOUR,
                                line_width=0.8),
            self.map.multi_line(*lines_of(ground.contours.heavy), line_color=sy.INDEX_CONTOUR,
                                line_width=1.5),
            *self._lettered(ColumnDataSource(labels_of(ground.contours)), "12px", "#4a371c",
                            angle="angle", text_align="center", text_baseline="middle")]
        self.flow = [self.map.multi_line("xs", "ys", source=ColumnDataSource(ways_of(ground.ways)),
                                         line_color="#2f7fa6",
                                         line_width="wide", line_cap="round")]
        for kind in dict.fromkeys(one.kind for one in ground.outlines):
            self._outline(kind, [one for one in ground.outlines if one.kind == kind])

    def _outline(self, kind: str, things: list[Outline]) -> None:
        fill, edge, wide = _OUTLINES.get(kind, _KEPT_CLEAR)
        areas = [ring for one in things for ring in one.areas]
        if areas:
            self.map.multi_polygons(
                [[[r[:, 0] for r in rings]] for rings in areas],
                [[[r[:, 1] for r in rings]] for rings in areas], fill_color=fill or edge,
                fill_alpha=0.75 if fill else 0.0, line_color=edge, line_width=wide,
                line_dash="dashed" if kind not in _OUTLINES else "solid")
        lines = [line for one in things for line in one.lines]
        if lines:
            self.map.multi_line(*lines_of(lines), line_color=edge, line_width=wide,
                                line_dash=[6, 4] if kind not in _OUTLINES else "solid")
        spots = [(x, y, one.radius) for one in things for x, y in one.points.tolist()]
        if spots:
            self.map.circle([s[0] for s in spots], [s[1] for s in spots],
                            [s[2] or 1.0 for s in spots], fill_color=None, line_color=edge,
                            line_width=wide, line_dash="dashed")

    def _works(self) -> None:
        heads = {"catchment": ("image", "x", "y", "w", "h"), "areas": ("xs", "ys", "fill", "edge"),
                 "lines": ("xs", "ys", "colour", "wide", "dash"),
                 "spills": ("xs", "ys", "wide", "alpha"),
                 "spots": ("x", "y", "shape", "fill", "size"),
                 "names": ("x", "y", "text", "colour", "align", "right", "down"),
                 "chosen": ("xs", "ys"), "measure": ("xs", "ys"), "marks": ("x", "y"),
                 "mark": ("x", "y")}
        self.sources = {name: ColumnDataSource({head: [] for head in own})
                        for name, own in heads.items()}
        s, m = self.sources, self.map
        m.image("image", "x", "y", "w", "h", source=s["catchment"],
                color_mapper=LinearColorMapper(palette=["rgba(0,0,0,0)", look.CATCHMENT], low=0,
                                               high=1), global_alpha=0.38)
        m.multi_line("xs", "ys", source=s["chosen"], line_color=look.CHOSEN, line_width=9,
                     line_alpha=0.55, line_cap="round", line_join="round")
        self.spills = m.multi_line("xs", "ys", source=s["spills"], line_color=look.SPILL,
                                   line_width="wide", line_alpha="alpha", line_dash=[2, 4],
                                   line_cap="round")
        m.multi_polygons("xs", "ys", source=s["areas"], fill_color="fill", line_color="edge",
                         fill_alpha=0.8, line_width=1.8)
        m.multi_line("xs", "ys", source=s["lines"], line_color="colour", line_width="wide",
                     line_dash="dash", line_cap="round")
        m.scatter("x", "y", source=s["spots"], marker="shape", fill_color="fill", size="size",
                  line_color=look.HALO, line_width=1.2)
        self.names = self._lettered(s["names"], f"{LETTER}px", "colour", text_font_style="bold",
                                    text_align="align", text_baseline="middle", x_offset="right",
                                    y_offset="down")
        m.multi_line("xs", "ys", source=s["measure"], line_color="#111111", line_width=2.5,
                     line_dash=[6, 3])
        m.scatter("x", "y", source=s["marks"], size=11, fill_color="#ffffff",
                  line_color="#111111", line_width=2)
        m.scatter("x", "y", source=s["mark"], marker="circle_cross", size=26, fill_color=None,
                  line_color="#111111", line_width=2)

    def _lettered(self, source: ColumnDataSource, size: str, colour: str, **looks: Any
                  ) -> list[GlyphRenderer]:
        """Words with a pale rim, so that they are read on any ground."""
        rim = self.map.text("x", "y", "text", source=source, text_font_size=size,
                            text_color=look.HALO, text_outline_color=look.HALO,
                            text_outline_width=4, **looks)
        return [rim, self.map.text("x", "y", "text", source=source, text_font_size=size,
                                   text_color=colour, **looks)]

    def _scale_bar(self, system: str) -> None:
        us = system == "us"
        units = ({"ft": (1.0, "ft", "foot"), "mi": (5280.0, "mi", "mile")} if us else
                 {"m": (1.0, "m", "metre"), "km": (1000.0, "km", "kilometre")})
        for old in [one for one in self.map.center if isinstance(one, ScaleBar)]:
            self.map.center.remove(old)
        self.map.add_layout(ScaleBar(
            range=self._in_feet() if us else self.across, unit="ft" if us else "m",
            dimensional=ImperialLength(basis=units,
                                       ticks=[1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500]),
            location="bottom_left", background_fill_color=look.HALO, background_fill_alpha=0.9,
            border_line_color=None, bar_line_width=3, label_text_font_size="14px",
            label_text_color=look.INK, length_sizing="adaptive", bar_length=0.12))

    def _in_feet(self) -> Range1d:
        """What is shown from west to east, in feet: a bar's unit is its range's."""
        if self._feet is None:
            self._feet = Range1d(start=self.across.start / 0.3048, end=self.across.end / 0.3048)
            follow = CustomJS(args={"feet": self._feet}, code=(
                "feet.setv({start: cb_obj.start / 0.3048, end: cb_obj.end / 0.3048});"))
            for side in ("start", "end"):
                self.across.js_on_change(side, follow)
        return self._feet

    def tell_in(self, system: str) -> None:
        """The bar in another system of units."""
        self._scale_bar(system)

    def line(self, made: Contours, ways: FlowWays | None) -> None:
        """Draw other contours, and other ways of the water unless there are none to draw."""
        for glyphs, lines in zip(self.contours[:2], (made.thin, made.heavy), strict=True):
            xs, ys = lines_of(lines)
            glyphs.data_source.data = {"xs": xs, "ys": ys}
        self.contours[2].data_source.data = labels_of(made)
        if ways is not None:
            self.flow[0].data_source.data = ways_of(ways)

    # What is shown.

    def over(self, address: str) -> None:
        """Lay a picture over the hillshade; "" takes it away."""
        self._over.data = {"url": [address] if address else []}

    def tint(self, patch: Patch | None) -> None:
        """Tint every catchment; None takes the tints away."""
        self._all.visible = patch is not None
        if patch is not None:
            self._all.data_source.data = image_of(patch)

    def show(self, laid: Laid, chosen: str | None, spilt: Mapping[str, float]) -> None:
        """Draw the works of a layout.

        Parameters
        ----------
        spilt : mapping of str to float
            What each store spills in the storm that is shown. [m3]
        """
        found = drawn(laid, chosen, spilt)
        self._named = found.pop("names")
        for name, data in found.items():
            self._put(name, data)
        self.name_again()

    def spill(self, laid: Laid, spilt: Mapping[str, float]) -> None:
        """Draw the ways of the spills anew, those that carry one bold. [m3]"""
        self._put("spills", spills_of(laid, spilt))

    def _put(self, name: str, data: dict[str, Any]) -> None:
        """Send what a source holds, unless the page has it already."""
        told = pickle.dumps(data)
        if self._told.get(name) != told:
            self._told[name] = told
            self.sources[name].data = data

    def name_again(self) -> None:
        """Set the names anew where they keep clear of each other at this scale."""
        found, per = self._named, self.per_point
        spots = list(zip(found["x"], found["y"], found["text"], strict=True))
        sides = sides_of([(x / per, y / per, len(text) * WIDE_LETTER * LETTER)
                          for x, y, text in spots])
        self.sources["names"].data = found | {
            "align": ["left" if right > 0 else "right" for right, _ in sides],
            "right": [right for right, _ in sides], "down": [down for _, down in sides]}

    def shade(self, laid: Laid, chosen: str | None) -> None:
        """Shade the catchment of the chosen work."""
        patch = (None if chosen is None else
                 catchment_patch(laid.inputs.dem, laid.catchment_cells(chosen)))
        self.sources["catchment"].data = (
            {"image": [], "x": [], "y": [], "w": [], "h": []} if patch is None else image_of(patch))

    def measure(self, points: Sequence[tuple[float, float]]) -> None:
        """Draw what is being measured or drawn."""
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        self.sources["measure"].data = {"xs": [xs] if len(xs) > 1 else [],
                                        "ys": [ys] if len(ys) > 1 else []}
        self.sources["marks"].data = {"x": xs, "y": ys}

    def mark(self, place: tuple[float, float] | None) -> None:
        """Show the mark that the keyboard moves."""
        self.sources["mark"].data = ({"x": [], "y": []} if place is None else
                                     {"x": [place[0]], "y": [place[1]]})

    # Handles.

    def hold(self, handles: Sequence[Handle]) -> None:
        """Show handles, the more telling first: where two would cover each other only that one,
        so that what is taken hold of is what was meant; nearer, there is room for more."""
        handles = apart(handles, 2 * HANDLE * self.per_point)
        self._keys = [handle.key for handle in handles]
        self._moving = True
        try:
            while len(self._held) < len(handles):
                self._one_more_handle()
            half = HANDLE * self.per_point
            for box, handle in zip(self._held, handles, strict=False):
                box.update(left=handle.x - half, right=handle.x + half,
                           bottom=handle.y - half, top=handle.y + half, visible=True,
                           fill_color=look.POOL if handle.key == "sill_at" else "#ffffff",
                           border_radius=12 if handle.whole else 3)
            for box in self._held[len(handles):]:
                box.visible = False
        finally:
            self._moving = False

    def _one_more_handle(self) -> None:
        box = BoxAnnotation(
            left=0, right=1, bottom=0, top=1, editable=True, resizable="none", movable="both",
            fill_color="#ffffff", fill_alpha=0.95, line_color=look.CHOSEN, line_width=3,
            hover_fill_color="#ffd9b8", level="overlay", visible=False)
        for side in ("left", "right", "top", "bottom"):  # when the last is told, all are
            box.on_change(side, partial(self._on_drag, len(self._held)))
        self._held.append(box)
        self.map.add_layout(box)

    def _on_drag(self, number: int, attribute: str, old: float, new: float) -> None:
        box = self._held[number]
        if not self._moving and number < len(self._keys) and box.visible:
            self._dragged(self._keys[number], (box.left + box.right) / 2,
                          (box.bottom + box.top) / 2)

    # The view.

    @property
    def per_point(self) -> float:
        """How long on the ground a point of the screen is. [m]"""
        return float(self.across.end - self.across.start) / self.wide

    @property
    def wide(self) -> int:
        """How wide the map is. [points of a screen]"""
        try:
            return max(int(self.map.inner_width), 1)
        except UnsetValueError:  # the page has not said yet
            return 800

    @property
    def view(self) -> tuple[float, float, float, float]:
        """West, south, east and north of what is shown. [m]"""
        return self.across.start, self.up.start, self.across.end, self.up.end

    @property
    def middle(self) -> tuple[float, float]:
        """Middle of what is shown. [m]"""
        return ((self.across.start + self.across.end) / 2, (self.up.start + self.up.end) / 2)

    def zoom(self, by: float, about: tuple[float, float] | None = None) -> None:
        """Show more or less, about a place."""
        cx, cy = about or self.middle
        for side, c in ((self.across, cx), (self.up, cy)):
            side.update(start=c + (side.start - c) / by, end=c + (side.end - c) / by)

    def bring_in(self, x: float, y: float) -> None:
        """Move what is shown so far that a place is in it."""
        for side, at in ((self.across, x), (self.up, y)):
            span = side.end - side.start
            if not side.start + 0.04 * span <= at <= side.end - 0.04 * span:
                side.update(start=at - span / 2, end=at + span / 2)

    def nearest(self, laid: Laid, x: float, y: float) -> str | None:
        """The work that a click means; None if none is near."""
        from shapely import LineString, Point

        point, found = Point(x, y), []
        for place in laid.placed:
            shapes = [place.outline]
            if place.basin is not None:
                shapes.append(LineString(place.basin.line))
            gap = min(float(shape.distance(point)) for shape in shapes)
            if gap <= NEAR * self.per_point:
                found.append((gap, float(place.outline.area), place.work.name))
        return min(found)[2] if found else None
