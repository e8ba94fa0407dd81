"""What no layout can pass at any cost: the programme solved aside at a few, and told for all."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.model import Model
from terrain.suggest.programme import InPart, Programme
from terrain.surface.kernels import cores

FloatArray = NDArray[np.float64]

#: A programme that takes longer is given up: the other bounds hold. [s]
LONGEST = 90.0
#: Works count as too dear that pass a limit by more than this share of it.
ROUNDING = 1e-6


@dataclass(frozen=True)
class Solved:
    """The programme at one limit: what it may cost, and what was found.

    Attributes
    ----------
    limit : float
    found : InPart
    without : InPart
        Without works that alone pass the limit.
    """

    limit: float
    found: InPart
    without: InPart


@dataclass
class Bounds:
    """Bounds that come in while the search goes on.

    The programme is solved on threads of its own, as the solver frees the lock.  What it is worth
    to have more of a limit never rises with it, so a bound at one limit holds, with its price, for
    every other (duality).  A bound without works that are too dear for a limit holds for lower ones
    too.

    Attributes
    ----------
    model : Model
    axis : str
        The limit that is varied.
    others : mapping of str to float
        Limits that stay.
    """

    model: Model
    axis: str
    others: Mapping[str, float]
    _solved: list[Solved] = field(default_factory=list)
    _tight: dict[float, float] = field(default_factory=dict)
    _waiting: list[float] = field(default_factory=list)
    _threads: list[threading.Thread] = field(default_factory=list)

    def begin(self, limits: Sequence[float]) -> None:
        """Begin to solve the eased model at these limits, the first of them first."""
        eased = self._eased

        def solve(limit: float) -> None:
            programme = Programme(eased, {self.axis: limit, **self.others}, False)
            found = programme.in_part(seconds=LONGEST)
            self._solved.append(Solved(limit, found, programme.in_part(self._dear(limit),
                                                                       LONGEST)))
        self._start(solve, limits)

    def tighten(self, limits: Sequence[float]) -> None:
        """Begin to solve it with every kind of rain apart, which takes longer and tells more."""
        apart = self._apart

        def solve(limit: float) -> None:
            programme = Programme(apart, {self.axis: limit, **self.others}, False)
            self._tight[limit] = programme.in_part(self._dear(limit), LONGEST).best
        self._start(solve, limits)

    def _start(self, solve: Callable[[float], None], limits: Sequence[float]) -> None:
        self._waiting = list(limits)

        def work() -> None:
            while True:
                try:
                    solve(self._waiting.pop(0))
                except IndexError:
                    return
                except ValueError:  # it took too long
                    continue
        self._threads = [threading.Thread(target=work, daemon=True)
                         for _ in range(min(cores(), len(limits)))]
        for thread in self._threads:
            thread.start()

    @cached_property
    def _eased(self) -> Model:
        return self.model.eased()

    @cached_property
    def _apart(self) -> Model:
        return self.model.lowest()

    def _dear(self, limit: float) -> dict[int, bool]:
        """Candidates that alone pass a limit."""
        costs = self.model.costs[self.axis]
        return {int(j): False for j in np.flatnonzero(costs > limit * (1 + ROUNDING))
                if j not in self.model.stands}

    def wait(self, seconds: float) -> bool:
        """Whether all are solved, after that long at most."""
        for thread in self._threads:
            thread.join(seconds / max(len(self._threads), 1))
        return not any(thread.is_alive() for thread in self._threads)

    def at(self, limit: float) -> float:
        """What no choice of that cost can pass, by all that is known so far."""
        known = list(self._solved)
        least = [bound for at, bound in list(self._tight.items()) if at >= limit * (1 - 1e-9)]
        least += [one.without.best for one in known if one.limit >= limit * (1 - 1e-9)]
        least += [one.found.best + float(one.found.more[0]) * (limit - one.limit) for one in known]
        return min([self._everything, *least])

    def price(self, limit: float) -> float:
        """What one more of the limit would bring there at most; 0 where nothing is known yet."""
        near = self.nearest(limit)
        return 0.0 if near is None else float(near.without.more[0])

    def nearest(self, limit: float) -> Solved | None:
        """The programme solved at the limit nearest to one."""
        known = sorted(self._solved, key=lambda one: one.limit)
        return min(known, key=lambda one: abs(one.limit - limit)) if known else None

    @property
    def _everything(self) -> float:
        """All that could ever be reached: every drop, or every tree."""
        model = self.model
        if model.trees is not None:
            return float(model.trees.sum())
        water = float(model.network.own.sum(0) @ model.days)
        return water * float(model.worth.max(initial=0.0)) + float(model.gift.sum())
