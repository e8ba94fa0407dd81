"""Soil groups of map units: areas that hold only a key, joined to a table of units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from terrain.errors import InputError
from terrain.inputs.csv_table import CsvTable, Row, cell_text, read_csv_table

#: Groups a table may hold: the four, and those of ground that is wet unless it is drained.
GROUPS = ("A", "B", "C", "D", "A/D", "B/D", "C/D")
_COLUMNS = ("hydgrpdcd", "hydgrp", "group")
#: Shares of a unit's components may add up to a little over the whole, for rounding. [%]
_MOST = 105.0


@dataclass(frozen=True)
class UnitGroups:
    """Soil group of each map unit by its key; empty where the table gives none.

    `shares` says how much of a unit its group stands for, where the table is one of components.
    [%]
    """

    groups: dict[str, str]
    column: str
    shares: dict[str, float] = field(default_factory=dict)


def unit_key(given: Any) -> str:
    """A key as text, the same whether a file holds it as text or as a number."""
    text = cell_text(given)
    whole, _, decimals = text.partition(".")
    if whole.isdigit() and not decimals.strip("0"):
        return str(int(whole))
    return text


def read_unit_groups(path: Path, key: str, group: str, here: str) -> UnitGroups:
    """Read the soil group of every map unit of a table.

    Parameters
    ----------
    path : Path
        One row a unit with its group, or several rows a unit, its components, each with its share
        in the column ``comppct_r`` [%].
    key : str
        Column of the unit's key, or else ``key``.
    group : str
        Column of the group, or else ``hydgrpdcd``, ``hydgrp`` or ``group``.
    here : str
        What names the file in messages.

    Returns
    -------
    units : UnitGroups
        Of components, the group that most of the unit has, shares added up by group; what has
        none counts as a group of its own.

    Raises
    ------
    InputError
        Naming file, line and column.
    """
    table = read_csv_table(path, here)
    keys = _column(table, (key, "key"), "map units' keys", "key: in the site file says which")
    groups = _column(table, (group, *_COLUMNS), "soil groups", "hydgrpdcd, hydgrp "
                     "or group are known names")
    if "comppct_r" in table.columns:
        return _of_components(table, keys, groups)
    found: dict[str, tuple[str, int]] = {}
    for row in table.rows:
        unit = _unit(table, row, keys)
        text = _group(table, row, groups)
        if unit in found and found[unit][0] != text:
            raise InputError(table.where(row, groups), f"unit {unit} has the group "
                             f"{text or 'none'} here and {found[unit][0] or 'none'} on line "
                             f"{found[unit][1]}",
                             "Leave one of them out, or add the column comppct_r with the share "
                             "of the unit that each stands for")
        found.setdefault(unit, (text, row.line))
    return UnitGroups({unit: text for unit, (text, _) in found.items()}, groups)


def joined_groups(keys: Sequence[Any], key: str, units: UnitGroups, here: str, table: str
                  ) -> tuple[list[str], list[str]]:
    """Soil group of each feature by its map unit's key; and notes on what was taken.

    Parameters
    ----------
    keys : sequence
        Of the features, in their order; as text or number.
    key : str
        Their column's name.
    here, table : str
        What names the layer, and the table of units, in messages.

    Raises
    ------
    InputError
        If a feature has no key, or the table no row for it.
    """
    wanted = [unit_key(given) for given in keys]
    for number, unit in enumerate(wanted, start=1):
        if not unit:
            raise InputError(f"{here}, feature {number}", f"its {key} is empty",
                             "Give it the key of its map unit")
    absent = list(dict.fromkeys(unit for unit in wanted if unit not in units.groups))
    if absent:
        listed = ", ".join(absent[:5]) + (f" and {len(absent) - 5} more" if len(absent) > 5
                                          else "")
        raise InputError(here, f"its {key} {listed} {'has' if len(absent) == 1 else 'have'} no "
                         f"row in {table}", "Fetch the table for all map units of the layer")
    used = list(dict.fromkeys(wanted))
    notes = [f"Soils: groups of {len(used)} map units were taken from the column {units.column} "
             f"of {table}."]
    mixed = [f"{unit} as {units.groups[unit] or 'without a group'} ({units.shares[unit]:g} % of "
             "it)" for unit in used if unit in units.shares and units.shares[unit] < 100]
    if mixed:
        more = f" and {len(mixed) - 8} more" if len(mixed) > 8 else ""
        notes.append("Soils: map units of several soils were taken whole as the group that most "
                     f"of each has: {', '.join(mixed[:8])}{more}.")
    return [units.groups[unit] for unit in wanted], notes


def _of_components(table: CsvTable, keys: str, groups: str) -> UnitGroups:
    shares: dict[str, dict[str, float]] = {}
    seen: dict[tuple[str, str], tuple[str, float]] = {}
    for row in table.rows:
        unit, text = _unit(table, row, keys), _group(table, row, groups)
        share = table.number(row, "comppct_r", 0, 100)
        if share != share:
            raise InputError(table.where(row, "comppct_r"), "it is empty",
                             "Give the component's share of the unit in percent")
        component = row.values.get("cokey", "")
        if component and (unit, component) in seen:  # repeated by a join, as to soil layers
            if seen[unit, component] != (text, share):
                raise InputError(table.where(row, "cokey"), f"component {component} stands here "
                                 "twice, with unlike groups or shares", "Leave one of them out")
            continue
        seen[unit, component] = text, share
        parts = shares.setdefault(unit, {})
        parts[text] = parts.get(text, 0.0) + share
        if sum(parts.values()) > _MOST:
            raise InputError(table.where(row, "comppct_r"), f"the shares of unit {unit} add up to "
                             f"{sum(parts.values()):g} %",
                             "Look for rows that are in the table twice")
    # Of equal shares the group that sheds more, and any group before none.
    best = {unit: max(parts, key=lambda text: (parts[text], GROUPS.index(text) if text else -1))
            for unit, parts in shares.items()}
    return UnitGroups(best, groups, {unit: shares[unit][text] for unit, text in best.items()})


def _column(table: CsvTable, names: Sequence[str], what: str, remedy: str) -> str:
    for name in names:
        if name.lower() in table.columns:
            return name.lower()
    raise InputError(table.here, f"it has no column of {what}, but {', '.join(table.columns)}",
                     f"Name the columns in its first line ({remedy})")


def _unit(table: CsvTable, row: Row, keys: str) -> str:
    unit = unit_key(row.values[keys])
    if not unit:
        raise InputError(table.where(row, keys), "it is empty", "Give the map unit's key")
    return unit


def _group(table: CsvTable, row: Row, groups: str) -> str:
    text = row.values[groups].upper().replace(" ", "")
    if text and text not in GROUPS:
        raise InputError(table.where(row, groups), f"'{row.values[groups]}' is not a soil group",
                         "Use A, B, C or D, a dual group such as B/D, or leave it empty")
    return text
