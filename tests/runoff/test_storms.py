"""Storm patterns against the published ordinates and what any storm must keep."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.runoff.storms import PATTERNS, cumulative_fraction, cumulative_rain

TABLE = rows("nrcs_24h_rainfall_distributions.csv")
HOURS = np.array([float(row["hour"]) for row in TABLE])
TYPES = PATTERNS[1:]


def ordinates(pattern):
    return np.array([float(row[f"type_{pattern.lower()}"]) for row in TABLE])


# TR-55 (1986), App. B, as printed by Chow, Maidment & Mays (1988), Table 14.4.3.
@pytest.mark.parametrize("pattern", TYPES)
def test_a_day_of_rain_has_the_published_ordinates(pattern):
    assert cumulative_fraction(HOURS, 24.0, pattern) == pytest.approx(ordinates(pattern), abs=1e-12)


@given(st.sampled_from(PATTERNS), st.floats(0.05, 96))
def test_a_storm_starts_dry_never_falls_back_and_ends_whole(pattern, duration):
    share = cumulative_fraction(np.linspace(0, duration, 200), duration, pattern)
    assert share[0] == 0
    assert (np.diff(share) >= 0).all()
    assert share[-1] == pytest.approx(1.0, abs=1e-12)
    after = cumulative_fraction(np.array([duration * 1.5, duration + 5]), duration, pattern)
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
    found = cumulative_fraction(shares * duration, duration, pattern)
    best = starts[gains >= gains.max() * (1 - 1e-9)]
    gap = min(np.abs(window(start, shares) / gains.max() - found).max() for start in best)
    assert gap < 1e-6


def test_a_quarter_hour_of_type_ii_is_its_steepest_step():
    """0.306 of the day falls evenly between 11.75 and 12 h, so the storm is even."""
    hours = np.linspace(0, 0.25, 11)
    assert cumulative_fraction(hours, 0.25, "II") == pytest.approx(hours * 4, abs=1e-9)


def test_a_longer_storm_stretches_its_type():
    assert cumulative_fraction(HOURS * 3, 72.0, "III") == pytest.approx(ordinates("III"), abs=1e-12)


@given(st.floats(0, 400), st.floats(0.1, 48), st.sampled_from(PATTERNS), st.integers(1, 300))
def test_cumulative_rain_ends_at_the_storms_depth(depth, duration, pattern, steps):
    rain = cumulative_rain(depth, duration, pattern, duration / steps, duration)
    assert rain.size == steps
    assert rain[-1] == pytest.approx(depth, rel=1e-12)


@pytest.mark.parametrize(("duration", "pattern", "said"), [
    (24, "IV", "storm pattern 'IV' is not one of even, I, IA, II, III"),
    (0, "II", "storm duration 0 h is not above 0"),
    (-2, "even", "storm duration -2 h is not above 0")])
def test_what_cannot_be_a_storm_is_refused(duration, pattern, said):
    with pytest.raises(ValueError, match=said):
        cumulative_fraction(np.array([1.0]), duration, pattern)
