"""Accumulation against geometry and two flow libraries, and the balance it must keep."""

import itertools

import matplotlib.cbook
import numpy as np
import pytest
from constructed import dem_of, formula_dem
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface.accumulation import accumulate, longest_upslope_path
from terrain.surface.depressions import drain
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.slope import hushed
from terrain.surface.terrain import Terrain


@pytest.fixture(scope="module")
def fault():
    """Directions on matplotlib's sample raster of 344 by 403 cells, in whole metres (SRTM)."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        heights = data["elevation"].astype(np.float32)
    return drain(heights).direction


def accumulated_by_richdem(direction, weights=None):
    """richdem's own sum over our directions; a ring of cells that pass nothing on is put round,
    as richdem does not route its outermost cells."""
    import richdem

    direction = np.pad(direction, 1, constant_values=8)
    slot = np.array([5, 6, 7, 8, 1, 2, 3, 4])  # its neighbours go W, NW, N ... from 1
    share = np.full((*direction.shape, 9), -1, np.float32)
    row, column = np.nonzero(direction < 8)
    share[row, column, slot[direction[row, column]]] = 1
    share[row, column, 0] = 0
    with hushed():
        shares = richdem.rd3array(share, no_data=-2)
        shares.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        rain = None if weights is None else np.pad(weights, 1)
        found = richdem.flow_accum_from_props(shares, weights=rain)
    return np.array(found)[1:-1, 1:-1]


# Reference library: richdem.
def test_cell_counts_on_a_real_raster_equal_richdem(fault):
    assert np.array_equal(accumulate(fault), accumulated_by_richdem(fault))


def test_weighted_sums_on_a_real_raster_equal_richdem(fault):
    """Whole numbers, so that the order of adding does not matter."""
    weights = np.random.default_rng(1).integers(0, 50, fault.shape).astype(np.float64)
    assert np.array_equal(accumulate(fault, weights), accumulated_by_richdem(fault, weights))


# Reference library: pyflwdir; its D8 coding is 1 E, 2 SE, 4 S ... 128 NE, 0 an outlet.
def test_cell_counts_on_a_real_raster_equal_pyflwdir(fault):
    import pyflwdir

    coded = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0], np.uint8)[fault]
    count = pyflwdir.from_array(coded, ftype="d8").upstream_area("cell")
    assert np.array_equal(accumulate(fault), count)


@pytest.mark.parametrize("cell", [4.0, 1.0, 0.5])
def test_area_on_a_plane_is_the_strip_upslope(cell):
    """A plane that falls west: each cell drains the strip of its own width east of it."""
    terrain = Terrain(formula_dem(lambda x, y: 0.04 * x, 60, 24, cell))
    east = 60 - np.arange(round(60 / cell)) * cell  # from the cell's west side to the east edge
    assert np.array_equal(terrain.contributing_area, np.tile(east * cell, (round(24 / cell), 1)))


@pytest.mark.parametrize("cell", [4.0, 1.0, 0.5])
def test_area_on_a_plane_that_falls_along_the_diagonal(cell):
    """Each cell drains the cells of its own diagonal, up to the raster's edge."""
    terrain = Terrain(formula_dem(lambda x, y: 0.04 * (x + y), 40, 40, cell))
    row, column = np.indices(terrain.dem.shape)
    above = np.minimum(row, terrain.dem.shape[1] - 1 - column) + 1
    inner = (slice(1, -1), slice(1, -1))
    assert np.array_equal(terrain.contributing_area[inner], (above * cell**2)[inner])


def channel_error(cell, width=20.0, length=60.0):
    """Largest relative error of the area along the channel of a V-valley.

    Sides and channel fall alike, so that water crosses the sides at 45 degrees, which D8 can
    follow.  A channel cell at L below the top then drains what lies within L of it on each
    side: L^2 while L is below the width W of a side, 2 (W L - W^2/2) after.
    """
    half = round(width / cell)
    x = (np.arange(2 * half + 1) - half) * cell
    y = (np.arange(round(length / cell)) + 0.5) * cell  # southwards from the top edge
    terrain = Terrain(dem_of(50 + 0.1 * abs(x)[None, :] - 0.1 * y[:, None], cell))
    area = terrain.contributing_area[:-1, half]  # the last row drains along the edge
    reach, side = y[:-1] + cell / 2, width + cell / 2
    exact = np.where(reach < side, reach**2, 2 * (side * reach - side**2 / 2))
    return float(np.abs(area / exact - 1).max())


def test_area_along_a_valley_nears_geometry_as_cells_shrink():
    errors = [channel_error(cell) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert errors[0] < 0.01
    assert errors[-1] < 2e-4
    assert all(fine < coarse / 3 for coarse, fine in itertools.pairwise(errors))


@pytest.mark.parametrize("cell", [4.0, 1.0])
def test_valley_with_steep_sides_gathers_both_sides_whole(cell):
    """Sides 50 times as steep as the channel: water goes straight to it, row by row."""
    half = round(20 / cell)
    x = (np.arange(2 * half + 1) - half) * cell
    y = np.arange(round(60 / cell)) * cell
    terrain = Terrain(dem_of(50 + 0.1 * abs(x)[None, :] - 0.002 * y[:, None], cell))
    reach = (np.arange(y.size) + 1) * cell
    assert terrain.contributing_area[:, half] == pytest.approx(reach * (2 * half + 1) * cell)


def cone(cell, radius=25.0):
    half = round(radius / cell)
    x = (np.arange(2 * half) - half + 0.5) * cell  # the top lies between four cells
    away = np.hypot(*np.meshgrid(x, x))
    return Terrain(dem_of(100 - away, cell)), away


def circle_errors(cell):
    """Relative errors of the area that crosses circles about a cone's top, pi r^2."""
    terrain, away = cone(cell)
    row, column = np.indices(away.shape)
    goes = terrain.direction < 8
    k = np.where(goes, terrain.direction, 0)
    onward = away[row + ROW_STEP[k] * goes, column + COLUMN_STEP[k] * goes]
    found = []
    for radius in np.arange(5.0, 20.0, 0.5):
        assert not ((away >= radius) & (onward < radius)).any()  # no water goes back in
        crosses = (away < radius) & (onward >= radius)
        found.append(terrain.contributing_area[crosses].sum() / (np.pi * radius**2) - 1)
    return np.array(found)


# Cone as in Costa-Cabral & Burges, Water Resources Research 30 (1994): r/2 a metre of contour.
def test_area_that_crosses_circles_of_a_cone_nears_geometry_as_cells_shrink():
    errors = [float(np.sqrt(np.mean(circle_errors(cell)**2))) for cell in (2.0, 1.0, 0.5, 0.25)]
    assert errors[-1] < 0.003
    assert all(fine < coarse / 2 for coarse, fine in itertools.pairwise(errors))


@pytest.mark.parametrize("cell", [2.5, 1.0, 0.5])
def test_a_cone_drains_the_same_in_every_quarter_and_whole(cell):
    terrain, _ = cone(cell)
    area = terrain.contributing_area
    assert np.array_equal(area, np.rot90(area))
    assert np.array_equal(area, area.T)
    assert area[terrain.direction == 8].sum() == 50.0**2


GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=12),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


@given(GROUND, st.integers(0, 4), st.integers(0, 2**32 - 1))
def test_what_leaves_is_what_fell(heights, holes, seed):
    for i in range(holes):
        heights[(3 * i) % heights.shape[0], (5 * i + 1) % heights.shape[1]] = np.nan
    direction = drain(heights).direction
    weights = np.random.default_rng(seed).uniform(0, 5, heights.shape)
    known = np.isfinite(heights)
    total = accumulate(direction, weights)
    assert np.array_equal(np.isnan(total), ~known)
    assert total[direction == 8].sum() == pytest.approx(weights[known].sum(), rel=1e-12)
    assert (total[known] >= weights[known]).all()
    assert accumulate(direction)[direction == 8].sum() == known.sum()


def test_unknown_weights_count_as_nothing_and_the_callers_stay():
    direction = np.array([[0, 0, 8]], np.uint8)
    weights = np.array([[1.0, np.nan, 2.0]])
    assert accumulate(direction, weights).tolist() == [[1.0, 1.0, 3.0]]
    assert np.isnan(weights[0, 1])


@pytest.mark.parametrize("cell", [2.0, 0.5])
def test_longest_path_on_a_plane_is_the_distance_to_its_upper_edge(cell):
    terrain = Terrain(formula_dem(lambda x, y: 0.04 * x, 30, 12, cell))
    expected = (np.arange(round(30 / cell))[::-1]) * cell
    assert np.array_equal(terrain.path_length, np.tile(expected, (round(12 / cell), 1)))


def test_longest_path_counts_diagonal_steps_by_their_length():
    terrain = Terrain(formula_dem(lambda x, y: 0.04 * (x + y), 20, 20, 2.0))
    assert terrain.path_length[8, 1] == pytest.approx(8 * 2.0 * np.sqrt(2))


def test_longest_path_takes_the_longer_of_two_branches():
    direction = np.array([[0, 0, 2, 4, 8],
                          [8, 8, 8, 8, 8]], np.uint8)
    assert longest_upslope_path(direction, 3.0)[1, 2] == 6.0 + 3.0


@pytest.mark.parametrize("cell", [2.0, 0.5])
def test_travel_time_down_a_plane_is_its_length_times_the_pace(cell):
    """Two halves of different pace; where they meet a step goes at the mean of the two."""
    terrain = Terrain(formula_dem(lambda x, y: 0.04 * x, 30, 12, cell))
    columns = terrain.dem.shape[1]
    pace = np.where(np.arange(columns) < columns // 2, 3.0, 1.0)[None, :].repeat(
        terrain.dem.shape[0], 0)
    seconds = longest_upslope_path(terrain.direction, cell, pace)
    reach = (columns - 1 - np.arange(columns)) * cell
    slow = np.maximum(columns // 2 - 1 - np.arange(columns), 0) * cell
    meets = np.where(np.arange(columns) < columns // 2, cell, 0.0)  # the step between the halves
    assert seconds == pytest.approx((reach + 2 * slow + meets)[None, :].repeat(
        terrain.dem.shape[0], 0))


def test_weights_of_another_shape_are_refused():
    with pytest.raises(ValueError, match="weights of shape"):
        accumulate(np.full((3, 4), 8, np.uint8), np.ones((4, 3)))
