"""The ground whose water comes to each parcel: its own, what drains over it, and where it comes in.

Water that runs on from one land into another passes a seam.  Each cell belongs to the first seam
that its water meets, so ground is counted once, by kind; the seams form a forest, over which the
counts are summed.  No storm is needed for that, and no cell is looked at twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import NDArray

from terrain.district import counted, kinds, seams
from terrain.district.forest import Forest, Ints
from terrain.district.kinds import Kinds
from terrain.district.opened import Opened
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.labelled import label_all
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Handed, Run, one_by_one
from terrain.units import in_both

__all__ = ["Kinds", "ParcelWater", "Waters", "waters"]

#: So many parcels are kept in one file.
TOGETHER = 1000
#: What is kept of a set of parcels, in cells: of each parcel its own ground and its run-on by
#: kind, whether there may be more, ground whose number is not known and its first gap; where
#: its entries begin; of each entry its cell and where its counts begin; kinds and counts.
KEPT = ("own", "run_on", "at_least", "unknown", "gap", "entry_start", "entry", "start", "kind",
        "cells")
#: What the first such cell lacks, and what to do.
_LACKS = {
    kinds.COVER: ("the cover layer says nothing about {}", "Add polygons there, or state a class "
                  "for the rest (otherwise: under cover)"),
    kinds.SOIL: ("the soil layer says nothing about {}", "Add polygons there, or state a group for "
                 "the rest (otherwise: under soils)"),
    kinds.PAIR: ("there is no curve number for the class and the soil group of {}", "Choose "
                 "another class for that ground, or give it a number in a table of your own "
                 "(table: under cover)")}


@dataclass(frozen=True)
class ParcelWater:
    """The ground whose water comes to a parcel, by kind.

    Attributes
    ----------
    own : float64, shape (k,)
        The parcel's own. [m2]
    run_on : float64, shape (k,)
        Ground beyond it that drains over it, each cell counted once. [m2]
    at_least : bool
        Some of that reaches the border of the known ground, so there may be more.
    entries : int64, shape (n, 2)
        Rows and columns of the whole of the parcel's cells into which water runs from other land,
        row by row.
    through : float64, shape (n, k)
        All ground that drains in there, the parcel's own where water leaves it and comes back.
        [m2]
    fault : str
        Why the parcel cannot be screened; empty otherwise.
    notes : tuple of str
        What is to be said of it beside figures, in whole sentences.
    """

    own: NDArray[np.float64]
    run_on: NDArray[np.float64]
    at_least: bool
    entries: Ints
    through: NDArray[np.float64]
    fault: str = ""
    notes: tuple[str, ...] = ()


class Waters(Sequence[ParcelWater]):
    """The waters of all parcels in their order, each read from disk when it is asked for."""

    def __init__(self, opened: Opened) -> None:
        self._opened, self._step = opened, _step_of(opened)

    def __len__(self) -> int:
        return len(self._opened.parcels)

    @overload
    def __getitem__(self, which: int) -> ParcelWater: ...

    @overload
    def __getitem__(self, which: slice) -> list[ParcelWater]: ...

    def __getitem__(self, which: int | slice) -> ParcelWater | list[ParcelWater]:
        if isinstance(which, slice):
            return [self[i] for i in range(*which.indices(len(self)))]
        if not -len(self) <= which < len(self):
            raise IndexError(f"there are {len(self)} parcels")
        which %= len(self)
        opened, (batch, at) = self._opened, divmod(which, TOGETHER)
        part = {name: opened.work.tiles.mapped(self._step, batch + 1, name) for name in KEPT}
        area, (_, wide) = opened.files.cell**2, opened.work.grid.shape
        first, last = part["entry_start"][at:at + 2]
        start = np.array(part["start"][first:last + 1])
        entry = np.array(part["entry"][first:last])
        through = np.zeros((entry.size, part["own"].shape[1]))
        through[np.repeat(np.arange(entry.size), np.diff(start)),
                part["kind"][start[0]:start[-1]]] = part["cells"][start[0]:start[-1]]
        number = opened.parcels[which].number
        fault = opened.faults.get(number, "")
        if not fault and not part["own"][at].any():
            fault = ("no cell of known ground has its middle in it, or an earlier parcel of the "
                     "layer has them all")
        if not fault and part["unknown"][at]:
            fault = self._gap(int(part["unknown"][at]), int(part["gap"][at]))
        return ParcelWater(np.array(part["own"][at]) * area, np.array(part["run_on"][at]) * area,
                           bool(part["at_least"][at]), np.stack(np.divmod(entry, wide), 1),
                           through * area, fault, opened.told.get(number, ()))

    def _gap(self, cells: int, first: int) -> str:
        """Why ground is not known, as `terrain.runoff.ground.require_known` has it."""
        opened = self._opened
        cell, lack = divmod(first, 4)
        row, column = divmod(cell, opened.work.grid.shape[1])
        lattice = opened.values.lattice(Window(row, row + 1, column, column + 1))
        at = lattice.named(*(float(v) for v in lattice.xy(0, 0)))
        what, remedy = _LACKS[lack]
        return what.format(f"{in_both(cells * opened.files.cell**2, 'area')} of the ground that "
                           f"drains to it, such as at {at}") + f". {remedy}."


def waters(opened: Opened, run: Run = one_by_one
           ) -> tuple[Kinds, Waters, tuple[int, int]]:
    """Find the ground whose water comes to each parcel of a district.

    What is finished is kept on disk, and not made again as long as the layers that it rests
    on stay the same.

    Parameters
    ----------
    run : callable
        Runs the tasks of a step.

    Returns
    -------
    kinds : Kinds
    waters : sequence of ParcelWater
        In the parcels' order.
    graph : (nodes, edges)
        Size of the graph over borders of tiles.

    Raises
    ------
    InputError
        If a layer holds what cannot be understood.
    """
    work, kept, step = opened.work, opened.kept, _step_of(opened)
    work.begin()
    tiles = range(work.grid.count)
    rows = [(work, number, opened.values, kept) for number in tiles]
    tables = run(kinds.kind_tile, rows)  # also where all is finished: parcels read these tiles
    batches = range(1, -(-len(opened.parcels) // TOGETHER) + 1)
    if work.tiles.holds(step, 0) and all(work.tiles.holds(step, number) for number in batches):
        graph = route(work, run).graph  # what is spoilt since is made anew
        number, road, roof = work.tiles.get(step, 0, "number", "road", "roof")
        return Kinds(number, road, roof), Waters(opened), graph
    found, places = kinds.join(tables)
    graph = route(work, run).graph
    parts = run(seams.seam_tile, rows)
    before = np.concatenate([[0], np.cumsum([part["cell"].size for part in parts])])
    label_all(work, seams.step_of(kept), seams.Marks(work, seams.step_of(kept), before), run)
    counts = run(counted.count_tile, rows)
    land, to_land = (_joined(parts, name).astype(np.int32) for name in ("land", "to_land"))
    forest = Forest.grown(_joined(counts, "onward").astype(np.int64), land, to_land,
                          len(opened.parcels) + 1)
    to = _joined(parts, "to")
    del parts
    _keep(opened, step, forest, to, counts, places, found)
    return found, Waters(opened), graph


def _step_of(opened: Opened) -> str:
    return f"waters-{opened.kept.ground}-{opened.kept.outlines}"


def _joined(parts: Sequence[Handed], name: str) -> NDArray[np.int64]:
    found: NDArray[np.int64] = np.concatenate([part[name] for part in parts])
    return found


def _keep(opened: Opened, step: str, forest: Forest, to: Ints, counts: Sequence[Handed],
          places: Sequence[Ints], found: Kinds) -> None:
    """Sum the counts over the forest and keep them, a set of parcels a file.

    Kind by kind, so that no more than a few numbers for each seam are in memory.
    """
    size, many = found.number.size, forest.onward.size
    group = _joined(counts, "group")
    kind = np.concatenate([place[part["kind"]] for part, place in zip(counts, places,
                                                                      strict=True)])
    cells = _joined(counts, "cells")
    order = np.argsort(kind, kind="stable")
    cuts = np.searchsorted(kind[order], np.arange(size + 1))
    own, run_on = (np.zeros((forest.lands, size), np.int64) for _ in range(2))
    # Cells into which water runs, parcel by parcel, and which of them each seam runs into.
    into = np.flatnonzero(forest.to_land)
    entries, entry_of = np.unique(np.stack([forest.to_land[into].astype(np.int64), to[into]], 1),
                                  axis=0, return_inverse=True)
    entry_of = entry_of.reshape(-1)
    none = np.empty(0, np.int64)
    passing: list[tuple[Ints, NDArray[np.int32], Ints]] = [(none, none.astype(np.int32), none)]
    for one in range(size):
        here = order[cuts[one]:cuts[one + 1]]
        amount = np.zeros(many + 1, np.int64)
        _add(own[:, one], amount, forest, group[here], cells[here])
        through = forest.through(amount)
        run_on[:, one] = forest.run_on(through)
        enters = np.zeros(len(entries), np.int64)
        np.add.at(enters, entry_of, through[1:][into])
        some = np.flatnonzero(enters)
        passing.append((some, np.full(some.size, one, np.int32), enters[some]))
    unknown = np.isnan(found.number)
    own_edge, edge = np.zeros(forest.lands, np.int64), np.zeros(many + 1, np.int64)
    at_edge = _joined(counts, "edge")
    _add(own_edge, edge, forest, at_edge, np.ones(at_edge.size, np.int64))
    at_least = (own_edge + forest.run_on(forest.through(edge))) > 0
    gap = _gaps(forest, _joined(counts, "lacking"), _joined(counts, "gap"))
    at, which, crossing = (np.concatenate(part) for part in zip(*passing, strict=True))
    by_entry = np.argsort(at, kind="stable")
    at, which, crossing = at[by_entry], which[by_entry], crossing[by_entry]
    start = np.searchsorted(at, np.arange(len(entries) + 1))
    entry_start = np.searchsorted(entries[:, 0], np.arange(forest.lands + 1))
    for batch in range(-(-(forest.lands - 1) // TOGETHER)):
        first, last = batch * TOGETHER + 1, min((batch + 1) * TOGETHER + 1, forest.lands)
        these = slice(first, last)
        one, other = entry_start[first], entry_start[last]
        opened.work.tiles.put(step, batch + 1, {
            "own": own[these], "run_on": run_on[these], "at_least": at_least[these],
            "unknown": (own + run_on)[these][:, unknown].sum(axis=1), "gap": gap[these],
            "entry_start": entry_start[first:last + 1] - one, "entry": entries[one:other, 1],
            "start": start[one:other + 1] - start[one], "kind": which[start[one]:start[other]],
            "cells": crossing[start[one]:start[other]]})
    opened.work.tiles.put(step, 0, {"number": found.number, "road": found.road,
                                    "roof": found.roof})


def _add(own: Ints, amount: Ints, forest: Forest, group: Ints, cells: Ints) -> None:
    """Add what groups hold to the lands that they lie on, and to the seams that they belong to."""
    of_seam = group > 0
    np.add.at(amount, group[of_seam], cells[of_seam])
    np.add.at(own, forest.land[group[of_seam] - 1], cells[of_seam])
    np.add.at(own, -group[~of_seam], cells[~of_seam])


def _gaps(forest: Forest, group: Ints, gap: Ints) -> Ints:
    """The first gap (see `counted.as_gap`) of all ground whose water comes to each land."""
    found = np.full(forest.lands, counted.NOWHERE)
    first = np.full(forest.onward.size + 1, counted.NOWHERE)
    of_seam = group > 0
    np.minimum.at(first, group[of_seam], gap[of_seam])
    np.minimum.at(found, forest.land[group[of_seam] - 1], gap[of_seam])
    np.minimum.at(found, -group[~of_seam], gap[~of_seam])
    np.minimum.at(found, forest.to_land, forest.least(first)[1:])
    return found
