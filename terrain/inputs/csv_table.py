"""Small tables of text with one line of column names, each row's line kept for messages."""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from terrain.errors import InputError
from terrain.files import check_name
from terrain.inputs.whole_bytes import bytes_of

_SEPARATORS = ",;\t|"


@dataclass(frozen=True)
class Row:
    """A row: the line it starts on, and its values by the column's name in small letters."""

    line: int
    values: dict[str, str]


@dataclass(frozen=True)
class CsvTable:
    """A table as read: where it stands, its columns in small letters, its rows.

    `here` names it in messages, e.g. ``site.yaml line 9, own.csv``.
    """

    here: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool

    def where(self, row: Row, column: str | None = None) -> str:
        """Say where a row stands, or a value of it."""
        return f"{self.here} line {row.line}" + (f", column {column}" if column else "")

    def number(self, row: Row, column: str, least: float, most: float) -> float:
        """A number of a row; NaN where the table leaves it empty.

        Raises
        ------
        InputError
            If it is no number, or outside `least` to `most`.
        """
        text = row.values[column.lower()]
        if not text:
            return float("nan")
        try:
            value = float(text.replace(",", ".") if self.decimal_comma else text)
        except ValueError:
            value = float("nan")
        if "_" in text:  # which Python passes over
            value = float("nan")
        remedy = f"Give a number from {least:g} to {most:g}, or leave it empty"
        if value != value:
            raise InputError(self.where(row, column), f"'{text}' is not a number", remedy)
        if not least <= value <= most:
            raise InputError(self.where(row, column),
                             f"{text} is not between {least:g} and {most:g}", remedy)
        return value


def read_csv_table(path: Path, here: str) -> CsvTable:
    """Read a table of text.

    Parameters
    ----------
    path : Path
        Columns parted by commas, semicolons, tabs or upright strokes, told by the line of column
        names; lines that start with # and empty lines are passed over.
    here : str
        What names the file in messages.

    Raises
    ------
    InputError
        If it cannot be read, has no column names or no rows, names a column twice, or a row is
        longer or shorter than the line of column names.
    """
    if not os.path.exists(path):
        raise InputError(here, "there is no such file", check_name(path))
    try:
        raw = bytes_of(path, here=here)
    except OSError as error:
        raise InputError(here, f"it cannot be read ({in_words(error)})",
                         "Give a table as text (CSV)") from None
    if b"\0" in raw:
        raise InputError(here, "it is no table of text", "Save it as CSV, in UTF-8")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")  # as office programs on Windows save it
    lines = ["" if line.lstrip().startswith("#") else line for line in text.splitlines()]
    first = next((line for line in lines if line.strip()), "")
    separator = max(_SEPARATORS, key=first.count)
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True)
    found: list[tuple[int, list[str]]] = []
    before = 0
    try:
        for fields in reader:
            if any(field.strip() for field in fields):
                found.append((before + 1, [field.strip() for field in fields]))
            before = reader.line_num
    except csv.Error as error:
        raise InputError(f"{here} line {reader.line_num}", f"it cannot be read ({error})",
                         "Look for a missing quote there") from None
    if len(found) < 2:
        raise InputError(here, "it has no rows under a line of column names", "Fill it in")
    (line, head), *rest = found
    columns = tuple(name.lower() for name in head)
    value = next((name for name in head if name.replace(".", "", 1).isdigit()), None)
    if value is not None:
        raise InputError(f"{here} line {line}", f"it holds the value '{value}' where column names "
                         "are looked for", "Start the table with a line of column names")
    for name in columns:
        if name and columns.count(name) > 1:
            raise InputError(f"{here} line {line}", f"it names the column '{name}' twice",
                             "Give each column its own name")
    rows = []
    for line, fields in rest:
        if len(fields) > len(columns) and not any(fields[len(columns):]):
            fields = fields[:len(columns)]
        if len(fields) != len(columns):
            raise InputError(f"{here} line {line}", f"it has {len(fields)} values for "
                             f"{len(columns)} columns",
                             "Put words that hold the sign between columns in quotes")
        rows.append(Row(line, dict(zip(columns, fields, strict=True))))
    return CsvTable(here, columns, tuple(rows), separator == ";")


def in_words(error: OSError) -> str:
    """Why a file cannot be read, such as ``is a directory``."""
    return (error.strerror or "no reason given").lower()


def cell_text(given: Any) -> str:
    """What a cell of a table says, a whole number without its decimals; empty where nothing."""
    import pandas

    if given is None or given is pandas.NA or (isinstance(given, float) and given != given):
        return ""
    if isinstance(given, float) and given.is_integer():
        return str(int(given))
    return str(given).strip()
