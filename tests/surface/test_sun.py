"""Direct sun on slopes, held against FAO 56, the library refet, plain sums and symmetries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from refet import calcs

from terrain.surface.sun import DAYS, daily_sun, nearness, sun_ratio, sunset

LATITUDES = st.floats(-65, 65)
SLOPES = st.floats(0, 1.2)
BEARINGS = st.floats(0, 360)


def test_example_8_of_fao_56():
    """FAO 56, 1998, example 8: 3 September at 20 degrees south, from memory."""
    assert float(sunset(-20, 246)) == pytest.approx(1.527, abs=5e-4)
    assert float(daily_sun(0, 0, -20, 246)) == pytest.approx(32.2, abs=0.05)


@pytest.mark.parametrize(("day", "expected"), [
    (15, 36.2), (46, 37.5), (74, 37.9), (105, 36.8), (135, 34.8), (166, 33.4),
    (196, 33.9), (227, 35.7), (258, 37.2), (288, 37.4), (319, 36.3), (349, 35.6)])
def test_table_2_6_of_fao_56_at_the_equator(day, expected):
    """FAO 56, 1998, Annex 2, Table 2.6, latitude 0, the 15th of each month; from memory."""
    assert float(daily_sun(0, 0, 0, day)) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("latitude", [-60, -32.3, 0, 15, 47])
def test_level_ground_is_what_refet_gives(latitude):
    """refet's solar constant is 4.92 MJ/m2 h, FAO 56's 0.0820 a minute: the same."""
    theirs = calcs.ra_daily(np.radians(latitude), DAYS.astype(float))
    assert daily_sun(0, 123, latitude, DAYS) == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("latitude", [20.0, -35.0, 50.0])
def test_a_slope_tilted_by_the_latitude_lies_as_level_ground_at_the_equator(latitude):
    """A plane turned towards the equator by the latitude is parallel to level ground at the
    equator on the same meridian, so at each hour angle it gets what that does; its day is as long
    as the shorter of the two.  The sum for the equator is plain: cos d cos w, from -W to W."""
    toward = 180.0 if latitude > 0 else 0.0
    for day in (10, 80, 172, 300):
        ends = min(float(sunset(latitude, day)), math.pi / 2)
        turn = 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
        near = 1 + 0.033 * math.cos(2 * math.pi * day / 365)
        expected = 24 * 60 / math.pi * 0.0820 * near * math.cos(turn) * math.sin(ends)
        found = float(daily_sun(math.tan(math.radians(abs(latitude))), toward, latitude, day))
        assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("slope", "aspect", "latitude"), [
    (0.1, 30, -32), (0.6, 90, 45), (1.5, 0, 45), (2.5, 350, 60), (1.5, 180, -50), (0.8, 270, 10)])
def test_the_closed_form_is_the_sum_over_short_steps(slope, aspect, latitude):
    """Vectors to the sun and of the plane multiplied each twentieth of a minute, the sun up."""
    tilt, facing, at = math.atan(slope), math.radians(aspect), math.radians(latitude)
    normal = (math.sin(tilt) * math.sin(facing), math.sin(tilt) * math.cos(facing),
              math.cos(tilt))
    step = 2 * math.pi / 28_800
    hour = -math.pi + (np.arange(28_800) + 0.5) * step
    for day in (20, 100, 172, 266, 350):
        turn = 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)
        east = -math.cos(turn) * np.sin(hour)
        north = math.sin(turn) * math.cos(at) - math.cos(turn) * math.sin(at) * np.cos(hour)
        up = math.sin(turn) * math.sin(at) + math.cos(turn) * math.cos(at) * np.cos(hour)
        falls = np.maximum(normal[0] * east + normal[1] * north + normal[2] * up, 0) * (up > 0)
        near = 1 + 0.033 * math.cos(2 * math.pi * day / 365)
        expected = 24 * 60 / (2 * math.pi) * 0.0820 * near * float(falls.sum()) * step
        assert float(daily_sun(slope, aspect, latitude, day)) == pytest.approx(
            expected, rel=2e-4, abs=1e-3)


@given(SLOPES, BEARINGS, LATITUDES)
def test_morning_and_evening_are_alike(slope, aspect, latitude):
    """The sun's path is the same before and after noon."""
    assert float(sun_ratio(slope, aspect, latitude)) == pytest.approx(
        float(sun_ratio(slope, 360 - aspect, latitude)), rel=1e-9)


@given(SLOPES, BEARINGS, LATITUDES, st.integers(1, 365))
def test_south_of_the_equator_all_is_mirrored(slope, aspect, latitude, day):
    """Half a year on the sun stands as far beyond the equator on the other side: a slope that
    faces the other pole at the other latitude gets the same, but for how near the sun is."""
    other = day + 365 / 2
    here = float(daily_sun(slope, aspect, latitude, day)) / float(nearness(day))
    there = float(daily_sun(slope, 180 - aspect, -latitude, other)) / float(nearness(other))
    assert here == pytest.approx(there, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("latitude", "sunny"), [(-32.0, 0.0), (40.0, 180.0)])
def test_slopes_to_the_equator_get_more_and_the_others_less(latitude, sunny):
    """Outside the tropics the noon sun stands on the equator's side: more there, less behind."""
    slope = np.array([0.05, 0.15, 0.3])
    bright, dark = sun_ratio(slope, sunny, latitude), sun_ratio(slope, sunny + 180, latitude)
    assert (bright > 1).all()
    assert (dark < 1).all()
    assert (np.diff(bright) > 0).all()
    assert (np.diff(dark) < 0).all()


def test_shapes_and_what_is_not_known():
    found = sun_ratio(np.array([[0.0, 0.1], [np.nan, 0.2]]), np.array([[np.nan, 90], [10, np.nan]]),
                      -30)
    assert found.shape == (2, 2)
    assert found[0, 0] == pytest.approx(1.0, rel=1e-12)  # level: it faces nowhere
    assert np.isnan(found[1]).all()
    assert np.isfinite(found[0, 1])


def test_a_latitude_beyond_a_pole_is_refused():
    with pytest.raises(ValueError, match="beyond a pole"):
        sun_ratio(0.1, 0, 91)
