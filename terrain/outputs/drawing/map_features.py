"""What maps show of the works, and what every map carries: contour labels, scale and north."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, unit_of
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.drawing.labels import Labels
from terrain.works.footprints import lower_side
from terrain.works.tree_basin import TreeShape

FloatArray = NDArray[np.float64]


def draw_swale_line(ax: Axes, line: FloatArray, dem: Dem, view: View, top_width: float,
                    checks: Sequence[float] = ()) -> None:
    """A swale: its channel uphill of the line, which is its lip, and its berm downhill.

    Checks across its bed stand at these chainages. [m]
    """
    from shapely.geometry import LineString

    unit = view.point
    wide = max(top_width / unit, 3.6)
    shape = LineString(line)
    downhill = lower_side(dem, line, max(2.5, dem.cell * 1.5))
    channel = shape.offset_curve(-downhill * top_width / 2)
    berm = shape.simplify(unit * 0.8).offset_curve(
        downhill * ((wide / 2 + 1.0) * unit - top_width / 2))
    pieces = [np.asarray(p.coords) for p in getattr(berm, "geoms", [berm]) if len(p.coords) > 1]
    ax.add_collection(LineCollection(pieces, colors=sy.EARTH, linewidths=2.0, zorder=15.5,
                                     gid="berm"), autolim=False)
    for part in getattr(channel, "geoms", [channel]):
        x, y = np.asarray(part.coords).T
        ax.add_line(Line2D(x, y, color=sy.WATER, linewidth=wide, zorder=16,
                           solid_capstyle="butt", gid="swale"))
    for chainage in checks:
        here, ahead = (np.array(shape.interpolate(at).coords[0])
                       for at in (chainage, chainage + 0.1))
        along = (ahead - here) / np.hypot(*(ahead - here))
        uphill = -downhill * np.array([-along[1], along[0]])
        ends = np.stack([here + uphill * (top_width / 2 + side * wide / 2 * unit)
                         for side in (-1, 1)])
        ax.add_line(Line2D(*ends.T, color=sy.PAPER, linewidth=1.2, zorder=16.5, gid="check"))


def draw_drain(ax: Axes, line: FloatArray, view: View) -> None:
    """A drain: a solid line of water's colour with open heads the way it runs."""
    ax.add_line(Line2D(line[:, 0], line[:, 1], color=sy.WATER, linewidth=2.4, zorder=14.6,
                       solid_capstyle="butt", gid="drain", path_effects=sy.cased(4.0)))
    base.arrows_along(ax, line, view, sy.WATER, "drain", short=True)


def draw_culvert(ax: Axes, line: FloatArray) -> None:
    """A pipe or a bridge: two thin lines of water's colour across the bank."""
    for width, colour in ((3.6, sy.WATER), (1.8, sy.ROAD)):
        ax.add_line(Line2D(line[:, 0], line[:, 1], color=colour, linewidth=width, zorder=8.5,
                           solid_capstyle="butt", gid="culvert"))


def draw_pool(ax: Axes, outline: Any, cell: float) -> None:
    """The water of a full basin."""
    base.draw_area(ax, base.rounded(outline, cell), facecolor=sy.POOL, edgecolor=sy.WATER,
                   linewidth=1.1, zorder=16, gid="basin")


def draw_tree_shape(ax: Axes, tree: TreeShape, view: View) -> None:
    """A crescent's water and bund, or a trench, and the tree that it waters."""
    trench = tree.form == "trench"
    base.draw_area(ax, tree.outline, facecolor=sy.TREE_FILL if not trench else sy.POOL,
                   edgecolor=sy.TREE if not trench else sy.WATER, linewidth=0.8, zorder=16.8,
                   gid="tree basin")
    if tree.crescent is not None:
        x, y = tree.crescent.arc.T
        ax.add_line(Line2D(x, y, color=sy.EARTH, linewidth=2.0, zorder=17,
                           solid_capstyle="round", gid="bund"))
    ax.add_patch(Circle((tree.x, tree.y), 2.2 * view.point, facecolor=sy.TREE, edgecolor=sy.PAPER,
                        linewidth=0.7, zorder=17.2, gid="tree"))


def draw_hollow(ax: Axes, outline: Any, cell: float, view: View) -> None:
    """The water of a full natural hollow: paler than a basin's, its edge with teeth inwards."""
    from shapely import Point

    # Cells that touch at a corner only are one sheet of water; a few cells stay square.
    shape = outline.buffer(cell / 50, join_style="mitre")
    if outline.area > 12 * cell**2:
        shape = base.rounded(shape.segmentize(cell / 2), cell)
    base.draw_area(ax, shape, facecolor=sy.HOLLOW, edgecolor=sy.WATER, linewidth=1.0, zorder=15.8,
                   gid="hollow")
    teeth = []
    for part in getattr(shape, "geoms", [shape]):
        edge = part.exterior
        tooth = min(3.6 * view.point, 0.8 * part.area / edge.length)
        if tooth < 2.2 * view.point:  # too narrow for teeth
            continue
        count = max(int(edge.length / (2.1 * tooth)), 4)
        for at in (np.arange(count) + 0.5) * edge.length / count:
            before, foot, after = (np.asarray(edge.interpolate((at + step) % edge.length).coords[0])
                                   for step in (-tooth / 2, 0.0, tooth / 2))
            along = (after - before) / max(float(np.hypot(*(after - before))), 1e-9)
            tip = foot + tooth * np.array([-along[1], along[0]])
            if not part.covers(Point(tip)):
                tip = 2 * foot - tip
            teeth.append([foot, tip])
    ax.add_collection(LineCollection(teeth, colors=sy.WATER, linewidths=1.0, zorder=15.9,
                                     gid="hollow"), autolim=False)


def draw_wall(ax: Axes, line: FloatArray) -> None:
    """A basin's wall."""
    ax.add_line(Line2D(line[:, 0], line[:, 1], color=sy.EARTH, linewidth=4.2, zorder=16.5,
                       solid_capstyle="butt", gid="wall", path_effects=sy.cased(5.6)))


def draw_pit(ax: Axes, rim: FloatArray) -> None:
    """The rim of a pit behind a wall, under its water."""
    ax.add_line(Line2D(rim[:, 0], rim[:, 1], color=sy.WATER, linewidth=0.9,
                       linestyle=(0, (4, 2)), zorder=16.4, gid="pit"))


def draw_sill(ax: Axes, x: float, y: float, view: View) -> None:
    """A sill."""
    ax.add_patch(Circle((x, y), 2.7 * view.point, facecolor=sy.PAPER, edgecolor=sy.WATER,
                        linewidth=1.2, zorder=20, gid="sill"))


def draw_spill(ax: Axes, way: FloatArray, view: View) -> None:
    """The way of a spill over the ground."""
    ax.add_line(Line2D(way[:, 0], way[:, 1], color=sy.WATER, linewidth=1.2,
                       linestyle=(0, (4.5, 2.2)), zorder=13, gid="spill"))
    base.arrows_along(ax, way, view, sy.WATER, "spill")


def draw_breach(ax: Axes, way: FloatArray) -> None:
    """The way of the water if a bank fails: broad and dotted, so that a spill's way shows on it."""
    ax.add_line(Line2D(way[:, 0], way[:, 1], color=sy.SHED, linewidth=4.2,
                       linestyle=(0, (0.45, 0.8)), zorder=12.6, gid="breach"))


def draw_led(ax: Axes, way: FloatArray, view: View, led: str, arrows: bool = True) -> str:
    """The part of a spill's way that is led: a furrow as dug ground with water in it, a pipe or a
    pump's line dotted; gives its key in the legend."""
    x, y = way.T
    if led == "furrow":
        for colour, wide in ((sy.EARTH, 2.8), (sy.POOL, 1.1)):
            ax.add_line(Line2D(x, y, color=colour, linewidth=wide, zorder=14, gid="furrow",
                               solid_capstyle="butt"))
        if arrows:
            base.arrows_along(ax, way, view, sy.EARTH, "furrow", short=True)
        return "furrow"
    ax.add_line(Line2D(x, y, color=sy.TANK, linewidth=1.3, linestyle=(0, (1.2, 1.6)), zorder=14,
                       gid="led"))
    if arrows:
        base.arrows_along(ax, way, view, sy.TANK, "led", short=True)
    return "led"


def spill_parts(node: Any) -> tuple[FloatArray | None, FloatArray | None]:
    """The led part of a spill's way, and the part over the ground."""
    if len(node.spill_path) < 2:
        return None, None
    return (np.asarray(node.led_way, float) if node.led else None,
            np.asarray(node.over_way, float))


def joined(x: float, y: float, way: FloatArray, cell: float) -> FloatArray:
    """The way of a spill, begun at its sill if that lies close by."""
    gap = float(np.hypot(way[0, 0] - x, way[0, 1] - y))
    return np.concatenate([[[x, y]], way]) if 0 < gap <= 5 * cell else way


def points_in(shape: Any, view: View, gap: float = 4.0) -> FloatArray:
    """Points about `gap` points of paper apart within a shape and the view."""
    from shapely import contains_xy

    part = shape.intersection(view.box())
    if part.is_empty:
        return np.empty((0, 2))
    west, south, east, north = part.bounds
    step = gap * view.point
    x, y = np.meshgrid(np.arange(west, east + step, step), np.arange(south, north + step, step))
    inside = contains_xy(part.buffer(step / 2), x, y)
    return np.stack([x[inside], y[inside]], 1)


def finish_contours(ax: Axes, contours: list[base.Contour], view: View, labels: Labels,
                    interval: float, system: str) -> None:
    """Draw contours, and write the level on index contours where there is still room."""
    gaps = []
    unit = 0.3048 if system == "us" else 1.0
    step = 5 * interval / unit
    places = 0 if abs(step - round(step)) < 1e-6 else 1
    often: dict[float, int] = {}
    for i in sorted((i for i, c in enumerate(contours) if c.index),
                    key=lambda i: (-len(contours[i].line), i)):
        contour = contours[i]
        inside = np.array([view.holds(x, y, 6) for x, y in contour.line])
        if often.get(contour.level, 0) >= 2 or inside.sum() < 8:
            continue
        start = int(np.argmax(inside))
        stop = len(inside) if inside[start:].all() else start + int(np.argmin(inside[start:]))
        under = labels.along(f"{contour.level / unit:,.{places}f}", contour.line[start:stop],
                             sy.SMALL_SIZE, sy.INDEX_CONTOUR, "contour label", apart=22)
        if under is not None:
            whole = np.zeros(len(contour.line), bool)
            whole[start:stop] = under
            gaps.append((i, whole))
            often[contour.level] = often.get(contour.level, 0) + 1
    base.draw_contours(ax, contours, gaps)


def scale_and_north(ax: Axes, view: View, labels: Labels, system: str, length: float = 190.0,
                    off: Sequence[Any] = ()) -> None:
    """Draw a scale bar of at most `length` points and a north arrow in the emptiest corner, or in
    the middle of an edge if all corners meet what it is to keep off."""
    from shapely import box

    unit = view.point
    bar = sy.round_length(min(length * unit, (view.east - view.west) * 0.3), system)
    wide, high, gap = bar.metres + 78 * unit, 58 * unit, 10 * unit
    corners = [(view.west + gap, view.south + gap), (view.east - gap - wide, view.south + gap),
               (view.west + gap, view.north - gap - high),
               (view.east - gap - wide, view.north - gap - high)]
    middle = (view.west + view.east - wide) / 2
    if off:
        corners += [(middle, view.south + gap), (middle, view.north - gap - high)]

    def met(corner: tuple[float, float]) -> float:
        place = box(corner[0], corner[1], corner[0] + wide, corner[1] + high)
        found: float = sum(place.intersects(shape) for shape in off)
        return found

    def busy(corner: tuple[float, float]) -> float:
        x, y = corner
        (x0, y0), (x1, y1) = ax.transData.transform([(x, y), (x + wide, y + high)])
        return labels.ink_in(x0, y0, x1, y1)

    x, y = min(corners, key=lambda c: (met(c), round(busy(c), 3), corners.index(c)))
    ax.add_patch(Rectangle((x, y), wide, high, facecolor=sy.PAPER, edgecolor="none", alpha=0.9,
                           zorder=39))
    sy.north_arrow(ax, x + 20 * unit, y + 12 * unit, 27 * unit)
    sy.scale_bar(ax, x + 50 * unit, y + 20 * unit, bar, 1.0, unit)
    (x0, y0), (x1, y1) = ax.transData.transform([(x, y), (x + wide, y + high)])
    labels.block(Bbox.from_extents(x0, y0, x1, y1), 2)


def draw_grid(ax: Axes, view: View, labels: Labels, frame: Frame) -> None:
    """Ticks inside the frame at round eastings and northings of the raster, with their figures at
    the top and on the left or, where something stands there, on the other side."""
    unit, own = view.point, not _in_degrees(frame)
    corners = np.array([[view.west, view.south], [view.east, view.north]])
    told = np.stack(frame.to_source(*corners.T), 1) if own else corners
    per = float(told[1, 0] - told[0, 0]) / (view.east - view.west)  # the raster's units in a metre
    step = next(m * 10.0**p for p in range(-1, 8) for m in (1, 2, 5)
                if m * 10.0**p >= 62 * unit * per)
    size = sy.SMALL_SIZE - 1.7
    for along, low, high in ((0, view.west, view.east), (1, view.south, view.north)):
        first, last = (float(v) for v in told[:, along])
        for value in np.arange(np.ceil(first / step) * step, last, step):
            at = low + (value - first) / per
            if min(at - low, high - at) < 34 * unit:  # a corner has room for one figure
                continue
            edges = (view.south, view.north) if along == 0 else (view.west, view.east)
            for edge, way in zip(edges, (1, -1), strict=True):
                ends = (edge, edge + way * 6 * unit)
                line = Line2D(*(([at, at], ends) if along == 0 else (ends, [at, at])),
                              color=sy.INK, linewidth=0.7, zorder=34, gid="grid")
                ax.add_line(line)
            words = f"{value:,.{0 if step >= 1 else 1}f}".replace(",", "\u2009")
            for x, y, across, up in (((at, view.north - 8 * unit, "center", "top"),
                                      (at, view.south + 8 * unit, "center", "bottom"))
                                     if along == 0 else
                                     ((view.west + 8 * unit, at, "left", "center"),
                                      (view.east - 8 * unit, at, "right", "center"))):
                text = ax.text(x, y, words, fontsize=size, color=sy.SOFT_INK, zorder=34,
                               ha=across, va=up, path_effects=sy.halo(1.6), gid="grid words")
                box = text.get_window_extent(labels.renderer)
                if not any(box.x0 < t[2] and t[0] < box.x1 and box.y0 < t[3] and t[1] < box.y1
                           for t in labels.taken):
                    labels.block(box, 2.0)
                    break
                text.remove()


def _in_degrees(frame: Frame) -> bool:
    return frame.source is not None and frame.source.is_geographic


def grid_words(frame: Frame) -> str:
    """What the figures along a map's frame are."""
    if _in_degrees(frame) and frame.working is not None:
        return f"Figures along the frame: metres east and north of {frame.working.name}."
    per = frame.metres_per_unit if frame.source is None else (
        frame.source.axis_info[0].unit_conversion_factor)
    named = {"m": "metres", "ft": "feet", "us-ft": "US survey feet"}.get(
        unit_of(per), "in the raster's own unit,")
    return f"Figures along the frame: {named} east and north."


def places_words(frame: Frame) -> str:
    """The coordinate system in which places are told, and which way north is, as a sentence."""
    if frame.source is None:
        return "The raster states no coordinate system; north is the raster's."
    drawn = (f", drawn in {frame.working.name}" if _in_degrees(frame)
             and frame.working is not None else "")
    return f"{frame.source.name}{drawn}; north is grid north."


def datum_words(dem: Dem) -> str:
    """What is known of the datum of the levels, as the end of a sentence."""
    crs = dem.frame.source
    vertical = next((part.name for part in (crs.sub_crs_list if crs is not None else [])
                     if part.is_vertical), None)
    return (f"their datum is {vertical}." if vertical else
            "the file does not say from which datum.")
