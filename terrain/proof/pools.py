"""Stores on the grid of a flood: which cells their water covers, and a ground on which it is one
piece and free to its sill."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, distance, points

from terrain.plan.planned import Plan
from terrain.surface.depressions import drain
from terrain.works.designed_ground import UNCHANGED, Grid, WorkShape
from terrain.works.ground_of_pit import inside
from terrain.works.watertight import pool_cells

FloatArray = NDArray[np.float64]
Cells = NDArray[np.bool_]
#: A pool's rim is sought within so far of what is said to be under water. [m]
ABOUT_POOL = 20.0
#: A sill's ways are sought within so far of it, and lead on to ground so much lower. [m]
ABOUT_SILL, LOWER = 12.0, 0.01
#: A sill that lies further off its level on the grid is told. [m]
LEVEL = 0.01
#: A store's section is drawn well where its cells cover so much of what its water does. [-]
DRAWN = 0.7
#: Ground this little below a pool's level is wet. [m]
HAIR = 2e-6
#: Levels in 32 bits are told apart from here. [m]
ROUND = 5e-4


@dataclass(frozen=True)
class Pool:
    """A store on the grid.

    Attributes
    ----------
    index : int
        Of the plan's store.
    cells : bool, shape (rows, columns)
        That its water covers up to its sill.
    level : float
        Of its sill; of its lowest rim where that lies lower on this grid. [m]
    below : float
        So far its rim lies below its sill on this grid. [m]
    deepest, by_sill : (int, int)
        Row and column of its lowest cell, and of a deep one as near its sill as may be.
    shape : WorkShape or None
        None for a natural hollow.
    """

    index: int
    cells: Cells
    level: float
    below: float
    deepest: tuple[int, int]
    by_sill: tuple[int, int]
    shape: WorkShape | None

    def holds(self, bed: FloatArray, cell: float) -> float:
        """Up to its sill. [m3]"""
        return float(np.maximum(self.level - bed[self.cells], 0.0).sum()) * cell**2

    def drawn(self, plan: Plan, cell: float) -> bool:
        """Whether its cells cover about the ground that its water is to cover, so that levels in it
        mean anything."""
        return bool(float(self.cells.sum()) * cell**2
                    >= DRAWN * float(plan.stores[self.index].store.curve.areas[-1]))


def lay_pools(plan: Plan, grid: Grid, before: FloatArray, bed: FloatArray
              ) -> tuple[tuple[Pool, ...], tuple[str, ...], FloatArray]:
    """Each store's cells, one that lies in another's being that one's alone; stores without any;
    and the ground with every pool in one piece and a free way to its sill and on."""
    bed = bed.copy()
    taken = np.zeros(grid.shape, bool)
    found, small = [], []
    for index, planned in enumerate(plan.stores):
        name = planned.store.name
        shape = next((shape for shape in plan.designed.shapes  # type: ignore[union-attr]
                      if shape.work == name and shape.pool is not None), None)
        if shape is not None:
            outline, level = shape.pool, shape.level
        elif planned.placed.hollow is not None:
            outline, level = planned.placed.hollow.outline, planned.store.sill.level
        else:
            continue
        heights = np.where(np.isnan(bed), np.inf, bed)
        rim = _lowest_rim(bed, grid, outline, level)
        cells = pool_cells(heights, grid, outline, rim) & ~taken
        if not cells.any():
            small.append(name)
            continue
        if shape is not None:
            cells = _in_one_piece(bed, cells, grid, shape, rim)
            _free_sill(bed, bed > before + UNCHANGED, cells, grid, shape)
        taken |= cells
        found.append(Pool(index, cells, rim, float(level) - rim, *_gauges(bed, cells, grid, shape),
                          shape))
    return tuple(found), tuple(small), bed


def _gauges(bed: FloatArray, cells: Cells, grid: Grid, shape: WorkShape | None
            ) -> tuple[tuple[int, int], tuple[int, int]]:
    """Row and column of a pool's lowest cell, and of one of the lower half that is nearest to its
    sill."""
    rows, columns = np.nonzero(cells)
    floor = bed[rows, columns]
    lowest = int(np.argmin(floor))
    near = lowest
    if shape is not None and shape.sill is not None and len(shape.sill) > 1:
        away = distance(LineString(shape.sill), points(grid.x[columns], grid.y[rows]))
        near = int(np.argmin(np.where(floor <= (floor.min() + floor.max()) / 2, away, np.inf)))
    return (int(rows[lowest]), int(columns[lowest])), (int(rows[near]), int(columns[near]))


def _lowest_rim(bed: FloatArray, grid: Grid, outline: Any, level: float) -> float:
    """Level at which a store runs over on a grid, up to that of its sill. [m]

    Between the middles of a raster's cells a saddle lies lower than by cells, and coarse cells
    may leave it out.
    """
    west, south, east, north = outline.bounds
    window = grid.window((west - ABOUT_POOL, south - ABOUT_POOL, east + ABOUT_POOL,
                          north + ABOUT_POOL))
    part, near = grid.part(*window), bed[window]
    if not part.rows or not part.columns or np.isnan(near).all():
        return float(level)
    within = inside(outline, part) & np.isfinite(near) & (near < level)
    if not within.any():
        return float(level)
    # Walls of the window are no way out where ground stands above the sill there.
    heights = near.astype(np.float32)
    filled = drain(heights).filled(heights)
    deepest = int(np.argmin(np.where(within, near, np.inf)))
    over = float(filled.reshape(-1)[deepest])
    return float(level) if over > level - ROUND else over - ROUND


def _in_one_piece(bed: FloatArray, cells: Cells, grid: Grid, shape: WorkShape, level: float
                  ) -> Cells:
    """A pool whose cells all meet by sides, as water passes by no corner; the ground is lowered
    for that where no crest stands and nothing leaks, and raised evenly to hold as much as before.
    """
    from scipy import ndimage

    if ndimage.label(cells)[1] == 1:
        return cells
    rows, columns = (slice(max(int(v.min()) - 2, 0), int(v.max()) + 3) for v in np.nonzero(cells))
    part, pool = bed[rows, columns].copy(), cells[rows, columns].copy()
    x, y = np.meshgrid(grid.part(rows, columns).x, grid.part(rows, columns).y)
    crest = np.zeros(part.shape, bool)
    for line in [*(c[:, :2] for c in shape.crests), *([] if shape.sill is None else [shape.sill])]:
        if len(line) > 1:
            crest |= distance(LineString(line), points(x, y)) < grid.cell / 2
    holds = float((level - part[pool]).sum())
    while (step := _bridge(part, pool, crest, level)) is not None:
        at, height = step
        part[at], pool[at] = height, True
    for _ in range(20):
        spare = float((level - part[pool]).sum()) - holds
        if abs(spare) < 1e-9:
            break
        part[pool] = np.minimum(part[pool] + spare / pool.sum(), level - HAIR)
    bed[rows, columns] = part
    found = cells.copy()
    found[rows, columns] = pool
    return found


def _free_sill(bed: FloatArray, heaped: Cells, pool: Cells, grid: Grid, shape: WorkShape) -> None:
    """Lower what ground stands above a sill on the ways from the pool to it and on from it, by
    sides of cells, to the sill's level; what is heaped stays."""
    from scipy import ndimage

    if shape.sill is None or len(shape.sill) < 2:
        return
    line = LineString(shape.sill)
    west, south, east, north = line.bounds
    window = grid.window((west - ABOUT_SILL, south - ABOUT_SILL, east + ABOUT_SILL,
                          north + ABOUT_SILL))
    part, near, own = grid.part(*window), bed[window], pool[window]
    if not part.rows or not part.columns:
        return
    shut = heaped[window] | np.isnan(near)
    sill = (distance(line, points(*np.meshgrid(part.x, part.y))) < grid.cell) & ~shut & ~own & (
        np.abs(near - shape.level) < UNCHANGED)
    out = (near < shape.level - LOWER) & ~own & ~ndimage.binary_dilation(own)
    for start, not_through in ((own, out), (out, own)):
        if start.any() and sill.any():
            on = _least_dug(near, (shut | not_through) & ~start, start, sill, shape.level)
            near[on] = np.minimum(near[on], shape.level)


def _least_dug(bed: FloatArray, shut: Cells, start: Cells, ends: Cells, level: float) -> Cells:
    """Cells, outside of where they start, of the ways to some ends on which least ground stands
    above a level."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    number = np.arange(bed.size).reshape(bed.shape)
    cost = np.where(shut, 1e6, np.maximum(np.nan_to_num(bed) - level, 0.0) + 1e-4)
    one = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    other = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    ways = coo_array((np.concatenate([cost.ravel()[other], cost.ravel()[one]]),
                      (np.concatenate([one, other]), np.concatenate([other, one]))),
                     shape=(bed.size, bed.size)).tocsr()
    far, before, _ = dijkstra(ways, indices=number[start], min_only=True,
                              return_predecessors=True)
    found = np.zeros(bed.size, bool)
    for end in number[ends]:
        at = int(end)
        while far[end] < 1e6 and before[at] >= 0 and not start.reshape(-1)[at]:
            found[at] = True
            at = int(before[at])
    return found.reshape(bed.shape)


def _bridge(bed: FloatArray, pool: Cells, crest: Cells, level: float
            ) -> tuple[tuple[int, int], float] | None:
    """The cell that joins two pieces of a pool at the least digging, and how deep."""
    from scipy import ndimage

    label, count = ndimage.label(pool)
    if count < 2:
        return None
    best: tuple[float, tuple[int, int], float] | None = None
    for row, column in np.argwhere(ndimage.binary_dilation(pool) & ~pool & np.isfinite(bed)):
        about = np.s_[max(row - 1, 0):row + 2, max(column - 1, 0):column + 2]
        sides = [(row + r, column + c) for r, c in ((-1, 0), (1, 0), (0, -1), (0, 1))
                 if 0 <= row + r < bed.shape[0] and 0 <= column + c < bed.shape[1]]
        met = [place for place in sides if pool[place]]
        if crest[row, column] or len({int(label[place]) for place in met}) < 2 or (
                ~pool[about] & (bed[about] < level)).any():
            continue
        floor = float(max(bed[place] for place in met))
        if best is None or bed[row, column] - floor < best[0]:
            best = float(bed[row, column] - floor), (int(row), int(column)), floor
    return None if best is None else best[1:]
