"""Sections in closed form against polygons of the same shape, and published end areas."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from published import published
from shapely.geometry import Polygon

from terrain.works.cross_section import (
    area_on_slope,
    bank_area,
    bank_under_water,
    channel_area,
    depth_for_area,
    width_on_slope,
)
from terrain.works.store import integrated

FOOT = 0.3048
HIGH = 1000.0
RISE, FLAT, SIDE = st.floats(0.02, 3), st.floats(0, 5), st.floats(0, 4)


def dug(rise, flat, side, ground):
    """Earth below ground that rises to the right, within a trapezoid opened upwards; its left
    lip stands on the ground at the origin."""
    up = HIGH
    opened = Polygon([(side * rise, -rise), (side * rise + flat, -rise),
                      (side * rise + flat + side * (rise + up), up), (-side * up, up)])
    below = Polygon([(-HIGH, -ground * HIGH), (HIGH, ground * HIGH), (HIGH, -HIGH), (-HIGH, -HIGH)])
    return opened.intersection(below)


@given(RISE, FLAT, SIDE, st.floats(0, 0.3))
def test_cut_across_a_slope_equals_the_polygon(rise, flat, side, ground):
    assume(side * ground < 0.8)
    assume(flat + side * rise > 0.05)
    shape = dug(rise, flat, side, ground)
    assert area_on_slope(rise, flat, side, ground) == pytest.approx(shape.area, rel=1e-6)
    west, _, east, _ = shape.bounds
    assert width_on_slope(rise, flat, side, ground) == pytest.approx(east - west, rel=1e-6)


@given(RISE, FLAT, SIDE, st.floats(0, 0.3))
def test_berm_heaped_on_a_slope_equals_the_polygon(rise, flat, side, ground):
    """The toe stands at the origin on ground that falls to the right."""
    assume(side * ground < 0.8)
    assume(flat + side * rise > 0.05)
    heap = Polygon([(side * rise, rise), (side * rise + flat, rise),
                    (side * rise + flat + side * (rise + HIGH), -HIGH), (-side * HIGH, -HIGH)])
    above = Polygon([(-HIGH, ground * HIGH), (HIGH, -ground * HIGH), (HIGH, HIGH), (-HIGH, HIGH)])
    assert area_on_slope(rise, flat, side, ground) == pytest.approx(
        heap.intersection(above).area, rel=1e-6)


@given(RISE, FLAT, SIDE)
def test_on_level_ground_the_section_is_the_channel(rise, flat, side):
    assert area_on_slope(rise, flat, side, 0.0) == channel_area(rise, flat, side)


@given(RISE, FLAT, SIDE)
def test_channel_area_is_the_width_summed_over_the_depth(rise, flat, side):
    depth = np.linspace(0, rise, 2001)
    assert channel_area(rise, flat, side) == pytest.approx(
        float(np.trapezoid(flat + 2 * side * depth, depth)), rel=1e-9, abs=1e-12)


@given(RISE, st.floats(0.05, 5), SIDE)
def test_depth_for_area_undoes_channel_area(rise, flat, side):
    assert depth_for_area(channel_area(rise, flat, side), flat, side) == pytest.approx(rise)


def test_ground_as_steep_as_the_side_is_refused():
    with pytest.raises(ValueError, match="ground of 50% never meets a side of 2:1"):
        area_on_slope(0.3, 0.6, 2.0, 0.5)


# Geometry of the embankment tables of USDA Agriculture Handbook 590 (1997); printed to 0.01 ft2.
def test_bank_areas_match_the_published_geometry():
    table = published("embankment_end_areas.csv")
    assert len(table) > 100
    for height, top, slopes, square_feet, square_metres in table:
        found = bank_area(height * FOOT, top * FOOT, slopes - 2.0, 2.0)
        assert found / FOOT**2 == pytest.approx(square_feet, abs=0.0051)
        assert found == pytest.approx(square_metres, abs=0.00051)


# Constructed: stations 50 ft apart, top 6 ft, slopes 3:1 and 2:1; 675.00 yd3 by end areas.
def test_bank_volume_by_average_end_areas():
    stations, heights, areas = (np.array(column) for column in
                                zip(*published("embankment_volume_constructed.csv"), strict=True))
    found = np.array([bank_area(h * FOOT, 6 * FOOT, 3.0, 2.0) for h in heights])
    assert found / FOOT**2 == pytest.approx(areas)
    volume = integrated(stations * FOOT, found).capacity
    assert volume / (3 * FOOT)**3 == pytest.approx(675.0, abs=0.005)
    assert volume == pytest.approx(516.07, abs=0.005)


@given(st.floats(0.1, 6), st.floats(0, 4), st.floats(0, 4), st.floats(0, 1.2))
def test_bank_under_water_equals_the_polygon(height, top, wet, share):
    """The water side of a bank on level ground, from its centreline, up to the water."""
    assume(top + wet > 0.05)
    half = Polygon([(0, 0), (top / 2 + wet * height, 0), (top / 2, height), (0, height)])
    depth = share * height
    water = Polygon([(-1, -1), (100, -1), (100, depth), (-1, depth)])
    assert bank_under_water(height, top, wet, depth) == pytest.approx(
        half.intersection(water).area, rel=1e-6, abs=1e-9)


@given(st.floats(0.1, 6), st.floats(0, 4), st.floats(0, 4), st.floats(0, 4))
def test_both_halves_of_a_drowned_bank_are_the_bank(height, top, wet, dry):
    assert (bank_under_water(height, top, wet, height) + bank_under_water(height, top, dry, height)
            == pytest.approx(bank_area(height, top, wet, dry)))
