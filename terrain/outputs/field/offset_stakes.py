"""Offset stakes: set square to the line and out of the digger's way, to measure back from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from terrain.inputs.dem import Dem
from terrain.outputs.field.stakes import Stake
from terrain.works.lie import lie_of

#: Marks that stand on the lines a work is dug by; what lies beside them is measured from these.
GUIDES = ("line", "end", "sill", "wall", "rim", "tree", "bund", "check")
#: An offset stake stands at most so many offsets off; beyond, there is none.
MOST_TIMES = 8
#: Of two of one work that stand closer than this the second is left out: inside a tight bend one
#: would be taken for the other. [m]
APART = 0.5
#: The slope about a lone stake is taken over this radius. [m]
ABOUT = 3.0


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
        "uphill", "downhill" or "outward".
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


def offset_stake(stake: Stake, dem: Dem, offset: float, side: str,
                 disturbed: Callable[[float, float], bool]) -> OffsetStake | None:
    """The offset stake of a stake.

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
    stake : OffsetStake or None
        At the offset, or at its least multiple on ground that no work digs or heaps; None for
        marks that are measured from others, and where there is no such ground near.
    """
    if stake.mark not in GUIDES:
        return None
    away = stake.away
    if away is None:
        try:
            lie = lie_of(dem, stake.x, stake.y, ABOUT)
        except ValueError:
            return None
        away = (-lie.down_x, -lie.down_y)
    named = "outward" if stake.ring else side
    sign = -1.0 if named == "downhill" else 1.0
    for times in range(1, MOST_TIMES + 1):
        distance = times * offset
        x, y = (float(v + sign * distance * w) for v, w in
                zip((stake.x, stake.y), away, strict=True))
        ground = float(dem.height_at(x, y))
        if np.isnan(ground):
            return None
        if not disturbed(x, y):
            return OffsetStake(x, y, distance, named, ground, ground - stake.design)
    return None


def without_near(stakes: Sequence[Stake], offsets: Sequence[OffsetStake | None]
                 ) -> list[OffsetStake | None]:
    """The offset stakes of stakes, without the second of two of one work closer than `APART`."""
    kept: list[OffsetStake | None] = []
    stand: dict[str, list[OffsetStake]] = {}
    for stake, offset in zip(stakes, offsets, strict=True):
        beside = stand.setdefault(stake.work, [])
        if offset is not None and any(np.hypot(offset.x - other.x, offset.y - other.y) < APART
                                      for other in beside):
            offset = None
        if offset is not None:
            beside.append(offset)
        kept.append(offset)
    return kept
