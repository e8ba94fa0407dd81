"""Which files make up the elevation: one, a list, a folder, or a pattern such as
``tiles/*.tif``."""

from __future__ import annotations

import glob
import os
from collections.abc import Sequence
from pathlib import Path

from terrain.errors import InputError
from terrain.files import check_name

#: What counts as a raster in a folder of them.
RASTERS = (".tif", ".tiff", ".img", ".asc", ".vrt")


def elevation_files(given: Path | str | Sequence[Path | str]) -> list[Path]:
    """The files named, those of a pattern or a folder in the order of their names.

    A folder without a raster stands for itself, as some formats are folders.

    Raises
    ------
    InputError
        If a file is missing, a pattern fits none, or a file is named twice.
    """
    several = [given] if isinstance(given, Path | str) else list(given)
    if not several:
        raise InputError("elevation", "no file is named", "Name an elevation raster")
    files: list[Path] = []
    for one in map(Path, several):
        if os.path.exists(one):
            files += _in_folder(one) or [one]
        elif any(sign in str(one) for sign in "*?["):
            fitting = sorted(Path(name) for name in glob.glob(_pattern(one), recursive=True))
            if not fitting:
                raise InputError(str(one), "no file fits this pattern",
                                 "Check the folder and the pattern")
            files += fitting
        else:
            raise InputError(str(one), "there is no such file",
                             check_name(one, "Check the name of the elevation raster"))
    seen: set[Path] = set()
    for file in files:
        if file.resolve() in seen:
            raise InputError(str(file), "this file is named twice", "Name each file once")
        seen.add(file.resolve())
    return files


def _in_folder(path: Path) -> list[Path]:
    """The rasters that lie in a folder; virtual ones, which are made of others, only if there is
    nothing else."""
    if not path.is_dir():
        return []
    found = sorted(file for file in path.iterdir() if file.suffix.lower() in RASTERS
                   and not file.name.startswith(".") and file.is_file())
    return [file for file in found if file.suffix.lower() != ".vrt"] or found


def _pattern(path: Path) -> str:
    """The pattern of a path; signs in the names of folders that are there are not part of it."""
    known = next((folder for folder in path.parents if os.path.exists(folder)), Path())
    return str(Path(glob.escape(str(known))) / path.relative_to(known))


def files_named(files: Sequence[Path], kind: str = "tiles") -> str:
    """Files as a message names them: ``hill.tif``, ``3 tiles (a.tif, b.tif, ...)``."""
    if len(files) == 1:
        return files[0].name
    names = ", ".join(file.name for file in files[:2])
    return f"{len(files)} {kind} ({names}{', ...' if len(files) > 2 else ''})"
