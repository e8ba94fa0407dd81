"""Tiles as one raster, and windows of a raster as parts of the whole."""

import numpy as np
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st
from rasterio.transform import Affine, from_origin

from terrain.errors import InputError
from terrain.inputs.elevation import open_elevation, read_elevation

WEST, NORTH = 500000.0, 6400000.0


def hill(rows=60, columns=80):
    row, column = np.mgrid[0:rows, 0:columns]
    return (100 + 5 * np.sin(row / 7) + 4 * np.cos(column / 9) + 0.03 * column).astype(np.float32)


def tile(path, heights, west=WEST, north=NORTH, cell=1.0, crs="EPSG:32734", unit="metre",
         transform=None, **more):
    with rasterio.open(path, "w", driver="GTiff", height=heights.shape[0],
                       width=heights.shape[1], count=1, dtype=heights.dtype, crs=crs,
                       transform=transform or from_origin(west, north, cell, cell), **more) as out:
        out.write(heights, 1)
        if unit:
            out.units = (unit,)
    return path


@pytest.fixture
def two(tmp_path):
    """A hill cut in two tiles that overlap by six columns."""
    return [tile(tmp_path / "east.tif", hill()[:, 37:], west=WEST + 37),
            tile(tmp_path / "west.tif", hill()[:, :43])]


def test_overlapping_tiles_are_the_raster_they_were_cut_from(two):
    dem = read_elevation(two)
    assert np.array_equal(dem.heights, hill())
    assert dem.bounds == (WEST, NORTH - 60, WEST + 80, NORTH)
    assert dem.source == "2 tiles (east.tif, west.tif)"
    assert not any("overlap" in note or "uncovered" in note for note in dem.notes)


def test_a_pattern_takes_the_files_in_the_order_of_their_names(two, tmp_path):
    raised = tile(tmp_path / "a.tif", hill()[:, :10] + 1)
    dem = read_elevation(tmp_path / "*.tif")
    assert dem.source == "3 tiles (a.tif, east.tif, ...)"
    assert np.array_equal(dem.heights[:, :10], hill()[:, :10] + 1)
    assert np.array_equal(dem.heights[:, 10:], hill()[:, 10:])
    last = read_elevation([*two, raised])
    assert np.array_equal(last.heights, hill())


def test_a_folder_is_all_the_rasters_in_it(two, tmp_path):
    (tmp_path / "notes.txt").write_text("not read")
    (tmp_path / "._east.tif").write_bytes(b"what a file browser leaves")
    (tmp_path / "all.vrt").write_text("made of the others, so not read beside them")
    dem = read_elevation(tmp_path)
    assert dem.source == "2 tiles (east.tif, west.tif)"
    assert np.array_equal(dem.heights, hill())


def test_brackets_in_the_name_of_a_folder_are_no_pattern(tmp_path):
    folder = tmp_path / "plot [a]"
    folder.mkdir()
    tile(folder / "b[1].tif", hill())
    assert read_elevation(folder / "b[1].tif").shape == (60, 80)
    assert read_elevation(folder / "*.tif").shape == (60, 80)


def test_the_first_known_height_wins_and_differences_are_told(tmp_path):
    one, other = hill(20, 20), hill(20, 20)
    one[4:8, 4:8] = -9999
    other[0, :3] += (0.04, -0.2, 1.5)
    dem = read_elevation([tile(tmp_path / "a.tif", one, nodata=-9999.0),
                          tile(tmp_path / "b.tif", other)], fill_holes=0)
    assert np.array_equal(dem.heights, hill(20, 20))
    assert any("2 cells differ by more than 0.05 m, by 1.50 m at most" in n for n in dem.notes)


def test_tiles_that_adjoin_and_a_gap_between_tiles(tmp_path):
    west = tile(tmp_path / "a.tif", hill()[:, :30])
    north = tile(tmp_path / "b.tif", hill()[:25, 30:], west=WEST + 30)
    dem = read_elevation([west, north])
    assert np.array_equal(dem.heights[:, :30], hill()[:, :30])
    assert np.array_equal(dem.heights[:25], hill()[:25])
    assert np.isnan(dem.heights[25:, 30:]).all()
    assert any(f"{35 * 50:,} cells" in n and "uncovered" in n for n in dem.notes)


def test_a_tile_with_rows_from_the_south_joins_others(tmp_path):
    turned = tile(tmp_path / "b.tif", hill()[::-1, 40:],
                  transform=Affine(1, 0, WEST + 40, 0, 1, NORTH - 60))
    dem = read_elevation([tile(tmp_path / "a.tif", hill()[:, :40]), turned])
    assert np.array_equal(dem.heights, hill())


@pytest.mark.parametrize(("more", "says"), [
    ({"crs": "EPSG:32735"}, "coordinate systems differ"),
    ({"crs": None}, "b.tif"),
    ({"cell": 2.0}, "cells differ in size"),
    ({"cell": 1.001}, "cells differ in size"),
    ({"west": WEST + 0.5}, "shifted by 50% of a cell"),
    ({"north": NORTH + 0.02}, "shifted by 2% of a cell"),
    ({"unit": "foot"}, "different units (feet; metres)"),
    ({"crs": "EPSG:32734+5773"}, "different datums")])
def test_tiles_that_do_not_fit_each_other(tmp_path, more, says):
    first = tile(tmp_path / "a.tif", hill(), crs="EPSG:32734+5703")
    with pytest.raises(InputError) as told:
        read_elevation([first, tile(tmp_path / "b.tif", hill(), **more)])
    assert says in str(told.value)
    assert "b.tif" in str(told.value)
    if says != "b.tif":
        assert "a.tif" in str(told.value)


def test_a_stated_unit_does_not_hide_that_tiles_differ(tmp_path):
    both = [tile(tmp_path / "a.tif", hill()), tile(tmp_path / "b.tif", hill(), unit="foot")]
    with pytest.raises(InputError, match="different units"):
        read_elevation(both, height_unit="ft")


def test_a_shift_under_a_hundredth_of_a_cell_is_let_pass(tmp_path):
    both = [tile(tmp_path / "a.tif", hill()[:, :40]),
            tile(tmp_path / "b.tif", hill()[:, 40:], west=WEST + 40.005)]
    assert np.array_equal(read_elevation(both).heights, hill())


def test_points_and_a_raster_do_not_go_together(tmp_path):
    (tmp_path / "p.csv").write_text("x,y,z\n0,0,1\n9,0,1\n0,9,1\n")
    with pytest.raises(InputError, match=r"p\.csv holds surveyed points and a\.tif is a raster"):
        read_elevation([tile(tmp_path / "a.tif", hill()), tmp_path / "p.csv"])


def same_part(files, whole, window):
    """Assert that a window is the part of the whole that lies under it."""
    part = files.read(window)
    row, column = (int(i) for i in whole.row_column(*part.xy(0, 0)))
    rows, columns = part.shape
    assert np.array_equal(part.heights, whole.heights[row:row + rows, column:column + columns],
                          equal_nan=True)
    assert np.array_equal(part.filled_holes,
                          whole.filled_holes[row:row + rows, column:column + columns])
    x, y = part.xy(np.arange(rows)[:, None], np.arange(columns))
    far_x, far_y = whole.xy(np.arange(row, row + rows)[:, None],
                            np.arange(column, column + columns))
    assert np.abs(x - far_x).max() < 1e-6
    assert np.abs(y - far_y).max() < 1e-6
    west = window[0]
    assert part.left <= max(west, whole.left) + 1e-6 < part.left + part.cell + 2e-6
    assert part.goes_on == (column > 0, row + rows < whole.shape[0],
                            column + columns < whole.shape[1], row > 0)


@pytest.fixture(scope="module")
def sources(tmp_path_factory):
    """The same kind of ground, holes in it, in each of the ways that a raster may lie."""
    folder = tmp_path_factory.mktemp("sources")
    heights = hill(90, 110)
    rng = np.random.default_rng(7)
    for _ in range(40):
        r, c = rng.integers(1, 84), rng.integers(1, 104)
        heights[r:r + rng.integers(1, 6), c:c + rng.integers(1, 6)] = -9999
    heights[:6, :20] = -9999
    holes = {"nodata": -9999.0}
    turn = Affine.translation(WEST, NORTH) @ Affine.rotation(-17) @ Affine.scale(1, -1)
    step = 1 / 108000
    return {
        "plain": open_elevation(tile(folder / "plain.tif", heights, **holes)),
        "tiles": open_elevation([tile(folder / "a.tif", heights[:, :60], **holes),
                                 tile(folder / "b.tif", heights[30:, 50:], west=WEST + 50,
                                      north=NORTH - 30, **holes)]),
        "feet": open_elevation(tile(folder / "ft.tif", heights, crs="EPSG:2868", cell=3.0,
                                    unit="foot", **holes)),
        "oblong": open_elevation(tile(folder / "o.tif", heights, transform=Affine(
            1, 0, WEST, 0, -1.5, NORTH), **holes)),
        "turned": open_elevation(tile(folder / "t.tif", heights, transform=turn, **holes)),
        "degrees": open_elevation(tile(folder / "d.tif", heights, 21.1, -32.2, step,
                                       crs="EPSG:4326", **holes))}


@pytest.fixture(scope="module")
def wholes(sources):
    return {kind: files.read() for kind, files in sources.items()}


@pytest.mark.parametrize("kind", ["plain", "tiles", "feet", "oblong", "turned", "degrees"])
@given(data=st.data())
def test_a_window_is_the_same_part_of_the_whole(sources, wholes, kind, data):
    files = sources[kind]
    west, south, east, north = files.bounds
    share = st.floats(0, 1)
    a, b = sorted([data.draw(share), data.draw(share)])
    c, d = sorted([data.draw(share), data.draw(share)])
    least = files.cell
    window = (west + a * (east - west - least), south + c * (north - south - least),
              west + b * (east - west - least) + least, south + d * (north - south - least) + least)
    same_part(files, wholes[kind], window)


def test_sides_on_which_the_raster_goes_on(sources):
    west, south, east, north = sources["plain"].bounds
    assert sources["plain"].read().goes_on == (False, False, False, False)
    read = sources["plain"].read
    assert read((west, south, east - 1, north)).goes_on == (False, False, True, False)
    assert read((west + 1, south - 50, east + 50, north)).goes_on == (True, False, False, False)
    assert read((west, south + 1, east, north - 1)).goes_on == (False, True, False, True)


def test_a_window_touches_the_cells_it_says(sources):
    dem = sources["plain"].read((WEST + 10, NORTH - 20, WEST + 15, NORTH - 18))
    assert dem.bounds == (WEST + 10, NORTH - 20, WEST + 15, NORTH - 18)
    dem = sources["plain"].read((WEST + 9.5, NORTH - 20.2, WEST + 15, NORTH - 18))
    assert dem.bounds == (WEST + 9, NORTH - 21, WEST + 15, NORTH - 18)


@pytest.mark.parametrize("window", [(WEST - 50, NORTH - 9, WEST - 5, NORTH),
                                    (WEST, NORTH + 1, WEST + 9, NORTH + 5),
                                    (WEST + 9, NORTH - 5, WEST, NORTH),
                                    (WEST, NORTH, float("nan"), NORTH)])
def test_windows_that_hold_nothing(sources, window):
    with pytest.raises(InputError, match=r"plain\.tif"):
        sources["plain"].read(window)


def test_a_window_of_a_large_raster_reads_little(tmp_path):
    import tracemalloc

    path = tile(tmp_path / "large.tif", np.full((4000, 4000), 50, np.float32), tiled=True,
                compress="deflate")
    files = open_elevation(path)
    files.read((WEST, NORTH - 10, WEST + 10, NORTH))  # imports what it needs
    tracemalloc.start()
    files.read((WEST + 2000, NORTH - 2200, WEST + 2200, NORTH - 2000))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 4e6  # the whole is 64 MB


def test_degrees_land_where_an_independent_warp_puts_them(tmp_path):
    """Against GDAL's warper with a bilinear kernel of one cell, away from the rim."""
    from rasterio.warp import Resampling, reproject

    step = 1 / 108000
    ground = from_origin(21.1, -32.2, step, step)
    dem = read_elevation(tile(tmp_path / "d.tif", hill(90, 110), crs="EPSG:4326",
                              transform=ground))
    other = np.full(dem.shape, np.nan, np.float32)
    reproject(hill(90, 110), other, src_transform=ground, src_crs="EPSG:4326",
              dst_transform=dem.transform, dst_crs="EPSG:32734", dst_nodata=np.nan,
              resampling=Resampling.bilinear, tolerance=0.0, XSCALE=1, YSCALE=1)
    apart = np.abs(other - dem.heights)[3:-3, 3:-3]
    assert np.isfinite(apart).mean() > 0.95
    assert np.nanmax(apart) < 1e-3
