"""What is fixed by hand, and what that costs: one thing left open at a time."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from constructed import NORTH, WEST
from shapely import LineString, box

from terrain.plan.earth.fixed_value import Figures, FixedValue
from terrain.plan.plan import make_plan
from terrain.units import in_both, shown
from terrain.works.drain import design_section
from terrain.works.rules import RULES, Rulebook

MONEY = ("works:\n", "money: {currency: crown, machine hour: [100, 200], machine output: 5}\n"
         "works:\n")
DEPTH, TREES = "    depth: 0.25 m\n", "    depth: 0.2 m\n"
DRAIN = """\
  - kind: drain
    name: west drain
    from: [500020, 6399930]
    to: pond
    lining: grass
    width: 1.6 m
    side slope: 3
"""


def quick_plan(site, *pairs):
    """Plans the small site, its text changed; without its record, which is quicker."""
    text = site.read_text()
    start, end = text.index("  daily:\n"), text.index("works:\n")
    first, last = text.index("    - name: shower"), text.index("    - name: big day")
    text = text[:first] + text[last:start] + text[end:]
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    site.write_text(text)
    return make_plan(site)


@pytest.fixture
def planned(small_site):
    return partial(quick_plan, small_site)


@pytest.fixture(scope="module")
def opened(small_site_folder, tmp_path_factory):
    """The small site with nothing fixed."""
    return quick_plan(small_site_folder(tmp_path_factory.mktemp("open")), swale())


@pytest.fixture(scope="module")
def by_hand(small_site_folder, tmp_path_factory, opened):
    """Plans a site with much fixed by hand, less some of it."""
    level = store_of(opened, "east swale").store.sill.level
    lines = (DEPTH, "    sill length: 0.5 m\n", f"    crest: {level + 0.1!r} m\n")

    def plan(*without):
        site = small_site_folder(tmp_path_factory.mktemp("fixed"))
        return quick_plan(site, ("    length: 30 m\n", "    length: 30 m\n" + "".join(lines)),
                          ("    crown: 3 m\n", "    crown: 3 m\n" + TREES),
                          ("works:\n", "works:\n" + DRAIN), MONEY,
                          *((line, "") for line in without))
    return plan


@pytest.fixture(scope="module")
def hand_made(by_hand):
    return by_hand()


def store_of(plan, name):
    return next(p for p in plan.stores if p.store.name == name)


def fixed(plan, field, work=None):
    found = [value for value in plan.fixed
             if value.field == field and work in (None, value.work)]
    assert len(found) == 1
    return found[0]


def metric(value):
    return value.said(partial(shown, system="metric"))


def swale(*lines):
    return ("    length: 30 m\n", "".join(f"    {line}\n" for line in lines))


def whole(plan):
    """Hours and money of the bills of all works, the least and the most."""
    bills = plan.earth.bills.values()
    return tuple(sum(cost.hours[end] for cost in bills) for end in (0, 1)), tuple(
        sum(cost.money[end] for cost in bills) for end in (0, 1)) if plan.site.money else None


def held_and_dug(plan, work=""):
    """Storage, cut and bank of a work, or of all."""
    parts = [p for p in plan.stores if work in ("", p.placed.work.name) and p.quantities]
    return (sum(p.store.capacity for p in parts), sum(p.quantities.cut for p in parts),
            sum(p.quantities.bank for p in parts))


def told(figures):
    return figures.storage, figures.cut, figures.bank


def test_nothing_fixed_nothing_told(opened):
    assert opened.fixed == ()


def test_fixing_what_would_be_solved_anyway_costs_nothing(planned, opened):
    """A depth, length, berm's side slope, sill's length and level as they come out left open."""
    ditch, pond = store_of(opened, "east swale"), store_of(opened, "pond")
    plan = planned(
        swale(f"length: {ditch.swale.route.length:.6f} m", f"depth: {ditch.swale.depth!r} m",
              f"sill length: {ditch.store.sill.length!r} m",
              f"berm side slope: {ditch.swale.berm_side_slope!r}"),
        ("    crest: 195.9 m\n", "    crest: 195.9 m\n"
         f"    sill: {pond.store.sill.level!r} m\n"))
    names = {value.field for value in plan.fixed}
    assert names == {"length", "depth", "sill length", "berm side slope", "sill"}
    for value in plan.fixed:
        assert value.same, value
        assert value.left_open == pytest.approx(value.fixed, abs=1e-3)
        for figure in ("storage", "cut", "bank"):
            assert getattr(value.after, figure) == pytest.approx(getattr(value.before, figure),
                                                                rel=1e-3)
        assert metric(value).endswith("so it costs nothing.")


def test_a_swales_depth_by_hand(hand_made):
    """A trapezoid 0.6 m wide with sides 2:1 holds 0.6 d + 2 d^2 on each metre of its length; the
    catchment is large enough that the deepest that is dug would be taken, 0.5 m."""
    value = fixed(hand_made, "depth", "east swale")
    assert (value.fixed, value.left_open) == (0.25, RULES["swale deepest"].value)
    length = store_of(hand_made, "east swale").swale.route.length
    more = (0.6 * 0.5 + 2 * 0.5**2 - 0.6 * 0.25 - 2 * 0.25**2) * length
    assert value.after.storage - value.before.storage == pytest.approx(more)
    dug = value.after.cut - value.before.cut
    assert dug > more  # the ground rises above the sill
    said = metric(value)
    assert said.startswith("\"east swale\": its depth is fixed at 0.25 m; left open it would be "
                           f"0.50 m: it would hold {more:.1f} m³ more and take {dug:.1f} m³ more "
                           "digging; the machine work of the whole site, carrying and spreading "
                           "included, would cost ")
    assert said.endswith(" crown more.")


def check_against_planning_again(value, plan, again):
    """All bills of a plan made without a value, and what its work holds and takes there."""
    assert told(value.before) == pytest.approx(held_and_dug(plan, value.work))
    assert told(value.after) == pytest.approx(held_and_dug(again, value.work), rel=1e-6)
    for figures, made in ((value.before, plan), (value.after, again)):
        assert figures.hours == pytest.approx(whole(made)[0], rel=1e-6)
        assert figures.money == pytest.approx(whole(made)[1], rel=1e-6)
    low, high = (b - a for a, b in zip(whole(plan)[1], whole(again)[1], strict=True))
    assert 0 < low < high
    assert f"included, would cost {low:,.0f} to {high:,.0f} crown more" in metric(value)


def test_a_swales_depth_costs_what_planning_again_without_it_would(by_hand, hand_made):
    """What the deeper swale has to spare is spread, and that is counted."""
    value, again = fixed(hand_made, "depth", "east swale"), by_hand(DEPTH)
    spread = [sum(part.loose for part in plan.earth.spreads) for plan in (hand_made, again)]
    assert spread[1] > spread[0] + 1.0
    check_against_planning_again(value, hand_made, again)


def test_a_pits_depth_costs_what_planning_again_without_it_would(walled):
    """A wall that wants less from another pit the deeper its own."""
    plan, again = walled(), walled(", depth: 0.3 m")
    assert sum(h.loose for h in plan.earth.hauls) > 1.0 + sum(h.loose for h in again.earth.hauls)
    check_against_planning_again(fixed(plan, "depth"), plan, again)


@pytest.mark.parametrize(("money", "words"), [
    ((1200.0, 2500.0), "would cost 200 to 500 crown more."),
    ((700.0, 1900.0), "would cost 100 to 300 crown less."),
    ((900.0, 2300.0), "would cost 100 crown less at the low end and 300 crown more at the high "
                      "end."),
    ((1100.0, 1750.0), "would cost 100 crown more at the low end and 250 crown less at the high "
                       "end.")])
def test_ends_that_part_are_told_each(money, words):
    """Less to carry and more to dig: by the low rate cheaper, by the high one, with hard ground,
    dearer."""
    before = Figures(10.0, 20.0, 5.0, None, None, None, (8.0, 10.0), (1000.0, 2000.0))
    after = replace(before, hours=tuple(m / 100 for m in money), money=money)
    value = FixedValue("pit", "depth", "level", 1.0, 1.0, 1.0, 1.2, 1.2, before, after,
                       currency="crown")
    assert metric(value).endswith(words)
    hours = FixedValue("pit", "depth", "level", 1.0, 1.0, 1.0, 1.2, 1.2,
                       replace(before, hours=(8.0, 10.0), money=None),
                       replace(after, hours=(7.5, 11.0), money=None))
    assert metric(hours).endswith("would take 0.5 machine hours less at the low end and 1.0 "
                                  "machine hours more at the high end.")


def test_a_sills_length_by_the_weir_equation(hand_made):
    """Q = 1.7 L h^1.5 (FAO 64): fixed at 0.5 m the design peak stands (Q / 1.7 / 0.5)^(2/3) deep on
    it; left open it is as long as 0.075 m on it ask, between 4 and 40 m."""
    value = fixed(hand_made, "sill length")
    peak = store_of(hand_made, "east swale").store.sill.peak
    wanted = min(max(peak / (1.7 * 0.075**1.5), 4.0), 40.0)
    assert value.left_open == pytest.approx(wanted)
    assert value.before.head == pytest.approx((peak / (1.7 * 0.5)) ** (2 / 3))
    assert value.after.head == pytest.approx((peak / (1.7 * wanted)) ** (2 / 3))
    assert value.after.storage == value.before.storage
    assert (f"left open it would be {wanted:.1f} m (sill " in metric(value))
    assert (f"the design peak would stand {value.after.head:.2f} m on its sill instead of "
            f"{value.before.head:.2f} m") in metric(value)


def test_a_crest_too_low_shows_in_the_freeboard(hand_made):
    """Freeboard is the berm's height above the sill less the head; 0.15 m by the rule."""
    value = fixed(hand_made, "crest")
    assert value.before.freeboard == pytest.approx(0.1 - value.before.head, abs=1e-9)
    assert value.after.freeboard == pytest.approx(0.15)
    assert value.after.bank > value.before.bank
    assert "its freeboard would be 0.15 m instead of " in metric(value)


def test_what_cannot_be_left_open_says_why(planned, opened):
    """Left as long as usual, 60 m, the swale would run through a bowl that stands on its line
    20 m from its middle.  Checks 6 m apart are told as they stand in the site file."""
    line = LineString(store_of(opened, "east swale").swale.route.line)
    far = line.interpolate(3.0)
    plan = planned(swale("length: 20 m", "checks: 6 m"), (
        "    name: trees\n    at: [", f"    name: trees\n    at: [[{far.x}, {far.y}], "))
    value = fixed(plan, "length")
    assert value.left_open is None
    assert value.refused == "\"east swale\" runs through \"trees 1\""
    assert metric(value) == ("\"east swale\": its length is fixed at 20.0 m; it cannot be left "
                             "open: \"east swale\" runs through \"trees 1\".")
    checks = fixed(plan, "checks")
    count = len(store_of(plan, "east swale").swale.checks)
    assert (checks.fixed, checks.built) == (6.0, count)
    assert metric(checks).startswith("\"east swale\": its checks are fixed at 6.0 m apart, "
                                     f"{count} of them; ")


def test_a_rule_overruled_is_told_for_the_whole_site(planned):
    """Twice the berm's freeboard, so a higher berm; stakes decide nothing that is dug; what is
    left is spread in a tenth of the time, and 7 hours of 8 are work."""
    plan = planned(swale("length: 30 m"), (
        "works:\n", "rules: {berm freeboard: 0.3 m, stake spacing: 5 m, spreading share: 5}\n"
        "works:\n"))
    value = fixed(plan, "berm freeboard")
    assert value.work == ""
    assert (value.fixed, value.left_open) == (0.3, 0.15)
    assert value.before.bank > value.after.bank
    assert value.after.storage == value.before.storage
    pond = store_of(plan, "pond")
    left = pond.basin.crest - pond.store.sill.level - pond.store.sill.head
    assert (value.before.freeboard, value.after.freeboard) == pytest.approx((min(0.3, left),
                                                                            min(0.15, left)))
    assert value.before.hours == pytest.approx(whole(plan)[0])
    assert metric(value).startswith("The rule berm freeboard is fixed at 0.30 m; left open it "
                                    "would be 0.15 m (common practice, no source): it would take ")
    stakes = fixed(plan, "stake spacing")
    assert not stakes.changes
    assert metric(stakes).endswith("left open it would be 10.00 m (common practice, no source): "
                                   "nothing that is held or dug would change.")
    spread = fixed(plan, "spreading share")
    assert spread.before.hours[0] - spread.after.hours[0] == pytest.approx(
        plan.earth.whole.spread * 0.9 * 8 / 7)
    assert spread.before.cut == spread.after.cut
    assert spread.before.money is None
    assert metric(spread).endswith(" machine hours less.")


def test_trees_of_one_entry_that_differ_give_the_least_and_the_most(opened, hand_made):
    """Each bowl's own depth stands in a plan that leaves it open."""
    depths = [p.placed.tree.depth for p in opened.stores if p.placed.tree is not None]
    value = fixed(hand_made, "depth", "trees")
    assert (value.left_open, value.left_open_most) == pytest.approx((min(depths), max(depths)))
    held = sum(p.store.capacity for p in opened.stores if p.placed.tree is not None)
    assert value.after.storage == pytest.approx(held)
    assert "0.20 m (0.66 ft)" in value.said(in_both)


def test_a_drains_section(hand_made):
    """Sides left open are 2:1, as drains are usually dug; a bed left open is that of
    `design_section`, which its own tests hold against Manning's equation."""
    width, side = fixed(hand_made, "width"), fixed(hand_made, "side slope")
    assert (width.fixed, side.fixed) == (1.6, 3.0)
    assert side.left_open == RULES["drain side slope"].value
    assert side.after.cut < side.before.cut
    drain = store_of(hand_made, "west drain").drain
    asked = design_section(drain.section.peak, drain.route.grade, Rulebook(), "grass", True, None,
                           None, 3.0)
    assert width.left_open == pytest.approx(asked.width)
    assert asked.width < 1.6
    assert width.after.cut < width.before.cut


SITE = """\
name: Slope
elevation: {file: ground.tif}
boundary: {file: boundary.geojson}
cover: {file: cover.geojson, otherwise: "pasture, poor"}
soils: {file: soils.geojson, otherwise: C}
rain:
  storms: [{name: big day, depth: 60 mm, return period: 10}]
"""
WALLED = """\
works:
  - {kind: basin, name: pond, wall: [[500015, 6399960], [500065, 6399960]], crest: 101.6 m,
     batter: 1, dug: [[500031, 6399969], [500049, 6399969], [500049, 6399977], [500031, 6399977]]\
, depth: 0.3 m}
  - {kind: basin, name: pit, depth: 2 m, batter: 1,
     dug: [[500004, 6399983], [500014, 6399983], [500014, 6399995], [500004, 6399995]]}
"""
TREES_FIXED = """\
  daily: {file: rain.csv}
evapotranspiration: [220, 180, 160, 110, 80, 60, 70, 100, 130, 170, 190, 220]
rules: {design rain exceeded: 0.05}
works:
  - {kind: tree basin, name: upper, form: trench, at: [[500020, 6399980]], crown: 4 m}
  - {kind: tree basin, name: lower, form: trench, at: [[500040, 6399980]], crown: 4 m}
  - {kind: tree basin, name: moons, form: crescent, at: [[500020, 6399960], [500030, 6399960]],
     crown: 3 m, depth: 0.05 m}
"""


@pytest.fixture(scope="module")
def planned_on(tmp_path_factory, write_raster, write_layer):
    """Plans a site of its own: given the ground as a function of east and north, and its size."""
    def plan(ground, size, text, **files):
        folder = tmp_path_factory.mktemp("site")
        x, y = np.meshgrid(np.arange(size) + 0.5, np.arange(size, 0, -1) - 0.5)
        write_raster(folder / "ground.tif", ground(x, y).astype(np.float32))
        write_layer(folder / "boundary.geojson", [
            {"name": "all", "geometry": box(WEST + 2, NORTH - size + 2, WEST + size - 2,
                                            NORTH - 2)}])
        corner = box(WEST + 2, NORTH - size + 2, WEST + 3, NORTH - size + 3)
        write_layer(folder / "cover.geojson", [{"cover": "pasture, poor", "geometry": corner}])
        write_layer(folder / "soils.geojson", [{"group": "C", "geometry": corner}])
        for name, lines in files.items():
            (folder / f"{name}.csv").write_text(lines)
        (folder / "site.yaml").write_text(SITE + text)
        return make_plan(folder / "site.yaml")
    return plan


@pytest.fixture(scope="module")
def walled(planned_on):
    """Plans a wall across a valley, the pit behind it, and a pit beside; less some words."""
    def plan(without=""):
        return planned_on(lambda x, y: 98.4 + 0.04 * y + 0.08 * np.abs(x - 40), 80,
                          WALLED.replace(*MONEY).replace(without, "", 1))
    return plan


@pytest.fixture(scope="module")
def trees(planned_on):
    """Plans trees on uneven ground whose six years of record differ, less one of its rules."""
    days = np.arange("2010-01-01", "2016-01-01", dtype="datetime64[D]")
    year = days.astype("datetime64[Y]").astype(int) - 40
    rain = np.where(np.arange(days.size) % 40 == 0, 42.0 + 6 * year, 0.0)
    record = "date,rain_mm\n" + "".join(f"{day},{depth}\n" for day, depth
                                         in zip(days, rain, strict=True))

    def plan(without=""):
        return planned_on(lambda x, y: 100 + 0.05 * y + 0.3 * np.sin(x / 9), 60,
                          TREES_FIXED.replace(without, ""), rain=record)
    return plan


@pytest.fixture(scope="module")
def tree_plan(trees):
    return trees()


def test_a_rule_that_trees_climate_follows_is_left_open_as_planning_without_it_would(
        trees, tree_plan):
    """The rain of a dry year decides how much a trench is to hold."""
    value = fixed(tree_plan, "design rain exceeded")
    again = trees("rules: {design rain exceeded: 0.05}\n")
    assert value.before.storage == pytest.approx(held_and_dug(tree_plan)[0])
    assert told(value.after) == pytest.approx(held_and_dug(again))
    assert value.after.hours == pytest.approx(whole(again)[0])
    more = value.after.storage - value.before.storage
    assert more > 1.0
    assert f"it would hold {more:.1f} m³ more" in metric(value)


def test_a_stated_value_is_quoted_and_then_what_comes_of_it(tree_plan):
    """A crescent's bund that is 0.05 m high at its tips holds less where the ground is uneven."""
    depths = [p.placed.tree.depth for p in tree_plan.stores if p.placed.tree.crescent is not None]
    value = fixed(tree_plan, "depth")
    assert value.fixed == 0.05
    assert (value.built, value.built_most) == (min(depths), max(depths))
    assert min(depths) < 0.045 < max(depths) - 0.001
    assert metric(value).startswith("\"moons\": its depth is fixed at 0.05 m, which comes to "
                                    "0.04 m to 0.05 m as built; left open ")
