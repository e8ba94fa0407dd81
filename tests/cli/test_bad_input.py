"""Each wrong input gets one plain sentence that names where it is, and exit code 2."""

from __future__ import annotations

import re

import numpy as np
import pytest


def refused(ran, *words):
    """Assert one sentence on stderr, exit code 2, nothing of Python in it; return it."""
    lines = [line for line in ran.err.splitlines() if not line.endswith(" ...")]
    assert ran.code == 2, ran
    assert len(lines) == 1, ran.err
    assert "Traceback" not in ran.err
    assert ran.out == ""
    for word in words:
        assert word in lines[0], lines[0]
    return lines[0]


def edited(site, old, new):
    text = site.read_text()
    assert old in text
    site.write_text(text.replace(old, new, 1))
    return site


def test_missing_raster(levelsill, tmp_path):
    refused(levelsill("survey", tmp_path / "gone.tif"), "gone.tif", "no such file")


def test_not_a_raster(levelsill, tmp_path):
    (tmp_path / "notes.tif").write_text("not a raster")
    refused(levelsill("survey", tmp_path / "notes.tif"), "notes.tif", "not a raster")


def test_picture_with_three_bands(levelsill, tmp_path):
    import rasterio

    path = tmp_path / "photo.tif"
    with rasterio.open(path, "w", driver="GTiff", width=5, height=5, count=3, dtype="uint8",
                       crs="EPSG:32734") as out:
        out.write(np.zeros((3, 5, 5), np.uint8))
    refused(levelsill("survey", path), "photo.tif", "3 bands")


def test_raster_without_crs_asks_for_it(levelsill, tmp_path, write_raster):
    path = write_raster(tmp_path / "bare.tif", np.ones((5, 5), np.float32), crs=None)
    refused(levelsill("survey", path), "bare.tif", "no coordinate system", "--plan-unit")


def test_wrong_stated_crs(levelsill, small_site):
    ground = small_site.parent / "ground.tif"
    refused(levelsill("survey", ground, "--crs", "EPSG:99999999"), "ground.tif", "not known")
    refused(levelsill("survey", ground, "--crs", "EPSG:4326"), "ground.tif", "WGS 84")


def test_point_off_the_raster(levelsill, small_site):
    ran = levelsill("shed", small_site.parent / "ground.tif", "--at", "600000,6399950")
    refused(ran, "--at", "600000.0, 6399950.0", "99,880 m east", "ground.tif")


@pytest.mark.parametrize("place", ["12", "a,b", "1,2,3", "nan,nan"])
def test_place_that_is_none(levelsill, small_site, place):
    refused(levelsill("shed", small_site.parent / "ground.tif", "--at", place), "not a place")


@pytest.mark.parametrize("storm", ["-30mm", "0 mm", "30 gal", "thirty", "6'"])
def test_storm_that_is_none(levelsill, small_site, storm):
    refused(levelsill("shed", small_site.parent / "ground.tif", "--at", "500060,6399900",
                      "--cn", "80", f"--storm={storm}"), storm.strip("'"))


def test_storm_without_ground(levelsill, small_site):
    refused(levelsill("shed", small_site.parent / "ground.tif", "--at", "500060,6399900",
                      "--storm", "30mm"), "--storm", "--cn")


def test_curve_number_out_of_range(levelsill, small_site):
    refused(levelsill("shed", small_site.parent / "ground.tif", "--at", "500060,6399900",
                      "--cn", "140", "--storm", "30mm"), "--cn", "140")


def test_swale_on_ground_too_steep(levelsill, tmp_path, write_raster):
    row, _ = np.mgrid[0:80, 0:80]
    path = write_raster(tmp_path / "steep.tif", (300 - 0.3 * row).astype(np.float32))
    refused(levelsill("swale", path, "--through", "500040,6399960"), "--through", "30%", "15%")


def test_wall_whose_ends_are_too_low(levelsill, small_site):
    ran = levelsill("basin", small_site.parent / "ground.tif", "--wall", "500055,6399870",
                    "500065,6399870", "--crest", "199m")
    refused(ran, "--wall", "end", "sill")


def test_wall_without_crest(levelsill, small_site):
    refused(levelsill("basin", small_site.parent / "ground.tif", "--wall", "500055,6399870",
                      "500065,6399870"), "--wall", "crest")


def test_picture_is_never_overwritten(levelsill, small_site, tmp_path):
    mine = tmp_path / "mine.png"
    mine.write_bytes(b"mine")
    ran = levelsill("survey", small_site.parent / "ground.tif", "--picture", mine)
    assert ran.code == 2
    assert "mine.png" in ran.err
    assert "already" in ran.err
    assert mine.read_bytes() == b"mine"


def test_missing_site_file(levelsill, tmp_path):
    refused(levelsill("check", tmp_path / "nowhere.yaml"), "nowhere.yaml", "no such site file")


@pytest.mark.slow
@pytest.mark.parametrize(("old", "new", "words"), [
    ("name: Small valley", "name: [Small", ("line", "YAML")),
    ("  file: ground.tif", "  fiel: ground.tif", ("line 3", "elevation", "fiel")),
    ("depth: 20 mm", "depth: -20 mm", ("line 19", "storms", "depth", "not above 0")),
    ("depth: 20 mm", "depth: 20 gal", ("line 19", "not a depth of rain")),
    ("depth: 20 mm", "depth: wet", ("line 19", "wet")),
    ("kind: basin", "kind: dam", ("works", "pond", "dam")),
    ("    crest: 195.9 m\n", "", ("pond", "crest")),
    ("crown: 3 m", "crown: 0.5 m\n    depth: 0.3 m", ("trees", "depth")),
    ("otherwise: C", "otherwise: E", ("soils", "otherwise", "E")),
    ("    length: 30 m\n", "    length: 30 m\n    depth: 0.4 m\n    rock at: 0.3 m\n",
     ("east swale", "rock at", "rock is said to be at 0.30 m")),
    ("crown: 3 m", "crown: 3 m\n    depth: 0.3 m\n    rock at: 0.2 m",
     ("trees", "rock at", "below the ground")),
    ("works:\n", "works:\n  - kind: drain\n    name: ditch\n    from: [500030, 6399940]\n"
     "    to: [500050, 6399938]\n    rock at: 0.1 m\n", ("ditch", "rock at", "rock is said to be")),
    ("    crest: 195.9 m\n", "    crest: 195.9 m\n    sill: 196 m\n",
     ("pond", "the sill at 196.00 m (643.04 ft) is not below the crest")),
    ("wall: [[500040, 6399870], [500080, 6399870]]",
     "wall: [[500040, 6399870], [500080, 6399870], [500080, 6399880], [500060, 6399860]]",
     ("pond", "the wall crosses itself")),
    ("    wall: [[500040, 6399870], [500080, 6399870]]\n    crest: 195.9 m\n",
     "    dug: [[500050, 6399860], [500060, 6399870], [500060, 6399860], [500050, 6399870]]\n"
     "    depth: 0.5 m\n", ("pond", "crosses itself")),
    ("works:\n", "keep clear:\n  - what: old wel\n    at: [500030, 6399940]\nworks:\n",
     ("keep clear", "'old wel' is no kind of thing")),
    ("    length: 30 m\n", "    length: 30 m\n    soil: erodible\n", ("east swale", "soil")),
    ("roofs: [barn]", "roofs: [palace]", ("barn tank", "palace", "barn")),
    ("through: [500085, 6399940]", "through: [700085, 6399940]", ("east swale", "through",
                                                                 "east of ground.tif")),
    ("through: [500085, 6399940]", "through: [500115, 6399940]", ("east swale",
                                                                 "outside the boundary")),
    ("length: 30 m", "length: 900 m", ("east swale", "length")),
    ("name: pond", "name: trees", ("two works", "trees")),
    ("kind: swale", "spills to: the sea\n    kind: swale", ("east swale", "the sea")),
    ("evapotranspiration: [220,", "evapotranspiration: [", ("evapotranspiration", "12")),
    ("evapotranspiration", "rules: {berm hieght: 1 m}\nevapotranspiration", ("rules",
                                                                            "berm hieght")),
    ("file: rain.csv", "file: gone.csv", ("gone.csv",)),
    ("file: rain.csv", "file: " + 300 * "x", ("xxx", "no such file")),
    ("file: cover.geojson", "file: " + 300 * "x" + ".tif", ("line 7", "no such file")),
    ("file: soils.geojson", "file: " + 300 * "x", ("line 10", "no such file")),
    ("file: ground.tif", "file: " + 300 * "x", ("xxx", "no such file")),
    ("file: rain.csv", "file: .", ("cannot be read (is a directory)",)),
    ("file: rain.csv", "file:", ("line 25", "daily, file: no file is named",)),
    ("file: rain.csv", "file: 3", ("daily, file: '3' is not a file's name",)),
    ("otherwise: C", "otherwise: C\n  drained: maybe", ("neither true nor false",)),
    ("otherwise: pasture, poor", "otherwise: pasture, poor\n  drawn: yard.gpkg",
     ("drawn: 'yard.gpkg' is no list of fields",)),
    ("  file: boundary.geojson", "  file: boundary.geojson\n  depth: 3 m", ("depth", "elsewhere")),
    ("depth: 20 mm", "depth: 1e308 mm", ("line 19", "depth", "more than 10,000 mm")),
    ("depth: 20 mm", "depth: 1e-300 mm", ("line 19", "depth", "below 0.1 mm")),
    ("duration: 2 h", "duration: 1e6 h", ("line 20", "duration", "more than 8,784 h")),
    ("duration: 2 h", "duration: 1e-300 h", ("line 20", "duration", "below 0.0167 h")),
    ("rain:\n", "rain:\n  two year day: 1e-300 mm\n", ("two year day", "below 0.1 mm")),
    ("rain:\n", "rain:\n  climate factor: -1\n", ("climate factor", "-1 is below 0.5")),
    ("rain:\n", "runoff: {peak factor: 50}\nrain:\n", ("peak factor", "50 is below 100")),
    ("rain:\n", "runoff: {channel roughness: 0}\nrain:\n", ("channel roughness", "0 is below 0.0")),
    ("rain:\n", "runoff: {channel radius: 0 m}\nrain:\n", ("channel radius", "not above 0")),
    ("rain:\n", "runoff: {channel radius: 1e-300 m}\nrain:\n", ("channel radius", "below 0.01 m")),
    ("rain:\n", "runoff: {channel from: 1e308 m2}\nrain:\n", ("channel from",
                                                              "more than 1,000,000,000,000 m2")),
    ("rain:\n", "weather: {file: w.csv, wind height: 0.1 m}\nrain:\n", ("wind height",
                                                                       "below 0.2 m")),
    ("file: boundary.geojson", "file: gone.geojson", ("gone.geojson",)),
])
def test_slip_in_the_site_file(levelsill, small_site, old, new, words):
    refused(levelsill("check", edited(small_site, old, new)), *words)


def test_boundary_outside_the_raster(levelsill, small_site, write_layer):
    from shapely.geometry import box

    path = small_site.parent / "boundary.geojson"
    path.unlink()
    write_layer(path, [{"geometry": box(510000, 6390000, 510100, 6390100)}])
    refused(levelsill("check", small_site), "boundary", "outside")


def test_unknown_cover_class(levelsill, small_site, write_layer):
    from shapely.geometry import box

    path = small_site.parent / "cover.geojson"
    path.unlink()
    write_layer(path, [{"cover": "bear soil", "geometry": box(500070, 6399950, 500090, 6399970)}])
    refused(levelsill("check", small_site), "cover.geojson", "bear soil", "bare soil")


def test_spills_in_a_circle(levelsill, small_site):
    edited(small_site, "kind: swale", "spills to: pond\n    kind: swale")
    edited(small_site, "kind: basin", "spills to: east swale\n    kind: basin")
    refused(levelsill("check", small_site), "circle", "pond", "east swale")


def test_plan_folder_of_somebody_else_is_left_alone(levelsill, small_site, tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("years of work")
    refused(levelsill("plan", small_site, "--out", mine), "mine", "did not write")
    assert [f.name for f in mine.iterdir()] == ["thesis.txt"]


def test_option_that_is_none(levelsill):
    line = refused(levelsill("survey", "hill.tif", "--deep"), "--deep", "survey --help")
    assert re.match(r"levelsill: ", line)


def test_command_that_is_none(levelsill):
    refused(levelsill("drown"), "drown")


def test_a_decimal_comma_does_not_change_the_number(levelsill, small_site):
    ground = small_site.parent / "ground.tif"
    refused(levelsill("swale", ground, "--through", "500085,6399940", "--depth", "0,4 m"),
            "0,4 m", "with a point")
    refused(levelsill("check", edited(small_site, "depth: 20 mm", "depth: 20,5 mm")), "20,5 mm")


def test_a_plan_into_a_file_is_refused(levelsill, small_site, tmp_path):
    (tmp_path / "note").write_text("mine")
    refused(levelsill("plan", small_site, "--out", tmp_path / "note" / "plan"), "note")


def test_a_wall_over_a_hole_in_the_raster(levelsill, tmp_path, write_raster):
    row, column = np.mgrid[0:60, 0:60].astype(float)
    heights = (100 - 0.04 * row + 0.08 * np.abs(column - 30)).astype(np.float32)
    heights[39:42, 30:33] = np.nan
    path = write_raster(tmp_path / "hole.tif", heights, nodata=float("nan"))
    refused(levelsill("basin", path, "--wall", "500010.5,6399959.5", "500050.5,6399959.5",
                      "--crest", "99.6m", "--fill-holes", "0"), "--wall", "no height")


@pytest.mark.parametrize(("words", "said"), [
    (["--cn", "80", "--storm", "30mm", "--duration", "1e300h"], "--duration: a storm of 1e+300 h"),
    (["--cn", "80", "--storm", "30mm", "--duration", "1e-9h"], "--duration: a storm of 1e-09 h"),
    (["--cn", "80", "--storm", "1e308mm"], "--storm: 1e+308 mm"),
    (["--cn", "80", "--storm", "30mm", "--two-year-day", "1e-300mm"], "--two-year-day: 1e-300 mm"),
    (["--cn", "nan", "--storm", "30mm"], "--cn: nan is no curve number"),
    (["--cover", "cover.geojson", "--soils", "E"], "--soils: 'E' is neither a soil group nor"),
])
def test_rain_and_ground_that_are_none(levelsill, small_site, words, said):
    refused(levelsill("shed", "ground.tif", "--at", "500060,6399900", *words,
                      folder=small_site.parent), said)


def test_a_folder_in_place_of_a_layer(levelsill, small_site):
    path = small_site.parent / "cover.geojson"
    path.unlink()
    path.mkdir()
    said = refused(levelsill("check", small_site), "line 6", "not a vector layer")
    assert "driver" not in said  # one sentence of the library's is enough


def test_a_road_of_no_width_that_is(levelsill, small_site, write_layer):
    from shapely.geometry import LineString

    path = small_site.parent / "roads.geojson"
    path.unlink()
    write_layer(path, [{"name": "track", "width": 1e308,
                        "geometry": LineString([(500012, 6399960), (500108, 6399955)])}])
    refused(levelsill("check", small_site), "feature 1, width", "wider than any")


def test_a_site_file_that_is_no_text(levelsill, small_site):
    small_site.write_bytes("name: Höhe".encode("utf-16"))
    refused(levelsill("check", small_site), "site.yaml", "UTF-8")


@pytest.mark.parametrize("words", [
    ["--cn", "80", "--cover", "c.gpkg"], ["--length", "1mm"]])
def test_words_that_do_not_go_together(levelsill, small_site, words):
    refused(levelsill("swale", small_site.parent / "ground.tif", "--through", "500085,6399940",
                      *words), words[0])
