"""What lies under the works: whether the files that it was read from changed on the disk."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

from terrain.bench.layers.outlines import Outline, outlines
from terrain.errors import InputError
from terrain.inputs.made_from import input_files
from terrain.inputs.site import Site, read_site
from terrain.plan.siting.reading import Inputs

#: Beside layers and rasters other programs write these to show or search them faster.
ASIDE = (".aux.xml", ".ovr", ".qix", ".sbn", ".sbx", ".clr")
#: So many files are named, no more.
NAMED = 3

#: A file's number, size and time of change; None of one that is not there.
Stamp = tuple[int, int, int] | None


class FilesRead:
    """The files that a site file names, as they were when they were read.

    Parameters
    ----------
    site : Site or None
        None where its file cannot be read; no file is then known.
    """

    def __init__(self, site: Site | None) -> None:
        self._site = site
        self._paths = _paths(site)
        self._stamps = {name: _stamp(path) for name, path in self._paths.items()}

    @classmethod
    def of(cls, path: Path) -> FilesRead:
        """Of a site file, before all that it names is read."""
        site = None
        with suppress(InputError):  # whoever reads it in earnest says what is wrong
            site = read_site(path)
        return cls(site)

    def changed(self) -> list[str]:
        """Names of those that are changed, gone or new; the site file is not among them."""
        paths = self._paths | _paths(self._site)
        return [name for name in sorted(paths) if _stamp(paths[name]) != self._stamps.get(name)]


def _paths(site: Site | None) -> dict[str, Path]:
    with suppress(InputError, OSError):
        if site is not None:
            return {name: path for name, path in input_files(site).items()
                    if path != site.path and not name.lower().endswith(ASIDE)}
    return {}


def _stamp(path: Path) -> Stamp:
    try:
        now = os.stat(path)
    except OSError:
        return None
    return now.st_ino, now.st_size, now.st_mtime_ns


def drawn_alike(one: Inputs, other: Inputs) -> bool:
    """Whether a map of the ground of one is a map of that of the other."""
    return bool(
        one.dem.bounds == other.dem.bounds
        and np.array_equal(one.dem.heights, other.dem.heights, equal_nan=True)
        and np.array_equal(one.ground.curve_number, other.ground.curve_number, equal_nan=True)
        and [_parts(o) for o in outlines(one)] == [_parts(o) for o in outlines(other)])


def _parts(one: Outline) -> tuple[object, ...]:
    return (one.kind, one.name, one.radius, one.points.tolist(),
            [line.tolist() for line in one.lines],
            [[ring.tolist() for ring in rings] for rings in one.areas])


def words(changed: Sequence[str], old_map: bool) -> str:
    """What the page tells of it; "" where all is as it was read."""
    if not changed and not old_map:
        return ""
    if changed:
        more = len(changed) - NAMED
        names = ", ".join(changed[:NAMED]) + (f" and {more} more" if more > 0 else "")
        said = f"{names} changed on the disk since it was read, so what is shown here is of before"
    else:
        said = "The ground was read anew with the site file; the map still shows that of before"
    return f"{said}. Save, end the bench (Ctrl-C in its terminal) and start it again."
