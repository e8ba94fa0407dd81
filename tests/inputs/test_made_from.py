"""Every file that is read has its SHA-256, checked against `sha256sum` of the system."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from terrain.inputs.made_from import (
    LIBRARIES,
    fingerprints,
    input_files,
    inputs_digest,
    made_with,
    parts_of_layer,
)
from terrain.inputs.site import read_site


@pytest.fixture
def site(small_site_folder, tmp_path):
    """The small site with its cover as a shapefile and its raster with a world file."""
    import geopandas

    path = small_site_folder(tmp_path)
    folder = path.parent
    geopandas.read_file(folder / "cover.geojson").to_file(folder / "cover.shp")
    (folder / "ground.tfw").write_text("1\n0\n0\n-1\n500000\n6400000\n")
    (folder / "ground.tif.aux.xml").write_text("<PAMDataset/>")
    (folder / "coverage.txt").write_text("not read")
    path.write_text(path.read_text().replace("file: cover.geojson", "file: cover.shp"))
    return read_site(path)


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="no sha256sum here")
def test_prints_are_those_of_sha256sum(site):
    told = fingerprints(site)
    out = subprocess.run(["sha256sum", *told], cwd=site.folder, capture_output=True, text=True,
                         check=True).stdout
    assert out == "".join(f"{found}  {name}\n" for name, found in told.items())
    whole = subprocess.run(["sha256sum"], input=out, capture_output=True, text=True, check=True)
    assert inputs_digest(site) == whole.stdout.split()[0]


def test_every_file_of_a_layer_in_several_is_named(site):
    named = set(input_files(site))
    assert {"cover.shp", "cover.dbf", "cover.shx", "cover.prj", "ground.tif", "ground.tfw",
            "ground.tif.aux.xml", "site.yaml", "rain.csv", "roads.geojson", "roofs.geojson",
            "soils.geojson", "boundary.geojson"} <= named
    assert not {"coverage.txt", "cover.geojson"} & named


def test_any_byte_changes_the_digest(site):
    before = inputs_digest(site)
    (site.folder / "cover.prj").write_text("other")
    after = inputs_digest(site)
    assert after != before
    (site.folder / "coverage.txt").write_text("still not read")
    assert inputs_digest(site) == after


def test_tiles_of_a_pattern_and_sources_of_a_virtual_raster(site):
    folder = site.folder
    (folder / "tiles").mkdir()
    for name in ("a.tif", "b.tif"):
        shutil.copy(folder / "ground.tif", folder / "tiles" / name)
    (folder / "all.vrt").write_text(
        "<VRTDataset><VRTRasterBand><SimpleSource>"
        '<SourceFilename relativeToVRT="1">tiles/a.tif</SourceFilename></SimpleSource>'
        "</VRTRasterBand></VRTDataset>")
    for given, names in (("tiles/*.tif", {"tiles/a.tif", "tiles/b.tif"}),
                         ("all.vrt", {"all.vrt", "tiles/a.tif"})):
        changed = folder / "other.yaml"
        changed.write_text((folder / "site.yaml").read_text().replace("ground.tif", given))
        assert names <= set(input_files(read_site(changed)))


def test_a_folder_that_is_one_database_is_all_its_files(tmp_path):
    for name in ("a.gdb/a0001.gdbtable", "a.gdb/a0001.gdbtablx"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(name)
    assert [part.name for part in parts_of_layer(tmp_path / "a.gdb")] == ["a0001.gdbtable",
                                                                         "a0001.gdbtablx"]


def test_versions_are_those_installed():
    from importlib.metadata import version

    told = made_with()
    assert {"levelsill", "python", "gdal", "proj", "geos", *LIBRARIES} == set(told)
    assert told["numpy"] == version("numpy")
    assert all(re.match(r"\d", found) for found in told.values())
