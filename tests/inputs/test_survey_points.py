"""Surveyed points: columns told apart, bad rows refused, ground spread between them."""

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.inputs.elevation import open_elevation, read_elevation
from terrain.inputs.survey_points import checked_columns, read_points

EAST, NORTH = 431000.0, 3771000.0  # in UTM zone 12N


def ground(x, y):
    return 1400 + 0.03 * (np.asarray(x) - EAST) - 0.05 * (np.asarray(y) - NORTH)


def places(count=60, seed=3):
    rng = np.random.default_rng(seed)
    x = EAST + np.round(rng.uniform(0, 40, count), 3)
    y = NORTH + np.round(rng.uniform(0, 30, count), 3)
    corners = np.array([(0, 0), (40, 0), (40, 30), (0, 30)])
    return np.append(x, EAST + corners[:, 0]), np.append(y, NORTH + corners[:, 1])


def write(path, row, head=None, at=None):
    x, y = places() if at is None else at
    lines = [row(n, *xyz) for n, xyz in enumerate(zip(x, y, ground(x, y), strict=True), 1)]
    path.write_text("\n".join(([head] if head else []) + lines) + "\n")
    return path


def pnezd(n, x, y, z):
    return f"{n},{y:.3f},{x:.3f},{z:.5f},TOP"


def xyz(n, x, y, z):
    return f"{x:.3f},{y:.3f},{z:.5f}"


def refused(path, *words, **more):
    with pytest.raises(InputError) as told:
        read_elevation(path, **{"crs": "EPSG:32612", **more})
    said = str(told.value)
    assert "\n" not in said
    for word in words:
        assert word in said, said


ROWS = [
    (pnezd, None, None),
    (xyz, None, None),
    (lambda n, x, y, z: f"{x:.3f} {y:.3f}  {z:.5f}", None, None),
    (lambda n, x, y, z: f"{x:.3f}\t{y:.3f}\t{z:.5f}", None, None),
    (lambda n, x, y, z: f"{x:.3f};{y:.3f};{z:.5f}".replace(".", ","), None, None),
    (lambda n, x, y, z: f"{x:.3f} {y:.3f} {z:.5f}".replace(".", ","), None, None),
    (lambda n, x, y, z: f"{z:.5f},{y:.3f},CP{n},{x:.3f}", "Elevation,NORTHING,Point,easting", None),
    (lambda n, x, y, z: f"{n},{x:.3f},{y:.3f},{z:.5f}", "id,E,N,Height (m)", None),
    (lambda n, x, y, z: f"{x:.3f} {y:.3f} {z:.5f}", "# x y z", None),
    (lambda n, x, y, z: f"{n};{x:.3f};{y:.3f};{z:.5f};", "no;x_m;y_m;z_m;code", None),
    (lambda n, x, y, z: f'{n},"{x:.3f}",{y:.3f},{z:.5f},"edge, of road"', "p,x,y,z,code", None),
    (lambda n, x, y, z: f"{n},{x:.3f},{y:.3f},{z:.5f}", None, "point,x,y,z"),
    (lambda n, x, y, z: f"A,{z:.5f},9,{y:.3f},{x:.3f}", "what,h,t,first,second", "point z - y x"),
    (pnezd, "x,y,point,z,code", ["point", "y", "x", "z", "-"])]


@pytest.mark.parametrize(("row", "head", "columns"), ROWS, ids=range(len(ROWS)))
def test_a_plane_of_points_is_a_plane_however_it_is_written(tmp_path, row, head, columns):
    # Linear triangles give back a plane exactly: closed form.
    path = write(tmp_path / "p.csv", row, head)
    dem = read_elevation(path, crs="EPSG:32612", columns=columns)
    assert dem.bounds == (EAST, NORTH, EAST + 40, NORTH + 30)
    x, y = dem.xy(*np.mgrid[0:dem.shape[0], 0:dem.shape[1]])
    known = np.isfinite(dem.heights)
    assert known.mean() > 0.9
    assert np.allclose(dem.heights[known], ground(x, y)[known], atol=3e-4)  # float32 at 1,400 m


def test_what_was_assumed_is_said(tmp_path):
    notes = read_elevation(write(tmp_path / "p.csv", pnezd), crs="EPSG:32612").notes
    assert any("point, northing, easting, elevation, code" in note for note in notes)
    notes = read_elevation(write(tmp_path / "x.csv", xyz), crs="EPSG:32612").notes
    assert any("taken as x, y, z" in note for note in notes)
    assert any("64 surveyed points" in note for note in notes)
    assert any("Cells of 0.5 m were chosen" in note or "Cells of 1 m were chosen" in note
               for note in notes)


def test_the_crs_is_asked_for(tmp_path):
    refused(write(tmp_path / "p.csv", xyz), "p.csv", "no coordinate system", crs=None)


def test_feet_on_plan_and_in_height(tmp_path):
    path = write(tmp_path / "p.csv", xyz)
    refused(path, "feet or metres", crs=None, plan_unit="ft")
    dem = read_elevation(path, plan_unit="ft", height_unit="ft", cell=0.3048)
    x, y = dem.xy(*np.mgrid[0:dem.shape[0], 0:dem.shape[1]])
    known = np.isfinite(dem.heights)
    assert np.allclose(dem.heights[known], 0.3048 * ground(x / 0.3048, y / 0.3048)[known],
                       atol=1e-3)
    named = write(tmp_path / "n.csv", xyz, "easting,northing,elevation (ft)")
    dem = read_elevation(named, crs="EPSG:32612")
    assert float(np.nanmin(dem.heights)) == pytest.approx(0.3048 * 1398.5, abs=0.1)


def test_the_cell_asked_for_and_the_one_derived(tmp_path):
    x, y = (v.ravel() for v in np.meshgrid(EAST + 4.0 * np.arange(12), NORTH + 4.0 * np.arange(9)))
    path = write(tmp_path / "p.csv", xyz, at=(x, y))
    dem = read_elevation(path, crs="EPSG:32612")
    assert dem.cell == 2.0  # half of a spacing of 4 m
    assert np.isfinite(dem.heights).all()
    assert read_elevation(path, crs="EPSG:32612", cell=0.5).shape == (64, 88)
    refused(path, "3 by 2 cells", "smaller cell", cell=30.0)
    refused(path, "larger cell", cell=0.001)


def test_nothing_is_said_of_ground_outside_the_points(tmp_path):
    # A triangle: inside it and nowhere else.
    path = write(tmp_path / "p.csv", xyz, at=(EAST + np.array([0, 20, 0]),
                                              NORTH + np.array([0, 0, 20])))
    dem = read_elevation(path, crs="EPSG:32612", cell=1.0)
    x, y = dem.xy(*np.mgrid[0:20, 0:20])
    inside = (x - EAST) + (y - NORTH) <= 20 + 1e-6
    assert np.array_equal(np.isfinite(dem.heights), inside)


def test_large_gaps_are_left_empty(tmp_path):
    x, y = (v.ravel() for v in np.meshgrid(EAST + np.arange(10.0), NORTH + np.arange(10.0)))
    path = write(tmp_path / "p.csv", xyz, at=(np.append(x, x + 30), np.append(y, y)))
    dem = read_elevation(path, crs="EPSG:32612", cell=1.0)
    known = np.isfinite(dem.heights)
    assert known[:, :9].all()
    assert known[:, 30:].all()
    assert not known[:, 9:30].any()
    assert any("5 times the median side" in note for note in dem.notes)


def test_a_window_is_the_same_part_of_the_whole(tmp_path):
    files = open_elevation(write(tmp_path / "p.csv", xyz), crs="EPSG:32612", cell=1.0)
    whole, part = files.read(), files.read((EAST + 5, NORTH + 5, EAST + 20, NORTH + 20))
    assert np.array_equal(part.heights, whole.heights[10:25, 5:20], equal_nan=True)
    assert part.goes_on == (True, True, True, True)


def test_several_files_of_points_are_one_ground(tmp_path):
    x, y = places()
    write(tmp_path / "1.csv", xyz, at=(x[::2], y[::2]))
    write(tmp_path / "2.csv", pnezd, at=(x[1::2], y[1::2]))
    dem = read_elevation(tmp_path / "?.csv", crs="EPSG:32612", cell=1.0)
    one = read_elevation(write(tmp_path / "all.csv", xyz), crs="EPSG:32612", cell=1.0)
    assert dem.source == "2 point files (1.csv, 2.csv)"
    assert np.allclose(dem.heights, one.heights, atol=3e-4, equal_nan=True)


def test_points_in_degrees(tmp_path):
    x, y = places()
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(32612, 4326, always_xy=True).transform(x, y)
    path = tmp_path / "p.csv"
    path.write_text("lon,lat,elev\n" + "".join(
        f"{a:.9f},{b:.9f},{c:.5f}\n" for a, b, c in zip(lon, lat, ground(x, y), strict=True)))
    dem = read_elevation(path, crs="EPSG:4326", cell=1.0)
    assert dem.frame.working.to_epsg() == 32612
    assert float(dem.height_at(EAST + 20, NORTH + 15)) == pytest.approx(
        float(ground(EAST + 20, NORTH + 15)), abs=2e-3)


def test_swapped_columns_are_seen_by_the_area_of_the_crs(tmp_path):
    path = write(tmp_path / "p.csv", lambda n, x, y, z: f"{n},{x:.3f},{y:.3f},{z:.5f},TOP")
    refused(path, "p.csv", "order of the columns looks swapped")
    dem = read_elevation(path, crs="EPSG:32612", columns="point,x,y,z,code")
    assert dem.bounds == (EAST, NORTH, EAST + 40, NORTH + 30)


def test_points_outside_the_area_of_the_crs_either_way_are_told(tmp_path):
    path = write(tmp_path / "p.csv", xyz)
    notes = read_elevation(path, crs="EPSG:2193").notes  # New Zealand
    assert any("outside the area" in note for note in notes)


def three_and(line):
    return "0,0,1\n10,0,1\n0,10,1\n" + line + "\n10,10,1\n"


@pytest.mark.parametrize(("line", "says"), [
    ("5,5,high", ["line 4", "elevation (z) 'high' is not a number"]),
    ("5,,1", ["line 4", "northing (y) is missing"]),
    ("5,5", ["line 4", "elevation (z) is missing"]),
    ("", ["line 4", "blank"]),
    (",,", ["line 4", "blank"]),
    ("5,5,nan", ["line 4", "'nan'"]),
    ("5,5,inf", ["line 4", "'inf'"]),
    ("5,5,1,5", ["line 4", "4 columns instead of 3"]),
    ("5,5,99999", ["line 4", "99,999 m"]),
    ("5,1_0,1", ["line 4", "'1_0'"]),
    ("0,10,1.06", ["line 3 and", "line 4", "at one place", "0.06 m"])])
def test_bad_rows_name_their_line(tmp_path, line, says):
    (tmp_path / "p.csv").write_text(three_and(line))
    refused(tmp_path / "p.csv", "p.csv", *says, crs=None, plan_unit="m", cell=1.0)


def test_one_place_surveyed_twice_is_averaged_within_5_cm(tmp_path):
    (tmp_path / "p.csv").write_text("0,0,1\n10,0,1\n0,10,1\n10,10,1\n5,5,1.00\n5,5,1.04\n")
    dem = read_elevation(tmp_path / "p.csv", plan_unit="m", cell=2.0)
    assert float(dem.heights[2, 2]) == pytest.approx(1.02)  # its centre is the point itself
    assert any("surveyed more than once" in note and "0.04 m" in note for note in dem.notes)


@pytest.mark.parametrize(("text", "says"), [
    ("0,0,1\n5,5,1\n", "at only 2 places"),
    ("0,0,1\n", "at only 1 place"),
    ("x,y,z\n", "not one point"),
    ("0,0,1\n5,5,1\n10,10,2\n7,7,3\n", "in one line"),
    ("0,0,1,7\n9,0,1,7\n0,9,1,7\n", "4 columns and no head"),
    ("north,south,up\n0,0,1\n9,0,1\n0,9,1\n", "does not name x, y and z"),
    ("1;0,000;1,000;1,000\n2;9,000;1,000;1,000\n", "4 columns"),
    ("# nothing\n", "nothing but remarks")])
def test_files_that_span_no_ground(tmp_path, text, says):
    (tmp_path / "p.csv").write_text(text)
    refused(tmp_path / "p.csv", "p.csv", says, crs=None, plan_unit="m")


def test_a_comma_that_may_part_thousands_is_refused(tmp_path):
    (tmp_path / "p.csv").write_text("x;y;z\n0,000;1,000;1,000\n9,000;1,000;1,250\n")
    refused(tmp_path / "p.csv", "line 2", "decimal comma", crs=None, plan_unit="m")


@pytest.mark.parametrize("given", ["x,y", "x,y,z,depth", "x,x,y,z", "point,x,y,-"])
def test_columns_that_are_none(tmp_path, given):
    with pytest.raises(ValueError, match="column"):
        checked_columns(given)
    refused(write(tmp_path / "p.csv", xyz), "p.csv", "columns", columns=given)


def test_an_ascii_grid_called_text_is_a_raster(tmp_path):
    (tmp_path / "g.txt").write_text("ncols 3\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 1\n"
                                    "1 2 3\n4 5 6\n7 8 9\n")
    assert read_elevation(tmp_path / "g.txt", plan_unit="m").heights[0].tolist() == [1, 2, 3]


def test_places_of_points_are_kept_for_messages(tmp_path):
    (tmp_path / "p.csv").write_text("x,y,z\n1,2,3\n4,5,6\n")
    points = read_points(tmp_path / "p.csv")
    assert points.x.tolist() == [1, 4]
    assert points.y.tolist() == [2, 5]
    assert points.z.tolist() == [3, 6]
    assert points.places == ["p.csv line 2", "p.csv line 3"]
