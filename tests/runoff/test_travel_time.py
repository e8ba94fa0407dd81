"""Watershed lag against its published equation."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published

from terrain.runoff.travel_time import lag_hours


# NEH 630, ch. 15 (2010), eq. 15-4a; rows to four decimals, recomputed from the equation.
@pytest.mark.parametrize(("length_ft", "cn", "percent", "s_in", "lag", "tc"),
                         published("neh630_ch15_lag.csv"))
def test_lag_matches_neh_630_chapter_15(length_ft, cn, percent, s_in, lag, tc):
    found = lag_hours(length_ft * 0.3048, cn, percent / 100)
    assert found == pytest.approx(lag, abs=5e-5)
    assert found == pytest.approx(0.6 * tc, abs=1e-4)  # lag is 0.6 of the time of concentration


@given(st.floats(1, 5000), st.floats(30, 99), st.floats(0.005, 1), st.floats(1.01, 3))
def test_longer_flatter_and_greener_ground_lags_more(length, cn, slope, more):
    lag = lag_hours(length, cn, slope)
    assert lag_hours(length * more, cn, slope) > lag
    assert lag_hours(length, cn, slope / more) > lag
    assert lag_hours(length, cn / more, slope) > lag


@pytest.mark.parametrize(("length", "cn", "slope", "said"), [
    (100, 0, 0.1, "curve number 0 is outside 0 to 100"),
    (100, 101, 0.1, "curve number 101 is outside 0 to 100"),
    (0, 80, 0.1, "must be above 0"), (100, 80, 0.0, "must be above 0")])
def test_what_has_no_lag_is_refused(length, cn, slope, said):
    with pytest.raises(ValueError, match=said):
        lag_hours(length, cn, slope)
