"""Designed ground on planes and valleys, against solids in closed form and published volumes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from planes import plane
from published import published, rows
from shapely import box
from shapely.geometry import LineString, Point

from terrain.surface.terrain import Terrain
from terrain.works.crescent import crescent_at
from terrain.works.cross_section import (
    Berm,
    Section,
    area_on_slope,
    bank_area,
    berm_end,
    earth_across,
    earth_at_sill,
    section_of,
)
from terrain.works.designed_ground import Grid, along, grid_over, patch_of
from terrain.works.drain import describe, design_section
from terrain.works.drain import finish as finish_drain
from terrain.works.footprints import swale_footprint
from terrain.works.ground_of_bank import wall_shapes
from terrain.works.ground_of_drain import drain_shape
from terrain.works.ground_of_pit import pit_of
from terrain.works.ground_of_swale import floor_at, swale_shape
from terrain.works.ground_of_trees import tree_shape
from terrain.works.lie import lie_of
from terrain.works.return_end import return_end
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import finish
from terrain.works.swale_checks import check_volume, checks_of
from terrain.works.tree_basin import TreeShape, bowl
from terrain.works.wall import design_wall
from terrain.works.wall_and_pit import design_wall_and_pit

FOOT = 0.3048
RULES = Rulebook()
LEVEL_GROUND = plane(0.0, size=80)  # 100 m high everywhere


def swale_on(slope=0.05, bearing=0.0, length=40.0, section=None, checks=None, **more):
    """A straight swale through the middle of a plane that rises on its left, and the plane."""
    way = np.array([math.cos(math.radians(bearing)), math.sin(math.radians(bearing))])
    dem = formula_dem(lambda x, y: 100 + slope * ((y - 50) * way[0] - (x - 50) * way[1]),
                      100, 100, 1.0)
    middle = np.array([50.0, 50.0])
    line = np.array([middle - length / 2 * way, middle + length / 2 * way])
    route = SwaleLine(line, 100.0, 0.0, slope, slope)
    section = section or Section("trapezoid", 0.3, 0.6, 2.0)
    ties = checks_of(route, section, RULES, checks)[0]
    sill = Sill(100.0, 4.0, 0.05, 0.0, 1.7)
    return dem, finish(dem, route, section, sill, 50.0, 50.0, RULES, ties, **more)


# --- the grid and places by a line

def test_a_grid_covers_its_bounds_on_whole_cells_of_the_origin():
    grid = grid_over((3.1, 4.2, 7.9, 9.0), 0.5, (1.0, 20.0))
    assert (grid.left, grid.top) == (3.0, 9.0)
    assert (grid.rows, grid.columns) == (10, 10)
    part = grid.part(*grid.window((4.0, 5.0, 5.0, 6.0)))
    assert part.x[0] <= 4.25 <= 4.75 <= part.x[-1]


@given(st.floats(-15, 15), st.floats(-8, 8))
def test_places_by_a_straight_line(ahead, left):
    grid = Grid(ahead - 0.05, left + 0.05, 0.1, 1, 1)
    found = along(np.array([[-5.0, 0.0], [0.0, 0.0], [5.0, 0.0]]), grid, 100.0)
    assert found.chainage[0, 0] == pytest.approx(min(max(ahead, -5), 5) + 5, abs=1e-9)
    assert found.off[0, 0] == pytest.approx(left, abs=1e-9)
    assert found.past[0, 0] == pytest.approx(max(abs(ahead) - 5, 0), abs=1e-9)
    assert found.distance[0, 0] == pytest.approx(
        Point(ahead, left).distance(LineString([(-5, 0), (5, 0)])), abs=1e-6)


def test_out_of_reach_is_unknown():
    grid = Grid(0.0, 10.0, 1.0, 10, 10)
    found = along(np.array([[0.0, 0.5], [10.0, 0.5]]), grid, 2.0)
    assert np.isnan(found.chainage[:7]).all()
    assert np.isfinite(found.chainage[8:]).all()


# --- pits and bowls: prism, frustum, cone

def test_an_upright_pit_is_a_prism():
    shape = pit_of(LEVEL_GROUND, box(20, 20, 32, 28), 100.0, 1.5, 0.0, "pit")
    assert patch_of(LEVEL_GROUND, shape, 0.1).cut == pytest.approx(12 * 8 * 1.5)


def test_a_straight_sided_pit_is_the_handbooks_dugout():
    """USDA Agriculture Handbook 590, 1997 (printed values from memory, recomputed): 88 by 148 ft,
    12 ft deep, 2:1, holds 2,762 m3 by the prismoidal rule, which is exact for it."""
    want = next(float(row["printed"]) for row in rows("ah590_pond_examples.csv")
                if row["quantity"] == "same, metric")
    shape = pit_of(LEVEL_GROUND, box(10, 10, 10 + 88 * FOOT, 10 + 148 * FOOT), 100.0, 12 * FOOT,
                   2.0, "dugout")
    assert patch_of(LEVEL_GROUND, shape, 0.1).cut == pytest.approx(want, rel=1e-3)


# Frustum pi d / 3 (R2 + R r + r2); a cone where the floor has shrunk to a point.
@pytest.mark.parametrize(("depth", "floor"), [(0.5, 2.0), (1.5, 0.0)])
def test_a_round_pit_is_a_frustum_or_a_cone(depth, floor):
    radius, batter = 3.0, (3.0 - floor) / depth
    rim = Point(40, 40).buffer(radius, quad_segs=90)
    patch = patch_of(LEVEL_GROUND, pit_of(LEVEL_GROUND, rim, 100.0, depth, batter, "pit"), 0.05)
    assert patch.cut == pytest.approx(
        math.pi * depth / 3 * (radius**2 + radius * floor + floor**2), rel=2e-3)
    assert patch.fill == 0
    assert patch.design.min() == pytest.approx(100 - depth, abs=0.05 / batter)


def test_a_bowl_is_dug_as_its_curve_says():
    curve = bowl(3.0, 0.25, 100.0, RULES)
    tree = TreeShape("bowl", 40.0, 40.0, 3.0, 0.5, "", "", 0.25, curve,
                     Point(40, 40).buffer(1.5), 100.0, 40.0, 38.5, curve.capacity)
    patch = patch_of(LEVEL_GROUND, tree_shape(LEVEL_GROUND, tree, "tree", RULES), 0.02)
    # A mound is left, 0.5 m across at its top 0.05 m over the sill, sides 1:1: below the sill a
    # frustum of 0.3 and 0.55 m radius, 0.25 m high; above it is heaped on this level ground.
    mound = np.pi * 0.25 / 3 * (0.3**2 + 0.3 * 0.55 + 0.55**2)
    cap = np.pi * 0.05 / 3 * (0.3**2 + 0.3 * 0.25 + 0.25**2)
    assert patch.cut == pytest.approx(curve.capacity - mound, rel=3e-3)
    assert patch.fill == pytest.approx(cap, rel=0.02)


# --- banks

def wall_in(ground, crest=103.0, width=80.0):
    """A wall at y = 50 across ground that is level along y for 20 m on both sides of it, rises
    beyond that upstream, and falls downstream."""
    dem = formula_dem(lambda x, y: (ground(x) + 0.3 * np.maximum(y - 70, 0)
                                    + 0.2 * np.minimum(y - 30, 0)), 100, 100, 0.5)
    ends = [(50.0 - width / 2, 50.0), (50.0 + width / 2, 50.0)]
    return dem, design_wall(Terrain(dem), ends, crest, crest - 1.0, RULES, "wall")


def test_a_wall_across_a_valley_is_the_end_areas_summed():
    """A V of 1 in 10, 3 m deep: twice the sum of b h + (w + d) h2 / 2 over heights that fall
    evenly to nothing over 30 m, b H L + (w + d) H2 L / 3, the wall built higher by what it
    settles."""
    dem, made = wall_in(lambda x: 100 + 0.1 * np.abs(x - 50))
    wall = made.profile
    assert wall is not None
    high = 3.0 * (1 + wall.settlement)
    exact = 30 * (wall.top * high + (wall.wet_slope + wall.dry_slope) * high**2 / 3)
    patch = patch_of(dem, wall_shapes(dem, made, "wall")[0], 0.2)
    assert patch.fill == pytest.approx(exact, rel=5e-3)
    assert wall.earth_built == pytest.approx(exact, rel=5e-3)
    assert patch.cut == 0
    built = patch.design[patch.change > 0].max()
    assert built == pytest.approx(103.0 + 3.0 * wall.settlement, abs=0.03)


@pytest.mark.parametrize("settles", [0.001, 0.1])
def test_a_fresh_bank_leaves_its_pool_less_by_its_settling_alone(settles):
    """A 1 in 10 V that rises 0.05: what stands of the bank in the water, less what the settled
    one takes of the pool; by the integral of the water over V and fresh face on cells of 5 cm."""
    dem = formula_dem(lambda x, y: 100 + 0.1 * abs(x - 50) + 0.05 * (y - 50), 100, 100, 1.0)
    made = design_wall(Terrain(dem), [(10.0, 50.0), (90.0, 50.0)], 103.0, 102.0,
                       Rulebook({"wall settlement": settles}), "wall")
    patch = patch_of(dem, wall_shapes(dem, made, "wall")[0], 0.2)
    y = patch.top - (np.arange(patch.ground.shape[0])[:, None] + 0.5) * patch.cell
    under = np.minimum(patch.design, 102.0) - np.minimum(patch.ground, 102.0)
    taken = float(np.nansum(np.where(y > 50, under, 0.0))) * patch.cell**2
    x, y = np.meshgrid(np.arange(0.025, 30, 0.05), np.arange(0.025, 40, 0.05))
    high = np.maximum(3.0 - 0.1 * x, 0.0)
    wall = made.profile
    fresh = 3.0 + settles * high - np.maximum(y - wall.top / 2, 0.0) / wall.wet_slope
    ground = 0.1 * x + 0.05 * y
    held = 2 * float(np.maximum(2.0 - np.maximum(ground, fresh), 0.0).sum()) * 0.05**2
    assert made.gross - taken == pytest.approx(held, rel=0.01)
    if settles > 0.01:
        assert held < 0.97 * made.storage
    else:
        assert held == pytest.approx(made.storage, rel=0.01)


def test_the_surface_is_the_prismoid_between_stations_and_end_areas_say_more():
    """Stations, heights and end areas of the constructed embankment; between two stations of
    heights h and k average end areas overstate the prismoid by (m + n) (h - k)2 L / 12."""
    stations, heights, areas = (np.array(column) * unit for column, unit in zip(
        zip(*published("embankment_volume_constructed.csv"), strict=True),
        (FOOT, FOOT, FOOT**2), strict=True))
    over = float((5 * np.diff(heights)**2 * np.diff(stations) / 12).sum())
    by_end_areas = float(np.trapezoid(areas, stations))
    cell = 0.1
    grid = Grid(-2.0, 16.0, cell, 320, round((stations[-1] + 4) / cell))
    place = along(np.array([[0.0, 0.0], [stations[-1], 0.0]]), grid, 16.0)
    high = np.interp(grid.x, stations, heights)[None, :]
    slope = np.where(place.off > 0, 3.0, 2.0)
    bank = high - np.maximum(np.abs(place.off) - 3 * FOOT, 0.0) / slope
    bank = np.where((place.past == 0) & (high > 0), np.maximum(bank, 0.0), 0.0)
    assert by_end_areas == pytest.approx(516.07, abs=0.01)
    assert np.nansum(bank) * cell**2 == pytest.approx(by_end_areas - over, rel=2e-3)


def test_the_spillway_is_cut_level_at_the_sill_beside_the_wall():
    dem, made = wall_in(lambda x: 100 + 0.1 * np.abs(x - 50))
    bank, spillway = wall_shapes(dem, made, "wall")
    assert spillway.part == "spillway"
    patch = patch_of(dem, spillway, 0.25)
    assert patch.fill == 0
    assert patch.cut > 0
    assert patch.design[patch.change < 0].min() == pytest.approx(made.sill.level)
    assert bank.sill is not None
    assert np.hypot(*(bank.sill[1] - bank.sill[0])) == pytest.approx(made.sill.length)


def test_a_wall_with_a_pit_shows_both():
    dem, _ = wall_in(lambda x: 100 + 0.1 * np.abs(x - 50))
    rim = [(46.0, 66.0), (54.0, 66.0), (54.0, 72.0), (46.0, 72.0)]
    made = design_wall_and_pit(Terrain(dem), [(10.0, 50.0), (90.0, 50.0)], 103.0, 102.0, rim, 1.0,
                               2.0, RULES, "pond")
    patch = patch_of(dem, wall_shapes(dem, made, "pond")[0], 0.2)
    assert patch.cut == pytest.approx(made.pit, rel=0.01)
    assert patch.fill == pytest.approx(made.profile.earth_built, rel=0.02)


# --- swales

@pytest.mark.parametrize("slope", [0.02, 0.06, 0.12])
def test_a_swale_on_a_plane_is_its_section_times_its_length(slope):
    dem, swale = swale_on(slope, 27.0)
    patch = patch_of(dem, swale_shape(dem, swale, "swale"))
    assert patch.cut == pytest.approx(40 * area_on_slope(0.3, 0.6, 2.0, slope), rel=3e-3)
    assert patch.cut == pytest.approx(swale.cut, rel=3e-3)
    # Ends turned uphill and ends at the sill are approximated where the ground slopes.
    assert patch.fill == pytest.approx(swale.berm, rel=0.01)


def test_halving_the_cell_halves_the_error_and_more():
    """Of sampling at cell centres, and twice in turn; root mean square over bearings, as the error
    at one alone may be small by luck."""
    off = {}
    for cell in (0.8, 0.2):
        found = []
        for bearing in (7.0, 11.0, 19.0, 27.0, 39.0, 52.0, 63.0, 78.0):
            dem, swale = swale_on(0.05, bearing)
            patch = patch_of(dem, swale_shape(dem, swale, "swale"), cell)
            found.append(patch.cut - 40 * area_on_slope(0.3, 0.6, 2.0, 0.05))
        off[cell] = np.sqrt(np.mean(np.square(found)))
    assert off[0.2] < off[0.8] / 4


@pytest.mark.parametrize("made", [section_of("parabola", 0.3, None, 2.0, 0.6),
                                  section_of("vee", 0.4, None, 2.0, 0.6),
                                  Section("trapezoid", 0.3, 0.8, 0.0)])
def test_every_section_is_drawn_as_it_is_counted(made):
    dem, swale = swale_on(0.05, 0.0, section=made)
    patch = patch_of(dem, swale_shape(dem, swale, "swale"), 0.05)
    assert patch.cut == pytest.approx(swale.cut, rel=5e-3)
    assert patch.design.min() == pytest.approx(100 - made.depth, abs=0.03)


@given(st.floats(-1, 4), st.sampled_from(["trapezoid", "parabola", "vee"]))
def test_the_floor_drawn_is_the_floor_counted(x, kind):
    section = section_of(kind, 0.3, None, 2.0, 0.6)
    wide = section.top_width()
    found = float(floor_at(section, np.array([x]))[0])
    if 0 <= x <= wide:
        piece = next(p for p in section.floor() if p.start - 1e-12 <= x <= p.end + 1e-12)
        assert found == pytest.approx(piece.at(x), abs=1e-9)
    else:
        assert found == pytest.approx(max(-x, x - wide) / section.side_slope)


def test_checks_are_left_standing():
    dem, swale = swale_on(0.05, 0.0, checks=10.0)
    plain_dem, plain = swale_on(0.05, 0.0)
    cut = patch_of(dem, swale_shape(dem, swale, "swale"), 0.05).cut
    without = patch_of(plain_dem, swale_shape(plain_dem, plain, "swale"), 0.05).cut
    assert len(swale.checks) == 3
    assert without - cut == pytest.approx(check_volume(swale.checks), rel=0.01)


def test_the_berm_is_left_out_along_the_sill_and_turned_uphill_at_its_ends():
    dem, swale = swale_on(0.05, 0.0)
    shape = swale_shape(dem, swale, "swale")
    crest = 100 + swale.berm_height_built
    ridge = -swale.berm_side_slope * swale.berm_height_built - swale.berm_top / 2

    def level(x, y):
        grid = Grid(50 + x - 0.005, 50 + y + 0.005, 0.01, 1, 1)
        return float(shape.made(grid, grid.heights(dem))[0, 0])

    assert level(10.0, ridge) == pytest.approx(crest)
    assert level(0.0, ridge) == pytest.approx(100 + 0.05 * ridge, abs=1e-4)  # the ground
    assert level(0.0, -0.01) == pytest.approx(100.0, abs=1e-3)
    past = 20 - ridge
    up = swale.berm_height_built / 0.05
    assert level(past, up - 0.5) == pytest.approx(crest, abs=1e-3)
    assert level(past, up + 0.5) == pytest.approx(crest + 0.025, abs=1e-3)  # the ground again
    assert swale.returns[0].uphill == pytest.approx(up, rel=1e-3)


@pytest.mark.parametrize("slope", [0.002, 0.01, 0.03])
def test_sections_footprint_and_surface_agree_where_the_crest_is_not_met(slope):
    """One reach for all, 6 m at most, on ground that rises too little to meet the crest there."""
    dem, swale = swale_on(slope, 0.0)
    assert [end.uphill for end in swale.returns] == [6.0, 6.0]
    patch = patch_of(dem, swale_shape(dem, swale, "swale"), 0.05)
    assert patch.fill == pytest.approx(swale.berm, rel=0.01)
    heaped = patch.design > patch.ground + 1e-3
    top = patch.top - patch.cell * int(np.flatnonzero(heaped.any(axis=1))[0]) - 50
    side, tip = swale.berm_side_slope, swale.berm_height_built - 6 * slope
    out = (swale.berm_top / 2 + side * tip) / (1 + side * slope)  # from its tip to the ground
    assert top == pytest.approx(6 + out, abs=0.1)
    assert swale_footprint(swale, dem)[1].bounds[3] - 50 == pytest.approx(6 + out, abs=0.05)


# --- closed forms of a berm's ends, against sums over fine cells

@settings(max_examples=20)
@given(st.floats(0.15, 0.5), st.floats(0.3, 0.9), st.sampled_from([2.0, 3.0]),
       st.floats(0.0, 0.1), st.floats(2.0, 12.0))
def test_an_end_turned_uphill_on_a_plane(height, top, side, slope, longest):
    berm = Berm(height, top, side)
    end = return_end(berm, slope, longest)
    cell = 0.03
    x = np.arange(0, end.beyond + side * (height + 1) + top, cell) + cell / 2
    y = np.arange(-3 * end.beyond - 1, end.uphill + end.beyond + side * height, cell) + cell / 2
    past, upward = np.meshgrid(x, y)
    straight = np.hypot(np.maximum(past - end.beyond, 0), upward + end.beyond)
    turned = np.hypot(past - end.beyond,
                      upward - np.clip(upward, -end.beyond, end.uphill))
    level = height - np.maximum(np.minimum(straight, turned) - top / 2, 0) / side
    volume = float(np.maximum(level - slope * upward, 0).sum()) * cell**2
    assert end.uphill == pytest.approx(min(height / max(slope, 1e-9), longest))
    assert end.tip == pytest.approx(max(height - slope * longest, 0.0), abs=1e-9)
    assert end.volume == pytest.approx(volume, rel=0.01)


def test_a_square_end_with_no_height_saves_nothing():
    section = Section("trapezoid", 0.3, 0.6, 2.0)
    assert berm_end(section, Berm(1e-9, 0.6, 2.0), 0.0, 0.0) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(0.1, 0.6), st.floats(0.2, 1.0))
def test_a_sloping_end_on_level_ground_saves_its_wedge(height, top):
    """Of b h + z h2 a sloping end keeps the sum, over its run z h, of the section cropped at
    t h: with width B = b + 2 z h at the foot, z (B h2 / 2 - z h3 / 3)."""
    side = 2.0
    found = berm_end(Section("trapezoid", 0.3, 0.6, 2.0), Berm(height, top, side), 0.0, 0.0)
    wide = top + 2 * side * height
    keeps = side * (wide * height**2 / 2 - side * height**3 / 3)
    full = bank_area(height, top, side, side) * side * height
    assert found == pytest.approx(keeps - full, rel=1e-6)


def test_at_the_sill_ground_above_its_level_is_taken_off_and_below_it_made_up():
    section = Section("trapezoid", 0.3, 0.6, 2.0)
    level = earth_at_sill(section, 2.0, 2.0, 0.0, 0.05)
    assert level.cut == pytest.approx(area_on_slope(0.3, 0.6, 2.0, 0.05))
    assert level.berm == pytest.approx(0.0, abs=1e-12)
    # Ground 5 cm high and level across: 2 m of it downhill of the lip.
    above = earth_at_sill(section, 2.0, 2.0, 0.05, 0.0)
    usual = earth_across(section, Berm(0.2, 0.6, 2.0), 0.05, 0.0)
    assert above.cut - usual.cut == pytest.approx(2.0 * 0.05 - 0.05 * 0.1 / 2)
    below = earth_at_sill(section, 2.0, 2.0, -0.05, 0.0)
    assert below.berm == pytest.approx(2 * 0.05 * 0.1 / 2)  # a lip 2:1 on both sides


# --- drains and crescents

@pytest.mark.parametrize(("above", "banked"), [(0.0, False), (-0.15, True), (0.1, False)])
def test_a_drain_and_its_bank_are_drawn_as_they_are_counted(above, banked):
    dem = formula_dem(lambda x, y: 50 + 0.08 * (y - 40), 120, 80, 1.0)
    line = np.array([[30.0, 40.0], [90.0, 40.0]])
    route = describe(dem, line, 50.0 - above, 0.0, "")
    section = design_section(0.01, 0.003, RULES, "bare", True, 0.4, 0.3, 2.0)
    drain = finish_drain(route, section, RULES)
    patch = patch_of(dem, drain_shape(dem, drain, "drain"), 0.04)
    assert patch.cut == pytest.approx(drain.cut, rel=4e-3)
    assert (drain.bank > 0) == banked
    assert patch.fill == pytest.approx(drain.bank, rel=5e-3, abs=1e-3)


def test_a_drains_bank_brings_its_lip_up_and_settles():
    dem = formula_dem(lambda x, y: 50 + 0.0 * y, 120, 80, 1.0)
    route = describe(dem, np.array([[30.0, 40.0], [90.0, 40.0]]), 50.2, 0.0, "")
    drain = finish_drain(route, design_section(0.01, 0.003, RULES, "bare", True, 0.4, 0.3, 2.0),
                         RULES)
    built = 0.2 * (1 + RULES["berm settlement"])
    top = RULES["drain bank top width"]
    # Level ground: the bank over the ground, its wet side down to the floor 0.1 m below the ground.
    assert drain.bank == pytest.approx(60 * bank_area(built, top, 2.0, 2.0), rel=1e-6)


@pytest.mark.parametrize("depth", [0.15, 0.09])
def test_a_crescent_is_drawn_as_it_is_counted(depth):
    dem = plane(0.05, 180.0, 0.5, 80)
    made = crescent_at(dem, 20.0, 20.0, 3.0, depth, lie_of(dem, 20.0, 20.0, 3.0), RULES)
    tree = TreeShape("crescent", 20.0, 20.0, 3.0, 0.5, "", "", depth, made.curve,
                     Point(20, 20).buffer(1.5), made.level, 0.0, 0.0, made.bund, made.bund,
                     crescent=made)
    patch = patch_of(dem, tree_shape(dem, tree, "tree", RULES))
    assert patch.cut == 0
    assert patch.fill == pytest.approx(made.bund, rel=0.03)
    ends = dem.height_at(*made.ridge[[0, -1]].T)
    assert ends == pytest.approx(made.level, abs=2e-3)  # on the tips' contour
