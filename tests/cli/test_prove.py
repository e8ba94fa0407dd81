"""levelsill prove: from the installed command, on the small site."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

QUICK = ("--storm", "shower", "--cell", "4m", "--hours-after", "0", "--works-only")


@pytest.fixture
def planned(small_plan, monkeypatch):
    """The command with the plan made beforehand; gives a way to have another."""
    from terrain.plan import plan as room

    def use(plan):
        monkeypatch.setattr(room, "make_plan", lambda site, step=None: plan)
    use(small_plan)
    return use


@pytest.fixture
def site(tmp_path, small_plan):
    """The site file alone, as it is planned already."""
    path = tmp_path / "site.yaml"
    path.write_text(small_plan.site.path.read_text())
    return path


def test_json_alone_on_stdout(levelsill, planned, site):
    ran = levelsill("prove", site, *QUICK, "--json")
    assert ran.code == 0, ran.err
    told = ran.json()
    assert (told["storm"], told["cell_m"], told["followed_h"]) == ("shower", 4.0, 2.0)
    assert told["leaves"]["without_works"] is None


def test_a_folder_of_somebody_is_refused_before_the_work(levelsill, planned, site, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")
    said = refused(levelsill, site, *QUICK, "--out", tmp_path / "out")
    assert "the folder holds files that levelsill did not write" in said
    assert "Flooding" not in said
    assert (tmp_path / "out" / "notes.txt").read_text() == "mine"


@pytest.mark.slow
def test_the_demo_from_its_site_file(levelsill, demo_site, tmp_path):
    """Coarse, so that it takes half a minute: whole, its account closed, its folder written."""
    out = tmp_path / "proof"
    ran = levelsill("prove", demo_site, "--storm", "summer storm", "--cell", "4m",
                    "--hours-after", "0", "--patient", "--json", "--out", out)
    assert ran.code == 0, ran.err
    told = ran.json()
    account = told["account"]
    assert account["rain_m3"] + account["fed_m3"] == pytest.approx(
        account["lost_m3"] + account["soaked_m3"] + account["left_m3"] + account["stands_m3"],
        abs=1e-6)
    assert {s["name"] for s in told["stores"]} >= {"gully pond", "upper swale"}
    assert json.loads((out / "proof.json").read_text()) == told
    assert {line.removeprefix("Written: ") for line in ran.err.split("\n")
            if line.startswith("Written: ")} == {
        str(path) for path in out.iterdir() if not path.name.startswith(".")}
    assert (out / "before_after.png").stat().st_size > 100_000
    assert (out / "storm.html").stat().st_size < 5e6


@pytest.mark.parametrize("system", ["metric", "us"])
def test_words_fit_a_hundred_columns_the_answer_first(levelsill, planned, site, small_plan,
                                                      system):
    named = small_plan.site.model_copy(update={"units": system})
    planned(replace(small_plan, inputs=replace(small_plan.inputs, site=named)))
    ran = levelsill("prove", site, *QUICK, "--what-if")
    assert ran.code == 0, ran.err
    assert max(len(line) for line in ran.out.split("\n")) <= 100
    heads = ["The answer", "What is dangerous", "What comes to each store, and what it keeps",
             "How high its water stands", "What leaves the land",
             "At buildings, roads and the boundary", "What if", "Where the water went",
             "What this rests on"]
    places = [ran.out.index(f"\n{head}\n") for head in heads]
    assert places == sorted(places)
    lines = ran.out.split("\n")
    for i, line in enumerate(lines[:-1]):  # no heading stands over nothing
        if line in heads:
            assert lines[i + 1].startswith("  ")
    assert (" gal" in ran.out) == (system == "us")
    assert (" m³" in ran.out) == (system == "metric")


def refused(levelsill, *words):
    ran = levelsill("prove", *words)
    assert ran.code == 2
    assert ran.out == ""
    assert "Traceback" not in ran.err
    return ran.err


def test_an_unknown_storm_is_refused_and_those_there_named(levelsill, planned, site):
    said = refused(levelsill, site, "--storm", "noah")
    assert "the site file has no storm 'noah'. Name one of shower, big day" in said


def test_names_are_refused_before_anything_is_planned(levelsill, small_site):
    """No raster is there, so any planning would say so."""
    (small_site.parent / "ground.tif").unlink()
    assert "Name one of shower, big day" in refused(levelsill, small_site, "--storm", "noah")
    assert 'no work "noah" (there are: "east swale",' in refused(
        levelsill, small_site.parent, "--what-if", "--work", "noah")


def test_a_storm_without_rain_is_refused(levelsill, planned, site, small_plan):
    rain = small_plan.site.rain
    storms = [s.model_copy(update={"depth": 0.0}) for s in rain.storms]
    dry = small_plan.site.model_copy(update={"rain": rain.model_copy(update={"storms": storms})})
    planned(replace(small_plan, inputs=replace(small_plan.inputs, site=dry)))
    assert "'shower' has a depth of 0 mm. Choose a storm that rains" in refused(
        levelsill, site, *QUICK)


def test_a_work_that_the_flood_does_not_follow_is_refused_before_it(levelsill, planned, site):
    said = refused(levelsill, site, *QUICK, "--what-if", "--work", "barn tank")
    assert "no store that the flood follows is called 'barn tank'. Name one of pond" in said
    assert "Flooding" not in said
    assert "Add --what-if" in refused(levelsill, site, *QUICK, "--work", "pond")


def test_a_run_of_hours_is_refused_and_larger_cells_offered(levelsill, planned, site, monkeypatch):
    from terrain.flood import run
    from terrain.proof import proof as room

    monkeypatch.setattr(room, "LONG", 0.0)  # so that any run is long, and is told at once
    monkeypatch.setattr(run, "FORESEE_AFTER", 0.0)
    said = refused(levelsill, site, *QUICK)
    assert "with cells of 4.0 m (13.1 ft) this storm takes about" in said
    assert "Take larger cells (--cell 8m: about" in said
    assert "or add --patient" in said
    ran = levelsill("prove", site, *QUICK, "--patient")
    assert ran.code == 0, ran.err


@pytest.mark.parametrize(("cell", "words"), [("1cm", "not between"), ("30m", "not between"),
                                             ("3 h", "--cell")])
def test_cells_out_of_range_are_refused(levelsill, planned, site, cell, words):
    assert words in refused(levelsill, site, "--cell", cell)
