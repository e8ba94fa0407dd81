"""Rasters as people have them: units, coordinate systems, holes, odd cells."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine, from_origin

from terrain.errors import InputError
from terrain.inputs.elevation import read_elevation

FOOT, SURVEY_FOOT = 0.3048, 1200 / 3937  # definitions


def plane(rows=20, columns=30):
    row, column = np.mgrid[0:rows, 0:columns]
    return (100 + 0.05 * column - 0.1 * row).astype(np.float32)


def write(path, heights, transform, crs="EPSG:32734", unit=None, **more):
    with rasterio.open(path, "w", driver="GTiff", height=heights.shape[0],
                       width=heights.shape[1], count=1, dtype=heights.dtype, crs=crs,
                       transform=transform, **more) as out:
        out.write(heights, 1)
        if unit:
            out.units = (unit,)
    return path


@pytest.fixture
def metric(tmp_path, write_raster):
    return write_raster(tmp_path / "m.tif", plane(), nodata=-9999.0)


def test_heights_and_places_are_those_of_the_file(metric):
    dem = read_elevation(metric)
    assert np.array_equal(dem.heights, plane())
    assert dem.heights.dtype == np.float32
    assert (dem.cell, dem.bounds) == (1.0, (500000.0, 6399980.0, 500030.0, 6400000.0))
    assert dem.cell_of(500003.5, 6399998.5, "here") == (1, 3)
    assert float(dem.height_at(500003.5, 6399998.5)) == pytest.approx(float(plane()[1, 3]))
    assert float(dem.height_at(500004.0, 6399998.5)) == pytest.approx(
        float(plane()[1, 3] + 0.025), abs=1e-5)


@pytest.mark.parametrize("hole", [-9999.0, float("nan")])
def test_declared_holes_are_unknown(tmp_path, write_raster, hole):
    heights = plane()
    heights[4, 5] = hole
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights, nodata=hole), fill_holes=0)
    assert np.argwhere(np.isnan(dem.heights)).tolist() == [[4, 5]]


@pytest.mark.parametrize("hole", [-9999.0, -3.4e38, 1e20, float("inf")])
def test_holes_nobody_declared_are_found_and_said(tmp_path, write_raster, hole):
    heights = plane()
    heights[4, 5] = hole
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights), fill_holes=0)
    assert np.isnan(dem.heights[4, 5])
    assert np.isfinite(dem.heights).sum() == heights.size - 1
    if np.isfinite(hole):
        assert any("taken as holes" in note for note in dem.notes)


def test_integer_heights_load(tmp_path, write_raster):
    dem = read_elevation(write_raster(tmp_path / "i.tif", plane().astype(np.int16), nodata=-32768))
    assert dem.heights.dtype == np.float32
    assert dem.heights.max() == 101


@pytest.mark.parametrize(("unit", "factor"), [("foot", FOOT), ("US survey foot", SURVEY_FOOT),
                                              ("metre", 1.0)])
def test_the_bands_own_unit_counts(tmp_path, write_raster, unit, factor):
    dem = read_elevation(write_raster(tmp_path / "u.tif", plane(), unit=unit))
    assert np.allclose(dem.heights, plane() * factor, rtol=1e-6)


def test_feet_on_the_plan_need_a_word_on_heights(tmp_path):
    # EPSG:2868 is a state plane zone in international feet.
    path = write(tmp_path / "ft.tif", plane(), from_origin(600000, 900000, 3, 3), "EPSG:2868")
    with pytest.raises(InputError, match="feet or metres"):
        read_elevation(path)
    dem = read_elevation(path, height_unit="ft")
    assert dem.cell == pytest.approx(3 * FOOT)
    assert np.allclose(dem.heights, plane() * FOOT)
    x, y = dem.frame.to_working(600010.0, 899990.0)
    assert (float(x), float(y)) == pytest.approx((600010 * FOOT, 899990 * FOOT), abs=1e-6)
    assert [float(v) for v in dem.frame.to_source(x, y)] == pytest.approx([600010, 899990])


def test_degrees_are_moved_onto_a_metric_plane(tmp_path):
    step = 1 / 10800  # a third of an arc second
    path = write(tmp_path / "deg.tif", plane(60, 60), from_origin(21.1, -32.2, step, step),
                 "EPSG:4326", "metre")
    dem = read_elevation(path)
    assert dem.frame.working.to_epsg() == 32734
    assert any("in degrees" in note for note in dem.notes)
    assert any("too coarse" in note for note in dem.notes)
    # A degree of latitude is 110.9 km at 32 S (WGS 84 meridian arc, closed form).
    ellipsoid_a, e2, lat = 6378137.0, 0.00669437999014, np.radians(32.2)
    metres = ellipsoid_a * (1 - e2) / (1 - e2 * np.sin(lat) ** 2) ** 1.5 * np.radians(step)
    assert dem.cell == pytest.approx(metres, rel=0.15)
    x, y = dem.frame.from_lonlat(21.1 + 30 * step, -32.2 - 30 * step)
    assert float(dem.height_at(x, y)) == pytest.approx(float(plane(60, 60)[29:31, 29:31].mean()),
                                                       abs=0.03)


def test_no_crs_needs_the_unit_of_the_plan(tmp_path, write_raster):
    path = write_raster(tmp_path / "n.tif", plane(), cell=2.0, crs=None)
    with pytest.raises(InputError, match="no coordinate system"):
        read_elevation(path)
    assert read_elevation(path, plan_unit="ft", height_unit="ft").cell == pytest.approx(2 * FOOT)
    assert read_elevation(path, crs="EPSG:32734").frame.working.to_epsg() == 32734


def test_cells_that_are_not_square_are_resampled_and_said(tmp_path):
    path = write(tmp_path / "r.tif", plane(), from_origin(500000, 6400000, 1, 2))
    dem = read_elevation(path)
    assert (dem.cell, dem.shape) == (1.0, (40, 30))
    assert any("not square" in note for note in dem.notes)
    assert float(dem.height_at(500010.5, 6399981.0)) == pytest.approx(float(plane()[9, 10]),
                                                                      abs=1e-4)


def test_a_grid_turned_against_north_is_straightened(tmp_path):
    turn = Affine.translation(500000, 6400000) @ Affine.rotation(30) @ Affine.scale(1, -1)
    row, column = np.mgrid[0:80, 0:80]
    x, y = turn @ (column + 0.5, row + 0.5)
    heights = (100 + 0.05 * (x - 500000) - 0.1 * (y - 6400000)).astype(np.float32)
    dem = read_elevation(write(tmp_path / "t.tif", heights, turn))
    assert any("turned against north" in note for note in dem.notes)
    middle = turn @ (40.0, 40.0)
    at = np.array([-8.0, 0.0, 8.0])
    assert np.allclose(dem.height_at(middle[0] + at, middle[1] + at),
                       100 + 0.05 * (middle[0] + at - 500000) - 0.1 * (middle[1] + at - 6400000),
                       atol=1e-3)


def test_rows_from_the_south_are_turned_over(tmp_path):
    path = write(tmp_path / "s.tif", plane()[::-1], Affine(1, 0, 500000, 0, 1, 6399980))
    dem = read_elevation(path)
    assert np.array_equal(dem.heights, plane())
    assert dem.bounds == (500000.0, 6399980.0, 500030.0, 6400000.0)


@pytest.mark.parametrize("header", [
    "ncols 3\nnrows 3\nxllcorner 10\nyllcorner 20\ncellsize 2\nNODATA_value -9999\n",
    "NCOLS 3\r\nNROWS 3\r\nXLLCENTER 11\r\nYLLCENTER 21\r\nCELLSIZE 2\r\n",
    "ncols  3\nnrows  3\nxllcorner  10\nyllcorner  20\ncellsize  2\nNODATA_value  nan\n"])
def test_esri_ascii_grids(tmp_path, header):
    path = tmp_path / "g.asc"
    path.write_bytes((header + "5 6 7\n4 -9999 6\n3 4 5\n").encode())
    with pytest.raises(InputError, match="no coordinate system"):
        read_elevation(path)
    dem = read_elevation(path, plan_unit="m", fill_holes=0)
    assert dem.bounds == (10.0, 20.0, 16.0, 26.0)
    assert np.isnan(dem.heights[1, 1])
    assert dem.heights[0].tolist() == [5.0, 6.0, 7.0]


def test_decimal_commas_in_an_ascii_grid(tmp_path):
    path = tmp_path / "comma.asc"
    path.write_text("ncols 3\nnrows 3\nxllcorner 10,5\nyllcorner 20\ncellsize 0,5\n"
                    "5,25 6 7\n4 5,5 6\n3 4 5\n")
    dem = read_elevation(path, plan_unit="m")
    assert dem.heights.tolist() == [[5.25, 6, 7], [4, 5.5, 6], [3, 4, 5]]
    assert (dem.cell, dem.left) == (0.5, 10.5)


@pytest.mark.parametrize("kind", [np.float32, np.float64, np.int32, np.uint16])
def test_numbers_of_any_kind_load(tmp_path, write_raster, kind):
    heights = np.rint(plane() * 10).astype(kind)
    dem = read_elevation(write_raster(tmp_path / "k.tif", heights))
    assert np.array_equal(dem.heights, heights)


def test_scaled_numbers_are_heights_as_the_file_says(tmp_path, write_raster):
    path = write_raster(tmp_path / "s.tif", np.rint(plane() * 100 - 9000).astype(np.int16))
    with rasterio.open(path, "r+") as source:
        source.scales, source.offsets = (0.01,), (90.0,)
    dem = read_elevation(path)
    assert np.allclose(dem.heights, plane(), atol=0.0051)
    assert any("times 0.01 plus 90" in note for note in dem.notes)


@pytest.mark.parametrize(("unit", "word"), [("metre", "whole metres"), ("foot", "whole feet"),
                                            ("US survey foot", "whole US survey feet")])
def test_whole_heights_are_told_to_be_terraced(tmp_path, write_raster, unit, word):
    heights = np.rint(3000 + plane(100, 100)).astype(np.int16)
    dem = read_elevation(write_raster(tmp_path / "t.tif", heights, unit=unit))
    assert any(word in note and "terraced" in note for note in dem.notes)


def test_whole_feet_kept_in_metres_are_told_too(tmp_path, write_raster):
    heights = (np.rint(3000 + plane(100, 100)) * FOOT).astype(np.float32)
    dem = read_elevation(write_raster(tmp_path / "t.tif", heights))
    assert any("whole feet" in note for note in dem.notes)


def test_heights_in_decimetres_are_not_called_whole(tmp_path, write_raster):
    heights = (np.rint(plane(100, 100) * 10) / 10).astype(np.float32)
    dem = read_elevation(write_raster(tmp_path / "t.tif", heights))
    assert not any("whole" in note for note in dem.notes)


def test_two_heights_in_a_hundred_are_too_many_for_whole_steps(tmp_path, write_raster):
    heights = np.full((100, 100), 50, np.float32)
    heights[:2] += 0.4
    dem = read_elevation(write_raster(tmp_path / "t.tif", heights))
    assert not any("whole" in note for note in dem.notes)
    heights[1] -= 0.4
    dem = read_elevation(write_raster(tmp_path / "t.tif", heights))
    assert any("whole metres" in note for note in dem.notes)


@pytest.mark.parametrize("crs", ["EPSG:32734+5703", "EPSG:32734+6360"])
@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_a_declared_height_datum_is_named_and_heights_stay(tmp_path, write_raster, crs, version):
    path = write_raster(tmp_path / "v.tif", plane(), crs=crs, unit=None, GEOTIFF_VERSION=version)
    dem = read_elevation(path)
    # EPSG:6360 is NAVD88 in US survey feet: the unit is a matter of numbers, the datum stays.
    assert np.allclose(dem.heights, plane() * (SURVEY_FOOT if "6360" in crs else 1.0))
    assert any("NAVD88" in note for note in dem.notes)


def test_heights_above_the_ellipsoid_are_told(tmp_path, write_raster):
    from pyproj import CRS

    path = write_raster(tmp_path / "e.tif", plane(), crs=CRS(32734).to_3d().to_wkt())
    dem = read_elevation(path)
    assert any("above the ellipsoid" in note and "tens of metres" in note for note in dem.notes)
    assert np.array_equal(dem.heights, plane())


def test_degrees_with_heights_in_feet(tmp_path):
    step = 1 / 108000
    path = write(tmp_path / "deg.tif", plane(60, 60), from_origin(21.1, -32.2, step, step),
                 "EPSG:4326", "foot")
    dem = read_elevation(path)
    middle = dem.heights[20:40, 20:40]
    x, y = dem.xy(*np.mgrid[20:40, 20:40])
    lon, lat = dem.frame.to_source(x, y)
    # The plane of heights, put down from its definition at the cells' places.
    wanted = 100 + 0.05 * ((lon - 21.1) / step - 0.5) - 0.1 * ((-32.2 - lat) / step - 0.5)
    assert np.allclose(middle, wanted * FOOT, atol=1e-3)


def test_longitudes_from_0_to_360(tmp_path):
    step = 1 / 108000
    path = write(tmp_path / "deg.tif", plane(60, 60), from_origin(250.1, 35.2, step, step),
                 "EPSG:4326", "metre")
    dem = read_elevation(path)
    assert np.isfinite(dem.heights).mean() > 0.9
    assert dem.frame.working.to_epsg() == 32612  # 250.1 E is 109.9 W, in zone 12


def test_a_strip_of_three_million_cells(tmp_path):
    heights = np.tile(np.array([[3.25], [2.0], [1.5]], np.float32), (1, 1_000_000))
    dem = read_elevation(write(tmp_path / "long.tif", heights, from_origin(0, 100, 1, 1),
                               compress="deflate"))
    assert dem.shape == (3, 1_000_000)
    assert np.array_equal(dem.heights, heights)


def test_a_file_cut_short(tmp_path, metric):
    whole = metric.read_bytes()
    (tmp_path / "cut.tif").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"cut\.tif"):
        read_elevation(tmp_path / "cut.tif")


def test_memory_per_cell(tmp_path, write_raster):
    import tracemalloc

    row, column = np.mgrid[0:2000, 0:2000].astype(np.float32)
    heights = (100 + 0.01 * row + 0.013 * column).astype(np.float64)
    heights[:100] = -9999
    heights[500:504, ::9] = -9999
    path = write_raster(tmp_path / "big.tif", heights, nodata=-9999.0)
    read_elevation(path)  # imports what it needs
    tracemalloc.start()
    dem = read_elevation(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # 10 B a cell, and what strips of a million cells take whatever the size of the file.
    assert peak < 10 * dem.heights.size + 30e6


@pytest.mark.parametrize("crs", ["EPSG:4979", "EPSG:4326+5773"])
def test_degrees_with_a_height_datum(tmp_path, crs):
    step = 1 / 108000
    path = write(tmp_path / "deg.tif", plane(60, 60), from_origin(21.1, -32.2, step, step), crs)
    dem = read_elevation(path)
    flat = write(tmp_path / "flat.tif", plane(60, 60), from_origin(21.1, -32.2, step, step),
                 "EPSG:4326")
    assert np.array_equal(dem.heights, read_elevation(flat).heights, equal_nan=True)
    said = "above the ellipsoid" if crs == "EPSG:4979" else "EGM96"  # EPSG:5773
    assert any(said in note for note in dem.notes)


def test_heights_beside_a_void_are_those_of_the_cells_that_count(tmp_path, write_raster):
    heights = plane()
    heights[4, 5] = np.nan
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights), fill_holes=0)
    for row, column in [(4, 4), (3, 5), (3, 4), (5, 6), (0, 0), (19, 29)]:
        assert float(dem.height_at(*dem.xy(row, column))) == pytest.approx(
            float(heights[row, column]))
    x, y = (float(v) for v in dem.xy(3, 4.5))  # on the line between two known centres
    assert float(dem.height_at(x, y)) == pytest.approx(float(heights[3, 4:6].mean()))
    assert np.isnan(dem.height_at(*dem.xy(3.5, 5)))
    assert np.isnan(dem.height_at(*dem.xy(4, 5)))


def test_a_raster_that_starts_just_past_the_date_line_is_whole(tmp_path):
    for west in (-180.0005, 179.9995, 180.0):
        path = write(tmp_path / f"{west}.tif", plane(60, 100),
                     from_origin(west, -40.0, 1e-5, 1e-5), crs="EPSG:4326")
        dem = read_elevation(path)
        assert np.isfinite(dem.heights).mean() > 0.9
