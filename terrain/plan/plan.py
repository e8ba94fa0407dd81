"""Site -> Plan: the whole job in one call."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.plan.earth.designed import designed_ground
from terrain.plan.earth.earthworks import earthworks
from terrain.plan.earth.fixed_values import fixed_values
from terrain.plan.earth.shared_ground import shared_ground_cautions
from terrain.plan.money.left_out import partly
from terrain.plan.money.money import system_money
from terrain.plan.notes import plan_notes
from terrain.plan.order_of_work import order_of_work
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.safety.cautions import LEAVES
from terrain.plan.safety.clearances import steep_ground
from terrain.plan.safety.gravity import by_gravity
from terrain.plan.safety.tree_cautions import tree_notes
from terrain.plan.siting.hydrology import YEARS, soil_dries
from terrain.plan.siting.layout import Placed, place_works
from terrain.plan.siting.reading import Inputs, Progress, read_inputs
from terrain.plan.siting.road_turnouts import road_turnouts, turnout_notes
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.plan.store_planned import planned_store, with_facts
from terrain.plan.swale_notes import swale_notes
from terrain.plan.water.accounts import (
    YearOfRecord,
    storm_account,
    year_account,
    years_of_record,
)
from terrain.plan.water.cascade import build_cascade
from terrain.plan.water.cascade_told import tell_cascade
from terrain.plan.water.names_first import refuse_unknown_names
from terrain.plan.water.pipes import led_notes, pipe_caution, pipe_checks, pipe_notes
from terrain.plan.water.roofs_told import tell_roofs
from terrain.plan.water.routing import full_at, run_storm
from terrain.plan.water.short_record import short_record
from terrain.plan.water.sills import with_sills
from terrain.plan.water.spill_ways import Ending, ends_in_hollows, pump_cautions, pump_notes
from terrain.plan.water.spills import heights_assumed
from terrain.plan.water.trees_carried import trees_carried
from terrain.plan.water.water_balance import run_seasons
from terrain.runoff.peak import peaks_of
from terrain.runoff.sheds import Shed, bare_patches, shed_of
from terrain.runoff.storms import storm_steps
from terrain.surface.accumulation import accumulate
from terrain.works.pipe import PipeCheck
from terrain.works.rules import Rulebook
from terrain.works.swale import smoothed


def check_site(path: Path, progress: Progress = lambda what: None
               ) -> tuple[Inputs, tuple[str, ...]]:
    """Read everything and lay out every work, to find what is wrong; change nothing.

    Returns
    -------
    inputs : Inputs
    beware : tuple of str
        What is not wrong and yet not right, such as works that overlap or a short record.

    Raises
    ------
    InputError
        For the first thing that is wrong.
    """
    inputs = read_inputs(path, progress)
    progress("Laying out the works")
    with inputs.told():
        cascade = build_cascade(inputs.site, inputs.terrain, inputs.ground, laid_out(inputs),
                                inputs.rules, inputs.hydrology)
    short = (None if inputs.record is None else
             short_record(inputs.record.depths, inputs.site.rain.start_month))
    return inputs, (*cascade.notes, *([short] if short else []))


@dataclass(frozen=True)
class ReadyGround:
    """What laying out works needs of the ground and the rain, whatever the works are.

    Attributes
    ----------
    soft : Dem
        As `terrain.works.swale.smoothed` gives it.
    design_runoff : float64, shape (rows, columns)
        Runoff of each cell in the design storm. [m3]
    climate : TreeClimate or None
    """

    soft: Dem
    design_runoff: NDArray[np.float64]
    climate: TreeClimate | None


def ready_ground(inputs: Inputs) -> ReadyGround:
    """What `laid_out` needs beside the works themselves."""
    return ReadyGround(smoothed(inputs.dem), inputs.runoff(inputs.site.rain.design.depth),
                       tree_climate(inputs.site, inputs.record, inputs.evaporation,
                                    inputs.ground.curve_number, inputs.hydrology.rule,
                                    inputs.rules))


def laid_out(inputs: Inputs, ready: ReadyGround | None = None, standing: Sequence[Placed] = ()
             ) -> list[Placed]:
    """Every work of the site file on the terrain.

    Parameters
    ----------
    ready : ReadyGround, optional
        Of the same site with whatever works, to spare the time.
    standing : sequence of Placed, optional
        Works as they were laid out before, to spare it for those that are as they were.

    Raises
    ------
    InputError
        For a work that cannot lie as it is asked for, or a name that is none.
    """
    refuse_unknown_names(inputs.site, inputs.ground, inputs.rules)
    ready = ready_ground(inputs) if ready is None else ready
    return place_works(inputs.site, inputs.terrain, inputs.ground, inputs.rules,
                       ready.design_runoff, ready.climate, ready.soft, standing)


def make_plan(path: Path, progress: Progress = lambda what: None) -> Plan:
    """Plan a site from its site file.

    Raises
    ------
    InputError
        For anything in the site file or the files it names that cannot be used.
    """
    inputs = read_inputs(path, progress)
    with inputs.told():
        return _plan(inputs, progress)


def _plan(inputs: Inputs, progress: Progress) -> Plan:
    site, shapes = inputs.site, inputs.hydrology.shapes
    design = site.rain.design
    progress("Laying out the works")
    placed = laid_out(inputs)
    progress("Joining stores by their spills")
    cascade = build_cascade(site, inputs.terrain, inputs.ground, placed, inputs.rules,
                            inputs.hydrology)
    progress("Sizing the sills for the design storm")
    cascade = with_sills(inputs, cascade, placed)
    progress("Running the storms")
    runs = {storm.name: run_storm(cascade, storm.depth, shapes[storm.name])
            for storm in site.rain.storms}
    storms = {name: storm_account(found) for name, found in runs.items()}
    progress("Finding the rain that fills each store")
    filled = full_at(cascade, shapes[design.name])
    step = storm_steps(design.duration)
    peaks = [peaks_of(node.catchment.ground, design.depth, shapes[design.name], step)
             if node.catchment.ground.area else None for node in cascade.nodes]
    seasons, year, beside = None, None, None
    years: tuple[YearOfRecord, ...] = ()
    if inputs.record is not None:
        progress("Living through the rain record")
        reference = None if inputs.evaporation is None else inputs.evaporation.daily
        follows = soil_dries(site)
        seasons = run_seasons(cascade, inputs.record.depths, reference, follows)
        year = year_account(cascade, seasons)
        years = years_of_record(cascade, seasons, site.rain.start_month)
        if reference is not None:
            other = run_seasons(cascade, inputs.record.depths, reference, not follows)
            beside = YEARS[not follows], year_account(cascade, other)
    progress("Finding what roads and bare ground shed")
    sheds = find_sheds(inputs, placed)
    steep = steep_ground(inputs.terrain, inputs.rules)
    stores = [planned_store(inputs, cascade, i, placed, runs, filled[i], seasons, years, steep)
              for i in range(len(placed))]
    progress("Finding what the basins catch, on dry ground and on wet")
    stores = with_facts(inputs, cascade, stores, seasons, years)
    turnouts = road_turnouts(inputs, placed)
    pipes = pipe_checks(inputs, cascade, placed, runs[design.name])
    stores = [_with_pipe(store, pipes, inputs.rules) for store in stores]
    for index, said in pump_cautions(cascade, runs).items():
        stores[index] = replace(stores[index], cautions=(*stores[index].cautions, said))
    roofs = tell_roofs(inputs, cascade, placed, seasons, years)
    stores = [replace(store, cautions=(*store.cautions, *roofs.cautions.get(i, ())))
              for i, store in enumerate(stores)]
    progress("Following every spill, and the rain by its depth")
    told = tell_cascade(inputs, cascade, placed, runs, filled, seasons, years)
    # Along a pump's way goes what it lifts; what is over that is told with the pump.
    endings = ends_in_hollows(told.ways, [s.spilled - s.over for s in runs[design.name].stores],
                              inputs.dem)
    stores = [_with_hollows(store, ending) for store, ending in zip(stores, endings, strict=True)]
    progress("Sharing out the earth")
    earth = earthworks(inputs, stores)
    order = order_of_work(inputs, cascade, stores, earth)
    paid = None
    if site.money is not None:
        progress("Reckoning what the water costs, and which work to build next")
        paid = system_money(inputs, cascade, placed, stores, earth, year,
                            None if seasons is None else
                            partly(inputs, cascade, placed, seasons, soil_dries(site)))
    progress("Laying works out again with what is fixed by hand left open")
    fixed = fixed_values(inputs, stores)
    plan = Plan(inputs, cascade, stores, sheds, runs, storms, peaks, seasons, year, beside, years,
                (*plan_notes(inputs, placed, seasons),
                 *swale_notes(inputs, cascade, placed, seasons),
                 *tree_notes(inputs, placed),
                 *turnout_notes(inputs, turnouts), *pipe_notes(pipes, inputs.rules),
                 *led_notes(cascade, placed),
                 *pump_notes(cascade, placed), *heights_assumed(placed), *roofs.notes),
                turnouts=turnouts, pipes=pipes, told=told, roofs=roofs, earth=earth, order=order,
                fixed=fixed, money=paid)
    progress("Shaping the designed ground")
    designed = designed_ground(inputs.dem, stores, inputs.rules)
    sharing = shared_ground_cautions(placed, cascade.overlaps, designed)
    plan = replace(plan, designed=designed, stores=[
        replace(store, cautions=by_gravity((*store.cautions, *sharing.get(i, ()))))
        for i, store in enumerate(stores)])
    progress("Counting the trees that the water would carry")
    return replace(plan, carried=tuple(trees_carried(inputs, cascade, placed, seasons,
                                                     plan.ranked_shed_points)))


def _with_hollows(planned: PlannedStore, ending: Ending | None) -> PlannedStore:
    """A store with its caution that the spill leaves bound to the hollows on its way."""
    if ending is None or LEAVES not in planned.cautions:
        return planned
    if not ending.held:
        return replace(planned, cautions=(*planned.cautions, ending.said))
    return replace(planned, cautions=tuple(ending.said if said == LEAVES else said
                                           for said in planned.cautions))


def _with_pipe(planned: PlannedStore, pipes: tuple[PipeCheck, ...], rules: Rulebook
               ) -> PlannedStore:
    """A store with a caution about its pipe, if it earns one."""
    said = [pipe_caution(check, rules) for check in pipes
            if check.kind == "pipe" and check.name == planned.placed.work.name]
    return replace(planned, cautions=(*planned.cautions, *(s for s in said if s is not None)))


def bare_ground(inputs: Inputs) -> Iterator[NDArray[np.bool_]]:
    """Patches of bare ground within the boundary, roads left out, the largest first."""
    ground, dem = inputs.ground, inputs.dem
    on_roads = np.zeros(dem.shape, bool)
    for road in ground.roads:
        on_roads |= road.cells
    bare = {name for name, kind in ground.known.items() if kind.bare}
    cover = np.where(on_roads | ~ground.inside, -1, ground.cover).astype(np.int16)
    return bare_patches(cover, ground.classes, bare, dem.cell_area)


def find_sheds(inputs: Inputs, placed: list[Placed]) -> list[Shed]:
    """What every road and bare patch sheds in each storm, as the ground is now."""
    terrain, ground, dem = inputs.terrain, inputs.ground, inputs.dem
    runoff = [inputs.runoff(storm.depth) for storm in inputs.site.rain.storms]
    passing = [accumulate(terrain.direction, made) for made in runoff]
    marks = np.zeros(dem.shape, np.int32)
    for index, place in enumerate(placed):
        if len(place.cells):
            marks[place.cells[:, 0], place.cells[:, 1]] = index + 1

    def shed(name: str, kind: str, cells: NDArray[np.bool_]) -> Shed:
        return shed_of(terrain, name, kind, cells, ground.curve_number, runoff, passing, marks,
                       ground.inside)

    # What passes under a road in a culvert is not shed by it.
    surface = ground.inside & ~terrain.in_culverts
    found = [shed(road.name, "road", road.cells & surface) for road in ground.roads
             if (road.cells & surface).any()]
    for number, cells in enumerate(bare_ground(inputs), 1):
        found.append(shed(f"bare patch {number}", "bare ground", cells))
    return found
