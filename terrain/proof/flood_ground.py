"""The ground that a storm is let run over: its levels, what soaks in, how it slows water down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, distance, points

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.plan.planned import Plan
from terrain.plan.water.cascade import tanked_roofs
from terrain.runoff.resistance import resistance_of
from terrain.surface.catchments import label_catchments
from terrain.surface.depressions import drain
from terrain.units import in_both
from terrain.works.designed_ground import UNCHANGED, Grid, WorkShape, grid_over
from terrain.works.ground_of_pit import inside
from terrain.works.watertight import designed_heights, pool_cells

FloatArray = NDArray[np.float64]
Cells = NDArray[np.bool_]
#: Manning's n of the floors of works: earth channels with short grass (Chow, Open-Channel
#: Hydraulics, 1959, Table 5-6, from memory).
CHANNEL_N = 0.035
#: Ground about the property and all that drains to it, over which water is let go. [m]
AROUND = 15.0
#: No coarser cell shows a work. [m]
COARSEST = 10.0
#: And no finer one is run. [m]
FINEST = 0.1
MOST_CELLS = 40_000_000
#: A store's rim is so wide at least. [m], [cells]
RIM, RIM_CELLS = 2.0, 2
#: Water stands no higher over a sill than this, as long as banks hold. [m]
SURCHARGE = 0.5
#: Hollows that hold water this deep hold it calm. [m]
CALM = 0.1
#: Water no deeper than this clings to the ground, nor than this share of what runs off on average:
#: what a storm's long tail would take hours to bring; common practice, no source. [m], [-]
FILM, FILM_SHARE = 0.0001, 0.03
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


@dataclass(frozen=True)
class FloodGround:
    """A grid with all that water meets on it.

    Attributes
    ----------
    grid : Grid
    before, after : float64, shape (rows, columns)
        Levels as read and with all works; NaN where water is not followed. [m]
    retention : float64, same shape
        S as the ground is, before the works. [mm]
    abstraction_ratio : float
    roughness : float64, same shape
        Manning's n. [s/m^(1/3)]
    inside : bool, same shape
        Within the boundary.
    pools : tuple of Pool
    first : int32, same shape
        One more than the place in `pools` of the store that a cell's water meets first, with the
        works; 0 for none.
    deep : float64, same shape
        Water that hollows of the ground hold with the works, stores among them. [m]
    too_small : tuple of str
        Stores of which no cell's middle lies in the pool.
    """

    grid: Grid
    before: FloatArray
    after: FloatArray
    retention: FloatArray
    abstraction_ratio: float
    roughness: FloatArray
    inside: Cells
    pools: tuple[Pool, ...]
    first: NDArray[np.int32]
    deep: FloatArray
    too_small: tuple[str, ...]

    @property
    def calm(self) -> Cells:
        """Where water only stands."""
        return np.asarray(self.deep > CALM)

    def above(self, number: int) -> Cells:
        """Ground outside a store whose water meets it first."""
        return np.asarray((self.first == number + 1) & ~self.pools[number].cells)

    def rim(self, number: int) -> tuple[Cells, Cells]:
        """A store and its rim, and the ground that its water goes to over that."""
        from scipy import ndimage

        wide = max(int(np.ceil(RIM / self.grid.cell)), RIM_CELLS)
        own, pool = self.first == number + 1, self.pools[number]
        # Ground that its water covers too while it stands over the sill.
        label, _ = ndimage.label(own & (self.after < pool.level + SURCHARGE), np.ones((3, 3)))
        covered = np.isin(label, np.unique(label[pool.cells & (label > 0)])) & (label > 0)
        within = ndimage.binary_dilation(covered | pool.cells, np.ones((3, 3)), wide) & own
        return np.asarray(within), np.asarray(np.isfinite(self.after) & ~own)

    def runoff(self, cells: Cells, depth: float) -> float:
        """What some ground sheds of a depth of rain, by curve number, with the works. [m3]"""
        lost = self.abstraction_ratio * self.retention_after[cells]
        over = np.maximum(depth - lost, 0.0)
        runs = over**2 / np.maximum(over + self.retention_after[cells], 1e-9)
        return float(runs.sum()) / 1000 * self.grid.cell**2

    def film(self, depth: float) -> float:
        """Water that clings to the ground in a storm of some depth [mm]. [m]"""
        ground = np.isfinite(self.after)
        return min(FILM, FILM_SHARE * self.runoff(ground, depth)
                   / (float(ground.sum()) * self.grid.cell**2))

    @property
    def retention_after(self) -> FloatArray:
        """S with the works: rain on a store's water is water. [mm]"""
        found = self.retention.copy()
        for pool in self.pools:
            found[pool.cells] = 0.0
        return found

    def soak(self, plan: Plan) -> FloatArray:
        """Rate at which beds of stores take water, so much more of it where fewer cells are wet
        than the plan's water covers. [mm/h]"""
        found = np.zeros(self.grid.shape)
        for pool in self.pools:
            store = plan.stores[pool.index].store
            area = float(pool.cells.sum()) * self.grid.cell**2
            found[pool.cells] = store.infiltration * float(store.curve.areas[-1]) / area
        return found

    def cells_near(self, x: FloatArray, y: FloatArray, reach: float) -> Cells:
        """Cells whose middle lies within reach of points. [m]"""
        from scipy.spatial import cKDTree

        far = np.zeros(self.grid.shape, bool)
        tree = cKDTree(np.column_stack([np.atleast_1d(x), np.atleast_1d(y)]))
        rows, columns = self.grid.window((float(np.min(x)) - reach, float(np.min(y)) - reach,
                                          float(np.max(x)) + reach, float(np.max(y)) + reach))
        part = self.grid.part(rows, columns)
        if part.rows and part.columns:
            at = np.stack(np.meshgrid(part.x, part.y), -1).reshape(-1, 2)
            far[rows, columns] = (tree.query(at)[0] <= reach).reshape(part.shape)
        return far


def flood_ground(plan: Plan, cell: float | None = None) -> FloodGround:
    """Lay a plan's ground out for the flood.

    Parameters
    ----------
    cell : float, optional
        Side of a cell; the raster's if left out, where that is no coarser than 1 m, else the
        largest whole part of it that is no coarser. [m]

    Raises
    ------
    InputError
        If the cell is out of range or makes too many cells, no store shows on it, or no work is
        there to flood.
    """
    dem = plan.terrain.dem
    if plan.designed is None or not plan.designed.shapes:
        raise InputError("works", "no work of this site changes the ground, so there is nothing "
                         "to prove", "Plan a swale, a basin or tree basins first")
    if cell is None:
        cell = dem.cell / max(int(np.ceil(dem.cell - 1e-9)), 1)
    if not FINEST <= cell <= COARSEST:
        raise InputError("--cell", f"cells of {cell:g} m are not between {FINEST:g} m and "
                         f"{COARSEST:g} m", "Choose a size in between")
    reached = _followed(plan)
    grid = _grid(dem, reached, cell)
    if grid.rows * grid.columns > MOST_CELLS:
        raise InputError("--cell", f"cells of {cell:g} m make {grid.rows * grid.columns:,} of "
                         f"them, more than {MOST_CELLS:,}", "Choose larger cells")
    rows, columns = _places(dem, grid)
    known = reached[rows[:, None], columns[None, :]]

    def spread(values: NDArray[Any]) -> NDArray[Any]:
        return values[rows[:, None], columns[None, :]]

    before = np.where(known, grid.heights(dem), np.nan)
    after = np.where(known, designed_heights(dem, plan.designed.shapes, grid), np.nan)
    ground, rule = plan.inputs.ground, plan.inputs.hydrology.rule
    numbers = np.where(np.isfinite(ground.curve_number), ground.curve_number, 100.0)
    retention = spread(rule.retention(numbers))
    tanked = np.zeros(dem.shape, bool)
    for roofs in tanked_roofs(plan.site, ground).values():
        for roof in roofs:
            tanked |= roof.cells
    # What falls on roofs of tanks comes to the ground by their overflow alone.
    retention = np.where(spread(tanked), np.inf, retention)
    table = np.array([resistance_of(name).sheet_n for name in ground.classes]
                     + [resistance_of(None).sheet_n])
    rough = spread(table[ground.cover])
    timing = plan.inputs.hydrology.timing
    channel = plan.terrain.contributing_area >= timing.channel_from
    rough = np.where(spread(channel), np.minimum(rough, timing.channel_roughness), rough)
    pools, small, after = _pools(plan, grid, before, after)
    if not pools:
        raise InputError("--cell", f"no store of this site shows on cells of {cell:g} m",
                         "Choose smaller cells")
    first, deep = _led_over(after, pools)
    worked = np.abs(np.nan_to_num(after - before)) > UNCHANGED
    rough[worked] = np.minimum(rough[worked], CHANNEL_N)
    return FloodGround(grid, before, after, np.where(np.isinf(retention), 1e12, retention),
                       rule.abstraction_ratio, rough, spread(ground.inside) & known, pools, first,
                       deep, small)


def _followed(plan: Plan) -> Cells:
    """Cells of the raster that water is followed on: the property, all that drains to it, and a
    strip about both."""
    from scipy import ndimage

    terrain, dem = plan.terrain, plan.terrain.dem
    inside = plan.inputs.ground.inside
    reached = (terrain.labels(inside.astype(np.int32)) > 0) | inside
    far = ndimage.distance_transform_edt(~reached) * dem.cell
    return (far <= AROUND) & np.isfinite(dem.heights)


def _grid(dem: Dem, reached: Cells, cell: float) -> Grid:
    rows, columns = np.flatnonzero(reached.any(1)), np.flatnonzero(reached.any(0))
    return grid_over((dem.left + columns[0] * dem.cell, dem.top - (rows[-1] + 1) * dem.cell,
                      dem.left + (columns[-1] + 1) * dem.cell, dem.top - rows[0] * dem.cell),
                     cell, (dem.left, dem.top))


def _places(dem: Dem, grid: Grid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column of the raster under each row and column of a grid."""
    rows = np.clip(((dem.top - grid.y) // dem.cell).astype(np.int64), 0, dem.shape[0] - 1)
    columns = np.clip(((grid.x - dem.left) // dem.cell).astype(np.int64), 0, dem.shape[1] - 1)
    return rows, columns


def _pools(plan: Plan, grid: Grid, before: FloatArray, bed: FloatArray
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


def _led_over(bed: FloatArray, pools: tuple[Pool, ...]) -> tuple[NDArray[np.int32], FloatArray]:
    """Which store each cell's water meets first, and how deep hollows hold water."""
    heights = bed.astype(np.float32)
    drained = drain(heights)
    marks = np.zeros(bed.shape, np.int32)
    for number, pool in enumerate(pools, 1):
        marks[pool.cells] = number
    filled = drained.filled(heights).astype(np.float64)
    return label_catchments(drained.direction, marks), np.nan_to_num(filled - heights)


def unlike_the_plan(plan: Plan, ground: FloodGround) -> list[str]:
    """What these cells cannot show of the works, in sentences."""
    cell, coarse, said = ground.grid.cell, [], []
    for pool in ground.pools:
        store = plan.stores[pool.index].store
        over = float(ground.after[pool.deepest] + ground.deep[pool.deepest]) - pool.level
        for off, word in ((pool.below, "below"), (over, "above")):
            if off > LEVEL:
                said.append(f"On cells of {in_both(cell, 'size')} \"{store.name}\" runs over "
                            f"{in_both(1000 * off, 'rain', 0)} {word} its sill.")
        if float(pool.cells.sum()) * cell**2 < DRAWN * float(store.curve.areas[-1]):
            coarse.append(store.name)
    if coarse:
        said.append(
            f"Cells of {in_both(cell, 'size')} are too coarse for the sections of "
            f"{', '.join(coarse)}: water covers less ground there and stands deeper than it will, "
            f"though each holds what it is to. --cell {cell / 2:g}m shows them better.")
    if ground.too_small:
        said.append(f"Too small for these cells, so not followed: {', '.join(ground.too_small)}. "
                    f"--cell {cell / 2:g}m may show them.")
    return said


def with_levels(ground: FloodGround, after: FloatArray) -> FloodGround:
    """The same with other levels; pools stay as they were designed."""
    first, deep = _led_over(after, ground.pools)
    return replace(ground, after=after, first=first, deep=deep)
