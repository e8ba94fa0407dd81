"""The folder of a screening, its pages in a real browser, and the site files begun in it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from urllib.parse import unquote

import geopandas
import pyproj
import pytest

from terrain.errors import InputError
from terrain.files import RECORD
from terrain.inputs.site import read_site
from terrain.outputs.district.begun_site import begun_site
from terrain.outputs.district.district_folder import write_screening
from terrain.outputs.district.parcel_page import parcel_page
from terrain.outputs.district.tables import ranking_heads
from terrain.outputs.district.words import MEANS, TAKE_CARE, meanings

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def folder(either, tmp_path_factory):
    path = tmp_path_factory.mktemp("district") / "out"
    written = write_screening(either, path, beside=lambda draft: [])
    return path, written


@pytest.fixture(scope="module")
def hostile_folder(hostile, tmp_path_factory):
    """Four of the parcels ask for a page."""
    path = tmp_path_factory.mktemp("hostile") / "out"
    write_screening(replace(hostile, parcels=tuple(
        replace(one, parcel=replace(one.parcel, page=one.parcel.number in (1, 2, 3, 8)))
        for one in hostile.parcels)), path)
    return path


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))


def tags_of(path):
    tags = Tags()
    tags.feed(path.read_text(encoding="utf-8"))
    return tags.seen


def words_of(path):
    page = re.sub(r"<style>.*?</style>|<[^>]+>", " ", path.read_text(encoding="utf-8"),
                  flags=re.DOTALL)
    return " ".join(page.replace("\u00a0", " ").split())


def test_what_stands_in_it(folder):
    path, written = folder
    assert {p.name for p in written} == {"district.csv", "district.json", "parcels.gpkg",
                                         "map.png", "index.html", "parcels"}
    assert {p.name for p in path.iterdir()} == {p.name for p in written} | {RECORD}
    assert {p.name for p in (path / "parcels").iterdir()} == {
        f"Quailstone.{end}" for end in ("html", "png", "yaml", "gpkg")} | {"Salt-Meadow.html"}


def test_a_folder_of_somebody_is_left_alone(screening, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="did not write"):
        write_screening(screening, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_a_fault_on_the_way_leaves_nothing(screening, tmp_path, monkeypatch):
    def fails(*given):
        raise KeyboardInterrupt

    monkeypatch.setattr("terrain.outputs.district.district_folder.draw_district", fails)
    with pytest.raises(KeyboardInterrupt):
        write_screening(screening, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_what_is_written_beside_is_told(screening, tmp_path, monkeypatch):
    def beside(draft):
        (draft / "rasters").mkdir()
        (draft / "rasters" / "x.tif").write_bytes(b"x")
        return [("rasters/x.tif", "what it is")]

    written = write_screening(screening, tmp_path / "out", beside=beside)
    assert tmp_path / "out" / "rasters" in written
    assert "rasters/x.tif : what it is" in words_of(tmp_path / "out" / "index.html")


def test_every_link_leads_to_a_file(folder, hostile_folder):
    checked = 0
    for path in (folder[0], hostile_folder):
        for page in path.rglob("*.html"):
            for tag, attrs in tags_of(page):
                if tag == "a" and not attrs["href"].startswith("#"):
                    assert (page.parent / unquote(attrs["href"])).is_file(), attrs["href"]
                    checked += 1
    assert checked > 20


def test_pages_hold_no_program_and_pictures_are_in_them(folder, hostile_folder):
    for path in (folder[0], hostile_folder):
        for page in path.rglob("*.html"):
            for tag, attrs in tags_of(page):
                assert tag != "script"
                assert not {"onclick", "onerror", "style"} & set(attrs)
                if tag == "img":
                    assert attrs["src"].startswith("data:image/webp;base64,")
                    assert attrs["alt"]


def test_pages_request_nothing_and_run_nothing(folder, hostile_folder, browser):
    for page in (folder[0] / "index.html", folder[0] / "parcels" / "Quailstone.html",
                 hostile_folder / "index.html",
                 hostile_folder / "parcels" / "script-alert-1-script.html"):
        asked, said = [], []
        tab = browser.new_page()
        tab.on("request", lambda request, asked=asked: asked.append(request.url))
        tab.on("dialog", lambda dialog, said=said: said.append(dialog.message))
        tab.on("console", lambda message, said=said: said.append(message.text))
        tab.goto(page.as_uri())
        assert [url for url in asked if not url.startswith("data:")] == [page.as_uri()]
        assert said == []
        assert tab.evaluate("document.images[0].naturalWidth") > 1000
        tab.close()


def test_names_are_words_and_nothing_else(hostile_folder, browser):
    """Markup, and signs that turn letters round, in a parcel's name."""
    tab = browser.new_page()
    tab.goto((hostile_folder / "index.html").as_uri())
    cells = tab.eval_on_selector_all("#ranking ~ .scroll td.words",
                                     "all => all.map(x => x.innerText)")
    tab.close()
    assert cells[:3] == ["<script>alert(1)</script>", "=1+1", "../../etc/passwd"]
    page = (hostile_folder / "index.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<i>note</i>" not in page
    assert "&lt;i&gt;note" in page


def test_the_page_fits_a_phone(folder, browser):
    tab = browser.new_page(viewport={"width": 390, "height": 800})
    for page in ("index.html", "parcels/Quailstone.html"):
        tab.goto((folder[0] / page).as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    tab.close()


def test_the_page_says_what_matters(folder, either):
    said = words_of(folder[0] / "index.html")
    for line in TAKE_CARE:
        assert " ".join(line.replace('"', "&#34;").replace("'", "&#39;").split()) in said
    for words in ("planning aid", "water rights", "engineer", "permits", "neighbour",
                  "not safe to drink", "Run-on of several parcels does not add up",
                  "2 of them could not be", "The elevation knows nothing of it.",
                  "384,000 cells of ground.tif, in 6 tiles"):
        assert words.lower() in said.lower(), words
    us = either.district.units == "us"
    assert (" gal" in said) == us
    assert (" acre" in said) == us
    assert (" m³" in said) == (not us)
    assert (" ha " in said) == (not us)


def test_every_column_of_the_ranking_is_explained(screening):
    heads = ranking_heads(screening)
    assert [head for head, _ in meanings(heads, screening)] == list(heads[2:])
    assert set(MEANS) == set(heads[2:])


def test_a_parcels_page(folder, either):
    said = words_of(folder[0] / "parcels" / "Quailstone.html")
    for words in ("rank 1 of 6", "Where it comes in", "slope here is 4 %: &lt;b&gt;room&lt;/b&gt;",
                  "Three ways of water meet here.", "A hole of 3", "Quailstone.yaml",
                  "levelsill suggest Quailstone.yaml", "Take the plan to whoever gives permits"):
        assert words in said, words
    assert "<b>room" not in (folder[0] / "parcels" / "Quailstone.html").read_text()


def test_at_least_is_said_where_it_is(made_up):
    screening = made_up()
    one = screening.parcels[3]
    assert one.at_least
    page = " ".join(parcel_page(screening, 4, one, "x", b_picture()).replace(
        "\u00a0", " ").split())
    assert "and at least 8,500 m² beyond it drain over it" in page
    assert "≥ 501 m³" in page
    other = parcel_page(screening, 1, screening.parcels[0], "x", b_picture())
    assert "≥" not in re.sub(r"<style>.*?</style>", "", other, flags=re.DOTALL)


def page_words(page):
    page = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(page.replace("\u00a0", " ").split())


def test_a_page_says_how_its_entries_relate_to_run_on(made_up):
    """Entries of 2.0, 1.0 and 0.4 ha; of 3.4 ha of run-on ground, then of 6.8 ha."""
    screening = made_up()
    one = screening.parcels[0]
    page = page_words(parcel_page(screening, 1, one, "x", b_picture()))
    assert "These are the places where most ground drains in. Water that leaves" in page
    assert "Places are east, north in WGS 84 / UTM zone 34S" in page
    lon, lat = pyproj.Transformer.from_crs(32734, 4326, always_xy=True).transform(
        *one.entries[0].at)
    assert f"{lon:.5f}, {lat:.5f}" in page
    more = replace(one, run_on_area=68000.0)
    page = page_words(parcel_page(screening, 1, more, "x", b_picture()))
    assert "These come to 50 % of the ground beyond" in page


def test_a_parcel_without_places_is_told_why_and_nobody_is_sent_to_them(made_up):
    screening = made_up()
    one = replace(screening.parcels[0], swale=None, basin=None, notes=(
        "No ground for a swale: it is too steep.", "No ground for a basin: it is too small."))
    page = page_words(parcel_page(screening, 8, one, "x", b_picture()))
    assert "place on the map" not in page
    for why in one.notes:
        assert page.count(why) == 1
        assert page.index("Where it is best caught") < page.index(why) < page.index("What next")
    usual = page_words(parcel_page(screening, 1, screening.parcels[0], "x", b_picture()))
    assert "Walk to each place on the map" in usual
    assert "so several parcels may show the same volume" in usual


def b_picture():
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (4, 4)).save(out, "PNG")
    return out.getvalue()


def test_a_parcel_that_could_not_be_screened_has_a_page_that_says_why(made_up, tmp_path):
    screening = made_up(faulty=(1,))
    write_screening(screening, tmp_path / "out")
    said = words_of(tmp_path / "out" / "parcels" / "Quailstone.html")
    assert "could not be screened: The elevation knows nothing of it." in said


def test_a_page_that_fails_says_so_and_the_others_are_written(made_up, tmp_path, monkeypatch):
    from terrain.outputs.district import district_folder

    real = district_folder.write_outline

    def failing(screening, parcel, path):
        if parcel.name == "Quailstone":
            raise ZeroDivisionError("a slip")
        real(screening, parcel, path)

    monkeypatch.setattr(district_folder, "write_outline", failing)
    screening = made_up()
    write_screening(screening, tmp_path / "out")
    said = words_of(tmp_path / "out" / "parcels" / "Quailstone.html")
    assert "could not be made: a fault of levelsill's own (ZeroDivisionError: a slip)" in (
        said.replace("&#39;", "'"))
    assert "district.csv" in said
    names = {path.name for path in (tmp_path / "out" / "parcels").iterdir()}
    assert {name for name in names if name.startswith("Quailstone.")} == {"Quailstone.html"}
    paged = [one for one in screening.parcels if one.parcel.page]
    assert len([name for name in names if name.endswith(".png")]) == len(paged) - 1 > 0
    assert (tmp_path / "out" / "district.csv").exists()


def test_the_site_file_begun_is_the_districts_with_the_parcels_boundary(folder, either, levelsill):
    path = folder[0] / "parcels" / "Quailstone.yaml"
    site = read_site(path)
    assert site.name == "Quailstone"
    assert site.works == []
    district = either.district
    for field in ("cover", "soils", "roads", "roofs", "rain"):
        own, its = getattr(district, field), getattr(site, field)
        assert its.model_dump(exclude={"file", "daily", "frequency", "storms"}) == own.model_dump(
            exclude={"file", "daily", "frequency", "storms"}), field
    assert (path.parent / site.cover.file).samefile(district.folder / district.cover.file)
    outline = geopandas.read_file(path.with_suffix(".gpkg"))
    assert outline.crs.to_epsg() == 32734
    assert outline.geometry.iloc[0].equals(either.parcels[0].parcel.outline)
    ran = levelsill("check", path)
    assert ran.code == 0, ran.err


def test_a_name_that_is_no_plain_yaml_is_quoted(hostile_folder):
    for stem, name in (("script-alert-1-script", "<script>alert(1)</script>"), ("1-1", "=1+1"),
                       ("etc-passwd", "../../etc/passwd")):
        assert read_site(hostile_folder / "parcels" / f"{stem}.yaml").name == name


@pytest.mark.parametrize("text", [
    # JSON is YAML too.
    lambda own: json.dumps(own), lambda own: json.dumps(own, indent=1)])
def test_a_district_file_in_brackets(made_up, tmp_path, text):
    import yaml

    from terrain.inputs.district import read_district

    screening = made_up()
    folder = screening.district.folder
    own = yaml.safe_load((folder / "district.yaml").read_text())
    for part in ("parcels", "cover", "soils", "roads", "roofs"):
        own[part]["file"] = str(folder / own[part]["file"])
    own["elevation"]["file"] = str(folder / "ground.tif")
    own["rain"]["frequency"] = str(folder / "rain_depths.csv")
    own["rain"]["daily"]["file"] = str(folder / "rain_daily.csv")
    for thing in own["keep clear"]:
        thing["file"] = str(folder / thing["file"])
    (tmp_path / "district.yaml").write_text(text(own))
    there = replace(screening, district=read_district(tmp_path))
    made = begun_site(there, screening.parcels[0].parcel, "x.gpkg", tmp_path / "out")
    site = read_site(tmp_path / "x.yaml", made)
    assert (site.name, str(site.boundary.file)) == ("Quailstone", "x.gpkg")
