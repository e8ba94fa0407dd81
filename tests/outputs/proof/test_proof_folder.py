"""The folder of a proof: what stands in it, read back by others' readers, and its pages driven in
a real browser.

What comes in goes somewhere: volumes in, out and left close by themselves (no source needed).
"""

from __future__ import annotations

import json
import re
import stat
from dataclasses import replace

import numpy as np
import pytest
import rasterio

from terrain.errors import InputError
from terrain.files import RECORD
from terrain.outputs.proof import words
from terrain.outputs.proof.film import write_film
from terrain.outputs.proof.player import storm_page
from terrain.outputs.proof.proof_folder import write_proof
from terrain.outputs.proof.proof_page import proof_page
from terrain.outputs.proof.storm_layers import StormLayers
from terrain.proof.store_proof import AS_CELLS_TELL, OverBank
from terrain.units import shown

#: What every figure's key ends in, and the counts that have no unit.
UNITS = re.compile(r"_(m|m2|m3|mm|h|s|m3_s|m_s|m2_s)$")
COUNTS = {"steps"}
#: Places are in the raster's own unit.
PLACES = {"at", "most_at", "spills_at"}
BAD_TAG = "<script>window.harmed = 1</script>"
BAD_END = "</script><img src=x onerror='window.harmed = 2'>"
BAD_QUOTE = "\"'> onfocus=\"window.harmed = 3\" & {{ 7 * 7 }}"


@pytest.fixture(scope="module")
def told(folder):
    return json.loads((folder[0] / "proof.json").read_text(encoding="utf-8"))


def test_what_stands_in_it(folder):
    path, written, said = folder
    names = {"before_after.png", "depth.png", "flood.tif", "gates.png", "proof.html",
             "proof.json", "storm.html"}
    assert {p.name for p in written} == names
    assert {p.name for p in path.iterdir()} == {*names, RECORD}
    assert any("ffmpeg is not on this machine" in line for line in said)
    for name in ("proof.html", "storm.html"):
        assert (path / name).stat().st_size < 3e6


def test_json_holds_the_proofs_figures(told, proof, cases):
    assert (told["storm"], told["rain_mm"], told["cell_m"]) == ("shower", 45.0, 2.0)
    for said, store in zip(told["stores"], proof.stores, strict=True):
        assert said["name"] == store.name
        for key, value in (("inflow_m3", store.inflow), ("caught_m3", store.caught),
                           ("spilled_m3", store.spilled), ("peak_level_m", store.peak_level),
                           ("peak_spill_m3_s", store.peak_spill),
                           ("first_spill_h", store.first_spill), ("freeboard_m", store.freeboard)):
            assert said[key] == (None if value is None else pytest.approx(value, abs=1e-8)), key
        assert said["inflow_m3"] == pytest.approx(said["caught_m3"] + said["spilled_m3"])
    for run, of in (("with_works", proof.after), ("without_works", proof.before)):
        assert told["leaves"][run]["volume_m3"] == pytest.approx(of.leaves.volume_out)
        assert told["leaves"][run]["peak_m3_s"] == pytest.approx(of.leaves.peak)
    assert [case["name"] for case in told["what_if"]] == [case.name for case in cases]
    account = told["account"]
    assert account["rain_m3"] + account["fed_m3"] == pytest.approx(
        account["lost_m3"] + account["soaked_m3"] + account["left_m3"] + account["stands_m3"],
        abs=1e-6)
    # Rain on the ground that is followed.
    area = np.isfinite(proof.ground.after).sum() * proof.cell**2
    assert account["rain_m3"] == pytest.approx(0.045 * area, rel=0.02)


def test_every_figure_in_json_carries_its_unit(told):
    found = []

    def walk(value, key):
        if isinstance(value, dict):
            for name, part in value.items():
                walk(part, name)
        elif isinstance(value, list):
            for part in value:
                walk(part, key)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            found.append(key)

    walk(told, "")
    assert len(found) > 50
    assert [k for k in set(found) if not UNITS.search(k) and k not in COUNTS | PLACES] == []


def test_the_raster_is_the_flood(folder, proof):
    flow, grid = proof.after.flow, proof.ground.grid
    with rasterio.open(folder[0] / "flood.tif") as read:
        assert read.crs == rasterio.crs.CRS.from_epsg(32734)
        assert read.transform[0] == grid.cell
        assert (read.bounds.left, read.bounds.top) == (grid.left, grid.top)
        assert read.units == ("m", "m/s", "m2/s", "h", "m")
        assert read.descriptions[0] == "deepest water, m"
        assert read.tags()["storm"] == "shower"
        bands = read.read(masked=True)
    for band, expected in zip(bands, (flow.greatest_depth, flow.greatest_speed,
                                      flow.greatest_depth_speed, flow.arrival / 3600,
                                      proof.ground.after), strict=True):
        known = np.isfinite(expected)
        np.testing.assert_array_equal(~np.ma.getmaskarray(band), known)
        np.testing.assert_allclose(band.data[known], expected[known], rtol=1e-6)


def test_a_folder_of_somebody_is_left_alone(proof, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="did not write"):
        write_proof(proof, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


@pytest.fixture
def encoder(tmp_path, monkeypatch):
    """A stand-in for the encoder alone on PATH, which keeps what it was asked and what it got."""
    def made(does: str):
        programs = tmp_path / "programs"
        programs.mkdir()
        path = programs / "ffmpeg"
        path.write_text(f"#!/bin/sh\n{does}\n")
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        monkeypatch.setenv("PATH", f"{programs}:/usr/bin:/bin")
    return made


@pytest.fixture(scope="module")
def layers(proof):
    """The layers of a few pictures."""
    frames = replace(proof.after.frames, times=proof.after.frames.times[::20],
                     depths=proof.after.frames.depths[::20])
    return StormLayers(replace(proof, after=replace(proof.after, frames=frames)))


def test_the_encoder_is_given_every_picture(encoder, layers, tmp_path):
    encoder(f'printf "%s\\n" "$@" > {tmp_path}/asked\nfor last; do :; done\ncat > "$last"')
    film = tmp_path / "storm.mp4"
    assert write_film(layers, film) == ""
    asked = (tmp_path / "asked").read_text().split("\n")
    wide, high = (int(n) for n in asked[asked.index("-s") + 1].split("x"))
    assert wide % 2 == high % 2 == 0
    pictures = np.frombuffer(film.read_bytes(), np.uint8).reshape(-1, high, wide, 3)
    assert len(pictures) == len(layers.proof.after.frames.times)
    # The land is the same in all, but for the water and the clock.
    assert (pictures[0][high // 2:] == pictures[-1][high // 2:]).all(-1).mean() > 0.05
    assert (pictures[0] != pictures[-1]).any()
    assert (pictures[0][:40] != pictures[-1][:40]).any()  # the clock


@pytest.mark.parametrize("does", ["exit 1", "head -c 10 > /dev/null; exit 1",
                                  'for last; do :; done; head -c 9 > "$last"; exit 3'])
def test_an_encoder_that_fails_leaves_no_film(does, encoder, layers, tmp_path):
    encoder(does)
    film = tmp_path / "storm.mp4"
    assert "ffmpeg failed" in write_film(layers, film)
    assert not film.exists()


def test_no_encoder_no_film(layers, tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "not on this machine" in write_film(layers, tmp_path / "storm.mp4")


WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 800}


@pytest.fixture
def opened(browser):
    """Open a page offline; gives it, what it said, and what it asked for."""
    contexts = []

    def new(path, size=WIDE, **more):
        context = browser.new_context(viewport=size, offline=True, **more)
        contexts.append(context)
        page, said, asked = context.new_page(), [], []
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("request", lambda r: asked.append(r.url))
        page.goto(path.as_uri())
        return page, said, asked
    yield new
    for context in contexts:
        context.close()


def playing_at(page):
    """Wait until the slider has moved by itself; the policy lets no condition run in the page."""
    for _ in range(100):
        page.wait_for_timeout(50)
        at = int(page.input_value("#when"))
        if 0 < at < int(page.get_attribute("#when", "max")):
            return
    pytest.fail("the storm does not play")


def test_the_storm_plays(folder, opened, proof):
    page, said, asked = opened(folder[0] / "storm.html")
    frames, last = proof.after.frames, len(proof.after.frames.times) - 1
    state = """() => { const of = (id) => document.getElementById(id); return {
        at: Number(of('when').value), told: of('told').value, leaves: of('leaves').value,
        clock: Number(of('clock').getAttribute('x1')), go: of('go').textContent,
        pressed: of('go').getAttribute('aria-pressed'),
        aria: of('when').getAttribute('aria-valuetext'),
        seen: [...document.querySelectorAll('.water')].findIndex(p => !p.hidden),
        count: [...document.querySelectorAll('.water')].filter(p => !p.hidden).length}; }"""
    start = page.evaluate(state)
    assert (start["at"], start["seen"], start["count"], start["told"]) == (
        0, 0, 1, words.hours(frames.times[0] / 3600))
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.evaluate(state)["seen"] == 2
    page.keyboard.press("End")
    end = page.evaluate(state)
    assert (end["seen"], end["told"], end["aria"]) == (last, "2 h 30", "2 h 30")
    assert end["clock"] == pytest.approx(1000)
    page.keyboard.press(" ")  # from the end it begins anew
    playing_at(page)
    playing = page.evaluate(state)
    assert (playing["go"], playing["pressed"], playing["count"]) == ("Stop", "true", 1)
    page.keyboard.press(" ")
    stopped = page.evaluate(state)
    assert (stopped["go"], stopped["pressed"]) == ("Play", "false")
    middle = last // 2
    page.locator("#when").fill(str(middle))
    there = page.evaluate(state)
    rate = np.interp(frames.times[middle], proof.after.leaves.times, proof.after.leaves.flow_out)
    assert there["leaves"] == shown(float(rate), "flow")
    assert there["told"] == words.hours(frames.times[middle] / 3600)
    page.locator("#back").click()
    assert page.evaluate(state)["seen"] == middle - 1
    assert page.evaluate("""() => [...document.images].every(i => i.naturalWidth > 0)""")
    assert said == []
    assert [a for a in asked if not a.startswith(("data:", "file:"))] == []
    assert sum(a.startswith("file:") for a in asked) == 1


def test_the_storm_on_a_phone(folder, opened):
    page, said, _ = opened(folder[0] / "storm.html", PHONE, has_touch=True)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    [land, over] = page.evaluate("""() => ['land', 'over'].map(id => {
        const box = document.getElementById(id).getBoundingClientRect();
        return [box.left, box.top, box.width, box.height]; })""")
    assert over == pytest.approx(land, abs=1.5)
    for box in page.evaluate("""() => [...document.querySelectorAll('button')].map(b => {
            const box = b.getBoundingClientRect(); return [box.width, box.height]; })"""):
        assert min(box) >= 40  # WCAG 2.2, 2.5.8 asks for 24
    page.locator("#go").tap()
    playing_at(page)
    assert said == []


def test_the_page_of_the_proof(folder, opened, proof, cases):
    page, said, asked = opened(folder[0] / "proof.html", PHONE)
    text = page.inner_text("main").replace("\u00a0", " ")
    for line in words.answer_lines(proof, "metric"):
        assert line in text
    order = [text.index(part) for part in (
        words.answer_lines(proof, "metric")[0], "What is dangerous here", "Each store",
        "What leaves the land\n", "What if", "What this rests on")]
    assert order == sorted(order)
    rows = page.evaluate("""() => [...document.querySelectorAll('table')].map(t =>
        [...t.rows].map(r => [...r.cells].map(c => c.textContent.replaceAll('\\u00a0', ' '))))""")
    assert rows[0] == [list(words.WATER), *words.water_rows(proof.stores, "metric")]
    assert rows[1] == [list(words.LEVELS), *words.level_rows(proof.stores, "metric")]
    assert [list(words.CASES), *words.case_rows(cases, "metric")] in rows
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("""() => [...document.images].every(i => i.naturalWidth > 0)""")
    assert said == []
    assert [a for a in asked if not a.startswith(("data:", "file:"))] == []


@pytest.mark.slow
def test_it_prints_on_a4(folder, opened):
    import pymupdf

    page, _, _ = opened(folder[0] / "proof.html")
    with pymupdf.open(stream=page.pdf(format="A4"), filetype="pdf") as printed:
        assert 2 <= len(printed) <= 8
        for sheet in printed:
            assert sheet.rect.width == pytest.approx(595, abs=1)
            for x0, y0, x1, y1, *_ in sheet.get_text("words"):  # boxes reach a little over letters
                assert min(x0, y0) > -2
                assert x1 < sheet.rect.x1 + 2
                assert y1 < sheet.rect.y1 + 2


def test_harmful_names_do_no_harm(layers, cases, folder, opened, tmp_path):
    site = layers.proof.plan.site.model_copy(update={"name": BAD_TAG})
    plan = replace(layers.proof.plan, inputs=replace(layers.proof.plan.inputs, site=site))
    bad = replace(
        layers.proof, plan=plan, storm=BAD_END,
        stores=tuple(replace(s, name=BAD_QUOTE + BAD_TAG, why=(BAD_END,))
                     for s in layers.proof.stores),
        spots=tuple(replace(s, what=BAD_END, hazard=BAD_TAG) for s in layers.proof.spots),
        fast=tuple(replace(f, cover=BAD_TAG, on=BAD_QUOTE) for f in layers.proof.fast),
        notes=(BAD_TAG, *layers.proof.notes))
    named = tuple(replace(c, name=BAD_TAG, told=BAD_END) for c in cases)
    picture = (folder[0] / "gates.png").read_bytes()
    for name, text in (("storm", storm_page(bad, layers)),
                       ("proof", proof_page(bad, named, {"depth": picture, "gates": picture}))):
        path = tmp_path / f"{name}.html"
        path.write_text(text, encoding="utf-8")
        page, said, _ = opened(path)
        assert page.evaluate("window.harmed") is None
        assert said == []
        assert BAD_TAG in page.title()
        assert page.evaluate("document.querySelectorAll('main script, img[src=x]').length") == 0
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_page_may_only_run_its_own_program(folder):
    for name in ("storm.html", "proof.html"):
        text = (folder[0] / name).read_text(encoding="utf-8")
        [policy] = re.findall(r'Content-Security-Policy" content="([^"]+)"', text)
        assert "default-src &#39;none&#39;" in policy
        assert "unsafe" not in policy
        assert not re.search(r'(?:src|href)="(?:https?:)?//', text)
        assert not re.search(r"<[^>]+ (?:style|on\w+)=", text)


def test_what_gives_way_is_told_among_the_dangers(cases, folder):
    said = words.case_dangers(cases, "metric")
    assert said == ["With the sill blocked, 58.6 m³ go over banks that were to stay dry.",
                    "With the sill blocked, water on the road \"track\" is unsafe for small "
                    "vehicles."]
    text = (folder[0] / "proof.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert text.index(said[0]) < text.index("The deepest water</h2>")
    assert words.case_dangers((cases[0], cases[1]), "metric") == []


def test_each_sentence_on_danger_says_of_which_run_it_speaks(layers, cases):
    spot = replace(layers.proof.spots[0], hazard=words.SAFE)
    proof = replace(layers.proof, spots=(spot,))
    said = words.all_dangers(proof, cases, "metric")
    safe = next(i for i, line in enumerate(said) if line.endswith(f"water is {words.SAFE}."))
    assert said[safe].startswith("As planned, at every building")
    others = words.case_dangers(cases, "metric")
    assert said[safe + 1:] == others
    assert all(line.startswith("With ") for line in others)
    alone = words.all_dangers(proof, (), "metric")
    assert alone[-1] == words.safe_line((spot,))
    assert not any("As planned" in line for line in alone)


def test_of_a_store_that_cells_are_too_coarse_for_no_level_is_told(proof, cases):
    first, *others = proof.stores
    others = [replace(s, over_bank=None, freeboard=None) for s in others]
    over = replace(first, drawn=False, freeboard=-0.05, spilled=60.0,
                   over_bank=OverBank(58.6, *proof.after.leaves.where, 0.12))
    unsure, dry = replace(over, over_bank=None), replace(over, over_bank=None, freeboard=0.3)
    frame = proof.plan.terrain.dem.frame

    def told(store):
        found = replace(proof, stores=(store, *others))
        return words.bank_lines(found.stores, frame, "metric"), words.answer_lines(found, "metric")

    [line], answer = told(over)
    assert line.startswith(f"Water goes over the bank of {first.name}, 58.6 m³ of it, most at ")
    assert line.endswith(f", {AS_CELLS_TELL}.")
    assert not any("no bank" in said for said in answer)
    [line], answer = told(unsure)
    assert line == f"Water may go over the bank of {first.name}, {AS_CELLS_TELL}."
    assert not any("no bank" in said for said in answer)
    lines, answer = told(dry)
    assert lines == []
    assert answer[-1] == ("Water goes over no bank of these stores that was to stay dry. Of "
                          f"{first.name} these cells are too coarse to tell it for sure; run with "
                          "smaller cells.")
    [row] = words.level_rows([over], "metric")
    assert row[1] == row[3] == "–"
    # Where its levels are to be believed they are told.
    assert "and up to 120 mm deep" in told(replace(over, drawn=True))[0][0]
    [line], answer = told(replace(unsure, drawn=True))
    assert line == f"The water of {first.name} stands 50 mm over its crest."
    assert not any("no bank" in said for said in answer)
    planned, _, burst = cases
    for store, said, shows in (
            (over, f"With the sill blocked, 58.6 m³ go over banks that were to stay dry, "
                   f"{AS_CELLS_TELL}.", "58.6 m³"),
            (unsure, f"With the sill blocked, water may go over the bank of {first.name}, "
                     f"{AS_CELLS_TELL}.", "not sure")):
        case = replace(burst, stores=(store, *others))
        assert words.case_dangers((planned, case), "metric")[0] == said
        assert words.case_rows((case,), "metric")[0][3] == shows


def test_in_us_units_every_figure_is(us_proof, cases):
    for rows in (words.water_rows(us_proof.stores, "us"), words.level_rows(us_proof.stores, "us"),
                 words.spot_rows(us_proof.spots, "us"), words.leaving_rows(us_proof, "us"),
                 words.case_rows(cases, "us"), [words.answer_lines(us_proof, "us")],
                 [words.danger_lines(us_proof, "us")]):
        for cell in (cell for row in rows for cell in row):
            assert not re.search(r"\d (?:m|mm|m³|m²|m/s|m²/s|L/s)\b", cell), cell
    assert words.deep(0.1, "us") == "3.9 in"  # 100 mm / 25.4
    assert words.strength(1.0, "us") == "10.76 ft²/s"  # 1 m2 is 10.7639 ft2
    assert words.strength(None, "us") == "–"
