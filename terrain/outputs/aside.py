"""One piece of work done beside another."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import current_process, get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from terrain.children import end_with

Found = TypeVar("Found")


@contextmanager
def aside(work: Callable[[], Found]) -> Iterator[Callable[[], Found]]:
    """Do work in a process split off this one, and give a call that waits for what it returns, or
    raises what it raised.

    Where no process can be split off safely the call itself does the work: on other systems, in a
    process that may have none of its own, as workers may not, and beside other threads that hold
    locks.  When the block is left before that, the process is ended.
    """
    if (sys.platform != "linux" or current_process().daemon
            or threading.current_thread() is not threading.main_thread()):
        yield work
        return
    split = get_context("fork")
    here, there = split.Pipe(duplex=False)
    process = split.Process(target=_do, args=(work, there, os.getpid()))
    process.start()
    there.close()

    def found() -> Found:
        try:
            told: tuple[bool, Any] = here.recv()
        except EOFError:
            process.join()
            raise ChildProcessError("a process that worked beside this one was ended from outside, "
                                    f"by signal {-(process.exitcode or 0)}") from None
        fine, answer = told
        if not fine:
            raise answer
        made: Found = answer
        return made

    try:
        yield found
    finally:
        process.terminate()
        process.join()
        here.close()


def _do(work: Callable[[], Found], there: Connection, parent: int) -> None:
    end_with(parent)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the first process's to answer
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    try:
        told: tuple[bool, object] = (True, work())
    except BaseException as error:  # it is raised again where it is waited for
        told = (False, error)
    there.send(told)
    there.close()
