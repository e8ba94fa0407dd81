"""Designed ground on coarser cells that holds the water it was designed to hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, line_locate_point, points

from terrain.inputs.dem import Dem
from terrain.works.designed_ground import (
    ACROSS,
    Bounds,
    FloatArray,
    Grid,
    WorkShape,
    grid_over,
    joined,
)
from terrain.works.ground_of_pit import inside
from terrain.works.swale import line_cells

#: A cell is the mean of at most so many by so many finer ones.
FINER = 8
#: Fine cells are kept to about this many at a time.
MOST_FINE = 8_000_000
#: Ground is worked on so far about works and their pools. [m]
MARGIN = 1.0
#: Ground that is this little below a sill counts as no water. [m]
FILM = 1e-6
#: Ground that lies further below a sill than this about a crest is open. [m]
SUNK = 0.05


def designed_heights(dem: Dem, shapes: Sequence[WorkShape], grid: Grid) -> FloatArray:
    """Levels of a grid's cells once works are built, in their order. [m]

    Notes
    -----
    Where a work changes the ground a cell is the mean of finer ones.  Cells that a crest crosses
    stand at least as high as the crest is there, and those that a sill crosses just as high as the
    sill, so that no water passes between cells, nor by their corners.  What a store then holds up
    to its sill is set to what it holds on the finer cells, by raising or lowering its wet cells
    evenly.
    """
    found = grid.heights(dem)
    finest = min((shape.narrowest / ACROSS for shape in shapes), default=grid.cell)
    for bounds, members in _groups(shapes, grid.cell + MARGIN):
        window = grid.window(bounds)
        part = grid.part(*window)
        if not part.rows or not part.columns:
            continue
        times = int(np.clip(np.ceil(grid.cell / finest), 1, FINER))
        while times > 1 and part.rows * part.columns * times**2 > MOST_FINE:
            times -= 1
        found[window] = _built(dem, [shapes[i] for i in members], part, times, found[window])
    return found


def _built(dem: Dem, shapes: Sequence[WorkShape], grid: Grid, times: int, before: FloatArray
           ) -> FloatArray:
    from scipy import ndimage

    fine = Grid(grid.left, grid.top, grid.cell / times, grid.rows * times, grid.columns * times)
    ground = fine.heights(dem)
    made, holds = ground.copy(), []
    for shape in shapes:
        dug, heaped = (shape.for_water or shape.levels)(fine)
        made = np.maximum(np.minimum(made, dug), heaped)
        # Where an earlier work, such as a drain that leads here, has dug through, no crest stands.
        about = ndimage.maximum_filter(made, 3)
        raised, held = _held(dem, made, fine, shape, about >= shape.level - SUNK)
        took = np.where(held & (made < shape.level), shape.level - made, 0.0)
        made = raised
        holds.append((held, took, _blocks(dug, times).min(axis=(1, 3))))
    changed = (_blocks(np.abs(made - ground), times) > FILM).any(axis=(1, 3))
    coarse = np.where(changed, _blocks(made, times).mean(axis=(1, 3)), before)
    kept = np.zeros(grid.shape, bool)
    for i, shape in enumerate(shapes):
        stands = ndimage.binary_dilation(_blocks(holds[i][0], times).any(axis=(1, 3)),
                                         np.ones((3, 3)))
        for _, _, dug in holds[i + 1:]:
            stands &= dug >= shape.level - FILM
        coarse, held = _held(dem, coarse, grid, shape, stands)
        kept |= held
    for shape, (_, took, _) in zip(shapes, holds, strict=True):
        if shape.pool is not None:
            coarse = _with_storage(coarse, grid, made, fine, shape, kept, took)
    return coarse


def _blocks(values: NDArray[Any], times: int) -> NDArray[Any]:
    rows, columns = values.shape
    return values.reshape(rows // times, times, columns // times, times)


def _held(dem: Dem, heights: FloatArray, grid: Grid, shape: WorkShape, stands: NDArray[np.bool_]
          ) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Heights with a work's crests and sill upheld where they stand, and those cells."""
    out, held = heights.copy(), np.zeros(grid.shape, bool)
    stands = stands & np.isfinite(heights)
    for crest in shape.crests:
        rows, columns = _touched(dem, grid, crest[:, :2])
        here = stands[rows, columns]
        rows, columns = rows[here], columns[here]
        if not rows.size:
            continue
        at = line_locate_point(LineString(crest[:, :2]), points(grid.x[columns], grid.y[rows]))
        stations = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(crest[:, :2], axis=0).T))])
        level = np.interp(at, stations, crest[:, 2])
        out[rows, columns] = np.maximum(out[rows, columns], level)
        held[rows, columns] = True
    if shape.sill is not None and len(shape.sill) > 1:
        rows, columns = _touched(dem, grid, shape.sill)
        here = stands[rows, columns]
        out[rows[here], columns[here]] = shape.level
        held[rows[here], columns[here]] = True
    return out, held


def _touched(dem: Dem, grid: Grid, line: FloatArray
             ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    if len(line) < 2:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    flat = replace(dem, heights=np.zeros(grid.shape, np.float32), left=grid.left, top=grid.top,
                   cell=grid.cell, filled_holes=np.zeros(grid.shape, bool))
    cells = line_cells(flat, line)
    return cells[:, 0], cells[:, 1]


def pool_cells(heights: FloatArray, grid: Grid, pool: Any, level: float) -> NDArray[np.bool_]:
    """Cells that a store's water covers up to a level, by corners too; of several pieces of wet
    ground the one with the most water where it is said to stand."""
    from scipy import ndimage

    wet = heights < level - FILM
    label, count = ndimage.label(wet, structure=np.ones((3, 3)))
    if not count:
        return np.zeros(grid.shape, bool)
    here = inside(pool, grid) & wet
    depth = np.bincount(label[here], weights=level - heights[here], minlength=count + 1)
    if not depth.any():
        return np.zeros(grid.shape, bool)
    return np.asarray(label == int(np.argmax(depth)))


def stored(heights: FloatArray, grid: Grid, pool: Any, level: float) -> float:
    """Water that stands in a store up to a level. [m3]"""
    covered = pool_cells(heights, grid, pool, level)
    return float((level - heights[covered]).sum()) * grid.cell**2


def _with_storage(coarse: FloatArray, grid: Grid, made: FloatArray, fine: Grid, shape: WorkShape,
                  kept: NDArray[np.bool_], took: FloatArray) -> FloatArray:
    """Coarse cells whose pool holds what it holds on the fine ones and what upholding the crests
    took from those, where it is closed on both."""
    want = pool_cells(made, fine, shape.pool, shape.level)
    have = pool_cells(coarse, grid, shape.pool, shape.level)
    if _open(want) or _open(have):
        return coarse
    volume = float((shape.level - made[want]).sum() + took[inside(shape.pool, fine)].sum()
                   ) * fine.cell**2
    free = have & ~kept
    if not free.any():
        return coarse
    out = coarse.copy()
    for _ in range(20):  # cells raised to the sill hold no less, so a few turns are needed
        lack = volume - float((shape.level - out[have]).sum()) * grid.cell**2
        out[free] = np.minimum(out[free] - lack / (free.sum() * grid.cell**2),
                               shape.level - 2 * FILM)
        if abs(lack) < 1e-6 * max(volume, 1e-6):
            break
    return out


def _open(covered: NDArray[np.bool_]) -> bool:
    """Whether a pool reaches the side of its window."""
    return bool(covered[0].any() or covered[-1].any() or covered[:, 0].any()
                or covered[:, -1].any())


def _groups(shapes: Sequence[WorkShape], margin: float) -> list[tuple[Bounds, list[int]]]:
    """Works whose surroundings meet, with bounds that hold them and their pools."""
    found: list[tuple[Bounds, list[int]]] = []
    for i, shape in enumerate(shapes):
        bounds = shape.bounds if shape.pool is None else joined([shape.bounds, shape.pool.bounds])
        west, south, east, north = bounds
        bounds, members = (west - margin, south - margin, east + margin, north + margin), [i]
        while True:
            meet = [group for group in found if _meet(group[0], bounds)]
            if not meet:
                break
            found = [group for group in found if group not in meet]
            bounds = joined([bounds, *(group[0] for group in meet)])
            members = sorted(members + [j for group in meet for j in group[1]])
        found.append((bounds, members))
    return found


def _meet(one: Bounds, other: Bounds) -> bool:
    return (one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3]
            and other[1] <= one[3])


def grid_about(dem: Dem, shapes: Sequence[WorkShape], cell: float, margin: float) -> Grid:
    """A grid over works, so much ground about them as the raster has, lines on its origin."""
    west, south, east, north = joined(shape.bounds for shape in shapes)
    beyond = dem.bounds
    return grid_over((max(west - margin, beyond[0]), max(south - margin, beyond[1]),
                      min(east + margin, beyond[2]), min(north + margin, beyond[3])), cell,
                     (dem.left, dem.top))
