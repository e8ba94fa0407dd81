"""Curve-number runoff against the published table and worked examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows

from terrain.runoff.catchment import gather
from terrain.runoff.curve_number import potential_retention, runoff_depth


@pytest.mark.parametrize(("rain_in", "cn", "runoff_in"), published("tr55_table_2_1.csv"))
def test_runoff_depth_matches_tr55_table_2_1(rain_in, cn, runoff_in):
    depth = runoff_depth(rain_in * 25.4, cn) / 25.4
    assert depth == pytest.approx(runoff_in, abs=0.005)  # printed to 0.01 in


# TR-55 (1986), Examples 2-1 to 2-3: composite CN as printed, runoff depth as printed.
@pytest.mark.parametrize(("example", "parts", "cn", "rain_in"), [
    ("2-1", [(61, 75), (74, 175)], 70, 6.0),
    ("2-2", [(70, 75), (80, 100), (74, 75)], 75, 6.0),
    ("2-3", [(74, 75), (82, 100), (74, 75)], 77, 6.0),
])
def test_composite_examples_of_tr55_chapter_2(example, parts, cn, rain_in):
    printed = {row["quantity"]: row["printed"] for row in rows("tr55_worked_examples.csv")
               if row["example"] == example}
    numbers = np.repeat([p[0] for p in parts], [p[1] for p in parts]).astype(float)
    catchment = gather(numbers[None, :], np.ones((1, numbers.size), bool), 4046.8564224)
    assert catchment.mean_curve_number == pytest.approx(cn, abs=0.5)  # printed to 1
    depth = float(runoff_depth(rain_in * 25.4, cn)) / 25.4
    assert depth == pytest.approx(float(printed["runoff depth"]), abs=0.005)


def test_retention_and_start_of_runoff_at_cn_75_match_tr55_example_4_1():
    assert potential_retention(75) * 0.2 / 25.4 == pytest.approx(0.667, abs=0.0005)


@given(st.floats(0, 500), st.floats(0, 500), st.floats(1, 100))
def test_never_more_runoff_than_rain_and_more_rain_never_less(rain, more, cn):
    first, second = runoff_depth(rain, cn), runoff_depth(rain + more, cn)
    assert 0 <= first <= rain * (1 + 1e-12)
    assert second >= first


@given(st.floats(0, 500))
def test_curve_number_100_sheds_all(rain):
    assert runoff_depth(rain, 100) == pytest.approx(rain)


@given(st.floats(0, 200), st.lists(st.floats(30, 100), min_size=1, max_size=60))
def test_catchment_runoff_is_the_sum_over_its_cells(rain, numbers):
    grid = np.array(numbers)[None, :]
    catchment = gather(grid, np.ones(grid.shape, bool), 4.0)
    assert catchment.runoff(rain) == pytest.approx(
        float((runoff_depth(rain, grid) * 4.0).sum() / 1000), rel=1e-12, abs=1e-15)


def test_mean_curve_number_hides_the_first_water():
    """Half paving, half brush in a small storm: the mean sheds nothing, the cells do."""
    grid = np.array([[98.0, 48.0]])
    catchment = gather(grid, np.ones(grid.shape, bool), 100.0)
    assert catchment.runoff(12.0) > 0
    assert runoff_depth(12.0, catchment.mean_curve_number) == 0


def test_unknown_curve_number_stays_unknown():
    assert np.isnan(runoff_depth(50.0, np.array([np.nan, 80.0]))).tolist() == [True, False]


@pytest.mark.parametrize("cn", [0, -5, 100.5])
def test_curve_number_out_of_range_is_refused(cn):
    with pytest.raises(ValueError, match="outside 0 to 100"):
        runoff_depth(10.0, cn)


def test_negative_storm_is_refused():
    with pytest.raises(ValueError, match="below 0"):
        runoff_depth(-1.0, 80)
