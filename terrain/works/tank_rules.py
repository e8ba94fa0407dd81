"""Rules of thumb for tanks, to stand beside what the daily record says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class MonthlyRun:
    """A tank month by month; each array has one value a month. [m3]"""

    drawn: FloatArray
    spilled: FloatArray
    held: FloatArray


def monthly_run(inflow: ArrayLike, demand: ArrayLike, capacity: float,
                rule: Literal["after", "before"], start: float = 0.0) -> MonthlyRun:
    """Run a tank by months, with what is drawn after or before what spills.

    Parameters
    ----------
    inflow, demand : float64, shape (months,)
        [m3]
    capacity : float
        [m3]
    rule : {"after", "before"}
        Yield after spillage: Y = min(D, V(t-1)), V = min(V(t-1) + I - Y, S - Y).  Yield before
        spillage: Y = min(D, V(t-1) + I), V = min(V(t-1) + I - Y, S).
    start : float
        Held at the start. [m3]

    References
    ----------
    .. [1] Jenkins and others, Feasibility of rainwater collection systems in California, 1978; as
       compared by Fewkes & Butler, Building Services Engineering Research and Technology 21(2),
       2000; both from memory.
    """
    come, want = np.broadcast_arrays(np.asarray(inflow, float), np.asarray(demand, float))
    drawn, spilled, held = (np.zeros(come.size) for _ in range(3))
    before = start
    for i, (water, wanted) in enumerate(zip(come, want, strict=True)):
        drawn[i] = min(wanted, before if rule == "after" else before + water)
        room = capacity - (drawn[i] if rule == "after" else 0.0)
        held[i] = min(before + water - drawn[i], room)
        spilled[i] = before + water - drawn[i] - held[i]
        before = held[i]
    return MonthlyRun(drawn, spilled, held)


def dry_season_storage(supply: ArrayLike, demand: ArrayLike) -> float:
    """What a tank must hold to bridge the dry season of an average year. [m3]

    The greatest sum of demand less supply over months that follow one another, the year taken
    round.

    Parameters
    ----------
    supply, demand : float64, shape (12,)
        [m3]

    References
    ----------
    .. [1] Home Power, Sizing a whole-house rainwater system: the use of the dry months, less what
       comes in them.
    """
    lacks = np.asarray(demand, float) - np.asarray(supply, float)
    if lacks.sum() >= 0:  # the year as a whole lacks: no tank bridges it
        return float("inf") if lacks.sum() > 1e-12 * np.abs(lacks).sum() else 0.0
    worst, running = 0.0, 0.0
    for lack in np.concatenate([lacks, lacks]):
        running = max(running + lack, 0.0)
        worst = max(worst, running)
    return float(worst)


def knee_of(sizes: ArrayLike, gains: ArrayLike, least: float = 0.01) -> int | None:
    """Index of the knee of a curve that rises and levels off; None where it hardly rises.

    The point that lies highest above the straight line from the curve's first point to its last,
    both axes scaled to 1.

    Parameters
    ----------
    sizes, gains : float64, shape (n,)
        Sizes rise.
    least : float
        A curve that rises by less has no knee.

    References
    ----------
    .. [1] Satopaa and others, Finding a "kneedle" in a haystack, 31st International Conference on
       Distributed Computing Systems Workshops, 2011, from memory.
    """
    x, y = np.asarray(sizes, float), np.asarray(gains, float)
    rise = y[-1] - y[0]
    if x.size < 3 or rise < least:
        return None
    over = (y - y[0]) / rise - (x - x[0]) / (x[-1] - x[0])
    best = int(np.argmax(over))
    return best if over[best] > 1e-6 else None
