"""Tables of how deep a rain of a given duration is, once in so many years."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas

from terrain.errors import InputError

_HOURS = {"min": 1 / 60, "hr": 1.0, "day": 24.0}
_FETCH = "Fetch or export the table again"


def frequency_table(path: Path, unit: str | None = None) -> pandas.DataFrame:
    """Read a point precipitation-frequency table.

    Parameters
    ----------
    path : Path
        Free lines, the first with the unit in brackets; ``by duration for ARI (years):`` or
        ``by duration for AEP:`` with the rarities; then a row a duration (``5-min:, ...``).
        Intensities are multiplied by their duration.

    Returns
    -------
    depths : DataFrame
        Index: duration [h]. Columns: return period, for an annual-maximum table the inverse of
        the chance in a year [years]. Values: depth [mm].  ``depths.attrs["notes"]`` lists what
        was taken how.

    Raises
    ------
    InputError
        If the file is missing or is not such a table, naming the line.

    Notes
    -----
    Once in T years of a series of annual maxima (chance 1/T in a year) is not quite once in T
    years of a partial-duration series: the latter's interval is ``1 / -ln(1 - 1/T)`` [1]_.

    References
    ----------
    .. [1] W. B. Langbein, "Annual floods and the partial-duration flood series", Transactions of
       the American Geophysical Union 30, 1949, 879-881.
    """
    path = Path(path)
    if not path.exists():
        raise InputError(str(path), "there is no such file", "Check the name of the rain table")
    try:
        lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({error.__class__.__name__})",
                         _FETCH) from None
    start = next((n for n, line in enumerate(lines)
                  if re.match(r"\s*by duration for (ARI|AEP)", line, re.IGNORECASE)), None)
    if start is None:
        raise InputError(str(path), "this is no table of rain by duration and return period",
                         "Give one with a line that starts with 'by duration for ARI (years):'")
    factor, intensity = _unit(path, lines[:start])
    annual = "aep" in lines[start].partition(":")[0].lower()
    periods = _periods(path, start + 1, lines[start], annual)
    hours: list[float] = []
    rows: list[list[float]] = []
    for number, line in enumerate(lines[start + 1:], start=start + 2):
        found = re.match(r"\s*(\d+)-(min|hr|day):(.*)", line)
        if not found:
            break
        duration = int(found[1]) * _HOURS[found[2]]
        if hours and duration <= hours[-1]:
            raise InputError(f"{path} line {number}", "its duration is not longer than the one "
                             "above", _FETCH)
        hours.append(duration)
        rows.append(_values(path, number, found[3], len(periods)))
    if not rows:
        raise InputError(f"{path} line {start + 2}", "no row of depths such as '5-min:, ...' "
                         "follows the table's head", _FETCH)
    depths = np.array(rows) * factor
    if intensity:
        depths *= np.array(hours)[:, None]
    table = pandas.DataFrame(depths, index=pandas.Index(hours, name="duration_h"),
                             columns=pandas.Index(periods, name="return_period_years"))
    table.attrs["notes"] = _notes(path, factor, intensity, annual)
    return table


def depth_of(table: pandas.DataFrame, hours: float, years: float) -> float:
    """Depth of a rain of a duration, once in so many years. [mm]

    Interpolated log-log in duration and in the logarithm of the return period.

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


def _unit(path: Path, head: list[str]) -> tuple[float, bool]:
    """Millimetres per unit, and whether the table holds intensities."""
    first = next((line for line in head if line.strip()), "")
    found = re.search(r"\(([^)]*)\)", first)
    text = found[1].strip().lower() if found else ""
    units = {"inches": 25.4, "inch": 25.4, "in": 25.4, "millimeters": 1.0, "millimetres": 1.0,
             "mm": 1.0}
    unit, _, per = (part.strip() for part in text.partition("/"))
    if unit not in units or per not in ("", "hour", "hr", "h"):
        raise InputError(f"{path} line 1", "no unit such as (inches) or (millimeters/hour) stands "
                         "in it", _FETCH)
    kind = " ".join(line.lower() for line in head if line.lower().startswith("data type"))
    if ("intensity" in kind and not per) or ("depth" in kind and per):
        raise InputError(f"{path} line 1", f"its unit '{text}' does not fit its {kind.strip()}",
                         _FETCH)
    return units[unit], bool(per)


def _periods(path: Path, number: int, line: str, annual: bool) -> list[float]:
    """Return periods of a table's head; of a chance such as '1/2 its inverse. [years]"""
    periods = []
    for given in line.partition(":")[2].strip(" ,").split(","):
        text = given.strip().lstrip("'’`").rstrip("%")
        try:
            value = Fraction(text)
            if annual and not 0 < value < 1:
                raise ValueError
            if value <= 0:
                raise ValueError
        except (ValueError, ZeroDivisionError):
            kind = "chance in a year such as 1/10" if annual else "number of years"
            raise InputError(f"{path} line {number}", f"'{given.strip()}' is no {kind}",
                             _FETCH) from None
        periods.append(float(1 / value if annual else value))
    if any(b <= a for a, b in pairwise(periods)):
        raise InputError(f"{path} line {number}", "its return periods do not rise", _FETCH)
    return periods


def _values(path: Path, number: int, text: str, count: int) -> list[float]:
    here = f"{path} line {number}"
    parts = [part.strip() for part in text.strip().strip(",").split(",")]
    if len(parts) != count:
        raise InputError(here, f"it has {len(parts)} values for {count} return periods", _FETCH)
    try:
        values = [float(part) for part in parts]
    except ValueError:
        raise InputError(here, "one of its values is not a number", _FETCH) from None
    if not all(0 < value < float("inf") for value in values):
        raise InputError(here, "one of its values is not above 0", _FETCH)
    if any(b < a for a, b in pairwise(values)):
        raise InputError(here, "a rarer rain is less than a commoner one", _FETCH)
    return values


def _notes(path: Path, factor: float, intensity: bool, annual: bool) -> list[str]:
    unit = "mm" if factor == 1.0 else "inches"
    notes = [f"{path.name} holds " + (f"intensities in {unit} an hour; each was multiplied by its "
                                      "duration." if intensity else f"depths in {unit}.")]
    if annual:
        notes.append("It counts annual maxima: a return period is the inverse of the chance in any "
                     "one year.")
    if intensity:
        notes.append("Intensities are rounded; the depths of long durations lose precision.")
    elif factor == 1.0:
        notes.append("Depths are in whole millimetres; those of short durations lose precision.")
    return notes
