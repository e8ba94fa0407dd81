"""Designed ground on coarser cells: it holds what it should, and lets no water by."""

from __future__ import annotations

import math

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from planes import plane
from shapely import LineString
from shapely.geometry import Point

from terrain.plan.earth.designed import designed_dem
from terrain.works.crescent import crescent_at
from terrain.works.cross_section import section_of
from terrain.works.designed_ground import Grid
from terrain.works.dug import design_dug
from terrain.works.ground_of_bank import wall_shapes
from terrain.works.ground_of_pit import pit_shape
from terrain.works.ground_of_swale import swale_shape
from terrain.works.ground_of_trees import tree_shape
from terrain.works.infiltration_trench import trench_curve, trench_outline
from terrain.works.lie import lie_of
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.swale import SwaleLine, line_cells
from terrain.works.swale_built import finish
from terrain.works.swale_checks import checks_of
from terrain.works.tree_basin import TreeShape, bowl
from terrain.works.watertight import pool_cells, stored

RULES = Rulebook()


def hill(slope, bearing, size=80):
    """A plane that rises on the left of a bearing, 100 m high in its middle; and that bearing."""
    way = np.array([math.cos(math.radians(bearing)), math.sin(math.radians(bearing))])
    half = size / 2
    return formula_dem(lambda x, y: 100 + slope * ((y - half) * way[0] - (x - half) * way[1]),
                       size, size, 1.0), way


def swale_in(slope, bearing, bend=0.0, checks=None, kind="trapezoid"):
    dem, way = hill(slope, bearing)
    left = np.array([-way[1], way[0]])
    along = np.linspace(-15, 15, 31)
    # Off its contour by no more than a hair, so that its bends are all that is not straight.
    line = np.array([40.0, 40.0]) + along[:, None] * way + (
        bend * np.cos(along / 5))[:, None] * left
    route = SwaleLine(line, 100.0, abs(bend) * slope, slope, slope)
    section = section_of(kind, 0.35, None, 2.0, 0.6)
    ties = checks_of(route, section, RULES, checks)[0]
    return dem, finish(dem, route, section, Sill(100.0, 4.0, 0.05, 0.0, 1.7), 40.0, 40.0, RULES,
                       ties)


def bank_under_water(height, top, wet_slope, depth):
    """Closed form: area of a bank's water side, from its centreline, under water `depth` deep. [m2]
    """
    depth = max(min(depth, height), 0.0)
    return top / 2 * depth + wet_slope * (height * depth - depth * depth / 2)


def designed(dem, shape, cell):
    """The designed ground of a work and 3 m about it."""
    west, south, east, north = shape.bounds
    return designed_dem(dem, [shape], cell, (west - 3, south - 3, east + 3, north + 3))


def flooded(dem, shape, cell):
    made = designed(dem, shape, cell)
    grid = Grid(made.left, made.top, made.cell, *made.shape)
    heights = made.heights.astype(np.float64)
    return made, grid, heights, pool_cells(heights, grid, shape.pool, shape.level)


def closed(covered):
    return not (covered[0].any() or covered[-1].any() or covered[:, 0].any()
                or covered[:, -1].any())


@settings(max_examples=5)
@given(st.floats(0.02, 0.12), st.floats(0, 360), st.sampled_from([0.3, 0.5]),
       st.sampled_from(["trapezoid", "parabola", "vee"]), st.sampled_from([None, 10.0]))
def test_a_swale_holds_its_capacity_and_no_more_gets_in(slope, bearing, cell, kind, checks):
    """Straight, on a plane: capacity is section times length less the checks (closed form), and
    water at the sill's level covers no ground but the channel, corners of cells counted."""
    dem, swale = swale_in(slope, bearing, checks=checks, kind=kind)
    shape = swale_shape(dem, swale, "swale")
    _, grid, heights, covered = flooded(dem, shape, cell)
    assert closed(covered)
    assert stored(heights, grid, shape.pool, 100.0) == pytest.approx(swale.curve.capacity,
                                                                     rel=0.015)


@settings(max_examples=5)
@given(st.floats(0.05, 0.12), st.floats(0, 360), st.sampled_from([0.3, 0.5]),
       st.floats(-0.4, 0.4))
def test_below_its_crest_water_leaves_a_swale_over_the_sill_alone(slope, bearing, cell, bend):
    """With cells of the sill, and of the berm's ends that slope down to it, made endlessly high,
    water a centimetre below the crest stays behind the berm, its ends turned uphill; on flatter
    ground they do not come up to the crest within `return end longest`."""
    dem, swale = swale_in(slope, bearing, bend)
    shape = swale_shape(dem, swale, "swale")
    made = designed(dem, shape, cell)
    crest = 100.0 + swale.berm_height_built
    heights = made.heights.astype(np.float64)
    for line in shape.crests:
        low = np.flatnonzero(line[:, 2] < crest - 1e-9)
        part = line[max(low[0] - 1, 0):, :2]
        rows, columns = line_cells(made, part).T
        heights[rows, columns] = np.inf
    grid = Grid(made.left, made.top, made.cell, *made.shape)
    covered = pool_cells(heights, grid, shape.pool, crest - 0.01)
    assert covered.any()
    assert closed(covered)
    # And not so once the sill is open.
    opened = pool_cells(made.heights.astype(np.float64), grid, shape.pool, crest - 0.01)
    assert not closed(opened)


@settings(max_examples=3)
@given(st.floats(0.02, 0.12), st.floats(0, 360), st.sampled_from([0.3, 0.5]))
def test_the_sill_is_at_its_level(slope, bearing, cell):
    dem, swale = swale_in(slope, bearing)
    made = designed(dem, swale_shape(dem, swale, "swale"), cell)
    line = LineString(swale.route.line)
    spots = [line.interpolate(s) for s in np.linspace(swale.sill_from + cell, swale.sill_to - cell,
                                                    30)]
    rows, columns = made.row_column([p.x for p in spots], [p.y for p in spots])
    assert made.heights[rows, columns] == pytest.approx(100.0, abs=1e-4)
    assert (made.heights[rows, columns] >= 100.0).all()


@settings(max_examples=5)
@given(st.floats(0.01, 0.1), st.floats(0, 360), st.sampled_from([0.15, 0.3]))
def test_a_bowl_and_a_trench_hold_what_their_curves_say(slope, bearing, cell):
    """A gravel trench holds its pores alone; both spill over the lowest ground on their rims."""
    dem, _ = hill(slope, bearing, 40)
    lie = lie_of(dem, 20.0, 20.0, 3.0)
    low = float(dem.height_at(20.0 + 2.0 * lie.down_x, 20.0 + 2.0 * lie.down_y))
    curve = bowl(4.0, 0.3, low, RULES)
    tree = TreeShape("bowl", 20.0, 20.0, 4.0, 0.5, "", "", 0.3, curve, Point(20, 20).buffer(2.0),
                     low, 20.0 + 2.0 * lie.down_x, 20.0 + 2.0 * lie.down_y, 1.0)
    corners = trench_outline(20.0, 20.0, 4.0, 0.8, 1.0, lie)
    from shapely.geometry import Polygon

    floor = float(dem.height_at(*corners[0]))
    trench = TreeShape("trench", 20.0, 20.0, 4.0, 0.5, "", "", 0.6,
                       trench_curve(floor, 4.0, 0.8, 0.6, 0.4), Polygon(corners), floor,
                       *map(float, corners[:2].mean(axis=0)), 1.0, length=4.0, width=0.8,
                       porosity=0.4)
    for made in (tree, trench):
        shape = tree_shape(dem, made, "tree", RULES)
        _, grid, heights, covered = flooded(dem, shape, cell)
        assert closed(covered)
        assert stored(heights, grid, shape.pool, shape.level) == pytest.approx(
            made.curve.capacity, rel=0.02)


def test_a_dug_basin_holds_its_curve():
    from terrain.surface.terrain import Terrain

    dem, _ = hill(0.04, 30.0)
    made = design_dug(Terrain(dem), [(30, 30), (46, 32), (44, 44), (31, 42)], 1.0, 2.0, RULES, "d")
    shape = pit_shape(dem, made, "dug")
    for cell in (0.25, 0.5, 1.0):
        _, grid, heights, covered = flooded(dem, shape, cell)
        assert closed(covered)
        assert stored(heights, grid, shape.pool, shape.level) == pytest.approx(made.storage,
                                                                               rel=0.015)


@pytest.mark.parametrize("bearing", [180.0, 217.0])
def test_a_crescent_holds_its_curve_and_the_wedge_over_the_bunds_face(bearing):
    """The wedge: half the square of the depth at the foot times the side, along the arc."""
    dem = plane(0.05, bearing, 0.5, 60)
    lie = lie_of(dem, 15.0, 15.0, 3.0)
    made = crescent_at(dem, 15.0, 15.0, 3.0, 0.15, lie, RULES)
    tree = TreeShape("crescent", 15.0, 15.0, 3.0, 0.5, "", "", 0.15, made.curve,
                     Point(15, 15).buffer(1.5), made.level, 0.0, 0.0, 1.0, made.bund,
                     crescent=made)
    shape = tree_shape(dem, tree, "tree", RULES)
    _, grid, heights, covered = flooded(dem, shape, 0.1)
    held = stored(heights, grid, shape.pool, shape.level)
    assert closed(covered)
    # Where its foot meets the ground the bund, built higher, leaves the least and the most of it.
    turn = np.linspace(-math.pi / 2, math.pi / 2, 181)
    deep = 0.15 * np.cos(turn)
    wedge = float(np.trapezoid(deep * (0.15 - deep + deep / 2), turn)) * 3.0
    assert made.curve.capacity * 0.98 < held < (made.curve.capacity + wedge) * 1.02


def test_a_wall_lets_water_out_over_its_spillway_alone():
    from terrain.surface.terrain import Terrain

    dem = formula_dem(lambda x, y: (100 + 0.12 * np.abs(x - 50) + 0.3 * np.maximum(y - 65, 0)
                                    + 0.1 * (y - 50) * (y < 50)), 100, 90, 0.5)
    made = design_wall(Terrain(dem))
    shapes = wall_shapes(dem, made, "wall")
    ground = designed_dem(dem, shapes, 0.5)
    grid = Grid(ground.left, ground.top, ground.cell, *ground.shape)
    heights = ground.heights.astype(np.float64)
    level = made.sill.level
    covered = pool_cells(heights, grid, made.outline, level)
    assert closed(covered)
    # The plan's storage is that of the settled bank; as built it is higher, and takes more.
    wall = made.profile
    built = wall.heights * (1 + wall.settlement)
    takes = np.trapezoid([bank_under_water(high, wall.top, wall.wet_slope, deep) for high, deep in
                          zip(built, np.clip(level - wall.ground, 0, None), strict=True)],
                         wall.stations)
    assert stored(heights, grid, made.outline, level) == pytest.approx(made.gross - takes,
                                                                       rel=0.02)
    over = pool_cells(heights, grid, made.outline, level + 0.02)
    assert not closed(over)
    rows, columns = line_cells(ground, shapes[0].sill).T
    heights[rows, columns] = np.inf
    assert closed(pool_cells(heights, grid, made.outline, level + 0.02))


def design_wall(terrain):
    from terrain.works import wall

    return wall.design_wall(terrain, [(28.0, 50.0), (72.0, 50.0)], 102.5, 101.8, RULES, "wall")


def test_where_a_later_work_digs_through_a_berm_it_stays_open():
    """A pit dug into the berm after it: the pool then runs out of the swale at its level."""
    from shapely import box

    from terrain.works.ground_of_pit import pit_of

    dem, swale = swale_in(0.08, 0.0)
    shape = swale_shape(dem, swale, "swale")
    pit = pit_of(dem, box(30, 30, 33, 40.5), 99.2, 1.0, 0.0, "trench")
    made = designed_dem(dem, [shape, pit], 0.25)
    grid = Grid(made.left, made.top, made.cell, *made.shape)
    heights = made.heights.astype(np.float64)
    at = np.argwhere(pool_cells(heights, grid, shape.pool, 100.0))
    assert grid.y[at[:, 0]].min() < 31
    assert closed(flooded(dem, shape, 0.25)[3])
