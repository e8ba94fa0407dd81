"""Tables of figures and formulas that know each other's cells; no spreadsheet library here."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

Value = float | int | str | None
Form = Literal["name", "text", "long", "print", "count", "earth", "volume", "area", "length",
               "hours", "money", "rate", "ratio"]
_PLACE = re.compile(r"\[(?:([a-z]+):)?([^\]:*]+)(?::(\*|[^\]]+))?\]")


@dataclass(frozen=True)
class Column:
    """A column: the key that formulas name it by, its head with its unit, how it is printed."""

    key: str
    head: str
    unit: str
    form: Form


@dataclass(frozen=True)
class Cell:
    """A cell.

    Attributes
    ----------
    value : float, int, str or None
        What the plan says; of a formula, what it must come to.
    formula : str
        Without its equals sign; `[key]` is a cell of the same row, `[table:key]` one of the row of
        the same name in another table, `[table:key:*]` all rows of a column, `[table:key:row]`
        one of a named row; other words are names of cells.
    given : bool
        The person may change it.
    form : Form or None
        Where it is printed otherwise than its column.
    """

    value: Value = None
    formula: str = ""
    given: bool = False
    form: Form | None = None


@dataclass
class Table:
    """A table: rows of cells by their names, each with all columns; a last row of totals apart.

    Attributes
    ----------
    total : mapping of str to Cell
        Empty where there is no row of totals.
    names : mapping of (row, column) to the name that formulas call the cell by.
    """

    key: str
    title: str
    columns: Sequence[Column]
    rows: dict[str, Mapping[str, Cell]] = field(default_factory=dict)
    total: Mapping[str, Cell] = field(default_factory=dict)
    names: dict[tuple[str, str], str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A sheet: its name, and its tables one below the other."""

    name: str
    tables: tuple[Table, ...]


#: The name of a row of totals in formulas.
TOTAL = "total"
#: Rows above the head of a sheet's first table, and between tables: title, then head and units.
FIRST, BETWEEN = 2, 3


@dataclass(frozen=True)
class Places:
    """Where each table lies."""

    sheet: Mapping[str, str]
    head: Mapping[str, int]
    table: Mapping[str, Table]

    def row(self, key: str, name: str) -> int:
        """Row of a table's row, from 0."""
        table = self.table[key]
        first = self.head[key] + 1
        return first + (len(table.rows) if name == TOTAL else list(table.rows).index(name))

    def cell(self, key: str, name: str, column: str, from_: str = "") -> str:
        """Address of a cell, with its sheet's name where it is another."""
        table = self.table[key]
        place = [one.key for one in table.columns].index(column)
        return self._on(key, from_) + f"${letters(place)}${self.row(key, name) + 1}"

    def range(self, key: str, column: str, from_: str = "") -> str:
        """Address of all rows of a column, the totals left out."""
        table = self.table[key]
        letter = letters([one.key for one in table.columns].index(column))
        first = self.head[key] + 2
        return self._on(key, from_) + f"${letter}${first}:${letter}${first + len(table.rows) - 1}"

    def _on(self, key: str, from_: str) -> str:
        return "" if self.sheet[key] == from_ else f"'{self.sheet[key]}'!"

    def formula(self, text: str, key: str, name: str) -> str:
        """A formula of a cell with the addresses it names."""
        here = self.sheet[key]

        def placed(found: re.Match[str]) -> str:
            other, column, row = found.groups()
            if row == "*":
                return self.range(other or key, column, here)
            return self.cell(other or key, row or name, column, here)
        return _PLACE.sub(placed, text)


def places_of(sheets: Sequence[Sheet]) -> Places:
    """Lay the tables of every sheet one below the other."""
    sheet, head, table = {}, {}, {}
    for one in sheets:
        row = FIRST
        for part in one.tables:
            sheet[part.key], head[part.key], table[part.key] = one.name, row, part
            row += 1 + len(part.rows) + bool(part.total) + len(part.notes) + BETWEEN
    return Places(sheet, head, table)


def letters(column: int) -> str:
    """Letters of a column, from 0."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text
