"""The soak command: a hole test's rate, a default's, and how long water stands."""

import math
import re
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

README = Path(__file__).resolve().parents[2] / "README.md"
# 300 mm across: A / P = 75 mm, so 75 ln(375 / 300) x 2 = 33.47 mm/h for the earlier half hour and
# 75 ln(300 / 240) x 2 = 33.47 mm/h for the later.
EVEN = "minutes,depth_mm\n0,300\n30,225\n60,165\n62,300\n92,225\n122,165\n"
RATE = 150 * math.log(1.25)


@pytest.fixture
def hole(tmp_path):
    path = tmp_path / "hole.csv"
    path.write_text(EVEN)
    return path


@pytest.fixture
def refused(monkeypatch, capsys):
    """What the command, run within this Python, says on stderr in one line with exit code 2."""
    def run_wrong(*words):
        from cli.main import run

        monkeypatch.setattr(sys, "argv", ["levelsill", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            run()
        said = capsys.readouterr()
        assert (ended.value.code, said.out) == (2, "")
        assert len(said.err.splitlines()) == 1, said.err
        return said.err
    return run_wrong


def test_a_hole_test(levelsill, hole):
    ran = levelsill("soak", hole, "--diameter", "300mm", "--depth", "0.9m")
    assert ran.code == 0, ran.err
    assert re.search(r"rate to count on +16\.7 mm/h", ran.out)
    assert re.search(r"measured +33\.5 mm/h", ran.out)
    assert re.search(r"steady +yes", ran.out)
    assert re.search(r"would fit +soil group B", ran.out)  # 14.4 to 36 mm/h in deep soil
    assert "infiltration: 16.7 mm/h" in ran.out
    assert "mosquitoes" not in ran.out
    assert re.search(r"0\.90 m stands +54 h \(over 24 and 48 h, within 72 h\)", ran.out)
    for word in ("buried pipes", "cover the hole", "depth of the floor", "licensed"):
        assert word in " ".join(ran.out.split())


def test_a_hole_test_for_programs_and_in_us_units(levelsill, hole):
    answer = levelsill("soak", hole, "--diameter", "300mm", "--safety", "4", "--units", "us",
                       "--depth", "2ft", "--json").json()
    assert answer["measured_mm_h"] == pytest.approx(RATE)
    assert answer["rate_mm_h"] == pytest.approx(RATE / 4)
    assert answer["site_line"] == "infiltration: 0.329 in/h"  # 8.3677 mm/h
    assert answer["drawdown"] == {
        "depth_m": pytest.approx(0.6096), "stands_h": pytest.approx(609.6 / (RATE / 4)),
        "over_24_h": True, "over_48_h": True, "over_72_h": True}
    assert [i["rate_mm_h"] for i in answer["intervals"]] == pytest.approx([RATE] * 4)
    assert answer["tested"]
    assert answer["steady"]
    assert any("mosquitoes" in said for said in answer["cautions"])


@given(st.floats(0, 2000), st.sampled_from(["metric", "us"]))
def test_the_line_is_one_that_a_site_file_takes(rate, system):
    from ruamel.yaml import YAML

    from terrain.plan.soak import site_line
    from terrain.units import read_quantity

    given_rate = YAML(typ="safe").load(site_line(rate, system))["infiltration"]
    # Three figures: half of the last is 0.5 % at most; six decimals.
    assert read_quantity(given_rate, "rate") == pytest.approx(rate, rel=0.005, abs=2e-5)


# UC IPM, Managing Mosquitoes in Stormwater Treatment Devices, 2004; CDPH, 2010.
def test_the_mosquito_limits_are_the_published_ones(levelsill):
    hours = {row["source"].partition(",")[0]: row["hours"]
             for row in rows("drawdown_and_mosquito.csv")}
    ran = levelsill("soak", "--texture", "sandy loam", "--depth", "500mm")
    text = " ".join(ran.out.split())
    # Half of 10.9 mm/h (Rawls, Brakensiek & Miller, 1983): 5.45 mm/h, 91.7 h.
    assert re.search(r"rate to count on 5\.45 mm/h 0\.50 m stands 92 h \(over 24 and 48 and 72 h\)",
                     text)
    assert f"longer than {hours['University of California IPM']} h" in text
    assert f"allows {hours['California Department of Public Health']} h" in text
    assert "This is a default" in text


def test_a_soil_group(levelsill):
    answer = levelsill("soak", "--group", "C", "--json").json()
    assert answer["rate_mm_h"] == pytest.approx((1.27 + 3.81) / 4)  # TR-55, Appendix A, halved
    assert not answer["tested"]
    assert answer["drawdown"] is None
    assert "no hole test" in answer["source"]


@pytest.mark.parametrize(("words", "said"), [
    ([], ["one of READINGS, --texture and --group"]),
    (["HOLE", "--group", "A"], ["not READINGS and --group"]),
    (["HOLE"], ["size was not given", "--diameter"]),
    (["HOLE", "--diameter", "300mm", "--pit", "1m,1m"], ["both round and a pit"]),
    (["HOLE", "--diameter", "300"], ["--diameter", "300 m across"]),
    (["HOLE", "--pit", "0.6m"], ["--pit", "two sides"]),
    (["HOLE", "--diameter", "300mm", "--hole-depth", "0.6m"], ["depth_mm", "--hole-depth"]),
    (["--texture", "mud"], ["'mud'", "sandy loam"]),
    (["--group", "B", "--diameter", "300mm"], ["--diameter belongs to a hole test"]),
    (["gone.csv", "--diameter", "300mm"], ["gone.csv", "no such file"])])
def test_one_sentence_for_wrong_words(refused, hole, words, said):
    sentence = refused("soak", *(hole if word == "HOLE" else word for word in words))
    for word in said:
        assert word in sentence


def test_the_readings_that_the_readme_shows(levelsill, tmp_path):
    page = README.read_text()
    table = re.search(r"```csv\n(time,.*?)```", page, re.DOTALL)
    command = re.search(r"`levelsill (soak hole\.csv [^`]+)`", page)
    (tmp_path / "hole.csv").write_text(table[1])
    ran = levelsill(*command[1].split(), folder=tmp_path)
    assert ran.code == 0, ran.err
    assert "infiltration: " in ran.out
