"""What roads and bare ground shed, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.catchment import Catchment, gather
from terrain.surface.accumulation import accumulate
from terrain.surface.flow_direction import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain


@dataclass(frozen=True)
class ShedPoint:
    """A place where water leaves a road or bare patch for good.

    Attributes
    ----------
    row, column : int
        The cell there that carries most.
    volumes : tuple of float
        Water that leaves there in each storm, from the shed and all ground above it. [m3]
    own_volumes : tuple of float
        The part of it that fell on the shed itself. [m3]
    path : int64, shape (cells, 2)
        The way on, to the first store or off the known ground.
    ends_at : int
        Mark of the store that the path meets; 0 if it meets none.
    """

    row: int
    column: int
    volumes: tuple[float, ...]
    own_volumes: tuple[float, ...]
    path: NDArray[np.int64]
    ends_at: int


@dataclass(frozen=True)
class Shed:
    """A road or a bare patch, the ground that drains to it, and where it lets water go.

    Attributes
    ----------
    name, kind : str
        Kind is "road" or "bare ground".
    area : float
        Its own surface. [m2]
    catchment : Catchment
        All ground that drains onto it, itself included.
    points : tuple of ShedPoint
        Ranked by volume in the last storm, the largest first.
    """

    name: str
    kind: str
    area: float
    catchment: Catchment
    points: tuple[ShedPoint, ...]


def _exits(terrain: Terrain, cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells from which water leaves `cells` and never comes back."""
    rows, columns = np.nonzero(cells)
    out = np.zeros(cells.shape, bool)
    upstream_of = terrain.labels(cells.astype(np.int32)) > 0
    direction = terrain.direction[rows, columns]
    goes = direction < 8
    step = np.where(goes, direction, 0)
    next_row = rows + np.where(goes, ROW_STEP[step], 0)
    next_column = columns + np.where(goes, COLUMN_STEP[step], 0)
    back = upstream_of[next_row, next_column] & goes
    out[rows[~back], columns[~back]] = True
    return out


def shed_of(terrain: Terrain, name: str, kind: str, cells: NDArray[np.bool_],
            curve_number: NDArray[np.float64], runoff: list[NDArray[np.float64]],
            marks: NDArray[np.int32], inside: NDArray[np.bool_], merge: float = 6.0) -> Shed:
    """Find what a road or bare patch sheds.

    Parameters
    ----------
    cells : bool, shape (rows, columns)
        The road or patch.
    curve_number : float64, same shape
    runoff : list of float64, same shape
        Runoff of each cell in each storm. [m3]
    marks : int32, same shape
        Above 0 at the cells of stores.
    inside : bool, same shape
        Cells within the boundary.
    merge : float
        Exits nearer to each other than this count as one point. [m]
    """
    from scipy import ndimage

    upstream = terrain.catchment(cells)
    exits = _exits(terrain, cells)
    around = max(int(merge / terrain.dem.cell / 2), 0)
    wide = ndimage.binary_dilation(exits, np.ones((3, 3)), iterations=around) if around else exits
    group, count = ndimage.label(wide, np.ones((3, 3)))
    group = np.where(exits, group, 0)
    passing = [accumulate(terrain.direction, depth) for depth in runoff]
    own = [accumulate(terrain.direction, np.where(cells, depth, 0.0)) for depth in runoff]
    points = []
    index = np.arange(1, count + 1)
    if count:
        sums = [ndimage.sum_labels(flow, group, index) for flow in passing]
        own_sums = [ndimage.sum_labels(flow, group, index) for flow in own]
        at = ndimage.maximum_position(terrain.contributing_area, group, index)
        for i, (row, column) in enumerate(at):
            path = terrain.path(int(row), int(column), marks > 0)
            end = path[-1]
            points.append(ShedPoint(int(row), int(column), tuple(float(s[i]) for s in sums),
                                    tuple(float(s[i]) for s in own_sums), path,
                                    int(marks[end[0], end[1]])))
    points.sort(key=lambda p: (-p.volumes[-1], p.row, p.column))
    return Shed(name, kind, float(cells.sum() * terrain.dem.cell_area),
                gather(curve_number, upstream, terrain.dem.cell_area, inside,
                       float(terrain.path_length[cells].max(initial=0.0)),
                       terrain.mean_slope(upstream), terrain.touches_edge(upstream)),
                tuple(points))


def bare_patches(cover: NDArray[np.int16], names: list[str], bare: set[str], cell_area: float,
                 least_area: float = 25.0) -> list[NDArray[np.bool_]]:
    """Connected patches of bare ground of at least `least_area` m2, the largest first."""
    from scipy import ndimage

    which = [index for index, name in enumerate(names) if name in bare]
    label, count = ndimage.label(np.isin(cover, which), np.ones((3, 3)))
    sizes = np.bincount(label.ravel(), minlength=count + 1)[1:] * cell_area
    order = sorted(range(count), key=lambda i: -sizes[i])
    return [label == i + 1 for i in order if sizes[i] >= least_area]
