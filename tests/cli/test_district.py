"""levelsill district: end to end on the demo district, and what is refused before the work."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
from rasterio.features import geometry_mask

pytestmark = pytest.mark.long

DEMO = Path(__file__).parents[2] / "demo_dem"
NEEDED = ("district.yaml", "parcels.geojson", "buildings.geojson", "ground.tif", "site.gpkg",
          "rain_daily.csv", "rain_depths.csv")


@pytest.fixture(scope="module")
def valley(tmp_path_factory):
    """The demo district in a folder of its own."""
    folder = tmp_path_factory.mktemp("valley")
    for name in NEEDED:
        shutil.copyfile(DEMO / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def ran(levelsill, valley):
    return levelsill("district", valley, "--workers", "1", "--side", "256", "--rasters")


@pytest.fixture(scope="module")
def told(ran, valley):
    assert ran.code == 0, ran.err
    return json.loads((valley / "district" / "district.json").read_text())


def test_it_goes_through_and_says_what_it_wrote(ran, valley):
    assert ran.code == 0, ran.err
    for words in ("Quailstone valley", "What was found", "Ranked by", "Before anybody acts on it",
                  "What this rests on"):
        assert words in ran.out
    out = valley / "district"
    written = {line.removeprefix("Written: ") for line in ran.err.split("\n")
               if line.startswith("Written: ")}
    assert written == {str(path) for path in out.iterdir() if not path.name.startswith(".")}
    assert f"Finished tiles and parcels are kept in {valley / 'district tiles'}" in ran.err
    assert (out / "parcels" / "Quailstone.html").exists()
    assert (out / "parcels" / "Salt-Meadow.html").exists()


def test_every_parcel_is_ranked_by_what_it_keeps(told):
    parcels = geopandas.read_file(DEMO / "parcels.geojson").to_crs("EPSG:32734")
    assert {p["name"] for p in told["parcels"]} == set(parcels["name"])
    kept = [max((place["kept_in_year_m3"] for place in (p["best_swale"], p["best_basin"])
                 if place is not None), default=0.0) for p in told["parcels"]]
    assert kept == sorted(kept, reverse=True)
    assert kept[0] > 0
    for parcel in told["parcels"]:
        outline = parcels[parcels["name"] == parcel["name"]].geometry.iloc[0]
        # Outlines are kept to 1e-8 of a degree, about a millimetre.
        assert parcel["area_m2"] == pytest.approx(outline.area, rel=1e-5)


def test_own_ground_is_that_of_cells_counted_here(told):
    """Cells whose middle lies in the outline, by rasterio's own mask."""
    parcels = geopandas.read_file(DEMO / "parcels.geojson").to_crs("EPSG:32734")
    with rasterio.open(DEMO / "ground.tif") as ground:
        known = ground.read_masks(1) > 0
        for parcel in told["parcels"]:
            outline = parcels[parcels["name"] == parcel["name"]].geometry
            inside = ~geometry_mask(outline, known.shape, ground.transform)
            cells = int((inside & known).sum())
            assert parcel["own_m2"] == pytest.approx(cells, abs=3)  # cells of 1 m2


def test_table_layer_and_json_tell_the_same(told, valley):
    with open(valley / "district" / "district.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    layer = geopandas.read_file(valley / "district" / "parcels.gpkg", layer="parcels")
    assert [row["parcel"] for row in rows] == [p["name"] for p in told["parcels"]] == list(
        layer["parcel"])
    for row, parcel, (_, feature) in zip(rows, told["parcels"], layer.iterrows(), strict=True):
        run_on = parcel["storms"]["10-year day"]["run_on_m3"]
        assert float(row["run-on 10-year day, m3"]) == pytest.approx(run_on, abs=0.001)
        assert feature["run-on 10-year day m3"] == pytest.approx(run_on, abs=1e-7)


def test_rasters_lie_on_the_elevation_and_hold_together(told, valley):
    """Each cell drains one cell more than what drains into it; what fills lies no lower."""
    folder = valley / "district" / "rasters"
    with rasterio.open(DEMO / "ground.tif") as ground:
        heights, transform = ground.read(1, masked=True).filled(np.nan), ground.transform
    found = {}
    for file in folder.glob("*.tif"):
        with rasterio.open(file) as raster:
            assert raster.transform == transform
            assert raster.crs.to_epsg() == 32734
            found[file.stem] = raster.read(1)
    assert set(found) == {"flow_direction", "contributing_area", "filled_surface"}
    way, area = found["flow_direction"], found["contributing_area"]
    rows, columns = np.nonzero(way < 8)
    down = np.array([0, 1, 1, 1, 0, -1, -1, -1])[way[rows, columns]]
    along = np.array([1, 1, 0, -1, -1, -1, 0, 1])[way[rows, columns]]
    into = np.zeros(area.shape)
    np.add.at(into, (rows + down, columns + along), area[rows, columns])
    known = way != 255
    assert area[known] == pytest.approx(into[known] + 1.0, rel=1e-6)
    assert (found["filled_surface"][known] >= heights[known]).all()
    assert told["tiles"] == 9  # 600 rows and 640 columns by 256


@pytest.fixture(scope="module")
def few(levelsill, tmp_path_factory):
    """Two parcels of the demo, and a site file that cannot be planned: what ran, the folder."""
    folder = tmp_path_factory.mktemp("few")
    for name in NEEDED:
        shutil.copyfile(DEMO / name, folder / name)
    layer = geopandas.read_file(DEMO / "parcels.geojson")
    layer[layer["name"].isin(["Harrier Rise", "Pan View"])].to_file(folder / "parcels.geojson")
    (folder / "farm").mkdir()
    (folder / "farm" / "site.yaml").write_text("name: a farm\n")
    with open(folder / "district.yaml", "a", encoding="utf-8") as stream:
        stream.write("sites: ['*/site.yaml']\n")
    return folder, levelsill("district", folder, "--workers", "1", "--side", "256", "--rasters",
                             "--out", folder / "found")


@pytest.mark.slow
def test_a_site_that_cannot_be_planned_is_told_and_stops_nothing(few):
    path, ran = few
    assert ran.code == 1, ran.err  # as one of the sites has no plan
    assert "Not planned" in ran.out
    assert "farm/site.yaml" in ran.out
    page = (path / "found" / "index.html").read_text()
    assert "Site files that were planned" in page
    assert "this field is missing" in page
    said = json.loads((path / "found" / "sites.json").read_text())
    assert [site["site_file"] for site in said["sites"]] == ["../farm/site.yaml"]


@pytest.mark.slow
def test_it_goes_on_with_the_tiles_that_are_there(levelsill, few):
    path, _ = few
    tiles = [*(path / "district tiles").rglob("*.tile"),
             *(path / "district tiles").rglob("*.parcel")]
    assert {tile.suffix for tile in tiles} == {".tile", ".parcel"}
    before = {tile: tile.stat().st_mtime_ns for tile in tiles}
    first = json.loads((path / "found" / "district.json").read_text())
    again = levelsill("district", path / "district.yaml", "--workers", "1", "--side", "256",
                      "--page", "Harrier Rise", "--json", "--out", path / "found")
    assert again.code == 1, again.err  # as the site still has no plan
    assert {tile: tile.stat().st_mtime_ns for tile in tiles} == before
    said = again.json()
    assert said == json.loads((path / "found" / "district.json").read_text())
    assert [p["name"] for p in said["parcels"] if p["page"]] == ["Harrier Rise"]
    assert [{**p, "page": None} for p in said["parcels"]] == first["parcels"]
    assert not (path / "found" / "rasters").exists()  # not asked for this time


@pytest.mark.slow
def test_a_folder_of_sites_is_planned_with_one_summary(levelsill, small_site_folder, tmp_path):
    small_site_folder(tmp_path)
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "site.yaml").write_text("name: bad\n")
    ran = levelsill("district", tmp_path, "--workers", "1")
    assert ran.code == 1, ran.err  # as one of them has no plan
    assert "Small valley" in ran.out
    assert "boundary: this field is missing" in " ".join(ran.out.split())
    plan = tmp_path / "district plans" / "small"
    assert (plan / "report.html").exists()
    page = (tmp_path / "district" / "index.html").read_text()
    assert '<a href="../district%20plans/small/report.html">Small valley</a>' in page
    assert "2 site files: 1 planned, 1 could not be." in page
    with open(tmp_path / "district" / "sites.csv", encoding="utf-8") as stream:
        rows = {row["site"]: row for row in csv.DictReader(stream)}
    own = json.loads((plan / "plan.json").read_text())
    assert float(rows["Small valley"]["area, ha"]) == pytest.approx(
        own["boundary_m2"] / 1e4, abs=1e-4)


def test_a_folder_of_somebody_is_refused_before_the_work(levelsill, valley, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    refused = levelsill("district", valley, "--out", tmp_path, "--tiles", tmp_path / "tiles")
    assert refused.code == 2
    assert "levelsill did not write" in refused.err
    assert not (tmp_path / "tiles").exists()


@pytest.mark.parametrize(("out", "tiles"), [
    ("a", "a"), ("a", "a/tiles"), ("a/out", "a"), ("a", "b/../a/tiles")])
def test_tiles_within_what_is_made_anew_are_refused_before_the_work(levelsill, valley, tmp_path,
                                                                    out, tiles):
    refused = levelsill("district", valley, "--out", tmp_path / out, "--tiles", tmp_path / tiles)
    assert refused.code == 2
    assert "lie one in the other" in refused.err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("words", "said"), [
    (("--side", "3"), "--side"), (("--workers", "0"), "--workers"),
    (("--page", "Nowhere Farm"), "Nowhere Farm")])
def test_what_cannot_be_is_refused(levelsill, valley, tmp_path, words, said):
    refused = levelsill("district", valley, "--out", tmp_path / "out", "--tiles",
                        tmp_path / "tiles", "--workers", "1", *words)
    assert refused.code == 2
    assert refused.out == ""
    assert said in refused.err
    assert not (tmp_path / "out").exists()


def test_a_folder_without_anything_to_do_is_told(levelsill, tmp_path):
    empty = levelsill("district", tmp_path, "--workers", "1")
    assert empty.code == 2
    assert "no site file" in empty.err
    asked = levelsill("district", tmp_path, "--page", "x")
    assert asked.code == 2
    assert "holds no district.yaml" in asked.err
    missing = levelsill("district", tmp_path / "nowhere")
    assert missing.code == 2
    assert "there is no such district file" in missing.err


def test_help_shows_it(levelsill):
    out = levelsill("--help").out
    assert "Many properties at once" in out
    assert "\n  district " in out


def test_every_field_of_the_district_file_is_documented():
    from terrain.inputs.district import District, Parcels
    from terrain.inputs.site import Land, Layer

    page = (DEMO.parent / "docs" / "district.md").read_text()
    for part, told in ((District, ()), (Parcels, Layer.model_fields)):
        for field in part.model_fields:
            if field not in told:
                assert f"`{field.replace('_', ' ')}`" in page, field
    assert set(Land.model_fields) < set(District.model_fields)
