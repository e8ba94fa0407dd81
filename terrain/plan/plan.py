"""Site -> Plan: the whole job in one call."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain.plan.earth.built import build
from terrain.plan.earth.designed import designed_ground
from terrain.plan.earth.earthworks import earthworks
from terrain.plan.earth.fixed_values import fixed_values
from terrain.plan.earth.shared_ground import shared_ground_cautions
from terrain.plan.money.left_out import partly
from terrain.plan.money.money import system_money
from terrain.plan.notes import plan_notes
from terrain.plan.order_of_work import order_of_work
from terrain.plan.planned import YEARS, Plan, PlannedStore
from terrain.plan.safety.cautions import (
    LEAVES,
    basin_cautions,
    drain_cautions,
    hollow_cautions,
    overtop_cautions,
    site_cautions,
    spill_cautions,
    too_small,
    wall_cautions,
)
from terrain.plan.safety.clearances import SteepGround, steep_ground
from terrain.plan.safety.gravity import by_gravity
from terrain.plan.safety.surroundings import surroundings
from terrain.plan.safety.tree_cautions import tree_cautions, tree_notes
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.layout import Placed, place_works
from terrain.plan.siting.reading import Inputs, Progress, read_inputs
from terrain.plan.siting.road_turnouts import road_turnouts, turnout_notes
from terrain.plan.siting.tree_climate import tree_climate
from terrain.plan.swale_notes import swale_notes
from terrain.plan.water.accounts import (
    YearOfRecord,
    storm_account,
    year_account,
    years_of_record,
)
from terrain.plan.water.basin_facts import basin_facts
from terrain.plan.water.cascade import Cascade, Node, build_cascade, heights_assumed
from terrain.plan.water.cascade_told import tell_cascade
from terrain.plan.water.catches import catches
from terrain.plan.water.names_first import refuse_unknown_names
from terrain.plan.water.pipes import led_notes, pipe_caution, pipe_checks, pipe_notes
from terrain.plan.water.pond_years import pond_years
from terrain.plan.water.roofs_told import tell_roofs
from terrain.plan.water.routing import StormRun, full_at, run_storm, storm_steps
from terrain.plan.water.short_record import short_record
from terrain.plan.water.sills import with_sills
from terrain.plan.water.spill_ways import Ending, ends_in_hollows, pump_cautions, pump_notes
from terrain.plan.water.tree_life import TreeLife, tree_life
from terrain.plan.water.trees_carried import trees_carried
from terrain.plan.water.water_balance import SeasonRun, run_seasons
from terrain.runoff.peak import peaks_of
from terrain.runoff.sheds import Shed, bare_patches, shed_of
from terrain.surface.accumulation import accumulate
from terrain.works.pipe import PipeCheck
from terrain.works.rules import Rulebook
from terrain.works.store import Store
from terrain.works.tree_basin import catchment_ratio, tree_need


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


def laid_out(inputs: Inputs) -> list[Placed]:
    """Every work of the site file on the terrain.

    Raises
    ------
    InputError
        For a work that cannot lie as it is asked for, or a name that is none.
    """
    refuse_unknown_names(inputs.site, inputs.ground, inputs.rules)
    return place_works(inputs.site, inputs.terrain, inputs.ground, inputs.rules,
                       inputs.runoff(inputs.site.rain.design.depth),
                       tree_climate(inputs.site, inputs.record, inputs.evaporation,
                                    inputs.ground.curve_number, inputs.hydrology.rule,
                                    inputs.rules))


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
    stores = [_planned(inputs, cascade, i, placed, runs, filled[i], seasons, years, steep)
              for i in range(len(placed))]
    progress("Finding what the basins catch, on dry ground and on wet")
    stores = _with_facts(inputs, cascade, stores, seasons, years)
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


def _planned(inputs: Inputs, cascade: Cascade, index: int, placed: list[Placed],
             runs: dict[str, StormRun], fills: float | None, seasons: SeasonRun | None,
             years: tuple[YearOfRecord, ...], steep: SteepGround
             ) -> PlannedStore:
    place, node = placed[index], cascade.nodes[index]
    store = node.store
    made = build(inputs, place, store)
    swale, built, drain, amount = made.swale, made.basin, made.drain, made.quantities
    cautions: list[str] = []
    if swale is not None:
        cautions += [*swale.cautions, *too_small(
            inputs, swale, store, runs[inputs.site.rain.design.name].stores[index].inflow)]
    elif built is not None:
        cautions += built.cautions
        if built.has_wall:
            cautions += wall_cautions(inputs, built)
        cautions += basin_cautions(inputs, place, node, built)
    elif place.hollow is not None:
        cautions += hollow_cautions(inputs, place, place.hollow)
    if drain is not None:
        cautions += [*drain.cautions, *drain_cautions(inputs, drain, placed)]
    crest = (swale.berm_height if swale is not None else
             built.crest - built.sill.level if built is not None and built.has_wall else None)
    if crest is not None:
        cautions += overtop_cautions(store, crest, {name: run.stores[index].peak_spill
                                                    for name, run in runs.items()})
    empties = store.drain_hours if place.kind != "tank" else _tank_hours(store)
    if drain is not None:
        empties, fills = 0.0, None
    cautions += tree_cautions(inputs, cascade, place, placed)
    cautions += spill_cautions(inputs, cascade, index, placed)
    cautions += site_cautions(inputs, place, node, empties)
    about, breach = surroundings(inputs, made, node, placed, steep)
    cautions += about
    starts = min(node.catchment.starts_at, node.roof.starts_at)
    return PlannedStore(
        place, store, swale, built, drain, amount, node.furrow,
        node.led_way if node.led in ("pipe", "pump") else None,
        starts_at=None if np.isinf(starts) else starts, full_at=fills, drain_hours=empties,
        spills_to=_end_of_spill(cascade, index), cautions=tuple(cautions),
        trees_need=_need(inputs, place),
        trees_catchment=_carrying_ground(inputs, place, node, seasons),
        life=_life(inputs, place, index, seasons, years), breach=breach)


def _with_facts(inputs: Inputs, cascade: Cascade, stores: list[PlannedStore],
                seasons: SeasonRun | None, years: tuple[YearOfRecord, ...]) -> list[PlannedStore]:
    """The same stores, basins with what is told of them alone."""
    rain = inputs.site.rain
    storms = [(storm.name, storm.depth, storm.return_period) for storm in rain.storms]
    basins = [i for i, planned in enumerate(stores) if planned.basin is not None]
    caught = catches(cascade, storms, inputs.hydrology.shapes, rain.design.name, basins)
    found = list(stores)
    for i in basins:
        planned = stores[i]
        assert planned.basin is not None
        pond = planned.placed.work.holds_water
        months = (pond_years(seasons, i, planned.store.curve, years, rain.start_month)
                  if pond and seasons is not None else ())
        found[i] = replace(planned, facts=basin_facts(planned.basin, planned.store,
                                                      rain.design.name, caught[i], months,
                                                      inputs.rules, pond))
    return found


def _tank_hours(store: Store) -> float:
    return store.capacity / store.demand * 24 if store.demand else float("inf")


def _need(inputs: Inputs, place: Placed) -> float | None:
    trees = place.tree or place.stand
    if trees is None or inputs.evaporation is None:
        return None
    count = 1 if place.stand is None else place.stand.count
    return count * tree_need(inputs.evaporation.year, trees.factor, trees.crown)


def _life(inputs: Inputs, place: Placed, index: int, seasons: SeasonRun | None,
          years: tuple[YearOfRecord, ...]) -> TreeLife | None:
    evaporation = inputs.evaporation
    trees = place.tree or place.stand
    if trees is None or seasons is None or evaporation is None or evaporation.daily is None:
        return None
    return tree_life(trees, seasons.stores[index], seasons, evaporation.daily, years,
                     inputs.rules, place.work.texture)


def _carrying_ground(inputs: Inputs, place: Placed, node: Node, seasons: SeasonRun | None
                     ) -> float | None:
    """Catchment that would carry a tree, from the share of rain that its own ground sheds."""
    trees = place.tree or place.stand
    if trees is None or inputs.evaporation is None or seasons is None:
        return None
    ground = node.catchment.ground
    rain = seasons.mean(seasons.rain_mm)
    if not ground.area or not rain:
        return None
    depths, which = np.unique(seasons.rain_mm, return_inverse=True)
    runoff = seasons.mean(ground.runoff_volumes(depths)[which]) / ground.area * 1000
    if runoff <= 0:
        return None
    ratio = catchment_ratio(inputs.evaporation.year * trees.factor, rain, runoff / rain,
                            inputs.rules["harvest efficiency"])
    return float(ratio) * trees.crown_area


def _end_of_spill(cascade: Cascade, index: int) -> str:
    node = cascade.nodes[index]
    if node.spills_to is not None:
        return cascade.nodes[node.spills_to].store.name
    if node.piped and len(node.spill_path) < 3:
        return "off the site by the owner's word"
    return "over the ground and off the site"
