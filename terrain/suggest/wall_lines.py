"""Straight walls across a place, on the ground along lines over it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from terrain.suggest.look import Look
from terrain.suggest.valleys import Place
from terrain.works.wall import sill_below
from terrain.works.wall_profile import WallProfile, wall_profile

FloatArray = NDArray[np.float64]

#: Walls are turned so far about square to it, the shortest is taken. [deg]
TURNS = (0.0, -15.0, 15.0, -30.0, 30.0)
#: Less water at a wall is not worth a bank; common practice, no source. [m]
SHALLOWEST = 0.2
#: No wall is longer; common practice, no source. [m]
LONGEST = 60.0
#: A wall's ends stand in ground that is so much higher than its crest. [m]
TIED_IN = 0.05
#: Its ground is read every so far. [m]
STEP = 0.25


@dataclass(frozen=True)
class Wall:
    """A wall at a place.

    Attributes
    ----------
    ends : float64, shape (2, 2)
        [m]
    out, up : float64, shape (2,)
        Unit vectors from the first end to the last, and square to that where water comes from.
    level, depth : float
        Of its sill; of the water against it. [m]
    profile : WallProfile
    """

    place: Place
    ends: FloatArray
    out: FloatArray
    up: FloatArray
    level: float
    depth: float
    profile: WallProfile

    @cached_property
    def reaches(self) -> tuple[FloatArray, FloatArray]:
        """How far its wet and its dry foot lie off its line, as built, at each station. [m]"""
        made = self.profile
        high = made.heights * (1 + made.settlement)
        wet, dry = (np.where(high > 0, made.top / 2 + slope * high, 0.0)
                    for slope in (made.wet_slope, made.dry_slope))
        return wet, dry

    @cached_property
    def fill(self) -> float:
        """Of its bank, compacted. [m3]"""
        return self.profile.fill

    @cached_property
    def spots(self) -> FloatArray:
        """Places all over the ground under it, shape (n, 2). [m]"""
        wet, dry = (reach[::2] for reach in self.reaches)
        off = -dry + np.linspace(0.0, 1.0, 9)[:, None] * (wet + dry)
        on = self.ends[0] + self.profile.stations[::2, None] * self.out
        return np.asarray((on + off[..., None] * self.up).reshape(-1, 2))

    @cached_property
    def bank(self) -> Any:
        """Ground under it from foot to foot. [m]"""
        wet, dry = self.reaches
        on = self.ends[0] + self.profile.stations[:, None] * self.out
        return Polygon(np.concatenate([on + wet[:, None] * self.up,
                                       (on - dry[:, None] * self.up)[::-1]])).buffer(0)


class Lines:
    """The ground along lines across a place."""

    def __init__(self, look: Look, place: Place) -> None:
        self.look, self.place = look, place
        self.middle = int(LONGEST / STEP)
        self.along: FloatArray = np.arange(-self.middle, self.middle + 1, dtype=np.float64) * STEP
        turns = np.radians(TURNS)
        x, y = place.up
        self.ups = np.stack([x * np.cos(turns) - y * np.sin(turns),
                             x * np.sin(turns) + y * np.cos(turns)], 1)
        self.outs = np.stack([self.ups[:, 1], -self.ups[:, 0]], 1)
        spots = place.at + self.along[None, :, None] * self.outs[:, None, :]
        self.ground = look.inputs.dem.height_at(spots[..., 0], spots[..., 1])

    def wall(self, depth: float) -> Wall | None:
        """The shortest wall that has water of a depth against it, and room; None if none. [m]"""
        found = [(self._span(i, depth), i) for i in range(len(self.outs))]
        spans = sorted((span[1] - span[0], i, span) for span, i in found if span is not None)
        for _, i, span in spans:
            wall = self._made(i, *span, depth)
            if wall is not None and _has_room(self.look, wall):
                return wall
        return None

    def _span(self, i: int, depth: float) -> tuple[float, float, float] | None:
        """Where a wall begins and ends along a line, and its crest. [m]"""
        rules, ground = self.look.inputs.rules, self.ground[i]
        over = depth - sill_below(0.0, rules)
        low = float(ground[self.middle])
        for _ in range(4):
            crest = round(low + over, 2)
            stop = ~(ground < crest + TIED_IN)  # unknown ground stops it too
            ends = np.flatnonzero(stop[:self.middle]), np.flatnonzero(stop[self.middle + 1:])
            if not ends[0].size or not ends[1].size:
                return None
            first, last = int(ends[0][-1]), int(ends[1][0]) + self.middle + 1
            if (last - first) * STEP > LONGEST or not np.isfinite(ground[[first, last]]).all():
                return None
            lowest = float(ground[first:last + 1].min())
            if lowest > low - 1e-3:
                return float(self.along[first]), float(self.along[last]), crest
            low = lowest
        return None

    def _made(self, i: int, start: float, end: float, crest: float, depth: float) -> Wall | None:
        rules = self.look.inputs.rules
        first = self.middle + round(start / STEP)
        last = self.middle + round(end / STEP)
        ground = self.ground[i, first:last + 1]
        level = round(sill_below(crest, rules), 4)
        deep = level - float(ground.min())
        if deep < SHALLOWEST:
            return None
        profile = wall_profile(self.along[first:last + 1] - start, ground, crest, rules)
        ends = self.place.at + np.array([[start], [end]]) * self.outs[i]
        return Wall(self.place, ends, self.outs[i], self.ups[i], level, deep, profile)


def _has_room(look: Look, wall: Wall) -> bool:
    """Whether earth may be moved in places all over a bank; not at every cell."""
    dem, room = look.inputs.dem, look.room
    row, column = dem.row_column(*wall.spots.T)
    rows, columns = dem.shape
    if row.min() < 0 or column.min() < 0 or row.max() >= rows or column.max() >= columns:
        return False
    return bool((room[row, column] > 0).all())
