"""Where the level stands: set-ups from which every stake can be read on the staff.

A level sees a plane.  A stake is read from it where the plane lies over the ground there, no
further over the stake's design level than the staff is long, and nothing stands between.  Levels
go on from the benchmark by change points: pegs on natural ground that no work touches, read from
one set-up and then from the next.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.outputs.field.set_up_order import Link, ordered, shared_out
from terrain.outputs.field.sights import (
    BoolArray,
    FloatArray,
    Instrument,
    KnownMark,
    Marks,
    open_ground,
)
from terrain.works.rules import Rulebook

#: A level may stand this much lower or higher on its tripod than the rule says. [m]
TRIPOD = 0.3
#: No level carries its height from a mark nearer to its tripod than this: peg and benchmark;
#: common practice, no source. [m]
NEAREST = 5.0
#: Offset stakes that pegs may stand beside are thinned to this. [m]
APART = 5.0
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
        What is read first: the benchmark, or a peg by its letter.
    back_level, back_reading : float
        Its level, of a peg that of the raster's ground, and what the staff on it reads. [m]
    back_x, back_y : float
        [m]
    of : int or None
        For a peg, the number of the set-up from which it is read before.
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


def plan_set_ups(dem: Dem, marks: Marks, known: KnownMark, staff: float, rules: Rulebook,
                 beside: FloatArray | None = None,
                 disturbed: Callable[[float, float], bool] = lambda x, y: False
                 ) -> tuple[list[SetUp], NDArray[np.int64]]:
    """Choose set-ups, few, that together read every mark they can.

    Parameters
    ----------
    marks : Marks
    known : KnownMark
    staff : float
        Its length. [m]
    beside : float64, shape (n, 2), optional
        Places for pegs that are preferred to others: where offset stakes stand. [m]
    disturbed : callable, optional
        Whether any work digs or heaps at a point; no level stands and no peg is driven there.

    Returns
    -------
    set_ups : list of SetUp
        Empty where the benchmark can be read from nowhere.
    read_from : int64, shape (marks,)
        Number of the set-up that reads each mark; 0 where none does.

    Notes
    -----
    Each next set-up is the one, of those that can be joined to an earlier one, that reads most
    marks not yet read (greedy covering); where none that reads any can be joined, one that leads
    towards such a place by the fewest moves.  Marks of one work are then read from as few of them
    as may be, and set-ups numbered so that the way from each to the next is short.
    """
    tool = Instrument(dem, staff, rules)
    x, y, ground = open_ground(dem, marks, known, disturbed)
    if not len(x):
        return [], np.zeros(len(marks.x), np.int64)
    pegs = _pegs(dem, x, y, ground, beside, disturbed)
    bench = Marks(*(np.array([v]) for v in (known.x, known.y, known.level, known.level)))
    choice = _Choice(tool, x, y, ground + rules["instrument height"], marks, pegs, bench)
    first = choice.first(known, rules["instrument height"])
    if first is None:
        return [], np.zeros(len(marks.x), np.int64)
    chosen = choice.covering(first)
    seen = choice.reads[chosen]
    works = marks.work if marks.work is not None else np.zeros(len(marks.x), np.int64)
    links = choice.links(chosen)
    given = shared_out(seen, works, [0 if link.peg is None else 1 for link in links])
    order = ordered(links, given, np.column_stack([x[chosen], y[chosen]]))
    numbers = {index: i + 1 for i, index in enumerate(order)}
    found: list[SetUp] = []
    letters: dict[int, str] = {}
    for index in order:
        place, link = chosen[index], links[index]
        height = float(choice.height[place])
        back, (east, north, level), of = BENCHMARK, (known.x, known.y, known.level), None
        if link.peg is not None and link.before is not None:
            back = f"peg {letters.setdefault(link.peg, _letter(len(letters)))}"
            of = numbers[link.before]
            east, north, level = (float(part[link.peg]) for part in (pegs.x, pegs.y, pegs.ground))
        found.append(SetUp(numbers[index], float(x[place]), float(y[place]), height, back, level,
                           height - level, east, north, of))
    read_from = np.array([numbers.get(int(index), 0) for index in given], np.int64)
    return found, read_from


def _letter(count: int) -> str:
    """A, B, … Z, AA, AB …"""
    said = chr(65 + count % 26)
    return said if count < 26 else _letter(count // 26 - 1) + said


def _pegs(dem: Dem, x: FloatArray, y: FloatArray, ground: FloatArray, beside: FloatArray | None,
          disturbed: Callable[[float, float], bool]) -> Marks:
    """Where a change point may be: beside offset stakes first, then on open ground."""
    if beside is not None and len(beside):
        beside = _thinned(beside)
        first = np.asarray(dem.height_at(*beside.T), np.float64)
        free = np.isfinite(first) & ~np.array([disturbed(*at) for at in beside], bool)
        x, y = (np.concatenate([part[free], other]) for part, other in zip(beside.T, (x, y),
                                                                         strict=True))
        ground = np.concatenate([first[free], ground])
    return Marks(x, y, ground, ground)


def _thinned(places: FloatArray) -> FloatArray:
    """Places, without those closer than `APART` to one before."""
    kept: list[FloatArray] = []
    for place in places:
        if all(np.hypot(*(place - other)) >= APART for other in kept):
            kept.append(place)
    return np.array(kept)


class _Choice:
    """Chooses places of the level."""

    def __init__(self, tool: Instrument, x: FloatArray, y: FloatArray, height: FloatArray,
                 marks: Marks, pegs: Marks, bench: Marks) -> None:
        self.tool, self.x, self.y, self.height = tool, x, y, height
        self.marks, self.pegs = marks, pegs
        self.reads = tool.reads(x, y, height, marks)
        self.at_peg = tool.reads(x, y, height, pegs, NEAREST)
        self.at_bench = tool.reads(x, y, height, bench, NEAREST)[:, 0]

    def first(self, known: KnownMark, stands: float) -> int | None:
        """The first place, which reads the benchmark; at the height that its reading fixes."""
        near = np.hypot(self.x - known.x, self.y - known.y)
        if known.reading is None:
            if not self.at_bench.any():
                return None
            return int(np.argmax(np.where(self.at_bench, self.reads.sum(axis=1) + 1.0 / (1 + near),
                                          -1.0)))
        level = known.level + known.reading
        off = np.abs(level - self.height)
        within = (near <= self.tool.sight) & (near >= NEAREST)
        if not within.any():
            return None
        fits = within & (off <= max(TRIPOD, float(off[within].min())))
        height = np.full(len(self.x), level)
        reads = self.tool.reads(self.x, self.y, height, self.marks)
        best = int(np.argmax(np.where(fits, reads.sum(axis=1) + 1.0 / (1 + near), -1.0)))
        one = np.array([best])
        self.height[best], self.reads[best] = level, reads[best]
        self.at_peg[best] = self.tool.reads(self.x[one], self.y[one], height[one], self.pegs,
                                            NEAREST)[0]
        self.at_bench[best] = True
        return best

    def covering(self, first: int) -> list[int]:
        """Places that together read all that can be read, each joined to one before it."""
        joins = self.at_peg.astype(np.float32) @ self.at_peg.T.astype(np.float32) > 0
        chosen = [first]
        left = ~self.reads[first]
        while left.any():
            new = self._worth(left)
            joined = (self.at_bench | joins[chosen].any(axis=0)) & (new > 0)
            way = [int(np.argmax(np.where(joined, new, -1)))] if joined.any() else (
                _way(joins, chosen, new > 0))
            if not way:
                break
            chosen += way
            left &= ~self.reads[way].any(axis=0)
        return chosen

    def _worth(self, left: BoolArray) -> NDArray[np.int64]:
        """How many more marks each place reads; those of a work that it reads whole count twice,
        so that works are not parted between set-ups."""
        more = self.reads & left
        worth = more.sum(axis=1)
        works = self.marks.work
        for work in np.unique(works[left]) if works is not None else ():
            own = left & (works == work)
            worth = worth + np.where(more[:, own].all(axis=1), own.sum(), 0)
        return np.asarray(worth, np.int64)

    def links(self, chosen: list[int]) -> list[Link]:
        """What each of the places reads first: the benchmark where it can, else the peg that leads
        on from the place the fewest moves from it, then the one with the shortest sights."""
        links: dict[int, Link] = {i: Link(None, None) for i, place in enumerate(chosen)
                                  if self.at_bench[place]}
        reached = list(links)
        while reached:
            after: list[int] = []
            for index, place in enumerate(chosen):
                if index in links:
                    continue
                ways = [(self._shortest(chosen[before], place), before) for before in reached]
                pairs = [(sight, before, peg) for (peg, sight), before in ways if peg is not None]
                if pairs:
                    _, before, peg = min(pairs)
                    links[index] = Link(before, peg)
                    after.append(index)
            reached = after
        return [links[i] for i in range(len(chosen))]

    def _shortest(self, one: int, other: int) -> tuple[int | None, float]:
        """The peg that both read, its longer sight the shortest, and that sight. [m]"""
        both = np.flatnonzero(self.at_peg[one] & self.at_peg[other])
        if not both.size:
            return None, np.inf
        far = np.fmax(*(np.hypot(self.x[place] - self.pegs.x[both], self.y[place]
                                 - self.pegs.y[both]) for place in (one, other)))
        best = int(np.argmin(far))
        return int(both[best]), float(far[best])


def _way(joins: BoolArray, chosen: list[int], goal: BoolArray) -> list[int]:
    """Fewest moves by change points from any chosen place to one that reads something new."""
    from scipy.sparse.csgraph import dijkstra

    cost, before, _ = dijkstra(joins.astype(float), indices=chosen, min_only=True,
                               unweighted=True, return_predecessors=True)
    reached = goal & np.isfinite(cost)
    if not reached.any():
        return []
    place = int(np.argmin(np.where(reached, cost, np.inf)))
    way = []
    while place not in chosen:
        way.append(place)
        place = int(before[place])
    return way[::-1]
