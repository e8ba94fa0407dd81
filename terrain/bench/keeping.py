"""The site file on the disk: saved whole or not at all, over nobody else's changes.

Beside it, or beside the file that it leads to where it is a link, stand a folder of backups, a
hidden journal of what is not saved yet, and a hidden file that says which bench has it open.
"""

from __future__ import annotations

import datetime as dt
import errno
import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from terrain.bench.site_lock import SiteLock, lock_site
from terrain.errors import InputError
from terrain.files import check_name, is_folder, put_whole
from terrain.inputs.whole_bytes import bytes_of

#: The folder of backups, and how many of a site file are kept there.
BACKUPS, MOST_BACKUPS = "site backups", 50
#: What the journal says of itself.
_JOURNAL = "levelsill: not saved yet"


class Changed(InputError):
    """The site file is not as it was read or saved last."""


@dataclass(frozen=True)
class Aside:
    """What an earlier bench left unsaved.

    Attributes
    ----------
    text : str
        The site file as it would have been saved.
    when : datetime
        When it was set aside, by this machine's clock.
    same : bool
        Whether the site file is still the one that it was made from.
    """

    text: str
    when: dt.datetime
    same: bool


class SiteFile:
    """A site file that a bench has open; no other bench may open it meanwhile.

    Parameters
    ----------
    path : Path
        The file, or the folder of a ``site.yaml``.

    Attributes
    ----------
    path : Path
        As it was named.
    text : str
        As it was read or saved last, its line ends and its byte order mark kept.
    notes : list of str
        What a person is to know of it, whole sentences.

    Raises
    ------
    InputError
        If it cannot be read, or another bench has it open.
    """

    def __init__(self, path: Path) -> None:
        path = Path(path)
        self.path = path / "site.yaml" if is_folder(path) else path
        self.notes: list[str] = []
        self._earlier: Aside | None = None
        self._real = Path(os.path.realpath(self.path))
        self.text, self._print = self._read()
        self._lock: SiteLock | None = lock_site(self._hidden("bench"), self.path)
        if self._lock is not None and self._lock.times == 1:
            self._sweep()

    @classmethod
    def read(cls, path: Path) -> SiteFile:
        """The same as it stands on the disk now."""
        return cls(path)

    def close(self) -> None:
        """Let other benches open it."""
        if self._lock is not None:
            self._lock.let_go()
            self._lock = None

    def changed(self) -> bool:
        """Whether it is gone, or someone else wrote it since it was read or saved."""
        try:
            return _print(self._real.read_bytes()) != self._print
        except OSError:
            return True

    def save(self, text: str) -> Path:
        """Write it, and keep what stood there before.

        Returns
        -------
        backup : Path

        Raises
        ------
        Changed
            If it is gone or someone else wrote it since it was read or saved; nothing was written.
        InputError
            If it cannot be written; it stays as it was.
        """
        data = text.encode("utf-8")
        with self._plainly("so nothing was saved"):
            before = self._unchanged()
            like = self._real.stat()
            if not like.st_mode & 0o222 or not os.access(self._real, os.W_OK):
                raise InputError(str(self.path), "it is protected against writing, so nothing was "
                                 "saved", "Allow writing to it, or save beside it")
            backup = self._back_up(before, like)
            try:
                self._unchanged()
                put_whole(self._real, data, like, draft_name=self._hidden("draft-").name)
            except BaseException:
                with suppress(OSError):
                    backup.unlink()
                raise
        self.text, self._print = text, _print(data)
        self._thin_out(backup)
        return backup

    def save_beside(self, text: str) -> Path:
        """Write a text as a new file beside it; the site file stays as it is.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        stem, suffix = self.path.stem, self.path.suffix
        with self._plainly("so nothing was saved"):
            return self._put_new(self.path.parent, f"{stem} from the bench "
                                 f"{_now():%Y-%m-%d %H%M%S}", suffix, text.encode("utf-8"),
                                 self._like())

    def keep_aside(self, text: str) -> None:
        """Write down what is not saved yet, in place of what was written down before.

        What an earlier bench left, and nobody has thrown away, goes to the backups first.

        Raises
        ------
        InputError
            If it cannot be written; what was written down before stays.
        """
        now = _now().isoformat(timespec="seconds")
        data = {"what": _JOURNAL, "file": self._real.name, "made from": self._print, "when": now,
                "text": text, "SHA-256": _print(text.encode("utf-8"))}
        with self._plainly("so what is not saved yet is on the bench alone"):
            if self._earlier is not None:
                self._back_up(self._earlier.text.encode("utf-8"), self._like(), " not saved",
                              self._earlier.when)
                self._earlier = None
            put_whole(self._hidden("unsaved"), json.dumps(data, indent=1).encode("utf-8"),
                      self._like(), draft_name=self._hidden("draft-").name)

    def set_aside(self) -> Aside | None:
        """What an earlier bench left unsaved; None if it left nothing.

        A journal that is broken, or none of a bench, is given another name, and `notes` says so.
        """
        journal = self._hidden("unsaved")
        try:
            data = bytes_of(journal)
        except FileNotFoundError:
            return None
        except (OSError, InputError):
            data = b""
        try:
            told = json.loads(data)
            text, when = told["text"], dt.datetime.fromisoformat(told["when"])
            whole = (told["what"], told["SHA-256"]) == (_JOURNAL, _print(text.encode("utf-8")))
            same = told["made from"] == self._print and not self.changed()
        except (ValueError, LookupError, TypeError, AttributeError):
            whole = False
        if not whole:
            self._put_away(journal)
            return None
        self._earlier = Aside(text, when, same)
        return self._earlier

    def forget_aside(self) -> None:
        """Throw away what was written down as not saved."""
        self._earlier = None
        self.forget_own()

    def forget_own(self) -> None:
        """Throw away what this bench wrote down; what an earlier one left stays."""
        if self._earlier is None:
            with suppress(OSError):
                self._hidden("unsaved").unlink()

    def follow(self, other: SiteFile) -> None:
        """Go on for another that has read the same file, with what an earlier bench left."""
        self._earlier = other._earlier

    def _put_away(self, journal: Path) -> None:
        """Give a journal that says nothing another name."""
        other = _free(journal.parent, f"{journal.name} {_now():%Y-%m-%d %H%M%S}", "")
        try:
            os.rename(journal, other)
        except OSError:
            self.notes.append(f"{journal.name} is no journal of a bench or cannot be read; it was "
                              "left alone, so what is not saved cannot be written down there.")
            return
        self.notes.append(f"{journal.name} beside the site file was broken or no journal of a "
                          f"bench; it is called {other.name} now.")

    def _hidden(self, what: str) -> Path:
        return self._real.with_name(f".{self._real.name}.{what}")

    def _like(self) -> os.stat_result | None:
        """Permissions and owner of the site file; None if it is gone."""
        try:
            return self._real.stat()
        except OSError:
            return None

    def _read(self) -> tuple[str, str]:
        try:
            data = bytes_of(self._real, here=str(self.path))
            return data.decode("utf-8"), _print(data)
        except FileNotFoundError:
            raise InputError(str(self.path), "there is no such site file",
                             check_name(self.path, "Check the name, or make one with: "
                                        "levelsill start DIR")) from None
        except UnicodeDecodeError:
            raise InputError(str(self.path), "it is no text in UTF-8",
                             "Give a site file written in YAML, saved in UTF-8") from None
        except OSError as error:
            raise InputError(str(self.path), f"it cannot be read ({_said(error)})",
                             "Give a site file written in YAML") from None

    def _unchanged(self) -> bytes:
        """What stands in the file, if that is what was read or saved last."""
        try:
            data = self._real.read_bytes()
        except FileNotFoundError:
            raise Changed(str(self.path), "it is not there any more, so nothing was saved",
                          "Put it back, or save beside it") from None
        if _print(data) != self._print:
            raise Changed(str(self.path), "another program changed it since it was read, so "
                          "nothing was saved", "Join both, take the file's, or save beside it")
        return data

    def _back_up(self, data: bytes, like: os.stat_result | None, what: str = "",
                 when: dt.datetime | None = None) -> Path:
        folder = self._real.parent / BACKUPS
        folder.mkdir(exist_ok=True)
        return self._put_new(folder, f"{self._real.stem}{what} "
                             f"{when or _now():%Y-%m-%d %H%M%S}", self._real.suffix, data, like)

    def _put_new(self, folder: Path, stem: str, suffix: str, data: bytes,
                 like: os.stat_result | None) -> Path:
        """Write a file under a name that is free."""
        while True:
            path = _free(folder, stem, suffix)
            try:
                put_whole(path, data, like, over=False, draft_name=self._hidden("draft-").name)
            except (FileExistsError, InputError):
                if os.path.lexists(path):
                    continue  # taken meanwhile
                raise
            return path

    def _sweep(self) -> None:
        """Throw away what a bench that was killed had begun to write."""
        for folder in (self._real.parent, self._real.parent / BACKUPS):
            with suppress(OSError):
                for name in os.listdir(folder):
                    if name.startswith(self._hidden("draft-").name):
                        (folder / name).unlink()

    def _thin_out(self, newest: Path) -> None:
        """Keep only the newest backups of this file."""
        own = re.compile(rf"{re.escape(self._real.stem)} (\d{{4}}-\d\d-\d\d \d{{6}})(?: (\d+))?"
                         rf"{re.escape(self._real.suffix)}")
        with suppress(OSError):
            found = [(match.group(1), int(match.group(2) or 1), file)
                     for file in newest.parent.iterdir() if file != newest and (
                         match := own.fullmatch(file.name)) and file.is_file()]
            for _, _, file in sorted(found)[:-MOST_BACKUPS + 1]:
                file.unlink()

    @contextmanager
    def _plainly(self, so: str) -> Iterator[None]:
        """Say in one sentence why nothing could be written."""
        try:
            yield
        except InputError:
            raise
        except OSError as error:
            raise _refused(error, self._real.parent, so) from None


def _refused(error: OSError, folder: Path, so: str) -> InputError:
    """Why nothing could be written, in a sentence."""
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return InputError(str(folder), f"nothing may be written in this folder, {so}",
                          "Allow writing there, or work on a copy elsewhere")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return InputError(str(folder), f"the disk is full, {so}", "Free some space and save again")
    if error.errno == errno.EFBIG:
        return InputError(str(folder), "the system lets no file grow as large as this one, "
                          f"{so}", "Raise the limit of file sizes (ulimit -f)")
    if error.errno in (errno.EEXIST, errno.ENOTDIR):
        return InputError(str(folder / BACKUPS), "this is to be the folder of backups and is a "
                          f"file, {so}", "Move it away")
    return InputError(str(folder), f"writing failed ({_said(error)}), {so}", "Save again")


def _said(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()


def _free(folder: Path, stem: str, suffix: str) -> Path:
    """A name that nothing has, later in order than those that are there."""
    own = re.compile(rf"{re.escape(stem)}(?: (\d+))?{re.escape(suffix)}")
    taken = [int(match.group(1) or 1) for name in os.listdir(folder)
             if (match := own.fullmatch(name))]
    number = f" {max(taken) + 1}" if taken else ""
    return folder / f"{stem}{number}{suffix}"


def _print(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _now() -> dt.datetime:
    return dt.datetime.now()
