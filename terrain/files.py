"""Outputs appear whole or not at all, and never over somebody else's file."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from terrain.errors import InputError

#: The list of what the tool wrote into a folder, kept inside that folder.
RECORD = ".levelsill-wrote.json"


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; one that no file can have is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


def fingerprint(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a temporary path to write; move it to `path` only if all went well.

    Raises
    ------
    InputError
        If `path` exists already, or its folder does not.
    """
    path = Path(path)
    refuse_taken(path)
    with _refusal(path.parent), tempfile.TemporaryDirectory(
            dir=path.parent, prefix=".levelsill-") as folder:
        draft = Path(folder) / path.name
        yield draft
        os.replace(draft, path)


def refuse_taken(path: Path) -> None:
    """Refuse to write a file where something stands already, or where there is no folder."""
    if path.exists():
        raise InputError(str(path), "there is a file of that name already",
                         "Name another file, or move that one away")
    if not path.parent.is_dir():
        raise InputError(str(path), "its folder does not exist", "Make the folder first")


@contextmanager
def whole_folder(path: Path) -> Iterator[Path]:
    """Give an empty folder to write into; swap it in for `path` only if all went well.

    A folder that the tool wrote before, and that nobody has touched since, is
    replaced; any other is left alone.

    Raises
    ------
    InputError
        If `path` holds anything the tool did not write, or that was changed since.
    """
    path = Path(path)
    refuse_foreign(path)
    with _refusal(path.parent):
        path.parent.mkdir(parents=True, exist_ok=True)
    with _refusal(path.parent), tempfile.TemporaryDirectory(
            dir=path.parent, prefix=".levelsill-") as scratch:
        draft = Path(scratch) / "new"
        draft.mkdir()
        yield draft
        written = {file.relative_to(draft).as_posix(): fingerprint(file)
                   for file in sorted(draft.rglob("*")) if file.is_file()}
        (draft / RECORD).write_text(json.dumps(written, indent=1), encoding="utf-8")
        refuse_foreign(path)
        old = Path(scratch) / "old"
        if path.exists():
            os.replace(path, old)
        try:
            os.replace(draft, path)
        except OSError:
            if old.exists():
                os.replace(old, path)
            raise
        shutil.rmtree(old, ignore_errors=True)


def refuse_foreign(path: Path) -> None:
    """Refuse a folder that holds anything the tool did not write, or that was changed since."""
    if not path.exists():
        return
    if not path.is_dir():
        raise InputError(str(path), "this is a file, and a folder is to be written there",
                         "Name another folder with --out")
    here = {f.relative_to(path).as_posix(): f for f in path.rglob("*") if f.is_file()}
    if not here:
        return
    try:
        ours = json.loads(here.pop(RECORD).read_text(encoding="utf-8"))
    except (KeyError, ValueError):
        raise InputError(str(path), "the folder holds files that levelsill did not write",
                         "Name another folder with --out, or move that one away") from None
    for name, file in here.items():
        if ours.get(name) != fingerprint(file):
            raise InputError(str(path / name),
                             "this file was added or changed since levelsill wrote the folder",
                             "Move it out of the folder to keep it, or name another with --out")


@contextmanager
def _refusal(folder: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError:
        raise InputError(str(folder), "nothing may be written in this folder",
                         "Name a folder of your own with --out") from None
    except (FileExistsError, NotADirectoryError):
        raise InputError(str(folder), "this is not a folder", "Name another one with --out"
                         ) from None
    except OSError as error:
        if error.errno == errno.EROFS:
            raise InputError(str(folder), "nothing may be written in this folder",
                             "Name a folder of your own with --out") from None
        if error.errno == errno.ENOSPC:
            raise InputError(str(folder), "the disk is full, so nothing was written",
                             "Free some space and run again") from None
        raise
