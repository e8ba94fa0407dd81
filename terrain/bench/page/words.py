"""Sentences as the page tells them."""

from __future__ import annotations

from terrain.errors import InputError
from terrain.outputs.one_system import in_one


def plain(error: InputError, system: str) -> str:
    """An error without where in the file it stands, which is of no use on a map."""
    remedy = f" {error.remedy}." if error.remedy else ""
    what = error.what[:1].upper() + error.what[1:]
    return in_one(f"{what}.{remedy}", system)
