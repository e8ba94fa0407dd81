"""levelsill suggest: from the installed command, its search replaced by one that is done."""

from __future__ import annotations

import json
import os
import signal
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from terrain.inputs.site_suggest import AIMS, MOST_PLACES
from terrain.plan.siting.reading import read_inputs
from terrain.suggest.suggestion import AimWords, FrontPoint, Suggestion, Water


@pytest.fixture(scope="module")
def found(tmp_path_factory, small_site_folder):
    """What a search found that has nothing to propose."""
    from terrain.inputs.site_suggest import Suggest

    inputs = read_inputs(small_site_folder(tmp_path_factory.mktemp("searched")))
    water = Water(12.0, 40.0, 210.0, 31.0, 52.0, 0.031, 300.0, 120.0, 900.0, None)
    return Suggestion(
        inputs, Suggest(), AimWords("water in a year", "water kept in an average year", "volume",
                                    "hours"),
        {"swale": 12, "wall": 0}, water, (FrontPoint(3.0, 2.0, 20.0, 21.0, None, 1),), None, (),
        None, 5.0, ("A note.",), False, 3.0, 8123.0)


@pytest.fixture
def searched(found, monkeypatch):
    """Replace the search; gives what it was asked, and a way to have it do otherwise."""
    asked = {}

    def use(does=lambda stopped: found):
        room = ModuleType("terrain.suggest.suggest")

        def suggest(path, progress, over=None, stopped=None):
            asked.update(path=path, over=over)
            progress("Searching")
            return does(stopped)
        room.suggest = suggest
        monkeypatch.setitem(sys.modules, "terrain.suggest.suggest", room)
        return asked
    use()
    asked["use"] = use
    return asked


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.yaml"
    path.write_text("name: searched already\n")
    return path


def test_json_alone_on_stdout_and_the_folder_beside_the_site(levelsill, searched, site):
    ran = levelsill("suggest", site, "--json")
    assert ran.code == 0, ran.err
    out = site.parent / "suggest"
    assert ran.json() == json.loads((out / "suggest.json").read_text())
    assert {line.removeprefix("Written: ") for line in ran.err.split("\n")
            if line.startswith("Written: ")} == {
        str(path) for path in out.iterdir() if not path.name.startswith(".")}
    assert searched["over"] == {}


def test_options_come_before_the_site_file(levelsill, searched, site, tmp_path):
    ran = levelsill("suggest", site, "--aim", "erosion", "--budget", "15000.5", "--places", "300",
                    "--out", tmp_path / "ideas")
    assert ran.code == 0, ran.err
    assert searched["over"] == {"aim": "erosion", "budget": 15000.5, "places": 300}
    assert Path(searched["path"]) == site
    assert (tmp_path / "ideas" / "suggest.html").exists()
    assert not (tmp_path / "suggest").exists()


def test_what_is_said(levelsill, searched, site):
    ran = levelsill("suggest", site)
    assert ran.code == 0, ran.err
    for words in ("The answer", "No layout better than what stands was found", "Before anybody",
                  "What this rests on", "A note."):
        assert words in ran.out
    assert max(len(line) for line in ran.out.split("\n")) <= 100


@pytest.mark.parametrize("words", [("--aim", "gold"), ("--budget", "0"), ("--places", "3"),
                                   ("--places", str(MOST_PLACES + 1)), ("--budget", "much")])
def test_what_cannot_be_is_refused_before_the_search(levelsill, searched, site, words):
    ran = levelsill("suggest", site, *words)
    assert ran.code == 2
    assert ran.out == ""
    assert words[0] in ran.err
    assert "path" not in searched


def test_every_aim_is_one_of_the_command(levelsill, searched, site):
    from cli.suggest import AIMS as OFFERED

    assert OFFERED == AIMS


def test_a_folder_of_somebody_is_refused_before_the_search(levelsill, searched, site, tmp_path):
    (tmp_path / "suggest").mkdir()
    (tmp_path / "suggest" / "notes.txt").write_text("mine")
    ran = levelsill("suggest", site)
    assert ran.code == 2
    assert "the folder holds files that levelsill did not write" in ran.err
    assert "path" not in searched


def test_the_first_ctrl_c_gives_the_best_so_far(levelsill, searched, site, found):
    def does(stopped):
        assert not stopped()
        os.kill(os.getpid(), signal.SIGINT)
        return replace(found, stopped=stopped())
    searched["use"](does)
    ran = levelsill("suggest", site)
    assert ran.code == 0, ran.err
    assert "Stopped early" in ran.err
    assert "stopped before its end" in ran.out
    assert json.loads((site.parent / "suggest" / "suggest.json").read_text())["stopped"] is True


@pytest.mark.parametrize("second", ["SIGINT", "SIGTERM"])
def test_a_second_ctrl_c_stops_at_once(levelsill, searched, site, second):
    def does(stopped):
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(os.getpid(), getattr(signal, second))
        raise AssertionError("it went on")
    searched["use"](does)
    with pytest.raises(KeyboardInterrupt):  # how the fixture tells exit code 130
        levelsill("suggest", site)
    assert [p.name for p in site.parent.iterdir()] == ["site.yaml"]


def test_help_shows_it_between_plan_and_prove(levelsill):
    out = levelsill("--help").out
    assert out.index("\n  plan ") < out.index("\n  suggest ") < out.index("\n  prove ")
    assert "Where works should go, and how far any plan is from the best." in out
