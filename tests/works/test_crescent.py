"""Crescents on planes against numerical integration, and on rasters against the closed form."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from planes import plane
from scipy.integrate import dblquad, quad

from terrain.inputs.dem import Dem
from terrain.works.crescent import chord_offset, crescent_at, crescent_volume, half_angle
from terrain.works.lie import lie_of
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import crescent_size


# Definition: depth below the tips' contour, integrated over the segment by scipy's quadrature.
@pytest.mark.parametrize(("radius", "share", "slope"), [
    (1.5, 1.0, 0.04), (4.0, 1.0, 0.02), (4.0, 0.5, 0.06), (3.0, 0.15, 0.10), (2.0, 0.9, 0.03)])
def test_volume_on_a_plane_against_numerical_integration(radius, share, slope):
    depth = share * radius * slope
    chord = radius - depth / slope
    integral, _ = dblquad(lambda x, y: slope * (y - chord), chord, radius,
                          lambda y: -math.sqrt(radius**2 - y**2),
                          lambda y: math.sqrt(radius**2 - y**2))
    assert crescent_volume(radius, depth, slope) == pytest.approx(integral, rel=1e-7)


def test_half_moon_in_closed_form():
    """The first moment of a half disc about its diameter is 2/3 R3."""
    assert crescent_volume(3.0, 0.12, 0.04) == pytest.approx(2 / 3 * 0.04 * 27)
    assert half_angle(3.0, 0.12, 0.04) == pytest.approx(math.pi / 2)
    assert chord_offset(4.0, 0.12, 0.06) == pytest.approx(2.0)


@given(st.floats(0.5, 6), st.floats(0.05, 0.95), st.floats(0.005, 0.15))
def test_a_higher_bund_never_holds_less(radius, share, slope):
    most = radius * slope
    low, high = crescent_volume(radius, share * most, slope), crescent_volume(radius, most, slope)
    assert 0 < low <= high * (1 + 1e-12)


@pytest.mark.parametrize("given_", [(0, 0.1, 0.05), (2, 0, 0.05), (2, 0.1, 0), (2, 0.2, 0.05)])
def test_crescents_that_cannot_be(given_):
    with pytest.raises(ValueError, match=r"above 0|falls only"):
        crescent_volume(*given_)


@pytest.mark.parametrize("bearing", [0, 37, 90, 200, 315])
def test_the_way_down_a_plane(bearing):
    lie = lie_of(plane(0.05, bearing), 30, 30, 3.0)
    assert lie.slope == pytest.approx(0.05, rel=1e-3)
    assert (lie.down_x, lie.down_y) == pytest.approx(
        (math.sin(math.radians(bearing)), math.cos(math.radians(bearing))), abs=2e-3)
    assert lie.level == pytest.approx(100, abs=1e-3)


# The raster's storage against the closed form: 80 cells across resolve an arc to about 1 %.
@pytest.mark.parametrize(("bearing", "radius", "depth", "slope"), [
    (180, 3.0, 0.15, 0.05), (37, 3.0, 0.15, 0.05), (250, 4.0, 0.12, 0.06), (90, 1.5, 0.06, 0.04)])
def test_storage_on_a_raster_is_that_of_the_closed_form(bearing, radius, depth, slope):
    dem = plane(slope, bearing)
    made = crescent_at(dem, 30, 30, radius, depth, lie_of(dem, 30, 30, radius), Rulebook())
    assert made.curve.capacity == pytest.approx(made.closed_form, rel=0.03)
    assert made.curve.capacity == pytest.approx(crescent_volume(radius, depth, slope), rel=0.03)
    assert made.curve.volumes[0] == 0
    assert (np.diff(made.curve.volumes) >= 0).all()
    # Both tips on one contour, as far from the trunk as the radius.
    heights = dem.height_at(*made.tips.T)
    assert heights[0] == pytest.approx(heights[1], abs=2e-3)
    assert np.hypot(*(made.tips - 30).T) == pytest.approx(radius)


def test_earth_of_a_bund_against_numerical_integration():
    """A trapezoid 0.25 m wide on top, 1:1, from its crest down to the plane, along its ridge."""
    slope, radius = 0.05, 3.0
    dem, rules = plane(slope), Rulebook()
    made = crescent_at(dem, 30, 30, radius, 0.15, lie_of(dem, 30, 30, radius), rules)
    crest = 0.15  # freeboard above the tips' contour, which runs through the trunk
    ridge = radius + (crest + 0.15) + 0.125

    def end_area(turn):
        height = (crest + slope * ridge * math.cos(turn)) * 1.1
        return 0.25 * height + height**2

    earth, _ = quad(end_area, -math.pi / 2, math.pi / 2)
    assert made.bund == pytest.approx(earth * ridge, rel=0.01)
    assert made.bund_height == pytest.approx(1.1 * (crest + slope * ridge), rel=1e-3)


def test_uneven_ground_that_holds_nothing_is_refused():
    dem = plane(0.05)
    heights = dem.heights.copy()
    heights[30:36, 24:36] = 100.5  # a heap where the water would stand
    mound = Dem(heights, dem.left, dem.top, dem.cell, dem.frame, dem.source)
    with pytest.raises(ValueError, match="next to nothing"):
        crescent_at(mound, 30, 30, 3.0, 0.15, lie_of(dem, 30, 30, 3.0), Rulebook())


def test_size_of_a_crescent_follows_crown_volume_and_limits():
    rules = Rulebook()
    assert crescent_size(3.0, 0.04, 0.0, rules) == pytest.approx((1.5, 0.06))
    radius, depth = crescent_size(3.0, 0.04, 0.5, rules)
    assert crescent_volume(radius, depth, 0.04) >= 0.5
    assert crescent_volume(radius - 0.25, (radius - 0.25) * 0.04, 0.04) < 0.5
    # Half-moons are 2 to 8 m wide (later guides after FAO AGL/MISC/17/91), water 0.3 m at most.
    assert crescent_size(1.0, 0.04, 0.0, rules)[0] == 1.0
    assert crescent_size(3.0, 0.10, 99.0, rules) == pytest.approx((4.0, 0.3))
    assert crescent_size(3.0, 0.10, 99.0, rules, widest=2.0)[0] == 2.0
    with pytest.raises(ValueError, match="falls only"):
        crescent_size(3.0, 0.02, 1.0, rules, radius=3.0, depth=0.3)
