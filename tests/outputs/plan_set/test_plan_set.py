"""The plan set read back from its file: paper, scale, lettering, margins."""

import datetime as dt
import functools
import itertools
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pymupdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.errors import InputError
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.paper import (
    PAPERS,
    PRINTABLE,
    fitting_scale,
    paper_of,
    round_scale,
)
from terrain.outputs.drawing.title_block import Imprint, number_page
from terrain.outputs.plan_set import map_pages, text_pages
from terrain.outputs.plan_set.chart_pages import cascade_pages
from terrain.outputs.plan_set.date import date_words
from terrain.outputs.plan_set.map_pages import MOST_PARTS, parts_of
from terrain.outputs.plan_set.plan_set import write_pictures, write_plan_set
from terrain.outputs.plan_set.work_pages import LINES_TOLD, OF_LINES, told_once, work_pages
from terrain.outputs.sheets.plan_sheets import dug_works
from terrain.plan.siting.hydrology import YEARS

#: Millimetres in a point of the PDF, 1/72 in (ISO 32000-1, 8.3.2.3).
MM = 25.4 / 72
#: Width and height, landscape. [mm]  A series: ISO 216; 11 by 8.5 in and 17 by 11 in: ANSI/ASME
#: Y14.1, sizes A and B.
SIZES = {"A4": (297, 210), "A3": (420, 297), "Letter": (279.4, 215.9), "Tabloid": (431.8, 279.4)}


def drawn(plan, paper):
    """The site plan, a work's pages and a page of words, numbered."""
    imprint = Imprint(plan.site.name, date_words(plan.site), PAPERS[paper], plan.site.units,
                      plan.inputs.dem)
    pages = [map_pages.site_plan(plan, imprint), *work_pages(plan, dug_works(plan)[-1], imprint),
             *text_pages.order_and_cautions(plan, imprint)]
    for number, page in enumerate(pages, 1):
        number_page(page.figure, number, len(pages))
    return pages


@pytest.fixture(scope="module", params=[
    pytest.param(("demo_plan", "A4"), id="A4"),
    pytest.param(("us_plan", "Letter"), id="Letter", marks=pytest.mark.slow)])
def printed(request, tmp_path_factory):
    """Name of the paper, the pages as drawn, and the file read back."""
    name, paper = request.param
    pages = drawn(request.getfixturevalue(name), paper)
    path = tmp_path_factory.mktemp("set") / "plan_set.pdf"
    write_plan_set(pages, path)
    return paper, pages, pymupdf.open(path)


def scale_of(page):
    """What a length on a page stands for, read from its title block; None where not to scale."""
    found = re.search(r"Scale .*?1:([\d,]+)", page.get_text())
    return float(found.group(1).replace(",", "")) if found else None


def plain(words):
    return words.replace("\u2009", "").replace(" ", "")


def test_pages_are_of_the_papers_size(printed):
    paper, pages, read = printed
    assert len(read) == len(pages)
    for page in read:
        assert page.rect.width * MM == pytest.approx(SIZES[paper][0], abs=0.5)
        assert page.rect.height * MM == pytest.approx(SIZES[paper][1], abs=0.5)


def test_sizes_of_all_papers_are_those_of_the_standards():
    assert {name: (paper.wide, paper.high) for name, paper in PAPERS.items()} == {
        name: (pytest.approx(wide), pytest.approx(high)) for name, (wide, high) in SIZES.items()}


@functools.lru_cache(maxsize=8)
def drawings(page):
    """What is drawn on a page, read once."""
    return page.get_drawings()


def ticks_of(page):
    """Upright strokes 6 points long, as ticks of a map's frame are: place and lower end. [pt]"""
    ends = [(item[1], item[2]) for path in drawings(page) for item in path["items"]
            if item[0] == "l"]
    return [(a.x, max(a.y, b.y)) for a, b in ends
            if abs(a.x - b.x) < 0.01 and 5.8 < abs(a.y - b.y) < 6.2]


def test_a_hundred_metres_on_the_map_measure_so_on_paper(printed):
    """Ticks at round eastings, found by the figures beside them."""
    _, _, read = printed
    page, scale = read[0], scale_of(read[0])
    figures = {float(plain(w[4])): (w[0] + w[2]) / 2 for w in page.get_text("words")
               if re.fullmatch(r"512\d00", plain(w[4]))}
    found = ticks_of(page)
    low = max(y for _, y in found)
    ticks = sorted({round(x, 3) for x, y in found if y > low - 1})
    assert len(figures) >= 3
    at = {east: min(ticks, key=lambda x, m=middle: abs(x - m)) for east, middle in figures.items()}
    assert all(abs(at[east] - middle) < 1.5 for east, middle in figures.items())
    for east in sorted(figures)[:-1]:
        apart = (at[east + 100] - at[east]) * MM
        assert apart == pytest.approx(100_000 / scale, abs=0.2)


def bar_of(page):
    """Length of a page's scale bar [mm], and what it says."""
    words = page.get_text("words")
    known = {"ft": 0.3048, "m": 1.0}
    for number, unit in itertools.pairwise(words):
        if unit[4] not in known or not re.fullmatch(r"[\d,]+", number[4]):
            continue
        zeros = [w for w in words if w[4] == "0" and abs(w[1] - number[1]) < 0.5
                 and 30 < number[0] - w[0] < 250]
        for zero in zeros:
            west, east = (zero[0] + zero[2]) / 2, (number[0] + unit[2]) / 2
            parts = [path["rect"] for path in drawings(page)
                     if 3.5 < path["rect"].height < 5.5 and path["rect"].width > 8
                     and -2 < path["rect"].y0 - zero[3] < 10
                     and west - 2 < path["rect"].x0 and path["rect"].x1 < east + 2]
            if len(parts) >= 3:
                long = max(p.x1 for p in parts) - min(p.x0 for p in parts)
                return long * MM, float(number[4].replace(",", "")) * known[unit[4]]
    raise AssertionError("no scale bar was found")


def test_scale_bars_are_as_long_as_they_say(printed):
    _, _, read = printed
    scaled = [page for page in read if scale_of(page) is not None]
    assert len(scaled) == 2
    for page in scaled:
        long, ground = bar_of(page)
        assert long == pytest.approx(1000 * ground / scale_of(page), abs=0.2)


def test_plans_of_works_are_at_the_scale_told(printed):
    _, pages, read = printed
    ax = pages[1].figure.axes[0]
    (x0, _), (x1, _) = ax.transData.transform([(0, 0), (100, 0)])
    assert (x1 - x0) / pages[1].figure.dpi * 25.4 == pytest.approx(
        100_000 / scale_of(read[1]), abs=0.01)


def test_lettering_is_text_with_its_font_in_the_file(printed, demo_plan):
    _, _, read = printed
    words = " ".join(page.get_text() for page in read)
    for planned in demo_plan.stores:
        if planned.placed.kind == "swale":
            assert planned.store.name in words
    for page in read:
        fonts = page.get_fonts(full=True)
        assert fonts
        for xref, kind, *_ in fonts:
            assert kind != "n/a", xref  # "n/a": not in the file


def test_all_text_stands_inside_the_printable_margin(printed):
    _, _, read = printed
    edge = PRINTABLE / MM
    for page in read:
        for x0, y0, x1, y1, word, *_ in page.get_text("words"):
            assert edge <= x0 < x1 <= page.rect.width - edge, word
            assert edge <= y0 < y1 <= page.rect.height - edge, word


def test_no_lettering_of_the_pages_is_at_fault(printed, seen):
    _, pages, _ = printed
    wrong = {page.title: seen.faults(page.figure, PRINTABLE) for page in pages}
    assert {title: said for title, said in wrong.items() if said} == {}


def test_every_page_says_what_it_is(printed, demo_plan):
    paper, _, read = printed
    for number, page in enumerate(read, 1):
        words = " ".join(page.get_text().split())
        assert f"page {number} of {len(read)}" in words
        assert demo_plan.site.name in words
        assert "Lengths and levels in" in words
        if scale_of(page) is not None:
            assert f"on {paper} paper" in words
            assert "datum" in words
            assert demo_plan.inputs.dem.frame.working.name in words
            assert "grid north" in words


def test_cautions_of_a_work_all_stand_on_its_pages(printed, demo_plan):
    _, _, read = printed
    words = plain("".join("".join(page.get_text().split()) for page in read))
    for planned in demo_plan.stores:
        if planned.placed.work.name == dug_works(demo_plan)[-1].name:
            assert planned.cautions
            for said in planned.cautions:
                shown = LINES_TOLD if said == told_once(demo_plan) else said
                # A sentence may go on in the next column.
                assert plain("".join(shown.split()))[:60] in words


def test_the_same_plan_gives_the_same_bytes_and_pictures(demo_plan, tmp_path):
    page = text_pages.order_and_cautions(demo_plan, Imprint(
        "x", "Not dated.", PAPERS["A4"], "metric", demo_plan.inputs.dem))
    for name in ("a.pdf", "b.pdf"):
        write_plan_set(page, tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_a_picture_holds_all_pages_of_its_work(printed, demo_plan, tmp_path):
    paper, pages, read = printed
    from PIL import Image

    plan = demo_plan
    name = dug_works(plan)[-1].name
    one = replace(plan, stores=[p for p in plan.stores if p.placed.work.name == name])
    found = write_pictures(one, pages, Path(read.name), tmp_path / "sheets")
    assert [work for work, _ in found] == [name]
    picture = Image.open(next((tmp_path / "sheets").glob("*.png")))
    wide, high = picture.size
    # Printed at its own size it is as wide as its paper, so that the scale it names is true.
    assert wide / picture.info["dpi"][0] * 25.4 == pytest.approx(SIZES[paper][0], rel=0.003)
    count = sum(page.work == name for page in pages)
    assert count >= 2
    assert high / wide == pytest.approx(count * SIZES[paper][1] / SIZES[paper][0], rel=0.003)


def test_a_legend_names_the_boundary_where_it_is_seen_and_nowhere_else(printed, demo_plan, seen):
    from shapely import box

    _, pages, _ = printed
    plan = pages[1].figure.axes[0]
    (west, east), (south, north) = plan.get_xlim(), plan.get_ylim()
    legend = [t.get_text() for t, _ in seen.texts(pages[1].figure) if t.get_gid() == "legend"]
    assert len(legend) > 5
    # The gully pond lies well inside the property.
    assert not box(west, south, east, north).intersects(demo_plan.inputs.ground.boundary.boundary)
    assert "boundary" not in legend
    assert any(line.get_gid() == "boundary" for line in plan.lines)  # beyond what is seen


# Words and figures -----------------------------------------------------------------------------

def made_for(plan, paper):
    return Imprint(plan.site.name, "Not dated.", PAPERS[paper], plan.site.units, plan.inputs.dem)


def test_money_has_its_currency_and_the_sum_says_why_it_is_more(demo_plan, seen):
    pages = text_pages.quantities(demo_plan, made_for(demo_plan, "A4"))
    words = "\n".join(seen.words(page.figure) for page in pages)
    bills, whole = demo_plan.earth.bills.values(), demo_plan.earth.whole
    assert sum(bill.hours[0] for bill in bills) < whole.hours[0]
    assert "more than those of the works together" in " ".join(words.split())
    currency = demo_plan.site.money.currency
    sums = [t.get_text() for page in pages for t, _ in seen.texts(page.figure)
            if t.get_ha() == "right" and " – " in t.get_text()]
    money = [said for said in sums if not said.endswith(" h")]
    assert len(money) > 10
    assert sum(not said.endswith(f" {currency}") for said in money) == 1  # the machine's days


def test_columns_are_as_wide_as_their_figures(demo_plan, seen):
    """Ten million gallons beside a tank's five thousand, on paper told in its own units."""
    gal = 0.003785411784  # m3; NIST Handbook 44, appendix C
    account = SimpleNamespace(passive=2564193 * gal, roof=65000 * gal, left_site=10872515 * gal,
                              led=0.0)
    plan = SimpleNamespace(site=demo_plan.site.model_copy(update={"units": "us"}), accounts=[
        (name, account) for name in ("100-year day", "average year, soil of average wetness")])
    page, = text_pages.contents(plan, replace(made_for(demo_plan, "Letter"), system="us"), [], "")
    assert "10,872,515" in seen.words(page.figure)
    assert seen.faults(page.figure, PRINTABLE) == []
    words = " ".join(seen.words(page.figure).split())
    assert "Letter (11 × 8.5 in, ANSI" in words
    assert "mm" not in words


@pytest.mark.parametrize(("paper", "columns"), [
    ("A4", 3), ("A3", 3), pytest.param("Letter", 3, marks=pytest.mark.slow),
    pytest.param("Tabloid", 3, marks=pytest.mark.slow)])
def test_letters_and_columns_grow_with_the_paper(demo_plan, paper, columns, seen):
    page, *_ = text_pages.order_and_cautions(demo_plan, made_for(demo_plan, paper))
    sizes = [t.get_fontsize() for t, _ in seen.texts(page.figure) if t.get_gid() == "column"]
    # As high as the paper is against A4, but for what is more than three tenths.
    assert min(sizes) >= 7.9 * (1.3 if SIZES[paper][1] > 250 else 1.0)
    lefts = {round(t.get_window_extent().x0, 0) for t, _ in seen.texts(page.figure)
             if t.get_gid() == "column" and t.get_position()[0] == 0}
    assert 1 < len(lefts) <= columns
    assert seen.faults(page.figure, PRINTABLE) == []


def test_buried_lines_are_told_once_for_all_works(demo_plan, seen):
    said = told_once(demo_plan)
    assert said.startswith(OF_LINES)
    first = text_pages.order_and_cautions(demo_plan, made_for(demo_plan, "A4"))[0]
    told = plain(seen.words(first.figure).replace("\n", ""))
    assert plain(said[40:120].replace(" (1.97 ft)", "")) in told  # of the site's units alone
    with_it = [entry for entry in dug_works(demo_plan) if said in demo_plan.stores[
        entry.members[0]].cautions]
    assert len(with_it) > 1
    pages = work_pages(demo_plan, with_it[0], made_for(demo_plan, "A4"))[1:]
    words = plain("".join(seen.words(page.figure).replace("\n", "") for page in pages))
    assert plain(LINES_TOLD) in words
    assert plain(said)[:80] not in words


def test_a_works_page_tells_both_average_years(printed, demo_plan, seen):
    entry = dug_works(demo_plan)[-1]
    paper, pages, _ = printed
    words = " ".join(seen.words(pages[2].figure).split())
    assert "average year, soil that dries" in words
    assert "average year, soil of average wetness" in words
    for name, account in demo_plan.accounts[-2:]:
        kept = sum(account.entries[i].caught for i in entry.members)
        assert name in YEARS.values()
        system = "us" if paper == "Letter" else "metric"
        assert sy.brief(kept, "volume", system).split(" ")[0] in words


def test_a_page_says_where_what_it_cuts_goes_on(demo_plan, seen):
    pages = cascade_pages(demo_plan, made_for(demo_plan, "A4"))
    assert len(pages) > 2
    for number, page in enumerate(pages, 4):
        number_page(page.figure, number, 9)
    found = [(number, {t.get_gid(): t.get_text() for t in page.figure.texts})
             for number, page in enumerate(pages, 4)]
    went = [said["page after"] for _, said in found if "page after" in said]
    came = [said["page before"] for _, said in found if "page before" in said]
    assert went
    assert went == [f"to page {number + 1}" for number, said in found if "page after" in said]
    assert came == [f"from page {number - 1}" for number, said in found if "page before" in said]
    assert len(went) == len(came)


# Scales and parts ------------------------------------------------------------------------------

@pytest.mark.parametrize(("system", "least", "ratio", "words"), [
    # Faces of scale rulers: common practice, no source.
    ("metric", 49, 50, "1:50"), ("metric", 50, 50, "1:50"), ("metric", 501, 750, "1:750"),
    ("metric", 1001, 1250, "1:1,250"), ("metric", 1251, 1500, "1:1,500"),
    ("metric", 1501, 2000, "1:2,000"),
    ("metric", 4001, 5000, "1:5,000"), ("us", 119, 120, "1 in = 10 ft (1:120)"),
    ("us", 500, 600, "1 in = 50 ft (1:600)"), ("us", 721, 1200, "1 in = 100 ft (1:1,200)"),
    ("us", 1201, 1440, "1 in = 120 ft (1:1,440)"), ("us", 1441, 1800, "1 in = 150 ft (1:1,800)")])
def test_round_scales_are_those_of_a_ruler(system, least, ratio, words):
    scale = round_scale(least, system)
    assert (scale.ratio, scale.words) == (ratio, words)


@given(st.floats(1, 5e4), st.floats(1, 5e4), st.sampled_from(["metric", "us"]))
def test_what_is_fitted_finds_room(wide, high, system):
    scale = fitting_scale(wide, high, 500.0, 400.0, system)
    assert wide / scale.point <= 500.0 * (1 + 1e-6)
    assert high / scale.point <= 400.0 * (1 + 1e-6)


@given(st.floats(500, 3e4), st.floats(500, 3e4), st.sampled_from(["metric", "us"]))
def test_parts_cover_a_large_site_and_are_few(wide, high, system):
    scale, parts = parts_of((0.0, 0.0, wide, high), 500.0, 540.0, system)
    assert 1 <= len(parts) <= MOST_PARTS
    west, south, east, north = np.array(parts).T
    assert west.min() <= 0
    assert east.max() >= wide * (1 - 1e-9)
    assert south.min() <= 0
    assert north.max() >= high * (1 - 1e-9)
    area = sum((e - w) * (n - s) for w, s, e, n in parts)
    assert area == pytest.approx((east.max() - west.min()) * (north.max() - south.min()))
    assert east[0] - west[0] < 500.0 * scale.point  # each with ground of the next about it


def test_scale_of_nothing_is_refused():
    with pytest.raises(ValueError, match="no scale"):
        round_scale(0.0, "metric")


def test_paper_is_what_was_asked_for_else_the_sites_else_that_of_its_units(demo_plan):
    site = demo_plan.site
    assert paper_of(site).name == "A4"
    assert paper_of(site.model_copy(update={"units": "us"})).name == "Letter"
    tabloid = site.model_copy(update={"paper": "Tabloid"})
    assert paper_of(tabloid).name == "Tabloid"
    assert paper_of(tabloid, "A3").name == "A3"


def test_pages_are_dated_by_the_site_file_or_the_build_and_never_by_the_clock(demo_plan,
                                                                              monkeypatch):
    site = demo_plan.site.model_copy(update={"date": "2026-03-14"})
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")  # 2023-11-14 22:13:20 UTC
    assert date_words(site) == "Dated 2026-03-14, as the site file states."
    bare = demo_plan.site.model_copy(update={"date": None})
    day = dt.datetime(2023, 11, 14).date().isoformat()
    assert date_words(bare) == f"Dated {day}, as SOURCE_DATE_EPOCH states."
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "soon")
    with pytest.raises(InputError, match="soon"):
        date_words(bare)
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    # Room to write it, and no words of what was not found.
    assert re.fullmatch(r"Date\s_{10,}", date_words(bare))


@pytest.mark.parametrize(("line", "told"), [
    ("paper: B5", "'B5' is not one of"), ("date: soon", "'soon' is not a day"),
    ("date: 2026-02-30", "a date in it cannot be")])
def test_a_paper_or_date_that_cannot_be_is_told_with_its_line(line, told, small_site):
    from terrain.inputs.site import read_site

    small_site.write_text(f"{small_site.read_text()}{line}\n")
    with pytest.raises(InputError, match=told) as error:
        read_site(small_site)
    assert "line" in str(error.value)
