"""A row for each work, and one for all of them, in tables of the bill."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.tables import Cell, Column, Table

Row = dict[str, Cell]


def named(numbers: Mapping[str, int], name: str) -> Row:
    """The number and the name of a work."""
    return {"no": Cell(numbers[name]), "work": Cell(cell_text(name))}


WORK = (Column("no", "no.", "", "count"), Column("work", "work", "", "text"))
ALL: Row = {"work": Cell("the whole site")}


def summed(table: Table, columns: Sequence[str]) -> Row:
    """A row of totals of some columns."""
    row = dict(ALL)
    for column in columns:
        values = [cell[column].value for cell in table.rows.values()]
        figures = [value for value in values if isinstance(value, int | float)]
        row[column] = Cell(sum(figures), f"SUM([{table.key}:{column}:*])")
    return row
