"""Ways that fall at a grade, against ground on which they are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.surface.graded_walk import (
    ARRIVED,
    EDGE,
    TOO_HIGH,
    TOO_LONG,
    TOO_LOW,
    graded_walk,
)


def free(dem):
    return np.zeros(dem.shape, np.int32)


def plane(slope=0.1):
    """Falls to the south."""
    return formula_dem(lambda x, y: 50 + slope * y, 120, 80, 1.0)


@pytest.mark.parametrize("grade", [0.002, 0.01, 0.05])
@pytest.mark.parametrize("side", [1, -1])
def test_on_a_plane_it_is_a_straight_line(grade, side):
    """Its bearing leaves the contour by the angle whose sine is grade over slope; with higher
    ground, to the north, on its left it runs east."""
    found = graded_walk(plane(), free(plane()), (60.2, 40.3), grade, side, 50)
    assert found.ended == TOO_LONG
    away = found.line[-1] - found.line[0]
    assert found.length == pytest.approx(50)
    assert away[1] == pytest.approx(-50 * grade / 0.1, abs=0.01)
    assert away[0] == pytest.approx(side * 50 * np.sqrt(1 - (grade / 0.1) ** 2), abs=0.01)
    assert np.hypot(*away) == pytest.approx(50, abs=0.01)


def test_on_a_cone_it_is_a_logarithmic_spiral():
    """On z = -a r the radius grows by g/a for each metre, and the way turns about the summit by
    sqrt((a/g)^2 - 1) ln(r/r0)."""
    slope, grade, start, length = 0.2, 0.04, 12.0, 60.0
    dem = formula_dem(lambda x, y: 90 - slope * np.hypot(x - 40, y - 40), 80, 80, 0.5)
    found = graded_walk(dem, free(dem), (40 + start, 40.0), grade, 1, length)
    assert found.ended == TOO_LONG
    out = start + grade / slope * length
    x, y = (found.line - 40).T
    assert np.hypot(x[-1], y[-1]) == pytest.approx(out, abs=0.05)
    turned = np.unwrap(np.arctan2(y, x))[-1]
    assert abs(turned) == pytest.approx(np.sqrt((slope / grade) ** 2 - 1) * np.log(out / start),
                                        rel=0.01)
    assert turned > 0  # with the summit on its left it goes round counterclockwise


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.002, 0.03), st.sampled_from([1, -1]))
def test_the_ground_under_it_falls_steadily(seed, grade, side):
    rng = np.random.default_rng(seed)
    a, b, c = rng.uniform(-1, 1, 3)
    dem = formula_dem(lambda x, y: 100 + 0.1 * y + a * np.sin(x / 9) + b * np.cos(y / 11)
                      + c * np.sin((x + y) / 14), 80, 80, 1.0)
    found = graded_walk(dem, free(dem), (40.0, 40.0), grade, side, 60)
    way = found.line if found.ended in (TOO_LONG, TOO_HIGH, TOO_LOW) else found.line[:-1]
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    wanted = dem.height_at(*way[0]) - grade * steps
    assert dem.height_at(*way.T) == pytest.approx(wanted, abs=2e-5)  # float32 heights
    assert np.diff(steps) == pytest.approx(1.0)


def test_it_stops_at_what_it_was_to_come_to_and_at_what_is_in_its_way():
    codes = free(plane())
    codes[:, 80:83] = ARRIVED
    codes[:, 20:23] = 7
    east = graded_walk(plane(), codes, (60.2, 40.3), 0.01, 1, 200)
    assert east.ended == ARRIVED
    assert 80 <= east.line[-1, 0] <= 80.6
    west = graded_walk(plane(), codes, (60.2, 40.3), 0.01, -1, 200)
    assert west.ended == 7
    assert 22.4 <= west.line[-1, 0] <= 23


def test_it_comes_to_a_point():
    goal = (60.2 + 30 * np.sqrt(0.99), 40.3 - 3.0)
    found = graded_walk(plane(), free(plane()), (60.2, 40.3), 0.01, 1, 200, goal)
    assert found.ended == ARRIVED
    assert np.hypot(*(found.line[-1] - goal)) <= 0.5


def test_why_it_can_go_no_further():
    dem = plane()
    assert graded_walk(dem, free(dem), (60.0, 40.0), 0.01, 1, 500).ended == EDGE
    assert graded_walk(dem, free(dem), (60.0, 40.0), 0.11, 1, 500).ended == TOO_HIGH
    pit = formula_dem(lambda x, y: 0.1 * np.hypot(x - 20, y - 20), 40, 40, 1.0)
    assert graded_walk(pit, free(pit), (24.0, 20.0), 0.02, 1, 500).ended == TOO_HIGH
    level = formula_dem(lambda x, y: 0 * x + np.where(x > 20, -1.0, 0.0), 40, 40, 1.0)
    assert graded_walk(level, free(level), (18.0, 20.0), 0.5, 1, 500).ended in (TOO_HIGH, EDGE)


@pytest.mark.parametrize("grade", [0.0, -0.01, float("nan")])
def test_a_grade_that_does_not_fall(grade):
    with pytest.raises(ValueError, match="does not fall"):
        graded_walk(plane(), free(plane()), (60.0, 40.0), grade, 1, 50)
