"""A survey of finished works held against their plan: the whole job in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from terrain.asbuilt.compared import compared
from terrain.asbuilt.designed_lines import DesignedLine, designed_lines
from terrain.asbuilt.held import (
    floor_field,
    ground_held,
    lowered,
    moved_whole,
    raised,
    swale_held,
)
from terrain.asbuilt.impossible import refuse_impossible
from terrain.asbuilt.matching import Matched, Measured, Stake, matched
from terrain.asbuilt.mending import mends
from terrain.asbuilt.reduction import Reduced, reduced
from terrain.asbuilt.said import cautions_of, notes_of, whole_cautions
from terrain.asbuilt.spills import Lip, first_spill, lip_of, sill_as_built
from terrain.asbuilt.work_found import StormBeside, WorkFound
from terrain.errors import InputError
from terrain.inputs.asbuilt_points import SurveyFile, read_asbuilt_points
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.siting.reading import Progress
from terrain.plan.water.routing import StormRun, run_storm
from terrain.works.store import Curve, Store


@dataclass(frozen=True)
class AsBuilt:
    """What a survey says of a plan's works.

    Attributes
    ----------
    plan : Plan
    survey : SurveyFile
    levels : Reduced
    settled : bool
        Whether banks were held against the levels they settle to.
    works : tuple of WorkFound
        Those that were surveyed, in the plan's order.
    cautions, notes : tuple of str
        Of the survey as a whole.
    """

    plan: Plan
    survey: SurveyFile
    levels: Reduced
    settled: bool
    works: tuple[WorkFound, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]

    def work(self, name: str) -> WorkFound | None:
        """The work of a name, if it was surveyed."""
        return next((found for found in self.works if found.name == name), None)


def as_built(plan: Plan, points: Path, stakes: Sequence[Stake], settled: bool = False,
             progress: Progress = lambda what: None) -> AsBuilt:
    """Hold surveyed points against a plan.

    Parameters
    ----------
    points : Path
        As `terrain.inputs.asbuilt_points` reads it.
    stakes : sequence of Stake
        Of the plan's setting-out table, number 1 first.
    settled : bool
        The banks have had a wet season to settle in.

    Raises
    ------
    InputError
        For anything in the file that cannot be used.
    """
    rules, mark = plan.inputs.rules, plan.site.benchmark
    survey = read_asbuilt_points(points, plan.site.units)
    levels = reduced(survey, None if mark is None else mark.level, rules)
    progress("Finding which work each point belongs to")
    lines = designed_lines(plan, settled)
    found = matched(plan, lines, survey, levels.levels, stakes)
    _refuse_one(survey, found)
    refuse_impossible(found)
    progress("Building storage again from the surveyed levels")
    works = [_of_work(plan, index, lines, found, settled)
             for index in sorted({line.store for line, _ in found.lines})]
    progress("Running the storms over the works as they are")
    built = {work.index: work.store for work in works}
    runs = _storms(plan, built)
    works = [_with_storms(plan, work, runs) for work in works]
    return AsBuilt(plan, survey, levels, settled, tuple(works),
                   (*levels.cautions, *whole_cautions(works, rules)),
                   (*survey.notes, *levels.notes, *found.notes, *notes_of(works, settled)))


def _refuse_one(survey: SurveyFile, found: Matched) -> None:
    """Refuse a survey of which nothing is left, or a single point of a line."""
    if not found.lines:
        raise InputError(str(survey.path), "not one of its points tells a level that was to be "
                         "made", "Survey sills, beds, crests and floors")
    (line, points), *more = found.lines
    if not more and len(points) == 1 and (line.area is not None or line.length > 1.0):
        raise InputError(str(survey.path), f"it holds one point of {line.work}, {line.name}, and "
                         "one level says nothing of a line",
                         "Survey it at every stake, both ends among them")


def _of_work(plan: Plan, index: int, lines: Sequence[DesignedLine], found: Matched, settled: bool
             ) -> WorkFound:
    planned, dem, rules = plan.stores[index], plan.inputs.dem, plan.inputs.rules
    surveyed = {id(line): points for line, points in found.lines}
    own = [line for line in lines if line.store == index]
    points = [surveyed.get(id(line), ()) for line in own]
    held_against = []
    for line, measured in zip(own, points, strict=True):
        if not measured:
            continue
        natural = tuple(line.role in ("crest", "rim", "edge") and bool(
            dem.height_at(m.x, m.y) >= m.designed - 1e-3) for m in measured)
        field, cell = floor_field(measured, line.area) if line.area is not None else (None, 0.0)
        held_against.append(compared(line, measured, natural, rules, field, cell))
    lip = lip_of(dem, own, points, rules) if planned.drain is None else None
    spill = None if lip is None else first_spill(lip)
    store = planned.store
    if lip is not None and spill is not None:
        curve = _curve(plan, planned, own, points, spill.level)
        store = replace(store, curve=curve, sill=sill_as_built(store.sill, lip))
    return WorkFound(index, planned, tuple(held_against),
                     tuple(line for line, measured in zip(own, points, strict=True)
                           if not measured), lip, spill, store, mends(held_against))


def _curve(plan: Plan, planned: PlannedStore, own: Sequence[DesignedLine],
           points: Sequence[tuple[Measured, ...]], level: float) -> Curve:
    gathered: dict[str, tuple[Measured, ...]] = {}
    for line, measured in zip(own, points, strict=True):
        gathered[line.name] = gathered.get(line.name, ()) + tuple(measured)
    swale = planned.swale is not None
    bottom = gathered.get("bed" if swale else "floor", ())
    # Edge and bottom that lie off alike are of one trench, or one survey, at another level.
    by = moved_whole(gathered.get("lip" if swale else "rim", ()), bottom)
    bottom = lowered(bottom, by)
    if planned.swale is not None:
        return raised(swale_held(planned.swale, bottom, lowered(gathered.get("check", ()), by),
                                 level - by), by)
    return raised(ground_held(plan.inputs.dem, planned, bottom, level - by, plan.inputs.rules), by)


def _storms(plan: Plan, built: Mapping[int, Store]) -> dict[str, StormRun]:
    """Every storm of the site over the works as they are, the others as designed."""
    cascade = plan.cascade.with_stores([built.get(i, node.store)
                                        for i, node in enumerate(plan.cascade.nodes)])
    shapes = plan.inputs.hydrology.shapes
    return {storm.name: run_storm(cascade, storm.depth, shapes[storm.name])
            for storm in plan.site.rain.storms}


def _with_storms(plan: Plan, work: WorkFound, runs: Mapping[str, StormRun]) -> WorkFound:
    if work.lip is None:
        return replace(work, cautions=cautions_of(plan, work, None))
    beside = [_beside(plan, work, work.lip, name, run) for name, run in runs.items()]
    design = next(storm for storm in beside if storm.name == plan.site.rain.design.name)
    work = replace(work, storms=tuple(beside))
    return replace(work, cautions=cautions_of(plan, work, design))


def _beside(plan: Plan, work: WorkFound, lip: Lip, name: str, run: StormRun) -> StormBeside:
    designed, built = plan.runs[name].stores[work.index], run.stores[work.index]
    water = built.peak_level
    now = None if water is None else lip.crest_left(water, settled=False)
    later = None if water is None else lip.crest_left(water, settled=True)
    return StormBeside(name, run.depth, designed, built, work.planned.freeboard_left(designed),
                       now, later)
