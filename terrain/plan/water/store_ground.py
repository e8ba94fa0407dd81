"""Whose water each cell's is: the cells of each store, and the ground gathered about it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.site import Site
from terrain.plan.earth.shared_ground import SLIVER, overlap
from terrain.plan.siting.hydrology import Hydrology
from terrain.plan.siting.layout import Placed
from terrain.runoff.catchment import Catchment, on_ground, with_water
from terrain.runoff.flow_way import mean_rational_c, reaches_of, timed
from terrain.runoff.ground import Ground
from terrain.runoff.loss_on_the_way import RunOn
from terrain.runoff.travel_time import Reach
from terrain.surface.accumulation import accumulate, longest_upslope_path
from terrain.surface.flow_paths import longest_path_to
from terrain.surface.neighbours import LEAVES
from terrain.surface.terrain import Cells, Terrain, picked
from terrain.units import in_both


@dataclass(frozen=True)
class StoreGround:
    """The ground of all stores.

    Attributes
    ----------
    labels : int32, shape (rows, columns)
        Index + 1 of the store each cell's water meets first; 0 for none, and on dry cells.
    catchments : list of Catchment
        Of each store, with the rain on its own water.
    ways : list of float64, shape (points, 2)
        The longest way of each one's water, from the divide down. [m]
    open_ground : Catchment
        Ground within the boundary, and what drains onto it, that meets no store.
    """

    labels: NDArray[np.int32]
    catchments: list[Catchment]
    ways: list[NDArray[np.float64]]
    open_ground: Catchment


def mark_cells(site: Site, terrain: Terrain, placed: list[Placed], notes: list[str],
               overlaps: dict[int, list[int]]) -> NDArray[np.int32]:
    """Index + 1 of the work that takes each cell, the first placed where several would.

    Parameters
    ----------
    notes, overlaps
        Works that share ground are added to them.

    Raises
    ------
    InputError
        If a work has no cell to itself.
    """
    marks = np.zeros(terrain.dem.shape, np.int32)
    for index, place in enumerate(placed):
        if not len(place.cells):
            continue
        rows, columns = place.cells[:, 0], place.cells[:, 1]
        taken = marks[rows, columns]
        if (taken > 0).all():
            other = placed[int(taken[0]) - 1]
            where = site.where_work(place.work.name)
            if overlap(place, other) > SLIVER:
                raise InputError(where, f"\"{place.name}\" lies wholly on \"{other.name}\"",
                                 "Move one of the two")
            raise InputError(where, f"\"{place.name}\" has no cell of the raster to itself: "
                             f"\"{other.name}\" takes them all",
                             "Move the two apart, or use a raster of finer cells")
        for first in sorted(set((taken[taken > 0] - 1).tolist())):
            shared = overlap(place, placed[first])
            if shared <= SLIVER:  # they stand clear and share a cell
                continue
            notes.append(f"\"{place.name}\" and \"{placed[first].name}\" overlap by "
                         f"{in_both(shared, 'area')}; the shared ground was counted to "
                         f"\"{placed[first].name}\".")
            overlaps.setdefault(index, []).append(first)
            overlaps.setdefault(first, []).append(index)
        marks[rows[taken == 0], columns[taken == 0]] = index + 1
    return marks


def ground_of_stores(terrain: Terrain, ground: Ground, marks: NDArray[np.int32],
                     dry: NDArray[np.bool_], placed: list[Placed], how: Hydrology) -> StoreGround:
    """Gather the ground about and under every store.

    Parameters
    ----------
    marks : int32, shape (rows, columns)
        As `mark_cells` gives them.
    dry : bool, same shape
        Cells whose rain does not reach the ground.
    """
    dem = terrain.dem
    meets = terrain.labels(marks)
    labels = np.where(dry, 0, meets)
    rest = (labels == 0) & terrain.drains_to(ground.inside) & ~dry
    parts = _parts(labels, len(placed))
    marked = [picked(marks, cells) > 0 for cells in parts]

    def gathered(cells: Cells) -> Catchment:
        return ground.numbered.gather(cells, dem.cell_area, ground.inside, how.rule)

    ways, lengths, reaches = _longest_ways(terrain, ground, marks, meets, placed, how)
    grounds = []
    for cells, own, length, pieces in zip(parts, marked, lengths, reaches, strict=True):
        about = cells[~own]
        around = on_ground(gathered(about), terrain, cells, length)
        coefficient = mean_rational_c(ground.cover, ground.classes, ground.soil, about,
                                      around.slope)
        grounds.append(replace(timed(around, pieces, how.timing, how.peak_factor),
                               rational_c=coefficient))
    grounds.append(gathered(rest))
    if how.loss_on_the_way:
        owner = np.where(marks > 0, -1, np.where(rest | dry, len(placed), labels - 1))
        grounds = _delivered(RunOn(
            terrain.direction, np.where(dry, np.nan, ground.curve_number), owner.astype(np.int32),
            len(grounds), ground.inside, dem.cell_area, how.rule), grounds)
    water = [0.0 if place.kind == "tank" else float(place.curve.areas[-1]) for place in placed]
    catchments = [with_water(around, gathered(cells[own]), size) for around, cells, own, size in
                  zip(grounds[:-1], parts, marked, water, strict=True)]
    return StoreGround(labels, catchments, ways, grounds[-1])


def _parts(labels: NDArray[np.int32], count: int) -> list[NDArray[np.int64]]:
    """The cells of each label from 1 to `count`, in the raster's order."""
    cells = np.flatnonzero(labels)
    which = picked(labels, cells).astype(np.min_scalar_type(count))  # small ones sort the quickest
    cuts = np.cumsum(np.bincount(which, minlength=count + 1))[:-1]
    return np.split(cells[np.argsort(which, kind="stable")], cuts)[1:]


def _longest_ways(terrain: Terrain, ground: Ground, marks: NDArray[np.int32],
                  meets: NDArray[np.int32], placed: list[Placed], how: Hydrology
                  ) -> tuple[list[NDArray[np.float64]], list[float], list[tuple[Reach, ...]]]:
    """The longest way of water to each store, its length [m] and its pieces."""
    dem = terrain.dem
    # A way to a store starts below the stores above it; where water meets none, none is sought.
    stopped = np.where((marks > 0) | (meets == 0), LEAVES, terrain.direction).astype(np.uint8)
    with ThreadPoolExecutor(1) as aside:  # both free the lock for most of their time
        gathers = aside.submit(accumulate, stopped)
        length = longest_upslope_path(stopped, dem.cell)
        area = gathers.result() * dem.cell_area
    ways: list[NDArray[np.float64]] = []
    lengths: list[float] = []
    reaches: list[tuple[Reach, ...]] = []
    for index, place in enumerate(placed):
        own = place.cells[marks[place.cells[:, 0], place.cells[:, 1]] == index + 1]
        if not len(own):
            ways.append(np.zeros((0, 2)))
            lengths.append(0.0)
            reaches.append(())
            continue
        foot = own[int(np.argmax(length[own[:, 0], own[:, 1]]))]
        path = longest_path_to(stopped, length, dem.cell, int(foot[0]), int(foot[1]))
        ways.append(np.stack(dem.xy(path[:, 0], path[:, 1]), 1))
        lengths.append(float(length[foot[0], foot[1]]))
        reaches.append(reaches_of(terrain, path, area, ground.cover, ground.classes, how.timing))
    return ways, lengths, reaches


def _delivered(run_on: RunOn, grounds: list[Catchment]) -> list[Catchment]:
    """Each piece of ground with what arrives of its runoff where some is lost on the way."""
    def made(depth: float) -> NDArray[np.float64]:
        return np.array([ground.runoff(depth) for ground in grounds])

    def made_beyond(depth: float) -> NDArray[np.float64]:
        return np.array([ground.run_on(depth) for ground in grounds])

    return [replace(ground, delivery=delivery) for ground, delivery in
            zip(grounds, run_on.deliveries(made, made_beyond), strict=True)]
