"""All that is told of a year of the record is of the days of that year's account."""

import numpy as np
import pandas as pd
import pytest
from networks import NO_GROUND, NO_ROOF, cascade_of, ground_of, reference_of, store_of

from terrain.plan.water.accounts import years_of_record
from terrain.plan.water.pond_years import pond_years
from terrain.plan.water.store_years import store_years
from terrain.plan.water.tank_years import tank_life
from terrain.plan.water.tree_life import tree_life
from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.rules import Rulebook
from terrain.works.store import channel_curve, tank_curve
from terrain.works.tree_stand import TreeStand

DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]
SWALE = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 40.0), 6.0, infiltration=4.0)
TREES = TreeStand("olive", 8, 3.0, 0.6, "", float(SWALE.curve.areas[-1]), 0.5)


@pytest.fixture(scope="module")
def lived():
    """Nine years of invented showers, in each year another season's."""
    days = pd.date_range("2001-01-01", "2009-12-31")
    rng = np.random.default_rng(5)
    wet = rng.random(days.size) < 0.12 + 0.06 * np.sin(days.dayofyear / 58 + days.year)
    record = pd.Series(np.where(wet, rng.gamma(1.2, 11.0, days.size), 0.0), days)
    pond = store_of("basin", channel_curve(5.0, 1.2, 2.0, 2.0, 9.0), 6.0, infiltration=0.3)
    cascade = cascade_of([(SWALE, ground_of([85.0, 100.0], [900.0, 72.0]), NO_ROOF, 1),
                          (pond, ground_of([88.0, 100.0], [700.0, 60.0]), NO_ROOF, None),
                          (store_of("tank", tank_curve(6.0), demand=0.09), NO_GROUND,
                           RoofCatchment(70.0, 63.0, 0.5), None)])
    reference = reference_of(record, DRY)
    return cascade, run_seasons(cascade, record, reference), reference


@pytest.mark.parametrize("start", [1, 7, 10])
def test_months_of_every_table_add_up_to_the_years_account(lived, start):
    cascade, run, reference = lived
    years = years_of_record(cascade, run, start)
    assert [year.kind for year in years] == ["dry", "median", "wet"]
    told = {year.name: year for year in years}
    ponds = pond_years(run, 1, cascade.nodes[1].store.curve, years, start)
    life = tree_life(TREES, run.stores[0], run, reference, years, Rulebook())
    tank = tank_life(cascade, run, 2, years, start)
    assert [table.name for table in ponds[1:]] == [months.name for months in life.months[1:]]
    for table, months in zip(ponds[1:], life.months[1:], strict=True):
        year = told[table.name]
        swale, pond, _ = year.account.entries
        for part, entry in (("comes", pond.inflow), ("evaporated", pond.evaporated),
                            ("seeped", pond.infiltrated), ("spilled", pond.spilled),
                            ("gained", pond.held)):
            assert sum(getattr(month, part) for month in table.months) == pytest.approx(
                entry, rel=1e-9, abs=1e-9), part
        assert months.soaked.sum() == pytest.approx(swale.infiltrated, rel=1e-9)
        assert [month.month for month in table.months] == [
            *range(start, 13), *range(1, start)]
        # By the calendar alone, in the test's own words.
        first = pd.Timestamp(year.year, start, 1)
        within = (run.days >= first) & (run.days < first + pd.DateOffset(years=1))
        assert months.soaked.sum() == pytest.approx(run.stores[0].infiltrated[within].sum())
    for year, of_tank in zip(years, tank.years, strict=True):
        first = pd.Timestamp(year.year, start, 1)
        within = (run.days >= first) & (run.days < first + pd.DateOffset(years=1))
        assert of_tank.wanted.sum() == pytest.approx(0.09 * within.sum())


def test_seasons_tell_what_the_account_began_and_ended_with(lived):
    cascade, run, _ = lived
    for start in (1, 7):
        years = years_of_record(cascade, run, start)
        for index, told in enumerate(store_years(cascade, run, years, start)):
            by_name = {year.year: year for year in told}
            for year in years:
                entry = year.account.entries[index]
                assert by_name[year.name].held_before == pytest.approx(entry.before, abs=1e-9)
                assert by_name[year.name].left_over == pytest.approx(
                    entry.before + entry.held, abs=1e-9)
