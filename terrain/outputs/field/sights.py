"""What a level reads from where: lines of sight over the raster's ground, and places to stand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Places tried for the level: about so many, no closer than this. [m]
PLACES, CLOSEST = 450, 4.0
#: They reach so far beyond the stakes. [m]
BEYOND = 20.0
#: A line of sight is looked at in so many places; it clears the ground by this. [m]
SIGHTS, CLEAR = 12, 0.1


@dataclass(frozen=True)
class Marks:
    """What is to be read: places, ground and design levels, each shape (n,). [m]

    `work` tells which belong together, as numbers of any kind.
    """

    x: FloatArray
    y: FloatArray
    ground: FloatArray
    design: FloatArray
    work: NDArray[np.int64] | None = None


@dataclass(frozen=True)
class KnownMark:
    """The benchmark: its place and level, and the reading on it where that is fixed. [m]"""

    x: float
    y: float
    level: float
    reading: float | None = None


class Instrument:
    """What can be read from a place, by the rules."""

    def __init__(self, dem: Dem, staff: float, rules: Rulebook) -> None:
        self.dem = dem
        # The level stands a little higher or lower on the day, and must still read.
        self.most = staff - rules["staff to spare"]
        self.least, self.sight = rules["staff foot to spare"], rules["sight length"]

    def reads(self, x: FloatArray, y: FloatArray, height: FloatArray, marks: Marks,
              nearest: float = 0.0) -> BoolArray:
        """Which marks, no nearer than so many metres, are read from which places; shape (places,
        marks)."""
        # Bars are as tight as a millimetre: the longest reading is still read.
        reading = height[:, None] - marks.design[None, :]
        over = height[:, None] - np.fmax(marks.ground, marks.design)[None, :]
        far = np.hypot(x[:, None] - marks.x, y[:, None] - marks.y)
        good = ((reading <= self.most + 1e-6) & (over >= self.least - 1e-6) & (far <= self.sight)
                & (far >= nearest))
        where = np.nonzero(good)
        good[where] = self.clear(x[where[0]], y[where[0]], marks.x[where[1]], marks.y[where[1]],
                                 height[where[0]])
        return good

    def clear(self, x: FloatArray, y: FloatArray, to_x: FloatArray, to_y: FloatArray,
              height: FloatArray) -> BoolArray:
        """Whether the ground between pairs of places stays below a line of sight."""
        shares = np.linspace(0.0, 1.0, SIGHTS + 2)[1:-1]
        ground = self.dem.height_at(x[:, None] + shares * (to_x - x)[:, None],
                                    y[:, None] + shares * (to_y - y)[:, None])
        return np.asarray((np.nan_to_num(ground, nan=-np.inf)
                           <= height[:, None] - CLEAR).all(axis=1))


def open_ground(dem: Dem, marks: Marks, known: KnownMark,
                disturbed: Callable[[float, float], bool]
                ) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places about the stakes and the benchmark on natural ground that no work changes: east,
    north and ground level, each shape (n,). [m]"""
    every_x, every_y = (np.append(a, b) for a, b in ((marks.x, known.x), (marks.y, known.y)))
    west, east = every_x.min() - BEYOND, every_x.max() + BEYOND
    south, north = every_y.min() - BEYOND, every_y.max() + BEYOND
    step = max(float(np.sqrt((east - west) * (north - south) / PLACES)), CLOSEST)
    x, y = (part.ravel() for part in np.meshgrid(np.arange(west, east, step),
                                                 np.arange(south, north, step)))
    turns = np.arange(0.0, 2 * np.pi, np.pi / 4)
    near: Sequence[float] = (10.0, 30.0)
    x = np.concatenate([x, *(known.x + r * np.cos(turns) for r in near)])
    y = np.concatenate([y, *(known.y + r * np.sin(turns) for r in near)])
    ground = np.asarray(dem.height_at(x, y), np.float64)
    free = np.isfinite(ground) & ~np.array([disturbed(*at) for at in zip(x, y, strict=True)], bool)
    return x[free], y[free], ground[free]
