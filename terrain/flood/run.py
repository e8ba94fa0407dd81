"""A run of the flow: steps as long as the water allows, on all threads, and its books."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.grid import GRAVITY, Edges, Gates, Grid
from terrain.flood.local_inertia import JUST_MOVED, MOVED, STIRRED, advance, survey
from terrain.flood.moves import Moves
from terrain.flood.sources import Sources, fall_and_soak
from terrain.flood.storm_flow import Flow, Foreseen, GateRecord, RimRecord, WaterAccount
from terrain.surface.kernels import cores

FloatArray = NDArray[np.float64]
_advance: Callable[..., int] = advance
_survey: Callable[..., None] = survey
#: Steps between two looks at the water.
BATCH = 16
#: Time between two givings of rain, and while transfers or feeds bring water; or one step where
#: that is longer. [s]
RAIN_EVERY, MOVE_EVERY = 5.0, 2.0
#: Cells that are worth a thread.
LEAST_STRIP = 20_000
#: Rows of a strip at least: it reads three beyond its own, and waits for its neighbours alone.
LEAST_ROWS = 3
#: Growth of the deepest water within a batch that a step leaves room for.
GROWTH, ADDED = 1.1, 0.002
#: Where calm water is deeper it conveys as if it were this deep, or as deep as the deepest
#: elsewhere. [m]
LEAST_CALM = 0.02
#: A step below this cannot be meant. [s]
SHORTEST = 1e-5
#: And none is longer. [s]
LONGEST = 600.0
#: Time of work between two calls of `progress`, and before `foresee`. [s]
TELL_EVERY, FORESEE_AFTER = 0.2, 1.0
#: What an account may be off, as a share of what came.
CLOSES_TO = 1e-9


class Run:
    """One run by local inertia; see `flow_storm` for what goes in and comes out."""

    batch = BATCH

    def __init__(self, grid: Grid, bed: FloatArray, depth: FloatArray,
                 velocity: tuple[FloatArray, FloatArray], sources: Sources,
                 edges: Edges, gates: Gates, moves: Moves, gauges: dict[str, tuple[int, int]],
                 until: float,
                 record: float, wet: float, film: float, courant: float, threads: int | None,
                 progress: Callable[[float, float], None] | None,
                 watch: Callable[[float, NDArray[np.float32]], None] | None,
                 foresee: Callable[[Foreseen], None] | None) -> None:
        self.grid, self.ground_level, self.sources = grid, bed, sources
        self.edges, self.gates, self.gauges, self.moves = edges, gates, gauges, moves
        self.until, self.wet, self.film, self.courant = until, wet, film, courant
        self.progress, self.foresee, self.watch = progress, foresee, watch
        self.strips = _strips(grid, threads)
        self._begin(depth)
        self._push(*velocity)
        self.fastest = np.zeros(grid.size, np.float32)
        self.strongest = np.zeros(grid.size, np.float32)
        self.arrival = np.where(self.metres(self.deepest) > wet, 0.0, -1.0).astype(np.float32)
        self.passed = np.zeros(gates.faces.size)
        self.soaked = 0.0
        self.time, self.steps, self.shortest_step = 0.0, 0, np.inf
        self.stops = _stops(until, record, sources.times)
        self.records = np.append(np.arange(0.0, until, record), until)
        self.begun = time.monotonic()
        self.warm = (self.begun, 0)
        self.halt = threading.Event()

    def flow(self) -> Flow:
        """Run to the end."""
        passed, levels = [self.passed.copy()], [self._levels()]
        moved = [self.moves.moved.copy()]
        told, foreseen = self.begun, self.foresee is None
        warm = False
        next_record = 1
        with ThreadPoolExecutor(max(len(self.strips) - 1, 1)) as pool:
            try:
                for stop in self.stops:
                    while self.time < stop:
                        self._batch(pool, stop)
                        now = time.monotonic()
                        if not warm:  # the first steps wait for kernels to be compiled
                            warm, self.warm = True, (now, self.steps)
                        elif not foreseen and now - self.warm[0] > FORESEE_AFTER:
                            foreseen = True
                            self.foresee(self._foreseen(now))  # type: ignore[misc]
                        if self.progress is not None and now - told > TELL_EVERY:
                            told = now
                            self.progress(self.time, self.until)
                    if stop == self.records[next_record]:
                        self._refuse_deep(float(self.metres(self._now()[0].max())))
                        passed.append(self.passed.copy())
                        levels.append(self._levels())
                        moved.append(self.moves.moved.copy())
                        if self.watch is not None:
                            self.watch(self.time, self._depths())
                        next_record += 1
            finally:
                self.halt.set()
        return self._told(np.array(passed), np.array(levels), np.array(moved))

    def _begin(self, depth: FloatArray) -> None:
        """State at the start."""
        grid = self.grid
        h = grid.walled(np.rint(depth / grid.unit), np.int32)
        self.even: list[NDArray[Any]] = [h, np.zeros(grid.size, np.float32),
                                    np.zeros(grid.size, np.float32)]
        self.odd = [array.copy() for array in self.even]
        self.stood = self._volume(h)
        self.deepest: NDArray[Any] = h.copy()
        self.booked: NDArray[Any] = np.zeros(self.edges.cells.size, np.int64)
        ringed = tuple(n + 2 for n in grid.pieces)
        self.live = [np.zeros(ringed, np.uint8) for _ in range(2)]
        for live in self.live:
            live[1:-1, 1:-1] = STIRRED
        self.touched = np.zeros(ringed, np.uint8)
        self.tops: NDArray[Any] = np.zeros(ringed, np.int32)
        self.tops[1:-1, 1:-1] = h.max()

    def _push(self, east: FloatArray, south: FloatArray) -> None:
        """Set the water going: at a face, the mean of the cells' fluxes."""
        h, qx, qy = self.even
        depth = self.metres(h)
        along, down = (depth * self.grid.walled(speed, np.float64) for speed in (east, south))
        open_ = self.grid.walled(True, np.bool_, False)
        w = self.grid.width
        qx[1:] = np.where(open_[1:] & open_[:-1], (along[1:] + along[:-1]) / 2, 0)
        qy[w:] = np.where(open_[w:] & open_[:-w], (down[w:] + down[:-w]) / 2, 0)

    def metres(self, h: NDArray[Any]) -> FloatArray:
        """Depths as they are kept, in metres."""
        return np.asarray(h * self.grid.unit, np.float64)

    def whole(self, depth: FloatArray) -> NDArray[Any]:
        """Depths as they are kept, of no more than so many metres."""
        return np.floor(depth / self.grid.unit).astype(np.int32)

    def _volume(self, h: NDArray[Any]) -> float:
        """Sum of depths. [m]"""
        return int(h.sum(dtype=np.int64)) * self.grid.unit

    def _top(self) -> float:
        """The deepest water that sets the step. [m]"""
        top = int(self.tops.max()) * self.grid.unit
        return max(top, LEAST_CALM) if self.grid.calm else top

    def _longest(self, top: float) -> float:
        """Step that holds for water of a depth. [s]"""
        speed = float(np.sqrt(GRAVITY * (GROWTH * top + ADDED)))
        return min(self.courant * self.grid.cell / speed, LONGEST)

    def _batch(self, pool: ThreadPoolExecutor, stop: float) -> None:
        """Rain for some steps, then those steps."""
        top = self._top()
        self._refuse_deep(top)
        longest = self._longest(top)
        if not longest >= SHORTEST:
            raise ValueError(f"water {top:.3g} m deep on cells of {self.grid.cell:g} m asks for "
                             f"steps of {longest:.1g} s, which cannot hold")
        left = stop - self.time
        every = MOVE_EVERY if self.moves.busy else RAIN_EVERY
        count = int(min(self.batch, max(every // longest, 1), np.ceil(left / longest)))
        step = min(longest, left / count)
        after = stop if count * step >= left * (1 - 1e-12) else self.time + count * step
        stirred = self._rain(pool, after)
        self.moves.work(self._now()[0], self.ground_level, self.metres, self.whole, self.time,
                        after, stirred)
        self._take(pool, step, count, after, stirred)
        self.steps, self.time = self.steps + count, after
        self.shortest_step = min(self.shortest_step, step)

    def _refuse_deep(self, top: float) -> None:
        if top > 2.0**29 * self.grid.unit:
            raise ValueError(f"water grew {top:.3g} m deep, more than there is room for; give "
                             "the deepest that may be expected")

    def _take(self, pool: ThreadPoolExecutor, step: float, count: int, after: float,
              rained: NDArray[np.uint8]) -> None:
        """Take some steps of the same length, and look at the water."""
        grid, begin, end = self.grid, self.steps, self.steps + count
        live = self.live[begin % 2]
        live[1:-1, 1:-1][rained > 0] = STIRRED
        if not (live & (MOVED | JUST_MOVED)).any():
            return
        done = np.full(len(self.strips), begin, np.int64)
        states, film = (*self.even, *self.odd), np.int32(self.film / grid.unit)
        flags = [part.reshape(-1) for part in (*self.live, self.touched)]
        cap = np.int32(self._top() / grid.unit)

        def work(strip: int) -> None:
            at = begin
            while at < end and not self.halt.is_set():
                at = _advance(*states, grid.bed, grid.rough, grid.width, grid.rows,
                             *flags, grid.unit, grid.cell, GRAVITY, film, cap, step, at, end, done,
                             *self.strips[strip], strip, len(self.strips), *self._sides())
                if at < end:
                    time.sleep(0)

        def look(strip: int) -> None:
            _survey(*(self.odd if end % 2 else self.even), grid.rough, grid.width,
                    *self.strips[strip], self.touched.reshape(-1), self.tops.reshape(-1),
                    grid.unit, after, self.wet, self.deepest, self.fastest, self.strongest,
                    self.arrival)

        self._on_all(pool, work)
        self._on_all(pool, look)

    def _sides(self) -> tuple[NDArray[Any], ...]:
        """Edges and gates, as kernels want them."""
        return (self.edges.starts, self.edges.cells, self.edges.factors, self.edges.powers,
                self.booked, self.gates.starts, self.gates.faces, self.passed)

    def _rain(self, pool: ThreadPoolExecutor, until: float) -> NDArray[np.uint8]:
        """Give the rain until a time, and let water soak in; the pieces of rows that this
        stirs."""
        stirred = np.zeros(self.grid.pieces, np.uint8)
        add, cap, hours = self.sources.until(until)
        if add.any() or self.sources.soaks:
            lost = np.zeros(len(self.strips))

            def work(strip: int) -> None:
                lost[strip] = self._fall(strip, add, cap, hours, stirred)

            self._on_all(pool, work)
            self.soaked += float(lost.sum())
        return stirred

    def _fall(self, strip: int, add: NDArray[np.int32], cap: NDArray[np.int32], hours: float,
              stirred: NDArray[np.uint8]) -> float:
        """Rain and soaking on a strip; the depth soaked in. [m]"""
        sources = self.sources
        return self.grid.unit * fall_and_soak(
            self._now()[0], self.grid.width, *self.strips[strip], sources.kinds, add, cap,
            self.grid.unit, hours, sources.suction, sources.conductivity, sources.infiltrated,
            sources.owed, sources.soaked, stirred.reshape(-1))

    def _on_all(self, pool: ThreadPoolExecutor, work: Callable[[int], None]) -> None:
        """Work on all strips, the first one here; when this is stopped, so are the others."""
        others = [pool.submit(work, strip) for strip in range(1, len(self.strips))]
        try:
            work(0)
            for other in others:
                other.result()
        except BaseException:
            self.halt.set()
            raise

    def _levels(self) -> FloatArray:
        h = self.metres(self._now()[0])
        return np.array([self.ground_level[row, column] + h[self.grid.flat(row, column)]
                         for row, column in self.gauges.values()])

    def _now(self) -> list[NDArray[Any]]:
        return self.odd if self.steps % 2 else self.even

    def _fluxes(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """Mean fluxes of cells, walled."""
        _, qx, qy = self._now()
        east, south = np.zeros_like(qx), np.zeros_like(qy)
        east[:-1] = (qx[:-1] + qx[1:]) / 2
        south[:-self.grid.width] = (qy[:-self.grid.width] + qy[self.grid.width:]) / 2
        return east, south

    def _foreseen(self, now: float) -> Foreseen:
        from terrain.surface.depressions import drain

        level = self.ground_level.astype(np.float32)
        deep = drain(level).filled(level) - level
        calm = self.grid.inside(self.grid.rough) < 0
        hollow = float(np.nanmax(np.where(calm, 0.0, deep)))
        depth = max(hollow, self._top())
        step = self._longest(depth)
        since, steps = self.warm
        each = (now - since) / max(self.steps - steps, 1)
        return Foreseen(now - self.begun + (self.until - self.time) / step * each, depth,
                        self.grid.cell)

    def _shown(self, values: NDArray[Any]) -> NDArray[np.float32]:
        return np.where(self.grid.ground, self.grid.inside(values), np.nan).astype(np.float32)

    def _depths(self) -> NDArray[np.float32]:
        """Depths now, what has not come to a whole unit left out. [m]"""
        return self._shown(self.metres(self._now()[0]))

    def _rim(self, number: int, passed: FloatArray) -> RimRecord:
        """What crossed a rim."""
        gates, width = self.gates, self.grid.width
        own = gates.gates == number
        out = np.diff(passed[:, own] * gates.signs[own] * self.grid.cell, axis=0, prepend=0.0)
        face = gates.faces[own]
        row, column = np.divmod(abs(face), width)
        west = face >= 0
        middle = np.column_stack([row - 1 + 0.5 * west, column - 1 + 0.5 * ~west])
        return RimRecord(np.cumsum(np.maximum(-out, 0.0).sum(1)),
                            np.cumsum(np.maximum(out, 0.0).sum(1)), middle, out.sum(0))

    def _told(self, passed: FloatArray, levels: FloatArray, moved: FloatArray) -> Flow:
        """All that is kept of the run, its account closed."""
        grid, sources = self.grid, self.sources
        h = self._now()[0]
        area = grid.cell**2
        excess = sources.excess(self.until)
        cells = int(sources.counts.sum())
        fallen = sources.fallen(self.until) / 1000.0
        hole = self.edges.into_hole
        account = WaterAccount(
            rain=cells * fallen * area, stood=self.stood * area, fed=self.moves.fed,
            lost=float(sources.counts[1:] @ (fallen - excess[1:])) * area,
            soaked=self.soaked * area,
            left_edges=self._volume(self.booked[~hole]) * area,
            left_holes=self._volume(self.booked[hole]) * area, led_off=self.moves.led_off,
            stands=(self._volume(h) + sources.film()) * area)
        if abs(account.error) > CLOSES_TO * account.came:
            raise AssertionError(f"{account.error:.3g} m3 of {account.came:.6g} m3 went astray")
        shown, gates, moves = self._shown, self.gates, self.moves
        count = len(gates.names) + len(gates.rims)
        volumes = grid.cell * np.array([np.bincount(
            gates.gates, gates.signs * then, count)[:len(gates.names)] for then in passed])
        east, south = self._fluxes()
        arrival = shown(self.arrival)
        arrival[arrival < 0] = np.nan
        flows = np.diff(volumes, axis=0, prepend=0.0) / np.diff(
            self.records, prepend=-np.inf)[:, None]
        soaked = self.metres(sources.soaked) if sources.soaks else np.zeros(grid.size)
        film = (excess - sources.given * grid.unit)[sources.kinds]
        return Flow(
            shown(self.metres(h) + film), shown(east), shown(south),
            shown(self.metres(self.deepest)), shown(self.fastest), shown(self.strongest), arrival,
            shown(soaked), self.records,
            {name: GateRecord(volumes[:, i], flows[:, i])
             for i, name in enumerate(self.gates.names)},
            {name: self._rim(i, passed)
             for i, name in enumerate(gates.rims, start=len(gates.names))},
            {name: moved[:, i] for i, name in enumerate(moves.transfers)},
            {name: moved[:, i] for i, name in enumerate(moves.feeds, start=len(moves.transfers))},
            {name: levels[:, i] for i, name in enumerate(self.gauges)},
            account, self.steps, float(self.shortest_step), grid.unit)


def _strips(grid: Grid, threads: int | None) -> list[tuple[int, int]]:
    """First walled row and the one after the last of each thread's rows."""
    if threads is None:
        threads = min(cores(), max(grid.rows * grid.columns // LEAST_STRIP, 1))
    count = max(min(threads, grid.rows // LEAST_ROWS), 1)
    cuts = [1 + grid.rows * i // count for i in range(count)] + [grid.rows + 1]
    return list(pairwise(cuts))


def _stops(until: float, record: float, rain: FloatArray) -> list[float]:
    """Times that a step ends at: records, bends of the rain, the end."""
    times = np.concatenate([np.arange(0.0, until, record), rain, [until]])
    return [float(stop) for stop in np.unique(times) if 0 < stop <= until]
