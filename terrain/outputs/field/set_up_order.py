"""Which set-up reads which stakes, and in which order the level is moved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Link(NamedTuple):
    """How a set-up gets its level: from which other one, by which peg; neither from the
    benchmark."""

    before: int | None
    peg: int | None


def shared_out(seen: NDArray[np.bool_], works: NDArray[np.int64], moves: Sequence[int]
               ) -> NDArray[np.int64]:
    """Which set-up reads each mark: marks of one work from as few as may be.

    Parameters
    ----------
    seen : bool, shape (set-ups, marks)
    works : int64, shape (marks,)
    moves : sequence of int
        Of each set-up, how far from the benchmark its level comes; of equals the nearer reads.

    Returns
    -------
    given : int64, shape (marks,)
        Index of a set-up; -1 where none reads it.
    """
    given = np.full(seen.shape[1], -1, np.int64)
    used = np.zeros(len(seen), bool)
    # Works that few set-ups read say first which are needed.
    choices = {int(work): int(seen[:, works == work].any(axis=1).sum()) for work in works}
    for work in sorted(choices, key=lambda w: (choices[w], w)):
        left = (works == work) & seen.any(axis=0)
        while left.any():
            new = (seen & left).sum(axis=1)
            best = max(range(len(seen)), key=lambda i: (int(new[i]), bool(used[i]), -moves[i], -i))
            given[left & seen[best]] = best
            left &= ~seen[best]
            used[best] = True
    return given


def ordered(links: Sequence[Link], given: NDArray[np.int64], places: NDArray[np.float64]
            ) -> list[int]:
    """The set-ups that are needed, each after the one it gets its level from, and the nearest to
    the last first.

    Parameters
    ----------
    given : int64, shape (marks,)
        As `shared_out` tells.
    places : float64, shape (set-ups, 2)
        [m]
    """
    after: dict[int | None, list[int]] = {}
    for index, link in enumerate(links):
        after.setdefault(link.before, []).append(index)

    def needed(index: int) -> bool:
        return bool((given == index).any()) or any(needed(i) for i in after.get(index, []))

    found: list[int] = []
    free = [index for index in after.get(None, []) if needed(index)]
    while free:
        nearest = min(free, key=lambda i: (float(np.hypot(*(places[i] - places[found[-1]])))
                                           if found else 0.0, i))
        free.remove(nearest)
        found.append(nearest)
        free += [index for index in after.get(nearest, []) if needed(index)]
    return found
