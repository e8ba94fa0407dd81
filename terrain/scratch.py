"""Folders to make things in, each locked by the run that it belongs to: what a killed run left is
thrown away by the next one, and nothing of a run that lives."""

from __future__ import annotations

import json
import os
import shutil
import socket
import tempfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

#: How the folders' names begin, and the file in each that its run has locked.
PREFIX, LOCK = ".levelsill-", "lock"
#: What names one start of this machine, where the system tells that.
_BOOT = Path("/proc/sys/kernel/random/boot_id")
#: A lock tells no more than this. [bytes]
_MOST = 4096


@contextmanager
def scratch(beside: Path, purpose: str) -> Iterator[Path]:
    """Give a new folder for as long as the block runs; who is killed meanwhile leaves it.

    Parameters
    ----------
    beside : Path
        The folder to make it in.
    purpose : str
        What is made there, such as the name of the output.

    Raises
    ------
    OSError
        If no folder can be made there.
    """
    folder, number = _make(beside, purpose)
    try:
        yield folder
    finally:
        _throw_away(folder, number)


def sweep(beside: Path, purpose: str,
          may_go: Callable[[Path], bool] = lambda folder: True) -> None:
    """Throw away scratch that runs which are dead left beside an output.

    A folder goes only where its lock is free and tells the same purpose and this very start of
    this machine: elsewhere a lock may not be seen, and what is not known to be dead stays.

    Parameters
    ----------
    may_go : callable (folder) -> bool
        Asked before a folder goes, while its lock is held.
    """
    with suppress(OSError):
        for folder in sorted(beside.glob(f"{PREFIX}*")):
            if folder.is_dir() and not folder.is_symlink():
                with suppress(OSError):
                    _sweep(folder, purpose, may_go)


def locked(number: int) -> bool:
    """Lock an open file for this process; False if another has it.

    The system frees the lock of a process that ends, however it ends.

    Raises
    ------
    OSError
        If there are no locks on such a disk.
    """
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        lock: Any = msvcrt
        os.lseek(number, 1 << 20, os.SEEK_SET)  # what is locked there cannot be read
        try:
            lock.locking(number, lock.LK_NBLCK, 1)
        except OSError:
            return False
        os.lseek(number, 0, os.SEEK_SET)
        return True
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def is_file_of(path: Path, number: int) -> bool:
    """Whether an open file is still the one of that name."""
    try:
        return os.path.samestat(os.fstat(number), os.stat(path))
    except OSError:
        return False


def unlock(path: Path, number: int) -> None:
    """Throw a locked file away, then let go of it."""
    with suppress(OSError):
        path.unlink()
    with suppress(OSError):
        os.close(number)
    with suppress(OSError):  # Windows takes no name from a file that is open
        path.unlink(missing_ok=True)


def _make(beside: Path, purpose: str) -> tuple[Path, int | None]:
    """A new folder, and its lock; none where the disk has no locks."""
    while True:
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=beside))
        lock = folder / LOCK
        try:
            number = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        except FileNotFoundError:
            continue  # another run took it for one that was left
        except BaseException:
            with suppress(OSError):
                folder.rmdir()
            raise
        try:
            taken = locked(number)
        except OSError:
            unlock(lock, number)
            return folder, None
        if taken and is_file_of(lock, number):
            with suppress(OSError):  # on a full disk it is left, if it is left
                os.write(number, json.dumps(_told(purpose)).encode("utf-8"))
            return folder, number
        os.close(number)


def _sweep(folder: Path, purpose: str, may_go: Callable[[Path], bool]) -> None:
    with suppress(OSError):
        folder.rmdir()  # killed before it was locked; who made it just now makes another
        return
    number = os.open(folder / LOCK, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    try:
        goes = locked(number) and is_file_of(folder / LOCK, number) and _is_of(
            folder, os.read(number, _MOST), purpose) and may_go(folder)
    except BaseException:
        os.close(number)
        raise
    if goes:
        _throw_away(folder, number)
    else:
        os.close(number)


def _is_of(folder: Path, told: bytes, purpose: str) -> bool:
    """Whether a lock tells that its folder was made here for this; or nothing, and holds nothing:
    that is of a run killed at once."""
    if not told:
        return os.listdir(folder) == [LOCK]
    try:
        said = json.loads(told)
        return {name: said[name] for name in _told(purpose)} == _told(purpose)
    except (ValueError, LookupError, TypeError):
        return False


def _told(purpose: str) -> dict[str, str]:
    try:
        start = _BOOT.read_text(encoding="ascii").strip()
    except OSError:
        start = f"{uuid.getnode():x}"
    return {"for": purpose, "machine": socket.gethostname(), "start": start}


def _throw_away(folder: Path, number: int | None) -> None:
    """Take a folder away, its lock last."""
    with suppress(OSError):
        for entry in list(os.scandir(folder)):
            if entry.name == LOCK:
                continue
            if entry.is_dir(follow_symlinks=False):
                shutil.rmtree(entry, ignore_errors=True)
            else:
                with suppress(OSError):
                    os.unlink(entry)
    if number is not None:
        unlock(folder / LOCK, number)
    with suppress(OSError):
        folder.rmdir()
