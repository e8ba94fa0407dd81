"""Walls that are suggested: figures beside full designs and closed forms, and what none may break.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import yaml
from full_designs import built, looked, placed, some
from shapely import LineString

from terrain.inputs.layers import rasterized
from terrain.plan.earth.bodies import body_of
from terrain.suggest.wall_lines import LONGEST, STEP
from terrain.suggest.wall_places import NEIGHBOURHOOD, wall_places
from terrain.works.cross_section import channel_area
from terrain.works.store import Store
from terrain.works.wall import sill_below
from terrain.works.wall_profile import wall_profile

#: The V-valley of `constructed.valley`: fall of its floor along it, and of its sides. [m/m]
ALONG, ACROSS = 0.04, 0.08
SOAKS = 12.0  # [mm/h]


@pytest.fixture(scope="module")
def demo(demo_site):
    return looked(demo_site, infiltration=SOAKS)


@pytest.fixture(scope="module")
def on_demo(demo):
    return wall_places(demo, 400)


@pytest.fixture(scope="module")
def small(tmp_path_factory, small_site_folder):
    """A look at the small site under other rules, made by its folder."""
    def made(rules: dict | None = None, **asked):
        path = small_site_folder(tmp_path_factory.mktemp("walls"))
        site = yaml.safe_load(path.read_text())
        site["rules"] = rules or {}
        path.write_text(yaml.safe_dump(site))
        return looked(path, **asked)
    return made


def figures_agree(look, candidates):
    for candidate in candidates:
        place = placed(look, candidate)
        basin, made = place.basin, built(look, place)
        assert candidate.storage == pytest.approx(basin.storage, rel=0.1)
        assert candidate.water_area == pytest.approx(float(place.curve.areas[-1]), rel=0.1)
        assert basin.water_at_wall <= candidate.bank <= basin.water_at_wall + 0.05
        assert candidate.cost.earth == pytest.approx(made.quantities.cut, rel=0.1)
        full = look.cost(made.quantities.cut, made.quantities.bank, made.quantities.soil,
                         made.quantities.topsoil)
        assert candidate.cost.hours == pytest.approx(full.hours, rel=0.1)
        mine, theirs = ({tuple(cell) for cell in cells.tolist()}
                        for cells in (candidate.cells, place.cells))
        assert len(mine ^ theirs) <= 0.1 * len(theirs)
        body = body_of(made, look.inputs.dem, look.inputs.rules).whole
        assert body.difference(candidate.footprint).area <= 0.03 * body.area


def test_figures_are_those_of_the_full_design_on_the_demo(demo, on_demo):
    figures_agree(demo, some(on_demo, 12))


def test_figures_are_those_of_the_full_design_in_the_valley(small):
    look = small(infiltration=30.0)
    found = wall_places(look, 60)
    assert len(found) >= 10
    figures_agree(look, some(found, 6))


def test_water_behind_a_thin_wall_across_a_v_valley(small):
    """Geometry: at x upstream the water is w - s x deep and its section (w - s x)^2 / k, so it
    holds w^3 / (3 s k), and covers w^2 / (s k), for a floor that falls by s and sides by k."""
    look = small({"wall top width": "0.01 m", "wall wet slope": 0.01, "wall dry slope": 0.01},
                 infiltration=30.0)
    found = wall_places(look, 60)
    assert {round(candidate.bank, 1) for candidate in found} >= {0.4, 0.6, 0.8, 0.9}
    for candidate in found:
        deep = candidate.bank
        assert candidate.storage == pytest.approx(deep**3 / (3 * ALONG * ACROSS), rel=0.04)
        assert candidate.water_area == pytest.approx(deep**2 / (ALONG * ACROSS), rel=0.06)


def test_walls_stand_square_across_the_valley_as_long_as_their_crest_needs(small):
    """Geometry: a crest c over the floor of a V meets its sides c / k to either side."""
    look = small(infiltration=30.0)
    for candidate in wall_places(look, 60):
        work = candidate.works[0]
        (x0, y0), (x1, y1) = work.wall
        floor = look.inputs.dem.height_at((x0 + x1) / 2, (y0 + y1) / 2)
        high = work.crest - float(floor)
        assert abs(y1 - y0) < 0.03  # the valley falls to the south
        assert LineString(work.wall).length == pytest.approx(2 * high / ACROSS, abs=2.5)
        assert LineString(work.wall).length >= 2 * high / ACROSS


def test_no_earth_and_no_water_on_shut_ground(demo, on_demo):
    dem = demo.inputs.dem
    shut = ~(demo.room > 0)
    for candidate in on_demo:
        under = rasterized([(candidate.footprint.buffer(-0.01), 1)], dem, 0, np.uint8,
                           all_touched=True).astype(bool)
        assert not (under & shut).any()


def test_every_body_laid_out_in_full_lies_on_open_ground(demo, on_demo):
    """The bank with half its width each way and the full pool, as the plan draws them."""
    dem = demo.inputs.dem
    rows, columns = np.nonzero(~(demo.room > 0))
    x, y = dem.xy(rows, columns)
    for candidate in some(on_demo, 12):
        body = body_of(built(demo, placed(demo, candidate)), dem, demo.inputs.rules).whole
        assert not shapely.contains_xy(body, x, y).any()


def test_rules_of_walls(demo, on_demo):
    rules, dem = demo.inputs.rules, demo.inputs.dem
    for candidate in on_demo:
        work = candidate.works[0]
        assert candidate.kind == "wall"
        assert not work.holds_water
        assert work.sill == pytest.approx(sill_below(work.crest, rules), abs=1e-3)
        assert 0 < candidate.bank < rules["embankment water"]
        assert LineString(work.wall).length <= LONGEST + 0.1
        wall = [dem.frame.to_working(*end) for end in work.wall]
        ends = [float(dem.height_at(*end)) for end in wall]
        assert min(ends) >= work.crest  # tied into ground at crest level
        assert work.infiltration == candidate.soak == SOAKS


def test_water_soaks_away_in_time(demo, on_demo):
    limit = demo.inputs.rules["standing water"]
    for candidate in some(on_demo, 12):
        place = placed(demo, candidate)
        store = built(demo, place).store
        assert Store(store.name, store.kind, store.curve, store.sill, 0, 0, 0, 0,
                     candidate.soak).drain_hours <= limit
        assert place.basin.outflank is None  # nor does it get round the bank below its crest


def test_a_slower_floor_gets_shallower_water(demo_site, on_demo):
    look = looked(demo_site, infiltration=6.0)
    found = wall_places(look, 400)
    assert len(found) >= 20
    for candidate in some(found, 8):
        place = placed(look, candidate)
        wet = int(np.flatnonzero(place.curve.volumes > 0)[0])
        assert place.curve.levels[-1] - place.curve.levels[wet] <= 0.006 * 72
    deep = [np.mean([c.bank for c in candidates]) for candidates in (found, on_demo)]
    assert deep[0] < deep[1]


def test_untested_ground_gets_no_wall_that_breeds_mosquitoes(demo_site):
    look = looked(demo_site)
    limit = look.inputs.rules["standing water"]
    for candidate in wall_places(look, 100):
        store = built(look, placed(look, candidate)).store
        assert Store(store.name, store.kind, store.curve, store.sill, 0, 0, 0, 0,
                     candidate.soak).drain_hours <= limit


def test_deeper_water_only_where_it_is_asked_for(small):
    """And what stands longer than its limit is a pond deep enough for fish."""
    look = small(infiltration=0.5, water_at_bank=1.8)
    found = wall_places(look, 40)
    assert found
    for candidate in found:
        assert candidate.works[0].holds_water
        place = placed(look, candidate)
        assert candidate.bank <= 1.8
        deepest = place.curve.levels[np.flatnonzero(place.curve.volumes > 0)[0] - 1]
        assert float(place.curve.levels[-1] - deepest) > look.inputs.rules["fish depth"]
    look = small(infiltration=60.0, water_at_bank=1.8)
    depths = {round(c.bank, 1) for c in wall_places(look, 60)}
    assert {1.1, 1.4} <= depths
    assert max(depths) <= 1.8


def test_the_best_come_first_and_stand_all_over(demo, on_demo):
    """Water for each m3 of earth, the earth measured anew on the line as the site file has it.

    That is told to the cm, and a profile counts its trench and its stripped ground by whole
    stations, so one station of both may be more or less."""
    dem, rules = demo.inputs.dem, demo.inputs.rules
    least, most = [], []
    for candidate in on_demo:
        work = candidate.works[0]
        line = LineString([dem.frame.to_working(*end) for end in work.wall])
        at = np.linspace(0.0, line.length, round(line.length / STEP) + 1)
        x, y = shapely.get_coordinates(line.interpolate(at)).T
        made = wall_profile(at, dem.height_at(x, y), work.crest, rules)
        trench = channel_area(made.cutoff_depth, made.cutoff_width, made.cutoff_slope)
        one = STEP * (trench + made.strip * made.top) + 0.002 * made.fill
        least.append(candidate.storage / (made.fill + one))
        most.append(candidate.storage / (made.fill - one))
    assert (np.array(least[1:]) <= np.array(most[:-1])).all()
    assert least[0] > 2 * most[-1]
    few = wall_places(demo, 20)
    assert len(few) == 20
    middles = np.array([LineString(c.works[0].wall).centroid.coords[0] for c in few])
    assert len({tuple(cell) for cell in (middles // NEIGHBOURHOOD).tolist()}) >= 12


def test_names_are_unique_and_the_same_is_found_again(demo, on_demo):
    assert [c.name for c in on_demo] == [f"wall {i}" for i in range(1, len(on_demo) + 1)]
    again = wall_places(demo, 400)
    for one, other in zip(on_demo, again, strict=True):
        assert (one.name, one.works, one.spill, one.storage, one.cost, one.said) == (
            other.name, other.works, other.spill, other.storage, other.cost, other.said)
        assert one.footprint.equals(other.footprint)
        assert (one.cells == other.cells).all()


def test_spills_come_out_below_the_wall(demo, on_demo):
    heights, terrain = demo.inputs.dem.heights, demo.inputs.terrain
    for candidate in on_demo:
        own = {tuple(cell) for cell in candidate.cells.tolist()}
        assert candidate.spill not in own
        assert heights[candidate.spill] < candidate.works[0].sill + 0.3
        path = terrain.path(*candidate.spill)
        assert not own & {tuple(cell) for cell in path.tolist()}


def test_what_is_said_is_in_both_systems(on_demo):
    for candidate in on_demo:
        [said] = candidate.said
        assert " m (" in said
        assert " ft)" in said
        assert said.endswith(".")
    assert any("narrows" in c.said[0] for c in on_demo)


def test_no_open_ground_gives_no_place(demo):
    assert wall_places(replace(demo, room=np.zeros_like(demo.room)), 5) == []


@pytest.mark.slow
def test_the_plan_takes_every_one(demo, on_demo):
    for candidate in on_demo:
        assert placed(demo, candidate).basin.has_wall
