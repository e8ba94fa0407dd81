"""Natural hollows against closed forms, and against scipy's labelling on rough ground.

A paraboloid pit z = D (r / R)^2, filled to z, holds pi R^2 z^2 / (2 D) under a surface of
pi R^2 z / D; a cone z = D r / R holds pi R^2 z^3 / (3 D^2) under pi R^2 (z / D)^2.
"""

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from terrain.inputs.dem import Dem
from terrain.inputs.frame import Frame
from terrain.surface.slope import filled_by_library
from terrain.surface.terrain import Terrain
from terrain.works.natural_hollow import (
    hollow_at,
    hollow_curve,
    natural_hollow,
    nearest_hollow,
    rim_width,
)

RADIUS, DEEP = 12.0, 1.5
WITHIN = 0.05
PITS = {
    "paraboloid": (lambda r: DEEP * (r / RADIUS) ** 2,
                   lambda z: np.pi * RADIUS**2 * z / DEEP,
                   lambda z: np.pi * RADIUS**2 * z**2 / (2 * DEEP)),
    "cone": (lambda r: DEEP * r / RADIUS,
             lambda z: np.pi * RADIUS**2 * (z / DEEP) ** 2,
             lambda z: np.pi * RADIUS**2 * z**3 / (3 * DEEP**2)),
}


def pit(form, cell):
    """A pit whose bottom lies off the cells' centres, in ground that falls away from its rim."""
    def height(x, y):
        r = np.hypot(x - 0.13, y - 0.29)
        return np.where(r < RADIUS, PITS[form][0](r), DEEP - 0.1 * (r - RADIUS))
    return Terrain(formula_dem(height, 40.0, 40.0, cell, -20.0, -20.0))


def made_at(terrain, x, y):
    row, column = (int(i) for i in terrain.dem.row_column(x, y))
    hollow = hollow_at(terrain, row, column)
    return hollow, natural_hollow(terrain, hollow, WITHIN)


@pytest.mark.parametrize("form", PITS)
def test_a_pits_curve_comes_to_the_closed_form_as_cells_shrink(form):
    _, area, volume = PITS[form]
    off_area, off_volume = [], []
    for cell in (1.0, 0.5, 0.25):
        hollow, made = made_at(pit(form, cell), 0.0, 0.0)
        curve, top = made.curve, hollow.spill_level
        # The floor is at 0, so levels are depths over it; up to the level it spills at here.
        off_area.append(np.abs(curve.areas - area(np.maximum(curve.levels, 0))).max() / area(top))
        off_volume.append(np.abs(curve.volumes - volume(np.maximum(curve.levels, 0))).max()
                          / volume(top))
        assert made.outline.area == pytest.approx(curve.areas[-1], rel=1e-9)
        assert curve.levels[-1] == hollow.spill_level
        # The rim is found no more than half a cell inside its circle, at its slope there.
        steepest = DEEP / RADIUS * (2 if form == "paraboloid" else 1)
        assert DEEP - steepest * cell <= hollow.spill_level <= DEEP
    assert off_area[0] > off_area[1] > off_area[2]
    assert off_volume[0] > off_volume[1] > off_volume[2]
    assert off_area[2] < 0.002
    assert off_volume[2] < 1e-4


def test_a_level_floor_counts_from_its_own_level_on():
    """A box of 12 cells of 4 m2, 0.6 m deep: V = A z all the way."""
    curve = hollow_curve(np.full(12, 3.4), 4.0, 4.0)
    assert curve.areas == pytest.approx(np.full(curve.areas.size, 48.0))
    assert curve.volumes == pytest.approx(48.0 * (curve.levels - 3.4), abs=1e-9)


@pytest.mark.parametrize("heights", [[], [1.0, 2.0], [1.0, 2.5]])
def test_cells_that_no_water_covers_are_no_hollow(heights):
    with pytest.raises(ValueError, match="no water stands below 2 m"):
        hollow_curve(np.array(heights), 2.0, 1.0)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.5, 1.0, 3.0]))
def test_hollows_of_rough_ground_equal_scipys_labelled_pools(seed, cell):
    """Pools are the connected cells where richdem's filled surface stands over the ground."""
    random = np.random.default_rng(seed)
    heights = ndimage.gaussian_filter(random.normal(size=(50, 60)), 1.5).astype(np.float32)
    terrain = Terrain(Dem(heights, 0.0, 50 * cell, cell, Frame(None, None)))
    filled = filled_by_library(heights).astype(np.float64)
    depth = filled - heights
    label, _ = ndimage.label(depth > 0, structure=np.ones((3, 3)))
    held = ndimage.sum_labels(depth, label, np.arange(1, label.max() + 1)) * cell**2
    assert len(terrain.hollows) == (held > 0.1).sum()
    for hollow in terrain.hollows[:6]:
        made = natural_hollow(terrain, hollow, WITHIN)
        pool = label == label[hollow.row, hollow.column]
        assert np.array_equal(made.cells, np.argwhere(pool))
        assert made.curve.capacity == pytest.approx(hollow.volume, rel=1e-12)
        assert made.curve.capacity == pytest.approx(depth[pool].sum() * cell**2, rel=1e-12)
        ground = heights[pool].astype(np.float64)
        for level, area, volume in zip(made.curve.levels[1:], made.curve.areas[1:],
                                       made.curve.volumes[1:], strict=True):
            under = np.maximum(level - ground, 0).sum() * cell**2
            assert volume == pytest.approx(under, rel=1e-9, abs=1e-9)
            assert area == pytest.approx((ground < level - 1e-9).sum() * cell**2,
                                         abs=1.01 * cell**2)
        assert cell <= made.sill_length <= cell * np.hypot(*heights.shape)
        row, column = terrain.dem.row_column(made.sill_x, made.sill_y)
        assert heights[row, column] == np.float32(hollow.spill_level)
        assert ndimage.binary_dilation(pool, np.ones((3, 3)))[row, column]
        inside = made.cells[len(made.cells) // 2]
        assert hollow_at(terrain, int(inside[0]), int(inside[1])) == hollow
    dry = np.argwhere(depth == 0)[0]
    assert hollow_at(terrain, int(dry[0]), int(dry[1])) is None


def behind_a_bank(notch, cell, beyond=-2.0):
    """A pan 20 m square between banks 3 m high, its southern one cut by a notch.

    `notch` gives the bank's height over its sill at 1 m, by the distance from its middle; the
    ground south of it falls away from `beyond` m.
    """
    def height(x, y):
        bank = np.minimum(1.0 + notch(x - 0.02), 3.0)
        south = np.where(y < -10.0 - cell, beyond - 0.1 * (-10.0 - y), bank)
        walls = np.where((abs(x) > 10) | (y > 10), 3.0 - 0.05 * np.maximum(abs(x), y), 0.0)
        return np.where(y < -10.0, south, walls)
    return Terrain(formula_dem(height, 40.0, 40.0, cell, -20.0, -20.0))


@pytest.mark.parametrize("beyond", [-2.0, 0.95])
@pytest.mark.parametrize("cell", [1.0, 0.5, 0.25])
def test_the_way_out_of_a_round_saddle(cell, beyond):
    """A lip z = k x^2 stands within e of its lowest point over 2 sqrt(e / k)."""
    k = 0.004
    hollow, made = made_at(behind_a_bank(lambda x: k * x**2, cell, beyond), 0.0, 0.0)
    assert hollow.spill_level == pytest.approx(1.0, abs=k * cell**2)
    assert made.sill_length == pytest.approx(2 * np.sqrt(WITHIN / k), abs=cell)


@pytest.mark.parametrize("wide", [1.0, 4.0, 7.0])
def test_the_way_out_of_a_square_notch_is_as_wide_as_the_notch(wide):
    _, made = made_at(behind_a_bank(lambda x: np.where(abs(x) < wide / 2, 0.0, 0.3), 0.5), 0, 0)
    assert made.sill_length == pytest.approx(wide, abs=0.5)


def test_a_gentle_shore_is_no_way_out():
    """A pan with sides of 1 in 200 all round spills through its notch alone."""
    def height(x, y):
        r = np.hypot(x, y)
        ground = np.where(r < 15, r / 200, np.where(r < 17, 2.0, 1.0 - 0.1 * r))
        return np.where((y < 0) & (abs(x) < 1.1) & (r >= 15) & (r < 17), 0.075 - 0.02 * (r - 15),
                        ground)
    _, made = made_at(Terrain(formula_dem(height, 40.0, 40.0, 0.5, -20.0, -20.0)), 0.0, 0.0)
    assert made.sill_length == pytest.approx(2.2, abs=1.0)  # a cell on each side of the notch
    assert made.curve.areas[-1] > 300


def test_a_way_out_askew_is_measured_as_the_crow_flies():
    heights = np.full((9, 9), 5.0, np.float32)
    drains_in = np.add.outer(np.arange(9), np.arange(9)) < 8
    heights[drains_in] = 0.0
    at = np.array([[2, 6], [3, 5], [4, 4], [5, 3]])
    heights[at[:, 0], at[:, 1]] = 1.0
    assert rim_width(heights, drains_in, (4, 4), WITHIN, 2.0) == pytest.approx(
        2 * np.hypot(3, 3) + 2)


def test_the_nearest_hollow_is_told_by_its_water_not_its_bottom():
    heights = np.full((40, 200), 10.0, np.float32)
    heights[10:20, 10:90] = 9.0  # a long pan whose deepest cell lies at its far end
    heights[15, 12] = 8.0
    heights[10:12, 120:122] = 9.0
    heights[30, 95] = 9.95  # roughness of the survey: no more than 0.1 m3
    terrain = Terrain(Dem(heights, 0.0, 40.0, 1.0, Frame(None, None)))
    found = nearest_hollow(terrain, 96.5, 24.5, 50.0)
    assert (found.row, found.column) == (15, 12)
    assert nearest_hollow(terrain, 110.5, 9.5, 50.0).column in (120, 121)
    assert nearest_hollow(terrain, 190.5, 9.5, 50.0) is None
    # The centre of its nearest cell is 20 m off.
    assert nearest_hollow(terrain, 141.5, 28.5, 19.9) is None
    assert nearest_hollow(terrain, 141.5, 28.5, 20.1) is not None
