"""Files read whole, but never without end: a pipe, a device, or a file of any size may be named."""

from __future__ import annotations

import errno
import os
import stat
from functools import lru_cache
from pathlib import Path

from terrain.errors import InputError

#: No table of text that a person gives is longer: some five million surveyed points. [bytes]
MOST_BYTES = 300_000_000


def bytes_of(path: Path, most: int = MOST_BYTES, here: str = "") -> bytes:
    """All bytes of a file, called `here` in messages (left out: by its path).

    Raises
    ------
    OSError
        If it cannot be read, or holds more than `most` bytes.
    InputError
        If it is no file, as `refuse_no_file` says.
    """
    refuse_no_file(path, here or str(path))
    with path.open("rb") as stream:
        held = stream.read(most + 1)
    if len(held) > most:
        raise OSError(errno.EFBIG, os.strerror(errno.EFBIG))
    return held


def refuse_no_file(path: Path, here: str) -> None:
    """Refuse a path that is there, or leads there by links, and is neither file nor folder: who
    reads a pipe, a socket or a device may wait for ever.

    Raises
    ------
    InputError
    """
    if _is_no_file(path):
        raise InputError(here, "this is a pipe, a socket or a device, not a file",
                         "Save what it holds as a file, and name that")


def refuse_no_files(path: Path, here: str) -> None:
    """Refuse what `refuse_no_file` does of a raster or layer; beside it too, under its own name
    with another ending, and within a folder: GDAL reads such files of itself.

    Raises
    ------
    InputError
    """
    refuse_no_file(path, here)
    whole = path.is_dir()
    folder, stem = (path, "") if whole else (path.parent, f"{path.stem}.".lower())
    try:
        others = _no_files_in(folder, folder.stat().st_mtime_ns)
    except OSError:
        return
    for name in others:
        if name.lower().startswith(stem):
            raise InputError(here, f"{name} {'in' if whole else 'beside'} it is a pipe, a socket "
                             "or a device, not a file", "Move that away")


def _is_no_file(path: Path) -> bool:
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return False
    return not stat.S_ISREG(mode) and not stat.S_ISDIR(mode)


@lru_cache(maxsize=64)
def _no_files_in(folder: Path, changed: int) -> list[str]:
    """Names of what lies in a folder and is neither file nor folder; looked up once while the
    folder stays as it is, as thousands of tiles may lie in it."""
    with os.scandir(folder) as entries:
        return sorted(entry.name for entry in entries if not entry.is_file()
                      and _is_no_file(Path(entry.path)))
