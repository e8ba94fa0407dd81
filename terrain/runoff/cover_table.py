"""The classes of cover in force: the published ones and those of the user's own table."""

from __future__ import annotations

from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.csv_table import CsvTable, Row, read_csv_table
from terrain.inputs.site import Cover
from terrain.runoff.cover import SOIL_GROUPS, CoverClass, published_classes

_HEAD = "class,A,B,C,D, and perhaps bare and source"


def classes_in_force(spec: Cover, folder: Path, where: str
                     ) -> tuple[dict[str, CoverClass], list[str]]:
    """The published classes of cover, and over them those of the site's own table.

    Parameters
    ----------
    spec : Cover
        `spec.table` names a CSV with the columns class, A, B, C and D, and perhaps bare (yes or
        no) and source. A number is 1 to 100, or empty where there is none.
    where : str
        What asks for the table, for messages.

    Returns
    -------
    classes : dict
        By name; a new dictionary at each call.
    notes : list of str
        Which classes were added and which published ones overruled.

    Raises
    ------
    InputError
        If the table cannot be used, naming file, line and column.
    """
    known = dict(published_classes())
    if spec.table is None:
        return known, []
    table = read_csv_table(folder / spec.table, f"{where}, {spec.table}")
    _check_head(table)
    plain = {name.lower(): name for name in known}
    added: list[str] = []
    overruled: list[str] = []
    notes: list[str] = []
    lines: dict[str, int] = {}
    for row in table.rows:
        given = " ".join(row.values["class"].split())
        if not given:
            raise InputError(table.where(row, "class"), "it is empty", "Name the class")
        name = plain.get(given.lower(), given)
        if name.lower() in lines:
            raise InputError(table.where(row, "class"), f"'{given}' stands on line "
                             f"{lines[name.lower()]} too", "Leave one of the two out")
        lines[name.lower()] = row.line
        first = known.get(name)
        known[name] = _own_class(table, row, name, first, spec.table.name)
        if first is None:
            added.append(name)
        else:
            overruled.append(f"{name} ({_told(first)} became {_told(known[name])})")
        given_numbers = [n for n in known[name].curve_numbers if n == n]
        if given_numbers != sorted(given_numbers):
            notes.append(f"{table.where(row)}: the curve numbers of {name} fall from a lighter to "
                         "a heavier soil group, which no published class does; they were taken as "
                         "they stand.")
    if added:
        notes.append(f"Curve numbers of {'; '.join(added)} are from {spec.table.name}.")
    if overruled:
        notes.append(f"Published curve numbers overruled by {spec.table.name}, on soil groups "
                     f"A, B, C and D: {'; '.join(overruled)}.")
    return known, notes


def _check_head(table: CsvTable) -> None:
    wanted = ["class", *SOIL_GROUPS.lower()]
    missing = [name.upper() if len(name) == 1 else name for name in wanted
               if name not in table.columns]
    if missing:
        raise InputError(table.here, f"its first line names no column {', '.join(missing)}",
                         f"Start it with a line of column names: {_HEAD}")
    odd = [name for name in table.columns if name not in (*wanted, "bare", "source")]
    if odd:
        raise InputError(table.here, "its first line names " + " and ".join(
            f"the column '{name}'" if name else "a column without a name" for name in odd)
            + ", which means nothing here", f"Keep to the columns {_HEAD}")


def _own_class(table: CsvTable, row: Row, name: str, first: CoverClass | None, file: str
               ) -> CoverClass:
    numbers = [table.number(row, group, 1, 100) for group in SOIL_GROUPS]
    bare = row.values.get("bare", "").lower()
    if bare not in ("", "yes", "no"):
        raise InputError(table.where(row, "bare"), f"'{row.values['bare']}' is neither yes nor no",
                         "Write yes for ground without plants, or no")
    is_bare = bare == "yes" if bare else first is not None and first.bare
    return CoverClass(name, is_bare, file, row.values.get("source") or "own table",
                      (numbers[0], numbers[1], numbers[2], numbers[3]),
                      paved=first is not None and first.paved)


def _told(of: CoverClass) -> str:
    return "/".join("none" if n != n else f"{n:g}" for n in of.curve_numbers)
