"""The ways of the water past candidates, beside the water of every cell followed by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.network import OUT, crossings, lowest, network_of, restricted
from terrain.surface.neighbours import LEAVES

SEEDS = st.integers(0, 2**32 - 1)


def place(name: str, cells, spill) -> Candidate:
    return Candidate(name, "swale", (), np.array(cells), spill, None, 1.0, 1.0, 1.0,
                     Cost(1.0, 1.0, 1.0))


def straight_down(rows: int, columns: int) -> np.ndarray:
    """Directions of a plane that falls to the south."""
    direction = np.full((rows, columns), 2, np.uint8)
    direction[-1] = LEAVES
    return direction


def test_three_one_below_the_other():
    """By hand: columns of a plane, 1 m3 a cell; the lower line is longer than the upper."""
    upper = place("upper", [(2, 1), (2, 2)], (3, 1))
    lower = place("lower", [(5, 0), (5, 1), (5, 2)], (6, 1))
    found = network_of(crossings([upper, lower], straight_down(8, 4), [np.ones((8, 4))]))
    assert sorted(found.crossing) == [(0,), (1,)]
    on = {crossing: node for node, crossing in enumerate(found.crossing)}
    assert found.next[on[(0,)]] == on[(1,)]
    assert found.next[on[(1,)]] == OUT
    assert found.own[on[(0,)], 0] == 6  # rows 0 to 2 of two columns
    assert found.own[on[(1,)], 0] == 12  # rows 3 to 5 of these, 0 to 5 of the other
    assert found.spill.tolist() == [on[(1,)], OUT]


def test_water_that_runs_past_all_is_in_no_node():
    found = network_of(crossings([place("a", [(1, 0)], (2, 0))], straight_down(4, 3),
                                 [np.ones((4, 3))]))
    assert found.own.sum() == 2


def test_spill_that_comes_by_its_own_cells_again_runs_on_below_them():
    """By hand: from the sill at row 2 the water passes another place, then a cell of the first
    place itself, which is full, then the third place.  So it does with the other built or not."""
    bent = place("bent", [(1, 0), (4, 0), (1, 1)], (2, 0))
    between = place("between", [(3, 0)], (3, 0))
    last = place("last", [(6, 0)], (7, 0))
    direction = straight_down(8, 2)
    found = network_of(crossings([bent, between, last], direction, [np.ones((8, 2))]))
    node = int(found.spill[0])
    passed = []
    while node != OUT:
        passed.append(found.crossing[node])
        node = int(found.next[node])
    assert passed == [(1,), (2,)]


@settings(max_examples=60)
@given(SEEDS, st.integers(6, 9), st.integers(1, 3))
def test_every_choice_keeps_what_following_each_cell_says(hillside, seed, count, kinds):
    """Outside: the water of each cell walked down D8 to the first that is built, in the test."""
    hill = hillside(seed, count, kinds, gifts=True, worths=True)
    for chosen in hill.choices():
        kept, aim = hill.told(chosen)
        found = hill.model.outcome(chosen)
        if kept is None:
            assert found.aim == -np.inf
            continue
        assert found.aim == pytest.approx(aim, rel=1e-9, abs=1e-9)
        assert list(found.built) == sorted(kept)
        for place_kept, j in zip(found.kept, found.built, strict=True):
            assert place_kept == pytest.approx(kept[j], rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(SEEDS, st.integers(6, 9), st.integers(0, 2**9 - 1))
def test_a_part_of_the_network_does_as_the_whole(hillside, seed, count, mask):
    hill = hillside(seed, count, 2, stands=1)
    model = hill.model
    subset = sorted({j for j in range(count) if mask >> j & 1} | model.stands)
    part = model.part(subset)
    for chosen in hill.choices():
        if chosen <= set(subset):
            numbers = [subset.index(j) for j in chosen]
            assert part.aim(numbers) == pytest.approx(hill.told(chosen)[1], rel=1e-9, abs=1e-9)
    assert len(restricted(model.network, subset).crossing) <= len(model.network.crossing)


@settings(max_examples=40)
@given(SEEDS, st.integers(6, 9))
def test_no_water_is_lost_where_nodes_are_drawn_together(hillside, seed, count):
    """Outside: all runoff of cells whose way meets a candidate, walked in the test."""
    hill = hillside(seed, count, 2)
    meets = sum(water for way, water in hill.ways.items() if way)
    network = hill.model.network
    assert network.own.sum(0) == pytest.approx(meets, rel=1e-12)
    assert lowest(network).own.sum(0) == pytest.approx(meets, rel=1e-12)
    assert restricted(network, range(count)).own.sum(0) == pytest.approx(meets, rel=1e-12)


@settings(max_examples=40)
@given(SEEDS, st.integers(6, 9))
def test_nodes_lead_to_lower_numbers_and_lowest_keeps_who_can_take_a_ways_water(
        hillside, seed, count):
    network = hillside(seed, count, 1).model.network
    for one in (network, lowest(network)):
        assert all(to < node for node, to in enumerate(one.next.tolist()))

    def taken_by(one, node):
        found = set()
        while node != OUT:
            found |= set(one.crossing[node])
            node = int(one.next[node])
        return found

    def by_who(one):
        found: dict[frozenset[int], float] = {}
        for node in range(len(one.crossing)):
            who = frozenset(taken_by(one, node))
            found[who] = found.get(who, 0.0) + float(one.own[node, 0])
        return {who: pytest.approx(water) for who, water in found.items() if water > 0}

    assert by_who(lowest(network)) == by_who(replace(network))
    for j in range(count):
        assert taken_by(lowest(network), int(lowest(network).spill[j])) - {j} == (
            taken_by(network, int(network.spill[j])) - {j})
