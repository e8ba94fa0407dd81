"""The months of a pond by hand."""

import numpy as np
import pandas as pd
import pytest
from networks import NO_GROUND, cascade_of, store_of

from terrain.plan.water.basin_facts import _year_words
from terrain.plan.water.pond_years import pond_years
from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import Curve


def average_year(curve):
    """A pond that sinks 2 mm/h, filled once in two years, on 1 January 2001, by 100 mm."""
    days = pd.date_range("2001-01-01", "2002-12-31")
    rain = np.zeros(days.size)
    rain[0] = 100.0
    pond = store_of("basin", curve, infiltration=2.0)
    run = run_seasons(cascade_of([(pond, NO_GROUND, RoofCatchment(1000.0, 1000.0), None)]),
                      pd.Series(rain, days), None)
    return pond_years(run, 0, curve, ())[0]


def test_depth_is_that_of_the_days_with_water():
    """10 m2, 1 m deep over a floor at 100 m, below which lies 0.5 m of ground under a bank's body.
    At the end of its day it stands 0.962 m deep and sinks 0.048 m a day: 20 days have over 0.01 m,
    on average 0.962 - 9.5 x 0.048 = 0.506 m, of 62 in two Januaries."""
    levels = np.array([99.5, 100.0, 101.0])
    curve = Curve(levels, np.array([0.0, 10.0, 10.0]), np.array([0.0, 0.0, 10.0]))
    january, february, *_ = average_year(curve).months
    assert january.depth == pytest.approx(0.506, abs=1e-3)
    # The little that is left on the last, dry day counts in what stands on the mean day.
    assert january.stands == pytest.approx(10 * 0.506 * 20 / 62, rel=0.01)
    assert january.dry_days == pytest.approx(42 / 62 * 31, rel=0.01)
    assert (february.stands, february.depth) == (0.0, 0.0)


def test_what_is_told_of_the_lowest_month_is_true_of_its_days():
    curve = Curve(np.array([0.0, 1.0]), np.array([10.0, 10.0]), np.array([0.0, 10.0]))
    year = average_year(curve)
    assert "on the mean day, and it is dry all month." in _year_words(year)
    alone = type(year)(year.name, year.months[:1])
    assert "it is dry on 21 of that month's days, and on the others 0.51 m" in _year_words(alone)
