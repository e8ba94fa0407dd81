"""The model as a mixed-integer programme, and as one in which works may be built in part.

Each candidate is built or not; the water of each kind of rain flows through the network, into what
is built and on from its sill.  Every choice that can be built is a solution with the same water, so
the bound of either programme holds for all choices, whether it was solved to the end or not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, vstack

from terrain.suggest.model import Model
from terrain.suggest.network import OUT

FloatArray = NDArray[np.float64]

#: A variable above this counts as built.
BUILT = 0.5
#: Solvers keep to rows and to whole numbers within about this share; bounds are raised by it.
SLACK = 1e-6
#: Rounds in which the water that may come to a node is looked for.
ROUNDS = 60


@dataclass(frozen=True)
class Whole:
    """What the programme says in which works are built or not.

    Attributes
    ----------
    chosen : frozenset of int or None
        The best choice met; None where none was met in time.
    bound : float
        No choice within the limits reaches more.
    """

    chosen: frozenset[int] | None
    bound: float


@dataclass(frozen=True)
class InPart:
    """What the programme says in which works may be built in part.

    Attributes
    ----------
    best : float
        No choice within the limits reaches more.
    share : float64, shape (candidates,)
        How much of each is built.
    more : float64, shape (limits,)
        What one more of each limit would bring at most.
    loss : float64, shape (candidates,)
        A choice with this candidate reaches no more than `best` less this.
    """

    best: float
    share: FloatArray
    more: FloatArray
    loss: FloatArray


class _Rows:
    """Rows of a sparse system, in the order they are added."""

    def __init__(self) -> None:
        self.at: list[int] = []
        self.columns: list[int] = []
        self.values: list[float] = []
        self.bounds: list[float] = []

    def add(self, entries: list[tuple[int, float]], bound: float) -> None:
        self.at += [len(self.bounds)] * len(entries)
        self.columns += [column for column, _ in entries]
        self.values += [value for _, value in entries]
        self.bounds.append(bound)

    def matrix(self, width: int) -> csr_array:
        shape = len(self.bounds), width
        return csr_array(coo_array((self.values, (self.at, self.columns)), shape=shape))


class Programme:
    """The rows and columns of a model within limits.

    Columns: candidates built; trees, where they are the aim; then for each kind of rain what passes
    each node, what of each node goes into each candidate there, what each keeps and spills.
    """

    def __init__(self, model: Model, limits: Mapping[str, float], whole: bool) -> None:
        self.model, self.whole = model, whole
        network, self.kinds = model.network, model.days.size
        self.nodes, self.count = len(network.crossing), model.count
        self.into = [(v, j) for v, crossing in enumerate(network.crossing) for j in crossing]
        self.most = most_through(model)
        self.start = self.count * (1 if model.trees is None else 2)
        self.per_kind = self.nodes + len(self.into) + 2 * self.count
        self.width = self.start + self.kinds * self.per_kind
        self.equal, self.less = _Rows(), _Rows()
        self.lower, self.upper = np.zeros(self.width), np.ones(self.width)
        self.lower[sorted(model.stands)] = 1.0
        self.worth = np.zeros(self.width)
        for clash in model.clashes:
            self.less.add([(j, 1.0) for j in clash], 1.0)
        for name, most in limits.items():
            self.less.add([(j, float(c)) for j, c in enumerate(model.costs[name]) if c], most)
        self.limits = len(limits)
        for kind in range(self.kinds):
            self._flows(kind)
        if model.trees is not None:
            self._trees()

    def _places(self, kind: int) -> tuple[int, int, int, int]:
        """First columns of a kind: passing, into, kept, spilled."""
        on = self.start + kind * self.per_kind
        to_store = on + self.nodes
        return on, to_store, to_store + len(self.into), to_store + len(self.into) + self.count

    def _flows(self, kind: int) -> None:
        model, network = self.model, self.model.network
        on, to_store, kept, spilt = self._places(kind)
        through, room = self.most[:, kind], model.room[:, kind]
        inflow = np.zeros(self.count)
        balance: list[list[tuple[int, float]]] = [[(on + v, 1.0)] for v in range(self.nodes)]
        store: list[list[tuple[int, float]]] = [
            [(kept + j, -1.0), (spilt + j, -1.0)] for j in range(self.count)]
        for i, (v, j) in enumerate(self.into):
            balance[v].append((to_store + i, 1.0))
            store[j].append((to_store + i, 1.0))
            inflow[j] += through[v]
            self.upper[to_store + i] = through[v]
        for v, to in enumerate(network.next.tolist()):
            if to != OUT:
                balance[to].append((on + v, -1.0))
        for j, to in enumerate(network.spill.tolist()):
            if to != OUT:
                balance[to].append((spilt + j, -1.0))
        for v in range(self.nodes):
            self.equal.add(balance[v], float(network.own[v, kind]))
        for j in range(self.count):
            self.equal.add(store[j], 0.0)
            self.less.add([(kept + j, 1.0), (j, -float(min(room[j], inflow[j])))], 0.0)
            self.less.add([(spilt + j, 1.0), (j, -float(inflow[j]))], 0.0)
        self.upper[on:to_store] = through
        self.upper[kept:spilt] = np.minimum(room, inflow)
        self.upper[spilt:spilt + self.count] = inflow
        if model.trees is None:
            self.worth[:self.count] = model.gift
            self.worth[kept:spilt] = model.worth * model.days[kind]
        if self.whole:  # what passes a node passes nothing that is built there
            for v, crossing in enumerate(network.crossing):
                if through[v] > 0:
                    self.less.add([(on + v, 1.0), *((j, float(through[v])) for j in crossing)],
                                  float(through[v]))
            for i, (v, j) in enumerate(self.into):
                self.less.add([(to_store + i, 1.0), (j, -float(through[v]))], 0.0)

    def _trees(self) -> None:
        model = self.model
        assert model.trees is not None
        assert model.thirst is not None
        kept = [self._places(kind)[2] for kind in range(self.kinds)]
        for j in range(self.count):
            at = self.count + j
            self.worth[at], self.upper[at] = 1.0, float(model.trees[j])
            self.less.add([(at, 1.0), (j, -float(model.trees[j]))], 0.0)
            self.less.add([(at, float(model.thirst[j])),
                           *((k + j, -float(days)) for k, days in
                             zip(kept, model.days, strict=True))], 0.0)

    def in_part(self, fixed: Mapping[int, bool] | None = None, seconds: float = np.inf) -> InPart:
        """Solve it as if works could be built in part.

        Parameters
        ----------
        fixed : mapping of int to bool, optional
            Candidates that are built whole, or not at all.
        seconds : float
            That it may take at most.

        Returns
        -------
        found : InPart
            Its best is -inf where nothing keeps to the limits.

        Raises
        ------
        ValueError
            If the time was too short.
        """
        lower, upper = self.lower.copy(), self.upper.copy()
        for j, built in (fixed or {}).items():
            lower[j] = upper[j] = float(built)
        found: Any = linprog(
            -self.worth, A_eq=self.equal.matrix(self.width), b_eq=self.equal.bounds,
            A_ub=self.less.matrix(self.width), b_ub=self.less.bounds,
            bounds=np.column_stack([lower, upper]), method="highs-ds",
            options={"time_limit": seconds})
        if found.status == 2:
            none = np.zeros(self.count)
            return InPart(-np.inf, none, np.zeros(self.limits), none)
        if found.status != 0:
            raise ValueError(f"the programme was not solved ({found.message})")
        groups = len(self.model.clashes)
        more = -found.ineqlin.marginals[groups:groups + self.limits]
        return InPart(float(-found.fun) * (1 + SLACK) + SLACK, found.x[:self.count],
                      np.maximum(more, 0.0),
                      np.maximum(found.lower.marginals[:self.count], 0.0))

    def solved(self, seconds: float, gap: float = 0.0) -> Whole:
        """The best choice that is met in so many seconds, and the bound proven by then.

        Parameters
        ----------
        gap : float
            Where the bound is no further off than this share, the search ends.
        """
        kind = np.zeros(self.width)
        kind[:self.count] = 1
        equal = self.equal.matrix(self.width)
        rows = csr_array(vstack([equal, self.less.matrix(self.width)]))
        low = np.concatenate([self.equal.bounds, np.full(len(self.less.bounds), -np.inf)])
        high = np.concatenate([self.equal.bounds, self.less.bounds])
        found = milp(-self.worth, integrality=kind, bounds=Bounds(self.lower, self.upper),
                     constraints=LinearConstraint(rows, low, high),
                     options={"time_limit": seconds, "mip_rel_gap": gap})
        chosen = None
        if found.x is not None:
            chosen = frozenset(np.flatnonzero(found.x[:self.count] > BUILT).tolist())
        bound = found.mip_dual_bound
        if bound is None or not np.isfinite(bound):
            bound = -np.inf
        return Whole(chosen, float(-bound) * (1 + SLACK) + SLACK)


def most_through(model: Model) -> FloatArray:
    """The most water that may come to each node, whatever is built, shape (nodes, kinds). [m3]"""
    network = model.network
    total = network.own.sum(0)
    who = np.array([j for c in network.crossing for j in c], np.int64)
    nodes = np.repeat(np.arange(network.next.size), [len(c) for c in network.crossing])
    spilt = np.zeros((model.count, total.size))
    leads = network.spill != OUT
    for _ in range(ROUNDS):
        through: FloatArray = network.own.copy()
        np.add.at(through, network.spill[leads], spilt[leads])
        for node in range(network.next.size - 1, -1, -1):  # a node stands behind the next one
            if network.next[node] != OUT:
                through[network.next[node]] += through[node]
        through = np.minimum(through, total)
        more = np.zeros_like(spilt)
        np.add.at(more, who, through[nodes])
        more = np.minimum(more, total)
        if np.allclose(more, spilt, rtol=1e-9, atol=1e-12):
            return through
        spilt = more
    return np.broadcast_to(total, network.own.shape).copy()
