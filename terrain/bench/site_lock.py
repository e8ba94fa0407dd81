"""Which bench has a site file open: a second one is refused while the first is alive.

The system frees the lock of a process that ends, however it ends, so none is ever stale.
"""

from __future__ import annotations

import atexit
import datetime as dt
import getpass
import json
import os
import socket
from contextlib import suppress
from pathlib import Path
from typing import Any

from terrain.errors import InputError
from terrain.scratch import is_file_of, locked, unlock

#: The locks that this process has, by the file that says so.
_LOCKS: dict[Path, SiteLock] = {}


class SiteLock:
    """A lock that this process has, as often as it has asked for it."""

    def __init__(self, path: Path, number: int) -> None:
        self.path, self.number, self.times = path, number, 1
        self.process = os.getpid()

    def let_go(self) -> None:
        """Give it back, once for each time that it was taken."""
        self.times -= 1
        if self.times > 0 or self.process != os.getpid():
            return
        _LOCKS.pop(self.path, None)
        unlock(self.path, self.number)


def lock_site(path: Path, site: Path) -> SiteLock | None:
    """Take the lock of a site file; None where the folder or the system has none to give.

    Parameters
    ----------
    path : Path
        The file that says who has it.
    site : Path
        What it is about.

    Raises
    ------
    InputError
        If another process has it.
    """
    mine = _LOCKS.get(path)
    if mine is not None and mine.process == os.getpid():
        mine.times += 1
        return mine
    while True:
        try:
            number = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)
        except OSError:
            return None  # nothing may be written here, and nothing will be
        try:
            taken = locked(number)
        except OSError:
            os.close(number)
            return None
        if not taken:
            os.close(number)
            raise InputError(str(site), f"another bench has it open{_who(path)}",
                             "Go on there, or end that one first")
        if is_file_of(path, number):
            break
        os.close(number)  # the one before has thrown the file away after it was opened here
    with suppress(OSError):
        os.ftruncate(number, 0)
        os.write(number, json.dumps(_myself()).encode("utf-8"))
    _LOCKS[path] = lock = SiteLock(path, number)
    return lock


def _myself() -> dict[str, Any]:
    try:
        who = getpass.getuser()
    except (OSError, KeyError):
        who = "someone"
    return {"who": who, "machine": socket.gethostname(), "process": os.getpid(),
            "since": dt.datetime.now().isoformat(timespec="minutes")}


def _who(path: Path) -> str:
    """Who has it, as far as that is said."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        since = dt.datetime.fromisoformat(told["since"])
        words = " ".join(f"{told['who']} on {told['machine']}".split())
        return f" ({words}, process {int(told['process'])}, since {since:%Y-%m-%d %H:%M})"
    except (OSError, ValueError, LookupError, TypeError):
        return ""


@atexit.register
def _let_all_go() -> None:
    for lock in list(_LOCKS.values()):
        lock.times = 1
        lock.let_go()
