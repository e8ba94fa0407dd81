"""Seasons of a store on an invented record whose days can be counted by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from networks import NO_GROUND, NO_ROOF, cascade_of, store_of

from terrain.plan.water.accounts import Account, YearOfRecord
from terrain.plan.water.store_years import store_years
from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import tank_curve
from terrain.works.water_use import Use

RAINS = (0, 100, 430)  # days of two years that start with 1 January 2001


@pytest.fixture(scope="module")
def lived():
    """An upright pond of 10 m3 and 1 m depth that sinks 2 mm/h, filled by 100 mm off 1,000 m2;
    beside it a tank."""
    days = pd.date_range("2001-01-01", "2002-12-31")
    rain = np.zeros(days.size)
    rain[list(RAINS)] = 100.0
    pond = store_of("basin", tank_curve(10.0, 1.0), infiltration=2.0)
    cascade = cascade_of([(pond, NO_GROUND, RoofCatchment(1000.0, 1000.0), None),
                          (store_of("tank", tank_curve(5.0)), NO_GROUND, NO_ROOF, None)])
    return cascade, run_seasons(cascade, pd.Series(rain, days), None)


def year_named(kind, year):
    return YearOfRecord(kind, year, 1, 0.0, 0, Account((), 0, 0, 0, 0, 0, 0, 0))


def test_an_average_year_counted_by_hand(lived):
    """It is full and spills on three days, none in February, of which each counts half in an
    average year.  At the end of its day it stands 0.962 m deep, 19 hours after it was full, and
    sinks 0.048 m a day: 20 days have over 0.01 m.  It lies dry 80, 310 and 280 days; the first two
    end with a full pond."""
    cascade, run = lived
    year, *rest = store_years(cascade, run, ())[0]
    assert rest == []
    assert year.fills == year.spills == pytest.approx(1.5)
    assert year.days_full == pytest.approx(1.5)
    assert year.days_with_water == pytest.approx(30.0)
    assert year.dry_spell == 310
    assert year.refill == pytest.approx((80 + 310) / 2)
    assert year.left_over == 0.0


def test_years_of_the_record_count_their_own_days(lived):
    cascade, run = lived
    found = store_years(cascade, run, [year_named("dry", 2002), year_named("median", 2001),
                                       year_named("wet", 2001)])[0]
    assert [year.year for year in found] == ["average year", "dry year (2002)",
                                             "median year (2001)", "wet year (2001)"]
    dry, median, wet = found[1:]
    assert (median.fills, median.dry_spell) == (wet.fills, wet.dry_spell)
    assert (dry.fills, wet.fills) == (1.0, 2.0)
    assert (dry.days_with_water, wet.days_with_water) == (20.0, 40.0)
    # In 2002 days 365 to 429 are dry before the rain, 450 to 729 after it.
    assert (dry.dry_spell, wet.dry_spell) == (280, 365 - 120)
    assert dry.refill is None  # it is not full again within the record
    assert wet.refill == pytest.approx(195.0)


def test_what_is_left_at_a_years_end(lived):
    """Rain on the last day but one of 2001 leaves 0.962 - 0.048 m on 10 m2 at its end."""
    cascade, run = lived
    days = run.days
    rain = np.where(days == "2001-12-30", 100.0, 0.0)
    run = run_seasons(cascade, pd.Series(rain, days), None)
    average, wet = store_years(cascade, run, [year_named("wet", 2001)])[0]
    assert average.left_over == wet.left_over == pytest.approx(9.14)
    assert wet.dry_spell == 363


def test_a_tank_has_its_seasons_and_carries_over_what_it_holds():
    """5 m3 on 2001-12-22 at 0.25 m3 a day last 20 days, to 2002-01-10; a second use wants 0.1 m3 a
    day and is served after it.  By hand: the first day's use is drawn from the first hour's water
    on, so 10 days of 0.35 m3 are gone at the year's end, and the rest 4.28 days later."""
    days = pd.date_range("2001-01-01", "2002-12-31")
    rain = np.where(days == "2001-12-22", 50.0, 0.0)
    tank = replace(store_of("tank", tank_curve(5.5)), uses=(
        Use("goats", "livestock", np.full(12, 0.25)), Use("hens", "livestock", np.full(12, 0.1))))
    cascade = cascade_of([(tank, NO_GROUND, RoofCatchment(100.0, 100.0), None)])
    run = run_seasons(cascade, pd.Series(rain, days), None)
    average, first, second = store_years(cascade, run, [year_named("dry", 2001),
                                                        year_named("wet", 2002)])[0]
    assert (first.held_before, second.held_before) == (0.0, first.left_over)
    assert first.left_over == pytest.approx(5.0 - 10 * 0.35)
    assert (first.used, first.wanted) == (pytest.approx(3.5), pytest.approx(0.35 * 365))
    assert (second.used, second.left_over) == (pytest.approx(1.5), pytest.approx(0.0, abs=1e-9))
    assert (first.short_days, second.short_days) == (355, 365 - 4)
    assert first.dry_spell == 355
    assert average.held_before == pytest.approx(0.75)


def test_a_drain_holds_nothing_and_has_no_seasons(lived):
    cascade, run = lived
    drain = replace(cascade.nodes[1], store=replace(cascade.nodes[1].store, kind="drain"))
    assert store_years(replace(cascade, nodes=[cascade.nodes[0], drain]), run, ())[1] == ()


def test_spells_and_waits_end_at_a_day_without_a_reading(lived):
    """One unread day, 300, within the wait of 310 days from day 120 on: 180 and 129 dry days stay
    of that spell, so the last one, of 280, is the longest; only the wait of 80 days is known."""
    cascade, run = lived
    record = pd.Series(run.rain_mm.copy(), run.days)
    record.iloc[300] = np.nan
    year = store_years(cascade, run_seasons(cascade, record, None), ())[0][0]
    assert (year.dry_spell, year.refill) == (280, 80.0)
