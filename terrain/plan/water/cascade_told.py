"""All that a plan tells of its cascade: ways of the spills, captures, totals and seasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from terrain.plan.siting.hydrology import YEARS, soil_dries
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.accounts import (
    Account,
    YearOfRecord,
    storm_account,
    year_account,
    years_of_record,
)
from terrain.plan.water.before_works import cascade_before
from terrain.plan.water.capture import Capture, capture
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.rarity import rarity_of
from terrain.plan.water.routing import StormRun, run_storm
from terrain.plan.water.spill_ways import SpillWay, spill_ways
from terrain.plan.water.store_years import StoreYear, store_years
from terrain.plan.water.totals import Total, total_of
from terrain.plan.water.water_balance import SeasonRun, run_seasons


@dataclass(frozen=True)
class CascadeTold:
    """What a plan tells of its cascade.

    Attributes
    ----------
    ways : tuple of SpillWay
        In the order of the nodes, as `seasons`.
    before : Cascade
        The same ground without the works.
    capture : Capture
    totals : tuple of Total
        Each storm, then the dry, median and wet year and the average year where there is a record.
    seasons : tuple of tuple of StoreYear
        Average, dry, median and wet year of each store; empty without a record.
    """

    ways: tuple[SpillWay, ...]
    before: Cascade
    capture: Capture
    totals: tuple[Total, ...]
    seasons: tuple[tuple[StoreYear, ...], ...]


def tell_cascade(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed],
                 runs: dict[str, StormRun], filled: Sequence[float | None],
                 seasons: SeasonRun | None, years: Sequence[YearOfRecord]) -> CascadeTold:
    """Tell a cascade whose storms and years have been run.

    Parameters
    ----------
    runs : dict of str to StormRun
        By the storms' names.
    filled : sequence of float or None
        Smallest rain that fills each store. [mm]
    """
    site, shapes = inputs.site, inputs.hydrology.shapes
    design = site.rain.design
    before = cascade_before(inputs, placed)
    swept = capture(cascade, before, shapes[design.name],
                    [storm.depth for storm in site.rain.storms], filled,
                    rarity_of(site, inputs.record, design.duration))
    area = float(inputs.ground.boundary.area)

    def total(name: str, depth: float, account: Account, then: Account) -> Total:
        return total_of(name, depth, area, cascade, account, before, then)

    totals = [total(storm.name, storm.depth, storm_account(runs[storm.name]),
                    storm_account(run_storm(before, storm.depth, shapes[storm.name])))
              for storm in site.rain.storms]
    told: tuple[tuple[StoreYear, ...], ...] = ()
    if seasons is not None and inputs.record is not None:
        reference = None if inputs.evaporation is None else inputs.evaporation.daily
        then = run_seasons(before, inputs.record.depths, reference, soil_dries(site))
        mates = {year.kind: year for year in years_of_record(before, then, site.rain.start_month)}
        totals += [total(year.name, year.rain, year.account, mates[year.kind].account)
                   for year in years]
        totals.append(total(YEARS[soil_dries(site)], seasons.mean(seasons.rain_mm),
                            year_account(cascade, seasons), year_account(before, then)))
        told = store_years(cascade, seasons, years, site.rain.start_month)
    return CascadeTold(spill_ways(inputs, cascade, placed), before, swept, tuple(totals), told)
