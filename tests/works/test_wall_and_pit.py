"""A wall with a pit behind it: what it holds, what is cut, and the depth that balances."""

import functools

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from terrain.errors import InputError
from terrain.surface.terrain import Terrain
from terrain.works.pit import pit_in
from terrain.works.rules import Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.wall import design_wall
from terrain.works.wall_and_pit import design_wall_and_pit

CREST = 1.5


@functools.cache
def box_valley():
    """A floor 40 m wide that rises 1 in 25 up the valley, between sides of 1 in 2."""
    return Terrain(formula_dem(
        lambda x, y: 0.04 * y + np.maximum(abs(x) - 20, 0) / 2, 160, 160, 1.0, -80, -80))


WALL = [(-26.0, 0.0), (26.0, 0.0)]
PIT = [(-18.0, 11.0), (18.0, 11.0), (18.0, 24.0), (-18.0, 24.0)]


def made(depth=None, rim=PIT, batter=2.0, rules=None, rock=None, wall=WALL):
    return design_wall_and_pit(box_valley(), wall, CREST, None, rim, depth, batter,
                               rules or Rulebook(), "pond", rock)


@pytest.mark.parametrize(("depth", "batter"), [(1.0, 2.0), (1.3, 3.0), (0.8, 0.0)])
def test_the_pit_adds_just_its_own_volume_to_the_pool(depth, batter):
    """All of it lies under the full pool, whose ground was counted once already."""
    alone = design_wall(box_valley(), WALL, CREST, None, Rulebook(), "pond")
    both = made(depth, batter=batter)
    assert both.gross - alone.gross == pytest.approx(both.pit, rel=0.01)
    assert both.storage - alone.storage == pytest.approx(both.pit, rel=0.01)
    assert both.pool_area == pytest.approx(alone.pool_area, rel=1e-3)
    assert both.curve.levels[0] == pytest.approx(0.44 - depth, abs=0.02)
    assert both.wall == alone.wall


def test_the_cut_is_the_prismoid_and_the_slope_above_it():
    """A rim 36 m by 13 m on ground that rises 0.52 m over it: below its low side a prismoid; above
    it 0.26 m mean over the rim, and outside it wedges of 2:1 up to the ground.  Up the valley that
    wedge meets rising ground: 0.52 m high, it is 0.52 / (1 / 2 - 0.04) wide."""
    depth = 1.0
    prismoid = depth * (36 * 13 - 2 * depth * 49 + 16 * depth**2 / 3)
    above = 36 * 13 * 0.26 + 36 * 0.52**2 / 2 / (1 / 2 - 0.04) + 2 * (0.04**2 * 13**3 / 3)
    corners = 2 * 0.52**3 * 4 * np.pi / 4 / 3  # quarter cones of a 0.52 m side
    assert made(depth).pit == pytest.approx(prismoid + above + corners, rel=0.004)


def level_ground():
    return Terrain(formula_dem(lambda x, y: np.full_like(x, 5.0), 60, 60, 1.0, -30, -30)).dem


@settings(max_examples=8)
@given(st.floats(8, 30), st.floats(8, 30), st.floats(0.3, 1.3), st.floats(0, 3))
def test_on_level_ground_the_cut_is_a_prismoid(long, wide, depth, batter):
    """V = d (L W - z d (L + W) + 4 z^2 d^2 / 3)."""
    rim = Polygon([(0, 0), (long, 0), (long, wide), (0, wide)])
    exact = depth * (long * wide - batter * depth * (long + wide) + 4 * batter**2 * depth**2 / 3)
    if batter * depth < 0.98 * min(long, wide) / 2:
        pit = pit_in(level_ground(), rim, batter, "pit")
        assert pit.cut(depth) == pytest.approx(exact, rel=0.005)


@pytest.mark.parametrize(("batter", "depth"), [(2.0, 1.5), (1.0, 3.0), (3.0, 3.0)])
def test_a_round_pit_is_the_frustum_of_a_cone(batter, depth):
    """V = pi d (R^2 + R r + r^2) / 3 with r = R - z d; a cone where r is 0."""
    rim = Point(0, 0).buffer(9.0, quad_segs=64)
    low = 9.0 - batter * depth
    exact = np.pi * depth * (81 + 9 * low + low**2) / 3
    assert pit_in(level_ground(), rim, batter, "pit").cut(depth) == pytest.approx(exact, rel=0.005)


@pytest.mark.parametrize("share", [0.85, 0.9])
def test_left_out_the_depth_makes_the_usable_cut_equal_the_fill(share):
    rules = Rulebook({"compacted per bank": share})
    both = made(rules=rules)
    assert both.balanced
    assert both.usable * share == pytest.approx(both.fill, rel=1e-6)
    assert both.spare(rules) == pytest.approx(0, abs=1e-3)
    assert both.cut == pytest.approx(both.usable + both.topsoil)
    stated = made(both.pit_depth, rules=rules)
    assert not stated.balanced
    assert (stated.pit, stated.storage) == pytest.approx((both.pit, both.storage))
    # Deeper leaves earth over, shallower lacks some.
    assert made(both.pit_depth + 0.1, rules=rules).spare(rules) > 1
    assert made(both.pit_depth - 0.1, rules=rules).spare(rules) < -1


@settings(max_examples=4)
@given(st.floats(0.2, 1.6), st.floats(0.2, 1.6))
def test_a_deeper_pit_never_holds_less_nor_takes_less_digging(first, second):
    shallow, deep = (made(depth) for depth in sorted([first, second]))
    assert deep.pit >= shallow.pit
    assert deep.storage >= shallow.storage - 1e-9


@pytest.mark.parametrize(("rim", "depth", "said"), [
    ([(-12, 3), (12, 3), (12, 20), (-12, 20)], 1.0, "into the foot of the wall"),
    ([(-12, 35), (12, 35), (12, 45), (-12, 45)], 0.2, "does not lie in the pool"),
    ([(-12, -50), (12, -50), (12, -30), (-12, -30)], 1.0, "does not lie in the pool"),
    ([(-12, 11), (12, 24), (12, 11), (-12, 24)], 1.0, "crosses itself"),
    ([(-2, 11), (2, 11), (2, 24), (-2, 24)], 1.5, "meet before they are"),
    ([(-4, 11), (4, 11), (4, 19), (-4, 19)], None, "wanting for the wall")])
def test_pits_that_cannot_be_are_refused(rim, depth, said):
    with pytest.raises(InputError, match=said):
        made(depth, rim=rim)


def test_a_pit_into_rock_is_refused_and_one_above_it_is_not():
    """The floor ends 2 m within the rim, under ground 0.44 m above its low side."""
    with pytest.raises(InputError, match="rock is said to be at 1"):
        made(1.0, rock=1.35)
    assert made(1.0, rock=1.6).pit > 0


def test_a_pit_near_the_wall_is_cautioned():
    """The bank's foot lies 0.9 m and 3 times 1.65 m, 5.85 m, from the line."""
    near = made(1.0, rim=[(-12, 8), (12, 8), (12, 20), (-12, 20)])
    assert any("comes within" in words for words in near.cautions)
    assert not any("comes within" in words for words in made(1.0).cautions)
    assert near.cautions.count(buried_lines(Rulebook())) == 1


def test_the_spillways_earth_is_told_beside_a_balanced_pit():
    """The pit alone is balanced; what is left over is the spillway's usable cut, compacted."""
    from dataclasses import replace

    from terrain.plan.water.basin_facts import earth_words
    from terrain.works.ground_of_bank import with_spillway

    rules, both = Rulebook(), made()
    whole = with_spillway(box_valley().dem, replace(both, sill=replace(both.sill, length=5.0)))
    usable = whole.spillway - (whole.topsoil - both.topsoil)
    assert usable > 1
    assert whole.spare(rules) == pytest.approx(usable * rules["compacted per bank"], abs=1e-3)
    said = " ".join(earth_words(whole, rules))
    assert "so that pit and trench give what the bank takes. What its spillway gives" in said
    assert f"{whole.spare(rules):,.0f} m³" in said
