"""Places on lines and distances from them, against shapely (GEOS): one by one, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from terrain.works.polyline import distance_to, points_along

#: Far from 0 as in a national grid, and small: rounding differs. [m]
ORIGINS = (0.0, 512_371.3)


@st.composite
def _lines(draw):
    """A wandering line, or one that stands still for a step or comes back to its start."""
    seed, count = draw(st.integers(0, 2**32 - 1)), draw(st.integers(2, 60))
    steps = np.random.default_rng(seed).normal(size=(count, 2)) * draw(st.sampled_from([0.1, 7.0]))
    line = draw(st.sampled_from(ORIGINS)) + np.cumsum(steps, axis=0)
    if draw(st.booleans()) and count > 3:
        line[2] = line[1]
    if draw(st.booleans()) and count > 3:
        line = np.concatenate([line, line[:1]])
    return line


@given(_lines(), st.integers(0, 2**32 - 1))
def test_points_along_are_shapelys(line, seed):
    shape, random = LineString(line), np.random.default_rng(seed)
    at = np.concatenate([random.uniform(-0.2, 1.2, 50) * shape.length, [0.0, shape.length],
                         np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    expected = np.array([shape.interpolate(s).coords[0] for s in at])
    np.testing.assert_array_equal(points_along(line, at), expected)


@given(_lines(), st.integers(0, 2**32 - 1))
def test_distances_are_shapelys(line, seed):
    shape, random = LineString(line), np.random.default_rng(seed)
    low, high = line.min(axis=0) - 5, line.max(axis=0) + 5
    x, y = random.uniform(low, high, (80, 2)).T
    x, y = (np.concatenate(pair) for pair in ((x, line[:, 0]), (y, line[:, 1])))
    expected = shapely.distance(shapely.points(x, y), shape)
    np.testing.assert_array_equal(distance_to(line, x, y), expected)


@pytest.mark.parametrize("shape", [(4, 5), (20,), (0,)])
def test_the_shape_stays(shape):
    x = np.linspace(0.0, 1.0, int(np.prod(shape))).reshape(shape)
    # A line along y = -2: closed form.
    assert distance_to(np.array([[-1.0, -2.0], [2.0, -2.0]]), x, np.zeros(shape)).tolist() == (
        np.full(shape, 2.0).tolist())
