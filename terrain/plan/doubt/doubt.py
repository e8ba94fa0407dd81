"""How sure the plan is: many runs of it with what is not known for sure drawn anew each time."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from terrain.children import end_with
from terrain.inputs.site_doubt import Doubts
from terrain.plan.doubt.doubt_draws import (
    CURVE,
    GROUND,
    RAIN,
    DoubtedRule,
    Draw,
    Spreads,
    draw,
    spreads_of,
    year_weights,
)
from terrain.plan.doubt.doubt_found import Beside, Doubt, DoubtedStore, Headline, range_of
from terrain.plan.doubt.doubt_ground import DoubtedGround, Drained, Ground
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.reading import Progress
from terrain.plan.water.accounts import Account, storm_account, year_account
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.routing import run_storm
from terrain.plan.water.water_balance import SeasonRun, run_seasons
from terrain.runoff.catchment import Catchment
from terrain.runoff.rain_years import year_of
from terrain.surface.kernels import cores

FloatArray = NDArray[np.float64]
#: The headline figures, in the order in which they are kept.
HEADLINES = ("passive", "roof", "left site", "share kept")
#: Of so many runs one is repeated with each thing alone in doubt.
ALONE_OF = 10
#: No fewer than this are, where there are as many runs at all.
LEAST_ALONE = 50
#: So many runs for each worker are begun or waiting; the next one asked for may be the slowest.
AHEAD = 4
#: Share of a catchment beyond which it is not what the plan says.
OTHER_GROUND = 0.5


@dataclass(frozen=True)
class Outcome:
    """What one run gives: headlines of the storm, the average year and one year of (4,), NaN
    where there are none; for each store what comes and is caught in the storm and the year, and
    whether either fills it."""

    storm: FloatArray
    year: FloatArray
    one_year: FloatArray
    arrives: FloatArray
    caught: FloatArray
    arrives_year: FloatArray
    caught_year: FloatArray
    fills: NDArray[np.bool_]
    ever_fills: NDArray[np.bool_]


@dataclass(frozen=True)
class Run:
    """A run with everything in doubt, what its ground was, and the runs with one thing alone."""

    together: Outcome
    ground: Drained
    alone: dict[str, Outcome]


def with_doubt(plan: Plan, runs: int | None = None, workers: int | None = None,
               progress: Progress = lambda what: None) -> Plan:
    """The plan with how sure it is; the plan itself where that is not asked for.

    Parameters
    ----------
    runs : int, optional
        Number of runs; 0 for none.  Left out: as the site file's `doubt` says, and none where it
        has no such part.
    workers : int, optional
        Runs made side by side, on as many cores as there are if left out; the answer is the
        same, to the last bit, for any number.

    Raises
    ------
    InputError
        If a rule that spreads are taken from makes no sense.
    """
    asked = plan.site.doubt
    count = runs if runs is not None else asked.runs if asked is not None else 0
    if not count:
        return plan
    with plan.inputs.told():
        return replace(plan, doubt=doubt_of(plan, asked or Doubts(), count, workers, progress))


def doubt_of(plan: Plan, asked: Doubts, count: int, workers: int | None = None,
             progress: Progress = lambda what: None) -> Doubt:
    """How sure a plan is, from `count` runs; see `with_doubt`."""
    progress("Making ready to doubt the plan")
    placed = [planned.placed for planned in plan.stores]
    spreads = spreads_of(plan.inputs, placed, plan.cascade, asked)
    trial = _Trial(plan, spreads, asked.seed,
                   min(count, max(count // ALONE_OF, LEAST_ALONE)))
    found: list[Run] = []
    for run in _side_by_side(trial.run, count, workers or cores()):
        found.append(run)
        if len(found) * 10 // count > (len(found) - 1) * 10 // count:
            progress(f"Doubting the plan: {len(found):,} of {count:,} runs")
    return _told(plan, trial, spreads, found)


def _side_by_side(work: Callable[[int], Run], count: int, workers: int) -> Iterator[Run]:
    """Call `work` for 0 to `count` - 1 side by side; results in order.

    In processes that are split off this one and so hold all that `work` knows, where the system
    can do that safely, or else in threads, which wait for one another's Python.  Few calls are ever
    waiting, so that an interruption ends it at once.
    """
    if workers == 1:
        yield from map(work, range(count))
        return
    with _pool(work, workers) as pool:
        waiting: deque[Future[Run]] = deque()
        try:
            for number in range(count):
                waiting.append(pool.submit(_called, number))
                if len(waiting) == AHEAD * workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(cancel_futures=True)


def _pool(work: Callable[[int], Run], workers: int) -> Executor:
    if sys.platform != "linux":
        return ThreadPoolExecutor(workers, initializer=_ready, initargs=(work, None))
    return ProcessPoolExecutor(workers, get_context("fork"), _ready, (work, os.getpid()))


#: What a worker calls; each has its own.
_OWN = threading.local()


def _ready(work: Callable[[int], Run], parent: int | None) -> None:
    """Make a worker ready; a process ends with its parent, and leaves Ctrl-C to it."""
    if parent is not None:
        end_with(parent)
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    _OWN.work = work


def _called(number: int) -> Run:
    found: Run = _OWN.work(number)
    return found


class _Trial:
    """The plan, ready to be run with any draw."""

    def __init__(self, plan: Plan, spreads: Spreads, seed: int, alone: int) -> None:
        self.plan, self.spreads, self.seed, self.alone = plan, spreads, seed, alone
        self.ground = DoubtedGround(plan.inputs, [planned.placed for planned in plan.stores],
                                    plan.cascade, spreads.error, spreads.reach)
        inputs = plan.inputs
        self.design = plan.site.rain.design
        self.shape = inputs.hydrology.shapes[self.design.name]
        self.record = inputs.record
        self.reference = None if inputs.evaporation is None else inputs.evaporation.daily
        self.dries = soil_dries(plan.site)
        self.median_year = self._median_year()
        self.as_planned = self.ground.look(None)
        self.plan_outcome = self._outcome(self.as_planned, _sure(len(plan.stores)))

    def _median_year(self) -> int | None:
        """The number of the plan's median year; None where it tells of none."""
        median = next((year for year in self.plan.years if year.kind == "median"), None)
        if median is None or self.plan.seasons is None or self.spreads.blocks is None:
            return None
        named = year_of(self.plan.seasons.days, self.plan.site.rain.start_month)
        return int(self.spreads.blocks[np.flatnonzero(named == median.year)[0]])

    def run(self, number: int) -> Run:
        """One run, and for the first ones the same draw with each thing alone in doubt."""
        drawn = draw(self.spreads, self.seed, number)
        ground = self.ground.look(drawn.ground)
        alone = {}
        if number < self.alone:
            for doubt in self.spreads.in_doubt:
                alone[doubt] = self._outcome(ground if doubt == GROUND else self.as_planned,
                                             drawn.alone(doubt),
                                             self.plan.seasons if doubt == RAIN else None)
        together = self._outcome(ground, drawn)
        return Run(together, ground.drained, alone)

    def _outcome(self, ground: Ground, drawn: Draw, seasons: SeasonRun | None = None) -> Outcome:
        """The design storm and the record through the cascade of a draw.

        `seasons` is what the record does, where nothing but the rain is in doubt.
        """
        cascade = _with_rates(ground.cascade, drawn.rates)
        storm = run_storm(_with_rule(cascade, drawn.wetness, drawn.retention),
                          self.design.depth * drawn.depth, self.shape)
        entries = storm.stores
        most = np.array([entry.most for entry in entries])
        holds = np.array([node.store.capacity for node in cascade.nodes])
        fills = (most >= holds * (1 - 1e-9)) & (np.array([e.inflow for e in entries], float) > 0)
        nothing = np.full(len(entries), np.nan)
        year = one_year = np.full(len(HEADLINES), np.nan)
        arrives_year, caught_year, ever = nothing, nothing, fills
        if self.record is not None:
            if seasons is None:
                seasons = run_seasons(_with_rule(cascade, None, drawn.retention),
                                      self.record.depths, self.reference, self.dries)
            account = year_account(cascade, replace(seasons, weights=self._weights(seasons,
                                                                                   drawn)))
            year = _headlines(account)
            arrives_year = np.array([entry.inflow for entry in account.entries])
            caught_year = np.array([entry.caught for entry in account.entries])
            ever = fills | np.array([(part.spilled > 0).any() for part in seasons.stores], bool)
            chosen = self.median_year if drawn.one_year is None else drawn.one_year
            if chosen is not None and self.spreads.blocks is not None:
                days = (self.spreads.blocks == chosen).astype(np.float64)
                one_year = _in_days(cascade, seasons, days)
        return Outcome(_headlines(storm_account(storm)), year, one_year,
                       np.array([entry.inflow for entry in entries]),
                       np.array([entry.caught for entry in entries]), arrives_year, caught_year,
                       fills, ever)

    def _weights(self, seasons: SeasonRun, drawn: Draw) -> FloatArray:
        if drawn.years is None or self.spreads.blocks is None:
            return seasons.weights
        months = np.asarray(seasons.days.month, np.int64) - 1
        return year_weights(months, seasons.known, self.spreads.blocks, drawn.years)


def _sure(nodes: int) -> Draw:
    """A draw with nothing in doubt."""
    return Draw(None, 1.0, np.ones(nodes), 1.0, None, None, None)


def _with_rates(cascade: Cascade, factors: FloatArray) -> Cascade:
    """The cascade with other rates of soaking."""
    return cascade.with_stores([
        replace(node.store, infiltration=node.store.infiltration * float(factor))
        for node, factor in zip(cascade.nodes, factors, strict=True)])


def _with_rule(cascade: Cascade, wetness: float | None, factor: float) -> Cascade:
    """The cascade with ground of other retention."""
    def other(ground: Catchment) -> Catchment:
        rule = ground.rule
        return replace(ground, rule=DoubtedRule(rule.condition, rule.abstraction_ratio, wetness,
                                                factor))

    return replace(cascade, open_ground=other(cascade.open_ground),
                   nodes=[replace(node, catchment=other(node.catchment))
                          for node in cascade.nodes])


def _headlines(account: Account) -> FloatArray:
    """Passive and roof capture, what left, and the share of all that came which was kept."""
    came = account.rain + account.run_on
    kept = account.passive + account.roof
    return np.array([account.passive, account.roof, account.left_site,
                     kept / came if came else 0.0])


def _in_days(cascade: Cascade, seasons: SeasonRun, weights: FloatArray) -> FloatArray:
    """The headlines of weighted days, without an account by store."""
    passive = roof = np.zeros(weights.size)
    for node, part in zip(cascade.nodes, seasons.stores, strict=True):
        off_roofs = part.off_roofs if node.store.kind == "tank" else 0.0
        roof = roof + off_roofs
        passive = passive + (part.captured - off_roofs)
    kept = [float((series * weights).sum()) for series in (passive, roof, seasons.left_site)]
    came = float(((seasons.rain + seasons.run_on) * weights).sum())
    return np.array([*kept, (kept[0] + kept[1]) / came if came else 0.0])


def _told(plan: Plan, trial: _Trial, spreads: Spreads, runs: Sequence[Run]) -> Doubt:
    """What the runs tell."""
    own = trial.plan_outcome

    def headlines(key: str) -> dict[str, Headline]:
        every = np.array([getattr(run.together, key) for run in runs])
        planned = [None if np.isnan(value) else float(value) for value in getattr(own, key)]
        if np.isnan(every).all():
            return {}
        told = {}
        for column, name in enumerate(HEADLINES):
            spread = float(every[[bool(run.alone) for run in runs], column].var())
            alone = {doubt: values[:, column] for doubt in spreads.in_doubt
                     if not np.isnan(values := np.array([
                         getattr(run.alone[doubt], key) for run in runs if run.alone])).all()}
            told[name] = Headline(
                name, range_of(every[:, column], planned[column]),
                {doubt: range_of(values, planned[column]) for doubt, values in alone.items()},
                {doubt: float(values.var()) / spread for doubt, values in alone.items()}
                if spread > 0 else {})
        return told

    return Doubt(len(runs), sum(bool(run.alone) for run in runs), trial.seed,
                 len(runs) if spreads.error > 0 else 0, trial.design.name,
                 headlines("storm"), headlines("year"), headlines("one_year"),
                 tuple(_store(plan, trial, runs, i) for i in range(len(plan.stores))),
                 _notes(trial, spreads, runs), _beside(plan))


def _beside(plan: Plan) -> Beside | None:
    if plan.beside is None:
        return None
    name, account = plan.beside
    return Beside(name.split(", ", 1)[1], dict(zip(HEADLINES, _headlines(account).tolist(),
                                                   strict=True)))


def _store(plan: Plan, trial: _Trial, runs: Sequence[Run], index: int) -> DoubtedStore:
    own = trial.plan_outcome

    def of(key: str) -> FloatArray:
        return np.array([getattr(run.together, key)[index] for run in runs])

    def chance(happens: Sequence[bool]) -> float:
        return float(np.mean(happens))

    node = plan.cascade.nodes[index]
    area, moved = node.catchment.area, plan.inputs.rules["spill moved"]
    led = trial.ground.led[index] is not None
    yearly = trial.record is not None
    return DoubtedStore(
        node.store.name,
        range_of([run.ground.areas[index] for run in runs], area),
        range_of(of("arrives"), float(own.arrives[index])),
        range_of(of("caught"), float(own.caught[index])),
        range_of(of("arrives_year"), float(own.arrives_year[index])) if yearly else None,
        range_of(of("caught_year"), float(own.caught_year[index])) if yearly else None,
        chance(of("fills").tolist()), 1.0 - chance(of("ever_fills").tolist()),
        bool(own.fills[index]),
        chance([bool(run.ground.apart[index] > OTHER_GROUND * area) for run in runs]),
        chance([run.ground.spills_to[index] != node.spills_to for run in runs]) if led else None,
        chance([bool(run.ground.moved[index] > moved) for run in runs])
        if led and node.spills_to is None else None)


def _notes(trial: _Trial, spreads: Spreads, runs: Sequence[Run]) -> tuple[str, ...]:
    count, alone = len(runs), sum(bool(run.alone) for run in runs)
    half = 100 * 0.5 / np.sqrt(count)
    told = [f"{count:,} runs with all doubts together, seed {trial.seed}"
            + (", each with heights of its own" if spreads.error > 0 else "")
            + f"; the first {alone:,} draws were run once more with each doubt alone. The range of "
            "each doubt, and its share, come from those: its variance alone over the variance of "
            "all together in the same draws. Shares need not add to 100 %, as doubts act on one "
            "another.",
            f"A range holds 80 % of the runs. An end's error is for the number of runs alone (95 % "
            f"confidence, from ranks); a chance near one half is known to {half:.1f} of 100 "
            "(standard deviation).", *spreads.said,
            "What roofs yield of their rain and the uses of water are taken as sure."]
    if trial.record is not None:
        soil = "dries by evapotranspiration" if trial.dries else "is of average wetness"
        told.append(f"The years are those of soil that {soil} in every run: which of the two ways "
                    "of reckoning the soil's wetness is right is not drawn.")
    if spreads.error > 0:
        told.append("Works stay where they are dug and hold what the plan says: cells, levels and "
                    "curves are set out with an instrument; a natural hollow is taken as the plan "
                    "measured it. What changes is who drains to them and where their spills run. "
                    "Travel times stay those of the plan"
                    + (", and as large a share of the runoff soaks in on the way."
                       if any(node.catchment.delivery is not None
                              for node in trial.plan.cascade.nodes) else "."))
    if CURVE in spreads.in_doubt:
        told.append("Sills, works and their sizes stay as planned, whatever storm is drawn.")
    tangled = sum(run.ground.untangled for run in runs)
    if tangled:
        told.append(f"In {tangled:,} runs spills would have run in a circle; they were led as the "
                    "plan says.")
    cut = sum(run.ground.cut for run in runs)
    if cut:
        told.append(f"In {cut:,} runs ground beyond the part of the raster that was looked at may "
                    "drain in too; catchments are at least what is said.")
    return tuple(told)
