"""How a daily rain record is made up: its years, months, how often it rains, and how long not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    import pandas

#: A year counts as whole if at least this share of its days has a reading; common practice, no
#: source.
LEAST_SHARE = 0.9
#: A day with less rain than this is dry (ETCCDI climate indices, Zhang et al. 2011, count wet days
#: from 1 mm). [mm]
WET = 1.0
#: Days in a year, and in each month of a year, on average.
YEAR_DAYS = 365.25
MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
#: Shares of years with less rain than the dry, the median and the wet year.
SHARES = {"dry": 0.1, "median": 0.5, "wet": 0.9}
#: With fewer years than this, the driest of all stands for one in ten.
LEAST_FOR_TENTHS = 9
# Depths in inches turned to mm must not exceed themselves.
_HAIR = 1e-9


@dataclass(frozen=True)
class Years:
    """Years of a record, split into whole ones and others.

    Attributes
    ----------
    read, days : Series
        By year: days with a reading, and days in that year. [days]
    whole : Index
        Years of which at least `least_share` of the days have a reading.
    start_month, least_share
        As given.
    """

    read: pandas.Series
    days: pandas.Series
    whole: pandas.Index
    start_month: int
    least_share: float

    @property
    def left_out(self) -> list[int]:
        """Years that are not whole."""
        return [int(year) for year in self.read.index if year not in self.whole]


def year_of(days: pandas.DatetimeIndex, start_month: int = 1) -> NDArray[np.int64]:
    """The year each day belongs to, named by the calendar year in which it begins."""
    return (np.asarray(days.year) - (np.asarray(days.month) < start_month)).astype(np.int64)


def year_name(year: int, start_month: int = 1) -> str:
    """A year as a person names it, by both calendar years that it lies in.

    Examples
    --------
    >>> year_name(2012), year_name(2012, 7), year_name(1999, 10)
    ('2012', '2012/13', '1999/00')
    """
    return f"{year}" if start_month == 1 else f"{year}/{(year + 1) % 100:02d}"


def months_from(start_month: int) -> list[int]:
    """The months of a year in their order, 1 to 12, that with which it begins first."""
    return [(start_month - 1 + k) % 12 + 1 for k in range(12)]


def years_of(daily: pandas.Series, start_month: int = 1, least_share: float = LEAST_SHARE
             ) -> Years:
    """Split a daily series into years.

    Parameters
    ----------
    daily : Series
        Depth of each calendar day of a span, NaN where none was read. [mm]
    start_month : int
        Month with whose first day a year begins, 1 to 12.
    least_share : float
        A year with readings on a smaller share of its days is not whole.

    Raises
    ------
    ValueError
        If the month is none, or the share not above 0 and at most 1.
    """
    import pandas

    if start_month not in range(1, 13):
        raise ValueError(f"{start_month} is no month from 1 to 12")
    if not 0 < least_share <= 1:
        raise ValueError(f"a share of {least_share:g} of the days is not between 0 and 1")
    read = daily.notna().groupby(year_of(_days(daily), start_month)).sum()
    starts = [pandas.Timestamp(int(year) + ahead, start_month, 1) for ahead in (0, 1)
              for year in read.index]
    half = len(read)
    days = pandas.Series([(b - a).days for a, b in zip(starts[:half], starts[half:], strict=True)],
                         index=read.index)
    whole = read.index[read.to_numpy() >= least_share * days.to_numpy() - _HAIR]
    return Years(read, days, whole, start_month, least_share)


def year_totals(daily: pandas.Series, years: Years) -> pandas.Series:
    """Rain of each whole year, as read: nothing stands in for missing days. [mm]"""
    totals = daily.groupby(year_of(_days(daily), years.start_month)).sum()
    return totals.loc[years.whole]


def mean_months(daily: pandas.Series) -> pandas.Series:
    """Rain of each month of an average year, 1 to 12: the mean of its days read, times its days.

    NaN for a month without a reading.  [mm]
    """
    mean = daily.groupby(_days(daily).month).mean().reindex(range(1, 13))
    return mean * MONTH_DAYS


def wet_days(daily: pandas.Series, wet: float = WET) -> pandas.Series:
    """Days of each month of an average year with at least `wet` mm; months 1 to 12. [days]"""
    return mean_months((daily >= wet - _HAIR).astype(float).where(daily.notna()))


def year_with_less(totals: pandas.Series, share: float) -> float:
    """The rain than which a share of years has less. [mm]

    Between the ranked years, the i-th of n standing for a share of i / (n + 1) (Weibull 1939);
    beyond the driest and the wettest year, these.

    Raises
    ------
    ValueError
        If there is no year.
    """
    if not len(totals):
        raise ValueError("there is no whole year")
    return float(np.quantile(totals.to_numpy(float), share, method="weibull"))


def days_a_year_above(daily: pandas.Series, depths: ArrayLike) -> NDArray[np.float64]:
    """Days a year on which more than each depth falls, counted over the days with a reading.

    Parameters
    ----------
    daily : Series
        [mm]
    depths : (n,)
        [mm]

    Returns
    -------
    days : (n,)
        [days a year]

    Raises
    ------
    ValueError
        If no day has a reading.
    """
    read = np.sort(_read(daily))
    above = read.size - np.searchsorted(read, np.asarray(depths, float) + _HAIR, side="right")
    return above * YEAR_DAYS / read.size


def how_often(daily: pandas.Series) -> pandas.DataFrame:
    """The curve of days a year above a depth: a row for 0 and each depth that was read.

    Returns
    -------
    curve : DataFrame
        ``depth_mm``, rising, and ``days_a_year``, falling to 0.
    """
    import pandas

    depths = np.unique(np.concatenate([[0.0], _read(daily)]))
    return pandas.DataFrame({"depth_mm": depths, "days_a_year": days_a_year_above(daily, depths)})


def storms(daily: pandas.Series, wet: float = WET) -> pandas.DataFrame:
    """Runs of days with at least `wet` mm each; a day without a reading ends a run.

    Returns
    -------
    storms : DataFrame
        ``first`` and ``last`` day, ``days``, ``depth_mm``, in order of time.
    """
    runs = _runs(daily, daily >= wet - _HAIR)
    sums = np.concatenate([[0.0], np.cumsum(np.nan_to_num(daily.to_numpy(float)))])
    first, last = runs.pop("at_first"), runs.pop("at_last")
    runs["depth_mm"] = sums[last.to_numpy(int) + 1] - sums[first.to_numpy(int)]
    return runs.drop(columns="open")


def storms_a_year_above(daily: pandas.Series, depths: ArrayLike, wet: float = WET
                        ) -> NDArray[np.float64]:
    """Runs of wet days a year whose rain together is more than each depth.

    Raises
    ------
    ValueError
        If no day has a reading.
    """
    sums = np.sort(storms(daily, wet)["depth_mm"].to_numpy(float))
    # Sums of a run carry the rounding of every day in it.
    above = sums.size - np.searchsorted(sums, np.asarray(depths, float) + 1e-6, side="right")
    return above * YEAR_DAYS / _read(daily).size


def dry_spells(daily: pandas.Series, wet: float = WET) -> pandas.DataFrame:
    """Runs of days with less than `wet` mm, the longest first.

    Returns
    -------
    spells : DataFrame
        ``first`` and ``last`` day, ``days``, and ``open``: whether the spell may be longer, as
        it meets an end of the record or a day without a reading.
    """
    runs = _runs(daily, daily < wet - _HAIR).drop(columns=["at_first", "at_last"])
    return runs.sort_values("days", ascending=False, kind="stable").reset_index(drop=True)


def _runs(daily: pandas.Series, inside: pandas.Series) -> pandas.DataFrame:
    import pandas

    marks = np.concatenate([[False], inside.to_numpy(bool), [False]])
    turns = np.flatnonzero(marks[1:] != marks[:-1])
    first, last = turns[::2], turns[1::2] - 1
    known = np.concatenate([[False], daily.notna().to_numpy(bool), [False]])
    days = _days(daily)
    return pandas.DataFrame({"first": days[first], "last": days[last], "days": last - first + 1,
                             "open": ~(known[first] & known[last + 2]),
                             "at_first": first, "at_last": last})


def years_in_words(years: Sequence[int], most: int = 8, start_month: int = 1) -> str:
    """Years as 1998, 2001 and 2004; of many the first ones and how many more."""
    named = [year_name(year, start_month) for year in years[:most]]
    if len(years) > most:
        return ", ".join(named) + f" and {len(years) - most} more"
    return " and ".join([", ".join(named[:-1]), named[-1]] if len(named) > 1 else named)


def _read(daily: pandas.Series) -> NDArray[np.float64]:
    read: NDArray[np.float64] = daily.to_numpy(float)
    read = read[np.isfinite(read)]
    if not read.size:
        raise ValueError("not one day of the record has a reading")
    return read


def _days(daily: pandas.Series) -> pandas.DatetimeIndex:
    import pandas

    return pandas.DatetimeIndex(daily.index)
