"""Sentences as the page tells them."""

from __future__ import annotations

import re

from terrain.errors import InputError
from terrain.outputs.one_system import in_one

#: Where in the site file something stands, which is not there before it is saved.
_LINE = re.compile(r"\bline \d+, ")


def plain(error: InputError, system: str) -> str:
    """An error without where in the file it stands, which is of no use on a map."""
    remedy = f" {error.remedy}." if error.remedy else ""
    what = error.what[:1].upper() + error.what[1:]
    return in_one(_LINE.sub("", f"{what}.{remedy}"), system)
