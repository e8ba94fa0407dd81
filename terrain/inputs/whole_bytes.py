"""Files read whole, but never without end: a device, or a file of any size, may be named."""

from __future__ import annotations

import errno
import os
from pathlib import Path

#: No table of text that a person gives is longer: some five million surveyed points. [bytes]
MOST_BYTES = 300_000_000


def bytes_of(path: Path, most: int = MOST_BYTES) -> bytes:
    """All bytes of a file.

    Raises
    ------
    OSError
        If it cannot be read, or holds more than `most` bytes.
    """
    with path.open("rb") as stream:
        held = stream.read(most + 1)
    if len(held) > most:
        raise OSError(errno.EFBIG, os.strerror(errno.EFBIG))
    return held


def is_no_file(path: Path) -> bool:
    """Whether a path that is there is neither file nor folder, but a pipe or a device, which may
    keep whoever reads it waiting for ever."""
    return path.exists() and not path.is_file() and not path.is_dir()
