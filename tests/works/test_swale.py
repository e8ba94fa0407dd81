"""Swales on ground whose contours are known."""

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given
from hypothesis import strategies as st

from terrain.errors import InputError
from terrain.surface.terrain import Terrain
from terrain.works.alignment import off_level
from terrain.works.rules import Rulebook
from terrain.works.swale import (
    along_of,
    cut_to,
    line_cells,
    place_sill,
    smoothed,
    trace,
    trace_along,
    window,
)


def hillside(slope=0.06, cell=1.0):
    return Terrain(formula_dem(lambda x, y: 100 + slope * y, 120, 60, cell))


def traced(terrain, x=60.0, y=30.0, reach=40.0):
    return trace(terrain, smoothed(terrain.dem), x, y, "swale", Rulebook(), reach)


@pytest.mark.parametrize("cell", [0.5, 1.0, 2.0])
def test_a_swale_on_a_plane_is_straight_and_level(cell):
    terrain = hillside(cell=cell)
    route, along = traced(terrain)
    assert route.level == pytest.approx(100 + 0.06 * 30, abs=1e-5)
    assert route.line[:, 1] == pytest.approx(30.0, abs=1e-3)
    assert route.length == pytest.approx(80.0, abs=2e-3)  # the reach to each side
    assert along == pytest.approx(40.0, abs=1e-3)
    assert route.cross_slope == pytest.approx(0.06, rel=1e-3)
    assert route.steepest == pytest.approx(0.06, rel=1e-3)
    assert route.deviation < 1e-4


def test_a_swale_round_a_cone_follows_its_circle():
    terrain = Terrain(formula_dem(
        lambda x, y: 100 - 0.08 * np.hypot(x - 60, y - 60), 120, 120, 0.5))
    route, _ = traced(terrain, 60.0 + 40.0, 60.0, 30.0)
    away = np.hypot(route.line[:, 0] - 60, route.line[:, 1] - 60)
    assert away == pytest.approx(40.0, abs=0.1)
    assert route.length == pytest.approx(60.0, abs=0.1)


def test_ground_too_steep_is_refused_with_its_source():
    with pytest.raises(InputError, match="the ground there slopes 20%, and a swale is refused "
                       "above 15%") as told:
        traced(hillside(0.20))
    # A drain off the contour at 0.2 to 0.5 %, common practice, no source.
    assert "in a drain that falls 0.2 to 0.5 %" in str(told.value)


def test_a_swale_ends_where_the_ground_turns_steep():
    terrain = Terrain(formula_dem(
        lambda x, y: 100 + np.where(x < 70, 0.06, 0.30) * (y - 30), 120, 60, 1.0))
    route, _ = traced(terrain, 50.0, 30.0, 45.0)
    assert route.line[:, 0].min() == pytest.approx(5.0, abs=0.1)
    assert 60 < route.line[:, 0].max() < 80


def test_a_level_near_a_point_is_traced_at_that_level():
    """A plane of 6 %: the contour 0.9 m above a point lies 15 m up from it."""
    terrain = hillside()
    route, along = trace(terrain, smoothed(terrain.dem), 60.0, 20.0, "swale", Rulebook(), 30.0,
                         100 + 0.06 * 35)
    assert route.level == pytest.approx(102.1)
    assert route.line[:, 1] == pytest.approx(35.0, abs=1e-2)
    assert along == pytest.approx(30.0, abs=0.1)


def test_a_level_with_no_contour_near_is_refused():
    terrain = hillside()
    with pytest.raises(InputError, match=r"no contour at 140.00 m .* lies within 50.0 m .* of 60, "
                       r"30|no contour at 140.00 m .* lies within"):
        trace(terrain, smoothed(terrain.dem), 60.0, 30.0, "swale", Rulebook(), 30.0, 140.0)


def test_a_drawn_line_is_pulled_on_to_the_contour_of_its_median_ground():
    """Drawn askew over a plane of 6 %, from 28 to 32 m: half of it lies below 30 m."""
    terrain = hillside()
    drawn = [(30.0, 28.0), (60.0, 30.0), (90.0, 32.0)]
    route, along, pulled = trace_along(terrain, smoothed(terrain.dem), drawn, "here", Rulebook())
    assert route.level == pytest.approx(100 + 0.06 * 30, abs=1e-3)
    assert route.line[:, 1] == pytest.approx(30.0, abs=0.02)
    assert sorted((route.line[0, 0], route.line[-1, 0])) == pytest.approx([30, 90], abs=0.1)
    assert along == pytest.approx(30.0, abs=0.1)
    assert pulled == pytest.approx(2.0, abs=0.05)


def test_a_drawn_line_may_state_its_level():
    terrain = hillside()
    route, _, pulled = trace_along(terrain, smoothed(terrain.dem), [(30.0, 28.0), (90.0, 28.0)],
                                   "here", Rulebook(), 100 + 0.06 * 33)
    assert route.line[:, 1] == pytest.approx(33.0, abs=0.02)
    assert pulled == pytest.approx(5.0, abs=0.05)


@pytest.mark.parametrize(("drawn", "level", "said"), [
    ([(50.0, 30.0), (50.0, 30.0)], None, "two different points or more"),
    ([(60.0, 10.0), (60.0, 50.0)], None, "runs across the contour"),
    ([(30.0, 28.0), (90.0, 28.0)], 140.0, "no contour at 140.00 m")])
def test_a_drawn_line_that_is_no_contour_is_refused(drawn, level, said):
    terrain = hillside()
    with pytest.raises(InputError, match=said):
        trace_along(terrain, smoothed(terrain.dem), drawn, "here", Rulebook(), level)


def test_a_corner_is_rounded_to_the_radius_and_told():
    """Two planes of 5 % that meet at a right angle: 3 m can be had within 10 cm of level."""
    terrain = Terrain(formula_dem(lambda x, y: 100 + 0.05 * (y + abs(x - 60)), 120, 90, 1.0))
    route, _ = trace(terrain, smoothed(terrain.dem), 60.0, 40.0, "swale", Rulebook(), 30.0)
    assert route.radius >= 3.0 * 0.995
    assert route.radius < 20
    assert route.tight == ()
    assert route.deviation <= 0.1
    assert np.abs(off_level(terrain.dem, route.line, route.level)[1]).max() <= 0.1


def test_a_radius_that_the_ground_does_not_give_is_told_by_chainage():
    terrain = Terrain(formula_dem(lambda x, y: 100 + 0.05 * (y + abs(x - 60)), 120, 90, 1.0))
    route, _ = trace(terrain, smoothed(terrain.dem), 60.0, 40.0, "swale", Rulebook(), 30.0,
                     radius=25.0)
    assert route.deviation <= 0.1
    assert route.radius < 25
    (start, end), *_ = route.tight
    assert start < 30 < end or abs(start - 30) < 8  # the corner lies in the middle
    assert route.asked_radius == 25.0


def test_a_point_off_the_raster_is_refused():
    with pytest.raises(InputError, match=r"lies .* of the raster"):
        traced(hillside(), 500.0, 30.0)


@given(st.floats(1, 300), st.floats(0, 1), st.floats(0.5, 400))
def test_the_window_stays_on_the_line_and_about_the_point(total, share, length):
    start, end = window(total, share * total, length)
    assert start >= 0
    assert end <= total + 1e-9
    assert end - start == pytest.approx(min(length, total))
    assert start - 1e-9 <= share * total <= end + 1e-9


def test_cut_to_keeps_the_stretch_asked_for():
    terrain = hillside()
    route, _ = traced(terrain)
    part = cut_to(terrain, route, 10.0, 35.0)
    assert part.length == pytest.approx(25.0, abs=1e-3)
    assert part.level == route.level


CORNERS = st.integers(12, 28).map(float)  # where four cells of 1 m meet
BETWEEN = st.floats(12, 28)


@given(st.floats(0, 180) | st.sampled_from([0, 45, 90, 135, 26.56505117707799]),
       st.tuples(CORNERS, CORNERS) | st.tuples(BETWEEN, BETWEEN))
def test_no_water_slips_through_the_cells_of_a_line(bearing, middle):
    """Cells on the two sides of a line across the raster are nowhere neighbours, not even by a
    corner, and no cell is taken that the line does not touch; through corners too."""
    from scipy import ndimage

    dem = formula_dem(lambda x, y: 0 * x, 40, 40, 1.0)
    way = np.array([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
    cells = line_cells(dem, np.array([middle - 60 * way, middle + 60 * way]))
    free = np.ones(dem.shape, bool)
    free[cells[:, 0], cells[:, 1]] = False

    def across(row, column):
        x, y = dem.xy(row, column)
        return (x - middle[0]) * way[1] - (y - middle[1]) * way[0]

    label, pieces = ndimage.label(free, np.ones((3, 3)))
    assert pieces == 2
    side = np.sign(across(*np.nonzero(free)))
    assert len(set(zip(label[free].tolist(), side.tolist(), strict=True))) == 2
    reach = (abs(way[0]) + abs(way[1])) / 2  # from a cell's centre to its furthest corner
    assert np.abs(across(*cells.T)).max() <= reach + 1e-9


@pytest.mark.parametrize("end", [(35.0, 35.0), (35.0, 20.0), (20.0, 5.0), (5.0, 37.5), (4.0, 28.0)])
def test_a_line_through_corners_of_cells_lets_no_water_by(end):
    """From a corner to a corner: water of a slope that falls across it meets it everywhere."""
    start = np.array([20.0, 20.0])
    way = (np.array(end) - start) / np.hypot(*(np.array(end) - start))
    terrain = Terrain(formula_dem(
        lambda x, y: 50 + 0.1 * ((x - 20) * way[1] - (y - 20) * way[0]), 40, 40, 1.0))
    cells = line_cells(terrain.dem, np.array([start - 60 * way, start + 60 * way]))
    line = np.zeros(terrain.dem.shape, bool)
    line[cells[:, 0], cells[:, 1]] = True
    x, y = terrain.dem.xy(*np.indices(line.shape))
    above = (x - 20) * way[1] - (y - 20) * way[0] > 1
    below = (x - 20) * way[1] - (y - 20) * way[0] < -1
    catchment = terrain.catchment(line)
    assert not catchment[below].any()
    inner = above & (np.minimum(np.minimum(x, 40 - x), np.minimum(y, 40 - y)) > 1)
    # All of it but what leaves the raster by its sides before it comes to the line.
    for row, column in np.argwhere(inner & ~catchment):
        path = terrain.path(int(row), int(column))
        assert above[path[:, 0], path[:, 1]].all()
    assert catchment[inner].mean() > 0.3


def test_cells_know_how_far_along_the_line_they_lie():
    dem = formula_dem(lambda x, y: 0 * x, 40, 40, 1.0)
    line = np.array([[5.5, 10.5], [25.5, 10.5]])
    cells = line_cells(dem, line)
    assert along_of(dem, line, cells) == pytest.approx(dem.xy(*cells.T)[0] - 5.5)


def test_the_sill_lies_on_the_line_away_from_its_ends_and_from_buildings():
    terrain = hillside()
    route, _ = traced(terrain)
    avoid = np.zeros(terrain.dem.shape, bool)
    x, y = terrain.dem.xy(*np.indices(avoid.shape))
    avoid[(y < 15) & (x < 70)] = True
    sill_x, sill_y = place_sill(terrain, route, avoid)
    assert sill_y == pytest.approx(30.0, abs=1e-3)
    assert 70 < sill_x <= 92.0  # the line runs from 20 to 100 m
    below = terrain.path(*(int(i) for i in terrain.dem.row_column(sill_x, sill_y)))
    assert not avoid[below[:, 0], below[:, 1]].any()
