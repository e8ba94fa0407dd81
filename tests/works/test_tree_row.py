"""Rows of trees along lines and below swales."""

import math

import numpy as np
import pytest
from planes import plane

from terrain.works.rules import Rulebook
from terrain.works.swale import SwaleLine
from terrain.works.tree_row import along_line, below_swale, nearest_gap, stations, toe_of_berm


def test_stations_by_spacing_and_by_count():
    assert stations(10, 4, None).tolist() == [0, 4, 8]
    assert stations(12, 4, None).tolist() == [0, 4, 8, 12]
    assert stations(12, None, 4).tolist() == [0, 4, 8, 12]
    assert stations(12, None, 1).tolist() == [6]


@pytest.mark.parametrize("given_", [(10, None, None), (10, 3, 2), (10, 11, None)])
def test_rows_that_cannot_be(given_):
    with pytest.raises(ValueError, match="row"):
        stations(*given_)


def test_along_a_bent_line():
    found = along_line([(0, 0), (6, 0), (6, 6)], 4, None)
    assert found.tolist() == [[0, 0], [4, 0], [6, 2], [6, 6]]
    assert nearest_gap(found) == pytest.approx(math.hypot(2, 2))
    assert nearest_gap(found[:1]) == math.inf


def route(slope: float, *points: tuple[float, float]) -> SwaleLine:
    return SwaleLine(np.array(points, float), 100.0, 0.0, slope, slope)


def test_toe_of_a_berm_on_level_ground_is_top_and_two_sides():
    """(0.075 + 0.15) x 1.1 high, 0.6 m on top, sides 2:1."""
    assert toe_of_berm(route(0.0, (0, 0), (9, 0)), 2.0, Rulebook()) == pytest.approx(
        0.6 + 4 * 0.225 * 1.1)


def test_a_crest_that_the_owner_fixes_moves_the_toe():
    """0.8 m above the sill at 100 m, built a tenth higher."""
    assert toe_of_berm(route(0.0, (0, 0), (9, 0)), 2.0, Rulebook(), 100.8) == pytest.approx(
        0.6 + 4 * 0.8 * 1.1)


@pytest.mark.parametrize("points", [((10, 30), (40, 30)), ((40, 30), (10, 30))])
def test_a_row_stands_downhill_of_its_swale_in_the_order_of_its_stations(points):
    places = below_swale(plane(0.05, 180), route(0.05, *points), 5.0, 25.0, 5.0, None, 3.0)
    east = 1 if points[0][0] < points[1][0] else -1
    assert places[:, 1] == pytest.approx(27.0)
    assert places[:, 0] == pytest.approx(points[0][0] + east * np.arange(5.0, 26.0, 5.0))
