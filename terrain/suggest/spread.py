"""Which of many places come first: the best, all over the site."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import TypeVar

Place = TypeVar("Place")


def spread(found: Sequence[Place], worth: Callable[[Place], float],
           where: Callable[[Place], Hashable]) -> list[Place]:
    """The best of each neighbourhood by falling worth, then the second best of each, and so on."""
    order = sorted(range(len(found)), key=lambda i: (-worth(found[i]), i))
    seen: dict[Hashable, int] = {}
    ranked: list[tuple[int, int, int]] = []
    for i in order:
        here = where(found[i])
        seen[here] = seen.get(here, 0) + 1
        ranked.append((seen[here], len(ranked), i))
    return [found[i] for _, _, i in sorted(ranked)]
