"""Contours on ground whose contours are known lines and circles."""

import itertools

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given
from hypothesis import strategies as st

from terrain.surface.contours import contour_lines, contour_through


def length_of(line):
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(-2, 2))
def test_every_vertex_on_a_plane_is_at_the_level(east, north, above):
    """Heights of a plane are linear between cells; those of float32 to 1e-6 of 10 m."""
    dem = formula_dem(lambda x, y: 10 + east * (x - 20) + north * (y - 15), 40, 30, 0.5)
    for line in contour_lines(dem, 10 + above):
        at = 10 + east * (line[:, 0] - 20) + north * (line[:, 1] - 15)
        assert np.abs(at - 10 - above).max() <= 1e-6


def test_contours_of_a_plane_cross_the_whole_raster():
    dem = formula_dem(lambda x, y: 0.1 * y, 40, 30, 0.5)
    lines = contour_lines(dem, 1.23)
    assert len(lines) == 1
    assert length_of(lines[0]) == pytest.approx(39.5)  # from the first cell centre to the last
    assert lines[0][:, 1] == pytest.approx(12.3, abs=1e-5)


def circle_error(cell, radius=10.0):
    cone = formula_dem(lambda x, y: 50 - 0.1 * np.hypot(x - 15, y - 15), 30, 30, cell)
    lines = contour_lines(cone, 50 - 0.1 * radius)
    assert len(lines) == 1
    assert np.array_equal(lines[0][0], lines[0][-1])  # closed
    return abs(length_of(lines[0]) / (2 * np.pi * radius) - 1)


def test_contour_of_a_cone_nears_the_circle_as_cells_shrink():
    errors = [circle_error(cell) for cell in (2.0, 1.0, 0.5, 0.25)]
    assert errors[0] < 0.02
    assert errors[-1] < 1e-4
    assert all(fine < coarse / 2 for coarse, fine in itertools.pairwise(errors))


def test_contour_through_a_point_passes_it_at_the_grounds_own_level():
    dem = formula_dem(lambda x, y: 0.08 * x + 0.03 * y, 60, 40, 1.0)
    level, line, along = contour_through(dem, 31.3, 17.9)
    assert level == pytest.approx(0.08 * 31.3 + 0.03 * 17.9, abs=1e-6)
    assert 0.08 * line[:, 0] + 0.03 * line[:, 1] == pytest.approx(level, abs=1e-6)
    whole = length_of(line)
    start = float(np.hypot(*(line[0] - (31.3, 17.9))))
    assert along == pytest.approx(start, abs=1e-4)
    assert along < whole


def test_contour_is_followed_no_further_than_its_reach():
    dem = formula_dem(lambda x, y: 0.1 * y, 100, 30, 1.0)
    _, line, _ = contour_through(dem, 50.2, 15.0, reach=10.0)
    assert 10.0 <= np.abs(line[:, 0] - 50.2).max() <= 12.0


def test_no_contour_where_no_ground_has_the_level():
    dem = formula_dem(lambda x, y: 0.1 * y, 20, 20, 1.0)
    assert contour_through(dem, 10.0, 10.0, level=55.0) is None
    assert contour_lines(dem, 55.0) == []


def test_lines_end_at_voids():
    dem = formula_dem(lambda x, y: np.where(abs(x - 10) < 2, np.nan, 0.1 * y), 20, 20, 1.0)
    assert len(contour_lines(dem, 1.0)) == 2
