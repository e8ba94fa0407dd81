"""Works as they are drawn and named: one by one, or the bowls of a tree basin as one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.plan.planned import Plan


@dataclass(frozen=True)
class Group:
    """Works drawn and labelled as one: a single work, or the bowls of a tree basin."""

    name: str
    kind: str
    members: tuple[int, ...]


def groups_of(plan: Plan) -> list[Group]:
    """Works as they are labelled: the bowls of a tree basin as one."""
    together: dict[str, list[int]] = {}
    for index, planned in enumerate(plan.stores):
        together.setdefault(planned.placed.work.name, []).append(index)
    return [Group(name if len(members) == 1 else f"{name} 1–{len(members)}",
                  plan.stores[members[0]].placed.kind, tuple(members))
            for name, members in together.items()]


def tints_of(labels: NDArray[np.int32], groups: list[tuple[int, ...]]) -> list[int]:
    """A tint for each group so that no two that touch share one, while tints last.

    Parameters
    ----------
    labels : int32, shape (rows, columns)
        Member + 1 of each cell; 0 for none.

    Returns
    -------
    tints : list of int
        Indices into `symbols.TINTS`; the largest catchment takes the first.
    """
    group_of = np.zeros(max((m for g in groups for m in g), default=0) + 2, np.int64)
    for number, members in enumerate(groups, 1):
        group_of[np.array(members) + 1] = number
    marked = group_of[np.clip(labels, 0, len(group_of) - 1)]
    touching: dict[int, set[int]] = {n: set() for n in range(1, len(groups) + 1)}
    for a, b in ((marked[1:], marked[:-1]), (marked[:, 1:], marked[:, :-1]),
                 (marked[1:, 1:], marked[:-1, :-1]), (marked[1:, :-1], marked[:-1, 1:])):
        met = (a != b) & (a > 0) & (b > 0)
        for one, other in np.unique(np.stack([a[met], b[met]], 1), axis=0):
            touching[int(one)].add(int(other))
            touching[int(other)].add(int(one))
    sizes = np.bincount(marked.ravel(), minlength=len(groups) + 1)
    chosen: dict[int, int] = {}
    used = [0] * len(sy.TINTS)
    for number in sorted(touching, key=lambda n: (-sizes[n], n)):
        taken = {chosen[n] for n in touching[number] if n in chosen}
        free = [t for t in range(len(sy.TINTS)) if t not in taken] or list(range(len(sy.TINTS)))
        tint = min(free, key=lambda t: (used[t], t))
        chosen[number] = tint
        used[tint] += 1
    return [chosen[n] for n in range(1, len(groups) + 1)]
