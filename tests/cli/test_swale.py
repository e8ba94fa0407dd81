"""levelsill swale: the ways to say where it lies and what is fixed of it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from cli.swale import swale
from terrain.errors import InputError

#: A plane that falls south at 6 %; its corner stands at 500000, 6400000 (UTM zone 34S).
AT = "500060,6399950"
STORM = ["--storm", "20mm", "--cn", "85"]


@pytest.fixture(scope="module")
def plane(tmp_path_factory, write_raster):
    row = np.arange(100, dtype=np.float64)[:, None]
    heights = (200 - 0.06 * (row + 0.5) + np.zeros((1, 120))).astype(np.float32)
    return write_raster(tmp_path_factory.mktemp("plane") / "plane.tif", heights)


def run(*words):
    """The command within this process; `main` alone would print its error."""
    return CliRunner().invoke(swale, [str(word) for word in words])


def answered(*words):
    ran = run(*words, "--json")
    assert ran.exception is None, ran.exception
    return json.loads(ran.stdout)


def test_a_level_near_a_point(plane):
    """2 m of level up a plane of 6 %: 33.3 m to the north."""
    answer = answered(plane, "--level", "199m", "--near", AT, "--length", "40m",
                       "--depth", "0.3m")
    assert answer["level_m"] == pytest.approx(199)
    north = np.array(answer["line"]["coordinates"])[:, 1]
    assert north == pytest.approx(6400000 - 1 / 0.06, abs=0.01)
    assert answer["tightest_radius_m"] is None
    assert answer["ground_deviation_m"] < 1e-3


def test_a_drawn_line(plane):
    answer = answered(plane, "--along", "500030,6399952", "500060,6399950",
                       "500090,6399948", *STORM)
    assert answer["length_m"] == pytest.approx(60, abs=0.2)
    assert answer["level_m"] == pytest.approx(197, abs=0.01)
    assert any("The drawn line was pulled by up to 2.0 m" in note for note in answer["notes"])


@pytest.mark.parametrize(("shape", "area"), [("trapezoid", (0.6 + 2 * 0.3) * 0.3),
                                             ("parabola", 2 / 3 * 4 * 2 * 0.3 * 0.3),
                                             ("vee", 2 * 0.3**2)])
def test_each_shape_holds_its_closed_form(plane, shape, area):
    answer = answered(plane, "--through", AT, "--shape", shape, "--length", "40m",
                       "--depth", "0.3m")
    assert answer["section_m2"] == pytest.approx(area)
    assert answer["storage_m3"] == pytest.approx(area * 40, rel=1e-4)


def test_one_size_is_solved_for(plane):
    """20 mm on CN 85 give 50 m of slope its runoff; the narrower bed would not hold it."""
    answer = answered(plane, "--through", AT, "--length", "40m", "--depth", "0.2m",
                       "--solve", "width", *STORM)
    runoff = answer["storms"][0]["runoff_m3"]
    held = (answer["width_m"] + 2 * 0.2) * 0.2 * answer["length_m"]
    assert answer["storage_m3"] == pytest.approx(held, rel=1e-4)
    assert any(note.startswith("Width ") for note in answer["notes"])
    step = 0.1 * 0.2 * answer["length_m"]
    assert held >= runoff * 0.98 or answer["width_m"] == 1.5
    assert answer["width_m"] == 0.3 or held - step < runoff * 1.02


def test_checks_stand_in_the_answer_and_lessen_it(plane):
    words = [plane, "--through", AT, "--length", "40m", "--depth", "0.4m"]
    plain = answered(*words)
    answer = answered(*words, "--checks", "10m")
    assert [c["station_m"] for c in answer["checks"]] == pytest.approx([10, 20, 30], abs=0.01)
    taken = sum(c["volume_m3"] for c in answer["checks"])
    assert answer["storage_m3"] == pytest.approx(plain["storage_m3"] - taken)
    assert answer["cut_m3"] == pytest.approx(plain["cut_m3"] - taken, rel=1e-3)
    assert "3 of earth, at station 10.0, 20.0, 30.0 m" in run(*words, "--checks", "10m").stdout


@pytest.mark.parametrize(("words", "said"), [
    ([], "nothing says where it lies"),
    (["--through", AT, "--near", AT], "--through and --near are both given"),
    (["--level", "199m"], "nothing says where it lies"),
    (["--near", AT], "belong together"),
    (["--through", AT, "--level", "199m"], "belong together"),
    (["--level", "250m", "--near", AT], "no contour at 250.00 m"),
    (["--along", AT], "a drawn line of one point"),
    (["--along", AT, AT], "two different points or more"),
    (["--along", "500060,6399920", "500060,6399980"], "runs across the contour"),
    (["--along", "500030,6399950", "500090,6399950", "--length", "20m"], "gives the swale its"),
    (["--through", AT, "--shape", "vee", "--width", "1m"], "takes no width"),
    (["--through", AT, "--solve", "width"], "there is no storm"),
    (["--through", AT, "--solve", "depth", "--depth", "0.3m", *STORM], "both given and to be"),
    (["--through", AT, "--checks", "2m"], "would fill half of the swale")])
def test_what_cannot_be_is_one_sentence(plane, words, said):
    ran = run(plane, *words)
    assert isinstance(ran.exception, InputError)
    assert said in str(ran.exception)
    assert "\n" not in str(ran.exception)


def test_earth_that_the_berm_does_not_take_is_told(plane):
    """What is dug less the berm as it lay in the ground: 0.9 of a m3 in the ground makes one in
    the bank, 1.25 of it one loose (FM 5-434, table 1-1: loam)."""
    words = (plane, "--through", AT, "--length", "40m", "--depth", "0.4m")
    answer = answered(*words)
    over = answer["cut_m3"] - answer["berm_m3"] / 0.9
    assert over > 0
    assert answer["earth_left_m3"] == pytest.approx(over)
    assert answer["earth_left_loose_m3"] == pytest.approx(1.25 * over)
    assert f"  earth left    {over:.1f} m³ as it lies in the ground, " in run(*words).stdout


def test_one_figure_for_the_machine_is_a_low_and_a_high_one(plane):
    words = (plane, "--through", AT, *STORM, "--machine-hour")
    assert run(*words, "120").stdout == run(*words, "120,120").stdout
    assert "'1,2,3' is neither a figure such as 150 nor a low" in run(*words, "1,2,3").stderr


def test_what_the_sill_is_sized_for_and_what_the_cost_is_of(plane):
    said = run(plane, "--through", AT, "--machine-hour", "50,60", *STORM).stdout
    words = " ".join(said.split())
    assert "sized for the storm that you gave, 20.0 mm" in words
    assert "never let it come onto a house" in words
    assert "in easy ground cost" in words
    assert "for those hours alone" in words
    unasked = " ".join(run(plane, "--through", AT).stdout.split())
    assert "sized for no storm, as you gave none" in unasked
