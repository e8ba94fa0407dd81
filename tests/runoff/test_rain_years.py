import numpy as np
import pandas
import pytest
from scipy.stats.mstats import mquantiles

from terrain.runoff import rain_years as ry


def days_of(start, depths):
    return pandas.Series(np.asarray(depths, float),
                         index=pandas.date_range(start, periods=len(depths), freq="D"))


@pytest.fixture(scope="module")
def real():
    """A real daily record: Seattle-Tacoma airport, 2012 to 2015, as vega_datasets ships it."""
    from vega_datasets import data

    table = data.seattle_weather()
    return pandas.Series(table["precipitation"].to_numpy(float),
                         index=pandas.DatetimeIndex(table["date"]))


def test_years_by_start_month():
    days = pandas.date_range("1999-12-31", "2001-07-01", freq="D")
    by_july = pandas.Series(ry.year_of(days, 7), index=days)
    assert by_july["2000-06-30"] == 1999
    assert by_july["2000-07-01"] == 2000
    assert by_july["2001-06-30"] == 2000
    assert by_july["2001-07-01"] == 2001
    assert ry.year_of(days).tolist() == list(days.year)


def test_lengths_of_years_count_leap_days():
    daily = days_of("1999-07-01", np.ones(366 + 365 + 10))
    years = ry.years_of(daily, 7)
    assert years.days.to_dict() == {1999: 366, 2000: 365, 2001: 365}
    assert years.read.to_dict() == {1999: 366, 2000: 365, 2001: 10}
    assert list(years.whole) == [1999, 2000]
    assert years.left_out == [2001]


def test_totals_and_months_of_a_real_record_are_pandas_own(real):
    years = ry.years_of(real)
    totals = ry.year_totals(real, years)
    assert totals.to_numpy() == pytest.approx(real.resample("YS").sum().to_numpy())
    months = ry.mean_months(real)
    sums = real.resample("MS").sum()
    by_month = sums.groupby(sums.index.month).mean()
    # Four Februaries with one leap day hold 113 / 4 = 28.25 days: an average one exactly.
    assert months.to_numpy() == pytest.approx(by_month.to_numpy())
    assert months.sum() == pytest.approx(totals.mean())


def test_missing_days_take_the_months_mean_in_the_average_year_only(real):
    gap = real.copy()
    gap["2013-07-05":"2013-07-20"] = np.nan
    july = gap[gap.index.month == 7]
    assert ry.mean_months(gap)[7] == pytest.approx(july.mean() * 31)
    years = ry.years_of(gap)
    lost = real["2013-07-05":"2013-07-20"].sum()
    assert ry.year_totals(gap, years)[2013] == pytest.approx(real[real.index.year == 2013].sum()
                                                            - lost)
    none = gap.where(gap.index.month != 7)
    assert np.isnan(ry.mean_months(none)[7])


def test_wet_days(real):
    wet = ry.wet_days(real)
    assert wet.sum() == pytest.approx((real >= 1.0).sum() / 4)
    assert wet[7] == pytest.approx((real[real.index.month == 7] >= 1.0).sum() / 4)


def test_dry_and_wet_years_are_scipys_weibull_quantiles():
    """scipy.stats.mstats.mquantiles with alpha = beta = 0."""
    totals = pandas.Series(np.random.default_rng(4).gamma(9, 60, 23))
    for share in (0.1, 0.5, 0.9):
        assert ry.year_with_less(totals, share) == pytest.approx(
            float(mquantiles(totals, [share], alphap=0, betap=0)[0]))
    nine = pandas.Series([1.0, 2, 3, 4, 5, 6, 7, 8, 9])
    assert [ry.year_with_less(nine, s) for s in (0.1, 0.5, 0.9)] == pytest.approx([1, 5, 9])
    assert ry.year_with_less(nine[:4], 0.1) == 1
    with pytest.raises(ValueError, match="no whole year"):
        ry.year_with_less(nine[:0], 0.5)


def test_days_above_are_counted_on_days_read(real):
    depths = [0, 2, 10, 25.4, 55.9, 56]
    counted = [(real > depth).sum() / 4 for depth in depths]  # 1461 days are 4 x 365.25
    assert ry.days_a_year_above(real, depths) == pytest.approx(counted)
    half = real.copy()
    half.iloc[1::2] = np.nan
    kept = half.dropna()
    assert ry.days_a_year_above(half, [10])[0] == pytest.approx((kept > 10).mean() * 365.25)
    with pytest.raises(ValueError, match="not one day"):
        ry.days_a_year_above(real * np.nan, [1])


def test_a_depth_does_not_exceed_itself():
    daily = days_of("2001-01-01", [0.35 * 25.4, 0.0])
    assert ry.days_a_year_above(daily, [8.89])[0] == 0
    assert ry.days_a_year_above(daily, [8.88])[0] == pytest.approx(365.25 / 2)


def test_the_curve_of_how_often(real):
    curve = ry.how_often(real)
    assert curve["depth_mm"].iloc[0] == 0
    assert curve["days_a_year"].iloc[-1] == 0
    assert (np.diff(curve["days_a_year"]) < 0).all()
    for depth, days in curve.iloc[::25].to_numpy():
        assert days == pytest.approx((real > depth).sum() / 4)
    # The area under days above a depth is the rain of a year.
    steps = curve["days_a_year"].to_numpy()[:-1] * np.diff(curve["depth_mm"])
    assert steps.sum() == pytest.approx(real.sum() / 4)


def test_storms_by_hand():
    nan = float("nan")
    daily = days_of("2001-01-01", [5, 1, 0.9, 3, 4, nan, 6, 0, 0, 2])
    found = ry.storms(daily)
    assert found["days"].tolist() == [2, 2, 1, 1]
    assert found["depth_mm"].tolist() == pytest.approx([6, 7, 6, 2])
    assert [f"{day:%d}" for day in found["first"]] == ["01", "04", "07", "10"]
    assert [f"{day:%d}" for day in found["last"]] == ["02", "05", "07", "10"]
    assert ry.storms_a_year_above(daily, [1.9, 6, 6.5, 7]) == pytest.approx(
        np.array([4, 1, 1, 0]) * 365.25 / 9)


def test_storms_hold_all_the_rain_of_wet_days(real):
    found = ry.storms(real)
    assert found["depth_mm"].sum() == pytest.approx(real[real >= 1].sum())
    assert found["days"].sum() == (real >= 1).sum()


def test_dry_spells_by_hand():
    nan = float("nan")
    daily = days_of("2001-01-01", [0, 0, 5, 0.5, 0, 0.9, 1.0, 0, nan, 0, 0, 0, 0])
    found = ry.dry_spells(daily)
    assert found["days"].tolist() == [4, 3, 2, 1]
    assert found["open"].tolist() == [True, False, True, True]
    assert f"{found['first'][1]:%m-%d} {found['last'][1]:%m-%d}" == "01-04 01-06"


def test_the_longest_dry_spell_of_a_real_record(real):
    """By another way: the longest run in a string of marks."""
    marks = "".join("d" if depth < 1 else "w" for depth in real)
    longest = max(marks.split("w"), key=len)
    first = real.index[marks.index(longest)]
    spell = ry.dry_spells(real).iloc[0]
    assert (spell["days"], spell["first"], spell["open"]) == (len(longest), first, False)


def test_years_in_words():
    assert ry.years_in_words([2001]) == "2001"
    assert ry.years_in_words([2001, 2003, 2004]) == "2001, 2003 and 2004"
    assert ry.years_in_words(range(2001, 2012)).endswith("2008 and 3 more")
    assert ry.years_in_words([1999, 2001], start_month=7) == "1999/00 and 2001/02"
