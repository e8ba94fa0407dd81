"""How many trees a water would carry: worked cases, and what must hold anywhere."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.plan.water.trees_carried import (
    MOST_TREES,
    RAIN_ALONE,
    Kind,
    carried,
    kinds_of,
    typical,
)
from terrain.works.root_zone import root_zone_room
from terrain.works.rules import Rulebook
from terrain.works.tree_stand import TreeStand

RULES = Rulebook()
TREE = Kind("example", 2.0, 0.5)  # 3.14 m2 under the crown
DAYS = 365
YEARS = np.full(DAYS, 2011)
THIRST = np.full(DAYS, 2.0)  # so a want of 1 mm a day


def counts(water, rain=None, shares=(1.0,), thirst=THIRST, years=YEARS, whole=(2011,)):
    rain = np.zeros(water.size) if rain is None else rain
    return [found.tolist() for found in carried(water, TREE, rain, thirst, years, whole, shares,
                                                RULES)]


def test_steady_water_is_shared_out_to_the_last_tree():
    """Each tree wants 3.1416 L a day and the zone keeps steady water whole: 100 L carry 31."""
    assert counts(np.full(DAYS, 0.1)) == [[31]]


def test_half_of_the_want_is_given_to_more_trees():
    """In balance each tree gets all the water there is; 100 L are half the want of 63 trees."""
    assert counts(np.full(DAYS, 0.1), shares=(1.0, 0.5)) == [[31], [63]]


def test_one_storm_is_kept_only_as_far_as_the_root_zone_has_room():
    """3.14 m2 x 1.2 m x 130 mm/m is 0.490 m3 a tree; a year's want is 1.147 m3.

    One huge storm therefore gives nobody more than 0.490 m3, 43 % of the want, and with half of
    the want as the least it carries none; a quarter of the want, 0.287 m3 a tree, it does: from
    13 m3 no more than 45.
    """
    room = root_zone_room(TREE.area, RULES)
    assert room / (TREE.area * 0.365) == pytest.approx(0.427, abs=1e-3)
    water = np.zeros(DAYS)
    water[0] = 13.0
    full, half, quarter = counts(water, shares=(1.0, 0.5, 0.25))
    assert full == half == [0]
    assert 40 <= quarter[0] <= 45  # the zone is not quite empty at the year's end


def test_where_rain_is_enough_the_water_is_asked_for_none():
    """3 mm of rain a day on a want of 1 mm: with any water or with none no number is told."""
    wet = np.full(DAYS, 3.0)
    assert counts(np.zeros(DAYS), rain=wet) == counts(np.ones(DAYS), rain=wet) == [[RAIN_ALONE]]


def test_rain_that_gives_half_is_enough_for_half_and_for_no_more():
    """0.6 mm a day on a want of 1 mm leaves 0.4 x 3.1416 L a tree: 100 L a day carry 79 at
    most, and few less, for the root zones begin empty."""
    rain = np.full(DAYS, 0.6)
    full, half = counts(np.full(DAYS, 0.1), rain=rain, shares=(1.0, 0.5))
    assert 76 <= full[0] <= 79
    assert half == [RAIN_ALONE]


def test_a_great_water_carries_as_many_as_it_does():
    """50 m3 a day, each tree wanting 3.1416 L: 15,915 trees at most, and 1 % less for the root
    zones that begin empty; counted, not cut short."""
    assert 15_700 <= counts(np.full(DAYS, 50.0))[0][0] <= 15_915
    assert counts(np.full(DAYS, 1e6)) == [[MOST_TREES]]


def test_no_water_carries_no_tree():
    assert counts(np.zeros(DAYS)) == [[0]]


waters = st.lists(st.floats(0, 3), min_size=24, max_size=24)


def spread(storms):
    water = np.zeros(2 * DAYS)
    water[::31][:24] = storms
    return water


@settings(max_examples=25)
@given(waters, waters)
def test_more_runoff_never_carries_fewer_trees(storms, more):
    years = np.repeat([2011, 2012], DAYS)
    thirst = np.full(2 * DAYS, 4.0)
    water = spread(storms)
    fewer = counts(water, shares=(1.0, 0.5), thirst=thirst, years=years, whole=(2011, 2012))
    greater = counts(water + spread(more), shares=(1.0, 0.5), thirst=thirst, years=years,
                     whole=(2011, 2012))
    assert (np.array(greater) >= np.array(fewer)).all()
    assert (np.array(fewer[1]) >= np.array(fewer[0])).all()


@settings(max_examples=25)
@given(waters, st.floats(1, 3))
def test_larger_trees_are_never_more(storms, times):
    years = np.repeat([2011, 2012], DAYS)
    thirst = np.full(2 * DAYS, 4.0)
    small, large = (carried(spread(storms), Kind("", crown, 0.5), np.zeros(2 * DAYS), thirst,
                            years, (2011, 2012), (0.5,), RULES)[0]
                    for crown in (2.0, 2.0 * times))
    assert (large <= small).all()


def test_trees_beside_a_swale_are_a_kind_too_and_tree_basins_name_theirs_first():
    def place(name, tree=None, stand=None):
        return SimpleNamespace(work=SimpleNamespace(name=name, tree=None), tree=tree, stand=stand)

    def beside(crown):
        return TreeStand("row", 5, crown, 0.5, "", 60.0, 0.5)

    bowl = SimpleNamespace(crown=3.0, factor=0.5)
    found = kinds_of([place("swale", stand=beside(3.0)), place("orchard", tree=bowl),
                      place("other", stand=beside(4.0))], RULES)
    assert [(kind.name, kind.crown) for kind in found] == [("orchard", 3.0), ("row", 4.0)]


def test_the_typical_years_are_ranked():
    """Of 1 to 9 the median is the 5th, and two of ten lie below the 2nd (Weibull 1939)."""
    assert typical(np.arange(1, 10)) == (5.0, 2.0)
    assert typical(np.arange(1, 5)) == (2.0, None)  # too few for one in five
    assert typical(np.array([7])) == (7.0, None)
