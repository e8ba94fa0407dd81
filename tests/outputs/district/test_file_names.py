"""Files of parcels: no name leads out of the folder, and no two are one file on any disk."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from terrain.district.screened import Parcel
from terrain.outputs.district.file_names import LONGEST, file_names

OUTLINE = box(0, 0, 1, 1)


def named(*names):
    return list(file_names([Parcel(n, name, OUTLINE) for n, name in enumerate(names, 1)]).values())


@pytest.mark.parametrize(("name", "file"), [
    ("12-0417", "12-0417"), ("Upper Farm", "Upper-Farm"), ("Höf", "Hof"), ("..", "parcel-1"),
    ("../../etc/passwd", "etc-passwd"), ("C:\\x", "C-x"), ("畑", "parcel-1"), ("\x00a\n", "a"),
    ("con", "con-parcel"), ("LPT1", "LPT1-parcel"), ("site", "site-parcel")])
def test_names_are_made_plain(name, file):
    assert named(name) == [file]


def test_names_that_would_be_one_are_numbered():
    assert named("a/b", "A b", "a-b-2", "a b") == ["a-b", "A-b-2", "a-b-2-2", "a-b-3"]


@given(st.lists(st.text(max_size=80), min_size=1, max_size=12))
def test_whatever_they_are_called(names):
    files = named(*names)
    assert len({file.casefold() for file in files}) == len(names)
    for file in files:
        assert re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_-]*", file)
        assert len(file) <= LONGEST + 10
