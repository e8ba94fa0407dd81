"""Accounts: they close, they add up, and they refuse to be read when they do not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import NO_GROUND, NO_ROOF, cascade_of, cascades, ground_of, reference_of, store_of

from terrain.plan.water.accounts import (
    CLOSES_TO,
    empty_start,
    storm_account,
    year_account,
    years_of_record,
)
from terrain.plan.water.routing import run_storm
from terrain.plan.water.water_balance import run_seasons
from terrain.runoff.storms import PATTERNS, storm_shape
from terrain.works.roof import RoofCatchment
from terrain.works.store import channel_curve, tank_curve

DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]


def added_up(account):
    """The site's balance and every store's, from the printed figures alone."""
    kept = 0.0
    for entry in account.entries:
        went = entry.infiltrated + entry.evaporated + entry.used + entry.held + entry.spilled
        moved = entry.inflow + entry.used + entry.infiltrated + entry.evaporated + abs(entry.held)
        assert abs(entry.inflow - went) <= 1e-9 * max(moved, 1e-6)
        assert entry.run_on <= entry.runoff * (1 + 1e-9) + 1e-12
        kept += went - entry.spilled
    came = account.rain + account.run_on
    gap = came - account.soaked_in_place - kept - account.left_site
    assert abs(gap) <= 1e-9 * max(came, 1e-6)
    assert account.unexplained <= CLOSES_TO == 1e-9
    caught = {True: 0.0, False: 0.0}
    for entry in account.entries:
        caught[entry.kind == "tank"] += entry.caught
    # Of what tanks keep the part off the ground is passive.
    assert account.roof == pytest.approx(caught[True] - account.led, rel=1e-9, abs=1e-9)
    assert account.passive == pytest.approx(caught[False] + account.led, rel=1e-9, abs=1e-9)
    # What is caught is what is kept, so passive and roof are all the site keeps.
    assert account.roof + account.passive == pytest.approx(kept, rel=1e-9, abs=1e-9 * (came + 1))


@settings(max_examples=50)
@given(cascades(), st.floats(0, 250), st.floats(0.25, 48), st.sampled_from(PATTERNS))
def test_the_account_of_any_storm_closes(cascade, rain, duration, pattern):
    added_up(storm_account(run_storm(cascade, rain, storm_shape(pattern, duration))))


@settings(max_examples=40)
@given(cascades(), st.lists(st.floats(0, 120) | st.just(0.0), min_size=1, max_size=30))
def test_the_account_of_any_record_closes(cascade, rain):
    record = pd.Series(rain, pd.date_range("1999-05-20", periods=len(rain)))
    added_up(year_account(cascade, run_seasons(cascade, record, reference_of(record, DRY))))


def example():
    return cascade_of([
        (store_of("tank", tank_curve(5.0)), NO_GROUND, RoofCatchment(200.0, 180.0, 1.0), 1),
        (store_of("swale", channel_curve(1.0, 0.3, 0.6, 2.0, 30.0), infiltration=5.0),
         ground_of([85.0], [1500.0], [0.2]), NO_ROOF, None)], ground_of([70.0], [3000.0]))


def test_roof_and_passive_capture_stand_beside_each_other():
    """41 mm, 200 m2 at 0.9 less 1 mm is 7.2 m3: 5 into the tank, 2.2 on to the swale."""
    account = storm_account(run_storm(example(), 41.0, storm_shape("II", 24.0)))
    tank, swale = account.entries
    assert account.roof == pytest.approx(5.0)
    assert tank.spilled == swale.from_above == pytest.approx(2.2)
    assert account.passive == pytest.approx(swale.caught)
    assert account.rain == pytest.approx((200 + 0.8 * 1500 + 3000) * 0.041)
    assert account.run_on == swale.run_on == pytest.approx(0.2 * swale.runoff)


def mixed():
    """A pond whose spill is pumped to a tank that has a roof of its own and gives to another tank,
    which gives to a swale."""
    pond = store_of("basin", tank_curve(6.0, 1.0), infiltration=1.0)
    return cascade_of([
        (pond, ground_of([90.0], [900.0]), NO_ROOF, 1),
        (store_of("tank", tank_curve(8.0), demand=0.4), NO_GROUND,
         RoofCatchment(120.0, 108.0, 1.0), 2),
        (store_of("tank", tank_curve(5.0), demand=0.2), NO_GROUND, NO_ROOF, 3),
        (store_of("swale", channel_curve(1.0, 0.3, 0.6, 2.0, 30.0), infiltration=5.0),
         ground_of([85.0], [1500.0], [0.2]), NO_ROOF, None)], ground_of([70.0], [3000.0]))


def by_origin(stores):
    """What tanks keep off roofs and off the ground, by hand: each tank keeps and spills both as
    they come to it."""
    pond, first, second, _ = stores
    off_roofs = first.roof / (first.roof + pond.spilled)
    kept = first.inflow - first.spilled + second.inflow - second.spilled
    return off_roofs * kept, (1 - off_roofs) * kept


def test_ground_water_in_a_tank_is_passive_capture_in_a_storm():
    account = storm_account(run_storm(mixed(), 55.0, storm_shape("II", 24.0)))
    roofs, ground = by_origin(account.entries)
    assert min(roofs, ground) > 1
    assert account.roof == pytest.approx(roofs)
    assert account.led == pytest.approx(ground)
    assert account.passive == pytest.approx(
        ground + account.entries[0].caught + account.entries[3].caught)
    added_up(account)


def test_ground_water_in_a_tank_is_passive_capture_day_by_day():
    """Each day of the record by hand, by the shares of that day's inflow."""
    rain = np.zeros(365)
    rain[[3, 40, 41, 43, 200, 300]] = [9.0, 55.0, 20.0, 70.0, 4.0, 61.0]
    cascade = mixed()
    run = run_seasons(cascade, pd.Series(rain, pd.date_range("2001-01-01", periods=365)), None)
    pond, first, second, _ = run.stores
    roofs = ground = 0.0
    for day in np.flatnonzero(rain):
        came = first.roof[day] + pond.spilled[day]
        share = first.roof[day] / came
        kept = sum(tank.inflow[day] - tank.spilled[day] for tank in (first, second))
        roofs, ground = roofs + share * kept, ground + (1 - share) * kept
    assert ground > 10
    account = year_account(cascade, replace(run, weights=np.ones(365)))
    assert account.roof == pytest.approx(roofs, rel=1e-9)
    assert account.led == pytest.approx(ground, rel=1e-9)
    added_up(account)


def test_a_tank_that_only_roofs_feed_keeps_roof_water_alone():
    for account in (storm_account(run_storm(example(), 41.0, storm_shape("II", 24.0))),
                    year_account(example(), run_seasons(example(), six_years(), None))):
        assert account.led == 0.0
        assert account.roof == account.entries[0].caught > 0


@pytest.mark.parametrize("name", ["infiltrated", "held", "spilled", "from_above", "runoff"])
def test_an_account_that_loses_a_litre_is_refused(name):
    cascade = example()
    run = run_storm(cascade, 60.0, storm_shape("II", 24.0))
    swale = run.stores[1]
    wrong = replace(run, stores=[run.stores[0],
                                 replace(swale, **{name: getattr(swale, name) + 0.001})])
    with pytest.raises(ArithmeticError, match="fails to close"):
        storm_account(wrong)


@pytest.mark.parametrize("name", ["rain", "run_on", "soaked_in_place", "left_site"])
def test_a_site_that_loses_a_litre_is_refused(name):
    cascade = example()
    run = run_storm(cascade, 60.0, storm_shape("II", 24.0))
    with pytest.raises(ArithmeticError, match="fails to close"):
        storm_account(replace(run, **{name: getattr(run, name) + 0.001}))


def test_an_account_with_a_figure_that_is_no_number_is_refused():
    cascade = example()
    run = run_storm(cascade, 60.0, storm_shape("II", 24.0))
    with pytest.raises(ArithmeticError, match="fails to close"):
        storm_account(replace(run, left_site=float("nan")))


def test_a_year_is_the_mean_of_the_record():
    rain = np.zeros(731)
    rain[[10, 200, 420]] = [30.0, 12.0, 55.0]
    record = pd.Series(rain, pd.date_range("2003-01-01", periods=731))
    cascade = example()
    run = run_seasons(cascade, record, None)
    account = year_account(cascade, run)
    # Two Januaries and Julys of 31 days, and Februaries of 28 and 29 in a mean of 28.2425.
    january, july, february = 31 / 62, 31 / 62, 28.2425 / 57
    rain_year = 30 * january + 12 * july + 55 * february
    assert account.rain == pytest.approx((200 + 1200 + 3000) * rain_year / 1000)
    assert account.entries[0].roof == pytest.approx(
        (29 * january + 11 * july + 54 * february) * 0.18)


def test_a_record_of_a_year_and_a_half_is_not_biased_by_its_season():
    """10 mm on every tenth day from January to June, dry after: half a year of rain a year."""
    days = pd.date_range("2010-01-01", "2011-06-30")
    rain = np.where((days.month <= 6) & (days.day % 10 == 1), 10.0, 0.0)
    run = run_seasons(example(), pd.Series(rain, days), None)
    wet = [31, 28.2425, 31, 30, 31, 30]
    falls = [4, 3, 4, 3, 4, 3]
    days_in = [31, 28, 31, 30, 31, 30]
    expected = sum(10 * n * mean / real for n, mean, real in zip(falls, wet, days_in, strict=True))
    assert run.mean(run.rain_mm) == pytest.approx(expected)
    assert rain.sum() / run.years > 1.3 * expected  # what dividing by the length would say


def six_years(dry_year=2013):
    """Six years with a storm every ninth day but in one of them, wetter from year to year."""
    days = pd.date_range("2010-01-01", "2015-12-31")
    rain = np.where(np.arange(days.size) % 9 == 0, 12.0 + 2 * (days.year - 2010), 0.0)
    return pd.Series(np.where(days.year == dry_year, 0.0, rain), days)


def test_a_year_without_rain_lives_on_what_was_held_and_still_closes():
    tank = store_of("tank", tank_curve(40.0), demand=0.031)
    cascade = cascade_of([(tank, NO_GROUND, RoofCatchment(100.0, 90.0), None)])
    years = years_of_record(cascade, run_seasons(cascade, six_years(), None))
    assert [(year.kind, year.year) for year in years] == [
        ("dry", 2013), ("median", 2011), ("wet", 2015)]
    driest = years[0].account.entries[0]
    assert driest.inflow == 0
    assert driest.used > 1
    assert driest.used + driest.held == pytest.approx(0.0, abs=1e-9)


def test_a_real_year_tells_what_was_held_when_it_began_and_ended():
    """Reference: the record's own days."""
    cascade = example()
    run = run_seasons(cascade, six_years(), None)
    for start in (1, 7):
        for year in years_of_record(cascade, run, start):
            first = run.days.get_loc(pd.Timestamp(year.year, start, 1))
            last = run.days.get_loc(pd.Timestamp(year.year + 1, start, 1) - pd.Timedelta(days=1))
            for entry, store in zip(year.account.entries, run.stores, strict=True):
                assert entry.before == (store.held[first - 1] if first else 0.0)
                assert entry.before + entry.held == pytest.approx(store.held[last], abs=1e-9)
    assert year_account(cascade, run).entries[0].before is None


@pytest.mark.parametrize(("kind", "dry_year", "told"), [
    ("tank", 2010, True), ("tank", 2013, False), ("swale", 2010, False)])
def test_tanks_that_the_record_finds_empty_are_told(kind, dry_year, told):
    """The dry year is the record's first, with a storm in January alone, or its fourth."""
    rain = six_years(dry_year)
    rain.iloc[0] = 12.0
    store = store_of(kind, tank_curve(40.0) if kind == "tank" else
                     channel_curve(1.0, 0.3, 0.6, 2.0, 30.0))
    cascade = cascade_of([(store, NO_GROUND, RoofCatchment(100.0, 90.0), None)])
    run = run_seasons(cascade, rain, None)
    said = empty_start(years_of_record(cascade, run), run.days)
    assert said == ("The dry year (2010) is the first of the record: its tanks start empty, and "
                    "what they hold at its end counts as captured." if told else None)


def test_a_years_rank_is_not_spoiled_by_its_gaps_and_its_name_tells_them():
    """The wettest year loses 36 days and so 88 mm, which puts it behind the year before: it still
    counts as the wettest, and its rain is as read."""
    gone = six_years()
    gone["2015-06-01":"2015-07-06"] = np.nan
    run = run_seasons(example(), gone, None)
    last = years_of_record(example(), run)[-1]
    assert (last.kind, last.year, last.missing) == ("wet", 2015, 36)
    assert last.name == "wet year (2015, 36 days missing)"
    assert last.rain == pytest.approx(float(gone[gone.index.year == 2015].sum()))
    assert last.account.rain == pytest.approx(last.rain * (200 + 1200 + 3000) / 1000)


def test_years_may_begin_in_another_month():
    years = years_of_record(example(), run_seasons(example(), six_years(), None), 7)
    assert years[-1].name == "wet year (2014/15)"
    assert years[-1].rain == pytest.approx(float(
        six_years()["2014-07-01":"2015-06-30"].sum()))
