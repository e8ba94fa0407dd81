"""The ground as the flow kernels want it: walled, flat, in whole units; its edges and gates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.flood.local_inertia import PIECE, WALL

#: A place or many, in rows or columns.
Index = TypeVar("Index", int, NDArray[np.int64])
#: [m/s2]
GRAVITY = 9.80665
#: Depth that the unit leaves room for at least. [m]
DEEPEST = 16.0
SIDES = ("north", "west", "south", "east")
EDGES = ("closed", "normal", "critical")
HOLES = ("walls", "sinks")
#: Step in rows and columns from a cell over each side.
OVER = {"north": (-1, 0), "west": (0, -1), "south": (1, 0), "east": (0, 1)}

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Edges:
    """Sides of cells over which water leaves: q = factor h^power. Sorted by row.

    Attributes
    ----------
    starts : int64, shape (rows + 3,)
        First one of each walled row, and one past the last.
    cells : int64, shape (n,)
    factors, powers : float64, shape (n,)
    into_hole : bool, shape (n,)
        Into a cell without ground rather than off the grid.
    """

    starts: NDArray[np.int64]
    cells: NDArray[np.int64]
    factors: FloatArray
    powers: FloatArray
    into_hole: NDArray[np.bool_]


@dataclass(frozen=True)
class Gates:
    """Faces whose flux is summed, sorted by row: a west side at its cell, a north side below 0.

    `gates` tells whose each is: lines come first, then rims, in the order of `names`.
    """

    names: tuple[str, ...]
    rims: tuple[str, ...]
    starts: NDArray[np.int64]
    faces: NDArray[np.int64]
    signs: FloatArray
    gates: NDArray[np.int64]


@dataclass(frozen=True)
class Grid:
    """Ground, walled.

    Attributes
    ----------
    rows, columns, width : int
        Of the ground; `width` is two columns more.
    cell, unit : float
        [m]
    ground : bool, shape (rows, columns)
        Where there is any.
    bed : int32, shape (walled cells,)
        In units, wrapped where they are too many: only differences count.
    rough : float32, shape (walled cells,)
        n sqrt(g) / 2; below 0 where water is calm.
    calm : bool
        Whether it is anywhere.
    """

    rows: int
    columns: int
    cell: float
    unit: float
    ground: NDArray[np.bool_]
    bed: NDArray[np.int32]
    rough: NDArray[np.float32]
    calm: bool = False

    @property
    def width(self) -> int:
        return self.columns + 2

    @property
    def size(self) -> int:
        """Of a walled array, with a row to spare for the sides below the last one."""
        return self.width * (self.rows + 3) + 1

    @property
    def pieces(self) -> tuple[int, int]:
        """Rows, and pieces of each, that are worked or passed over as one."""
        return self.rows, -(-self.columns // PIECE)

    def walled(self, values: ArrayLike, kind: type, wall: float = 0) -> NDArray[Any]:
        """Values of the ground in a flat array with walls round them."""
        made: NDArray[Any] = np.full(self.size, wall, kind)
        self.inside(made)[...] = np.where(self.ground, values, wall)
        return made

    def inside(self, walled: NDArray[Any]) -> NDArray[Any]:
        """The ground's part of a walled array, as a view of shape (rows, columns)."""
        shaped = walled[:self.width * (self.rows + 2)].reshape(self.rows + 2, self.width)
        return shaped[1:-1, 1:-1]

    def with_calm(self, calm: NDArray[np.bool_]) -> Grid:
        """The same with calm water in some cells."""
        rough = self.rough.copy()
        part = self.inside(rough)
        part[calm & self.ground] *= -1
        return replace(self, rough=rough, calm=True)

    def flat(self, row: Index, column: Index) -> Index:
        """Place of a cell in walled arrays."""
        return (row + 1) * self.width + column + 1


def lay_grid(bed: ArrayLike, cell: float, roughness: ArrayLike, depth: ArrayLike,
             deepest: float | None) -> Grid:
    """Check the ground and wall it.  Raises ValueError as `flow_storm` says."""
    heights = np.asarray(bed, np.float64)
    if heights.ndim != 2 or not heights.size:
        raise ValueError(f"the bed has the shape {heights.shape}; rows and columns are wanted")
    if not (cell > 0 and np.isfinite(cell)):
        raise ValueError(f"a cell of {cell:g} m is not above 0")
    ground = ~np.isnan(heights)
    if not ground.any():
        raise ValueError("there is no ground: every height is unknown")
    if not np.isfinite(heights[ground]).all():
        raise ValueError("the bed has an endless height")
    n = per_cell(roughness, heights.shape, "roughness")
    wrong = ground & ~((n >= 0) & (n < 1e6))
    if wrong.any():
        row, column = np.argwhere(wrong)[0]
        raise ValueError(f"roughness {n[row, column]:g} at row {row}, column {column} is not a "
                         "Manning's n of 0 or more")
    filled = heights if ground.all() else _nearest(heights, ground)
    steps = [np.abs(np.diff(filled, axis=axis)).max(initial=0.0) for axis in (0, 1)]
    standing = float(np.max(np.where(ground, depth, 0.0)))
    wanted = max(2 * standing, DEEPEST) if deepest is None else float(deepest)
    if not wanted > standing:
        raise ValueError(f"the deepest water, {wanted:g} m, is not above what stands at the "
                         f"start, {standing:g} m")
    exponent = min(29 - np.ceil(np.log2(wanted)), 30 - np.ceil(np.log2(wanted + max(steps))))
    unit = float(2.0 ** -exponent)
    counts = np.rint((filled - filled.min()) / unit).astype(np.int64).astype(np.int32)
    rows, columns = heights.shape
    grid = Grid(rows, columns, float(cell), unit, ground, np.empty(0, np.int32),
                np.empty(0, np.float32))
    walled = np.zeros(grid.size, np.int32)
    walled[:(grid.rows + 2) * grid.width] = np.pad(counts, 1, "edge").reshape(-1)
    return Grid(rows, columns, float(cell), unit, ground, walled,
                grid.walled(n * np.sqrt(GRAVITY) / 2, np.float32, WALL))


def _nearest(heights: FloatArray, ground: NDArray[np.bool_]) -> FloatArray:
    """Heights with those of the nearest ground where there is none, so that no step is greater
    than it need be."""
    from scipy import ndimage

    where = ndimage.distance_transform_edt(~ground, return_distances=False, return_indices=True)
    return np.asarray(heights[tuple(where)])


def per_cell(values: ArrayLike, shape: tuple[int, ...], name: str) -> FloatArray:
    """Values for each cell, from as many or from one; raises ValueError where shapes differ."""
    found = np.asarray(values, np.float64)
    if found.shape not in (shape, ()):
        raise ValueError(f"{name} has the shape {found.shape}, the bed {shape}")
    return np.broadcast_to(found, shape)


def lay_edges(grid: Grid, bed: ArrayLike, roughness: ArrayLike, edges: str | Mapping[str, str],
              holes: str) -> Edges:
    """Sides over which water leaves the ground.

    Normal outflow is steady flow down the slope of the bed between the cell and the one
    before it, where that falls outwards; critical outflow is q = h sqrt(g h).
    """
    kinds = dict.fromkeys(SIDES, edges) if isinstance(edges, str) else {
        **dict.fromkeys(SIDES, "closed"), **edges}
    for side, kind in kinds.items():
        if side not in SIDES or kind not in EDGES:
            raise ValueError(f"edge '{side}: {kind}': sides are {', '.join(SIDES)}, edges "
                             f"{', '.join(EDGES)}")
    if holes not in HOLES:
        raise ValueError(f"holes '{holes}' are not one of {', '.join(HOLES)}")
    heights, shape = np.asarray(bed, np.float64), (grid.rows, grid.columns)
    n = per_cell(roughness, shape, "roughness")
    around = np.pad(grid.ground, 1)
    found: list[tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]] = []
    index = np.arange(grid.rows)[:, None], np.arange(grid.columns)[None, :]
    for side, (down, right) in OVER.items():
        outside = ((index[0] + down < 0) | (index[0] + down >= grid.rows)
                   | (index[1] + right < 0) | (index[1] + right >= grid.columns))
        beyond = around[1 + down:1 + down + grid.rows, 1 + right:1 + right + grid.columns]
        if holes == "sinks":
            r, c = np.nonzero(grid.ground & ~beyond & ~outside)
            found.append((grid.flat(r, c), np.full(r.size, np.sqrt(GRAVITY)),
                          np.full(r.size, 1.5), np.ones(r.size, bool)))
        if kinds[side] == "closed":
            continue
        r, c = np.nonzero(grid.ground & outside)
        factor, power = np.full(r.size, np.sqrt(GRAVITY)), np.full(r.size, 1.5)
        if kinds[side] == "normal":
            back_r, back_c = r - down, c - right
            within = (back_r >= 0) & (back_r < grid.rows) & (back_c >= 0) & (back_c < grid.columns)
            before = np.where(within, heights[np.where(within, back_r, 0),
                                              np.where(within, back_c, 0)], np.nan)
            fall = np.nan_to_num((before - heights[r, c]) / grid.cell)
            smooth = n[r, c] == 0
            factor = np.where(smooth, factor,
                              np.sqrt(np.maximum(fall, 0)) / np.where(smooth, 1.0, n[r, c]))
            power = np.where(smooth, power, 5 / 3)
            factor = np.where(fall > 0, factor, 0.0)
        open_ = factor > 0
        found.append((grid.flat(r, c)[open_], factor[open_], power[open_],
                      np.zeros(int(open_.sum()), bool)))
    cells, factors, powers, hole = (
        (np.concatenate(part) for part in zip(*found, strict=True)) if found else
        (np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0, bool)))
    order = np.argsort(cells, kind="stable")
    cells = cells[order].astype(np.int64)
    return Edges(_starts(cells // grid.width, grid.rows), cells, factors[order], powers[order],
                 hole[order])


def lay_gates(grid: Grid, gates: Mapping[str, Iterable[tuple[int, int]]],
              rims: Mapping[str, tuple[NDArray[np.bool_], NDArray[np.bool_]]]) -> Gates:
    """Faces along lines of corners of cells, and between cells of two kinds; see `flow_storm`."""
    faces: list[int] = []
    signs: list[int] = []
    whose: list[int] = []
    for number, (name, line) in enumerate(gates.items()):
        corners = [(int(row), int(column)) for row, column in line]
        before = len(faces)
        for (row, column), (to_row, to_column) in pairwise(corners):
            while (row, column) != (to_row, to_column):
                down, right = to_row - row, to_column - column
                if abs(right) >= abs(down):
                    part = 1 if right > 0 else -1
                    at, ahead = column + min(part, 0), column + part
                    _refuse_gate(name, 0 < row < grid.rows and 0 <= at < grid.columns)
                    faces.append(-grid.flat(row, at))
                    signs.append(part)
                    column = ahead
                else:
                    part = 1 if down > 0 else -1
                    at, ahead = row + min(part, 0), row + part
                    _refuse_gate(name, 0 < column < grid.columns and 0 <= at < grid.rows)
                    faces.append(grid.flat(at, column))
                    signs.append(-part)
                    row = ahead
                whose.append(number)
        if len(faces) == before:
            raise ValueError(f"gate '{name}' has no length: two corners of cells are wanted")
    for number, (name, (inner, outer)) in enumerate(rims.items(), start=len(gates)):
        for mask in (inner, outer):
            if np.shape(mask) != grid.ground.shape:
                raise ValueError(f"rim '{name}' has the shape {np.shape(mask)}, the bed "
                                 f"{grid.ground.shape}")
        before = len(faces)
        within = inner & ~outer
        for down, right, sign in ((0, 1, 1), (1, 0, -1)):
            first = np.s_[:grid.rows - down, :grid.columns - right]
            second = np.s_[down:, right:]
            for own, other, out in ((first, second, 1), (second, first, -1)):
                down_at, right_at = np.nonzero(within[own] & outer[other])
                faces += (sign * grid.flat(down_at + down, right_at + right)).tolist()
                signs += [out] * down_at.size
                whose += [number] * down_at.size
        if len(faces) == before:
            raise ValueError(f"rim '{name}' has no length: its two sides do not meet")
    face = np.array(faces, np.int64)
    order = np.argsort(abs(face), kind="stable")
    return Gates(tuple(gates), tuple(rims), _starts(abs(face[order]) // grid.width, grid.rows),
                 face[order], np.array(signs, np.float64)[order], np.array(whose, np.int64)[order])


def _refuse_gate(name: str, fits: bool) -> None:
    if not fits:
        raise ValueError(f"gate '{name}' does not run between cells of the grid")


def _starts(rows: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    return np.searchsorted(rows, np.arange(count + 3)).astype(np.int64)
