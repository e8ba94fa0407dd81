"""The daily run against a slow, plain reading of its rules on a real record, and closed forms."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import (
    NO_GROUND,
    NO_ROOF,
    cascade_of,
    cascades,
    given_to,
    ground_of,
    reference_of,
    store_of,
)

from terrain.plan.water.water_balance import run_seasons
from terrain.runoff.curve_number import runoff_depth
from terrain.works.roof import RoofCatchment
from terrain.works.store import bowl_curve, channel_curve, tank_curve

#: Reference evapotranspiration of a dry place, by month. [mm]
DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]


@pytest.fixture(scope="module")
def seattle():
    """Daily rain of four years as vega_datasets ships it (seattle-weather, from NOAA). [mm]"""
    from vega_datasets import data as shipped

    data = shipped.seattle_weather()
    series = pd.Series(data["precipitation"].to_numpy(float), pd.DatetimeIndex(data["date"]))
    assert series.size == 1461
    assert series.index.is_monotonic_increasing
    assert 3000 < series.sum() < 6000
    return series


def daily(rain, start="2001-01-01"):
    return pd.Series(np.asarray(rain, float), pd.date_range(start, periods=len(rain)))


# ---- the slow reference ----

def plain_runoff(catchment, rain, areas):
    """TR-55 (1986), eq. 2-1 to 2-3, one curve number at a time. [m3]"""
    total = 0.0
    for number, area in zip(catchment.curve_numbers, areas, strict=True):
        retention = 25400 / number - 254
        if rain > 0.2 * retention:
            total += area / 1000 * (rain - 0.2 * retention)**2 / (rain + 0.8 * retention)
    return total


def plain_area(curve, volume):
    """Water surface of a volume, straight between the points of the curve. [m2]"""
    if volume <= 0:
        return 0.0
    for i in range(1, len(curve.volumes)):
        if volume <= curve.volumes[i]:
            low, high = curve.volumes[i - 1], curve.volumes[i]
            share = (volume - low) / (high - low)
            return curve.areas[i - 1] + share * (curve.areas[i] - curve.areas[i - 1])
    return curve.areas[-1]


def plain_run(cascade, record, evapotranspiration):
    """Every store, day and hour in turn: water comes in the first six hours, what does not fit
    spills, people drink, the sun takes its part of the surface, the floor takes its part."""
    held = [0.0] * len(cascade.nodes)
    fates = ("spilled", "used", "evaporated", "infiltrated")
    found = [{name: [] for name in (*fates, "over", "inflow", "held")} for _ in cascade.nodes]
    left = []
    for day, rain in record.items():
        gone = plain_runoff(cascade.open_ground, rain, cascade.open_ground.areas)
        came = [0.0] * len(cascade.nodes)
        for index in cascade.order:
            node, store = cascade.nodes[index], cascade.nodes[index].store
            came[index] += plain_runoff(node.catchment, rain, node.catchment.areas)
            came[index] += max(rain - node.roof.first_flush, 0.0) * node.roof.collected / 1000
            sun = 0.0
            if store.open_water:
                sun = 1.05 * evapotranspiration[day.month - 1] / day.days_in_month / 24
            sums = dict.fromkeys((*fates, "over"), 0.0)
            water = held[index]
            for hour in range(24):
                if hour < 6:
                    water += came[index] / 6
                spill = max(water - store.curve.capacity, 0.0)
                water -= spill
                used = min(store.demand / 24, water)
                water -= used
                area = plain_area(store.curve, water)
                dried = min(sun / 1000 * area, water)
                water -= dried
                soaked = min(store.infiltration / 1000 * area, water)
                water -= soaked
                sums["spilled"] += spill
                if node.lifts is not None:
                    sums["over"] += max(spill - 3600 * node.lifts, 0.0)
                sums["used"] += used
                sums["evaporated"] += dried
                sums["infiltrated"] += soaked
            held[index] = water
            for name, value in {**sums, "inflow": came[index], "held": water}.items():
                found[index][name].append(value)
            for to, part in ((node.spills_to, sums["spilled"] - sums["over"]),
                             (node.over_to, sums["over"])):
                if to is None:
                    gone += part
                else:
                    came[to] += part
        left.append(gone)
    return found, left


def homestead():
    """A roof and tank, its spill and a slope to a swale, that to a bowl; open ground beside."""
    return cascade_of([
        (store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 40.0), 6.0, infiltration=3.0),
         ground_of([82.0, 89.0, 100.0], [1500.0, 220.0, 72.0], [0.5, 0.0, 0.0]), NO_ROOF, 2),
        (store_of("tank", tank_curve(11.0), demand=0.25), NO_GROUND,
         RoofCatchment(140.0, 126.0, 1.0), 0),
        (store_of("tree basin", bowl_curve(9.0, 0.25, 2.0, 2.0), 4.0, infiltration=1.0),
         ground_of([74.0, 100.0], [300.0, 12.6]), NO_ROOF, None)],
        ground_of([74.0], [4000.0], [0.25]))


# Reference: the rules spelt out above, on a real record of 1,461 days.
def test_four_real_years_match_the_slow_reference(seattle):
    cascade = homestead()
    run = run_seasons(cascade, seattle, reference_of(seattle, DRY))
    found, left = plain_run(cascade, seattle, DRY)
    for store, plain in zip(run.stores, found, strict=True):
        for name, values in plain.items():
            assert getattr(store, name) == pytest.approx(np.array(values), rel=1e-9, abs=1e-9), name
    assert run.left_site == pytest.approx(np.array(left), rel=1e-9, abs=1e-9)
    # The record is wet enough that every fate occurs.
    assert all(store.spilled.sum() > 0 for store in run.stores)
    assert run.stores[0].infiltrated.sum() > 0 < run.stores[0].evaporated.sum()
    assert 0 < run.stores[1].used.sum() < cascade.nodes[1].store.demand * len(run.days)


def test_four_real_years_close_day_by_day(seattle):
    run = run_seasons(homestead(), seattle, reference_of(seattle, DRY))
    for store in run.stores:
        change = np.diff(store.held, prepend=0.0)
        went = store.spilled + store.used + store.evaporated + store.infiltrated + change
        assert np.abs(store.inflow - went).max() <= 1e-9 * store.inflow.max()
    change = sum(np.diff(store.held, prepend=0.0) for store in run.stores)
    lost = sum(store.used + store.evaporated + store.infiltrated for store in run.stores)
    gap = run.rain + run.run_on - run.soaked_in_place - lost - change - run.left_site
    assert np.abs(gap).max() <= 1e-9 * (run.rain + run.run_on).max()
    assert run.years == pytest.approx(1461 / 365.25)


@settings(max_examples=40)
@given(cascades(), st.lists(st.floats(0, 120) | st.just(0.0), min_size=1, max_size=40),
       st.sampled_from([(None, False), (DRY, False), (DRY, True)]))
def test_any_cascade_closes_over_any_record(cascade, rain, how):
    evapotranspiration, continuous = how
    record = daily(rain)
    run = run_seasons(cascade, record, reference_of(record, evapotranspiration), continuous)
    for index, (node, store) in enumerate(zip(cascade.nodes, run.stores, strict=True)):
        went = (store.spilled + store.used + store.evaporated + store.infiltrated
                + np.diff(store.held, prepend=0.0))
        assert np.abs(store.inflow - went).max() <= 1e-9 * max(store.inflow.max(), 1e-6)
        assert (store.held <= node.store.capacity * (1 + 1e-12)).all()
        assert min(part.min() for part in (store.spilled, store.used, store.evaporated,
                                           store.infiltrated, store.held)) >= 0
        above = given_to(cascade, index, run.stores) + np.zeros(len(rain))
        assert store.from_above == pytest.approx(above, rel=1e-9, abs=1e-12)
        assert (store.over >= 0).all()
        assert (store.over <= store.spilled * (1 + 1e-12)).all()
    kept = sum(store.used + store.evaporated + store.infiltrated
               + np.diff(store.held, prepend=0.0) for store in run.stores)
    gap = run.rain + run.run_on - run.soaked_in_place - kept - run.left_site
    assert np.abs(gap).max() <= 1e-9 * max(float((run.rain + run.run_on).max()), 1e-6)


def pumped_homestead():
    """The same, the tank pumped to the bowl; what is over 1.5 L/min runs down to the swale."""
    plain = homestead()
    nodes = [plain.nodes[0], replace(plain.nodes[1], spills_to=2, lifts=2.5e-5, over_to=0),
             plain.nodes[2]]
    return replace(plain, nodes=nodes)


def test_a_pump_of_stated_capacity_matches_the_slow_reference(seattle):
    cascade, seattle = pumped_homestead(), seattle.iloc[:366]
    run = run_seasons(cascade, seattle, reference_of(seattle, DRY))
    found, left = plain_run(cascade, seattle, DRY)
    for store, plain in zip(run.stores, found, strict=True):
        for name, values in plain.items():
            assert getattr(store, name) == pytest.approx(np.array(values), rel=1e-9, abs=1e-9), name
    assert run.left_site == pytest.approx(np.array(left), rel=1e-9, abs=1e-9)
    tank = run.stores[1]
    assert 0 < tank.over.sum() < tank.spilled.sum()


def test_a_day_of_spill_is_lifted_by_the_hour():
    """6 m3 in six hours into a full tank, a pump of 10 L/min: 0.6 m3 an hour, so 3.6 m3 go up and
    2.4 m3 run over the ground."""
    parts = [(store_of("tank", tank_curve(1.0)), NO_GROUND, RoofCatchment(100.0, 100.0), 1),
             (store_of("tank", tank_curve(50.0)), NO_GROUND, NO_ROOF, None)]
    run = run_seasons(cascade_of(parts, pumps={0: (0.01 / 60, None)}), daily([10.0, 60.0]), None)
    assert run.stores[0].spilled[1] == pytest.approx(6.0)
    assert run.stores[1].from_above[1] == pytest.approx(3.6)
    assert run.left_site[1] == run.stores[0].over[1] == pytest.approx(2.4)


@settings(max_examples=30)
@given(cascades(), st.lists(st.tuples(st.floats(0, 90) | st.just(0.0), st.floats(0, 40)),
                            min_size=1, max_size=25))
def test_more_rain_on_any_day_never_catches_less(cascade, rain):
    less, more = np.array(rain)[:, 0], np.array(rain).sum(1)
    runs = [run_seasons(cascade, daily(fell), reference_of(daily(fell), DRY))
            for fell in (less, more)]
    for dry, wet in zip(runs[0].stores, runs[1].stores, strict=True):
        scale = 1e-9 * max(float(wet.inflow.sum()), 1e-6)
        assert (wet.held >= dry.held - scale).all()
        assert (np.cumsum(wet.captured) >= np.cumsum(dry.captured) - scale).all()
        assert wet.used.sum() >= dry.used.sum() - scale
    assert (runs[1].left_site >= runs[0].left_site - 1e-9 * (runs[1].left_site + 1)).all()


# ---- closed forms ----

def one(store, ground=NO_GROUND, roof=NO_ROOF):
    return cascade_of([(store, ground, roof, None)])


def test_upright_walls_lose_the_rate_each_day_until_dry():
    """An upright pond of 20 m2 filled on the first day sinks 2 mm/h, 48 mm a day."""
    pond = store_of("basin", tank_curve(20.0, 1.0), infiltration=2.0)
    run = run_seasons(one(pond, roof=RoofCatchment(1000.0, 1000.0)), daily([100.0] + [0.0] * 30),
                      None)
    held = run.stores[0].held
    assert np.diff(held)[:19] == pytest.approx(-20 * 0.048)
    assert held[-1] == 0
    assert run.stores[0].infiltrated.sum() + run.stores[0].spilled.sum() == pytest.approx(100.0)


def test_open_water_evaporates_105_percent_of_the_reference_and_a_tank_nothing():
    """FAO 56 (1998), Table 12: open shallow water 1.05; June has 205 mm here."""
    for kind, factor in (("basin", 1.05), ("tank", 0.0)):
        pond = store_of(kind, tank_curve(50.0, 1.0))
        june = daily([50.0] + [0.0] * 29, "2001-06-01")
        run = run_seasons(one(pond, roof=RoofCatchment(1000.0, 1000.0)), june,
                          reference_of(june, DRY))
        assert run.stores[0].evaporated[1:].sum() == pytest.approx(
            factor * 50 * 0.205 * 29 / 30, rel=1e-9)


def test_a_tank_serves_its_demand_while_it_lasts():
    """5 m3 at 0.4 m3 a day last twelve and a half days."""
    tank = store_of("tank", tank_curve(8.0), demand=0.4)
    run = run_seasons(one(tank, roof=RoofCatchment(100.0, 100.0)), daily([50.0] + [0.0] * 19), None)
    used = run.stores[0].used
    assert used[1:12] == pytest.approx(0.4)
    assert used.sum() == pytest.approx(5.0)
    assert used[13:].max() == 0


def test_the_most_held_on_a_day_is_reached_while_it_rains():
    """5 m3 in the six hours of rain, 0.4 m3 a day drawn: after the sixth hour 5 m3 less five draws
    are held.  A day of spill is full, a dry day no fuller than the evening before."""
    tank = store_of("tank", tank_curve(8.0), demand=0.4)
    run = run_seasons(one(tank, roof=RoofCatchment(100.0, 100.0)), daily([50.0, 0.0, 70.0, 0.0]),
                      None)
    held, highest = run.stores[0].held, run.stores[0].highest
    assert highest[0] == pytest.approx(5.0 - 5 * 0.4 / 24)
    assert highest[1] == pytest.approx(held[0])
    assert run.stores[0].spilled[2] > 0
    assert highest[2] == pytest.approx(8.0)
    assert highest[3] == pytest.approx(held[2])
    assert (highest >= held).all()


def test_days_without_a_reading_count_as_dry_and_not_to_the_years():
    rain = daily([10.0, np.nan, 20.0, np.nan, np.nan])
    run = run_seasons(one(store_of("tank", tank_curve(8.0)), roof=RoofCatchment(100.0, 100.0)),
                      rain, None)
    assert run.rain_mm.tolist() == [10.0, 0.0, 20.0, 0.0, 0.0]
    assert run.missing == 3
    assert run.years == pytest.approx(2 / 365.25)
    assert run.stores[0].roof.tolist() == pytest.approx([1.0, 0.0, 2.0, 0.0, 0.0])


def test_run_on_is_what_runs_off_beyond_the_boundary_and_rain_what_falls_within():
    ground = ground_of([90.0], [1000.0], [0.4])
    run = run_seasons(one(store_of("swale", channel_curve(1.0, 0.3, 0.6, 2.0, 10.0)), ground),
                      daily([40.0]), None)
    assert run.run_on[0] == pytest.approx(0.4 * ground.runoff(40.0))
    assert run.rain[0] == pytest.approx(0.6 * 40.0)


# ---- the wetness of the soil ----

def test_runoff_follows_the_wetness_of_the_soil():
    """NEH 630 ch. 10 (2004), Table 10-1: CN 80 is 63 when dry and 91 when wet.  A dry spell ends
    with the runoff of the dry number, within what its last small loss adds; the same rain on the
    day after a soaking one with that of a wetter number than the average one."""
    ground = ground_of([80.0], [1000.0])
    swale = store_of("swale", channel_curve(1.0, 0.3, 0.6, 2.0, 10.0))
    dry_spell = daily([0.0] * 400 + [60.0], "2001-01-01")
    run = run_seasons(one(swale, ground), dry_spell, np.full(401, 8.0), True)
    dry = runoff_depth(60.0, 63.0)
    assert run.stores[0].runoff[-1] == pytest.approx(float(dry), rel=0.02)
    soaking = daily([0.0] * 10 + [120.0, 60.0])
    run = run_seasons(one(swale, ground), soaking, np.full(12, 2.0), True)
    assert runoff_depth(60.0, 80.0) < run.stores[0].runoff[-1] <= runoff_depth(60.0, 91.0) + 1e-9


def test_the_wetness_of_the_soil_needs_evapotranspiration():
    with pytest.raises(ValueError, match="cannot be followed without evapotranspiration"):
        run_seasons(homestead(), daily([1.0]), None, True)
