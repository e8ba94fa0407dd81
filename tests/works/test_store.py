"""Stage-area-volume curves and draining against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from terrain.works.store import (
    Curve,
    bowl_curve,
    channel_curve,
    drain_hours,
    integrated,
    tank_curve,
)


# Constructed: 60 m of swale, bed 0.6 m, sides 2:1, 0.3 m deep: (0.6 + 2 x 0.3) x 0.3 x 60.
def test_sixty_metres_of_swale_hold_21_6_cubic_metres():
    curve = channel_curve(100.0, 0.3, 0.6, 2.0, 60.0)
    assert curve.capacity == pytest.approx(21.6)
    assert curve.areas[-1] == pytest.approx((0.6 + 4 * 0.3) * 60)
    assert (curve.levels[0], curve.levels[-1]) == (pytest.approx(99.7), 100.0)


def test_a_stores_floor_is_where_its_water_begins():
    """Behind a wall the bank's body fills the lowest levels."""
    levels, areas = np.array([9.0, 9.5, 10.0, 10.5]), np.array([0.0, 0.0, 4.0, 8.0])
    assert Curve(levels, areas, np.array([0.0, 0.0, 1.0, 4.0])).floor == 9.5
    assert channel_curve(100.0, 0.3, 0.6, 2.0, 60.0).floor == pytest.approx(99.7)


@given(st.floats(0.05, 3), st.floats(0, 6), st.floats(0, 4), st.floats(1, 300))
def test_a_channels_volumes_are_its_areas_summed(depth, bed, side, length):
    assume(bed + side > 0.01)
    curve = channel_curve(50.0, depth, bed, side, length)
    by_area = integrated(curve.levels, curve.areas)  # exact: the width is linear in the depth
    assert curve.volumes == pytest.approx(by_area.volumes, rel=1e-9, abs=1e-9)


@given(st.floats(0.05, 1.5), st.floats(0.3, 6), st.floats(0, 3))
def test_a_bowl_is_the_frustum_of_a_cone(depth, radius, side):
    """V = pi h / 3 (R^2 + R r + r^2), and its areas summed numerically."""
    floor = radius - side * depth
    assume(floor > 0.01)
    curve = bowl_curve(10.0, depth, radius, side)
    assert curve.capacity == pytest.approx(
        math.pi * depth / 3 * (radius**2 + radius * floor + floor**2))
    summed, _ = quad(lambda rise: math.pi * (floor + side * rise)**2, 0, depth)
    assert curve.capacity == pytest.approx(summed, rel=1e-9)
    assert curve.areas[0] == pytest.approx(math.pi * floor**2)
    assert curve.areas[-1] == pytest.approx(math.pi * radius**2)


@pytest.mark.parametrize("curve", [
    channel_curve(8.0, 0.4, 0.5, 2.0, 30.0), bowl_curve(8.0, 0.4, 2.0, 2.0), tank_curve(11.0)],
    ids=["channel", "bowl", "tank"])
def test_curves_rise_and_start_empty(curve):
    assert curve.volumes[0] == 0
    assert (np.diff(curve.levels) > 0).all()
    assert (np.diff(curve.areas) >= 0).all()
    assert (np.diff(curve.volumes) > 0).all()
    assert curve.level_at(curve.capacity) == curve.levels[-1]
    assert curve.area_at(0.0) == curve.areas[0]


def test_an_upright_tank_holds_its_volume_at_its_height():
    curve = tank_curve(11.0, height=2.5)
    assert curve.capacity == 11.0
    assert curve.areas == pytest.approx([4.4, 4.4])
    assert curve.level_at(5.5) == pytest.approx(1.25)


# dV/dt = -f A and dV = A dz: whatever the shape, the level sinks at f, so t = depth / f.
@given(st.floats(0.05, 3), st.floats(0.1, 6), st.floats(0, 4), st.floats(1, 60))
def test_a_channel_drains_in_its_depth_over_the_rate(depth, bed, side, rate):
    curve = channel_curve(0.0, depth, bed, side, 40.0)
    assert drain_hours(curve, rate) == pytest.approx(depth * 1000 / rate, rel=1e-9)


def test_a_prism_drains_in_its_depth_over_the_rate():
    assert drain_hours(tank_curve(30.0, height=1.2), 20.0) == pytest.approx(60.0)


def test_a_bowl_drains_in_its_depth_over_the_rate():
    """The rule's mean of end areas is a touch too large for a curved slice: 24 of them."""
    assert drain_hours(bowl_curve(0.0, 0.5, 2.0, 2.0), 10.0) == pytest.approx(50.0, rel=2e-3)


def emptied(volume, area_of, rate):
    """Hours until dV/dt = -f A(V) has emptied a shape, all but a millionth, by scipy."""
    def down(time, left):
        return left[0] - 1e-6 * volume
    down.terminal = True
    found = solve_ivp(lambda time, left: [-rate / 1000 * area_of(max(left[0], 0.0))], (0, 1e4),
                      [volume], events=down, rtol=1e-9, atol=1e-12 * volume)
    return float(found.t_events[0][0])


def test_a_trapezoid_channel_drains_as_its_differential_equation_says():
    """60 m of bed 0.6 m and sides 2:1, 0.3 m deep: V = (b + s h) h L solved for its width."""
    def area(volume):
        return math.sqrt(0.6**2 + 4 * 2 * volume / 60) * 60
    curve = channel_curve(100.0, 0.3, 0.6, 2.0, 60.0)
    assert drain_hours(curve, 12.0) == pytest.approx(emptied(curve.capacity, area, 12.0), rel=1e-5)


def test_a_bowl_drains_as_its_differential_equation_says():
    """A cone's frustum, 2 m across the top, 1 m the floor: V = pi (R^3 - r^3) / 3s solved for R."""
    def area(volume):
        return math.pi * ((3 * 2.0 * volume / math.pi + 0.5**3) ** (1 / 3))**2
    curve = bowl_curve(10.0, 0.25, 1.0, 2.0)
    assert drain_hours(curve, 12.0) == pytest.approx(emptied(curve.capacity, area, 12.0), rel=2e-3)


@given(st.floats(0.1, 60), st.floats(1.01, 5))
def test_faster_soil_drains_sooner_and_tight_soil_never(rate, more):
    curve = Curve(np.array([0.0, 0.4, 1.0]), np.array([0.0, 5.0, 20.0]), np.array([0.0, 1.0, 8.5]))
    assert drain_hours(curve, rate * more) < drain_hours(curve, rate)
    assert drain_hours(curve, 0.0) == math.inf
