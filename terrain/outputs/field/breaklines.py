"""Lines at which the designed ground bends, as far as it has their level.

A work draws its edges whole; where another part of the work, or natural ground beyond it, was
shaped away from an edge, a line left in the air would be followed by whoever builds from it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.outputs.field.field_lines import FieldLine
from terrain.outputs.field.setting_out import SettingOut
from terrain.works.designed_ground import Grid

FloatArray = NDArray[np.float64]

#: A line is held against the ground this often. [m]
STEP = 0.2
#: It is left out where it lies further above or below all cells about it. [m]
OFF = 0.05
#: Pieces shorter than this are left out. [m]
SHORTEST = 0.3


def breaklines_of(field: SettingOut) -> list[FieldLine]:
    """Lines at which the designed ground bends, cut to where it has their level."""
    plan, grid, level = field.plan, field.grid, field.level
    if plan.designed is None or grid is None or level is None:
        return []
    return [FieldLine(shape.work, line.name, piece) for shape in plan.designed.shapes
            for line in shape.breaklines
            if len(line.points) > 1 and np.isfinite(line.points).all()
            for piece in _lying(line.points, grid, level, plan.inputs.dem)]


def _lying(points: FloatArray, grid: Grid, level: FloatArray, dem: Dem) -> list[FloatArray]:
    """The pieces of a line that lie on the ground, its own bends kept."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    whole = float(along[-1])
    if whole < SHORTEST:
        return []
    at = np.unique(np.concatenate([along, np.linspace(0.0, whole, int(whole / STEP) + 2)]))
    lies = _lies(np.column_stack([np.interp(at, along, part) for part in points.T]), grid, level,
                 dem)
    if lies.all():
        return [points]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], lies, [False]]).astype(int)))
    pieces = []
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        start, end = at[first], at[last]
        if end - start >= SHORTEST:
            own = along[(along > start) & (along < end)]
            places = np.concatenate([[start], own, [end]])
            pieces.append(np.column_stack([np.interp(places, along, part) for part in points.T]))
    return pieces


def _lies(points: FloatArray, grid: Grid, level: FloatArray, dem: Dem) -> NDArray[np.bool_]:
    """Whether each point lies between the lowest and the highest cell about it."""
    row = np.floor((grid.top - points[:, 1]) / grid.cell).astype(int)
    column = np.floor((points[:, 0] - grid.left) / grid.cell).astype(int)
    low, high = np.full(len(points), np.inf), np.full(len(points), -np.inf)
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            i, j = row + down, column + across
            inside = (i >= 0) & (i < grid.rows) & (j >= 0) & (j < grid.columns)
            held = level[np.clip(i, 0, grid.rows - 1), np.clip(j, 0, grid.columns - 1)]
            natural = dem.height_at(grid.left + (j + 0.5) * grid.cell,
                                    grid.top - (i + 0.5) * grid.cell)
            found = np.where(inside & np.isfinite(held), held, natural)
            low, high = np.fmin(low, found), np.fmax(high, found)
    return np.asarray((points[:, 2] >= low - OFF) & (points[:, 2] <= high + OFF))
