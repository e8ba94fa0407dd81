"""Names of files for parcels, whatever the parcels are called."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from terrain.district.screened import Parcel

#: A file's name has at most so many letters.
LONGEST = 60
#: Names that some systems keep for their own devices, and of files that describe a site.
_KEPT = {"site", "district", "con", "prn", "aux", "nul", *(f"{port}{n}" for port in
                                                          ("com", "lpt") for n in range(10))}


def file_names(parcels: Sequence[Parcel]) -> dict[int, str]:
    """A file's name for each parcel, without an ending, by the parcel's number.

    Of plain letters, digits, dashes and underlines, so none leads to another folder; no two are
    the same, small letters or capitals.

    Examples
    --------
    >>> from shapely import box
    >>> file_names([Parcel(1, "Höf/../x", box(0, 0, 1, 1)), Parcel(2, "hof-x", box(0, 0, 1, 1))])
    {1: 'Hof-x', 2: 'hof-x-2'}
    """
    names: dict[int, str] = {}
    taken: set[str] = set()
    for parcel in sorted(parcels, key=lambda parcel: parcel.number):
        stem = _plain(parcel.name) or f"parcel-{parcel.number}"
        name, copy = stem, 1
        while name.casefold() in taken:
            copy += 1
            name = f"{stem}-{copy}"
        taken.add(name.casefold())
        names[parcel.number] = name
    return names


def _plain(name: str) -> str:
    """A name in letters that every disk takes; empty if none of it is left."""
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", letters).strip("-")[:LONGEST].strip("-")
    return f"{stem}-parcel" if stem.casefold() in _KEPT else stem
