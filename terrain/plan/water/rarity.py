"""How rare a depth of rain is: once in so many years, by the site's table or its own record."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.rain_frequency import frequency_table
from terrain.inputs.rainfall import RainRecord
from terrain.inputs.site import Site
from terrain.runoff.extremes import (
    ANY_24_HOURS,
    RETURN_PERIODS,
    annual_maxima,
    extremes_of,
)

if TYPE_CHECKING:
    import pandas

#: Mean length of a year. [days]
DAYS_OF_YEAR = 365.2425
#: A fitted record tells of storms of this duration only. [h]
OF_THE_RECORD = 24.0
#: Depths between which the fitted curve is read are this many to the factor ten of years.
PER_DECADE = 200


@dataclass(frozen=True)
class Rarity:
    """Depth of a rain of one duration against how often it comes.

    Attributes
    ----------
    hours : float
        The duration. [h]
    years : float64, shape (n,)
        Return periods, rising. [years]
    depths : float64, shape (n,)
        Their depths, never falling. [mm]
    source : str
        Where they come from, as the end of a sentence.
    days : float64, shape (m,)
        Depths of all days of a record, rising; none where there is no record. [mm]
    """

    hours: float
    years: NDArray[np.float64]
    depths: NDArray[np.float64]
    source: str
    days: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def once_in(self, depth: float) -> tuple[float, str]:
        """Return period of a depth, and whether it lies beyond the ends.

        Parameters
        ----------
        depth : float
            [mm]

        Returns
        -------
        years : float
            [years]
        beyond : str
            "rarer" or "commoner" where that is the nearest end only; else "".

        Notes
        -----
        Between return periods the depth is linear in the logarithm of the years.  A depth below
        the first is counted among the days of the record, if there is one: the record's years
        over the days as deep or deeper, never rarer than the first.
        """
        if depth < self.depths[0]:
            as_deep = self.days.size - int(np.searchsorted(self.days, depth))
            if not as_deep:
                return float(self.years[0]), "commoner"
            counted = self.days.size / DAYS_OF_YEAR / as_deep
            return min(counted, float(self.years[0])), ""
        if depth > self.depths[-1]:
            return float(self.years[-1]), "rarer"
        return float(np.exp(np.interp(depth, self.depths, np.log(self.years)))), ""

    def words(self, depth: float | None) -> str:
        """Such as "once in 12 years" or "rarer than once in 100 years"; "–" without a depth."""
        if depth is None:
            return "–"
        years, beyond = self.once_in(depth)
        said = how_often(years)
        if self.days.size and depth < self.depths[0] and not beyond:
            said += ", by the record"
        return f"{beyond} than {said}" if beyond else said


def how_often(years: float) -> str:
    """Such as "once in 12 years", "once a year" or "3.5 times a year"."""
    figure = f"{1 / years:.2g}" if years < 1 else (
        f"{years:.2g}" if years < 9.95 else f"{years:.0f}")
    if float(figure) == 1:
        return "once a year"
    return f"{figure} times a year" if years < 1 else f"once in {figure} years"


def rarity_of(site: Site, record: RainRecord | None, hours: float) -> Rarity | None:
    """How rare rains of a duration are at a site.

    Parameters
    ----------
    hours : float
        The duration. [h]

    Returns
    -------
    rarity : Rarity or None
        From the frequency table, its climate factor included, where its durations reach that far:
        log-log between durations.  Else, for 24 h, from the curve fitted to the record's greatest
        days, 1.13 times them (Hershfield 1961, from memory).  None where neither tells.
    """
    given = site.rain.frequency
    if given is not None:
        table = frequency_table(site.folder / given.file, given.unit)
        if table.index[0] <= hours <= table.index[-1]:
            found = of_table(table, hours, site.rain.climate_factor)
            if record is None or abs(hours - OF_THE_RECORD) > 1e-9:
                return found
            return with_days(found, record.depths, site.rain.climate_factor)
    if record is None or abs(hours - OF_THE_RECORD) > 1e-9:
        return None
    fitted = of_record(record.depths, site.rain.start_month)
    return None if fitted is None else with_days(fitted, record.depths)


def with_days(rarity: Rarity, daily: pandas.Series, factor: float = 1.0) -> Rarity:
    """The same with depths commoner than its first counted among the days of a record.

    Notes
    -----
    Days are taken as deep in any 24 hours as the greatest are on average, 1.13 times what was
    read (Hershfield 1961, from memory), times `factor`.
    """
    read = np.sort(daily.dropna().to_numpy(float)) * ANY_24_HOURS * factor
    if read.size < DAYS_OF_YEAR:
        return rarity
    return replace(rarity, days=read, source=f"{rarity.source}; commoner depths are counted among "
                   f"the days of the record, {ANY_24_HOURS:g} times as deep in any 24 hours")


def of_table(table: pandas.DataFrame, hours: float, factor: float = 1.0) -> Rarity:
    """The same of a frequency table alone; its depths are multiplied by `factor`."""
    durations = np.log(table.index.to_numpy(float))
    depths = np.exp([np.interp(np.log(hours), durations, np.log(column))
                     for column in table.to_numpy(float).T])
    kind = "annual maxima of the frequency table" if table.attrs.get("annual") else (
        "frequency table")
    more = "" if factor == 1 else f" times the climate factor {factor:g}"
    return Rarity(hours, table.columns.to_numpy(float), np.maximum.accumulate(factor * depths),
                  f"the {kind}{more}, linear in the logarithm of the years")


def of_record(daily: pandas.Series, start_month: int = 1) -> Rarity | None:
    """The same of a daily record alone; None where its years are too few to fit."""
    maxima = annual_maxima(daily, start_month).depths.to_numpy(float)
    try:
        fitted = extremes_of(maxima)
    except ValueError:
        return None
    low, high = np.log10(RETURN_PERIODS[0]), np.log10(RETURN_PERIODS[-1])
    years = np.logspace(low, high, round((high - low) * PER_DECADE) + 1)
    depths = ANY_24_HOURS * fitted.curve.level(years)
    return Rarity(OF_THE_RECORD, years, np.maximum.accumulate(depths),
                  f"the curve fitted to the greatest days of {maxima.size} whole years of the "
                  f"record, {ANY_24_HOURS:g} times as deep in any 24 hours")
