"""Curve-number runoff against the published table and worked examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows

from terrain.runoff.catchment import gather
from terrain.runoff.curve_number import (
    AS_PUBLISHED,
    RunoffRule,
    potential_retention,
    runoff_depth,
    runoff_from_retention,
    under_condition,
)


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


# ---- dry and wet ground, and the other abstraction ratio ----

# NEH 630, ch. 10 (2004), Table 10-1; the code's own table is a copy of it, so the smooth fits of
# Hawkins, Hjelmfelt & Zevenbergen (1985) stand beside it, whose distance from it is known.
@pytest.mark.parametrize("row", rows("neh630_table_10_1_arc.csv"), ids=lambda r: r["cn_ii"])
def test_dry_and_wet_curve_numbers(row):
    number = float(row["cn_ii"])
    dry, wet = (float(under_condition(number, condition)) for condition in ("I", "III"))
    assert (dry, wet) == (float(row["cn_i"]), float(row["cn_iii"]))
    if number >= 40:
        assert dry == pytest.approx(number / (2.281 - 0.01281 * number), abs=2.5)
        assert wet == pytest.approx(number / (0.427 + 0.00573 * number), abs=1.2)
    if number:
        starts = float(AS_PUBLISHED.starts_at(number)) / 25.4
        assert starts == pytest.approx(float(row["runoff_starts_at_in"]), abs=0.0051)


# TR-55 (1986), Table 4-1.
@pytest.mark.parametrize(("number", "abstraction_in"),
                         published("tr55_table_4_1_initial_abstraction.csv"))
def test_initial_abstraction(number, abstraction_in):
    assert float(AS_PUBLISHED.starts_at(number)) / 25.4 == pytest.approx(abstraction_in, abs=5.1e-4)


# Hawkins, Ward, Woodward & Van Mullem (2009): the other printed form of the same conversion,
# CN_0.05 = 100 / (1.879 (100 / CN_0.20 - 1)^1.15 + 1), and runoff in inches, which follows there
# from curve numbers rounded to 0.01: 0.0011 in.
@pytest.mark.parametrize("row", rows("ia_ratio_005_conversion.csv"), ids=lambda r: r["cn_020"])
def test_conversion_to_an_abstraction_of_0_05(row):
    rule, number = RunoffRule("II", 0.05), float(row["cn_020"])
    retention = float(rule.retention(number)) / 25.4
    assert retention == pytest.approx(float(row["s_005_in"]), abs=0.00051)
    assert 1000 / (retention + 10) == pytest.approx(
        100 / (1.879 * (100 / number - 1) ** 1.15 + 1), abs=0.006)
    for rain in (2, 4):
        assert float(rule.runoff(rain * 25.4, number)) / 25.4 == pytest.approx(
            float(row[f"q_005_{rain}in"]), abs=0.0011)
        assert float(AS_PUBLISHED.runoff(rain * 25.4, number)) / 25.4 == pytest.approx(
            float(row[f"q_020_{rain}in"]), abs=0.00051)


@given(st.floats(0, 400), st.floats(1, 100), st.sampled_from([0.2, 0.05]))
def test_wetter_ground_never_sheds_less(rain, number, ratio):
    dry, average, wet = (float(RunoffRule(condition, ratio).runoff(rain, number))
                         for condition in ("I", "II", "III"))
    assert 0 <= dry <= average <= wet <= rain
    spread = [float(RunoffRule("II", ratio).retention(number, c)) for c in ("I", "II", "III")]
    assert spread == sorted(spread, reverse=True)


def test_a_ratio_nobody_published_is_refused():
    with pytest.raises(ValueError, match=r"the ratio 0\.1 is neither 0\.2 nor 0\.05"):
        RunoffRule("II", 0.1).retention(80.0)


def test_unknown_ground_stays_unknown_and_many_storms_are_one_call():
    numbers = np.array([[np.nan, 70.0], [100.0, 85.0]])
    storms = np.array([0.0, 20.0, 80.0])
    found = runoff_from_retention(storms[:, None, None], potential_retention(numbers))
    assert found.shape == (3, 2, 2)
    assert np.isnan(found[:, 0, 0]).all()
    assert found[:, 1, 0].tolist() == storms.tolist()
    assert found[1, 1, 1] == runoff_depth(20.0, 85.0)
