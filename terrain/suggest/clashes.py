"""Which candidates cannot stand together, as few groups of which one may be built."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize

from terrain.inputs.dem import Dem
from terrain.suggest.candidate import Candidate

#: Works that share less ground than this may stand side by side. [m2]
TOUCH = 0.01


def clashes(candidates: Sequence[Candidate], dem: Dem) -> tuple[tuple[int, ...], ...]:
    """Groups of candidates of which no two can stand together; every such pair is in one.

    Those whose ground covers the same cell are a group; pairs that share ground, but no cell's
    middle, are groups of two.
    """
    shapes = np.array([c.footprint for c in candidates], dtype=object)
    if shapes.size < 2:
        return ()
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    first = one < other
    pairs = np.zeros((len(shapes), len(shapes)), bool)
    pairs[one[first], other[first]] = True
    found = []
    for group in sorted(_covering(shapes, dem), key=lambda group: (-len(group), group)):
        at = np.ix_(group, group)
        if pairs[at].any():
            found.append(group)
            pairs[at] = False
    one, other = np.nonzero(pairs)
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other])) > TOUCH
    found += [(int(i), int(j)) for i, j in zip(one[shared], other[shared], strict=True)]
    return tuple(found)


def _covering(shapes: NDArray[np.object_], dem: Dem) -> set[tuple[int, ...]]:
    """Candidates whose ground covers the same cell's middle, each such group once."""
    who, cells = [], []
    for j, shape in enumerate(shapes):
        west, south, east, north = shape.bounds
        left, top = int((west - dem.left) / dem.cell) - 1, int((dem.top - north) / dem.cell) - 1
        wide = int((east - west) / dem.cell) + 4
        tall = int((north - south) / dem.cell) + 4
        own = rasterize([(shape, 1)], (tall, wide), dtype=np.uint8,
                        transform=dem.transform * dem.transform.translation(left, top))
        row, column = np.nonzero(own)
        cells.append((row + top) * (1 << 32) + column + left)
        who.append(np.full(row.size, j))
    cell, owner = np.concatenate(cells), np.concatenate(who)
    order = np.lexsort((owner, cell))
    cell, owner = cell[order], owner[order]
    cuts = np.flatnonzero(np.diff(cell)) + 1
    return {tuple(group.tolist()) for group in np.split(owner, cuts) if group.size > 1}
