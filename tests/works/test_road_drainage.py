"""Where roads let water go, against the published spacings and profiles of known form."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.works.road_drainage import road_outlets, road_spacing


@pytest.mark.parametrize(("kind", "grades", "resistant", "erodible"), [
    ("cross-drain", (0, 3), 120, 75), ("cross-drain", (4, 6), 90, 50),
    ("cross-drain", (7, 9), 75, 40), ("cross-drain", (10, 12), 60, 35),
    ("cross-drain", (13, 25), 50, 30),
    ("water bar", (0, 5), 75, 40), ("water bar", (6, 10), 60, 30),
    ("water bar", (11, 15), 45, 20), ("water bar", (16, 20), 35, 15)])
def test_spacing_is_the_published_one(kind, grades, resistant, erodible):
    """Low-Volume Roads Engineering, US Forest Service and USAID, 2003, Tables 7.1 and 7.2."""
    for grade in grades:
        assert road_spacing(kind, grade / 100, False) == resistant
        assert road_spacing(kind, -grade / 100, True) == erodible


@pytest.mark.parametrize("kind", ["cross-drain", "water bar"])
@given(low=st.floats(0, 0.3), more=st.floats(0, 0.1))
def test_steeper_and_softer_roads_want_more(kind, low, more):
    assert road_spacing(kind, low + more, True) <= road_spacing(kind, low, True)
    assert road_spacing(kind, low, True) < road_spacing(kind, low, False)


def test_a_kind_that_is_not_in_the_tables():
    with pytest.raises(KeyError):
        road_spacing("bridge", 0.05, True)


def along(length, step=1.0):
    return np.arange(0.0, length + step / 2, step)


def test_a_straight_grade_has_an_outlet_every_spacing():
    """8 % on erodible soil, 40 m apart at most: 220 m in six equal parts, the last at the foot."""
    x = along(220)
    found = road_outlets(x, 100 - 0.08 * x, True, 0.1)
    assert [outlet.chainage for outlet in found] == pytest.approx(
        [220 / 6 * part for part in range(1, 7)], abs=1)
    assert found[1].grade == pytest.approx(0.08, rel=1e-6)
    assert found[1].spacing == 40
    assert not found[1].foot
    assert found[-1].foot


def test_direction_of_drawing_does_not_matter():
    x = along(220)
    down = road_outlets(x, 100 - 0.08 * x, True, 0.1)
    up = road_outlets(x, 100 - 0.08 * (220 - x), True, 0.1)
    assert sorted(220 - outlet.chainage for outlet in up) == pytest.approx(
        [outlet.chainage for outlet in down], abs=1e-6)


def test_a_dip_gathers_from_both_sides_and_a_crest_parts():
    """Down 5 % for 100 m, up 5 % for 100 m, down 5 % for 60 m: resistant soil, every 90 m."""
    x = along(260)
    height = np.where(x < 100, -0.05 * x, np.where(x < 200, -5 + 0.05 * (x - 100),
                                                   -0.05 * (x - 200)))
    found = road_outlets(x, height, False, 0.1)
    assert [outlet.chainage for outlet in found] == pytest.approx([50, 100, 150, 260], abs=3)
    assert [outlet.foot for outlet in found] == [False, True, False, True]
    assert (found[1].start, found[1].end) == (found[0].chainage, found[2].chainage)
    assert found[2].end == found[3].start == pytest.approx(200, abs=3)


@given(st.integers(0, 10_000), st.booleans())
def test_every_metre_of_road_drains_to_one_outlet(seed, erodible):
    """Stretches follow one another without gap or overlap, whatever the profile."""
    rng = np.random.default_rng(seed)
    x = along(float(rng.integers(30, 400)))
    height = np.cumsum(rng.normal(0, 0.06, x.size)) + 0.5 * np.sin(x / rng.uniform(8, 60))
    found = road_outlets(x, height, erodible, 0.1)
    assert found[0].start == 0
    assert found[-1].end == x[-1]
    for before, after in pairwise(found):
        assert before.end == pytest.approx(after.start, abs=1e-9)
    longest = 75 if erodible else 120
    for outlet in found:
        assert outlet.start <= outlet.chainage <= outlet.end
        assert outlet.end - outlet.start <= (2 if outlet.foot else 1) * longest + 1 + 1e-6


def test_roughness_makes_no_outlets():
    x = along(100)
    smooth = road_outlets(x, -0.05 * x, True, 0.1)
    rough = road_outlets(x, -0.05 * x + 0.02 * np.sin(3 * x), True, 0.1)
    assert len(rough) == len(smooth)


def test_a_road_of_one_point_has_none():
    assert road_outlets(np.zeros(1), np.zeros(1), True, 0.1) == []
