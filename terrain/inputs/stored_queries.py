"""GeoPackages whose layers are queries: what such a file says is run, and may never end."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from terrain.errors import InputError

_SAVE = "Save the layer as a new GeoPackage"


def refuse_queries(path: Path, here: str) -> None:
    """Refuse a GeoPackage of which a layer or a table of contents is a view, or holds a column
    that is computed; any other file is left alone.

    Nothing that the file holds is run for that.

    Raises
    ------
    InputError
        Naming the view or the column.
    """
    if not path.is_file():
        return
    with path.open("rb") as stream:
        if stream.read(16) != b"SQLite format 3\0":
            return
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as held:
            found = _found(held)
    except (sqlite3.Error, UnicodeError):
        return  # GDAL will not read it either, and says so
    if found:
        raise InputError(here, found, _SAVE)


def _found(held: sqlite3.Connection) -> str:
    """What is computed in a file; empty if nothing is."""
    rows = held.execute("select type, name, sql from sqlite_master").fetchall()
    kinds = {str(name).lower(): str(kind) for kind, name, _ in rows}
    for name, kind in kinds.items():
        if kind == "view" and name.startswith(("gpkg_", "rtree_", "ogr_")):
            return f"its table '{name}' is a query, not a table"
    layers = set()
    if kinds.get("gpkg_contents") == "table":
        layers = {str(name).lower() for (name,) in
                  held.execute("select table_name from gpkg_contents limit 10000")}
    for kind, name, sql in rows:
        if kind == "view" and str(name).lower() in layers:
            return f"its layer '{name}' is a query (a view), not a table"
        if kind == "table" and not str(sql).lower().startswith("create virtual"):
            quoted = str(name).replace('"', '""')
            for column in held.execute(f'pragma table_xinfo("{quoted}")').fetchall():
                if column[6] in (2, 3):  # generated, when it is read or when it is written
                    return f"the column '{column[1]}' of '{name}' is computed when it is read"
    return ""
