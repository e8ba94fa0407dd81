"""Figures of the page: one system of units, and no figure torn from its unit."""

import re

import pytest

from terrain.outputs.one_system import in_one
from terrain.outputs.page.figures import with_figures
from terrain.units import in_both, told_first

pytestmark = pytest.mark.long


@pytest.mark.parametrize(("said", "metric", "us"), [
    # 1 ft is 0.3048 m, 1 US gal 3.785411784 L (NIST Handbook 44, appendix C).
    ("within 0.60 m (1.97 ft) of it", "within 0.60 m of it", "within 1.97 ft of it"),
    ("1.97 ft (0.60 m)", "0.60 m", "1.97 ft"),
    ("4.0 m\u00b3 (1,057 gal) to 8.0 m\u00b3 (2,113 gal)", "4.0 m\u00b3 to 8.0 m\u00b3",
     "1,057 gal to 2,113 gal"),
    ("100 L (26 gal) a day", "100 L a day", "26 gal a day"),
    ("2.9 in (0.07 m) over the sill", "0.07 m over the sill", "2.9 in over the sill"),
    ("2.44 in (62.0 mm) over 24 h", "62.0 mm over 24 h", "2.44 in over 24 h"),
])
def test_a_figure_told_twice_is_told_in_the_site_s_units(said, metric, us):
    assert in_one(said, "metric") == metric
    assert in_one(said, "us") == us


@pytest.mark.parametrize("said", [
    "keep 61 m (70 ft) off",  # 70 ft are 21 m: another figure
    "0.60 m (rule 3)", "61 m (200 mm)", "12 h (24 h)", "5 ft/s (3 m)"])
def test_what_only_looks_like_it_stays(said):
    assert in_one(said, "metric") == in_one(said, "us") == said


@pytest.mark.parametrize("dimension", ["length", "level", "size", "rain", "area", "ground",
                                       "volume", "earth", "flow", "rate", "speed"])
def test_every_kind_of_figure_that_sentences_give_twice_is_known(dimension):
    for value in (0.02, 0.6, 12.345, 1234.5, 123456.7):
        for first in ("metric", "us"):
            with told_first(first):
                said = in_both(value, dimension)
            assert "(" in said
            assert "(" not in in_one(said, "metric")
            assert "(" not in in_one(said, "us")
            assert in_one(said, "metric") != in_one(said, "us")


def test_a_figure_is_not_torn_from_its_unit_and_tags_and_data_stay():
    page = ('<style>a { top: 5 mm }</style><p title="5 mm">5 mm of 3 mothers in 24 h</p>'
            '<script type="application/json">{"a":"5 mm"}</script>')
    assert with_figures(page, "metric") == page.replace(">5 mm of", ">5\u00a0mm of").replace(
        "24 h<", "24\u00a0h<")


def test_the_page_of_a_metric_site_has_no_us_figures_in_brackets(harmful_page):
    page = re.sub(r"<style>.*?</style>|<script.*?</script>|<[^>]*>", "",
                  harmful_page.read_text("utf-8"), flags=re.DOTALL)
    assert re.search(r"\d\u00a0m\b", page)
    assert re.findall(r"\d\s(?:m|m\u00b3|mm) \([\d,.]+\s(?:ft|gal|in|yd\u00b3)\)", page) == []
