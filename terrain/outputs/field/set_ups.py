"""Where the level stands: set-ups from which every stake can be read on the staff.

A level sees a plane.  A stake is read from it where the plane lies over the ground there, no
further over the stake's design level than the staff is long, and nothing stands between.  Levels
go on from the benchmark: each later set-up reads first a mark whose level is known by then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Places tried for the level: about so many, no closer than this. [m]
PLACES, CLOSEST = 250, 4.0
#: They reach so far beyond the stakes. [m]
BEYOND = 20.0
#: A line of sight is looked at in so many places; it clears the ground by this. [m]
SIGHTS, CLEAR = 12, 0.1
#: A level may stand this much lower or higher on its tripod than the rule says. [m]
TRIPOD = 0.3
#: A peg's top may stand so far below the ground, in a nick, and so far above it. [m]
PEG = (0.05, 0.6)
BENCHMARK = "the benchmark"


@dataclass(frozen=True)
class SetUp:
    """A place of the level.

    Attributes
    ----------
    number : int
        From 1, in the order in which they are set up.
    x, y : float
        A place from which it sees all that it reads; in the working frame. [m]
    height : float
        Level of its line of sight, as planned. [m]
    back : str
        What is read first.
    back_level, back_reading : float
        Its level, and what the staff on it reads. [m]
    back_x, back_y : float
        [m]
    of : int or None
        For a change point, the number of the set-up from which it is read before.
    stake : int or None
        Place in the list of the stake that is read first; None of another mark.
    """

    number: int
    x: float
    y: float
    height: float
    back: str
    back_level: float
    back_reading: float
    back_x: float
    back_y: float
    of: int | None = None
    stake: int | None = None


@dataclass(frozen=True)
class Marks:
    """What is to be read: places, ground and design levels, each shape (n,). [m]"""

    x: FloatArray
    y: FloatArray
    ground: FloatArray
    design: FloatArray

    @property
    def pegs(self) -> BoolArray:
        """Where a peg's top stands at the design level before anything is dug."""
        over = self.design - self.ground
        return (over >= -PEG[0]) & (over <= PEG[1])


@dataclass(frozen=True)
class KnownMark:
    """The benchmark: its place and level, and the reading on it where that is fixed. [m]"""

    x: float
    y: float
    level: float
    reading: float | None = None


class _Instrument:
    """What can be read from a place, by the rules."""

    def __init__(self, dem: Dem, staff: float, rules: Rulebook) -> None:
        self.dem, self.staff = dem, staff
        self.least, self.sight = rules["staff least reading"], rules["sight length"]

    def reads(self, x: FloatArray, y: FloatArray, height: FloatArray, marks: Marks) -> BoolArray:
        """Which marks are read from which places, shape (places, marks)."""
        # Bars are as tight as a millimetre: a reading of a whole staff is still read.
        reading = height[:, None] - marks.design[None, :]
        over = height[:, None] - np.fmax(marks.ground, marks.design)[None, :]
        far = np.hypot(x[:, None] - marks.x, y[:, None] - marks.y)
        good = ((reading <= self.staff + 1e-6) & (over >= self.least - 1e-6) & (far <= self.sight))
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


def plan_set_ups(dem: Dem, marks: Marks, known: KnownMark, staff: float, rules: Rulebook
                 ) -> tuple[list[SetUp], NDArray[np.int64]]:
    """Choose set-ups, few, that together read every mark they can.

    Parameters
    ----------
    marks : Marks
    known : KnownMark
    staff : float
        Its length. [m]

    Returns
    -------
    set_ups : list of SetUp
        Empty where the benchmark can be read from nowhere.
    read_from : int64, shape (marks,)
        Number of the first set-up that reads each mark; 0 where none does.

    Notes
    -----
    Each next set-up is the one, of those that can be joined to an earlier one, that reads most
    marks not yet read (greedy covering); where none that reads any can be joined, one that leads
    towards such a place by the fewest moves.
    """
    tool = _Instrument(dem, staff, rules)
    x, y, height = _places(dem, marks, known, rules)
    read_from = np.zeros(len(marks.x), np.int64)
    if not len(x):
        return [], read_from
    bench = Marks(*(np.array([v]) for v in (known.x, known.y, known.level, known.level)))
    reads = tool.reads(x, y, height, marks)
    at_bench = tool.reads(x, y, height, bench)[:, 0]
    chain = _Chain(tool, marks, known, x, y, height, reads, at_bench)
    chain.start(rules["instrument height"])
    while chain.set_ups and chain.goes_on():
        pass
    for set_up, row in zip(chain.set_ups, chain.seen, strict=True):
        read_from[row & (read_from == 0)] = set_up.number
    return chain.set_ups, read_from


class _Chain:
    """Set-ups joined one to the next."""

    def __init__(self, tool: _Instrument, marks: Marks, known: KnownMark, x: FloatArray,
                 y: FloatArray, height: FloatArray, reads: BoolArray, at_bench: BoolArray) -> None:
        self.tool, self.marks, self.known = tool, marks, known
        self.x, self.y, self.height = x, y, height
        self.reads, self.at_bench = reads, at_bench
        self.set_ups: list[SetUp] = []
        self.seen: list[BoolArray] = []
        self._joins: BoolArray | None = None
        self.placed: list[int] = []

    def start(self, stands: float) -> None:
        """The first set-up, which reads the benchmark."""
        known = self.known
        if known.reading is not None:
            level = known.level + known.reading
            ground = self.height - stands
            fits = np.abs(level - stands - ground) <= TRIPOD
            near = np.hypot(self.x - known.x, self.y - known.y)
            fits &= near <= self.tool.sight
            height = np.full(len(self.x), level)
            reads = self.tool.reads(self.x, self.y, height, self.marks)
            if not fits.any():
                fits = near <= self.tool.sight
                fits &= np.abs(level - stands - ground) == np.abs(
                    level - stands - ground)[fits].min(initial=np.inf)
            if not fits.any():
                return
            best = int(np.argmax(np.where(fits, reads.sum(axis=1) + 1.0 / (1 + near), -1.0)))
            self._add(float(self.x[best]), float(self.y[best]), level, reads[best], BENCHMARK,
                      known.level, (known.x, known.y))
            self.placed.append(best)
            # What is joined to the first is joined to its own height, not the rule's.
            self.height = self.height.copy()
            self.height[best], self.reads[best] = level, reads[best]
            return
        if not self.at_bench.any():
            return
        near = np.hypot(self.x - known.x, self.y - known.y)
        best = int(np.argmax(np.where(self.at_bench, self.reads.sum(axis=1) + 1.0 / (1 + near),
                                      -1.0)))
        self._place(best)

    def goes_on(self) -> bool:
        """Add the next set-up; False where there is none worth adding."""
        left = ~np.any(self.seen, axis=0)
        if not left.any():
            return False
        new = (self.reads & left).sum(axis=1)
        if not new.any():
            return False
        seen = np.any(self.seen, axis=0) & self.marks.pegs
        straight = self.at_bench | (self.reads & seen).any(axis=1)
        joined = straight & (new > 0)
        if joined.any():
            self._place(int(np.argmax(np.where(joined, new, -1))))
            return True
        way = self._way(new > 0)
        if way is None:
            return False
        for place in way:
            self._place(place)
        return True

    def _way(self, goal: BoolArray) -> list[int] | None:
        """Fewest moves by change points from any set-up to a place that reads something new."""
        from scipy.sparse.csgraph import dijkstra

        if self._joins is None:
            self._joins = self._change_points()
        cost, before, _ = dijkstra(self._joins.astype(float), indices=self.placed, min_only=True,
                                   unweighted=True, return_predecessors=True)
        reached = goal & np.isfinite(cost)
        if not reached.any():
            return None
        place = int(np.argmin(np.where(reached, cost, np.inf)))
        way = []
        while place not in self.placed:
            way.append(place)
            place = int(before[place])
        return way[::-1]

    def _change_points(self) -> BoolArray:
        """Pairs of places that both read a peg on the ground halfway between."""
        count = len(self.x)
        first, second = np.triu_indices(count, 1)
        x, y, ground = self._halfway(first, second)
        good = np.isfinite(ground) & (np.hypot(self.x[first] - x, self.y[first] - y)
                                      <= self.tool.sight)
        for end in (first, second):
            over = self.height[end] - ground
            good &= (over >= self.tool.least) & (over <= self.tool.staff)
        for end in (first, second):
            some = np.flatnonzero(good)
            good[some] = self.tool.clear(self.x[end[some]], self.y[end[some]], x[some], y[some],
                                         self.height[end[some]])
        joins = np.zeros((count, count), bool)
        joins[first[good], second[good]] = joins[second[good], first[good]] = True
        return joins

    def _halfway(self, first: NDArray[np.int64], second: NDArray[np.int64]
                 ) -> tuple[FloatArray, FloatArray, FloatArray]:
        x, y = ((part[first] + part[second]) / 2 for part in (self.x, self.y))
        return x, y, self.tool.dem.height_at(x, y)

    def _place(self, place: int) -> None:
        """Set up at a place: read back the benchmark, else a stake, else a change point."""
        at = float(self.x[place]), float(self.y[place]), float(self.height[place])
        row, known = self.reads[place], self.known
        if self.at_bench[place]:
            self._add(*at, row, BENCHMARK, known.level, (known.x, known.y))
        else:
            shared = row & np.any(self.seen, axis=0) & self.marks.pegs
            if shared.any():
                far = np.hypot(self.marks.x - at[0], self.marks.y - at[1])
                stake = int(np.argmin(np.where(shared, far, np.inf)))
                self._add(*at, row, "", float(self.marks.design[stake]),
                          (float(self.marks.x[stake]), float(self.marks.y[stake])), stake=stake)
            else:  # only a way of change points leads here, so the joins are known
                assert self._joins is not None
                before = next(p for p in reversed(self.placed) if self._joins[place, p])
                x, y, ground = self._halfway(np.array([before]), np.array([place]))
                number = self.placed.index(before) + 1
                self._add(*at, row, f"change point {chr(64 + min(self._changes() + 1, 26))}",
                          float(ground[0]), (float(x[0]), float(y[0])), of=number)
        self.placed.append(place)

    def _changes(self) -> int:
        return sum(s.of is not None for s in self.set_ups)

    def _add(self, x: float, y: float, height: float, row: BoolArray, back: str, level: float,
             at: tuple[float, float], of: int | None = None, stake: int | None = None) -> None:
        self.set_ups.append(SetUp(len(self.set_ups) + 1, x, y, height, back, level,
                                  height - level, *at, of, stake))
        self.seen.append(row)


def _places(dem: Dem, marks: Marks, known: KnownMark, rules: Rulebook
            ) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places for the level on known ground, and the level of its line of sight there."""
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
    ground = dem.height_at(x, y)
    there = np.isfinite(ground)
    return x[there], y[there], ground[there] + rules["instrument height"]
