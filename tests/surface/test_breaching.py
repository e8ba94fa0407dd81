"""Breaching: bounds kept to the letter, and the least digging found."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface.breaching import breach_hollows
from terrain.surface.depressions import drain, fill_hollows, list_hollows
from terrain.surface.flow_direction import steepest_descent
from terrain.surface.neighbours import PIT

GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=12),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


def behind_a_bank(bank=0.4, thick=3):
    """A slope that falls east with a bank across it: a hollow 1 m deep at most behind it."""
    heights = np.tile(10 - 0.1 * np.arange(24.0), (9, 1))
    heights[:, 12:12 + thick] = heights[0, 11] + bank
    heights[0], heights[-1] = 20, 20
    return heights.astype(np.float32)


def held(heights):
    return sum(hollow.volume for hollow in list_hollows(heights, drain(heights), 1.0))


@pytest.mark.parametrize(("depth", "length", "opens"), [
    (0.39, 10, False), (0.41, 10, True), (0.41, 2.9, False), (0.41, 3.1, True), (0, 10, False),
    (1, 0, False)])
def test_a_bank_is_cut_only_within_the_stated_depth_and_length(depth, length, opens):
    """The bank stands 0.4 m above the lowest ground behind it and is 3 cells thick."""
    heights = behind_a_bank()
    opened, done = breach_hollows(heights, 1.0, depth, length)
    assert held(heights) > 1
    assert (held(opened) == 0) is opens
    assert done.hollows == opens
    assert done.cells == (opened < heights).sum() == (3 if opens else 0)
    assert done.deepest == pytest.approx(0.4 if opens else 0, abs=1e-6)
    assert done.volume == pytest.approx(3 * 0.4 if opens else 0, abs=1e-5)


def test_lengths_are_metres_not_cells():
    opened, _ = breach_hollows(behind_a_bank(), 0.5, 0.5, 1.6)
    assert held(opened) == 0
    unopened, _ = breach_hollows(behind_a_bank(), 2.0, 0.5, 5.9)
    assert held(unopened) > 0


@given(GROUND, st.floats(0.1, 5), st.integers(1, 8), st.booleans())
def test_bounds_hold_and_water_stands_nowhere_higher(heights, depth, length, hole):
    if hole:
        heights[heights.shape[0] // 2, 1] = np.nan
    before = heights.copy()
    opened, done = breach_hollows(heights, 1.0, depth, length)
    assert np.array_equal(heights, before, equal_nan=True)  # the caller's heights stay
    assert np.array_equal(np.isnan(opened), np.isnan(heights))
    known = np.isfinite(heights)
    cut = heights[known].astype(float) - opened[known]
    assert (cut >= 0).all()
    assert cut.max(initial=0) <= depth
    assert done.cells == (cut > 0).sum()
    # Nowhere does water stand higher than before, and each bowl cut open stands lower.
    assert (fill_hollows(opened)[known] <= fill_hollows(heights)[known]).all()
    pits = steepest_descent(heights) == PIT
    assert done.hollows <= (fill_hollows(opened) < fill_hollows(heights))[pits].sum()


def test_a_pass_under_water_is_not_dug():
    """Two bowls under one water that no channel within the bounds drains: nothing is cut."""
    heights = np.zeros((7, 8), np.float32)
    heights[2:, 4:7] = 1.0
    heights[3:6, 5] = 0.0, 0.5, -1.0
    heights[6] = np.where(np.arange(8) == 7, 0.0, heights[6])
    opened, done = breach_hollows(heights, 1.0, 0.9, 2.0)
    assert np.array_equal(opened, heights)
    assert (done.hollows, done.cells) == (0, 0)
    # Once the lower of the two is drained, the other is led to it.
    opened, done = breach_hollows(heights, 1.0, 2.0, 2.0)
    assert done.hollows == 2
    assert np.array_equal(fill_hollows(opened), opened)


@given(GROUND)
def test_without_bounds_every_hollow_is_opened(heights):
    opened, _ = breach_hollows(heights, 1.0, 1e5, 100)
    assert np.array_equal(fill_hollows(opened), opened)


@given(st.integers(0, 2**32 - 1))
def test_the_channel_is_the_one_with_the_least_digging(seed):
    """One pit in rough ground: against scipy's shortest path over cost = depth x length."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    random = np.random.default_rng(seed)
    heights = (5 + random.uniform(0, 3, (13, 13))).astype(np.float32)
    heights[6, 6] = 1.0
    heights[0, random.integers(1, 12)] = 0.5  # the one lower place
    inner = heights.copy()
    inner[1:-1, 1:-1] = np.maximum(fill_hollows(heights)[1:-1, 1:-1], heights[1:-1, 1:-1])
    inner[6, 6] = 1.0  # no hollow but this one
    opened, done = breach_hollows(inner, 1.0, 100.0, 100.0)
    start, end, cost = [], [], []
    depth = np.maximum(inner.astype(float) - 1.0, 0)
    for row, column in np.ndindex(13, 13):
        for r, c in np.ndindex(3, 3):
            to = row + r - 1, column + c - 1
            if (r, c) != (1, 1) and 0 <= to[0] < 13 and 0 <= to[1] < 13:
                along = np.hypot(r - 1, c - 1)
                start.append(row * 13 + column)
                end.append(to[0] * 13 + to[1])
                cost.append(depth[to] * along + 1e-6 * along)
    graph = coo_array((cost, (start, end)), shape=(169, 169)).tocsr()
    # Ways out: any border cell, the lower place among them.
    out = np.ones((13, 13), bool)
    out[1:-1, 1:-1] = False
    least = dijkstra(graph, indices=6 * 13 + 6)[out.ravel()].min()
    # The same over none but the cells of the channel, at what they cost before it was dug.
    channel = (opened <= 1.0).ravel()
    within = graph[channel][:, channel]
    dug = dijkstra(within, indices=int(channel[:6 * 13 + 6].sum()))[out.ravel()[channel]].min()
    assert done.hollows == 1
    assert dug == pytest.approx(least, abs=1e-4)


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("mirror", [1, -1])
def test_a_wide_flat_floor_is_opened_on_whichever_side_the_bank_is_low(turn, mirror):
    """The floor is 30 by 50 cells; the bank, of two cells, is low in one place."""
    heights = np.full((40, 60), 5.0, np.float32)
    heights[5:35, 5:55] = 1.0
    heights[20, :5] = 0.5
    heights[20, 3:5] = 1.3
    turned = np.ascontiguousarray(np.rot90(heights[:, ::mirror], turn))
    opened, done = breach_hollows(turned, 1.0, 0.5, 10.0)
    assert (done.hollows, done.cells) == (1, 2)
    assert np.array_equal(opened, np.where(np.isclose(turned, 1.3), np.float32(1.0), turned))


@given(st.integers(0, 2**32 - 1), st.integers(1, 3))
def test_turned_ground_is_opened_the_same(seed, turn):
    heights = np.random.default_rng(seed).normal(size=(12, 15)).astype(np.float32)
    opened, done = breach_hollows(heights, 1.0, 0.8, 3.0)
    turned, again = breach_hollows(np.ascontiguousarray(np.rot90(heights, turn)), 1.0, 0.8, 3.0)
    assert np.array_equal(turned, np.rot90(opened, turn))
    assert (done.hollows, done.cells) == (again.hollows, again.cells)


def test_a_channel_longer_than_the_raster_is_no_burden():
    opened, _ = breach_hollows(behind_a_bank(), 1.0, 5.0, 1e7)
    assert held(opened) == 0


def test_negative_bounds_are_refused():
    with pytest.raises(ValueError, match="below 0"):
        breach_hollows(behind_a_bank(), 1.0, -1.0, 5.0)
