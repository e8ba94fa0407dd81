"""The search beside every choice of small hillsides, and the front's knee beside calculus."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.suggest import front
from terrain.suggest.front import SHARES, Search, knee_of
from terrain.suggest.improve import grown, improved, within

pytestmark = pytest.mark.long

SEEDS = st.integers(0, 2**32 - 1)


def searched(hill, share, hours=1.0):
    """Layouts up to a share of what all candidates cost, and the most by brute force for each."""
    free = sorted(set(range(hill.count)) - hill.model.stands)
    most = share * hill.cost(range(hill.count))
    others = {"hours": hours * hill.cost(range(hill.count), "hours")}
    search = Search(hill.model, free, "money", others)
    layouts = search.front(most)
    for one in layouts:
        chosen = frozenset(search.number[j] for j in one.chosen)
        assert chosen in hill.choices()
        assert hill.cost(chosen) == pytest.approx(one.cost)
        assert one.cost <= one.limit * (1 + 1e-9)
        assert hill.cost(chosen, "hours") <= others["hours"] * (1 + 1e-9)
        assert hill.told(chosen)[1] == pytest.approx(one.aim, rel=1e-9, abs=1e-9)
        best = hill.best({"money": one.limit, **others})
        assert one.bound >= best * (1 - 1e-9)
    return layouts, hill.best({"money": most, **others}), search


@settings(max_examples=40)
@given(SEEDS, st.integers(6, 9), st.integers(1, 3), st.booleans(), st.booleans(),
       st.integers(0, 1), st.floats(0.1, 0.8))
def test_the_best_of_all_choices_is_found(hillside, seed, count, kinds, trees, worths, stands,
                                         share):
    """Outside: every choice tried, each cell's water followed by itself, in the test."""
    hill = hillside(seed, count, kinds, trees=trees, gifts=not trees, worths=worths,
                    stands=stands)
    layouts, best, _ = searched(hill, share, 0.6)
    assert layouts[-1].aim == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert [one.aim for one in layouts] == sorted({one.aim for one in layouts})


@settings(max_examples=25)
@given(SEEDS, st.integers(6, 9), st.integers(1, 3), st.booleans(), st.floats(0.1, 0.8))
def test_so_it_is_by_small_changes_as_among_many_candidates(hillside, seed, count, kinds, trees,
                                                            share):
    """The same as if the candidates were too many to solve the whole programme at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(front, "FEW", 0)
        hill = hillside(seed, count, kinds, trees=trees, gifts=not trees)
        layouts, best, search = searched(hill, share, 0.6)
        assert layouts[-1].aim == pytest.approx(best, rel=1e-6, abs=1e-6)
        assert search.bound_at(layouts[-1].limit) >= best * (1 - 1e-9)


@settings(max_examples=25)
@given(SEEDS, st.integers(6, 9), st.floats(0.1, 0.8))
def test_small_changes_leave_nothing_to_be_gained_by_one(hillside, seed, count, share):
    hill = hillside(seed, count, 2, gifts=True)
    limits = {"money": share * hill.cost(range(count))}
    begin = grown(hill.model, limits, range(count))
    assert within(hill.model, begin, limits)
    assert begin in hill.choices()
    found = improved(hill.model, begin, limits, range(count))
    aim = hill.told(found)[1]
    assert aim >= hill.told(begin)[1] - 1e-9
    for chosen in hill.choices():
        if (len(chosen - found) == 1 and len(found - chosen) == 0
                and hill.cost(chosen) <= limits["money"]):
            assert hill.told(chosen)[1] <= aim * (1 + 1e-6)


def test_the_same_search_twice(hillside):
    hill = hillside(5, 9, 2, gifts=True)
    first, second = (searched(hill, 0.5)[0] for _ in range(2))
    assert first == second


def test_stopped_at_once_there_is_a_layout_for_all_that_may_be_spent(hillside):
    hill = hillside(7, 9, 2, gifts=True)
    most = 0.5 * hill.cost(range(9))
    found = Search(hill.model, range(9), "money", {}, lambda: True).front(most)
    assert found
    assert found[-1].cost <= most
    for one in found:
        assert one.bound >= hill.best({"money": one.limit}) * (1 - 1e-9)


def test_with_nothing_said_most_of_what_could_be_had_is_worth_spending(hillside):
    hill = hillside(11, 9, 2, gifts=True)
    most = Search(hill.model, range(9), "money", {}).most_worth()
    everything = hill.best({})
    nothing = hill.told(())[1]
    assert 0 < most <= hill.cost(range(9))
    assert hill.best({"money": most}) - nothing >= front.ENOUGH * (everything - nothing) * 0.9


def test_shares_of_the_front_rise_to_the_whole():
    assert list(SHARES) == sorted(SHARES)
    assert SHARES[-1] == 1


@pytest.mark.parametrize("power", [1 / 2, 1 / 3, 1 / 4, 2 / 3])
def test_knee_of_a_power_of_cost_is_where_calculus_puts_it(power):
    """Furthest from the chord of y = x^p on [0, 1] where p x^(p - 1) = 1: x = p^(1 / (1 - p));
    for the square root at a quarter."""
    costs = np.linspace(0, 1, 2001)
    at = knee_of(costs.tolist(), (costs**power).tolist())
    assert at is not None
    assert costs[at] == pytest.approx(power ** (1 / (1 - power)), abs=1e-3)


@given(st.floats(0.1, 1e6), st.floats(0.1, 1e6), st.floats(0, 1e3), st.floats(0, 1e3))
def test_knee_is_the_same_in_any_unit(wide, tall, left, low):
    costs = np.linspace(0, 1, 101)
    assert knee_of((left + wide * costs).tolist(), (low + tall * np.sqrt(costs)).tolist()) == 25


@pytest.mark.parametrize("aims", [[0.0, 1, 2, 3], [0.0, 1, 4, 9], [1.0, 1, 1, 1], [3.0, 2, 1, 0]])
def test_no_knee_on_a_straight_or_convex_front(aims):
    assert knee_of([0.0, 1, 2, 3], aims) is None


def test_no_knee_of_two_points():
    assert knee_of([0.0, 1.0], [0.0, 1.0]) is None
