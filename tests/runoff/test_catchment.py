"""A catchment with the rain on its store's own water surface."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.runoff.catchment import gather, with_water

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
