"""A daily rain record from the layouts people have it in."""

from __future__ import annotations

import csv
import datetime
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas

from terrain.errors import InputError

#: Millimetres in each unit a depth may be in.
MM_PER = {"mm": 1.0, "in": 25.4, "0.1 mm": 0.1}
#: More rain than this never fell in a day (the record is 1,825 mm, at Foc-Foc, La Réunion, in
#: January 1966: World Meteorological Organization, archive of weather extremes). [mm]
MOST_IN_A_DAY = 2000.0
_NO_READING = {"", "na", "n/a", "nan", "m", "null", "none", "-", "--"}
_TRACE = {"t", "tr", "trace"}
_HEADER_WITHIN = 60


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
        What was assumed, dropped or missing, in whole sentences.
    """

    depths: pandas.Series
    source: str
    notes: tuple[str, ...]


class _Row(NamedTuple):
    line: int
    when: str
    value: str
    trace: bool = False
    failed: bool = False
    station: str = ""


class _Table(NamedTuple):
    layout: str
    rows: list[_Row]
    written: str | None = None  # unit in the file's header
    flagged: bool = False  # has a column of flags
    decimal_comma: bool = False
    years_of_365: bool = False


class _Moment(NamedTuple):
    day: datetime.date
    minute: float | None


def read_daily_rain(path: Path, unit: str | None = None) -> RainRecord:
    """Read a daily rain record.

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
        Naming the line of a date or depth that cannot be used, or asking for the unit.
    """
    path = Path(path)
    if unit is not None and unit not in MM_PER:
        raise InputError(str(path), f"the unit '{unit}' is not known", "Use mm, in or 0.1 mm")
    table = _table(path)
    stations = sorted({row.station for row in table.rows if row.station})
    if len(stations) > 1:
        raise InputError(str(path), f"it holds {len(stations)} stations, such as {stations[0]} and "
                         f"{stations[1]}", "Keep the rows of one station")
    taken, why = _unit(path, table, unit)
    notes = [f"{path.name} was read as {table.layout}.", why]
    moments, how = _moments(path, table.rows)
    notes += how
    depths = np.array([_depth(path, row, table, taken) for row in table.rows])
    notes += _dropped(table.rows)
    days, summed = _by_day(path, table.rows, moments, depths)
    notes += summed
    if days.notna().sum() == 0:
        raise InputError(str(path), "not one of its days has a depth", "Give a record with rain")
    notes += _missing(days, table)
    span = f"The record runs from {days.index[0]:%Y-%m-%d} to {days.index[-1]:%Y-%m-%d}"
    if days.notna().sum() >= 365:
        span += (f"; its days with a reading average {days.mean():.2f} mm, or "
                 f"{days.mean() * 365.25:,.0f} mm a year")
    notes.append(span + ".")
    return RainRecord(days, path.name, tuple(notes))


def _lines(path: Path) -> list[str]:
    if not path.exists():
        raise InputError(str(path), "there is no such file", "Check the name of the rain record")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({error.__class__.__name__})",
                         "Give a table of dates and depths as a text file") from None
    if b"\0" in data:
        raise InputError(str(path), "this is not a text file",
                         "Save the table as CSV (comma-separated text)")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if not text.strip():
        raise InputError(str(path), "the file is empty", "Give a table such as date,rain_mm")
    return text.splitlines()


def _table(path: Path) -> _Table:
    """Find the layout, and of each row the date, the depth and the flags, as text."""
    lines = _lines(path)
    first = next(n for n, line in enumerate(lines) if line.strip())
    start = _split(lines[first], ",")
    if len(start) >= 4 and re.fullmatch(r"\d{8}", start[1]) and re.fullmatch(r"[A-Z0-9]{4}",
                                                                             start[2]):
        return _by_element(path, lines, first)
    seen_date = seen_rain = several = False
    for number, line in enumerate(lines[:_HEADER_WITHIN]):
        for separator in (";", "\t", ",", "|"):
            names = _split(line, separator)
            several = several or len(names) > 1
            if len(names) < 2:
                continue
            plain = [re.sub(r"[^a-z0-9]+", " ", name.lower()).strip() for name in names]
            rain = _rain_columns(plain)
            if plain[:2] == ["year", "yday"]:
                if not rain:
                    raise InputError(f"{path} line {number + 1}", "it has no column of rain",
                                     "Fetch the pixel again with its precipitation (prcp)")
                return _pixel(path, lines, number, separator, names, rain[0])
            dates = [i for i, name in enumerate(plain) if re.match(r"date", name)] or [
                i for i, name in enumerate(plain) if name in ("day", "timestamp", "time")]
            seen_date, seen_rain = seen_date or bool(dates), seen_rain or bool(rain)
            if dates and rain:
                if len(rain) > 1:
                    raise InputError(f"{path} line {number + 1}", "it has several columns of rain: "
                                     + ", ".join(names[i] for i in rain), "Keep one of them")
                return _plain(path, lines, number, separator, names, plain, dates[0], rain[0])
    if not several:
        raise InputError(str(path), "this is not a table with columns",
                         "Give a table such as date,rain_mm")
    if seen_date and not seen_rain:
        raise InputError(str(path), "no column of rain was found",
                         "Name it in the table's first line, e.g. date,rain_mm")
    raise InputError(str(path), "no date column was found",
                     "Name it in the table's first line, e.g. date,rain_mm")


def _split(line: str, separator: str) -> list[str]:
    try:
        return [part.strip() for part in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:  # a field beyond all length: no table
        return [line[:20]]


def _rain_columns(plain: list[str]) -> list[int]:
    found = [i for i, name in enumerate(plain)
             if re.match(r"(daily |total )?(rain|precip|prcp|ppt)", name)
             and not re.search(r"attribute|flag|quality", name)]
    return [i for i in found if plain[i] == "prcp"] or found


def _written_unit(path: Path, line: int, name: str) -> str | None:
    """The unit in a column's name, such as ``rain_mm``, ``precip [in]`` or ``PRCP (Inches)``."""
    text = name.lower()
    words = re.findall(r"[a-z]+", text)
    if re.search(r"0[.,]1\s*mm|tenths?", text):
        return "0.1 mm"
    if {"mm", "millimetre", "millimetres", "millimeter", "millimeters"} & set(words):
        return "mm"
    if {"inch", "inches"} & set(words) or words[-1:] == ["in"]:
        return "in"
    if re.search(r"in\s*/\s*(d|day)\b", text):
        return "in"
    if {"cm", "centimetres", "centimeters"} & set(words):
        raise InputError(f"{path} line {line}", f"the column '{name}' is in centimetres",
                         "Turn its depths into mm or in")
    return None


def _rows(path: Path, lines: list[str], header: int, separator: str, least: int
          ) -> list[tuple[int, list[str]]]:
    """Line number and fields of each row below a header; blank lines left out."""
    rows = []
    for number, line in enumerate(lines[header + 1:], start=header + 2):
        fields = _split(line, separator)
        if not any(fields):
            continue
        if len(fields) < least:
            raise InputError(f"{path} line {number}", f"it has {len(fields)} columns where the "
                             f"table has at least {least}", "Complete the line, or delete it")
        rows.append((number, fields))
    if not rows:
        raise InputError(str(path), "the record holds no days", "Give a table with a row a day")
    return rows


def _plain(path: Path, lines: list[str], header: int, separator: str, names: list[str],
           plain: list[str], date: int, rain: int) -> _Table:
    flags = next((i for i, name in enumerate(plain) if name == f"{plain[rain]} attributes"), None)
    station = next((i for i, name in enumerate(plain) if name in ("station", "station id")), None)
    clock = next((i for i, name in enumerate(plain) if name == "time" and i != date), None)
    rows = []
    for line, fields in _rows(path, lines, header, separator, max(date, rain) + 1):
        marks = fields[flags].split(",") if flags is not None and flags < len(fields) else []
        when = fields[date] if clock is None or clock >= len(fields) else (
            f"{fields[date]} {fields[clock]}")
        rows.append(_Row(line, when, fields[rain], _mark(marks, 0) == "T", bool(_mark(marks, 1)),
                         fields[station] if station is not None else ""))
    layout = f"a table with the columns '{names[date]}' and '{names[rain]}'"
    if flags is not None or station is not None:
        layout = f"a station's export with one row a day, column '{names[rain]}'"
    return _Table(layout, rows, _written_unit(path, header + 1, names[rain]), flags is not None,
                  decimal_comma=separator in ";\t")


def _by_element(path: Path, lines: list[str], first: int) -> _Table:
    rows = []
    for line, fields in _rows(path, lines, first - 1, ",", 4):
        if fields[2] == "PRCP":
            rows.append(_Row(line, fields[1], fields[3], _mark(fields, 4) == "T",
                             bool(_mark(fields, 5)), fields[0]))
    if not rows:
        raise InputError(str(path), "it has no rows of rain (PRCP)",
                         "Keep the rows whose third column is PRCP")
    return _Table("a station's file with one row an element and no header", rows, flagged=True)


def _pixel(path: Path, lines: list[str], header: int, separator: str, names: list[str], rain: int
           ) -> _Table:
    rows = []
    for line, fields in _rows(path, lines, header, separator, rain + 1):
        try:
            year, yday = int(fields[0]), int(fields[1])
            day = datetime.date(year, 1, 1) + datetime.timedelta(yday - 1)
        except (ValueError, OverflowError):
            day = None
        if day is None or day.year != year:
            raise InputError(f"{path} line {line}", f"'{fields[0]},{fields[1]}' is not a year and "
                             "a day of it", "Write the day of the year as 1 to 365")
        rows.append(_Row(line, day.isoformat(), fields[rain]))
    return _Table("a gridded daily pixel with years of 365 days", rows,
                  _written_unit(path, header + 1, names[rain]), years_of_365=True)


def _mark(marks: list[str], position: int) -> str:
    return marks[position].strip() if position < len(marks) else ""


def _unit(path: Path, table: _Table, given: str | None) -> tuple[str, str]:
    """The unit of the depths and a note on how it is known."""
    if table.written is not None:
        if given is not None and given != table.written:
            raise InputError(str(path), f"its header says its depths are in "
                             f"{_word(table.written)}, but unit: {given} was stated",
                             "Leave the unit out, or correct the file")
        return table.written, f"Its depths are in {_word(table.written)}, as its header says."
    if given is not None:
        return given, f"Its depths were taken in {_word(given)}, as stated."
    values = [row.value for row in table.rows if not row.failed
              and re.fullmatch(r"[+-]?\d+(\.\d*)?", row.value)]
    decimals = {len(value.partition(".")[2]) for value in values}
    if table.layout.startswith("a station's") and decimals == {0} and table.flagged:
        return "0.1 mm", ("Its depths were taken in 0.1 mm, as all are whole numbers and station "
                          "files with flags are in tenths; if they are not, state unit: mm or in.")
    wet = sum(float(value) > 0 for value in values)
    if table.layout.startswith("a station's") and (
            decimals == {1} or (decimals == {0, 1} and wet >= 10)):
        return "mm", ("Its depths were taken in mm, as they have one decimal (inches have two, "
                      "tenths of a mm none); if they are not, state unit: in or 0.1 mm.")
    raise InputError(str(path), "it does not say in which unit its depths are",
                     "State it in the site file under rain, daily, e.g. unit: mm (or in, 0.1 mm)")


def _word(unit: str) -> str:
    return "inches" if unit == "in" else unit


def _depth(path: Path, row: _Row, table: _Table, unit: str) -> float:
    """Depth of a row, NaN where it has none. [mm]"""
    if row.failed or row.value.lower() in _NO_READING:
        return float("nan")
    if row.value.lower() in _TRACE or row.trace:
        return 0.0
    text = row.value
    if table.decimal_comma and "." not in text:
        text = text.replace(",", ".")
    here = f"{path} line {row.line}"
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", text.lower()):
        raise InputError(here, f"the depth '{row.value}' is not a number",
                         "Correct it, or leave it empty where nothing was read")
    depth = float(text) * MM_PER[unit]
    if depth < 0:
        raise InputError(here, f"the depth {row.value} is below 0",
                         "Correct it, or leave it empty where nothing was read")
    if depth > MOST_IN_A_DAY:
        raise InputError(here, f"the depth {row.value} ({depth:,.0f} mm, taken in {_word(unit)}) "
                         "is more than ever fell in a day",
                         "Check the unit, or leave it empty if it marks a missing day")
    return depth


def _moments(path: Path, rows: list[_Row]) -> tuple[list[_Moment], list[str]]:
    """Day and time of each row; the order of day and month is found from the whole record."""
    parts: list[tuple[_Row, tuple[int, int, int], float | None]] = []
    order, notes = "", []
    for row in rows:
        found = re.fullmatch(
            r"(?:(?P<iso>\d{4})(?P<a>[-/.]?)(?P<m>\d{1,2})(?P=a)(?P<d>\d{1,2})"
            r"|(?P<x>\d{1,2})[-/.](?P<y>\d{1,2})[-/.](?P<z>\d{4}|\d{2}))"
            r"(?:[T ]+(?P<h>\d{1,2}):(?P<n>\d{2})(?::(?P<s>\d{2})(?:\.\d+)?)?"
            r"\s*(?P<half>[AaPp][Mm])?"
            r"(?:Z|[+-]\d{2}:?\d{2})?)?", row.when)
        if found is None:
            raise _bad_date(path, row)
        minute = None
        if found["h"]:
            hour = int(found["h"])
            if found["half"]:
                if not 1 <= hour <= 12:
                    raise _bad_date(path, row)
                hour = hour % 12 + (12 if found["half"].lower() == "pm" else 0)
            minute = hour * 60 + int(found["n"]) + int(found["s"] or 0) / 60
            if hour > 23 or int(found["n"]) > 59:
                raise _bad_date(path, row)
        if found["iso"]:
            triple = (int(found["iso"]), int(found["m"]), int(found["d"]))
        else:
            year = int(found["z"])
            if len(found["z"]) == 2:
                year += 2000 if year < 69 else 1900
            triple = (year, -int(found["x"]), int(found["y"]))  # minus: order still open
        parts.append((row, triple, minute))
    if any(triple[1] < 0 for _, triple, _ in parts):
        order = _day_first(path, [triple for _, triple, _ in parts])
        notes.append(f"Its dates were read as {order}.")
    moments = []
    for row, (year, month, day), minute in parts:
        if month < 0:
            month, day = (-month, day) if order.startswith("month") else (day, -month)
        try:
            date = datetime.date(year, month, day)
        except ValueError:
            raise _bad_date(path, row) from None
        if not 1700 <= year <= 2200:
            raise _bad_date(path, row)
        moments.append(_Moment(date, minute))
    return moments, notes


def _bad_date(path: Path, row: _Row) -> InputError:
    return InputError(f"{path} line {row.line}", f"'{row.when}' cannot be read as a date",
                      "Write dates as 2024-07-31")


def _day_first(path: Path, triples: list[tuple[int, int, int]]) -> str:
    """Whether dates such as 07/14/24 are month/day/year or day/month/year."""
    open_ones = [(-x, y, year) for year, x, y in triples if x < 0]
    if any(y > 12 for x, y, _ in open_ones) and not any(x > 12 for x, _, _ in open_ones):
        return "month/day/year"
    if any(x > 12 for x, _, _ in open_ones):
        return "day/month/year"
    raise InputError(str(path), "its dates may be read as day/month or as month/day",
                     "Write dates as 2024-07-31")


def _by_day(path: Path, rows: list[_Row], moments: list[_Moment], depths: np.ndarray
            ) -> tuple[pandas.Series, list[str]]:
    """One depth for every calendar day of the span; shorter steps summed."""
    notes: list[str] = []
    index = pandas.DatetimeIndex([pandas.Timestamp(moment.day) for moment in moments])
    if (np.diff(index.asi8) < 0).any():
        notes.append("Its rows are not in order of date; they were put in order.")
    per_day = Counter(moment.day for moment in moments)
    times = {moment.minute for moment in moments}
    series = pandas.Series(depths, index=index)
    if len(times) > 1 and max(per_day.values()) > 1:
        again = _refuse_repeats(path, rows, moments)
        series = series.groupby(level=0).sum(min_count=1)
        notes.append("Its readings were summed from midnight to midnight by the gauge's own clock; "
                     "the file names no time zone.")
        notes.append(_steadiness(moments, per_day))
        if again:
            notes.append(f"The clock was put back at night; {again} times of day stand twice "
                         "there, and both readings were counted.")
    else:
        seen: dict[datetime.date, int] = {}
        for row, moment in zip(rows, moments, strict=True):
            if moment.day in seen:
                raise InputError(f"{path} line {row.line}", f"the day {moment.day} stands twice; "
                                 f"it is in line {seen[moment.day]} too", "Delete one of them")
            seen[moment.day] = row.line
    series = series.sort_index()
    whole = pandas.date_range(series.index[0], series.index[-1], freq="D", name="date")
    return series.reindex(whole).rename("depth_mm"), notes


def _steadiness(moments: list[_Moment], per_day: Counter[datetime.date]) -> str:
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


def _refuse_repeats(path: Path, rows: list[_Row], moments: list[_Moment]) -> int:
    """Refuse a time that stands twice, save where the clock went back at night; count those."""
    seen: dict[_Moment, int] = {}
    put_back, before, again = False, None, 0
    for row, moment in zip(rows, moments, strict=True):
        if moment.minute is None:
            raise InputError(f"{path} line {row.line}", f"'{row.when}' has no time of day, though "
                             "other rows have one", "Add the time")
        if before is not None:
            back = (before.minute or 0) - moment.minute if before.day == moment.day else 0
            put_back = (0 < back <= 60 and moment.minute < 180) or (
                put_back and back <= 0 and moment in seen)
        if moment in seen:
            if not put_back:
                raise InputError(f"{path} line {row.line}", f"the time '{row.when}' stands twice; "
                                 f"it is in line {seen[moment]} too", "Delete one of them")
            again += 1
        seen.setdefault(moment, row.line)
        before = moment
    return again


def _dropped(rows: list[_Row]) -> list[str]:
    failed = sum(row.failed for row in rows)
    traces = sum(not row.failed and (row.trace or row.value.lower() in _TRACE) for row in rows)
    notes = []
    if failed:
        notes.append(f"Readings dropped because their quality flag says they failed: {failed}.")
    if traces:
        notes.append(f"Readings of a trace, counted as 0: {traces}.")
    return notes


def _missing(days: pandas.Series, table: _Table) -> list[str]:
    gaps = days.index[days.isna()]
    by_layout = [day for day in gaps if table.years_of_365 and day.day_of_year == 366]
    notes = []
    if by_layout:
        notes.append(f"Days missing because the layout leaves out 31 December of leap years: "
                     f"{len(by_layout)}.")
    if len(gaps) > len(by_layout):
        notes.append(f"Days without a reading: {len(gaps) - len(by_layout):,} of {len(days):,}.")
    return notes
