"""Colours of ranks: few classes of as many parcels each, the best the darkest."""

from __future__ import annotations

from itertools import pairwise

from terrain.district.screened import Screening
from terrain.district.screening import worth

#: From the best class to the last.  Each is lighter than the one before, so that they are told
#: apart without seeing hue at all.
COLOURS = ("#14235c", "#2a6496", "#4a9f93", "#9cc268", "#f2d04e")
#: Of parcels on which nothing was found that they could be ranked by.
NOTHING = "#c9b8b8"
#: How opaque they lie over the hillshade.
ALPHA = 0.70
#: Colours of few classes, apart as far as they can be.
_OF = {0: (), 1: (1,), 2: (1, 3), 3: (0, 2, 4), 4: (0, 1, 3, 4), 5: (0, 1, 2, 3, 4)}


def ranked_count(screening: Screening) -> int:
    """How many parcels have anything of what they are ranked by; they come before all others."""
    return sum(not one.fault and worth(one, screening.district.rank_by, screening.design) > 0
               for one in screening.parcels)


def _cuts(screening: Screening) -> list[int]:
    """Where classes begin and end among the ranks, from 0."""
    ranked = ranked_count(screening)
    count = min(len(COLOURS), ranked)
    return [round(ranked * part / count) for part in range(count + 1)] if count else [0]


def classes_for(screening: Screening) -> tuple[int, ...]:
    """Which of `COLOURS` each class takes, the best first."""
    return _OF[len(_cuts(screening)) - 1]


def class_of(rank: int, screening: Screening) -> int | None:
    """The class of a rank, from 0; None where nothing was found that counts."""
    return next((number for number, (_, last) in enumerate(pairwise(_cuts(screening)))
                 if rank <= last), None)


def nothing_words(screening: Screening) -> str:
    """What is said of parcels that have nothing of what they are ranked by."""
    return {"kept": "No ground found", "catchable": "No water", "run-on": "No run-on",
            "road": "No water from roads", "roof": "No water from roofs"}[
                screening.district.rank_by]


def class_words(number: int, screening: Screening) -> str:
    """What a class holds, such as "Ranks 3 to 5"."""
    first, last = list(pairwise(_cuts(screening)))[number]
    return f"Rank {last}" if last == first + 1 else f"Ranks {first + 1} to {last}"
