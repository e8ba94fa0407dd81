"""The front: for each of several costs the best layout that the model knows, and its bound."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.bounds import Bounds
from terrain.suggest.improve import grown, improved
from terrain.suggest.model import Model
from terrain.suggest.programme import Programme

FloatArray = NDArray[np.float64]

#: The front's points, as shares of the most that may be spent.
SHARES = (0.08, 0.16, 0.25, 0.35, 0.5, 0.65, 0.8, 1.0)
#: Where the programme is solved as if works could be built in part, the most telling first.
SOLVED_AT = (1.0, 0.25, 0.5, 0.08, 0.16, 0.35, 0.65, 0.8)
#: Of so few candidates the programme is solved to the end, within so long. [s]
FEW, TO_THE_END = 60, 20.0
#: A layout may pass its bound by this share: the solver's own rounding.
ROUNDING = 1e-5
#: Candidates that small changes choose among.
POOL = 350
#: Times that a choice is shaken, and the works that are then left out.
SHAKES, SHAKEN = 12, 3
#: Of so many of the largest candidates each is tried as the first of a choice, and the best so many
#: of these choices are bettered.
LARGE, BEGUN = 12, 3
#: With nothing said, as much may be spent as brings this share of all that could be had.
ENOUGH = 0.8


@dataclass(frozen=True)
class Layout:
    """A choice within a limit.

    Attributes
    ----------
    chosen : frozenset of int
    limit, cost : float
    aim, bound : float
        By the model.
    price : float
        What one more of the limit would bring, where works may be built in part.
    """

    chosen: frozenset[int]
    limit: float
    cost: float
    aim: float
    bound: float
    price: float


class Search:
    """The best layouts for any limit.

    Parameters
    ----------
    model : Model
    free : sequence of int
        Candidates that may be proposed.
    axis : str
        The limit that is varied.
    others : mapping of str to float
        Limits that stay.
    stopped : callable
    """

    def __init__(self, model: Model, free: Sequence[int], axis: str, others: Mapping[str, float],
                 stopped: Callable[[], bool] = lambda: False) -> None:
        kept = [*free, *sorted(model.stands)]
        self.number = dict(enumerate(kept))
        self.model = model.part(kept)
        self.free = list(range(len(free)))
        self.axis, self.others, self.stopped = axis, dict(others), stopped
        self.bounds = Bounds(self.model, axis, self.others)
        self.base = self.model.aim(())
        alone = np.array([self.model.aim([j]) - self.base for j in self.free])
        cost = np.maximum(self.model.costs[axis][:len(free)], 1e-9)
        self.order = np.argsort(-alone / cost, kind="stable")
        self.alone = alone
        #: Whether the programme is solved wherever it is to be.
        self.all_bounds = False
        #: Choices met on the way, by the aim that they reach.
        self.met: dict[frozenset[int], float] = {}
        #: By limit: what the whole programme proved, and the choice it met.
        self._proven: dict[float, float] = {}
        self._chosen: dict[float, frozenset[int]] = {}

    def most_worth(self) -> float:
        """What may be spent where nothing is said: enough for most of what could be had."""
        chosen = improved(self.model, frozenset(), {self.axis: np.inf, **self.others},
                          self.order[:POOL], self.stopped) if self.free else frozenset()
        aim = self.model.aim(chosen)
        now: frozenset[int] = frozenset()
        for j in self.order.tolist():
            if j in chosen:
                now |= {j}
                if self.model.aim(now) - self.base >= ENOUGH * (aim - self.base):
                    break
        return max(self.model.cost(now, self.axis), 1e-9)

    def front(self, most: float) -> list[Layout]:
        """Layouts for rising limits up to one; fewer where the search is stopped."""
        limits = [share * most for share in SHARES]
        few = len(self.free) <= FEW
        self.bounds.begin([share * most for share in SOLVED_AT])
        found: list[Layout] = []
        now: frozenset[int] = frozenset()
        for limit in limits:
            if self.stopped() and found:
                break
            now = self._best(now, limit, few)
            found.append(self._layout(now, limit))
        if not self.stopped():
            self._wait()
            self.all_bounds = not self.stopped()
            found = found if few else [self._again(one) for one in found]
        if len(found) < len(limits):  # stopped: at least something for all that may be spent
            found.append(self._layout(self._grown(most), most))
        return _rising([self._bounded(one) for one in found])

    def _wait(self) -> None:
        while not self.bounds.wait(0.5) and not self.stopped():
            pass

    def _limits(self, limit: float) -> dict[str, float]:
        return {self.axis: limit, **self.others}

    def _pool(self, limit: float) -> list[int]:
        """Candidates that changes choose among.  What the programme says counts once all of it is
        there, so that every search goes the same way."""
        near = self.bounds.nearest(limit) if self.all_bounds else None
        pool = set(self.order[:POOL].tolist())
        if near is not None:
            for one in (near.found, near.without):
                pool |= set(np.flatnonzero(one.share > 1e-6).tolist())
            pool |= set(np.argsort(near.without.loss, kind="stable")[:POOL // 2].tolist())
        return sorted(pool & set(self.free))

    def _grown(self, limit: float) -> frozenset[int]:
        return grown(self.model, self._limits(limit), self.order)

    def _best(self, now: frozenset[int], limit: float, few: bool) -> frozenset[int]:
        limits = self._limits(limit)
        if few:
            whole = Programme(self.model, limits, True).solved(TO_THE_END)
            if whole.chosen is not None:
                self._proven[limit] = whole.bound
                now = whole.chosen - self.model.stands
        return self._searched([now, self._grown(limit), *self._about_large(limit)], limit)

    def _about_large(self, limit: float) -> list[frozenset[int]]:
        """Choices grown about one of the candidates that bring the most alone, the best few."""
        large: list[int] = []
        for j in np.argsort(-self.alone, kind="stable").tolist():
            if len(large) == LARGE:
                break
            if self.model.costs[self.axis][j] <= limit and self.model.apart[j].isdisjoint(large):
                large.append(j)
        found = [grown(self.model, self._limits(limit), [j, *self.order.tolist()]) for j in large]
        return sorted(found, key=lambda one: (-self.model.aim(one), sorted(one)))[:BEGUN]

    def _searched(self, begins: Sequence[frozenset[int]], limit: float) -> frozenset[int]:
        """The best choice met from several to begin with, each shaken a few times."""
        limits, pool = self._limits(limit), self._pool(limit)
        best = max((self._kept(improved(self.model, one, limits, pool, self.stopped))
                    for one in begins), key=self.model.aim)
        random = np.random.default_rng(len(best) + 1)  # the same search every time
        for _ in range(SHAKES if self.free else 0):
            if self.stopped() or not best:
                break
            out = random.choice(sorted(best), min(SHAKEN, len(best)), replace=False)
            barred = {int(j) for j in out[:1]}
            tried = improved(self.model, best - {int(j) for j in out}, limits,
                             [j for j in pool if j not in barred], self.stopped)
            tried = self._kept(improved(self.model, tried, limits, pool, self.stopped))
            if self.model.aim(tried) > self.model.aim(best):
                best = tried
        return best

    def _kept(self, chosen: frozenset[int]) -> frozenset[int]:
        self.met[chosen] = self.model.aim(chosen)
        return chosen

    def _layout(self, chosen: frozenset[int], limit: float) -> Layout:
        return Layout(chosen, limit, self.model.cost(chosen, self.axis), self.model.aim(chosen),
                      np.inf, 0.0)

    def _again(self, one: Layout) -> Layout:
        """A layout with what the programme chose in part as another beginning; and where few
        candidates could still better it, the programme of these solved to the end."""
        near = self.bounds.nearest(one.limit)
        if near is None or self.stopped():
            return one
        shares = [near.found.share, near.without.share]
        begins = [grown(self.model, self._limits(one.limit),
                        [j for j in np.argsort(-share, kind="stable").tolist()
                         if j < len(self.free)]) for share in shares]
        chosen = self._searched([one.chosen, *begins], one.limit)
        self._solve_left(chosen, one.limit)
        proven = self._chosen.get(one.limit)
        if proven is not None and self.model.aim(proven) > self.model.aim(chosen):
            chosen = self._kept(proven)
        return self._layout(chosen, one.limit)

    def _solve_left(self, chosen: frozenset[int], limit: float) -> None:
        """Solve for the candidates that may be part of a better choice, if they are few."""
        aim = self.model.aim(chosen)
        near = self.bounds.nearest(limit)
        assert near is not None
        best = near.found.best + float(near.found.more[0]) * (limit - near.limit)
        left = [j for j in self.free if best - near.found.loss[j] >= aim]
        if not 0 < len(left) <= FEW:
            return
        subset = sorted({*left, *self.model.stands})
        part = self.model.part(subset)
        whole = Programme(part, self._limits(limit), True).solved(TO_THE_END)
        self._proven[limit] = max(whole.bound, aim)
        if whole.chosen is not None:
            self._chosen[limit] = frozenset(subset[i] for i in whole.chosen
                                               ) - self.model.stands

    def tighten(self, limits: Sequence[float]) -> None:
        """Begin to prove closer bounds for a few limits."""
        if len(self.free) > FEW and not self.stopped():
            self.bounds.tighten(limits)

    def tightened(self, one: Layout) -> Layout:
        """A layout with the closer bound, once that is there."""
        self._wait()
        return self._bounded(one)

    def _bounded(self, one: Layout) -> Layout:
        bound = min(self.bounds.at(one.limit), self._proven.get(one.limit, np.inf))
        if one.aim > bound * (1 + ROUNDING):
            raise ArithmeticError(f"a layout reaches {one.aim:g}, over the bound of {bound:g}")
        return replace(one, bound=max(bound, one.aim), price=self.bounds.price(one.limit))

    def best_for(self, cost: float) -> frozenset[int]:
        """The best choice that is met for a cost."""
        known = [one for one, _ in sorted(self.met.items(), key=lambda pair: -pair[1])
                 if self.model.cost(one, self.axis) <= cost * (1 + 1e-9)]
        if self.stopped():
            return known[0] if known else frozenset()
        return self._searched([*known[:1], self._grown(cost)], cost)

    def bound_at(self, cost: float) -> float:
        """What no choice of that cost can pass."""
        return self.bounds.at(cost)


def _rising(found: Sequence[Layout]) -> list[Layout]:
    """The layouts that no cheaper one betters, by rising cost, each once."""
    kept: list[Layout] = []
    for one in sorted(found, key=lambda one: (one.limit, -one.aim)):
        if not kept or one.aim > kept[-1].aim * (1 + 1e-9):
            kept.append(one)
    return kept


def knee_of(costs: Sequence[float], aims: Sequence[float]) -> int | None:
    """The point of a rising front that lies furthest over the line from its first to its last.

    None where no point lies over it.

    References
    ----------
    .. [1] Satopaa, V., Albrecht, J., Irwin, D. and Raghavan, B., 2011: Finding a "kneedle" in a
       haystack. 31st International Conference on Distributed Computing Systems Workshops: for a
       concave front the greatest distance from the chord (from memory).
    """
    if len(costs) < 3 or costs[-1] <= costs[0] or aims[-1] <= aims[0]:
        return None
    x = (np.asarray(costs) - costs[0]) / (costs[-1] - costs[0])
    y = (np.asarray(aims) - aims[0]) / (aims[-1] - aims[0])
    best = int(np.argmax(y - x))
    return best if y[best] - x[best] > 1e-9 else None
