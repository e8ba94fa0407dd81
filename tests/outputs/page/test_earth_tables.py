"""Earth, machine time, order of work and fixed values, in the report's tables and in plan.json."""

import json
import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from terrain.outputs.data.earth_json import earth_facts, fixed_facts, order_facts
from terrain.outputs.page.earth_tables import (
    WHOLE,
    balance_rows,
    cost_rows,
    fixed_rows,
    machine_words,
    order_rows,
    share_rows,
)
from terrain.units import shown

DOCS = Path(__file__).parents[3] / "docs" / "plan-json.md"


def number(cell):
    """The figure at the head of a cell; 0 for a dash, or where all balances."""
    return 0.0 if cell in ("–", "balances") else float(
        re.match(r"[\d,.]+", cell)[0].replace(",", ""))


def test_every_row_of_earth_adds_up_as_printed(demo_plan):
    """Dug = topsoil + usable; usable less what the bank takes is spare or wanting; a loose m3
    from 0.8 in the ground (FM 5-434, Table 1-1, from memory).  Printed to 0.1."""
    rows = balance_rows(demo_plan)
    assert [name for name, _ in rows] == [
        "yard swale", "furrow of yard swale", "orchard", "furrows of orchard", "road basin",
        "upper swale", "lower swale", "gully pond"]
    for _, (soil, dig, loose, topsoil, usable, _bank, takes, back, left) in rows:
        assert soil == "loam"
        assert number(topsoil) + number(usable) == pytest.approx(number(dig), abs=0.11)
        assert number(loose) * 0.8 == pytest.approx(number(dig), abs=0.11)
        assert number(back) <= number(topsoil)
        sign = 1 if "spare" in left else -1
        assert sign * number(left) == pytest.approx(number(usable) - number(takes), abs=0.11)


def test_every_work_shares_out_what_it_has_and_gets_what_it_wants(demo_plan):
    left = {name: cells[-1] for name, cells in balance_rows(demo_plan)}
    for name, (come, wanting, gone, spread, _topsoil, _area) in share_rows(demo_plan):
        if "spare" in left[name]:
            assert number(gone) + number(spread) == pytest.approx(number(left[name]), abs=0.11)
            assert (come, wanting) == ("–", "–")
        else:
            assert number(come) + number(wanting) == pytest.approx(number(left[name]), abs=0.11)
    assert "spare" in left["gully pond"]  # its spillway digs more than its wall takes


def test_the_whole_site_is_the_sum_of_its_works_and_two_haulages(demo_plan):
    *works, (name, whole) = cost_rows(demo_plan)
    assert name == WHOLE
    for column in (1, 2):
        assert sum(number(cells[column]) for _, cells in works) == pytest.approx(
            number(whole[column]), abs=0.06 * len(works))
    bills, all_of_it = demo_plan.earth.bills.values(), demo_plan.earth.whole
    for end, (rate, haulage) in enumerate(((420, 300), (560, 500))):
        assert sum(cost.dig[end] for cost in bills) == pytest.approx(all_of_it.dig[end])
        # Whole days: at most one set-up more than by parts of days.
        least = sum(cost.hours[end] for cost in bills)
        assert least <= all_of_it.hours[end] + 1e-9 <= least + 1 + 1e-9
        assert all_of_it.money[end] == pytest.approx(all_of_it.hours[end] * rate + 2 * haulage)
    low, high = all_of_it.money
    assert whole[-1] == f"{low:,.0f} – {high:,.0f}"


def test_what_the_hours_rest_on_is_said(demo_plan):
    assert machine_words(demo_plan).startswith("The machine digs 6.0 m³ an hour, as the site file "
                                               "says; 25% more for finishing.")
    site = demo_plan.site.model_copy(update={"money": None})
    bare = replace(demo_plan, inputs=replace(demo_plan.inputs, site=site))
    assert ("in an hour 6.2 m³ in loam: bucket 0.10 m³ × fill 0.9 × 3600 / 25 s × efficiency 0.6 / "
            "loose per bank") in machine_words(bare)
    assert machine_words(bare).endswith("The site file states no rates, so no money is reckoned.")


def test_steps_are_printed_in_their_order_with_hours(demo_plan):
    rows = order_rows(demo_plan)
    names = [work for work, _, _ in rows if work]
    assert names == ["yard swale", "orchard", "road basin", "upper swale", "lower swale",
                     "gully pond", "furrow of yard swale", "furrows of orchard"]
    assert all(takes.endswith(" days of one worker by hand" if "furrow" in work else
                              " h of a machine") for work, _, takes in rows if work)
    assert [fact["step"] for fact in order_facts(demo_plan)] == list(range(1, len(rows) + 1))


def test_us_units_are_printed_where_the_site_asks_for_them(us_plan):
    cells = balance_rows(us_plan)[0][1]
    cut = us_plan.earth.works[0].cut
    assert cells[1] == f"{cut / 0.764554857984:.1f} yd³"
    assert " in;" in fixed_rows(us_plan)[0]  # a depth of less than two feet
    assert " m " not in fixed_rows(us_plan)[0]


def test_fixed_values_say_in_numbers_what_they_say_in_words(demo_plan):
    facts = fixed_facts(demo_plan)
    assert len(facts) == len(fixed_rows(demo_plan)) == len(demo_plan.fixed)
    for fact, value in zip(facts, demo_plan.fixed, strict=True):
        # Feet behind metres tell what they come to; what is dug is told in inches on a US site.
        assert fact["says"] == value.said(
            lambda v, d: f"{shown(v, d)} ({shown(v, 'level' if d == 'size' else d, 'us')})")
        more = fact["as_left_open"]["storage_m3"] - fact["as_fixed"]["storage_m3"]
        if abs(more) > 0.2:
            assert f"hold {abs(more):.1f} m³ {'more' if more > 0 else 'less'}" in value.said(
                partial(shown, system="metric"))
    depth = next(fact for fact in facts if (fact["work"], fact["field"]) == ("upper swale",
                                                                            "depth"))
    assert (depth["fixed"], depth["unit"]) == (0.35, "m")


def test_every_key_is_documented_and_no_figure_is_endless(demo_plan):
    page = DOCS.read_text()
    facts = {"earthworks": earth_facts(demo_plan), "order_of_work": order_facts(demo_plan),
             "fixed": fixed_facts(demo_plan)}
    json.dumps(facts, allow_nan=False)

    def keys(node):
        if isinstance(node, dict):
            for key, value in node.items():
                yield key
                yield from keys(value)
        elif isinstance(node, list):
            for value in node:
                yield from keys(value)
    for key in set(keys(facts)):
        assert f"`{key}" in page or f"{key}`" in page, key
