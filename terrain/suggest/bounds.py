"""What no layout can pass at any cost: the programme solved aside at a few, and told for all."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.suggest.model import Model
from terrain.suggest.programme import InPart, Programme
from terrain.surface.kernels import cores

FloatArray = NDArray[np.float64]

#: A programme that takes longer is given up. [s]
LONGEST = 90.0
#: Then works are built or not, and branches are looked at for so long, or until no more than this
#: share is open. [s]
BRANCHED, CLOSE = 8.0, 2e-3


@dataclass(frozen=True)
class Solved:
    """The programme at one limit: what it may cost, and what was found."""

    limit: float
    found: InPart


@dataclass
class Bounds:
    """Bounds that come in while the search goes on.

    The programme is solved on threads of its own, as the solver frees the lock.  What it is worth
    to have more of a limit never rises with it, so a bound at one limit holds, with its price, for
    every other (duality).

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
    _proven: dict[float, float] = field(default_factory=dict)
    _waiting: list[float] = field(default_factory=list)
    _then: list[tuple[float, Programme]] = field(default_factory=list)
    _threads: list[threading.Thread] = field(default_factory=list)

    @cached_property
    def _eased(self) -> Model:
        """What is solved in the model's place."""
        return self.model.eased()

    def begin(self, limits: Sequence[float]) -> None:
        """Begin to solve at these limits, the first of them first."""
        self._waiting = list(limits)
        assert self._eased is not None  # before the threads ask for it
        self._threads = [threading.Thread(target=self._work, daemon=True)
                         for _ in range(min(cores(), len(limits)))]
        for thread in self._threads:
            thread.start()

    def _work(self) -> None:
        while self._waiting:
            try:
                limit = self._waiting.pop(0)
            except IndexError:
                return
            programme = Programme(self._eased, {self.axis: limit, **self.others}, False)
            try:
                self._solved.append(Solved(limit, programme.in_part(LONGEST)))
            except ValueError:  # it took too long: the other bounds hold
                continue
            self._then.append((limit, programme))
        while self._then:
            try:
                limit, programme = self._then.pop(0)
            except IndexError:
                return
            self._proven[limit] = programme.solved(BRANCHED, CLOSE).bound

    def wait(self, seconds: float) -> bool:
        """Whether all are solved, after that long at most."""
        for thread in self._threads:
            thread.join(seconds / max(len(self._threads), 1))
        return not any(thread.is_alive() for thread in self._threads)

    def at(self, limit: float) -> float:
        """What no choice of that cost can pass, by all that is known so far."""
        more = [bound for at, bound in list(self._proven.items()) if at >= limit * (1 - 1e-9)]
        return min([self._everything, *more, *(one.found.best + float(one.found.more[0])
                                        * (limit - one.limit) for one in list(self._solved))])

    def price(self, limit: float) -> float:
        """What one more of the limit would bring there at most; 0 where nothing is known yet."""
        known = list(self._solved)
        if not known:
            return 0.0
        tightest = min(known, key=lambda one: one.found.best + float(one.found.more[0])
                       * (limit - one.limit))
        return float(tightest.found.more[0])

    def nearest(self, limit: float) -> Solved | None:
        """The programme solved at the limit nearest to one."""
        known = list(self._solved)
        return min(known, key=lambda one: abs(one.limit - limit)) if known else None

    @property
    def _everything(self) -> float:
        """All that could ever be reached: every drop, or every tree."""
        model = self.model
        if model.trees is not None:
            return float(model.trees.sum())
        water = float(model.network.own.sum(0) @ model.days)
        return water * float(model.worth.max(initial=0.0)) + float(model.gift.sum())
