"""A flood over the small site: what must be so whatever the model, and beside the cascade.

Sources: volumes follow from what rains (no source needed); runoff by curve number is the plan's own,
held to TR-55 elsewhere (tests/runoff); hazard limits: Australian Institute for Disaster Resilience,
Guideline 7-3, 2017, Table 2, from memory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.proof.flood_ground import flood_ground
from terrain.proof.places import hazard_of
from terrain.proof.proof import LAND, How, prove, storm_named
from terrain.proof.what_if import what_if


@pytest.fixture(scope="module")
def ground(small_plan):
    return flood_ground(small_plan)


@pytest.fixture(scope="module")
def proof(small_plan, ground):
    return prove(small_plan, ground, storm_named(small_plan, None), How(2.0))


def test_the_ground_holds_what_the_plan_says(small_plan, ground):
    for pool in ground.pools:
        store = small_plan.stores[pool.index].store
        assert pool.holds(ground.after, ground.grid.cell) == pytest.approx(
            store.capacity, rel=0.06, abs=0.15), store.name


def test_finer_cells_hold_the_same_to_a_hundredth(small_plan, ground):
    fine = flood_ground(small_plan, 0.25)
    assert [pool.index for pool in fine.pools] == [pool.index for pool in ground.pools]
    for pool, coarse in zip(fine.pools, ground.pools, strict=True):
        assert coarse.holds(ground.after, 1.0) == pytest.approx(
            pool.holds(fine.after, 0.25), rel=0.01, abs=0.02)


def test_every_account_closes(proof):
    for run in (proof.after, proof.before):
        account = run.flow.account
        assert abs(account.error) <= 1e-9 * account.came


def test_what_a_store_takes_in_is_kept_or_spilled(proof, ground):
    # Caught and spilled are measured at different places; what comes in is measured at neither.
    flow, area = proof.after.flow, ground.grid.cell**2
    for number, store in enumerate(proof.stores):
        within, _ = ground.rim(number)
        stands = np.nansum(flow.depth[within], dtype=float) * area
        soaked = np.nansum(flow.soaked[within], dtype=float) * area
        assert store.caught <= stands + soaked + 1e-9
        assert store.inflow == pytest.approx(store.caught + store.spilled)


def test_stores_catch_about_what_the_cascade_says(small_plan, proof):
    # Where nothing spills, what comes is runoff by the same curve numbers, less what is on its way.
    for store in proof.stores:
        told = store.told
        if told.spilled == 0 and told.from_above == 0 and store.told_caught > 0.5:
            assert 0.7 * store.told_caught < store.caught < 1.2 * store.told_caught, store.name
        if abs(store.inflow - (store.told_caught + told.spilled)) > 0.1 * (
                store.told_caught + told.spilled) + 0.1:
            assert store.why, store.name


def test_water_leaves_later_and_less_with_works_that_hold_it(proof):
    held = sum(s.caught for s in proof.stores)
    assert held > 1
    assert proof.after.leaves.volume_out < proof.before.leaves.volume_out
    assert proof.before.leaves.volume_out - proof.after.leaves.volume_out == pytest.approx(
        held, rel=0.35)


def test_the_boundary_tells_what_left(proof, ground):
    # By the rim of the land, and by what is on the land at the end.
    flow, area = proof.before.flow, ground.grid.cell**2
    rain = proof.depth / 1000
    s = ground.retention[ground.inside] / 1000
    runs = np.where(rain > 0.2 * s, (rain - 0.2 * s)**2 / (rain + 0.8 * s), 0.0).sum() * area
    stands = np.nansum(flow.depth[ground.inside], dtype=float) * area
    rim = flow.rims[LAND]
    assert runs + rim.inflow[-1] - rim.outflow[-1] == pytest.approx(stands, abs=0.02 * runs)


def test_a_store_never_stands_above_its_crest_without_saying_so(proof):
    for store in proof.stores:
        if store.freeboard is not None and store.freeboard < 0:
            assert store.over_bank is not None


@pytest.mark.parametrize(("depth", "speed", "words"), [
    (0.2, 1.0, "safe for people and vehicles"), (0.25, 1.5, "unsafe for small vehicles"),
    (0.9, 0.3, "unsafe for vehicles, children and the elderly"),
    (1.5, 0.5, "unsafe for people and vehicles"), (0.2, 2.5, "buildings"), (3.0, 2.0, "fail")])
def test_hazard_is_that_of_the_guideline(depth, speed, words):
    assert words in hazard_of(depth, speed, depth * speed)


def test_what_if_answers_differ_as_they_must(small_plan, proof):
    cases = {case.name: case for case in what_if(proof, storm_named(small_plan, None), How(2.0))}
    planned, twice = cases["as planned"], cases["twice the storm"]
    assert twice.flooded.leaves.volume_out > 2 * planned.flooded.leaves.volume_out
    assert cases["culvert blocked"].flooded is None
    blocked = cases["sill blocked"]
    assert max(s.peak_level - t.peak_level for s, t in zip(
        blocked.stores, planned.stores, strict=True)) > 0.02
    for case in cases.values():
        if case.flooded is not None:
            account = case.flooded.flow.account
            assert abs(account.error) <= 1e-9 * account.came


def test_the_same_on_any_number_of_threads(small_plan, ground, proof):
    again = prove(small_plan, ground, storm_named(small_plan, None), How(2.0, threads=1),
                  before=False)
    np.testing.assert_array_equal(again.after.flow.depth, proof.after.flow.depth)
    assert again.stores == proof.stores


@pytest.mark.parametrize(("cell", "words"), [(0.01, "not between"), (50.0, "not between")])
def test_cells_out_of_range_are_refused(small_plan, cell, words):
    with pytest.raises(InputError, match=words):
        flood_ground(small_plan, cell)


def test_a_storm_of_no_depth_is_refused(small_plan, ground):
    storm = storm_named(small_plan, None)
    with pytest.raises(InputError, match="depth of 0 mm"):
        prove(small_plan, ground, storm.model_copy(update={"depth": 0.0}))


def test_a_storm_that_is_not_there_is_refused(small_plan):
    with pytest.raises(InputError, match="no storm 'noah'"):
        storm_named(small_plan, "noah")


def test_a_site_without_works_is_refused(small_plan):
    bare = replace(small_plan, designed=None)
    with pytest.raises(InputError, match="nothing to prove"):
        flood_ground(bare)
