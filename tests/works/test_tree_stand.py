"""Trees beside a swale: how many there are, and how much of the seepage comes to them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.works.tree_stand import TreeStand, trees_in_row


def stand(count, crown, water, comes=0.5):
    return TreeStand("olive", count, crown, 0.5, "", water, comes)


def test_fifteen_trees_cover_part_of_a_long_swale():
    """15 crowns of 3 m are 106.0 m2; of 212 m2 of water that is half, and half of it comes."""
    trees = stand(15, 3.0, 212.06)
    assert trees.crown_area == trees.bare_crown == pytest.approx(106.03, abs=0.01)
    assert trees.reach == pytest.approx(0.25, abs=1e-4)
    assert stand(30, 3.0, 212.06).reach == pytest.approx(0.5, abs=1e-4)
    assert stand(300, 3.0, 212.06).reach == 0.5


@given(st.integers(1, 500), st.floats(0.5, 20), st.floats(0.1, 1e5), st.floats(0, 1))
def test_no_root_zone_gets_a_deeper_water_than_soaks_in_above(count, crown, water, comes):
    """A metre deep over the whole surface, shared by the crowns."""
    trees = stand(count, crown, water, comes)
    assert trees.reach * water <= comes * min(trees.crown_area, water) * (1 + 1e-12)
    assert 0 <= trees.reach <= comes


def test_a_row_begins_at_the_start_of_the_line():
    """Fence posts: 30 m at 5 m are seven, at 7 m five, 28 m along."""
    assert [trees_in_row(30.0, spacing) for spacing in (5.0, 7.0, 30.0, 31.0)] == [7, 5, 2, 1]
    assert trees_in_row(0.3, 0.1) == 4
    with pytest.raises(ValueError, match="not above 0"):
        trees_in_row(30.0, 0.0)


def test_nothing_soaks_in_where_there_is_no_water():
    assert stand(3, 2.0, 0.0).reach == 0
    assert math.isfinite(stand(3, 2.0, 0.0).crown_area)
