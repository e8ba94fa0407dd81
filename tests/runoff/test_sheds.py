"""What a road and bare ground shed: every drop accounted for on ground made for it."""

import numpy as np
import pytest
from constructed import dem_of, formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.runoff.curve_number import runoff_depth
from terrain.runoff.sheds import bare_patches, shed_of
from terrain.surface.accumulation import accumulate
from terrain.surface.terrain import Terrain


def shed_on(terrain, road, numbers, storms, marks=None):
    runoff = [runoff_depth(rain, numbers) * terrain.dem.cell_area / 1000 for rain in storms]
    marks = np.zeros(road.shape, np.int32) if marks is None else marks
    passing = [accumulate(terrain.direction, made) for made in runoff]
    return shed_of(terrain, "track", "road", road, numbers, runoff, passing, marks,
                   np.ones(road.shape, bool))


def hill(cell=2.0):
    """Ground that falls south with two troughs, their sides so steep that water goes to them
    row by row."""
    return Terrain(formula_dem(
        lambda x, y: 0.02 * y + 0.15 * np.minimum(abs(x - 25), abs(x - 75)), 120, 100, cell))


def across(terrain, north, width=4.0):
    """A road from west to east at a distance from the south edge."""
    _, y = terrain.dem.xy(*np.indices(terrain.dem.shape))
    return abs(y - north) < width / 2


@pytest.fixture(scope="module")
def example():
    terrain = hill()
    road = across(terrain, 30.0)
    numbers = np.where(road, 89.0, 74.0)
    return terrain, road, numbers, shed_on(terrain, road, numbers, [20.0, 60.0])


def test_what_leaves_at_the_exits_is_the_runoff_of_the_sheds_catchment(example):
    _, _, _, shed = example
    for i, rain in enumerate([20.0, 60.0]):
        leaves = sum(point.volumes[i] for point in shed.points)
        assert leaves == pytest.approx(shed.catchment.runoff(rain), rel=1e-12)
        assert leaves > 0


def test_the_sheds_own_water_is_what_fell_on_it(example):
    terrain, road, _, shed = example
    assert shed.area == road.sum() * terrain.dem.cell_area
    for i, rain in enumerate([20.0, 60.0]):
        own = sum(point.own_volumes[i] for point in shed.points)
        assert own == pytest.approx(float(runoff_depth(rain, 89.0)) * shed.area / 1000, rel=1e-12)


def test_the_catchment_is_all_ground_above_the_road(example):
    terrain, road, _, shed = example
    _, y = terrain.dem.xy(*np.indices(road.shape))
    # Everything north of the road drains south across it on this hill; nothing south does.
    assert shed.catchment.area == (y > 28.0).sum() * terrain.dem.cell_area


def test_points_are_ranked_and_the_largest_lies_in_the_trough_that_gathers_most(example):
    terrain, _, _, shed = example
    volumes = [point.volumes[-1] for point in shed.points]
    assert volumes == sorted(volumes, reverse=True)
    first, second = shed.points[:2]
    x = [float(terrain.dem.xy(p.row, p.column)[0]) for p in (first, second)]
    # The eastern trough gathers from x = 50 to 120, the western from 0 to 50.
    assert x == pytest.approx([75, 25], abs=2.0)
    assert first.volumes[-1] / second.volumes[-1] == pytest.approx(70 / 50, rel=0.1)


def test_a_path_leads_on_to_the_first_store(example):
    terrain, road, numbers, _ = example
    marks = np.zeros(road.shape, np.int32)
    _, y = terrain.dem.xy(*np.indices(road.shape))
    marks[abs(y - 9) < 2] = 7
    shed = shed_on(terrain, road, numbers, [60.0], marks)
    for point in shed.points:
        assert point.ends_at == 7
        assert marks[tuple(point.path[-1])] == 7
        assert not marks[point.path[:-1, 0], point.path[:-1, 1]].any()
        assert tuple(point.path[0]) == (point.row, point.column)


def test_a_road_along_the_fall_lets_go_at_its_foot_only():
    terrain = Terrain(formula_dem(lambda x, y: 0.08 * y + 0.15 * abs(x - 31), 62, 100, 2.0))
    x, y = terrain.dem.xy(*np.indices(terrain.dem.shape))
    road = (abs(x - 31) < 1.5) & (y > 20)
    shed = shed_on(terrain, road, np.full(road.shape, 80.0), [50.0])
    assert len(shed.points) == 1
    assert float(terrain.dem.xy(shed.points[0].row, 0)[1]) == pytest.approx(21.0)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.floats(0, 150))
def test_water_that_comes_back_is_counted_once(seed, rain):
    """Random ground with hollows, and a road of random pieces that water leaves and re-enters."""
    random = np.random.default_rng(seed)
    row, _ = np.indices((24, 30))
    terrain = Terrain(dem_of(random.normal(0, 0.6, (24, 30)) + 20 - 0.2 * row, 2.0))
    road = random.random((24, 30)) < 0.3
    numbers = random.choice([60.0, 75.0, 98.0], (24, 30))
    shed = shed_on(terrain, road, numbers, [rain])
    leaves = sum(point.volumes[0] for point in shed.points)
    assert leaves == pytest.approx(shed.catchment.runoff(rain), rel=1e-9, abs=1e-9)
    own = sum(point.own_volumes[0] for point in shed.points)
    assert own == pytest.approx(float(runoff_depth(rain, numbers[road]).sum() * 4 / 1000),
                                rel=1e-9, abs=1e-9)


def test_bare_patches_are_connected_large_enough_and_ranked():
    cover = np.zeros((8, 12), np.int16)
    cover[1:3, 1:3] = 1          # 4 cells
    cover[3, 3] = 2              # joined to it by a corner; another bare class
    cover[5:8, 6:10] = 2         # 12 cells
    cover[0, 11] = 1             # 1 cell
    found = list(bare_patches(cover, ["grass", "dirt road", "fallow"], {"dirt road", "fallow"},
                              cell_area=6.25, least_area=25.0))
    assert [int(patch.sum()) for patch in found] == [12, 5]
    assert found[1][3, 3]


def test_a_road_that_drains_over_its_side_sheds_at_many_points():
    """200 m of road across a plane: water leaves all along it, 10 m or less to each side of a
    point, so none carries more than 21 m of road's share."""
    terrain = Terrain(formula_dem(lambda x, y: 0.05 * y, 200, 100, 1.0))
    road = across(terrain, 40.0)
    shed = shed_on(terrain, road, np.full(road.shape, 85.0), [50.0])
    share = shed.catchment.runoff(50.0) / 200
    assert len(shed.points) >= 200 / 21
    assert max(point.volumes[0] for point in shed.points) <= 21 * share * (1 + 1e-9)
