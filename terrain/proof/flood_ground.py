"""The ground that a storm is let run over: its levels, what soaks in, how it slows water down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.flood.storm_flow import CurveNumberLoss, Flow, GreenAmptLoss, Loss
from terrain.inputs.dem import Dem
from terrain.plan.planned import Plan
from terrain.plan.water.cascade import tanked_roofs
from terrain.proof.cell_words import cell_option, cells_of
from terrain.proof.pools import LEVEL, Pool, lay_pools
from terrain.proof.soils import in_stores, soaking
from terrain.runoff.curve_number import runoff_from_retention
from terrain.runoff.resistance import resistance_of
from terrain.surface.catchments import label_catchments
from terrain.surface.depressions import drain
from terrain.units import in_both
from terrain.works.designed_ground import UNCHANGED, Grid, grid_over
from terrain.works.watertight import designed_heights

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
    soils : GreenAmptLoss or None
        What soaks in where that is asked for in place of curve numbers, before the works.
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
    soils: GreenAmptLoss | None = None

    @property
    def calm(self) -> Cells:
        """Where water only stands."""
        return np.asarray(self.deep > CALM)

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
        runs = runoff_from_retention(depth, self.retention_after[cells], self.abstraction_ratio)
        return float(runs.sum()) / 1000 * self.grid.cell**2

    def shed(self, cells: Cells, depth: float, flow: Flow) -> float:
        """What some ground shed of a depth of rain in a run with the works. [m3]"""
        if self.soils is None:
            return self.runoff(cells, depth)
        soaked = np.where(cells & ~self._stores, np.nan_to_num(flow.soaked), 0.0)
        return (float(cells.sum()) * depth / 1000 - float(soaked.sum())) * self.grid.cell**2

    def loss(self, works: bool) -> Loss:
        """What rain loses, with the works or without."""
        if self.soils is None:
            return CurveNumberLoss(self.retention_after if works else self.retention,
                                   self.abstraction_ratio)
        return in_stores(self.soils, self._stores) if works else self.soils

    @property
    def _stores(self) -> Cells:
        found = np.zeros(self.grid.shape, bool)
        for pool in self.pools:
            found |= pool.cells
        return found

    def film(self, depth: float) -> float:
        """Water that clings to the ground in a storm of some depth [mm]. [m]"""
        ground = np.isfinite(self.after)
        return min(FILM, FILM_SHARE * self.runoff(ground, depth)
                   / (float(ground.sum()) * self.grid.cell**2))

    @property
    def retention_after(self) -> FloatArray:
        """S with the works: rain on a store's water is water. [mm]"""
        return np.where(self._stores, 0.0, self.retention)

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


def flood_ground(plan: Plan, cell: float | None = None, green_ampt: bool = False) -> FloodGround:
    """Lay a plan's ground out for the flood.

    Parameters
    ----------
    cell : float, optional
        Side of a cell; the raster's if left out, where that is no coarser than 1 m, else the
        largest whole part of it that is no coarser. [m]
    green_ampt : bool
        Let water soak in by soil texture, on its way too, in place of curve numbers.

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
    pools, small, after = lay_pools(plan, grid, before, after)
    if not pools:
        raise InputError("--cell", f"no store of this site shows on cells of {cell:g} m",
                         "Choose smaller cells")
    first, deep = _led_over(after, pools)
    worked = np.abs(np.nan_to_num(after - before)) > UNCHANGED
    rough[worked] = np.minimum(rough[worked], CHANNEL_N)
    return FloodGround(grid, before, after, np.where(np.isinf(retention), 1e12, retention),
                       rule.abstraction_ratio, rough, spread(ground.inside) & known, pools, first,
                       deep, small,
                       GreenAmptLoss(*(spread(part) for part in soaking(ground, tanked)))
                       if green_ampt else None)


def _followed(plan: Plan) -> Cells:
    """Cells of the raster that water is followed on: the property, all that drains to it, and a
    strip about both."""
    from scipy import ndimage

    terrain, dem = plan.terrain, plan.terrain.dem
    inside = plan.inputs.ground.inside
    reached = (terrain.labels(inside.astype(np.int32)) > 0) | inside
    far = ndimage.distance_transform_edt(~reached) * dem.cell
    found: Cells = (far <= AROUND) & np.isfinite(dem.heights)
    return found


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
        if not pool.drawn(plan, cell):
            coarse.append(store.name)
            continue
        said += [f"On {cells_of(cell)} the sill of \"{store.name}\" looks "
                 f"{in_both(1000 * off, 'rain', 0)} {word} than it is."
                 for off, word in ((pool.below, "lower"), (over, "higher")) if off > LEVEL]
    if coarse:
        said.append(
            f"{cells_of(cell).capitalize()} are too coarse for the sections of "
            f"{', '.join(coarse)}: each is cut deeper there so that it holds what it is to, its "
            "levels mean nothing, and what comes to it is not sure. "
            f"{cell_option(cell / 2)} shows more.")
    if ground.too_small:
        said.append(f"Too small for these cells, so not followed: {', '.join(ground.too_small)}. "
                    f"{cell_option(cell / 2)} may show them.")
    return said


def with_levels(ground: FloodGround, after: FloatArray) -> FloodGround:
    """The same with other levels; pools stay as they were designed."""
    first, deep = _led_over(after, ground.pools)
    return replace(ground, after=after, first=first, deep=deep)
