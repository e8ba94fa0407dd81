"""Readings of hole tests in the layouts people write them, and one sentence for each wrong one."""

import pytest

from terrain.errors import InputError
from terrain.inputs.hole_readings import read_hole


@pytest.fixture
def table(tmp_path):
    def write(text: str, **more):
        path = tmp_path / "hole.csv"
        path.write_text(text, encoding="utf-8")
        return read_hole(path, **more)
    return write


def plain(readings):
    return [[(round(r.minutes, 6), round(r.depth, 6)) for r in f] for f in readings.fillings]


TWO = [[(0, 300), (10, 254), (20, 212)], [(25, 305), (35, 262)]]


@pytest.mark.parametrize("text", [
    "minutes,depth_mm\n0,300\n10,254\n20,212\n25,305\n35,262\n",
    "filling,minutes,depth_mm\n1,0,300\n1,10,254\n1,20,212\n2,25,305\n2,35,262\n",
    "time,water depth (mm)\n10:05,300\n10:15,254\n10:25,212\n10:30,305\n10:40,262\n",
    "Time,Water depth [cm]\n9:55 am,30\n10:05 AM,25.4\n10:15 am,21.2\n10:20,30.5\n10:30,26.2\n",
    "time (h);height of water m\n0;0,3\n0,166666667;0,254\n0,333333333;0,212\n0,41666667;0,305\n"
    "0,583333333;0,262\n",
    "\ufeff# dug on Tuesday\nelapsed seconds\tdepth in mm\n0\t300\n600\t254\n\n1200\t212\n1500\t305"
    "\n2100\t262\n",
    "clock,depth,note\n23:50,300 mm,\n0:00,254mm,past midnight\n0:10,212,\n0:15,305,\n0:25,262,\n",
], ids=["minutes", "filling", "clock", "am", "decimal comma", "seconds", "midnight"])
def test_one_test_in_many_layouts(table, text):
    found = plain(table(text))
    assert [[pytest.approx(pair, abs=1e-4) for pair in f] for f in TWO] == found


def test_inches_feet_and_fractions(table):
    """1 in = 25.4 mm, 1 ft = 304.8 mm."""
    found = plain(table('minutes,depth_in\n0,12\n10,11 1/2\n20,10-3/4"\n30,10.25 in\n40,1/2\n'))
    assert [d for _, d in found[0]] == [304.8, 292.1, 273.05, 260.35, 12.7]
    assert plain(table("minutes,depth_ft\n0,1\n10,0.5\n"))[0][0] == (0, 304.8)


def test_distances_down_from_the_rim(table):
    """A hole 600 mm deep: 280 mm down is 320 mm of water."""
    text = "minutes,down_mm\n0,280\n10,330\n20,370\n"
    assert plain(table(text, hole_depth=600)) == [[(0, 320), (10, 270), (20, 230)]]
    assert any("down from the rim" in said for said in table(text, hole_depth=600).notes)


def test_minutes_that_begin_anew_with_a_filling(table):
    found = table("minutes,depth_mm\n0,300\n10,254\n0,300\n10,260\n")
    assert plain(found) == [[(0, 300), (10, 254)], [(0, 300), (10, 260)]]
    assert any("begin at 0 again" in said for said in found.notes)
    text = "filling,minutes,depth_mm\na,0,300\na,10,254\nb,0,300\nb,10,260\n"
    assert plain(table(text)) == plain(found)


def test_a_millimetre_up_is_no_new_filling(table):
    assert len(table("minutes,depth_mm\n0,300\n10,250\n20,252\n30,210\n").fillings) == 1
    assert len(table("minutes,depth_mm\n0,300\n10,250\n20,254\n30,210\n").fillings) == 2


def test_what_was_assumed_is_told(table):
    notes = table("minutes,depth_mm,who\n0,300,Ana\n10,250,Ana\n10,300,Ana\n20,255,Ana\n").notes
    assert any("'minutes'" in said and "'depth_mm'" in said for said in notes)
    assert "Not used: who." in notes
    assert any("2 fillings" in said for said in notes)
    ours = table("minutes,depth_mm,drop_mm\n0,300,0\n10,250,50\n")
    assert "Not used: drop_mm." in ours.notes


@pytest.mark.parametrize(("text", "said"), [
    ("minutes,depth_mm\n0,300\n10,-5\n", "line 3, column depth_mm.*below 0"),
    ("minutes,depth_in\n0,12\n10,-1/2\n", "line 3, column depth_in.*not a number"),
    ("minutes,depth_mm\n0,300\n10,wet\n", "line 3, column depth_mm.*'wet' is not a number"),
    ("minutes,depth_mm\n0,300\n10,\n", "line 3, column depth_mm.*empty"),
    ("minutes,depth_mm\n0,300\n10\n", "line 3.*1 values for 2 columns"),
    ("minutes,depth_mm\n0,300\nten,250\n", "line 3, column minutes.*'ten' is not a number"),
    ("minutes,depth_mm\n0,300\n10,250\n5,240\n", "line 4, column minutes.*goes back"),
    ("minutes,depth_mm\n0,300\n10,250\n10,240\n", "line 4, column minutes.*stands still"),
    ("minutes,depth_mm\n5,300\n10,250\n3,300\n9,250\n", "line 4, column minutes.*goes back"),
    ("time,depth_mm\n12:50,300\n1:10,250\n", "line 3, column time.*goes back.*13:05"),
    ("time,depth_mm\n10:05,300\n25:10,250\n", "line 3, column time.*no time of day"),
    ("time,depth_mm\n10:05,300\n15,250\n", "line 3, column time.*clock time"),
    ("time,depth_mm\n0,300\n15,250\n", "line 2, column time.*names a unit"),
    ("minutes,depth_mm\n10:05,300\n", "line 2, column minutes.*clock time"),
    ("minutes,depth\n0,300\n15,250\n", "line 2, column depth.*names a unit.*depth_mm"),
    ("minutes,depth_mm\n0,300\n15,10 in\n", "line 3, column depth_mm.*not in mm"),
    ("minutes,depth\n0,12 in\n15,250 mm\n", "line 3, column depth.*not in in"),
    ("minutes,depth_mm\n0,300\n15,10 cubits\n", "line 3.*no unit known"),
    ("minutes,depth_mm\n0,300 1/2\n15,10\n", "line 2, column depth_mm.*fraction"),
    ("minutes,depth_in\n0,11 1/0\n15,10\n", "line 2, column depth_in.*not a number"),
    ("minutes,depth_in\n0,11 1/00\n15,10\n", "line 2, column depth_in.*not a number"),
    ("minutes,depth_mm\n0,300\n0.0001,10\n", "line 3, column minutes.*stands still"),
    ("minutes,depth_mm\n0,300,5\n10,250,5\n", "line 2.*3 values for 2 columns"),
    ("minutes,depth_m\n0,300\n10,250\n", "line 2, column depth_m.*more than a test hole"),
    ("hours,depth_mm\n0,300\n500,250\n", "line 3, column hours.*fortnight"),
    ("0,300\n10,250\n", "line 1.*column names"),
    ("minutes,drop_mm\n0,0\n10,50\n", "drops"),
    ("minutes,mm\n0,300\n", "no column of depths"),
    ("depth_mm,note\n300,a\n", "no column of times"),
    ("minutes,depth_mm,level_mm\n0,300,1\n", "several columns of depths"),
    ("minutes,depth_mm\n", "no rows"), ("", "no rows"), ("# a\n", "no rows"),
    ("minutes,depth_mm\n0,300\n", "no filling has two readings"),
    ("minutes,depth_mm\n0,0\n10,0\n", "line 2.*empty where a filling begins"),
    ("filling,minutes,depth_mm\n1,0,300\n2,0,300\n1,10,250\n", "line 4, column filling.*again"),
    ("minutes,down_mm\n0,300\n10,350\n", "column down_mm.*--hole-depth")])
def test_one_sentence_for_what_is_wrong(table, text, said):
    with pytest.raises(InputError, match=said) as error:
        table(text)
    assert "hole.csv" in str(error.value)
    assert "\n" not in str(error.value)


def test_depth_of_the_hole_where_it_does_not_belong(table):
    with pytest.raises(InputError, match="--hole-depth has no use"):
        table("minutes,depth_mm\n0,300\n10,250\n", hole_depth=600)
    with pytest.raises(InputError, match=r"line 3.*deeper than the hole \(600 mm\)"):
        table("minutes,down_mm\n0,300\n10,650\n", hole_depth=600)
    with pytest.raises(InputError, match=r"--hole-depth: 1e\+297 m is deeper than a test hole"):
        table("minutes,down_mm\n0,300\n10,650\n", hole_depth=1e300)


def test_files_that_are_no_tables(tmp_path):
    with pytest.raises(InputError, match=r"gone\.csv: there is no such file"):
        read_hole(tmp_path / "gone.csv")
    with pytest.raises(InputError, match=r"cannot be read \(is a directory\)"):
        read_hole(tmp_path)
    with pytest.raises(InputError, match="there is no such file"):
        read_hole(tmp_path / ("x" * 300))  # longer than a file's name may be
    (tmp_path / "b.csv").write_bytes(b"PK\0\0")
    with pytest.raises(InputError, match="no table of text"):
        read_hole(tmp_path / "b.csv")
