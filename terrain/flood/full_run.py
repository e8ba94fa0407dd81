"""A run that keeps the advection of momentum; all else is as in `run.py`.

Steps are a share of cell / (|u| + |v| + 2 sqrt(g h)), the share that is asked for; waves may come
to be as quick as in both directions at once.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.grid import GRAVITY
from terrain.flood.local_inertia import WALL
from terrain.flood.run import ADDED, LONGEST, FloatArray, Run
from terrain.flood.shallow_water import (
    advance_full,
    fall_and_soak_full,
    scratch_rows,
    survey_full,
)

_advance: Callable[..., int] = advance_full
_survey: Callable[..., tuple[float, float]] = survey_full


class FullRun(Run):
    """One run by the full equations; one step at a time, as waves may quicken."""

    batch = 1

    def _begin(self, depth: FloatArray) -> None:
        grid = self.grid
        h = grid.walled(depth, np.float64)
        self.even = [h, np.zeros(grid.size), np.zeros(grid.size)]
        self.odd = [array.copy() for array in self.even]
        self.wall = (grid.rough > WALL / 2).astype(np.uint8)
        self.bed = np.where(self.wall > 0, 0.0, grid.walled(
            self.ground_level - np.nanmin(self.ground_level), np.float64))
        self.stood = self._volume(h)
        self.deepest = h.copy()
        self.booked = np.zeros(self.edges.cells.size)
        self.tops = np.full((len(self.strips), 2), h.max())
        self.scratch = [scratch_rows(grid.width) for _ in self.strips]
        if self.sources.soaks:
            self.sources.soaked = np.zeros(grid.size)

    def _push(self, east: FloatArray, south: FloatArray) -> None:
        h, qx, qy = self.even
        qx[:], qy[:] = (h * self.grid.walled(speed, np.float64) for speed in (east, south))
        speed = np.where(h > 0, (np.abs(qx) + np.abs(qy)) / np.where(h > 0, h, 1.0), 0.0)
        self.tops[:, 1] = (speed + 2 * np.sqrt(GRAVITY * h)).max()

    def _now(self) -> list[NDArray[Any]]:
        return self.even

    def metres(self, h: NDArray[Any]) -> FloatArray:
        return h

    def whole(self, depth: FloatArray) -> NDArray[Any]:
        return depth

    def _volume(self, h: NDArray[Any]) -> float:
        return float(h.sum())

    def _top(self) -> float:
        return float(self.tops[:, 0].max())

    def _longest(self, top: float) -> float:
        fastest = max(float(self.tops[:, 1].max()), 2 * np.sqrt(GRAVITY * (top + ADDED)))
        found: float = min(self.courant * self.grid.cell / fastest, LONGEST)
        return found

    def _take(self, pool: ThreadPoolExecutor, step: float, count: int, after: float,
              rained: NDArray[np.uint8]) -> None:
        grid, begin, end = self.grid, 0, 2 * count
        done = np.zeros(len(self.strips), np.int64)
        states = (*self.even, *self.odd)

        def work(strip: int) -> None:
            at = begin
            while at < end and not self.halt.is_set():
                at = _advance(*states, self.bed, grid.rough, self.wall,
                              grid.width, grid.rows, grid.cell, GRAVITY, step, at, end, done,
                              *self.strips[strip], strip, len(self.strips), *self._sides(),
                              self.scratch[strip])
                if at < end:
                    time.sleep(0)

        def look(strip: int) -> None:
            self.tops[strip] = _survey(
                *self.even, self.wall, grid.width, *self.strips[strip], after, self.wet, GRAVITY,
                self.deepest, self.fastest, self.strongest, self.arrival)

        self._on_all(pool, work)
        self._on_all(pool, look)

    def _fall(self, strip: int, add: NDArray[np.int32], cap: NDArray[np.int32], hours: float,
              stirred: NDArray[np.uint8]) -> float:
        sources = self.sources
        return fall_and_soak_full(
            self._now()[0], self.grid.width, *self.strips[strip], sources.kinds, add, cap,
            self.grid.unit, hours, sources.suction, sources.conductivity, sources.infiltrated,
            sources.soaked)

    def _fluxes(self) -> tuple[NDArray[Any], NDArray[Any]]:
        return self._now()[1], self._now()[2]
