import json
from dataclasses import replace

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import CRS, Geod
from rasterio.transform import Affine
from shapely.geometry import LineString, Point, Polygon, box

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import METRES, Frame, in_metres
from terrain.inputs.ground_cover import cover_cells
from terrain.inputs.ground_soil import soil_cells
from terrain.inputs.layers import boundary_polygon, column, rasterized, read_layer
from terrain.inputs.site import Cover, Layer, Soils

# An invented plane: 40 by 30 cells of 2 m, its corner at LEFT, TOP.
LEFT, TOP = 512300.0, 6250000.0
WHERE = "site.yaml line 9, cover"
KNOWN = ["bare soil", "pasture, fair", "woods, good", "gravel road"]


def dem_on(code, left=LEFT, top=TOP, cell=2.0, shape=(30, 40)):
    crs = CRS.from_user_input(code) if code is not None else None
    frame = Frame(crs, in_metres(crs)) if crs is not None else Frame(None, None, 0.3048)
    return Dem(np.zeros(shape, np.float32), left, top, cell, frame, "hill.tif")


@pytest.fixture
def dem():
    return dem_on("EPSG:32734")


def patch(column_from, row_from, column_to, row_to):
    """A rectangle along the grid's cell edges."""
    return box(LEFT + 2 * column_from, TOP - 2 * row_to, LEFT + 2 * column_to, TOP - 2 * row_from)


def saved(folder, shapes, crs="EPSG:32734", name="layer.gpkg", layer=None, **columns):
    frame = geopandas.GeoDataFrame(columns or {"n": range(len(shapes))}, geometry=shapes, crs=crs)
    frame.to_file(folder / name, layer=layer, engine="pyogrio")
    return Layer(file=name)


def geojson(folder, geometry, name="layer.geojson", crs=None, **properties):
    document = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": properties, "geometry": geometry}]}
    if crs:
        document["crs"] = {"type": "name", "properties": {"name": crs}}
    (folder / name).write_text(json.dumps(document))
    return Layer(file=name)


# --- reading ---------------------------------------------------------------------------------

@pytest.mark.parametrize("name", ["layer.gpkg", "layer.shp", "layer.geojson"])
def test_a_layer_in_the_rasters_own_crs_stays_where_it_is(tmp_path, dem, name):
    spec = saved(tmp_path, [patch(1, 1, 5, 5), patch(6, 6, 8, 8)], name=name)
    layer = read_layer(spec, tmp_path, dem, WHERE)
    assert layer.crs == dem.frame.working
    assert layer.geometry.area.tolist() == pytest.approx([64, 16], abs=1e-6)
    assert layer.attrs["notes"] == []


def test_longitude_and_latitude_land_at_their_true_distance(tmp_path, dem):
    # Outside check: the geodesic of PROJ's Geod, against which a UTM plane is 0.04 % short here.
    lon, lat = (float(v) for v in dem.frame.to_lonlat(LEFT + 10, TOP - 10))
    spec = geojson(tmp_path, {"type": "LineString",
                              "coordinates": [[lon, lat], [lon + 0.0003, lat - 0.0002]]})
    layer = read_layer(spec, tmp_path, dem, WHERE)
    true = Geod(ellps="WGS84").inv(lon, lat, lon + 0.0003, lat - 0.0002)[2]
    assert layer.length.iloc[0] == pytest.approx(true, rel=5e-4)
    assert shapely.get_coordinates(layer.geometry.iloc[0])[0] == pytest.approx(
        [LEFT + 10, TOP - 10], abs=1e-4)
    assert any("longitude and latitude" in note for note in layer.attrs["notes"])


def test_kml_is_longitude_and_latitude(tmp_path, dem):
    lon, lat = dem.frame.to_lonlat([LEFT, LEFT + 20, LEFT + 20], [TOP, TOP, TOP - 20])
    saved(tmp_path, [Polygon(zip(lon, lat, strict=True))], "EPSG:4326", "place.kml")
    layer = read_layer(Layer(file="place.kml"), tmp_path, dem, WHERE)
    assert layer.area.iloc[0] == pytest.approx(200, rel=1e-4)


def test_a_raster_in_feet_is_worked_in_metres(tmp_path):
    dem = dem_on("EPSG:2868", left=217017.6, top=271272.0, cell=0.9144)  # plan in feet
    spec = saved(tmp_path, [box(712000, 889900, 712100, 889990)], "EPSG:2868")
    layer = read_layer(spec, tmp_path, dem, WHERE)
    assert layer.area.iloc[0] == pytest.approx(100 * 90 * 0.3048**2, rel=1e-9)
    assert layer.total_bounds[0] == pytest.approx(712000 * 0.3048, abs=1e-6)


def test_heights_in_the_shapes_are_left_out(tmp_path, dem):
    spec = saved(tmp_path, [LineString([(LEFT, TOP, 5), (LEFT + 9, TOP - 9, 6)])])
    assert not read_layer(spec, tmp_path, dem, WHERE).has_z.any()


def test_a_raster_without_crs_takes_a_layer_without_crs(tmp_path):
    dem = dem_on(None, left=0, top=60)
    layer = read_layer(saved(tmp_path, [box(0, 0, 100, 50)], None), tmp_path, dem, WHERE)
    assert layer.crs is None
    assert layer.total_bounds == pytest.approx([0, 0, 30.48, 15.24])
    bare = geojson(tmp_path, shapely.geometry.mapping(box(0, 0, 10, 10)))
    assert read_layer(bare, tmp_path, dem, WHERE).area.iloc[0] == pytest.approx(3.048**2)
    with pytest.raises(InputError, match=r"hill\.tif has no coordinate system"):
        read_layer(saved(tmp_path, [box(0, 0, 9, 9)], name="b.gpkg"), tmp_path, dem, WHERE)


def test_a_stated_crs_serves_where_the_file_has_none(tmp_path, dem):
    saved(tmp_path, [patch(1, 1, 5, 5)], None)
    with pytest.raises(InputError, match="no coordinate system"):
        read_layer(Layer(file="layer.gpkg"), tmp_path, dem, WHERE)
    spec = Layer(file="layer.gpkg", crs="EPSG:32734")
    assert read_layer(spec, tmp_path, dem, WHERE).area.iloc[0] == pytest.approx(64)
    with pytest.raises(InputError, match="'EPSG:nonsense' is not known"):
        read_layer(Layer(file="layer.gpkg", crs="EPSG:nonsense"), tmp_path, dem, WHERE)


def test_a_stated_crs_may_not_contradict_the_file(tmp_path, dem):
    saved(tmp_path, [patch(1, 1, 5, 5)])
    with pytest.raises(InputError, match=r"UTM zone 34S, but .* zone 35S"):
        read_layer(Layer(file="layer.gpkg", crs="EPSG:32735"), tmp_path, dem, WHERE)
    assert len(read_layer(Layer(file="layer.gpkg", crs="EPSG:32734"), tmp_path, dem, WHERE)) == 1


def test_geojson_in_metres_must_say_so(tmp_path, dem):
    shape = shapely.geometry.mapping(patch(1, 1, 5, 5))
    with pytest.raises(InputError, match="no longitudes and latitudes"):
        read_layer(geojson(tmp_path, shape), tmp_path, dem, WHERE)
    stated = Layer(file="layer.geojson", crs="EPSG:32734")
    assert read_layer(stated, tmp_path, dem, WHERE).area.iloc[0] == pytest.approx(64)
    written = geojson(tmp_path, shape, "b.geojson", "urn:ogc:def:crs:EPSG::32734")
    assert read_layer(written, tmp_path, dem, WHERE).area.iloc[0] == pytest.approx(64)


def test_several_layers_must_be_told_apart(tmp_path, dem):
    saved(tmp_path, [patch(1, 1, 5, 5)], layer="fields")
    saved(tmp_path, [patch(1, 1, 2, 2)], layer="yards")
    with pytest.raises(InputError, match="several layers: fields, yards"):
        read_layer(Layer(file="layer.gpkg"), tmp_path, dem, WHERE)
    yards = read_layer(Layer(file="layer.gpkg", layer="yards"), tmp_path, dem, WHERE)
    assert yards.area.iloc[0] == pytest.approx(4)
    with pytest.raises(InputError, match="no layer 'roofs', but fields, yards"):
        read_layer(Layer(file="layer.gpkg", layer="roofs"), tmp_path, dem, WHERE)


def test_what_is_no_layer(tmp_path, dem):
    (tmp_path / "note.geojson").write_text("dear surveyor")
    (tmp_path / "table.csv").write_text("a,b\n1,2\n")
    saved(tmp_path, [], name="none.gpkg")
    for name, words in (("absent.gpkg", "no such file"), ("note.geojson", "not a vector layer"),
                        ("table.csv", "no layer with shapes"), ("none.gpkg", "no features")):
        with pytest.raises(InputError, match=words) as caught:
            read_layer(Layer(file=name), tmp_path, dem, WHERE)
        assert caught.value.where == f"{WHERE}, {name}"


def test_an_empty_shape_is_named(tmp_path, dem):
    spec = saved(tmp_path, [patch(1, 1, 5, 5), None])
    with pytest.raises(InputError, match=r"layer.gpkg, feature 2: it has no shape"):
        read_layer(spec, tmp_path, dem, WHERE)


def test_a_crossed_outline_is_repaired_and_told(tmp_path, dem):
    bow = Polygon([(LEFT, TOP), (LEFT + 10, TOP - 10), (LEFT + 10, TOP), (LEFT, TOP - 10)])
    layer = read_layer(saved(tmp_path, [patch(1, 1, 5, 5), bow]), tmp_path, dem, WHERE)
    assert layer.is_valid.all()
    assert layer.area.iloc[1] == pytest.approx(50)  # two triangles of 10 by 5
    assert any("feature 2" in note and "50 m2" in note for note in layer.attrs["notes"])


def test_an_outline_round_nothing_is_refused(tmp_path, dem):
    flat = Polygon([(LEFT, TOP), (LEFT + 10, TOP), (LEFT + 5, TOP)])
    with pytest.raises(InputError, match="feature 1: its outline encloses no ground"):
        read_layer(saved(tmp_path, [flat]), tmp_path, dem, WHERE)
    dot = LineString([(LEFT, TOP), (LEFT, TOP)])
    with pytest.raises(InputError, match="feature 1: all its points are one"):
        read_layer(saved(tmp_path, [dot], name="b.gpkg"), tmp_path, dem, WHERE)


def test_an_old_datum_without_its_grid_is_refused(tmp_path):
    dem = dem_on("EPSG:26912", left=430800, top=3771000)  # NAD83, the layer below NAD27
    spec = saved(tmp_path, [box(430810, 3770700, 430850, 3770740)], "EPSG:26712")
    with pytest.raises(InputError, match=r"NAD27 cannot be moved onto NAD83 truly; .*grid file"):
        read_layer(spec, tmp_path, dem, WHERE)


def test_a_move_between_datums_says_how_sure_it_is(tmp_path):
    dem = dem_on("EPSG:32734", left=500000, top=6350000)
    spec = saved(tmp_path, [Point(21.0, -33.0)], "EPSG:4222", name="cape.gpkg")
    layer = read_layer(spec, tmp_path, dem, WHERE)
    # Outside check, by hand: to geocentric metres on Clarke 1880 (Arc), the shift of EPSG operation
    # 1128 (Cape to WGS 84 (1), good to 9 m by the register), and back by Bowring's formula (1976).
    a, f = 6378249.145, 1 / 293.4663077
    lon, lat = np.radians(21.0), np.radians(-33.0)
    e2 = f * (2 - f)
    n = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    x = n * np.cos(lat) * np.cos(lon) - 136.0
    y = n * np.cos(lat) * np.sin(lon) - 108.0
    z = n * (1 - e2) * np.sin(lat) - 292.0
    a, f = 6378137.0, 1 / 298.257223563
    e2, b, p = f * (2 - f), a * (1 - f), np.hypot(x, y)
    u = np.arctan2(z * a, p * b)
    new = np.arctan2(z + e2 / (1 - e2) * b * np.sin(u) ** 3, p - e2 * a * np.cos(u) ** 3)
    expected = dem.frame.from_lonlat(np.degrees(np.arctan2(y, x)), np.degrees(new))
    unmoved = dem.frame.from_lonlat(21.0, -33.0)
    point = layer.geometry.iloc[0]
    assert (point.x, point.y) == pytest.approx([float(v) for v in expected], abs=0.01)
    assert np.hypot(point.x - unmoved[0], point.y - unmoved[1]) > 50
    assert any("Layers in Cape were moved to WGS 84" in note and "about 9.0 m" in note
               for note in layer.attrs["notes"])


# --- boundary --------------------------------------------------------------------------------

def test_the_boundary_is_dissolved_and_a_closed_line_encloses(tmp_path, dem):
    ring = LineString(patch(5, 0, 10, 5).exterior.coords)
    layer = read_layer(saved(tmp_path, [patch(0, 0, 5, 5), ring]), tmp_path, dem, WHERE)
    outline = boundary_polygon(layer, dem, "boundary")
    assert outline.geom_type == "Polygon"
    assert outline.equals(patch(0, 0, 10, 5))


@pytest.mark.parametrize(("shape", "kind"), [
    (Point(LEFT + 5, TOP - 5), "point"),
    (LineString([(LEFT, TOP), (LEFT + 5, TOP - 5), (LEFT + 9, TOP)]), "line that does not close")])
def test_a_boundary_encloses_ground(tmp_path, dem, shape, kind):
    layer = read_layer(saved(tmp_path, [shape]), tmp_path, dem, WHERE)
    with pytest.raises(InputError, match=f"boundary, feature 1: it is a {kind}"):
        boundary_polygon(layer, dem, "boundary")


@pytest.mark.parametrize(("corner", "away"), [
    ((0, 100), "100 m to the north"), ((-60, -40), "50 m to the west"),
    ((83, -66), "5 m to the south-east")])
def test_a_boundary_outside_says_how_far_and_where(tmp_path, dem, corner, away):
    x, y = LEFT + corner[0], TOP + corner[1]
    shape = box(x, y, x + 10, y + 10) if corner[1] >= 0 else box(x, y - 10, x + 10, y + 2)
    layer = read_layer(saved(tmp_path, [shape]), tmp_path, dem, WHERE)
    with pytest.raises(InputError, match=f"boundary: it lies outside hill.tif, {away}"):
        boundary_polygon(layer, dem, "boundary")


def test_a_boundary_must_lie_whole_on_the_raster(tmp_path, dem):
    whole = read_layer(saved(tmp_path, [patch(0, 0, 40, 30)]), tmp_path, dem, WHERE)
    assert boundary_polygon(whole, dem, "boundary").area == pytest.approx(80 * 60)
    over = read_layer(saved(tmp_path, [patch(30, 10, 50, 20)], name="b.gpkg"), tmp_path, dem, WHERE)
    with pytest.raises(InputError, match=r"sticks out of hill.tif by 20.0 m in the east \(50.0 %"):
        boundary_polygon(over, dem, "boundary")


# --- cells -----------------------------------------------------------------------------------

def test_rasterized_burns_values_and_later_ones_overrule(dem):
    cells = rasterized([(patch(0, 0, 10, 10), 7.5), (patch(5, 5, 8, 8), -2.25)], dem, np.nan,
                       np.float64)
    assert (cells[:5, :5] == 7.5).all()
    assert (cells[5:8, 5:8] == -2.25).all()
    assert np.isnan(cells).sum() == 30 * 40 - 100
    assert rasterized([], dem, 3, np.uint8).tolist() == np.full((30, 40), 3).tolist()


def test_rasterized_all_touched_takes_every_cell_a_shape_meets(dem):
    sliver = box(LEFT, TOP - 0.5, LEFT + 6, TOP)
    assert rasterized([(sliver, True)], dem, False, bool).sum() == 0
    assert rasterized([(sliver, True)], dem, False, bool, all_touched=True)[0, :3].all()


def test_a_column_in_capitals_or_not(tmp_path, dem):
    layer = read_layer(saved(tmp_path, [patch(1, 1, 2, 2)], MuSym=["x"]), tmp_path, dem, WHERE)
    assert column(layer, "MUSYM", "soils").tolist() == ["x"]
    with pytest.raises(InputError, match="soils: there is no column 'group'; it has MuSym"):
        column(layer, "group", "soils")


def test_two_columns_that_differ_in_capitals_only(tmp_path, dem):
    layer = read_layer(geojson(tmp_path, {"type": "Point", "coordinates": [21, -33]},
                               Group="A", GROUP="B"), tmp_path, dem, WHERE)
    assert column(layer, "GROUP", "soils").tolist() == ["B"]
    with pytest.raises(InputError, match="both"):
        column(layer, "group", "soils")


def test_cover_by_polygons(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 40, 20), patch(10, 10, 20, 15)], cover=["Veld", "WOODS, good"])
    spec = Cover(file="layer.gpkg", classes={"veld": "pasture, fair"})
    cells, names, notes = cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    assert cells.dtype == np.int16
    assert names == ["pasture, fair", "woods, good"]
    assert (cells == 1).sum() == 50
    assert (cells[10:15, 10:20] == 1).all()
    assert (cells == -1).sum() == 400
    assert any("33.3 % of the raster has no cover class" in note for note in notes)
    filled = spec.model_copy(update={"otherwise": "bare soil"})
    cells, names, notes = cover_cells(filled, tmp_path, dem, KNOWN, WHERE)
    assert names[cells[29, 0]] == "bare soil"
    assert (cells >= 0).all()
    assert any("33.3 %" in note and "bare soil" in note for note in notes)


def test_cover_codes_as_numbers(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 40, 30)], cover=[41.0])
    spec = Cover(file="layer.gpkg", classes={"41": "woods, good"})
    assert cover_cells(spec, tmp_path, dem, KNOWN, WHERE)[1] == ["woods, good"]


def test_an_unknown_cover_names_feature_and_nearest(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 4, 4), patch(4, 4, 8, 8)], cover=["bare soil", "woods good"])
    with pytest.raises(InputError, match=r"layer.gpkg, feature 2: the class 'woods good' is not "
                       r"known; the nearest are 'woods, good'"):
        cover_cells(Cover(file="layer.gpkg"), tmp_path, dem, KNOWN, WHERE)
    with pytest.raises(InputError, match="'woods good', taken as 'forest', is not known"):
        cover_cells(Cover(file="layer.gpkg", classes={"woods good": "forest"}), tmp_path, dem,
                    KNOWN, WHERE)
    with pytest.raises(InputError, match="otherwise: the class 'gravle road'"):
        cover_cells(Cover(file="layer.gpkg", otherwise="gravle road"), tmp_path, dem, KNOWN, WHERE)


def test_an_empty_cover_is_taken_as_otherwise_or_refused(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 40, 30)], cover=[None])
    with pytest.raises(InputError, match="feature 1: its cover is empty"):
        cover_cells(Cover(file="layer.gpkg"), tmp_path, dem, KNOWN, WHERE)
    cells, names, notes = cover_cells(Cover(file="layer.gpkg", otherwise="bare soil"), tmp_path,
                                      dem, KNOWN, WHERE)
    assert names == ["bare soil"]
    assert (cells == 0).all()
    assert any("feature 1 without a class was taken as bare soil" in note for note in notes)


def test_cover_that_does_not_show_is_told(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 40, 30), patch(0.1, 0.1, 0.3, 0.3), patch(50, 0, 60, 9)],
          cover=["bare soil"] * 3)
    notes = cover_cells(Cover(file="layer.gpkg"), tmp_path, dem, KNOWN, WHERE)[2]
    assert any("feature 2" in note and "smaller than a cell" in note for note in notes)
    assert any("feature 3" in note and "outside hill.tif" in note for note in notes)


def test_a_cover_line_is_no_area(tmp_path, dem):
    saved(tmp_path, [LineString([(LEFT, TOP), (LEFT + 5, TOP - 5)])], cover=["bare soil"])
    with pytest.raises(InputError, match="feature 1: it is a line that does not close"):
        cover_cells(Cover(file="layer.gpkg"), tmp_path, dem, KNOWN, WHERE)


def coded(folder, codes, transform, crs="EPSG:32734", nodata=0, dtype="uint8", name="codes.tif"):
    codes = np.asarray(codes, dtype)
    with rasterio.open(folder / name, "w", driver="GTiff", height=codes.shape[0],
                       width=codes.shape[1], count=1, dtype=dtype, crs=crs, transform=transform,
                       nodata=nodata) as file:
        file.write(codes, 1)


def test_cover_by_a_raster(tmp_path, dem):
    # cells of 20 m: the grid's 80 by 60 m is 4 by 3 of them
    coded(tmp_path, [[10, 10, 20, 20], [10, 30, 20, 0], [30, 30, 30, 30]],
          Affine(20, 0, LEFT, 0, -20, TOP))
    spec = Cover(file="codes.tif", otherwise="gravel road", classes={
        "10": "woods, good", "20": "pasture, fair", "30": "bare soil"})
    cells, names, notes = cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    blocks = np.array([["woods, good"] * 2 + ["pasture, fair"] * 2,
                       ["woods, good", "bare soil", "pasture, fair", "gravel road"],
                       ["bare soil"] * 4])
    assert (np.array(names)[cells] == np.kron(np.arange(12).reshape(3, 4), np.ones((10, 10), int)
                                              ).choose(blocks.ravel())).all()
    assert any("20 metre" in note for note in notes)
    short = spec.model_copy(update={"classes": {"10": "woods, good"}})
    with pytest.raises(InputError, match=r"codes.tif: its codes 20, 30 have no class"):
        cover_cells(short, tmp_path, dem, KNOWN, WHERE)


def test_a_raster_in_degrees_lands_where_its_cells_are(tmp_path, dem):
    lon, lat = dem.frame.to_lonlat([LEFT, LEFT + 80, LEFT + 40], [TOP, TOP - 60, TOP - 30])
    step = 0.0001
    west, north = min(lon) - 5 * step, max(lat) + 5 * step
    codes = np.full((30, 30), 10)
    column_, row = int((lon[2] - west) / step), int((north - lat[2]) / step)
    codes[row, column_] = 20
    coded(tmp_path, codes, Affine(step, 0, west, 0, -step, north), "EPSG:4326")
    spec = Cover(file="codes.tif", classes={"10": "bare soil", "20": "woods, good"})
    cells, names, _ = cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    rows, columns = np.nonzero(cells == names.index("woods, good"))
    x, y = dem.xy(rows, columns)
    back = dem.frame.to_lonlat(x, y)  # each cell's own place, asked of the raster by hand
    assert len(rows) > 10
    assert (np.floor((back[0] - west) / step) == column_).mean() > 0.95
    assert (np.floor((north - back[1]) / step) == row).mean() > 0.95
    assert cells[15, 20] == names.index("woods, good")


def test_a_cover_raster_on_a_plane_without_crs(tmp_path):
    dem = dem_on(None, left=0, top=30 * 0.3048, cell=0.3048, shape=(30, 40))
    coded(tmp_path, [[1, 2]], Affine(20, 0, 0, 0, -30, 30), None)
    spec = Cover(file="codes.tif", classes={"1": "bare soil", "2": "woods, good"})
    cells, names, _ = cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    assert names == ["bare soil", "woods, good"]
    assert (cells[:, :20] == 0).all()
    assert (cells[:, 20:] == 1).all()


def test_what_is_no_cover_raster(tmp_path, dem):
    spec = Cover(file="codes.tif", classes={"1": "bare soil"})
    with pytest.raises(InputError, match="no such file"):
        cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    (tmp_path / "codes.tif").write_text("a picture")
    with pytest.raises(InputError, match="cannot be read as a raster"):
        cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    coded(tmp_path, [[1]], Affine(20, 0, LEFT + 900, 0, -20, TOP))
    with pytest.raises(InputError, match=r"no code anywhere on hill\.tif"):
        cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    coded(tmp_path, [[1.5]], Affine(90, 0, LEFT, 0, -90, TOP), dtype="float32")
    with pytest.raises(InputError, match=r"value 1.5 is no class code"):
        cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    coded(tmp_path, [[1 + 1j]], Affine(90, 0, LEFT, 0, -90, TOP), dtype="complex64")
    with pytest.raises(InputError, match="complex numbers"):
        cover_cells(spec, tmp_path, dem, KNOWN, WHERE)


def test_soil_groups(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 10, 30), patch(10, 0, 20, 30), patch(20, 0, 30, 30)],
          HYDGRP=["a", "B/D", "C"])
    spec = Soils(file="layer.gpkg", field="hydgrp")
    cells, notes = soil_cells(spec, tmp_path, dem, "soils")
    assert cells.dtype == np.int8
    assert (cells == np.repeat([0, 3, 2, -1], 10)).all()
    assert any("feature 2 of dual group B/D was taken as D" in note for note in notes)
    assert any("25.0 % of the raster has no soil group" in note for note in notes)
    filled = spec.model_copy(update={"otherwise": "B"})
    cells, notes = soil_cells(filled, tmp_path, dem, "soils")
    assert np.unique(cells[:, 30:]).tolist() == [1]
    assert any("taken as group B" in note for note in notes)


@pytest.mark.parametrize("group", ["E", "A/B/D", "A/", "1", "sand"])
def test_what_is_no_soil_group(tmp_path, dem, group):
    saved(tmp_path, [patch(0, 0, 10, 30), patch(10, 0, 20, 30)], group=["A", group])
    with pytest.raises(InputError, match=f"layer.gpkg, feature 2: its group '{group}' is not"):
        soil_cells(Soils(file="layer.gpkg", otherwise="D"), tmp_path, dem, "soils")


def test_an_empty_soil_group(tmp_path, dem):
    saved(tmp_path, [patch(0, 0, 10, 30), patch(10, 0, 40, 30)], group=["A", ""])
    with pytest.raises(InputError, match="feature 2: its group is empty"):
        soil_cells(Soils(file="layer.gpkg"), tmp_path, dem, "soils")
    cells, notes = soil_cells(Soils(file="layer.gpkg", otherwise="D"), tmp_path, dem, "soils")
    assert (cells[:, 10:] == 3).all()
    assert any("feature 2 without a group was taken as D" in note for note in notes)


def test_a_stated_crs_serves_a_cover_raster_that_has_none(tmp_path, dem):
    lon, lat = dem.frame.to_lonlat([LEFT, LEFT + 80], [TOP, TOP - 60])
    middle = lon.mean()
    coded(tmp_path, [[1, 2]], Affine(0.002, 0, middle - 0.002, 0, -0.002, lat.mean() + 0.001), None)
    classes = {"1": "bare soil", "2": "woods, good"}
    with pytest.raises(InputError, match="no coordinate system"):
        cover_cells(Cover(file="codes.tif", classes=classes), tmp_path, dem, KNOWN, WHERE)
    spec = Cover(file="codes.tif", crs="EPSG:4326", classes=classes)
    cells, names, _ = cover_cells(spec, tmp_path, dem, KNOWN, WHERE)
    assert names == ["bare soil", "woods, good"]
    assert (cells[:, :19] == 0).all()
    assert (cells[:, 21:] == 1).all()


@pytest.mark.parametrize("cell", [0.9144, 1 / 3, 0.3, 1.0])
def test_a_cell_gets_the_same_value_in_every_window_that_holds_it(cell):
    """Edges that run through the middles of cells, on cells of 3 ft and others that no binary
    fraction is."""
    left, top, size = 312345.67, 6412345.67, 120
    whole = Dem(np.zeros((size, size), np.float32), left, top, cell, Frame(None, METRES))
    random = np.random.default_rng(1)
    pairs = []
    for value in range(1, 60):
        a, b, c, d = random.integers(0, size, 4) + random.choice([0, 0.5], 4)
        pairs.append((box(left + min(a, c) * cell, top - max(b, d) * cell - cell,
                          left + max(a, c) * cell + cell, top - min(b, d) * cell), value))
    values = rasterized(pairs, whole, 0, np.int32)
    for row, across, side in ((17, 23, 50), (0, 1, 64), (61, 3, 59), (40, 79, 41)):
        window = Dem(np.zeros((side, side), np.float32), left + across * cell, top - row * cell,
                     cell, whole.frame, part_of=(left, top, row, across))
        found = values[row:row + side, across:across + side]
        assert np.array_equal(rasterized(pairs, window, 0, np.int32), found)
        inner = replace(window, heights=window.heights[5:, 7:], left=window.left + 7 * cell,
                        top=window.top - 5 * cell)  # cut once more, it may part by an edge
        assert (rasterized(pairs, inner, 0, np.int32) == found[5:, 7:]).mean() > 0.9
