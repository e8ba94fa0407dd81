"""Culverts through banks, and the surface for routing that stands beside the one that was read."""

import numpy as np
import pytest
from constructed import dem_of
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from terrain.surface.conditioning import Conditioning, Culvert, cells_along, lead_through
from terrain.surface.terrain import Terrain


def valley_with_a_road(bank=1.0):
    """A V-valley that falls south at 5 %, with a road bank of 5 rows across it. [m]"""
    row, column = np.indices((60, 41))
    heights = 50 - 0.05 * row + 0.1 * abs(column - 20)
    heights[30:35] = np.maximum(heights[30:35], heights[30, 20] + bank)
    return dem_of(heights)


def along(dem, *cells):
    return LineString([dem.xy(*cell) for cell in cells])


def gathers(terrain):
    return float(terrain.contributing_area[59, 20])


def test_a_culvert_lets_the_water_through_the_bank_and_counts_what_it_cut():
    dem = valley_with_a_road()
    before = dem.heights.copy()
    plain = Terrain(dem)
    assert plain.hollows[0].depth == pytest.approx(0.95, abs=1e-5)  # from the bank's top to row 29
    culvert = Culvert("under the road", along(dem, (29, 20), (35, 20)))
    led = Terrain(dem, Conditioning(culverts=(culvert,)))
    assert led.hollows == []
    assert led.conditioned.culvert_cells == {"under the road": 5}
    assert led.path(10, 20)[:, 1].tolist() == [20] * 50
    assert np.array_equal(dem.heights, before)
    assert (led.ground != dem.heights).sum() == 5
    # Its floor is the straight grade from end to end: the valley's own floor.
    assert led.ground[29:36, 20] == pytest.approx(50 - 0.05 * np.arange(29, 36), abs=1e-5)
    assert gathers(led) == pytest.approx(gathers(plain))  # the pond spilled the same way before


def test_either_end_of_a_culvert_may_be_drawn_first():
    dem = valley_with_a_road()
    up = lead_through(dem, [Culvert("c", along(dem, (29, 20), (35, 20)))])[0]
    down = lead_through(dem, [Culvert("c", along(dem, (35, 20), (29, 20)))])[0]
    assert np.array_equal(up, down)


def test_a_slanting_culvert_falls_all_the_way():
    dem = valley_with_a_road()
    line = along(dem, (29, 21), (32, 16), (37, 18))
    heights, _ = lead_through(dem, [Culvert("c", line)])
    cells = cells_along(dem, line)
    assert (np.diff(heights[cells[:, 0], cells[:, 1]]) <= 0).all()


@given(st.lists(st.tuples(st.floats(0.1, 29.9), st.floats(0.1, 19.9)), min_size=2, max_size=4))
def test_cells_along_a_line_are_each_beside_the_next_and_near_it(corners):
    from shapely import Point

    dem = dem_of(np.zeros((20, 30)))
    line = LineString(corners)
    cells = cells_along(dem, line)
    rows, columns = dem.row_column([corners[0][0], corners[-1][0]],
                                   [corners[0][1], corners[-1][1]])
    assert cells[0].tolist() == [rows[0], columns[0]]
    assert cells[-1].tolist() == [rows[1], columns[1]]
    steps = abs(np.diff(cells, axis=0)).max(axis=1, initial=0)
    assert (steps == 1).all()
    x, y = dem.xy(cells[:, 0], cells[:, 1])
    assert max(line.distance(Point(*at)) for at in zip(x, y, strict=True)) <= 2**0.5


def test_a_culvert_that_ends_off_the_ground_is_refused_by_name():
    dem = valley_with_a_road()
    outside = LineString([dem.xy(29, 20), (20.0, -30.0)])
    with pytest.raises(ValueError, match="\"ford\" has an end off the known ground"):
        lead_through(dem, [Culvert("ford", outside)])


def test_a_culvert_under_a_void_gives_it_a_floor():
    dem = valley_with_a_road()
    dem.heights[31:33, 18:23] = np.nan  # a bridge deck cut out of the raster
    heights, cut = lead_through(dem, [Culvert("c", along(dem, (29, 20), (35, 20)))])
    assert cut == {"c": 5}
    assert np.isfinite(heights[29:36, 20]).all()
    assert np.isnan(heights[31, 19])


@pytest.mark.parametrize("fall", [0.0, 0.1])
def test_water_crosses_a_void_in_a_culvert_level_or_not(fall):
    """A valley of 40 rows whose bridge is cut out of the raster; above it 738 cells gather."""
    row, column = np.indices((40, 41))
    heights = 10.0 - 0.01 * row + 0.02 * abs(column - 20)
    heights[18:22] = np.nan
    heights[17, 20], heights[22, 20] = 9.7, 9.7 - fall
    dem = dem_of(heights)
    led = Terrain(dem, Conditioning(culverts=(Culvert("c", along(dem, (17, 20), (22, 20))),)))
    assert led.culvert_faults == []
    into, out = (float(led.contributing_area[r, 20]) for r in (17, 22))
    assert into == 18 * 41.0
    assert out >= into + 5  # what went in, and the culvert's own cells


def test_a_culvert_drawn_too_short_leaves_its_pond_and_is_told():
    dem = valley_with_a_road()
    short = Culvert("stub", along(dem, (30, 20), (34, 20)))  # from shoulder to shoulder of the bank
    led = Terrain(dem, Conditioning(culverts=(short,)))
    assert led.hollows[0].depth > 0.9
    assert any("\"stub\"" in fault and "still stand" in fault for fault in led.culvert_faults)
    good = Culvert("pipe", along(dem, (29, 20), (35, 20)))
    assert Terrain(dem, Conditioning(culverts=(good,))).culvert_faults == []


def test_breaching_and_culverts_are_told_in_sentences():
    dem = valley_with_a_road(bank=0.3)
    asked = Conditioning(breach_depth=0.5, breach_length=10.0, culverts=(
        Culvert("needless", along(dem, (5, 20), (15, 20))),))
    ready = Terrain(dem, asked)
    assert ready.hollows == []
    said = " ".join(ready.conditioned.notes(asked))
    assert "\"needless\" changed nothing" in said
    assert "0.5 m deep and 10 m long" in said
    assert Terrain(dem).ground is dem.heights  # nothing asked for, nothing copied
