"""Dug basins that are suggested: figures beside full designs and closed forms, and what none may
break."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import yaml
from full_designs import built, looked, placed, some
from shapely import Polygon

from terrain.inputs.layers import rasterized
from terrain.plan.earth.bodies import body_of
from terrain.plan.safety.clearances import depth_left
from terrain.plan.siting.layout import first_sill
from terrain.suggest.dug_places import APART, STEEPEST, dug_places, prism
from terrain.works.store import Store

SOAKS = 12.0  # [mm/h]


@pytest.fixture(scope="module")
def demo(demo_site):
    return looked(demo_site, infiltration=SOAKS)


@pytest.fixture(scope="module")
def on_demo(demo):
    return dug_places(demo, 400)


@pytest.fixture(scope="module")
def valley(tmp_path_factory, small_site_folder):
    return looked(small_site_folder(tmp_path_factory.mktemp("dug")), infiltration=SOAKS)


def figures_agree(look, candidates):
    for candidate in candidates:
        place = placed(look, candidate)
        made = built(look, place)
        assert candidate.storage == pytest.approx(place.basin.storage, rel=0.02)
        assert candidate.water_area == pytest.approx(float(place.curve.areas[-1]), rel=0.02)
        assert candidate.cost.earth == pytest.approx(made.quantities.cut, rel=0.1)
        full = look.cost(made.quantities.cut, 0.0, made.quantities.soil, made.quantities.topsoil)
        assert candidate.cost.hours == pytest.approx(full.hours, rel=0.1)
        mine, theirs = ({tuple(cell) for cell in cells.tolist()}
                        for cells in (candidate.cells, place.cells))
        assert len(mine ^ theirs) <= 0.05 * len(theirs)
        body = body_of(made, look.inputs.dem, look.inputs.rules).whole
        assert body.difference(candidate.footprint).area <= 0.02 * body.area


def test_figures_are_those_of_the_full_design_on_the_demo(demo, on_demo):
    figures_agree(demo, some(on_demo, 16))


def test_figures_are_those_of_the_full_design_in_the_valley(valley):
    found = dug_places(valley, 80)
    assert len(found) >= 20
    figures_agree(valley, some(found, 8))


@pytest.mark.parametrize(("long", "wide", "depth", "batter"), [
    (10.0, 5.0, 0.5, 3.0), (20.0, 10.0, 1.0, 3.0), (8.0, 8.0, 1.2, 0.0)])
def test_an_oblong_pit_holds_what_its_levels_sum_to(long, wide, depth, batter):
    """Geometry: the integral of (a - 2 m z)(b - 2 m z) over the depth, term by term."""
    exact = (long * wide * depth - batter * (long + wide) * depth**2
             + 4 * batter**2 * depth**3 / 3)
    assert prism(long, wide, depth, batter) == pytest.approx(exact, rel=1e-12)


def test_cut_in_a_plane(valley):
    """Geometry: on a plane, dug down from its lowest edge, an oblong along the contour takes its
    prism, the wedge over it and what its sides open on beyond it.

    The wedge: area times half the rise across it.  Beyond the upper edge the sides rise by 1 / m
    where the ground rises by s, so a triangle of height s b and reach m s b / (1 - m s); beyond
    each end the same at every place across, its corners left out."""
    # The valley's sides fall to its floor and south: a plane away from its middle line.
    slope, batter = float(np.hypot(0.04, 0.08)), 3.0
    dem = valley.inputs.dem
    found = [c for c in dug_places(valley, 80)
             if c.footprint.distance(shapely.Point(500060.5, c.footprint.centroid.y)) > 2]
    assert found
    for candidate in found:
        corners = np.array([dem.frame.to_working(*p) for p in candidate.works[0].dug], float)
        long, wide = (float(np.hypot(*(corners[i + 1] - corners[i]))) for i in (0, 1))
        if not long > wide:
            long, wide = wide, long
        rise = slope * wide
        wedge = long * wide * rise / 2
        upper = long * rise * batter * rise / (1 - batter * slope) / 2
        ends = 2 * batter * slope**2 * wide**3 / 6
        cut = prism(long, wide, candidate.works[0].depth, batter) + wedge + upper + ends
        assert candidate.cost.earth == pytest.approx(cut, rel=0.06)


def test_no_earth_on_shut_ground_or_in_a_watercourse(demo, on_demo):
    shut = ~(demo.room > 0)
    for candidate in on_demo:
        under = rasterized([(candidate.footprint, 1)], demo.inputs.dem, 0, np.uint8,
                           all_touched=True).astype(bool)
        assert not (under & shut).any()
        assert not demo.channel[candidate.cells[:, 0], candidate.cells[:, 1]].any()


def test_every_body_laid_out_in_full_lies_on_open_ground(demo, on_demo):
    dem = demo.inputs.dem
    rows, columns = np.nonzero(~(demo.room > 0))
    x, y = dem.xy(rows, columns)
    for candidate in some(on_demo, 16):
        body = body_of(built(demo, placed(demo, candidate)), dem, demo.inputs.rules).whole
        assert not shapely.contains_xy(body, x, y).any()


def test_water_soaks_away_in_time(demo, on_demo):
    """Depth over rate, as the floor and sides take water by the plan area alone."""
    limit = demo.inputs.rules["standing water"]
    for candidate in on_demo:
        work = candidate.works[0]
        assert not work.holds_water
        assert work.infiltration == candidate.soak == SOAKS
        assert work.depth * 1000 / SOAKS <= limit
    for candidate in some(on_demo, 8):
        place = placed(demo, candidate)
        assert Store("", "basin", place.curve, first_sill(place, demo.inputs.rules), 0, 0, 0, 0,
                     candidate.soak).drain_hours <= limit


def test_ground_that_takes_too_little_gets_ponds_for_fish(demo_site):
    look = looked(demo_site)
    rules = look.inputs.rules
    found = dug_places(look, 60)
    assert found
    for candidate in found:
        work = candidate.works[0]
        assert work.holds_water
        assert work.infiltration is None
        assert work.depth > rules["fish depth"]
        assert work.depth * 1000 / candidate.soak > rules["standing water"]


def test_on_gentle_ground_and_apart(demo, on_demo):
    """Places some way from each other; sizes of one place share its middle."""
    middles = np.unique(np.round([Polygon(c.works[0].dug).centroid.coords[0] for c in on_demo], 1),
                        axis=0)
    gaps = np.hypot(*(middles[:, None] - middles[None]).transpose(2, 0, 1))
    gaps = gaps[np.triu_indices(len(middles), 1)]
    assert ((gaps < 0.3) | (gaps >= APART - 0.3)).all()
    x, y = np.array([demo.inputs.dem.frame.to_working(*middle) for middle in middles]).T
    row, column = demo.inputs.dem.row_column(x, y)
    assert (demo.inputs.terrain.slope[row, column] < STEEPEST).all()


def test_rock_near_below_is_kept_clear_of(tmp_path, small_site_folder):
    """Rock 2 m deep under half of the site leaves 0.91 m of soil below shallow floors only."""
    path = small_site_folder(tmp_path)
    site = yaml.safe_load(path.read_text())
    west = [[500005, 6399845], [500060, 6399845], [500060, 6399990], [500005, 6399990]]
    site["keep clear"] = [{"what": "rock", "around": west, "depth": "2 m"}]
    path.write_text(yaml.safe_dump(site))
    look = looked(path, infiltration=SOAKS)
    [rock] = look.inputs.ground.keep_clear
    rules, over, beside = look.inputs.rules, [], []
    for candidate in dug_places(look, 80):
        made = built(look, placed(look, candidate))
        shared = body_of(made, look.inputs.dem, rules).whole.intersection(rock.shape)
        (beside if shared.is_empty else over).append(candidate.works[0].depth)
        if not shared.is_empty:
            left, _ = depth_left(made, look.inputs.dem, shared, rock.measure)
            assert left >= rules["rock or wet ground below"]
    assert over
    assert max(over) < max(beside)


def test_the_best_come_first_and_one_place_after_another(demo, on_demo):
    """Water held for the earth: no more than the design storm brings to the cells they cover."""
    few = dug_places(demo, 20)
    assert len(few) == 20
    middles = {tuple(np.round(Polygon(c.works[0].dug).centroid.coords[0], 0)) for c in few}
    assert len(middles) >= 6
    worth = []
    for candidate in some(on_demo, 60):
        on_it = np.zeros(demo.inputs.dem.shape, bool)
        on_it[candidate.cells[:, 0], candidate.cells[:, 1]] = True
        comes = float(demo.design_runoff[demo.inputs.terrain.catchment(on_it)].sum())
        worth.append(min(candidate.storage, comes) / candidate.cost.earth)
    assert (np.diff(worth) <= 1e-9).all()


def test_names_are_unique_and_the_same_is_found_again(demo, on_demo):
    assert [c.name for c in on_demo] == [f"dug basin {i}" for i in range(1, len(on_demo) + 1)]
    again = dug_places(demo, 400)
    for one, other in zip(on_demo, again, strict=True):
        assert (one.name, one.works, one.spill, one.storage, one.cost, one.said) == (
            other.name, other.works, other.spill, other.storage, other.cost, other.said)
        assert one.footprint.equals(other.footprint)
        assert (one.cells == other.cells).all()


def test_spills_come_out_of_the_basin(demo, on_demo):
    for candidate in on_demo:
        own = {tuple(cell) for cell in candidate.cells.tolist()}
        assert candidate.spill not in own
        path = demo.inputs.terrain.path(*candidate.spill)
        assert not own & {tuple(cell) for cell in path.tolist()}


def test_no_open_ground_gives_no_place(demo):
    assert dug_places(replace(demo, room=np.zeros_like(demo.room)), 5) == []


@pytest.mark.slow
def test_the_plan_takes_every_one(demo, on_demo):
    for candidate in on_demo:
        assert placed(demo, candidate).basin.form == "dug"
