"""Run-on loss: hand-made slopes, limits, and the balance of every drop."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.runoff.curve_number import AS_PUBLISHED, RunoffRule, runoff_depth
from terrain.runoff.loss_on_the_way import WITHIN, Delivery, RunOn

EAST, LEAVES = 0, 8


def strip(numbers, owner=None, inside=None, rain=(30.0, 60.0), rule=AS_PUBLISHED):
    """Loss along a row of cells of 4 m2 that drain east and off."""
    count = len(numbers)
    direction = np.full((1, count), EAST, np.uint8)
    direction[0, -1] = LEAVES
    owners = np.zeros((1, count), np.int32) if owner is None else np.array([owner], np.int32)
    within = np.ones((1, count), bool) if inside is None else np.array([inside], bool)
    run_on = RunOn(direction, np.array([numbers], float), owners, int(owners.max()) + 1, within,
                   4.0, rule)
    found = [run_on.lost(depth) for depth in rain]
    return np.array([lost for lost, _ in found]), np.array([beyond for _, beyond in found])


def test_a_road_above_open_ground_by_hand():
    """30 mm on a cell of CN 98 that drains onto one of CN 70: TR-55 (1986), eq. 2-3 gives 24.7 mm
    from the first, so the second answers to 54.7 mm as to one storm."""
    lost, _ = strip([98.0, 70.0])
    upper = float(runoff_depth(30.0, 98.0))
    out = float(runoff_depth(30.0 + upper, 70.0))
    own = float(runoff_depth(30.0, 70.0))
    assert lost[0, 0] == pytest.approx(4 / 1000 * (upper + own - out), rel=1e-12)
    assert lost[0, 0] > 0


def test_nothing_is_lost_where_nothing_can_soak_in_or_nothing_runs():
    assert strip([70.0, 100.0, 100.0])[0] == pytest.approx(0.0, abs=1e-15)
    assert strip([70.0, 70.0, 70.0], rain=(1.0,))[0] == pytest.approx(0.0, abs=1e-15)


def test_ground_without_a_number_passes_water_on_untouched():
    with_gap, without = strip([95.0, np.nan, 60.0])[0], strip([95.0, 60.0])[0]
    assert with_gap == pytest.approx(without, rel=1e-12)


def test_what_is_made_beyond_the_boundary_is_lost_in_proportion():
    """The first cell lies beyond and sheds all; what it adds to the second is half of that one's
    water when both shed as much, and loses its own half."""
    lost, beyond = strip([90.0, 90.0, 60.0], inside=[False, True, True], rain=(50.0,))
    assert 0 < beyond[0, 0] < lost[0, 0]
    all_beyond, share = strip([90.0, 90.0, 60.0], inside=[False] * 3, rain=(50.0,))
    assert share == pytest.approx(all_beyond, rel=1e-12)
    assert strip([90.0, 90.0, 60.0], rain=(50.0,))[1] == pytest.approx(0.0, abs=1e-15)


def test_water_is_not_followed_into_stores():
    """A store in the middle: only the cells above it lose for it, only those below for the rest."""
    lost, _ = strip([95.0, 60.0, 60.0, 95.0, 60.0], owner=[0, 0, -1, 1, 1], rain=(40.0,))
    above = strip([95.0, 60.0], rain=(40.0,))[0][0, 0]
    assert lost[0] == pytest.approx([above, above], rel=1e-12)


grids = st.integers(0, 2**32 - 1)


@settings(max_examples=40, deadline=None)
@given(grids, st.floats(0, 200), st.sampled_from([AS_PUBLISHED, RunoffRule("I", 0.05)]))
def test_every_drop_is_accounted_for(seed, rain, rule):
    """On a random tree of ways: runoff made less what is lost is what a plain walk brings to the
    outlet, and no more is lost than was made."""
    rng = np.random.default_rng(seed)
    rows, columns = 7, 9
    direction = rng.integers(1, 4, (rows, columns)).astype(np.uint8)  # south-east to south-west
    direction[:, 0][direction[:, 0] == 3] = 2
    direction[:, -1][direction[:, -1] == 1] = 2
    direction[-1] = LEAVES
    numbers = rng.uniform(45, 100, (rows, columns))
    inside = rng.random((rows, columns)) < 0.6
    run_on = RunOn(direction, numbers, np.zeros((rows, columns), np.int32), 1, inside, 1000.0, rule)
    lost, beyond = (part[None, :] for part in run_on.lost(rain))
    came = np.zeros((rows, columns))
    outlet = 0.0
    for row in range(rows):
        for column in range(columns):
            retention = float(rule.retention(numbers[row, column]))
            excess = max(rain + came[row, column] - rule.abstraction_ratio * retention, 0.0)
            out = excess**2 / (excess + retention) if excess else 0.0
            if row == rows - 1:
                outlet += out
            else:
                step = {1: 1, 2: 0, 3: -1}[int(direction[row, column])]
                came[row + 1, column + step] += out
    made = float(rule.runoff(rain, numbers).sum())
    assert made - lost[0, 0] == pytest.approx(outlet, rel=1e-9, abs=1e-9)
    assert -1e-9 <= beyond[0, 0] <= lost[0, 0] + 1e-9
    assert lost[0, 0] <= made + 1e-9


def test_delivery_is_straight_between_its_depths():
    delivery = Delivery(np.array([0.0, 10.0, 20.0]), np.array([0.0, 4.0, 12.0]),
                        np.array([0.0, 1.0, 3.0]))
    assert delivery.arriving(np.array([5.0, 15.0])) == pytest.approx([2.0, 8.0])
    assert delivery.run_on(np.array([5.0, 15.0])) == pytest.approx([0.5, 2.0])
    # Beyond its end nothing more is lost.
    assert delivery.arriving(np.array([26.0])) == pytest.approx([18.0])
    assert delivery.run_on(np.array([26.0])) == pytest.approx([4.5])
    half = delivery.times(0.5)
    assert half.arriving(np.array([5.0])) == pytest.approx([2.0])


@given(st.floats(0.5, 1500), st.sampled_from([(98.0, 55.0), (89.0, 70.0), (60.0, 95.0, 45.0)]))
def test_the_table_of_what_arrives_is_as_fine_as_it_says(rain, numbers):
    """Against the loss itself at any depth: within a hundredth of the runoff made, and a half."""
    direction = np.full((1, len(numbers)), EAST, np.uint8)
    direction[0, -1] = LEAVES
    grid = np.array([numbers])
    run_on = RunOn(direction, grid, np.zeros(grid.shape, np.int32), 1, np.ones(grid.shape, bool),
                   4.0, AS_PUBLISHED)

    def made(depth):
        return np.array([float(runoff_depth(depth, grid).sum()) * 4 / 1000])

    table = run_on.deliveries(made, lambda depth: np.zeros(1))[0]
    whole = made(rain)
    arrives = whole - run_on.lost(rain)[0]
    assert np.abs(table.arriving(whole) - arrives) <= 1.5 * WITHIN * whole + 1e-12
    assert (np.diff(table.made) >= 0).all()
    assert (np.diff(table.arrives) >= 0).all()
