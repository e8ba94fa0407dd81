"""How the report prints shares, volumes of one table, cautions, prices and widths."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from terrain.inputs.site_money import Money
from terrain.outputs.page.capture_tables import headline_words
from terrain.outputs.page.cascade_tables import total_rows
from terrain.outputs.page.money_tables import (
    bare_words,
    next_rows,
    rate_words,
    sentences,
    standing_row,
)
from terrain.outputs.page.rule_tables import rule_figure
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.shed_tables import shed_rows, whole_words
from terrain.outputs.page.tank_tables import sold_as, width
from terrain.plan.water.accounts import MORE_THAN_IT_HOLDS
from terrain.units import share_words

pytestmark = pytest.mark.long


def money(units="metric", **more):
    return Money.model_validate({"currency": "crown", "machine hour": [100, 100]} | more,
                                context={"units": units})


def test_what_hollows_keep_is_told_apart_from_what_works_keep(demo_plan):
    """The hollow's own account is what stands before the first work: what comes to it comes from
    no work."""
    name, account = demo_plan.accounts[-1]
    hollow = next(i for i, p in enumerate(demo_plan.stores) if p.placed.kind == "hollow")
    kept = account.entries[hollow].captured
    head, cells = standing_row(demo_plan)
    assert head == "stands already: east pan (natural hollow)"
    assert cells == ["–", "–", "–", f"{kept:.1f} m³", "–"]
    first, more = next_rows(demo_plan)[0][1][3], demo_plan.money.order[0].more
    assert first == f"{kept + more:.1f} m³"
    assert "The works and natural hollows keep" in headline_words(demo_plan, name, account)
    works = tuple(p for p in demo_plan.stores if p.placed.kind != "hollow")
    assert "The works keep" in headline_words(replace(demo_plan, stores=works), name, account)


def test_the_headline_of_a_year_tells_both_soils(demo_plan):
    name, account = demo_plan.accounts[-1]
    other, beside = demo_plan.beside
    kept = f"{beside.passive + beside.roof:,.1f} m³"
    assert headline_words(demo_plan, name, account).endswith(
        f" With {other.removeprefix('average year, ')} they keep {kept}; plan trees on the lesser "
        "figure.")
    assert "they keep" not in headline_words(replace(demo_plan, beside=None), name, account)


def test_a_store_that_catches_more_than_it_holds_is_explained(demo_plan, harmful_page):
    entries = demo_plan.storms["10-year day"].entries
    assert any(e.caught > p.store.capacity + 1
               for e, p in zip(entries, demo_plan.stores, strict=True))
    page = " ".join(harmful_page.read_text("utf-8").split())
    assert page.count(MORE_THAN_IT_HOLDS) == 2  # at the live map, and at the storms' tables


def test_a_place_on_a_road_has_the_ground_that_drains_to_it(demo_plan):
    """All places of a road together drain what the road as a whole does."""
    drains = demo_plan.terrain.contributing_area
    for shed in demo_plan.sheds:
        exits = np.concatenate([point.exits for point in shed.points])
        assert drains[exits[:, 0], exits[:, 1]].sum() == pytest.approx(shed.catchment.area)
    assert {len(row.cells) for row in shed_rows(demo_plan)} == {6}
    said = whole_words(demo_plan)
    for shed in demo_plan.sheds:
        assert said.count(f"{shed.name} ") <= 1


def test_one_tank_pays_for_itself(demo_plan):
    told = demo_plan.money
    one = replace(told, paybacks=tuple(replace(row, what="Barn tank") for row in told.paybacks))
    assert told.paybacks
    assert any("Barn tank pays for itself against" in said for said in sentences(demo_plan, one))


def test_a_share_is_printed_one_way_wherever_words_stand():
    page = ('<style>i { width:5% }</style><p title="5%">2.7% and 2.7 % and 3\u202f%, %20</p>'
            '<script type="application/json">{"share":"83 %"}</script>'
            "<script>x = 5% 3;</script>")
    assert with_shares(page) == (
        '<style>i { width:5% }</style><p title="5%">2.7\u00a0% and 2.7\u00a0% and 3\u00a0%, %20</p>'
        '<script type="application/json">{"share":"83\u00a0%"}</script>'
        "<script>x = 5% 3;</script>")


def test_the_page_has_no_other_share(harmful_page):
    page = re.sub(r"<style>.*?</style>|<script>.*?</script>|<[^>]*>", "",
                  harmful_page.read_text("utf-8"), flags=re.DOTALL)
    assert re.search(r"\d\u00a0%", page)
    assert not re.findall(r"\d[ \u202f]?%(?!\w)", page)


def test_all_of_it_is_said_only_where_nothing_left():
    assert [share_words(share) for share in (1.0, 0.99996, 0.9994, 0.0, 0.0001, 0.027)] == [
        "100.0\u00a0%", "over 99.9\u00a0%", "99.9\u00a0%", "0.0\u00a0%", "under 0.1\u00a0%",
        "2.7\u00a0%"]


def test_a_table_of_totals_has_one_unit_of_volume():
    def of(scale):
        return SimpleNamespace(name="storm", rain_mm=10.0, passive=1184.696 * scale,
                               passive_mm=3.0, roof=0.4 * scale, roof_mm=0.1, stays=0.9,
                               stays_before=0.5, left=0.3 * scale, left_before=20.0 * scale,
                               no_longer_leaves=19.7 * scale)

    for scale, system, unit in ((1.0, "metric", "m³"), (1e-4, "metric", "L"), (1.0, "us", "gal")):
        cells = total_rows((of(scale),), system)[0][1]
        assert {cells[i].rpartition(" ")[2] for i in (1, 3, 7, 8, 9)} == {unit}
    assert total_rows((of(1.0),), "metric")[0][1][1] == "1,185 m³"


def test_what_prices_without_a_unit_were_taken_for_is_said():
    told = {"tank": [700, 1100], "pipe": {"per": "6 m", "price": [40, 60]},
            "water otherwise": {"well": 120}}
    assert "tank: 700 to 1,100 as per m³; a well: 120 as per m³." in bare_words(money(**told))
    assert "pipe" not in bare_words(money(**told))
    assert "tank: 700 to 1,100 as per gal; a well: 120 as per gal." in bare_words(
        money("us", **told))
    assert bare_words(money(tank={"per": "1 m3", "price": 700})) == ""


def test_water_has_one_unit_in_all_that_is_said_of_money():
    """A US gallon is 3.785411784 L (NIST): 1,000 of them at 1 each cost 1,000; a cubic yard is
    0.764554857984 m3."""
    said = rate_words(money("us", **{"tank": 1, "water otherwise": {"well": 2},
                                     "stone": {"per": "1 m3", "price": 100}}), "us")
    assert "1,000 for each 1,000 gal of tank" in said
    assert "Each 1,000 gal that comes another way: a well 2,000" in said
    assert "76.5 for each yd³ of stone" in said
    assert "700 for each m³ of tank" in rate_words(money(tank=700), "metric")


def test_small_lengths_and_sold_widths_are_told_as_they_are_used():
    """EN 12056-3 gives 0.25 mm; nominal inches are common practice, no source."""
    assert rule_figure(0.00025, "length", "metric") == "0.25 mm"
    assert rule_figure(0.00025, "length", "us") == "0.0098 in"
    assert sold_as(0.1, "us") == "nominal 4 in"
    assert sold_as(0.075, "us") == "nominal 3 in"
    assert sold_as(0.1, "metric") == width(0.1, "metric") == "100 mm"


def test_cautions_are_folded_by_work_the_gravest_open(harmful_page, harmful_plan):
    page = harmful_page.read_text("utf-8")
    folded = re.findall(r'<details class="cautions"( open)?>(.*?)</details>', page, re.DOTALL)
    assert [bool(opened) for opened, _ in folded] == [True, *[False] * (len(folded) - 1)]
    assert len(folded) > 1
    # A work's number of cautions, as its summary says, is that of the lines below it.
    for _, inside in folded:
        assert re.search(r">(\d+) caution", inside)[1] == str(inside.count("<li>"))
    assert "drown" in folded[0][1]  # a pond, not a swale


def test_the_picture_of_doubt_stands_once():
    from importlib import resources

    text = resources.files("terrain.outputs.page").joinpath("part_water.html").read_text("utf-8")
    from jinja2 import Environment

    line = next(line for line in text.splitlines() if "charts.items()" in line)
    drawn = Environment().from_string(line).render(charts={"storms": "a", "doubt": "b"},
                                                   pictured={})
    assert drawn.count("<img") == 1


def test_paper_and_a_common_screen_cut_no_table_and_paper_folds_nothing(browser, harmful_page):
    """A4 is 210 mm wide, a CSS pixel 1/96 in (CSS Values 4): 718 of them within margins of 10 mm.
    """
    wider = """() => [...document.querySelectorAll('main table')].filter(table =>
        table.getBoundingClientRect().right > document.documentElement.clientWidth + 1
        ).map(table => [table.caption.textContent, table.getBoundingClientRect().right])"""
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.goto(harmful_page.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    assert page.evaluate(wider) == []
    page.close()
    page = browser.new_page(viewport={"width": 718, "height": 1000})
    page.goto(harmful_page.as_uri())
    page.emulate_media(media="print")
    assert page.evaluate(wider) == []
    heights = page.evaluate("""[...document.querySelectorAll('details:not([open])')].map(
        one => one.lastElementChild.getBoundingClientRect().height)""")
    page.close()
    assert heights
    assert min(heights) > 0
