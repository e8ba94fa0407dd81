"""Catchments: labels, edge cells and outlines."""

import numpy as np
import pytest
from constructed import dem_of, formula_dem
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface.accumulation import accumulate
from terrain.surface.catchments import edge_cells, first_met, label_catchments, outline
from terrain.surface.depressions import drain
from terrain.surface.flow_paths import trace_downslope
from terrain.surface.terrain import Terrain

GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=10),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


@given(GROUND, st.integers(0, 2**32 - 1))
def test_each_cell_bears_the_mark_its_own_way_down_meets_first(heights, seed):
    """Against the obvious: walk down from every single cell."""
    direction = drain(heights).direction
    random = np.random.default_rng(seed)
    marks = np.where(random.random(heights.shape) < 0.15,
                     random.integers(1, 5, heights.shape), 0).astype(np.int32)
    label = label_catchments(direction, marks)
    for row, column in np.ndindex(*heights.shape):
        met = [int(marks[r, c]) for r, c in trace_downslope(direction, row, column) if marks[r, c]]
        assert label[row, column] == (met[0] if met else 0)


@given(GROUND)
def test_catchments_of_the_outlets_partition_the_raster(heights):
    direction = drain(heights).direction
    outlet = direction == 8
    marks = np.zeros(heights.shape, np.int32)
    marks[outlet] = np.arange(1, outlet.sum() + 1)
    label = label_catchments(direction, marks)
    assert (label > 0).all()  # every cell has its outlet, and only one
    sizes = np.bincount(label.ravel())[1:]
    assert np.array_equal(sizes, accumulate(direction)[outlet])


def test_catchment_of_a_point_is_its_contributing_area():
    terrain = Terrain(formula_dem(lambda x, y: 0.1 * abs(x - 15) + 0.06 * y, 30, 40, 1.0))
    for row, column in [(20, 15), (35, 14), (5, 3)]:
        outlet = np.zeros(terrain.dem.shape, bool)
        outlet[row, column] = True
        found = terrain.catchment(outlet)
        assert found.sum() * 1.0 == terrain.contributing_area[row, column]


def test_edge_cells_are_the_border_and_the_rim_of_voids():
    heights = np.zeros((7, 9), np.float32)
    heights[3, 4] = np.nan
    expected = np.ones((7, 9), bool)
    expected[1:-1, 1:-1] = False
    expected[2:5, 3:6] = True
    expected[3, 4] = False
    assert np.array_equal(edge_cells(heights), expected)


def test_a_catchment_within_the_raster_touches_no_edge_and_one_cut_by_it_does():
    """A ridge crosses the raster: below it a catchment ends at the ridge."""
    terrain = Terrain(formula_dem(
        lambda x, y: 10 - 0.2 * abs(y - 30) + 0.3 * np.maximum(abs(x - 20) - 5, 0), 40, 60, 1.0))
    inner = np.zeros(terrain.dem.shape, bool)
    inner[40, 20] = True  # ten metres below the ridge, in a trough
    assert terrain.contributing_area[40, 20] > 5
    assert not terrain.touches_edge(terrain.catchment(inner))
    west = terrain.catchment(np.roll(inner, -20, 1))
    assert terrain.touches_edge(west)


def test_a_catchment_beside_a_void_touches_the_edge():
    heights = np.add.outer(np.zeros(9), np.arange(9) * 0.5)
    outlet = np.zeros((9, 9), bool)
    outlet[4, 3] = True
    whole = Terrain(dem_of(np.where(np.arange(9)[None, :] == 8, 5.0, heights)))
    ringed = Terrain(dem_of(np.where((np.indices((9, 9))[1] == 7)
                                     & (np.indices((9, 9))[0] == 4), np.nan, heights)))
    assert whole.touches_edge(whole.catchment(outlet))  # the strip runs to the east border
    assert ringed.touches_edge(ringed.catchment(outlet))  # the void cuts it before that
    assert not ringed.catchment(outlet)[4, 8]


def test_ground_at_risk_is_what_water_from_beyond_the_edge_would_cross():
    """Ground falls west from a ridge in column 30; a void lies 10 cells above the outlet line."""
    column = np.indices((11, 61))[1]
    heights = 50 - 0.1 * np.abs(column - 30.0)
    outlet = np.zeros(heights.shape, bool)
    outlet[4:7, 5] = True
    whole = Terrain(dem_of(heights))
    assert whole.area_at_risk(whole.catchment(outlet)) == 0
    heights[5, 15] = np.nan
    cut = Terrain(dem_of(heights, cell=2.0))
    cells = cut.catchment(outlet)
    assert cut.touches_edge(cells)
    # Rows 4 and 6 from column 16 to the outlet, row 5 from column 14: 12 + 12 + 10 cells, and
    # the void's eastern neighbour, whose water goes round it.
    assert cut.area_at_risk(cells) == (12 + 12 + 10 + 1) * 4.0
    assert cut.cut_by_hole(cells)
    assert not whole.cut_by_hole(whole.catchment(outlet))
    border = np.zeros(heights.shape, bool)
    border[0, 5] = True
    assert cut.touches_edge(cut.catchment(border))
    assert not cut.cut_by_hole(cut.catchment(border))


@given(hnp.arrays(np.bool_, (6, 8)))
def test_outline_encloses_the_cells_and_nothing_else(mask):
    from shapely import Point

    dem = dem_of(np.zeros((6, 8)), 2.5, left=100.0, top=50.0)
    shape = outline(mask, dem.transform)
    assert shape.area == pytest.approx(mask.sum() * 6.25)
    x, y = dem.xy(*np.indices(mask.shape))
    assert [shape.contains(Point(a, b)) for a, b in zip(x.flat, y.flat, strict=True)
            ] == mask.ravel().tolist()


def test_the_same_is_found_of_a_mask_and_of_its_cells():
    column = np.indices((11, 61))[1]
    heights = 50 - 0.1 * np.abs(column - 30.0)
    heights[5, 15] = np.nan
    terrain = Terrain(dem_of(heights))
    for row in (0, 5):
        outlet = np.zeros(heights.shape, bool)
        outlet[row, 5] = True
        mask = terrain.catchment(outlet)
        places = np.flatnonzero(mask)
        for asked in (terrain.touches_edge, terrain.cut_by_hole, terrain.area_at_risk,
                      terrain.mean_slope):
            assert asked(mask) == asked(places)


def test_what_drains_to_a_place_is_asked_anew_of_another_or_a_changed_one():
    terrain = Terrain(formula_dem(lambda x, y: x + 0.1 * y, 20, 20, 1.0))
    first, second = (np.zeros((20, 20), bool) for _ in range(2))
    first[10, 5] = second[3, 8] = True
    for place in (first, first, second, first):
        assert (terrain.drains_to(place) == terrain.catchment(place)).all()
    first[3, 8] = True
    assert (terrain.drains_to(first) == terrain.catchment(first)).all()
    with pytest.raises(ValueError, match="read-only"):
        terrain.drains_to(first)[0, 0] = True


@given(hnp.arrays(np.int32, (4, 7), elements=st.integers(0, 3)),
       hnp.arrays(np.float64, (4, 7), elements=st.floats(0, 9) | st.just(np.nan)))
def test_values_are_summed_by_the_label_first_met(label, values):
    """Against the obvious: sum each label's cells."""
    expected = [np.nansum(values[label == number]) for number in (1, 2, 3)]
    assert first_met(label, values, 3) == pytest.approx(expected)


def test_water_led_along_the_edge_is_told_where_the_ground_falls_out():
    """A plane that falls south, a little east: its water goes south and then along the edge."""
    row, column = np.indices((20, 30))
    south = Terrain(dem_of(100 - 0.5 * row - 0.01 * column, cell=2.0))
    outlet = np.zeros((20, 30), bool)
    outlet[19, 25] = True
    cells = south.catchment(outlet)
    # All that comes to the outlet but its own column comes along the edge.
    assert cells.sum() == 26 * 20
    assert south.area_along_edge(cells) == 25 * 20 * 4.0
    assert south.area_along_edge(np.flatnonzero(cells)) == 25 * 20 * 4.0
    upper = south.catchment(np.roll(outlet, -9, 0))  # whose water comes there later
    assert south.area_along_edge(upper) == 0
    # Where the ground rises towards the edge, none of it would fall out.
    north = Terrain(dem_of(100 + 0.01 * row - 0.9 * column, cell=2.0))
    assert north.catchment(outlet).sum() == 26
    assert north.area_along_edge(north.catchment(outlet)) == 0
