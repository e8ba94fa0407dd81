"""Accounts that close: where the water of a storm or of an average year went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Cascade
from terrain.plan.water.entry import Entry
from terrain.plan.water.routing import StormRun
from terrain.plan.water.water_balance import SeasonRun
from terrain.runoff.rain_years import (
    SHARES,
    year_name,
    year_of,
    year_totals,
    year_with_less,
    years_of,
)

if TYPE_CHECKING:
    import pandas as pd

#: Largest share of what came in that an account may fail to explain.
CLOSES_TO = 1e-9
#: Of fewer whole years no dry, median and wet one is told; common practice, no source.
LEAST_YEARS = 5


@dataclass(frozen=True)
class Account:
    """A site's account over a storm or an average year. [m3]

    Attributes
    ----------
    entries : tuple of Entry
    rain : float
        On the property.
    run_on : float
        Runoff that comes onto the property, or into its stores, from beyond the boundary.
    soaked_in_place : float
        Rain that never ran off, and what roofs lose.
    roof : float
        Captured by tanks of what came off roofs: roof capture.
    passive : float
        Captured by swales, basins, tree basins and hollows, and by tanks of what came off the
        ground: passive capture.
    left_site : float
    unexplained : float
        What the account fails to explain, as a share of what came in.
    brought : float
        By tankers; it comes beside rain and run-on and is nobody's capture.
    grey : float
        Used in tanks and come again in stores on the ground; part of what was used.
    led : float
        The part of passive capture that stands in tanks, led or pumped there from the ground.
    """

    entries: tuple[Entry, ...]
    rain: float
    run_on: float
    soaked_in_place: float
    roof: float
    passive: float
    left_site: float
    unexplained: float
    brought: float = 0.0
    grey: float = 0.0
    led: float = 0.0


def storm_account(run: StormRun) -> Account:
    """The account of a storm."""
    return _closed(tuple(run.stores), run.rain, run.run_on, run.soaked_in_place, run.left_site)


def year_account(cascade: Cascade, run: SeasonRun) -> Account:
    """The account of an average year of the record; `held` is the mean change over it."""
    return _weighted(cascade, run, run.weights)


#: Why a store may catch more of a storm than it holds.
MORE_THAN_IT_HOLDS = ("A store may catch more of a storm than it holds at once: what soaks in "
                      "while water still comes makes room for more.")


@dataclass(frozen=True)
class YearOfRecord:
    """A real year of the record that stands for its kind.

    Attributes
    ----------
    kind : str
        "dry", "median" or "wet": the whole year whose rain is nearest to that which 10, 50 and
        90 % of whole years do not reach.
    year, start_month : int
        The calendar year in which it begins, and with which month.
    rain : float
        As read. [mm]
    missing : int
        Days without a reading.
    account : Account
    """

    kind: str
    year: int
    start_month: int
    rain: float
    missing: int
    account: Account

    @property
    def name(self) -> str:
        """Such as "dry year (2009)", or "wet year (2010/11, 4 days missing)"."""
        named = year_name(self.year, self.start_month)
        lacks = f", {self.missing} days missing" if self.missing else ""
        return f"{self.kind} year ({named}{lacks})"

    def within(self, days: pd.DatetimeIndex) -> NDArray[np.bool_]:
        """Which days of a record are this year's: all that is told of it is of these."""
        return np.asarray(year_of(days, self.start_month) == self.year)


def years_of_record(cascade: Cascade, run: SeasonRun, start_month: int = 1
                    ) -> tuple[YearOfRecord, ...]:
    """A dry, a median and a wet year of the record; none where fewer than 5 years are whole.

    Percentiles as `terrain.runoff.rain_years.year_with_less`.  Of years equally near the earlier
    one is taken; days without a reading count as dry in it.
    """
    import pandas as pd

    daily = pd.Series(np.where(run.known, run.rain_mm, np.nan), run.days)
    years = years_of(daily, start_month)
    # Ranked with the mean of its month on days without a reading, lest gaps look like drought.
    filled = daily.fillna(daily.groupby(run.days.month).transform("mean"))
    totals = year_totals(filled, years)
    if len(totals) < LEAST_YEARS:
        return ()
    found = []
    for kind, share in SHARES.items():
        away = (totals - year_with_less(totals, share)).abs()
        year = int(totals.index[int(np.argmin(away.to_numpy()))])
        days = year_of(run.days, start_month) == year
        account = _weighted(cascade, run, days.astype(np.float64), int(np.argmax(days)))
        found.append(YearOfRecord(kind, year, start_month, float(run.rain_mm[days].sum()),
                                  int((~run.known[days]).sum()), account))
    return tuple(found)


def empty_start(years: Sequence[YearOfRecord], days: pd.DatetimeIndex) -> str | None:
    """That tanks begin a year empty because the record begins with it, and what that does to its
    capture; None where no year is so, or no tank holds more at its end.

    Parameters
    ----------
    days : pandas DatetimeIndex
        Of the record.
    """
    for year in years:
        filled = any(entry.kind == "tank" and entry.held > 0 for entry in year.account.entries)
        if filled and year.within(days)[0]:
            return (f"The {year.name} is the first of the record: its tanks start empty, and what "
                    "they hold at its end counts as captured.")
    return None


def _weighted(cascade: Cascade, run: SeasonRun, weights: NDArray[np.float64],
              first: int | None = None) -> Account:
    """The account of days, each with its weight; `first` is the first of days on end."""
    def mean(series: NDArray[np.float64]) -> float:
        return float((series * weights).sum())

    entries = tuple(
        Entry(node.store.name, node.store.kind, mean(s.runoff), mean(s.run_on), mean(s.roof),
              mean(s.from_above), mean(s.infiltrated), mean(s.evaporated), mean(s.used),
              mean(np.diff(s.held, prepend=0.0)), mean(s.spilled), grey=mean(s.grey),
              brought=mean(s.brought), over=mean(s.over), off_roofs=mean(s.off_roofs),
              before=None if first is None else float(s.held[first - 1]) if first else 0.0)
        for node, s in zip(cascade.nodes, run.stores, strict=True))
    return _closed(entries, mean(run.rain), mean(run.run_on), mean(run.soaked_in_place),
                   mean(run.left_site))


def _closed(entries: Sequence[Entry], rain: float, run_on: float, soaked: float, left: float
            ) -> Account:
    """Check every balance before anybody reads it."""
    gaps = []
    for entry in entries:
        went = (entry.infiltrated + entry.evaporated + entry.used + entry.held + entry.spilled)
        # A store may live on what it held before: what went counts as much as what came.
        moved = entry.inflow + entry.infiltrated + entry.evaporated + entry.used + abs(entry.held)
        gaps.append(abs(entry.inflow - went) / max(moved, 1e-6))
    brought, grey = (sum(getattr(e, way) for e in entries) for way in ("brought", "grey"))
    # Grey water was used in a tank and came again: it goes once.
    kept = sum(e.infiltrated + e.evaporated + e.used + e.held for e in entries) - grey
    came = rain + run_on + brought
    moved = came + sum(e.infiltrated + e.evaporated + e.used + abs(e.held) for e in entries)
    gaps.append(abs(came - soaked - kept - left) / max(moved, 1e-6))
    worst = max(gaps, key=lambda gap: (gap != gap, gap))  # a gap that is no number is the worst
    if not worst <= CLOSES_TO:
        raise ArithmeticError(f"an account fails to close by {worst:.1e} of what came in")
    return Account(tuple(entries), rain, run_on, soaked,
                   sum(e.roof_capture for e in entries), sum(e.passive_capture for e in entries),
                   left, worst, brought, grey,
                   sum(e.passive_capture for e in entries if e.kind == "tank"))
