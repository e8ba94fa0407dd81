"""Site -> Plan: the whole job in one call."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem, read_elevation
from terrain.inputs.rainfall import RainRecord, read_daily_rain
from terrain.inputs.site import Site, read_site
from terrain.plan.accounts import Account, storm_account, year_account
from terrain.plan.cascade import Cascade, build_cascade
from terrain.plan.cost import Quantities, quantities
from terrain.plan.layout import Placed, Places, first_sill, place_works
from terrain.plan.routing import StormRun, full_at, run_storm
from terrain.plan.water_balance import SeasonRun, run_seasons
from terrain.runoff.cover import published_classes
from terrain.runoff.curve_number import runoff_depth
from terrain.runoff.ground import Ground, read_ground, require_known
from terrain.runoff.sheds import Shed, ShedPoint, bare_patches, shed_of
from terrain.surface.accumulation import accumulate
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.basin import Basin
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill
from terrain.works.store import Store
from terrain.works.swale import Swale, finish
from terrain.works.tree_basin import tree_need

Progress = Callable[[str], None]
#: A benchmark may stand this far above or below the raster's ground. [m]
BENCHMARK_WITHIN = 3.0


@dataclass(frozen=True)
class Inputs:
    """Everything read and checked, before anything is planned."""

    site: Site
    dem: Dem
    terrain: Terrain
    ground: Ground
    record: RainRecord | None
    rules: Rulebook


@dataclass(frozen=True)
class PlannedStore:
    """A store with all that the plan says of it.

    Attributes
    ----------
    placed : Placed
    store : Store
    swale : Swale or None
    basin : Basin or None
    quantities : Quantities or None
    starts_at, full_at : float or None
        Smallest rain that feeds it, and that fills it; None where no storm up to 500 mm does. [mm]
    drain_hours : float
        [h]
    spills_to : str
        Name of a store, or what lies at the end of the spill's way.
    cautions : tuple of str
    trees_need : float or None
        Water that a tree basin's tree wants in an average year, its own rain included. [m3]
    """

    placed: Placed
    store: Store
    swale: Swale | None
    basin: Basin | None
    quantities: Quantities | None
    starts_at: float | None
    full_at: float | None
    drain_hours: float
    spills_to: str
    cautions: tuple[str, ...]
    trees_need: float | None = None


@dataclass(frozen=True)
class Plan:
    """A site's plan.

    Attributes
    ----------
    inputs : Inputs
    cascade : Cascade
    stores : list of PlannedStore
        In the order of the cascade's nodes.
    sheds : list of Shed
        Roads first, then bare patches.
    runs : dict of str to StormRun
    storms : dict of str to Account
    seasons : SeasonRun or None
    year : Account or None
    notes : tuple of str
        What the answers rest on.
    """

    inputs: Inputs
    cascade: Cascade
    stores: list[PlannedStore]
    sheds: list[Shed]
    runs: dict[str, StormRun]
    storms: dict[str, Account]
    seasons: SeasonRun | None
    year: Account | None
    notes: tuple[str, ...]

    @property
    def ranked_shed_points(self) -> list[tuple[Shed, ShedPoint]]:
        """Where roads and bare ground shed, by what passes in the deepest storm, most first."""
        storms = self.site.rain.storms
        deepest = max(range(len(storms)), key=lambda i: storms[i].depth)
        every = [(shed, point) for shed in self.sheds for point in shed.points]
        return sorted(every, key=lambda f: (-f[1].volumes[deepest], f[1].row, f[1].column))

    @property
    def site(self) -> Site:
        """The site as read."""
        return self.inputs.site

    @property
    def terrain(self) -> Terrain:
        """The ground."""
        return self.inputs.terrain


def read_inputs(path: Path, progress: Progress = lambda what: None) -> Inputs:
    """Read and check everything a site file names; change nothing.

    Raises
    ------
    InputError
        For the first thing that is wrong.
    """
    progress("Reading the site file")
    site = read_site(path / "site.yaml" if path.is_dir() else path)
    spec = site.elevation
    progress("Reading the elevation raster")
    dem = read_elevation(site.folder / spec.file, crs=spec.crs, plan_unit=spec.plan_unit,
                         height_unit=spec.height_unit, nodata=spec.nodata)
    try:
        rules = Rulebook(site.rules, site.units)
    except ValueError as error:
        raise InputError(f"{site.where('rules')}, rules", str(error), "Correct it") from None
    progress("Reading the layers")
    ground = read_ground(site, dem)
    record = None
    if site.rain.daily is not None:
        progress("Reading the rain record")
        record = read_daily_rain(site.folder / site.rain.daily.file, site.rain.daily.unit)
        if len(record.depths) < 365:
            raise InputError(site.where("rain", "daily"), f"the record in {record.source} is only "
                             f"{len(record.depths)} days long", "Give at least a whole year")
        if record.depths.dropna().index.month.nunique() < 12:
            raise InputError(site.where("rain", "daily"), f"the record in {record.source} has no "
                             "reading at all in some month of the year", "Give a fuller record")
    _check_benchmark(site, dem)
    terrain = Terrain(dem)
    progress("Following the water over the ground")
    reaches = terrain.labels(ground.inside.astype(np.int32)) > 0
    require_known(ground, reaches, dem, site)
    return Inputs(site, dem, terrain, ground, record, rules)


def _check_benchmark(site: Site, dem: Dem) -> None:
    """Refuse a benchmark whose level is not on the raster's heights: stakes would be wrong."""
    mark = site.benchmark
    if mark is None:
        return
    where = site.where("benchmark")
    x, y = Places(site, Terrain(dem)).point(mark.at, f"{where}, benchmark, at")
    ground = float(dem.height_at(x, y))
    if not abs(mark.level - ground) <= BENCHMARK_WITHIN:
        raise InputError(f"{where}, benchmark", f"its level {in_both(mark.level, 'level')} is not "
                         f"near the raster's ground there, {in_both(ground, 'level')}",
                         "Give its level on the raster's heights; check the unit and the place")


def check_site(path: Path, progress: Progress = lambda what: None) -> Inputs:
    """Read everything and lay out every work, to find what is wrong; change nothing.

    Raises
    ------
    InputError
        For the first thing that is wrong.
    """
    inputs = read_inputs(path, progress)
    progress("Laying out the works")
    build_cascade(inputs.site, inputs.terrain, inputs.ground, _laid_out(inputs), inputs.rules)
    return inputs


def _laid_out(inputs: Inputs) -> list[Placed]:
    depth = inputs.site.rain.design.depth
    runoff = runoff_depth(depth, inputs.ground.curve_number) * inputs.dem.cell_area / 1000
    return place_works(inputs.site, inputs.terrain, inputs.ground, inputs.rules, runoff)


def make_plan(path: Path, progress: Progress = lambda what: None) -> Plan:
    """Plan a site from its site file.

    Raises
    ------
    InputError
        For anything in the site file or the files it names that cannot be used.
    """
    inputs = read_inputs(path, progress)
    site, terrain, ground, rules = inputs.site, inputs.terrain, inputs.ground, inputs.rules
    design = site.rain.design
    progress("Laying out the works")
    placed = _laid_out(inputs)
    progress("Joining stores by their spills")
    cascade = build_cascade(site, terrain, ground, placed, rules)
    progress("Sizing the sills for the design storm")
    cascade = _with_sills(inputs, cascade, placed)
    progress("Running the storms")
    runs = {storm.name: run_storm(cascade, storm.depth, storm.duration, storm.pattern)
            for storm in site.rain.storms}
    storms = {name: storm_account(found) for name, found in runs.items()}
    progress("Finding the rain that fills each store")
    filled = full_at(cascade, design.duration, design.pattern)
    seasons = None
    if inputs.record is not None:
        progress("Living through the rain record")
        seasons = run_seasons(cascade, inputs.record.depths, site.evapotranspiration)
    year = None if seasons is None else year_account(cascade, seasons)
    progress("Finding what roads and bare ground shed")
    sheds = find_sheds(inputs, cascade, placed)
    stores = [_planned(inputs, cascade, i, placed, filled[i], seasons)
              for i in range(len(placed))]
    return Plan(inputs, cascade, stores, sheds, runs, storms, seasons, year,
                tuple(_notes(inputs, cascade, seasons)))


def find_sheds(inputs: Inputs, cascade: Cascade, placed: list[Placed]) -> list[Shed]:
    """What every road and bare patch sheds in each storm, as the ground is now."""
    terrain, ground, dem = inputs.terrain, inputs.ground, inputs.dem
    runoff = [runoff_depth(storm.depth, ground.curve_number) * dem.cell_area / 1000
              for storm in inputs.site.rain.storms]
    passing = [accumulate(terrain.direction, made) for made in runoff]
    marks = np.zeros(dem.shape, np.int32)
    for index, place in enumerate(placed):
        if len(place.cells):
            marks[place.cells[:, 0], place.cells[:, 1]] = index + 1

    def shed(name: str, kind: str, cells: NDArray[np.bool_]) -> Shed:
        return shed_of(terrain, name, kind, cells, ground.curve_number, runoff, passing, marks,
                       ground.inside)

    found = [shed(road.name, "road", road.cells & ground.inside) for road in ground.roads
             if (road.cells & ground.inside).any()]
    on_roads = np.zeros(dem.shape, bool)
    for road in ground.roads:
        on_roads |= road.cells
    bare = {name for name, kind in published_classes().items() if kind.bare}
    cover = np.where(on_roads | ~ground.inside, -1, ground.cover).astype(np.int16)
    for number, cells in enumerate(bare_patches(cover, ground.classes, bare, dem.cell_area), 1):
        found.append(shed(f"bare patch {number}", "bare ground", cells))
    return found


def _with_sills(inputs: Inputs, cascade: Cascade, placed: list[Placed]) -> Cascade:
    """Size every sill for the peak that comes to it in the design storm.

    A longer sill above passes more on, so peaks and sills are found in turn until no peak
    changes by more than a thousandth.
    """
    design = inputs.site.rain.design
    peaks = np.zeros(len(placed))
    for _ in range(20):
        run = run_storm(cascade, design.depth, design.duration, design.pattern)
        found = np.array([s.peak_in for s in run.stores])
        if np.all(np.abs(found - peaks) <= 1e-3 * found):
            break
        peaks = found
        cascade = cascade.with_stores([
            _with_sill(node.store, place, float(peak), inputs.rules)
            for node, place, peak in zip(cascade.nodes, placed, peaks, strict=True)])
    return cascade


def _with_sill(store: Store, place: Placed, peak: float, rules: Rulebook) -> Store:
    if store.kind == "tank":
        return store
    given = first_sill(place, rules).length if place.kind == "tree basin" else getattr(
        place.work, "sill_length", None)
    head = rules["spillway head" if place.basin is not None and place.basin.form == "wall"
                 else "sill head"]
    return replace(store, sill=design_sill(place.sill_level, peak, head, rules, given))


def _planned(inputs: Inputs, cascade: Cascade, index: int, placed: list[Placed],
             fills: float | None, seasons: SeasonRun | None) -> PlannedStore:
    place, node = placed[index], cascade.nodes[index]
    store, rules, site = node.store, inputs.rules, inputs.site
    swale, built = None, place.basin
    cautions: list[str] = []
    amount = None
    money = site.money
    output = money.machine_output if money else 6.0
    rates = money.machine_hour if money else None
    currency = money.currency if money else ""
    if place.route is not None and place.section is not None:
        swale = finish(inputs.terrain, place.route, *place.section, store.sill, place.spill_x,
                       place.spill_y, rules)
        cautions += swale.cautions
        amount = quantities(swale.cut, swale.berm, rules, output, rates, currency)
    elif built is not None:
        built = replace(built, sill=store.sill)
        cautions += built.cautions
        if built.form == "wall":
            left = built.crest - store.sill.level - store.sill.head
            if left < rules["basin freeboard"] - 1e-6:
                cautions.append(
                    f"At the design peak {in_both(store.sill.head, 'level')} stands on the "
                    f"spillway and {in_both(left, 'level')} of bank is left above it; "
                    f"{in_both(rules['basin freeboard'], 'level')} is asked for "
                    f"({rules.source('basin freeboard')}). Widen the spillway or lower the sill.")
            wall = float(np.hypot(*np.diff(built.line, axis=0).T).sum())
            if store.sill.length > wall / 2:
                cautions.append(
                    f"The spillway is {in_both(store.sill.length, 'length')} long beside a wall of "
                    f"{in_both(wall, 'length')}: make sure that natural ground gives room for it, "
                    "or catch less, hold the crest higher and let it flow deeper over rock.")
            if not inputs.ground.boundary.covers(built.outline):
                cautions.append("Its full pool reaches beyond the property line.")
        amount = quantities(built.cut, built.wall, rules, output, rates, currency)
    elif place.kind == "tree basin":
        amount = quantities(place.dig, 0.0, rules, output, rates, currency)
    empties = store.drain_hours if place.kind != "tank" else _tank_hours(store)
    cautions += _spill_cautions(inputs, cascade, index, placed)
    cautions += _site_cautions(inputs, place, node, empties)
    starts = min(node.catchment.starts_at, node.roof.starts_at)
    return PlannedStore(
        place, store, swale, built, amount, None if np.isinf(starts) else starts, fills, empties,
        _end_of_spill(inputs, cascade, index), tuple(cautions),
        _need(inputs, place))


def _tank_hours(store: Store) -> float:
    return store.capacity / store.demand * 24 if store.demand else float("inf")


def _need(inputs: Inputs, place: Placed) -> float | None:
    months = inputs.site.evapotranspiration
    if place.kind != "tree basin" or months is None:
        return None
    return tree_need(sum(months), place.work.plant_factor, place.work.crown)


def _end_of_spill(inputs: Inputs, cascade: Cascade, index: int) -> str:
    node = cascade.nodes[index]
    if node.spills_to is not None:
        return cascade.nodes[node.spills_to].store.name
    if node.piped and len(node.spill_path) < 3:
        return "off the site by the owner's word"
    return "over the ground and off the site"


def _site_cautions(inputs: Inputs, place: Placed, node: Any, empties: float) -> list[str]:
    """Cautions that arise from what lies about a work."""
    from shapely import Point
    from shapely.geometry import LineString

    rules, ground = inputs.rules, inputs.ground
    said: list[str] = []
    if node.catchment.touches_edge and node.catchment.area:
        said.append(f"Its catchment reaches the edge of {inputs.dem.source}: read every figure of "
                    "runoff as \"at least\".")
    if place.kind == "tank":
        if node.spills_to is None:
            said.append(_LEAVES)
        said.append("Roof water is not fit to drink as it comes: germs, metals and smoke settle on "
                    "roofs. Treat and test it as the local health office advises.")
        return said
    if empties > rules["standing water"]:
        how = "does not soak away" if np.isinf(empties) else f"stands about {empties:,.0f} h"
        said.append(f"Full, it {how} at {in_both(node.store.infiltration, 'rate')} "
                    f"({node.store.rate_source}); longer than {rules['standing water']:.0f} h "
                    f"breeds mosquitoes ({rules.source('standing water')}). Test a hole.")
    apart = rules["building setback"]
    for roof in ground.roofs:
        gap = place.outline.distance(roof.outline)
        if gap < apart:
            said.append(f"It lies {in_both(gap, 'length')} from the roof \"{roof.name}\"; keep "
                        f"{in_both(apart, 'length')} "
                        f"({rules.source('building setback')}).")
    edge = ground.boundary.boundary.distance(place.outline)
    if edge < apart:
        said.append(f"It lies {in_both(edge, 'length')} from the property line; keep "
                    f"{in_both(apart, 'length')} "
                    f"({rules.source('building setback')}).")
    for road in ground.roads:
        if place.outline.intersects(road.surface):
            said.append(f"It lies across the road \"{road.name}\": move it, or cross the road with "
                        "a dip or pipe that somebody designs.")
    if len(node.spill_path) > 1:
        way = LineString(node.spill_path)
        met = [roof.name for roof in ground.roofs if way.distance(roof.outline) < apart]
        if met:
            said.append("Its spill runs past " + ", ".join(f"\"{name}\"" for name in met)
                        + ": lead it clear of buildings.")
        if node.spills_to is None and ground.boundary.covers(Point(node.spill_path[0])):
            said.append(_LEAVES)
    return said


_LEAVES = ("Its spill leaves the property: never send it onto a neighbour more gathered than it "
           "came before, and ask about water rights.")


def _spill_cautions(inputs: Inputs, cascade: Cascade, index: int, placed: list[Placed]
                    ) -> list[str]:
    """Cautions about where a work's water goes next, and about ground it shares."""
    place, node, rules = placed[index], cascade.nodes[index], inputs.rules
    said = [f"It overlaps \"{placed[other].name}\": each is reckoned as if whole. Move one of them."
            for other in cascade.overlaps.get(index, ())]
    if node.spills_to is not None and node.piped and place.work.pipe is None:
        to = placed[node.spills_to]
        way = float(np.hypot(to.x - place.spill_x, to.y - place.spill_y))
        fall = place.sill_level - (to.sill_level if to.kind != "tank" else place.sill_level)
        if place.kind != "tank" and fall < rules["furrow fall"] * way:
            said.append(
                f"The furrow to \"{to.name}\" is {in_both(way, 'length')} long and the sills "
                f"{'fall' if fall >= 0 else 'rise'} by {in_both(abs(fall), 'level')} on the "
                f"raster; it needs a fall of {rules['furrow fall']:.1%} "
                f"({rules.source('furrow fall')}). Set the sills with a level so that each lies "
                "lower than the one before.")
    return said


def assumptions(inputs: Inputs) -> list[str]:
    """What was taken for granted on reading, each thing said once."""
    notes = [*inputs.dem.notes, *inputs.ground.notes]
    if inputs.site.bare_numbers:
        notes.append("Numbers without a unit: " + "; ".join(inputs.site.bare_numbers) + ".")
    if inputs.record is not None:
        notes += inputs.record.notes
    return list(dict.fromkeys(notes))


def _notes(inputs: Inputs, cascade: Cascade, seasons: SeasonRun | None) -> list[str]:
    notes = assumptions(inputs)
    notes.append("Runoff: curve numbers of TR-55 (1986), Table 2-2, for ground of average wetness, "
                 "summed cell by cell; initial abstraction 0.2 S.")
    notes.append("Ways of the water: steepest descent to one of eight neighbours on the raster "
                 "with its hollows filled to their rims; the works catch what meets them.")
    notes.append("Storms: every store starts empty; unit hydrograph of NEH 630 ch. 16 (2007) with "
                 "the lag of ch. 15 (2010); level-pool routing with infiltration.")
    if seasons is not None:
        said = (f"{seasons.missing} days without a reading were left out of the average"
                if seasons.missing else "no day is missing")
        notes.append(f"Average year: {seasons.years:.1f} years of daily rain, {said}; each day one "
                     "storm on ground of average wetness; runoff arrives over the first six hours.")
        if inputs.site.evapotranspiration is None:
            notes.append("No evaporation is counted: the site file gives no evapotranspiration.")
    return notes
