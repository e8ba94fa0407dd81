"""Heights between centres, beside scipy's, to the last bit."""

import numpy as np
from constructed import dem_of
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates


@given(st.integers(0, 2**32 - 1), st.integers(1, 7), st.integers(1, 9),
       st.sampled_from([1.0, 0.3048, 0.5, 2.0, 1 / 3]))
def test_heights_are_those_of_scipy(seed, rows, columns, cell):
    made = np.random.default_rng(seed)
    heights = made.normal(1200, 30, (rows, columns)).astype(np.float32)
    dem = dem_of(heights, cell, left=512300.25)
    x = dem.left + cell * made.uniform(0, columns, 300)
    y = dem.top - cell * made.uniform(0, rows, 300)
    at = [(dem.top - y) / cell - 0.5, (x - dem.left) / cell - 0.5]
    at = [np.clip(part, 0, size - 1) for part, size in zip(at, (rows, columns), strict=True)]
    at = [np.where(abs(part - np.rint(part)) < 1e-6, np.rint(part), part) for part in at]
    theirs = map_coordinates(heights, at, order=1, mode="nearest", output=np.float64)
    inside = (x <= dem.left + columns * cell) & (y >= dem.top - rows * cell)
    assert np.array_equal(dem.height_at(x, y)[inside], theirs[inside])


def test_an_unknown_cell_counts_only_where_it_has_a_share():
    heights = np.array([[1, 2, np.nan], [4, 5, 6]], np.float32)
    dem = dem_of(heights)
    at = [(0.5, 1.5), (1.5, 1.0), (2.0, 1.5), (2.0, 0.5), (2.5, 0.5), (2.5, 0.7), (-0.1, 1.0)]
    found = [float(dem.height_at(x, y)) for x, y in at]
    assert found[:2] == [1.0, 3.5]
    assert np.isnan(found[2])
    assert found[3:5] == [5.5, 6.0]
    assert np.isnan(found[5])
    assert np.isnan(found[6])


def test_shapes_are_those_that_broadcast():
    dem = dem_of(np.zeros((4, 4), np.float32))
    assert dem.height_at(np.ones((3, 1)), np.ones(2)).shape == (3, 2)
    assert dem.height_at(1.0, 1.0).shape == ()
