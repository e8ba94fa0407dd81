"""The designed ground of a plan: all its works freshly built, and their earth by two ways."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.plan.earth.built import Built
from terrain.units import in_both
from terrain.works.designed_ground import (
    UNCHANGED,
    FloatArray,
    Grid,
    Patch,
    WorkShape,
    grid_over,
    patch_of,
)
from terrain.works.ground_of_bank import wall_shapes
from terrain.works.ground_of_drain import drain_shape
from terrain.works.ground_of_pit import pit_shape
from terrain.works.ground_of_swale import swale_shape
from terrain.works.ground_of_trees import tree_shape
from terrain.works.rules import Rulebook
from terrain.works.watertight import designed_heights, grid_about

#: Ground about the works that the raster of them shows. [m]
MARGIN = 3.0
#: That raster has no smaller cells, and no more of them. [m]
FINEST, MOST_CELLS = 0.1, 16_000_000
#: It has so many cells across the narrowest part of a work.
RASTER_ACROSS = 5
#: Works that change less of the same ground do not meet. [m2]
OVERLAP = 0.5


@dataclass(frozen=True)
class Earth:
    """A work's earth, by its sections and by the difference of two surfaces. [m3]

    Attributes
    ----------
    cut_sections, fill_sections : float
        As the plan prints it, but for what does not show once it is built: the stripped ground
        and the cut-off trench under a wall, which are filled again.
    cut_surface : float or None
        None where it is not fixed where the earth is dug; of a bowl without the mound that is left
        about its trunk, as its sections have it.
    fill_surface : float
    spillway : float
        Cut of a wall's spillway in natural ground; it is counted by surfaces alone.
    """

    cut_sections: float
    fill_sections: float
    cut_surface: float | None
    fill_surface: float
    spillway: float = 0.0

    def off(self, rules: Rulebook) -> float | None:
        """The greater share by which the surface differs from the sections, if it is more than
        the rules' `earth by two ways`; else None."""
        pairs = [(self.fill_sections, self.fill_surface)]
        if self.cut_surface is not None:
            pairs.append((self.cut_sections, self.cut_surface))
        shares = [by_surface / by_sections - 1 for by_sections, by_surface in pairs
                  if by_sections > 1e-9]
        worst = max(shares, key=abs, default=0.0)
        return worst if abs(worst) > rules["earth by two ways"] else None


@dataclass(frozen=True)
class Shared:
    """Ground that two works change.

    Attributes
    ----------
    works : (str, str)
        Names of their stores, the one that is built first before the other.
    names : (str, str)
        Of their shapes, such as "pond, spillway".
    area : float
        [m2]
    """

    works: tuple[str, str]
    names: tuple[str, str]
    area: float

    @property
    def said(self) -> str:
        """In a sentence."""
        return (f"\"{self.names[0]}\" and \"{self.names[1]}\" change the same "
                f"{in_both(self.area, 'area')} of ground: on the designed ground the latter, whose "
                "sill lies lower, is built last, and digs into or heaps upon the former there.")


@dataclass(frozen=True)
class Designed:
    """The ground of a plan as it is freshly built.

    Attributes
    ----------
    shapes : tuple of WorkShape
        In the order in which they are built: from the top of the land down, later ones digging
        into (and heaping upon) earlier ones.
    earth : mapping of str to Earth
        By the store's name.
    shared : tuple of Shared
        Ground that two works change.
    """

    shapes: tuple[WorkShape, ...]
    earth: Mapping[str, Earth]
    shared: tuple[Shared, ...]


def designed_ground(dem: Dem, stores: Iterable[Built], rules: Rulebook) -> Designed:
    """Shape every work that is dug or heaped, from the highest sill down; tanks and natural
    hollows change no ground."""
    shapes: list[WorkShape] = []
    earth: dict[str, Earth] = {}
    changed: list[_Changed] = []
    for planned in sorted(stores, key=lambda p: -p.store.sill.level):
        made = work_shapes(dem, planned, rules)
        if not made:
            continue
        patches = [patch_of(dem, shape) for shape in made]
        shapes += made
        tree = planned.placed.tree
        earth[planned.store.name] = _earth(planned, [
            patch_of(dem, replace(shape, levels=shape.for_water))
            if tree is not None and tree.form == "bowl" and shape.for_water is not None else patch
            for shape, patch in zip(made, patches, strict=True)])
        changed += [_Changed(patch.shape, patch.grid, np.abs(patch.change) > UNCHANGED)
                    for patch in patches]
    return Designed(tuple(shapes), earth, tuple(_shared(changed)))


def work_shapes(dem: Dem, planned: Built, rules: Rulebook) -> list[WorkShape]:
    """What a store's work makes of the ground; nothing for a tank or a natural hollow."""
    name, tree = planned.store.name, planned.placed.tree
    if planned.swale is not None:
        return [swale_shape(dem, planned.swale, name)]
    if planned.basin is not None:
        return (wall_shapes(dem, planned.basin, name) if planned.basin.has_wall else
                [pit_shape(dem, planned.basin, name)])
    if tree is not None:
        return [tree_shape(dem, tree, name, rules, planned.over_sill)]
    if planned.drain is not None:
        return [drain_shape(dem, planned.drain, name)]
    return []


def _earth(planned: Built, patches: Sequence[Patch]) -> Earth:
    cut, fill = patches[0].cut, patches[0].fill
    spillway = sum(patch.cut for patch in patches[1:])
    basin, tree, drain = planned.basin, planned.placed.tree, planned.drain
    if planned.swale is not None:
        return Earth(planned.swale.cut, planned.swale.berm, cut, fill)
    if basin is not None:
        return (Earth(basin.cut, 0.0, cut, fill) if basin.profile is None else
                Earth(basin.pit, basin.profile.earth_built, cut, fill, spillway))
    if tree is not None:
        return Earth(tree.dig, tree.bank, None if tree.crescent is not None else cut, fill)
    assert drain is not None
    return Earth(drain.cut, drain.bank, cut, fill)


@dataclass(frozen=True)
class _Changed:
    """Where a work changes the ground."""

    shape: WorkShape
    grid: Grid
    cells: NDArray[np.bool_]

    def shared(self, other: _Changed) -> float:
        """Ground that another changes too. [m2]"""
        rows, columns = np.nonzero(self.cells)
        x, y, grid = self.grid.x[columns], self.grid.y[rows], other.grid
        column = np.floor((x - grid.left) / grid.cell).astype(np.int64)
        row = np.floor((grid.top - y) / grid.cell).astype(np.int64)
        there = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
        return int(other.cells[row[there], column[there]].sum()) * self.grid.cell**2


def _shared(changed: list[_Changed]) -> list[Shared]:
    found = []
    for i, later in enumerate(changed):
        for earlier in changed[:i]:
            if earlier.shape.work == later.shape.work:
                continue
            area = later.shared(earlier)
            if area > OVERLAP:
                found.append(Shared((earlier.shape.work, later.shape.work),
                                    (earlier.shape.name, later.shape.name), area))
    return found


def designed_raster(dem: Dem, shapes: Sequence[WorkShape]
                    ) -> tuple[Grid, FloatArray, FloatArray, bool]:
    """All works on one grid of fine cells.

    Returns
    -------
    grid : Grid
        As `raster_grid` gives it.
    level, change : float64, shape (rows, columns)
        The designed ground, and fill above 0 or cut below; NaN away from works. [m]
    coarser : bool
        Whether its cells are larger than the narrowest work asks for.
    """
    grid, coarser = raster_grid(dem, shapes)
    ground = np.full(grid.shape, np.nan)
    for shape in shapes:
        west, south, east, north = shape.bounds
        window = grid.window((west - MARGIN, south - MARGIN, east + MARGIN, north + MARGIN))
        part = grid.part(*window)
        ground[window] = np.where(np.isnan(ground[window]), part.heights(dem), ground[window])
    level = ground.copy()
    for shape in shapes:
        window = grid.window(shape.bounds)
        level[window] = shape.made(grid.part(*window), level[window])
    return grid, level, level - ground, coarser


def raster_grid(dem: Dem, shapes: Sequence[WorkShape]) -> tuple[Grid, bool]:
    """The cells of the raster of all works, which go into the elevation's a whole number of times;
    and whether they are larger than the narrowest work asks for, to be no more than 16 million."""
    wanted = max(min(shape.narrowest for shape in shapes) / RASTER_ACROSS, FINEST)
    times = max(int(np.ceil(dem.cell / wanted - 1e-9)), 1)
    grid = grid_about(dem, shapes, dem.cell / times, MARGIN)
    while times > 1 and grid.rows * grid.columns > MOST_CELLS:
        times -= 1
        grid = grid_about(dem, shapes, dem.cell / times, MARGIN)
    return grid, grid.cell > 1.01 * wanted


def designed_dem(dem: Dem, shapes: Sequence[WorkShape], cell: float,
                 bounds: tuple[float, float, float, float] | None = None) -> Dem:
    """The designed ground on refined cells, made so that water can be let run over it.

    Parameters
    ----------
    shapes : sequence of WorkShape
        In the order in which they are built.
    cell : float
        [m]
    bounds : (west, south, east, north), optional
        The works and 20 m about them if left out. [m]

    Returns
    -------
    dem : Dem
        Its berms let no water by, not by corners of cells either; its sills are at their level;
        what each store holds up to its sill is that of far finer cells.
    """
    grid = (grid_about(dem, shapes, cell, 20.0) if bounds is None else
            grid_over(bounds, cell, (dem.left, dem.top)))
    exact = designed_heights(dem, shapes, grid)
    heights = exact.astype(np.float32)
    # Rounded up: a crest rounded down to below its level would let water by.
    heights = np.where(heights < exact, np.nextafter(heights, np.float32(np.inf)), heights)
    return replace(dem, heights=heights, left=grid.left, top=grid.top, cell=cell,
                   filled_holes=np.zeros(grid.shape, bool))
