"""Travel time against its published equations and TR-55's Example 3-1."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows

from terrain.runoff.cover import published_classes
from terrain.runoff.resistance import (
    UNKNOWN,
    Resistance,
    families,
    rational_coefficient,
    resistance_of,
)
from terrain.runoff.travel_time import (
    Timing,
    channel_velocity,
    lag_hours,
    reaches_along,
    shallow_velocity,
    sheet_hours,
)


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


# ---- by segments ----

def test_example_3_1():
    """TR-55 (1986), Example 3-1: sheet flow over dense grass, 100 ft at 1 %, 2-year rain 3.6 in;
    1,400 ft unpaved at 1 %; a channel of 7,300 ft, 27 ft2 and 28.2 ft at 0.5 %, n 0.05.  TR-55
    writes Manning's constant in feet as 1.49 where 1.486 (0.3048^(-1/3)) is exact: 0.3 % more."""
    printed = {row["quantity"].partition(":")[0].partition(",")[0]: float(row["printed"])
               for row in rows("tr55_worked_examples.csv") if row["example"] == "3-1"}
    sheet = sheet_hours(100 * 0.3048, 0.01, 0.24, 3.6 * 25.4)
    assert sheet == pytest.approx(printed["sheet flow travel time"], abs=0.005)
    shallow = shallow_velocity(0.01, 16.1345)
    assert shallow / 0.3048 == pytest.approx(printed["shallow concentrated velocity"], abs=0.05)
    shallow_time = 1400 * 0.3048 / shallow / 3600
    assert shallow_time == pytest.approx(printed["shallow concentrated travel time"], abs=0.005)
    channel = channel_velocity(0.005, 0.05, 27 / 28.2 * 0.3048)
    assert channel / 0.3048 == pytest.approx(printed["channel velocity"] * 1.4859 / 1.49, abs=0.005)
    channel_time = 7300 * 0.3048 / channel / 3600
    assert channel_time == pytest.approx(printed["channel travel time"], abs=0.005)
    assert sheet + shallow_time + channel_time == pytest.approx(printed["time of concentration"],
                                                                abs=0.01)


# NEH 630, ch. 15 (2010), Table 15-3.
@pytest.mark.parametrize("row", rows("neh630_ch15_shallow_velocity.csv"),
                         ids=lambda r: r["surface"][:20])
def test_shallow_velocity_of_every_surface(row):
    for slope, column in ((0.01, "v_ft_s_at_1pct"), (0.05, "v_ft_s_at_5pct")):
        found = shallow_velocity(slope, float(row["k_ft_s"])) / 0.3048
        assert found == pytest.approx(float(row[column]), abs=0.0006)


def path(length, slope, cell=1.0):
    distance = np.arange(0, length + cell / 2, cell)
    return distance, 100 - slope * distance


def test_a_path_is_cut_as_the_example_is():
    """The ground of Example 3-1 as a raster path: 100 ft of sheet flow, then shallow concentrated
    flow, then the channel, each with the time of its own equation."""
    distance = np.arange(0, 8801.0) * 0.3048
    height = np.interp(distance / 0.3048, [0, 1500, 8800], [100, 100 - 15 * 0.3048,
                                                            100 - 51.5 * 0.3048])
    area = np.where(distance / 0.3048 >= 1500, 3e4, 10.0)
    timing = Timing(3.6 * 25.4, None, 2e4, 0.05, 27 / 28.2 * 0.3048)
    grass = Resistance("", "dense grass", 0.24, "unpaved", 16.1345, "")
    found = reaches_along(distance, height, area, [grass] * distance.size, timing)
    assert [reach.kind for reach in found] == ["sheet", "shallow", "channel"]
    assert [reach.length / 0.3048 for reach in found] == pytest.approx([100, 1400, 7300])
    assert [reach.slope for reach in found] == pytest.approx([0.01, 0.01, 0.005])
    assert sum(reach.hours for reach in found) == pytest.approx(1.53, abs=0.01)


def test_each_surface_on_the_way_has_its_own_reach_and_scraps_go_with_the_one_before():
    families_ = families()
    bare, road, grass = (families_[name] for name in ("bare soil", "dirt road", "pasture"))
    distance, height = path(130, 0.04)
    surfaces = [bare] * 61 + [road] * 4 + [bare] * 36 + [grass] * 30
    found = reaches_along(distance, height, np.ones(131), surfaces, Timing(40.0))
    assert [(reach.kind, reach.surface) for reach in found] == [
        ("sheet", bare.sheet), ("shallow", bare.shallow), ("shallow", grass.shallow)]
    assert [reach.length for reach in found] == pytest.approx([30.48, 70 - 0.48, 30.0])


def test_a_level_path_is_reckoned_at_a_tenth_of_a_percent():
    distance, height = path(60, 0.0)
    found = reaches_along(distance, height, np.ones(61), [families()["pasture"]] * 61,
                          Timing(40.0))
    assert [reach.slope for reach in found] == [0.001, 0.001]


@given(st.floats(2, 900), st.floats(0.002, 0.6), st.sampled_from(sorted(families())),
       st.floats(10, 120))
def test_a_path_is_cut_without_gaps_and_takes_less_time_when_steeper(length, slope, family, rain):
    surface = families()[family]
    distance, height = path(length, slope)
    if distance.size < 2:
        return
    one, other = (reaches_along(distance, height * steeper, np.ones(distance.size),
                                [surface] * distance.size, Timing(rain)) for steeper in (1, 2))
    assert sum(reach.length for reach in one) == pytest.approx(float(distance[-1]))
    assert sum(r.hours for r in other) < sum(r.hours for r in one)


def test_segments_need_the_two_year_rain():
    distance, height = path(60, 0.05)
    with pytest.raises(ValueError, match="needs the 2-year 24-hour rain"):
        reaches_along(distance, height, np.ones(61), [families()["pasture"]] * 61, Timing())
    with pytest.raises(ValueError, match="must be above 0"):
        sheet_hours(10.0, 0.0, 0.1, 40.0)


# ---- the published coefficients behind the families of cover ----

def test_the_coefficients_of_every_family_are_published_ones():
    """TR-55 (1986), Table 3-1; NEH 630, ch. 15 (2010), Table 15-3."""
    sheet = {row["surface"]: float(row["n"]) for row in rows("tr55_table_3_1_sheet_flow_n.csv")}
    shallow = {row["surface"]: float(row["k_ft_s"])
               for row in rows("neh630_ch15_shallow_velocity.csv")}
    for family in families().values():
        assert family.sheet_n == sheet[family.sheet]
        assert family.shallow_k == pytest.approx(shallow[family.shallow], abs=0.0011)


def test_every_published_class_of_cover_has_a_family():
    for name in published_classes():
        if name != "open water":
            assert resistance_of(name).family == name.partition(",")[0]
    assert resistance_of("desert shrub, fair, 25 % impervious").family == "desert shrub"
    assert resistance_of(None) == resistance_of("my own words") == families()[UNKNOWN]


def test_rational_coefficients_are_those_of_the_tables():
    """NRCS Module 206 D, Table 2; ASCE Manual 37 (1969), the middle of each range."""
    for row in rows("rational_method_c_rural.csv"):
        slope = {"flat": 0.05, "roll": 0.10, "hill": 0.2}[row["slope"][:4]]
        for groups, column in (("AB", "open_sandy_loam"), ("C", "clay_and_silt_loam"),
                               ("D", "tight_clay")):
            for group in groups:
                assert rational_coefficient(row["cover"], group, slope) == float(row[column])
    ranges = {row["surface"]: (float(row["c_low"]) + float(row["c_high"])) / 2
              for row in rows("rational_method_c.csv")}
    for kind, surface in (("pavement", "pavement, asphalt or concrete"),
                          ("drives and walks", "drives and walks"),
                          ("single-family residential", "single-family residential")):
        assert rational_coefficient(kind, "C", 0.3) == pytest.approx(ranges[surface])
    for family in families().values():
        assert 0 < rational_coefficient(family.rational, "B", 0.07) < 1
