"""The works of a site as they lie, and what they do.

Each thing is reckoned when it is first asked for, and all of it comes from the plan's own
functions, so that the bench and `levelsill plan` agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.plan.earth.built import Built, build
from terrain.plan.earth.earthworks import Earthworks, earthworks
from terrain.plan.earth.furrow_runs import flow_in_furrow
from terrain.plan.money.money import SystemMoney, system_money
from terrain.plan.plan import ReadyGround, laid_out, ready_ground
from terrain.plan.planned import PlannedStore
from terrain.plan.safety.clearances import SteepGround, steep_ground
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.store_planned import planned_store
from terrain.plan.water.accounts import Account, YearOfRecord, year_account, years_of_record
from terrain.plan.water.cascade import Cascade, build_cascade
from terrain.plan.water.pipes import pipe_caution, pipe_checks
from terrain.plan.water.roofs_told import tell_roofs
from terrain.plan.water.routing import StoreStorm, StormRun, full_at, run_storm
from terrain.plan.water.sills import with_sills
from terrain.plan.water.spill_ways import pump_cautions
from terrain.plan.water.water_balance import SeasonRun, run_seasons
from terrain.works.sill import Sill


class Ready:
    """What stays as it is whatever the works are, and works finished before."""

    def __init__(self, inputs: Inputs) -> None:
        self.ground: ReadyGround = ready_ground(inputs)
        self.steep: SteepGround = steep_ground(inputs.terrain, inputs.rules)
        self._built: dict[int, tuple[Placed, Sill, Built]] = {}

    def built(self, inputs: Inputs, place: Placed, cascade: Cascade, index: int) -> Built:
        """A work as it is to be built: found once for each place and sill."""
        node = cascade.nodes[index]
        known = self._built.get(id(place))
        if known is None or known[0] is not place or known[1] != node.store.sill:
            known = place, node.store.sill, build(inputs, place, node.store)
            self._built[id(place)] = known
        runs = (None if node.furrow is None else
                flow_in_furrow(inputs, place, node.store, node.furrow))
        return replace(known[2], store=node.store, furrow=node.furrow, furrow_runs=runs,
                       pipe_line=node.led_way if node.led in ("pipe", "pump") else None)

    def keep(self, placed: Sequence[Placed]) -> None:
        """Forget works that lie no longer."""
        there = {id(place) for place in placed}
        self._built = {key: known for key, known in self._built.items() if key in there}


@dataclass(frozen=True)
class Laid:
    """A layout: where its works lie, and how water passes through them.

    Attributes
    ----------
    inputs : Inputs
        Its site's works are those of the layout.
    placed : list of Placed
        In the order of the cascade's nodes.
    cascade : Cascade
        Its sills sized.
    """

    inputs: Inputs
    ready: Ready = field(repr=False)
    placed: list[Placed]
    cascade: Cascade = field(repr=False)

    @cached_property
    def runs(self) -> dict[str, StormRun]:
        """Every storm of the site file."""
        shapes = self.inputs.hydrology.shapes
        return {storm.name: run_storm(self.cascade, storm.depth, shapes[storm.name])
                for storm in self.inputs.site.rain.storms}

    def through(self, name: str) -> dict[str, list[StoreStorm]]:
        """What each storm of the site file does to a work, node by node; where the storms are not
        run yet, they are run over it and what spills to it alone."""
        nodes = self.nodes_of(name)
        if "runs" in self.__dict__:
            return {storm: [run.stores[i] for i in nodes] for storm, run in self.runs.items()}
        part, place = self.cascade.above(nodes)
        shapes = self.inputs.hydrology.shapes
        found = {}
        for storm in self.inputs.site.rain.storms:
            run = run_storm(part, storm.depth, shapes[storm.name])
            found[storm.name] = [run.stores[place[i]] for i in nodes]
        return found

    def run(self, depth: float) -> StormRun:
        """A storm of any depth with the shape of the design storm. [mm]"""
        return run_storm(self.cascade, depth,
                         self.inputs.hydrology.shapes[self.inputs.site.rain.design.name])

    @cached_property
    def seasons(self) -> SeasonRun | None:
        """The rain record lived through; None without one."""
        inputs = self.inputs
        if inputs.record is None:
            return None
        reference = None if inputs.evaporation is None else inputs.evaporation.daily
        return run_seasons(self.cascade, inputs.record.depths, reference, soil_dries(inputs.site))

    @cached_property
    def year(self) -> Account | None:
        """An average year."""
        return None if self.seasons is None else year_account(self.cascade, self.seasons)

    @cached_property
    def years(self) -> tuple[YearOfRecord, ...]:
        """A dry, a median and a wet year."""
        if self.seasons is None:
            return ()
        return years_of_record(self.cascade, self.seasons, self.inputs.site.rain.start_month)

    @cached_property
    def built(self) -> list[Built]:
        """Every work as it is to be built."""
        return [self.ready.built(self.inputs, place, self.cascade, index)
                for index, place in enumerate(self.placed)]

    @cached_property
    def earth(self) -> Earthworks:
        """Where the earth goes, and what that takes."""
        return earthworks(self.inputs, self.built)

    @cached_property
    def money(self) -> SystemMoney | None:
        """What the works cost; None where the site file states no prices."""
        if self.inputs.site.money is None:
            return None
        return system_money(self.inputs, self.cascade, self.placed, self.built, self.earth, None,
                            None)

    @cached_property
    def filled(self) -> list[float | None]:
        """The smallest rain that fills each store, falling as the design storm does. [mm]"""
        return full_at(self.cascade,
                       self.inputs.hydrology.shapes[self.inputs.site.rain.design.name])

    @cached_property
    def of_pipes(self) -> dict[int, list[str]]:
        """Cautions about pipes and pumps, by node."""
        design = self.runs[self.inputs.site.rain.design.name]
        said: dict[int, list[str]] = {}
        for check in pipe_checks(self.inputs, self.cascade, self.placed, design):
            caution = pipe_caution(check, self.inputs.rules)
            for index, place in enumerate(self.placed):
                if caution and check.kind == "pipe" and check.name == place.work.name:
                    said.setdefault(index, []).append(caution)
        for index, caution in pump_cautions(self.cascade, self.runs).items():
            said.setdefault(index, []).append(caution)
        return said

    @cached_property
    def of_roofs(self) -> dict[int, tuple[str, ...]]:
        """Cautions about roofs and tanks, by node; every tank is lived through the record, which
        takes long."""
        return tell_roofs(self.inputs, self.cascade, self.placed, self.seasons,
                          self.years).cautions

    def planned(self, index: int) -> PlannedStore:
        """A work with what the plan says of it."""
        made = planned_store(self.inputs, self.cascade, index, self.placed, self.runs,
                             self.filled[index], self.seasons, self.years, self.ready.steep,
                             self.built[index])
        roofs = self.of_roofs.get(index, ()) if self.placed[index].kind == "tank" else ()
        return replace(made, cautions=(*made.cautions, *self.of_pipes.get(index, ()), *roofs))

    def nodes_of(self, name: str) -> list[int]:
        """Indices of a work of the site file: of tree basins each one's."""
        return [i for i, place in enumerate(self.placed) if place.work.name == name]

    def catchment_cells(self, name: str) -> NDArray[np.bool_]:
        """Cells whose water meets a work before any other store."""
        return np.isin(self.cascade.labels, [i + 1 for i in self.nodes_of(name)])


def lay(inputs: Inputs, ready: Ready, works: Sequence[Any], standing: Sequence[Placed] = ()
        ) -> Laid:
    """Lay out works on a site.

    Parameters
    ----------
    inputs : Inputs
        Read and checked; its own works do not count.
    works : sequence of the site file's entries
    standing : sequence of Placed
        Works laid out before on the same ground, to spare the time for those that are as they were.

    Raises
    ------
    InputError
        If one cannot lie as it is asked for, or their spills run in a circle.
    """
    inputs = replace(inputs, site=inputs.site.model_copy(update={"works": list(works)}))
    with inputs.told():
        placed = laid_out(inputs, ready.ground, standing)
        cascade = with_sills(inputs, build_cascade(
            inputs.site, inputs.terrain, inputs.ground, placed, inputs.rules, inputs.hydrology),
            placed)
    return Laid(inputs, ready, placed, cascade)
