"""The rain record with some works not yet built: what the others then keep."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.water_balance import OPEN_WATER_FACTOR, SeasonRun, live, run_seasons
from terrain.runoff.catchment import Catchment
from terrain.works.roof import RoofCatchment
from terrain.works.store import Curve

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
#: What a node passes on, what of it its pump cannot lift, the grey water of each of its uses, each
#: day; what it keeps a year. [m3]
Passes = tuple[FloatArray, FloatArray, list[FloatArray], float]
#: A store that holds nothing and loses nothing hands on all that comes to it.
_NOTHING = Curve(np.array([0.0, 1.0]), np.zeros(2), np.array([0.0, 1e-12]))


def natural_ways(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed]) -> list[int | None]:
    """For each node the one that its water meets next while the work does not stand yet.

    Down the ground from the cell of the work to which most ground drains; of a tank from the
    middle of its largest roof.  Other works of one entry are passed.  None: off the site.
    """
    terrain, dem = inputs.terrain, inputs.dem
    taken = np.zeros(dem.shape, np.int32)
    for index, place in enumerate(placed):
        own = place.cells[taken[place.cells[:, 0], place.cells[:, 1]] == 0]
        taken[own[:, 0], own[:, 1]] = index + 1
    entries = np.array([-1, *(_entry(placed, place) for place in placed)])
    found: list[int | None] = []
    for place, node in zip(placed, cascade.nodes, strict=True):
        cells = place.cells
        if place.kind == "tank":
            roofs = [roof for roof in inputs.ground.roofs if roof.name in node.roof.names]
            cells = (np.argwhere(max(roofs, key=lambda roof: roof.area).cells) if roofs else
                     np.zeros((0, 2), np.int64))
            start = cells[len(cells) // 2] if len(cells) else None
        else:
            start = (cells[int(np.argmax(terrain.contributing_area[cells[:, 0], cells[:, 1]]))]
                     if len(cells) else None)
        if start is None:
            found.append(node.spills_to)
            continue
        stop = (taken > 0) & (entries[taken] != _entry(placed, place))
        row, column = terrain.path(int(start[0]), int(start[1]), stop)[-1]
        met = int(taken[row, column])
        found.append(met - 1 if met > 0 and bool(stop[row, column]) else None)
    return found


def _entry(placed: Sequence[Placed], place: Placed) -> int:
    return next(i for i, other in enumerate(placed) if other.work.name == place.work.name)


def ground_numbers(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed]) -> list[float]:
    """Mean curve number of the ground that each work takes, or of the roofs that feed it."""
    numbers = inputs.ground.curve_number
    found = []
    for place, node in zip(placed, cascade.nodes, strict=True):
        cells = [numbers[place.cells[:, 0], place.cells[:, 1]]] if place.kind != "tank" else [
            numbers[roof.cells] for roof in inputs.ground.roofs if roof.name in node.roof.names]
        every = np.concatenate([*cells, np.zeros(0)])
        every = every[np.isfinite(every)]
        found.append(float(every.mean()) if every.size else 100.0)
    return found


def without_store(node: Node, number: float) -> Node:
    """A node whose work does not stand yet: nothing is held, its water surface is ground of a
    curve number, and so are its roofs, which shed all round."""
    ground = node.catchment
    if node.store.kind == "tank":
        ground = (Catchment(np.array([number]), np.array([node.roof.area]), np.zeros(1),
                            rule=ground.rule) if node.roof.area else ground)
    elif ground.direct is not None:
        water = ground.direct & (ground.curve_numbers == 100)
        ground = replace(ground, curve_numbers=np.where(water, number, ground.curve_numbers))
    store = replace(node.store, curve=_NOTHING, infiltration=0.0, demand=0.0, open_water=False,
                    uses=(), top_up=None)
    return replace(node, store=store, catchment=ground, roof=RoofCatchment(0.0, 0.0), grey_to=(),
                   lifts=None, over_to=None)


def downhill_ways(cascade: Cascade, natural: Sequence[int | None]) -> list[int | None]:
    """The natural ways, but where one would lead round to where it comes from the owner's way."""
    ahead: list[set[int]] = [{to for to in (*node.takers, *node.grey_to) if to is not None}
                             for node in cascade.nodes]
    found: list[int | None] = []
    for index, to in enumerate(natural):
        if to is not None and (to == index or index in _reached(ahead, to)):
            to = cascade.nodes[index].spills_to
        elif to is not None:
            ahead[index].add(to)
        found.append(to)
    return found


def _reached(ahead: Sequence[Collection[int]], start: int) -> set[int]:
    seen, todo = set(), [start]
    while todo:
        index = todo.pop()
        if index not in seen:
            seen.add(index)
            todo += ahead[index]
    return seen


@dataclass
class Partly:
    """The record lived through by any part of the works; what was reckoned is kept.

    Attributes
    ----------
    cascade : Cascade
    run : SeasonRun
        Of all works.
    bare : SeasonRun
        Of none: each node's own runoff as `without_store` has it.
    ways : list of int or None
        Where each node's water goes without its work, as by `downhill_ways`.
    evaporation : float64, shape (days,)
        Of open water. [mm]
    """

    cascade: Cascade
    run: SeasonRun
    bare: SeasonRun
    ways: list[int | None]
    evaporation: FloatArray
    _found: dict[tuple[int, frozenset[int]], Passes] = field(default_factory=dict)
    _above: list[frozenset[int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._above = [frozenset(self._all_above(index)) for index in range(len(self.ways))]

    def kept(self, built: Collection[int]) -> float:
        """What the built nodes keep of rain, runoff and spills in an average year. [m3]

        Parameters
        ----------
        built : collection of int
            Nodes whose works stand.
        """
        stand = frozenset(built)
        return sum(self._node(index, stand)[3] for index in sorted(stand))

    def _from_above(self, index: int, built: frozenset[int]) -> list[FloatArray]:
        found = []
        for i, node in enumerate(self.cascade.nodes):
            if index in (node.takers if i in built else (self.ways[i],)):
                spilled, over, _, _ = self._node(i, built)
                given = node.given(spilled, over) if i in built else [(self.ways[i], spilled)]
                found += [part for to, part in given if to == index]
        return found

    def _all_above(self, index: int) -> set[int]:
        behind: list[set[int]] = [set() for _ in self.ways]
        for i, node in enumerate(self.cascade.nodes):
            for to in (*node.takers, self.ways[i], *node.grey_to):
                if to is not None:
                    behind[to].add(i)
        return _reached(behind, index)

    def _node(self, index: int, built: frozenset[int]) -> Passes:
        """The same node among the same works above it gives the same."""
        key = index, built & self._above[index]
        if key not in self._found:
            self._found[key] = self._live(index, built)
        return self._found[key]

    def _live(self, index: int, built: frozenset[int]) -> Passes:
        nodes, run = self.cascade.nodes, self.run
        came = (run.stores[index].runoff + run.stores[index].roof if index in built else
                self.bare.stores[index].runoff)
        for part in self._from_above(index, built):
            came = came + part
        grey = np.zeros(came.size)
        for i in sorted(built):
            for number, to in enumerate(nodes[i].grey_to):
                if to == index:
                    grey = grey + self._node(i, built)[2][number]
        if index not in built:
            return came + grey, np.zeros(came.size), [], 0.0
        store = nodes[index].store
        lived = live(store, came + grey, np.asarray(run.days.month, np.int64) - 1,
                     self.evaporation * store.open_water, lifts=nodes[index].lifts)
        return (lived.spilled, lived.over, [part.use.grey * part.used for part in lived.uses],
                run.mean(came - lived.spilled))


def partly(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed], run: SeasonRun,
           continuous: bool) -> Partly | None:
    """Make ready to live through the record with any part of the works; None without a record."""
    if inputs.record is None:
        return None
    reference = None if inputs.evaporation is None else inputs.evaporation.daily
    ways = downhill_ways(cascade, natural_ways(inputs, cascade, placed))
    numbers = ground_numbers(inputs, cascade, placed)
    return partly_of(cascade, inputs.record.depths, run, ways, numbers, reference, continuous)


def partly_of(cascade: Cascade, record: pd.Series, run: SeasonRun, ways: list[int | None],
              numbers: Sequence[float], reference: FloatArray | None = None,
              continuous: bool = False) -> Partly:
    """The same of a cascade, its ways and the curve numbers of the ground under its works."""
    nothing = replace(cascade, nodes=[replace(without_store(node, number), spills_to=None)
                                      for node, number in zip(cascade.nodes, numbers, strict=True)])
    bare = run_seasons(nothing, record, reference, continuous)
    evaporation = OPEN_WATER_FACTOR * (np.zeros(run.rain_mm.size) if reference is None
                                       else reference)
    return Partly(cascade, run, bare, ways, evaporation)
