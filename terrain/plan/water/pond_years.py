"""A pond meant to hold water, month by month: what comes, what it loses, how much stands in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.water_balance import SeasonRun, StoreYears
from terrain.runoff.rain_years import months_from
from terrain.works.store import Curve

#: A pond with less than this share of what it holds counts as dry; common practice, no source.
DRY_BELOW = 0.01


@dataclass(frozen=True)
class PondMonth:
    """A month of a pond: comes = evaporated + seeped + used + spilled + gained.

    Attributes
    ----------
    month : int
        1 to 12.
    comes, evaporated, seeped, used, spilled, gained : float
        Rain on its own water included in what comes. [m3]
    wanted : float
        By its uses, of which `used` is drawn. [m3]
    stands : float
        What stands in it on the mean day. [m3]
    depth : float
        On the mean day on which it is not dry, over the lowest ground that water stands on; 0 in a
        month without such a day. [m]
    dry_days : float
    """

    month: int
    comes: float
    evaporated: float
    seeped: float
    used: float
    spilled: float
    gained: float
    stands: float
    depth: float
    dry_days: float
    wanted: float = 0.0


@dataclass(frozen=True)
class PondYear:
    """Twelve months of a pond, that with which the record's years begin first; `name` such as
    "average year" or "dry year (2009)"."""

    name: str
    months: tuple[PondMonth, ...]

    @property
    def dry_days(self) -> float:
        """Days of the year on which it is dry."""
        return sum(month.dry_days for month in self.months)

    @property
    def wanted(self) -> float:
        """What its uses want in the year. [m3]"""
        return sum(month.wanted for month in self.months)

    @property
    def used(self) -> float:
        """What they draw of it. [m3]"""
        return sum(month.used for month in self.months)

    @property
    def lowest(self) -> PondMonth:
        """The month in which least stands in it."""
        return min(self.months, key=lambda month: month.stands)


def pond_years(run: SeasonRun, index: int, curve: Curve, years: Sequence[YearOfRecord],
               start_month: int = 1) -> tuple[PondYear, ...]:
    """The average, the dry and the wet year of a pond, each of the days of its account.

    Parameters
    ----------
    index : int
        Of the pond's node in the cascade.
    curve : Curve
    years : sequence of YearOfRecord
        Of which those named dry and wet are taken.
    start_month : int
        Of the record's years.
    """
    store = run.stores[index]
    wanted = [("average year", run.weights)] + [
        (year.name, year.within(run.days).astype(np.float64)) for year in years
        if year.kind in ("dry", "wet")]
    return tuple(PondYear(name, _months(run, store, curve, weights, start_month))
                 for name, weights in wanted)


def _months(run: SeasonRun, store: StoreYears, curve: Curve, weights: NDArray[np.float64],
            start_month: int) -> tuple[PondMonth, ...]:
    gains = np.diff(store.held, prepend=0.0)
    dry = (store.held <= DRY_BELOW * curve.capacity).astype(np.float64)
    found = []
    for month in months_from(start_month):
        share = weights * (run.days.month == month)

        def total(series: NDArray[np.float64], share: NDArray[np.float64] = share) -> float:
            return float((series * share).sum())
        days = float(share.sum())
        stands = total(store.held) / days if days else 0.0
        wet = days - total(dry)
        held = total(store.held * (1 - dry)) / wet if wet > 1e-9 else 0.0
        found.append(PondMonth(
            month, total(store.inflow), total(store.evaporated), total(store.infiltrated),
            total(store.used), total(store.spilled), total(gains), stands,
            curve.level_at(held) - curve.floor if held > 0 else 0.0, total(dry),
            sum(total(part.wanted) for part in store.uses)))
    return tuple(found)
