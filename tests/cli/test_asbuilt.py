"""levelsill asbuilt: from the installed command, on the small site."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def survey(small_site_folder, tmp_path_factory):
    """The small site, and a survey of its swale's sill by stations: its level is asked for first.
    """
    folder = tmp_path_factory.mktemp("asbuilt")
    site = small_site_folder(folder)
    points = folder / "points.csv"
    # The swale lies on the contour through its point: 200 - 0.04 * 59.5 + 0.08 * 25 m and so on;
    # levels near it will do, what they differ by is read from the answer.
    points.write_text("work,mark,station_m,elevation_m\n"
                      + "".join(f"east swale,bed,{at},199.2\n" for at in (0, 10, 20, 29)))
    return site, points


@pytest.mark.slow
def test_json_and_a_picture_and_never_over_a_file(levelsill, survey, tmp_path):
    site, points = survey
    picture = tmp_path / "swale.png"
    ran = levelsill("asbuilt", site, points, "--json", "--picture", picture, "--out",
                    tmp_path / "out")
    assert ran.code == 0, ran.err
    told = ran.json()
    [work] = told["works"]
    assert work["name"] == "east swale"
    [line] = work["lines"]
    for point in line["points"]:
        assert point["surveyed_m"] == pytest.approx(199.2)
        assert point["difference_m"] == pytest.approx(199.2 - point["designed_m"])
    assert picture.stat().st_size > 10_000
    assert (tmp_path / "out" / "01-east-swale.png").stat().st_size > 10_000
    assert json.loads((tmp_path / "out" / "as_built.json").read_text())["works"][0]["lines"]
    again = levelsill("asbuilt", site, points, "--picture", picture)
    assert again.code == 2
    assert "there is a file of that name already" in again.err


@pytest.mark.slow
def test_words(levelsill, survey):
    ran = levelsill("asbuilt", *survey, "--units", "us")
    assert ran.code == 0, ran.err
    for words in ("4 surveyed points on 1 work", "east swale: out of tolerance", "holds", " gal",
                  "first spills", "What this rests on", "is a guess"):
        assert words in ran.out


def test_a_slip_is_found_before_the_plan_is_made(levelsill, survey, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("work,mark\na,b\n")
    ran = levelsill("asbuilt", survey[0], bad)
    assert ran.code == 2
    assert ran.out == ""
    assert "no column holds an elevation or a staff reading" in ran.err
    assert "Reading the site file" not in ran.err


@pytest.mark.slow
def test_a_work_that_was_not_surveyed(levelsill, survey):
    ran = levelsill("asbuilt", *survey, "--work", "pond")
    assert ran.code == 2
    assert "no point was surveyed on 'pond'. Name one of east swale" in ran.err


@pytest.mark.slow
def test_the_readmes_survey_of_the_demo(levelsill, tmp_path):
    """What the README tells of it, and what docs and demo say was done to it on purpose."""
    shutil.copytree(HOUSE / "demo_dem", tmp_path / "demo_dem")
    page = (HOUSE / "README.md").read_text()
    [command] = re.findall(r"`(levelsill asbuilt demo_dem[^`]*)`", page)
    ran = levelsill(*shlex.split(command)[1:], "--json", folder=tmp_path)
    assert ran.code == 0, ran.err
    [work] = ran.json()["works"]
    assert (tmp_path / "upper_swale.png").stat().st_size > 10_000
    assert work["first_spill"]["over"] == "berm"
    assert work["holds_m3"] / work["designed_holds_m3"] == pytest.approx(0.8, abs=0.03)
    verdicts = {line["name"]: line["verdict"] for line in work["lines"]}
    assert (verdicts["sill"], verdicts["berm"]) == ("too high", "too low")
    sill = next(line for line in work["lines"] if line["name"] == "sill")
    assert max(point["difference_m"] for point in sill["points"]) == pytest.approx(0.020, abs=0.002)
    assert {mend["do"] for mend in work["mend"] if mend["needed"]} == {"shave", "dig", "raise"}
