"""Names that mean harm, through a whole plan: no file takes them for markup, a formula, a path or
an order to a terminal."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import zipfile
from html.parser import HTMLParser
from xml.etree import ElementTree

import geopandas
import pytest
import yaml

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.plain_text import cell_text

SITE = '=1+1 ../../x <img src=x onload="harm()"> & ]]> $x^2$ 100 % {{7*7}} \\\\ \\H^J\u202e'
#: By what the small site calls them.
NAMES = {"east swale": "../../up/\"onload=\"x\" <b>&amp;]]>\n=cmd|' /C calc'!A0",
         "pond": "$\\frac{1}{0}$ \\input{x} %s %(a)s {0} <script>harm()</script>",
         "trees": "CON", "barn tank": "@SUM(A1) " + "W" * 300}
STORMS = ["+1 <svg/onload=x> $_$ %d", '\tbig ]]> "day"']
ROOF, ROAD = "=barn/<i>x</i>", "@road </text><b>"
#: What a name would add if it were taken for markup.
TAGS = {"img", "script", "svg", "b", "i", "text"}


@pytest.fixture(scope="module")
def folder(small_site_folder, tmp_path_factory):
    """The plan's folder; beside it lies nothing but the site's."""
    from terrain.outputs.folder import write_plan
    from terrain.plan.plan import make_plan

    path = small_site_folder(tmp_path_factory.mktemp("names"))
    given = yaml.safe_load(path.read_text())
    given |= {"name": SITE, "setting out": {"offset": "1.5 m"},
              "benchmark": {"at": [500085, 6399955], "level": "203.0 m"}}
    for work in given["works"]:
        work["name"] = NAMES[work["name"]]
    given["works"][3]["roofs"] = [ROOF]
    for storm, name in zip(given["rain"]["storms"], STORMS, strict=True):
        storm["name"] = name
    for layer, name in (("roofs", ROOF), ("roads", ROAD)):
        rows = geopandas.read_file(path.parent / f"{layer}.geojson")
        rows["name"] = [name]
        rows.to_file(path.parent / f"{layer}.geojson")
    path.write_text(yaml.safe_dump(given, allow_unicode=True), encoding="utf-8")
    there = sorted(path.parent.parent.rglob("*"))
    write_plan(make_plan(path), path.parent / "plan")
    new = [file for file in path.parent.parent.rglob("*") if file not in there]
    assert all(file.is_relative_to(path.parent / "plan") for file in new)
    assert not any(file.is_symlink() for file in new)
    return path.parent / "plan"


class Page(HTMLParser):
    """What a browser would find."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, attrs))


@pytest.mark.slow
def test_no_element_or_attribute_of_the_page_is_from_a_name(folder):
    page = Page((folder / "report.html").read_text(encoding="utf-8"))
    assert len(page.found) > 1000
    for tag, attributes in page.found:
        for name, value in attributes:
            assert not name.startswith("on"), (tag, attributes)
            assert "javascript:" not in (value or "")
            if tag == "img" and name == "src":
                assert (value or "").startswith("data:image/")
    assert sum(tag == "script" for tag, _ in page.found) == 2  # the page's own, and its figures


@pytest.mark.slow
def test_xml_parses_and_names_are_text(folder):
    files = [file for file in folder.rglob("*") if file.suffix in (".kml", ".gpx", ".xml")]
    assert len(files) == 3
    for file in files:
        root = ElementTree.parse(file).getroot()
        assert not {part.tag.rsplit("}")[-1] for part in root.iter()} & TAGS
        assert "<b>&amp;]]>" in " ".join(
            " ".join([part.text or "", *part.attrib.values()]) for part in root.iter())


@pytest.mark.slow
def test_cells_are_text_and_formulas_are_ours(folder):
    files = list(folder.rglob("*.csv"))
    assert len(files) == 2
    for file in files:
        with open(file, newline="", encoding="utf-8-sig") as stream:
            for cell in (cell for row in csv.reader(stream) for cell in row):
                safe = re.fullmatch(r"-|[-+]?[\d.]+(e[-+]\d+)?", cell)
                assert safe or not cell.strip().startswith(("=", "+", "-", "@")), cell
                assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e]", cell)
    with zipfile.ZipFile(folder / "quantities.xlsx") as book:
        sheets = [name for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        assert sheets
        assert not [name for name in book.namelist() if "external" in name or "vba" in name]
        for name in sheets:
            text = book.read(name).decode()
            ElementTree.parse(io.StringIO(text))
            assert "<hyperlink" not in text
            for formula in re.findall("<f>(.*?)</f>", text):
                assert not re.search(r"cmd|SUM\(A1\)|1\+1|\.\./", formula)


@pytest.mark.slow
def test_other_files_are_whole_and_hold_no_program(folder):
    lines = (folder / "field" / "design.dxf").read_text(encoding="utf-8").split("\n")
    # Each pair of lines is a code of a group and its value: a name that ended a line would shift
    # all that follows.
    assert all(re.fullmatch(r" *-?\d+", code) for code in lines[:-1:2])
    for file in folder.rglob("*.pdf"):
        held = file.read_bytes()
        assert held.startswith(b"%PDF")
        assert not [key for key in (b"/JavaScript", b"/Launch", b"/OpenAction", b"/URI")
                    if key in held]
    with sqlite3.connect(folder / "plan.gpkg") as held:
        for style, in held.execute("select styleSLD from layer_styles"):
            ElementTree.fromstring(style)
        assert held.execute("select count(*) from sqlite_master where type = 'view'"
                            ).fetchone() == (0,)
    told = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    # A name itself is never changed in what programs read.
    assert told["site"] == SITE
    assert {NAMES["east swale"], NAMES["pond"], NAMES["barn tank"]} <= {
        store["name"] for store in told["stores"]}


@pytest.mark.slow
def test_no_name_chooses_a_path(folder):
    sheets = sorted(file.name for file in (folder / "sheets").iterdir())
    assert len(sheets) == 3
    for name in sheets:
        assert re.fullmatch(r"\d\d[A-Za-z0-9_]*\.png", name)


@pytest.mark.parametrize("sign", ["\x1b", "\x07", "\x00", "\x7f", "\x9b"])
def test_a_name_that_a_terminal_would_obey_is_refused(small_site, sign):
    """ECMA-48: what begins an order to a terminal."""
    text = small_site.read_text().replace("name: pond", f'name: "pond\\x{ord(sign):02x}[31m"')
    small_site.write_text(text)
    with pytest.raises(InputError) as refused:
        read_site(small_site)
    assert "holds a sign that cannot be printed" in str(refused.value)
    assert str(refused.value).isprintable()


def test_signs_that_a_terminal_would_obey_are_left_out_of_a_layer_and_told(
        tmp_path, write_layer, write_raster):
    from constructed import valley
    from shapely import Point

    from terrain.inputs.elevation import read_elevation
    from terrain.inputs.layers import read_layer
    from terrain.inputs.site import Layer

    write_layer(tmp_path / "wells.geojson", [
        {"name": "old well", "geometry": Point(500_050, 6_399_900)},
        {"name": "new\x1b[2J well", "geometry": Point(500_060, 6_399_900)}])
    layer = read_layer(Layer(file="wells.geojson"), tmp_path, read_elevation(
        write_raster(tmp_path / "ground.tif", valley())), "site.yaml")
    assert list(layer["name"]) == ["old well", "new[2J well"]
    assert any("feature 2: signs that cannot be printed" in note for note in layer.attrs["notes"])


def test_the_terminal_gets_no_orders(capsys):
    from cli.console import facts, heading, remarks, say, table

    order = "a\x1b[31mb\x9bc\rd"
    say(order)
    heading(order)
    facts([(order, order)])
    table([order], [[order]])
    remarks(order, [order])
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f]", capsys.readouterr().out)


def test_cells_do_not_turn_round():
    assert cell_text("a\u202eb\u2066c\x9bd") == "abcd"
