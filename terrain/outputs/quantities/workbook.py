"""The bill as a spreadsheet that recomputes, and as one table of comma-separated values."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path
from textwrap import wrap
from typing import Any

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.bill import bill_of
from terrain.outputs.quantities.tables import (
    TOTAL,
    Cell,
    Form,
    Places,
    Sheet,
    Table,
    places_of,
)
from terrain.plan.planned import Plan

SPREADSHEET, CSV = "quantities.xlsx", "quantities.csv"
WORDS = "General"
FORMATS: dict[Form, str] = {
    "name": WORDS, "text": WORDS, "long": WORDS, "print": WORDS, "count": "#,##0",
    "earth": "#,##0.0", "volume": "#,##0.0", "area": "#,##0", "length": "#,##0.0",
    "hours": "#,##0.0", "money": "#,##0", "rate": "#,##0.00", "ratio": "0.00"}
#: Widths of columns, in characters.
WIDTHS: dict[Form, int] = {"name": 38, "text": 20, "long": 60, "print": 68}
WIDTH, NARROW = 12, 6
#: Height of a line. [pt]
LINE = 15
#: Sheets of more columns are printed lying.
UPRIGHT = 5
#: Tint of cells that a person may change.
GIVEN = sy.ROAD


def write_quantities(plan: Plan, folder: Path) -> None:
    """Write the bill into a folder, both ways; the same plan gives the same bytes."""
    sheets = bill_of(plan)
    write_spreadsheet(sheets, plan.site.name, folder / SPREADSHEET,
                      plan.site.units == "us")
    write_csv(sheets, folder / CSV)


def write_csv(sheets: Sequence[Sheet], path: Path) -> None:
    """Write a row for every figure of every sheet: sheet, row, column, unit, value."""
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["sheet", "table", "row", "column", "unit", "value"])
        for sheet in sheets:
            for table in sheet.tables:
                label = table.columns[0].key if table.columns[0].key != "no" else "work"
                lines = [*table.rows.values(), *([table.total] if table.total else [])]
                for cells in lines:
                    named = cells.get(label, Cell(""))
                    for column in table.columns:
                        value = cells.get(column.key, Cell()).value
                        if column.key != label and value is not None and value != "":
                            writer.writerow([sheet.name, table.title, named.value, column.head,
                                             column.unit, _figure(value)])


def _figure(value: Any) -> str:
    return cell_text(value) if isinstance(value, str) else f"{value:.10g}"


def write_spreadsheet(sheets: Sequence[Sheet], title: str, path: Path, us: bool = False) -> None:
    """Write the workbook: formulas with their results, named rates, heads that stay in sight."""
    import xlsxwriter

    places = places_of(sheets)
    held = BytesIO()  # an archive that cannot be closed, on a full disk, prints of it at its end
    book = xlsxwriter.Workbook(held, {"in_memory": True, "strings_to_formulas": False,
                                      "strings_to_urls": False, "strings_to_numbers": False})
    book.set_properties({"title": cell_text(title), "comments": "Quantities and cost of a plan",
                         "created": datetime(2000, 1, 1)})
    formats = _Formats(book)
    for sheet in sheets:
        page = book.add_worksheet(sheet.name)
        wide = _lay_out(page, sheet, places, us)
        for table in sheet.tables:
            _write_table(page, table, places, formats, wide)
            for (row, column), name in table.names.items():
                book.define_name(name, f"={places.cell(table.key, row, column)}")
    book.close()
    path.write_bytes(held.getvalue())


class _Formats:
    """Formats of cells, made once each."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.made: dict[Any, Any] = {}

    def of(self, form: Form, given: bool = False, total: bool = False) -> Any:
        key = (form, given, total)
        if key not in self.made:
            look: dict[str, Any] = {"num_format": FORMATS[form], "valign": "top",
                                    "font_color": sy.INK}
            if FORMATS[form] == WORDS:
                look |= {"text_wrap": True, "indent": 0 if form == "name" else 1}
            if given:
                look["bg_color"] = GIVEN
            if total:
                look |= {"bold": True, "top": 1}
            self.made[key] = self.book.add_format(look)
        return self.made[key]

    def head(self, words: str) -> Any:
        key = ("head", words)
        if key not in self.made:
            look = {"title": {"bold": True, "font_size": 13, "font_color": sy.WATER},
                    "head": {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1,
                             "bg_color": sy.SHADE_MIDDLE, "font_color": sy.INK},
                    "note": {"italic": True, "font_color": sy.SOFT_INK}}[words]
            self.made[key] = self.book.add_format(look)
        return self.made[key]


def _lay_out(page: Any, sheet: Sheet, places: Places, us: bool) -> dict[int, int]:
    """Widths, which it returns, heads that stay, and a printed page as wide as the sheet."""
    wide: dict[int, int] = {}
    for table in sheet.tables:
        for place, column in enumerate(table.columns):
            wanted = (NARROW if column.key in ("no", "fromno", "tono") else
                      WIDTHS.get(column.form, WIDTH))
            wide[place] = max(wide.get(place, 0), wanted)
    for place, width in wide.items():
        page.set_column(place, place, width)
    first = sheet.tables[0]
    still = 2 if first.columns[0].key == "no" else 1
    page.freeze_panes(places.head[first.key] + 1, still)
    if max(len(table.columns) for table in sheet.tables) > UPRIGHT:
        page.set_landscape()
    page.set_paper(1 if us else 9)
    page.fit_to_pages(1, 0)
    page.repeat_rows(places.head[first.key])
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    page.set_footer("&L&A&RPage &P of &N")
    page.hide_gridlines(1)
    return wide


def _write_table(page: Any, table: Table, places: Places, formats: _Formats,
                 wide: Mapping[int, int]) -> None:
    head = places.head[table.key]
    page.write_string(head - 1, 0, table.title, formats.head("title"))
    page.set_row(head, LINE * max(_lines(column.head, wide[place]) + _lines(
        column.unit, wide[place]) for place, column in enumerate(table.columns)))
    for place, column in enumerate(table.columns):
        words = f"{column.head}\n{column.unit}" if column.unit not in ("", "-") else column.head
        page.write_string(head, place, words, formats.head("head"))
    lines = [(name, cells, False) for name, cells in table.rows.items()]
    if table.total:
        lines.append((TOTAL, table.total, True))
    for name, cells, total in lines:
        row = places.row(table.key, name)
        page.set_row(row, LINE * max(
            _lines(value, wide[place]) if isinstance(
                value := cells.get(column.key, Cell()).value, str) else 1
            for place, column in enumerate(table.columns)))
        for place, column in enumerate(table.columns):
            cell = cells.get(column.key, Cell())
            look = formats.of(cell.form or column.form, cell.given, total)
            _write_cell(page, row, place, cell, look, places, table.key, name)
    for number, note in enumerate(table.notes):
        page.write_string(head + 1 + len(lines) + number, 0, note, formats.head("note"))


def _lines(text: str, width: int) -> int:
    """Lines that a text takes in a column, words kept whole."""
    return len(wrap(text, max(width - 1, 1)))


def _write_cell(page: Any, row: int, place: int, cell: Cell, look: Any, places: Places, key: str,
                name: str) -> None:
    value = "" if cell.value is None else cell.value
    if cell.formula:
        page.write_formula(row, place, "=" + places.formula(cell.formula, key, name), look, value)
    elif value == "":
        page.write_blank(row, place, None, look)
    elif isinstance(value, str):
        page.write_string(row, place, value, look)
    else:
        page.write_number(row, place, value, look)
