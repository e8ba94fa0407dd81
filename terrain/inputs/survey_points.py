"""Surveyed points from text: which column is which, and every row checked."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from terrain.errors import InputError
from terrain.inputs.csv_table import in_words
from terrain.inputs.whole_bytes import bytes_of

#: Endings of files that hold points, not rasters.
POINT_FILES = (".csv", ".txt", ".xyz", ".pts", ".pnt", ".tsv")
#: Words for the columns.
COLUMNS = ("point", "x", "y", "z", "code", "-")
#: What columns are called in heads of files, in any case.
_CALLED = {
    "x": "x", "easting": "x", "east": "x", "e": "x", "lon": "x", "long": "x", "longitude": "x",
    "y": "y", "northing": "y", "north": "y", "n": "y", "lat": "y", "latitude": "y",
    "z": "z", "elevation": "z", "elev": "z", "height": "z", "level": "z", "rl": "z", "h": "z",
    "point": "point", "pt": "point", "p": "point", "id": "point", "no": "point", "name": "point",
    "number": "point", "point number": "point", "point no": "point", "point id": "point",
    "code": "code", "description": "code", "desc": "code", "feature": "code", "remark": "code"}
_SPOKEN = {"x": "easting (x)", "y": "northing (y)", "z": "elevation (z)"}
_GROUPED = re.compile(r"[-+]?\d{1,3}(,\d{3})+")
_COMMA = re.compile(r"[-+]?\d+,\d+")
_UNIT = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]")


@dataclass(frozen=True)
class SurveyPoints:
    """Points as the file gives them.

    Attributes
    ----------
    x, y, z : float64, shape (points,)
        In the file's own coordinates and unit of height.
    places : list of str
        File and line of each point.
    height_unit : str or None
        The unit that the head of the column of elevations names.
    notes : tuple of str
        What was assumed, in whole sentences.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    places: list[str]
    height_unit: str | None
    notes: tuple[str, ...]


def checked_columns(given: str | Sequence[str] | None) -> tuple[str, ...] | None:
    """The columns that a person lists, such as ``point,y,x,z,code``.

    Raises
    ------
    ValueError
        If a word is none of `COLUMNS`, or if x, y or z is not there once.
    """
    if given is None:
        return None
    words = re.split(r"[,;\s]+", given.strip()) if isinstance(given, str) else list(given)
    words = [str(word).strip().lower() for word in words]
    for word in words:
        if word not in COLUMNS:
            raise ValueError(f"'{word}' is no column; the words are point, x, y, z, code and - "
                             "for one that is not used")
    for word in "xyz":
        if words.count(word) != 1:
            raise ValueError(f"{word} must be among the columns once")
    return tuple(words)


def read_points(path: Path, columns: Sequence[str] | None = None) -> SurveyPoints:
    """Read surveyed points from a text file.

    Parameters
    ----------
    path : Path
        Rows of a point, parted by commas, semicolons, tabs or blanks, with or without a head.
    columns : sequence of str, optional
        What each column is, words of `COLUMNS`; overrules head and custom.

    Raises
    ------
    InputError
        If the columns cannot be told, or naming the line of a row that is no point.

    Notes
    -----
    Without a head, five columns are taken in the usual order of surveyors (point, northing,
    easting, elevation, code; from memory) and three as x, y, z; a note says so.
    """
    lines = _lines(path)
    part = _separator([text for _, text in lines[:20]])
    rows = [(number, _parted(text, part)) for number, text in lines]
    notes: list[str] = []
    unit = None
    head = _head(rows[0][1])
    if columns is None:
        if head is not None:
            columns, unit = head
            rows = rows[1:]
        else:
            columns = _by_custom(path, rows[0], notes)
    else:
        columns = tuple(columns)
        places = [columns.index(axis) for axis in "xyz"]
        first = rows[0][1]
        if head is not None or (rows[0][0] == 1 and len(rows) > 1 and not any(
                re.search(r"\d", first[i]) for i in places if i < len(first))):
            rows = rows[1:]
    if not rows:
        raise InputError(str(path), "it holds a head and not one point", "Export it again")
    point = _decimal_sign(path, rows, columns, part)
    values = np.empty((len(rows), 3))
    for at, (number, fields) in enumerate(rows):
        values[at] = _row(f"{path} line {number}", fields, columns, point)
    return SurveyPoints(values[:, 0], values[:, 1], values[:, 2],
                        [f"{path.name} line {number}" for number, _ in rows], unit, tuple(notes))


def _lines(path: Path) -> list[tuple[int, str]]:
    """Numbered lines that say something, up to the last."""
    try:
        raw = bytes_of(path)
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({in_words(error)})", "Check the file"
                         ) from None
    if b"\0" in raw[:4096]:
        raise InputError(str(path), "this is no text, so it holds no surveyed points",
                         "Give points as text, or a raster such as a GeoTIFF")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1)]
    while lines and not lines[-1][1].strip():
        lines.pop()
    if not lines:
        raise InputError(str(path), "the file is empty", "Export it again")
    if lines[0][1].startswith("#") and _head(_parted(lines[0][1][1:], _separator(
            [lines[0][1][1:]]))) is not None:
        lines[0] = (1, lines[0][1][1:])
    lines = [(number, line) for number, line in lines if not line.startswith("#")]
    if not lines:
        raise InputError(str(path), "it holds nothing but remarks", "Export it again")
    for number, line in lines:
        if not line.strip(" \t,;"):
            raise InputError(f"{path} line {number}", "this row is blank",
                             "Take the line out, or fill it in")
    return lines


def _separator(texts: Sequence[str]) -> str | None:
    """What parts the columns: a sign, or None for blanks."""
    for sign in ";\t":
        if any(sign in text for text in texts):
            return sign
    if any("," in text for text in texts):
        last = texts[-1]
        parted = last.split()
        decimal = [word for word in parted if _COMMA.fullmatch(word)]
        return None if len(parted) >= 3 and len(decimal) >= 2 else ","
    return None


def _parted(text: str, sign: str | None) -> list[str]:
    if sign is None:
        return text.split()
    return [field.strip() for field in next(csv.reader([text], delimiter=sign))]


def _head(fields: Sequence[str]) -> tuple[tuple[str, ...], str | None] | None:
    """Columns by their names and the unit of heights, or None if this is no head."""
    found, unit = [], None
    for field in fields:
        named = _UNIT.search(field)
        word = re.sub(r"[_.#]", " ", _UNIT.sub("", field)).strip().lower()
        column = _CALLED.get(word)
        if column is None:
            stem, _, end = word.rpartition(" ")
            if end in ("m", "ft"):
                column = _CALLED.get(stem)
                named = re.match(r"(.*)", end) if column else named
        if column == "z" and named:
            unit = named.group(1)
        found.append(column if column is not None and column not in found else "-")
    return (tuple(found), unit) if all(axis in found for axis in "xyz") else None


def _by_custom(path: Path, row: tuple[int, list[str]], notes: list[str]) -> tuple[str, ...]:
    number, fields = row
    remedy = ("List them in order, such as columns: point, y, x, z, code (or --columns), with - "
              "for one that is not used")
    if not any(re.fullmatch(r"[-+]?[\d.,]+([eE][-+]?\d+)?", field) for field in fields):
        raise InputError(f"{path} line {number}", "this head does not name x, y and z (or easting, "
                         "northing and elevation)", remedy)
    if len(fields) == 5:
        notes.append("The points have no head: their five columns were taken as point, northing, "
                     "easting, elevation, code.")
        return ("point", "y", "x", "z", "code")
    if len(fields) == 3:
        notes.append("The points have no head: their three columns were taken as x, y, z.")
        return ("x", "y", "z")
    raise InputError(f"{path} line {number}", f"it has {len(fields)} columns and no head that "
                     "names them", remedy)


def _decimal_sign(path: Path, rows: Sequence[tuple[int, list[str]]], columns: Sequence[str],
                  part: str | None) -> str:
    """Whether decimals are behind points or commas in this file."""
    if part == ",":
        return "."
    commas = []
    places = [columns.index(axis) for axis in "xyz"]
    for number, fields in rows:
        for place in places:
            if place < len(fields) and "," in fields[place]:
                commas.append((number, fields[place]))
    if not commas:
        return "."
    if all(_GROUPED.fullmatch(field) for _, field in commas):
        number, field = commas[0]
        raise InputError(f"{path} line {number}", f"'{field}' may have a decimal comma or a comma "
                         "between thousands", "Write decimals with a point")
    return ","


def _row(where: str, fields: list[str], columns: Sequence[str], point: str
         ) -> tuple[float, float, float]:
    while len(fields) > len(columns) and not fields[-1]:
        fields = fields[:-1]
    free = columns[-1] in ("code", "-")  # words with commas, or left out
    if len(fields) > len(columns) and not free:
        raise InputError(where, f"it has {len(fields)} columns instead of {len(columns)}",
                         "Correct the line; write decimals with a point")
    found = []
    for axis in "xyz":
        place = columns.index(axis)
        field = fields[place] if place < len(fields) else ""
        if not field:
            raise InputError(where, f"its {_SPOKEN[axis]} is missing", "Fill it in, or take the "
                             "line out")
        number = float("nan")
        if point == "." or field.count(",") + field.count(".") <= 1:
            try:
                number = float(field.replace(",", ".") if point == "," else field)
            except ValueError:
                number = float("nan")
        if not np.isfinite(number) or "_" in field:
            raise InputError(where, f"its {_SPOKEN[axis]} '{field}' is not a number",
                             "Correct it, or take the line out")
        found.append(number)
    return found[0], found[1], found[2]


def refuse_swapped(where: str, x: NDArray[np.float64], y: NDArray[np.float64], own: CRS | None
                   ) -> list[str]:
    """Refuse points that lie where their CRS is used only if x and y change places.

    Returns a note if they lie outside either way.
    """
    if own is None or own.area_of_use is None or own.area_of_use.west > own.area_of_use.east:
        return []
    from pyproj import Transformer

    way = Transformer.from_crs(own.to_2d(), 4326, always_xy=True)
    area = own.area_of_use

    def within(east: NDArray[np.float64], north: NDArray[np.float64]) -> bool:
        lon, lat = way.transform(np.median(east), np.median(north))
        # A degree beyond: surveys near the edge of a zone often keep to the zone of the next town.
        return bool(area.west - 1 <= lon <= area.east + 1
                    and area.south - 1 <= lat <= area.north + 1)
    if within(x, y):
        return []
    if within(y, x):
        raise InputError(where, f"the points lie outside the area of {own.name}, and inside it "
                         "with x and y changed about, so the order of the columns looks swapped",
                         "State it, such as columns: point, x, y, z, code (or --columns)")
    return [f"The points lie outside the area that {own.name} is made for; check the coordinate "
            "system."]
