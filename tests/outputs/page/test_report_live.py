"""What the report's live map shows, before any browser does."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from terrain.outputs.page.live_map import live_section, share_words
from terrain.outputs.page.shed_tables import point_facts
from terrain.outputs.page.store_tables import store_facts
from terrain.outputs.page.storm_stops import figures_of, stops_of
from terrain.outputs.page.table_names import with_table_names
from terrain.plan.water.routing import run_storm


@pytest.fixture(scope="module")
def stops(demo_plan):
    return stops_of(demo_plan)


@pytest.fixture(scope="module")
def figures(demo_plan, stops):
    return figures_of(demo_plan, stops)


def data_of(section) -> dict:
    said = re.search(r'<script type="application/json" id="live-data">(.*?)</script>', section,
                     re.DOTALL)
    return json.loads(said[1])


def test_every_storm_of_the_plan_is_a_stop_and_stops_rise(demo_plan, stops):
    storms = demo_plan.site.rain.storms
    assert sorted(s.storm.name for s in stops if s.storm) == sorted(s.name for s in storms)
    assert [s.depth for s in stops] == sorted(s.depth for s in stops)
    assert {s.place for s in stops} == set(range(max(s.place for s in stops) + 1))
    assert stops[0].depth == 0
    assert 60 < len(stops) < 260


def test_storms_of_one_depth_share_a_place_the_design_storm_first(demo_plan):
    from dataclasses import replace

    site = demo_plan.site
    design = site.rain.design
    twins = [storm.model_copy(update={"depth": design.depth}) if storm is not design else storm
             for storm in site.rain.storms]
    rain = site.rain.model_copy(update={"storms": twins})
    plan = replace(demo_plan, inputs=replace(
        demo_plan.inputs, site=site.model_copy(update={"rain": rain})))
    shared = [stop for stop in stops_of(plan) if stop.storm is not None]
    assert len({stop.place for stop in shared}) == 1
    assert len(shared) == len(twins)
    assert shared[0].storm.name == design.name


def test_figures_close_at_every_stop(figures):
    # In = out, to the accounts' own 1e-9 of what came in (design.md: every account closes).
    came = figures.rain + figures.run_on
    went = figures.soaked + figures.passive + figures.roof + figures.left
    np.testing.assert_allclose(went, came, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(figures.caught + figures.spilled, figures.came, rtol=1e-9,
                               atol=1e-9)


def test_stops_at_the_plan_s_storms_have_its_accounts(demo_plan, stops, figures):
    for row, stop in enumerate(stops):
        if stop.storm is None:
            continue
        account = demo_plan.storms[stop.storm.name]
        for column, entry in enumerate(account.entries):
            assert figures.came[row, column] == entry.inflow
            assert figures.caught[row, column] == entry.caught
            assert figures.spilled[row, column] == entry.spilled
        assert figures.passive[row] == account.passive
        assert figures.roof[row] == account.roof
        assert figures.left[row] == account.left_site
        index = demo_plan.site.rain.storms.index(stop.storm)
        assert [found[row] for found in figures.points] == [
            point.volumes[index] for _, point in demo_plan.ranked_shed_points]


def test_between_the_sweep_s_depths_figures_are_near_a_storm_of_that_depth(demo_plan, stops,
                                                                           figures):
    """The same depth run through the cascade: the straight line is within 2 % of a store's
    content or of what comes, whichever is more, and of the site's within 1 % of the rain."""
    shape = demo_plan.inputs.hydrology.shapes[demo_plan.site.rain.design.name]
    for row in range(5, len(stops), 19):
        if stops[row].storm is not None:
            continue
        run = run_storm(demo_plan.cascade, stops[row].depth, shape)
        for column, store in enumerate(run.stores):
            room = max(demo_plan.stores[column].store.capacity, store.inflow)
            assert figures.came[row, column] == pytest.approx(store.inflow, abs=0.02 * room)
            assert figures.caught[row, column] == pytest.approx(store.caught, abs=0.02 * room)
        assert figures.left[row] == pytest.approx(run.left_site, abs=0.01 * run.rain)


def test_what_a_road_sheds_never_falls_with_the_rain(stops, figures):
    depths = np.array([stop.depth for stop in stops])
    assert (np.diff(depths) >= 0).all()
    for passes in (*figures.points, *figures.sheds):
        assert (np.diff(passes) >= -1e-9).all()
        assert passes[0] == 0


def test_a_share_is_called_full_only_where_it_is():
    assert share_words(1.0) == "full"
    assert share_words(0.9999) == "99\u00a0%"
    assert share_words(0.504) == "50\u00a0%"
    assert share_words(0.004) == "under 1\u00a0%"
    assert share_words(0.0) == "0\u00a0%"


@pytest.mark.parametrize(("system", "unit"), [("metric", "m³"), ("us", "gal")])
def test_figures_are_printed_in_the_site_s_units(demo_plan, us_plan, demo_page, system, unit):
    plan = us_plan if system == "us" else demo_plan
    data = data_of(live_section(plan, store_facts(plan), point_facts(plan)) if system == "us"
                   else demo_page.read_text(encoding="utf-8"))
    assert data["unit"] == unit
    run = plan.runs[plan.site.rain.design.name]
    for store, entry in zip(data["stores"], run.stores, strict=True):
        # 1 US gallon is 231 in3 of 25.4 mm (NIST Handbook 44, appendix C).
        volume = entry.inflow / (231 * 0.0254**3 if system == "us" else 1.0)
        places = 0 if system == "us" or volume >= 1000 else 1
        assert store["came"][data["start"]] == f"{volume:,.{places}f}"
    assert data["stops"][data["start"]]["depth"] == (
        f"{plan.site.rain.design.depth / 25.4:.2f} in" if system == "us" else
        f"{plan.site.rain.design.depth:.1f} mm")


def test_names_cannot_end_the_data_nor_open_a_tag(harmful_page, harmful_plan):
    page = harmful_page.read_text(encoding="utf-8")
    data = data_of(page)
    assert [s["name"] for s in data["stores"]] == [p.store.name for p in harmful_plan.stores]
    assert page.count("<script") == 2
    assert page.count("</script>") == 2
    assert "<img src=x" not in page


def test_every_table_has_a_caption_and_heads_with_a_scope(harmful_page):
    page = harmful_page.read_text(encoding="utf-8")
    tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
    assert len(tables) > 8
    for table in tables:
        assert re.search(r"<caption[^>]*>[^<]+</caption>", table)
        assert all("scope=" in head for head in re.findall(r"<th[\s>][^>]*", table))
        for row in re.findall(r"<tbody>.*?</tbody>", table, re.DOTALL):
            assert row.count("<tr") == row.count('<th scope="row"')


def test_a_table_takes_its_name_from_the_words_before_it():
    page = ('<h2 id="a">Stores</h2><table><thead><tr><th class="words">store</th></tr></thead>'
            "<tbody><tr><td>x</td><td>1</td></tr></tbody></table>"
            "<details><summary>a <b>storm</b></summary><table><tr><td>y</td></tr></table>"
            "</details>")
    assert with_table_names(page) == (
        '<h2 id="a">Stores</h2><table><caption class="unseen">Stores</caption><thead><tr>'
        '<th scope="col" class="words">store</th></tr></thead><tbody><tr><th scope="row">x</th>'
        "<td>1</td></tr></tbody></table><details><summary>a <b>storm</b></summary><table>"
        '<caption class="unseen">a storm</caption><tr><th scope="row">y</th></tr></table>'
        "</details>")
