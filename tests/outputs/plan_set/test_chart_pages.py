"""Pages of charts: ranges of doubt, bars of storms and years, the cascade's parts."""

from dataclasses import replace

import pytest

from terrain.outputs.charts.doubt_words import span
from terrain.outputs.drawing.paper import PAPERS, PRINTABLE
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.plan_set.chart_pages import SMALLEST, beside_pages, cascade_pages, doubt_pages
from terrain.plan.doubt.doubt import with_doubt


def imprint(plan, paper="A4"):
    return Imprint(plan.site.name, "Not dated.", PAPERS[paper], plan.site.units, plan.inputs.dem)


@pytest.fixture(scope="module")
def doubted(small_plan):
    return with_doubt(small_plan, 12)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_ranges_of_doubt_have_a_page_where_they_were_asked_for(doubted, paper, seen):
    page, = doubt_pages(doubted, imprint(doubted, paper))
    assert page.title == "How sure is this?"
    assert seen.faults(page.figure, PRINTABLE) == []
    words = seen.words(page.figure)
    for headline in doubted.doubt.storm.values():
        told = span(headline.together, headline.name, doubted.site.units)
        assert told in words, told
    assert doubt_pages(replace(doubted, doubt=None), imprint(doubted, paper)) == []


def test_bars_of_doubt_on_the_page_run_from_low_to_high(doubted, seen):
    page, = doubt_pages(doubted, imprint(doubted))
    axes = [ax for ax in page.figure.axes if len(ax.patches) > 1]
    for ax, headline in zip(axes, doubted.doubt.storm.values(), strict=False):
        for bar, found in zip(ax.patches, [headline.together, *headline.alone.values()],
                              strict=True):
            if found.high - found.low > ax.get_xlim()[1] / 160:  # else as wide as can be seen
                assert bar.get_x() == pytest.approx(found.low)
                assert bar.get_x() + bar.get_width() == pytest.approx(found.high)
    assert axes


@pytest.mark.parametrize(("plan", "paper"), [("demo_plan", "A4"), ("us_plan", "Tabloid")])
def test_no_name_beside_a_bar_is_cut_short(plan, paper, request, seen):
    made = request.getfixturevalue(plan)
    pages = beside_pages(made, imprint(made, paper))
    words = "\n".join(seen.words(page.figure) for page in pages)
    assert "…" not in words
    for storm in made.site.rain.storms:
        assert storm.name in words
    assert "soil of average wetness" in words
    for page in pages:
        assert seen.faults(page.figure, PRINTABLE) == []


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_a_cascade_is_drawn_whole_and_as_large_as_its_pages_hold(demo_plan, paper, seen):
    pages = cascade_pages(demo_plan, imprint(demo_plan, paper))
    storm = [page for page in pages if page.title == "Cascade in the design storm"
             or "design storm, continued" in "".join(
                 t.get_text() for t in page.figure.texts if t.get_gid() == "title")]
    names = "\n".join(seen.words(page.figure) for page in storm)
    for planned in demo_plan.stores:
        if planned.placed.kind != "tree basin":
            assert planned.store.name in names
    sizes = {text.get_fontsize() for page in storm for text, _ in seen.texts(page.figure)}
    assert min(sizes) >= 6.0
    assert SMALLEST <= 1
    for page in pages:
        assert seen.faults(page.figure, PRINTABLE) == []
