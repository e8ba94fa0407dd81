"""One call for the rain command: what a daily record, or a table of depths, says of the rain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from terrain.errors import InputError
from terrain.inputs.rain_frequency import depth_of, frequency_table, is_frequency_table
from terrain.inputs.rainfall import MOST_IN_A_DAY, RainRecord, read_daily_rain
from terrain.plan.water.short_record import short_record
from terrain.runoff import rain_years
from terrain.runoff.evapotranspiration import MONTHS
from terrain.runoff.extremes import (
    ANY_24_HOURS,
    RETURN_PERIODS,
    Extremes,
    Maxima,
    annual_maxima,
    extremes_of,
    far_beyond,
)
from terrain.units import either

if TYPE_CHECKING:
    import pandas

#: Depths of which is told how often more falls, by the units printed. [mm]
MORE_THAN = {"metric": (2.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0),
             "us": tuple(25.4 * inches for inches in (0.1, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0))}
#: So many of the longest dry spells are told.
SPELLS = 3


@dataclass(frozen=True)
class Often:
    """How often more than a depth falls: on so many days, and in so many storms a year."""

    depth: float
    days_a_year: float
    storms_a_year: float


@dataclass(frozen=True)
class RecordAnswer:
    """What a daily record says of the rain.

    Attributes
    ----------
    record : RainRecord
    years : Years
        Whole years and others.
    totals : Series
        Rain of each whole year. [mm]
    months, wet_days : Series
        Rain [mm] and days of at least 1 mm of each month of an average year, 1 to 12.
    kinds : dict
        Rain of the dry, the median and the wet year, where a year is whole. [mm]
    often : tuple of Often
        In order of depth.
    maxima : Maxima
        Greatest day of each whole year.
    extremes : Extremes or None
        The curve fitted to them; none if they are too few.
    levels : DataFrame or None
        Depths of a day once in so many years, as `Extremes.levels`, and ``any_24_hours_mm``.
    spells : DataFrame
        The longest dry spells, as `rain_years.dry_spells`.
    notes : tuple of str
        What it rests on.
    """

    record: RainRecord
    years: rain_years.Years
    totals: pandas.Series
    months: pandas.Series
    wet_days: pandas.Series
    kinds: dict[str, float]
    often: tuple[Often, ...]
    maxima: Maxima
    extremes: Extremes | None
    levels: pandas.DataFrame | None
    spells: pandas.DataFrame
    notes: tuple[str, ...]

    @property
    def begins(self) -> str:
        """Where its years begin, such as "years from July on (start month 7)"."""
        month = self.years.start_month
        return f"years from {MONTHS[month - 1]} on (start month {month})"

    @property
    def mean_year(self) -> float:
        """Rain of an average year. [mm]"""
        return float(self.months.sum(skipna=False))


@dataclass(frozen=True)
class TableAnswer:
    """What a table of depths says of the rain.

    Attributes
    ----------
    source : str
        The file's name.
    table, depths : DataFrame
        Depths by duration [h] and return period [years]: the whole table, and what was asked for
        of it. [mm]
    asked : bool
        Whether a duration or a return period was asked for.
    notes : tuple of str
        What it rests on.
    """

    source: str
    table: pandas.DataFrame
    depths: pandas.DataFrame
    asked: bool
    notes: tuple[str, ...]


def rain_of(path: Path, unit: str | None = None, more_than: Sequence[float] = (),
            start_month: int | None = None, return_period: float | None = None,
            duration: float | None = None, system: str = "metric") -> RecordAnswer | TableAnswer:
    """What a file of rain says; its head tells a table of depths from a daily record.

    Parameters
    ----------
    path : Path
    unit : str, optional
        Unit of the depths, where the file does not say.
    more_than : sequence of float
        Depths of which is told how often more falls, besides the usual ones. [mm]
    start_month : int, optional
        Month in which a year begins; January if left out.
    return_period : float, optional
        [years]
    duration : float, optional
        Of a table only. [h]
    system : {"metric", "us"}
        Chooses the usual depths of `more_than`.

    Raises
    ------
    InputError
        If the file cannot be used, or what is asked does not fit it.
    """
    path = Path(path)
    try:
        return _answer(path, unit, more_than, start_month, return_period, duration, system)
    except InputError as error:
        if "does not say in which unit" not in error.what:
            raise
        # A remedy that speaks of the site file is of no use here.
        raise InputError(error.where, error.what, "State it, such as --unit mm") from None


def _answer(path: Path, unit: str | None, more_than: Sequence[float], start_month: int | None,
            return_period: float | None, duration: float | None, system: str
            ) -> RecordAnswer | TableAnswer:
    if is_frequency_table(path):
        if more_than:
            raise _unfit("--more-than", path, "table of depths, which does not say how often "
                         "lesser rains come", "daily record")
        if start_month is not None:
            raise _unfit("--start-month", path, "table of depths, which holds no years",
                         "daily record")
        return _of_table(path, unit, return_period, duration)
    if duration is not None:
        raise _unfit("--duration", path, "daily record, which knows only whole days",
                     "table of depths by duration")
    return _of_record(path, unit, more_than, start_month or 1, return_period, system)


def _unfit(where: str, path: Path, what: str, remedy: str) -> InputError:
    return InputError(where, f"{path.name} is a {what}", f"Leave it out, or give a {remedy}")


def _of_table(path: Path, unit: str | None, years: float | None, hours: float | None
              ) -> TableAnswer:
    import pandas

    table = frequency_table(path, unit)
    durations = [float(one) for one in table.index] if hours is None else [hours]
    periods = [float(one) for one in table.columns] if years is None else [years]
    try:
        depths = [[depth_of(table, h, t) for t in periods] for h in durations]
    except ValueError as error:
        raise InputError(str(path), str(error), "Ask for one within it") from None
    asked = pandas.DataFrame(depths, index=pandas.Index(durations, name=table.index.name),
                             columns=pandas.Index(periods, name=table.columns.name))
    return TableAnswer(path.name, table, asked, years is not None or hours is not None,
                       tuple(table.attrs["notes"]))


def _of_record(path: Path, unit: str | None, more_than: Sequence[float], start_month: int,
               return_period: float | None, system: str) -> RecordAnswer:
    if any(depth > MOST_IN_A_DAY for depth in more_than):
        raise InputError("--more-than", f"more than {MOST_IN_A_DAY:,.0f} mm never fell in a day",
                         "Ask for less")
    record = read_daily_rain(path, unit)
    read = int(record.depths.notna().sum())
    if read < 365:
        days = "1 day" if read == 1 else f"{read} days"
        raise InputError(str(path), f"it has readings of {days}, too few to tell what a year "
                         "brings", "Give a record of a year or more")
    return record_answer(record, more_than, start_month, return_period, system)


def record_answer(record: RainRecord, more_than: Sequence[float] = (), start_month: int = 1,
                  return_period: float | None = None, system: str = "metric") -> RecordAnswer:
    """What a daily record of a year or more says of the rain; parameters as of `rain_of`.

    Raises
    ------
    InputError
        If a return period is asked for that the record cannot tell.
    """
    daily = record.depths
    maxima = annual_maxima(daily, start_month)
    totals = rain_years.year_totals(daily, maxima.years)
    months = rain_years.mean_months(daily)
    kinds = {name: rain_years.year_with_less(totals, share)
             for name, share in rain_years.SHARES.items()} if len(totals) else {}
    depths = sorted({round(depth, 9) for depth in (*MORE_THAN[system], *more_than)})
    often = tuple(Often(depth, float(days), float(storms)) for depth, days, storms in zip(
        depths, rain_years.days_a_year_above(daily, depths),
        rain_years.storms_a_year_above(daily, depths), strict=True))
    short = short_record(daily, start_month)
    notes = [*([short] if short else []), *record.notes, *_of_years(maxima.years, totals),
             *_of_start(months, start_month),
             "How often it rains more than a depth is counted over the days with a reading; a "
             "storm is a run of days with "
             f"{either('1 mm', 1.0, 'rain')} or more each, and a dry spell one of days with "
             "less.", *maxima.notes]
    extremes, levels = None, None
    periods = sorted({*RETURN_PERIODS, *([] if return_period is None else [return_period])})
    try:
        extremes = extremes_of(maxima.depths.to_numpy(float))
    except ValueError as error:
        if return_period is not None:
            raise InputError("--return-period", f"{record.source}: {error}", "Leave it out, or "
                             "give a longer record or a table of depths") from None
        notes.append(f"No depths once in so many years are given: {error}.")
    if extremes is not None:
        try:
            levels = extremes.levels(periods)
        except ValueError as error:
            raise InputError("--return-period", str(error), "Give a longer one") from None
        levels["any_24_hours_mm"] = ANY_24_HOURS * levels["depth_mm"]
        notes += [*extremes.notes, *far_beyond(periods, extremes.maxima.size),
                  "A day's rain is read at a fixed hour; the greatest of any 24 hours is on "
                  f"average {ANY_24_HOURS:g} times as much (Hershfield 1961; WMO No. 168), which "
                  "stands beside it."]
    return RecordAnswer(record, maxima.years, totals, months, rain_years.wet_days(daily), kinds,
                        often, maxima, extremes, levels, rain_years.dry_spells(daily)[:SPELLS],
                        tuple(notes))


def _of_years(years: rain_years.Years, totals: pandas.Series) -> list[str]:
    """Notes on which years count and how dry and wet ones are found."""
    if not len(totals):
        return [f"No year has readings on {years.least_share:.0%} of its days, so no dry, median "
                "or wet year is given."]
    notes = [f"Whole years are those with readings on {years.least_share:.0%} of their days or "
             f"more: {len(totals)} of {len(years.read)}.",
             "Dry, median and wet year lie between the ranked years, the i-th of n standing for "
             "i / (n + 1)."]
    lacking = int((years.days - years.read).loc[years.whole].sum())
    if lacking:
        notes.append(f"Whole years lack {lacking:,} days together, for which nothing stands in "
                     "their totals; the average year takes the mean of the days read in each month "
                     "instead.")
    if len(totals) < rain_years.LEAST_FOR_TENTHS:
        count = len(totals)
        years_held = "1 whole year" if count == 1 else f"{count} whole years"
        notes.append(f"With {years_held}, too few to tell one in ten, the dry and the wet year are "
                     "the driest and the wettest of the record.")
    return notes


def _of_start(months: pandas.Series, start_month: int) -> list[str]:
    if months.isna().any() or months[start_month] <= months.mean():
        return []
    driest = int(months.idxmin())
    return [f"Years begin with {MONTHS[start_month - 1]}, a month of much rain here, so one storm "
            f"may be the greatest of two years; {MONTHS[driest - 1]} (start month {driest}) is "
            "the driest."]
