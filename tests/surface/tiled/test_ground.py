"""Tiles read from a file, a folder of files, a VRT and a COG, and results written as COGs."""

import os
import pickle

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from terrain.errors import InputError
from terrain.inputs.elevation import open_elevation
from terrain.surface.accumulation import accumulate
from terrain.surface.depressions import drain
from terrain.surface.tiled.cog import write_cog
from terrain.surface.tiled.gathered import gather_all
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import ArrayValues, ElevationValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Work

NOTHING = -9999.0


@pytest.fixture
def heights():
    random = np.random.default_rng(5)
    found = random.normal(size=(70, 90)).cumsum(0).cumsum(1).astype(np.float32)
    found[20:25, 60:70] = np.nan
    return found


def write(path, heights, row=0, column=0, **more):
    given = {"driver": "GTiff", "nodata": NOTHING, "crs": "EPSG:32734",
             "transform": from_origin(500000 + 2 * column, 6400000 - 2 * row, 2, 2), **more}
    with rasterio.open(path, "w", height=heights.shape[0], width=heights.shape[1], count=1,
                       dtype="float32", **given) as out:
        out.write(np.where(np.isnan(heights), NOTHING, heights).astype(np.float32), 1)
    return path


def folder_of_tiles(folder, heights):
    """Tiles that overlap by a few cells, one place without any."""
    folder.mkdir()
    for row in (0, 30):
        for column in (0, 40):
            write(folder / f"{row}_{column}.tif", heights[row:row + 40, column:column + 50],
                  row, column)
    return folder


def vrt_of(path, folder):
    """A VRT by hand, in the form that GDAL's documentation of the format gives."""
    sources = "".join(
        f"<ComplexSource><SourceFilename relativeToVRT='1'>{folder.name}/{row}_{column}.tif"
        f"</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff='0' yOff='0' xSize='50' "
        f"ySize='40'/><DstRect xOff='{column}' yOff='{row}' xSize='50' ySize='40'/>"
        f"<NODATA>{NOTHING:g}</NODATA></ComplexSource>"
        for row in (0, 30) for column in (0, 40))
    path.write_text(
        "<VRTDataset rasterXSize='90' rasterYSize='70'><SRS>EPSG:32734</SRS>"
        "<GeoTransform>500000, 2, 0, 6400000, 0, -2</GeoTransform>"
        f"<VRTRasterBand dataType='Float32' band='1'><NoDataValue>{NOTHING:g}</NoDataValue>"
        f"{sources}</VRTRasterBand></VRTDataset>")
    return path


@pytest.mark.parametrize("kind", ["file", "folder", "vrt", "cog"])
def test_the_same_cells_from_every_kind_of_source(tmp_path, heights, kind):
    if kind == "file":
        path = write(tmp_path / "ground.tif", heights)
    elif kind == "cog":
        path = write(tmp_path / "ground.tif", heights, driver="COG")
    else:
        path = folder_of_tiles(tmp_path / "parts", heights)
        if kind == "vrt":
            path = vrt_of(tmp_path / "all.vrt", path)
    values = ElevationValues(open_elevation(path, height_unit="m", fill_holes=0))
    assert values.shape == heights.shape
    assert values.files.transform == from_origin(500000, 6400000, 2, 2)
    for window in (Window(0, 70, 0, 90), Window(25, 45, 35, 64), Window(69, 70, 0, 1)):
        assert np.array_equal(values.read(window), heights[
            window.top:window.bottom, window.left:window.right], equal_nan=True)
        lattice, dem = values.lattice(window), values.dem(window)
        assert (lattice.bounds, lattice.shape) == (dem.bounds, dem.shape)
    work = Work(values, Grid.square(values.shape, 32), KeptTiles(tmp_path / "tiles"))
    whole = Window(0, 70, 0, 90)
    assert np.array_equal(route(work).direction(whole), drain(heights).direction)


def test_a_place_without_a_tile_is_unknown(tmp_path, heights):
    folder = folder_of_tiles(tmp_path / "parts", heights)
    (folder / "30_40.tif").unlink()
    values = ElevationValues(open_elevation(folder, height_unit="m"))
    assert np.isnan(values.read(Window(45, 70, 55, 90))).all()


def test_rasters_on_other_cells_are_refused(tmp_path, heights):
    folder = folder_of_tiles(tmp_path / "parts", heights)
    write(folder / "other.tif", heights[:9, :9], 0.5, 3)
    with pytest.raises(InputError, match="do not line up"):
        open_elevation(folder, height_unit="m")


def test_an_empty_folder_is_refused(tmp_path):
    (tmp_path / "none").mkdir()
    with pytest.raises(InputError, match="folder"):
        open_elevation(tmp_path / "none")


@pytest.mark.parametrize("more", [
    {"crs": "EPSG:4326", "transform": from_origin(21.1, -32.2, 2e-5, 2e-5)},
    {"crs": "EPSG:2230", "transform": from_origin(6e6, 2e6, 6, 6)}, {}],
    ids=["in degrees", "in feet", "in metres"])
def test_windows_are_read_as_a_site_reads_them_here_and_on_a_worker(tmp_path, heights, more):
    """Units, nodata and small holes: any window of the values is that of the whole `Dem`."""
    heights[40, 50], heights[31:34, 31] = np.nan, np.nan
    files = open_elevation(write(tmp_path / "ground.tif", heights, **more), height_unit="ft")
    dem = files.read()
    assert np.isfinite(dem.heights).sum() > 1000
    given = ElevationValues(files)
    taken = pickle.loads(pickle.dumps(given))
    assert taken.identity() == given.identity()
    assert pickle.loads(pickle.dumps(given)) is taken  # unpacked once in a process
    for values in (given, taken):
        for window in (Window(0, dem.shape[0], 0, dem.shape[1]), Window(32, 41, 31, 51)):
            assert np.array_equal(values.read(window), dem.heights[
                window.top:window.bottom, window.left:window.right], equal_nan=True)
    if not more:
        assert dem.filled_holes.sum() == 4
        assert dem.heights[0, 0] == np.float32(heights[0, 0] * 0.3048)


def test_other_files_or_other_words_have_another_identity(tmp_path, heights):
    folder = folder_of_tiles(tmp_path / "parts", heights)
    all_of = vrt_of(tmp_path / "all.vrt", folder)

    def told(path=folder, **words):
        return ElevationValues(open_elevation(path, **{"height_unit": "m", **words})).identity()
    first = {told(), told(height_unit="ft"), told(fill_holes=0), told(nodata=5.0), told(all_of)}
    assert len(first) == 5
    assert told() in first
    held = (folder / "0_0.tif").read_bytes()
    (folder / "0_0.tif").write_bytes(held)
    os.utime(folder / "0_0.tif", ns=(1, 1))
    assert told() not in first
    assert told(all_of) not in first  # a part of the virtual raster is another


def test_surveyed_points_are_told_apart_by_their_heights(tmp_path):
    def values(height):
        rows = "".join(f"{x},{y},{height + x}\n" for x in range(0, 30, 5) for y in range(0, 30, 5))
        (tmp_path / "points.csv").write_text("x,y,z\n" + rows)
        return ElevationValues(open_elevation(tmp_path / "points.csv", plan_unit="m", cell=1.0))
    one, other = values(3), values(4)
    assert one.identity() != other.identity()
    assert pickle.loads(pickle.dumps(one)).read(Window(2, 4, 2, 3)).tolist() == [[5.5], [5.5]]


def test_results_are_written_as_cogs(tmp_path, heights):
    """Checked by rio-cogeo, and read back."""
    from rio_cogeo.cogeo import cog_validate

    work = Work(ArrayValues(heights), Grid.square(heights.shape, 32),
                KeptTiles(tmp_path / "tiles"))
    tiled, cells = route(work), gather_all(work, "cells")
    drainage = drain(heights)
    profile = {"crs": "EPSG:32734", "transform": from_origin(500000, 6400000, 2, 2)}
    for name, read, expected, nodata in (
            ("direction", tiled.direction, drainage.direction, 255),
            ("filled", tiled.filled, drainage.filled(heights), np.nan),
            ("cells", cells.read, accumulate(drainage.direction), np.nan)):
        path = tmp_path / f"{name}.tif"
        write_cog(path, read, heights.shape, {**profile, "nodata": nodata})
        assert cog_validate(path, strict=False)[0]
        with rasterio.open(path) as raster:
            assert np.array_equal(raster.read(1), expected, equal_nan=name != "direction")
    with pytest.raises(InputError, match="already"):
        write_cog(path, cells.read, heights.shape, profile)
