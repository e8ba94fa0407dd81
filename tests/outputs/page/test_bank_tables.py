"""What the report tells of banks that fail: the plan's own figures, and what lies in the way."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from terrain.outputs.page.bank_tables import BANK_COLUMNS, NOTHING, bank_rows
from terrain.plan.safety.overtopping import Met
from terrain.units import shown


def with_met(plan, name, *met):
    """The plan with other things in the way of one bank's water."""
    stores = [replace(p, breach=replace(p.breach, met=met)) if p.store.name == name else p
              for p in plan.stores]
    return replace(plan, stores=stores)


def test_every_wall_and_berm_is_told_with_the_plan_s_figures(demo_plan):
    rows = {row.name: dict(zip(BANK_COLUMNS[1:], row.cells, strict=True))
            for row in bank_rows(demo_plan)}
    banks = {p.store.name: p.breach for p in demo_plan.stores
             if p.swale is not None or (p.basin is not None and p.basin.has_wall)}
    assert set(rows) == set(banks)
    for name, breach in banks.items():
        assert rows[name]["lets go"] == shown(breach.volume, "volume", "metric")
        assert rows[name]["runs down"] == shown(breach.length, "length", "metric")
        assert rows[name]["falls"] == shown(breach.fall, "size", "metric")
        assert rows[name]["in its way"].startswith(NOTHING)
    volumes = [banks[row.name].volume for row in bank_rows(demo_plan)]
    assert volumes == sorted(volumes, reverse=True)


def test_where_its_water_leaves_lies_on_the_boundary(demo_plan):
    """The place told is a cell past the property line: within a cell's diagonal of it."""
    from shapely import Point

    line, cell = demo_plan.inputs.ground.boundary.boundary, demo_plan.inputs.dem.cell
    for row in bank_rows(demo_plan):
        said = row.cells[BANK_COLUMNS.index("then") - 1]
        found = re.fullmatch(r"leaves the property at (-?[\d.]+), (-?[\d.]+)", said)
        assert found is not None, said
        assert line.distance(Point(float(found[1]), float(found[2]))) <= 1.5 * cell


def test_what_is_harmed_is_named_and_its_bank_comes_first(demo_plan):
    house = Met("building", "mill", 2.1, 43.0, beyond=True)
    plan = with_met(demo_plan, "yard swale", Met("work", "upper swale", 0.0, 20.0), house)
    first = bank_rows(plan)[0]
    assert first.name == "yard swale"
    said = first.cells[-1]
    assert said.startswith(house.words)
    assert "beyond the property line" in said
    assert said.endswith("; it runs through \"upper swale\"")
    assert NOTHING not in said


def test_a_long_list_says_how_many_more(demo_plan):
    met = [Met("road", f"track {n}", 0.0, float(n)) for n in range(7)]
    said = bank_rows(with_met(demo_plan, "gully pond", *met))[0].cells[-1]
    assert said.count("the road") == 4
    assert said.endswith("; 3 more")


def test_bunds_of_trees_are_told_where_they_do_harm(demo_plan):
    pond = next(p for p in demo_plan.stores if p.store.name == "gully pond")
    tree = next(i for i, p in enumerate(demo_plan.stores) if p.store.kind == "tree basin")
    name = demo_plan.stores[tree].store.name

    def names(met):
        stores = list(demo_plan.stores)
        stores[tree] = replace(stores[tree], breach=replace(pond.breach, met=met))
        return [row.name for row in bank_rows(replace(demo_plan, stores=stores))]

    assert name not in names(())
    assert names((Met("well", "well", 0.0, 5.0),))[0] == name


@pytest.mark.parametrize("width", [390, 1200])
def test_the_table_stands_among_the_cautions_and_fits(browser, harmful_page, width):
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.goto(harmful_page.as_uri())
    try:
        table = page.locator("#fails ~ .scroll").first
        assert table.evaluate("box => box.scrollWidth <= box.clientWidth + 1")
        assert table.locator("tbody tr").count() >= 1
        before, after = (page.evaluate(
            f"document.querySelector('#fails').compareDocumentPosition("
            f"document.querySelector('{place}'))") for place in ("#cautions", "#water"))
        assert (before, after) == (2, 4)  # preceding, following
        assert "ask who lives" in page.locator("#fails ~ p").first.text_content()
        assert page.evaluate("window.harmed") is None
    finally:
        page.close()
