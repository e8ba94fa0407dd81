"""Processes split off this one end with it, however it ends."""

from __future__ import annotations

import ctypes
import os
import signal
from contextlib import suppress

#: PR_SET_PDEATHSIG of Linux.
_SIGNAL_AT_DEATH = 1


def end_with(parent: int) -> None:
    """Have the system kill this process when the one that split it off ends.

    A parent that is killed tells nobody, and its pipes stay open in the children of one pool: they
    would wait for work for ever.  Where the system cannot, nothing is done.

    Parameters
    ----------
    parent : int
        The number of that process.

    References
    ----------
    .. [1] Linux manual page PR_SET_PDEATHSIG(2const).
    """
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_SIGNAL_AT_DEATH, int(signal.SIGKILL), 0, 0, 0)
    if os.getppid() != parent:  # it ended before that
        os._exit(1)
