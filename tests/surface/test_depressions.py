"""Filling of hollows against the flow library, and against the definition on small grids."""

import matplotlib.cbook
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from published import rows

from terrain.surface.depressions import drain, fill_hollows, list_hollows
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID
from terrain.surface.slope import filled_by_library

SHAPES = hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=14)
# Few different heights make wide plateaus, nested rims and many ties.
PLATEAUS = st.integers(0, 4).map(float)
HEIGHTS = st.floats(-400, 8000, width=32)


def surfaces(heights):
    return SHAPES.flatmap(lambda shape: hnp.arrays(np.float32, shape, elements=heights))


def nested():
    table = rows("depression_fill_constructed.csv")
    heights, filled = np.zeros((7, 7), np.float32), np.zeros((7, 7), np.float32)
    for row in table:
        at = int(row["row"]) - 1, int(row["col"]) - 1
        heights[at], filled[at] = float(row["elevation"]), float(row["filled"])
    return heights, filled


@pytest.fixture(scope="module")
def fault():
    """A real raster in whole metres, full of flats: matplotlib's sample data, from SRTM."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.float32)


# Constructed; the filled surface follows from the definition in Barnes, Lehman & Mulla (2014).
def test_nested_hollows_fill_to_their_common_rim():
    heights, filled = nested()
    assert np.array_equal(fill_hollows(heights), filled)


def test_nested_hollows_hold_the_volume_counted_by_hand():
    heights, filled = nested()
    hollows = list_hollows(heights, drain(heights), cell_area=1.0)
    assert sum(hollow.volume for hollow in hollows) == pytest.approx(25.0)
    assert [(h.row, h.column, h.spill_level, h.depth) for h in hollows] == [(5, 5, 6.0, 5.0)]
    assert hollows[0].area == float((filled > heights).sum())


def test_hollows_are_listed_by_volume_and_the_small_left_out():
    heights = np.full((5, 12), 10.0, np.float32)
    heights[2, 2], heights[2, 5:7], heights[2, 9] = 9.0, 6.0, 9.9
    hollows = list_hollows(heights, drain(heights), cell_area=4.0, least_volume=0.5)
    assert [(h.volume, h.area) for h in hollows] == [(32.0, 8.0), (4.0, 4.0)]


# Reference: richdem's priority-flood filling; float32 heights are only compared and copied,
# so the two must agree bit for bit.
@given(surfaces(PLATEAUS) | surfaces(HEIGHTS))
def test_filling_equals_richdem_bit_for_bit(heights):
    assert np.array_equal(fill_hollows(heights), filled_by_library(heights))


@given(surfaces(PLATEAUS), st.data())
def test_filling_with_voids_that_reach_the_border_equals_richdem(heights, data):
    """Each void is a straight bite from the border inwards."""
    rows_, columns = heights.shape
    for _ in range(data.draw(st.integers(1, 3))):
        column = data.draw(st.integers(0, columns - 1))
        depth = data.draw(st.integers(1, rows_ - 1))
        if data.draw(st.booleans()):
            heights[:depth, column] = np.nan
        else:
            heights[-depth:, column] = np.nan
    assert np.array_equal(fill_hollows(heights), filled_by_library(heights), equal_nan=True)


@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1))
def test_filling_a_large_random_raster_equals_richdem(seed):
    random = np.random.default_rng(seed)
    heights = random.normal(size=(120, 150)).cumsum(0).cumsum(1).astype(np.float32)
    heights = np.round(heights + random.normal(size=heights.shape).astype(np.float32), 1)
    assert np.array_equal(fill_hollows(heights), filled_by_library(heights))


def test_filling_a_real_raster_equals_richdem(fault):
    filled = fill_hollows(fault)
    assert np.array_equal(filled, filled_by_library(fault))
    assert (filled > fault).sum() > 5000  # the raster does have hollows


@given(surfaces(PLATEAUS) | surfaces(HEIGHTS))
def test_filled_ground_is_never_lower_and_every_cell_drains(heights):
    drainage = drain(heights)
    filled, direction = drainage.filled(heights), drainage.direction
    assert (filled >= heights).all()
    assert np.array_equal(fill_hollows(filled), filled)  # filled once, filled for good
    goes = direction != LEAVES
    row, column = np.nonzero(goes)
    assert (goes | (np.pad(np.zeros(np.array(heights.shape) - 2, bool), 1,
                           constant_values=True))).all()  # it leaves at the border only
    k = direction[goes]
    assert (filled[row + ROW_STEP[k], column + COLUMN_STEP[k]] <= filled[goes]).all()


@given(surfaces(PLATEAUS) | surfaces(HEIGHTS))
def test_hollows_are_the_pools_between_ground_and_filled_surface(heights):
    """Against scipy's labelling of the cells under water, eight neighbours each."""
    from scipy import ndimage

    depth = fill_hollows(heights).astype(np.float64) - heights
    label, count = ndimage.label(depth > 0, structure=np.ones((3, 3)))
    hollows = list_hollows(heights, drain(heights), cell_area=2.0)
    assert len(hollows) == count
    for hollow in hollows:
        pool = label == label[hollow.row, hollow.column]
        assert label[hollow.row, hollow.column] > 0
        assert hollow.area == 2.0 * pool.sum()
        assert hollow.volume == pytest.approx(2.0 * depth[pool].sum())
        assert hollow.depth == pytest.approx(depth[pool].max(), rel=1e-6)
        assert heights[hollow.row, hollow.column] == heights[pool].min()
        assert heights[hollow.spill_row, hollow.spill_column] == np.float32(hollow.spill_level)
        rim = ndimage.binary_dilation(pool, np.ones((3, 3)))
        assert rim[hollow.spill_row, hollow.spill_column]


@given(surfaces(PLATEAUS))
def test_turned_or_mirrored_ground_fills_the_same(heights):
    filled = fill_hollows(heights)
    assert np.array_equal(fill_hollows(np.rot90(heights)), np.rot90(filled))
    assert np.array_equal(fill_hollows(heights[:, ::-1]), filled[:, ::-1])


def test_water_leaves_at_a_void_inside():
    """A hollow whose floor was not surveyed cannot be known to hold water."""
    heights = np.full((7, 7), 5.0, np.float32)
    heights[2:5, 2:5] = 1.0
    assert fill_hollows(heights).min() == 5.0
    heights[3, 3] = np.nan
    drainage = drain(heights)
    assert np.array_equal(drainage.filled(heights), heights, equal_nan=True)
    assert drainage.direction[3, 3] == VOID
    assert drainage.direction[2, 2] == LEAVES


def test_the_catchment_of_a_hollow_holds_all_that_drains_to_it(fault):
    """Against walking: every cell of it comes to the hollow's water, no other cell does."""
    from constructed import dem_of

    from terrain.surface.terrain import Terrain

    ground = Terrain(dem_of(fault[:120, :120]))
    for hollow in ground.hollows[:5]:
        cells = ground.hollow_catchment(hollow)
        pool = ground.drainage.pool[np.maximum(ground.drainage.bowl, 0)]
        own = pool == pool[hollow.row, hollow.column]
        random = np.random.default_rng(hollow.row)
        for row, column in random.integers(0, 120, (60, 2)):
            path = ground.path(int(row), int(column))
            assert cells[row, column] == own[path[:, 0], path[:, 1]].any()


def test_a_terrain_computes_each_thing_once_and_changes_nothing(fault):
    from constructed import dem_of

    from terrain.surface.terrain import Terrain

    dem = dem_of(fault[:60, :70])
    before = dem.heights.copy()
    ground = Terrain(dem)
    for name in ("filled", "contributing_area", "contributing_area_d_infinity",
                 "contributing_area_multiple", "angle", "path_length", "slope", "aspect",
                 "profile_curvature", "plan_curvature", "wetness", "shade", "edge", "below_edge"):
        found = getattr(ground, name)
        assert found.shape == dem.shape
        assert getattr(ground, name) is found
    assert np.array_equal(dem.heights, before)
