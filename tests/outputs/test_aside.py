"""Work beside other work: it hands over what it found, or what went wrong, and leaves no process.

What is checked follows from what the module promises; Python's own processes tell the rest.
"""

from __future__ import annotations

import os
import signal
import time
from multiprocessing import active_children

import pytest

from terrain.errors import InputError
from terrain.outputs.aside import aside


def test_what_is_found_comes_back() -> None:
    with aside(lambda: os.getpid()) as found:
        assert found() != os.getpid()
    assert not active_children()


def test_what_goes_wrong_is_raised_here() -> None:
    def fail() -> None:
        raise InputError("here", "it is wrong", "Mend it")

    with pytest.raises(InputError, match="here: it is wrong"), aside(fail) as found:
        found()
    assert not active_children()


def test_leaving_early_ends_it() -> None:
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt), aside(lambda: time.sleep(60)):
        raise KeyboardInterrupt
    assert time.monotonic() - begun < 20
    assert not active_children()


def test_a_process_that_is_killed_is_told() -> None:
    with pytest.raises(ChildProcessError, match="signal 9"), aside(
            lambda: os.kill(os.getpid(), signal.SIGKILL)) as found:
        found()
