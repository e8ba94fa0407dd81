"""Sizing a swale on ground where the answer can be worked by hand."""

import numpy as np
import pytest
from constructed import formula_dem

from terrain.surface.terrain import Terrain
from terrain.works.rules import Rulebook
from terrain.works.swale import smoothed, trace
from terrain.works.swale_size import size_swale

RULES = Rulebook()


@pytest.fixture(scope="module")
def hillside():
    """200 m wide, falling south at 5 %; the line lies 50 m below the top."""
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y, 200, 100, 1.0))
    route, along = trace(terrain, smoothed(terrain.dem), 100.0, 50.0, "here", RULES, 90.0)
    return terrain, route, along


def of(hillside, depth_mm, **fixed):
    terrain, route, along = hillside
    runoff = None if depth_mm is None else np.full(terrain.dem.shape, depth_mm / 1000)
    words = {"length": None, "depth": None, "width": None, **fixed}
    return size_swale(terrain, route, along, RULES, runoff, **words)


def test_with_no_storm_the_usual_sizes(hillside):
    size = of(hillside, None)
    assert size.end - size.start == pytest.approx(60)
    assert (size.depth, size.width, size.side_slope) == (0.3, 0.6, 2.0)


@pytest.mark.parametrize(("runoff", "depth"), [(2.0, 0.2), (7.0, 0.3), (8.5, 0.35), (60.0, 0.5)])
def test_depth_holds_what_runs_down_to_each_metre(hillside, runoff, depth):
    """50 m of slope and the line itself bring 51 x runoff mm to a metre; 0.6 d + 2 d^2 must hold
    it [0.2: 0.2 m2, 0.3: 0.36, 0.35: 0.455, 0.5: 0.8]; never under 0.2 nor over 0.5 m."""
    assert of(hillside, runoff).depth == pytest.approx(depth)


def test_more_length_is_no_help_on_an_even_slope(hillside):
    size = of(hillside, 60.0, depth=0.3)
    assert size.end - size.start == pytest.approx(60)


def test_more_length_helps_below_a_hollow():
    """All water comes down one trough: a longer line holds more of the same water."""
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y + 0.03 * abs(x - 100), 200, 100, 1.0))
    route, along = trace(terrain, smoothed(terrain.dem), 100.0, 40.0, "here", RULES, 90.0)
    runoff = np.where(abs(terrain.dem.xy(0, np.arange(200))[0] - 100) < 10, 0.03, 0.0)
    grid = np.broadcast_to(runoff, terrain.dem.shape)
    size = size_swale(terrain, route, along, RULES, grid, None, 0.3, None)
    assert size.end - size.start > 60
    assert 0.36 * (size.end - size.start) == pytest.approx(float(grid[terrain.labels(
        _marks(terrain, route)) > 0].sum()), rel=0.1)


def _marks(terrain, route):
    from terrain.works.swale import line_cells

    marks = np.zeros(terrain.dem.shape, np.int32)
    cells = line_cells(terrain.dem, route.line)
    marks[cells[:, 0], cells[:, 1]] = 1
    return marks
