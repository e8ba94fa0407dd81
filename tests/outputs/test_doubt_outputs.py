"""How sure a plan is, as it is drawn, printed and written."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import combinations

import pytest
from markupsafe import escape
from matplotlib.backends.backend_agg import FigureCanvasAgg

from terrain.errors import InputError
from terrain.outputs.charts.doubt_charts import draw_doubt
from terrain.outputs.charts.doubt_words import mattering, span
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.doubt_tables import (
    beside_words,
    chance,
    doubt_section,
    headline_lines,
    outside,
)
from terrain.plan.doubt.doubt import with_doubt
from terrain.plan.doubt.doubt_found import Beside, Headline, Range
from terrain.plan.plan import make_plan


@pytest.fixture(scope="module")
def plan(tmp_path_factory, small_site_folder):
    site = small_site_folder(tmp_path_factory.mktemp("doubt"))
    return with_doubt(make_plan(site), 12)


def test_the_chart_shows_every_range_and_no_words_lie_on_others(plan):
    for shown in (plan, replace(plan, doubt=replace(plan.doubt, year={})),
                  replace(plan, doubt=replace(plan.doubt, one_year=plan.doubt.year))):
        figure = draw_doubt(shown)
        renderer = FigureCanvasAgg(figure).get_renderer()
        words = [text for ax in figure.axes for text in ax.texts] + list(figure.texts)
        boxes = [text.get_window_extent(renderer) for text in words if text.get_text()]
        wide, high = figure.bbox.width, figure.bbox.height
        for box in boxes:
            assert box.x0 >= 0 <= box.y0
            assert box.x1 <= wide
            assert box.y1 <= high
        for one, other in combinations(boxes, 2):
            assert not one.overlaps(other)
        for ax in figure.axes:
            for bar in ax.patches:
                assert bar.get_x() + bar.get_width() <= ax.get_xlim()[1]
    with pytest.raises(InputError, match="not run with doubt"):
        draw_doubt(replace(plan, doubt=None))


def test_bands_run_from_the_low_to_the_high_end(plan):
    figure = draw_doubt(plan)
    for ax, headline in zip(figure.axes, plan.doubt.storm.values(), strict=False):
        for bar, found in zip(ax.patches, [headline.together, *headline.alone.values()],
                              strict=True):
            if found.high - found.low > ax.get_xlim()[1] / 160:  # else as wide as can be seen
                assert bar.get_x() == pytest.approx(found.low)
                assert bar.get_x() + bar.get_width() == pytest.approx(found.high)


def test_the_section_of_the_report_holds_every_store_and_both_periods(plan):
    section = doubt_section(plan, "data:picture")
    assert '<h3 id="sure">How sure is this?</h3>' in section
    assert "The plan was run 12 times" in section
    assert "In the storm" in section
    assert "In an average year" in section
    for store in plan.doubt.stores:
        assert f"<td>{store.name}</td>" in section
    for note in plan.doubt.notes:
        assert escape(note) in section
    assert doubt_section(replace(plan, doubt=None), "") == ""


def test_ranges_are_printed_as_ranges_in_both_unit_systems():
    found = Range(5.0, 2.0, 4.0, 12.0, 0.5, 1.0)
    # 1 gal is 0.003785411784 m3 (NIST SP 811): 528.3 and 3,170.1 of them.
    assert span(found, "passive", "metric") == "2.0 – 12.0 m³"
    assert span(found, "passive", "us") == "528 – 3,170 gal"
    assert span(Range(0.2, 0.1, 0.2, 0.3, 0, 0), "share kept", "us") == "10.0 – 30.0\u00a0%"
    line = headline_lines({"passive": Headline("passive", found, {}, {"rain": 0.25})}, "metric")[0]
    assert line.name == "passive capture"
    assert line.cells == ["5.0 m³", "2.0 – 12.0 m³", "4.0 m³", "± 0.5, ± 1.0 m³", "rain",
                          "rain 25\u00a0%"]
    still = headline_lines({"roof": Headline("roof", found, {}, {})}, "metric")[0]
    assert still.cells[4] == "nothing"


def test_doubts_that_matter_nearly_alike_are_named_together():
    """Within ten points of the greatest, as the page says (common practice, no source)."""
    found = Range(5.0, 2.0, 4.0, 12.0, 0.5, 1.0)
    for shares, said in (({"infiltration": 0.67, "rain": 0.68, "elevation": 0.4},
                          "rain and infiltration"),
                         ({"infiltration": 0.5, "rain": 0.68}, "rain"),
                         ({"infiltration": 0.0, "rain": 0.05}, "rain"), ({}, "nothing")):
        assert mattering(Headline("passive", found, {}, shares)) == said


def test_a_figure_outside_its_range_gets_a_sentence(plan):
    low = Range(1.0, 2.0, 4.0, 12.0, 0.5, 1.0)
    doubt = replace(plan.doubt, design_storm="big day", year={}, one_year={}, storm={
        "passive": Headline("passive", low, {}, {}),
        "roof": Headline("roof", replace(low, plan=3.0), {}, {})})
    assert outside(doubt, "metric") == [
        "The plan's own figure for the storm \"big day\", passive capture, 1.0 m³, lies below the "
        "range: rather count on 2.0 – 12.0 m³."]


def test_the_other_wetness_of_the_soil_stands_beside_the_average_year(plan):
    """Its figures are those of the plan itself, with no run in between."""
    soil, account = plan.beside
    other = plan.doubt.beside
    assert soil.endswith(other.soil)
    assert other.figures["passive"] == pytest.approx(account.passive)
    assert other.figures["left site"] == pytest.approx(account.left_site)
    found = Range(5.0, 2.0, 4.0, 12.0, 0.5, 1.0)
    year = {"passive": Headline("passive", found, {}, {})}
    for value, side in ((1.0, "below"), (13.0, "above"), (3.0, None)):
        doubt = replace(plan.doubt, storm={}, one_year={}, year=year,
                        beside=Beside("soil that dries", {"passive": value}))
        assert headline_lines(year, "metric")[0].cells[0] == "5.0 m³"
        assert beside_words(doubt.beside, "metric") == (
            f"With soil that dries the plan's own figures are: passive capture {value:.1f} m³.")
        assert [f"lies {side} the range" in said for said in outside(doubt, "metric")] == (
            [] if side is None else [True])
    assert f"With {other.soil} the plan" in doubt_section(plan, "")
    assert any("taken as sure" in note for note in plan.doubt.notes)


def test_chances_in_words():
    assert [chance(share) for share in (0.0, 0.004, 0.25, 0.996, 1.0)] == [
        "none seen", "under 1\u00a0%", "25\u00a0%", "over 99\u00a0%", "every run"]


def test_plan_json_holds_it_and_its_keys_are_documented(plan, demo_site):
    found = json.loads(json.dumps(plan_object(plan)))["doubt"]
    page = (demo_site.parents[1] / "docs" / "plan-json.md").read_text()
    row = next(line for line in page.splitlines() if line.startswith("| `doubt` |"))

    def keys(value) -> set[str]:
        if isinstance(value, dict):
            return set(value) | {key for part in value.values() for key in keys(part)}
        return {key for part in value for key in keys(part)} if isinstance(value, list) else set()

    for key in keys(found):
        documented = re.sub("_m2$", "_m3", key)
        assert any(f"`{name}`" in row for name in (documented, f"{key}_m3", f"{key}[]")), key
    for store in found["stores"]:
        assert 0 <= store["chance_fills"] <= 1
        assert store["catchment"]["low_m2"] <= store["catchment"]["high_m2"]
    assert plan_object(replace(plan, doubt=None))["doubt"] is None


@pytest.mark.slow
def test_the_command_prints_ranges_and_refuses_too_few_runs(levelsill, small_site, tmp_path):
    refused = levelsill("plan", small_site, "--doubt", "3")
    assert refused.code == 2
    assert "3 runs are not between 20 and 100,000" in refused.err
    assert not (small_site.parent / "plan").exists()
    done = levelsill("plan", small_site, "--out", tmp_path / "out", "--doubt", "20")
    assert done.code == 0, done.err
    assert "How sure is this? Ranges of 20 runs" in done.out
    assert json.loads((tmp_path / "out" / "plan.json").read_text())["doubt"]["runs"] == 20
    assert "How sure is this?" in (tmp_path / "out" / "report.html").read_text()
