"""Tables of how deep a rain of a given duration is, once in so many years."""

from __future__ import annotations

import csv
import os
import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, NoReturn

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.files import check_name
from terrain.inputs.csv_table import in_words
from terrain.inputs.rainfall import MOST_IN_A_DAY
from terrain.inputs.whole_bytes import bytes_of
from terrain.units import read_quantity

if TYPE_CHECKING:
    import pandas

_MM_PER = {"mm": 1.0, "in": 25.4}
_WORDS = {"mm": "mm", "in": "inches"}
_UNITS = {"inches": "in", "inch": "in", "in": "in", "millimeters": "mm", "millimetres": "mm",
          "millimeter": "mm", "millimetre": "mm", "mm": "mm"}
_AN_HOUR = ("hour", "hr", "h")
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)")
#: Durations and return periods that a table may hold; common practice, no source. [h], [years]
SHORTEST, LONGEST = 1 / 60, 366 * 24.0
RAREST = 1e6
_PUBLIC = re.compile(r"\s*by duration for (ARI|AEP)", re.IGNORECASE)
_MEND = "Correct it, or fetch or export the table again"


class _Row(NamedTuple):
    line: int
    hours: float
    cells: list[str]


class _Read(NamedTuple):
    """What stands in a table's file."""

    columns: list[str]  # heads of the depths, as written
    periods: list[float]
    rows: list[_Row]
    unit: str
    intensity: bool
    notes: list[str]
    annual: bool = False


def frequency_table(path: Path, unit: str | None = None) -> pandas.DataFrame:
    """Read a table of rain by duration and return period.

    Parameters
    ----------
    path : Path
        Either a point precipitation-frequency text: free lines, the first with the unit in
        brackets; ``by duration for ARI (years):`` or ``by duration for AEP:`` with the rarities;
        then a row a duration (``5-min:, ...``).  Or a simple table with the heads ``duration,2 yr
        mm,10 yr mm`` and rows such as ``30 min,12,19``; blank lines and lines that start with #
        are passed over.  Intensities (mm/h, in/h) are multiplied by their duration.
    unit : {"mm", "in"}, optional
        Unit of the depths, where the file does not say.

    Returns
    -------
    depths : DataFrame
        Index: duration [h]. Columns: return period, for an annual-maximum table the inverse of
        the chance in a year [years]. Values: depth [mm].  ``depths.attrs["notes"]`` lists what
        was taken how; ``depths.attrs["annual"]`` is whether it counts annual maxima.

    Raises
    ------
    InputError
        If the file is missing or is no such table; if its unit is not known; if a depth is
        missing, no number or not above 0; if durations or return periods do not rise, or depths
        fall along either: naming line and column.

    Notes
    -----
    Once in T years of a series of annual maxima (chance 1/T in a year) is not quite once in T
    years of a partial-duration series: the latter's interval is ``1 / -ln(1 - 1/T)`` [1]_.

    Rain of a longer duration cannot be less.  Where printed intensities say so by no more than
    their rounding, the depth is raised to that of the shorter duration, and a note tells.

    References
    ----------
    .. [1] W. B. Langbein, "Annual floods and the partial-duration flood series", Transactions of
       the American Geophysical Union 30, 1949, 879-881.
    """
    import pandas

    path = Path(path)
    if unit is not None and unit not in _MM_PER:
        raise InputError(str(path), f"the unit '{unit}' is not one of a table of depths",
                         "Use mm or in")
    lines = _lines(path)
    start = next((n for n, line in enumerate(lines) if _PUBLIC.match(line)), None)
    if start is not None:
        read = _public(path, lines, start, unit)
    elif (head := _simple_head(lines)) is not None:
        read = _simple(path, lines, head, unit)
    else:
        raise InputError(str(path), "this is no table of rain by duration and return period",
                         "Give one whose first line is such as 'duration,2 yr mm,10 yr mm', or one "
                         "with a line that starts with 'by duration for ARI (years):'")
    depths, risen = _depths(path, read)
    table = pandas.DataFrame(
        depths, index=pandas.Index([row.hours for row in read.rows], name="duration_h"),
        columns=pandas.Index(read.periods, name="return_period_years"))
    table.attrs["notes"] = _notes(path, read) + risen
    table.attrs["annual"] = read.annual
    return table


def is_frequency_table(path: Path) -> bool:
    """Whether a file's head is that of a table of rain by duration.

    Raises
    ------
    InputError
        If there is no such file, or it cannot be read.
    """
    lines = _lines(Path(path))
    return any(_PUBLIC.match(line) for line in lines) or _simple_head(lines) is not None


def depth_of(table: pandas.DataFrame, hours: float, years: float) -> float:
    """Depth of a rain of a duration, once in so many years. [mm]

    Interpolated log-log in duration and linearly in the logarithm of the return period.

    Raises
    ------
    ValueError
        If duration or return period lie outside the table.
    """
    durations, periods = table.index.to_numpy(float), table.columns.to_numpy(float)
    if not durations[0] <= hours <= durations[-1]:
        raise ValueError(f"a duration of {hours:g} h is outside the table, which goes from "
                         f"{durations[0]:.3g} h to {durations[-1]:g} h")
    if not periods[0] <= years <= periods[-1]:
        raise ValueError(f"once in {years:g} years is outside the table, which goes from "
                         f"{periods[0]:g} to {periods[-1]:g} years")
    depths = table.to_numpy(float)
    at_duration = [np.exp(np.interp(np.log(hours), np.log(durations), np.log(column)))
                   for column in depths.T]
    return float(np.interp(np.log(years), np.log(periods), at_duration))


def _lines(path: Path) -> list[str]:
    if not os.path.exists(path):
        raise InputError(str(path), "there is no such file",
                         check_name(path, "Check the name of the rain table"))
    try:
        return bytes_of(path).decode("utf-8-sig", errors="replace").splitlines()
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({in_words(error)})",
                         "Give a table as a text file") from None


def _public(path: Path, lines: list[str], start: int, given: str | None) -> _Read:
    """The public text layout, whose table's head is line `start`."""
    head = lines[:start]
    unit, intensity = _public_unit(path, head)
    if given is not None and given != unit:
        raise _other_unit(f"{path} line 1", unit, given)
    annual = "aep" in lines[start].partition(":")[0].lower()
    columns = [part.strip() for part in lines[start].partition(":")[2].strip(" ,").split(",")]
    periods = [_public_period(f"{path} line {start + 1}", text, annual) for text in columns]
    _refuse_unordered(f"{path} line {start + 1}", columns, periods)
    rows: list[_Row] = []
    for number, line in enumerate(lines[start + 1:], start=start + 2):
        found = re.match(r"\s*(\d+)-(min|hr|day):(.*)", line)
        if not found:
            if re.match(r"\s*\d", line):
                raise InputError(f"{path} line {number}", f"'{line.strip()[:30]}' is no row such "
                                 "as '5-min:, ...'", _MEND)
            break
        hours = float(found[1]) * {"min": 1 / 60, "hr": 1.0, "day": 24.0}[found[2]]
        _refuse_duration(f"{path} line {number}, column 'duration'", f"{found[1]}-{found[2]}",
                         hours)
        rows.append(_Row(number, hours, _cells(found[3].strip().removeprefix(","), ",",
                                               len(columns))))
    if not rows:
        raise InputError(f"{path} line {start + 2}", "no row of depths such as '5-min:, ...' "
                         "follows the table's head", _MEND)
    notes = ["It counts annual maxima: a return period is the inverse of the chance in any one "
             "year."] if annual else []
    return _Read(columns, periods, rows, unit, intensity, notes, annual)


def _public_unit(path: Path, head: list[str]) -> tuple[str, bool]:
    """The unit, and whether the table holds intensities."""
    first = next((line for line in head if line.strip()), "")
    found = re.search(r"\(([^)]*)\)", first)
    text = found[1].strip().lower() if found else ""
    unit, _, per = (part.strip() for part in text.partition("/"))
    if unit not in _UNITS or per not in ("", *_AN_HOUR):
        raise InputError(f"{path} line 1", "no unit such as (inches) or (millimeters/hour) stands "
                         "in it", _MEND)
    kind = " ".join(line.lower() for line in head if line.lower().startswith("data type"))
    if ("intensity" in kind and not per) or ("depth" in kind and per):
        raise InputError(f"{path} line 1", f"its unit '{text}' does not fit its {kind.strip()}",
                         _MEND)
    return _UNITS[unit], bool(per)


def _public_period(here: str, written: str, annual: bool) -> float:
    """A return period; of a chance such as '1/2 its inverse. [years]"""
    try:
        if len(written) > 20 or "e" in written.lower():  # a power of ten beyond all size
            raise ValueError
        value = Fraction(written.lstrip("'’`").rstrip("%"))
        if annual:
            value = 1 / value
        if not (1 if annual else 0) < value <= RAREST:
            raise ValueError
    except (ValueError, ZeroDivisionError):
        kind = "chance in a year such as 1/10" if annual else "number of years"
        raise InputError(here, f"'{written}' is no {kind}", _MEND) from None
    return float(value)


def _simple_head(lines: list[str]) -> int | None:
    """Index of the line of heads, if the file is a simple table."""
    for number, line in enumerate(lines):
        if line.strip() and not line.lstrip().startswith("#"):
            cells = _cells(line, _separator(line))
            return number if re.match(r"durations?\b|duration_", cells[0].lower()) and len(
                cells) > 1 else None
    return None


def _simple(path: Path, lines: list[str], head: int, given: str | None) -> _Read:
    """The simple layout, whose heads are line `head`."""
    here, separator = f"{path} line {head + 1}", _separator(lines[head])
    heads = _cells(lines[head], separator)
    while heads[-1] == "":
        heads.pop()
    of_durations = re.sub(r"[^a-z]+", " ", heads[0].lower().partition("duration")[2]
                          .removeprefix("s")).strip()
    columns = heads[1:]
    found = [_simple_period(here, text) for text in columns]
    unit, intensity = _simple_unit(path, here, columns, [said for _, said in found], given)
    periods = [period for period, _ in found]
    _refuse_unordered(here, columns, periods)
    rows = []
    for number, line in enumerate(lines[head + 1:], start=head + 2):
        cells = _cells(line, separator, len(heads))
        if not any(cells) or line.lstrip().startswith("#"):
            continue
        rows.append(_Row(number, _duration(f"{path} line {number}, column '{heads[0]}'", cells[0],
                                           of_durations), cells[1:]))
    if not rows:
        raise InputError(here, "no row of depths such as '30 min,12,19' follows the table's head",
                         "Add a row for each duration")
    return _Read(columns, periods, rows, unit, intensity, [])


def _simple_period(here: str, written: str) -> tuple[float, str]:
    """Return period [years] and unit, as written, of a head such as '10 yr mm'."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)(?:[\s_-]*(?:years?|yrs?|y)\b\.?|(?![\d.]))(.*)",
                         written.lower().replace("_", " "))
    if not found or not 0 < float(found[1]) <= RAREST:
        raise InputError(f"{here}, column '{written}'", "it does not start with a number of years",
                         "Write heads such as '10 yr mm'")
    return float(found[1]), found[2].strip(" ,-:[]()")


def _simple_unit(path: Path, here: str, columns: list[str], said: list[str], given: str | None
                 ) -> tuple[str, bool]:
    """The one unit of a simple table, and whether it holds intensities."""
    known: list[tuple[str, bool] | None] = []
    for column, text in zip(columns, said, strict=True):
        name, *per = (part.strip() for part in re.split(r"/|\bper\b|\ban\b", text))
        if text and (name not in _UNITS or (per and (len(per) > 1 or per[0] not in _AN_HOUR))):
            raise InputError(f"{here}, column '{column}'", f"its unit '{text}' is not known",
                             "Use mm or in (or mm/h, in/h)")
        known.append((_UNITS[name], bool(per)) if text else None)
    stated = next((k for k in known if k is not None), None)
    if stated is None:
        if given is None:
            raise InputError(str(path), "it does not say in which unit its depths are",
                             "Write it in the heads, such as '2 yr mm', or state unit: mm (or in)")
        return given, False
    for column, one in zip(columns, known, strict=True):
        if one is not None and one != stated:
            raise InputError(f"{here}, column '{column}'", "its unit is not that of the columns "
                             "before it", "Give all depths in one unit")
        if one is None and given is None:
            raise InputError(f"{here}, column '{column}'", "it states no unit, though others do",
                             "Write the unit in every head, or in none and state unit: mm (or in)")
    if given is not None and given != stated[0]:
        raise _other_unit(here, stated[0], given)
    return stated


def _other_unit(here: str, unit: str, given: str) -> InputError:
    return InputError(here, f"it says its depths are in {_WORDS[unit]}, but unit: {given} was "
                      "stated", "Leave the unit out, or correct the file")


def _duration(here: str, written: str, of_column: str) -> float:
    """A duration. [h]"""
    text = re.sub(r"(?<=\d)[-_](?=[A-Za-z])", " ", written)
    bare = _NUMBER.fullmatch(text) is not None
    if bare and not of_column:
        raise InputError(here, f"'{written}' has no unit", "Write it as '30 min', '1 h' or "
                         "'2 days', or name the column 'duration h' or 'duration min'")
    try:
        hours = read_quantity(f"{text} {of_column}" if bare else text, "time")
    except ValueError as error:
        raise InputError(here, str(error), "Write it as '30 min', '1 h' or '2 days'") from None
    _refuse_duration(here, written, hours)
    return hours


def _refuse_duration(here: str, written: str, hours: float) -> None:
    if not SHORTEST * (1 - 1e-9) <= hours <= LONGEST:
        what = "above 0" if hours <= 0 else "between a minute and a year"
        raise InputError(here, f"the duration '{written}' is not {what}",
                         "Write it as '30 min', '1 h' or '2 days'")


def _separator(line: str) -> str:
    return max((",", ";", "\t"), key=line.count)


def _cells(line: str, separator: str, count: int | None = None) -> list[str]:
    """Fields of a line; empty ones beyond `count` are dropped."""
    try:
        cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])] or [""]
    except csv.Error:  # a field beyond all length
        return [line[:20]]
    if count is not None:
        while len(cells) > count and not cells[-1]:
            cells.pop()
    return cells


def _refuse_unordered(here: str, columns: list[str], periods: list[float]) -> None:
    for (_, before), (column, after) in pairwise(zip(columns, periods, strict=True)):
        if after <= before:
            raise InputError(f"{here}, column '{column}'", "its return period is not longer than "
                             "the one before it, so return periods do not rise",
                             "Put the columns in order, each once")


def _depths(path: Path, read: _Read) -> tuple[NDArray[np.float64], list[str]]:
    """Depths of durations by return periods [mm], and what was raised."""
    for before, row in pairwise(read.rows):
        if row.hours <= before.hours:
            raise InputError(f"{path} line {row.line}, column 'duration'", "its duration is not "
                             "longer than the one above", "Put the rows in order, each once")
    printed = np.array([_values(path, row, read.columns) for row in read.rows])
    hours = np.array([row.hours for row in read.rows])[:, None]
    per = _MM_PER[read.unit] * (hours if read.intensity else 1.0)
    depths = printed * per

    def refuse(bad: NDArray[np.bool_], what: str) -> NoReturn:
        i, j = np.argwhere(bad)[0]
        raise InputError(f"{path} line {read.rows[i].line}, column '{read.columns[j]}'", what,
                         _MEND)

    rarer_less = np.diff(depths, axis=1, prepend=0.0) < 0
    if rarer_less.any():
        refuse(rarer_less, "a rarer rain is less than a commoner one")
    too_much = depths > MOST_IN_A_DAY * np.maximum(hours / 24, 1.0)
    if too_much.any():
        refuse(too_much, f"more than {MOST_IN_A_DAY:,.0f} mm never fell in a day; check the unit")
    slack = per * np.array([[_half_step(cell) for cell in row.cells] for row in read.rows]
                           ) if read.intensity else np.zeros_like(depths)
    at_least = np.maximum.accumulate(depths - slack, axis=0)
    falls = depths + slack < at_least * (1 - 1e-12)
    if falls.any():
        refuse(falls, "its depth is less than that of a shorter duration")
    whole = np.maximum.accumulate(depths, axis=0)
    raised = whole > depths * (1 + 1e-12)
    if not raised.any():
        return depths, []
    return whole, [f"Depths raised to that of the next shorter duration, as rounded intensities "
                   f"made them fall short of it by up to {(whole - depths).max():.1f} mm: "
                   f"{int(raised.sum())}."]


def _values(path: Path, row: _Row, columns: list[str]) -> list[float]:
    here = f"{path} line {row.line}"
    if len(row.cells) > len(columns):
        raise InputError(here, f"it has {len(row.cells)} depths for {len(columns)} return periods",
                         _MEND)
    values = []
    for column, cell in zip(columns, row.cells + [""] * (len(columns) - len(row.cells)),
                            strict=True):
        place = f"{here}, column '{column}'"
        if not cell:
            raise InputError(place, "no depth stands there", _MEND)
        if not _NUMBER.fullmatch(cell):
            raise InputError(place, f"'{cell}' is not a number", _MEND)
        if not float(cell) > 0:
            raise InputError(place, f"'{cell}' is not above 0", _MEND)
        values.append(float(cell))
    return values


def _half_step(printed: str) -> float:
    """Half of the last printed decimal."""
    return float(0.5 * 10.0 ** -len(printed.partition(".")[2]))


def _notes(path: Path, read: _Read) -> list[str]:
    unit = _WORDS[read.unit]
    notes = [f"{path.name} holds " + (
        f"intensities in {unit} an hour; each was multiplied by its duration." if read.intensity
        else f"depths in {unit}."), *read.notes]
    if read.intensity:
        notes.append("Intensities are rounded; the depths of long durations lose precision.")
    elif read.unit == "mm" and all("." not in cell for row in read.rows for cell in row.cells):
        notes.append("Depths are in whole millimetres; those of short durations lose precision.")
    notes.append("Between the table's durations depths are interpolated log-log, between its "
                 "return periods linearly in the logarithm of the years.")
    return notes
