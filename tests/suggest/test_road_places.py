"""Basins below roads that the search proposes, held against the plan's own layout of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely import LineString, Point, box, contains_xy

from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_works import Drain
from terrain.plan.siting.layout import place_again
from terrain.plan.siting.reading import read_inputs
from terrain.plan.siting.road_turnouts import road_turnouts
from terrain.suggest.look import look_at
from terrain.suggest.road_places import LARGEST, LEAST, road_places
from terrain.works.basin import cells_of
from terrain.works.drain import design_section, finish
from terrain.works.pit import pit_in

#: A hole test beside the road. [mm/h]
FAST = 12.0

SITE = """\
name: Road down a slope
elevation:
  file: ground.tif
boundary:
  file: boundary.geojson
cover:
  file: cover.geojson
  otherwise: pasture, poor
soils:
  file: soils.geojson
  otherwise: C
roads:
  file: roads.geojson
rain:
  storms:
    - name: big day
      depth: 60 mm
      return period: 10
works: []
"""


@pytest.fixture(scope="module")
def demo_inputs(demo_site):
    return read_inputs(demo_site)


@pytest.fixture(scope="module")
def demo(demo_inputs):
    look = look_at(demo_inputs, Suggest(infiltration=FAST), ())
    return look, road_places(look, 500)


@pytest.fixture(scope="module")
def slanting(tmp_path_factory, write_raster, write_layer):
    """An even slope that falls by 6 % to the south, and a road that slants down across it."""
    folder = tmp_path_factory.mktemp("slanting")
    row, column = np.mgrid[0:160, 0:160].astype(float)
    write_raster(folder / "ground.tif",
                 (200 - 0.06 * row + 0.002 * np.sin(column / 9)).astype(np.float32))
    write_layer(folder / "boundary.geojson",
                [{"name": "all", "geometry": box(500005, 6399845, 500155, 6399995)}])
    write_layer(folder / "cover.geojson", [
        {"cover": "bare soil", "geometry": box(500100, 6399950, 500120, 6399970)}])
    write_layer(folder / "soils.geojson", [
        {"group": "B", "geometry": box(500000, 6399840, 500160, 6399900)}])
    write_layer(folder / "roads.geojson", [
        {"name": "track", "width": "4",
         "geometry": LineString([(500020, 6399980), (500080, 6399870)])}])
    path = folder / "site.yaml"
    path.write_text(SITE)
    look = look_at(read_inputs(path), Suggest(infiltration=FAST), ())
    return look, road_places(look, 500)


def laid_out(look, candidate):
    """The basin and then the drain to it, as the plan lays them out on the site with no others."""
    inputs = look.inputs
    site = inputs.site.model_copy(update={"works": list(candidate.works)})
    placed = []
    for work in reversed(candidate.works):
        placed += place_again(work, site, inputs.terrain, look.soft, inputs.ground, inputs.rules,
                              look.design_runoff, None, placed)
    return placed


@pytest.fixture(scope="module", params=["demo", "slanting"])
def checked(request):
    """A site, and all its candidates beside the plan's layout of them."""
    look, found = request.getfixturevalue(request.param)
    assert len(found) >= 4
    assert {len(c.works) for c in found} == {1, 2}  # with a drain, and without
    return look, [(c, laid_out(look, c)) for c in found]


def test_basins_hold_what_the_plan_says(checked):
    _, pairs = checked
    for candidate, (basin, *_) in pairs:
        assert candidate.storage == pytest.approx(basin.curve.capacity, rel=0.02)
        assert candidate.water_area == pytest.approx(basin.curve.areas[-1], rel=0.02)
        assert candidate.bank == 0
        assert candidate.water_area <= LARGEST * 1.01


def test_the_earth_is_that_of_the_plans_basin_and_drain(checked):
    look, pairs = checked
    rules = look.inputs.rules
    for candidate, (basin, *drains) in pairs:
        earth = basin.basin.cut
        for drain in drains:
            # The rules' narrowest and shallowest drain; ten litres a second need no more.
            section = design_section(0.01, drain.drain.grade, rules)
            earth += finish(drain.drain, section, rules).cut
        assert candidate.cost.earth == pytest.approx(earth, rel=0.1)
        whole = look.cost(basin.basin.dug, 0.0, look.soil_of(basin.cells), basin.basin.topsoil)
        if not drains:
            assert candidate.cost.hours == pytest.approx(whole.hours, rel=0.05)


def test_water_enters_where_the_plan_says(checked):
    _, pairs = checked
    for candidate, placed in pairs:
        theirs = {tuple(cell) for place in placed for cell in place.cells.tolist()}
        ours = {tuple(cell) for cell in candidate.cells.tolist()}
        assert len(ours) == len(candidate.cells)
        assert len(ours ^ theirs) <= 0.05 * len(theirs)
        assert tuple(candidate.spill) not in ours


def test_they_lie_below_a_turn_out_and_water_comes_by_gravity(checked):
    look, pairs = checked
    rules = look.inputs.rules
    places = road_turnouts(look.inputs, [])
    roads = [road.surface for road in look.inputs.ground.roads]
    for candidate, (basin, *drains) in pairs:
        above = [turnout for turnout in places if basin.sill_level < turnout.level
                 and 3.9 <= basin.outline.distance(Point(turnout.x, turnout.y)) <= 25.1]
        assert above
        for drain in drains:
            assert isinstance(candidate.works[0], Drain)
            assert candidate.works[0].to == candidate.works[1].name == candidate.name
            assert candidate.works[0].name == f"{candidate.name} drain"
            assert rules["drain flattest"] <= drain.drain.grade <= rules["drain steep"]
            assert drain.drain.end_level >= basin.sill_level
            start = Point(drain.drain.line[0])
            assert min(road.distance(start) for road in roads) < 0.5
            assert min(road.distance(start) for road in roads) > 0


def test_without_a_drain_the_way_from_the_turn_out_crosses_the_basin(checked):
    look, pairs = checked
    terrain, dem = look.inputs.terrain, look.inputs.dem
    for _, (basin, *drains) in pairs:
        if drains:
            continue
        own = {tuple(cell) for cell in basin.cells.tolist()}
        crossed = []
        for turnout in road_turnouts(look.inputs, []):
            row, column = dem.row_column(turnout.x, turnout.y)
            crossed.append(any(tuple(c) in own
                               for c in terrain.path(int(row), int(column)).tolist()))
        assert any(crossed)


def test_water_comes_to_each_by_the_whole_routing(checked):
    look, pairs = checked
    for candidate, _ in pairs:
        marks = np.zeros(look.inputs.dem.shape, np.int32)
        marks[candidate.cells[:, 0], candidate.cells[:, 1]] = 1
        assert look.design_runoff[look.inputs.terrain.labels(marks) == 1].sum() >= 0.9 * LEAST


def test_they_lie_where_earth_may_be_moved(checked):
    look, pairs = checked
    dem, rules = look.inputs.dem, look.inputs.rules
    for candidate, (basin, *_) in pairs:
        under = cells_of(dem, basin.outline)
        assert (look.room[under[:, 0], under[:, 1]] > 0).all()
        assert candidate.footprint.buffer(0.01).covers(basin.outline)
        assert look.drains_in(basin.cells, basin.basin.water_at_wall) <= rules["standing water"]
        whole = cells_of(dem, candidate.footprint)
        assert not look.channel[whole[:, 0], whole[:, 1]].any()
        for road in look.inputs.ground.roads:
            clear = candidate.footprint.difference(Point(0, 0)).intersection(road.surface)
            assert clear.area < 1.5  # the drain's own beginning at the road's edge


def test_the_pit_reaches_no_further_than_its_footprint(checked):
    """Where the sides at 3:1 of the plan's pit come out of the ground, cell by cell."""
    look, pairs = checked
    for candidate, (basin, *_) in pairs:
        pit = pit_in(look.inputs.dem, basin.outline, 3.0, "test", basin.sill_level, 10_000)
        opened = pit.at[pit.ground > pit.surface(pit.apart, 0.0)]
        inside = contains_xy(candidate.footprint.buffer(0.5), *opened.T)
        assert inside.mean() > 0.99


def test_slow_soil_takes_none(demo_inputs):
    """On soil group C half the middle of TR-55's band, 1.27 mm/h, drains 91 mm in 72 h."""
    look = look_at(demo_inputs, Suggest(), ())
    for candidate in road_places(look, 100):
        assert look.inputs.ground.soil_group_of(candidate.cells) != "C"
        assert candidate.works[-1].depth <= 0.206


def test_best_first_the_same_each_time_and_no_more_than_asked_for(demo):
    look, found = demo
    again = road_places(look, 5)
    assert len(again) == 5
    for one, other in zip(again, found, strict=False):
        assert one.works == other.works
        assert one.cost == other.cost
    kept = []
    for candidate in found:
        marks = np.zeros(look.inputs.dem.shape, np.int32)
        marks[candidate.cells[:, 0], candidate.cells[:, 1]] = 1
        comes = look.design_runoff[look.inputs.terrain.labels(marks) == 1].sum()
        kept.append(min(comes, candidate.storage) / candidate.cost.earth)
    assert all(after <= before * 1.05 for before, after in pairwise(kept))


def test_no_roads_no_basins(demo_inputs):
    bare = replace(demo_inputs, ground=replace(demo_inputs.ground, roads=()))
    assert road_places(look_at(bare, Suggest(infiltration=FAST), ()), 100) == []


def test_a_name_of_the_owners_is_left_to_them(demo):
    look, found = demo
    site = look.inputs.site
    first = site.works[0].model_copy(update={"name": "road basin 1"})
    named = replace(look, inputs=replace(look.inputs, site=site.model_copy(
        update={"works": [first, *site.works[1:]]})))
    assert [c.name for c in road_places(named, 2)] == ["road basin 2", "road basin 3"]
    assert [c.name for c in found[:2]] == ["road basin 1", "road basin 2"]
