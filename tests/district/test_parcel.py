"""One parcel of a district: the same answers as of one property, by formula and by hand."""

from __future__ import annotations

from dataclasses import replace

import geopandas
import numpy as np
import pytest
import shapely

from terrain.district.best_ground import PLACES, THRIFT, best_ground
from terrain.district.opened import open_district
from terrain.district.parcel import Shared, Surroundings, parcel_inputs, screen_parcel
from terrain.district.parcel_ground import entering_of
from terrain.district.rains import district_rain
from terrain.district.screening import look_over
from terrain.district.waters import waters
from terrain.inputs.keep_clear import read_keep_clear
from terrain.inputs.site_suggest import Suggest
from terrain.plan.plan import make_plan
from terrain.plan.question import GroundWords, RainWords, RasterWords
from terrain.plan.shed_question import catchment_of_point
from terrain.plan.siting.reading import read_rain
from terrain.suggest.look import look_at
from terrain.suggest.network import alone, crossings, network_of
from terrain.suggest.prepare import GENERATORS
from terrain.suggest.real import Runner
from terrain.surface.accumulation import accumulate
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain
from terrain.surface.tiled.work import one_by_one

pytestmark = pytest.mark.long

approx = pytest.approx
NAMES = ("upper west", "upper east", "lower west", "lower east")
#: Of the storms "shower" and "big day". [mm]
DEPTHS = {"shower": 20.0, "big day": 60.0}


def shed(rain, number):
    """TR-55, 1986, eq. 2-1, 2-2 and 2-4, in mm."""
    retention = 25400 / number - 254
    over = max(rain - 0.2 * retention, 0.0)
    return over**2 / (over + retention) if over else 0.0


class Opened:
    """A district with the water of all its parcels."""

    def __init__(self, folder, tiles):
        self.folder = folder
        self.opened = open_district(folder, tiles, 64)
        self.kinds, self.found, _ = waters(self.opened, one_by_one)
        site = self.opened.district.site_of("any")
        self.shared = Shared(self.opened, self.kinds,
                             district_rain(site, read_rain(site, look_over(self.opened.files)),
                                           self.kinds))
        self.about = Surroundings(read_keep_clear(site, self.opened.files)[0])
        self.dem = self.opened.files.read()

    def of(self, name):
        """A parcel and its water."""
        return next((parcel, water) for parcel, water in zip(self.opened.parcels, self.found,
                                                             strict=True) if parcel.name == name)

    def screened(self, name):
        return screen_parcel(self.shared, *self.of(name), self.about)

    def inputs(self, name):
        return parcel_inputs(self.shared, *self.of(name), self.about)


@pytest.fixture(scope="module")
def valley(tmp_path_factory, make_district):
    folder = tmp_path_factory.mktemp("valley")
    return Opened(make_district(folder / "district"), folder / "tiles")


@pytest.fixture(scope="module")
def screened(valley):
    return {name: valley.screened(name) for name in NAMES}


@pytest.fixture(scope="module")
def plans(valley, site_of_parcel):
    """Each parcel planned as a property of its own, its roofs led into a tank."""
    return {name: make_plan(site_of_parcel(valley.folder, name)) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_water_is_that_of_the_same_property_planned_alone(valley, screened, plans, name,
                                                          roof_cells):
    """The shed stands on two parcels, so no tank of either takes it and the plan counts its cells
    as paving, of curve number 98 (TR-55, 1986, Table 2-2a)."""
    found, plan = screened[name], plans[name]
    paved = roof_cells(name, "shed") / 1000
    for water in found.storms:
        run, account = plan.runs[water.name], plan.storms[water.name]
        assert water.run_on == approx(account.run_on, rel=1e-9)
        assert water.catchable + paved * shed(DEPTHS[water.name], 98) == approx(
            run.open_runoff, rel=1e-9)
    daily = plan.seasons.rain_mm
    year = plan.seasons.weights @ [shed(rain, 98) for rain in daily]
    assert found.year.run_on == approx(plan.year.run_on, rel=1e-9)
    left = plan.year.left_site - sum(e.spilled for e in plan.year.entries)
    assert found.year.catchable + paved * year == approx(left, rel=1e-9)
    assert found.year.rain == approx(plan.seasons.weights @ daily, rel=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_the_window_about_it_holds_all_of_that_water_once(valley, screened, name):
    """The valley's floor crosses the lower parcels' border again and again."""
    inputs = valley.inputs(name)
    ran = Runner(look_at(inputs, Suggest(), (), ()), "shower").run([])
    for water in screened[name].storms:
        assert ran.storms[water.name].run_on == approx(water.run_on, rel=1e-9)
        assert ran.storms[water.name].open_runoff == approx(water.catchable, rel=1e-9)
    assert ran.year.run_on == approx(screened[name].year.run_on, rel=1e-9)


def test_water_comes_from_beyond_the_windows_too(valley):
    assert all(entering_of(valley.inputs(name)).areas.sum() > 0 for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_gathered_ground_within_is_that_of_the_whole(valley, name):
    inputs, whole = valley.inputs(name), Terrain(valley.dem)
    window = slice_of(valley, inputs)
    inside = inputs.ground.inside
    assert (inputs.terrain.contributing_area[inside]
            == whole.contributing_area[window][inside]).all()
    assert (inputs.terrain.filled == whole.filled[window]).all()


def slice_of(valley, inputs):
    top = round(valley.dem.top - inputs.dem.top)
    left = round(inputs.dem.left - valley.dem.left)
    rows, columns = inputs.dem.shape
    return slice(top, top + rows), slice(left, left + columns)


@pytest.mark.parametrize("name", NAMES)
def test_ground_that_drains_to_a_place_is_that_of_the_whole(valley, name):
    """Each cell once, by its curve number, beside the same followed over the whole raster."""
    from terrain.district.best_ground import _areas
    from terrain.runoff.ground import read_ground

    inputs, whole = valley.inputs(name), Terrain(valley.dem)
    look = look_at(inputs, Suggest(infiltration="15 mm/h"), (), ())
    found = [c for kind in PLACES for c in GENERATORS[kind][0](look, 20)]
    assert {c.kind for c in found} >= {"swale", "dug basin"}
    numbers = inputs.ground.numbered.different
    here = alone(network_of(crossings(found, inputs.terrain.direction, _areas(inputs, numbers))),
                 len(found))
    corner = np.array([part.start for part in slice_of(valley, inputs)])
    parcel, _ = valley.of(name)
    ground = read_ground(valley.opened.district.site_of(name), valley.dem, parcel.outline)
    dry = np.zeros(valley.dem.shape, bool)
    for roof in ground.roofs:
        dry |= roof.cells & ground.inside
    moved = [replace(c, cells=c.cells + corner,
                     spill=(c.spill[0] + corner[0], c.spill[1] + corner[1])) for c in found]
    there = alone(network_of(crossings(moved, whole.direction, [
        np.where((ground.curve_number == number) & ~dry, 1.0, 0.0) for number in numbers])),
        len(found))
    assert here == approx(there, rel=1e-12)


def test_runoff_of_an_entry_is_that_of_shed(tmp_path, make_district):
    """On ground of plain cover, by the command's own function and by TR-55 by hand."""
    plain = Opened(make_district(tmp_path / "district", plain=True), tmp_path / "tiles")
    whole = Terrain(plain.dem)
    for name in ("lower west", "lower east"):
        parcel, water = plain.of(name)
        inside = shapely.contains_xy(parcel.outline, *plain.dem.xy(*np.indices(plain.dem.shape)))
        for i in np.argsort(-water.through.sum(axis=1))[:3]:
            row, column = water.entries[i]
            above = [(row - ROW_STEP[k], column - COLUMN_STEP[k]) for k in range(8)
                     if whole.direction[row - ROW_STEP[k], column - COLUMN_STEP[k]] == k]
            beyond = [cell for cell in above if not inside[cell]]
            answers = [catchment_of_point(
                plain.folder / "ground.tif", tuple(float(v) for v in plain.dem.xy(*cell)),
                RainWords((60.0,)), GroundWords(cover=plain.folder / "cover.geojson", soils="C"),
                RasterWords()) for cell in beyond]
            assert answers
            area = water.through[i].sum()
            assert area == approx(sum(a.catchment.area for a in answers), rel=1e-12)
            runoff = sum(part * shed(60, number) for part, number in
                         zip(water.through[i], plain.kinds.number, strict=True)) / 1000
            assert runoff == approx(sum(a.storms[0].runoff for a in answers), rel=1e-9)


def test_own_runoff_by_hand(tmp_path, make_district):
    """Pasture in poor condition on soil C has the curve number 86, fair woods 73 (TR-55, 1986,
    Table 2-2c); 60 mm on them make 28.75 and 12.57 mm of runoff by eq. 2-1 to 2-4 worked by
    hand: S = 41.3488 and 93.9452 mm, (60 - 0.2 S)^2 / (60 + 0.8 S)."""
    plain = Opened(make_district(tmp_path / "district", plain=True), tmp_path / "tiles")
    found = plain.screened("upper east")
    pasture, woods = (90 - 84) * 102, (172 - 90) * 102
    assert found.own_area == pasture + woods
    by_hand = (pasture * 51.7302**2 / 93.0791 + woods * 41.2110**2 / 135.1562) / 1000
    assert found.storms[1].own == approx(by_hand, rel=1e-5)
    assert found.storms[1].road == found.storms[1].roof == 0
    assert found.road.at is None
    assert found.roofs.count == 0


def test_roofs_by_hand(screened):
    """A litre for each m2 and mm, times the share that reaches the gutter."""
    east, west = screened["lower east"], screened["lower west"]
    assert (east.roofs.count, east.roofs.area) == (2, approx(12 * 10 + 4 * 4))
    assert east.storms[1].roof == approx((120 * 0.8 + 16 * 0.9) * 60 / 1000)
    assert east.own_area == 76 * 112  # all of it, roofs too
    assert (west.roofs.count, west.roofs.area) == (1, approx(16))
    assert west.storms[1].roof == approx(16 * 0.9 * 60 / 1000)
    assert east.year.roof == approx((120 * 0.8 + 16 * 0.9) * east.year.rain / 1000)


def test_no_roof_counts_twice_and_none_off_the_raster(tmp_path, make_district, write_layer):
    """The lower east parcel drawn 10 m into the lower west one, and 20 m off the raster: by hand,
    the house of 12 m by 10 m and 4 m by 4 m of the shed are its own as before; of a hangar of 4 m
    by 20 m the half on the raster."""
    folder = make_district(tmp_path / "district")

    def drawn(file, column, changed):
        """The layer with other rectangles, in metres from the raster's south-west corner."""
        held = geopandas.read_file(folder / file)
        shapes = dict(zip(held["name"], held.geometry, strict=True)) | {
            name: shapely.box(500000 + x0, 6399770 + y0, 500000 + x1, 6399770 + y1)
            for name, (x0, y0, x1, y1) in changed.items()}
        (folder / file).unlink()
        write_layer(folder / file, [{"name": name, column: 1.0, "geometry": shape}
                                    for name, shape in shapes.items()])

    drawn("parcels.geojson", "lot", {"lower east": (86, 8, 200, 120)})
    drawn("roofs.geojson", "efficiency", {"hangar": (170, 30, 190, 34)})
    found = Opened(folder, tmp_path / "tiles")
    east, west = found.screened("lower east"), found.screened("lower west")
    assert west.roofs.area == approx(4 * 4)
    assert east.roofs.area == approx(12 * 10 + 4 * 4 + 4 * 10)
    assert east.storms[1].roof == approx((120 + 16 + 40) * 60 / 1000)
    assert (west.roofs.count, east.roofs.count) == (1, 3)


@pytest.mark.parametrize("name", NAMES)
def test_road_shed_is_where_most_road_water_passes(valley, screened, name):
    from terrain.runoff.ground import read_ground

    parcel, _ = valley.of(name)
    ground = read_ground(valley.opened.district.site_of(name), valley.dem, parcel.outline)
    [road] = ground.roads
    whole = Terrain(valley.dem)
    passing = np.where(ground.inside, accumulate(whole.direction, road.cells.astype(float)), 0)
    found = screened[name].road
    assert found.there == passing.max() > 0
    assert passing[valley.dem.cell_of(*found.at, "there")] == found.there
    assert found.own == (road.cells & ground.inside).sum()
    assert found.run_on == (road.cells & whole.catchment(ground.inside) & ~ground.inside).sum()
    runoff = [shed(60, number) for number in ground.curve_number[road.cells
                                                                 & whole.catchment(ground.inside)]]
    assert screened[name].storms[1].road == approx(sum(runoff) / 1000, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_entries_are_the_largest(valley, screened, name):
    _, water = valley.of(name)
    areas = np.sort(water.through.sum(axis=1))[::-1]
    found = screened[name].entries
    assert [entry.area for entry in found] == list(areas[:len(found)])
    assert len(found) == 5
    inside = valley.of(name)[0].outline
    assert all(inside.contains(shapely.Point(entry.at)) for entry in found)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("what", ["swale", "basin"])
def test_the_best_keeps_in_its_own_plan_what_was_said(valley, screened, site_of_parcel, name,
                                                      what):
    """The place as an entry of the parcel's own site file.  Over a year the two differ by
    rounding; in a storm by up to 0.1 %, as the way of water from beyond the window is not followed
    and what comes a little sooner or later soaks in a little less or more (at most 0.09 %
    measured)."""
    inputs = valley.inputs(name)
    with inputs.told():
        best = best_ground(inputs, valley.opened.district.suggest, ())
    ground, entry = (best.swale, best.swale_entry) if what == "swale" else (
        best.basin, best.basin_entry)
    assert ground == getattr(screened[name], what)
    work = {key.replace("_", " "): value for key, value in
            entry.model_dump(mode="json", exclude_defaults=True).items()}
    work |= {"kind": entry.kind, "infiltration": "15 mm/h"}
    plan = make_plan(site_of_parcel(valley.folder, name, (work,)))
    [at] = [i for i, store in enumerate(plan.stores) if store.placed.work.name == entry.name]
    assert ground.storage == approx(plan.stores[at].store.capacity, rel=1e-9)
    assert ground.catchment == approx(plan.cascade.nodes[at].catchment.area, rel=1e-9)
    year = plan.year.entries[at]
    assert ground.comes_in_year == approx(year.inflow, rel=1e-9)
    assert ground.kept_in_year == approx(year.captured, rel=1e-9)
    for comes, kept, account in zip(ground.comes, ground.kept, plan.storms.values(), strict=True):
        assert comes == approx(account.entries[at].inflow, rel=1e-9)
        assert kept == approx(account.entries[at].captured, rel=1e-3)
    assert 0 < ground.kept_in_year <= ground.comes_in_year


@pytest.mark.parametrize("name", NAMES)
def test_the_best_keeps_clear_of_what_the_rules_say(valley, screened, name):
    """3 m from buildings and the property line, 15 m from a private well (Minnesota Stormwater
    Manual, 2022); 1 m from a road: common practice, no source."""
    inputs = valley.inputs(name)
    for ground in (screened[name].swale, screened[name].basin):
        assert inputs.ground.boundary.buffer(-3 + 0.05).covers(ground.footprint.buffer(-0.5))
        for roof in inputs.ground.roofs:
            assert ground.footprint.distance(roof.outline) >= 3 - 0.75
        for road in inputs.ground.roads:
            assert ground.footprint.distance(road.surface) >= 1 - 0.75
        [well] = inputs.ground.keep_clear
        assert ground.footprint.distance(well.shape) >= 15 - 0.75


def test_the_best_is_the_one_of_the_rule(valley):
    """All places weighed here again: enough comes, thrifty enough, the most kept."""
    from terrain.district.best_ground import _ranked
    from terrain.suggest.rains import year_rains

    inputs = valley.inputs("upper east")
    look = look_at(inputs, valley.opened.district.suggest, (), ())
    found = GENERATORS["swale"][0](look, PLACES["swale"])
    rains = year_rains(inputs, Runner(look).run([]).seasons)
    ranked = list(_ranked(found, look, rains))
    kept = [one.kept for one in ranked]
    assert kept == sorted(kept, reverse=True)
    assert min(one.thrift for one in ranked) >= THRIFT * max(one.thrift for one in ranked)
    names = {one.candidate.name for one in ranked}
    assert 0 < len(names) < len(found)
    assert max(one.kept / one.candidate.cost.hours for one in ranked) >= THRIFT * max(
        one.kept / one.candidate.cost.hours for one in ranked)


def test_rough_figures_of_a_store_alone(valley):
    """One that holds anything keeps all that comes: runoff by TR-55 and the rain on its water; one
    that holds next to nothing and takes nothing in keeps nothing."""
    from terrain.suggest.rains import storm_rains, year_rains

    inputs = valley.inputs("upper west")
    seasons = Runner(look_at(inputs, Suggest(), (), ())).run([]).seasons
    year, storm = year_rains(inputs, seasons), storm_rains(inputs, "big day")
    areas = np.linspace(100, 900, year.numbers.size)
    daily = [sum(area * shed(rain, number) for area, number in zip(areas, year.numbers,
                                                                   strict=True)) + 50 * rain
             for rain in seasons.rain_mm]
    comes, kept = year.kept(1e6, 50.0, 10.0, areas)
    assert comes == approx(seasons.weights @ daily / 1000, rel=1e-9)
    assert kept == approx(comes, rel=1e-9)
    assert year.kept(1e-6, 50.0, 0.0, areas)[1] == approx(0, abs=1e-3)
    by_storm = (sum(area * shed(60, number) for area, number in zip(areas, storm.numbers,
                                                                    strict=True)) + 50 * 60) / 1000
    assert storm.kept(1e6, 50.0, 10.0, areas) == (approx(by_storm, rel=1e-9),
                                                  approx(by_storm, rel=1e-9))
    assert storm.kept(12.0, 50.0, 0.0, areas)[1] == approx(12.0, rel=1e-9)


def test_no_way_leads_off_a_window():
    """Each of the nine cells of a window with each direction: those that lead off it leave."""
    from terrain.surface.neighbours import LEAVES, VOID
    from terrain.surface.routed import within_window

    for k in (*range(8), LEAVES, VOID):
        given = np.full((3, 3), k, np.uint8)
        found = within_window(given)
        for row, column in np.ndindex(3, 3):
            stays = k >= LEAVES or (0 <= row + ROW_STEP[k] < 3 and 0 <= column + COLUMN_STEP[k] < 3)
            assert found[row, column] == (k if stays else LEAVES)
        assert (given == k).all()


def test_without_a_record_the_design_storm_decides(tmp_path, make_district):
    folder = make_district(tmp_path / "district", rain={"daily": None})
    dry = Opened(folder, tmp_path / "tiles")
    found = dry.screened("upper east")
    assert found.year is None
    assert found.swale.kept_in_year is None
    assert found.swale.comes_in_year is None
    assert 0 < found.swale.kept[1] <= found.swale.comes[1]
    assert any("in the storm \"big day\"" in said for said in found.swale.why)


def test_what_is_said_beside_the_figures(screened):
    said = " ".join(screened["lower east"].notes)
    assert "A neighbour's bank, road or drain may stop it or double it" in said
    assert "run-on is at least what is said" in said
    assert "not assumed to be drinkable" in said
    assert "water rights" in said
    assert "drinkable" not in " ".join(screened["upper east"].notes)
    assert screened["lower east"].at_least


def test_numbers_that_follow_the_soil_are_the_plans(tmp_path, make_district, site_of_parcel):
    folder = make_district(tmp_path / "district", runoff={"soil moisture": "continuous"})
    wet = Opened(folder, tmp_path / "tiles")
    plan = make_plan(site_of_parcel(folder, "upper west"))
    found = wet.screened("upper west")
    assert found.year.run_on == approx(plan.year.run_on, rel=1e-9)
    left = plan.year.left_site - sum(e.spilled for e in plan.year.entries)
    assert found.year.catchable == approx(left, rel=1e-9)
