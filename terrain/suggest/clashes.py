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

    Those whose ground covers the same cell, or that take water at the same one, are a group; pairs
    that share ground, but no cell's middle, are groups of two.
    """
    shapes = np.array([c.footprint for c in candidates], dtype=object)
    if shapes.size < 2:
        return ()
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    first = one < other
    pairs = np.zeros((len(shapes), len(shapes)), bool)
    pairs[one[first], other[first]] = True
    sharing = _sharing(candidates)
    for group in sharing:
        at = np.ix_(group, group)
        pairs[at] |= np.triu(np.ones((len(group), len(group)), bool), 1)
    found = []
    for group in sorted(_covering(shapes, dem) | sharing, key=lambda group: (-len(group), group)):
        at = np.ix_(group, group)
        if pairs[at].any():
            found.append(group)
            pairs[at] = False
    one, other = np.nonzero(pairs)
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other])) > TOUCH
    found += [(int(i), int(j)) for i, j in zip(one[shared], other[shared], strict=True)]
    return tuple(found)


def _sharing(candidates: Sequence[Candidate]) -> set[tuple[int, ...]]:
    """Candidates that take water at the same cell, each such group once."""
    return _alike([c.cells[:, 0] * (1 << 32) + c.cells[:, 1] for c in candidates])


def _alike(cells: Sequence[NDArray[np.int64]]) -> set[tuple[int, ...]]:
    """Who has the same cell, each group of two or more once."""
    cell = np.concatenate([*cells, np.zeros(0, np.int64)])
    owner = np.repeat(np.arange(len(cells)), [own.size for own in cells])
    order = np.lexsort((owner, cell))
    cell, owner = cell[order], owner[order]
    cuts = np.flatnonzero(np.diff(cell)) + 1
    return {tuple(group.tolist()) for group in np.split(owner, cuts) if group.size > 1}


def _covering(shapes: NDArray[np.object_], dem: Dem) -> set[tuple[int, ...]]:
    """Candidates whose ground covers the same cell's middle, each such group once."""
    cells = []
    for shape in shapes:
        west, south, east, north = shape.bounds
        left, top = int((west - dem.left) / dem.cell) - 1, int((dem.top - north) / dem.cell) - 1
        wide = int((east - west) / dem.cell) + 4
        tall = int((north - south) / dem.cell) + 4
        own = rasterize([(shape, 1)], (tall, wide), dtype=np.uint8,
                        transform=dem.transform * dem.transform.translation(left, top))
        row, column = np.nonzero(own)
        cells.append((row + top) * (1 << 32) + column + left)
    return _alike(cells)
