"""The surface for machines, read by the standard library's parser and held against the raster."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from shapely import MultiPoint, box

from terrain.outputs.field.field_lines import lines_of
from terrain.outputs.field.mesh import TOLERANCE, scanned
from terrain.outputs.gis.surfaces import write_surfaces

SPACE = "{http://www.landxml.org/schema/LandXML-1.2}"
US_FOOT = 1200 / 3937
HOSTILE = '''=1+1, "a" & <b>'c'</b> %%d ^J {\\H}'''


@dataclass
class Net:
    """A surface: names to east, north, level; triangles of names."""

    name: str
    points: dict[str, np.ndarray]
    faces: list[list[str]]

    @property
    def corners(self) -> np.ndarray:
        """Shape (faces, 3 corners, 3)."""
        return np.array([[self.points[name] for name in face] for face in self.faces])


def place(text: str) -> np.ndarray:
    """LandXML writes northing, easting, elevation (schema 1.2, from memory)."""
    north, east, level = map(float, text.split())
    return np.array([east, north, level])


def root_of(written) -> ET.Element:
    return ET.parse(written.folder / "field/design.xml").getroot()


def nets_of(written) -> list[Net]:
    return [Net(surface.get("name"),
                {p.get("id"): place(p.text) for p in surface.iter(f"{SPACE}P")},
                [f.text.split() for f in surface.iter(f"{SPACE}F")])
            for surface in root_of(written).iter(f"{SPACE}Surface")]


@pytest.fixture(scope="module")
def nets(metric):
    return nets_of(metric)


def area_of(corners: np.ndarray) -> np.ndarray:
    (ux, uy), (vx, vy) = ((corners[:, i, :2] - corners[:, 0, :2]).T for i in (1, 2))
    return (ux * vy - uy * vx) / 2


def test_head_units_and_frame(metric, feet):
    root = root_of(metric)
    assert root.tag == f"{SPACE}LandXML"
    assert root.get("version") == "1.2"
    assert root.find(f"{SPACE}Units/{SPACE}Metric").get("linearUnit") == "meter"
    assert root.find(f"{SPACE}CoordinateSystem").get("epsgCode") == "32734"
    us = root_of(feet)
    assert us.find(f"{SPACE}Units/{SPACE}Imperial").get("linearUnit") == "USSurveyFoot"
    assert us.find(f"{SPACE}CoordinateSystem").get("epsgCode") == "2277"


def test_every_face_names_three_points_that_there_are(metric, feet):
    for net in [*nets_of(metric), *nets_of(feet)]:
        assert len(net.faces) > 100
        used = {name for face in net.faces for name in face}
        assert all(len(set(face)) == 3 for face in net.faces)
        assert used == set(net.points)


def test_faces_turn_one_way_and_fill_their_hull_once(metric, feet):
    """Areas, all of one sign, add up to that of the hull (shapely): none overlap, none miss."""
    for net in [*nets_of(metric), *nets_of(feet)]:
        areas = area_of(net.corners)
        assert (areas > 0).all()
        hull = MultiPoint([p[:2] for p in net.points.values()]).convex_hull
        assert areas.sum() == pytest.approx(hull.area, rel=1e-6)


def test_surfaces_cover_the_works_and_no_other(metric, nets):
    hulls = [MultiPoint([p[:2] for p in net.points.values()]).convex_hull for net in nets]
    for shape in metric.plan.designed.shapes:
        assert sum(hull.contains(box(*shape.bounds)) for hull in hulls) == 1
    for i, hull in enumerate(hulls):
        assert not any(hull.intersects(other) for other in hulls[:i])


@pytest.mark.parametrize("which", ["metric", "feet"])
def test_heights_agree_with_the_raster_of_the_designed_ground(which, request, tmp_path):
    """At 3,000 random places, by rasterio and matplotlib's triangles; the tolerance is the one that
    the file and the page state, and half as much for the file's grid of millimetres."""
    import rasterio
    from matplotlib.tri import LinearTriInterpolator, Triangulation

    written = request.getfixturevalue(which)
    write_surfaces(written.plan, tmp_path, written.field)
    unit = 1.0 if which == "metric" else US_FOOT
    drawn = np.random.default_rng(7)
    with rasterio.open(tmp_path / "design_ground.tif") as raster:
        level = raster.read(1)
        seen = 0
        for net in nets_of(written):
            points = np.array(list(net.points.values()))
            order = {name: i for i, name in enumerate(net.points)}
            origin = points[:, :2].min(axis=0)
            plane = Triangulation(*(points[:, :2] - origin).T,
                                  [[order[n] for n in face] for face in net.faces])
            found = LinearTriInterpolator(plane, points[:, 2])
            frame = written.plan.inputs.dem.frame
            x, y = frame.to_working(*points[:, :2].T)
            # Centres of cells, where the raster's level is exact.
            row, column = rasterio.transform.rowcol(
                raster.transform, drawn.uniform(x.min(), x.max(), 3000),
                drawn.uniform(y.min(), y.max(), 3000))
            row, column = np.clip(row, 0, raster.height - 1), np.clip(column, 0, raster.width - 1)
            east, north = frame.to_source(*rasterio.transform.xy(raster.transform, row, column))
            made = np.ma.filled(found(np.asarray(east) - origin[0], np.asarray(north) - origin[1]),
                                np.nan) * unit
            off = np.abs(made - level[row, column])
            off = off[np.isfinite(off)]
            assert off.max() <= TOLERANCE + 0.0006  # the raster is written to the millimetre
            seen += off.size
    assert seen > 2000


def test_triangles_of_a_plane_have_its_level_at_every_centre():
    """z = 2 + 0.3 x - 0.7 y, and which centres lie within, by matplotlib's triangles; corners on
    centres and edges along rows among them."""
    from matplotlib.tri import Triangulation

    drawn = np.random.default_rng(3)
    points = np.concatenate([drawn.uniform(-2, 42, (60, 2)), drawn.integers(0, 40, (60, 2)),
                             [[5.0, 7.0], [25.0, 7.0]]])
    points = np.unique(points, axis=0)
    plane = Triangulation(*points.T)
    x, y = points.T
    row, column, level = scanned(*(v[plane.triangles] for v in (x, y, 2 + 0.3 * x - 0.7 * y)),
                                 (41, 36))
    assert level == pytest.approx(2 + 0.3 * column - 0.7 * row, abs=1e-6)
    found = np.zeros((41, 36), bool)
    found[row, column] = True
    across, down = np.meshgrid(np.arange(36.0), np.arange(41.0))
    assert (found == (plane.get_trifinder()(across, down) >= 0)).all()
    assert found.sum() > 1000


def test_alignments_and_stakes(metric, feet):
    for written in (metric, feet):
        root, survey = root_of(written), written.field.survey
        lines = lines_of(written.plan)
        drawn = list(root.iter(f"{SPACE}Alignment"))
        assert len(drawn) == len(lines)
        for one, line in zip(drawn, lines, strict=True):
            expected = survey.points(line.points)
            text = one.find(f".//{SPACE}PntList3D").text.split()
            got = np.array(text, float).reshape(-1, 3)[:, [1, 0, 2]]
            assert got[0] == pytest.approx(expected[0], abs=1e-4, rel=0)
            assert got[-1] == pytest.approx(expected[-1], abs=1e-4, rel=0)
            steps = np.hypot(*np.diff(got[:, :2], axis=0).T)
            assert float(one.get("length")) == pytest.approx(steps.sum(), abs=1e-2)
        points = list(root.iter(f"{SPACE}CgPoint"))
        assert len(points) == len(written.field.stakes)


def test_stakes_are_the_tables(feet, rows):
    found = np.array([place(p.text) for p in root_of(feet).iter(f"{SPACE}CgPoint")])
    table = np.array([[float(row[name]) for name in ("east", "north", "design_usft")]
                      for row in rows(feet)])
    assert found == pytest.approx(table, abs=6e-4, rel=0)


def test_names_are_whole(metric):
    names = [line.get("name") for line in root_of(metric).iter(f"{SPACE}Alignment")]
    assert f"{HOSTILE}, lip" in names


@pytest.mark.slow
def test_the_demos_surface_is_small(demo_plan, tmp_path):
    """About 14,000 points for all of the demo's works: less than 1 in 50 of the raster's cells."""
    from terrain.outputs.field.landxml import write_landxml
    from terrain.outputs.field.setting_out import setting_out

    field = setting_out(demo_plan)
    assert write_landxml(field, tmp_path / "design.xml")
    assert (tmp_path / "design.xml").stat().st_size < 3_000_000
    points = sum(1 for _ in ET.parse(tmp_path / "design.xml").getroot().iter(f"{SPACE}P"))
    assert points < np.isfinite(field.level).sum() / 50


def test_no_date_is_made_up(metric, tmp_path, monkeypatch):
    """The site file's day, else SOURCE_DATE_EPOCH's (1 700 000 000 s is 14 November 2023, by
    `date -u -d @1700000000`), else none."""
    from dataclasses import replace

    from terrain.outputs.field.landxml import write_landxml

    def date_of(field):
        assert write_landxml(field, tmp_path / "design.xml")
        return ET.parse(tmp_path / "design.xml").getroot().get("date")

    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert date_of(metric.field) is None
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    assert date_of(metric.field) == "2023-11-14"
    plan, inputs = metric.plan, metric.plan.inputs
    site = inputs.site.model_copy(update={"date": "2024-05-06"})
    dated = replace(metric.field, plan=replace(plan, inputs=replace(inputs, site=site)))
    assert date_of(dated) == "2024-05-06"


def test_a_sills_stations_are_those_of_the_table(metric):
    root = root_of(metric)
    table = [s.stake.station for s in metric.field.stakes if s.stake.mark == "sill"
             and s.stake.work == HOSTILE]
    starts = [float(line.get("staStart")) for line in root.iter(f"{SPACE}Alignment")
              if line.get("name") == f"{HOSTILE}, sill"]
    assert starts == [pytest.approx(min(table), abs=1e-3)]
    assert starts[0] > 0
