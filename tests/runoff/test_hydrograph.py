"""The unit hydrograph against NEH 630, ch. 16 (2007), Table 16-1 and eq. 16-6, 16-7."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from published import published, rows

from terrain.runoff.hydrograph import (
    FLOW_RATIO,
    STANDARD_PEAK_FACTOR,
    TIME_RATIO,
    arriving,
    gamma_shape,
    unit_shares,
)

TABLE = rows("neh630_table_16_1_unit_hydrograph.csv")
FOOT, MILE, INCH = 0.3048, 1609.344, 0.0254


def column(name):
    return np.array([float(row[name]) for row in TABLE])


def arrived(ratio, step=1e-3):
    """Share arrived by each time over time to peak, in fine steps."""
    share = np.concatenate([[0], np.cumsum(unit_shares(1 - step / 2, step))])
    return np.interp(ratio, np.arange(share.size) * step, share)


def test_ordinates_are_those_of_table_16_1():
    assert np.array_equal(TIME_RATIO, column("t_over_tp"))
    assert np.array_equal(FLOW_RATIO, column("q_over_qp"))


def test_mass_matches_the_mass_column_of_table_16_1():
    """The flow column is printed to 0.01, so what has run off by t is known to 0.005 t / 1.336
    from it; the mass column itself is printed to 0.001."""
    ratio, mass = column("t_over_tp"), column("mass")
    gap = np.abs(arrived(ratio) - mass)
    assert (gap <= 0.0005 + 0.005 * np.minimum(ratio, 2.0) / 1.336 + 1e-9).all()
    assert gap.max() < 0.0021


def test_mass_matches_the_running_sum_of_the_flow_column():
    """Recomputed by trapezoids, to four decimals."""
    assert arrived(column("t_over_tp")) == pytest.approx(column("mass_trapezoid"), abs=6e-5)


# NEH 630, ch. 16, eq. 16-6: qp = 484 A Q / Tp; the printed ordinates enclose a factor of 483.
@pytest.mark.parametrize(("area", "depth", "duration", "tc", "tp", "peak", "base"),
                         published("neh630_ch16_unit_peak_checks.csv"))
def test_peak_matches_484_a_q_over_tp(area, depth, duration, tc, tp, peak, base):
    assert tp == pytest.approx(duration / 2 + 0.6 * tc, abs=5e-5)
    volume = area * MILE**2 * depth * INCH
    step = tp / 500
    flow = arriving(np.array([volume]), tp - step / 2, step) / (step * 3600)
    assert flow.max() / FOOT**3 == pytest.approx(peak, rel=0.01)
    assert (np.argmax(flow) + 0.5) * step == pytest.approx(tp, rel=0.15)  # flat about its top
    assert (flow * step * 3600)[: round(base / step)].sum() == pytest.approx(volume, rel=0.05)


# NEH 630, ch. 16, eq. 16-7: the time to peak is half the step and the lag, whatever the step.
@pytest.mark.parametrize(("area", "depth", "duration", "tc", "tp", "peak", "base"),
                         published("neh630_ch16_unit_peak_checks.csv"))
def test_shares_of_a_coarse_step_follow_the_table_by_its_time_to_peak(area, depth, duration, tc, tp,
                                                                      peak, base):
    share = np.cumsum(unit_shares(0.6 * tc, duration))
    ratio = (np.arange(share.size) + 1) * duration / tp
    table = np.interp(ratio, column("t_over_tp"), column("mass_trapezoid"))
    assert share == pytest.approx(table, abs=2e-4)  # tp is given to four decimals


@given(st.floats(0, 30), st.floats(0.005, 0.5))
def test_shares_sum_to_one_and_none_is_below_zero(lag, step):
    shares = unit_shares(lag, step)
    assert shares.sum() == pytest.approx(1.0, abs=1e-12)
    assert (shares >= 0).all()


@given(hnp.arrays(np.float64, st.integers(1, 60), elements=st.floats(0, 1e4)), st.floats(0, 5))
def test_all_that_runs_off_arrives_and_none_of_it_early(excess, lag):
    came = arriving(excess, lag, 1 / 30)
    assert came.sum() == pytest.approx(excess.sum(), rel=1e-9, abs=1e-9)
    made = np.concatenate([np.cumsum(excess), np.full(came.size - excess.size, excess.sum())])
    assert (np.cumsum(came) <= made + 1e-9 * (1 + made)).all()


def test_no_lag_sends_all_on_at_once():
    excess = np.array([1.0, 0.0, 3.0])
    assert arriving(excess, 0.0, 0.1).tolist() == excess.tolist()


def test_the_middle_of_what_arrives_lags_the_rain_by_about_the_lag():
    """The unit hydrograph's centre lies at 1.19 Tp by its own ordinates."""
    came = arriving(np.array([100.0]), 2.0, 0.01)
    centre = (came * (np.arange(came.size) + 0.5) * 0.01).sum() / 100
    ratio = (np.trapezoid(column("t_over_tp") * column("q_over_qp"), column("t_over_tp"))
             / np.trapezoid(column("q_over_qp"), column("t_over_tp")))
    assert centre == pytest.approx(ratio * 2.005, rel=0.005)


# ---- other peak rate factors ----

# NEH 630, ch. 16 (2007): exponent m of the gamma hydrograph against its peak rate factor.  The
# factors are printed as whole numbers of a table made with 645.33, so m is met to half a unit.
@pytest.mark.parametrize("row", rows("unit_hydrograph_gamma_prf.csv"), ids=lambda r: r["m"])
def test_gamma_exponent_of_the_printed_factors(row):
    assert gamma_shape(float(row["prf_recomputed"])) == pytest.approx(float(row["m"]), rel=1e-3)
    printed = float(row["prf_printed"])
    if printed <= 600:
        slope = (gamma_shape(min(printed + 1.5, 600)) - gamma_shape(max(printed - 1.5, 100)))
        assert abs(gamma_shape(printed) - float(row["m"])) <= slope


@given(st.floats(100, 600), st.floats(0.05, 4), st.floats(0.005, 0.05))
def test_the_peak_is_that_of_the_factor(factor, lag, part):
    """qp = factor A Q / Tp with ft3/s, mi2, in and h: the peak of an inch over a square mile.  The
    tabulated hydrograph of 484 is taken in steps of a tenth of its time to peak."""
    step = part * lag
    shares = unit_shares(lag, step, factor)
    assert shares.sum() == pytest.approx(1.0, abs=1e-9)
    peak = step / 2 + lag
    flow = shares.max() / (step * 3600) * MILE**2 * INCH / FOOT**3
    assert flow == pytest.approx(factor / peak, rel=0.02)
    assert (np.argmax(shares) + 0.5) * step == pytest.approx(peak, abs=step + 0.1 * peak)


def test_the_gamma_form_of_484_is_close_to_the_table():
    """NEH 630, ch. 16: the tabulated hydrograph has a factor of 484; m = 3.7 gives the same."""
    table, gamma = unit_shares(1.0, 0.02), unit_shares(1.0, 0.02, STANDARD_PEAK_FACTOR + 1e-6)
    assert gamma.max() == pytest.approx(table.max(), rel=0.01)
    size = min(table.size, gamma.size)
    assert np.abs(np.cumsum(gamma)[:size] - np.cumsum(table)[:size]).max() < 0.03


@pytest.mark.parametrize("factor", [99.0, 601.0])
def test_a_factor_nobody_tabulated_is_refused(factor):
    with pytest.raises(ValueError, match=f"peak rate factor {factor:g} is outside 100 to 600"):
        unit_shares(1.0, 0.1, factor)
