"""Reference evapotranspiration against FAO 56's examples, plain formulas and the sun's way."""

import math

import numpy as np
import pandas as pd
import pytest
import refet
from published import rows

from terrain.errors import InputError
from terrain.inputs.weather import WeatherRecord, read_weather
from terrain.runoff.evapotranspiration import (
    daylight_hours,
    extraterrestrial_radiation,
    hargreaves,
    monthly_means,
    on_days,
    penman_monteith,
    radiation_of_sunshine,
    reference_evapotranspiration,
    vapour_pressure,
)

#: FAO 56, 1998, Examples 8, 17, 18 and 20 (printed values from memory, each recomputed).
EXAMPLES = {(row["example"], row["quantity"].split(",")[0].split()[0]): float(row["printed"])
            for row in rows("fao56_worked_examples.csv")}
ETO = {row["quantity"]: float(row["printed"]) for row in rows("fao56_worked_examples.csv")
       if row["quantity"].startswith("ETo")}


def record(start="2015-07-06", **columns):
    size = len(next(iter(columns.values())))
    days = pd.DataFrame(columns, pd.date_range(start, periods=size), dtype=float)
    return WeatherRecord(days, "weather.csv", ())


def told(found, *words):
    return any(all(word in note for word in words) for note in found.notes)


@pytest.mark.parametrize(("example", "latitude", "day"), [
    ("8", -20.0, 246), ("17", 13.73, 105), ("18", 50.80, 187), ("20", 45.72, 196)])
def test_sun_at_the_top_of_the_air_as_in_the_examples(example, latitude, day):
    assert extraterrestrial_radiation(latitude, [day])[0] == pytest.approx(
        EXAMPLES[example, "Ra"], rel=0.003)


@pytest.mark.parametrize(("example", "latitude", "day", "sunshine"), [
    ("17", 13.73, 105, 8.5), ("18", 50.80, 187, 9.25)])
def test_daylight_and_radiation_of_sunshine_as_in_the_examples(example, latitude, day, sunshine):
    assert daylight_hours(latitude, [day])[0] == pytest.approx(EXAMPLES[example, "daylight"],
                                                               abs=0.01)
    assert radiation_of_sunshine([sunshine], latitude, [day])[0] == pytest.approx(
        EXAMPLES[example, "Rs"], rel=0.003)


def test_the_library_has_the_examples_net_radiation_and_wind():
    bangkok = refet.Daily(tmin=25.6, tmax=34.8, ea=2.85, rs=22.65, uz=2, zw=2, elev=2, lat=13.73,
                          doy=105)
    assert bangkok.rn[0] == pytest.approx(EXAMPLES["17", "Rn"], rel=0.003)
    uccle = refet.Daily(tmin=12.3, tmax=21.5, ea=1.409, rs=22.07, uz=10 / 3.6, zw=10, elev=100,
                        lat=50.80, doy=187)
    assert uccle.rn[0] == pytest.approx(EXAMPLES["18", "Rn"], rel=0.003)
    assert uccle.u2[0] == pytest.approx(EXAMPLES["18", "u2"], abs=0.001)


def test_example_17_a_month_in_bangkok():
    found = penman_monteith([34.8], [25.6], [2.85], [22.65], [2.0], 13.73, 2.0, [105],
                            soil_heat=[EXAMPLES["17", "G"]])
    assert found[0] == pytest.approx(ETO["ETo monthly, Tmax 34.8 Tmin 25.6 u2 2"], abs=0.02)


def test_example_18_a_day_in_uccle_from_its_file(tmp_path):
    path = tmp_path / "uccle.csv"
    path.write_text("date,tmax_c,tmin_c,rh_max,rh_min,wind_km_h,sun_h\n"
                    "2015-07-06,21.5,12.3,84,63,10,9.25\n")
    read = read_weather(path)
    assert vapour_pressure(read.days)[0] == pytest.approx(EXAMPLES["18", "ea"], abs=0.001)
    found = reference_evapotranspiration(read, 50.80, 100.0, wind_height=10.0)
    assert found.method == "penman-monteith"
    assert found.daily.iloc[0] == pytest.approx(ETO["ETo daily, Tmax 21.5 Tmin 12.3"], abs=0.02)
    assert told(found, "from sunshine on 1 days", "eq. 35")
    assert told(found, "10 m to 2 m")


def test_example_20_a_day_in_lyon_without_wind_and_by_temperature_alone():
    day = record("2015-07-15", tmax=[26.6], tmin=[14.8], dew_point=[14.8],
                 radiation=[EXAMPLES["20", "Rs"]])
    found = reference_evapotranspiration(day, 45.72, 200)
    assert found.daily.iloc[0] == pytest.approx(
        ETO["ETo with Tdew = Tmin and u2 2, elevation 200 m"], abs=0.02)
    assert told(found, "wind", "taken as 2 m/s")
    rough = reference_evapotranspiration(day, 45.72, 200.0, "hargreaves")
    assert rough.method == "hargreaves"
    # Printed to 0.1 mm; Ra in mm is Ra times 0.408, printed as Ra over 2.45.
    printed = next(value for name, value in ETO.items() if "Hargreaves" in name)
    assert rough.daily.iloc[0] == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize("latitude", [-78.0, -34.0, 0.0, 23.4, 47.5, 69.0])
def test_sun_at_the_top_of_the_air_is_its_height_summed_over_the_day(latitude):
    # The sum over 20,000 steps of the solar constant (0.0820 MJ/m2/min; FAO 56, eq. 21) times the
    # sine of the sun's height, with FAO 56's own declination (eq. 24) and distance (eq. 23).
    phi, hours = math.radians(latitude), (np.arange(20_000) + 0.5) / 20_000 * 2 * np.pi
    for day in (1, 80, 172, 266, 355):
        declination = 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
        height = (math.sin(phi) * math.sin(declination)
                  + math.cos(phi) * math.cos(declination) * np.cos(hours))
        near = 1 + 0.033 * math.cos(2 * math.pi * day / 365)
        whole = 1440 * 0.0820 * near * np.maximum(height, 0).mean()
        assert extraterrestrial_radiation(latitude, [day])[0] == pytest.approx(
            whole, rel=1e-5, abs=1e-6)
        assert daylight_hours(latitude, [day])[0] == pytest.approx(24 * (height > 0).mean(),
                                                                  abs=0.005)


def plain_penman_monteith(hot, cold, vapour, sun, wind, latitude, elevation, day):
    """FAO 56, 1998, eq. 6 with its parts by number, of one day, in scalars."""
    def saturated(t):
        return 0.6108 * math.exp(17.27 * t / (t + 237.3))                         # eq. 11
    mean = (hot + cold) / 2
    pressure = 101.3 * ((293 - 0.0065 * elevation) / 293)**5.26                   # eq. 7
    gamma = 0.665e-3 * pressure                                                   # eq. 8
    slope = 4098 * saturated(mean) / (mean + 237.3)**2                            # eq. 13
    deficit = (saturated(hot) + saturated(cold)) / 2 - vapour                     # eq. 12
    phi, declination = math.radians(latitude), 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
    sunset = math.acos(-math.tan(phi) * math.tan(declination))                    # eq. 25
    top = 24 * 60 / math.pi * 0.0820 * (1 + 0.033 * math.cos(2 * math.pi * day / 365)) * (
        sunset * math.sin(phi) * math.sin(declination)
        + math.cos(phi) * math.cos(declination) * math.sin(sunset))               # eq. 21
    clear = (0.75 + 2e-5 * elevation) * top                                       # eq. 37
    net = 0.77 * sun - 4.903e-9 * ((hot + 273.16)**4 + (cold + 273.16)**4) / 2 * (
        0.34 - 0.14 * math.sqrt(vapour)) * (1.35 * min(sun / clear, 1) - 0.35)    # eq. 38-40
    return (0.408 * slope * net + gamma * 900 / (mean + 273) * wind * deficit) / (
        slope + gamma * (1 + 0.34 * wind)), clear


def test_penman_monteith_is_the_plain_formula():
    rng, compared = np.random.default_rng(6), 0
    for _ in range(400):
        cold = rng.uniform(-10, 25)
        hot = cold + rng.uniform(2, 20)
        vapour = 0.6108 * math.exp(17.27 * cold / (cold + 237.3)) * rng.uniform(0.2, 1)
        sun, wind = rng.uniform(3, 32), rng.uniform(0.1, 8)
        latitude, elevation, day = rng.uniform(-55, 55), rng.uniform(0, 3000), rng.integers(1, 366)
        plain, clear = plain_penman_monteith(hot, cold, vapour, sun, wind, latitude, elevation,
                                             day)
        if sun < 0.31 * clear:  # the library takes no less cloudiness than of 0.3
            continue
        compared += 1
        found = penman_monteith([hot], [cold], [vapour], [sun], [wind], latitude, elevation, [day])
        # The library's constants are rounded otherwise: 4.901 for 4.903, 2503 for 2503.06.
        assert found[0] == pytest.approx(plain, rel=0.001, abs=0.003)
    assert compared > 200


def test_hargreaves_is_the_plain_formula_on_a_real_record(tmp_path):
    # Temperatures as vega_datasets ships them (seattle-weather); FAO 56, 1998, eq. 52 and 21 in
    # scalars.
    from vega_datasets import data as shipped

    data = shipped.seattle_weather()
    path = tmp_path / "seattle.csv"
    data.rename(columns={"temp_max": "tmax_c", "temp_min": "tmin_c", "wind": "wind_m_s"}).to_csv(
        path, index=False)
    found = reference_evapotranspiration(read_weather(path), 47.45, 120.0)
    assert found.method == "hargreaves"
    assert told(found, "Hargreaves", "no humidity or no sun")
    total = 0.0
    for row, depth in zip(data.itertuples(), found.daily, strict=True):
        day = row.date.timetuple().tm_yday
        phi, tilt = math.radians(47.45), 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
        sunset = math.acos(-math.tan(phi) * math.tan(tilt))
        top = 37.586 * (1 + 0.033 * math.cos(2 * math.pi * day / 365)) * (
            sunset * math.sin(phi) * math.sin(tilt)
            + math.cos(phi) * math.cos(tilt) * math.sin(sunset))
        plain = 0.0023 * ((row.temp_max + row.temp_min) / 2 + 17.8) * math.sqrt(
            row.temp_max - row.temp_min) * 0.408 * top
        assert depth == pytest.approx(plain, rel=1e-3)
        total += plain
    assert found.daily.sum() == pytest.approx(total, rel=1e-4)
    # Each year of the real record has its months' sums by pandas alone.
    months = found.daily.groupby([found.daily.index.month, found.daily.index.year]).sum()
    assert monthly_means(found.daily)[6] == pytest.approx(months[7].mean())


def test_the_method_goes_by_what_the_record_has():
    both = {"tmax": [30.0, 31, 29, 28], "tmin": [12.0, 13, 14, 10]}
    sun = {"radiation": [20.0, 21, np.nan, np.nan], "humidity": [40.0] * 4}
    half = reference_evapotranspiration(record(**both, **sun), 30.0, 500.0)
    assert half.method == "penman-monteith"
    assert half.daily.notna().tolist() == [True, True, False, False]
    assert told(half, "too little known", "2 of 4")
    sun["radiation"][1] = np.nan
    less = reference_evapotranspiration(record(**both, **sun), 30.0, 500.0)
    assert less.method == "hargreaves"
    assert less.daily.notna().all()
    asked = reference_evapotranspiration(record(**both, **sun), 30.0, 500.0, "penman-monteith")
    assert asked.daily.notna().sum() == 1
    with pytest.raises(InputError, match="Penman-Monteith needs: no humidity and no solar"):
        reference_evapotranspiration(record(**both), 30.0, 500.0, "penman-monteith")


def test_wind_is_assumed_only_on_days_without():
    days = record(tmax=[30.0, 30], tmin=[12.0, 12], humidity=[40.0, 40], radiation=[20.0, 20],
                  wind=[5.0, np.nan])
    found = reference_evapotranspiration(days, 30.0, 500.0, wind_height=10.0)
    assert told(found, "wind of 1 days", "2 m/s")
    of_year = days.days.index.day_of_year.to_numpy()
    vapour = vapour_pressure(days.days)
    for i, (wind, height) in enumerate([(5.0, 10.0), (2.0, 2.0)]):
        assert found.daily.iloc[i] == pytest.approx(penman_monteith(
            [30.0], [12.0], vapour[:1], [20.0], [wind], 30.0, 500.0, of_year[i:i + 1], height)[0])


def test_vapour_pressure_by_the_best_that_is_known():
    # FAO 56, 1998, eq. 11: e(20) = 2.338, e(10) = 1.228 kPa (Annex 2, Table 2.3, from memory).
    known = {"vapour_pressure": [1.0], "dew_point": [10.0], "humidity_max": [80.0],
             "humidity_min": [40.0], "humidity": [50.0]}
    wanted = {"vapour_pressure": 1.0, "dew_point": 1.228,
              "humidity_min": (1.228 * 0.8 + 2.338 * 0.4) / 2, "humidity_max": 1.228 * 0.8,
              "humidity": (1.228 + 2.338) / 2 * 0.5}
    for best, kilopascals in wanted.items():
        days = record(tmax=[20.0], tmin=[10.0], **known).days
        assert vapour_pressure(days)[0] == pytest.approx(kilopascals, abs=0.001), best
        del known[best]
    assert np.isnan(vapour_pressure(record(tmax=[20.0], tmin=[10.0]).days)[0])


def test_less_than_nothing_counts_as_nothing_and_polar_night_has_no_sun():
    cold = reference_evapotranspiration(record("2015-01-01", tmax=[-20.0], tmin=[-30.0]), 47, 0)
    assert cold.daily.iloc[0] == 0
    assert told(cold, "less than 0", "1.")
    night = record("2015-12-21", tmax=[-5.0], tmin=[-9.0], humidity=[80.0], sunshine=[0.0])
    assert np.isfinite(reference_evapotranspiration(night, 75, 0).daily.iloc[0])
    assert radiation_of_sunshine([0.0], 75.0, [355])[0] == 0
    long = record("2015-12-21", tmax=[5.0], tmin=[-1.0], humidity=[80.0], sunshine=[12.0])
    assert told(reference_evapotranspiration(long, 47.0, 0.0), "more sunshine than daylight", "1.")


def test_hargreaves_has_the_symmetry_of_the_hemispheres_but_for_the_suns_distance():
    north, south = hargreaves([30.0], [15.0], 40.0, [172]), hargreaves([30.0], [15.0], -40.0, [355])
    ratio = (1 + 0.033 * math.cos(2 * math.pi * 355 / 365)) / (
        1 + 0.033 * math.cos(2 * math.pi * 172 / 365))
    assert south[0] / north[0] == pytest.approx(ratio, rel=2e-3)


def test_monthly_means_of_a_constant_are_the_months_lengths():
    daily = pd.Series(2.0, pd.date_range("2012-01-01", "2015-12-31"))
    totals = monthly_means(daily)
    assert totals.sum() == pytest.approx(2 * 365.2425)
    assert totals[[0, 1, 3]] == pytest.approx([62, 56.485, 60])
    assert np.isnan(monthly_means(daily["2012-01"])[1:]).all()


def test_every_day_has_its_own_figure_else_its_months_mean():
    daily = pd.Series([1.0, 3.0, np.nan], pd.date_range("2012-01-30", periods=3))
    days = pd.date_range("2012-01-29", "2012-02-01")
    with pytest.raises(ValueError, match="any day in February"):
        on_days(days, daily)
    depths, filled = on_days(days[:3], daily)
    assert depths.tolist() == [2.0, 1.0, 3.0]
    assert filled == 1
    depths, filled = on_days(days, daily, [0, 58, *[0] * 10])
    assert depths.tolist() == [2.0, 1.0, 3.0, 2.0]  # 58 mm over the 29 days of a leap year
    assert filled == 2


def test_monthly_totals_are_spread_over_their_days_and_kept():
    totals = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]
    days = pd.date_range("2011-01-01", "2012-12-31")
    depths, filled = on_days(days, monthly=totals)
    assert filled == 0
    assert depths.sum() == pytest.approx(2 * sum(totals))
    assert depths[days == "2012-02-29"] == pytest.approx(75 / 29)
    with pytest.raises(ValueError, match="totals are 11"):
        on_days(days, monthly=totals[1:])
    with pytest.raises(ValueError, match="neither by day nor by month"):
        on_days(days)


@pytest.mark.parametrize(("change", "words"), [
    ({"latitude": 91.0}, "latitude 91"), ({"wind_height": 0.05}, "0.05 m high"),
    ({"method": "blaney"}, "'blaney' is not known")])
def test_what_cannot_be_is_refused(change, words):
    given = {"latitude": 30.0, "elevation": 0.0} | change
    with pytest.raises(ValueError, match=words):
        reference_evapotranspiration(record(tmax=[20.0], tmin=[9.0]), **given)
