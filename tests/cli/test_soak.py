"""The soak command: a hole test's rate, a default's, and how long water stands."""

import json
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
def soak(monkeypatch, capsys):
    """Run the command within this Python: its exit code, and what it says on stdout and stderr."""
    def run_soak(*words):
        from cli.main import run

        monkeypatch.setattr(sys, "argv", ["levelsill", "soak", *map(str, words)])
        code = 0
        try:
            run()
        except SystemExit as ended:
            code = ended.code
        said = capsys.readouterr()
        return code, said.out, said.err
    return run_soak


def test_a_hole_test(soak, hole):
    code, out, err = soak(hole, "--diameter", "300mm", "--depth", "0.9m")
    assert (code, err) == (0, "")
    assert re.search(r"rate to count on +16\.7 mm/h", out)
    assert re.search(r"measured +33\.5 mm/h", out)
    assert re.search(r"steady +yes", out)
    assert re.search(r"would fit +soil group B", out)  # 14.4 to 36 mm/h in deep soil
    assert "infiltration: 16.7 mm/h" in out
    assert "mosquitoes" not in out
    assert re.search(r"0\.90 m stands +54 h \(over 24 and 48 h, within 72 h\)", out)
    assert "Many want it gone in 24 or 48 h" in out
    for word in ("buried pipes", "cover the hole", "depth of the floor", "licensed"):
        assert word in " ".join(out.split())


def test_a_hole_test_for_programs_and_in_us_units(soak, hole):
    _, out, _ = soak(hole, "--diameter", "300mm", "--safety", "4", "--units", "us",
                     "--depth", "2ft", "--json")
    answer = json.loads(out)
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
def test_the_mosquito_limits_are_the_published_ones(soak):
    hours = {row["source"].partition(",")[0]: row["hours"]
             for row in rows("drawdown_and_mosquito.csv")}
    text = " ".join(soak("--texture", "sandy loam", "--depth", "500mm")[1].split())
    # Half of 10.9 mm/h (Rawls, Brakensiek & Miller, 1983): 5.45 mm/h, 91.7 h.
    assert re.search(r"rate to count on 5\.45 mm/h 0\.50 m stands 92 h \(over 24, 48 and 72 h\)",
                     text)
    assert f"longer than {hours['University of California IPM']} h" in text
    assert f"allows {hours['California Department of Public Health']} h" in text
    assert "This is a default" in text


def test_a_soil_group(soak):
    answer = json.loads(soak("--group", "C", "--json")[1])
    assert answer["rate_mm_h"] == pytest.approx((1.27 + 3.81) / 4)  # TR-55, Appendix A, halved
    assert not answer["tested"]
    assert answer["drawdown"] is None
    assert "no hole test" in answer["source"]


def test_a_hole_found_empty_and_one_that_takes_nothing(soak, tmp_path):
    path = tmp_path / "odd.csv"
    path.write_text("hours,depth_mm\n0,300\n48,0\n")
    out = soak(path, "--diameter", "300mm")[1]
    assert re.search(r"measured +at least 2\.51 mm/h", out)  # 75 ln(375 / 75) / 48
    assert re.search(r"steady +not known", out)
    assert "soil group C or a faster one" in out
    path.write_text("hours,depth_mm\n0,300\n24,300\n48,300\n")
    out = soak(path, "--diameter", "300mm", "--depth", "0.2m")[1]
    assert re.search(r"stands +for good", out)
    assert "infiltration: 0 mm/h" in out
    assert "mosquitoes" in out
    path.write_text("minutes,down_mm\n0,300\n30,375\n60,435\n")
    out = soak(path, "--diameter", "300mm", "--hole-depth", "0.6m", "--safety", "1")[1]
    assert "infiltration: 33.5 mm/h" in out


@pytest.mark.parametrize(("words", "said"), [
    ([], ["one of READINGS, --texture and --group"]),
    (["HOLE", "--group", "A"], ["not READINGS and --group"]),
    (["HOLE"], ["size was not given", "--diameter"]),
    (["HOLE", "--diameter", "300mm", "--pit", "1m,1m"], ["both round and a pit"]),
    (["HOLE", "--diameter", "300m"], ["--diameter", "300 m across"]),
    (["HOLE", "--diameter", "12", "--units", "us"], ["'12' has no unit", "12in"]),
    (["HOLE", "--pit", "0.6m"], ["--pit", "two sides"]),
    (["HOLE", "--diameter", "300mm", "--hole-depth", "0.6m"], ["depth_mm", "--hole-depth"]),
    (["HOLE", "--diameter", "300mm", "--safety", "nan"], ["--safety: nan", "Give 2"]),
    (["--group", "B", "--depth", "1e308m"], ["--depth: 1e+308 m", "300mm"]),
    (["--texture", "mud"], ["'mud'", "sandy loam"]),
    (["--group", "B", "--diameter", "300mm"], ["--diameter belongs to a hole test"]),
    (["gone.csv", "--diameter", "300mm"], ["gone.csv", "no such file"])])
def test_one_sentence_for_wrong_words(soak, hole, words, said):
    code, out, err = soak(*(hole if word == "HOLE" else word for word in words))
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1, err
    for word in said:
        assert word in err


def test_the_readings_that_the_readme_shows(levelsill, tmp_path):
    page = README.read_text()
    table = re.search(r"```csv\n(time,.*?)```", page, re.DOTALL)
    command = re.search(r"`levelsill (soak hole\.csv [^`]+)`", page)
    (tmp_path / "hole.csv").write_text(table[1])
    ran = levelsill(*command[1].split(), folder=tmp_path)
    assert ran.code == 0, ran.err
    assert "infiltration: " in ran.out
