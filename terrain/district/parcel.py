"""What is found of one parcel of a district: a task on a worker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from terrain.district.best_ground import best_ground
from terrain.district.kinds import Kinds
from terrain.district.opened import Opened
from terrain.district.parcel_ground import ParcelGround, ParcelInputs, ground_about
from terrain.district.rains import DistrictRain
from terrain.district.screened import Entry, Parcel, RoadShed, Roofs, Screened, Water
from terrain.district.waters import ParcelWater
from terrain.inputs.keep_clear import Thing
from terrain.inputs.site_suggest import Suggest
from terrain.plan.siting.reading import with_rules
from terrain.surface.accumulation import accumulate
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.rules import Rulebook
from terrain.works.setbacks import setback_of

#: So many places where water comes onto a parcel are told.
ENTRIES = 5
#: Hollows from this depth on are told; common practice, no source. [m]
DEEP = 0.5
#: A building counts from this share of its footprint on; less is how outlines and parcels never
#: quite agree; common practice, no source.
BUILDING = 0.05
#: From this share of the water on, what neighbours do to run-on is warned of; common practice, no
#: source.
MUCH_RUN_ON = 0.1


@dataclass(frozen=True)
class Shared:
    """What every parcel of a district needs.

    Attributes
    ----------
    opened : Opened
    kinds : Kinds
    rain : DistrictRain
    """

    opened: Opened
    kinds: Kinds
    rain: DistrictRain


@dataclass(frozen=True)
class Surroundings:
    """What lies about a parcel that works are to keep clear of, and ground that nothing is to be
    dug on."""

    things: tuple[Thing, ...] = ()
    kept_out: tuple[Any, ...] = ()


def screen_parcel(shared: Shared, parcel: Parcel, water: ParcelWater,
                  about: Surroundings = Surroundings()) -> Screened:
    """Screen a parcel: its water, its roads and roofs, its best ground for a swale and a basin.

    One whose water is not known, as `water` says, gets that as its fault.

    Raises
    ------
    InputError
        If its ground or what the district file says of it cannot be used.
    """
    if water.fault:
        return Screened(parcel, notes=water.notes, fault=water.fault)
    district = shared.opened.district
    inputs = parcel_inputs(shared, parcel, water, about)
    with inputs.told():
        ground, terrain = inputs.ground, inputs.terrain
        assert isinstance(ground, ParcelGround)
        roofs, collected = _roofs(ground, shared.opened.parts.get(parcel.number, parcel.outline))
        storms, year = shared.rain.waters(shared.kinds, water, collected)
        found = best_ground(inputs, district.suggest or Suggest(), about.kept_out)
        screened = Screened(
            parcel, float(water.own.sum()), float(water.run_on.sum()), water.at_least, storms,
            year, _road_shed(shared.kinds, water, ground, terrain), roofs,
            _entries(shared, water), found.swale, found.basin)
        design = storms[[s.name for s in storms].index(district.rain.design.name)]
        return replace(screened, notes=(*water.notes, *_notes(screened, design),
                                        *_of_hollows(terrain, ground), *found.notes))


def parcel_inputs(shared: Shared, parcel: Parcel, water: ParcelWater, about: Surroundings
                  ) -> ParcelInputs:
    """A parcel as a site on which nothing stands yet: its ground with all the water that comes."""
    opened = shared.opened
    site, rules = with_rules(opened.district.site_of(parcel.name))
    terrain, ground = ground_about(opened, shared.kinds, site, parcel, water,
                                   farthest(rules, about.things), about.things)
    rain = shared.rain.rain
    return ParcelInputs(site, terrain.dem, terrain, ground, rain.record, rain.evaporation,
                        rain.hydrology, rules)


def farthest(rules: Rulebook, things: Sequence[Thing] = ()) -> float:
    """How far off ground or things may lie and still matter to works. [m]"""
    kept = [setback_of(thing, rules) for thing in things]
    return max([rules["steep toe setback"], *(one.distance for one in kept if one is not None)])


def _roofs(ground: ParcelGround, counts: Any) -> tuple[Roofs, float]:
    """Footprints within the part of a parcel that counts; and these times the share of rain that
    reaches gutters. [m2]"""
    count, area, collected = 0, 0.0, 0.0
    for roof in ground.roofs:
        part = float(roof.outline.intersection(counts).area)
        if part >= BUILDING * roof.area:
            count, area, collected = count + 1, area + part, collected + part * roof.efficiency
    return Roofs(count, area), collected


def _road_shed(kinds: Kinds, water: ParcelWater, ground: ParcelGround, terrain: Terrain
               ) -> RoadShed:
    own, run_on = (float(part[kinds.road].sum()) for part in (water.own, water.run_on))
    area = np.where(ground.on_road & np.isfinite(ground.curve_number), terrain.dem.cell_area, 0.0)
    area += ground.entering.at_cells(ground.entering.road, area.shape)
    passes = np.where(ground.inside, np.nan_to_num(accumulate(terrain.direction, area)), 0.0)
    most = float(passes.max(initial=0.0))
    if not most > 0:
        return RoadShed(own, run_on, None, 0.0)
    # The same passes all the way down: where it first is together, with the least other water.
    places = np.flatnonzero(passes >= most)
    at = int(places[np.argmin(terrain.contributing_area.reshape(-1)[places])])
    x, y = terrain.dem.xy(*divmod(at, area.shape[1]))
    return RoadShed(own, run_on, (float(x), float(y)), most)


def _entries(shared: Shared, water: ParcelWater) -> tuple[Entry, ...]:
    areas = water.through.sum(axis=1)
    order = np.lexsort((water.entries[:, 1], water.entries[:, 0], -areas))[:ENTRIES]
    files = shared.opened.files
    west, _, _, north = files.bounds
    return tuple(Entry((west + (column + 0.5) * files.cell, north - (row + 0.5) * files.cell),
                       float(areas[i]))
                 for i, (row, column) in zip(order.tolist(), water.entries[order].tolist(),
                                             strict=True))


def _of_hollows(terrain: Terrain, ground: ParcelGround) -> list[str]:
    """What is to be said of hollows of the parcel that water is led over as if they stood full."""
    deep = [one for one in terrain.hollows
            if one.depth >= DEEP and ground.inside[one.row, one.column]]
    if not deep:
        return []
    most = deep[0]  # they come by what they hold
    x, y = terrain.dem.xy(most.row, most.column)
    are = "is" if len(deep) == 1 else "are"
    place = terrain.dem.named(float(x), float(y))
    return [f"{len(deep):,} {'hollow' if len(deep) == 1 else 'hollows'} of the parcel {are} "
            f"deeper than {in_both(DEEP, 'size')}; the largest, at {place}, holds "
            f"{in_both(most.volume, 'volume')} before it spills. Water is led over them as if they "
            "stood full, and a bank without its culvert, or a pit, may look like one: go and look "
            "before you trust the way of the water there."]


def _notes(found: Screened, design: Water) -> list[str]:
    """What the figures rest on, and what to beware of."""
    said = []
    if found.at_least:
        said.append("Some of the ground that drains here reaches the edge of the known ground: "
                    "run-on is at least what is said.")
    if found.run_on_area > 0:
        share = design.run_on / design.catchable if design.catchable > 0 else 0.0
        said.append(f"In the storm \"{design.name}\" {share:.0%} of the runoff comes from beyond "
                    "the parcel." + ("" if share < MUCH_RUN_ON else
                    " A neighbour's bank, road or drain may stop it or double it: weigh works "
                    "with it and without, and ask about water rights before holding it back."))
    if found.roofs.area > 0:
        said.append("Roof water is what reaches the gutters, nothing taken off for a first flush "
                    "or a full tank; it is not assumed to be drinkable.")
    if found.basin is not None and found.basin.bank > 0:
        said.append(f"The basin's bank holds water {in_both(found.basin.bank, 'size')} deep: "
                    "have the soil and the spillway looked at before it is built, and see who "
                    "lives below it.")
    return said
