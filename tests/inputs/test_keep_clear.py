"""Things to keep clear of: layers and drawn points read, wrong ones refused in one sentence."""

from __future__ import annotations

import pytest
from constructed import NORTH, WEST
from shapely.geometry import LineString, MultiPoint, Point, box

from terrain.errors import InputError
from terrain.inputs.elevation import open_elevation
from terrain.inputs.keep_clear import read_keep_clear
from terrain.inputs.site import read_site

FOOT = 0.3048


def site_with(small_site, words: str):
    small_site.write_text(small_site.read_text() + "keep clear:\n" + words)
    return small_site


def things(path):
    site = read_site(path)
    files = open_elevation([site.folder / file for file in site.elevation.file])
    return read_keep_clear(site, files)


def told(path) -> str:
    with pytest.raises(InputError) as error:
        things(path)
    said = str(error.value)
    assert said.startswith(f"{path} line ")
    assert said.endswith(".")
    assert "\n" not in said
    return said


def test_drawn_points_lines_and_areas(small_site):
    found, notes = things(site_with(small_site, """\
  - what: tree
    name: oak
    at: [[500030, 6399900], [500035, 6399905]]
    crown: 20 ft
  - what: Private  Well
    at: [500040, 6399930]
  - what: buried gas line
    name: main
    along: [[500020, 6399900], [500020, 6399950]]
  - what: wet ground
    around: [[500040, 6399860], [500060, 6399860], [500060, 6399880], [500040, 6399880]]
    depth: 0.6 m
"""))
    assert [(t.kind, t.name) for t in found] == [
        ("tree", "oak 1"), ("tree", "oak 2"), ("private well", "private well"),
        ("buried gas line", "main"), ("wet ground", "wet ground")]
    assert found[0].measure == pytest.approx(20 * FOOT)  # the international foot
    assert found[3].shape.length == pytest.approx(50)
    assert found[4].shape.area == pytest.approx(400)
    assert found[4].measure == 0.6
    assert found[3].called == 'the buried gas line "main"'
    assert found[2].called == "the private well"
    assert notes == []


def test_a_layer_in_another_system_with_columns(small_site, write_layer):
    import geopandas

    rows = [{"label": "old oak", "wide": "8 m", "geometry": Point(500030, 6399900)},
            {"label": None, "wide": None, "geometry": Point(500040, 6399910)}]
    frame = geopandas.GeoDataFrame(rows, geometry="geometry", crs="EPSG:32734").to_crs("EPSG:4326")
    frame.to_file(small_site.parent / "trees.geojson")
    found, _ = things(site_with(small_site, """\
  - what: tree
    file: trees.geojson
    name field: label
    crown field: wide
    crown: 5 m
    distance: 6 m
"""))
    assert [(t.name, t.measure, t.distance) for t in found] == [("old oak", 8.0, 6.0),
                                                               ("tree 2", 5.0, 6.0)]
    assert found[0].shape.distance(Point(500030, 6399900)) < 0.01


def test_numbers_without_a_unit_are_told(small_site, write_layer):
    write_layer(small_site.parent / "trees.geojson", [
        {"crown": 8, "geometry": Point(500030, 6399900)}])
    found, notes = things(site_with(small_site, "  - what: tree\n    file: trees.geojson\n"))
    assert found[0].measure == 8
    assert any("column crown of trees.geojson were taken in metres" in note for note in notes)


def test_a_feature_off_the_raster_is_left_out_and_told(small_site, write_layer):
    write_layer(small_site.parent / "wells.geojson", [
        {"name": "ours", "geometry": Point(500040, 6399930)},
        {"name": "far", "geometry": Point(509040, 6399930)}])
    found, notes = things(site_with(small_site, """\
  - what: public well
    file: wells.geojson
"""))
    assert [t.name for t in found] == ["ours"]
    assert any("far lies off the raster, and was left out" in note for note in notes)


@pytest.mark.parametrize(("words", "said"), [
    ("what: septik feild; at: [500040, 6399930]", "the nearest is 'septic field'"),
    ("what: well; at: [500040, 6399930]", "well'"),
    ("what: tree; at: [500040, 6399930]", "needs the width of its crown"),
    ("what: tree; at: [500040, 6399930]; along: [[500040, 6399930], [500050, 6399930]]",
     "at and along are given"),
    ("what: private well", "lies in a layer (file) or is drawn here"),
    ("what: private well; along: [[500040, 6399930], [500050, 6399930]]", "is no line"),
    ("what: buried line; at: [500040, 6399930]", "draw it as a line (along)"),
    ("what: retaining wall; along: [[500040, 6399930], [500050, 6399930]]", "needs its height"),
    ("what: rock; around: [[500040, 6399930], [500050, 6399930], [500050, 6399940]]",
     "needs the depth"),
    ("what: private well; at: [500040, 6399930]; crown: 3 m", "crown is that of a tree"),
    ("what: private well; at: [500040, 6399930]; layer: wells", "those of a file"),
    ("what: private well; at: [500040, 6399930]; distnace: 3 m", "Perhaps 'distance' was meant"),
    ("what: private well; at: [500040, 6399930]; distance: 0 m", "not above 0"),
    ("what: private well; at: [700040, 6399930]", "east of ground.tif"),
    ("what: buried line; along: [[500040, 6399930], [500040, 6399930]]", "all its points are one"),
    ("what: unstable ground; around: [[500040, 6399930], [500050, 6399940], [500050, 6399930], "
     "[500040, 6399940]]", "crosses itself"),
    ("what: private well; file: gone.geojson", "no such file"),
])
def test_what_cannot_be_is_one_sentence(small_site, words, said):
    lines = words.split("; ")
    entry = f"  - {lines[0]}\n" + "".join(f"    {line}\n" for line in lines[1:])
    found = told(site_with(small_site, entry))
    assert said in found
    assert "keep clear" in found


@pytest.mark.parametrize(("kind", "rows", "said"), [
    ("septic field", [], "it holds no features"),
    ("private well", [LineString([(500040, 6399930), (500050, 6399930)])],
     "feature 1: it is a line that does not close, not an area"),
    ("buried line", [Point(500040, 6399930)], "and this is a point"),
    ("tree", [Point(500040, 6399930)], "nothing says the width of its crown"),
    ("tree", [MultiPoint([(500040, 6399930), (500050, 6399930)])], "the width of its crown"),
    ("fill edge", [box(500040, 6399930, 500050, 6399940)], "nothing says its height"),
    ("wet ground", [box(500040, 6399930, 500050, 6399940)], "the depth at which it lies"),
    ("septic field", [Point(WEST + 1e5, NORTH)], "all of it lies off ground.tif"),
])
def test_layers_that_do_not_fit(small_site, kind, rows, said):
    import geopandas

    frame = geopandas.GeoDataFrame({"name": ["it"] * len(rows)}, geometry=rows, crs="EPSG:32734")
    frame.to_file(small_site.parent / "layer.gpkg", layer="it")
    found = told(site_with(small_site, f"  - what: {kind}\n    file: layer.gpkg\n"))
    assert said in found
    assert "layer.gpkg" in found


def test_a_measure_that_is_none(small_site, write_layer):
    write_layer(small_site.parent / "trees.geojson", [
        {"crown": "wide", "geometry": Point(500040, 6399930)}])
    found = told(site_with(small_site, "  - what: tree\n    file: trees.geojson\n"))
    assert "feature 1, crown: 'wide'" in found
