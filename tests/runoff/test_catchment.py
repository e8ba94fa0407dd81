"""A catchment with the rain on its store's own water surface."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.runoff.catchment import Numbered, gather, with_water
from terrain.runoff.curve_number import AS_PUBLISHED, runoff_depth
from terrain.runoff.loss_on_the_way import Delivery

numbers = st.lists(st.floats(30, 99), min_size=0, max_size=12)


def of(values, inside=None):
    grid = np.array(values, float)[None, :]
    return gather(grid, np.ones(grid.shape, bool), 4.0,
                  None if inside is None else np.array(inside, bool)[None, :])


@given(numbers, numbers, st.floats(0, 200), st.floats(0, 120))
def test_as_large_as_its_parts_and_the_water_sheds_all(around, under, water, rain):
    ground, below = of(around), of(under)
    whole = with_water(ground, below, water)
    assert whole.area == pytest.approx(ground.area + below.area)
    wet = float(whole.areas[whole.curve_numbers == 100].sum())
    assert wet == pytest.approx(min(water, ground.area + below.area))
    assert (whole.areas >= -1e-9).all()
    assert whole.runoff(rain) >= wet * rain / 1000 - 1e-9


def test_ground_under_the_water_goes_first():
    """40 m2 of cells under a store of 10 m2: 30 m2 of them go on shedding as ground."""
    whole = with_water(of([60.0] * 5), of([90.0] * 10), 10.0)
    areas = dict(zip(whole.curve_numbers.tolist(), whole.areas.tolist(), strict=True))
    assert areas == {60.0: 20.0, 90.0: pytest.approx(30.0), 100.0: 10.0}


def test_run_on_is_shared_out_with_the_ground():
    whole = with_water(of([70.0, 70.0], [True, False]), of([80.0, 80.0], [True, False]), 4.0)
    assert whole.run_on_area == pytest.approx(8.0)
    assert whole.run_on_areas[whole.curve_numbers == 100].sum() == pytest.approx(2.0)


def test_it_starts_with_the_ground_not_with_the_water():
    """TR-55 (1986), eq. 2-2: runoff from CN 80 starts at 0.2 S = 0.5 in."""
    whole = with_water(of([60.0]), of([80.0]), 2.0)
    assert whole.starts_at == pytest.approx(0.5 * 25.4)


def test_the_rain_on_a_stores_own_water_has_no_way_to_lose():
    """Of the ground's runoff half arrives; of the rain on the water all."""
    ground = replace(of([80.0] * 10, [True] * 5 + [False] * 5), delivery=Delivery(
        np.array([0.0, 1e3]), np.array([0.0, 5e2]), np.array([0.0, 2.5e2])))
    whole = with_water(ground, of([90.0] * 2), 12.0)
    shed = float(runoff_depth(60.0, 80.0)) / 1000
    # 8 m2 of water lie on the cells under it, 4 m2 on a tenth of the ground about it.
    assert whole.runoff(60.0) == pytest.approx(12 * 0.060 + 36 * shed / 2)
    assert whole.run_on(60.0) == pytest.approx(4 / 2 * 0.060 + 36 * shed / 4)
    assert whole.ground.area == pytest.approx(36)
    assert whole.ground.runoff(60.0) == pytest.approx(36 * shed)
    assert whole.mean_curve_number == pytest.approx(80.0)
    assert whole.runoff_by_mean_number(60.0) == pytest.approx(36 * shed)


def test_rounding_carries_no_mean_past_100():
    """2.9 m2 of number 100 are left beside the water, and 100 x 2.9 / 2.9 is more than 100."""
    whole = with_water(of([100.0]), of([100.0]), 5.1)
    assert 100.0 * whole.areas[1] / whole.areas[1] > 100
    assert whole.mean_curve_number == 100
    assert whole.runoff_by_mean_number(30.0) == pytest.approx(whole.areas[1] * 0.030)


@given(st.lists(st.sampled_from([55.0, 70.0, 98.0, np.nan]), min_size=12, max_size=12),
       st.lists(st.booleans(), min_size=12, max_size=12),
       st.lists(st.booleans(), min_size=12, max_size=12))
def test_a_part_of_numbered_ground_is_gathered_as_its_cells_are(values, within, cells):
    """Against the obvious: count cells by their numbers."""
    grid, inside, mask = (np.array(part).reshape(3, 4) for part in (values, within, cells))
    sorted_once = Numbered.of(grid)
    for part in (gather(grid, mask, 4.0, inside),
                 sorted_once.gather(mask, 4.0, inside, AS_PUBLISHED),
                 sorted_once.gather(np.flatnonzero(mask), 4.0, inside, AS_PUBLISHED)):
        there = sorted(set(grid[mask & np.isfinite(grid)].tolist()))
        assert part.curve_numbers.tolist() == there
        assert part.areas.tolist() == [4.0 * (mask & (grid == n)).sum() for n in there]
        assert part.run_on_areas.tolist() == [4.0 * (mask & ~inside & (grid == n)).sum()
                                              for n in there]


def test_both_volumes_are_those_asked_one_by_one():
    part, rain = of([60.0, 80.0, 98.0], [True, False, True]), np.array([5.0, 40.0, 90.0])
    runoff, beyond = part.volumes(rain)
    assert runoff.tolist() == part.runoff_volumes(rain).tolist()
    assert beyond.tolist() == part.run_on_volumes(rain).tolist()
    # TR-55 (1986), eq. 2-1 to 2-4, one 4 m2 cell of each number.
    assert beyond == pytest.approx(runoff_depth(rain, 80.0) * 4 / 1000)
    assert runoff == pytest.approx(sum(runoff_depth(rain, n) for n in (60.0, 80.0, 98.0)) * 0.004)
