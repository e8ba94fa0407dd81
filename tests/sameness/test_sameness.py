"""The same plan.json, byte by byte, whatever runs it, wherever and when."""

from __future__ import annotations

import locale
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from across import make

pytestmark = pytest.mark.long

#: Everything about a process that is no input of a plan.
OTHER = {"PYTHONHASHSEED": "7", "TZ": "Pacific/Kiritimati", "HOME": "/nonexistent",
         "COLUMNS": "40", "LEVELSILL_TRACE": "1"}
#: Interpreters that may have levelsill, besides the one that runs the tests.
NEWER = ("python3.11", "python3.12", "python3.13", "python3.14")


def other_locale() -> str:
    """A locale that writes numbers with a comma, if there is one, else a plain one."""
    kept = locale.setlocale(locale.LC_ALL)
    try:
        for name in ("de_DE.UTF-8", "fr_FR.UTF-8", "C.UTF-8", "C"):
            try:
                locale.setlocale(locale.LC_ALL, name)
            except locale.Error:
                continue
            return name
        return "C"
    finally:
        locale.setlocale(locale.LC_ALL, kept)


def test_threads_place_and_surroundings_change_nothing(small_site, tmp_path):
    """Two threads from the site's folder; one from elsewhere, in another locale, zone and day,
    with another seed of Python's hashes, and the site by an absolute path."""
    one = make(sys.executable, Path("small/site.yaml"), 2, small_site.parent.parent,
               PYTHONHASHSEED="0")
    elsewhere = tmp_path / "else where"
    elsewhere.mkdir()
    other = make(sys.executable, small_site, 1, elsewhere, LC_ALL=other_locale(), **OTHER)
    assert len(one.data) > 100_000
    assert one.data == other.data


def newer() -> list[str]:
    """Other Pythons on the path that have levelsill."""
    found = [place for name in NEWER if (place := shutil.which(name)) is not None]
    return [place for place in found if subprocess.run(
        [place, "-c", "import terrain.plan.plan"], cwd="/", capture_output=True,
        check=False).returncode == 0]


@pytest.mark.slow
def test_other_pythons_make_the_same_bytes(demo_site):
    """The demo, on every Python of the path that has levelsill, with one thread and two."""
    pythons = [sys.executable, *newer()]
    if len(pythons) < 2:
        pytest.skip("no other Python on the path has levelsill")
    made = [make(python, demo_site, threads, Path("/")) for python in pythons
            for threads in (1, 2)]
    assert len({one.sha for one in made}) == 1, [(one.versions, one.sha) for one in made]
