"""A daily rain record from the layouts people have it in."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from terrain.errors import InputError
from terrain.inputs.station_tables import Moment, Quantity, Reading, StationTable, read_table
from terrain.units import either

if TYPE_CHECKING:
    import pandas

#: Millimetres in each unit a depth may be in.
MM_PER = {"mm": 1.0, "in": 25.4, "0.1 mm": 0.1}
#: More rain than this never fell in a day (the record is 1,825 mm, at Foc-Foc, La Réunion, in
#: January 1966: World Meteorological Organization, archive of weather extremes). [mm]
MOST_IN_A_DAY = 2000.0


@dataclass(frozen=True)
class RainRecord:
    """Daily depths of rain over a span of days.

    Attributes
    ----------
    depths : Series
        Depth of each calendar day from the first to the last; NaN where none was read. [mm]
    source : str
        The file's name.
    notes : tuple of str
        What was assumed, dropped, missing or filled, in whole sentences.
    """

    depths: pandas.Series
    source: str
    notes: tuple[str, ...]


def _is_rain(name: str) -> bool:
    return bool(re.match(r"(daily |total )?(rain|precip|prcp|ppt)", name)
                and not re.search(r"attribute|flag|quality", name))


_RAIN = Quantity("prcp", "rain", _is_rain, "PRCP", needed=True)


def read_daily_rain(path: Path, unit: str | None = None) -> RainRecord:
    """Read a daily rain record; its gaps stay.

    Parameters
    ----------
    path : Path
        A table of dates and depths: plain (``date,rain_mm``), a weather station's export (one row
        a day, or one row an element), a gridded daily pixel (``year,yday,prcp``), or a gauge's log
        of shorter steps, which is summed to calendar days.
    unit : {"mm", "in", "0.1 mm"}, optional
        The unit of the depths, where the file does not say.

    Returns
    -------
    record : RainRecord
        Depths in mm.

    Raises
    ------
    InputError
        Naming the line and column of a date or depth that cannot be used, or asking for the unit.
    """
    path = Path(path)
    if unit is not None and unit not in MM_PER:
        raise InputError(str(path), f"the unit '{unit}' is not known", "Use mm, in or 0.1 mm")
    table = read_table(path, [_RAIN], "date,rain_mm")
    readings = table.readings["prcp"]
    taken, why = _unit(table, unit)
    moments, how = table.moments()
    notes = [f"{path.name} was read as {table.layout}.", why, *how]
    depths = np.array([_depth(table, reading, taken) for reading in readings])
    notes += table.dropped()
    days, summed = _by_day(table, readings, [moments[r.when] for r in readings], depths)
    notes += summed
    if days.notna().sum() == 0:
        raise InputError(str(path), "not one of its days has a depth", "Give a record with rain")
    notes += _missing(days, table)
    span = f"The record runs from {days.index[0]:%Y-%m-%d} to {days.index[-1]:%Y-%m-%d}"
    if days.notna().sum() >= 365:
        mean = float(days.mean())
        span += (f"; its days with a reading average "
                 f"{either(f'{mean:.2f} mm', mean, 'rain', 3)}, or "
                 f"{either(f'{mean * 365.25:,.0f} mm', mean * 365.25, 'rain', 1)} a year")
    notes.append(span + ".")
    return RainRecord(days, path.name, tuple(notes))


def filled(record: RainRecord, how: Literal["dry"] | None = None,
           neighbour: RainRecord | None = None) -> RainRecord:
    """Fill the days of a record that have no reading, as was asked for.

    Parameters
    ----------
    record : RainRecord
        Its span of days stays as it is.
    how : "dry", optional
        Count days without a reading as without rain; with a neighbour, those that it lacks too.
    neighbour : RainRecord, optional
        Record of another station, scaled by the ratio of the two sums of rain over the days that
        both have (the normal-ratio method with one station and those days in the place of the
        normals [1]_).

    Raises
    ------
    InputError
        If the two have no day in common, or no rain on the days that they have, or the ratio
        makes a day of more rain than ever fell.

    References
    ----------
    .. [1] J. L. H. Paulhus & M. A. Kohler, "Interpolation of missing precipitation records",
       Monthly Weather Review 80, 1952, 129-133 (from memory).
    """
    depths, notes = record.depths.copy(), list(record.notes)
    gaps = depths.isna()
    if neighbour is not None:
        beside = neighbour.depths.reindex(depths.index)
        both = depths.notna() & beside.notna()
        if not both.any():
            raise InputError(neighbour.source, f"it has no day in common with {record.source}",
                             "Give a record of the same years")
        own, other = float(depths[both].sum()), float(beside[both].sum())
        if not (own > 0 and other > 0):
            raise InputError(neighbour.source, f"on the {_days(int(both.sum()))} that it shares "
                             f"with {record.source} there is no rain to compare",
                             "Give a longer record")
        depths = depths.fillna(beside * (own / other))
        if (depths > MOST_IN_A_DAY).any():
            raise InputError(neighbour.source, f"times {own / other:.3g}, the ratio of the two, it "
                             f"gives {depths.idxmax():%Y-%m-%d} {depths.max():,.4g} mm, more than "
                             "ever fell in a day", "Check its unit, or give another record")
        told = (f"{_days(int((gaps & depths.notna()).sum()))} without a reading filled from "
                f"{neighbour.source} times {own / other:.3g}, the ratio of the two over "
                f"{_days(int(both.sum()))} that both have")
        notes.append(told + ("; that is under a year, so the ratio is weak."
                             if both.sum() < 365 else "."))
        gaps = depths.isna()
    if how == "dry":
        notes.append(f"{_days(int(gaps.sum()))} without a reading counted as dry, as asked for.")
        depths = depths.fillna(0.0)
    elif neighbour is not None:
        notes.append(f"{_days(int(gaps.sum()))} still without a reading.")
    return RainRecord(depths, record.source, tuple(notes))


def _days(count: int) -> str:
    return f"{count:,} day" + ("s" if count != 1 else "")


def _written_unit(table: StationTable) -> str | None:
    """The unit in the column's name, such as ``rain_mm``, ``precip [in]`` or ``PRCP (Inches)``."""
    name = table.written("prcp")
    text = name.lower()
    words = re.findall(r"[a-z]+", text)
    tenths = bool(re.search(r"0[.,]1\s*mm|tenths?", text))
    mm = bool({"mm", "millimetre", "millimetres", "millimeter", "millimeters"} & set(words))
    inches = bool({"inch", "inches"} & set(words) or words[-1:] == ["in"]
                  or re.search(r"in\s*/\s*(d|day)\b", text))
    if (mm or tenths) and ({"inch", "inches"} & set(words) or re.search(r"\(in\)|\[in\]", text)):
        raise InputError(table.head("prcp"), f"the column '{name}' names two units",
                         "Name the one that its depths are in")
    if tenths:
        return "0.1 mm"
    if mm:
        return "mm"
    if inches:
        return "in"
    if {"cm", "centimetres", "centimeters"} & set(words):
        raise InputError(table.head("prcp"), f"the column '{name}' is in centimetres",
                         "Turn its depths into mm or in")
    return None


def _column_of_units(table: StationTable) -> str | None:
    """The one unit in a column of units."""
    known = {"mm": "mm", "in": "in", "inch": "in", "inches": "in", "0 1 mm": "0.1 mm"}
    first: tuple[int, str] | None = None
    for line, text in table.units:
        unit = known.get(" ".join(re.findall(r"[a-z0-9]+", text.lower())))
        if unit is None:
            raise InputError(f"{table.path} line {line}", f"its unit '{text}' is not known",
                             "Use mm, in or 0.1 mm")
        if first is None:
            first = line, unit
        elif unit != first[1]:
            raise InputError(f"{table.path} line {line}", f"its unit '{text}' differs from "
                             f"'{first[1]}' in line {first[0]}", "Give all depths in one unit")
    return first[1] if first else None


def _unit(table: StationTable, given: str | None) -> tuple[str, str]:
    """The unit of the depths and a note on how it is known."""
    written, beside = _written_unit(table), _column_of_units(table)
    if written is not None and beside is not None and written != beside:
        raise InputError(table.head("prcp"), f"its header says its depths are in {_word(written)}, "
                         f"but its column of units says {_word(beside)}", "Correct the file")
    known = written or beside
    if known is not None:
        says = "header" if written else "column of units"
        if given is not None and given != known:
            raise InputError(table.head("prcp"), f"its {says} says its depths are in "
                             f"{_word(known)}, but unit: {given} was stated",
                             "Leave the unit out, or correct the file")
        return known, f"Its depths are in {_word(known)}, as its {says} says."
    if given is not None:
        return given, f"Its depths were taken in {_word(given)}, as stated."
    readings = [reading for reading in table.readings["prcp"] if not reading.failed
                and re.fullmatch(r"[+-]?\d+(\.\d*)?", reading.text)]
    decimals = table.decimals("prcp")
    if table.from_station and decimals == {0} and table.flagged:
        return "0.1 mm", ("Its depths were taken in 0.1 mm, as all are whole numbers and station "
                          "files with flags are in tenths; if they are not, state unit: mm or in.")
    wet = sum(float(reading.text) > 0 for reading in readings)
    if table.from_station and (decimals == {1} or (decimals == {0, 1} and wet >= 10)):
        return "mm", ("Its depths were taken in mm, as they have one decimal (inches have two, "
                      "tenths of a mm none); if they are not, state unit: in or 0.1 mm.")
    raise InputError(str(table.path), "it does not say in which unit its depths are",
                     "State it in the site file under rain, daily, e.g. unit: mm (or in, 0.1 mm)")


def _word(unit: str) -> str:
    return "inches" if unit == "in" else unit


def _depth(table: StationTable, reading: Reading, unit: str) -> float:
    """Depth of a reading, NaN where it has none. [mm]"""
    if reading.empty:
        return float("nan")
    if reading.is_trace:
        return 0.0
    depth = table.number("prcp", reading, "depth") * MM_PER[unit]
    here = table.where(reading.line, "prcp")
    if depth < 0:
        raise InputError(here, f"the depth {reading.text} is below 0",
                         "Correct it, or leave it empty where nothing was read")
    if depth > MOST_IN_A_DAY:
        taken = f"{depth:,.0f} mm" if depth < 1e9 else f"{depth:g} mm"
        raise InputError(here, f"the depth {reading.text} ({taken}, taken in {_word(unit)}) is "
                         "more than ever fell in a day",
                         "Check the unit, or leave it empty if it marks a missing day")
    return depth


def _by_day(table: StationTable, readings: list[Reading], moments: list[Moment],
            depths: np.ndarray) -> tuple[pandas.Series, list[str]]:
    """One depth for every calendar day of the span; shorter steps summed."""
    import pandas

    notes: list[str] = []
    index = pandas.DatetimeIndex(np.array([moment.day for moment in moments], "datetime64[D]"))
    if (np.diff(index.asi8) < 0).any():
        notes.append("Its rows are not in order of date; they were put in order.")
    per_day = Counter(moment.day for moment in moments)
    times = {moment.minute for moment in moments}
    series = pandas.Series(depths, index=index)
    if len(times) > 1 and max(per_day.values()) > 1:
        again = _refuse_repeats(table, readings, moments)
        series = series.groupby(level=0).sum(min_count=1)
        if (series > MOST_IN_A_DAY).any():
            day, most = series.idxmax(), series.max()
            raise InputError(str(table.path), f"its readings of {day:%Y-%m-%d} sum to "
                             f"{most:,.0f} mm, more than ever fell in a day", "Check the unit, and "
                             "whether the readings count on from one to the next")
        notes.append("Its readings were summed from midnight to midnight by the gauge's own clock; "
                     "the file names no time zone.")
        notes.append(_steadiness(moments, per_day))
        if again:
            notes.append(f"The clock was put back at night; {again} times of day stand twice "
                         "there, and both readings were counted.")
    else:
        seen: dict[datetime.date, int] = {}
        for row, moment in zip(readings, moments, strict=True):
            if moment.day in seen:
                raise InputError(table.where(row.line), f"the day {moment.day} stands twice; "
                                 f"it is in line {seen[moment.day]} too", "Delete one of them")
            seen[moment.day] = row.line
    series = series.sort_index()
    whole = pandas.date_range(series.index[0], series.index[-1], freq="D", name="date")
    return series.reindex(whole).rename("depth_mm"), notes


def _steadiness(moments: list[Moment], per_day: Counter[datetime.date]) -> str:
    """A note on the step of a gauge's log and on days it does not fill."""
    stamps = np.unique([m.day.toordinal() * 1440 + (m.minute or 0) for m in moments])
    step, times = Counter(np.round(np.diff(stamps), 3).tolist()).most_common(1)[0]
    if times < 0.5 * (len(stamps) - 1):
        return ("Its readings come at no fixed step; a day without one counts as missing, not as "
                "dry.")
    full = 1440 / step
    short = sum(count < 0.95 * full for count in per_day.values())
    return f"Its readings are {step:g} minutes apart" + (
        f"; {short} of {len(per_day)} days have fewer than {full:.0f}, so their sums may be too "
        "low." if short else ".")


def _refuse_repeats(table: StationTable, readings: list[Reading], moments: list[Moment]) -> int:
    """Refuse a time that stands twice, save where the clock went back at night; count those."""
    seen: dict[Moment, int] = {}
    put_back, before, again = False, None, 0
    for row, moment in zip(readings, moments, strict=True):
        if moment.minute is None:
            raise InputError(table.where(row.line), f"'{row.when}' has no time of day, though "
                             "other rows have one", "Add the time")
        if before is not None:
            back = (before.minute or 0) - moment.minute if before.day == moment.day else 0
            put_back = (0 < back <= 60 and moment.minute < 180) or (
                put_back and back <= 0 and moment in seen)
        if moment in seen:
            if not put_back:
                raise InputError(table.where(row.line), f"the time '{row.when}' stands twice; "
                                 f"it is in line {seen[moment]} too", "Delete one of them")
            again += 1
        seen.setdefault(moment, row.line)
        before = moment
    return again


def _missing(days: pandas.Series, table: StationTable) -> list[str]:
    gaps = days.index[days.isna()]
    by_layout = [day for day in gaps if table.pixel and day.day_of_year == 366]
    notes = []
    if by_layout:
        notes.append(f"Days missing because the layout leaves out 31 December of leap years: "
                     f"{len(by_layout)}.")
    if len(gaps) > len(by_layout):
        notes.append(f"Days without a reading: {len(gaps) - len(by_layout):,} of {len(days):,}.")
    return notes
