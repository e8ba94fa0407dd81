"""The pool behind a wall: how much ground it covers, level by level, and where it would get out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.polyline import distance_to, points_along
from terrain.works.store import Curve

#: Gives levels over the cells of a window. [m]
Levels = Callable[[Dem], NDArray[np.float64]]

#: The ground behind a wall is worked on cells of about this size, interpolated. [m]
FINE_CELL = 0.5
#: A pool's cells are never interpolated into more than this many.
MOST_FINE = 4_000_000
#: A pool's curve has so many steps.
SLICES = 40

#: Less water than this over a bank's face counts as none, lest rounding decide whether a row of
#: cells at its very edge is wet. [m]
DRY = 1e-4


@dataclass(frozen=True)
class Pool:
    """The water behind a thin wall.

    Attributes
    ----------
    curve : Curve
        Gross: as if the wall had no thickness.
    net : Curve
        Less what the wall's bank takes up; the gross one where none was given.
    cells : int64, shape (n, 2)
        Rows and columns of the raster's cells that the full pool covers.
    outline : shapely geometry
        Of the full pool, in the working frame.
    beside_void : bool
        It borders on cells of unknown height, or on the raster's edge.
    deepest : (float, float)
        Where its lowest ground lies. [m]
    below : float64, shape (n, 2)
        The way of the water just past the wall. [m]
    depth : float
        Of its deepest water, over the ground or the bank's face. [m]
    """

    curve: Curve
    net: Curve
    cells: NDArray[np.int64]
    outline: Any
    beside_void: bool
    deepest: tuple[float, float]
    below: NDArray[np.float64]
    depth: float


class Pass(NamedTuple):
    """The lowest place where a pool would get round its wall. [m]"""

    level: float
    x: float
    y: float


def flood(terrain: Terrain, wall: Sequence[tuple[float, float]], sill_level: float, where: str,
          dug: Callable[[Dem], Dem] | None = None, bank: Levels | None = None) -> Pool:
    """Find the pool that a wall holds back up to a level.

    Parameters
    ----------
    wall : two or more points
        Centreline of the wall. [m]
    sill_level : float
        [m]
    dug : callable, optional
        Gives the ground of a window with a pit in it.
    bank : callable, optional
        Gives the levels of the wall's settled bank, -inf beyond it.

    Raises
    ------
    InputError
        If the wall holds nothing, or water of that level gets round one of its ends.

    Notes
    -----
    The ground is interpolated bilinearly to finer cells.  Cells under the wall line count
    where their centre lies on the pool's side of it.
    """
    from scipy import ndimage
    from shapely.geometry import LineString

    dem = terrain.dem
    line = LineString(wall)
    low = _lowest_on(dem, line)
    if low[2] >= sill_level:
        raise InputError(where, f"the sill at {in_both(sill_level, 'level')} is not above the "
                         "ground on the wall's line, whose lowest point is at "
                         f"{in_both(low[2], 'level')}",
                         "Raise the crest or the sill, or move the wall to lower ground")
    reach = max(line.length, 20.0)
    while True:
        fine, edge_cut = _window(dem, line, reach)
        natural = fine
        if dug is not None:
            fine = dug(fine)
        barrier = _barrier(fine, line)
        wet = (fine.heights < sill_level) & ~barrier
        label, _ = ndimage.label(wet, structure=np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]]))
        main, up, down, below = _sides(terrain, fine, line, label)
        if not main:
            raise InputError(where, "no ground below the sill lies on its uphill side, so the "
                             "wall holds nothing", "Move the wall across the way the water takes")
        pool = np.isin(label, sorted({main} | up - down))
        border = np.zeros_like(pool)
        border[0, :] = border[-1, :] = border[:, 0] = border[:, -1] = True
        open_side = bool((pool & border).any())
        if main in down:
            raise InputError(where, f"water at {in_both(sill_level, 'level')} gets round an end of "
                             "the wall",
                             "Lengthen the wall into higher ground, or lower the crest")
        if not open_side or edge_cut:
            break
        reach *= 2
    if open_side:
        raise InputError(where, f"the pool at {in_both(sill_level, 'level')} runs on beyond "
                         f"{dem.source}",
                         "Lower the crest, or use a raster that reaches further")
    side = _uphill_of(fine, line, pool)
    under = barrier & (fine.heights < sill_level) & side & ndimage.binary_dilation(
        pool, np.ones((3, 3)))
    pool |= under
    depths = sill_level - fine.heights[pool].astype(np.float64)
    left = depths
    curve = net = columns_of_water(depths, sill_level, fine.cell_area)
    if bank is not None:  # over the ground as it lies: a pit beyond its foot stays open
        levels = bank(natural)[pool]
        stands = np.where(levels > natural.heights[pool], levels, -np.inf)
        left = np.minimum(depths, sill_level - stands)
        net = columns_of_water(np.where(left > DRY, left, 0.0), sill_level, fine.cell_area,
                               curve.levels)
    x, y = fine.xy(*np.nonzero(pool))
    row, column = dem.row_column(x, y)
    cells = np.unique(np.stack([row, column], 1), axis=0)
    from terrain.surface.catchments import outline

    touches = bool(terrain.edge[cells[:, 0], cells[:, 1]].any())
    free = pool & ~barrier
    lowest = int(np.argmin(np.where(free, fine.heights, np.inf)))
    x, y = fine.xy(*np.unravel_index(lowest, fine.shape))
    return Pool(curve, net, cells, outline(pool, fine.transform), touches, (float(x), float(y)),
                below, max(float(left.max()), 0.0))


def _barrier(fine: Dem, line: Any) -> NDArray[np.bool_]:
    """Cells under the line of a wall, which no water crosses."""
    from terrain.works.swale import line_cells

    barrier = np.zeros(fine.shape, bool)
    barrier[tuple(line_cells(fine, np.asarray(line.coords, float)).T)] = True
    return barrier


def lowest_pass(dem: Dem, wall: Sequence[tuple[float, float]], pool: Pool, sill_level: float,
                up_to: float) -> Pass | None:
    """Find the lowest place, up to a level, where water rising in a pool gets round its wall.

    Parameters
    ----------
    wall : two or more points
        Centreline, taken as endlessly high. [m]
    pool : Pool
        Full to `sill_level`, from which the search goes up. [m]
    up_to : float
        [m]

    Returns
    -------
    found : Pass or None
        To the millimetre; None where water of that level stays behind the wall.  Water that
        leaves for another valley gets round it too.
    """
    from shapely.geometry import LineString

    line = LineString(wall)
    west, south, east, north = pool.outline.bounds
    reach = max(2 * line.length, 40.0, east - west, north - south)
    for wider in (True, True, False):
        fine, cut = _window(dem, line, reach)
        reservoir = _Reservoir(fine, _barrier(fine, line), pool)
        covered = reservoir.at(up_to)
        border = np.concatenate([covered[0], covered[-1], covered[:, 0], covered[:, -1]]).any()
        if border and wider and not cut:
            reach *= 2
            continue
        if border:
            reservoir.open_sides()
        return reservoir.find(sill_level, up_to) if reservoir.escapes(covered) else None
    return None


class _Reservoir:
    """What a pool covers as it rises behind a wall that it never overtops."""

    def __init__(self, fine: Dem, barrier: NDArray[np.bool_], pool: Pool) -> None:
        self.fine, self.barrier = fine, barrier
        self.seed = tuple(int(i) for i in fine.row_column(*pool.deepest))
        row, column = fine.row_column(pool.below[:, 0], pool.below[:, 1])
        rows, columns = fine.shape
        inside = (row >= 0) & (column >= 0) & (row < rows) & (column < columns)
        self.out = np.zeros(fine.shape, bool)
        self.out[row[inside], column[inside]] = True
        self.out &= ~barrier

    def at(self, level: float) -> NDArray[np.bool_]:
        """Cells that it covers at a level."""
        from scipy import ndimage

        label, _ = ndimage.label((self.fine.heights < level) & ~self.barrier)
        own = label[self.seed]
        return np.asarray(label == own) if own else np.zeros(self.fine.shape, bool)

    def open_sides(self) -> None:
        """Count water that reaches the side of the window as gone."""
        for side in (self.out[0], self.out[-1], self.out[:, 0], self.out[:, -1]):
            side |= True
        self.out &= ~self.barrier

    def escapes(self, covered: NDArray[np.bool_]) -> bool:
        """Whether it has got to the ground below the wall, or out of sight."""
        return bool((covered & self.out).any())

    def find(self, low: float, high: float) -> Pass:
        """The place at which it begins to, between a level where it does not and one where it
        does."""
        from scipy import ndimage

        while high - low > 1e-3:
            middle = (low + high) / 2
            low, high = (low, middle) if self.escapes(self.at(middle)) else (middle, high)
        before, after = self.at(low), self.at(high)
        beyond, _ = ndimage.label(after & ~before & (self.fine.heights < low))
        met = np.unique(beyond[self.out])
        others = np.isin(beyond, met[met > 0])
        if not others.any():  # it meets that ground at once
            others = after & self.out
        apart = (ndimage.distance_transform_edt(~before)
                 + ndimage.distance_transform_edt(~others))
        new = after & ~before & ~others
        new = new if new.any() else others
        row, column = np.unravel_index(int(np.argmin(np.where(new, apart, np.inf))),
                                       self.fine.shape)
        x, y = self.fine.xy(row, column)
        return Pass(high, float(x), float(y))


def columns_of_water(depths: NDArray[np.float64], sill_level: float, cell_area: float,
                     levels: NDArray[np.float64] | None = None) -> Curve:
    """Exact volumes of columns of water at levels, evenly spaced where none are given."""
    depths = np.sort(depths[depths > 0])
    if levels is None:
        levels = np.linspace(sill_level - depths[-1], sill_level, SLICES + 1)
    total = np.concatenate([[0.0], np.cumsum(depths)])
    areas, volumes = np.empty(len(levels)), np.empty(len(levels))
    for i, level in enumerate(levels):
        dry = sill_level - level
        first = int(np.searchsorted(depths, dry, side="right"))
        count = len(depths) - first
        areas[i] = count * cell_area
        volumes[i] = (total[-1] - total[first] - count * dry) * cell_area
    volumes[0] = 0.0
    return Curve(levels, areas, np.maximum.accumulate(volumes))


def _lowest_on(dem: Dem, line: Any) -> tuple[float, float, float]:
    spots = points_along(line.coords, np.linspace(0, line.length,
                                                  max(int(line.length / dem.cell * 2), 4)))
    ground = dem.height_at(*spots.T)
    low = int(np.nanargmin(ground))
    return float(spots[low, 0]), float(spots[low, 1]), float(ground[low])


def _window(dem: Dem, line: Any, reach: float) -> tuple[Dem, bool]:
    """The ground about a wall on fine cells, and whether the raster cuts the window."""
    west, south, east, north = line.buffer(reach).bounds
    top, left = (int(i) for i in dem.row_column(west, north))
    bottom, right = (int(i) for i in dem.row_column(east, south))
    rows, columns = dem.shape
    cut = top < 0 or left < 0 or bottom >= rows or right >= columns
    top, left = max(top, 0), max(left, 0)
    bottom, right = min(bottom, rows - 1), min(right, columns - 1)
    tall, wide = bottom - top + 1, right - left + 1
    factor = max(int(np.ceil(dem.cell / FINE_CELL)), 2)
    while factor > 1 and tall * wide * factor * factor > MOST_FINE:
        factor -= 1
    cell = dem.cell / factor
    x = dem.left + left * dem.cell + (np.arange(wide * factor) + 0.5) * cell
    y = dem.top - top * dem.cell - (np.arange(tall * factor) + 0.5) * cell
    heights = dem.height_at(*np.meshgrid(x, y)).astype(np.float32)
    return replace(dem, heights=heights, left=dem.left + left * dem.cell,
                   top=dem.top - top * dem.cell, cell=cell), cut


def _sides(terrain: Terrain, fine: Dem, line: Any, label: NDArray[np.int32]
           ) -> tuple[int, set[int], set[int], NDArray[np.float64]]:
    """Pieces of wet ground that the wall's main water comes from, that any water comes from,
    and that it goes to; and the way it goes there. [m]"""
    dem = terrain.dem
    from terrain.works.swale import line_cells

    cells = line_cells(dem, np.asarray(line.coords, float))
    on_wall = np.zeros(dem.shape, bool)
    on_wall[cells[:, 0], cells[:, 1]] = True
    gathers = terrain.contributing_area[cells[:, 0], cells[:, 1]]
    # The way down from where most water crosses the wall marks the downhill side.
    main = cells[int(np.nanargmax(gathers))]
    path = terrain.path(int(main[0]), int(main[1]))
    past = [cell for cell in path if not on_wall[cell[0], cell[1]]]
    past = past[:max(int(line.length / dem.cell), 3)]
    downhill = _labels_at(dem, fine, past, label)
    place = np.asarray(past, np.int64).reshape(-1, 2)
    below = np.stack(dem.xy(place[:, 0], place[:, 1]), 1)
    cells_near = _beside(terrain, cells, on_wall, line, 2.5 * dem.cell)
    order = np.argsort(-terrain.contributing_area[cells_near[:, 0], cells_near[:, 1]],
                       kind="stable")
    uphill = _labels_at(dem, fine, list(cells_near), label)
    first = (_labels_at(dem, fine, [cell], label) for cell in cells_near[order])
    return next((piece.pop() for piece in first if piece), 0), uphill, downhill, below


def _beside(terrain: Terrain, cells: NDArray[np.int64], on_wall: NDArray[np.bool_], line: Any,
            reach: float) -> NDArray[np.int64]:
    """Cells off a wall, no further than `reach` from its line, whose water comes to it."""
    dem = terrain.dem
    margin = int(np.ceil(reach / dem.cell)) + 1
    first = np.maximum(cells.min(axis=0) - margin, 0)
    last = cells.max(axis=0) + margin + 1
    window = (slice(first[0], last[0]), slice(first[1], last[1]))
    upstream = terrain.catchment(on_wall)[window] & ~on_wall[window]
    found = np.argwhere(upstream) + first
    x, y = dem.xy(found[:, 0], found[:, 1])
    answer: NDArray[np.int64] = found[distance_to(line.coords, x, y) <= reach]
    return answer


def _labels_at(dem: Dem, fine: Dem, cells: list[Any], label: NDArray[np.int32]) -> set[int]:
    if not cells:
        return set()
    place = np.asarray(cells)
    x, y = dem.xy(place[:, 0], place[:, 1])
    row, column = fine.row_column(x, y)
    rows, columns = fine.shape
    inside = (row >= 0) & (column >= 0) & (row < rows) & (column < columns)
    return set(np.unique(label[row[inside], column[inside]]).tolist()) - {0}


def _uphill_of(fine: Dem, line: Any, pool: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Fine cells nearer to the pool's side of the wall line than to the other."""
    coords = np.asarray(line.coords, float)
    rows, columns = np.indices(fine.shape)
    x, y = fine.xy(rows, columns)
    best = np.full(fine.shape, np.inf)
    side = np.zeros(fine.shape)
    for (x0, y0), (x1, y1) in pairwise(coords):
        dx, dy = x1 - x0, y1 - y0
        along = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0, 1)
        gap = np.hypot(x - x0 - along * dx, y - y0 - along * dy)
        nearer = gap < best
        best = np.where(nearer, gap, best)
        side = np.where(nearer, np.sign((x - x0) * dy - (y - y0) * dx), side)
    mostly = np.sign((side[pool] / np.maximum(best[pool], fine.cell)).sum())
    return np.asarray(side == mostly)
