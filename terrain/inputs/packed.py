"""Packed files (ZIP): refused where they unpack to what no computer holds."""

from __future__ import annotations

import zipfile
from pathlib import Path

from terrain.errors import InputError

#: A packed layer may unpack to so much, or to so many times its own size, whichever is more.
#: [bytes], [-]
MOST_UNPACKED, MOST_TIMES = 200_000_000, 40


def refuse_bomb(path: Path, here: str) -> None:
    """Refuse a packed file that unpacks to far more than itself; any other is left alone.

    Raises
    ------
    InputError
        With both sizes.
    """
    if not path.is_file():
        return
    with path.open("rb") as stream:
        if stream.read(2) != b"PK":
            return
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return  # GDAL will not read it either, and says so
    own = path.stat().st_size
    if size > max(MOST_UNPACKED, MOST_TIMES * own):
        raise InputError(here, f"its {own:,} bytes unpack to {size:,}, far more than a layer does",
                         "Unpack it, and name the layer itself")
