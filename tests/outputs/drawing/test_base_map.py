"""What lies under maps, against planes and cones, of which every height and line is known."""

import numpy as np
import pytest
from constructed import formula_dem
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from shapely import LineString

from terrain.outputs.drawing import base_map as base

VIEW = base.View(0.0, 0.0, 300.0, 300.0, 0.6)


def plane(x, y):
    return 50 + 0.04 * x - 0.03 * y


def cone(x, y):
    return 100 - 0.1 * np.hypot(x - 150, y - 150)


def test_a_thinned_plane_is_the_plane_and_a_void_does_not_spread():
    dem = formula_dem(plane, 300, 300, 1.0)
    dem.heights[100, 100] = np.nan
    dem.heights[200:204, 200:204] = np.nan
    thin = base.cropped(dem, VIEW, 80)
    assert (thin.shape, thin.cell) == ((75, 75), 4.0)
    x, y = thin.xy(*np.mgrid[0:75, 0:75])
    assert np.flatnonzero(np.isnan(thin.heights)).tolist() == [50 * 75 + 50]
    near = abs(thin.heights - plane(x, y))
    near[25, 25] = near[50, 50] = 0  # a mean of 15 cells lies a little aside, and no mean
    assert near.max() < 1e-4
    assert thin.heights[25, 25] == pytest.approx(plane(x[25, 25], y[25, 25]), abs=0.01)


def test_contours_of_a_cone_are_circles():
    """Radius 10 (100 - level)."""
    lines = base.contours_of(formula_dem(cone, 300, 300, 1.0), 1.0, 26 * VIEW.point)
    lines = [line for line in lines if 88 <= line.level <= 97]
    assert [line.level for line in lines] == list(range(88, 98))
    assert [line.level for line in lines if line.index] == [90, 95]
    for line in lines:
        far = np.hypot(*(line.line - 150).T)
        assert abs(far - 10 * (100 - line.level)).max() < 0.2  # a third of a point of paper
        assert np.hypot(*np.diff(line.line, axis=0).T).max() <= 2 * VIEW.point + 1e-9
        assert (line.line[0] == line.line[-1]).all()


def test_contours_at_wide_cells_have_no_corners():
    """From cell to cell, unrounded, a contour of this cone turns by up to 17 degrees."""
    lines = base.contours_of(formula_dem(cone, 300, 300, 20.0), 1.0, 26 * VIEW.point)
    ring = next(line.line for line in lines if line.level == 93)
    way = np.diff(np.concatenate([ring, ring[1:2]]), axis=0)
    bearing = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    assert abs(np.degrees(np.diff(bearing))).max() < 5
    assert abs(np.hypot(*(ring - 150).T) - 70).max() < 2  # a tenth of a cell


def test_a_softened_ring_stays_closed_and_a_line_keeps_its_ends():
    turn = np.linspace(0, 2 * np.pi, 41)
    ring = np.stack([np.cos(turn), np.sin(turn)], 1)
    ring[-1] = ring[0]
    soft = base.softened(ring, 2.0)
    assert (soft[0] == soft[-1]).all()
    # A circle shrinks evenly: by exp(-s2/2), s the angle smoothed over, a closed form.
    shrunk = np.exp(-(2 * 2 * np.pi / 40) ** 2 / 2)
    assert np.hypot(*soft.T) == pytest.approx(shrunk, abs=1e-3)
    line = ring[:20]
    assert (base.softened(line, 2.0)[[0, -1]] == line[[0, -1]]).all()


def test_flow_lines_stay_by_the_cells_of_their_water():
    """A valley whose floor runs down the middle column gathers all water there."""
    from terrain.surface.terrain import Terrain

    dem = formula_dem(lambda x, y: 0.05 * y + 0.1 * abs(x - 150.5), 300, 301, 1.0)
    lines = base.flow_lines(Terrain(dem), VIEW, 20000.0)
    assert len(lines) == 1
    line, area = lines[0]
    floor = LineString([(150.5, 0), (150.5, 300)])
    assert max(floor.distance(LineString([p, p])) for p in line) < 0.5
    assert 20000 <= area <= 300 * 301


def test_an_island_in_a_region_stays_open():
    dem = formula_dem(plane, 300, 300, 5.0)
    x, y = dem.xy(*np.mgrid[0:60, 0:60])
    far = np.hypot(x - 150, y - 150)
    figure = Figure(figsize=(4, 4), dpi=75, facecolor="white")
    ax = figure.add_axes((0, 0, 1, 1))
    VIEW.shown_on(ax)
    assert base.draw_region(ax, ((far > 50) & (far < 100)) | (far < 20), dem, "#000000", 1.0)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    picture = np.asarray(canvas.buffer_rgba())[..., 0]
    assert picture.shape == (300, 300)
    for along in (picture[150, 150:], picture[150::-1, 150]):
        assert [bool(along[r] > 128) for r in (0, 35, 75, 120)] == [False, True, False, True]
