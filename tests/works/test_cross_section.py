"""Sections in closed form against polygons of the same shape, and published end areas."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from published import published
from shapely.geometry import Polygon

from terrain.works.cross_section import (
    SHAPES,
    Berm,
    Section,
    area_on_slope,
    bank_area,
    channel_area,
    earth_across,
    section_of,
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


SECTIONS = st.builds(section_of, st.sampled_from(SHAPES), st.floats(0.05, 1.0),
                     st.none() | st.floats(0.2, 4.0), st.floats(0.5, 4.0), st.just(0.6))


# Closed forms of Chow, Open-Channel Hydraulics, 1959, Table 2-1.
def test_areas_of_the_three_shapes():
    assert Section("trapezoid", 0.3, 0.6, 2.0).area() == pytest.approx((0.6 + 2 * 0.3) * 0.3)
    assert Section("parabola", 0.3, 2.4, 2.0).area() == pytest.approx(2 / 3 * 2.4 * 0.3)
    assert Section("vee", 0.3, 0.0, 2.0).area() == pytest.approx(2 * 0.3**2)


@given(SECTIONS, st.floats(0.01, 1))
def test_area_and_moment_are_the_top_width_summed_over_the_rise(section, share):
    rise = share * section.depth
    edges = np.linspace(0, rise, 4001)
    middle = (edges[1:] + edges[:-1]) / 2
    wide = np.array([section.top_width(z) for z in middle])
    assert section.area(rise) == pytest.approx(float((wide * np.diff(edges)).sum()), rel=1e-4)
    assert section.moment(rise) == pytest.approx(float((wide * middle * np.diff(edges)).sum()),
                                                 rel=1e-4)


@given(SECTIONS, st.floats(0.05, 1))
def test_the_wetted_perimeter_is_the_length_of_the_floor_under_water(section, share):
    rise = share * section.depth
    x = np.linspace(0, section.top_width(), 20001)
    z = np.zeros_like(x)
    for piece in section.floor():
        on = (x >= piece.start) & (x <= piece.end)
        z[on] = [piece.at(v) for v in x[on]]
    assert z[0] == pytest.approx(0.0, abs=1e-9)
    assert z[-1] == pytest.approx(0.0, abs=1e-9)
    assert z.min() == pytest.approx(-section.depth, rel=1e-3)
    wet = (z[1:] + z[:-1]) / 2 <= rise - section.depth
    assert section.wetted_perimeter(rise) == pytest.approx(
        float(np.hypot(np.diff(x), np.diff(z))[wet].sum()), rel=5e-3)


@given(SECTIONS, st.floats(0.01, 0.5))
def test_a_deeper_section_never_holds_less(section, more):
    """Bed, side slope and shape the same; a parabola of the same width, or with it left open."""
    width = None if section.shape == "vee" else section.width
    deeper = section_of(section.shape, section.depth + more, width, section.side_slope, 0.6)
    assert deeper.area() >= section.area()
    if section.shape == "parabola":
        open_width = section_of("parabola", section.depth + more, None, section.side_slope, 0.6)
        assert open_width.area() >= section.area()


def test_a_dish_left_open_is_as_wide_as_makes_its_edges_as_steep_as_the_side_slope():
    """z = d (2 x / W)^2 has the slope 4 d / W at its edge, so that W = 4 m d for edges of m:1."""
    dish = section_of("parabola", 0.3, None, 2.0, 0.6)
    assert dish.width == pytest.approx(4 * 2.0 * 0.3)
    assert section_of("parabola", 0.3, 1.2, 2.0, 0.6).side_slope == pytest.approx(1.0)


@pytest.mark.parametrize("made", [
    lambda: Section("bowl", 0.3, 0.6, 2.0), lambda: Section("trapezoid", 0.0, 0.6, 2.0),
    lambda: Section("vee", 0.3, 0.0, 0.0)])
def test_a_section_that_holds_nothing_is_refused(made):
    with pytest.raises(ValueError, match=r"a section is one of|holds nothing"):
        made()


BERMS = st.builds(Berm, st.floats(0.05, 0.6), st.floats(0.1, 1.5), st.floats(1.0, 4.0))


@given(st.floats(0.1, 1), st.floats(0, 2), st.floats(0.5, 4), BERMS, st.floats(0, 0.2))
def test_ground_at_the_sills_level_gives_the_areas_on_a_slope(depth, bed, side, berm, slope):
    assume(side * slope < 0.8)
    assume(berm.side_slope * slope < 0.8)
    found = earth_across(Section("trapezoid", depth, bed, side), berm, 0.0, slope)
    assert found.cut == pytest.approx(area_on_slope(depth, bed, side, slope))
    assert found.berm == pytest.approx(area_on_slope(berm.height, berm.top, berm.side_slope, slope))
    assert found.cut_width == pytest.approx(width_on_slope(depth, bed, side, slope))


@given(SECTIONS, BERMS, st.floats(-0.2, 0.2), st.floats(-0.05, 0.2))
def test_cut_and_berm_on_any_ground_equal_the_polygons(section, berm, ground, slope):
    """The ground may lie above or below the sill's level, and rise or fall uphill."""
    assume(max(section.side_slope, berm.side_slope) * abs(slope) < 0.8)
    wide, side, toes = section.top_width(), section.side_slope, berm.side_slope
    far = 60.0
    floor = []
    for piece in section.floor():
        floor += [(float(x), piece.at(float(x)))
                  for x in np.linspace(piece.start, piece.end, 400 if piece.c else 2)]
    below = Polygon([(-far, ground - slope * far), (far, ground + slope * far), (far, -far),
                     (-far, -far)])
    above = Polygon([(-far, ground - slope * far), (far, ground + slope * far), (far, far),
                     (-far, far)])
    opened = Polygon([*floor, (wide + side * 20, 20.0), (-side * 20, 20.0)])
    found = earth_across(section, berm, ground, slope)
    exact = 2e-4 if section.shape == "parabola" else 1e-9
    assert found.cut == pytest.approx(opened.intersection(below).area, abs=exact)
    crest = -toes * berm.height
    heap = Polygon([(0, 0), (crest, berm.height), (crest - berm.top, berm.height),
                    (crest - berm.top - toes * (berm.height + far), -far), (wide / 2, -far),
                    *[(x, z) for x, z in reversed(floor) if x <= wide / 2]])
    assert found.berm == pytest.approx(heap.intersection(above).area, abs=exact)


def test_ground_as_steep_as_a_berms_side_is_refused():
    with pytest.raises(ValueError, match="ground of 40% never meets a side of 3:1"):
        earth_across(Section("trapezoid", 0.3, 0.6, 2.0), Berm(0.2, 0.6, 3.0), 0.0, 0.4)
