"""How a file is named from a folder in what is written there."""

from __future__ import annotations

import os
from pathlib import Path, PurePath


def way(start: Path, goal: Path) -> str:
    """The way from a folder to a file or another folder, whether they are there yet or not; the
    whole path where there is none, as to another drive."""
    there, here = os.path.realpath(goal), os.path.realpath(start)
    try:
        found = os.path.relpath(there, here)
    except ValueError:  # on another drive
        found = there
    return PurePath(found).as_posix()
