"""What stands first on the page, what is folded away, and how one gets about in it."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from terrain.outputs.page.caution_lists import gravest_of

pytestmark = pytest.mark.long

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def phone(browser, harmful_page):
    page = browser.new_page(viewport=PHONE)
    page.goto(harmful_page.as_uri())
    yield page
    page.close()


def test_headings_are_in_order_and_one_names_the_page(phone):
    """WCAG 2.1, technique G141: headings say how the page is built, none is left out."""
    heads = phone.evaluate("""[...document.querySelectorAll('h1, h2, h3, h4, h5, h6')].map(
        head => [Number(head.tagName[1]), head.textContent.trim()])""")
    levels = [level for level, _ in heads]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert [(a, b) for a, b in pairwise(levels) if b > a + 1] == []
    assert [words for _, words in heads if not words] == []


def test_contents_lead_to_every_part_and_section(phone):
    found = phone.evaluate("""[...document.querySelectorAll('.contents a')].map(link => [
        link.textContent, document.querySelector(link.getAttribute('href'))?.textContent])""")
    assert [pair for pair in found if pair[0] != pair[1]] == []
    heads = phone.locator("h2[id], main h3[id]:not(#answer-name)").count()
    assert len(found) == heads > 15
    assert phone.locator(".contents").evaluate("nav => nav.tagName") == "NAV"


def test_every_part_leads_back_to_the_contents_and_paper_does_not_say_so(phone):
    parts = phone.locator("#contents ~ .head")
    assert parts.count() == phone.locator("#contents ~ * h2").count() > 4
    for n in range(parts.count()):
        link = parts.nth(n).locator("a.up")
        assert link.get_attribute("href") == "#contents"
        assert link.is_visible()
        head, back = parts.nth(n).locator("h2").bounding_box(), link.bounding_box()
        assert head["y"] <= back["y"] <= head["y"] + head["height"]
    phone.emulate_media(media="print")
    assert not parts.first.locator("a.up").is_visible()
    phone.emulate_media(media="screen")


def test_a_link_unfolds_what_it_leads_to(phone):
    fold = phone.locator("details.part:has(#earth)")
    assert not fold.evaluate("one => one.open")
    phone.evaluate("location.hash = '#earth'")
    phone.wait_for_function("document.querySelector('#earth').closest('details').open")


def test_what_may_kill_stands_before_the_map_and_is_not_folded(phone, harmful_plan):
    told, more = gravest_of(harmful_plan)
    assert told
    said = phone.locator(".warn li").all_text_contents()
    assert len(said) == len(told)
    assert any("drown" in line for line in said)  # of a pond
    assert phone.locator(".warn li").first.is_visible()
    assert phone.evaluate("""document.querySelector('.warn').compareDocumentPosition(
        document.querySelector('#plan')) === Node.DOCUMENT_POSITION_FOLLOWING""")
    assert more == 0 or str(more) in phone.locator(".warn").text_content()


def test_what_is_caught_what_it_costs_and_what_leaves_stand_first(phone):
    first = phone.locator(".figures").text_content()
    for words in ("kept by the ground works", "kept by roofs and tanks", "leaves the site",
                  "of one machine"):  # the small site states no money
        assert words in first
    assert re.search(r"\d.days?of one machine", first)


def test_paper_s_small_print_is_no_larger_than_its_text(phone):
    phone.emulate_media(media="print")
    small, text = phone.evaluate("""['.inside .small, p.small', '.warn li'].map(which =>
        parseFloat(getComputedStyle(document.querySelector(which)).fontSize))""")
    assert small <= text
    assert text >= 10  # CSS pixels, 7.5 points


def test_pictures_say_what_they_show(phone):
    """WCAG 2.1, success criterion 1.1.1: pictures of figures tell a figure."""
    said = phone.evaluate("[...document.querySelectorAll('main img')].map(one => one.alt)")
    assert len(said) > 4
    assert [words for words in said if not words.strip()] == []
    assert sum(bool(re.search(r"\d", words)) for words in said) > 0.6 * len(said)


def test_no_sign_turns_round_what_stands_after_it(harmful_page, harmful_plan):
    assert any("\u202e" in storm.name for storm in harmful_plan.site.rain.storms)
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", harmful_page.read_text("utf-8"))
