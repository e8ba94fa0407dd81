"""Staff readings to levels by the height of the instrument, worked by hand."""

from __future__ import annotations

import pytest

from terrain.asbuilt.reduction import reduced
from terrain.errors import InputError
from terrain.inputs.asbuilt_points import read_asbuilt_points
from terrain.works.rules import Rulebook


def levelled(tmp_path, text, known=None):
    path = tmp_path / "levels.csv"
    path.write_text(text)
    return reduced(read_asbuilt_points(path), known, Rulebook())


def test_height_of_instrument_by_hand(tmp_path):
    """Differential leveling as US Army FM 5-233 describes it (from memory), with figures of our
    own: 100.000 + 1.562 = 101.562 is the line of sight; 101.562 - 2.113 = 99.449;
    101.562 - 0.847 = 100.715."""
    found = levelled(tmp_path, "work,mark,station_m,reading_m,elevation_m\n"
                     ",benchmark,,1.562,100.000\nw,sill,0,2.113,\nw,sill,1,0.847,\n")
    assert found.levels == pytest.approx((99.449, 100.715), abs=1e-9)
    assert found.closing is None
    assert "read the benchmark once" in found.notes[0]


def test_feet_and_tenths(tmp_path):
    """A level of 500.00 ft and a reading of 4.32 ft, then 6.87 ft: 497.45 ft."""
    found = levelled(tmp_path, "work,mark,station_ft,reading_ft,elevation_ft\n"
                     ",bm,,4.32,500.00\nw,sill,0,6.87,\n")
    assert found.levels[0] / 0.3048 == pytest.approx(497.45, abs=1e-9)


def test_the_site_files_benchmark_does_for_the_level(tmp_path):
    text = "work,mark,station_m,reading_m\n,benchmark,,1.0\nw,sill,0,1.25\n"
    assert levelled(tmp_path, text, known=50.0).levels == pytest.approx((49.75,))
    with pytest.raises(InputError, match="level is said neither there nor in the site file"):
        levelled(tmp_path, text)


def test_two_set_ups_each_with_a_peg(tmp_path):
    found = levelled(tmp_path, "set-up,work,mark,station_m,reading_m,elevation_m\n"
                     "A,,peg,,1.000,10.000\nA,w,sill,0,1.500,\n"
                     "B,,turning point,,2.000,20.000\nB,w,sill,0,1.500,\n")
    assert found.levels == pytest.approx((9.5, 20.5))
    assert dict(found.instruments) == pytest.approx({"A": 11.0, "B": 22.0})


@pytest.mark.parametrize(("again", "cautions"), [(1.564, 0), (1.567, 0), (1.570, 1)])
def test_the_benchmark_read_again(tmp_path, again, cautions):
    """5 mm between the readings is allowed (common practice, no source); the mean is taken."""
    found = levelled(tmp_path, "work,mark,station_m,reading_m,elevation_m\n"
                     f",benchmark,,1.562,100\nw,sill,0,1.0,\n,benchmark,,{again},\n", 100.0)
    assert found.closing == pytest.approx(again - 1.562)
    assert found.levels[0] == pytest.approx(100 + (1.562 + again) / 2 - 1.0)
    assert len(found.cautions) == cautions


def test_a_receiver_on_the_benchmark_shows_its_error(tmp_path):
    found = levelled(tmp_path, "work,mark,station_m,elevation_m\nw,sill,0,99.0\n"
                     ",benchmark,,100.02\n", 100.0)
    assert found.closing == pytest.approx(0.02)
    assert found.levels == pytest.approx((99.0,))  # said, not moved


def test_a_filled_setting_out_table_with_several_set_ups(tmp_path):
    """As docs/asbuilt.md shows it; by hand: set-up 1 sees from 1206.820 + 1.190 = 1208.010, so
    stake 152 lies at 1208.010 - 2.655 = 1205.355; set-up 2 from 1204.791 + (0.263 + 0.264) / 2 =
    1205.0545; set-up 3 from 1203.640 + 0.731 = 1204.371."""
    text = ("stake,work,mark,set_up,staff_reading_m,design_m,read_m,elevation_m\n"
            ",,benchmark,1,,,1.190,\n152,w,line,1,2.660,1205.350,2.655,\n"
            "153,w,line,1,2.660,1205.350,,\n"
            ",,peg,2,,,0.263,1204.791\n2,w,line,2,3.150,1201.900,3.152,\n"
            ",,peg,2,,,0.264,1204.791\n,,peg,3,,,0.731,1203.640\n30,w,bed,3,3.4,1200.950,3.418,\n")
    found = levelled(tmp_path, text, known=1206.820)
    assert dict(found.instruments) == pytest.approx({"1": 1208.010, "2": 1205.0545, "3": 1204.371})
    assert found.levels == pytest.approx((1205.355, 1201.9025, 1200.953))
