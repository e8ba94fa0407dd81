"""Bounds of the programme, beside every choice of small hillsides tried one by one.

Outside of the project: brute force in the test, with the water of every cell followed by itself
(`conftest.py`), and a linear programme small enough to be solved by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.suggest.bounds import Bounds
from terrain.suggest.model import Model
from terrain.suggest.network import OUT, Network
from terrain.suggest.programme import Programme, most_through

SEEDS = st.integers(0, 2**32 - 1)
#: What the solver's rows and whole numbers may be off by, and no more: 1e-6 of it, as HiGHS keeps
#: to by default (its documentation, options: mip_feasibility_tolerance).
OFF = 1e-5


def over(bound: float, best: float) -> bool:
    return bound >= best * (1 - 1e-9) - 1e-9


@settings(max_examples=60)
@given(SEEDS, st.integers(5, 8), st.integers(1, 3), st.booleans(), st.booleans(),
       st.integers(0, 2), st.floats(0.1, 0.9))
def test_the_whole_programme_finds_the_best_and_bounds_it(hillside, seed, count, kinds, trees,
                                                          worths, stands, share):
    hill = hillside(seed, count, kinds, trees=trees, gifts=not trees, worths=worths,
                    stands=stands)
    limits = {"money": share * hill.cost(range(count)) / 2}
    best = hill.best(limits)
    found = Programme(hill.model, limits, True).solved(20)
    assert over(found.bound, best)
    assert found.chosen is not None
    assert found.chosen - hill.model.stands in hill.choices()
    assert hill.cost(found.chosen) <= limits["money"] * (1 + OFF)
    reached = hill.told(found.chosen)[1]
    # Only where all water is worth the same does none gain by passing it on before it is full; and
    # a choice may be of spills in a circle.
    if not trees and not worths and np.isfinite(reached):
        assert reached == pytest.approx(best, rel=OFF, abs=OFF)
        assert found.bound == pytest.approx(best, rel=OFF, abs=OFF)


@settings(max_examples=60)
@given(SEEDS, st.integers(5, 8), st.integers(1, 3), st.booleans(), st.integers(0, 2),
       st.floats(0.1, 0.9))
def test_works_in_part_bound_all_choices(hillside, seed, count, kinds, trees, stands, share):
    hill = hillside(seed, count, kinds, trees=trees, gifts=not trees, worths=True,
                    stands=stands)
    limits = {"money": share * hill.cost(range(count)) / 2,
              "hours": hill.cost(range(count), "hours") * 0.4}
    best = hill.best(limits)
    plain = Programme(hill.model, limits, False).in_part()
    eased = Programme(hill.model.eased(), limits, False).in_part()
    assert over(plain.best, best)
    assert over(eased.best, best)
    assert over(Programme(hill.model.eased(), limits, False).solved(20).bound, best)
    for j in range(count):
        with_it = [hill.told(chosen)[1] for chosen in hill.choices() if j in chosen and all(
            hill.cost(chosen, name) <= most for name, most in limits.items())]
        for found in (plain, eased):
            assert all(over(found.best - found.loss[j], aim) for aim in with_it)


@settings(max_examples=40)
@given(SEEDS, st.integers(5, 8), st.booleans(), st.integers(0, 1))
def test_bounds_hold_at_every_limit(hillside, seed, count, trees, stands):
    """Solved at three limits, and asked at others between, under and over them."""
    hill = hillside(seed, count, 2, trees=trees, gifts=not trees, worths=True, stands=stands)
    whole = hill.cost(range(count))
    others = {"hours": hill.cost(range(count), "hours") * 0.8}
    bounds = Bounds(hill.model, "money", others)
    for _ in range(2):  # with nothing known yet, and with all
        for share in (0.02, 0.1, 0.2, 0.33, 0.5, 0.7, 1.1):
            limit = share * whole
            best = hill.best({"money": limit, **others})
            assert over(bounds.at(limit), best)
        bounds.begin([share * whole for share in (0.5, 0.15, 0.3)])
        assert bounds.wait(60)
    at = [bounds.at(share * whole) for share in (0.1, 0.2, 0.4, 0.6)]
    assert at == sorted(at)  # more may be spent, no less may be reached
    assert all(bounds.price(share * whole) >= 0 for share in (0.1, 0.5))


def one_below_another(room: float) -> Model:
    """10 m3 come to the upper place and 6 more to the lower; each costs 4 and has room."""
    network = Network(((1,), (0,)), np.array([[6.0], [10.0]]), np.array([OUT, 0]),
                      np.array([0, OUT]))
    return Model(network, np.full((2, 1), room), np.array([1.0]), np.ones(2), np.zeros(2),
                 {"money": np.array([4.0, 4.0])}, ())


def test_by_hand():
    """Each place alone keeps 9 of 10 or 9 of 16 m3; with 6 to spend one whole place and half of
    the other keep 9 + 4.5 m3; what comes to the lower one is then no limit.  One more of money
    brings 9 / 4 m3."""
    model = one_below_another(9.0)
    found = Programme(model, {"money": 6.0}, False).in_part()
    assert found.best == pytest.approx(13.5, rel=1e-5)
    assert found.more == pytest.approx([9 / 4])
    assert Programme(model, {"money": 6.0}, True).solved(20).bound == pytest.approx(9, rel=1e-5)
    both = Programme(model, {"money": 8.0}, True).solved(20)
    assert both.chosen == {0, 1}
    assert both.bound == pytest.approx(16, rel=1e-5)  # 9 above, and 6 + 1 below


def test_what_stands_is_over_the_limits():
    model = replace(one_below_another(9.0), stands=frozenset({0, 1}))
    assert Programme(model, {"money": 7.0}, False).in_part().best == -np.inf


def test_built_whole_or_not_at_all_by_hand():
    """With 6 to spend and the upper place barred, the lower one keeps 9 of 16 m3; with both built
    they cost 8."""
    programme = Programme(one_below_another(9.0), {"money": 6.0}, False)
    assert programme.in_part({1: False}).best == pytest.approx(9, rel=1e-5)
    assert programme.in_part({0: True, 1: True}).best == -np.inf


@settings(max_examples=40)
@given(SEEDS, st.integers(5, 8), st.integers(1, 2))
def test_no_more_comes_to_a_candidate_than_the_most(hillside, seed, count, kinds):
    """What comes to each built one of every choice, walked in the test, beside what may come to
    all nodes that it stands at."""
    hill = hillside(seed, count, kinds)
    most, network = most_through(hill.model), hill.model.network
    for chosen in hill.choices():
        kept, _ = hill.told(chosen)
        for j, water in (kept or {}).items():
            nodes = [v for v, there in enumerate(network.crossing) if j in there]
            assert (water <= most[nodes].sum(0) * (1 + 1e-9) + 1e-12).all()
