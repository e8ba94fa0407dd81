"""Seasons of a store on an invented record whose days can be counted by hand."""

import numpy as np
import pandas as pd
import pytest
from networks import NO_GROUND, NO_ROOF, cascade_of, store_of

from terrain.plan.water.accounts import Account, YearOfRecord
from terrain.plan.water.store_years import store_years
from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import tank_curve

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
    assert [year.year for year in found] == ["average year", "dry year (2002)", "wet year (2001)"]
    dry, wet = found[1:]
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


def test_tanks_and_drains_have_no_seasons_here(lived):
    cascade, run = lived
    assert store_years(cascade, run, ())[1] == ()


def test_spells_and_waits_end_at_a_day_without_a_reading(lived):
    """One unread day, 300, within the wait of 310 days from day 120 on: 180 and 129 dry days stay
    of that spell, so the last one, of 280, is the longest; only the wait of 80 days is known."""
    cascade, run = lived
    record = pd.Series(run.rain_mm.copy(), run.days)
    record.iloc[300] = np.nan
    year = store_years(cascade, run_seasons(cascade, record, None), ())[0][0]
    assert (year.dry_spell, year.refill) == (280, 80.0)
