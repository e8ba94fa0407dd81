"""The GeoPackage read back by geopandas and SQLite; styles by ElementTree."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas
import numpy as np
import pyogrio
import pytest
import rasterio

from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import WORDS
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.gis.fields import storm_fields
from terrain.outputs.gis.geopackage import add_styles, write_geopackage
from terrain.outputs.gis.layers import KEEP_CLEAR
from terrain.outputs.gis.style import Line, Rule, sld
from terrain.outputs.gis.styles import STYLES
from terrain.outputs.gis.surfaces import write_design_surface

SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
#: Order of parts in the schema of OGC 02-070 (StyledLayerDescriptor.xsd 1.0.0).
ORDER = {
    "NamedLayer": ("Name", "LayerFeatureConstraints", "NamedStyle", "UserStyle"),
    "UserStyle": ("Name", "Title", "Abstract", "IsDefault", "FeatureTypeStyle"),
    "FeatureTypeStyle": ("Name", "Title", "Abstract", "FeatureTypeName", "Rule"),
    "Rule": ("Name", "Title", "Abstract", "LegendGraphic", "Filter", "ElseFilter",
             "MinScaleDenominator", "MaxScaleDenominator", "Symbolizer"),
    "PolygonSymbolizer": ("Geometry", "Fill", "Stroke"),
    "LineSymbolizer": ("Geometry", "Stroke"),
    "PointSymbolizer": ("Geometry", "Graphic"),
    "TextSymbolizer": ("Geometry", "Label", "Font", "LabelPlacement", "Halo", "Fill"),
    "Graphic": ("Mark", "Opacity", "Size", "Rotation"),
    "Mark": ("WellKnownName", "Fill", "Stroke")}
#: The well-known names of marks in the same standard.
MARKS = {"square", "circle", "triangle", "star", "cross", "x"}


@pytest.fixture(scope="module")
def field(demo_plan):
    return setting_out(demo_plan)


@pytest.fixture(scope="module")
def written(demo_plan, field, tmp_path_factory):
    path = tmp_path_factory.mktemp("gis") / "plan.gpkg"
    write_geopackage(demo_plan, path, field)
    return path


@pytest.fixture(scope="module")
def layers(written):
    return {name: geopandas.read_file(written, layer=name)
            for name, kind in pyogrio.list_layers(written) if kind is not None}


@pytest.fixture(scope="module")
def styles(written):
    with closing(sqlite3.connect(written)) as base:
        return dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))


def test_all_layers_are_there_in_the_working_frame(demo_plan, layers):
    assert set(layers) >= {
        "boundary", "stores", "works", "swales", "basins", "hollows", "sills", "catchments",
        "spills", "longest_ways", "flow_lines", "road_surfaces", "roof_outlines", "road_sheds",
        "bare_sheds", "shed_points", "shed_paths", "road_turnouts", "breaklines",
        "designed_contours", "contours", "stakes", "cautions", "keep_clear_points",
        "keep_clear_lines", "keep_clear_areas", "breach_ways", "pipes", "cover", "soils"}
    for name, layer in layers.items():
        assert layer.crs == demo_plan.inputs.dem.frame.working, name
        assert len(layer), name
        assert layer.geometry.notna().all(), name
        assert layer.is_valid.all(), name


def test_values_are_those_of_plan_json(demo_plan, layers):
    told = plan_object(demo_plan)
    stores = layers["stores"].set_index("name")
    for store in told["stores"]:
        row = stores.loc[store["name"]]
        assert row["storage_m3"] == pytest.approx(store["storage_m3"], abs=1e-6)
        assert row["catchment_m2"] == pytest.approx(store["catchment_m2"], abs=1e-6)
        for storm, fates in store["storms"].items():
            assert row[f"caught {storm} m3"] == pytest.approx(fates["caught_m3"], abs=1e-5)
        said = layers["cautions"][layers["cautions"].name == store["name"]]
        assert list(said.sort_values("number").caution) == store["cautions"]
    assert layers["boundary"].area.sum() == pytest.approx(told["boundary_m2"], rel=1e-9)
    points = layers["shed_points"]
    for shed in told["sheds"]:
        rows = points[points["shed"] == shed["name"]].sort_values("rank")
        assert list(rows["passes 10-year day m3"]) == pytest.approx(
            [point["storms"]["10-year day"]["passes_m3"] for point in shed["points"]], abs=1e-5)


def test_areas_are_the_plans(demo_plan, layers):
    cell = demo_plan.inputs.dem.cell_area
    for layer, field in (("catchments", "area_m2"), ("road_sheds", "catchment_m2"),
                         ("bare_sheds", "catchment_m2"), ("cover", "area_m2"),
                         ("soils", "area_m2"), ("works", "area_m2"), ("boundary", "area_m2")):
        rows = layers[layer]
        # Cells whose curve number is not known count in no catchment's area.
        assert rows.area.to_numpy() == pytest.approx(rows[field].to_numpy(), rel=1e-6, abs=cell), \
            layer
    assert layers["cover"].area.sum() == pytest.approx(demo_plan.inputs.dem.heights.size * cell)
    sheds = {row["name"]: row for row in plan_object(demo_plan)["sheds"]}
    for _, row in layers["road_sheds"].iterrows():
        assert row["own_area_m2"] == pytest.approx(sheds[row["name"]]["area_m2"])


def test_contours_lie_at_their_level(demo_plan, layers):
    """On the smoothed ground within a twentieth of the interval; on the raster's a little more."""
    rows = layers["contours"]
    levels = np.sort(rows["level_m"].unique())
    interval = np.diff(levels).min()
    off = []
    for _, row in rows.iterrows():
        x, y = np.asarray(row.geometry.coords).T
        off.append(demo_plan.inputs.dem.height_at(x, y) - row["level_m"])
    off = np.abs(np.concatenate(off))
    assert np.nanmedian(off) < interval / 10
    assert np.nanmax(off) < 2 * interval
    assert set(levels[rows.groupby("level_m")["index"].first().to_numpy() == 1]) == {
        level for level in levels if abs(level / (5 * interval) - round(level / (5 * interval)))
        < 1e-6}


def test_contours_of_the_designed_ground_lie_on_the_raster(demo_plan, field, layers, tmp_path):
    write_design_surface(demo_plan, tmp_path / "ground.tif", field)
    with rasterio.open(tmp_path / "ground.tif") as found:
        for _, row in layers["designed_contours"].iloc[::7].iterrows():
            points = [point[:2] for point in row.geometry.segmentize(1.0).coords][1:-1]
            found_at = np.array([value[0] for value in found.sample(points)])
            near = np.abs(found_at - row["level_m"])
            assert np.nanmedian(near) < 0.15  # half a cell off on a bank's side of 1 in 2
    assert np.allclose(layers["designed_contours"]["level_m"] / 0.25 % 1, 0, atol=1e-9)


def test_ways_of_the_water_carry_what_drains_there(demo_plan, layers):
    """What gathers at a way's last cell but one is the ground that `catchment` finds above it."""
    dem, terrain = demo_plan.inputs.dem, demo_plan.terrain
    rows = layers["flow_lines"]
    for _, row in rows.sort_values("area_m2").iloc[:: len(rows) // 6].iterrows():
        cells = np.stack(dem.row_column(*np.asarray(row.geometry.coords).T), 1)
        least = min(abs(terrain.catchment(_one(dem.shape, cell)).sum() * dem.cell_area
                        - row["area_m2"]) for cell in cells[-4:])
        assert least <= 1e-6 * row["area_m2"] + dem.cell_area
    assert (rows["area_m2"] >= 500).all()


def _one(shape, cell):
    mask = np.zeros(shape, bool)
    mask[tuple(cell)] = True
    return mask


def test_stakes_are_those_of_the_table(field, layers):
    rows = layers["stakes"].sort_values("stake")
    assert list(rows["stake"]) == [staked.number for staked in field.stakes]
    assert list(rows["cut_m"]) == pytest.approx([s.stake.cut for s in field.stakes])
    assert ((rows["to"] == "dig") == (rows["cut_m"] >= 0.005)).all()


def test_every_layer_has_a_style_and_every_feature_a_rule(layers, styles):
    assert set(styles) == set(layers) <= set(STYLES)
    for name, layer in layers.items():
        seen = np.zeros(len(layer), int)
        for rule in ET.fromstring(styles[name].encode()).iter(f"{SLD}Rule"):
            asked = rule.find(f"{OGC}Filter")
            if asked is None:
                seen += 1
                continue
            fields = {part.text for part in asked.iter(f"{OGC}PropertyName")}
            values = {part.text for part in asked.iter(f"{OGC}Literal")}
            assert len(fields) == 1
            seen += layer[fields.pop()].astype(str).isin(values).to_numpy().astype(int)
        assert (seen == 1).all(), name  # each feature by one rule


def test_symbols_fit_the_shapes(layers, styles):
    fits = {"Polygon": "PolygonSymbolizer", "MultiPolygon": "PolygonSymbolizer",
            "LineString": "LineSymbolizer", "MultiLineString": "LineSymbolizer",
            "Point": "PointSymbolizer"}
    for name, layer in layers.items():
        there = {part.tag.removeprefix(SLD) for part in ET.fromstring(styles[name].encode()).iter()
                 if part.tag.endswith("Symbolizer")}
        assert {fits[kind] for kind in layer.geom_type} <= there, name


def test_styles_keep_the_standards_order_and_names(layers, styles):
    for name, text in styles.items():
        root = ET.fromstring(text.encode())
        assert root.tag == f"{SLD}StyledLayerDescriptor"
        assert root.get("version") == "1.0.0"
        assert root.findtext(f"{SLD}NamedLayer/{SLD}Name") == name
        for part in root.iter():
            kind = part.tag.rpartition("}")[2]
            if kind in ORDER:
                told = [child.tag.rpartition("}")[2] for child in part]
                told = ["Symbolizer" if one.endswith("Symbolizer") else one for one in told]
                places = [ORDER[kind].index(one) for one in told]
                assert places == sorted(places), (name, kind, told)
            if kind == "CssParameter" and part.get("name") in ("fill", "stroke"):
                assert re.fullmatch(r"#[0-9a-f]{6}", part.text)
            if kind == "WellKnownName":
                assert part.text in MARKS
        for label in root.iter(f"{SLD}Label"):
            assert label.findtext(f"{OGC}PropertyName") in layers[name].columns


def test_colours_are_those_of_the_map(styles):
    assert sy.WATER in styles["swales"]
    assert sy.SHED in styles["shed_points"]
    assert all(colour in styles["catchments"] for colour in sy.TINTS)


def test_every_symbol_of_things_to_keep_clear_of_has_its_looks():
    for end in KEEP_CLEAR:
        assert {rule.values for rule in STYLES[f"keep_clear_{end}"]} == {(key,) for key in WORDS}


def test_the_page_on_outputs_tells_every_layer_and_field(layers):
    page = (Path(__file__).parents[3] / "docs" / "outputs.md").read_text(encoding="utf-8")
    for name in STYLES:
        row = next((line for line in page.splitlines() if line.startswith(f"| `{name}` |")), None)
        assert row is not None, name
        for column in layers[name].columns if name in layers else ():
            told = re.sub(r" .*(?= m3$)", " STORM", column)
            assert column == "geometry" or f"`{told}`" in row, (name, column)


def test_words_in_a_style_are_escaped():
    text = sld("a<b", 'of "x" & <y>', [Rule("<&>", (Line("#000000"),), "kind", ("<1>&",))])
    root = ET.fromstring(text.encode())
    assert root.findtext(f"{SLD}NamedLayer/{SLD}Name") == "a<b"
    assert next(root.iter(f"{OGC}Literal")).text == "<1>&"


def test_the_contents_tell_what_each_layer_is(written, layers):
    with closing(sqlite3.connect(written)) as base:
        told = {name: (kind, said, when) for name, kind, said, when in base.execute(
            "SELECT table_name, data_type, description, last_change FROM gpkg_contents")}
        assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert told["layer_styles"][0] == "attributes"
    for name in layers:
        kind, said, when = told[name]
        assert kind == "features"
        assert when.startswith("2000-01-01")
        assert re.search(r"levels in metres.*inputs_sha256 [0-9a-f]{64}", said)


def test_the_same_plan_gives_the_same_layers(demo_plan, field, written, tmp_path):
    write_geopackage(demo_plan, tmp_path / "again.gpkg", field)
    assert (tmp_path / "again.gpkg").read_bytes() == written.read_bytes()
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_fields_of_storms_differ_whatever_their_names():
    fields = storm_fields(["big day", "Big Day", "average year", "BIG DAY"], "caught", "m3",
                          ["caught average year m3"])
    assert fields == ["caught big day m3", "caught Big Day (2) m3", "caught average year (2) m3",
                      "caught BIG DAY (3) m3"]


def test_storms_of_any_name_are_written(demo_plan, field, tmp_path):
    """Quotes, formulas, a name of an own field: all read back, none lost."""
    odd = ['a"; DROP TABLE stores;--', "=1+1", "A\"; drop table STORES;--", "average year", "{0}",
           "名前/..\\x"]
    names = dict(zip(demo_plan.storms, odd, strict=True))
    rain = demo_plan.site.rain
    storms = [storm.model_copy(update={"name": names[storm.name]}) for storm in rain.storms]
    site = demo_plan.site.model_copy(update={"rain": rain.model_copy(update={"storms": storms})})
    site._path = demo_plan.site.path
    plan = replace(demo_plan, inputs=replace(demo_plan.inputs, site=site),
                   storms={names[name]: account for name, account in demo_plan.storms.items()})
    write_geopackage(plan, tmp_path / "odd.gpkg", field)
    stores = geopandas.read_file(tmp_path / "odd.gpkg", layer="stores")
    told = [column for column in stores.columns if column.startswith("caught ")]
    assert len(told) == 7  # six storms and a year
    for column, account in zip(told[:6], plan.storms.values(), strict=True):
        assert list(stores[column]) == pytest.approx([e.caught for e in account.entries])


def test_a_frame_without_a_crs_is_written_without_one(demo_plan, tmp_path):
    from terrain.inputs.frame import Frame

    dem = replace(demo_plan.inputs.dem, frame=Frame(None, None))
    plan = replace(demo_plan, inputs=replace(demo_plan.inputs, dem=dem))
    rows = geopandas.GeoDataFrame([{"geometry": plan.inputs.ground.boundary}], crs=None)
    rows.to_file(tmp_path / "none.gpkg", layer="boundary", driver="GPKG", engine="pyogrio")
    add_styles(tmp_path / "none.gpkg", [])
    assert geopandas.read_file(tmp_path / "none.gpkg", layer="boundary").crs is None
