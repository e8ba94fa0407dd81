"""Building footprints that lie over each other, set apart so that no rain is counted twice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

#: Two footprints that share more than this of the smaller are one building drawn twice; common
#: practice, no source.
SAME = 0.5
#: What is left of a footprint and smaller than this is none. [m2]
LEAST = 0.5
#: Less than this is the rounding of coordinates. [m2]
ROUNDING = 1e-6


@dataclass(frozen=True)
class SetApart:
    """Footprints of which no two share ground.

    Attributes
    ----------
    places : int64, shape (n,)
        Which of the given footprints each is of, rising.
    shapes : object, shape (n,)
    merged, trimmed, gone : int
        How many were merged into an earlier one, lost what lies in an earlier one, or lay in
        earlier ones wholly.
    cut : float
        What was trimmed, in all. [m2]
    """

    places: NDArray[np.int64]
    shapes: NDArray[Any]
    merged: int
    trimmed: int
    gone: int
    cut: float


def set_apart(shapes: NDArray[Any]) -> SetApart:
    """Merge footprints that are one building drawn twice, and trim others that overlap.

    Of two that share more than half of the smaller one the earlier takes in the later; else the
    later one loses what they share.

    Parameters
    ----------
    shapes : object, shape (n,)
        Polygons, each valid. [m]
    """
    places, given = np.arange(len(shapes)), len(shapes)
    while True:
        later, earlier, shared = _shared(shapes)
        area = shapely.area(shapes)
        same = shared > SAME * np.minimum(area[later], area[earlier])
        if not same.any():
            break
        first = _first_of(len(shapes), later[same], earlier[same])
        kept = np.unique(first)
        order = np.argsort(first, kind="stable")
        groups = np.split(order, np.searchsorted(first[order], kept)[1:])
        shapes = np.array([shapely.union_all(shapes[group]) if len(group) > 1
                           else shapes[group[0]] for group in groups], object)
        places = places[kept]
    shapes, before = shapes.copy(), area
    for number in np.unique(later):
        left = shapely.difference(shapes[number],
                                  shapely.union_all(shapes[earlier[later == number]]))
        parts = [part for part in shapely.get_parts(left) if part.geom_type == "Polygon"]
        shapes[number] = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    area = shapely.area(shapes)
    stays = (area >= LEAST) | (area >= before)
    return SetApart(places[stays], shapes[stays], given - len(shapes),
                    int((area < before)[stays].sum()), int((~stays).sum()),
                    float((before - area).sum()))


def _shared(shapes: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64],
                                           NDArray[np.float64]]:
    """Pairs that share ground, the later and the earlier, in order; and how much. [m2]"""
    later, earlier = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    later, earlier = later[earlier < later], earlier[earlier < later]
    shared = shapely.area(shapely.intersection(shapes[later], shapes[earlier]))
    much = shared > ROUNDING
    later, earlier, shared = later[much], earlier[much], shared[much]
    order = np.lexsort((earlier, later))
    return later[order], earlier[order], shared[order]


def _first_of(count: int, one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    """Of each shape the first of all that it is joined with."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    joined = coo_array((np.ones(one.size, np.int8), (one, other)), shape=(count, count))
    _, group = connected_components(joined, directed=False)
    first = np.full(int(group.max()) + 1, count)
    np.minimum.at(first, group, np.arange(count))
    found: NDArray[np.int64] = first[group]
    return found
