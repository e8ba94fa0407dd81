"""What lies about a work on its sheet: in grey roads, roofs, the boundary and the other works; in
ink, over the work, what is to be kept clear of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from numpy.typing import NDArray
from shapely import LineString

from terrain.inputs.keep_clear import Thing
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import draw_keep_clear, symbol_of
from terrain.outputs.drawing.labels import Line
from terrain.outputs.drawing.map_features import draw_led, points_in
from terrain.outputs.sheets.sheet import Sheet
from terrain.outputs.sheets.sheet_plan import label_places
from terrain.plan.siting.layout import Placed
from terrain.runoff.ground import Ground

FloatArray = NDArray[np.float64]

#: What is to be kept clear of is drawn so many layers higher than on a map, over the work.
OVER = 6.0
#: So many things of a kind without a name of their own are lettered; the key tells of the rest.
UNNAMED = 2


def draw_surroundings(sheet: Sheet, ground: Ground, others: Sequence[tuple[str, Sequence[Placed]]],
                      furrows: Sequence[FloatArray] = ()) -> Callable[[], None]:
    """Draw them.

    Parameters
    ----------
    others : sequence of (name, places)
        Works that are drawn as one have one name.
    furrows : sequence of float64, shape (points, 2)
        That lead the spills of other works, to this one or past it. [m]

    Returns
    -------
    letter : callable
        Letters them, once the work itself is lettered.
    """
    box = sheet.view.box()
    named: list[tuple[str, Any, str]] = []
    for road in ground.roads:
        if road.surface.intersects(box):
            base.draw_area(sheet.plan, road.surface, facecolor=sy.ROAD, edgecolor=sy.ROAD_EDGE,
                           linewidth=0.6, zorder=8, gid="road")
            sheet.labels.covered.append(road.surface)
            named.append((road.name, road.surface.intersection(box), sy.ROAD_INK))
    for roof in ground.roofs:
        if roof.outline.intersects(box):
            base.draw_area(sheet.plan, roof.outline, facecolor=sy.ROOF, edgecolor=sy.ROOF_EDGE,
                           linewidth=0.8, zorder=9, gid="roof")
            sheet.labels.ink(points_in(roof.outline, sheet.view), 1.0)
            sheet.labels.covered.append(roof.outline)
            named.append((roof.name, roof.outline.intersection(box), sy.ROOF_EDGE))
    for part in getattr(ground.boundary, "geoms", [ground.boundary]):
        line = np.asarray(part.exterior.coords)[:, :2]
        sheet.plan.add_line(Line2D(*line.T, color=sy.BOUNDARY, linewidth=1.3, zorder=9.5,
                                   linestyle=(0, (9, 2.5, 1.5, 2.5)), gid="boundary"))
        sheet.labels.ink_line(line, 0.8)
    for name, places in others:
        shapes = [_draw_other(sheet, place) for place in places
                  if place.outline.intersects(box)]
        if shapes:
            named.append((name, shapes[0].intersection(box), sy.SOFT_INK))
    for way in furrows:
        if len(way) > 1 and LineString(way).intersects(box):
            draw_led(sheet.plan, way, sheet.view, "furrow")
            sheet.labels.ink_line(way, 1.0)
            sheet.ways.append(LineString(way))
    kept = _draw_kept_clear(sheet, ground.keep_clear)

    def letter() -> None:
        for name, shape in kept:
            sheet.labels.place([Line(name, sy.SMALL_SIZE, sy.INK, style="italic")],
                               label_places(shape) if shape.geom_type != "Point" else
                               np.array([[shape.x, shape.y]]), 4.0, "keep words", 60)
        for name, shape, colour in named:
            part = max(getattr(shape, "geoms", [shape]), key=lambda g: (g.area, g.length))
            if part.is_empty:
                continue
            at = (np.array([[part.x, part.y]]) if part.geom_type == "Point" else
                  label_places(part))
            sheet.labels.place([Line(name, sy.SMALL_SIZE, colour, style="italic")], at, 2.0,
                               "neighbour", 28, leader=False)
    return letter


def _draw_kept_clear(sheet: Sheet, things: Sequence[Thing]) -> list[tuple[str, Any]]:
    """Draw what is to be kept clear of, as on the map; what is to be lettered, and where."""
    box = sheet.view.box()
    here = [thing for thing in things if thing.shape.distance(box) <=
            (thing.measure or 0.0) / 2 * (thing.kind == "tree")]
    named = []
    for thing in here:
        draw_keep_clear(sheet.plan, thing, sheet.view, OVER)
        sheet.keys.add(symbol_of(thing))
        part = max(getattr(thing.shape, "geoms", [thing.shape]), key=lambda g: (g.area, g.length))
        part = part.intersection(box)
        part = max(getattr(part, "geoms", [part]), key=lambda g: (g.area, g.length))
        if not part.is_empty:
            sheet.ways.append(part)
            if part.geom_type == "LineString":
                sheet.labels.ink_line(np.asarray(part.coords)[:, :2], 0.9)
            same = sum(other.kind == thing.kind for other in here)
            if thing.name != thing.kind or same <= UNNAMED:
                named.append((thing.name, part))
    return named


def _draw_other(sheet: Sheet, place: Placed) -> Any:
    """Draw another work by its outline; the shape that was drawn."""
    shape = place.outline
    if place.basin is not None and place.basin.has_wall:
        sheet.plan.add_line(Line2D(*place.basin.line.T, color=sy.SOFT_INK, linewidth=2.4,
                                   zorder=10.4, solid_capstyle="butt", gid="neighbour wall"))
    if shape.geom_type in ("LineString", "Point"):
        wide = 2.2 if shape.geom_type == "LineString" else 0.0
        x, y = np.asarray(shape.coords).T
        sheet.plan.add_line(Line2D(x, y, color=sy.SOFT_INK, linewidth=wide, zorder=10,
                                   marker="o" if wide == 0 else "", markersize=6,
                                   markerfacecolor=sy.PAPER, gid="neighbour work"))
        sheet.labels.ink_line(np.stack([x, y], 1), 0.8)
        return shape
    base.draw_area(sheet.plan, shape, facecolor=(*sy.mixed(sy.SOFT_INK, sy.PAPER, 0.5), 0.35),
                   edgecolor=sy.SOFT_INK, linewidth=0.9, zorder=10, gid="neighbour work")
    sheet.labels.ink(points_in(shape, sheet.view), 0.7)
    return shape
