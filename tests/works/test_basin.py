"""Basins: the pool behind a wall against a valley in closed form, and dug shapes.

The valley: its floor rises with slope s away from the wall, its sides rise 1 in m.  With
water d deep at the wall, the section at a distance y upstream is a triangle h = d - s y deep
and 2 m h wide, of area m h^2.  The pool ends at y = d / s, so

    gross storage = integral of m (d - s y)^2 dy from 0 to d / s = m d^3 / (3 s),
    pool area     = integral of 2 m (d - s y) dy                 = m d^2 / s.

Along the wall line the ground falls |x| / m, so the bank, with its crest at c above the floor,
top width T and side slopes w and e, is (level ground across each section)

    wall  = 2 integral of T h + (w + e) h^2 / 2 dx, h = c - x / m, x from 0 to c m
          = m (T c^2 + (w + e) c^3 / 3).
"""

import itertools

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from published import rows
from scipy.integrate import quad

from terrain.errors import InputError
from terrain.surface.terrain import Terrain
from terrain.works.designed_ground import patch_of
from terrain.works.dug import design_dug
from terrain.works.ground_of_pit import pit_shape
from terrain.works.pool import flood
from terrain.works.rules import Rulebook
from terrain.works.wall import design_wall, sill_below

FOOT, YARD = 0.3048, 0.9144
FALL, SIDE, DEEP = 0.05, 4.0, 2.0
GROSS = SIDE * DEEP**3 / (3 * FALL)
POOL = SIDE * DEEP**2 / FALL


def valley(cell, bearing=0.0, size=144.0):
    """The valley with its floor rising at a bearing from its lowest ground at the origin."""
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    half = size / 2
    return Terrain(formula_dem(
        lambda x, y: FALL * (x * east + y * north) + abs(x * north - y * east) / SIDE,
        size, size, cell, -half, -half))


def wall(bearing=0.0, half=20.0):
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    return [(-half * north, half * east), (half * north, -half * east)]


def storage_errors(bearing):
    cells = (4.0, 2.0, 1.0, 0.5)
    pools = [flood(valley(cell, bearing), wall(bearing), DEEP, "basin") for cell in cells]
    return [abs(pool.curve.capacity / GROSS - 1) for pool in pools], pools[-1]


@pytest.mark.parametrize("bearing", [0.0, 90.0, 180.0, 333.0])
def test_gross_storage_behind_a_wall_nears_the_closed_form_as_cells_shrink(bearing):
    errors, finest = storage_errors(bearing)
    assert errors[1] < 0.06  # 2 m
    assert errors[2] < 0.02  # 1 m
    assert errors[3] < 0.005  # 0.5 m
    assert all(fine < coarse / 2 for coarse, fine in itertools.pairwise(errors))
    assert finest.curve.areas[-1] == pytest.approx(POOL, rel=0.01)
    assert finest.outline.area == pytest.approx(finest.curve.areas[-1])
    assert not finest.beside_void


@pytest.mark.parametrize("cell", [4.0, 2.0, 1.0])
def test_a_wall_holds_at_any_bearing_and_wherever_it_meets_the_cells(cell):
    """Every 15 degrees, through the corners of cells and beside them."""
    for bearing in range(0, 360, 15):
        for shift in (0.0, 0.4 * cell):
            line = [(x + shift, y + shift / 2) for x, y in wall(bearing)]
            east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
            floor = FALL * (shift * east + shift / 2 * north)  # the wall moved up or down it
            deep = DEEP - floor
            pool = flood(valley(cell, bearing), line, DEEP, "basin")
            assert pool.curve.capacity == pytest.approx(SIDE * deep**3 / (3 * FALL),
                                                        rel=0.05 * cell)


def test_the_curve_follows_the_closed_form_at_every_level():
    """Depth d x share at the wall: volume goes with its cube, area with its square."""
    curve = flood(valley(0.5), wall(), DEEP, "basin").curve
    share = np.array([0.25, 0.5, 0.75, 1.0])
    volumes = np.interp(share * DEEP, curve.levels, curve.volumes)
    areas = np.interp(share * DEEP, curve.levels, curve.areas)
    assert volumes == pytest.approx(GROSS * share**3, abs=0.01 * GROSS)
    assert areas == pytest.approx(POOL * share**2, abs=0.01 * POOL)


def test_volumes_of_the_curve_are_its_areas_summed():
    curve = flood(valley(1.0), wall(), DEEP, "basin").curve
    summed = np.trapezoid(curve.areas, curve.levels)
    assert summed == pytest.approx(curve.capacity, rel=2e-3)  # areas go up by steps of a cell
    assert curve.volumes[0] == 0


@settings(max_examples=15)
@given(st.floats(0.3, 2.4), st.floats(0.3, 2.4))
def test_a_higher_sill_never_holds_less(first, second):
    low, high = sorted([first, second])
    terrain = valley(1.0)
    lower, higher = (flood(terrain, wall(), level, "basin").curve for level in (low, high))
    assert higher.capacity >= lower.capacity
    assert higher.areas[-1] >= lower.areas[-1]
    for curve in (lower, higher):
        assert (np.diff(curve.volumes) >= 0).all()
        assert (np.diff(curve.areas) >= 0).all()
    # The larger pool's curve passes through the smaller pool.
    assert np.interp(low, higher.levels, higher.volumes) == pytest.approx(
        lower.capacity, rel=0.02, abs=0.02)


@pytest.mark.parametrize("bearing", [0.0, 130.0])
def test_bank_and_net_storage_match_the_closed_form(bearing):
    rules = Rulebook()
    free = rules["basin freeboard"] + rules["spillway head"]
    crest = DEEP + free
    top, wet, dry = rules["wall top width"], rules["wall wet slope"], rules["wall dry slope"]
    basin = design_wall(valley(0.5, bearing), wall(bearing), crest, None, rules, "basin")
    assert basin.sill.level == sill_below(crest, rules) == pytest.approx(DEEP)
    earth = SIDE * (top * crest**2 + (wet + dry) * crest**3 / 3)
    # Half the valley, on cells of 2 cm: what of the water the bank's wet side takes.
    x, y = np.meshgrid(np.arange(0.01, SIDE * DEEP, 0.02), np.arange(0.01, 12, 0.02))
    ground, bank = FALL * y + x / SIDE, crest - np.maximum(y - top / 2, 0) / wet
    in_pool = 2 * 0.02**2 * (np.maximum(DEEP - ground, 0)
                             - np.maximum(DEEP - np.maximum(ground, bank), 0)).sum()
    assert basin.wall == pytest.approx(earth, rel=0.003)
    assert basin.gross == pytest.approx(GROSS, rel=0.005)
    assert basin.gross - basin.storage == pytest.approx(in_pool, rel=0.005)
    assert basin.curve.capacity == pytest.approx(basin.storage)
    assert basin.height == pytest.approx(crest, abs=0.1)  # the crease is cut by the raster
    assert basin.water_at_wall == pytest.approx(DEEP, abs=0.1)


@pytest.mark.parametrize(("deep", "said", "unsaid"), [
    (2.0, ["this is a dam", "can drown a child"], ["The bank itself fills"]),
    (1.2, ["the rules for dams apply", "can drown a child"], ["this is a dam"]),
    # By the integral over ground and bank on cells of 1 cm: 1.98 of 3.33 m3, 60 %.
    (0.5, ["The bank itself fills 6"], ["dams apply", "a dam", "drown"])])
def test_deep_water_and_a_pool_full_of_bank_are_cautioned(deep, said, unsaid):
    basin = design_wall(valley(0.5), wall(), deep + 0.45, None, Rulebook(), "basin")
    cautions = " ".join(basin.cautions)
    assert all(words in cautions for words in said)
    assert not any(words in cautions for words in unsaid)


def test_a_wall_whose_bank_leaves_no_pool_is_refused():
    with pytest.raises(InputError, match=r"the bank fills its pool: of 0.2 m³"):
        design_wall(valley(0.5), wall(), 0.65, None, Rulebook(), "basin")


def test_a_wall_too_short_is_refused_at_its_end():
    with pytest.raises(InputError, match=r"basin: the ground at the wall's end .* water would run "
                       "round it. Lengthen the wall"):
        design_wall(valley(1.0), wall(half=5.0), DEEP + 0.45, None, Rulebook(), "basin")


def test_water_that_gets_round_an_end_is_refused():
    """Both ends stand high enough, but a gap beside the wall lets the water by."""
    terrain = Terrain(formula_dem(
        lambda x, y: FALL * y + abs(x) / SIDE - 6.0 * np.exp(-((x - 26.0) / 4.0)**2), 140, 140,
        1.0, -70, -70))
    with pytest.raises(InputError, match="gets round an end of the wall"):
        flood(terrain, wall(), 5.0, "basin")


def test_a_wall_along_the_fall_holds_nothing_or_lets_the_water_round():
    plane = Terrain(formula_dem(lambda x, y: 0.05 * y, 100, 100, 1.0))
    with pytest.raises(InputError):
        flood(plane, [(50.0, 20.0), (50.0, 60.0)], 2.0, "basin")


def test_a_sill_below_the_ground_is_refused():
    with pytest.raises(InputError, match="is not above the ground on the wall's line"):
        flood(valley(1.0), wall(), -0.5, "basin")


def test_a_sill_above_the_crest_is_refused():
    with pytest.raises(InputError, match="is not below the crest"):
        design_wall(valley(1.0), wall(), 2.0, 2.5, Rulebook(), "basin")


def test_a_pool_that_runs_off_the_raster_is_refused():
    with pytest.raises(InputError, match="runs on beyond"):
        flood(valley(1.0, size=60.0), wall(half=29.0), 5.5, "basin")


def level_ground(size=70.0, height=10.0):
    return Terrain(formula_dem(lambda x, y: np.full_like(x, height), size, size, 1.0))


# USDA Agriculture Handbook 590 (1997), excavated pond: 12 ft deep, bottom 40 by 100 ft, sides
# 2:1, so 88 by 148 ft at the top; 3,612 yd3 by the prismoidal rule.  From memory, recomputed.
def test_the_dugout_of_agriculture_handbook_590():
    printed = {row["quantity"]: row["printed"] for row in rows("ah590_pond_examples.csv")}
    wide, long = 88 * FOOT, 148 * FOOT
    rim = [(10, 10), (10 + long, 10), (10 + long, 10 + wide), (10, 10 + wide)]
    basin = design_dug(level_ground(), rim, 12 * FOOT, 2.0, Rulebook(), "pond")
    assert basin.cut / YARD**3 == pytest.approx(
        float(printed["volume (A+4B+C)/6 x D/27"].replace(",", "")), abs=0.5)
    assert basin.storage == pytest.approx(float(printed["same, metric"].replace(",", "")), abs=0.5)
    assert basin.curve.areas[-1] / FOOT**2 == pytest.approx(13024)  # A
    assert basin.curve.areas[0] / FOOT**2 == pytest.approx(4000)  # C
    assert basin.curve.area_at(np.interp(10 - 6 * FOOT, basin.curve.levels, basin.curve.volumes)
                               ) / FOOT**2 == pytest.approx(31744 / 4)  # B
    # Average end areas overstate the same pit; the printed figure shows by how much.
    both_ends = (basin.curve.areas[0] + basin.curve.areas[-1]) / 2 * 12 * FOOT
    assert both_ends / YARD**3 == pytest.approx(3783, abs=0.5)


@settings(max_examples=40)
@given(st.floats(4, 30), st.floats(4, 30), st.floats(0.2, 2), st.floats(0, 3))
def test_a_dug_rectangle_is_a_prismoid(long, wide, depth, batter):
    """V = d (L W - z d (L + W) + 4 z^2 d^2 / 3) for a rim L by W."""
    rim = [(12, 12), (12 + long, 12), (12 + long, 12 + wide), (12, 12 + wide)]
    if min(long, wide) - 2 * batter * depth < 0.01:
        if min(long, wide) - 2 * batter * depth < -0.01:
            with pytest.raises(InputError, match="meet before they are"):
                design_dug(level_ground(), rim, depth, batter, Rulebook(), "pond")
        return
    basin = design_dug(level_ground(), rim, depth, batter, Rulebook(), "pond")
    exact = depth * (long * wide - batter * depth * (long + wide)
                     + 4 * batter**2 * depth**2 / 3)
    assert basin.storage == pytest.approx(exact, rel=1e-6)
    assert basin.cut == pytest.approx(exact, rel=1e-6)
    assert basin.wall == 0


def test_on_a_slope_the_pit_fills_to_its_lowest_rim_and_the_bank_above_is_dug_too():
    """A rim 20 m up a 5 % slope and 12 m across: water at its foot, 0.5 m mean above."""
    slope = Terrain(formula_dem(lambda x, y: 0.05 * y, 60, 60, 0.5))
    rim = [(20, 20), (32, 20), (32, 40), (20, 40)]
    basin = design_dug(slope, rim, 1.0, 1.0, Rulebook(), "pond")
    assert basin.sill.level == pytest.approx(1.0, abs=1e-6)
    assert basin.sill_y == pytest.approx(20.0)
    held = 1.0 * (20 * 12 - 1.0 * 32 + 4 / 3)
    assert basin.storage == pytest.approx(held, rel=1e-6)
    assert basin.cut - basin.storage == pytest.approx(above_on_a_plane(12, 20, 0.05, 1.0), rel=1e-3)
    assert any("beyond the drawn shape" in caution for caution in basin.cautions)


def above_on_a_plane(wide, long, slope, batter):
    """Earth above the lowest rim of a rectangle that lies `long` up a plane, in closed form.

    Within the rim the wedge of the plane.  Where the side stands h below the rim and the ground
    goes on up at g, it is h^2 / (2 k), k = 1 / z - g: on top h = s long, g = s, along the sides
    h = s y, g = 0.  Round each upper corner, in the direction t, h^3 / (6 k^2) with g = s sin t.
    """
    high = slope * long
    top = wide * high**2 / 2 / (1 / batter - slope)
    sides = 2 * batter * slope**2 * long**3 / 6
    round_one = quad(lambda t: (1 / batter - slope * np.sin(t))**-2, 0, np.pi / 2)[0]
    corners = 2 * high**3 / 6 * round_one
    return wide * long * high / 2 + top + sides + corners


@pytest.mark.parametrize(("slope", "batter"), [(0.05, 3.0), (0.2, 1.0), (0.2, 3.0), (0.28, 3.0)])
def test_a_pit_on_a_slope_reaches_on_up_until_its_sides_meet_the_rising_ground(slope, batter):
    """10 m by 10 m and 1 m deep; at 20 % and 3:1 five times the prismoid."""
    plane = Terrain(formula_dem(lambda x, y: slope * y, 160, 160, 1.0))
    basin = design_dug(plane, [(75, 65), (85, 65), (85, 75), (75, 75)], 1.0, batter, Rulebook(),
                       "pond")
    exact = 100 - batter * 20 + 4 * batter**2 / 3 + above_on_a_plane(10, 10, slope, batter)
    assert basin.cut == pytest.approx(exact, rel=3e-3)
    patch = patch_of(plane.dem, pit_shape(plane.dem, basin, "pond"))
    assert patch.cut == pytest.approx(exact, rel=3e-3)


@pytest.mark.parametrize(("slope", "batter", "remedy"), [
    (0.3, 3.0, r"Draw its sides at 1\.9:1 or steeper, or move it to ground .* less than 20%"),
    (0.4, 3.0, r"Draw its sides at 1\.4:1"), (0.6, 2.0, r"Draw its sides at 0\.9:1")])
def test_a_pit_whose_sides_hardly_meet_the_ground_is_refused(slope, batter, remedy):
    plane = Terrain(formula_dem(lambda x, y: slope * y, 160, 160, 1.0))
    rim = [(75, 65), (85, 65), (85, 75), (75, 75)]
    with pytest.raises(InputError, match=rf"pond: .* rises {slope:.0%}, too steep .*{remedy}"):
        design_dug(plane, rim, 1.0, batter, Rulebook(), "pond")
    assert design_dug(plane, rim, 1.0, 0.5 / slope, Rulebook(), "pond").cut > 0


def test_a_hill_behind_level_ground_is_none_of_a_pits_business():
    """Sides of 3:1 and, 6 m beyond the rim, a bank as steep as 1:1."""
    hill = Terrain(formula_dem(lambda x, y: np.maximum(y - 46, 0.0), 60, 60, 1.0))
    rim = [(20, 20), (40, 20), (40, 40), (20, 40)]
    made = design_dug(hill, rim, 1.0, 3.0, Rulebook(), "pond")
    assert made.cut == pytest.approx(made.storage, rel=1e-6)


def test_a_pit_whose_sides_run_off_the_raster_is_told():
    plane = Terrain(formula_dem(lambda x, y: 0.1 * y, 60, 60, 1.0))
    near = design_dug(plane, [(20, 38), (40, 38), (40, 58), (20, 58)], 1.0, 3.0, Rulebook(), "pond")
    assert any("not counted" in words for words in near.cautions)
    far = design_dug(plane, [(20, 18), (40, 18), (40, 38), (20, 38)], 1.0, 3.0, Rulebook(), "pond")
    assert not any("not counted" in words for words in far.cautions)


def test_a_shape_that_crosses_itself_is_refused():
    with pytest.raises(InputError, match="crosses itself or has no area"):
        design_dug(level_ground(), [(10, 10), (20, 20), (20, 10), (10, 20)], 1.0, 1.0, Rulebook(),
                   "pond")
