"""Files that a site or a district file names and that are not there, told with its line."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from terrain.errors import InputError, refuse
from terrain.files import check_name
from terrain.inputs.described import Described


def refuse_missing(described: Described) -> None:
    """Refuse files that are named and not there, all in one go, before any is read.

    Raises
    ------
    InputError
        With the line and field of each, and the name most like it in its folder.
    """
    wrong = []
    for place, file in sorted(_named(described, ()), key=lambda one: described.line(*one[0])):
        path = described.folder / file
        # A pattern of the elevation may fit files; `elevation_files` tells where it fits none.
        if os.path.exists(path) or any(sign in str(file) for sign in "*?["):
            continue
        words = [f"item {part + 1}" if isinstance(part, int) else part for part in place]
        wrong.append(InputError(", ".join([described.where(*place), *words]),
                                f"there is no such file as {file}", check_name(path)))
    refuse(wrong)


def _named(part: Any, place: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], Path]]:
    """Files that a part names, each with its place."""
    if isinstance(part, Path):
        yield place, part
    elif isinstance(part, BaseModel):
        for name, field in type(part).model_fields.items():
            yield from _named(getattr(part, name), (*place, field.alias or name))
    elif isinstance(part, list | tuple):
        single = len(part) == 1 and isinstance(part[0], Path)  # it may be written without brackets
        for number, one in enumerate(part):
            yield from _named(one, place if single else (*place, number))
