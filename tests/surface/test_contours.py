"""Contours on ground whose contours are known lines and circles."""

import itertools

import numpy as np
import pytest
import shapely
from constructed import dem_of, formula_dem
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface import contours as module
from terrain.surface.contours import contour_lines, contour_through, contours, simplified


def length_of(line):
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def densely(line, spacing):
    """Points of a line: its own, its pieces' middles and others no further than `spacing` apart."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.unique(np.concatenate([far, (far[1:] + far[:-1]) / 2,
                                   np.arange(0.0, far[-1], spacing)]))
    return np.stack([np.interp(at, far, line[:, k]) for k in (0, 1)], 1)


def cross(lines):
    """Whether any of some lines crosses or touches itself or another."""
    return not shapely.is_simple(shapely.multilinestrings([shapely.linestrings(line)
                                                           for line in lines]))


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(-2, 2))
def test_every_vertex_on_a_plane_is_at_the_level(east, north, above):
    """Heights of a plane are linear between cells; those of float32 to 1e-6 of 10 m.

    Where a cell stands at the level, the line is half a millimetre higher.
    """
    dem = formula_dem(lambda x, y: 10 + east * (x - 20) + north * (y - 15), 40, 30, 0.5)
    stands = np.abs(dem.heights - np.float32(10 + above)).min() <= 1e-6
    for line in contour_lines(dem, 10 + above):
        off = 10 + east * (line[:, 0] - 20) + north * (line[:, 1] - 15) - 10 - above
        assert np.abs(off).max() <= 1e-6 or (stands and np.abs(off - 0.0005).max() <= 1e-6)


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


def test_a_plane_needs_two_points():
    dem = formula_dem(lambda x, y: 0.03 * x + 0.07 * y, 60, 40, 1.0)
    (line,) = contour_lines(dem, 2.0)
    made = simplified(line, dem, 2.0, 0.001)
    assert np.array_equal(made, line[[0, -1]])


@pytest.mark.parametrize("tolerance", [0.01, 0.05, 0.2])
def test_a_cone_needs_about_the_corners_of_a_polygon_in_its_circle(tolerance):
    """A chord between points of a circle is highest in its middle, on a cone of slope s by
    s r (1 - cos(half its angle)): so many corners it takes, at least, to stay in tolerance."""
    slope, radius = 0.1, 20.0
    cone = formula_dem(lambda x, y: 50 - slope * np.hypot(x - 25, y - 25), 50, 50, 0.25)
    ((made,),) = contours(cone, [50 - slope * radius], tolerance, aside=10.0)
    fewest = np.pi / np.arccos(1 - tolerance / (slope * radius))
    corners = len(made) - 1
    assert np.array_equal(made[0], made[-1])
    assert fewest <= corners <= fewest + 2
    across = np.hypot(*(densely(made, 0.05) - 25).T)
    assert np.abs(across - radius).max() * slope <= tolerance + 1e-4


def paraboloid_error(cell, radius=12.0):
    """Largest distance from the circle, simplified with a tolerance of cell^2 / 100."""
    dem = formula_dem(lambda x, y: ((x - 20) ** 2 + (y - 20) ** 2) / 200, 40, 40, cell)
    ((made,),) = contours(dem, [radius**2 / 200], 0.01 * cell**2)
    return float(np.abs(np.hypot(*(densely(made, cell / 8) - 20).T) - radius).max())


def test_a_paraboloids_contour_nears_the_circle_as_cells_shrink():
    """Bilinear ground stands above r^2 / 200 by no more than cell^2 / 400 (the remainder of
    linear interpolation, second derivative times cell^2 / 8, both ways)."""
    for cell in (2.0, 1.0, 0.5, 0.25):
        off = (1 / 100 + 1 / 400) * cell**2 + 1e-6
        assert paraboloid_error(cell) <= 12 - (12**2 - 200 * off) ** 0.5


@pytest.mark.parametrize("tolerance", [0.5, 0.1, 0.01, 0.001])
@pytest.mark.parametrize("level", [0.13, -0.31, 2.3, -7.7])
def test_a_saddle_that_is_bilinear_itself_is_met_anywhere_on_the_line(level, tolerance):
    """z = x y / 25 on cells of 5 m: straight across a cell is off by up to a quarter metre."""
    dem = formula_dem(lambda x, y: x * y / 25, 60, 60, 5.0, left=-29.0, bottom=-31.5)
    whole = contour_lines(dem, level)
    worst = 0.0
    for line, made in zip(whole, *contours(dem, [level], tolerance), strict=True):
        assert np.array_equal(made[[0, -1]], line[[0, -1]])
        x, y = densely(made, 0.1).T
        assert np.abs(x * y / 25 - level).max() <= tolerance + 2e-6  # heights of float32
        x, y = densely(line, 0.1).T
        worst = max(worst, np.abs(x * y / 25 - level).max())
    assert worst > 0.1 or abs(level) < 1


def saddle_error(cell):
    """Largest height of x^2 / 40 - y^2 / 60 off the level, simplified as the paraboloid."""
    dem = formula_dem(lambda x, y: x**2 / 40 - y**2 / 60, 40, 40, cell, left=-20, bottom=-20)
    (lines,) = contours(dem, [0.7], 0.01 * cell**2)
    assert len(lines) == 2
    x, y = np.concatenate([densely(line, cell / 8) for line in lines]).T
    return float(np.abs(x**2 / 40 - y**2 / 60 - 0.7).max())


def test_a_saddles_contour_nears_its_hyperbola_as_cells_shrink():
    """Linear interpolation is off by cell^2 / 8 times 1 / 20 at most, the other way by less."""
    for cell in (2.0, 1.0, 0.5, 0.25):
        assert saddle_error(cell) <= (1 / 100 + 1 / 160) * cell**2 + 2e-6


def smooth_ground(seed, width, cell, relief):
    from scipy.ndimage import gaussian_filter

    ground = gaussian_filter(np.random.default_rng(seed).standard_normal((50, 70)), width)
    return dem_of(relief * (ground - ground.min()) / np.ptp(ground), cell, 5e5, 6.4e6)


def in_saddle_cell(dem, x, y):
    """Whether of a cell's four corners the higher two lie across from each other."""
    row = np.floor((dem.top - y) / dem.cell - 0.5).astype(int).clip(0, dem.shape[0] - 2)
    column = np.floor((x - dem.left) / dem.cell - 0.5).astype(int).clip(0, dem.shape[1] - 2)
    z = [dem.heights[row + i, column + j] for i in (0, 1) for j in (0, 1)]
    one, other = np.sort(np.stack([z[0], z[3]]), 0), np.sort(np.stack([z[1], z[2]]), 0)
    return (one[0] > other[1]) | (other[0] > one[1])


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1), st.floats(1.0, 8.0), st.sampled_from([0.5, 1.0, 10.0]),
       st.floats(1.0, 40.0), st.floats(0.01, 0.3))
def test_the_ground_keeps_to_the_level_along_the_whole_simplified_line(seed, width, cell, relief,
                                                                      tolerance):
    """Against `Dem.height_at` at every tenth of a cell side.

    In a saddle cell contours may join other corners than the ground does: no better than whole.
    """
    dem = smooth_ground(seed, width, cell, relief)
    levels = np.linspace(0, relief, 5)[1:-1].tolist()
    for level, made in zip(levels, contours(dem, levels, tolerance), strict=True):
        whole = contour_lines(dem, level)
        assert len(made) == len(whole)
        assert made == [] or not cross(made)
        for line, new in zip(whole, made, strict=True):
            x, y = densely(new, cell / 10).T
            off = np.abs(dem.height_at(x, y) - level)
            beyond = off > tolerance + 1e-6
            assert in_saddle_cell(dem, x[beyond], y[beyond]).all()
            x, y = densely(line, cell / 10).T
            worst = np.abs(dem.height_at(x, y) - level).max()
            assert off.max() <= max(tolerance, worst) + 1e-6
            assert np.array_equal(new[[0, -1]], line[[0, -1]])
            assert (np.hypot(*np.diff(new, axis=0).T) > 0).all()
            # It leaves the whole line by two cells, but for points put in within a cell.
            assert shapely.hausdorff_distance(shapely.linestrings(new), shapely.linestrings(line),
                                              densify=0.5) <= 3 * cell


def test_simplified_lines_do_not_cross_and_would_without_the_second_try(monkeypatch):
    rng = np.random.default_rng(5)
    dem = dem_of(rng.standard_normal((80, 80)).cumsum(0).cumsum(1) * 0.05)
    levels = np.arange(-3.0, 3.0, 0.25).tolist()
    assert not any(cross(lines) for lines in contours(dem, levels, 0.5) if lines)
    monkeypatch.setattr(module, "SHARES", (1.0,))
    assert any(cross(lines) for lines in contours(dem, levels, 0.5) if lines)


def test_on_flat_ground_no_bend_is_cut_off():
    """A mound 4 cm above the level, well within tolerance, is still gone round."""
    dem = formula_dem(lambda x, y: 0.1 * np.exp(-((x - 20) ** 2 + (y - 20) ** 2) / 50), 40, 40, 1.0)
    (ring,) = contour_lines(dem, 0.06)
    made = simplified(ring, dem, 0.06, 0.2)
    assert np.array_equal(made[0], made[-1])
    assert 4 <= len(made) < len(ring)
    assert shapely.hausdorff_distance(shapely.linestrings(made), shapely.linestrings(ring)) <= 2
    inside = shapely.Polygon(made).area / (np.pi * 50 * np.log(0.1 / 0.06))  # the true circle's
    assert 0.6 < inside < 1.2
    near = simplified(ring, dem, 0.06, 0.2, aside=0.1)
    assert len(near) > len(made)
    assert shapely.hausdorff_distance(shapely.linestrings(near), shapely.linestrings(ring)) <= 0.1


def test_a_ring_within_tolerance_everywhere_keeps_three_corners():
    heights = np.zeros((7, 7))
    heights[3, 3] = 0.1
    dem = dem_of(heights)
    (ring,) = contour_lines(dem, 0.05)
    made = simplified(ring, dem, 0.05, 1.0)
    assert np.array_equal(made[0], made[-1])
    assert len(made) >= 4
    assert shapely.Polygon(made).area > 0


@settings(max_examples=60)
@given(hnp.arrays(np.float32, st.tuples(st.integers(2, 9), st.integers(2, 9)),
                  elements=st.integers(0, 3).map(float)), st.sampled_from([1.0, 0.3048]))
@example(np.zeros((3, 3), np.float32), 1.0)
@example(np.eye(5, dtype=np.float32), 1.0)
@example(np.array([[0, 0, 0], [1, 0, 1], [0, 1, 0]], np.float32), 1.0)  # a slit from the edge
def test_terraces_give_whole_lines_half_a_millimetre_above_their_treads(steps, unit):
    """Heights in whole metres or feet, contours at just these.

    In float32, 43 to 46 ft come out a digit off the level: 43 * 0.3048 is not rounded alike.
    """
    steps = steps + np.float32(43)
    dem = dem_of(steps * np.float32(unit))
    levels = [count * unit for count in range(42, 48)]
    for level, made in zip(levels, contours(dem, levels, 0.02), strict=True):
        lines = contour_lines(dem, level)
        assert bool(lines) <= bool((dem.heights > level + 1e-5).any())
        for line in lines:
            off = dem.height_at(*line.T) - level
            stands = (steps == round(level / unit)).any()
            assert off == pytest.approx(0.0005 if stands else 0.0, abs=1e-6)
        for line in [*lines, *made]:
            ring = np.array_equal(line[0], line[-1])
            assert len(line) >= (4 if ring else 2)
            assert (np.hypot(*np.diff(line, axis=0).T) > 0).all()
            assert np.ptp(line, axis=0).max() >= 0.01
        assert lines == [] or not (cross(lines) or cross(made))


def test_a_tread_is_passed_on_its_upper_side():
    """Steps of 1 m every 10 m: at a tread's own level the line runs along its upper edge."""
    dem = formula_dem(lambda x, y: np.floor(y / 10), 30, 40, 1.0)
    (line,) = contour_lines(dem, 2.0)
    assert line[:, 1] == pytest.approx(29.5005)  # of the next tread the first centre is at 30.5
    ((made,),) = contours(dem, [2.0], 0.02)
    assert len(made) == 2


def test_one_cell_at_the_level_does_not_give_its_point_twice():
    """A cone whose one corner of the grid stands at the level."""
    dem = formula_dem(lambda x, y: 10 - 0.1 * np.hypot(x - 15.5, y - 15.5), 31, 31, 1.0)
    assert (dem.heights == np.float32(9.5)).sum() == 12  # 5, 0 and 3, 4 away, in all directions
    (ring,) = contour_lines(dem, 9.5)
    assert np.hypot(*np.diff(ring, axis=0).T).min() > 1e-6
    assert not cross([ring])
    assert np.hypot(*(ring - 15.5).T) == pytest.approx(5.0, abs=0.03)


def test_a_cell_just_off_the_raised_level_does_not_give_its_point_twice():
    heights = np.full((5, 6), 50.0)
    heights[2] = [50, 1.0005, 0, 1, 0, 50]
    dem = dem_of(heights, top=6.4e6)
    (ring,) = contour_lines(dem, 1.0)
    assert np.hypot(*np.diff(ring, axis=0).T).min() > 1e-6


def test_beside_voids_a_line_is_left_as_it_is_and_simplified_elsewhere():
    ground = smooth_ground(8, 5.0, 1.0, 20.0)
    voids = np.random.default_rng(8).random(ground.shape) < 0.02
    dem = dem_of(np.where(voids, np.nan, ground.heights), 1.0, 5e5, 6.4e6)
    whole = contour_lines(dem, 10.1)
    (made,) = contours(dem, [10.1], 0.5)
    beside = 0
    for line, new in zip(whole, made, strict=True):
        assert np.array_equal(new[[0, -1]], line[[0, -1]])
        points = densely(new, 0.1)
        off = np.abs(dem.height_at(*points.T) - 10.1)
        assert (off[np.isfinite(off)] <= 0.5 + 1e-6).all()
        unknown = shapely.points(points[np.isnan(off)])
        assert (shapely.distance(shapely.linestrings(line), unknown) < 1e-6).all()
        beside += unknown.size
    assert beside > 10
    assert sum(map(len, made)) < sum(map(len, whole)) / 2


def test_lines_of_several_levels_are_those_of_each():
    dem = formula_dem(lambda x, y: 5 * np.sin(x / 9) * np.cos(y / 7), 60, 40, 1.0)
    levels = [-2.0, 0.7, 3.1]
    for level, made in zip(levels, contours(dem, levels, 0.05), strict=True):
        whole = contour_lines(dem, level)
        assert len(made) == len(whole)
        for new, line in zip(made, whole, strict=True):
            assert np.array_equal(new, simplified(line, dem, level, 0.05))
    assert contours(dem, [], 0.05) == []
    assert contours(dem, [99.0], 0.05) == [[]]


@pytest.mark.parametrize("tolerance", [0.0, -1.0, np.nan])
def test_a_tolerance_that_is_none_is_refused(tolerance):
    dem = formula_dem(lambda x, y: 0.1 * y, 20, 20, 1.0)
    with pytest.raises(ValueError, match="is not above 0"):
        contours(dem, [1.0], tolerance)
