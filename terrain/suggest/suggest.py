"""Site file -> Suggestion: where works should go, and how far any plan is from the best."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from terrain.errors import InputError
from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_works import Basin, Drain, Swale, Tank
from terrain.plan.plan import laid_out
from terrain.plan.siting.reading import Inputs, Progress, read_inputs
from terrain.plan.water.accounts import storm_account
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.explain import best_rejected, chosen_works
from terrain.suggest.front import Layout, Search, knee_of
from terrain.suggest.look import look_at
from terrain.suggest.notes import notes_of
from terrain.suggest.prepare import (
    limits_of,
    places,
    prepared,
    rains_for,
    repriced,
    worth_digging,
)
from terrain.suggest.real import Ran, Runner
from terrain.suggest.standing import breaks_rules, own_candidate, parted
from terrain.suggest.suggestion import (
    NAMES,
    AimWords,
    FrontPoint,
    OwnPlan,
    Proposal,
    Suggestion,
    Water,
)
from terrain.units import in_both

#: The next step of each limit, whose worth is told: money, hours, m3.
STEPS = {"money": 1000.0, "hours": 10.0, "earth": 100.0}
#: So many of the best choices met for a limit are run in full.
RUN = 6
#: The cheap proposal is the least that reaches this share of what the balanced one does.
CHEAP = 0.5
NOTHING = Cost(0.0, 0.0, 0.0)


def suggest(path: Path, progress: Progress = lambda what: None,
            over: dict[str, object] | None = None,
            stopped: Callable[[], bool] | None = None) -> Suggestion:
    """Search for layouts of a site.

    Parameters
    ----------
    path : Path
        A site file, or its folder.
    over : dict, optional
        Fields of the site file's `suggest` block, in place of what stands there.
    stopped : callable, optional
        Whether to stop with the best so far; asked again and again.

    Raises
    ------
    InputError
        If something in the site file cannot be used, or no work can lie anywhere.
    KeyboardInterrupt
        If it is stopped before anything is found.
    """
    inputs = read_inputs(path, progress)
    with inputs.told():
        return _Job(inputs, _asked(inputs, over or {}), progress,
                    stopped or (lambda: False)).done()


def _asked(inputs: Inputs, over: dict[str, object]) -> Suggest:
    """What the site file asks for, with what the command says in its place."""
    given = inputs.site.suggest or Suggest()
    try:
        return Suggest.model_validate({
            **{name.replace("_", " "): getattr(given, name) for name in given.model_fields_set},
            **over}, context={"units": "metric"})  # what was read already is kept so inside
    except ValidationError as error:
        what = error.errors()[0]
        raise InputError(f"{inputs.site.where('suggest')}, suggest",
                         str(what.get("ctx", {}).get("error", what["msg"])),
                         "Correct it as docs/suggest.md says") from None


class _Job:
    """One search, step by step."""

    def __init__(self, inputs: Inputs, asked: Suggest, progress: Progress,
                 stopped: Callable[[], bool]) -> None:
        self.inputs, self.progress, self.stopped = inputs, progress, stopped
        self.began = time.monotonic()
        self.axis, self.given = limits_of(asked, inputs)
        self.aim = aim_words(inputs, asked, self.axis)
        self.asked = asked
        self.notes: list[str] = []

    def done(self) -> Suggestion:
        """All of it."""
        self._refuse_small_budget()
        self.progress("Laying out the works that the site file lists")
        own = laid_out(self.inputs)
        self.standing = parted(self.inputs.site, self.asked, own)
        self.progress("Finding ground on which earth may be moved")
        self.look = look_at(self.inputs, self.asked, self.standing.stands)
        self.runner = Runner(self.look, self.aim.storm)
        self.progress("Running what stands")
        self.before = self.runner.run([])
        weighed = [own_candidate(self.look, group, NOTHING) for group in self.standing.weighed]
        self.own_run = self.runner.run(weighed) if weighed else self.before
        weighed = self._own_priced(weighed)
        found = places(self.look, self.asked, self.progress, self.stopped)
        if not found and not weighed:
            if self.stopped():
                raise KeyboardInterrupt
            raise self._nowhere()
        self.progress("Pricing works of each kind as the plan does")
        found = repriced(found, self.runner, self.stopped)
        return self._searched(found, weighed)

    def _searched(self, found: Sequence[Candidate], weighed: Sequence[Candidate]) -> Suggestion:
        self.progress("Following the water past every candidate")
        barred = frozenset(c.name for c in weighed if breaks_rules(self.look, c))
        stands = [own_candidate(self.look, [place], NOTHING) for place in self.standing.stands
                  if len(place.cells) and not isinstance(place.work, Tank | Drain)]
        stands = [replace(c, name=place.name, footprint=place.outline) for c, place in zip(
            stands, [p for p in self.standing.stands if len(p.cells)
                     and not isinstance(p.work, Tank | Drain)], strict=True)]
        rains = rains_for(self.inputs, self.aim.aim, self.aim.storm, self.before.seasons)
        kinds = [c.kind for c in (*found, *weighed)]
        self.looked_at = {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}
        fit = worth_digging(self.look, found, rains)
        self.whole = prepared(self.runner, [*fit, *weighed], stands, self.aim.aim, rains, barred)
        others = {name: most for name, most in self.given.items() if name != self.axis}
        self.search = Search(self.whole.model, self.whole.free, self.axis, others, self.stopped)
        fixed = self._fixed()
        most = self.given.get(self.axis)
        if most is None:
            self.progress("Finding how much is worth spending")
            most = self.search.most_worth()
        else:
            most -= fixed
        self.progress(f"Weighing {len(self.whole.free):,} places against each other")
        layouts = self.search.front(most)
        if not layouts:
            raise self._nowhere()
        return self._told(layouts, fixed)

    def _told(self, layouts: Sequence[Layout], fixed: float) -> Suggestion:
        self.refused: dict[str, str] = {}
        reached = [one.aim for one in layouts]
        knee = _knee([one.cost + fixed for one in layouts], reached, self.search.base)
        named = self._named(layouts, knee, reached)
        self.search.tighten([layouts[at].limit for at in sorted(named, reverse=True)])
        runs: list[tuple[Layout, Ran]] = []
        for number, one in enumerate(layouts, 1):
            self.progress(f"Running layout {number} of {len(layouts)} through storm and record")
            runs.append(self._real(one))
        aims = [self._aim(ran) for _, ran in runs]
        named = self._named([one for one, _ in runs], knee, aims)
        costs = [self.runner.costs(ran)[1].of(self.axis) for _, ran in runs]
        self.progress("Proving how good they are")
        runs = [(self.search.tightened(one), ran) for one, ran in runs]
        proposals = []
        for at, name in sorted(named.items()):
            self.progress(f"Explaining the proposal \"{name}\"")
            one, ran = runs[at]
            proposals.append(self._proposal(name, replace(one, price=max(
                one.price, _rise(one, runs[at + 1][0] if at + 1 < len(runs) else None))), ran))
        scale = WEIGHTS.get(self.aim.aim, 1.0)
        points = tuple(FrontPoint(one.limit + fixed, cost, scale * one.aim, scale * one.bound, aim,
                                  len(ran.candidates), named.get(i, ""))
                       for i, ((one, ran), aim, cost) in enumerate(zip(runs, aims, costs,
                                                                       strict=True)))
        return Suggestion(
            self.inputs, self.asked, self.aim,
            self.looked_at,
            self._water(self.before), points, knee, tuple(proposals), self._own(),
            STEPS[self.axis], tuple(self._notes()), self.stopped(),
            time.monotonic() - self.began,
            float((self.look.room > 0).sum()) * self.inputs.dem.cell_area,
            self.whole.candidates)

    # -- what a layout really does -----------------------------------------------------------

    @property
    def peak_storm(self) -> str:
        """The storm whose peak is told."""
        return self.aim.storm or self.inputs.site.rain.design.name

    def _names(self, chosen: frozenset[int]) -> list[Candidate]:
        """Candidates of a choice, in the numbers of the search."""
        return [self.runner.as_widened(self.whole.candidates[self.search.number[j]])
                for j in sorted(chosen)]

    def _real(self, one: Layout) -> tuple[Layout, Ran]:
        """The best by the plan's runs of the choices met for a limit."""
        model = self.search.model
        met = [one.chosen, *sorted(
            (c for c, aim in self.search.met.items() if c != one.chosen
             and model.cost(c, self.axis) <= one.limit * (1 + 1e-9) and aim >= 0.9 * one.aim),
            key=lambda c: (-self.search.met[c], sorted(c)))[:RUN - 1]]
        best: tuple[float, Layout, Ran] | None = None
        for chosen in met:
            if best is not None and self.stopped():
                break
            ran = self._with_sills(self.runner.run(self._names(chosen)))
            self.refused |= ran.refused
            names = {c.name for c in ran.candidates}
            kept = frozenset(j for j in chosen
                             if self.whole.candidates[self.search.number[j]].name in names)
            ran, kept = self._useful(ran, kept)
            reached = self._aim(ran)
            if best is None or self._better(ran, reached, best[2], best[0]):
                best = reached, replace(one, chosen=kept, aim=model.aim(kept),
                                        cost=model.cost(kept, self.axis)), ran
        assert best is not None
        return self._within(best[1], best[2])

    def _within(self, one: Layout, ran: Ran) -> tuple[Layout, Ran]:
        """A layout without as many of its works as the plan's own prices put it over the limits:
        those go first that bring the least for their cost."""
        while len(ran.candidates) > 1:
            _, whole = self.runner.costs(ran)
            if all(whole.of(name) <= most for name, most in self.given.items()):
                break
            model = self.search.model
            aim = model.aim(one.chosen)
            worth = {j: (aim - model.aim(one.chosen - {j}))
                     / max(float(model.costs[self.axis][j]), 1e-9) for j in sorted(one.chosen)}
            kept = one.chosen - {min(worth, key=lambda j: worth[j])}
            ran = self.runner.run(self._names(kept))
            one = replace(one, chosen=kept, aim=model.aim(kept), cost=model.cost(kept, self.axis))
        return one, ran

    def _with_sills(self, ran: Ran) -> Ran:
        """A layout with sills no shorter than the least that is asked for."""
        least = self.asked.sill_at_least
        short = [] if least is None else [
            c for c in ran.candidates if c.kind != "own" and isinstance(c.works[-1], Swale | Basin)
            and ran.cascade.nodes[ran.nodes_of(c)[-1]].store.sill.length < least]
        if not short:
            return ran
        for candidate in short:
            self.runner.widen(candidate, least or 0.0)
        return self.runner.run([self.runner.as_widened(c) for c in ran.candidates])

    def _useful(self, ran: Ran, kept: frozenset[int]) -> tuple[Ran, frozenset[int]]:
        """A layout without works that keep nothing when it is run."""
        entries = (ran.year.entries if ran.year is not None and not self.aim.storm else
                   storm_account(ran.storms[self.peak_storm]).entries)
        idle = {c.name for c in ran.candidates
                if sum(entries[i].captured for i in ran.nodes_of(c)) <= 1e-9}
        if not idle:
            return ran, kept
        left = frozenset(j for j in kept
                         if self.whole.candidates[self.search.number[j]].name not in idle)
        return self.runner.run(self._names(left)), left

    def _aim(self, ran: Ran) -> float:
        """What is aimed at, in its own unit."""
        aim = self.aim.aim
        if aim == "water in a year":
            assert ran.year is not None
            return ran.year.passive
        if aim == "trees in a dry year":
            return float(self.runner.trees(ran) or 0)
        account = storm_account(ran.storms[self.aim.storm])
        if aim != "erosion":
            return account.passive
        spared = dict.fromkeys(range(len(ran.placed)), 0.0)
        for candidate, worth in zip(self.whole.candidates, self.whole.model.worth.tolist(),
                                    strict=True):
            names = {candidate.name, *(work.name for work in candidate.works)}
            spared |= {i: worth for i, place in enumerate(ran.placed) if place.name in names
                       or place.work.name in names}
        return WEIGHT * sum(worth * account.entries[i].captured for i, worth in spared.items())

    def _better(self, ran: Ran, reached: float, best: Ran, most: float) -> bool:
        """Whether a layout is better than the best so far."""
        if self.aim.aim == "storm leaving":
            return self.runner.peak(ran, self.aim.storm) < self.runner.peak(
                best, self.aim.storm) * (1 - 1e-9)
        return reached > most * (1 + 1e-9)

    def _water(self, ran: Ran) -> Water:
        design = self.inputs.site.rain.design.name
        account = storm_account(ran.storms[design])
        low, high = self.runner.doubted(ran, design)
        year = ran.year
        return Water(self._aim(ran), account.passive, account.left_site, low, high,
                     self.runner.peak(ran, design),
                     None if year is None else year.passive, None if year is None else year.roof,
                     None if year is None else year.left_site, self.runner.trees(ran))

    # -- the three proposals ----------------------------------------------------------------

    def _named(self, layouts: Sequence[Layout], knee: int | None, aims: Sequence[float]
               ) -> dict[int, str]:
        """Which layout is which proposal: only such as build anything, the most by `aims`."""
        base = self.search.base
        some = [i for i, one in enumerate(layouts) if one.chosen]
        if not some:
            return {}
        last = max(some, key=lambda i: aims[i])
        middle = knee if knee in some else some[len(some) // 2]
        middle = min(middle, last)
        least = base + CHEAP * (layouts[middle].aim - base)
        first = next(i for i in some if layouts[i].aim >= least or i == middle)
        if first < middle < last:
            return {last: NAMES[2], middle: NAMES[1], first: NAMES[0]}
        return {last: NAMES[2], first: NAMES[0]} if first < last else {last: NAMES[2]}

    def _proposal(self, name: str, one: Layout, ran: Ran) -> Proposal:
        reached = self._aim(ran)
        lost: dict[str, float] = {}
        for candidate in ran.candidates:
            if self.stopped():
                break
            without = self.runner.run([c for c in ran.candidates if c is not candidate])
            lost[candidate.name] = reached - self._aim(without)
        model = self.search.model
        _, whole = self.runner.costs(ran)
        scale = WEIGHTS.get(self.aim.aim, 1.0)
        rejected = best_rejected(self.search, self.whole, one, self.refused, scale)
        stays = tuple(dict.fromkeys(p.work.name for p in self.standing.stands))
        weighed = [work.name for c in self.whole.candidates if c.kind == "own"
                   for work in c.works if work.name not in stays]
        kept = tuple(work.name for c in ran.candidates if c.kind == "own" for work in c.works)
        return Proposal(
            name, chosen_works(self.runner, ran, lost), (*stays, *kept),
            tuple(work for work in weighed if work not in kept), scale * model.aim(one.chosen),
            scale * one.bound, whole, self._water(ran), rejected,
            one.price * STEPS[self.axis] * scale or None)

    # -- the owner's own plan -----------------------------------------------------------------

    def _own_priced(self, weighed: list[Candidate]) -> list[Candidate]:
        if not weighed:
            return []
        costs, self.own_whole = self.runner.costs(self.own_run)
        return [replace(c, cost=costs.get(c.name, c.cost)) for c in weighed]

    def _own(self) -> OwnPlan | None:
        own = [j for j, c in enumerate(self.whole.candidates)
               if c.kind == "own" and j not in self.whole.model.stands]
        if not own:
            return None
        model = self.whole.model
        cost = model.cost(own, self.axis)
        self.progress("Weighing your own plan against the best of its cost")
        best = self.search.best_for(cost)
        scale = WEIGHTS.get(self.aim.aim, 1.0)
        return OwnPlan(self.own_whole.of(self.axis), scale * model.aim(own), scale * max(
            self.search.bound_at(cost), self.search.model.aim(best)),
            self._aim(self.own_run), scale * self.search.model.aim(best),
            tuple(self.whole.candidates[j].name for j in own if j in self.whole.barred))

    def _refuse_small_budget(self) -> None:
        most, fixed = self.given.get(self.axis, np.inf), self._fixed()
        if most <= fixed:
            raise InputError(f"{self.inputs.site.where('suggest', 'budget')}, suggest, budget",
                             f"{most:,.0f} does not pay for more than bringing the machine and "
                             f"fetching it again ({fixed:,.0f})",
                             "Raise it, or limit machine hours instead")

    def _fixed(self) -> float:
        """Money for bringing the machine and fetching it again."""
        money = self.inputs.site.money
        return sum(money.haulage) if self.axis == "money" and money is not None else 0.0

    def _nowhere(self) -> InputError:
        ground = float((self.look.room > 0).sum()) * self.inputs.dem.cell_area
        if ground <= 0:
            return InputError(str(self.inputs.site.path), "the rules leave no ground on which "
                              "earth may be moved", "Look at what is to be kept clear, or overrule "
                              "a setback under rules: if whoever decides agrees")
        return InputError(
            str(self.inputs.site.path), f"no work can lie on the {in_both(ground, 'land')} on "
            "which earth may be moved: it is too steep or too small, or water would stand there "
            f"for more than {self.inputs.rules['standing water']:g} h by the rates of its soil",
            "Dig a hole test, and state what it took in under suggest: (infiltration: 12 mm/h)")

    def _notes(self) -> list[str]:
        return notes_of(self.look, self.asked, self.aim, self.whole)


def _rise(one: Layout, following: Layout | None) -> float:
    """What one more of the limit brings on the way to the next layout of the front."""
    if following is None or following.limit <= one.limit:
        return 0.0
    return max(following.aim - one.aim, 0.0) / (following.limit - one.limit)


def _knee(costs: Sequence[float], aims: Sequence[float], base: float) -> int | None:
    """The layout at the knee of the front that begins with what stands alone."""
    found = knee_of([0.0, *costs], [base, *aims])
    return found - 1 if found else None


#: Of a m3 that falls by a metre: its work. [J]
WEIGHT = 1000 * 9.81
#: What a figure of the model is multiplied by to be told.
WEIGHTS = {"erosion": WEIGHT}


def aim_words(inputs: Inputs, asked: Suggest, axis: str) -> AimWords:
    """What is aimed at.

    Raises
    ------
    InputError
        If it needs a record, evapotranspiration or a storm that the site file does not have.
    """
    site = inputs.site
    aim = asked.aim or ("water in a year" if inputs.record is not None else "water in a storm")
    where = f"{site.where('suggest', 'aim')}, suggest, aim"
    if aim in ("water in a year", "trees in a dry year") and inputs.record is None:
        raise InputError(where, f"{aim} is asked for, and there is no daily rain record",
                         "Give one (rain: daily:), or choose an aim of a storm")
    if aim == "trees in a dry year" and (inputs.evaporation is None
                                         or inputs.evaporation.daily is None):
        raise InputError(where, "trees are asked for, and nothing tells what they evaporate",
                         "Give evapotranspiration or weather, or choose another aim")
    storm = ""
    if aim in ("water in a storm", "storm leaving", "erosion"):
        storm = asked.storm or site.rain.design.name
        if storm not in [one.name for one in site.rain.storms]:
            raise InputError(f"{site.where('suggest', 'storm')}, suggest, storm",
                             f"no storm is called \"{storm}\"",
                             f"Name one of {', '.join(one.name for one in site.rain.storms)}")
    what, dimension = {
        "water in a year": ("water kept in an average year", "volume"),
        "water in a storm": (f"water kept in the {storm}", "volume"),
        "trees in a dry year": ("trees that get by in a dry year", None),
        "storm leaving": (f"water kept in the {storm}, of layouts alike the one with the least "
                          "flow leaving", "volume"),
        "erosion": (f"work taken from running water in the {storm}", "energy")}[aim]
    return AimWords(aim, what, dimension, axis, storm)
