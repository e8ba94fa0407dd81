"""Furrows on ground given by a formula: levels, depths and earth worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from terrain.works.furrow import furrow, furrow_line

WIDTH, DEPTH, LEAST = 0.3, 0.15, 0.002
EAST = np.array([[0.0, 0.0], [20.0, 0.0]])


def made(ground, sill, rim, line=EAST):
    return furrow(line, lambda x, y: ground(np.asarray(x)), sill, rim, WIDTH, DEPTH, LEAST)


def test_level_ground_over_a_falling_bed():
    """Ground at 10 m; the bed falls from 9.85, its depth below the sill, to 9.6 m.

    By hand: 20 x (0.15 + 0.4) / 2 = 5.5 m2.
    """
    found = made(lambda x: 10 + 0 * x, 10.0, 9.6)
    assert (found.length, found.fall) == pytest.approx((20.0, 0.4))
    assert found.falls
    assert found.bed(5.0) == pytest.approx(9.7875)
    assert found.slope == pytest.approx(0.0125)
    assert found.deepest == pytest.approx((20.0, 0.4))
    assert found.earth == pytest.approx(WIDTH * 5.5, rel=1e-3)
    assert found.high_points == []
    assert found.topsoil(0.15) == pytest.approx(WIDTH * 20 * 0.15)


def test_a_ridge_between_two_works_is_cut_through():
    """A ridge 0.5 m high in the middle: the bed there lies 0.1 m lower still."""
    found = made(lambda x: 10 + 0.5 * np.maximum(1 - np.abs(x - 10) / 5, 0), 10.0, 9.8)
    assert found.high_points == [10.0]
    assert found.deepest == pytest.approx((10.0, 0.6))


def test_a_low_place_is_crossed_on_a_bank():
    found = made(lambda x: 10 - 0.02 * x - 0.3 * np.maximum(1 - np.abs(x - 10) / 2, 0), 10.0, 9.6)
    assert found.lowest == pytest.approx((10.0, 9.5 - 9.725))
    assert found.earth > WIDTH * 20 * DEPTH


@given(st.floats(-0.5, 0.5))
def test_it_falls_where_the_rim_lies_lower_by_the_rule(lower):
    """0.2 % of 20 m are 0.04 m; what is wanting is told, and the bed never rises."""
    found = made(lambda x: 10 + 0 * x, 10.0, 10.0 - lower)
    assert found.falls == (found.fall >= 0.04)
    assert found.lower_by == pytest.approx(max(0.04 - lower, 0.0), abs=1e-9)
    assert (np.diff(found.bed(found.stations)) <= 1e-12).all()
    assert found.end_level == pytest.approx(min(10.0, 10.0 - lower))


def test_works_that_touch_need_none():
    assert made(lambda x: x, 1.0, 0.9, np.array([[0.0, 0.0], [0.01, 0.0]])) is None


def test_it_goes_round_the_water_of_its_own_work_and_ends_at_the_takers_rim():
    """From the east rim of a disc of 1 m to one 10 m west: half round, then straight to its rim."""
    own, taker = Point(0, 0).buffer(1, 256), Point(-10, 0).buffer(1, 256)
    line = LineString(furrow_line((1.0, 0.0), (-10.0, 0.0), own, taker))
    assert line.length == pytest.approx(np.pi + 8.0, rel=1e-3)
    assert line.intersection(own.buffer(-0.01)).length == pytest.approx(0, abs=1e-6)
    assert line.coords[-1] == pytest.approx((-9.0, 0.0), abs=1e-3)


def test_it_is_straight_where_nothing_is_between():
    own, taker = LineString([(0, -5), (0, 5)]), Point(10, 0).buffer(2, 64)
    assert furrow_line((0.0, 0.0), (10.0, 0.0), own, taker) == pytest.approx(
        np.array([[0.0, 0.0], [8.0, 0.0]]), abs=1e-3)


def test_it_begins_its_depth_below_the_sill_where_as_much_fall_is_left():
    """Of 0.31 m of fall 0.16 m are left below 0.15 m of depth; of 0.29 m only 0.14 m."""
    below, level = (made(lambda x: 10 + 0 * x, 10.0, 10.0 - fall) for fall in (0.31, 0.29))
    assert (below.start_level, level.start_level) == pytest.approx((9.85, 10.0))


def test_a_trench_gathers_what_comes_over_a_sill_longer_than_it_is_wide():
    """A sill of 4.3 m: 4 m of trench besides the mouth, 4 x 0.3 x 0.15 = 0.18 m3."""
    plain = made(lambda x: 10 + 0 * x, 10.0, 9.6)
    found = replace(plain, sill_length=4.3)
    assert found.gathers == pytest.approx(4.0)
    assert found.earth - plain.earth == pytest.approx(0.18)
    assert found.topsoil(0.15) - plain.topsoil(0.15) == pytest.approx(0.18)
    assert replace(plain, sill_length=0.2).gathers == 0
