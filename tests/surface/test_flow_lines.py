"""Flow lines against straight ways and circles, whose lengths are known."""

import itertools

import numpy as np
import pytest
from constructed import dem_of, formula_dem
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, hausdorff_distance

from terrain.surface.flow_lines import flow_line
from terrain.surface.terrain import Terrain


def line_of(cells, cell=1.0):
    """The flow line of a path over level ground of unit heights."""
    cells = np.asarray(cells)
    shape = tuple(cells.max(axis=0) + 2)
    dem = dem_of(np.ones(shape), cell)
    return dem, flow_line(dem, cells, dem.heights)


def zigzag_of(dem, cells):
    return np.stack(dem.xy(*np.asarray(cells).T), 1)


def length_of(points):
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def straight_path(degrees, count=100):
    """Cells nearest to a straight way (Bresenham, 1965), `degrees` south of east."""
    column = np.arange(count + 1)
    return np.stack([np.rint(column * np.tan(np.radians(degrees))).astype(int), column], 1)


@pytest.mark.parametrize("degrees", [5, 10, 15, 20, 22.5, 26.565, 30, 35, 40])
def test_a_straight_way_between_two_directions_has_its_true_length(degrees):
    """The zigzag is 3 to 8 % too long: cos a + (sqrt 2 - 1) sin a, a closed form."""
    cells = straight_path(degrees)
    dem, made = line_of(cells)
    zigzag = zigzag_of(dem, cells)
    true = float(np.hypot(*(zigzag[-1] - zigzag[0])))
    a = np.arctan2(cells[-1, 0], cells[-1, 1])
    assert length_of(zigzag) / true == pytest.approx(np.cos(a) + (2**0.5 - 1) * np.sin(a))
    assert 1.03 < length_of(zigzag) / true < 1.083
    assert 1 <= made.length / true < 1.003


def test_water_on_rough_even_ground_goes_less_to_and_fro():
    """A plane whose fall lies between two directions, rough enough for D8 to take both."""
    rng = np.random.default_rng(3)
    dem = formula_dem(lambda x, y: (0.05 * np.cos(np.radians(22.5)) * (300 - x)
                                    + 0.05 * np.sin(np.radians(22.5)) * y
                                    + 0.01 * rng.standard_normal(x.shape)), 300, 150, 1.0)
    terrain = Terrain(dem)
    for row in (10, 20, 30):
        path = terrain.path(row, 5)
        made = flow_line(dem, path, terrain.filled)
        zigzag = length_of(zigzag_of(dem, path))
        true = float(np.hypot(*(made.line[-1] - made.line[0])))
        assert zigzag > 1.06 * true
        assert made.length - true < (zigzag - true) / 2


def circle_error(radius):
    """Relative error in length of the cells nearest to a quarter circle, 8-connected."""
    turn = np.linspace(0, np.pi / 2, 400 * radius)
    cells = np.rint(radius * np.stack([np.sin(turn), np.cos(turn)], 1)).astype(int)
    cells = cells[np.r_[True, (np.diff(cells, axis=0) != 0).any(axis=1)]]
    path = [cells[0]]
    for here, after in itertools.pairwise(cells[1:]):
        if np.abs(after - path[-1]).max() > 1:
            path.append(here)
    path.append(cells[-1])
    return abs(line_of(path)[1].length / (radius * np.pi / 2) - 1)


def test_a_quarter_circle_nears_its_length_as_cells_shrink():
    """The zigzag's own error stays at 5 %: it does not fall with the cell."""
    errors = [circle_error(radius) for radius in (5, 10, 20, 50)]
    assert all(fine < coarse for coarse, fine in itertools.pairwise(errors))
    assert errors[0] < 0.03
    assert errors[-1] < 0.001


ROUGH = st.integers(0, 2**32 - 1)


def rough_terrain(seed, cell):
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(seed)
    heights = 3 * gaussian_filter(rng.standard_normal((40, 50)), rng.uniform(0, 3))
    return Terrain(dem_of(heights + 0.01 * np.arange(40)[:, None], cell, 5e5, 6.4e6))


@given(ROUGH, st.sampled_from([0.5, 1.0, 30.0]))
def test_lines_keep_to_their_cells_and_never_cross_themselves(seed, cell):
    terrain = rough_terrain(seed, cell)
    dem = terrain.dem
    for row, column in [(20, 25), (3, 3), (30, 40)]:
        path = terrain.path(row, column)
        made = flow_line(dem, path, terrain.filled)
        zigzag = zigzag_of(dem, path)
        assert np.array_equal(made.line[[0, -1]], zigzag[[0, -1]])
        assert made.line.shape == (len(path), 2)
        assert made.fall == pytest.approx(
            float(terrain.filled[row, column] - terrain.filled[tuple(path[-1])]))
        assert made.fall >= 0
        if len(path) < 2:
            continue
        new, old = LineString(made.line), LineString(zigzag)
        assert hausdorff_distance(new, old, densify=0.1) <= 0.5 * cell
        apart = np.hypot(*np.diff(made.line, axis=0).T)
        assert apart.min() > 0.25 * cell
        assert apart.max() < 1.5 * cell
        assert made.length <= old.length * (1 + 1e-12)
        assert made.length == pytest.approx(new.length)
        assert new.is_simple or not old.is_simple


@given(st.lists(st.integers(0, 7), min_size=1, max_size=60))
def test_paths_that_turn_as_they_like_gain_no_crossing(turns):
    """Hairpins and spirals too, which water on real ground rarely makes."""
    step = [(0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1)]
    cells = [(60, 60)]
    for turn in turns:
        after = (cells[-1][0] + step[turn][0], cells[-1][1] + step[turn][1])
        if after in cells:
            break
        cells.append(after)
    dem, made = line_of(cells)
    if len(cells) > 1:
        zigzag = LineString(zigzag_of(dem, cells))
        assert hausdorff_distance(LineString(made.line), zigzag, densify=0.1) <= 0.5
        assert LineString(made.line).is_simple or not zigzag.is_simple


def test_a_line_down_a_plane_is_straight_and_falls_as_the_plane_does():
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y, 20, 30, 0.5))
    made = flow_line(terrain.dem, terrain.path(4, 7), terrain.filled)
    assert made.line[:, 0] == pytest.approx(3.75)
    assert made.length == pytest.approx(55 * 0.5)
    assert made.along == pytest.approx(0.5 * np.arange(56))
    assert made.fall == pytest.approx(0.05 * made.length, abs=1e-6)
    assert made.slope == pytest.approx(0.05, abs=1e-6)


def test_water_that_leaves_where_it_starts_has_a_line_without_length():
    _, made = line_of([(3, 4)])
    assert made.line.shape == (1, 2)
    assert made.length == made.fall == made.slope == 0.0


def test_a_path_of_no_cells_is_refused():
    dem = dem_of(np.ones((3, 3)))
    with pytest.raises(ValueError, match="no cells"):
        flow_line(dem, np.empty((0, 2), int), dem.heights)
