"""The ground that a storm is let run over: its levels, what soaks in, how it slows water down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.plan.planned import Plan
from terrain.plan.water.cascade import tanked_roofs
from terrain.runoff.resistance import resistance_of
from terrain.surface.catchments import label_catchments
from terrain.surface.depressions import drain
from terrain.works.designed_ground import Grid, WorkShape, grid_over
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
        Of its sill. [m]
    deepest : (int, int)
        Row and column of its lowest cell.
    shape : WorkShape or None
        None for a natural hollow.
    """

    index: int
    cells: Cells
    level: float
    deepest: tuple[int, int]
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

    @property
    def retention_after(self) -> FloatArray:
        """S with the works: rain on a store's water is water. [mm]"""
        found = self.retention.copy()
        for pool in self.pools:
            found[pool.cells] = 0.0
        return found

    def soak(self, plan: Plan) -> FloatArray:
        """Rate at which beds of stores take water. [mm/h]"""
        found = np.zeros(self.grid.shape)
        for pool in self.pools:
            found[pool.cells] = plan.stores[pool.index].store.infiltration
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
        If the cell is out of range or makes too many cells, or no work is there to flood.
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
    pools, small = _pools(plan, grid, after)
    first, deep = _led_over(after, pools)
    for pool in pools:
        rough[pool.cells] = np.minimum(rough[pool.cells], CHANNEL_N)
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


def _pools(plan: Plan, grid: Grid, bed: FloatArray) -> tuple[tuple[Pool, ...], tuple[str, ...]]:
    """Each store's cells; one that lies in another's is that one's alone."""
    heights = np.where(np.isnan(bed), np.inf, bed)
    taken = np.zeros(grid.shape, bool)
    found, small = [], []
    for index, planned in enumerate(plan.stores):
        name = planned.store.name
        shape = next((shape for shape in plan.designed.shapes  # type: ignore[union-attr]
                      if shape.work == name and shape.pool is not None), None)
        if shape is not None:
            cells, level = pool_cells(heights, grid, shape.pool, shape.level), shape.level
        elif planned.placed.hollow is not None:
            level = planned.store.sill.level
            cells = pool_cells(heights, grid, planned.placed.hollow.outline, level)
        else:
            continue
        cells &= ~taken
        if not cells.any():
            small.append(name)
            continue
        taken |= cells
        at = np.argmin(np.where(cells, heights, np.inf))
        row, column = divmod(int(at), grid.columns)
        found.append(Pool(index, cells, float(level), (row, column), shape))
    return tuple(found), tuple(small)


def _led_over(bed: FloatArray, pools: tuple[Pool, ...]) -> tuple[NDArray[np.int32], FloatArray]:
    """Which store each cell's water meets first, and how deep hollows hold water."""
    heights = bed.astype(np.float32)
    drained = drain(heights)
    marks = np.zeros(bed.shape, np.int32)
    for number, pool in enumerate(pools, 1):
        marks[pool.cells] = number
    filled = drained.filled(heights).astype(np.float64)
    return label_catchments(drained.direction, marks), np.nan_to_num(filled - heights)


def with_levels(ground: FloodGround, after: FloatArray) -> FloodGround:
    """The same with other levels; pools stay as they were designed."""
    first, deep = _led_over(after, ground.pools)
    return replace(ground, after=after, first=first, deep=deep)
