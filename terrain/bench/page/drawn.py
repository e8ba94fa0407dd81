"""What the map's sources hold: works, catchments, contours and names as columns of a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from bokeh.models import LinearColorMapper
from numpy.typing import NDArray

from terrain.bench.handles import Handle
from terrain.bench.laid import Laid
from terrain.bench.layers.lines import Contours, FlowWays
from terrain.bench.layers.patches import Patch, catchments_patch
from terrain.bench.page import look
from terrain.outputs.drawing import symbols as sy

FloatArray = NDArray[np.float64]

#: Height of a name's letters, and the width of one as a share of that. [points of a screen], [-]
LETTER, WIDE_LETTER = 14, 0.56
#: No more letters of a name are written.
LONGEST_NAME = 30
#: Sides of its place that a name is tried on: right and down. [points of a screen]
SIDES = ((10, -10), (10, 11), (-10, -10), (-10, 11), (10, -26), (10, 27), (-10, -26), (-10, 27))


def apart(handles: Sequence[Handle], side: float) -> list[Handle]:
    """Handles that do not cover each other, of squares of a side: ends and wholes before the rest,
    a sill last. [m]"""
    shown: list[Handle] = []
    order = {"start": 0, "end": 0, "whole": 0, "at": 0, "through": 1, "near": 1, "sill_at": 3}
    for handle in sorted(handles, key=lambda one: order.get(one.key, 2)):
        if all(abs(handle.x - other.x) >= side or abs(handle.y - other.y) >= side
               for other in shown):
            shown.append(handle)
    return shown


def sides_of(names: Sequence[tuple[float, float, float]]) -> list[tuple[float, float]]:
    """On which side of its place each name stands so that no two cover each other, if they can.

    Parameters
    ----------
    names : sequence of (x, y, width)
        Places, y upwards, and how wide each is written. [points of a screen]

    Returns
    -------
    sides : list of (right, down)
        Offsets of the name's near end; one to the left of its place has a `right` below 0. [points]
    """
    taken: list[tuple[float, float, float, float]] = []
    sides: list[tuple[float, float]] = []
    for x, y, wide in names:
        best, least = SIDES[0], np.inf
        for right, down in SIDES:
            west = x + right - (wide if right < 0 else 0)
            box = (west, y - down - LETTER * 0.6, west + wide, y - down + LETTER * 0.6)
            over = sum(max(0.0, min(box[2], b[2]) - max(box[0], b[0]))
                       * max(0.0, min(box[3], b[3]) - max(box[1], b[1])) for b in taken)
            if over < least:
                best, least, chosen = (right, down), over, box
            if not over:
                break
        taken.append(chosen)
        sides.append(best)
    return sides


def tints() -> LinearColorMapper:
    """One colour for each number of a catchment, none for 0."""
    colours = [look.TINTS[i % len(look.TINTS)] for i in range(255)]
    return LinearColorMapper(palette=["rgba(0,0,0,0)", *colours], low=0, high=255)


def image_of(patch: Patch) -> dict[str, list[Any]]:
    """A piece of a raster as the one row of an image's source."""
    left, bottom, right, top = patch.extent
    cells = patch.cells if patch.cells.dtype == np.uint8 else (
        np.where(patch.cells > 0, (patch.cells - 1) % 255 + 1, 0).astype(np.uint8))
    return {"image": [cells], "x": [left], "y": [bottom], "w": [right - left],
            "h": [top - bottom]}


def tints_of(laid: Laid) -> Patch:
    """All catchments of a layout, those of one entry of the site file alike."""
    names = list(dict.fromkeys(place.work.name for place in laid.placed))
    number = np.array([0, *(names.index(place.work.name) + 1 for place in laid.placed)], np.int32)
    return catchments_patch(laid.inputs.dem, number[laid.cascade.labels])


def lines_of(lines: Sequence[FloatArray]) -> tuple[list[FloatArray], list[FloatArray]]:
    """Lines as columns of x and of y. [m]"""
    return [line[:, 0] for line in lines], [line[:, 1] for line in lines]


def ways_of(ways: FlowWays) -> dict[str, list[Any]]:
    """Ways of the water, each as wide as it gathers."""
    return {"xs": [way.line[:, 0] for way in ways.ways],
            "ys": [way.line[:, 1] for way in ways.ways],
            "wide": [way.width for way in ways.ways]}


def labels_of(contours: Contours) -> dict[str, list[Any]]:
    """Levels beside their contours."""
    return {"x": [one.x for one in contours.labels], "y": [one.y for one in contours.labels],
            "text": [one.words for one in contours.labels],
            "angle": [one.angle for one in contours.labels]}


def drawn(laid: Laid, chosen: str | None, spilt: Mapping[str, float]) -> dict[str, dict[str, Any]]:
    """What each source of the works holds."""
    areas: list[tuple[Any, str, str]] = []
    lines: list[tuple[Any, str, float, Any]] = []
    spots: list[tuple[float, float, str, str, int]] = []
    names: dict[str, tuple[float, float, str]] = {}
    marked: list[Any] = []
    for index, place in enumerate(laid.placed):
        shape, own = place.outline, place.work.name == chosen
        if place.route is not None:
            lines.append((place.route.line, look.WATER, 5.0, "solid"))
            spots.append((place.spill_x, place.spill_y, "inverted_triangle", look.WATER, 13))
            marked += [place.route.line] if own else []
        elif place.drain is not None:
            lines.append((place.drain.line, look.WATER, 3.0, [9, 4]))
            end = place.drain.line[-1]
            spots.append((float(end[0]), float(end[1]), "triangle", look.WATER, 11))
            marked += [place.drain.line] if own else []
        elif place.kind == "tank":
            for one in getattr(shape, "geoms", (shape,)):
                spots.append((one.x, one.y, "square", look.TANK, 15))
                marked += [_ring(one.x, one.y, 3.0)] if own else []
        else:
            fill = {"tree basin": sy.TREE_FILL, "hollow": sy.HOLLOW}.get(place.kind, look.POOL)
            edge = {"tree basin": look.TREE}.get(place.kind, look.WATER)
            areas.append((shape, fill, edge))
            if place.basin is not None and place.basin.has_wall:
                lines.append((place.basin.line, look.EARTH, 6.0, "solid"))
            if place.basin is not None:
                spots.append((place.spill_x, place.spill_y, "inverted_triangle", look.WATER, 13))
            marked += [np.asarray(ring.coords) for ring in _rings(shape)] if own else []
        names.setdefault(_short(place.work.name), (place.x, place.y,
                                           look.CHOSEN if own else look.INK))
        node = laid.cascade.nodes[index]
        if node.led in ("pipe", "pump") and len(node.led_way) > 1:
            lines.append((node.led_way, look.PIPE, 2.5, [5, 4]))
    rings = [[[np.asarray(r.coords) for r in (part.exterior, *part.interiors)]
              for part in _polygons(shape)] for shape, _, _ in areas]
    return {
        "areas": {"xs": [[[r[:, 0] for r in part] for part in shape] for shape in rings],
                  "ys": [[[r[:, 1] for r in part] for part in shape] for shape in rings],
                  "fill": [a[1] for a in areas], "edge": [a[2] for a in areas]},
        "lines": {"xs": [ln[0][:, 0] for ln in lines], "ys": [ln[0][:, 1] for ln in lines],
                  "colour": [ln[1] for ln in lines], "wide": [ln[2] for ln in lines],
                  "dash": [ln[3] for ln in lines]},
        "spills": spills_of(laid, spilt),
        "spots": dict(zip(("x", "y", "shape", "fill", "size"),
                          map(list, zip(*spots, strict=True)) if spots else ([],) * 5,
                          strict=True)),
        "names": {"x": [n[0] for n in names.values()], "y": [n[1] for n in names.values()],
                  "text": list(names), "colour": [n[2] for n in names.values()]},
        "chosen": {"xs": [line[:, 0] for line in marked], "ys": [line[:, 1] for line in marked]}}


def spills_of(laid: Laid, spilt: Mapping[str, float]) -> dict[str, list[Any]]:
    """Ways of the spills, those bold that carry one. [m3]"""
    ways = [(node.spill_path, spilt.get(node.store.name, 0.0) > 0)
            for node in laid.cascade.nodes if len(node.spill_path) > 1]
    return {"xs": [way[:, 0] for way, _ in ways], "ys": [way[:, 1] for way, _ in ways],
            "wide": [4.0 if wet else 2.0 for _, wet in ways],
            "alpha": [1.0 if wet else 0.4 for _, wet in ways]}


def _short(name: str) -> str:
    """A name that fits beside its work."""
    return name if len(name) <= LONGEST_NAME else f"{name[:LONGEST_NAME - 1]}…"


def _polygons(shape: Any) -> list[Any]:
    parts = getattr(shape, "geoms", (shape,))
    return [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]


def _rings(shape: Any) -> list[Any]:
    return [part.exterior for part in _polygons(shape)]


def _ring(x: float, y: float, radius: float) -> FloatArray:
    turns = np.linspace(0, 2 * np.pi, 25)
    return np.stack([x + radius * np.cos(turns), y + radius * np.sin(turns)], 1)
