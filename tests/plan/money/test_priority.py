"""The next-best order, and the record lived through by part of the works."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import NO_GROUND, NO_ROOF, cascade_of, cascades, ground_of, store_of

from terrain.plan.money.left_out import downhill_ways, partly_of, without_store
from terrain.plan.money.priority import next_best
from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import channel_curve, tank_curve


def record_of(depths):
    return pd.Series(depths, pd.date_range("2001-01-01", periods=len(depths)), dtype=float)


RECORD = record_of(np.tile([0, 30, 0, 0, 12, 80, 0, 0, 0, 5], 12))


def kept_by_hand(cascade, built, ways, numbers):
    """The same by the whole daily run, the works left out put in the cascade as nothing."""
    nodes = [node if i in built else replace(without_store(node, numbers[i]), spills_to=ways[i])
             for i, node in enumerate(cascade.nodes)]
    order = []
    while len(order) < len(nodes):
        order += [i for i in range(len(nodes)) if i not in order and all(
            j in order for j, node in enumerate(nodes) if i in (*node.takers, *node.grey_to))]
    run = run_seasons(replace(cascade, nodes=nodes, order=order), RECORD)
    return sum(run.mean(run.stores[i].captured) for i in built)


@settings(max_examples=25)
@given(cascades(), st.data())
def test_part_of_the_works_keeps_what_a_run_without_the_others_keeps(cascade, data):
    """Against `run_seasons` with the left-out stores holding nothing."""
    count = len(cascade.nodes)
    ways = downhill_ways(cascade, [data.draw(st.none() | st.integers(0, count - 1))
                                   for _ in range(count)])
    numbers = [80.0] * count
    some = partly_of(cascade, RECORD, run_seasons(cascade, RECORD), ways, numbers)
    for _ in range(3):
        built = data.draw(st.frozensets(st.integers(0, count - 1)))
        assert some.kept(built) == pytest.approx(kept_by_hand(cascade, built, ways, numbers),
                                                 rel=1e-9, abs=1e-6)


def test_what_comes_to_a_work_that_does_not_stand_runs_on():
    """By hand: 10,000 m2 of pavement above a small basin above a large one; without the small one
    all comes to the large one, which alone keeps as much as it holds or as comes."""
    small = store_of("basin", channel_curve(10.0, 0.5, 1.0, 0.0, 20.0))
    large = store_of("basin", channel_curve(10.0, 1.0, 10.0, 0.0, 500.0))
    cascade = cascade_of([(small, ground_of([100.0], [10_000.0]), NO_ROOF, 1),
                          (large, NO_GROUND, NO_ROOF, None)])
    record = record_of([20.0, 0.0])
    some = partly_of(cascade, record, run_seasons(cascade, record), [1, None], [100.0, 100.0])
    part = 1 / 2 * 365.25  # two days stand for the year
    assert some.kept([1]) == pytest.approx(200.0 * part)
    assert some.kept([0]) == pytest.approx(10.0 * part)
    assert some.kept([0, 1]) == pytest.approx(200.0 * part)
    assert some.kept([]) == 0


def test_a_tank_that_does_not_stand_sheds_its_roof_onto_the_ground():
    """100 m2 of roof in 20 mm: 1.8 m3 at 90 % into the tank; without it 2 m3 off paving of curve
    number 100 to the swale below."""
    tank = store_of("tank", tank_curve(5.0))
    swale = store_of("swale", channel_curve(10.0, 1.0, 10.0, 0.0, 50.0))
    cascade = cascade_of([(tank, NO_GROUND, RoofCatchment(100.0, 90.0), None),
                          (swale, NO_GROUND, NO_ROOF, None)])
    record = record_of([20.0, 0.0])
    some = partly_of(cascade, record, run_seasons(cascade, record), [1, None], [100.0, 100.0])
    assert some.kept([0]) == some.kept([0, 1]) == pytest.approx(1.8 * 365.25 / 2)
    assert some.kept([1]) == pytest.approx(2.0 * 365.25 / 2)


def test_ways_that_would_run_round_are_the_owners():
    """A pump lifts the lower store's spill to the upper, whose water runs down to the lower."""
    lower = store_of("basin", channel_curve(10.0, 1.0, 1.0, 0.0, 10.0))
    upper = store_of("basin", channel_curve(20.0, 1.0, 1.0, 0.0, 10.0))
    cascade = cascade_of([(lower, NO_GROUND, NO_ROOF, 1), (upper, NO_GROUND, NO_ROOF, None)])
    assert downhill_ways(cascade, [None, 0]) == [None, None]
    assert downhill_ways(cascade, [0, None]) == [1, None]


def site_of(*sizes):
    """Swales one below the other, the uppermost with all the ground."""
    parts = [(store_of("swale", channel_curve(10.0, 0.5, 1.0, 0.0, size), infiltration=20.0),
              ground_of([85.0], [8000.0 if not i else 500.0]), NO_ROOF,
              i + 1 if i + 1 < len(sizes) else None) for i, size in enumerate(sizes)]
    cascade = cascade_of(parts)
    ways = [node.spills_to for node in cascade.nodes]
    return cascade, ways


@pytest.mark.parametrize(("sizes", "costs"), [
    ((20.0, 60.0, 120.0), (300.0, 1500.0, 1200.0)),
    ((100.0, 30.0, 10.0), (5000.0, 300.0, 900.0)),
    ((10.0, 200.0), (100.0, 6000.0))])
def test_the_order_by_greed_is_that_of_trying_every_order(sizes, costs):
    """Every order is tried by the whole daily run: the greedy one has at each step the most extra
    water for money, so of all orders its list of such figures is the greatest, first step
    first."""
    cascade, ways = site_of(*sizes)
    numbers = [85.0] * len(sizes)
    kept = {}

    def keeps(built):
        if built not in kept:
            kept[built] = kept_by_hand(cascade, built, ways, numbers)
        return kept[built]

    def worths(order):
        return [(keeps(frozenset(order[:n + 1])) - keeps(frozenset(order[:n]))) / costs[i]
                for n, i in enumerate(order)]

    ranked = sorted(permutations(range(len(sizes))), key=worths, reverse=True)
    first = sorted({worths(order)[0] for order in ranked}, reverse=True)
    assert first[0] > first[1] * 1.01  # the best first step is unique
    some = partly_of(cascade, RECORD, run_seasons(cascade, RECORD), ways, numbers)
    found = next_best({str(i): (0.5 * cost, 1.5 * cost) for i, cost in enumerate(costs)},
                      lambda built: some.kept({int(name) for name in built}))
    assert [int(step.work) for step in found] == list(ranked[0])
    assert [step.more / costs[int(step.work)] for step in found] == pytest.approx(
        worths(ranked[0]))
    assert found[-1].kept == pytest.approx(keeps(frozenset(range(len(sizes)))))


def test_what_is_free_comes_first_and_what_brings_nothing_last():
    water = {"dear": 10.0, "nothing": 0.0, "free": 1.0, "harm": -2.0}
    found = next_best({"nothing": (1.0, 1.0), "harm": (1.0, 1.0), "dear": (9.0, 11.0),
                       "free": (0.0, 0.0)}, lambda built: sum(water[name] for name in built))
    assert [step.work for step in found] == ["free", "dear", "nothing", "harm"]
    assert [step.more for step in found] == [1.0, 10.0, 0.0, -2.0]
    assert found[1].each == (0.9, 1.1)
    assert found[2].each is None
