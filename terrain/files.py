"""Outputs appear whole or not at all, and never over somebody else's file."""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from terrain.errors import InputError
from terrain.scratch import scratch, sweep

#: The list of what the tool wrote into a folder, kept inside that folder.
RECORD = ".levelsill-wrote.json"
#: In scratch: a folder that is being made; one that is made, which may have changed places with
#: the last one; the last one where those cannot change places.
_NEW, _MADE, _OLD = "new", "made", "old"
#: With less room left on the disk a library's failure to write is laid to that. [bytes]
LEAST_ROOM = 64 << 20
#: AT_FDCWD and RENAME_EXCHANGE of Linux.
_HERE, _EXCHANGE = -100, 2
#: Libraries that write files and say in errors of their own why they could not.
_WRITERS = ("rasterio", "pyogrio", "sqlite3", "xlsxwriter")
#: Errors that a full disk does not make.
_SLIPS = (ArithmeticError, AssertionError, AttributeError, LookupError, NameError, TypeError,
          ValueError)


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; one that no file can have is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


def check_name(path: Path, otherwise: str = "Check its name and folder") -> str:
    """Advice on a file that is not there: the name most like it in its folder, if there is one."""
    import difflib

    try:
        names = {one.name.lower(): one.name for one in sorted(path.parent.iterdir())}
    except (OSError, ValueError):
        return otherwise
    near = difflib.get_close_matches(path.name.lower(), names, 5, 0.75)
    ending = path.suffix.lower()
    alike = [name for name in near if Path(name).suffix == ending] or near
    return f"Perhaps '{names[alike[0]]}' was meant, which lies there" if alike else otherwise


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
    with _draft_folder(path) as folder:
        draft = folder / path.name
        yield draft
        _put(draft, path)


@contextmanager
def _draft_folder(path: Path) -> Iterator[Path]:
    """Give an empty folder on the disk of an output, for as long as the block runs; throw away
    what runs that were killed left of the same output."""
    with _refusal(path.parent), scratch(path.parent, path.name) as place:
        sweep(path.parent, path.name, lambda left: _spare_last(left, path))
        draft = place / _NEW
        draft.mkdir()
        yield draft


def put_whole(path: Path, data: bytes, like: os.stat_result | None = None, over: bool = True,
              draft_name: str = ".levelsill-") -> None:
    """Write a file so that whoever is stopped, or loses power, leaves it as it was or as it is to
    be, never in between.

    Parameters
    ----------
    like : os.stat_result, optional
        Whose permissions and owner it is to have; left out, those of a new file.
    over : bool
        Whether it may take the place of a file that is there.
    draft_name : str
        How the name begins under which it is written first, beside `path`; whoever is killed may
        leave such a file.

    Raises
    ------
    OSError
        If it cannot be written; FileExistsError if it may not take another's place.
    """
    number, name = tempfile.mkstemp(dir=path.parent, prefix=draft_name)
    draft = Path(name)
    try:
        with open(number, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if like is not None and hasattr(os, "chown"):
            with suppress(OSError):  # only the system's keeper may give files away
                os.chown(draft, like.st_uid, like.st_gid)
        draft.chmod(usual_mode() if like is None else stat.S_IMODE(like.st_mode))
        if over:
            os.replace(draft, path)
        else:
            _put(draft, path)
    finally:
        draft.unlink(missing_ok=True)
    _settle(path.parent)


def usual_mode() -> int:
    """Permissions that a new file gets."""
    mask = os.umask(0o077)
    os.umask(mask)
    return 0o666 & ~mask


def _settle(folder: Path) -> None:
    """Let a folder's names outlast a loss of power, where the system can."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _put(draft: Path, path: Path) -> None:
    """Give a file its name, unless that was taken meanwhile."""
    try:
        os.link(draft, path)
    except FileExistsError:
        refuse_taken(path)
        raise
    except OSError:  # no second names on such a disk
        refuse_taken(path)
        os.replace(draft, path)


def refuse_taken(path: Path) -> None:
    """Refuse to write a file where something stands already, or where there is no folder."""
    if os.path.lexists(path):  # a link that leads nowhere stands there too
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
    with _draft_folder(path) as draft:
        yield draft
        written = {file.relative_to(draft).as_posix(): fingerprint(file)
                   for file in sorted(draft.rglob("*")) if file.is_file()}
        (draft / RECORD).write_text(json.dumps(written, indent=1), encoding="utf-8")
        _swap(draft.rename(draft.with_name(_MADE)), path, draft.with_name(_OLD))


def _spare_last(left: Path, path: Path) -> bool:
    """Whether all in scratch that a killed run left is levelsill's own; the last folder, if the run
    had moved that away and put none in its place, is put back first."""
    if not os.path.lexists(path):
        with suppress(FileNotFoundError):
            os.replace(left / _OLD, path)
    try:
        for folder in (left / _MADE, left / _OLD):
            refuse_foreign(folder)
    except InputError:
        return False  # what came into the last folder as it was replaced
    return True


def _swap(draft: Path, path: Path, old: Path) -> None:
    """Put a folder in the place of another, which the tool wrote; all stays if that fails."""
    refuse_foreign(path)
    if _exchange(draft, path):
        try:
            refuse_foreign(draft, path)  # what came into it since it was looked at
        except BaseException:
            _exchange(draft, path)
            raise
        return
    with suppress(FileNotFoundError):  # there was none, or another run has just moved it
        os.replace(path, old)
    try:
        if old.exists():
            refuse_foreign(old, path)
        os.replace(draft, path)
    except BaseException as error:
        if old.exists() and not path.exists():
            os.replace(old, path)
        if isinstance(error, OSError) and error.errno in (errno.ENOTEMPTY, errno.EEXIST):
            raise InputError(str(path), "another run wrote this folder at the same time",
                             "Wait until it has ended, and run again") from None
        raise
    shutil.rmtree(old, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step, so that whoever is killed leaves one or the other
    there; False where the system cannot, or one is not there.

    References
    ----------
    .. [1] Linux manual page rename(2): renameat2 with RENAME_EXCHANGE.
    """
    try:
        move = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError, TypeError):  # Windows wants a library's name
        return False
    return bool(move(_HERE, os.fsencode(one.absolute()), _HERE, os.fsencode(other.absolute()),
                     _EXCHANGE) == 0)


def refuse_foreign(path: Path, called: Path | None = None) -> None:
    """Refuse a folder that holds anything the tool did not write, or that was changed since.

    Parameters
    ----------
    called : Path, optional
        What to call it in messages.
    """
    while True:
        before = _entry(path)
        try:
            with _refusal(path.parent):
                return _refuse_foreign(path, called or path)
        except InputError:
            if _entry(path) == before:
                raise  # else another run has put its own there meanwhile


def _entry(path: Path) -> tuple[int, int] | None:
    """What tells an entry of a disk from all others; None if it is not there."""
    try:
        told = os.lstat(path)
    except OSError:
        return None
    return told.st_dev, told.st_ino


def _refuse_foreign(path: Path, called: Path) -> None:
    if path.is_symlink():
        raise InputError(str(called), "this is a link to another place, and a folder is to be "
                         "written there", "Name the folder that it leads to with --out")
    if not path.exists():
        return
    if not path.is_dir():
        raise InputError(str(called), "this is a file, and a folder is to be written there",
                         "Name another folder with --out")
    here = {entry.relative_to(path).as_posix(): entry for entry in _everything(path)}
    if not here:
        return
    try:
        record = here.pop(RECORD)
        if not record.is_file():  # a pipe would keep its reader waiting
            raise OSError
        ours = dict(json.loads(record.read_text(encoding="utf-8")))
    except (KeyError, TypeError, ValueError, OSError):
        raise InputError(str(called), "the folder holds files that levelsill did not write",
                         "Name another folder with --out, or move that one away") from None
    folders = {parent.as_posix() for name in ours for parent in PurePosixPath(name).parents}
    for name, entry in here.items():
        if not (name in folders if entry.is_dir() and not entry.is_symlink() else
                _is_as_written(entry, ours.get(name))):
            raise InputError(str(called / name),
                             "this was added or changed since levelsill wrote the folder",
                             "Move it out of the folder to keep it, or name another with --out")


def _everything(path: Path) -> Iterator[Path]:
    """All that lies in a folder: files, folders, links (which are not followed), and the rest."""
    for folder, folders, files in os.walk(path, onerror=_raise):
        for name in (*folders, *files):
            yield Path(folder) / name


def _raise(error: OSError) -> None:
    raise InputError(str(error.filename), "what lies in this folder cannot be read, so it is not "
                     "known whether it may be replaced", "Name another folder with --out")


def _is_as_written(entry: Path, print_: str | None) -> bool:
    """Whether an entry is a plain file, unchanged since it was written."""
    if print_ is None or entry.is_symlink() or not entry.is_file():
        return False
    try:
        return fingerprint(entry) == print_
    except OSError:
        return False


@contextmanager
def _refusal(folder: Path) -> Iterator[None]:
    """Say in one sentence why nothing could be written into a folder."""
    try:
        yield
    except InputError:
        raise
    except PermissionError:
        raise InputError(str(folder), "nothing may be written in this folder",
                         "Name a folder of your own with --out") from None
    except (FileExistsError, NotADirectoryError):
        raise InputError(str(folder), "this is not a folder", "Name another one with --out"
                         ) from None
    except Exception as error:
        number = _number(error)
        if number == errno.EROFS:
            raise InputError(str(folder), "nothing may be written in this folder",
                             "Name a folder of your own with --out") from None
        if number in (errno.ENOSPC, errno.EDQUOT):
            raise InputError(str(folder), "the disk is full, so nothing was written",
                             "Free some space and run again") from None
        room = _room(folder)
        if room < LEAST_ROOM and not isinstance(error, _SLIPS):
            raise InputError(str(folder), "writing failed, and the disk is full or nearly so, with "
                             f"{room / 1e6:.1f} MB left, so nothing was written",
                             "Free some space and run again") from None
        if number == errno.EFBIG or _limited(error):
            raise InputError(str(folder), "the system lets no file grow as large as this one, so "
                             "nothing was written",
                             "Raise the limit of file sizes (ulimit -f), or name a folder on "
                             "another disk with --out") from None
        if number == errno.EIO or type(error).__module__.split(".")[0] in _WRITERS:
            said = " ".join(str(error).split())[:200] or type(error).__name__
            raise InputError(str(folder), f"writing failed ({said}), so nothing was written",
                             "Run again, or name a folder on another disk with --out") from error
        raise


def _number(error: BaseException | None) -> int | None:
    """The system's number of an error, or of one that it wraps."""
    while error is not None:
        for one in (error, *error.args):
            if isinstance(one, OSError) and one.errno is not None:
                return one.errno
        error = error.__cause__ or error.__context__
    return None


def _limited(error: Exception) -> bool:
    """Whether a library's failure to write is most likely that of a limit of file sizes."""
    if type(error).__module__.split(".")[0] not in _WRITERS:
        return False
    try:
        import resource
    except ImportError:
        return False
    return resource.getrlimit(resource.RLIMIT_FSIZE)[0] != resource.RLIM_INFINITY


def _room(folder: Path) -> int:
    """Room left on a folder's disk: libraries that write rasters and databases do not say in the
    system's words that it is full, and may have taken away again what filled it. [bytes]"""
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return LEAST_ROOM
