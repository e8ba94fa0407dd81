"""A site in US units: its words begin with them, its feet are the elevation's own."""

import html
import io
import json
import re
from collections.abc import Iterator

import pytest

from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.report import report_page
from terrain.plan.plan import make_plan
from terrain.plan.siting.reading import read_inputs
from terrain.units import shown
from terrain.works.rules import RULES

#: NIST Special Publication 811, appendix B.6: the US survey foot is 1200/3937 m exactly.
SURVEY_FOOT = 1200 / 3937
#: A figure in metric units that does not stand in brackets behind another.
METRIC = re.compile(r"(?<!\()(?<![\d.,])\d[\d.,]*(?: to [\d.,]+)?[ \u00a0](?:m|mm|cm|km|m2|m3|"
                    r"m²|m³|L|litres?|metres?|mm/h|mm/day|ha|m/s|L/s|L/day)\b(?!\))")


@pytest.fixture(scope="module")
def us_site_plan(small_site_folder, tmp_path_factory):
    """The small site planned in US units, with a household, money and roofs' gutters told."""
    path = small_site_folder(tmp_path_factory.mktemp("us"))
    text = path.read_text().replace("name: Small valley", "name: Small valley\nunits: us")
    text = text.replace("    demand: 50 L/day\n", "    uses:\n      - {name: house, "
                        "kind: household, heads: 2, per head: intermediate access}\n")
    path.write_text(text.replace("works:\n", "money: {currency: USD, machine hour: [95, 140], "
                                 "stone: [45, 80]}\nworks:\n", 1))
    return make_plan(path)


def picture() -> bytes:
    from PIL import Image

    made = io.BytesIO()
    Image.new("RGB", (8, 8)).save(made, "PNG")
    return made.getvalue()


def strings(told: object) -> Iterator[str]:
    if isinstance(told, str):
        yield told
    elif isinstance(told, dict):
        for value in told.values():
            yield from strings(value)
    elif isinstance(told, list):
        for value in told:
            yield from strings(value)


def metric_first(text: str) -> list[str]:
    """Where metric figures stand alone or first; what a source states in its own words is its."""
    text = text.replace("\u00a0", " ").replace("US survey feet (1200/3937 m)", "US survey feet")
    for source in sorted({rule.source for rule in RULES.values()}, key=len, reverse=True):
        text = text.replace(source, "")
    return [text[max(found.start() - 60, 0):found.end() + 30] for found in METRIC.finditer(text)]


def test_the_scan_sees_metric_figures():
    assert metric_first("a pool 2.5 m deep")
    assert metric_first("it holds 32 m³ (0.03 acre-ft)")
    assert not metric_first("it holds 0.03 acre-ft (32 m³) on 3 ft (0.91 m)")


def test_nothing_that_is_read_begins_with_metric_units(us_site_plan):
    with us_site_plan.inputs.told():
        said = list(strings(json.loads(json.dumps(plan_object(us_site_plan)))))
        page = report_page(us_site_plan, picture(), {}, [])
    page = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", page)
    words = html.unescape(re.sub(r"<[^>]+>", "\n", page))
    assert metric_first("\n".join(said)) == []
    assert metric_first(words) == []


@pytest.mark.parametrize("words", [
    ["survey"], ["shed", "--at", "500060,6399880", "--storm", "1.2in", "--cn", "82",
                 "--two-year-day", "2in"],
    ["swale", "--through", "500085,6399940", "--storm", "1.2in", "--cn", "82", "--checks", "40ft"],
    ["basin", "--wall", "500040,6399870", "500080,6399870", "--crest", "642.7", "--storm", "3in",
     "--cn", "82"]])
def test_nor_what_the_quick_commands_say(levelsill, small_site, words):
    ran = levelsill(words[0], small_site.parent / "ground.tif", *words[1:], "--units", "us")
    assert ran.code == 0, ran.err
    assert metric_first(" ".join(ran.out.split())) == []


def test_what_is_fixed_by_default_is_a_size_that_is_dug(us_site_plan):
    swale = next(s.swale for s in us_site_plan.stores if s.swale is not None)
    wall = next(s.basin.profile for s in us_site_plan.stores if s.basin is not None)
    assert [shown(v, "size", "us") for v in (swale.width, swale.berm_top, wall.top)] == [
        "2 ft", "2 ft", "6 ft"]  # NRCS practice standard 378: 6 ft under a height of 10 ft


def test_levels_are_in_the_foot_of_the_elevation(small_site):
    text = small_site.read_text().replace("name: Small valley", "name: Small valley\nunits: us")
    text = text.replace("file: ground.tif", "file: ground.tif\n  height unit: us-ft", 1)
    small_site.write_text(text.replace(
        "rain:\n", "benchmark: {at: [500050, 6399900], level: 194 ft}\nrain:\n", 1))
    inputs = read_inputs(small_site)
    assert inputs.dem.frame.foot == "us-ft"
    assert inputs.site.benchmark.level == pytest.approx(194 * SURVEY_FOOT, abs=1e-9)
    with inputs.told():
        assert shown(inputs.site.benchmark.level, "level", "us", 3) == "194.000 ft"
