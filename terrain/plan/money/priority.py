"""Which work next brings the most water for the money: one at a time, by greed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from terrain.plan.earth.cost import Range


@dataclass(frozen=True)
class Next:
    """One step of the order.

    Attributes
    ----------
    work : str
    cost : (float, float)
        Money for it, low and high.
    more : float
        Water kept in an average year beyond what the works before it keep; below 0 where it
        takes from them more than it keeps. [m3]
    kept : float
        By all works so far. [m3]
    alone : float
        What it would keep beyond what stands already, were it built first. [m3]
    """

    work: str
    cost: Range
    more: float
    kept: float
    alone: float

    @property
    def each(self) -> Range | None:
        """Money for each m3 more a year; None where it brings none."""
        if self.more <= NO_MORE:
            return None
        return self.cost[0] / self.more, self.cost[1] / self.more


#: Less water than this a year counts as none. [m3]
NO_MORE = 0.005


def next_best(costs: Mapping[str, Range], kept: Callable[[frozenset[str]], float]
              ) -> tuple[Next, ...]:
    """Order works so that each next one brings the most extra water for its money.

    Parameters
    ----------
    costs : mapping of str to (float, float)
        By work; the mean of low and high decides.
    kept : callable
        Water kept by a set of works. [m3]

    Notes
    -----
    Greedy: each step is the best given those before it, and two works that are good only
    together are found late.  A work that costs nothing comes first; of equals the first listed.
    """
    built: frozenset[str] = frozenset()
    now = kept(built)
    alone = {work: kept(frozenset({work})) - now for work in costs}
    order = []
    while len(built) < len(costs):
        left = [work for work in costs if work not in built]
        more = {work: kept(built | {work}) - now for work in left}
        best = max(left, key=lambda work: _worth(more[work], sum(costs[work]) / 2))
        built, now = built | {best}, now + more[best]
        order.append(Next(best, costs[best], more[best], now, alone[best]))
    return tuple(order)


def _worth(more: float, cost: float) -> tuple[int, float]:
    """Free water first, then water for money, then nothing, then less."""
    if more <= NO_MORE:
        return 0, more
    return (2, more) if cost <= 0 else (1, more / cost)
