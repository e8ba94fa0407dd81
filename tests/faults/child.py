"""A process split off this one that is killed while it writes.  Only for POSIX systems."""

from __future__ import annotations

import ctypes
import mmap
import os
import signal
import struct
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

#: What a process is at once it has made such a call.
STEPS = {"tempfile.mkdtemp": "beginning", "tempfile.mkstemp": "beginning", "open": "writing",
         "os.mkdir": "writing", "sqlite3.connect": "writing", "os.link": "putting in place",
         "os.rename": "putting in place", "ctypes.dlsym": "putting in place",
         "os.remove": "clearing away", "os.rmdir": "clearing away",
         "shutil.rmtree": "clearing away", "os.scandir": "looking over",
         "os.listdir": "looking over"}
#: PR_SET_CHILD_SUBREAPER of Linux (its manual page, 2const).
_SUBREAPER = 36
#: No run takes longer. [s]
LONGEST = 240
#: Number of the last call, and its step.
TOLD = struct.Struct("<q24s")


def _adopt() -> None:
    """Have the system give this process what its children leave behind, so that it is waited for:
    they end with them (`terrain.children`), but a lock is free only when they have."""
    with suppress(OSError, AttributeError):  # where there is no such call, nobody waits
        ctypes.CDLL(None).prctl(_SUBREAPER, 1, 0, 0, 0)


class Fault(AssertionError):
    """Something was lost, left in part, or failed."""


def must(true: object, *words: object) -> None:
    if not true:
        raise Fault(" ".join(map(str, words)))


class Child:
    """A process that does something, and tells at which of its calls it is.

    Parameters
    ----------
    act : callable
        What it does.
    within : Path
        Those calls count that name something in this folder.
    at_call : int, optional
        It kills itself at the call of this number, before that is made.
    """

    def __init__(self, act: Callable[[], object], within: Path, at_call: int | None = None) -> None:
        self._told = mmap.mmap(-1, mmap.PAGESIZE)
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 (closed in `end`)
        self.began = time.monotonic()
        _adopt()
        self.process = os.fork()
        if self.process == 0:
            os.setpgrp()
            self._live(act, str(within), at_call)

    def _live(self, act: Callable[[], object], within: str, at_call: int | None) -> NoReturn:
        code, calls, me = 1, 0, os.getpid()

        def heard(event: str, given: tuple[Any, ...]) -> None:
            nonlocal calls
            if event not in STEPS or os.getpid() != me:
                return
            if event == "ctypes.dlsym":
                if given[1] != "renameat2":
                    return
            elif not any(isinstance(one, str | os.PathLike)
                         and str(os.fspath(one)).startswith(within) for one in given):
                return
            calls += 1
            self._told[:TOLD.size] = TOLD.pack(calls, STEPS[event].encode())
            if calls == at_call:
                os.kill(me, signal.SIGKILL)

        try:
            signal.alarm(LONGEST)
            for stream in (1, 2):
                os.dup2(self._said.fileno(), stream)
            sys.addaudithook(heard)
            act()
            code = 0
        except BaseException:
            os.write(2, traceback.format_exc().encode())
        finally:
            os._exit(code)

    def kill(self) -> None:
        os.kill(self.process, signal.SIGKILL)

    def end(self) -> bool:
        """Wait for its end, and for that of processes that it split off: True if it was killed.

        Raises
        ------
        Fault
            If it failed by itself.
        """
        _, state = os.waitpid(self.process, 0)
        self.took = time.monotonic() - self.began
        with suppress(ChildProcessError):  # none is left
            while True:
                os.waitpid(-self.process, 0)
        killed = os.WIFSIGNALED(state) and os.WTERMSIG(state) == signal.SIGKILL
        if not killed:
            self._said.seek(0)
            must(state == 0, f"a run failed with {state}:", self._said.read().decode())
        self.calls, step = TOLD.unpack(self._told[:TOLD.size])
        self.step = step.rstrip(b"\0").decode() or "reckoning"
        self._told.close()
        self._said.close()
        return killed
