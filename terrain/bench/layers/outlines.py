"""Outlines of what stands on the ground: boundary, roads, roofs, culverts, things to keep clear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.outputs.drawing.keep_clear_symbols import WORDS, symbol_of
from terrain.plan.siting.reading import Inputs

FloatArray = NDArray[np.float64]

#: No point is left out that is further than this from the line between its neighbours. [m]
ASIDE = 0.02


@dataclass(frozen=True)
class Outline:
    """A thing on the ground as a page draws it.

    Attributes
    ----------
    kind : str
        boundary, road, roof, culvert, or a key of `WORDS` of what to keep clear of.
    name : str
        The owner's name for it.
    words : str
        What it is, for the legend.
    areas : tuple of tuple of float64, shape (points, 2)
        Each area's outside, then its holes; rings end where they start. [m]
    lines : tuple of float64, shape (points, 2)
        [m]
    points : float64, shape (n, 2)
        [m]
    radius : float
        Of a point that stands for a round thing, such as a tree's crown; else 0. [m]
    """

    kind: str
    name: str
    words: str
    areas: tuple[tuple[FloatArray, ...], ...] = ()
    lines: tuple[FloatArray, ...] = ()
    points: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    radius: float = 0.0


def outlines(inputs: Inputs) -> list[Outline]:
    """Everything on the ground that a map shows beside the works, in the order it is drawn."""
    ground = inputs.ground
    return [
        *(_outline("road", road.name, "Road", road.surface) for road in ground.roads),
        *(_outline("culvert", culvert.name, "Culvert", culvert.line)
          for culvert in inputs.terrain.conditioning.culverts),
        *(_outline("roof", roof.name, "Roof", roof.outline) for roof in ground.roofs),
        *(_outline(symbol_of(thing), thing.name, WORDS[symbol_of(thing)], thing.shape,
                   _radius(thing)) for thing in ground.keep_clear),
        _outline("boundary", inputs.site.name, "Boundary", ground.boundary)]


def _radius(thing: Any) -> float:
    """Of the crown that a tree's point stands for, as on the printed map. [m]"""
    if symbol_of(thing) != "keep tree":
        return 0.0
    return float(thing.measure or 2 * (thing.distance or 2.0)) / 2


def _outline(kind: str, name: str, words: str, shape: Any, radius: float = 0.0) -> Outline:
    shape = shapely.simplify(shape, ASIDE, preserve_topology=True)
    areas, lines, points = [], [], []
    for part in _parts(shape):
        if part.geom_type == "Polygon":
            areas.append(tuple(_flat(ring) for ring in (part.exterior, *part.interiors)))
        elif part.geom_type == "Point":
            points.append([part.x, part.y])
        else:
            lines.append(_flat(part))
    return Outline(kind, name, words, tuple(areas), tuple(lines),
                   np.array(points, float).reshape(-1, 2), radius if points else 0.0)


def _parts(shape: Any) -> Iterator[Any]:
    for part in getattr(shape, "geoms", (shape,)):
        if hasattr(part, "geoms"):
            yield from _parts(part)
        elif not part.is_empty:
            yield part


def _flat(part: Any) -> FloatArray:
    return np.asarray(part.coords, float)[:, :2]
