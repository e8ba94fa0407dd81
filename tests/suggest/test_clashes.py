"""Groups of candidates that cannot stand together, beside every pair laid over each other by
shapely."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from constructed import dem_of
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box

from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.clashes import TOUCH, clashes

NOWHERE = Candidate("", "swale", (), np.zeros((0, 2), int), (0, 0), None, 1.0, 1.0, 1.0,
                    Cost(None, 1.0, 1.0))


def found(shapes, cell=1.0, left=0.0):
    dem = replace(dem_of(np.zeros((30, 40)), cell), left=left)
    return clashes([replace(NOWHERE, footprint=shape) for shape in shapes], dem)


def in_groups(groups):
    return {pair for group in groups for pair in combinations(sorted(group), 2)}


def sharing(shapes):
    return {(i, j) for i, j in combinations(range(len(shapes)), 2)
            if shapes[i].intersection(shapes[j]).area > TOUCH}


@st.composite
def shapes_on_ground(draw):
    """Boxes on whole and half metres, which share edges and corners, and round-ended banks at any
    place, some over the raster's edge."""
    halves = st.integers(-8, 70).map(lambda n: n / 2)
    made = []
    for _ in range(draw(st.integers(1, 10))):
        if draw(st.booleans()):
            x, y = draw(halves), draw(halves)
            made.append(box(x, y, x + draw(st.integers(1, 12)) / 2, y + draw(st.integers(1, 12))
                            / 2))
        else:
            ends = [(draw(st.floats(-5, 40)), draw(st.floats(-5, 35))) for _ in range(3)]
            made.append(LineString(ends).buffer(draw(st.floats(0.2, 3))))
    return made


@settings(max_examples=150)
@given(shapes_on_ground(), st.sampled_from([0.5, 1.0, 2.0, 3.7]), st.sampled_from([0.0, -3.25]))
def test_a_pair_is_in_a_group_if_and_only_if_it_shares_ground(shapes, cell, left):
    assert in_groups(found(shapes, cell, left)) == sharing(shapes)


def test_many_on_one_spot_are_one_group():
    shapes = [Point(10.5, 10.5).buffer(1 + j / 10) for j in range(6)]
    assert found(shapes) == (tuple(range(6)),)


@pytest.mark.parametrize(("gap", "groups"), [(0.2, ()), (0.0, ()), (-0.001, ()),
                                             (-0.2, ((0, 1),))])
def test_side_by_side(gap, groups):
    """A gap of -0.001 m along 5 m is 0.005 m2, less than two works may share."""
    assert found([box(3.2, 3.1, 8.2, 8.1), box(8.2 + gap, 3.1, 12, 8.1)]) == groups


def test_slivers_that_cover_no_cells_middle():
    """0.2 m by 5 m of ground shared between the middles of 4 m cells."""
    assert found([box(1, 4.3, 15, 4.6), box(5, 4.4, 7, 12)], 4.0) == ((0, 1),)


def test_one_alone_and_none():
    assert found([box(1, 1, 2, 2)]) == ()
    assert found([]) == ()
