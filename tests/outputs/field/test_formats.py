"""Stakes read back from each file by libraries that are not ours."""

from __future__ import annotations

from collections import Counter
from xml.etree import ElementTree as ET

import ezdxf
import geopandas
import gpxpy
import numpy as np
import pyogrio
import pytest
from ezdxf.lldxf.const import DXFStructureError
from pyproj import Transformer
from scipy.ndimage import maximum_filter, minimum_filter

from terrain.outputs.field.breaklines import breaklines_of
from terrain.outputs.field.field_lines import lines_of
from terrain.outputs.gis.surfaces import write_surfaces

HOSTILE = '''=1+1, "a" & <b>'c'</b> %%d ^J {\\H}'''


def moved(written, longitude, latitude):
    """Degrees into the raster's CRS by pyproj alone. [its unit]"""
    way = Transformer.from_crs("EPSG:4326", written.plan.inputs.dem.frame.source, always_xy=True)
    return np.array(way.transform(longitude, latitude)).T


def table(rows, *names):
    return np.array([[float(row[name]) for name in names] for row in rows])


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_degrees_of_the_table_are_its_east_and_north(which, rows, request):
    written = request.getfixturevalue(which)
    found = rows(written)
    degrees = table(found, "longitude", "latitude")
    assert moved(written, *degrees.T) == pytest.approx(table(found, "east", "north"), abs=1e-3,
                                                       rel=0)
    beside = [row for row in found if row["offset_east"]]
    assert len(beside) > 5
    degrees = table(beside, "offset_longitude", "offset_latitude")
    assert moved(written, *degrees.T) == pytest.approx(
        table(beside, "offset_east", "offset_north"), abs=1e-3, rel=0)


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_gpx_read_by_gdal(which, rows, request):
    written = request.getfixturevalue(which)
    found = rows(written)
    points = geopandas.read_file(written.folder / "field/stakes.gpx", layer="waypoints")
    assert points.crs == "EPSG:4326"
    assert moved(written, points.geometry.x, points.geometry.y) == pytest.approx(
        table(found, "east", "north"), abs=1.1e-3, rel=0)
    assert [name.split(" ")[0] for name in points["name"]] == [row["stake"] for row in found]
    design = np.array([s.stake.design for s in written.field.stakes])
    assert points["ele"].to_numpy() == pytest.approx(design, abs=6e-4)
    tracks = geopandas.read_file(written.folder / "field/stakes.gpx", layer="tracks")
    lines = lines_of(written.plan)
    assert len(tracks) == len(lines)
    for drawn, line in zip(tracks.geometry, lines, strict=True):
        x, y = np.concatenate([np.asarray(part.coords)[:, :2] for part in drawn.geoms]).T
        east, north = written.plan.inputs.dem.frame.to_source(line.points[:, 0],
                                                              line.points[:, 1])
        assert moved(written, x, y) == pytest.approx(np.column_stack([east, north]), abs=1e-3,
                                                     rel=0)


def test_gpx_read_by_gpxpy(metric):
    with open(metric.folder / "field/stakes.gpx", encoding="utf-8") as stream:
        found = gpxpy.parse(stream, version="1.1")
    assert found.version == "1.1"
    assert found.name == HOSTILE
    assert len(found.waypoints) == len(metric.field.stakes)
    assert len(found.tracks) == len(lines_of(metric.plan))
    assert any(point.name.endswith(f"{HOSTILE}, end") for point in found.waypoints)
    one = metric.field.stakes[0]
    assert f"{one.stake.design_of} at {one.stake.design:.3f} m" in found.waypoints[0].description


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_kml_read_by_gdal(which, rows, request):
    written = request.getfixturevalue(which)
    path, found = written.folder / "field/stakes.kml", rows(written)
    layers = [name for name, _ in pyogrio.list_layers(path)]
    assert len(layers) == len(written.field.works)
    every = [geopandas.read_file(path, layer=name) for name in layers]
    points = [(row["Name"], row.geometry) for layer in every for _, row in layer.iterrows()
              if row.geometry.geom_type == "Point"]
    assert [name.split(" ")[0] for name, _ in points] == [row["stake"] for row in found]
    x, y = np.array([(shape.x, shape.y) for _, shape in points]).T
    assert moved(written, x, y) == pytest.approx(table(found, "east", "north"), abs=1.1e-3, rel=0)
    drawn = sum((layer.geometry.geom_type == "LineString").sum() for layer in every)
    assert drawn == len(lines_of(written.plan))


def test_names_are_whole_in_kml(metric):
    """By the standard library's parser."""
    space = "{http://www.opengis.net/kml/2.2}"
    root = ET.parse(metric.folder / "field/stakes.kml").getroot()
    assert root.tag == f"{space}kml"
    assert root.find(f"{space}Document/{space}name").text == HOSTILE
    assert HOSTILE in {folder.find(f"{space}name").text for folder in root.iter(f"{space}Folder")}


def test_no_cell_of_the_table_is_a_formula(metric, rows):
    """OWASP, CSV Injection: cells that begin with = + - @, tab or return; numbers are none."""
    for row in rows(metric):
        for value in row.values():
            if value[:1] in ("=", "+", "-", "@", "\t", "\r"):
                float(value)
    assert {row["work"] for row in rows(metric)} >= {"'" + HOSTILE, "pond"}


@pytest.fixture(scope="module")
def drawing(metric):
    return ezdxf.readfile(metric.folder / "field/design.dxf")


def test_dxf_passes_ezdxfs_auditor(metric, feet):
    for written in (metric, feet):
        try:
            found = ezdxf.readfile(written.folder / "field/design.dxf").audit()
        except DXFStructureError as error:  # pragma: no cover
            pytest.fail(str(error))
        assert not found.errors
        assert not found.fixes


def test_dxf_states_its_unit(metric, feet, drawing):
    """$INSUNITS: 6 metres, 21 US survey feet (Autodesk, DXF Reference, from memory)."""
    assert drawing.header["$INSUNITS"] == 6
    assert drawing.header["$MEASUREMENT"] == 1
    us = ezdxf.readfile(feet.folder / "field/design.dxf")
    assert us.header["$INSUNITS"] == 21
    assert us.header["$MEASUREMENT"] == 0
    words = [text.dxf.text for text in us.modelspace().query('TEXT[layer=="notes"]')]
    assert any("US survey feet" in text for text in words)


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_dxf_stakes_are_the_tables(which, rows, request):
    written = request.getfixturevalue(which)
    found, unit = rows(written), written.field.unit.suffix
    sheet = ezdxf.readfile(written.folder / "field/design.dxf").modelspace()
    points = np.array([tuple(p.dxf.location) for p in sheet.query('POINT[layer=="stakes"]')])
    assert points == pytest.approx(table(found, "east", "north", f"design_{unit}"), abs=6e-4,
                                   rel=0)
    beside = np.array([tuple(p.dxf.location) for p in
                       sheet.query('POINT[layer=="offset stakes"]')])
    some = [row for row in found if row["offset_east"]]
    assert beside == pytest.approx(table(some, "offset_east", "offset_north",
                                         f"offset_ground_{unit}"), abs=6e-4, rel=0)


def test_dxf_read_by_gdal(metric):
    """Every line three-dimensional, every layer there; GDAL's own reader of DXF."""
    found = geopandas.read_file(metric.folder / "field/design.dxf")
    kinds = Counter(zip(found["Layer"], found.geometry.geom_type, strict=True))
    assert kinds["stakes", "Point"] == len(metric.field.stakes)
    assert kinds["breaklines", "LineString"] == len(breaklines_of(metric.field))
    assert kinds["work lines", "LineString"] == len(lines_of(metric.plan))
    assert found[found["Layer"].isin(["breaklines", "contours", "contours main"])].has_z.all()
    assert kinds["contours", "LineString"] + kinds["contours main", "LineString"] > 5


def test_dxf_contours_are_level_and_on_the_designed_ground(metric, drawing):
    """Against the raster of the designed ground, sampled beside the line."""
    field = metric.field
    lines = [np.array(list(line.vertices_in_wcs()))
             for line in drawing.modelspace().query("LWPOLYLINE")
             if line.dxf.layer.startswith("contours")]
    # Bilinear between cells: the level lies between those of the cells about a point, but for
    # what thinning moves it, 0.03 m on sides no steeper than 1:1.
    low = minimum_filter(field.level, 3) - 0.03
    high = maximum_filter(field.level, 3) + 0.03
    seen = 0
    for line in lines:
        assert np.ptp(line[:, 2]) == 0
        assert line[0, 2] / 0.25 == pytest.approx(round(line[0, 2] / 0.25))
        row = ((field.grid.top - line[:, 1]) / field.grid.cell).astype(int)
        column = ((line[:, 0] - field.grid.left) / field.grid.cell).astype(int)
        inside = (row >= 0) & (row < field.grid.rows) & (column >= 0) & (
            column < field.grid.columns)
        at, level = (row[inside], column[inside]), line[inside, 2]
        known = np.isfinite(low[at]) & np.isfinite(high[at])
        assert (level >= low[at])[known].all()
        assert (level <= high[at])[known].all()
        seen += known.sum()
    assert seen > 100


def test_dxf_text_holds_no_control_codes(drawing):
    """%% and ^ begin codes (Autodesk, DXF Reference, from memory); ezdxf reads them as such."""
    from ezdxf.tools.text import plain_text

    words = [text.dxf.text for text in drawing.modelspace().query('TEXT[layer=="work text"]')]
    hostile = next(text for text in words if text.startswith("=1+1"))
    assert "°" not in plain_text(hostile)
    assert "\n" not in plain_text(hostile)
    assert plain_text(hostile).replace(" ", "") == HOSTILE.replace(" ", "")


def test_the_same_plan_gives_the_same_bytes(metric, tmp_path):
    from terrain.outputs.field.field_files import write_field

    write_field(metric.field, tmp_path)
    files = sorted(path for path in metric.folder.rglob("*") if path.is_file())
    assert len(files) == 6
    for path in files:
        assert (tmp_path / path.relative_to(metric.folder)).read_bytes() == path.read_bytes()


def test_without_a_coordinate_system_there_are_no_degrees(metric, tmp_path):
    from dataclasses import replace

    from terrain.inputs.frame import Frame
    from terrain.outputs.field.gpx import write_gpx
    from terrain.outputs.field.kml import write_kml
    from terrain.outputs.field.setting_out import setting_out

    plan = metric.plan
    dem = replace(plan.inputs.dem, frame=Frame(None, None, 0.3048))
    field = setting_out(replace(plan, inputs=replace(plan.inputs, dem=dem)))
    assert not write_gpx(field, tmp_path / "stakes.gpx")
    assert not write_kml(field, tmp_path / "stakes.kml")
    assert not list(tmp_path.iterdir())
    assert any("no GPX and KML" in note for note in field.notes)
    assert field.survey.unit.key == "ft"
    stake = field.stakes[0]
    assert stake.at.east == pytest.approx(stake.stake.x / 0.3048)
    assert stake.at.longitude is None


def test_breaklines_lie_on_the_designed_ground(metric, feet, tmp_path):
    """Every half metre of every line against `design_ground.tif` read by rasterio: within the
    cells about it, 5 cm to spare; sills whole."""
    import rasterio
    from shapely import LineString

    for name, written in (("metric", metric), ("feet", feet)):
        (tmp_path / name).mkdir()
        write_surfaces(written.plan, tmp_path / name, written.field)
        with rasterio.open(tmp_path / name / "design_ground.tif") as raster:
            level = raster.read(1)
        kinds = set()
        for line in breaklines_of(written.field):
            kinds.add(line.name)
            shape = LineString(line.points)
            for at in np.arange(0.0, shape.length, 0.5):
                spot = shape.interpolate(at)
                row, column = raster.index(spot.x, spot.y)
                near = level[max(row - 1, 0):row + 2, max(column - 1, 0):column + 2]
                if np.isfinite(near).all() and near.size == 9:
                    assert near.min() - 0.06 <= spot.z <= near.max() + 0.06, (line.name, at)
        assert {"sill", "lip", "toe", "spillway floor"} <= kinds
        for planned in written.plan.stores:
            if planned.swale is not None:
                assert sum(LineString(line.points).length for line in breaklines_of(written.field)
                           if line.work == planned.store.name and line.name == "sill"
                           ) == pytest.approx(planned.swale.sill.length, abs=0.01)


def test_rings_of_the_drawing_are_closed_and_its_reach_is_told(drawing):
    lines = list(drawing.modelspace().query('LWPOLYLINE[layer=="work lines"]'))
    rings = [line for line in lines if line.closed]
    assert rings  # water edges of the tree basins
    for line in [*lines, *drawing.modelspace().query('LWPOLYLINE[layer=="breaklines"]')]:
        points = [tuple(p[:2]) for p in line.get_points()]
        assert len(points) < 4 or points[0] != points[-1]
    low, high = drawing.header["$EXTMIN"], drawing.header["$EXTMAX"]
    for point in drawing.modelspace().query("POINT"):
        x, y, _ = point.dxf.location
        assert low[0] <= x <= high[0]
        assert low[1] <= y <= high[1]


def test_every_file_carries_the_prints_of_its_inputs(metric):
    """sha256 over the lines that sha256sum prints of every input: `docs/outputs.md`."""
    from terrain.inputs.made_from import inputs_digest

    digest = inputs_digest(metric.plan.site)
    for name in ("stakes.gpx", "stakes.kml", "design.dxf", "design.xml"):
        assert digest in (metric.folder / "field" / name).read_text(encoding="utf-8"), name


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_figures_of_the_kml_are_in_the_tables_unit(which, rows, request):
    """Each beside its words; the place's own height stays in metres, as KML asks (OGC 07-147r2)."""
    written = request.getfixturevalue(which)
    unit = written.field.unit.suffix
    space = "{http://www.opengis.net/kml/2.2}"
    root = ET.parse(written.folder / "field/stakes.kml").getroot()
    marks = [mark for mark in root.iter(f"{space}Placemark") if mark.find(f"{space}ExtendedData")
             is not None]
    for mark, row in zip(marks, rows(written), strict=True):
        data = {d.get("name"): d.find(f"{space}value").text for d in mark.iter(f"{space}Data")}
        assert data[f"design_{unit}"] == row[f"design_{unit}"]
        assert data[f"cut_{unit}"] == row[f"cut_{unit}"]
        assert f"at {data[f'design_{unit}']} " in mark.find(f"{space}description").text


def test_the_head_of_the_table_says_that_feet_are_in_tenths(metric, feet, rows):
    head = "feet_tenths_and_hundredths_not_inches"
    assert {row[head] for row in rows(feet)} == {"US survey feet (1200/3937 m)"}
    assert head not in rows(metric)[0]
