"""A placed work finished for the water that comes to it: sill, section, earth, machine hours."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.plan.earth.cost import Quantities, quantities
from terrain.plan.siting.layout import Placed, first_sill
from terrain.plan.siting.reading import Inputs
from terrain.works.basin import Basin
from terrain.works.drain import Drain, design_section
from terrain.works.drain import finish as finish_drain
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow, over_sill
from terrain.works.ground_of_bank import with_spillway
from terrain.works.lining import ERODIBLE
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill
from terrain.works.store import Store
from terrain.works.swale_built import SOIL_OF_GROUP, Swale, finish


@dataclass(frozen=True)
class Built:
    """A work as it is to be built.

    Attributes
    ----------
    placed : Placed
    store : Store
        With its sill sized.
    swale : Swale or None
    basin : Basin or None
    drain : Drain or None
    quantities : Quantities or None
        None where nothing is dug.
    furrow : Furrow or None
        That leads its spill to the next work.
    pipe_line : float64, shape (points, 2), or None
        The line of the pipe or pump that leads its spill, stated or taken for granted. [m]
    furrow_runs : FurrowFlow or None
        How the design peak runs in that furrow.
    """

    placed: Placed
    store: Store
    swale: Swale | None = None
    basin: Basin | None = None
    drain: Drain | None = None
    quantities: Quantities | None = None
    furrow: Furrow | None = None
    pipe_line: NDArray[np.float64] | None = None
    furrow_runs: FurrowFlow | None = None

    @property
    def over_sill(self) -> float:
        """Depth of water over its sill at the design peak, what its furrow holds back
        included. [m]"""
        return over_sill(self.store.sill.head, self.furrow, self.furrow_runs)


def with_sill(store: Store, place: Placed, peak: float, rules: Rulebook) -> Store:
    """A store with its sill sized for the peak that comes to it. [m3/s]"""
    if store.kind == "tank":
        return store
    if store.kind == "drain":  # it takes all that comes at once; its channel is sized later
        return replace(store, sill=replace(store.sill, peak=peak))
    given = (first_sill(place, rules).length if place.kind in ("tree basin", "hollow") else
             getattr(place.work, "sill_length", None))
    head = rules["spillway head" if place.basin is not None and place.basin.has_wall
                 else "sill head"]
    longest = math.inf if place.route is None else place.route.length
    return replace(store, sill=design_sill(place.sill_level, peak, head, rules, given, longest))


def soil_of(inputs: Inputs, place: Placed) -> str:
    """What a work is dug in, clay, loam or sand: a swale's own word, else by its soil group."""
    if place.swale is not None:
        return place.swale.soil
    if not len(place.cells):
        return "loam"
    return SOIL_OF_GROUP.get(inputs.ground.soil_group_of(place.cells) or "", "loam")


def build(inputs: Inputs, place: Placed, store: Store, rules: Rulebook | None = None) -> Built:
    """Finish a work for its store's sill, and reckon its earth and the hours it takes.

    Parameters
    ----------
    rules : Rulebook, optional
        Those of `inputs` if left out.
    """
    rules = inputs.rules if rules is None else rules
    if place.swale is not None:
        laid = place.swale
        swale = finish(inputs.dem, laid.route, laid.section, store.sill, place.spill_x,
                       place.spill_y, rules, laid.checks, laid.soil, laid.berm_side_slope,
                       laid.crest)
        return Built(place, store, swale=swale,
                     quantities=_amount(inputs, place, rules, swale.cut, swale.berm))
    if place.basin is not None:
        basin = with_spillway(inputs.dem, replace(place.basin, sill=store.sill))
        return Built(place, store, basin=basin,
                     quantities=_amount(inputs, place, rules, basin.dug, basin.fill,
                                        basin.topsoil))
    if place.tree is not None:
        return Built(place, store,
                     quantities=_amount(inputs, place, rules, place.dig, place.tree.bank))
    if place.drain is not None:
        work = place.work
        section = design_section(store.sill.peak, place.drain.grade, rules, work.lining,
                                 ERODIBLE[work.soil], work.width, work.depth, work.side_slope)
        drain = finish_drain(place.drain, section, rules)
        return Built(place, store, drain=drain,
                     quantities=_amount(inputs, place, rules, drain.cut, drain.bank))
    return Built(place, store)


def _amount(inputs: Inputs, place: Placed, rules: Rulebook, cut: float, bank: float,
            topsoil: float = 0.0) -> Quantities:
    money = inputs.site.money
    return quantities(cut, bank, rules, money.machine_output if money else None,
                      money.machine_hour if money else None, money.currency if money else "",
                      topsoil, soil_of(inputs, place), rules["hard ground share"])
