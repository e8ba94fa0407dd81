"""Soil groups by map unit.  Layouts as public soil surveys export them; every figure invented."""

import geopandas
import numpy as np
import pytest
from pyproj import CRS
from shapely.geometry import box

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, in_metres
from terrain.inputs.ground_soil import soil_cells
from terrain.inputs.site import Soils
from terrain.inputs.soil_units import read_unit_groups, unit_key

LEFT, TOP = 512300.0, 6250000.0
UNITS = """musym,muname,drclassdcd,hydgrpdcd,mukey
7,"Stonepan loam, 1 to 4 percent slopes",Well drained,B,710001
9,"Reedflat clay, level",Poorly drained,C/D,710002
W,Water,,,710003
"""
COMPONENTS = """mukey,cokey,compname,comppct_r,majcompflag,hydgrp
710001,1,Stonepan,40,Yes,B
710001,2,Gulley,35,Yes,C
710001,3,Sidehill,20,No,C
710001,4,Rock outcrop,5,No,
710002,5,Reedflat,60,Yes,C/D
"""


@pytest.fixture
def dem():
    crs = CRS.from_user_input("EPSG:32734")
    return Dem(np.zeros((4, 12), np.float32), LEFT, TOP, 2.0, Frame(crs, in_metres(crs)),
               "hill.tif")


def strips(folder, **columns):
    """Strips of four cells' width from west to east, one a value."""
    count = len(next(iter(columns.values())))
    shapes = [box(LEFT + 8 * n, TOP - 8, LEFT + 8 * (n + 1), TOP) for n in range(count)]
    geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:32734").to_file(
        folder / "soils.gpkg", engine="pyogrio")


def groups(folder, dem, table=None, **more):
    if table is not None:
        (folder / "units.csv").write_text(table)
        more["table"] = "units.csv"
    cells, notes = soil_cells(Soils(file="soils.gpkg", **more), folder, dem, "soils")
    return "".join("ABCD-"[cell] for cell in cells[0, ::4]), notes


@pytest.mark.parametrize("keys", [["710001", "710002"], [710001, 710002], [710001.0, 710002.0],
                                  [" 710001 ", "710002.0"]])
@pytest.mark.parametrize("name", ["MUKEY", "mukey", "MuKey"])
def test_a_row_a_unit_joins_as_text_or_number(tmp_path, dem, keys, name):
    strips(tmp_path, **{name: keys})
    found, notes = groups(tmp_path, dem, UNITS)
    assert found == "BD-"
    assert any("2 map units" in note and "hydgrpdcd of units.csv" in note for note in notes)
    assert any("feature 2 of dual group C/D was taken as D" in note for note in notes)


def test_the_first_letter_where_the_ground_is_drained(tmp_path, dem):
    # Dual groups: the first letter holds for drained, the second for undrained ground
    # (NRCS, National Engineering Handbook part 630, chapter 7, 2009).
    strips(tmp_path, group=["A/D", "b / d", "C/D"])
    assert groups(tmp_path, dem)[0] == "DDD"
    found, notes = groups(tmp_path, dem, drained=True)
    assert found == "ABC"
    assert ("Soils: feature 2 of dual group B/D was taken as B, the group of drained ground."
            in notes)


@pytest.mark.parametrize("group", ["E", "A/B", "D/A", "C/C", "B\\D", "3"])
def test_other_groups_are_named_with_feature_and_column(tmp_path, dem, group):
    strips(tmp_path, HSG=["A", group])
    with pytest.raises(InputError) as caught:
        groups(tmp_path, dem, field="hsg")
    assert str(caught.value).startswith(
        f"soils, soils.gpkg, feature 2: its hsg '{group}' is not a soil group.")


def test_components_give_the_group_of_most_of_the_unit(tmp_path, dem):
    # By hand: of unit 710001 40 % is B and 35 + 20 = 55 % is C; of 710002 60 % is C/D.
    strips(tmp_path, mukey=[710001, 710002])
    found, notes = groups(tmp_path, dem, COMPONENTS)
    assert found == "CD-"
    assert any("710001 as C (55 % of it), 710002 as C/D (60 % of it)" in note for note in notes)
    assert groups(tmp_path, dem, COMPONENTS, drained=True)[0] == "CC-"


def test_rows_of_a_component_repeated_by_a_join_count_once(tmp_path):
    (tmp_path / "c.csv").write_text("mukey,cokey,comppct_r,hydgrp,layer\n"
                                    "1,11,45,A,1\n1,12,55,B,1\n1,11,45,A,2\n1,11,45,A,3\n")
    found = read_unit_groups(tmp_path / "c.csv", "mukey", "group", "c.csv")
    assert found.groups == {"1": "B"}
    assert found.shares == {"1": 55}


def test_equal_shares_go_to_the_group_that_sheds_more(tmp_path):
    (tmp_path / "c.csv").write_text("mukey,comppct_r,hydgrp\n1,50,D\n1,50,A\n2,50,\n2,50,A\n")
    assert read_unit_groups(tmp_path / "c.csv", "mukey", "group", "c.csv").groups == {
        "1": "D", "2": "A"}


def test_a_unit_mostly_without_a_group_has_none(tmp_path, dem):
    strips(tmp_path, mukey=[1])
    table = "mukey,comppct_r,hydgrp\n1,70,\n1,30,B\n"
    with pytest.raises(InputError, match=r"feature 1: its soil, map unit 1, has no group in units"):
        groups(tmp_path, dem, table)
    assert groups(tmp_path, dem, table, otherwise="D")[0] == "DDD"


@pytest.mark.parametrize("table", ["key,group\n710001,A\n710002,B\n",
                                   "GROUP;Key\r\nA;710001\r\nB;710002\r\n",
                                   "\ufeffkey\tgroup\n\n# mine\n710001\ta\n710002\tb\n",
                                   "mukey|hydgrp\n\"710001\"|A\n\"710002\"|B\n"])
def test_two_columns_are_enough(tmp_path, dem, table):
    strips(tmp_path, mukey=["710001", "710002"])
    assert groups(tmp_path, dem, table)[0] == "AB-"


def test_other_columns_can_be_named(tmp_path, dem):
    strips(tmp_path, unit=["sand rise", "clay pan"])
    table = "unit,hsg\nsand rise,A\nclay pan,D\n"
    assert groups(tmp_path, dem, table, key="unit", field="hsg")[0] == "AD-"


def test_a_unit_without_a_group_is_told_or_taken_as_otherwise(tmp_path, dem):
    strips(tmp_path, MUKEY=[710001, 710003])
    with pytest.raises(InputError) as caught:
        groups(tmp_path, dem, UNITS)
    assert str(caught.value).startswith("soils, soils.gpkg, feature 2: its soil, map unit 710003, "
                                        "has no group in units.csv")
    found, notes = groups(tmp_path, dem, UNITS, otherwise="D")
    assert found == "BDD"
    assert any("feature 2 without a group was taken as D" in note for note in notes)


def test_keys_without_a_row_are_named(tmp_path, dem):
    strips(tmp_path, MUKEY=[710001, 99, 98])
    with pytest.raises(InputError) as caught:
        groups(tmp_path, dem, UNITS, otherwise="D")
    assert str(caught.value).startswith(
        "soils, soils.gpkg: its MUKEY 99, 98 have no row in units.csv.")


def test_keys_alone_ask_for_the_table(tmp_path, dem):
    strips(tmp_path, MUKEY=["710001"])
    with pytest.raises(InputError) as caught:
        groups(tmp_path, dem)
    assert "keys of map units (MUKEY) but no column 'group'" in str(caught.value)
    assert "table" in caught.value.remedy


def test_a_column_of_groups_beside_a_table_is_told_to_be_unused(tmp_path, dem):
    strips(tmp_path, MUKEY=["710001"], group=["A"])
    found, notes = groups(tmp_path, dem, UNITS)
    assert found == "B--"
    assert any("column group was not used" in note for note in notes)


def test_a_feature_without_a_key(tmp_path, dem):
    strips(tmp_path, MUKEY=["710001", None])
    with pytest.raises(InputError, match=r"soils\.gpkg, feature 2: its MUKEY is empty"):
        groups(tmp_path, dem, UNITS)


@pytest.mark.parametrize(("table", "words"), [
    ("mukey,hydgrp\n1,A\n1,B\n", r"units\.csv line 3, column hydgrp: unit 1 has the group B here "
                                 r"and A on line 2"),
    ("mukey,hydgrp\n1,A\n2,E\n", r"units\.csv line 3, column hydgrp: 'E' is not a soil group"),
    ("mukey,hydgrp\n1,A\n,B\n", r"units\.csv line 3, column mukey: it is empty"),
    ("mukey,hydgrp,comppct_r\n1,A,lots\n", r"line 2, column comppct_r: 'lots' is not a number"),
    ("mukey,hydgrp,comppct_r\n1,A,120\n", r"line 2, column comppct_r: 120 is not between 0 and"),
    ("mukey,hydgrp,comppct_r\n1,A,\n", r"line 2, column comppct_r: it is empty"),
    ("mukey,hydgrp,comppct_r\n1,A,80\n1,A,80\n", r"line 3, column comppct_r: the shares of unit 1 "
                                                 r"add up to 160 %"),
    ("mukey,cokey,hydgrp,comppct_r\n1,5,A,50\n1,5,B,50\n", r"line 3, column cokey: component 5"),
    ("mukey,name\n1,Pan\n", r"units\.csv: it has no column of soil groups, but mukey, name"),
    ("name,hydgrp\nPan,A\n", r"units\.csv: it has no column of map units' keys"),
    ("mukey,hydgrp\n1,A,9\n", r"units\.csv line 2: it has 3 values for 2 columns"),
    ("mukey,hydgrp,HYDGRP\n1,A,A\n", r"units\.csv line 1: it names the column 'hydgrp' twice"),
    ("710001|B\n710002|C\n", r"units\.csv line 1: it holds the value '710001' where column names"),
    ("mukey,hydgrp\n", r"units\.csv: it has no rows"),
    ("", r"units\.csv: it has no rows"),
    ("a\0b", r"units\.csv: it is no table of text")])
def test_a_table_that_cannot_be_used(tmp_path, dem, table, words):
    strips(tmp_path, mukey=[1])
    with pytest.raises(InputError, match=words):
        groups(tmp_path, dem, table)


def test_no_table_there(tmp_path, dem):
    strips(tmp_path, mukey=[1])
    with pytest.raises(InputError, match=r"soils, gone\.csv: there is no such file"):
        soil_cells(Soils(file="soils.gpkg", table="gone.csv"), tmp_path, dem, "soils")


def test_a_key_is_the_same_as_text_and_as_number():
    assert {unit_key(given) for given in (12, 12.0, "12", " 12 ", "12.0", np.int64(12))} == {"12"}
    assert unit_key("12.5") == "12.5"
    assert unit_key(None) == unit_key(float("nan")) == ""
