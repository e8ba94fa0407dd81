"""Natural hollows that serve as stores: what they hold, and the rim they spill over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.surface.depressions import Hollow
from terrain.surface.terrain import Terrain
from terrain.works.store import Curve


@dataclass(frozen=True)
class NaturalHollow:
    """A hollow of the ground as a store.

    Attributes
    ----------
    depth, area : float
        Of the full pool: the greatest depth [m], the water surface [m2].
    curve : Curve
        Up to the level at which it spills.
    sill_length : float
        Width of the natural rim where it spills; see `rim_width`. [m]
    sill_x, sill_y : float
        The cell on the rim where it spills. [m]
    cells : int64, shape (n, 2)
        Rows and columns of the cells that the full pool covers.
    outline : shapely geometry
        Of the full pool along cell edges, in the working frame.
    """

    depth: float
    area: float
    curve: Curve
    sill_length: float
    sill_x: float
    sill_y: float
    cells: NDArray[np.int64]
    outline: Any


def hollow_curve(heights: NDArray[np.float64], spill_level: float, cell_area: float,
                 slices: int = 40) -> Curve:
    """Level, area and volume of the water over cells: exact for a column of water on each.

    Parameters
    ----------
    heights : float64, shape (cells,)
        Ground of the cells under water, all below `spill_level`. [m]
    spill_level : float
        [m]
    cell_area : float
        [m2]

    Raises
    ------
    ValueError
        If there is no cell, or one that is not below the spill level.

    Notes
    -----
    An area is that of the cells at or below a level, so a level floor counts from its own level
    on: dV/dz = A.
    """
    depths = np.sort(spill_level - np.asarray(heights, np.float64))
    if not depths.size or not depths[0] > 0:
        raise ValueError(f"no water stands below {spill_level:g} m on some of the cells")
    dry = np.linspace(depths[-1], 0.0, slices + 1)  # depths that a level leaves dry
    first = np.searchsorted(depths, dry, side="left")
    counts = (depths.size - first).astype(np.float64)
    below = np.concatenate([[0.0], np.cumsum(depths)])
    volumes = (below[-1] - below[first] - counts * dry) * cell_area
    volumes[0] = 0.0
    return Curve(spill_level - dry, counts * cell_area, np.maximum.accumulate(volumes))


def rim_width(heights: NDArray[np.float32], drains_in: NDArray[np.bool_], spill: tuple[int, int],
              within: float, cell: float) -> float:
    """Width of the rim that a hollow's water spills over, as the crow flies. [m]

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        [m]
    drains_in : bool, same shape
        The hollow's pool and all ground that drains into it.
    spill : (row, column)
        The cell at the spill level where the way out leaves the pool.
    within : float
        The rim counts as far as it stands no more than this above the spill cell. [m]
    cell : float
        [m]

    Notes
    -----
    The rim is where ground that drains in meets ground that does not; its level at a cell beyond
    is the greater of that cell's and its lowest neighbour's (of four) that drains in.  What counts
    is joined to the spill cell, and measured across the smallest circle about the cells' centres,
    plus one cell.  Common practice, no source.
    """
    from scipy import ndimage
    from shapely import MultiPoint, minimum_bounding_radius

    cross = ndimage.generate_binary_structure(2, 1)
    within_it = np.where(drains_in, heights, np.float32(np.inf))
    crest = np.maximum(heights, ndimage.minimum_filter(within_it, footprint=cross))
    low = ~drains_in & (crest <= heights[spill] + within)
    low[spill] = True
    label, _ = ndimage.label(low, np.ones((3, 3)))
    cells = np.argwhere(label == label[spill])
    return float(2 * minimum_bounding_radius(MultiPoint(cells * cell)) + cell)


def hollow_at(terrain: Terrain, row: int, column: int) -> Hollow | None:
    """The listed hollow whose full pool covers a cell."""
    here = int(_pools(terrain, slice(row, row + 1), slice(column, column + 1))[0, 0])
    return next((h for h in terrain.hollows if _pool_of(terrain, h) == here), None)


def nearest_hollow(terrain: Terrain, x: float, y: float, within: float) -> Hollow | None:
    """The listed hollow whose full pool comes closest to a point, no farther off than `within`.

    Parameters
    ----------
    x, y, within : float
        [m]
    """
    dem = terrain.dem
    rows, columns = dem.row_column([x - within, x + within], [y + within, y - within])
    top, left = max(int(rows[0]), 0), max(int(columns[0]), 0)
    pools = _pools(terrain, slice(top, int(rows[1]) + 1), slice(left, int(columns[1]) + 1))
    listed = {_pool_of(terrain, hollow): hollow for hollow in terrain.hollows}
    rows, columns = np.nonzero(np.isin(pools, list(listed)))
    if not rows.size:
        return None
    gaps = np.hypot(*np.subtract(dem.xy(rows + top, columns + left), [[x], [y]]))
    near = int(np.argmin(gaps))
    return listed[int(pools[rows[near], columns[near]])] if gaps[near] <= within else None


def natural_hollow(terrain: Terrain, hollow: Hollow, within: float) -> NaturalHollow:
    """Make a store of a hollow of the ground.

    Parameters
    ----------
    within : float
        How far above the spill level the rim counts as part of the sill; see `rim_width`. [m]
    """
    from terrain.surface.catchments import outline

    dem, ground = terrain.dem, terrain.ground
    pool = _pools(terrain) == _pool_of(terrain, hollow)
    cells = np.argwhere(pool)
    heights = ground[cells[:, 0], cells[:, 1]].astype(np.float64)
    drains_in = terrain.catchment(pool)
    rows, columns = (np.flatnonzero(drains_in.any(axis)) for axis in (1, 0))
    top, left = max(int(rows[0]) - 1, 0), max(int(columns[0]) - 1, 0)
    window = slice(top, int(rows[-1]) + 2), slice(left, int(columns[-1]) + 2)
    width = rim_width(ground[window], drains_in[window],
                      (hollow.spill_row - top, hollow.spill_column - left), within, dem.cell)
    sill_x, sill_y = dem.xy(hollow.spill_row, hollow.spill_column)
    return NaturalHollow(hollow.depth, hollow.area,
                         hollow_curve(heights, hollow.spill_level, dem.cell_area), width,
                         float(sill_x), float(sill_y), cells, outline(pool, dem.transform))


def _pools(terrain: Terrain, rows: slice = slice(None), columns: slice = slice(None)
           ) -> NDArray[np.int32]:
    """Number of the pool that covers each cell of a window when all hollows stand full; 0: none."""
    drainage = terrain.drainage
    bowl = np.maximum(drainage.bowl[rows, columns], 0)
    wet = terrain.ground[rows, columns] < drainage.spill_level[bowl]
    return np.where(wet, drainage.pool[bowl], np.int32(0))


def _pool_of(terrain: Terrain, hollow: Hollow) -> int:
    return int(terrain.drainage.pool[terrain.drainage.bowl[hollow.row, hollow.column]])
