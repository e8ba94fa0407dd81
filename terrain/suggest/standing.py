"""Works of the site file in the search: what stands in every layout, and what is weighed anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from terrain.errors import InputError
from terrain.inputs.site import Site
from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_works import Drain, Hollow, Tank
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.look import Look

#: Ground about a drawn work that its earth may take; common practice, no source. [m]
EARTH = 2.0


@dataclass(frozen=True)
class Standing:
    """The owner's works, parted.

    Attributes
    ----------
    stands : tuple of Placed
        In every layout.
    weighed : tuple of tuple of Placed
        Works not dug yet, those together that lean on each other.
    """

    stands: tuple[Placed, ...]
    weighed: tuple[tuple[Placed, ...], ...]


def parted(site: Site, asked: Suggest, placed: Sequence[Placed]) -> Standing:
    """Part the works of a site file.

    Tanks, drains, natural hollows, what is dug already and what these lean on stand.

    Raises
    ------
    InputError
        If a work that is said to be dug is none of the site file's.
    """
    works = {work.name: work for work in site.works}
    dug = asked.already_dug
    names = set(works) if dug == "all" else set() if dug == "none" else set(dug)
    for name in sorted(names - set(works)):
        raise InputError(f"{site.where('suggest', 'already dug')}, suggest, already dug",
                         f"no work is called \"{name}\"",
                         f"Name one of {', '.join(works) or 'none: there are no works'}")
    stands = names | {name for name, work in works.items()
                      if isinstance(work, Tank | Drain | Hollow)}
    leans = {name: _leans_on(work, works) for name, work in works.items()}
    while True:
        more = {to for name in stands for to in leans[name]} - stands
        if not more:
            break
        stands |= more
    groups: list[set[str]] = []
    for name in works:
        if name in stands:
            continue
        own = {name} | {to for to in leans[name] if to not in stands}
        for group in [g for g in groups if not g.isdisjoint(own)]:
            own |= group
            groups.remove(group)
        groups.append(own)
    by_name = {name: [place for place in placed if place.work.name == name] for name in works}
    return Standing(tuple(p for name in works if name in stands for p in by_name[name]),
                    tuple(tuple(p for name in works if name in group for p in by_name[name])
                          for group in groups))


def _leans_on(work: Any, works: dict[str, Any]) -> set[str]:
    """Works that another names: where it spills to, leads, stands along, sends grey water."""
    named = [work.spills_to, getattr(work, "to", None), getattr(work, "along", None),
             getattr(work, "joined_with", None),
             *(use.grey_water_to for use in getattr(work, "uses", ()) or ())]
    return {name for name in named if isinstance(name, str) and name in works}


def own_candidate(look: Look, group: Sequence[Placed], cost: Cost) -> Candidate:
    """Works of the site file that lean on each other, as one candidate."""
    works = tuple(dict.fromkeys(place.work.name for place in group))
    entries = tuple(next(p.work for p in group if p.work.name == name) for name in works)
    cells = np.unique(np.concatenate([p.cells for p in group]), axis=0)
    last = min(group, key=lambda p: p.sill_level)
    return Candidate(
        works[0] if len(works) == 1 else " and ".join(works), "own", entries, cells,
        _spills_on(look.inputs, last, cells),
        shapely.union_all([p.outline.buffer(EARTH) for p in group]),
        sum(p.curve.capacity for p in group), sum(float(p.curve.areas[-1]) for p in group),
        look.soaks(cells).rate if getattr(last.work, "infiltration", None) is None
        else last.work.infiltration, cost,
        max((p.basin.water_at_wall for p in group if p.basin is not None and p.basin.has_wall),
            default=0.0),
        sum(p.tree is not None for p in group) + sum(p.stand.count for p in group
                                                     if p.stand is not None),
        said=("The site file lists it, and it is not dug yet.",))


def _spills_on(inputs: Inputs, place: Placed, cells: Any) -> tuple[int, int]:
    """A cell that a work's spill runs on from."""
    own = {(int(r), int(c)) for r, c in cells}
    row, column = (int(i) for i in inputs.dem.row_column(place.spill_x, place.spill_y))
    rows, columns = inputs.dem.shape
    path = inputs.terrain.path(min(max(row, 0), rows - 1), min(max(column, 0), columns - 1))
    at = next((cell for cell in path if (int(cell[0]), int(cell[1])) not in own), path[-1])
    return int(at[0]), int(at[1])


def breaks_rules(look: Look, candidate: Candidate) -> bool:
    """Whether a work of the owner's takes ground that the rules of siting keep clear."""
    row, column = candidate.cells.T
    return bool((look.room[row, column] <= 0).any())
