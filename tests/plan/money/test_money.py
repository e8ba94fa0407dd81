"""Money: what all costs, what a m3 costs, and when it pays; checked by plain arithmetic."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.inputs.site_money import Money
from terrain.outputs.data.money_json import money_facts
from terrain.outputs.page.money_tables import money_section
from terrain.plan.money.bought import Bought, OneTank, stone_of
from terrain.plan.money.left_out import natural_ways
from terrain.plan.money.money import NEVER_PRICED, parts_of, payback_of, renewal_of, replaces
from terrain.plan.money.payback import laid_by, payback_years
from terrain.plan.plan import make_plan
from terrain.plan.water.accounts import Account
from terrain.plan.water.entry import Entry
from terrain.units import shown
from terrain.works.furrow_flow import lining_sod, lining_stone
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill


def money_of(system="metric", **fields):
    given = {"currency": "crown", "machine hour": [100, 200],
             **{name.replace("_", " "): value for name, value in fields.items()}}
    return Money.model_validate(given, context={"units": system})


def test_payback_and_laying_by_without_interest():
    """Plain arithmetic: 1,000 at 125 a year is 8 years; 900 over 30 years is 30 a year."""
    assert payback_years(1000.0, 125.0) == 8.0
    assert payback_years(0.0, -5.0) == 0.0
    assert payback_years(1000.0, 0.0) == payback_years(1000.0, -1.0) == math.inf
    assert laid_by(900.0, 30.0) == 30.0


def test_payback_and_laying_by_with_interest_year_by_year():
    """Plain arithmetic, year by year: a debt that grows by 5 % and is paid 100 at each year's end
    is gone after 10 years when it began at the present worth of ten times 100; a fund that grows
    by 5 % holds 1,000 after 10 years of what is laid by."""
    debt = sum(100.0 / 1.05**year for year in range(1, 11))
    assert payback_years(debt, 100.0, 0.05) == pytest.approx(10.0)
    left = debt
    for _ in range(10):
        left = left * 1.05 - 100.0
    assert left == pytest.approx(0.0, abs=1e-9)
    fund, each = 0.0, laid_by(1000.0, 10.0, 0.05)
    for _ in range(10):
        fund = fund * 1.05 + each
    assert fund == pytest.approx(1000.0)
    assert payback_years(1000.0, 50.0, 0.05) == math.inf  # the interest alone takes it all


@given(st.floats(1, 1e5), st.floats(1, 1e5), st.floats(1e-4, 0.2))
def test_interest_never_makes_a_payback_shorter(cost, yearly, interest):
    assert payback_years(cost, yearly, interest) >= payback_years(cost, yearly) * (1 - 1e-9)


def test_a_works_parts_by_hand():
    """Plain arithmetic: 20 m of pipe at 8 to 15; 10 m3 of tank at 700 to 900 beside one of its
    own price; 2 m3 of stone of 1.6 t each at 50 to 80 a tonne; 3 trees; 100 m2 of seed."""
    work = Bought("all", "tank", 20.0, (OneTank(10.0, None, "plastic"),
                                        OneTank(1.0, (300.0, 400.0), "steel")), 2.0, 0.0, 3, 100.0)
    money = money_of(pipe=[8, 15], tank=[700, 900], stone=[50, 80], tree=[40, 60], seed=[0.5, 1])
    parts, unpriced = parts_of(work, (500.0, 1000.0), money, Rulebook())
    assert unpriced == ()
    assert parts == {"machine": (500.0, 1000.0), "tank": (7300.0, 9400.0),
                     "pipe": (160.0, 300.0), "stone": pytest.approx((160.0, 256.0)),
                     "trees": (120.0, 180.0), "seed": (50.0, 100.0)}
    # Plastic 25 to 30 years, steel 15 to 30, pipe 25 to 50: rules of common practice, no source.
    assert renewal_of(work, parts, money, Rulebook()) == pytest.approx((
        7000 / 30 + 300 / 30 + 160 / 50, 9000 / 25 + 400 / 15 + 300 / 25))


def test_what_has_no_rate_is_named_and_not_counted():
    work = Bought("all", "tank", 20.0, (OneTank(10.0, None, "plastic"),), 2.0, 1.0, 3, 100.0, True)
    parts, unpriced = parts_of(work, None, money_of(), Rulebook())
    assert parts == {}
    assert unpriced == ("tank", "pipe", "stone", "trees", "seed", "gravel", "pump")
    furrow = Bought("furrow", "furrow", stone=1.0, sod=20.0, drops=0.5)
    assert parts_of(furrow, (5.0, 6.0), money_of(), Rulebook()) == (
        {"machine": (5.0, 6.0)}, ("stone", "sod", "drops"))
    # Plain arithmetic: a tonne and 0.6 at 50 to 80, 20 m2 at 3 to 4.
    parts, unpriced = parts_of(furrow, None, money_of(stone=[50, 80], sod=[3, 4]), Rulebook())
    assert parts == {"stone": pytest.approx((80.0, 128.0)), "sod": (60.0, 80.0)}
    assert unpriced == ("drops",)


def test_prices_of_other_amounts_and_in_the_sites_units():
    """A foot is 0.3048 m, a US gallon 3.785411784 L, a short ton 907.18474 kg (NIST)."""
    us = money_of("us", pipe=[3.048, 6.096], tank=1.0, stone=[90.718474, 90.718474])
    assert us.pipe.range == pytest.approx((10.0, 20.0))
    assert us.tank.range == pytest.approx((1 / 0.003785411784,) * 2)
    assert us.stone.range == pytest.approx((100.0, 100.0))
    loads = money_of(pipe={"per": "6 m", "price": [30, 60]}, stone={"per": "2 m3", "price": 80},
                     water_otherwise={"hauled": {"per": "5000 L", "price": [300, 400]}})
    assert loads.pipe.range == pytest.approx((5.0, 10.0))
    assert (loads.stone.unit, loads.stone.range) == ("volume", pytest.approx((40.0, 40.0)))
    assert loads.water_otherwise.hauled.range == pytest.approx((60.0, 80.0))


def test_a_payback_pairs_the_cheap_tank_with_the_dear_water():
    """Plain arithmetic: 50 m3 a year at 4 to 10 save 200 to 500; upkeep 1 to 3 % of 4,000 to
    6,000 takes 40 to 180; 4,000 / 460 and 6,000 / 20 years."""
    found = payback_of("tank", "well", 50.0, (4.0, 10.0), (4000.0, 6000.0), (40.0, 180.0), 0.0)
    assert found.saves == (200.0, 500.0)
    assert found.years == pytest.approx((4000 / 460, 300.0))


rates = st.tuples(st.floats(0, 500), st.floats(0, 500)).map(sorted)


@given(rates, st.floats(0, 100), st.sampled_from(["pipe", "tank", "stone", "sod", "tree", "seed"]))
def test_a_dearer_rate_never_lowers_a_cost_or_what_is_laid_by(given_, more, which):
    work = Bought("all", "tank", 20.0, (OneTank(10.0, None, "plastic"),), 2.0, 0.0, 3, 100.0,
                  sod=5.0)
    base = {"pipe": [1, 2], "tank": [3, 4], "stone": [5, 6], "sod": [2, 3],
            "tree": [7, 8], "seed": [9, 10]}
    found = []
    for dearer in (0.0, more):
        money = money_of(**{**base, which: [value + dearer for value in given_]})
        parts, _ = parts_of(work, None, money, Rulebook())
        found.append([sum(part[end] for part in parts.values()) for end in (0, 1)]
                     + list(renewal_of(work, parts, money, Rulebook())))
        assert found[-1][0] <= found[-1][1]
        assert found[-1][2] <= found[-1][3]
    assert all(after >= before - 1e-9 for before, after in zip(*found, strict=True))


@pytest.mark.parametrize(("line", "said"), [
    ("  pipe: [9, 3]", "does not go from a low to a high figure"),
    ("  tree: [9, 3]", "does not go from a low to a high figure"),
    ("  machine hour: [9, 3]", "does not go from a low to a high figure"),
    ("  tank: {per: 0 m3, price: [1, 2]}", "above 0"),
    ("  tank: {price: [1, 2]}", "has both an amount (per) and a price"),
    ("  stone: {per: 3 m2, price: [1, 2]}", "3 m2"),
    ("  upkeep: [3 %, 1 %]", "does not go from a low to a high figure"),
    ("  interest: 120 %", "not between 0 and 100 %"),
    ("  seed: cheap", "neither a figure nor a pair"),
    ("  water otherwise: {hauled: [4, 2]}", "does not go from a low to a high figure")])
def test_a_wrong_price_is_told_with_its_line(small_site_folder, tmp_path, line, said):
    site = small_site_folder(tmp_path)
    text = site.read_text()
    hour = "" if "machine hour" in line else "  machine hour: [1, 2]\n"
    site.write_text(text.replace("works:\n", f"money:\n  currency: crown\n{hour}{line}\nworks:\n"))
    number = site.read_text().splitlines().index(line) + 1
    with pytest.raises(InputError) as error:
        read_site(site)
    assert f"line {number}, money" in str(error.value)
    assert said in str(error.value)


def test_a_tanks_own_price_must_rise(small_site_folder, tmp_path):
    site = small_site_folder(tmp_path)
    text = site.read_text()
    assert "kind: tank" in text
    site.write_text(text.replace("kind: tank", "kind: tank\n    price: [900, 300]", 1))
    with pytest.raises(InputError, match=r"price: \[900, 300\] does not go from a low"):
        read_site(site)


RATES = """\
money:
  currency: crown
  machine hour: [100, 200]
  haulage: [30, 50]
  tank: [700, 1100]
  tree: [40, 90]
  upkeep: [2 %, 2 %]
  water otherwise: {hauled: [60, 90], utility: [0.01, 0.02]}
"""


@pytest.fixture(scope="module")
def plan(small_site_folder, tmp_path_factory):
    site = small_site_folder(tmp_path_factory.mktemp("money"))
    site.write_text(site.read_text().replace("works:\n", RATES + "works:\n"))
    return make_plan(site)


def test_a_sites_costs_add_up(plan):
    """The whole: the whole site's machine bill, and every other part of every work."""
    told = plan.money
    for work in told.works:
        bill = plan.earth.bills.get(work.name)
        assert work.parts.get("machine") == (None if bill is None else bill.money)
        assert work.upkeep == pytest.approx([0.02 * value for value in work.cost])
    for end in (0, 1):
        rest = sum(value[end] for work in told.works for part, value in work.parts.items()
                   if part != "machine")
        assert told.whole.cost[end] == pytest.approx(plan.earth.whole.money[end] + rest)
    tanks = [place.placed.work for place in plan.stores if place.store.kind == "tank"]
    assert tanks
    for tank in tanks:
        work = next(work for work in told.works if work.name == tank.name)
        assert work.parts["tank"] == pytest.approx((700 * tank.volume, 1100 * tank.volume))
        assert work.a_stored == pytest.approx(
            [value / tank.volume for value in work.cost])
    trees = next(work for work in told.works if "trees" in work.parts)
    count = sum(place.placed.work.name == trees.name for place in plan.stores)
    assert trees.parts["trees"] == (40.0 * count, 90.0 * count)
    assert "seed" in told.whole.unpriced
    assert all(what in told.said[0] for what in NEVER_PRICED)
    assert "trees beside" not in told.said[0]


def test_trees_beside_a_swale_are_named_as_not_priced(small_site_folder, tmp_path):
    site = small_site_folder(tmp_path)
    text = site.read_text().replace("works:\n", RATES + "works:\n")
    site.write_text(text.replace("  - kind: swale\n", "  - kind: swale\n    trees: {crown: 1 m, "
                                 "count: 3}\n", 1))
    plan = make_plan(site)
    work = next(p.placed.work for p in plan.stores if p.placed.stand is not None)
    assert plan.money.said[0].startswith("Not priced: ")
    assert f"trees beside {work.name};" in plan.money.said[0]
    assert "trees" not in next(w.parts for w in plan.money.works if w.name == work.name)


def test_the_order_ends_with_what_the_whole_plan_keeps(plan):
    """With all works standing the part runs must keep what the year's account says."""
    assert plan.money.order[-1].kept == pytest.approx(plan.year.passive + plan.year.roof)
    cost = {work.name: work.cost for work in plan.money.works}
    # A furrow leads the water of a work and keeps none: it is bought with that work.
    furrows = {name: name.partition(" of ")[2] for name in cost if name.startswith("furrow")}
    assert furrows
    assert {step.work for step in plan.money.order} == set(cost) - set(furrows)
    for step in plan.money.order:
        wanted = np.sum([cost[step.work], *(cost[name] for name, of in furrows.items()
                                            if of == step.work)], axis=0)
        assert step.cost == pytest.approx(wanted), step.work


def test_water_of_a_work_that_does_not_stand_takes_the_way_that_labels_give(plan):
    """Against the kernel that labels every cell with the first mark its water meets."""
    places, dem = [store.placed for store in plan.stores], plan.inputs.dem
    ways = natural_ways(plan.inputs, plan.cascade, places)
    tried = 0
    for index, place in enumerate(places):
        if place.kind == "tank":
            continue
        marks = np.zeros(dem.shape, np.int32)
        for other, there in enumerate(places):
            if there.work.name != place.work.name and len(there.cells):
                own = there.cells[marks[there.cells[:, 0], there.cells[:, 1]] == 0]
                marks[own[:, 0], own[:, 1]] = other + 1
        area = plan.terrain.contributing_area[place.cells[:, 0], place.cells[:, 1]]
        row, column = place.cells[int(np.argmax(area))]
        met = int(plan.terrain.labels(marks)[row, column])
        assert ways[index] == (met - 1 if met else None)
        tried += 1
    assert tried > 1


def test_what_a_tanker_brings_takes_the_place_of_no_bought_water():
    """Plain arithmetic: 30 m3 drawn of which 12 were brought, and 5 drawn of which 8 were."""
    entries = tuple(Entry(name, "tank", 0, 0, 0, 0, 0, 0, used, 0, 0, brought=brought)
                    for name, used, brought in (("a", 30.0, 12.0), ("b", 5.0, 8.0)))
    year = Account(entries, 0, 0, 0, 0, 0, 0, 0)
    assert replaces(year, [0]) == 18.0
    assert replaces(year, [0, 1]) == 18.0


def test_the_lining_of_furrows_is_counted_and_named_where_no_rate_prices_it(plan):
    """The small site's furrows scour; what lines them is counted by the furrows themselves."""
    told = {work.name: work for work in plan.money.bought if work.kind == "furrow"}
    thick = plan.inputs.rules["stone thickness"]
    led = [(store.furrow, store.furrow_runs) for store in plan.stores if store.furrow is not None]
    stone, sod = (sum(of for of in given) for given in zip(
        *((lining_stone(*one, thick), lining_sod(*one)) for one in led), strict=True))
    assert stone + sod > 0
    assert sum(work.stone for work in told.values()) == pytest.approx(stone)
    assert sum(work.sod for work in told.values()) == pytest.approx(sod)
    for work in plan.money.works:
        if work.name in told:
            assert ("stone" in work.unpriced) == (told[work.name].stone > 0)
            assert ("sod" in work.unpriced) == (told[work.name].sod > 0)
    said, = (line for line in plan.money.said if line.startswith("Furrows in which bare earth"))
    for amount, dimension, what in ((stone, "earth", "stone"), (sod, "area", "sod")):
        assert (f" of {what}" in said) == (amount > 0)
        if len(told) == 1 and amount:
            assert f"{shown(amount, dimension)} of {what}" in said


def test_no_money_gives_no_section(plan):
    bare = replace(plan, money=None)
    assert money_section(bare) == ""
    assert money_facts(bare) is None
    assert "What it costs, and what the water is worth" in money_section(plan)
    assert money_facts(plan)["currency"] == "crown"


def test_sills_that_earth_and_grass_bear_take_no_stone(plan):
    """Which sills need stone is told by their velocity; no store of this site has a fast one."""
    pond = next(store for store in plan.stores if store.basin is not None)
    still = replace(pond, store=replace(pond.store, sill=Sill(10.0, 5.0, 0.01, 0.01, 1.7)))
    fast = replace(pond, store=replace(pond.store, sill=Sill(10.0, 5.0, 1.0, 8.5, 1.7)))
    assert stone_of(still, plan.inputs.rules) == 0
    # 5 m long, 3 m along the flow, 0.3 m thick: rules of common practice, no source.
    assert stone_of(fast, plan.inputs.rules) == pytest.approx(4.5)


