"""Slips of the command line: each is told what was perhaps meant."""

import pytest

from cli.main import COMMANDS
from cli.slips import no_command


def said(levelsill, *words):
    ran = levelsill(*words)
    assert ran.code == 2, ran
    assert len(ran.err.splitlines()) == 1, ran.err
    return ran.err


@pytest.mark.parametrize("blank", [["--storm", "38", "mm"], ["--storm=38", "mm"]])
def test_a_blank_before_the_unit(levelsill, blank):
    ran = said(levelsill, "shed", "hill.tif", "--at", "1,2", *blank, "--cn", "80")
    assert ("--storm: a blank stands between '38' and 'mm'; write --storm 38mm, or put it in "
            "quotes: --storm '38 mm'. See: levelsill shed --help") in ran


def test_words_too_many(levelsill):
    assert "The word 'b.tif' is one too many" in said(levelsill, "survey", "a.tif", "b.tif")
    assert "The words 'b.tif c.tif' are too many" in said(levelsill, "survey", "a.tif", "b.tif",
                                                          "c.tif")


def test_an_option_misspelt(levelsill):
    assert "There is no option '--strom'; perhaps --storm was meant. See:" in said(
        levelsill, "shed", "hill.tif", "--strom", "38mm")
    assert "There is no option '--xyz'. See:" in said(levelsill, "shed", "hill.tif", "--xyz")


def test_a_command_misspelt(levelsill):
    assert "There is no command 'prov'; perhaps prove was meant. See: levelsill --help" in said(
        levelsill, "prov", "site.yaml")
    assert no_command("zzz", COMMANDS) == "There is no command 'zzz'"
    assert "levelsill check site.yaml" in no_command("site.yaml", COMMANDS)


def test_help_and_version_are_no_commands(levelsill):
    assert levelsill("--help").code == 0
    assert levelsill("--version").code == 0
    assert "no option '--verson'; perhaps --version was meant" in said(levelsill, "--verson")


def test_several_faults_are_a_line_each(levelsill, small_site):
    text = small_site.read_text()
    for old, new in (("depth: 20 mm", "depth: 20,5 mm"), ("crown: 3 m", "crwon: 3 m"),
                     ("volume: 5 m3", "volume: 5 m")):
        assert old in text
        text = text.replace(old, new)
    small_site.write_text(text)
    ran = levelsill("check", small_site)
    assert (ran.code, ran.out) == (2, "")
    assert [line.removeprefix(f"levelsill: {small_site} ") for line in ran.err.splitlines()] == [
        "line 19, rain, storms, item 1, depth: '20,5 mm' is not a number. Write decimals with a "
        "point, such as 20.5 mm.",
        "line 39, works \"trees\", crwon: this field is not known. Perhaps 'crown' was meant; "
        "docs/site-file.md lists them.",
        "line 43, works \"barn tank\", volume: '5 m' is not a volume. Write it such as 20 m3."]


def test_a_new_site_file_in_us_units(levelsill, tmp_path):
    assert levelsill("start", tmp_path / "new", "--units", "us").code == 0
    assert "units: us" in (tmp_path / "new" / "site.yaml").read_text()
    ran = levelsill("start", tmp_path / "demo", "--demo", "--units", "us")
    assert ran.code == 2
    assert "--units: the demo site is in metric units" in ran.err


@pytest.mark.parametrize(("words", "says"), [
    (["shed", "hill.tif", "--at", "1,2", "--cn", "8O"], "'8O' is not a number from 1 to 100. See:"),
    (["rain", "rain.csv", "--start-month", "July"], "'July' is not a whole number from 1 to 12."),
    (["plan", "site.yaml", "--doubt", "many"], "'many' is not a whole number. See:"),
    (["plan", "site.yaml", "--units", "us"], "units stand in the site file (units: us)"),
    (["soak", "--soil", "clay"], "There is no option '--soil'. See:"),
    (["basin", "hill.tif", "--wall", "1,2,3,4"], "more than one place; part places by a blank"),
    (["swale", "hill.tif", "--through", "1,2", "--depth", "35"],
     "'35' is more than 10 m; write it with its unit, such as 40cm"),
    (["basin", "hill.tif", "--depth", "35m"], "'35m' is more than 10 m; check the number"),
    (["shed", "hill.tif", "--at", "1,2", "--storm", "12 gal"],
     "'12 gal' is not a depth of rain; write it such as 35 mm")])
def test_values_that_cannot_be(levelsill, words, says):
    assert says in said(levelsill, *words)


@pytest.mark.parametrize(("cover", "soils", "says"), [
    ("pasture, pore", "C", "--cover: 'pasture, pore' is neither a file nor a class of cover; the "
     "nearest are 'pasture, poor'"),
    ("cover.geojson", "loam", "--soils: 'loam' is neither a soil group nor a file")])
def test_words_in_place_of_layers(levelsill, small_site, monkeypatch, cover, soils, says):
    monkeypatch.chdir(small_site.parent)
    ran = levelsill("shed", "ground.tif", "--at", "500060,6399900", "--storm", "38mm",
                    "--cover", cover, "--soils", soils)
    assert (ran.code, ran.out) == (2, "")
    assert says in ran.err
