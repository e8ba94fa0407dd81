"""What a choice of candidates really does, by the plan's own layout, storm and season runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.site import Site
from terrain.inputs.site_works import Drain
from terrain.plan.earth.built import Built, build
from terrain.plan.earth.earthworks import earthworks
from terrain.plan.money.money import system_money
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.layout import Placed, place_again, refuse_clash
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.plan.water.accounts import Account, storm_account, year_account, years_of_record
from terrain.plan.water.cascade import Cascade, build_cascade
from terrain.plan.water.routing import StormRun, run_storm, storm_spills
from terrain.plan.water.sills import with_sills
from terrain.plan.water.tree_life import tree_life
from terrain.plan.water.water_balance import SeasonRun, run_seasons
from terrain.runoff.storms import storm_steps
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.look import Look
from terrain.works.store import Store

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Ran:
    """A choice laid out and run.

    Attributes
    ----------
    candidates : tuple of Candidate
        Those that could be laid out beside each other.
    refused : dict of str to str
        Names of those that could not, and why.
    site : Site
        Of what stands and them.
    placed : tuple of Placed
        In the order of the cascade's nodes.
    cascade : Cascade
        Its sills sized for the design storm.
    storms : dict of str to StormRun
    seasons : SeasonRun or None
    year : Account or None
        Of an average year.
    """

    candidates: tuple[Candidate, ...]
    refused: dict[str, str]
    site: Site
    placed: tuple[Placed, ...]
    cascade: Cascade
    storms: dict[str, StormRun]
    seasons: SeasonRun | None
    year: Account | None

    def nodes_of(self, candidate: Candidate) -> list[int]:
        """Nodes of a candidate's works."""
        names = {work.name for work in candidate.works}
        return [i for i, place in enumerate(self.placed) if place.work.name in names]


class Runner:
    """Lays out and runs choices; each work is laid out once.

    Parameters
    ----------
    look : Look
    *storms : str
        Run beside the design storm, such as that of the aim; "" for none.
    """

    def __init__(self, look: Look, *storms: str) -> None:
        self.look = look
        self.storms = list(dict.fromkeys([look.inputs.site.rain.design.name,
                                          *(name for name in storms if name)]))
        self._laid: dict[str, tuple[Placed, ...] | str] = {}
        self._widened: dict[str, Candidate] = {}

    def widen(self, candidate: Candidate, sill: float) -> None:
        """Give a candidate's store a sill of a stated length from now on. [m]"""
        store = candidate.works[-1].model_copy(update={"sill_length": sill})
        self._widened[candidate.name] = replace(candidate, works=(*candidate.works[:-1], store))
        self._laid.pop(store.name, None)

    def as_widened(self, candidate: Candidate) -> Candidate:
        """A candidate with the sill that was stated for it, if one was."""
        return self._widened.get(candidate.name, candidate)

    @property
    def inputs(self) -> Inputs:
        """Of the site."""
        return self.look.inputs

    @cached_property
    def climate(self) -> TreeClimate | None:
        """For tree basins whose size is left open."""
        inputs = self.inputs
        return tree_climate(inputs.site, inputs.record, inputs.evaporation,
                            inputs.ground.curve_number, inputs.hydrology.rule, inputs.rules)

    def site_of(self, candidates: Sequence[Candidate]) -> Site:
        """The site with what stands and some candidates as its works."""
        stands = {place.work.name for place in self.look.stands}
        own = [work for work in self.inputs.site.works
               if work.name in stands or self._in_another(work)]
        listed = [work.name for work in self.inputs.site.works]
        added = [work for candidate in candidates for work in candidate.works]
        kept = sorted((work for work in added if work.name in listed),
                      key=lambda work: listed.index(work.name))
        own = sorted([*own, *kept], key=lambda work: listed.index(work.name))
        return self.inputs.site.model_copy(update={
            "works": [*own, *(work for work in added if work.name not in listed)]})

    def _in_another(self, work: object) -> bool:
        """Whether a tank stands within another's."""
        return getattr(work, "joined_with", None) is not None

    def refused(self, candidate: Candidate) -> str:
        """Why a candidate cannot be laid out beside what stands; "" if it can."""
        laid = self._lay(candidate, self.site_of([candidate]), list(self.look.stands))
        return laid if isinstance(laid, str) else ""

    def _lay(self, candidate: Candidate, site: Site, beside: list[Placed]
             ) -> tuple[Placed, ...] | str:
        found: list[Placed] = []
        for work in sorted(candidate.works, key=lambda work: isinstance(work, Drain)):
            made = self._laid.get(work.name)
            if made is None or isinstance(work, Drain):  # a drain runs round what stands
                made = self._made(work, site, [*beside, *found])
                self._laid[work.name] = made
            if isinstance(made, str):
                return made
            found += made
        try:
            for place in found:
                for other in beside:
                    refuse_clash(place, other, site)
        except InputError as error:
            return error.what
        return tuple(found)

    def _made(self, work: object, site: Site, beside: list[Placed]) -> tuple[Placed, ...] | str:
        inputs = self.inputs
        others = beside if isinstance(work, Drain) or isinstance(
            getattr(work, "along", None), str) else []
        try:
            return tuple(place_again(work, site, inputs.terrain, self.look.soft, inputs.ground,
                                     inputs.rules, self.look.design_runoff, self.climate, others))
        except InputError as error:
            return error.what

    def run(self, candidates: Sequence[Candidate]) -> Ran:
        """Lay out and run a choice; candidates that clash with earlier ones are left out."""
        site = self.site_of(candidates)
        placed = list(self.look.stands)
        kept: list[Candidate] = []
        refused: dict[str, str] = {}
        for candidate in sorted(candidates, key=lambda c: any(isinstance(w, Drain)
                                                              for w in c.works)):
            laid = self._lay(candidate, site, placed)
            if isinstance(laid, str):
                refused[candidate.name] = laid
            else:
                kept.append(candidate)
                placed += laid
        while True:
            site = self.site_of([c for c in candidates if c in kept])
            try:
                cascade = self._joined(site, placed)
                break
            except InputError as error:
                if not kept:
                    raise
                out = _named_in(error, kept)  # such as one whose spills would run in a circle
                refused[out.name] = error.what
                kept.remove(out)
                names = {work.name for work in out.works}
                placed = [place for place in placed if place.work.name not in names]
        inputs = self.inputs
        shapes = inputs.hydrology.shapes
        storms = {storm.name: run_storm(cascade, storm.depth, shapes[storm.name])
                  for storm in site.rain.storms if storm.name in self.storms}
        seasons = year = None
        if inputs.record is not None:
            seasons = run_seasons(cascade, inputs.record.depths, self.reference,
                                  soil_dries(inputs.site))
            year = year_account(cascade, seasons)
        return Ran(tuple(kept), refused, site, tuple(placed), cascade, storms, seasons, year)

    def _joined(self, site: Site, placed: list[Placed]) -> Cascade:
        """The cascade of some works, its sills sized; they are put into the site's order.

        Raises
        ------
        InputError
            If spills run in a circle.
        """
        listed = [work.name for work in site.works]
        placed.sort(key=lambda place: listed.index(place.work.name))
        inputs = self.inputs
        return with_sills(inputs, build_cascade(site, inputs.terrain, inputs.ground, placed,
                                                inputs.rules, inputs.hydrology), placed)

    @property
    def reference(self) -> FloatArray | None:
        """Reference evapotranspiration of each day of the record. [mm]"""
        evaporation = self.inputs.evaporation
        return None if evaporation is None else evaporation.daily

    def storm_depth(self, name: str) -> float:
        """[mm]"""
        return next(s.depth for s in self.inputs.site.rain.storms if s.name == name)

    def peak(self, ran: Ran, name: str) -> float:
        """Greatest flow that leaves the site in a storm. [m3/s]

        Notes
        -----
        Spills that leave and the runoff that meets no store, as if all left at one place; the
        latter by the lag of the longest way over the site, whatever stands.
        """
        terrain, shape = self.inputs.terrain, self.inputs.hydrology.shapes[name]
        step = storm_steps(shape.duration)
        depth = self.storm_depth(name)
        ground = replace(ran.cascade.open_ground,
                         longest_path=float(terrain.path_length[self.reaches].max()),
                         slope=terrain.mean_slope(self.reaches),
                         peak_factor=self.inputs.hydrology.peak_factor)
        series = [ground.hydrograph(shape.cumulative(depth, step), step)]
        spilt = storm_spills(ran.cascade, depth, shape)
        series += [spilt[i] for i, node in enumerate(ran.cascade.nodes)
                   if i in spilt and node.spills_to is None]
        total = np.zeros(max(part.size for part in series))
        for part in series:
            total[:part.size] += part
        return float(total.max(initial=0.0)) / (step * 3600)

    @cached_property
    def reaches(self) -> NDArray[np.bool_]:
        """Ground within the boundary, and what drains on to it."""
        return self.inputs.terrain.labels(self.inputs.ground.inside.astype(np.int32)) > 0

    def doubted(self, ran: Ran, name: str) -> tuple[float, float]:
        """Passive capture in a storm, the least and the most, where curve numbers and soaking are
        off as the rules doubt them. [m3]"""
        depth, shape = self.storm_depth(name), self.inputs.hydrology.shapes[name]
        rules = self.inputs.rules
        found = [storm_account(run_storm(_shifted(ran, sign * rules["curve number doubt"],
                                                  rules["tested rate doubt"] ** pace,
                                                  rules["untested rate doubt"] ** pace),
                                         depth, shape)).passive
                 for sign in (-1, 1) for pace in (-1, 1)]
        found.append(storm_account(ran.storms[name]).passive)
        return min(found), max(found)

    def trees(self, ran: Ran) -> int | None:
        """Trees of a choice that get by in the dry year; None where that is not told."""
        return self._get_by(ran, range(len(ran.placed)))

    def trees_of(self, ran: Ran, candidate: Candidate) -> int:
        """Those of one of its candidates; 0 where that is not told."""
        return self._get_by(ran, ran.nodes_of(candidate)) or 0

    def _get_by(self, ran: Ran, nodes: Sequence[int]) -> int | None:
        if ran.seasons is None or self.reference is None:
            return None
        years = years_of_record(ran.cascade, ran.seasons, self.inputs.site.rain.start_month)
        if not years:
            return None
        rules, count = self.inputs.rules, 0
        for i in nodes:
            place = ran.placed[i]
            trees = place.tree or place.stand
            if trees is None:
                continue
            life = tree_life(trees, ran.seasons.stores[i], ran.seasons, self.reference, years,
                             rules, place.work.texture)
            dry = next(months for months in life.months if months.name.startswith("dry"))
            if dry.share >= rules["tree gets by"] * (1 - 1e-9):
                count += 1 if place.stand is None else place.stand.count
        return count

    def built(self, ran: Ran) -> list[Built]:
        """Every work of a choice as it is to be built."""
        inputs = replace(self.inputs, site=ran.site)
        return [replace(build(inputs, place, node.store), furrow=node.furrow,
                        pipe_line=node.led_way if node.led in ("pipe", "pump") else None)
                for place, node in zip(ran.placed, ran.cascade.nodes, strict=True)]

    def costs(self, ran: Ran) -> tuple[dict[str, Cost], Cost]:
        """What each candidate takes, and all of them together: whole days of the machine, brought
        and fetched once, as the plan reckons it."""
        names = {work.name for candidate in ran.candidates for work in candidate.works}
        inputs = replace(self.inputs, site=ran.site)
        dug = [one for one in self.built(ran) if one.placed.work.name in names]
        earth = earthworks(inputs, dug)
        paid = system_money(inputs, ran.cascade, [one.placed for one in dug], dug, earth, None,
                            None)
        money = {} if paid is None else {work.name: sum(work.cost) / 2 for work in paid.works}
        cuts = {work.name: work.cut for work in earth.works}
        leads = {work.leads_from: work.name for work in earth.works if work.leads_from}
        each = {}
        for candidate in ran.candidates:
            own = [work.name for work in candidate.works]
            own += [leads[name] for name in own if name in leads]
            each[candidate.name] = Cost(
                None if paid is None else sum(money.get(name, 0.0) for name in own),
                sum(sum(earth.bills[name].hours) / 2 for name in own if name in earth.bills),
                sum(cuts.get(name, 0.0) for name in own))
        whole = Cost(None if paid is None else sum(paid.whole.cost) / 2,
                     sum(earth.whole.hours) / 2, sum(cuts.values()))
        return each, whole


def _named_in(error: InputError, kept: Sequence[Candidate]) -> Candidate:
    """The last of some candidates that an error names; the last of all if it names none."""
    told = f"{error.where} {error.what}"
    return next((c for c in reversed(kept) if any(f'"{work.name}' in told for work in c.works)),
                kept[-1])


def _shifted(ran: Ran, numbers: float, tested: float, untested: float) -> Cascade:
    """A cascade with other curve numbers and rates of soaking; water stays water."""
    def moved(given: FloatArray) -> FloatArray:
        return np.where(given == 100, given, np.clip(given + numbers, 1.0, 99.9))

    def rate(store: Store, place: Placed) -> Store:
        known = getattr(place.work, "infiltration", None) is not None
        return replace(store, infiltration=store.infiltration * (tested if known else untested))

    cascade = ran.cascade
    nodes = [replace(node, store=rate(node.store, place), catchment=replace(
        node.catchment, curve_numbers=moved(node.catchment.curve_numbers)))
        for node, place in zip(cascade.nodes, ran.placed, strict=True)]
    return replace(cascade, nodes=nodes, open_ground=replace(
        cascade.open_ground, curve_numbers=moved(cascade.open_ground.curve_numbers)))
