"""Elevation files that hold no ground: each gets one sentence that names it."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine, from_origin

from terrain.errors import InputError
from terrain.inputs import elevation
from terrain.inputs.elevation import open_elevation, read_elevation


def write(path, heights, transform=None, **more):
    bands = heights if heights.ndim == 3 else heights[None]
    with rasterio.open(path, "w", driver="GTiff", height=bands.shape[1], width=bands.shape[2],
                       count=bands.shape[0], dtype=bands.dtype, crs="EPSG:32734",
                       transform=transform or from_origin(500000, 6400000, 1, 1), **more) as out:
        out.write(bands)
    return path


def refused(path, *words, **more):
    """Assert that a file is refused in one sentence with these words."""
    with pytest.raises(InputError) as told:
        read_elevation(path, **more)
    said = str(told.value)
    assert "\n" not in said
    assert said.endswith(".")
    for word in words:
        assert word in said, said


ones = np.ones((5, 5), np.float32)


@pytest.mark.parametrize(("heights", "says"), [
    (np.full((5, 5), np.nan, np.float32), "not one of its cells holds a height"),
    (np.full((5, 5), np.inf, np.float32), "not one of its cells holds a height"),
    (np.full((5, 5), -9999, np.float32), "-9,999 m"),
    (np.full((5, 5), 140188, np.int32), "140,188 m"),
    (np.ones((1, 1), np.float32), "1 by 1 cells"),
    (np.ones((1, 9), np.float32), "9 by 1 cells"),
    (np.ones((9, 1), np.float32), "1 by 9 cells"),
    (np.ones((1, 1_000_000), np.float32), "1,000,000 by 1 cells"),
    (np.ones((5, 5), np.complex64), "complex64"),
    (np.ones((5, 5), np.uint8), "bytes"),
    (np.ones((2, 5, 5), np.float32), "2 bands"),
    (np.ones((4, 5, 5), np.uint16), "4 bands")])
def test_rasters_that_hold_no_ground(tmp_path, heights, says):
    refused(write(tmp_path / "x.tif", heights), "x.tif", says)


def test_all_declared_as_holes(tmp_path):
    refused(write(tmp_path / "x.tif", ones, nodata=1.0), "x.tif", "not one of its cells")
    refused(write(tmp_path / "y.tif", ones), "y.tif", "not one of its cells", nodata=1.0)


def test_an_empty_file(tmp_path):
    (tmp_path / "empty.tif").touch()
    refused(tmp_path / "empty.tif", "empty.tif", "the file is empty")
    (tmp_path / "empty.csv").touch()
    refused(tmp_path / "empty.csv", "empty.csv", "the file is empty", plan_unit="m")


def test_a_text_called_a_raster(tmp_path):
    (tmp_path / "text.tif").write_text("1,2,3\n")
    refused(tmp_path / "text.tif", "text.tif", "not a raster")


def test_a_picture_called_points(tmp_path):
    (tmp_path / "points.csv").write_bytes(b"\x89PNG\r\n\0\0\0")
    refused(tmp_path / "points.csv", "points.csv", "no text", plan_unit="m")


def test_a_folder(tmp_path):
    (tmp_path / "tiles").mkdir()
    refused(tmp_path / "tiles", "tiles", "folder", "tiles/*.tif")


@pytest.mark.parametrize("name", ["*.tif", "none/**/*.asc", "[ab].tif"])
def test_a_pattern_that_fits_no_file(tmp_path, name):
    refused(tmp_path / name, "no file fits this pattern")


def test_a_list_with_a_missing_file(tmp_path):
    here = write(tmp_path / "a.tif", ones)
    refused([here, tmp_path / "b.tif"], "b.tif", "no such file")
    refused([here, here], "a.tif", "named twice")
    refused([], "no file is named")


@pytest.mark.parametrize("share", [0.3, 0.6, 0.98])
def test_a_raster_cut_short(tmp_path, share):
    rng = np.random.default_rng(5)
    whole = write(tmp_path / "w.tif", rng.random((300, 300), np.float32) + 100).read_bytes()
    (tmp_path / "cut.tif").write_bytes(whole[:int(len(whole) * share)])
    refused(tmp_path / "cut.tif", "cut.tif")


@pytest.mark.parametrize(("rows", "says"), [
    ("1 2 3\n4 5 6\n7 8\n", ["holds 8 heights", "speaks of 9"]),
    ("1 2 3\n4 5 6\n7 8 9 10\n", ["holds 10 heights", "speaks of 9"]),
    ("1 2 3\n4 x 6\n7 8 9\n", ["line 7", "'x'"])])
def test_ascii_grids_that_do_not_hold_what_they_say(tmp_path, rows, says):
    (tmp_path / "g.asc").write_text(
        "ncols 3\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 1\n" + rows)
    refused(tmp_path / "g.asc", "g.asc", *says, plan_unit="m")


def test_a_raster_that_lies_nowhere(tmp_path):
    refused(write(tmp_path / "x.tif", ones, Affine.identity()), "x.tif", "where its cells lie")


def test_a_stated_crs_that_is_no_map(tmp_path):
    (tmp_path / "g.asc").write_text("ncols 3\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 1\n"
                                    "1 2 3\n4 5 6\n7 8 9\n")
    refused(tmp_path / "g.asc", "is no map", crs="EPSG:4978")  # WGS 84, geocentric
    refused(tmp_path / "g.asc", "not known", crs="EPSG:99999999")


def test_degrees_over_half_a_continent(tmp_path):
    path = tmp_path / "wide.tif"
    with rasterio.open(path, "w", driver="GTiff", height=5, width=40, count=1, dtype="float32",
                       crs="EPSG:4326", transform=from_origin(10, 10, 1, 1)) as out:
        out.write(np.ones((1, 5, 40), np.float32))
    refused(path, "wide.tif", "40 degrees wide")


def test_more_cells_than_are_read_at_once(tmp_path, monkeypatch):
    monkeypatch.setattr(elevation, "MOST_CELLS", 24)
    path = write(tmp_path / "x.tif", ones)
    refused(path, "x.tif", "25 cells", "24")
    assert open_elevation(path).read((500000, 6399998, 500004, 6400000)).shape == (2, 4)


def test_a_turned_strip_is_not_blown_up(tmp_path):
    turn = Affine.translation(500000, 6400000) @ Affine.rotation(45) @ Affine.scale(1, -1)
    path = write(tmp_path / "turned.tif", np.ones((3, 1_000_000), np.float32), turn,
                 compress="deflate")
    refused(path, "turned.tif", "read at once")


def test_words_for_points_said_of_a_raster(tmp_path):
    path = write(tmp_path / "x.tif", ones)
    refused(path, "x.tif", "only be stated for surveyed points", cell=1.0)
    refused(path, "x.tif", "only be stated for surveyed points", columns="x,y,z")


def test_holes_of_less_than_nothing(tmp_path):
    refused(write(tmp_path / "x.tif", ones), "x.tif", "-1 m2", fill_holes=-1.0)
    refused(write(tmp_path / "x.tif", ones), "x.tif", "too large", fill_holes=1e5)
