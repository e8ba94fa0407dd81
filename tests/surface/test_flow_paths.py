"""Paths downslope."""

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface.accumulation import longest_upslope_path
from terrain.surface.depressions import drain
from terrain.surface.flow_paths import longest_path_to, trace_downslope
from terrain.surface.terrain import Terrain


@given(hnp.arrays(np.float32, (9, 11), elements=st.integers(0, 4).map(float)))
def test_every_path_goes_cell_by_cell_down_to_where_water_leaves(heights):
    drainage = drain(heights)
    filled, direction = drainage.filled(heights), drainage.direction
    for row, column in np.ndindex(9, 11):
        path = trace_downslope(direction, row, column)
        assert tuple(path[0]) == (row, column)
        assert direction[tuple(path[-1])] == 8
        assert len({tuple(cell) for cell in path.tolist()}) == len(path)  # no cell twice
        assert (np.abs(np.diff(path, axis=0)).max(axis=1, initial=0) == 1).all()
        assert (np.diff(filled[path[:, 0], path[:, 1]]) <= 0).all()


def test_a_path_on_a_plane_is_straight_and_stops_at_the_first_mark():
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y, 20, 30, 1.0))
    path = terrain.path(4, 7)
    assert path.tolist() == [[row, 7] for row in range(4, 30)]
    stop = np.zeros(terrain.dem.shape, bool)
    stop[4, 7] = stop[15, 7] = True  # the start itself never stops it
    assert terrain.path(4, 7, stop).tolist() == [[row, 7] for row in range(4, 16)]


def test_a_path_longer_than_the_room_first_made_for_it_is_whole():
    direction = np.zeros((1, 5000), np.uint8)
    direction[0, -1] = 8
    assert len(trace_downslope(direction, 0, 0)) == 5000


@given(hnp.arrays(np.float32, (9, 11), elements=st.integers(0, 4).map(float)))
def test_the_longest_way_is_as_long_as_told_and_starts_at_a_divide(heights):
    direction = drain(heights).direction
    length = longest_upslope_path(direction, 2.0)
    for row, column in np.ndindex(9, 11):
        path = longest_path_to(direction, length, 2.0, row, column)
        assert tuple(path[-1]) == (row, column)
        assert length[tuple(path[0])] == 0
        steps = np.hypot(*np.diff(path, axis=0).T) * 2.0
        assert steps.sum() == pytest.approx(length[row, column], abs=1e-9)
        down = trace_downslope(direction, *(int(i) for i in path[0]))
        assert down[:len(path)].tolist() == path.tolist()


def test_a_longest_way_longer_than_the_room_first_made_for_it_is_whole():
    direction = np.zeros((1, 5000), np.uint8)
    direction[0, -1] = 8
    length = longest_upslope_path(direction, 1.0)
    assert len(longest_path_to(direction, length, 1.0, 0, 4999)) == 5000
