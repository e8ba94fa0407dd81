"""Sizing a swale on ground where the answer can be worked by hand."""

import numpy as np
import pytest
from constructed import formula_dem

from terrain.surface.terrain import Terrain
from terrain.works.rules import Rulebook
from terrain.works.swale import smoothed, trace
from terrain.works.swale_size import Wanted, size_swale

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
    return size_swale(terrain, route, along, RULES, runoff, Wanted(**fixed))


def test_with_no_storm_the_usual_sizes(hillside):
    size = of(hillside, None)
    assert size.end - size.start == pytest.approx(60)
    section = size.section
    assert (section.depth, section.width, section.side_slope) == (0.3, 0.6, 2.0)
    assert size.notes == ()


@pytest.mark.parametrize(("runoff", "depth"), [(2.0, 0.2), (7.0, 0.3), (8.5, 0.35), (60.0, 0.5)])
def test_depth_holds_what_runs_down_to_each_metre(hillside, runoff, depth):
    """50 m of slope and the line itself bring 51 x runoff mm to a metre; 0.6 d + 2 d^2 must hold
    it [0.2: 0.2 m2, 0.3: 0.36, 0.35: 0.455, 0.5: 0.8]; never under 0.2 nor over 0.5 m."""
    assert of(hillside, runoff).section.depth == pytest.approx(depth)


def test_more_length_is_no_help_on_an_even_slope(hillside):
    size = of(hillside, 60.0, depth=0.3)
    assert size.end - size.start == pytest.approx(60)


def test_more_length_helps_below_a_hollow():
    """All water comes down one trough: a longer line holds more of the same water."""
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y + 0.03 * abs(x - 100), 200, 100, 1.0))
    route, along = trace(terrain, smoothed(terrain.dem), 100.0, 40.0, "here", RULES, 90.0)
    runoff = np.where(abs(terrain.dem.xy(0, np.arange(200))[0] - 100) < 10, 0.03, 0.0)
    grid = np.broadcast_to(runoff, terrain.dem.shape)
    size = size_swale(terrain, route, along, RULES, grid, Wanted(depth=0.3))
    assert size.end - size.start > 60
    assert 0.36 * (size.end - size.start) == pytest.approx(float(grid[terrain.labels(
        _marks(terrain, route)) > 0].sum()), rel=0.1)


def _marks(terrain, route):
    from terrain.works.swale import line_cells

    marks = np.zeros(terrain.dem.shape, np.int32)
    cells = line_cells(terrain.dem, route.line)
    marks[cells[:, 0], cells[:, 1]] = 1
    return marks


# 51 m of slope and line bring 51 x runoff mm to a metre, and (w + 2 d) d must hold it.
@pytest.mark.parametrize(("runoff", "depth", "width"), [(9.0, 0.3, 1.0), (2.0, 0.3, 0.3),
                                                        (12.0, 0.4, 0.8), (60.0, 0.3, 1.5)])
def test_width_holds_what_runs_down_to_each_metre(hillside, runoff, depth, width):
    """[(1.0 + 0.6) 0.3 = 0.48 over 0.459 and 0.45 under it; (0.8 + 0.8) 0.4 = 0.64 over 0.612]"""
    size = of(hillside, runoff, depth=depth, length=60.0, solve="width")
    assert size.section.width == pytest.approx(width)
    assert size.section.depth == depth


def test_a_depth_given_and_a_width_solved_hold_no_less_than_the_same_width_given(hillside):
    solved = of(hillside, 9.0, depth=0.3, solve="width")
    given = of(hillside, 9.0, depth=0.3, width=solved.section.width)
    assert solved.section == given.section


def test_a_solved_length_leaves_depth_and_width_as_usual(hillside):
    size = of(hillside, 60.0, solve="length")
    assert (size.section.depth, size.section.width) == (0.3, 0.6)


@pytest.mark.parametrize(("shape", "area"), [
    ("vee", lambda d: 2 * d * d), ("parabola", lambda d: 2 / 3 * 8 * d * d),
    ("trapezoid", lambda d: 0.6 * d + 2 * d * d)])
def test_depth_is_the_first_step_that_holds_the_storm(hillside, shape, area):
    """Closed forms; a dish left open is 4 x 2 d wide at its water. 51 m x 4 mm = 0.204 m2."""
    size = of(hillside, 4.0, shape=shape)
    depth = size.section.depth
    assert area(depth) >= 0.204
    assert depth == pytest.approx(0.2) or area(depth - 0.05) < 0.204


@pytest.mark.parametrize(("runoff", "rule"), [(60.0, "the most that is dug (swale deepest"),
                                              (2.0, "the least that is dug (swale shallowest"),
                                              (7.0, "the first step that holds")])
def test_what_decided_the_depth_is_said(hillside, runoff, rule):
    assert rule in of(hillside, runoff).notes[0]


def test_a_length_that_cannot_help_is_said(hillside):
    said = of(hillside, 60.0, depth=0.3).notes[-1]
    assert "the usual one (swale length" in said
    assert "no longer stretch holds all" in said


def test_checks_are_reckoned_with_in_the_size(hillside):
    """They take storage, so that the next deeper step is needed where the first just held it."""
    exact = 0.36 / 51 * 1000 - 1e-6  # what 0.3 m holds without checks
    assert of(hillside, exact).section.depth == pytest.approx(0.3)
    assert of(hillside, exact, checks=10.0).section.depth == pytest.approx(0.35)
