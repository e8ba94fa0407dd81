"""The spillway beside a wall, as the plan would lay it, for the shortest sill."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import convex_hull, distance, multipoints, points, union_all

from terrain.suggest.look import Look
from terrain.suggest.wall_lines import STEP, Wall

FloatArray = NDArray[np.float64]

#: A spillway is followed no further past its sill, its foot lies within so much of the shortest
#: way, and it is summed over cells of this side. [m]
SPILLWAY, FOOT, DUG_CELL = 40.0, 2.0, 0.7


class Spillway:
    """A spillway beside a wall, for the shortest sill, as `terrain.works.ground_of_bank` lays it.

    Attributes
    ----------
    start : (int, int)
        A cell at its foot, where its water comes out.
    floor : shapely geometry
        Its level floor. [m]
    endless : bool
        The ground past its sill does not fall away.
    """

    def __init__(self, look: Look, wall: Wall, pool: FloatArray, cell: float) -> None:
        dem, rules, made = look.inputs.dem, look.inputs.rules, wall.profile
        self.wall, self.dem = wall, dem
        long = max(rules["sill shortest"], look.asked.sill_at_least or 0.0)
        ends = made.ends(wall.ends)
        past = made.top / 2 + np.linspace(0.0, rules["sill shortest"], 9)
        means = [float(dem.height_at(*(end + past[:, None] * way).T).mean()) for end, way in ends]
        end, way = ends[int(means[1] < means[0] - 1e-3 or np.isnan(means[0]))]
        lip = end + np.array([[made.top / 2], [made.top / 2 + long]]) * way
        clear = pool[~self._in_bank(pool)]
        away = np.hypot(*(clear - lip[0]).T)
        corners = cell / 2 * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
        edge = (clear[away <= away.min() + long / 2][:, None] + corners).reshape(-1, 2)
        foot = self._foot(lip)
        self.floor = union_all(convex_hull([multipoints(np.concatenate([lip, edge])),
                                            multipoints(np.concatenate([lip, foot]))]))
        row, column = (int(i) for i in dem.row_column(*foot.mean(axis=0)))
        self.start = (min(max(row, 0), dem.shape[0] - 1), min(max(column, 0), dem.shape[1] - 1))

    def _foot(self, lip: FloatArray) -> FloatArray:
        """Where the ground past the sill first lies below it. [m]"""
        out = np.arange(0.0, SPILLWAY, STEP)
        starts = lip[0] + np.linspace(0.0, 1.0, 17)[:, None] * (lip[1] - lip[0])
        spots = starts[:, None, :] - out[None, :, None] * self.wall.up
        low = np.nan_to_num(self.dem.height_at(spots[..., 0], spots[..., 1]),
                            nan=-np.inf) <= self.wall.level
        reach = np.where(low.any(axis=1), out[np.argmax(low, axis=1)], SPILLWAY)
        self.endless = not low.any()
        first = reach <= reach.min() + FOOT
        return np.asarray(starts[first] - (reach[first, None] + 0.5) * self.wall.up)

    def _in_bank(self, spots: FloatArray) -> NDArray[np.bool_]:
        """Whether places lie under the bank, its flatter side taken for both."""
        made = self.wall.profile
        place = spots - self.wall.ends[0]
        along, off = place @ self.wall.out, np.abs(place @ self.wall.up)
        first, last = made.stands
        high = np.interp(along, made.stations, made.heights * (1 + made.settlement))
        past = np.maximum(np.maximum(first - along, along - last), 0.0)
        steep = max(made.wet_slope, made.dry_slope)
        return np.asarray(np.hypot(off, past) <= made.top / 2 + steep * high)

    def dug(self) -> tuple[float, float]:
        """Earth that it takes [m3], and ground that it opens [m2]."""
        made = self.wall.profile
        batter = min(made.wet_slope, made.dry_slope)
        west, south, east, north = self.floor.bounds
        ring = np.asarray(self.floor.exterior.coords)
        tall = float(np.nanmax(self.dem.height_at(*ring.T))) - self.wall.level
        beyond = 2 * batter * max(tall, 0.0) + 0.5
        x, y = np.meshgrid(np.arange(west - beyond, east + beyond, DUG_CELL),
                           np.arange(south - beyond, north + beyond, DUG_CELL))
        over = np.nan_to_num(self.dem.height_at(x, y) - self.wall.level)
        aside = np.hypot(np.maximum(np.maximum(west - x, x - east), 0.0),
                         np.maximum(np.maximum(south - y, y - north), 0.0))
        high = (over > 0) & (over - aside / batter > -1e-6)  # the rest is too far from the floor
        spots = np.stack([x[high], y[high]], 1)
        deep = over[high] - distance(self.floor, points(spots)) / batter
        dug = (deep > 0) & ~self._in_bank(spots)
        return float(deep[dug].sum()) * DUG_CELL**2, float(dug.sum()) * DUG_CELL**2
