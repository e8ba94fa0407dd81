"""The ground of a site: the classes in force, the user's own among them, on every cell."""

import geopandas
import numpy as np
import pytest
from pyproj import CRS
from shapely.geometry import LineString, box

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, in_metres
from terrain.inputs.site import Cover, read_site
from terrain.runoff.cover import published_classes
from terrain.runoff.cover_table import classes_in_force
from terrain.runoff.ground import read_ground, require_known

# An invented plane: 12 by 4 cells of 2 m, cover in strips of four cells from west to east.
LEFT, TOP = 512300.0, 6250000.0
OWN = """class,A,B,C,D,bare,source
veld in good heart,30,52,66,74,no,farm trial 2019
Bare Soil,,80,88,92,,
brick yard,91,91,91,91,yes,
"""


@pytest.fixture
def dem():
    crs = CRS.from_user_input("EPSG:32734")
    return Dem(np.zeros((4, 12), np.float32), LEFT, TOP, 2.0, Frame(crs, in_metres(crs)),
               "hill.tif")


def saved(folder, file, shapes, **columns):
    geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:32734").to_file(
        folder / file, engine="pyogrio")


def strips(count):
    return [box(LEFT + 8 * n, TOP - 8, LEFT + 8 * (n + 1), TOP) for n in range(count)]


def ground_of(folder, dem, cover, group, own=None, more="", **columns):
    """The ground of a site of three strips of cover, on one soil group."""
    saved(folder, "boundary.gpkg", [box(LEFT, TOP - 8, LEFT + 24, TOP)], n=[1])
    saved(folder, "cover.gpkg", strips(len(cover)), cover=cover, **columns)
    saved(folder, "soils.gpkg", [box(LEFT, TOP - 8, LEFT + 24, TOP)], group=[group])
    if own is not None:
        (folder / "own.csv").write_text(own, encoding="utf-8")
    (folder / "site.yaml").write_text(
        "name: Plane\nelevation:\n  file: hill.tif\nboundary:\n  file: boundary.gpkg\n"
        "cover:\n  file: cover.gpkg\n" + ("  table: own.csv\n" if own is not None else "")
        + f"soils:\n  file: soils.gpkg\n{more}rain:\n  storms:\n    - name: shower\n"
        "      depth: 20 mm\n")
    site = read_site(folder / "site.yaml")
    return site, read_ground(site, dem, box(LEFT, TOP - 8, LEFT + 24, TOP))


def test_numbers_of_the_published_table_reach_the_cells(tmp_path, dem):
    # TR-55 (1986), Table 2-2: fair desert shrub 81 on C, bare soil 91, good woods 70.
    _, ground = ground_of(tmp_path, dem, ["desert shrub, fair", "bare soil", "woods, good"], "C")
    assert (ground.curve_number == np.repeat([81, 91, 70], 4)).all()
    assert ground.known == published_classes()


def test_the_users_table_adds_classes_and_overrules_published_ones(tmp_path, dem):
    _, ground = ground_of(tmp_path, dem, ["Veld in good heart", "bare soil", "brick yard"], "C",
                          OWN)
    assert (ground.curve_number == np.repeat([66, 88, 91], 4)).all()
    bare = {name for name in ground.classes if ground.known[name].bare}
    assert bare == {"bare soil", "brick yard"}  # an overruled class stays bare unless it says
    assert ground.known["veld in good heart"].description == "farm trial 2019"
    assert any("veld in good heart; brick yard are from own.csv" in note for note in ground.notes)
    assert any("overruled by own.csv" in note
               and "bare soil (77/86/91/94 became none/80/88/92)" in note for note in ground.notes)
    assert published_classes()["bare soil"].curve_numbers == (77, 86, 91, 94)


def test_a_number_the_users_table_leaves_out_is_asked_for(tmp_path, dem):
    site, ground = ground_of(tmp_path, dem, ["bare soil"] * 3, "A", OWN)
    assert np.isnan(ground.curve_number).all()
    with pytest.raises(InputError, match=r"own\.csv gives no curve number for \"bare soil\" on "
                       "soil group A"):
        require_known(ground, ground.inside, dem, site)


def test_a_class_without_a_published_number_on_a_group(tmp_path, dem):
    # TR-55 (1986), Table 2-2d gives herbaceous range no number on A.
    site, ground = ground_of(tmp_path, dem, ["herbaceous range, fair"] * 3, "A")
    with pytest.raises(InputError, match=r"TR-55 gives no curve number for \"herbaceous range"):
        require_known(ground, ground.inside, dem, site)


def test_roads_may_be_covered_by_the_users_classes(tmp_path, dem):
    saved(tmp_path, "roads.gpkg", [LineString([(LEFT, TOP - 3), (LEFT + 24, TOP - 3)])],
          name=["lane"], width=["2 m"], cover=["Brick Yard"])
    _, ground = ground_of(tmp_path, dem, ["bare soil"] * 3, "B", OWN,
                          "roads:\n  file: roads.gpkg\n")
    assert [road.cover for road in ground.roads] == ["brick yard"]
    assert (ground.curve_number == np.array([[80], [91], [80], [80]])).all()
    saved(tmp_path, "roads.gpkg", [LineString([(LEFT, TOP - 3), (LEFT + 24, TOP - 3)])],
          name=["lane"], width=["2 m"], cover=["Brick Lane"])
    with pytest.raises(InputError, match='feature 1: the cover "Brick Lane" is not known'):
        ground_of(tmp_path, dem, ["bare soil"] * 3, "B", OWN, "roads:\n  file: roads.gpkg\n")


def test_partly_paved_ground_under_roofs_drawn_apart(tmp_path, dem):
    # TR-55 (1986), figure 2-3 on bare soil, group B (86): 86 + 0.5 (98 - 86) = 92.
    saved(tmp_path, "roofs.gpkg", [box(LEFT + 8, TOP - 4, LEFT + 12, TOP)], name=["shed"])
    _, ground = ground_of(tmp_path, dem, ["bare soil"] * 3, "B", None,
                          "roofs:\n  file: roofs.gpkg\n", impervious=[0, 50, 0])
    expected = np.repeat([[86.0, 92.0, 86.0]], 4, axis=1).repeat(4, axis=0)
    expected[:2, 4:6] = 98
    assert ground.curve_number == pytest.approx(expected)
    assert ground.known["bare soil, 50 % impervious"].bare
    assert any("should leave them out" in note for note in ground.notes)


# --- the user's own table ------------------------------------------------------------------------

def in_force(folder, text):
    (folder / "own.csv").write_text(text, encoding="utf-8")
    return classes_in_force(Cover(file="cover.gpkg", table="own.csv"), folder, "cover")


@pytest.mark.parametrize("text", [
    'class,A,B,C,D\n"thorn veld, thin",40.5,60,71,78\n',
    "CLASS;a;b;c;d;Bare\n# ours\n\nthorn veld, thin;40,5;60;71;78;No\n",
    "\ufeffsource\tD\tC\tB\tA\tclass\r\nours\t78\t71\t60\t40.5\tthorn veld,  thin\r\n"])
def test_columns_are_told_by_their_names(tmp_path, text):
    known, notes = in_force(tmp_path, text)
    assert known["thorn veld, thin"].curve_numbers == (40.5, 60, 71, 78)
    assert not known["thorn veld, thin"].bare
    assert len(known) == len(published_classes()) + 1
    assert notes == ["Curve numbers of thorn veld, thin are from own.csv."]


def test_numbers_that_fall_with_heavier_soil_are_told(tmp_path):
    known, notes = in_force(tmp_path, "class,A,B,C,D\nveld,78,71,60,40\n")
    assert known["veld"].curve_numbers == (78, 71, 60, 40)
    assert any("own.csv line 2" in note and "fall" in note for note in notes)


@pytest.mark.parametrize(("text", "words"), [
    ("class,A,B,C,D\nveld,30,0,66,74\n", r"own\.csv line 2, column B: 0 is not between 1 and 100"),
    ("class,A,B,C,D\nveld,30,52,66,101\n", r"line 2, column D: 101 is not between 1 and 100"),
    ("class,A,B,C,D\nveld,30,fifty,66,74\n", r"line 2, column B: 'fifty' is not a number"),
    ("class,A,B,C,D\nveld,nan,52,66,74\n", r"line 2, column A: 'nan' is not a number"),
    ("class,A,B,C,D\nveld,30,52,66,74\n\nVELD,30,52,66,74\n",
     r"line 4, column class: 'VELD' stands on line 2 too"),
    ("class,A,B,C,D\nbare soil,30,52,66,74\nBare Soil,30,52,66,74\n", "line 3, column class"),
    ("class,A,B,C,D\n,30,52,66,74\n", r"line 2, column class: it is empty"),
    ("class,A,B,C,D,bare\nveld,30,52,66,74,maybe\n", r"line 2, column bare: 'maybe' is neither"),
    ("class,A,B,C\nveld,30,52,66\n", r"own\.csv: its first line names no column D"),
    ("veld,30,52,66,74\nscrub,30,52,66,74\n", r"own\.csv line 1: it holds the value '30'"),
    ("kind,A,B,C,D\nveld,30,52,66,74\n", r"names no column class"),
    ("class,A,B,C,C,D\nveld,30,52,66,66,74\n", r"line 1: it names the column 'c' twice"),
    ("class,A,B,C,D,E\nveld,30,52,66,74,80\n", r"the column 'e', which means nothing here"),
    ("class,A,B,C,D,\nveld,30,52,66,74,80\n", r"a column without a name"),
    ("class,A,B,C,D\nveld, thin,30,52,66,74\n", r"line 2: it has 6 values for 5 columns"),
    ("class,A,B,C,D\n", r"own\.csv: it has no rows")])
def test_a_table_that_cannot_be_used(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as caught:
        in_force(tmp_path, text)
    assert str(caught.value).startswith("cover, own.csv")
    assert "\n" not in str(caught.value)


def test_no_table_there(tmp_path):
    with pytest.raises(InputError, match=r"cover, gone\.csv: there is no such file"):
        classes_in_force(Cover(file="c.gpkg", table="gone.csv"), tmp_path, "cover")
