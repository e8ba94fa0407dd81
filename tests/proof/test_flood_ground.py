"""The ground that is flooded: it holds what is designed, lets no water by, and spills at its sills.

Checked against the designed surface itself, integrated on far finer cells, and by water that is let
stand on it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage
from shapely import box

from terrain.flood.storm_flow import flow_storm
from terrain.proof.flood_ground import flood_ground, unlike_the_plan
from terrain.proof.led import transfers_of
from terrain.proof.pools import _lowest_rim
from terrain.proof.soils import soaking
from terrain.proof.store_proof import bank_cells, sill_cells
from terrain.proof.what_if import _with_blocked_sill
from terrain.works.designed_ground import Grid, grid_over
from terrain.works.ground_of_pit import inside

SIZES = (2.0, 1.0, 0.5)


@pytest.fixture(scope="module", params=SIZES, ids=str)
def laid(request, plan):
    return flood_ground(plan, request.param)


@pytest.fixture(scope="module", params=SIZES, ids=str)
def small(request, small_plan):
    return flood_ground(small_plan, request.param)


def designed_volume(plan, shape):
    """Water up to the sill on the surface as designed, by cells of an eighth of a metre. [m3]"""
    dem = plan.terrain.dem
    grid = grid_over(shape.pool.buffer(2).bounds, 0.125, (dem.left, dem.top))
    made = grid.heights(dem)
    for other in plan.designed.shapes:
        dug, heaped = (other.for_water or other.levels)(grid)
        made = np.maximum(np.minimum(made, dug), heaped)
    return np.maximum(shape.level - made, 0)[inside(shape.pool, grid)].sum() * 0.125**2


def test_stores_hold_what_the_designed_surface_holds(small_plan, small):
    for pool in small.pools:
        assert pool.holds(small.after, small.grid.cell) == pytest.approx(
            designed_volume(small_plan, pool.shape), rel=0.01, abs=0.01), pool.shape.work


def test_stores_hold_what_the_plan_says(small_plan, small):
    # A wall is freshly built here, with what it will settle by on top and the wider foot that goes
    # with that in the pool; the plan has it settled.
    for pool in small.pools:
        store = small_plan.stores[pool.index].store
        held = pool.holds(small.after, small.grid.cell) / store.capacity
        assert (0.94 if store.kind == "basin" else 0.99) < held < 1.01, store.name


def test_banks_are_watertight(plan, laid):
    for pool in laid.pools:
        walled, _ = _with_blocked_sill(plan, laid, pool)
        crest = plan.stores[pool.index].crest_level - 0.01
        label, _ = ndimage.label(walled.after < crest)
        water = label == label[pool.deepest]
        depth = np.where(water, crest - walled.after, 0.0)
        flow = flow_storm(walled.after, laid.grid.cell, 0.03, depth=depth, until=120,
                          edges="critical", holes="sinks")
        dry = ~ndimage.binary_dilation(water, np.ones((3, 3)))
        assert np.nanmax(flow.depth[dry]) == 0.0
        assert flow.account.left_edges + flow.account.left_holes == 0.0
        assert depth.sum() * laid.grid.cell**2 > 1.2 * plan.stores[pool.index].store.capacity


def test_sills_stand_at_their_level_and_are_where_water_leaves(plan, laid):
    spills_at_its_sills(plan, laid)


def test_bowls_and_longer_swales_do_so_too(small_plan, small):
    spills_at_its_sills(small_plan, small)


def spills_at_its_sills(made, ground):
    for number, pool in enumerate(ground.pools, 1):
        on_sill = ground.after[sill_cells(ground, pool)]
        assert np.median(on_sill) == pytest.approx(pool.level, abs=1e-6)
        # By faces of cells, as the flood's water goes.
        for rise, leaves in ((-0.002, False), (0.002, True)):
            label, _ = ndimage.label(ground.after < pool.level + rise)
            reached = label == label[pool.deepest]
            assert bool((reached & (ground.first != number)).any()) == leaves, pool.shape.work
    assert not [line for line in unlike_the_plan(made, ground) if "the sill of" in line]


def test_a_pool_is_in_one_piece_by_faces_of_cells(laid, small):
    for ground in (laid, small):
        for pool in ground.pools:
            assert ndimage.label(pool.cells)[1] == 1


def test_beds_take_as_much_as_the_plan_s_at_any_size_of_cell(small_plan, small):
    soak = small.soak(small_plan)
    for pool in small.pools:
        store = small_plan.stores[pool.index].store
        assert soak[pool.cells].sum() * small.grid.cell**2 == pytest.approx(
            store.infiltration * store.curve.areas[-1])


def test_a_blocked_sill_stops_what_is_led_from_it_too(small_plan, small):
    led = {name for name in transfers_of(small_plan, small)[0] if name.startswith("spill")}
    names = [small_plan.stores[p.index].store.name for p in small.pools
             if small_plan.cascade.nodes[p.index].led == "furrow"]
    assert led == {f"spill of {name}" for name in names}
    for name in led:
        assert name not in transfers_of(small_plan, small, name)[0]


def test_banks_are_found_along_their_crests_and_not_at_their_sills(plan, laid):
    for pool in laid.pools:
        bank = bank_cells(laid, pool)
        assert bank.any()
        assert laid.after[bank].min() > plan.stores[pool.index].crest_level - 1e-6


def test_a_hollow_whose_rim_is_low_between_cells_is_no_lake():
    # A square pan 0.5 m deep on a slope, with a rim 0.3 m over the slope and a notch in that.
    grid = Grid(0.0, 40.0, 1.0, 40, 40)
    x, y = np.meshgrid(grid.x, grid.y)
    away = np.maximum(abs(x - 20), abs(y - 20))
    bed = np.where(away < 5, 99.5, np.where(away < 7, 100.3, 99.9 - 0.05 * (y - 20)))
    bed[(x > 20) & (y > 20) & (y < 21) & (away >= 5)] = 99.9
    assert _lowest_rim(bed, grid, box(14, 14, 26, 26), 100.3) == pytest.approx(99.9, abs=0.001)
    assert _lowest_rim(bed, grid, box(14, 14, 26, 26), 99.8) == 99.8


def test_cells_too_coarse_for_a_section_are_told_with_a_finer_one(small_plan):
    said = " ".join(unlike_the_plan(small_plan, flood_ground(small_plan, 3.0)))
    assert "too coarse for the sections of east swale" in said
    assert "--cell 1.5m" in said
    assert "not followed: trees 1" in said
    fine = " ".join(unlike_the_plan(small_plan, flood_ground(small_plan, 0.25)))
    assert "east swale" not in fine
    assert "pond" not in fine


def test_by_green_and_ampt_soils_take_water_and_what_is_sealed_takes_none(small_plan):
    """Rawls, Brakensiek & Miller 1983 for the textures, TR-55 Appendix A for the groups' (from
    memory)."""
    cover = small_plan.inputs.ground
    none = np.zeros(cover.soil.shape, bool)
    deficit, rate = soaking(replace(cover, soil=np.zeros_like(cover.soil)), none)
    sealed = rate == 0
    assert set(np.unique(rate[~sealed])) == {10.9}  # sandy loam, mm/h
    assert deficit[~sealed].max() == pytest.approx(110.1 * 0.412 / 2)
    by_soil = flood_ground(small_plan, None, green_ampt=True)
    assert by_soil.loss(works=False) is by_soil.soils
    stores = np.zeros(by_soil.grid.shape, bool)
    for pool in by_soil.pools:
        stores |= pool.cells
    assert by_soil.loss(works=True).conductivity[stores].max() == 0
    assert by_soil.loss(works=True).conductivity[~stores].max() > 0
