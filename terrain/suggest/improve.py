"""Better choices by small changes: works taken in, left out, or put in another's place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.model import Model, aim_of
from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]

#: Less than this share of the aim is no gain.
NO_GAIN = 1e-9


def within(model: Model, chosen: Iterable[int], limits: Mapping[str, float]) -> bool:
    """Whether a choice keeps to the limits, to rounding."""
    chosen = list(chosen)
    return all(model.cost(chosen, name) <= most * (1 + 1e-9) for name, most in limits.items())


def improved(model: Model, chosen: frozenset[int], limits: Mapping[str, float],
             among: Iterable[int], stopped: Callable[[], bool] = lambda: False
             ) -> frozenset[int]:
    """A choice that no single change of the kinds below betters.

    Parameters
    ----------
    chosen : frozenset of int
        To begin with; it fits and keeps to the limits.
    among : iterable of int
        Candidates that may be taken in.

    Notes
    -----
    As long as anything is gained: take in the candidate that gains the most for its cost, those
    that it clashes with being left out; else put the one that gains the most in the place of any
    one other.
    """
    pool = sorted(set(among) | chosen | model.stands)
    part = model.part(pool)
    number = {j: i for i, j in enumerate(pool)}
    change = _Changes(part, limits)
    now = frozenset(number[j] for j in chosen)
    aim = change.aims(now, None)[1]
    while not stopped():
        aims, _ = change.aims(now, None)
        spent = change.spent(now)
        more = np.full(aims.size, -np.inf)
        np.subtract(aims, aim, out=more, where=np.isfinite(aims))
        worth = more / np.maximum(change.spent_with(now) - spent, 1e-6)
        best = int(np.argmax(np.where(more > NO_GAIN * max(aim, 1.0), worth, -np.inf)))
        if more[best] > NO_GAIN * max(aim, 1.0):
            now, aim = change.with_one(now, best), float(aims[best])
            continue
        found = None
        for out in sorted(now - part.stands):
            if stopped():
                break
            aims, _ = change.aims(now - {out}, out)
            best = int(np.argmax(aims))
            if aims[best] > aim * (1 + NO_GAIN) + 1e-12:
                found = change.with_one(now - {out}, best), float(aims[best])
                break
        if found is None:
            break
        now, aim = found
    return frozenset(pool[i] for i in now - part.stands)


class _Changes:
    """What every candidate would do to a choice, reckoned in one go."""

    def __init__(self, model: Model, limits: Mapping[str, float]) -> None:
        self.model = model
        count = model.count
        self.apart = np.zeros((count, count), np.bool_)
        for j, others in enumerate(model.apart):
            self.apart[j, sorted(others)] = True
        self.costs = np.array([model.costs[name] for name in limits]).reshape(len(limits), count)
        self.most = np.array(list(limits.values()), np.float64)
        self.stands = np.zeros(count, np.bool_)
        self.stands[sorted(model.stands)] = True

    def aims(self, now: frozenset[int], out: int | None) -> tuple[FloatArray, float]:
        """The aim with each candidate taken in, -inf where it may not be, and without any.

        Parameters
        ----------
        out : int, optional
            One that is not to come in again.
        """
        model = self.model
        built = np.zeros(model.count, np.bool_)
        built[sorted(now | model.stands)] = True
        found = np.full(model.count, -np.inf)
        own = _try_each(built, -1 if out is None else out, self.stands, self.apart, self.costs,
                        self.most * (1 + 1e-9), *model.arrays, found)  # type: ignore[call-arg]
        return found, float(own)

    def spent(self, now: frozenset[int]) -> float:
        """Of the limits, each as a share of it, together."""
        return float((self.costs[:, sorted(now)].sum(1) / self.most).sum())

    def spent_with(self, now: frozenset[int]) -> FloatArray:
        """The same with each candidate taken in, and those left out that it clashes with."""
        share = (self.costs / self.most[:, None]).sum(0)
        members = np.zeros(self.model.count)
        members[sorted(now)] = 1
        return np.asarray(self.spent(now) + share - self.apart @ (share * members))

    def with_one(self, now: frozenset[int], j: int) -> frozenset[int]:
        """A choice with a candidate taken in, and those left out that it clashes with."""
        return (now - self.model.apart[j]) | {j}


@kernel
def _try_each(built: NDArray[np.bool_], barred: int, stands: NDArray[np.bool_],
              apart: NDArray[np.bool_], costs: NDArray[np.float64], most: NDArray[np.float64],
              start: NDArray[np.int64], who: NDArray[np.int64], onward: NDArray[np.int64],
              own: NDArray[np.float64], spill: NDArray[np.int64], room: NDArray[np.float64],
              days: NDArray[np.float64], worth: NDArray[np.float64], gift: NDArray[np.float64],
              trees: NDArray[np.int64], thirst: NDArray[np.float64], found: NDArray[np.float64]
              ) -> float:
    """The aim with each candidate that may come in; returned is that without any."""
    count = built.size
    tried = np.empty(count, np.bool_)
    now = aim_of(built, start, who, onward, own, spill, room, days, worth, gift, trees, thirst)
    for j in range(count):
        if built[j] or j == barred:
            continue
        bars = False
        for i in range(count):
            tried[i] = built[i]
            if built[i] and apart[j, i]:
                tried[i] = False
                if stands[i]:
                    bars = True
        tried[j] = True
        for limit in range(most.size):
            cost = 0.0
            for i in range(count):
                if tried[i]:
                    cost += costs[limit, i]
            if cost > most[limit]:
                bars = True
        if not bars:
            found[j] = aim_of(tried, start, who, onward, own, spill, room, days, worth, gift,
                              trees, thirst)
    return now


def grown(model: Model, limits: Mapping[str, float], order: Iterable[int]) -> frozenset[int]:
    """A choice made by taking in candidates in an order, each that still fits and makes no spills
    run in a circle."""
    now: frozenset[int] = frozenset()
    for j in order:
        j = int(j)
        if (j not in model.stands and model.apart[j].isdisjoint(now | model.stands)
                and within(model, now | {j}, limits) and np.isfinite(model.aim(now | {j}))):
            now |= {j}
    return now
