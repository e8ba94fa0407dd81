"""What roads and bare ground shed, and where."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.catchment import Catchment, gather, on_ground
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
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
    exits : int64, shape (cells, 2)
        All cells by which its water leaves.
    """

    row: int
    column: int
    volumes: tuple[float, ...]
    own_volumes: tuple[float, ...]
    path: NDArray[np.int64]
    ends_at: int
    exits: NDArray[np.int64]


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


def _exits(terrain: Terrain, cells: NDArray[np.bool_], upstream: NDArray[np.bool_]
           ) -> NDArray[np.int64]:
    """Cells from which water leaves `cells` and never comes back; `upstream` drains to them."""
    rows, columns = np.nonzero(cells)
    direction = terrain.direction[rows, columns]
    goes = direction < 8
    step = np.where(goes, direction, 0)
    next_row = rows + np.where(goes, ROW_STEP[step], 0)
    next_column = columns + np.where(goes, COLUMN_STEP[step], 0)
    back = upstream[next_row, next_column] & goes
    return np.stack([rows[~back], columns[~back]], 1)


def _points(terrain: Terrain, exits: NDArray[np.int64], carried: NDArray[np.float64],
            merge: float) -> list[NDArray[np.int64]]:
    """Exits taken together: each large one with the smaller ones within `merge` m of it."""
    from scipy.spatial import KDTree

    x, y = terrain.dem.xy(exits[:, 0], exits[:, 1])
    tree = KDTree(np.stack([x, y], 1))
    taken = np.zeros(len(exits), bool)
    groups = []
    for i in np.lexsort((exits[:, 1], exits[:, 0], -carried)):
        if not taken[i]:
            near = np.array(sorted(tree.query_ball_point(tree.data[i], merge)))
            group = near[~taken[near]]
            taken[group] = True
            groups.append(np.concatenate([[i], group[group != i]]))
    return groups


def _own(terrain: Terrain, cells: NDArray[np.bool_], exits: NDArray[np.int64],
         runoff: list[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """What fell on the shed itself and leaves by each exit, in each storm. [m3]"""
    marks = np.zeros(cells.shape, np.int32)
    marks[exits[:, 0], exits[:, 1]] = np.arange(1, len(exits) + 1)
    leaves_by = terrain.labels(marks)[cells]
    return [np.bincount(leaves_by, weights=np.nan_to_num(made[cells]),
                        minlength=len(exits) + 1)[1:].astype(np.float64) for made in runoff]


def shed_of(terrain: Terrain, name: str, kind: str, cells: NDArray[np.bool_],
            curve_number: NDArray[np.float64], runoff: list[NDArray[np.float64]],
            passing: list[NDArray[np.float64]], marks: NDArray[np.int32],
            inside: NDArray[np.bool_], merge: float = 10.0) -> Shed:
    """Find what a road or bare patch sheds.

    Parameters
    ----------
    cells : bool, shape (rows, columns)
        The road or patch.
    curve_number : float64, same shape
    runoff : list of float64, same shape
        Runoff of each cell in each storm. [m3]
    passing : list of float64, same shape
        The same gathered down the slope, by `accumulate`. [m3]
    marks : int32, same shape
        Above 0 at the cells of stores.
    inside : bool, same shape
        Cells within the boundary.
    merge : float
        An exit takes in the smaller ones that lie no further from it than this. [m]
    """
    upstream = terrain.catchment(cells)
    exits = _exits(terrain, cells, upstream)
    own = _own(terrain, cells, exits, runoff)
    points = []
    for group in _points(terrain, exits, passing[-1][exits[:, 0], exits[:, 1]], merge):
        rows, columns = exits[group].T
        row, column = int(rows[0]), int(columns[0])
        path = terrain.path(row, column, marks > 0)
        points.append(ShedPoint(
            row, column, tuple(float(flow[rows, columns].sum()) for flow in passing),
            tuple(float(flow[group].sum()) for flow in own), path,
            int(marks[path[-1][0], path[-1][1]]), exits[group]))
    points.sort(key=lambda p: (-p.volumes[-1], p.row, p.column))
    return Shed(name, kind, float(cells.sum() * terrain.dem.cell_area),
                on_ground(gather(curve_number, upstream, terrain.dem.cell_area, inside), terrain,
                          upstream, float(terrain.path_length[cells].max(initial=0.0))),
                tuple(points))


def bare_patches(cover: NDArray[np.int16], names: list[str], bare: set[str], cell_area: float,
                 least_area: float = 25.0) -> Iterator[NDArray[np.bool_]]:
    """Connected patches of bare ground of at least `least_area` m2, the largest first.

    One at a time, for each is as large as the raster.
    """
    from scipy import ndimage

    which = [index for index, name in enumerate(names) if name in bare]
    label, count = ndimage.label(np.isin(cover, which), np.ones((3, 3)))
    sizes = np.bincount(label.ravel(), minlength=count + 1)[1:] * cell_area
    order = sorted(range(count), key=lambda i: -sizes[i])
    return (label == i + 1 for i in order if sizes[i] >= least_area)
