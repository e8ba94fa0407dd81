"""Walls of earth: their profile and earth, where water gets round them, their spillways.

The V-valley and its closed forms are those of `test_basin.py`: along a wall across it the ground
falls |x| / m, so that with its crest c above the floor the wall is 2 c m long, and its heights
run straight from c to 0 on both sides.
"""

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from published import published, rows

from terrain.errors import InputError
from terrain.surface.terrain import Terrain
from terrain.works.lining import permissible
from terrain.works.rules import Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.sill import Sill, design_sill, head_for_flow
from terrain.works.spillway import lining_words, sill_velocity, spillway
from terrain.works.wall import design_wall, measured, outflanking, slope_cautions
from terrain.works.wall_profile import bank_area_of, bank_volume, top_width, wall_profile

FOOT, YARD = 0.3048, 0.9144
FALL, SIDE = 0.05, 4.0


def valley(cell=0.5, size=144.0, height=None):
    ground = height or (lambda x, y: FALL * y + abs(x) / SIDE)
    return Terrain(formula_dem(ground, size, size, cell, -size / 2, -size / 2))


def across(half=20.0):
    return [(-half, 0.0), (half, 0.0)]


# End areas of banks on level ground: geometry of the tables of USDA Agriculture Handbook 590, 1997.
def test_end_areas_are_those_of_the_handbooks_tables():
    for row in rows("embankment_end_areas.csv"):
        height, top, both = (float(row[name]) for name in
                             ("height_ft", "top_width_ft", "sum_of_slopes"))
        area = bank_area_of(np.array([height]), top, both / 2, both / 2)[0]
        assert area == pytest.approx(float(row["area_ft2"]), abs=0.005)


# Constructed: stations 50 ft apart, top 6 ft, sides 3:1 and 2:1; 675 yd3 by average end areas.
def test_a_bank_by_average_end_areas():
    stations, heights, areas = np.array(published("embankment_volume_constructed.csv")).T
    assert bank_area_of(heights, 6, 3, 2) == pytest.approx(areas)
    assert bank_volume(stations, heights, 6, 3, 2) / 27 == pytest.approx(675.0)
    # With 5 % for settlement: heights of 4.2, 8.4 and 5.25 ft, by hand.
    built = [(6 + 2.5 * h) * h for h in (4.2, 8.4, 5.25)]
    assert bank_volume(stations, heights * 1.05, 6, 3, 2) == pytest.approx(50 * sum(built))


@pytest.mark.parametrize("crest", [1.5, 2.45, 3.2])
def test_earth_trench_and_topsoil_of_a_wall_across_a_v_valley(crest):
    rules = Rulebook({"wall settlement": 0.05})
    x = np.linspace(-20, 20, 2001)
    profile = wall_profile(x + 20, abs(x) / SIDE, crest, rules)
    top, both = (2.4 if crest > 3.048 else 1.8), 5.5
    for share, volume in ((1.0, profile.earth), (1.05, profile.earth_built)):
        high = crest * share
        exact = SIDE / share * (top * high**2 + both * high**3 / 3)
        assert volume == pytest.approx(exact, rel=1e-4)
    # Under the wall topsoil 0.15 m deep, and a trench 0.6 m deep with a floor of 1.2 m, sides 1:1.
    covered = SIDE * (2 * top * crest + both * 1.05 * crest**2)
    assert profile.footprint == pytest.approx(covered, rel=2e-3)
    assert profile.topsoil == pytest.approx(0.15 * profile.footprint)
    assert profile.cutoff == pytest.approx((1.2 + 0.6) * 0.6 * 2 * crest * SIDE, rel=5e-3)
    assert profile.fill == pytest.approx(profile.earth_built + profile.cutoff + profile.topsoil)
    assert profile.built.max() == pytest.approx(1.05 * crest)
    assert profile.built.min() == pytest.approx(crest)  # where no bank stands none settles


def test_net_storage_follows_the_closed_form_at_every_level():
    """Ground level along the valley for 12 m: m (12 d^2 + d^3 / (3 s)) less
    m (T d^2 / 2 + w (d^3 / 3 + f d^2)), f = c - d; areas are its slope."""
    crest, top, wet, level = 2.45, 1.8, 3.0, 12.0
    terrain = valley(height=lambda x, y: (FALL * np.maximum(y - level, 0) + abs(x) / SIDE
                                          + FALL * np.minimum(y + 12, 0)))
    curve = design_wall(terrain, across(), crest, None, Rulebook(), "pond").curve
    for deep in (1.0, 1.5, 2.0):
        gross = SIDE * (level * deep**2 + deep**3 / (3 * FALL))
        net = gross - SIDE * (top * deep**2 / 2 + wet * (deep**3 / 3 + (crest - deep) * deep**2))
        area = SIDE * (2 * level * deep + deep**2 / FALL)
        slope = area - SIDE * (top * deep + wet * (2 * crest * deep - 2 * deep**2))
        held = np.interp(deep, curve.levels, curve.volumes)
        # Within a hundredth of what a thin wall would hold, for the creases that cells cut off.
        assert held == pytest.approx(net, abs=0.01 * gross)
        assert curve.area_at(held) == pytest.approx(slope, abs=0.02 * area)


@pytest.mark.parametrize(("fall", "side", "crest"), [(0.04, 12.5, 1.2), (0.04, 12.5, 2.0),
                                                     (0.15, 4.0, 2.4)])
def test_on_ground_that_rises_behind_it_the_bank_takes_less_of_the_pool(fall, side, crest):
    """By the integral of the water over ground and bank, on cells of 2 cm."""
    step, deep = 0.02, crest - 0.45
    x, y = np.meshgrid(np.arange(0, side * deep, step) + step / 2,
                       np.arange(0, deep / fall, step) + step / 2)
    ground, bank = fall * y + x / side, crest - np.maximum(y - 0.9, 0) / 3
    exact = 2 * np.maximum(deep - np.maximum(ground, bank), 0).sum() * step**2
    terrain = valley(height=lambda x, y: fall * y + abs(x) / side)
    half = side * crest + 2
    basin = design_wall(terrain, across(half), crest, None, Rulebook(), "pond")
    assert basin.storage == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("crest", [1.5, 2.45])
def test_the_pool_ends_on_the_banks_face_not_at_a_thin_wall(crest):
    """By the plan's geometry: a 1.8 m top and a 3:1 face reach the sill, 0.45 m below the crest,
    at 0.9 + 3 x 0.45 = 2.25 m from the centreline.  From there up a V-valley that rises 0.05 the
    pool is a triangle as long as its depth there / 0.05, and twice 4 times that depth wide."""
    basin = design_wall(valley(), across(), crest, None, Rulebook(), "pond")
    deep, edge = crest - 0.45, 0.9 + 3 * 0.45
    assert (basin.profile.top, basin.profile.wet_slope) == (pytest.approx(1.8), 3)
    assert basin.pool_area == pytest.approx(SIDE * (deep - FALL * edge)**2 / FALL, rel=0.02)
    assert basin.gross_area == pytest.approx(SIDE * deep**2 / FALL, rel=0.02)
    assert basin.pool_area == pytest.approx(basin.curve.areas[-1])


def test_the_deepest_water_stands_before_the_banks_wet_foot_not_under_its_body():
    """On the valley's floor the ground rises 0.05 y and the bank's face falls c - (y - 0.9) / 3:
    they meet at y = (c + 0.3) / (0.05 + 1/3), 7.17 m, where the ground is 0.36 m over the wall's
    lowest point, so the water is less deep than against the wall.  Cells cut off the V's crease."""
    basin = design_wall(valley(), across(), 2.45, None, Rulebook(), "pond")
    foot = FALL * (2.45 + 0.3) / (FALL + 1 / 3)
    assert basin.water_at_wall - basin.deepest_water == pytest.approx(foot, abs=0.03)
    floor, a_slice = basin.sill.level - basin.deepest_water, np.diff(basin.curve.levels)[0]
    assert floor - a_slice - 1e-6 <= basin.curve.floor <= floor + 1e-6
    assert any(words.startswith(f"Water {basin.deepest_water:.2f} m") and "drown" in words
               for words in basin.cautions)


@pytest.mark.parametrize("cell", [1.0, 0.5])
def test_a_wall_drawn_longer_into_the_hill_changes_nothing(cell):
    """Its crest meets the ground at 4 c from the middle; from there on nothing stands."""
    from dataclasses import replace

    from terrain.works.ground_of_bank import spillway_floor, with_spillway

    terrain = valley(cell)
    found = []
    for half in (9.9, 12.0, 30.0):
        made = design_wall(terrain, across(half), 2.45, None, Rulebook(), "pond")
        made = with_spillway(terrain.dem, replace(made, sill=replace(made.sill, length=6.0)))
        assert (abs(made.sill_x), made.sill_y) == pytest.approx((2.45 * SIDE, 0.0), abs=0.01)
        _, lip = spillway_floor(terrain.dem, made)
        assert abs(lip[0, 0]) == pytest.approx(2.45 * SIDE + 0.9, abs=0.01)
        found.append((made.spillway, made.topsoil, made.profile.fill, made.storage))
    assert found[1] == pytest.approx(found[0], rel=0.01)
    assert found[2] == pytest.approx(found[0], rel=0.01)


def test_the_spillway_goes_to_the_end_with_lower_ground_past_it():
    """Past x = 10 the ground rises 1 in 2 on one side, 1 in 10 on the other."""
    for way in (1, -1):
        terrain = valley(height=lambda x, y, way=way: FALL * y + abs(x) / SIDE + 0.35 * np.maximum(
            way * x - 10, 0))
        made = design_wall(terrain, across(14.0), 2.45, None, Rulebook(), "pond")
        assert made.sill_x * way < 0


@pytest.mark.parametrize(("y", "told"), [(-71.5, True), (-40.0, False)])
def test_a_bank_that_runs_off_the_raster_is_told(y, told):
    """The raster ends at y = -72; the dry foot lies 0.9 m and 2.5 times 2.7 m from the line."""
    made = design_wall(valley(1.0), [(-20.0, y), (20.0, y)], FALL * y + 2.45, None, Rulebook(),
                       "pond")
    assert any("its foot lies" in words for words in made.cautions) == told


def test_buried_lines_are_told_once_in_the_words_of_other_works():
    made = design_wall(valley(), across(14.0), 2.45, None, Rulebook(), "pond")
    assert made.cautions.count(buried_lines(Rulebook())) == 1


# Top widths of NRCS conservation practice standard 378, by total height, in the published table.
def test_top_widths_are_those_of_the_practice_standard():
    rules = Rulebook()
    table = [row for row in rows("practice_standards.csv") if row["standard"] == "378 Pond"
             and row["item"] == "minimum top width of embankment"]
    for row, height in zip(table, (2.9, 4.0, 5.5, 7.0), strict=False):  # up to 7.6 m
        width, rule = top_width(height, rules)
        assert width == pytest.approx(float(row["value_si"]), abs=0.06)  # rules: whole decimetres
        assert rules[rule] == width
    assert top_width(3.048, rules)[0] > top_width(3.047, rules)[0]
    assert top_width(4.0, Rulebook({"wall top width": 3.0}))[0] == 3.0  # never narrower than lower


def test_side_slopes_are_held_against_the_practice_standard():
    """378: together 5:1 or flatter, neither steeper than 2:1 (one state: 2.5:1 on the wet side)."""
    table = {row["item"]: row["value"] for row in rows("practice_standards.csv")}
    assert table["sum of upstream and downstream side slopes (settled), minimum"] == "5"
    x = np.linspace(0, 40, 81)

    def said(wet, dry):
        rules = Rulebook({"wall wet slope": wet, "wall dry slope": dry})
        return slope_cautions(wall_profile(x, abs(x - 20) / 4, 2, rules), rules)
    assert said(3, 2.5) == said(3, 2) == said(2.5, 2.5) == []
    assert len(said(2.5, 2)) == 1
    assert "5:1 is the least" in said(2.5, 2)[0]
    assert len(said(1.5, 1.5)) == 3


def test_rock_stops_the_cut_off_trench():
    x = np.linspace(0, 40, 81)
    shallow = wall_profile(x, abs(x - 20) / 4, 2, Rulebook(), rock=0.4)
    assert shallow.cutoff_depth == pytest.approx(0.4 - 0.15)
    basin = design_wall(valley(1.0), across(), 2.45, None, Rulebook(), "pond", rock=0.4)
    assert any("clean the rock" in words for words in basin.cautions)


@pytest.mark.parametrize("half", [8.5, 9.0, 9.2])
def test_water_gets_round_the_lower_end_where_ground_stands_below_the_crest(half):
    """The wall ends at ground half / 4 above the floor; water rising beside it gets round there."""
    basin = design_wall(valley(), across(half), 2.45, None, Rulebook(), "pond")
    found = basin.outflank
    assert found.level == pytest.approx(half / SIDE, abs=0.15)  # a cell beyond the end: 0.125 m
    assert found.level >= half / SIDE - 0.01
    assert abs(found.x) == pytest.approx(half, abs=1.0)
    assert abs(found.y) < 1.5
    words = outflanking(basin, valley().dem)
    assert "below the crest" in words
    assert "design peak" not in words


@pytest.mark.parametrize(("x", "y", "level"), [(14.0, 15.0, 2.3), (-16.0, 6.0, 2.15)])
def test_a_saddle_to_another_valley_is_found_where_it_lies(x, y, level):
    """A notch through the valley's side, highest at the saddle, falls away beyond it."""
    def ground(east, north):
        notch = level - 0.03 * abs(east - x) + 0.5 * np.maximum(abs(north - y) - 1, 0)
        side = FALL * north + abs(east) / SIDE
        return np.where(east * x > 0, np.minimum(side, notch), side)
    found = design_wall(valley(height=ground), across(), 2.45, None, Rulebook(), "pond").outflank
    assert found.level == pytest.approx(level, abs=0.03)
    assert (found.x, found.y) == pytest.approx((x, y), abs=1.0)


def test_a_wall_tied_into_high_ground_is_not_got_round():
    basin = design_wall(valley(), across(), 2.45, None, Rulebook(), "pond")
    assert basin.outflank is None
    assert outflanking(basin, valley().dem) is None


def test_ground_below_the_water_of_the_design_peak_is_told_the_harder():
    from dataclasses import replace

    basin = design_wall(valley(), across(8.5), 2.45, None, Rulebook(), "pond")
    deep = replace(basin, sill=Sill(2.0, 4.0, 0.4, 0.5, 1.7))
    assert "below the water of the design peak" in outflanking(deep, valley().dem)


@settings(max_examples=12)
@given(st.floats(1.0, 2.9), st.floats(1.0, 2.9))
def test_a_higher_crest_never_stores_less(first, second):
    low, high = sorted([first, second])
    terrain = valley(1.0)
    lower, higher = (design_wall(terrain, across(), crest, None, Rulebook(), "pond")
                     for crest in (low, high))
    assert higher.gross >= lower.gross
    assert higher.storage >= lower.storage - 1e-9
    assert higher.wall >= lower.wall


def test_a_wall_over_a_hole_in_the_raster_is_refused():
    terrain = valley(1.0, height=lambda x, y: np.where(np.hypot(x - 3, y) < 3, np.nan,
                                                       FALL * y + abs(x) / SIDE))
    with pytest.raises(InputError, match="has no height"):
        design_wall(terrain, across(), 2.45, None, Rulebook(), "pond")


# Chow, Open-Channel Hydraulics, 1959, ch. 3: Q = 1.7046 L H^1.5, critical depth 2 H / 3.
@pytest.mark.parametrize(("length", "head", "flow", "critical"),
                         published("broad_crested_weir.csv"))
def test_velocity_on_the_sill_is_flow_over_the_critical_section(length, head, flow, critical):
    assert sill_velocity(head, 1.7046) == pytest.approx(flow / (length * critical), rel=1e-3)
    # At critical depth the velocity is that of a small wave: v^2 = g y.
    assert sill_velocity(head, 1.7046) ** 2 == pytest.approx(9.80665 * critical, rel=1e-3)


@given(st.floats(0.001, 20.0), st.floats(0.5, 60.0), st.floats(0.5, 60.0))
def test_a_longer_sill_never_raises_the_head(flow, first, second):
    short, long = sorted([first, second])
    assert head_for_flow(flow, long) <= head_for_flow(flow, short)
    rules = Rulebook()
    free = [spillway(design_sill(10.0, flow, 0.15, rules, length), 11.0, rules).freeboard
            for length in (short, long)]
    assert free[1] >= free[0]


# USDA SCS-TP-61, 1954: grass mixtures on erodible soil, bed slope to 5 %, 4 ft/s.
# Fortier & Scobey, 1926: sandy loam, clear water, 1.75 ft/s (from memory).
def test_what_bears_the_water_on_the_sill():
    rules = Rulebook()
    grass = {row["cover"]: row["erodible_0_5pct"] for row in rows("vegetated_channel_velocity.csv")}
    assert permissible("grass", 0.0, True, rules)[0] == pytest.approx(
        float(grass["grass mixtures, reed canarygrass"]) * FOOT, abs=0.02)
    assert permissible("bare", 0.0, True, rules)[0] == pytest.approx(1.75 * FOOT, abs=0.005)
    for head, lining in ((0.04, "bare"), (0.05, "grass"), (0.15, "grass"), (0.30, "stone")):
        made = spillway(Sill(10.0, 5.0, head, 1.0, 1.7), 10.45, rules)
        assert made.lining == lining  # 0.51, 0.57, 0.99 and 1.40 m/s
        assert made.freeboard == pytest.approx(0.45 - head)
        assert ("line the sill" in lining_words(made, rules)) == (lining == "stone")
    assert spillway(Sill(10.0, 5.0, 0.1, 1.0, 1.7), None, rules).freeboard is None


def test_a_broad_bank_that_fills_its_pool_is_told_or_refused():
    """A hollow 0.3 m deep behind a bank whose top alone is 1.8 m wide (Handbook 590, 1997)."""
    high = design_wall(valley(1.0), across(), 2.45, None, Rulebook(), "pond")
    assert not any("fills its pool" in words for words in high.cautions)
    with pytest.raises(InputError, match="bank fills its pool"):
        design_wall(valley(1.0), across(), 0.75, 0.3, Rulebook(), "pond")


@pytest.mark.parametrize(("crest", "says"), [
    (203.0 / 0.3048, "feet taken as metres: write it with its unit, 203.00 m"),
    (203.0 * 0.3048, "metres taken as feet: write it with its unit, 203.00 m")])
def test_a_crest_in_another_unit_is_told(crest, says):
    terrain = Terrain(formula_dem(lambda x, y: 200 + 0.1 * abs(x - 50) + 0.02 * y, 100, 100, 1.0))
    with pytest.raises(InputError, match=says):
        measured(terrain.dem, [(30.0, 50.0), (70.0, 50.0)], crest, crest - 0.5, Rulebook(),
                 "--wall")
