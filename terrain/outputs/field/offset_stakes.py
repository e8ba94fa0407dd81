"""Offset stakes: set square to the line and out of the digger's way, to measure back from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from terrain.inputs.dem import Dem
from terrain.outputs.field.stakes import Stake
from terrain.works.lie import lie_of

#: Marks that stand on the lines a work is dug by, and the line that each stands on; what lies
#: beside them is measured from these.
GUIDES = {"line": "edge", "end": "edge", "sill": "edge", "rim": "edge", "wall": "wall",
          "tree": "tree", "bund": "bund", "check": "check"}
#: An offset stake stands at most so many offsets off; beyond, there is none.
MOST_TIMES = 8
#: One constant serves a whole line where it is no more than so many offsets.
ONE_FOR_ALL = 3
#: Of two of one work that stand closer than this one is left out: inside a tight bend it would be
#: taken for the other. [m]
APART = 0.5
#: The slope about a lone stake is taken over this radius. [m]
ABOUT = 3.0
#: Ways, as turns from the first, in which a sill's offset stake is looked for where there is no
#: room in that one.
TURNS = (180, 90, -90, 45, -45, 135, -135)
WINDS = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")
#: Which stakes of a work keep theirs where two would coincide, lowest first; else 2.
ORDER = {"sill": 0, "end": 1, "tree": 3}

Pair = tuple[float, float]


@dataclass(frozen=True)
class OffsetStake:
    """A stake out of the digger's way.

    Attributes
    ----------
    x, y : float
        In the working frame. [m]
    distance : float
        From the stake it stands for, on the level. [m]
    side : str
        "uphill", "downhill", "outward", a wall's "water side" or "dry side", or the wind's name.
    ground : float
        Raster's ground at it. [m]
    cut : float
        Its ground less the design level of the stake it stands for; a fill below 0. [m]
    """

    x: float
    y: float
    distance: float
    side: str
    ground: float
    cut: float


class _Room:
    """Where the offset stakes of one stake may stand."""

    def __init__(self, stake: Stake, dem: Dem, offset: float, side: str,
                 disturbed: Callable[[float, float], bool]) -> None:
        self.stake, self.dem, self.offset, self.disturbed = stake, dem, offset, disturbed
        way = _away(stake, dem) if stake.mark in GUIDES else None
        turned = side == "downhill" and not stake.ring
        self.named = "outward" if stake.ring else stake.sides[1 if turned else 0]
        self.way = None if way is None else (-way[0], -way[1]) if turned else way
        self.times = [] if self.way is None else [
            times for times in range(1, MOST_TIMES + 1) if self.at(times, self.way)]

    def at(self, times: int, way: Pair, named: str | None = None) -> OffsetStake | None:
        """The offset stake so many offsets off, on ground that no work changes."""
        distance = times * self.offset
        x, y = (float(v + distance * w) for v, w in
                zip((self.stake.x, self.stake.y), way, strict=True))
        ground = float(self.dem.height_at(x, y))
        if np.isnan(ground) or self.disturbed(x, y):
            return None
        return OffsetStake(x, y, distance, named or self.named, ground, ground - self.stake.design)

    def on_any_side(self, times: int) -> Iterator[OffsetStake]:
        """Offset stakes so many offsets off: on the stake's own side, of a sill then on others."""
        if self.way is None:
            return
        for turn in (0, *TURNS) if self.stake.mark == "sill" else (0,):
            way = _turned(self.way, turn) if turn else self.way
            found = self.at(times, way, _wind(way) if turn else None)
            if found is not None:
                yield found

    def best(self, times: int | None) -> Iterator[OffsetStake]:
        """Offset stakes, the one that is wanted first: so many offsets off, else the nearest; of a
        sill, which cannot do without, then in other ways."""
        if self.way is None:
            return
        wanted = [times] if times in self.times else []
        for count in [*wanted, *(t for t in self.times if t not in wanted)]:
            found = self.at(count, self.way)
            if found is not None:
                yield found
        if self.stake.mark != "sill":
            return
        for count in range(1, 2 * MOST_TIMES + 1):
            for turn in TURNS:
                way = _turned(self.way, turn)
                found = self.at(count, way, _wind(way))
                if found is not None:
                    yield found


def _away(stake: Stake, dem: Dem) -> Pair | None:
    if stake.away is not None:
        return stake.away
    try:
        lie = lie_of(dem, stake.x, stake.y, ABOUT)
    except ValueError:
        return None
    return -lie.down_x, -lie.down_y


def _turned(way: Pair, turn: float) -> Pair:
    """A direction turned by degrees to its left."""
    (x, y), angle = way, np.radians(turn)
    return (float(x * np.cos(angle) - y * np.sin(angle)),
            float(x * np.sin(angle) + y * np.cos(angle)))


def _wind(way: Pair) -> str:
    return WINDS[round(float(np.arctan2(way[1], way[0])) / (np.pi / 4)) % 8]


def offset_stakes(stakes: Sequence[Stake], dem: Dem, offset: float, side: str,
                  disturbed: Callable[[float, float], bool]) -> list[OffsetStake | None]:
    """The offset stakes of stakes.

    Parameters
    ----------
    offset : float
        [m]
    side : str
        "uphill" or "downhill"; of a ring the stake stands outward in either case.
    disturbed : callable
        Whether any work digs or heaps at a point of the working frame.

    Returns
    -------
    stakes : list of OffsetStake or None
        At the offset, or at a multiple of it on ground that no work digs or heaps, one multiple
        for a whole line where that can be.  None for marks that are measured from others, where
        there is no such ground near, and for the second of two of one work closer than `APART`;
        a sill's stakes go first, and each has one.
    """
    rooms = [_Room(stake, dem, offset, side, disturbed) for stake in stakes]
    lines: dict[tuple[str, str, bool], list[_Room]] = {}
    for room in rooms:
        if room.times:
            stake = room.stake
            lines.setdefault((stake.work, GUIDES[stake.mark], stake.ring), []).append(room)
    usual = {key: _constant([room.times for room in line]) for key, line in lines.items()}
    of_walls = _of_walls(rooms)
    found: list[OffsetStake | None] = [None] * len(stakes)
    stand: dict[str, list[OffsetStake]] = {}
    for index in sorted(range(len(stakes)), key=lambda i: (ORDER.get(stakes[i].mark, 2), i)):
        stake, room = stakes[index], rooms[index]
        if stake.mark not in GUIDES:
            continue
        beside = stand.setdefault(stake.work, [])
        times = usual.get((stake.work, GUIDES[stake.mark], stake.ring))
        whole = of_walls.get(stake.work) if not stake.ring else None
        first = [] if whole is None else list(room.on_any_side(whole))
        for number, one in enumerate([*first, *room.best(times)]):
            if number and stake.mark not in ("sill", "tree"):  # others keep to their line's
                break
            if all(np.hypot(one.x - other.x, one.y - other.y) >= APART for other in beside):
                beside.append(one)
                found[index] = one
                break
    return found


def _of_walls(rooms: Sequence[_Room]) -> dict[str, int]:
    """By work the multiple of the offset that serves a wall and its sill, the least there is; it
    may be further off than a line's, so that who looks for them need not ask which is which."""
    found: dict[str, int] = {}
    for work in {room.stake.work for room in rooms if room.stake.mark == "wall"}:
        own = [room for room in rooms if room.stake.work == work and not room.stake.ring
               and room.stake.mark in ("wall", "sill")]
        for times in range(1, MOST_TIMES + 1):
            if all(any(True for _ in room.on_any_side(times)) for room in own):
                found[work] = times
                break
    return found


def _constant(choices: Sequence[Sequence[int]]) -> int:
    """The multiple of the offset for a line: the least that serves all of its stakes, else that
    which is the nearest of most."""
    common = set(choices[0]).intersection(*choices[1:])
    if common and min(common) <= ONE_FOR_ALL:
        return min(common)
    return Counter(times[0] for times in choices).most_common(1)[0][0]
