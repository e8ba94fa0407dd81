import lmoments3
import numpy as np
import pandas
import pytest
from lmoments3 import distr
from published import published
from scipy.stats import genextreme
from scipy.stats.mstats import plotting_positions as positions_by_scipy

from terrain.runoff.extremes import (
    ANY_24_HOURS,
    Gev,
    annual_maxima,
    extremes_of,
    far_beyond,
    fit_gev,
    fit_gumbel,
    plotting_positions,
    shape_is_told,
)

PORT_PIRIE = np.array([level for _, level in published("port_pirie_maxima.csv")])


def daily_of(start, end, fill=0.0):
    days = pandas.date_range(start, end, freq="D")
    return pandas.Series(fill, index=days)


def test_the_values_from_memory_give_the_published_fit():
    """Coles, 2001, sect. 3.4.1: maximum likelihood, printed to the decimals compared here."""
    c, location, scale = genextreme.fit(PORT_PIRIE, 0.05, loc=3.87, scale=0.2)
    assert PORT_PIRIE.size == 65
    assert (location, scale, -c) == (pytest.approx(3.87, abs=0.005), pytest.approx(0.198, abs=5e-4),
                                     pytest.approx(-0.050, abs=5e-4))
    assert genextreme.nnlf((c, location, scale), PORT_PIRIE) == pytest.approx(-4.34, abs=0.005)
    curve = Gev(np.float64(location), np.float64(scale), np.float64(-c))
    assert curve.level([10, 100]) == pytest.approx([4.30, 4.69], abs=0.005)


def test_the_fit_by_l_moments_is_lmoments3s():
    """lmoments3 1.0.8 stops its iteration at 1e-6 of the L-skewness."""
    mine, theirs = fit_gev(PORT_PIRIE), distr.gev.lmom_fit(PORT_PIRIE)
    assert mine.location == pytest.approx(theirs["loc"], abs=1e-6)
    assert mine.scale == pytest.approx(theirs["scale"], abs=1e-6)
    assert mine.shape == pytest.approx(-theirs["c"], abs=1e-6)
    gumbel, theirs = fit_gumbel(PORT_PIRIE), distr.gum.lmom_fit(PORT_PIRIE)
    assert (gumbel.location, gumbel.scale, gumbel.shape) == (
        pytest.approx(theirs["loc"]), pytest.approx(theirs["scale"]), 0)


@pytest.mark.parametrize("seed", range(6))
def test_other_samples_fit_as_by_lmoments3(seed):
    rng = np.random.default_rng(seed)
    sample = genextreme.rvs(rng.uniform(-0.4, 0.4), 50, 15, size=rng.integers(12, 80),
                            random_state=rng)
    mine, theirs = fit_gev(sample), distr.gev.lmom_fit(sample)
    assert [mine.location, mine.scale, mine.shape] == pytest.approx(
        [theirs["loc"], theirs["scale"], -theirs["c"]], rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("shape", [-0.6, -0.2, 0.0, 0.2, 0.6])
def test_a_fitted_curve_has_the_l_moments_of_its_sample(shape):
    """The L-moments of the fitted distribution, integrated by lmoments3 from its quantiles."""
    sample = genextreme.rvs(-shape, 50, 15, size=60, random_state=3)
    curve = fit_gev(sample)
    mean, spread, skew = lmoments3.lmom_ratios(sample, nmom=3)
    fitted = distr.gev(loc=float(curve.location), scale=float(curve.scale), c=-float(curve.shape))
    assert fitted.lmom_ratios(nmom=3) == pytest.approx([mean, spread, skew], rel=1e-4)


@pytest.mark.parametrize("shape", [-0.3, 0.0, 1e-12, 0.3])
def test_levels_are_scipys_quantiles(shape):
    curve = Gev(np.float64(40), np.float64(12), np.float64(shape))
    years = np.array([1.5, 2, 10, 100, 1000])
    assert curve.level(years) == pytest.approx(genextreme.isf(1 / years, -shape, 40, 12), rel=1e-9)
    for bad in (1.0, 0.5, float("nan")):
        with pytest.raises(ValueError, match="not more than 1 year"):
            curve.level([10, bad])


def test_a_sample_at_gumbels_quantiles_has_almost_no_shape():
    """Gumbel's own quantiles: location 30 and scale 10 come back as their number grows."""
    chance = (np.arange(1, 20_001) - 0.5) / 20_000
    curve = fit_gev(30 - 10 * np.log(-np.log(chance)))
    assert [curve.location, curve.scale, curve.shape] == pytest.approx([30, 10, 0], abs=0.01)


def test_plotting_positions_are_scipys():
    """scipy.stats.mstats, alpha = beta = 0.4, which it too calls approximately quantile unbiased
    and ascribes to Cunnane."""
    periods, ranked = plotting_positions(PORT_PIRIE)
    chance = positions_by_scipy(np.sort(PORT_PIRIE), alpha=0.4, beta=0.4)
    order = np.argsort(np.argsort(np.sort(PORT_PIRIE), kind="stable"), kind="stable")
    assert ranked.tolist() == np.sort(PORT_PIRIE).tolist()
    assert periods == pytest.approx(1 / (1 - np.sort(np.asarray(chance))[order]))
    assert periods[-1] == pytest.approx(65.2 / 0.6)


def test_band_of_the_shape_is_as_wide_as_theory_says():
    """At a shape of 0 its variance by L-moments is 0.5633 / n (Hosking, Wallis & Wood 1985, from
    memory); 2,000 draws tell a standard deviation to 1.6 %, so four of these are allowed.
    """
    chance = (np.arange(1, 501) - 0.35) / 500
    found = extremes_of(30 - 10 * np.log(-np.log(chance)))
    assert abs(found.curve.shape) < 0.01
    assert np.std(found.drawn.shape) == pytest.approx(np.sqrt(0.5633 / 500), rel=0.064)


def test_the_band_holds_the_truth_about_as_often_as_it_says():
    """100 records of 40 years from a known curve; 90 % of 100 leave a standard deviation of 3 in
    the count, and three of these are allowed."""
    rng = np.random.default_rng(5)
    truth = float(Gev(np.float64(50), np.float64(15), np.float64(0.1)).level(20))
    held = 0
    for sample in genextreme.rvs(-0.1, 50, 15, size=(100, 40), random_state=rng):
        row = extremes_of(sample, draws=200).levels(20).iloc[0]
        held += row["low_mm"] <= truth <= row["high_mm"]
    assert held == pytest.approx(90, abs=9)


def test_the_band_is_drawn_the_same_every_time_and_widens():
    first, second = extremes_of(PORT_PIRIE), extremes_of(PORT_PIRIE)
    years = [2, 5, 10, 25, 50, 100]
    assert first.levels(years).equals(second.levels(years))
    levels = first.levels(years)
    assert (levels["low_mm"] < levels["depth_mm"]).all()
    assert (levels["depth_mm"] < levels["high_mm"]).all()
    assert (np.diff(levels["high_mm"] - levels["low_mm"]) > 0).all()
    wider = extremes_of(PORT_PIRIE, confidence=0.95).levels(years)
    assert (wider["high_mm"] > levels["high_mm"]).all()


def test_the_band_is_near_the_published_one():
    """Coles, 2001, sect. 3.4.1: 95 % by the delta method, 10 years 4.19 to 4.41, 100 years 4.38 to
    5.00; another method of fit, so ends agree to 0.1 m, a sixth of the wider band.
    """
    levels = extremes_of(PORT_PIRIE, confidence=0.95).levels([10, 100])
    assert levels["low_mm"].tolist() == pytest.approx([4.19, 4.38], abs=0.1)
    assert levels["high_mm"].tolist() == pytest.approx([4.41, 5.00], abs=0.1)


def test_whether_a_shape_is_told():
    """Coles, 2001: zero lies well within the interval of Port Pirie's shape (-0.242, 0.142)."""
    assert not shape_is_told(fit_gev(PORT_PIRIE), 65)
    assert any("Gumbel" in note for note in extremes_of(PORT_PIRIE).notes)
    heavy = genextreme.rvs(-0.45, 50, 15, size=150, random_state=2)
    assert shape_is_told(fit_gev(heavy), 150)
    assert not any("Gumbel" in note for note in extremes_of(heavy).notes)


def test_maxima_of_each_year():
    daily = daily_of("2000-01-01", "2003-12-31", 1.0)
    for day, depth in (("2000-02-29", 40.0), ("2001-12-31", 55.0), ("2002-01-01", 60.0),
                       ("2003-07-01", 30.0)):
        daily[day] = depth
    assert annual_maxima(daily).depths.to_dict() == {2000: 40, 2001: 55, 2002: 60, 2003: 30}
    from_july = annual_maxima(daily, start_month=7)
    assert from_july.depths.to_dict() == {2000: 1, 2001: 60, 2002: 1}
    assert from_july.years.left_out == [1999, 2003]
    assert "1999/00 and 2003/04" in from_july.notes[0]
    # The half year left out holds 40 mm, less than the 60 mm kept.
    assert len(from_july.notes) == 1


def test_a_year_with_too_many_gaps_is_left_out_and_told():
    daily = daily_of("2000-01-01", "2002-12-31", 2.0)
    daily["2001-03-10"] = 99.0
    daily["2001-04-01":"2001-05-06"] = np.nan  # 36 of 365 days: 90.1 % are read
    assert annual_maxima(daily).depths[2001] == 99
    daily["2001-05-07"] = np.nan  # 37 of 365: 89.9 %
    found = annual_maxima(daily)
    assert found.depths.to_dict() == {2000: 2, 2002: 2}
    assert "fewer than 90% of their days have a reading: 2001" in found.notes[0]
    assert "(2001) holds a greater day, 99.0 mm (3.90 in)" in found.notes[1]
    assert annual_maxima(daily, least_share=0.5).depths[2001] == 99


@pytest.mark.parametrize(("maxima", "words"), [
    (np.arange(9.0), "10 whole years or more, and there are 9"),
    (np.full(20, 12.0), "all alike"),
    (np.append(np.zeros(19), 12.0), "all but alike save one"),
])
def test_what_cannot_be_fitted(maxima, words):
    with pytest.raises(ValueError, match=words):
        extremes_of(maxima)


def test_bad_words_are_told():
    daily = daily_of("2000-01-01", "2000-12-31")
    with pytest.raises(ValueError, match="13 is no month"):
        annual_maxima(daily, 13)
    with pytest.raises(ValueError, match="share of 0 of the days"):
        annual_maxima(daily, 1, 0.0)


def test_far_beyond_the_record():
    assert far_beyond([2, 25, 50], 25) == []
    assert far_beyond([2, 50, 100], 24)[0].startswith("Once in 50 and 100 years is more than twice")


def test_a_fixed_day_misses_some_of_the_greatest_24_hours():
    """1.13, Hershfield 1961 (from memory).  Rain that falls evenly over 24 hours from a chance hour
    on leaves on average 3/4 of it in the fuller of two days, so the factor must lie between 1
    (bursts) and 4/3 (closed form).
    """
    begins = (np.arange(1000) + 0.5) / 1000
    even = 1 / np.maximum(begins, 1 - begins).mean()
    assert even == pytest.approx(4 / 3, rel=1e-3)
    assert ANY_24_HOURS == 1.13
    assert 1 < ANY_24_HOURS < even
