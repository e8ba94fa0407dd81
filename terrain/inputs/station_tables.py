"""Tables of daily readings in the layouts of gauges, weather stations and gridded sets."""

from __future__ import annotations

import csv
import datetime
import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from terrain.errors import InputError
from terrain.files import check_name
from terrain.inputs.csv_table import in_words
from terrain.inputs.whole_bytes import bytes_of

_NO_READING = {"", "na", "n/a", "nan", "m", "null", "none", "-", "--"}
_TRACE = {"t", "tr", "trace"}
_HEADER_WITHIN = 60


class Quantity(NamedTuple):
    """Something measured, and how tables name it.

    `named` says of a column's name in small letters and digits with single spaces, such as
    ``prcp inches``, whether it is this; `element` is its name in files by element.
    """

    key: str
    words: str
    named: Callable[[str], bool]
    element: str = ""
    needed: bool = False


class Reading(NamedTuple):
    """One cell of a table as text, with its line, its date, and what its flags say."""

    line: int
    when: str
    text: str
    trace: bool = False
    failed: bool = False

    @property
    def empty(self) -> bool:
        """Whether nothing was read, or it was flagged as failed."""
        return self.failed or self.text.lower() in _NO_READING

    @property
    def is_trace(self) -> bool:
        """Whether it is a trace: some, but too little to measure."""
        return not self.failed and (self.trace or self.text.lower() in _TRACE)


class Moment(NamedTuple):
    """A day and the minute in it, where a time was given."""

    day: datetime.date
    minute: float | None


@dataclass
class StationTable:
    """The readings of a table by quantity, still as text.

    Attributes
    ----------
    layout : str
        What it was read as, in words.
    readings, columns : dict
        By key of the quantity: its readings in the order of the file, and its column's name.
    header : int
        Line of the header, 0 where there is none.
    from_station : bool
        A weather station's export.
    flagged : bool
        It has flags.
    units : list of (line, text)
        Cells of a column of units.
    """

    path: Path
    layout: str
    readings: dict[str, list[Reading]]
    columns: dict[str, str]
    date_column: str
    header: int = 0
    from_station: bool = False
    flagged: bool = False
    decimal_comma: bool = False
    pixel: bool = False
    units: list[tuple[int, str]] = field(default_factory=list)

    def where(self, line: int, *keys: str) -> str:
        """Place of a reading for an error: file, line and column; the date's without a key."""
        names = " and ".join(self.columns[key] for key in keys) or self.date_column
        return f"{self.path} line {line}, column{'s' if len(keys) > 1 else ''} {names}"

    def head(self, key: str) -> str:
        """Place of a column's name for an error."""
        return f"{self.path} line {self.header}" if self.header else str(self.path)

    def written(self, key: str) -> str:
        """The column's name as the header has it; empty in files without a header."""
        return self.columns[key].strip("'") if self.header else ""

    def number(self, key: str, reading: Reading, what: str) -> float:
        """The number in a cell that is neither empty nor a trace.

        Raises
        ------
        InputError
            If there is none.
        """
        text = reading.text
        if self.decimal_comma and "." not in text:
            text = text.replace(",", ".")
        if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", text.lower()):
            remedy = "Correct it, or leave it empty where nothing was read"
            if re.match(r'[+-]?[\d.,]+\s*[a-z"°]', text.lower()):
                remedy = "Write bare numbers, all in one unit, and name it in the header"
            raise InputError(self.where(reading.line, key),
                             f"the {what} '{reading.text}' is not a number", remedy)
        return float(text)

    def decimals(self, key: str) -> set[int]:
        """How many decimals its readings have."""
        return {len(reading.text.partition(".")[2]) for reading in self.readings[key]
                if not reading.failed and re.fullmatch(r"[+-]?\d+(\.\d*)?", reading.text)}

    def dropped(self) -> list[str]:
        """Notes on failed readings and traces."""
        every = [reading for readings in self.readings.values() for reading in readings]
        failed = sum(reading.failed for reading in every)
        traces = sum(reading.is_trace for reading in every)
        notes = []
        if failed:
            notes.append(f"Readings dropped because their quality flag says they failed: {failed}.")
        if traces:
            notes.append(f"Readings of a trace, counted as 0: {traces}.")
        return notes

    def moments(self) -> tuple[dict[str, Moment], list[str]]:
        """Day and time of each date in it; the order of day and month is found from them all.

        Raises
        ------
        InputError
            Naming the line of a date that cannot be read, or if the order stays open.
        """
        lines: dict[str, int] = {}
        for readings in self.readings.values():
            for reading in readings:
                lines.setdefault(reading.when, reading.line)
        return _moments(self, lines)


def read_table(path: Path, wanted: list[Quantity], example: str) -> StationTable:
    """Find the layout of a table and the columns of what is wanted.

    Parameters
    ----------
    path : Path
        A plain table with a header, a weather station's export (one row a day, or one row an
        element), or a gridded daily pixel (``year,yday,...``).
    wanted : list of Quantity
        What to look for.
    example : str
        A header to show in errors, such as ``date,rain_mm``.

    Raises
    ------
    InputError
        If it is no such table, lacks something needed, or holds several stations.
    """
    lines = _lines(path, example)
    first = next(n for n, line in enumerate(lines) if line.strip())
    start = _split(lines[first], ",")
    if len(start) >= 4 and re.fullmatch(r"\d{8}", start[1]) and re.fullmatch(r"[A-Z0-9]{4}",
                                                                             start[2]):
        return _by_element(path, lines, first, wanted)
    seen_date = several = False
    lacking: set[str] | None = None
    for number, line in enumerate(lines[:_HEADER_WITHIN]):
        for separator in (";", "\t", ",", "|"):
            names = _split(line, separator)
            several = several or len(names) > 1
            if len(names) < 2:
                continue
            plain = [plainly(name) for name in names]
            found = {quantity: [i for i, name in enumerate(plain) if quantity.named(name)]
                     for quantity in wanted}
            lacks = [quantity for quantity in wanted if quantity.needed and not found[quantity]]
            if plain[:2] == ["year", "yday"]:
                if lacks:
                    raise InputError(f"{path} line {number + 1}",
                                     f"it has no column of {lacks[0].words}", "Fetch the pixel "
                                     f"again with its {lacks[0].words} ({lacks[0].key})")
                return _pixel(path, lines, number, separator, names, _one_each(
                    path, number, names, plain, found))
            dates = [i for i, name in enumerate(plain) if re.match(r"date", name)] or [
                i for i, name in enumerate(plain) if name in ("day", "timestamp", "time")]
            seen_date = seen_date or bool(dates)
            if dates and not lacks:
                return _plain(path, lines, number, separator, names, plain, dates[0], _one_each(
                    path, number, names, plain, found))
            if dates or len(lacks) < sum(quantity.needed for quantity in wanted):
                here = {quantity.words for quantity in lacks}
                lacking = here if lacking is None else min(lacking, here, key=len)
    if not several:
        raise InputError(str(path), "this is not a table with columns",
                         f"Give a table such as {example}")
    if seen_date and lacking:
        missing = next(quantity.words for quantity in wanted if quantity.words in lacking)
        raise InputError(str(path), f"no column of {missing} was found",
                         f"Name it in the table's first line, e.g. {example}")
    raise InputError(str(path), "no date column was found",
                     f"Name it in the table's first line, e.g. {example}")


def plainly(name: str) -> str:
    """A column's name in small letters and digits, with single spaces."""
    return re.sub(r"[^a-z0-9]+", " ", name.lower()).strip()


def _lines(path: Path, example: str) -> list[str]:
    if not os.path.exists(path):
        raise InputError(str(path), "there is no such file",
                         check_name(path, "Check the name of the record"))
    try:
        data = bytes_of(path)
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({in_words(error)})",
                         "Give a table with a row a day as a text file") from None
    if b"\0" in data:
        raise InputError(str(path), "this is not a text file",
                         "Save the table as CSV (comma-separated text)")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if not text.strip():
        raise InputError(str(path), "the file is empty", f"Give a table such as {example}")
    return text.splitlines()


def _split(line: str, separator: str) -> list[str]:
    try:
        return [part.strip() for part in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:  # a field beyond all length: no table
        return [line[:20]]


def _one_each(path: Path, header: int, names: list[str], plain: list[str],
              found: dict[Quantity, list[int]]) -> dict[str, int]:
    """The column of each quantity found; a station's own name wins over others."""
    chosen = {}
    for quantity, columns in found.items():
        own = [i for i in columns if quantity.element and plain[i] == quantity.element.lower()]
        if len(own or columns) > 1:
            raise InputError(f"{path} line {header + 1}", f"it has several columns of "
                             f"{quantity.words}: " + ", ".join(names[i] for i in own or columns),
                             "Keep one of them")
        if columns:
            chosen[quantity.key] = (own or columns)[0]
    return chosen


def _rows(path: Path, lines: list[str], header: int, separator: str, least: int,
          most: int | None = None) -> list[tuple[int, list[str]]]:
    """Line number and fields of each row below a header; blank lines left out."""
    rows = []
    for number, line in enumerate(lines[header + 1:], start=header + 2):
        fields = _split(line, separator)
        if not any(fields):
            continue
        if len(fields) < least:
            raise InputError(f"{path} line {number}", f"it has {len(fields)} columns where the "
                             f"table has at least {least}", "Complete the line, or delete it")
        if most is not None and any(fields[most:]):
            raise InputError(f"{path} line {number}", f"it has {len(fields)} columns where the "
                             f"table's head has {most}", "Write decimals with a point, and put "
                             "words that hold the sign between columns in quotes")
        rows.append((number, fields))
    if not rows:
        raise InputError(str(path), "the record holds no days", "Give a table with a row a day")
    return rows


def _plain(path: Path, lines: list[str], header: int, separator: str, names: list[str],
           plain: list[str], date: int, columns: dict[str, int]) -> StationTable:
    flags = {key: next((i for i, name in enumerate(plain) if name == f"{plain[at]} attributes"),
                       None) for key, at in columns.items()}
    station = next((i for i, name in enumerate(plain) if name in ("station", "station id")), None)
    clock = next((i for i, name in enumerate(plain) if name == "time" and i != date), None)
    unit = next((i for i, name in enumerate(plain) if name in ("unit", "units")), None)
    readings: dict[str, list[Reading]] = {key: [] for key in columns}
    units, stations = [], set()
    for line, fields in _rows(path, lines, header, separator, max(date, *columns.values()) + 1,
                              len(names)):
        if fields[date].lower() == names[date].lower():
            raise InputError(f"{path} line {line}", "it is a second header, and what follows may "
                             "be in another unit", "Give one table a file, in one unit")
        when = fields[date] if clock is None or clock >= len(fields) else (
            f"{fields[date]} {fields[clock]}")
        for key, at in columns.items():
            beside = flags[key]
            marks = fields[beside].split(",") if beside is not None and beside < len(fields) else []
            readings[key].append(Reading(line, when, fields[at], _mark(marks, 0) == "T",
                                         bool(_mark(marks, 1))))
        if unit is not None:
            units.append((line, _mark(fields, unit)))
        if station is not None:
            stations.add(_mark(fields, station))
    _one_station(path, stations)
    flagged = any(at is not None for at in flags.values())
    listed = [f"'{names[at]}'" for at in sorted([date, *columns.values()])]
    layout = f"a table with the columns {_and(listed)}"
    if flagged or station is not None:
        listed = [f"'{names[at]}'" for at in sorted(columns.values())]
        layout = ("a station's export with one row a day, "
                  f"{'columns' if len(listed) > 1 else 'column'} {_and(listed)}")
    return StationTable(path, layout, readings,
                        {key: f"'{names[at]}'" for key, at in columns.items()},
                        f"'{names[date]}'", header + 1, flagged or station is not None, flagged,
                        decimal_comma=separator in ";\t", units=units)


def _by_element(path: Path, lines: list[str], first: int, wanted: list[Quantity]
                ) -> StationTable:
    keys = {quantity.element: quantity.key for quantity in wanted if quantity.element}
    readings: dict[str, list[Reading]] = {}
    stations = set()
    for line, fields in _rows(path, lines, first - 1, ",", 4):
        key = keys.get(fields[2])
        if key is not None:
            readings.setdefault(key, []).append(Reading(
                line, fields[1], fields[3], _mark(fields, 4) == "T", bool(_mark(fields, 5))))
            stations.add(fields[0])
    for quantity in wanted:
        if quantity.needed and quantity.key not in readings:
            raise InputError(str(path), f"it has no rows of {quantity.words} ({quantity.element})",
                             f"Keep the rows whose third column is {quantity.element}")
    _one_station(path, stations)
    return StationTable(path, "a station's file with one row an element and no header", readings,
                        {key: f"4 ({element})" for element, key in keys.items()}, "2",
                        from_station=True, flagged=True)


def _pixel(path: Path, lines: list[str], header: int, separator: str, names: list[str],
           columns: dict[str, int]) -> StationTable:
    readings: dict[str, list[Reading]] = {key: [] for key in columns}
    for line, fields in _rows(path, lines, header, separator, max(columns.values()) + 1,
                              len(names)):
        try:
            year, yday = int(fields[0]), int(fields[1])
            day = datetime.date(year, 1, 1) + datetime.timedelta(yday - 1)
        except (ValueError, OverflowError):
            day = None
        if day is None or day.year != year:
            raise InputError(f"{path} line {line}", f"'{fields[0]},{fields[1]}' is not a year and "
                             "a day of it", "Write the day of the year as 1 to 365")
        for key, at in columns.items():
            readings[key].append(Reading(line, day.isoformat(), fields[at]))
    return StationTable(path, "a gridded daily pixel with years of 365 days", readings,
                        {key: f"'{names[at]}'" for key, at in columns.items()},
                        f"'{names[1]}'", header + 1, pixel=True)


def _one_station(path: Path, names: set[str]) -> None:
    stations = sorted(names - {""})
    if len(stations) > 1:
        raise InputError(str(path), f"it holds {len(stations)} stations, such as {stations[0]} and "
                         f"{stations[1]}", "Keep the rows of one station")


def _mark(marks: list[str], position: int) -> str:
    return marks[position].strip() if position < len(marks) else ""


def _and(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _moments(table: StationTable, lines: dict[str, int]) -> tuple[dict[str, Moment], list[str]]:
    parts: list[tuple[str, tuple[int, int, int], float | None]] = []
    order, notes = "", []
    for when, line in lines.items():
        found = re.fullmatch(
            r"(?:(?P<iso>\d{4})(?P<a>[-/.]?)(?P<m>\d{1,2})(?P=a)(?P<d>\d{1,2})"
            r"|(?P<x>\d{1,2})[-/.](?P<y>\d{1,2})[-/.](?P<z>\d{4}|\d{2}))"
            r"(?:[T ]+(?P<h>\d{1,2}):(?P<n>\d{2})(?::(?P<s>\d{2})(?:\.\d+)?)?"
            r"\s*(?P<half>[AaPp][Mm])?"
            r"(?:Z|[+-]\d{2}:?\d{2})?)?", when)
        if found is None:
            raise _bad_date(table, line, when)
        minute = None
        if found["h"]:
            hour = int(found["h"])
            if found["half"]:
                if not 1 <= hour <= 12:
                    raise _bad_date(table, line, when)
                hour = hour % 12 + (12 if found["half"].lower() == "pm" else 0)
            minute = hour * 60 + int(found["n"]) + int(found["s"] or 0) / 60
            if hour > 23 or int(found["n"]) > 59:
                raise _bad_date(table, line, when)
        if found["iso"]:
            triple = (int(found["iso"]), int(found["m"]), int(found["d"]))
        else:
            year = int(found["z"])
            if len(found["z"]) == 2:
                year += 2000 if year < 69 else 1900
            triple = (year, -int(found["x"]), int(found["y"]))  # minus: order still open
        parts.append((when, triple, minute))
    if any(triple[1] < 0 for _, triple, _ in parts):
        order = _day_first(table, [triple for _, triple, _ in parts])
        notes.append(f"Its dates were read as {order}.")
    moments = {}
    for when, (year, month, day), minute in parts:
        if month < 0:
            month, day = (-month, day) if order.startswith("month") else (day, -month)
        try:
            date = datetime.date(year, month, day)
        except ValueError:
            raise _bad_date(table, lines[when], when) from None
        if not 1700 <= year <= 2200:
            raise _bad_date(table, lines[when], when)
        moments[when] = Moment(date, minute)
    return moments, notes


def _bad_date(table: StationTable, line: int, when: str) -> InputError:
    return InputError(table.where(line), f"'{when}' cannot be read as a date",
                      "Write dates as 2024-07-31")


def _day_first(table: StationTable, triples: list[tuple[int, int, int]]) -> str:
    """Whether dates such as 07/14/24 are month/day/year or day/month/year."""
    open_ones = [(-x, y, year) for year, x, y in triples if x < 0]
    if any(y > 12 for x, y, _ in open_ones) and not any(x > 12 for x, _, _ in open_ones):
        return "month/day/year"
    if any(x > 12 for x, _, _ in open_ones):
        return "day/month/year"
    raise InputError(f"{table.path}, column {table.date_column}",
                     "its dates may be read as day/month or as month/day",
                     "Write dates as 2024-07-31")
