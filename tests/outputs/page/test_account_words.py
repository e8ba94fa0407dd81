"""What the report says of water that is pumped to a tank, of years, and of what is held."""

import json

import numpy as np
import pytest

from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.account_tables import account_rows, account_sum, held_heads
from terrain.outputs.page.cascade_tables import season_rows, total_rows
from terrain.outputs.page.money_tables import years
from terrain.outputs.page.store_tables import fed_words
from terrain.outputs.page.tank_tables import month_rows, thumb_row
from terrain.outputs.page.tree_tables import month_tables
from terrain.plan.plan import make_plan

LIFT = """\
  - kind: tank
    name: high tank
    at: [500080, 6399975]
    volume: 3 m3
    demand: 80 L/day
    spills to: off site
"""


@pytest.fixture(scope="module")
def plan(small_site_folder, tmp_path_factory):
    """The small site over seven years that begin in July; its pond's spill is pumped to a tank
    that no roof feeds."""
    site = small_site_folder(tmp_path_factory.mktemp("led"))
    days = np.arange("2008-01-01", "2015-01-01", dtype="datetime64[D]")
    deep = np.random.default_rng(3).gamma(1.0, 16.0, days.size)
    rain = np.where(np.arange(days.size) % 7 == 0, deep, 0.0)
    (site.parent / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{depth:.1f}\n" for day, depth in zip(days, rain, strict=True)))
    text = site.read_text() + LIFT
    for old, new in (("    crest: 195.9 m\n",
                      "    crest: 195.9 m\n    spills to: high tank\n    pump: true\n"),
                     ("rain:\n  storms:", "rain:\n  start month: 7\n  storms:")):
        assert old in text
        text = text.replace(old, new)
    site.write_text(text)
    return make_plan(site)


@pytest.fixture(scope="module")
def high(plan):
    return next(i for i, p in enumerate(plan.stores) if p.store.name == "high tank")


def test_what_feeds_a_tank_without_roofs_is_said(plan, high):
    assert plan.stores[high].starts_at is None
    begins = plan.told.capture.stores[high].begins
    assert fed_words(plan, high) == f"by the pump of pond, from {begins:.1f} mm on"
    life = plan.roofs.tank(high)
    said = [thumb_row(thumb, "metric") for thumb in life.thumbs]
    assert said[0][0] == "given by other works in an average year"
    assert said[1][1][1].startswith("longest run of days on which nothing came from other works")
    assert not any("roof" in cell for _, cells in said[:2] for cell in cells)
    # Reference: the pond's own spill over the record, the second time through, is what it gives.
    spilled = plan.seasons.mean(plan.seasons.stores[1].spilled)
    assert life.thumbs[0].says == pytest.approx(spilled, rel=0.02)
    assert life.thumbs[0].says > 1


def test_ground_water_in_the_tank_is_passive_capture(plan, high):
    for account in (plan.year, *plan.storms.values(), *(year.account for year in plan.years)):
        barn, lifted = (account.entries[i] for i in (high - 1, high))
        assert account.roof == pytest.approx(barn.roof - barn.spilled, abs=1e-9)
        assert account.led == pytest.approx(lifted.from_above - lifted.spilled, abs=1e-9)
    assert plan.year.led > 1
    totals = json.loads(json.dumps(plan_object(plan)))["totals"]["average_year"]
    assert totals["led_to_tanks_m3"] == pytest.approx(plan.year.led)
    assert totals["passive_m3"] >= totals["led_to_tanks_m3"]


def test_a_years_account_tells_what_was_held_and_calls_the_change_a_change(plan):
    year = plan.years[0]
    assert held_heads(plan, year.name) == ["held when it began", "held at its end",
                                            "held more (+) or less (−) at the end"]
    assert held_heads(plan, plan.site.rain.design.name) == ["still held"]
    for row, entry in zip(account_rows(plan, year.account), year.account.entries, strict=True):
        began, ended, change = row.cells[-4:-1]
        assert float(began) == pytest.approx(entry.before, abs=0.051)
        assert float(ended) == pytest.approx(entry.before + entry.held, abs=0.051)
        assert float(change.replace("−", "-")) == pytest.approx(entry.held, abs=0.051)
        assert change[0] in "+−" or float(change) == 0
    assert "still held" not in account_sum(plan, year.account)
    assert " when it began, " in account_sum(plan, year.account)


def test_months_stand_in_the_order_of_the_years(plan, high):
    tables = month_tables(plan)
    life = next(p.life for p in plan.stores if p.life is not None)
    wants = next(row for row in tables[0].rows if row[0] == "wants")[1]
    together = [2 * float(v) for v in life.months[0].want]  # two trees alike
    assert [float(v) for v in wants[:12]] == pytest.approx([*together[6:], *together[:6]], abs=0.01)
    life = plan.roofs.tank(high)
    first = month_rows(life, "metric", [7, *range(8, 13), *range(1, 7)])[0][1]
    assert float(first[0]) == pytest.approx(31 * 0.08, abs=0.06)
    assert float(first[7]) == pytest.approx(28.25 * 0.08, abs=0.06)  # February


def test_seasons_and_totals_have_every_year(plan, high):
    kinds = ["average", "dry", "median", "wet"]
    rows = dict(season_rows(plan, plan.told))
    assert [name.split()[0] for name, _ in rows["high tank"]] == kinds
    assert rows["high tank"][0][1][4].endswith(" days in the whole record")
    assert rows["high tank"][1][1][4].endswith(" days")
    totals = [name.split()[0] for name, _ in total_rows(plan.told.totals, "metric")]
    assert totals[-4:] == ["dry", "median", "wet", "average"]
    for total in plan.told.totals[-4:-1]:
        year = next(year for year in plan.years if year.name == total.name)
        assert total.left == year.account.left_site
        assert total.left_before > total.left


def test_the_way_of_a_pumped_spill_while_its_pump_stands_still(plan):
    """Down the valley's side at 45 degrees from the pond's sill to the floor at x = 500060.5, then
    straight south to the property line at y = 6399850: a closed form but for the way's cells."""
    way = plan.told.ways[1].without_pump
    assert plan.told.ways[1].steps[-1].name == "high tank"
    assert (way.steps[-1].kind, way.steps[-1].name) == ("leaves", "south")
    assert way.steps[-1].x == pytest.approx(500060.5, abs=1.0)
    place = plan.stores[1].placed
    aside, down = abs(place.spill_x - 500060.5), place.spill_y - 6399850
    assert way.length == pytest.approx(aside * np.sqrt(2) + down - aside, abs=1.0)
    assert (way.leaves, way.then) == (True, ())
    assert all(other.without_pump is None for i, other in enumerate(plan.told.ways) if i != 1)


@pytest.mark.parametrize(("given", "lasts", "said"), [
    ((7.9, 30.0), (25.0, 30.0), "7.9 years to longer than it lasts (25 – 30 years)"),
    ((26.0, np.inf), (25.0, 30.0), "longer than it lasts (25 – 30 years)"),
    ((7.9, 24.9), (25.0, 30.0), "7.9 – 25 years"), ((7.9, 30.0), None, "7.9 – 30 years"),
    ((np.inf, np.inf), (25.0, 30.0), "never")])
def test_a_payback_longer_than_its_tank_lasts_is_called_so(given, lasts, said):
    """By hand, against the shorter life."""
    assert years(given, lasts) == said
