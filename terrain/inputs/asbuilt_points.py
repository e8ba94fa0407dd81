"""Points surveyed on finished works: what each row names, where it stands, and its level."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from terrain.errors import InputError
from terrain.inputs.csv_table import CsvTable, Row, read_csv_table
from terrain.units import metres_in

_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254, "us-ft": 1200 / 3937}
_SPELLED = {"metre": "m", "metres": "m", "meter": "m", "meters": "m", "foot": "ft", "feet": "ft",
            "inch": "in", "inches": "in", "usft": "us-ft", "us ft": "us-ft", "ftus": "us-ft"}
#: What columns are called in heads, in small letters, without their unit.
_CALLED = {
    "work": "work", "mark": "mark", "stake": "stake", "stake number": "stake", "stake no": "stake",
    "point": "point", "pt": "point", "id": "point", "name": "point", "number": "point",
    "point number": "point", "no": "point",
    "x": "east", "e": "east", "east": "east", "easting": "east",
    "y": "north", "n": "north", "north": "north", "northing": "north",
    "lon": "lon", "long": "lon", "longitude": "lon", "lat": "lat", "latitude": "lat",
    "elevation": "level", "elev": "level", "z": "level", "rl": "level", "level": "level",
    "height": "level", "surveyed": "level", "as built": "level",
    "reading": "reading", "read": "reading", "rod": "reading", "rod reading": "reading",
    "foresight": "reading", "staff": "reading", "staff reading": "reading",
    "station": "station", "chainage": "station",
    "setup": "set-up", "set-up": "set-up", "set up": "set-up", "instrument": "set-up"}
#: Columns of a setting-out table that tell what was to be made, not what was.
_DESIGNED = ("ground", "design", "design of", "cut", "below benchmark", "staff reading")
_SPOKEN = {"level": "elevation", "reading": "staff reading", "station": "station",
           "east": "easting", "north": "northing", "lon": "longitude", "lat": "latitude"}
_CELL = re.compile(r"(?P<number>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(?P<unit>[a-zA-Z -]*)")
_BRACKETED = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]")
#: Rows that read the benchmark say so in one of these words.
BENCHMARK = ("benchmark", "bench mark", "bm")
#: Rows that read a peg, whose level was carried there from the benchmark, say so in one of these.
PEG = ("peg", "temporary benchmark", "tbm", "turning point", "tp")


@dataclass(frozen=True)
class SurveyedPoint:
    """A point as its row gives it.

    Attributes
    ----------
    place : str
        File and line, for messages.
    name : str
        Its number or name, "" without one.
    work, mark : str
        As written, "" where the row names none.
    stake : int or None
        Its number in setting_out.csv.
    at : (float, float) or None
        In the raster's own coordinates, or degrees east and north.
    lonlat : bool
        Whether `at` is in degrees of WGS 84.
    station : float or None
        Distance along the line of its mark. [m]
    level, reading : float or None
        One of the two. [m]
    set_up : str
        Which set-up of the instrument its reading belongs to.
    """

    place: str
    name: str
    work: str
    mark: str
    stake: int | None
    at: tuple[float, float] | None
    lonlat: bool
    station: float | None
    level: float | None
    reading: float | None
    set_up: str = ""


class BenchmarkRow(NamedTuple):
    """A row of the benchmark, or of a peg: a staff reading on it, its level, or both. [m]"""

    place: str
    reading: float | None
    level: float | None
    set_up: str
    peg: bool = False


@dataclass(frozen=True)
class SurveyFile:
    """A file of surveyed points.

    Attributes
    ----------
    path : Path
    points : tuple of SurveyedPoint
        In the order of its rows.
    benchmarks : tuple of BenchmarkRow
    notes : tuple of str
        What was assumed, in whole sentences.
    """

    path: Path
    points: tuple[SurveyedPoint, ...]
    benchmarks: tuple[BenchmarkRow, ...]
    notes: tuple[str, ...]


def read_asbuilt_points(path: Path, system: str = "metric") -> SurveyFile:
    """Read points surveyed on works.

    Parameters
    ----------
    path : Path
        A table with a head: what docs/asbuilt.md lists.
    system : {"metric", "us"}
        Levels whose head and cells name no unit are taken in m or in ft.

    Raises
    ------
    InputError
        Naming line and column of what cannot be used.
    """
    path = Path(path)
    table = read_csv_table(path, str(path))
    reader = _Reader(table, system)
    points: list[SurveyedPoint] = []
    benchmarks: list[BenchmarkRow] = []
    blank = 0
    for row in table.rows:
        found = reader.row(row)
        if found is None:
            blank += 1
        elif isinstance(found, BenchmarkRow):
            benchmarks.append(found)
        else:
            points.append(found)
    if not points:
        raise InputError(str(path), "it holds not one surveyed point",
                         "Add a row for each point, with its elevation or staff reading")
    notes = reader.notes
    if blank:
        notes.append(f"{blank} rows of {path.name} have no level; they count as not surveyed.")
    return SurveyFile(path, tuple(points), tuple(benchmarks), tuple(notes))


class _Reader:
    """Which column is which, and what a row says."""

    def __init__(self, table: CsvTable, system: str) -> None:
        self.table, self.notes = table, list[str]()
        self.bare = "ft" if system == "us" else "m"
        self.columns: dict[str, str] = {}
        self.units: dict[str, str | None] = {}
        words = {name: _head_words(name) for name in table.columns}
        self.set_out = any(word == "design" for word, _ in words.values())
        unused = []
        for name, (word, unit) in words.items():
            column = _CALLED.get(word)
            if column is None or (self.set_out and word in _DESIGNED):
                if name and not self.set_out:
                    unused.append(name)
                continue
            if column in self.columns:
                raise InputError(table.here, f"the columns '{self.columns[column]}' and '{name}' "
                                 f"both look like the {_SPOKEN.get(column, column)}",
                                 "Keep one of them")
            self.columns[column], self.units[column] = name, unit
        if unused:
            self.notes.append(f"Columns not used: {', '.join(unused)}.")
        self._refuse_missing()
        self.said_bare: set[str] = set()
        self.in_cells: dict[str, str] = {}

    def _refuse_missing(self) -> None:
        here, known = self.table.here, self.columns
        if "level" not in known and "reading" not in known:
            if self.set_out:
                raise InputError(here, "it tells what to read at each stake, and no column says "
                                 "what was read", "Add a column 'read_m' with the staff readings, "
                                 "or 'elevation_m' with the levels")
            raise InputError(here, "no column holds an elevation or a staff reading",
                             "Call one elevation_m or reading_m (or _ft)")
        for one, other in (("east", "north"), ("lon", "lat")):
            if (one in known) != (other in known):
                have, lack = (one, other) if one in known else (other, one)
                raise InputError(here, f"it has a column of {_SPOKEN[have]} and none of "
                                 f"{_SPOKEN[lack]}", f"Add a column {_SPOKEN[lack]}")
        if not {"east", "lon", "stake"} & set(known) and not {"work", "mark", "station"} <= set(
                known):
            raise InputError(here, "no column says where its points are",
                             "Give easting and northing, lon and lat, the stake's number, or "
                             "work, mark and station")

    def row(self, row: Row) -> SurveyedPoint | BenchmarkRow | None:
        """A point, a reading of the benchmark, or nothing where the row was not surveyed."""
        text = {column: row.values[name] for column, name in self.columns.items()}
        place = self.table.where(row)
        level, reading = self._length(row, "level"), self._length(row, "reading")
        set_up = text.get("set-up", "")
        said = {text.get(column, "").lower() for column in ("work", "mark", "stake", "point")}
        if said & set(PEG) and not said & set(BENCHMARK):
            if level is None or reading is None:
                raise InputError(place, "a peg's row needs its level and the staff reading on it",
                                 "Fill in both")
            return BenchmarkRow(place, reading, level, set_up, True)
        if said & set(BENCHMARK):
            if level is None and reading is None:
                raise InputError(place, "the benchmark's row has neither a reading nor a level",
                                 "Fill in the staff reading on it")
            return BenchmarkRow(place, reading, level, set_up)
        if level is None and reading is None:
            if self.set_out:
                return None
            raise InputError(place, "it has neither an elevation nor a staff reading",
                             "Fill one in, or take the line out")
        if level is not None and reading is not None:
            raise InputError(place, "it has both an elevation and a staff reading",
                             "Keep the one that was measured")
        at, lonlat = self._pair(row, "east", "north"), False
        if at is None:
            at, lonlat = self._degrees(row), True
        return SurveyedPoint(place, text.get("point", ""), _plain(text.get("work", "")),
                             text.get("mark", ""), self._stake(row), at, lonlat and at is not None,
                             self._length(row, "station"), level, reading, set_up)

    def _degrees(self, row: Row) -> tuple[float, float] | None:
        found = self._pair(row, "lon", "lat")
        if found is not None and not (abs(found[0]) <= 360 and abs(found[1]) <= 90):
            raise InputError(self.table.where(row), f"{found[0]:g}, {found[1]:g} is no longitude "
                             "and latitude in degrees", "Call the columns easting and northing if "
                             "they are that")
        return found

    def _pair(self, row: Row, one: str, other: str) -> tuple[float, float] | None:
        if one not in self.columns:
            return None
        values = []
        for column in (one, other):
            name = self.columns[column]
            number = self.table.number(row, name, -1e9, 1e9)
            values.append(number)
        missing = [math.isnan(value) for value in values]
        if all(missing):
            return None
        if any(missing):
            lack = one if missing[0] else other
            raise InputError(self.table.where(row, self.columns[lack]), "it is empty",
                             f"Fill in the {_SPOKEN[lack]}")
        return values[0], values[1]

    def _stake(self, row: Row) -> int | None:
        text = row.values[self.columns["stake"]] if "stake" in self.columns else ""
        if not text:
            return None
        if not text.isdigit():
            raise InputError(self.table.where(row, self.columns["stake"]), f"'{text}' is not the "
                             "number of a stake", "Take it from setting_out.csv, or leave it empty")
        return int(text)

    def _length(self, row: Row, column: str) -> float | None:
        """A length of a row in m; its own unit must be the column's."""
        if column not in self.columns:
            return None
        name = self.columns[column]
        text = row.values[name]
        if not text:
            return None
        where = self.table.where(row, name)
        number = text.replace(",", ".") if self.table.decimal_comma else text
        cell = _CELL.fullmatch(number)
        if cell is None:
            raise InputError(where, f"'{text}' is not a number",
                             "Correct it, or take the line out")
        own = _unit(cell.group("unit")) if cell.group("unit").strip() else None
        if cell.group("unit").strip() and own is None:
            raise InputError(where, f"'{text}' is in no unit of length known here",
                             f"Use one of {', '.join(_METRES)}")
        head = self.units[column]
        column_unit = head or self.in_cells.setdefault(column, own or self.bare)
        if (own is not None and own != column_unit) or (
                own is None and head is None and column_unit != self.bare):
            raise InputError(where, f"'{text}' is not in {column_unit} as the rest of its column",
                             "Write all of a column in one unit, and name it in the head")
        if head is None and own is None and column not in self.said_bare:
            self.said_bare.add(column)
            self.notes.append(f"The column '{name}' names no unit; it was taken in "
                              f"{column_unit}, the site's.")
        return float(cell.group("number")) * (
            metres_in("ft") if column_unit == "ft" else _METRES[column_unit])


def _head_words(name: str) -> tuple[str, str | None]:
    """A head without its unit, and the unit, such as ``elevation_m`` or ``Reading (ft)``."""
    bracket = _BRACKETED.search(name)
    word = re.sub(r"[_.#]", " ", _BRACKETED.sub("", name)).strip().lower()
    word = re.sub(r"\s+", " ", word)
    if bracket:
        return word, _unit(bracket.group(1))
    if word not in _CALLED:
        for length in (2, 1):
            parts = word.split(" ")
            unit = _unit(" ".join(parts[-length:])) if len(parts) > length else None
            if unit is not None:
                return " ".join(parts[:-length]), unit
    return word, None


def _unit(text: str) -> str | None:
    word = text.strip().lower()
    word = _SPELLED.get(word, word)
    return word if word in _METRES else None


def _plain(text: str) -> str:
    """A name without the mark that keeps spreadsheets from taking it for a formula."""
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "-", "@") else text
