"""Captures by depth of rain, the accounts of random cascades, totals before and after."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from networks import (
    NO_GROUND,
    NO_ROOF,
    cascade_of,
    cascades,
    ground_of,
    reference_of,
    store_of,
    stores,
)
from scipy import stats

from terrain.plan.plan import make_plan
from terrain.plan.water.accounts import CLOSES_TO, Account, storm_account, year_account
from terrain.plan.water.capture import capture, depths_that_matter, overs
from terrain.plan.water.entry import Entry
from terrain.plan.water.rarity import how_often, of_record, of_table, with_days
from terrain.plan.water.routing import full_at, peak_level, route, run_storm
from terrain.plan.water.totals import own_water_left, share_that_stays, total_of
from terrain.plan.water.water_balance import run_seasons
from terrain.runoff.extremes import annual_maxima, fit_gev
from terrain.runoff.storms import storm_shape
from terrain.works.roof import RoofCatchment
from terrain.works.store import Curve, channel_curve, tank_curve

DRY = [220.0, 180, 160, 110, 80, 60, 70, 100, 130, 170, 190, 220]


def one(store, ground=NO_GROUND, roof=NO_ROOF):
    return cascade_of([(store, ground, roof, None)])


# ---- closed forms of one store on one curve number ----

def test_a_swale_begins_and_is_full_where_the_curve_number_says():
    """CN 80: S = 63.5 mm, so runoff begins at 0.2 S = 12.7 mm.  It is full when 2,000 m2 shed the
    21.6 m3 it holds, 10.8 mm: (P - 12.7)^2 / (P + 50.8) = 10.8 (TR-55, 1986, eq. 2-3)."""
    swale = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 60.0))
    cascade = one(swale, ground_of([80.0], [2000.0]))
    shape = storm_shape("II", 24.0)
    filled = full_at(cascade, shape, within=0.02)
    (begins, full, spills), = depths_that_matter(cascade, filled)
    assert begins == pytest.approx(12.7, abs=1e-9)
    assert full == spills == pytest.approx(
        np.roots([1, -2 * 12.7 - 10.8, 12.7**2 - 10.8 * 50.8]).max(), abs=0.03)
    swept = capture(cascade, cascade, shape, [40.0, 100.0], filled)
    dry, under = swept.rain <= begins, swept.rain < full - 0.02
    curve = swept.stores[0]
    assert not curve.came[dry].any()
    assert not curve.spilled[under].any()
    assert (curve.spilled[swept.rain > full] > 0).all()
    assert curve.caught[under] == pytest.approx(curve.came[under])
    assert curve.caught[-1] == pytest.approx(21.6, rel=1e-9)  # full, once the last has run over
    assert {40.0, 100.0} <= set(swept.rain)
    assert swept.rain[-1] == pytest.approx(125.0)


def test_a_store_fed_from_above_begins_when_that_one_spills():
    """The upper tank is full at 5 m3 / 100 m2 = 50 mm; a drain passes on whatever comes."""
    drain = store_of("drain", Curve(np.array([0.0, 1.0]), np.zeros(2), np.zeros(2)))
    cascade = cascade_of([
        (store_of("tank", tank_curve(5.0)), NO_GROUND, RoofCatchment(100, 100), 1),
        (drain, NO_GROUND, NO_ROOF, 2),
        (store_of("tank", tank_curve(5.0)), NO_GROUND, NO_ROOF, None)])
    filled = full_at(cascade, storm_shape("even", 2.0), within=0.01)
    upper, middle, lower = depths_that_matter(cascade, filled)
    assert upper == pytest.approx((0.0, 50.0, 50.0), abs=0.02)
    assert (middle[0], middle[1], middle[2]) == (upper[2], None, upper[2])
    assert lower == pytest.approx((50.0, 100.0, 100.0), abs=0.02)


def test_levels_and_hours_of_an_upright_tank():
    """A roof of 100 m2 under 60 mm in 6 h fills 5 m3 when 50 mm have fallen, after 5 h; 10 m3 with
    a use of 0.5 m3 a day last 12 days from then on."""
    tank = store_of("tank", tank_curve(5.0), demand=0.5)
    run = run_storm(one(tank, roof=RoofCatchment(100, 100)), 60.0, storm_shape("even", 6.0))
    found = run.stores[0]
    assert found.first_spill == pytest.approx(5.0, abs=6 / 96)
    assert found.peak_level == pytest.approx(2.0, abs=0.03)
    assert found.peak_level > 2.0
    assert found.empties == pytest.approx(240.0, rel=0.02)
    dry = run_storm(one(tank, roof=RoofCatchment(100, 100)), 10.0, storm_shape("even", 6.0))
    assert dry.stores[0].first_spill is None
    assert dry.stores[0].peak_level == pytest.approx(0.4)  # 1 m3 in 2.5 m2
    assert dry.stores[0].empties == pytest.approx(48.0)


def test_a_prism_soaks_away_in_its_depth_over_its_rate():
    """5 m3 on 10 m2 stand 0.5 m deep; at 20 mm/h they last 25 h after a storm without soaking."""
    pond = store_of("basin", tank_curve(10.0, 1.0), infiltration=20.0)
    run = run_storm(one(pond, roof=RoofCatchment(500, 500)), 10.0, storm_shape("even", 0.1))
    assert run.stores[0].empties == pytest.approx(25.0, abs=0.1)
    quick = store_of("basin", tank_curve(10.0, 0.2), infiltration=600.0)  # 50 m2 take 10 mm/min
    run = run_storm(one(quick, roof=RoofCatchment(500, 500)), 10.0, storm_shape("even", 1.0))
    assert run.stores[0].empties == pytest.approx(0.0, abs=0.02)


def test_the_peak_level_is_the_sill_and_the_head_on_it():
    """A pond of 10 m2 upright sides that holds 1 m3 over its sill stands 0.1 m over it."""
    pond = store_of("basin", tank_curve(10.0, 1.0))
    assert peak_level(pond, 11.0) == pytest.approx(1.1)
    assert peak_level(pond, 5.0) == pytest.approx(0.5)


def test_a_store_that_a_pump_s_rest_comes_to_begins_when_the_pump_is_too_small():
    """4 L/s from 360 m2 are 40 mm in an hour of even rain; the tank above it holds but a cup."""
    parts = [(store_of("tank", tank_curve(1e-6, 1e-3), 4.0), NO_GROUND,
              RoofCatchment(360, 360), 1),
             (store_of("tank", tank_curve(100.0)), NO_GROUND, NO_ROOF, None),
             (store_of("tank", tank_curve(3.0)), NO_GROUND, NO_ROOF, None)]
    cascade, shape = cascade_of(parts, pumps={0: (0.004, 2)}), storm_shape("even", 1.0)
    found = overs(cascade, shape, 80.0)
    assert found[0] == pytest.approx(40.0, abs=0.3)
    filled = full_at(cascade, shape)
    marks = depths_that_matter(cascade, filled, found)
    assert marks[1][0] < 0.5  # the pump gives to it from the first
    assert marks[2][0] == found[0]
    assert overs(cascade, shape, 30.0) == {0: None}


# ---- what must hold anywhere ----

@settings(max_examples=200, phases=[Phase.explicit, Phase.generate])  # no slow shrinking
@given(cascades(), st.floats(0, 250), st.sampled_from([("even", 1.0), ("II", 6.0), ("III", 3.0)]),
       st.lists(st.floats(0, 90) | st.just(0.0), min_size=1, max_size=12))
def test_hundreds_of_random_cascades_close_over_storms_and_days(cascade, depth, storm, rain):
    """`storm_account` and `year_account` refuse a gap over 1e-9 themselves."""
    run = run_storm(cascade, depth, storm_shape(*storm))
    account = storm_account(run)
    record = pd.Series(rain, pd.date_range("2001-03-01", periods=len(rain)))
    year = year_account(cascade, run_seasons(cascade, record, reference_of(record, DRY)))
    for told in (account, year):
        assert told.unexplained <= CLOSES_TO
        left = own_water_left(cascade, told)
        scale = told.rain + told.run_on + 1e-6
        assert -1e-9 * scale <= left <= min(told.left_site, told.rain) + 1e-9 * scale
        assert share_that_stays(cascade, told) * told.rain == pytest.approx(
            told.rain - left, rel=1e-9, abs=2e-9 * scale)
    for node, store in zip(cascade.nodes, run.stores, strict=True):
        assert (store.first_spill is None) == (store.spilled == 0)
        if node.store.kind != "drain":
            assert (store.peak_level >= node.store.sill.level - 1e-9) == (
                store.most >= node.store.capacity * (1 - 1e-9)) or store.most == 0
        assert store.empties >= 0


@settings(max_examples=50)
@given(cascades(), st.floats(0, 120), st.floats(0.5, 80), st.sampled_from(["even", "II", "III"]))
def test_more_rain_never_makes_a_cascade_catch_less(cascade, rain, more, pattern):
    shape = storm_shape(pattern, 3.0)
    less, much = (run_storm(cascade, depth, shape) for depth in (rain, rain + more))
    for a, b in zip(less.stores, much.stores, strict=True):
        assert b.caught >= a.caught * (1 - 1e-7) - 1e-7
        assert b.spilled >= a.spilled * (1 - 1e-7) - 1e-7
    assert much.left_site >= less.left_site * (1 - 1e-7) - 1e-7


@given(st.lists(st.floats(0, 50) | st.just(0.0), min_size=1, max_size=60), stores,
       st.floats(1.0, 5.0), st.floats(1, 900))
def test_a_bigger_store_never_spills_more(inflow, store, times, step):
    """The same section made longer, with the same sill."""
    curve = Curve(store.curve.levels, store.curve.areas * times, store.curve.volumes * times)
    big = store_of(store.kind, curve, store.sill.length, store.infiltration)
    small, large = (route(np.array(inflow), s, step).outflow.sum() for s in (store, big))
    assert large <= small * (1 + 1e-9) + 1e-9


# ---- how rare a depth is ----

TABLE = pd.DataFrame([[20.0, 30.0, 45.0], [40.0, 60.0, 90.0]], index=[1.0, 24.0],
                     columns=[2.0, 10.0, 100.0])


def test_return_periods_of_a_table():
    """At the table's depths its own years; halfway between two depths the years' geometric mean,
    as depth is linear in ln T; beyond the ends the nearest end."""
    day = of_table(TABLE, 24.0)
    for years, depth in ((2.0, 40.0), (10.0, 60.0), (100.0, 90.0)):
        assert day.once_in(depth) == (pytest.approx(years), "")
    assert day.once_in(50.0)[0] == pytest.approx(np.sqrt(2 * 10))
    assert day.once_in(39.9) == (2.0, "commoner")
    assert day.once_in(90.1) == (100.0, "rarer")
    assert day.words(90.1) == "rarer than once in 100 years"
    assert day.words(60.0) == "once in 10 years"
    # Between durations log-log: at the geometric mean of 1 and 24 h that of 30 and 60 mm.
    assert of_table(TABLE, np.sqrt(24.0)).once_in(np.sqrt(30 * 60))[0] == pytest.approx(10.0)
    assert of_table(TABLE, 24.0, factor=1.2).once_in(72.0)[0] == pytest.approx(10.0)


# Reference: scipy.stats.genextreme, for the distribution's chance; 1.13 from Hershfield 1961.
def test_return_periods_of_a_fitted_record():
    days = pd.date_range("1980-01-01", "2019-12-31")
    rng = np.random.default_rng(7)
    rain = pd.Series(np.where(rng.random(days.size) < 0.15, rng.gamma(0.8, 9.0, days.size), 0.0),
                     days)
    rarity = of_record(rain)
    fitted = fit_gev(annual_maxima(rain).depths.to_numpy(float))
    for years in (2.5, 7.0, 40.0):
        depth = 1.13 * stats.genextreme.isf(1 / years, -float(fitted.shape), float(fitted.location),
                                            float(fitted.scale))
        assert rarity.once_in(depth)[0] == pytest.approx(years, rel=1e-3)
    assert rarity.once_in(1e4) == (pytest.approx(100.0), "rarer")
    assert of_record(rain[:3000]) is None  # 8 years are too few to fit


def test_commoner_depths_are_counted_among_the_days_of_a_record():
    """By hand: ten years of a 10 mm day every tenth day and a 30 mm day every 200th; 11.3 and
    33.9 mm in any 24 hours (x 1.13, Hershfield 1961).  33 mm come every 200 days, 11 mm (the deep
    days fall on tenths) every 10, that is 36.5 times a year."""
    days = pd.date_range("2001-01-01", periods=4000)
    count = np.arange(days.size)
    record = pd.Series(np.where(count % 200 == 0, 30.0, np.where(count % 10 == 0, 10.0, 0.0)), days)
    rarity = with_days(of_table(TABLE, 24.0), record)
    assert rarity.once_in(33.0) == (pytest.approx(200 / 365.2425), "")
    assert rarity.once_in(11.0) == (pytest.approx(10 / 365.2425), "")
    assert rarity.words(11.0) == "37 times a year, by the record"
    assert rarity.words(60.0) == "once in 10 years"


@pytest.mark.parametrize(("years", "said"), [
    (1.0, "once a year"), (1.04, "once a year"), (0.99, "once a year"), (1.2, "once in 1.2 years"),
    (0.5, "2 times a year"), (9.97, "once in 10 years"), (2.0, "once in 2 years")])
def test_how_often_is_said_in_plain_words(years, said):
    """By hand: a figure to two digits, and 1 of anything is "a year"."""
    assert how_often(years) == said


def test_the_record_and_the_table_are_named_where_they_meet():
    days = pd.date_range("2001-01-01", periods=4000)
    count = np.arange(days.size)
    record = pd.Series(np.where(count % 200 == 0, 30.0, np.where(count % 10 == 0, 10.0, 0.0)), days)
    rarity = with_days(of_table(TABLE, 24.0), record)
    assert rarity.once_in(39.0) == (2.0, "commoner")  # the record knows no such day
    assert rarity.words(39.0) == "commoner than once in 2 years"
    assert rarity.words(33.0) == "1.8 times a year, by the record"
    assert rarity.words(40.0) == "once in 2 years"
    assert rarity.once_in(50.0) == of_table(TABLE, 24.0).once_in(50.0)
    assert with_days(of_table(TABLE, 24.0), record[:300]).once_in(11.0) == (2.0, "commoner")


# ---- the total ----

def entry(name, runoff, run_on, above, spilled):
    return Entry(name, "swale", runoff, run_on, 0.0, above, runoff + above - spilled, 0.0, 0.0, 0.0,
                 spilled)


def test_run_on_and_own_water_mix_in_every_store():
    """By hand: the upper swale takes 10, of it 4 run-on, and spills 5, 3 of them the property's
    own; the lower takes 5 and 5 of its own, 8 of 10 its own, and 4 leave: 3.2.  The open ground
    sheds 3, of which 1 only passes through.  So 5.2 of 20 leave."""
    store = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 60.0))
    cascade = cascade_of([(store, NO_GROUND, NO_ROOF, 1), (store, NO_GROUND, NO_ROOF, None)])
    account = Account((entry("upper", 10, 4, 0, 5), entry("lower", 5, 0, 5, 4)), 20.0, 5.0, 7.0,
                      0.0, 11.0, 4.0 + 3.0, 0.0)
    assert own_water_left(cascade, account) == pytest.approx(5.2)
    bare = cascade_of([])
    before = Account((), 20.0, 5.0, 7.0, 0.0, 0.0, 18.0, 0.0)
    total = total_of("day", 50.0, 400.0, cascade, account, bare, before)
    assert total.stays == pytest.approx(1 - 5.2 / 20)
    assert total.stays_before == pytest.approx(7 / 20)  # what soaked in; 13 of 18 were its own
    assert total.passive_mm == pytest.approx(27.5)
    assert total.no_longer_leaves == pytest.approx(18.0 - 7.0)


def test_without_works_nothing_changes(small_site):
    """A tank that no roof feeds is no work at all; nor is anything else there."""
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")] + "works:\n  - {kind: tank, name: idle, at: "
                          "[500080, 6399900], volume: 1 m3}\n")
    plan = make_plan(small_site)
    assert [t.name for t in plan.told.totals] == [
        "shower", "big day", "average year, soil of average wetness"]
    for total in plan.told.totals:
        assert total.stays == pytest.approx(total.stays_before, rel=1e-12)
        assert total.left == pytest.approx(total.left_before, rel=1e-12)
    assert plan.told.capture.rarity is None  # three years are too few, and there is no table


def test_works_keep_more_of_the_rain_that_fell(small_plan):
    plan = small_plan
    for total in plan.told.totals:
        assert total.stays > total.stays_before
        assert total.left < total.left_before
        assert total.passive_mm == pytest.approx(
            total.passive / plan.inputs.ground.boundary.area * 1000)
    swept = plan.told.capture
    assert (np.diff(swept.passive) >= -1e-9).all()
    assert (np.diff(swept.roof) >= -1e-9).all()
    storm = plan.storms["big day"]
    at = int(np.argmin(abs(swept.rain - 60.0)))
    assert swept.rain[at] == 60.0
    assert swept.passive[at] == pytest.approx(storm.passive, rel=1e-12)
    assert swept.kept_of_all[at] == pytest.approx(
        (storm.passive + storm.roof) / (storm.rain + storm.run_on))
