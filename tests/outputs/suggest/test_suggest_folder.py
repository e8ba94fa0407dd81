"""The folder of a search, its page and its JSON; figures are those of the made-up search."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from PIL import Image

from terrain.errors import InputError
from terrain.files import RECORD
from terrain.inputs.site_suggest import KINDS, Suggest
from terrain.inputs.site_works import Basin
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.suggest import tables, words
from terrain.outputs.suggest.figures import gap_words, reached_words
from terrain.outputs.suggest.suggest_folder import write_suggestion
from terrain.outputs.suggest.suggest_json import suggest_object
from terrain.outputs.suggest.suggest_page import suggest_page
from terrain.suggest.suggestion import OwnPlan

#: What every figure's key ends in, and the counts that have no unit.
UNITS = re.compile(r"_(m|m2|m3|mm|h|m3_s|mm_h|money|share|trees)$")
COUNTS = {"knee", "works", "trees", "places", "swale", "wall", "dug basin", "road basin",
          "tree row", "at"}


@pytest.fixture(scope="module")
def folder(small_suggested, tmp_path_factory):
    path = tmp_path_factory.mktemp("suggest") / "out"
    said = []
    return path, write_suggestion(small_suggested, path, said.append), said


@pytest.fixture(scope="module")
def page(folder):
    return (folder[0] / "suggest.html").read_text(encoding="utf-8")


def test_what_stands_in_it(folder):
    path, written, said = folder
    names = {"cheap.yaml", "balanced.yaml", "most.yaml", "suggest.html", "suggest.json",
             "front.png", "map_cheap.png", "map_balanced.png", "map_most.png"}
    assert {p.name for p in written} == names
    assert {p.name for p in path.iterdir()} == {*names, RECORD}
    assert "Drawing the front" in said


def test_a_folder_of_somebody_is_left_alone(small_suggested, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="did not write"):
        write_suggestion(small_suggested, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_a_fault_on_the_way_leaves_nothing(small_suggested, tmp_path, monkeypatch):
    def fails(*given):
        raise KeyboardInterrupt

    monkeypatch.setattr("terrain.outputs.suggest.suggest_folder.suggest_page", fails)
    few = replace(small_suggested, proposals=())
    with pytest.raises(KeyboardInterrupt):
        write_suggestion(few, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_every_proposal_is_planned_from_where_it_stands(folder, levelsill):
    for name in ("cheap", "balanced", "most"):
        ran = levelsill("check", folder[0] / f"{name}.yaml")
        assert ran.code == 0, ran.err


def test_json_holds_the_figures(folder, small_suggested):
    told = json.loads((folder[0] / "suggest.json").read_text(encoding="utf-8"))
    assert told["against"] == "hours"
    assert [p["name"] for p in told["proposals"]] == ["cheap", "balanced", "most"]
    for said, one in zip(told["proposals"], small_suggested.proposals, strict=True):
        assert said["gap_share"] == pytest.approx((one.bound - one.model) / one.bound)
        assert said["model_m3"] == pytest.approx(one.model)
        assert [w["name"] for w in said["works"]] == [c.candidate.name for c in one.works]
    assert [p["cost_h"] for p in told["front"]] == pytest.approx(
        [p.cost for p in small_suggested.front])
    assert told["own_plan"]["best_m3"] == 350


def test_json_has_a_unit_to_each_figure_and_no_time_it_took(small_suggested):
    found = []

    def walk(value, key):
        if isinstance(value, dict):
            for name, part in value.items():
                walk(part, name)
        elif isinstance(value, list):
            for part in value:
                walk(part, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found.append(key)

    text = dumped(suggest_object(small_suggested))
    walk(json.loads(text), "")
    assert len(found) > 50
    assert [k for k in set(found) if not UNITS.search(k) and k not in COUNTS] == []
    assert text == dumped(suggest_object(replace(small_suggested, seconds=99.0)))


def test_the_page_is_the_same_whatever_time_it_took(small_suggested):
    few = replace(small_suggested, proposals=())
    assert suggest_page(replace(few, seconds=1e6), {}) == suggest_page(few, {})


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen, self.links = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))


def test_the_page_needs_nothing_else(page):
    tags = Tags()
    tags.feed(page)
    for tag, attrs in tags.seen:
        if tag == "img":
            assert attrs["src"].startswith("data:image/webp;base64,")
            assert attrs["alt"]
        assert not {"onclick", "onerror", "style"} & set(attrs)
    links = {attrs["href"] for tag, attrs in tags.seen if tag == "a"}
    assert links == {"#main", "front.png", *(f"{n}.yaml" for n in ("cheap", "balanced", "most")),
                     *(f"map_{n}.png" for n in ("cheap", "balanced", "most"))}
    [policy] = [attrs["content"] for tag, attrs in tags.seen if tag == "meta"
                and attrs.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; img-src data:;")


def test_what_a_site_file_says_harms_no_page(page):
    assert "<b>room</b>" not in page
    assert "&lt;b&gt;room&lt;/b&gt;" in page


def test_the_page_says_what_matters(page):
    flat = " ".join(re.sub(r"<[^>]+>", " ", page).replace("\u00a0", " ").split())
    for words_ in ("Local codes and licensed people come first", "dig a test hole",
                   "The ground offers none of road turn-outs with a basin",
                   "It costs more than what is left.", "It leaves out east swale.",
                   "The next 5.0 h of the machine would bring 12.5 m³ more",
                   "The next 5.0 h of the machine would bring nothing more"):
        assert words_ in flat, words_


@pytest.mark.parametrize(("model", "bound", "gap", "reached"), [
    (100.0, 100.0, "0", None), (99.95, 100.0, "0.1\u00a0%", "99.9\u00a0%"),
    (93.76, 100.0, "6.3\u00a0%", "93.7\u00a0%"), (90.0, 100.0, "10.0\u00a0%", "90.0\u00a0%")])
def test_how_far_from_the_best_is_never_told_too_well(small_suggested, model, bound, gap, reached):
    """Rounded up, and what is reached rounded down."""
    one = replace(small_suggested.proposals[0], model=model, bound=bound)
    assert gap_words(one.gap) == gap
    said = words.gap_line(one)
    if reached is None:
        assert "no choice of the places weighed is better" in said
    else:
        assert reached_words(one.gap) == reached
        assert f"at least {reached}" in said


def test_the_own_plan_beside_the_best(small_suggested):
    worse = words.own_line(small_suggested, "metric")
    assert "By the model it is 210.0 m³, and 350.0 m³ was found for the same cost" in worse
    assert "205.0 m³ by the runs" in worse
    as_good = replace(small_suggested, own=OwnPlan(20.0, 350.0, 380.0, 340.0, 350.0))
    assert "nothing better was found" in words.own_line(as_good, "metric")
    assert words.own_line(replace(small_suggested, own=None), "metric") == ""
    broken = replace(small_suggested, own=replace(small_suggested.own, breaks=("pond", "trees")))
    assert "pond and trees take ground that the rules" in words.own_line(broken, "metric")
    assert suggest_object(broken)["own_plan"]["breaks"] == ["pond", "trees"]


def test_a_search_that_was_stopped_says_so(small_suggested):
    said = words.answer_lines(replace(small_suggested, stopped=True), "metric")
    assert "stopped before its end" in said[-1]
    assert not any("stopped" in line for line in words.answer_lines(small_suggested, "metric"))


def test_a_search_that_found_nothing(small_suggested, tmp_path):
    none = replace(small_suggested, proposals=(), front=(), knee=None, own=None)
    written = write_suggestion(none, tmp_path / "out")
    assert {p.name for p in written} == {"suggest.html", "suggest.json"}
    assert "No layout better than what stands was found" in (
        tmp_path / "out" / "suggest.html").read_text()


def test_a_pond_is_called_one(ponds, small_suggested):
    most = ponds.proposals[-1]
    assert [row[0] for row in tables.work_rows(most, ponds, "metric")] == [
        "swale 1", "dug basin 2 (dug pond)"]
    assert [name for name, _ in tables.why_rows(most, ponds, "metric")][-1] == (
        "dug basin 2 (dug pond)")
    assert tables.rejected_rows(ponds.proposals[0], ponds, "metric")[0][0] == (
        "dug basin 2 (dug pond)")
    for one in small_suggested.proposals:
        assert "pond)" not in str(tables.work_rows(one, small_suggested, "metric"))


def test_a_pond_behind_a_wall_is_called_so(ponds):
    wall = Basin.model_validate({
        "kind": "basin", "name": "wall 1", "wall": [[500030, 6399900], [500060, 6399900]],
        "crest": 12.0, "holds water": True})
    one = replace(ponds.proposals[-1].works[-1].candidate, name="wall 1", works=(wall,))
    assert words.called(one) == "wall 1 (pond behind a wall)"


@pytest.mark.parametrize(("system", "deep", "fish"), [("metric", "1.30 m", "1.2 m"),
                                                      ("us", "4.27 ft", "3.9 ft")])
def test_cautions_about_ponds_are_told_once(ponds, system, deep, fish):
    """1.3 m is 4.27 ft and 1.2 m 3.94 ft (the foot of 0.3048 m)."""
    said = words.answer_lines(ponds, system)
    [breeds] = [line for line in said if "mosquitoes" in line]
    [drowns] = [line for line in said if "drown a child" in line]
    assert breeds.startswith("Meant to hold water all the time: dug basin 2 (dug pond). Water")
    assert "longer than 72 h breeds mosquitoes" in breeds
    assert f"keep fish in a pond, which want {fish} of water" in breeds
    assert drowns.startswith(f"Water {deep} deep can drown a child: fence it")


def test_the_page_tells_of_ponds_as_the_terminal_does(ponds):
    picture = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(picture, "PNG")
    page = suggest_page(ponds, {f"map_{one.name}": picture.getvalue() for one in ponds.proposals})
    assert '"row">dug basin 2 (dug pond)</th>' in page
    assert "<b>dug basin 2 (dug pond).</b>" in page
    assert page.count("breeds mosquitoes") == 1
    assert page.count("can drown a child") == 1


def test_without_a_pond_no_such_caution(ponds, small_suggested):
    assert words.pond_lines(small_suggested, "metric") == []
    assert words.pond_lines(replace(ponds, proposals=ponds.proposals[:1]), "metric") == []


def test_fewer_places_than_asked_for_are_explained(small_suggested):
    """The small site has a track, and soil of group B beside its C."""
    def looked(looked_at, **asked):
        return words.looked_lines(replace(
            small_suggested, looked_at=looked_at, asked=Suggest.model_validate(asked)), "metric")

    all_of_them = dict.fromkeys(KINDS, 3)
    assert len(looked(all_of_them, places=100)) == 1
    none = looked({"own": 3, "tree row": 20, "wall": 13}, places=100)
    assert none[0].startswith("36 places were looked at")
    assert "offers none of swales" in " ".join(none)
    assert "Of the 100 places asked for at most" in none[-1]
    few = looked({"dug basin": 9}, places=100, kinds=["dug basin", "swale"], infiltration=12.0)
    assert few[1:] == ["The ground offers none of swales.",
                       "Of the 100 places asked for at most so many are of a kind: 15\u00a0% dug "
                       "basins; the rest is kept for swales."]
    slow = replace(small_suggested, asked=Suggest.model_validate(
        {"kinds": "swale", "infiltration": 1.0}), looked_at={"own": 3})
    [_, why] = words.looked_lines(slow, "us")
    assert why.startswith("No place for a swale was found, as water would stand there")
    assert " mm/h" not in why
    assert len(words.looked_lines(replace(slow, stopped=True), "us")) == 1


@pytest.mark.parametrize("system", ["metric", "us"])
def test_rows_fit_their_heads(small_suggested, system):
    one = small_suggested.proposals[0]
    for heads, rows in (
            (tables.FRONT, tables.front_rows(small_suggested, system)),
            (tables.GOOD, tables.good_rows(small_suggested, system)),
            (tables.REJECTED, tables.rejected_rows(one, small_suggested, system)),
            (tables.takes_heads(small_suggested), tables.takes_rows(small_suggested, system)),
            (tables.water_heads(small_suggested), tables.water_rows(small_suggested, system)),
            (tables.work_heads(small_suggested), tables.work_rows(one, small_suggested, system))):
        assert rows
        assert {len(row) for row in rows} == {len(heads)}
        text = " ".join(" ".join(row) for row in rows)
        assert (" m³" in text) == (system == "metric")
        assert any(unit in text for unit in (" gal", " yd³")) == (system == "us")


def test_a_peak_that_is_raised_stands_first_among_the_cares(small_suggested):
    before = small_suggested.before
    least = min(one.water.peak_left for one in small_suggested.proposals)
    raised = replace(small_suggested, before=replace(before, peak_left=least / 2))
    told = words.care_lines(raised, "metric")
    assert told[1:] == list(words.TAKE_CARE)
    for one in small_suggested.proposals:
        assert f'"{one.name}" from ' in told[0]
    calm = replace(small_suggested, before=replace(before, peak_left=1e3))
    assert words.care_lines(calm, "metric") == list(words.TAKE_CARE)
