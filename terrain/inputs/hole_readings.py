"""Readings of a percolation test: when, and how high the water stood in the hole."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from terrain.errors import InputError
from terrain.inputs.csv_table import CsvTable, Row, read_csv_table

#: A rise of the water by more than this is a new filling; less is a misread tape. [mm]
TOPPED_UP = 3.0
#: No hole is deeper, nor left longer than a fortnight. [mm], [min]
DEEPEST = 5000.0
LONGEST = 14 * 1440.0
#: Two readings take longer than half a second. [min]
AT_ONCE = 0.5 / 60
_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
_MINUTES = {"min": 1.0, "s": 1 / 60, "h": 60.0}
_SPELLED = {"millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
            "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
            "metre": "m", "metres": "m", "meter": "m", "meters": "m", "inch": "in",
            "inches": "in", "foot": "ft", "feet": "ft", "minute": "min", "minutes": "min",
            "mins": "min", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "hr": "h",
            "hrs": "h", "hour": "h", "hours": "h"}
_CLOCK = re.compile(r"(\d{1,2}):(\d\d)(?::(\d\d))?\s*([ap]\.?m\.?)?", re.IGNORECASE)
_CELL = re.compile(r"(?P<number>[-+]?(?:\d+\.?\d*|\.\d+))"
                   r"(?:[ -](?P<part>\d+/\d+))?\s*(?P<unit>[a-z\"']*)\.?", re.IGNORECASE)
_FRACTION = re.compile(r"(?P<part>\d+/\d+)\s*(?P<unit>[a-z\"']*)\.?", re.IGNORECASE)


class Reading(NamedTuple):
    """Height of the water over the bottom of the hole. [mm]  Minutes since the first reading."""

    minutes: float
    depth: float


@dataclass(frozen=True)
class HoleReadings:
    """Readings of one hole.

    Attributes
    ----------
    fillings : tuple of tuple of Reading
        From one filling to the next; times rise within each.
    source : str
        The file's name.
    notes : tuple of str
        What was assumed, in whole sentences.
    """

    fillings: tuple[tuple[Reading, ...], ...]
    source: str
    notes: tuple[str, ...]


class _Column(NamedTuple):
    name: str
    unit: str | None


class _Heads(NamedTuple):
    when: _Column
    depth: _Column
    filling: _Column | None
    down: bool
    unused: list[str]


class _Row(NamedTuple):
    row: Row
    minutes: float
    depth: float
    filling: str


def read_hole(path: Path, hole_depth: float | None = None) -> HoleReadings:
    """Read the readings of a percolation test.

    Parameters
    ----------
    path : Path
        A table with a head: a column of times (``minutes``, ``time (h)``, or clock times such as
        10:05 under ``time``), one of the height of the water over the bottom (``depth_mm``,
        ``water depth in``) or of its distance down from the rim (``down_mm``), and maybe one called
        ``filling``.  Without it, water that rises by more than 3 mm was filled up.
    hole_depth : float, optional
        From the rim to the bottom, for distances down from the rim. [mm]

    Returns
    -------
    readings : HoleReadings

    Raises
    ------
    InputError
        Naming line and column of what cannot be used.
    """
    path = Path(path)
    table = read_csv_table(path, str(path))
    heads = _heads(table)
    if heads.down and hole_depth is None:
        raise InputError(f"{path}, column {heads.depth.name}", "it is measured down from the "
                         "rim, and how deep the hole is was not said", "Give --hole-depth")
    if hole_depth is not None and not heads.down:
        raise InputError(f"{path}, column {heads.depth.name}", "it is the height of the water "
                         "over the bottom, so that --hole-depth has no use",
                         "Leave --hole-depth out, or call the column down with its unit, "
                         "such as down_cm, if it is measured from the rim")
    if hole_depth is not None and hole_depth > DEEPEST:
        raise InputError("--hole-depth", f"{hole_depth / 1000:g} m is deeper than a test hole "
                         f"({DEEPEST / 1000:g} m)", "Give it with its unit, such as 400mm")
    rows = list(_rows(table, heads, hole_depth))
    notes = [f"{path.name}: times from the column '{heads.when.name}', depths of water from "
             f"'{heads.depth.name}'" + (", measured down from the rim." if heads.down else ".")]
    if heads.unused:
        notes.append(f"Not used: {', '.join(heads.unused)}.")
    fillings, said = _by_filling(table, rows, heads)
    if all(len(filling) < 2 for filling in fillings):
        raise InputError(str(path), "no filling has two readings, so nothing tells how fast the "
                         "water sank", "Read the depth several times after each filling; if the "
                         "figures grow as the water sinks, they are measured down from the rim: "
                         "call the column down with its unit, and give --hole-depth")
    start = fillings[0][0].minutes
    return HoleReadings(tuple(tuple(Reading(r.minutes - start, r.depth) for r in filling)
                              for filling in fillings), path.name, tuple(notes + said))


def _heads(table: CsvTable) -> _Heads:
    """Which column is which."""
    here, names = table.here, table.columns
    plain = [re.findall(r"[a-z]+", name) for name in names]
    filling = [i for i, words in enumerate(plain) if {"filling", "fill", "refill"} & set(words)]
    when = [i for i, words in enumerate(plain) if i not in filling and (
        {"time", "clock", "elapsed"} & set(words) or any(_unit_word(w) in _MINUTES and len(w) > 1
                                                         for w in words))]
    depth = [i for i, words in enumerate(plain) if i not in filling and i not in when
             and {"depth", "water", "height", "level", "down", "rim"} & set(words)
             and ("drop" not in words or {"down", "rim"} & set(words))]
    if not depth and any("drop" in words for words in plain):
        raise InputError(here, "a column of drops may count from the reading before or from the "
                         "rim", "Give heights over the bottom (depth_mm), or distances down from "
                         "the rim (down_mm) with --hole-depth")
    for found, what, example in ((when, "times", "minutes"), (depth, "depths", "depth_mm")):
        if not found:
            raise InputError(here, f"it names no column of {what}", f"Call one {example}")
        if len(found) > 1:
            raise InputError(here, f"it names several columns of {what}: "
                             + ", ".join(names[i] for i in found), "Keep one of them")
    words = plain[depth[0]]
    used = {when[0], depth[0], *filling[:1]}
    return _Heads(_Column(names[when[0]], _unit(plain[when[0]], _MINUTES)),
                  _Column(names[depth[0]], _unit(words, _MM)),
                  _Column(names[filling[0]], None) if filling else None,
                  bool({"down", "rim"} & set(words)),
                  [name for i, name in enumerate(names) if i not in used and name])


def _unit_word(word: str) -> str:
    return _SPELLED.get(word, word)


def _unit(words: list[str], known: dict[str, float]) -> str | None:
    """The unit among the words of a head; 'in' is one only as the last."""
    units = [_unit_word(word) for n, word in enumerate(words)
             if _unit_word(word) in known and (word != "in" or n == len(words) - 1)]
    return units[-1] if units else None


def _rows(table: CsvTable, heads: _Heads, hole_depth: float | None) -> Iterator[_Row]:
    columns = [column for column in (heads.when, heads.depth, heads.filling) if column is not None]
    clock: bool | None = None
    days, before = 0, -1.0
    units = {heads.when.name: heads.when.unit, heads.depth.name: heads.depth.unit}
    for row in table.rows:
        for column in columns:
            if not row.values[column.name]:
                raise InputError(table.where(row, column.name), "it is empty",
                                 "Complete the line, or delete it")
        said, here = row.values[heads.when.name], table.where(row, heads.when.name)
        of_day = _of_day(here, said)
        if clock is not None and clock != (of_day is not None):
            raise InputError(here, f"'{said}' is {'no' if clock else 'a'} clock time, unlike the "
                             "lines before", "Write all times alike")
        clock = of_day is not None
        if of_day is None:
            minutes = _number(here, said, units, heads.when.name, _MINUTES, table.decimal_comma)
        else:
            if heads.when.unit is not None:
                raise InputError(here, f"'{said}' is a clock time, but the head names a unit",
                                 "Call the column time")
            # Past midnight: a step back by more than half a day.
            days += before - of_day > 720
            before, minutes = of_day, of_day + 1440 * days
        said, here = row.values[heads.depth.name], table.where(row, heads.depth.name)
        depth = _number(here, said, units, heads.depth.name, _MM, table.decimal_comma)
        if heads.down and hole_depth is not None:
            if depth > hole_depth:
                raise InputError(here, f"{said} is deeper than the hole "
                                 f"({hole_depth:g} mm)", "Correct it, or --hole-depth")
            depth = hole_depth - depth
        elif depth > DEEPEST:
            raise InputError(here, f"{said} is {depth / 1000:,.1f} m of water, "
                             "more than a test hole holds", "Check the unit in the head")
        yield _Row(row, minutes, depth, row.values[heads.filling.name] if heads.filling else "")


def _of_day(here: str, said: str) -> float | None:
    """Minutes since midnight of a clock time; None where it is none."""
    if ":" not in said:
        return None
    found = _CLOCK.fullmatch(said)
    hours, minutes, seconds = (int(found.group(i) or 0) for i in (1, 2, 3)) if found else (99, 0, 0)
    half = (found.group(4) or "").lower()[:1] if found else ""
    if hours > (12 if half else 23) or minutes > 59 or seconds > 59 or (half and not hours):
        raise InputError(here, f"'{said}' is no time of day", "Write times as 13:05")
    if half:
        hours = hours % 12 + 12 * (half == "p")
    return hours * 60 + minutes + seconds / 60


def _number(here: str, said: str, units: dict[str, str | None], name: str,
            known: dict[str, float], decimal_comma: bool) -> float:
    """A cell in minutes or mm; its own unit, if it has one, must be the column's."""
    text = said.replace(",", ".") if decimal_comma and said.count(",") == 1 else said
    found = _CELL.fullmatch(text) or _FRACTION.fullmatch(text)
    parts = found.groupdict() if found else {}
    # A blank part of a date, such as 3/4 of March, has no place here, a part of an inch has.
    if found is None or not int((parts["part"] or "1/1").partition("/")[2]):
        raise InputError(here, f"'{said}' is not a number", "Correct it, or delete the line")
    written = (parts["unit"] or "").lower()
    unit = _unit_word({'"': "in", "'": "ft"}.get(written, written)) or None
    if unit is not None and unit not in known:
        raise InputError(here, f"'{said}' is in no unit known here",
                         f"Use one of {', '.join(known)}")
    if unit is not None and units[name] not in (None, unit):
        raise InputError(here, f"'{said}' is not in {units[name]} as the rest of its column",
                         "Write all of a column in one unit")
    units[name] = units[name] or unit
    taken = units[name]
    if taken is None:
        raise InputError(here, "neither it nor the head names a unit", "Name its own in the head: "
                         + ("depth_mm, depth_cm or depth_in" if known is _MM else "minutes"))
    if parts["part"] and taken not in ("in", "ft"):
        raise InputError(here, f"'{said}' is a fraction, though in {taken}",
                         "Write it with a decimal point")
    number = float(parts.get("number") or 0)
    if number < 0 or said.strip().startswith("-"):
        raise InputError(here, f"{said} is below 0", "Correct it, or delete the line")
    if parts["part"]:
        over, under = parts["part"].split("/")
        number += int(over) / int(under)
    return number * known[taken]


def _by_filling(table: CsvTable, rows: list[_Row], heads: _Heads
                ) -> tuple[list[list[_Row]], list[str]]:
    """Rows of each filling, with what was assumed."""
    fillings: list[list[_Row]] = [[rows[0]]]
    restarted = False
    for before, row in pairwise(rows):
        here = table.where(row.row, heads.when.name)
        if heads.filling is not None:
            new = row.filling != before.filling
            if new and any(row.filling == f[0].filling for f in fillings):
                raise InputError(table.where(row.row, heads.filling.name),
                                 f"filling {row.filling} comes again after another",
                                 "Put all of a filling's readings together")
        else:
            new = row.depth > before.depth + TOPPED_UP
            anew = new and row.minutes == 0
            restarted = restarted or (anew and row.minutes < before.minutes)
            if new and row.minutes < before.minutes and not anew:
                raise InputError(here, "time goes back", "Put the readings in order, or add a "
                                 "column filling")
        if not new and row.minutes - before.minutes < AT_ONCE:
            how = "goes back" if row.minutes < before.minutes else "stands still"
            raise InputError(here, f"time {how} since line {before.row.line}",
                             "Put the readings in order; write afternoons as 13:05")
        if row.minutes - fillings[0][0].minutes > LONGEST:
            raise InputError(here, "it lies more than a fortnight after the first reading",
                             "Check the unit in the head")
        if new:
            fillings.append([])
        fillings[-1].append(row)
    notes = []
    if heads.filling is None:
        count = "one filling" if len(fillings) == 1 else f"{len(fillings)} fillings"
        notes.append(f"The readings are of {count}: water that rises by more than {TOPPED_UP:g} mm "
                     "was filled up.")
    if restarted:
        notes.append("Its minutes begin at 0 again with a filling.")
    for filling in fillings:
        if filling[0].depth == 0:
            raise InputError(table.where(filling[0].row, heads.depth.name),
                             "the hole is empty where a filling begins",
                             "Give its depth right after it was filled, or delete the line")
    return fillings, notes
