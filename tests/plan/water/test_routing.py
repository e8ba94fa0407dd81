"""Storms through stores: balance, what must hold anywhere, and a reference solver.

The level-pool example of Chow, Maidment & Mays (1988, 8.2.1, 8.2.2) drains its pond by a pipe
given as a table of depth and flow, and `route` knows a level sill only.  So the book's way of
reckoning stands here by itself: with the pipe it gives the printed outflow, and with a sill in the
pipe's stead it is what `route` is held against, beside scipy's solution of dV/dt = I - C L h^1.5.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from networks import (
    NO_GROUND,
    NO_ROOF,
    cascade_of,
    cascades,
    given_to,
    ground_of,
    store_of,
    stores,
)
from published import published
from scipy.integrate import solve_ivp

from terrain.plan.water.routing import full_at, route, run_storm
from terrain.runoff.storms import PATTERNS, storm_shape, storm_steps
from terrain.works.roof import RoofCatchment
from terrain.works.sill import weir_flow
from terrain.works.store import channel_curve, tank_curve

FOOT = 0.3048
INFLOWS = hnp.arrays(np.float64, st.integers(1, 80),
                     elements=st.floats(0, 50) | st.just(0.0))


@given(INFLOWS, stores, st.floats(0, 1), st.floats(1, 900))
def test_what_comes_is_spilled_infiltrated_or_held(inflow, store, full, step):
    start = full * store.capacity
    outflow, held, soaked, most, _ = route(inflow, store, step, start)
    came = start + inflow.sum()
    assert outflow.sum() + held + soaked == pytest.approx(came, rel=1e-12, abs=1e-12)
    assert (outflow >= 0).all()
    assert soaked >= 0
    assert 0 <= held <= store.capacity * (1 + 1e-12)
    assert max(start, held) <= most * (1 + 1e-12) + 1e-12
    assert most <= came * (1 + 1e-12)


@given(INFLOWS, stores, st.floats(1, 900))
def test_no_spill_before_a_store_is_full_nor_faster_than_water_ever_came(inflow, store, step):
    outflow, _, _, most, _ = route(inflow, store, step)
    before = np.cumsum(inflow) <= store.capacity
    assert not outflow[:inflow.size][before].any()
    assert outflow.max() <= inflow.max() * (1 + 1e-9)
    # The greatest spill is the sill's flow at the greatest height over it.
    height = max(most - store.capacity, 0.0) / store.curve.areas[-1]
    sill = weir_flow(store.sill.length, height, store.sill.coefficient) * step
    assert outflow.max() <= sill * (1 + 1e-9) + 1e-12


@given(INFLOWS, stores, st.floats(1, 900), st.floats(1.01, 10))
def test_a_longer_sill_never_raises_the_head(inflow, store, step, longer):
    wide = replace(store, sill=replace(store.sill, length=store.sill.length * longer))
    _, _, _, most, _ = route(inflow, store, step)
    _, _, _, most_wide, _ = route(inflow, wide, step)
    assert most_wide <= most * (1 + 1e-9) + 1e-12


@settings(max_examples=60)
@given(stores, st.floats(50, 20000), st.floats(40, 100), st.floats(0, 150), st.floats(0.5, 100),
       st.sampled_from(PATTERNS), st.floats(0.25, 24))
def test_more_rain_never_catches_less(store, area, number, rain, more, pattern, duration):
    cascade = cascade_of([(store, ground_of([number], [area]), NO_ROOF, None)])
    first = run_storm(cascade, rain, storm_shape(pattern, duration)).stores[0]
    second = run_storm(cascade, rain + more, storm_shape(pattern, duration)).stores[0]
    assert second.caught >= first.caught * (1 - 1e-9) - 1e-9
    assert second.spilled >= first.spilled * (1 - 1e-9) - 1e-9


def chow_inflow():
    """Inflow of the example, in s and m3/s."""
    table = np.array(published("level_pool_routing_example.csv"))
    return table[:, 0] * 60, table[:, 1] * FOOT**3


def sill_pond_errors(step, length=10.0, area=43560 * FOOT**2):
    """Relative error of the peak, and the largest of any step over the peak."""
    time, flow = chow_inflow()
    ends = np.arange(round(time[-1] / step) + 1) * step
    within = np.linspace(0, step, 61)
    inflow = np.array([np.trapezoid(np.interp(start + within, time, flow), within)
                       for start in ends[:-1]])
    store = store_of("basin", tank_curve(area, 1.0), length)  # an acre, upright sides
    outflow, *_ = route(inflow, store, step, start=store.capacity)

    def change(now, level):
        return [(np.interp(now, time, flow) - weir_flow(length, level[0])) / area]

    solved = solve_ivp(change, (0, time[-1]), [0.0], max_step=20, rtol=1e-9, atol=1e-10,
                       dense_output=True)
    exact = np.array([weir_flow(length, h) for h in solved.sol(ends[1:])[0]])
    peak = max(weir_flow(length, h) for h in solved.sol(np.linspace(0, time[-1], 4001))[0])
    found = outflow[:inflow.size] / step
    return abs(found.max() / peak - 1), float(np.abs(found - exact).max() / peak)


# Reference: scipy.integrate.solve_ivp; inflow and pond of Chow, Maidment & Mays, Ex. 8.2.1.
def test_a_pond_with_a_sill_follows_the_reference_solver():
    errors = [sill_pond_errors(step) for step in (600.0, 120.0, 60.0, 30.0)]
    assert errors[1][0] < 0.015  # the program's own longest step, 2 minutes
    assert errors[-1][0] < 0.004
    assert errors[-1][1] < 0.01
    for (peak, anywhere), (finer_peak, finer) in itertools.pairwise(errors):
        assert finer_peak < peak * 0.6  # first order: half the step, half the error
        assert finer < anywhere * 0.6
    assert errors[1][0] < errors[0][0] / 3


#: Depth over the bottom of the example's 5-ft pipe [ft], and its flow [ft3/s]: Chow, Maidment &
#: Mays, 1988, Table 8.2.1; from memory.
PIPE = (np.arange(0, 10.25, 0.5),
        np.array([0, 3, 8, 17, 30, 43, 60, 78, 97, 117, 137, 156, 173, 190, 205, 218, 231, 242, 253,
                  264, 275.0]))


def by_the_book(inflow, area, depths, flows, step):
    """Outflow at the ends of the steps: 2S/dt + Q from the sum of two inflows and 2S/dt - Q."""
    indicated = 2 * area * depths / step + flows
    less, out = 0.0, [0.0]
    for before, now in itertools.pairwise(inflow):
        total = before + now + less
        out.append(float(np.interp(total, indicated, flows)))
        less = total - 2 * out[-1]
    return np.array(out)


def test_the_book_s_way_gives_the_printed_outflow():
    table = np.array(published("level_pool_routing_example.csv"))
    out = by_the_book(table[:, 1], 43560.0, *PIPE, 600.0)
    assert out == pytest.approx(table[:, 3], abs=0.15)  # printed to 0.1 ft3/s, carried on rounded
    assert out.max() == pytest.approx(270.0, abs=0.15)
    assert int(np.argmax(out)) == 8  # 80 minutes


def test_a_pond_with_a_sill_follows_the_book_s_way():
    """The example's acre and inflow, a sill of 10 m in the pipe's stead, in steps of 15 s; the two
    schemes differ by what the flow changes within a step."""
    time, flow = chow_inflow()
    area, step, length = 43560 * FOOT**2, 15.0, 10.0
    ends = np.arange(0, time[-1] + step / 2, step)
    inflow = np.interp(ends, time, flow)
    depths = np.linspace(0, 3, 30001)
    flows = np.array([weir_flow(length, depth) for depth in depths])
    out = by_the_book(inflow, area, depths, flows, step)
    store = store_of("basin", tank_curve(area, 1.0), length)
    found, *_ = route((inflow[1:] + inflow[:-1]) / 2 * step, store, step, start=store.capacity)
    found = found[:out.size - 1] / step
    assert found.max() == pytest.approx(out.max(), rel=2e-3)
    assert np.abs(found - out[1:]).max() < 0.005 * out.max()


def test_a_full_prism_soaks_away_at_its_rate():
    """20 mm/h on 10 m2 takes 0.2 m3 each hour."""
    store = store_of("basin", tank_curve(10.0, 1.0), infiltration=20.0)
    outflow, held, soaked, *_ = route(np.zeros(30), store, 3600.0, start=10.0)
    assert soaked == pytest.approx(6.0)
    assert held == pytest.approx(4.0)
    assert not outflow.any()


def test_a_store_that_nothing_can_fill_keeps_all():
    tank = store_of("tank", tank_curve(50.0))
    outflow, held, soaked, most, _ = route(np.full(5, 2.0), tank, 60.0)
    assert (outflow.sum(), held, soaked, most) == (0.0, 10.0, 0.0, 10.0)


# ---- one storm through the whole cascade ----

@settings(max_examples=60)
@given(cascades(), st.floats(0, 250), st.floats(0.1, 48), st.sampled_from(PATTERNS))
def test_every_drop_of_a_storm_is_found_again(cascade, rain, duration, pattern):
    run = run_storm(cascade, rain, storm_shape(pattern, duration))
    scale = run.rain + run.run_on + 1e-6
    for node, store in zip(cascade.nodes, run.stores, strict=True):
        went = store.infiltrated + store.held + store.spilled
        assert abs(store.inflow - went) <= 1e-9 * max(store.inflow, 1e-6)
        assert store.runoff == pytest.approx(node.catchment.runoff(rain), rel=1e-9, abs=1e-9)
        assert store.roof == pytest.approx(node.roof.runoff(rain), rel=1e-9, abs=1e-9)
        assert store.peak_spill <= store.peak_in * (1 + 1e-9)
    for index, store in enumerate(run.stores):
        above = given_to(cascade, index, run.stores)
        assert store.from_above == pytest.approx(above, rel=1e-9, abs=1e-12)
        assert 0 <= store.over <= store.spilled
    off_site = run.open_runoff + given_to(cascade, None, run.stores)
    assert run.left_site == pytest.approx(off_site, rel=1e-9, abs=1e-12)
    kept = sum(store.infiltrated + store.held for store in run.stores)
    assert abs(run.rain + run.run_on - run.soaked_in_place - kept - run.left_site) <= 1e-9 * scale
    assert run.left_site >= 0
    assert run.soaked_in_place >= -1e-9 * scale


def test_water_goes_down_the_cascade_in_turn():
    """A roof of 100 m2 and 50 mm, no losses: 5 m3 into tanks of 1, 1.5 and 10 m3."""
    sizes = [10.0, 1.0, 1.5]  # listed lowest first: the order must be found
    parts = [(store_of("tank", tank_curve(sizes[0])), NO_GROUND, NO_ROOF, None),
             (store_of("tank", tank_curve(sizes[1])), NO_GROUND, RoofCatchment(100, 100), 2),
             (store_of("tank", tank_curve(sizes[2])), NO_GROUND, NO_ROOF, 0)]
    run = run_storm(cascade_of(parts), 50.0, storm_shape("even", 1.0))
    assert [s.held for s in run.stores] == pytest.approx([2.5, 1.0, 1.5])
    assert [s.from_above for s in run.stores] == pytest.approx([2.5, 0.0, 4.0])
    assert run.left_site == pytest.approx(0.0, abs=1e-12)


# Hand calculation: a full pond's sill passes what comes, as soon as its level has settled.
def test_a_pump_lifts_no_more_than_it_can_and_the_rest_goes_the_way_without_it():
    """100 mm in an hour on 360 m2 of roof is 10 L/s; of that the pump lifts 4 L/s, 14.4 m3, and
    6 L/s, 21.6 m3, run over the ground.  The tank is as small as a cup, so nothing stays in it."""
    tank = store_of("tank", tank_curve(1e-6, 1e-3), 4.0)
    high, low = (store_of("tank", tank_curve(100.0)) for _ in range(2))
    parts = [(tank, NO_GROUND, RoofCatchment(360, 360), 1), (high, NO_GROUND, NO_ROOF, None),
             (low, NO_GROUND, NO_ROOF, None)]
    shape = storm_shape("even", 1.0)
    run = run_storm(cascade_of(parts, pumps={0: (0.004, 2)}), 100.0, shape)
    assert run.stores[0].peak_spill == pytest.approx(0.010, rel=1e-6)
    assert run.stores[0].over == pytest.approx(21.6, rel=1e-3)
    assert run.stores[1].held == pytest.approx(14.4, rel=1e-3)
    assert run.stores[2].held == pytest.approx(run.stores[0].over, rel=1e-12)
    assert run.left_site == 0
    off = run_storm(cascade_of(parts, pumps={0: (0.004, None)}), 100.0, shape)
    assert (off.stores[2].held, off.left_site) == (0, pytest.approx(21.6, rel=1e-3))
    # One that is large enough lifts all, and so does one of which nobody says how large it is.
    for pumps in ({0: (0.0101, 2)}, None):
        run = run_storm(cascade_of(parts, pumps=pumps), 100.0, shape)
        assert (run.stores[0].over, run.stores[2].held) == (0, 0)
        assert run.stores[1].held == pytest.approx(36.0)


def test_what_fills_a_store_may_be_what_a_pump_above_cannot_lift():
    """4 L/s from 360 m2 are 40 mm an hour, all of which goes up; the 3 m3 of the tank below are
    8.33 mm more."""
    tank = store_of("tank", tank_curve(1e-6, 1e-3), 4.0)
    parts = [(tank, NO_GROUND, RoofCatchment(360, 360), 1),
             (store_of("tank", tank_curve(100.0)), NO_GROUND, NO_ROOF, None),
             (store_of("tank", tank_curve(3.0)), NO_GROUND, NO_ROOF, None)]
    cascade = cascade_of(parts, pumps={0: (0.004, 2)})
    assert cascade.upstream_of(2) == {0, 2}
    found = full_at(cascade, storm_shape("even", 1.0), within=0.05)[2]
    assert found == pytest.approx(40 + 3 / 0.36, abs=0.1)


def test_the_spill_of_a_wide_pond_in_a_short_storm_has_no_false_peak():
    """Water that still stands over the sill when the last inflow has come runs off slowly."""
    pond = store_of("basin", tank_curve(600.0, 0.2), 4.0)  # 3,000 m2
    cascade = cascade_of([(pond, ground_of([85.0], [40000.0], path=150.0), NO_ROOF, None)])
    storm = run_storm(cascade, 60.0, storm_shape("even", 0.5)).stores[0]
    assert 0 < storm.peak_spill < 0.5 * storm.peak_in
    height = (storm.most - pond.capacity) / 3000
    assert storm.peak_spill == pytest.approx(weir_flow(4.0, height), rel=1e-6)


@pytest.mark.parametrize(("depth", "duration", "pattern", "said"), [
    (-1.0, 1.0, "even", "storm depth -1 mm is below 0"),
    (10.0, 0.0, "II", "storm duration 0 h is not above 0"),
    (10.0, 1.0, "IV", "storm pattern 'IV' is not one of")])
def test_what_cannot_be_a_storm_is_refused(depth, duration, pattern, said):
    cascade = cascade_of([(store_of("tank", tank_curve(1.0)), NO_GROUND, NO_ROOF, None)])
    with pytest.raises(ValueError, match=said):
        run_storm(cascade, depth, storm_shape(pattern, duration))


def test_dry_soil_takes_what_green_and_ampt_say():
    """Chow, Maidment & Mays (1988), Example 4.3.1: silt loam, K 0.65 cm/h, suction times moisture
    change 5.68 cm; water that stands on it for an hour puts 3.17 cm in (printed)."""
    pond = replace(store_of("basin", tank_curve(600.0, 1.0), infiltration=6.5), suction=56.8)
    _, held, soaked, *_ = route(np.zeros(60), pond, 60.0, 400.0)
    assert soaked / 600 == pytest.approx(0.0317, abs=5e-5)
    assert held + soaked == pytest.approx(400.0, rel=1e-12)
    # In the long run its rate is the conductivity.
    _, _, longer, *_ = route(np.zeros(6000), pond, 60.0, 600.0)
    _, _, shorter, *_ = route(np.zeros(5940), pond, 60.0, 600.0)
    assert longer > shorter
    assert (longer - shorter) / 600 == pytest.approx(0.0065, rel=0.1)


def test_steps_are_two_minutes_or_a_96th_of_a_short_storm():
    assert storm_steps(24.0) == pytest.approx(2 / 60)
    assert storm_steps(0.5) == pytest.approx(0.5 / 96)


# ---- the storm that fills a store ----

@settings(max_examples=20)
@given(cascades(), st.sampled_from([("even", 1.0), ("II", 24.0), ("III", 6.0)]))
def test_the_storm_that_fills_a_store_is_bracketed(cascade, storm):
    pattern, duration = storm
    within = 0.25
    shape = storm_shape(pattern, duration)
    for index, depth in enumerate(full_at(cascade, shape, within=within)):
        capacity = cascade.nodes[index].store.capacity * (1 - 1e-9)
        if depth is None:
            assert run_storm(cascade, 500.0, shape).stores[index].most < capacity
            continue
        assert run_storm(cascade, depth, shape).stores[index].most >= capacity
        under = run_storm(cascade, max(depth - within, 0.0), shape).stores[index]
        assert under.most < capacity


def test_a_tank_is_full_at_its_volume_over_the_roof():
    """11 m3 on 200 m2 at 0.9, the first 1 mm lost: 11000 / 180 + 1 = 62.11 mm."""
    cascade = cascade_of([(store_of("tank", tank_curve(11.0)), NO_GROUND,
                           RoofCatchment(200.0, 180.0, 1.0), None)])
    found = full_at(cascade, storm_shape("even", 2.0), within=0.01)[0]
    assert found == pytest.approx(62.11, abs=0.02)


def test_a_swale_is_full_when_its_catchment_sheds_what_it_holds():
    """No infiltration: 21.6 m3 from 2,000 m2 of CN 80 is 10.8 mm of runoff, by TR-55 eq. 2-3
    from P with (P - 12.7)^2 / (P + 50.8) = 10.8, so P = 44.44 mm."""
    swale = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 60.0))
    cascade = cascade_of([(swale, ground_of([80.0], [2000.0]), NO_ROOF, None)])
    rain = np.roots([1, -2 * 12.7 - 10.8, 12.7**2 - 10.8 * 50.8]).max()
    found = full_at(cascade, storm_shape("II", 24.0), within=0.02)[0]
    assert found == pytest.approx(rain, abs=0.03)
