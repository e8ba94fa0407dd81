"""Storm patterns against the published ordinates and what any storm must keep."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.runoff.storms import PATTERNS, nested_shape, storm_shape

TABLE = rows("nrcs_24h_rainfall_distributions.csv")
HOURS = np.array([float(row["hour"]) for row in TABLE])
TYPES = PATTERNS[1:]


def ordinates(pattern):
    return np.array([float(row[f"type_{pattern.lower()}"]) for row in TABLE])


# TR-55 (1986), App. B, as printed by Chow, Maidment & Mays (1988), Table 14.4.3.
@pytest.mark.parametrize("pattern", TYPES)
def test_a_day_of_rain_has_the_published_ordinates(pattern):
    assert storm_shape(pattern, 24.0).fallen(HOURS) == pytest.approx(ordinates(pattern), abs=1e-12)


@given(st.sampled_from(PATTERNS), st.floats(0.05, 96))
def test_a_storm_starts_dry_never_falls_back_and_ends_whole(pattern, duration):
    share = storm_shape(pattern, duration).fallen(np.linspace(0, duration, 200))
    assert share[0] == 0
    assert (np.diff(share) >= 0).all()
    assert share[-1] == pytest.approx(1.0, abs=1e-12)
    after = storm_shape(pattern, duration).fallen(np.array([duration * 1.5, duration + 5]))
    assert after == pytest.approx(1.0, abs=1e-12)


@given(st.sampled_from(TYPES), st.floats(0.1, 23.9))
def test_a_short_storm_is_the_steepest_window_of_its_type(pattern, duration):
    """No window of that length of the published type has more rain, at any start on a fine grid;
    and the storm's own shape is that of a window with as much."""
    fallen = ordinates(pattern)
    starts = np.concatenate([np.linspace(0, 24 - duration, 4001), HOURS, HOURS - duration])
    starts = starts[(starts >= 0) & (starts <= 24 - duration)]

    def window(start, share):
        return (np.interp(start + share * duration, HOURS, fallen)
                - np.interp(start, HOURS, fallen))

    gains = window(starts, 1.0)
    shares = np.linspace(0, 1, 41)
    found = storm_shape(pattern, duration).fallen(shares * duration)
    best = starts[gains >= gains.max() * (1 - 1e-9)]
    gap = min(np.abs(window(start, shares) / gains.max() - found).max() for start in best)
    assert gap < 1e-6


def test_a_quarter_hour_of_type_ii_is_its_steepest_step():
    """0.306 of the day falls evenly between 11.75 and 12 h, so the storm is even."""
    hours = np.linspace(0, 0.25, 11)
    assert storm_shape("II", 0.25).fallen(hours) == pytest.approx(hours * 4, abs=1e-9)


def test_a_longer_storm_stretches_its_type():
    assert storm_shape("III", 72.0).fallen(HOURS * 3) == pytest.approx(ordinates("III"), abs=1e-12)


@given(st.floats(0, 400), st.floats(0.1, 48), st.sampled_from(PATTERNS), st.integers(1, 300))
def test_cumulative_rain_ends_at_the_storms_depth(depth, duration, pattern, steps):
    rain = storm_shape(pattern, duration).cumulative(depth, duration / steps)
    assert rain.size == steps
    assert rain[-1] == pytest.approx(depth, rel=1e-12)


@pytest.mark.parametrize(("duration", "pattern", "said"), [
    (24, "IV", "storm pattern 'IV' is not one of even, I, IA, II, III"),
    (0, "II", "storm duration 0 h is not above 0"),
    (-2, "even", "storm duration -2 h is not above 0")])
def test_what_cannot_be_a_storm_is_refused(duration, pattern, said):
    with pytest.raises(ValueError, match=said):
        storm_shape(pattern, duration).fallen(np.array([1.0]))


@given(st.sampled_from(PATTERNS), st.floats(0.2, 48), st.floats(0.01, 1))
def test_the_greatest_share_of_a_window(pattern, duration, part):
    """No window on a fine grid has more, and it lies between its share of time and the whole."""
    shape = storm_shape(pattern, duration)
    window = part * duration
    starts = np.linspace(0, duration - window, 3001)
    on_grid = (shape.fallen(starts + window) - shape.fallen(starts)).max()
    found = shape.greatest_share(window)
    assert on_grid - 1e-12 <= found <= 1 + 1e-12
    assert found >= part - 1e-12
    assert shape.greatest_share(2 * duration) == pytest.approx(1.0)


# ---- nested storms ----

def chow_depth(minutes):
    """Chow, Maidment & Mays, Applied Hydrology (1988), Example 14.4.1: 10-year rain of Denver,
    i = 96.6 / (T^0.97 + 13.90) in in/h and min (from memory). [in]"""
    return 96.6 / (minutes**0.97 + 13.90) * minutes / 60


def test_the_alternating_blocks_of_chows_example():
    """The table of Chow, Maidment & Mays (1988), Example 14.4.1: blocks of 10 min, in in (from
    memory; they follow from the equation of the example to 0.001)."""
    durations = np.arange(10, 121, 10.0)
    shape = nested_shape(durations / 60, chow_depth(durations), 2.0)
    blocks = np.diff(shape.shares) * chow_depth(120.0)
    printed = [0.024, 0.033, 0.050, 0.084, 0.178, 0.693, 0.308, 0.118, 0.064, 0.040, 0.028, 0.021]
    assert blocks == pytest.approx(printed, abs=0.0011)


@given(st.floats(5, 60), st.floats(0.2, 0.7), st.integers(1, 60), st.floats(0.5, 1.0))
def test_every_part_of_a_nested_storm_is_as_rare_as_the_whole(hour, power, count, shortest):
    """The depth of any whole number of blocks is that of the table, here a power of the duration,
    which is straight in logarithms: nothing is lost by interpolating."""
    durations = np.array([shortest / 12, 0.5, 1.0, 6.0, 24.0])
    duration = shortest / 12 * count
    shape = nested_shape(durations, hour * durations**power, duration)
    block = duration / count
    for blocks in {1, (count + 1) // 2, count}:
        window = blocks * block
        assert shape.greatest_share(window) * hour * duration**power == pytest.approx(
            hour * window**power, rel=1e-9)
    assert np.diff(shape.hours) == pytest.approx(np.full(count, block))


def test_a_nested_storm_as_short_as_the_table_is_even():
    shape = nested_shape(np.array([0.5, 1.0]), np.array([20.0, 26.0]), 0.5)
    assert shape.fallen(np.array([0.25])) == pytest.approx([0.5])


@pytest.mark.parametrize("duration", [0.05, 25.0])
def test_a_nested_storm_beyond_the_table_is_refused(duration):
    with pytest.raises(ValueError, match=r"the table, which goes from 0\.0833 h to 24 h"):
        nested_shape(np.array([1 / 12, 24.0]), np.array([5.0, 60.0]), duration)
