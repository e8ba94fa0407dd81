"""A work with all that the plan says of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from terrain.plan.earth.built import Built, build
from terrain.plan.earth.furrow_runs import flow_in_furrow
from terrain.plan.planned import PlannedStore
from terrain.plan.safety.cautions import (
    basin_cautions,
    drain_cautions,
    hollow_cautions,
    overtop_cautions,
    site_cautions,
    spill_cautions,
    too_small,
    wall_cautions,
)
from terrain.plan.safety.clearances import SteepGround
from terrain.plan.safety.surroundings import surroundings
from terrain.plan.safety.tree_cautions import tree_cautions
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.basin_facts import basin_facts
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.catches import catches
from terrain.plan.water.pond_years import pond_years
from terrain.plan.water.routing import StormRun
from terrain.plan.water.tree_life import TreeLife, tree_life
from terrain.plan.water.water_balance import SeasonRun
from terrain.works.store import Store
from terrain.works.tree_basin import catchment_ratio, tree_need


def planned_store(inputs: Inputs, cascade: Cascade, index: int, placed: list[Placed],
                  runs: dict[str, StormRun], fills: float | None, seasons: SeasonRun | None,
                  years: tuple[YearOfRecord, ...], steep: SteepGround, made: Built | None = None
                  ) -> PlannedStore:
    """A store of the cascade with what the plan says of it by itself.

    Parameters
    ----------
    index : int
        Of its node.
    fills : float or None
        Smallest rain that fills it. [mm]
    made : Built, optional
        The work as `terrain.plan.earth.built.build` finishes it, to spare the time.
    """
    place, node = placed[index], cascade.nodes[index]
    store = node.store
    made = build(inputs, place, store) if made is None else made
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
        life=_life(inputs, place, index, seasons, years), breach=breach,
        furrow_runs=None if node.furrow is None else
        flow_in_furrow(inputs, place, store, node.furrow))


def with_facts(inputs: Inputs, cascade: Cascade, stores: list[PlannedStore],
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
