"""A bare raster becomes a site that checks, and nothing of the owner's is touched."""

import json
import os
import threading
from concurrent.futures import ThreadPoolExecutor

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from constructed import NORTH, WEST, valley
from pyproj import CRS, Transformer
from rasterio.transform import Affine

from terrain.bench import bare
from terrain.bench.bare import site_for
from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.plan.siting.reading import read_inputs


@pytest.fixture
def raster(tmp_path, write_raster):
    return write_raster(tmp_path / "hill.tif", valley())


def edge_of(site):
    return geopandas.read_file(site.with_name(site.name.replace(".site.yaml", ".edge.geojson")))


def test_a_bare_raster_becomes_a_site_that_checks(raster, levelsill):
    site = site_for(raster)
    assert site == raster.with_name("hill.site.yaml")
    done = levelsill("check", site)
    assert done.code == 0
    assert done.err == ""
    assert "hill: everything could be read and laid out." in done.out
    assert sorted(p.name for p in raster.parent.iterdir()) == [
        "hill.edge.geojson", "hill.site.yaml", "hill.tif"]
    read = read_site(site)
    assert read.units == "metric"
    assert read.works == []
    assert [storm.depth for storm in read.rain.storms] == [12.0, 60.0]
    inputs = read_inputs(site)
    assert {inputs.ground.classes[i] for i in np.unique(inputs.ground.cover)} == {
        "desert shrub, fair"}
    assert (inputs.ground.soil == 2).all()  # C


def test_the_boundary_lies_a_little_within_the_raster(raster):
    edge, = edge_of(site_for(raster)).geometry
    with rasterio.open(raster) as file:
        whole = shapely.box(*file.bounds)
        assert edge_of(raster.with_name("hill.site.yaml")).crs == CRS(file.crs.to_wkt())
    assert whole.contains(edge)
    assert edge.equals(shapely.box(*whole.buffer(-3.0, join_style="mitre").bounds))  # three cells


def test_the_file_says_what_was_guessed_and_how_to_set_it_right(raster):
    text = site_for(raster).read_text("utf-8")
    for word in ("boundary:", "cover:", "soils:", "rain:"):
        before = text[:text.index(f"\n{word}")]
        assert "GUESSED" in before[before.rindex("\n\n"):], word
    assert "levelsill check hill.site.yaml" in text
    assert text.endswith("\nworks:\n")


def test_changing_the_one_class_changes_the_ground(raster):
    site = site_for(raster)
    site.write_text(site.read_text().replace("otherwise: desert shrub, fair",
                                             "otherwise: pasture, poor"))
    inputs = read_inputs(site)
    assert {inputs.ground.classes[i] for i in np.unique(inputs.ground.cover)} == {
        "pasture, poor"}


def test_us_units_are_inches_and_feet(raster):
    site = site_for(raster, "us")
    read = read_site(site)
    assert read.units == "us"
    assert [storm.depth for storm in read.rain.storms] == pytest.approx([12.7, 60.96])
    assert "10 ft within its edge" in site.read_text()  # 3 m


def test_a_site_that_is_there_is_opened_as_it_is(raster):
    site = site_for(raster)
    edge = site.with_name("hill.edge.geojson")
    site.write_text("name: mine\n")
    edge.write_text("mine")
    raster.unlink()  # not even looked at
    assert site_for(raster) == site
    assert site.read_text() == "name: mine\n"
    assert edge.read_text() == "mine"


def test_an_outline_of_the_owners_is_not_written_over(raster):
    edge = raster.with_name("hill.edge.geojson")
    edge.write_text("mine")
    with pytest.raises(InputError, match="of that name already"):
        site_for(raster)
    assert edge.read_text() == "mine"
    assert not raster.with_name("hill.site.yaml").exists()


def test_an_outline_that_an_earlier_run_left_is_used(raster):
    first = site_for(raster)
    text = first.read_text()
    first.unlink()
    assert site_for(raster).read_text() == text


def test_nothing_is_left_when_the_site_file_cannot_be_written(raster, monkeypatch):
    real = bare._write

    def fail(path, text):
        if path.suffix == ".yaml":
            raise InputError(str(path), "the disk is full", "Free some space")
        real(path, text)
    monkeypatch.setattr(bare, "_write", fail)
    with pytest.raises(InputError, match="full"):
        site_for(raster)
    assert [p.name for p in raster.parent.iterdir()] == ["hill.tif"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_nothing_may_be_written_in_is_said(raster):
    raster.parent.chmod(0o500)
    try:
        with pytest.raises(InputError, match="beside the raster"):
            site_for(raster)
    finally:
        raster.parent.chmod(0o700)


def test_a_link_that_leads_nowhere_is_not_written_through(raster, tmp_path):
    away = tmp_path / "away.yaml"
    raster.with_name("hill.site.yaml").symlink_to(away)
    with pytest.raises(InputError, match="of that name already"):
        site_for(raster)
    assert not away.exists()
    assert not raster.with_name("hill.edge.geojson").exists()


def test_two_at_once_leave_one_whole_site(raster):
    gate = threading.Barrier(2, timeout=30)

    def make(_):
        gate.wait()
        try:
            return site_for(raster)
        except InputError as error:
            return str(error)
    with ThreadPoolExecutor(2) as threads:
        made = list(threads.map(make, range(2)))
    site = raster.with_name("hill.site.yaml")
    assert site in made
    assert all(one == site or "already" in one for one in made)
    assert read_inputs(site).site.name == "hill"


@pytest.mark.parametrize("name", ["my hill.tif", "hügel.tif", "a: b #1.tif", "it's [1].tif",
                                  "yes.tif", "1.tif", "#.tif", "{x}.tif"])
def test_any_name_of_a_raster_will_do(tmp_path, write_raster, name):
    inputs = read_inputs(site_for(write_raster(tmp_path / name, valley())))
    assert inputs.site.name == name.removesuffix(".tif")


def test_what_the_raster_does_not_say_is_kept_in_the_site_file(tmp_path, write_raster):
    heights = valley()
    heights[:10, :20] = 7.5
    path = write_raster(tmp_path / "mute.tif", heights, crs=None, unit=None)
    with pytest.raises(InputError, match="coordinate system"):
        site_for(path)
    assert not path.with_name("mute.edge.geojson").exists()
    site = site_for(path, crs="EPSG:32734", height_unit="ft", nodata=7.5)
    inputs = read_inputs(site)
    assert inputs.dem.frame.source == CRS("EPSG:32734")
    assert inputs.dem.heights[-1, 60] == pytest.approx(valley()[-1, 60] * 0.3048, abs=1e-3)
    assert np.isnan(inputs.dem.heights[:10, :20]).all()
    said = site.read_text()
    assert said.count("crs:") == 1
    assert said.count("height unit:") == 1


def test_a_raster_without_any_coordinate_system(tmp_path, write_raster):
    path = write_raster(tmp_path / "local.tif", valley(), crs=None, corner=(0.0, 160.0))
    inputs = read_inputs(site_for(path, plan_unit="ft"))
    assert inputs.ground.boundary.bounds == pytest.approx(
        tuple(np.array([3, 3, 117, 157]) * 0.3048))


def test_a_raster_in_feet_and_one_in_degrees(tmp_path, write_raster):
    feet = write_raster(tmp_path / "feet.tif", valley(), 3.0, "EPSG:2225", "US survey foot",
                        (6_000_000.0, 2_000_000.0))
    inputs = read_inputs(site_for(feet, "us"))
    west, south, east, north = inputs.dem.bounds
    cell = 3 * 1200 / 3937
    assert inputs.ground.boundary.bounds == pytest.approx(
        (west + 3 * cell, south + 3 * cell, east - 3 * cell, north - 3 * cell), abs=0.01)
    corner = Transformer.from_crs("EPSG:32734", "EPSG:4269", always_xy=True).transform(WEST,
                                                                                       NORTH)
    degrees = write_raster(tmp_path / "degrees.tif", valley(), 1e-5, "EPSG:4269", "metre", corner)
    inputs = read_inputs(site_for(degrees))
    assert inputs.ground.inside.mean() > 0.8
    edge, = edge_of(degrees.with_name("degrees.site.yaml")).geometry
    with rasterio.open(degrees) as file:
        assert shapely.box(*file.bounds).contains(edge)


def test_a_raster_in_a_system_of_its_own(tmp_path, write_raster):
    """A plane that no register lists; the site file itself must say it."""
    own = ("+proj=tmerc +lat_0=-32.5 +lon_0=21.01 +k=0.9997 +x_0=500000 +y_0=6400000 "
           "+datum=WGS84 +units=m +no_defs")
    inputs = read_inputs(site_for(write_raster(tmp_path / "own.tif", valley(), crs=own)))
    assert inputs.ground.boundary.bounds == pytest.approx(
        (WEST + 3, NORTH - 157, WEST + 117, NORTH - 3), abs=0.01)


def test_a_turned_raster_and_one_with_a_ragged_rim(tmp_path):
    heights = valley(150, 150)
    turned = tmp_path / "turned.tif"
    with rasterio.open(turned, "w", driver="GTiff", width=150, height=150, count=1,
                       dtype="float32", crs="EPSG:32734",
                       transform=Affine.translation(WEST, NORTH) @ Affine.rotation(30)
                       @ Affine.scale(1, -1)) as out:
        out.write(heights, 1)
        out.units = ("metre",)
    inputs = read_inputs(site_for(turned))
    assert np.isfinite(inputs.dem.heights[inputs.ground.inside]).all()
    # Drawn in by a fiftieth of the box about it, 205 m a side, and by the cells that its rim cuts.
    assert inputs.ground.boundary.area == pytest.approx((150 - 2 * 4.1 - 2) ** 2, rel=0.03)
    y, x = np.mgrid[0:200, 0:200] - 99.5
    ragged = np.where(np.hypot(x, y) < 90 + 5 * np.sin(9 * np.arctan2(y, x)), 100 - 0.03 * y,
                      np.nan).astype(np.float32)
    ragged[100:108, 100:108] = np.nan  # a pond in it
    ragged[:3, :3] = 100.0  # and a scrap in the corner
    path = tmp_path / "ragged.tif"
    with rasterio.open(path, "w", driver="GTiff", width=200, height=200, count=1, dtype="float32",
                       crs="EPSG:32734", nodata=float("nan"),
                       transform=Affine.translation(WEST, NORTH) @ Affine.scale(1, -1)) as out:
        out.write(ragged, 1)
        out.units = ("metre",)
    inputs = read_inputs(site_for(path))
    known = np.isfinite(inputs.dem.heights[inputs.ground.inside])
    assert (~known).sum() == 64  # the pond alone
    assert inputs.ground.boundary.area == pytest.approx(np.pi * 87**2, rel=0.06)
    assert inputs.ground.boundary.geom_type == "Polygon"


def test_a_large_raster_is_looked_at_in_larger_cells(raster, monkeypatch):
    monkeypatch.setattr(bare, "LOOKED_AT", 1000)
    edge, = edge_of(site_for(raster)).geometry
    with rasterio.open(raster) as file:
        whole = shapely.box(*file.bounds)
    assert whole.buffer(-2).contains(edge)
    assert edge.area > 0.5 * whole.area
    assert read_inputs(raster.with_name("hill.site.yaml")).site.name == "hill"


def test_what_holds_no_ground_is_refused(tmp_path, write_raster):
    for heights in (np.full((40, 40), np.nan, np.float32), np.ones((1, 1), np.float32)):
        path = write_raster(tmp_path / f"n{heights.size}.tif", heights)
        with pytest.raises(InputError):
            site_for(path)
        assert not path.with_suffix(".site.yaml").exists()
    with pytest.raises(InputError, match="no such file"):
        site_for(tmp_path / "none.tif")


def test_the_same_raster_gives_the_same_bytes(tmp_path, write_raster):
    texts = []
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        site = site_for(write_raster(tmp_path / folder / "hill.tif", valley()))
        texts.append((site.read_bytes(), site.with_name("hill.edge.geojson").read_bytes()))
    assert texts[0] == texts[1]
    assert json.loads(texts[0][1])["type"] == "FeatureCollection"
