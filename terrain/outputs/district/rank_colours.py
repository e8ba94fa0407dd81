"""Colours of ranks: few classes of as many parcels each, the best the darkest."""

from __future__ import annotations

from itertools import pairwise

from terrain.district.screened import Screening

#: From the best class to the last.  Each is lighter than the one before, so that they are told
#: apart without seeing hue at all.
COLOURS = ("#14235c", "#2a6496", "#4a9f93", "#9cc268", "#f2d04e")
#: How opaque they lie over the hillshade.
ALPHA = 0.70
#: Colours of few classes, apart as far as they can be.
_OF = {0: (), 1: (1,), 2: (1, 3), 3: (0, 2, 4), 4: (0, 1, 3, 4), 5: (0, 1, 2, 3, 4)}


def _cuts(screening: Screening) -> list[int]:
    """Where classes begin and end among the ranks, from 0."""
    ranked = sum(not one.fault for one in screening.parcels)
    count = min(len(COLOURS), ranked)
    return [round(ranked * part / count) for part in range(count + 1)] if count else [0]


def classes_for(screening: Screening) -> tuple[int, ...]:
    """Which of `COLOURS` each class takes, the best first."""
    return _OF[len(_cuts(screening)) - 1]


def class_of(rank: int, screening: Screening) -> int:
    """The class of a rank, from 0."""
    return next(number for number, (_, last) in enumerate(pairwise(_cuts(screening)))
                if rank <= last)


def class_words(number: int, screening: Screening) -> str:
    """What a class holds, such as "Ranks 3 to 5"."""
    first, last = list(pairwise(_cuts(screening)))[number]
    return f"Rank {last}" if last == first + 1 else f"Ranks {first + 1} to {last}"
