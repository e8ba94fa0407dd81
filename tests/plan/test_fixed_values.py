"""What is fixed by hand, and what that costs: one thing left open at a time."""

from functools import partial

import pytest
from shapely import LineString

from terrain.plan.plan import make_plan
from terrain.units import in_both, shown
from terrain.works.drain import design_section
from terrain.works.rules import RULES, Rulebook

MONEY = "money: {currency: crown, machine hour: [100, 200], machine output: 5}\n"


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


def fixed(plan, field):
    found = [value for value in plan.fixed if value.field == field]
    assert len(found) == 1
    return found[0]


def metric(value):
    return value.said(partial(shown, system="metric"))


def swale(*lines):
    return ("    length: 30 m\n", "".join(f"    {line}\n" for line in lines))


def test_nothing_fixed_nothing_told(opened):
    assert opened.fixed == ()


def test_fixing_what_would_be_solved_anyway_costs_nothing(planned, opened):
    """A depth, length, berm's side slope, sill's length and level as they come out left open."""
    made = {p.store.name: p for p in opened.stores}
    ditch, pond = made["east swale"], made["pond"]
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


def test_a_swales_depth_by_hand(planned):
    """A trapezoid 0.6 m wide with sides 2:1 holds 0.6 d + 2 d^2 on each metre of its length; the
    catchment is large enough that the deepest that is dug would be taken, 0.5 m."""
    plan = planned(swale("length: 30 m", "depth: 0.25 m"), ("works:\n", MONEY + "works:\n"))
    value = fixed(plan, "depth")
    assert (value.fixed, value.left_open) == (0.25, RULES["swale deepest"].value)
    length = next(p for p in plan.stores if p.swale is not None).swale.route.length
    more = (0.6 * 0.5 + 2 * 0.5**2 - 0.6 * 0.25 - 2 * 0.25**2) * length
    assert value.after.storage - value.before.storage == pytest.approx(more)
    # Its bank stays; the cut decides the hours: a quarter for finishing, 7 of 8 hours are work,
    # and at worst a quarter of the ground is dug at two fifths of the output.
    dug = value.after.cut - value.before.cut
    assert dug > more  # the ground rises above the sill
    low, high = (b - a for a, b in zip(value.before.money, value.after.money, strict=True))
    assert low == pytest.approx(dug / 5 * 1.25 * 8 / 7 * 100)
    assert high == pytest.approx(dug / 5 * 1.25 * 8 / 7 * 200 * (0.75 + 0.25 / 0.4))
    said = metric(value)
    assert said.startswith("\"east swale\": its depth is fixed at 0.25 m; left open it would be "
                           f"0.50 m: it would hold {more:.1f} m³ more, take {dug:.1f} m³ more "
                           "digging and cost ")
    assert said.endswith(" crown more.")


def test_a_sills_length_by_the_weir_equation(planned):
    """Q = 1.7 L h^1.5 (FAO 64): fixed at 0.5 m the design peak stands (Q / 1.7 / 0.5)^(2/3) deep on
    it; left open it is as long as 0.075 m on it ask, between 4 and 40 m."""
    plan = planned(swale("length: 30 m", "sill length: 0.5 m"))
    value = fixed(plan, "sill length")
    peak = next(p for p in plan.stores if p.swale is not None).store.sill.peak
    wanted = min(max(peak / (1.7 * 0.075**1.5), 4.0), 40.0)
    assert value.left_open == pytest.approx(wanted)
    assert value.before.head == pytest.approx((peak / (1.7 * 0.5)) ** (2 / 3))
    assert value.after.head == pytest.approx((peak / (1.7 * wanted)) ** (2 / 3))
    assert value.after.storage == value.before.storage
    assert (f"left open it would be {wanted:.1f} m (sill " in metric(value))
    assert (f"the design peak would stand {value.after.head:.2f} m on its sill instead of "
            f"{value.before.head:.2f} m") in metric(value)


def test_a_crest_too_low_shows_in_the_freeboard(planned, opened):
    """Freeboard is the berm's height above the sill less the head; 0.15 m by the rule."""
    level = next(p for p in opened.stores if p.swale is not None).store.sill.level
    plan = planned(swale("length: 30 m", f"crest: {level + 0.1!r} m"))
    value = fixed(plan, "crest")
    assert value.before.freeboard == pytest.approx(0.1 - value.before.head, abs=1e-9)
    assert value.after.freeboard == pytest.approx(0.15)
    assert value.after.bank > value.before.bank
    assert "its freeboard would be 0.15 m instead of " in metric(value)


def test_without_rates_hours_are_told(planned):
    value = fixed(planned(swale("length: 30 m", "depth: 0.25 m")), "depth")
    assert value.before.money is None
    assert metric(value).endswith(" machine hours more.")


def test_what_cannot_be_left_open_says_why(planned, opened):
    """Left as long as usual, 60 m, the swale would run through a bowl that stands on its line
    20 m from its middle."""
    made = next(p for p in opened.stores if p.swale is not None)
    line = LineString(made.swale.route.line)
    far = line.interpolate(3.0)
    plan = planned(swale("length: 20 m"), ("    name: trees\n    at: [",
                                           f"    name: trees\n    at: [[{far.x}, {far.y}], "))
    value = fixed(plan, "length")
    assert value.left_open is None
    assert value.refused == "\"east swale\" runs through \"trees 1\""
    assert metric(value) == ("\"east swale\": its length is fixed at 20.0 m; it cannot be left "
                             "open: \"east swale\" runs through \"trees 1\".")


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
    pond = next(p for p in plan.stores if p.basin is not None)
    left = pond.basin.crest - pond.store.sill.level - pond.store.sill.head
    assert (value.before.freeboard, value.after.freeboard) == pytest.approx((min(0.3, left),
                                                                            min(0.15, left)))
    assert value.before.hours[1] == pytest.approx(sum(cost.hours[1] for cost in
                                                      plan.earth.bills.values()))
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


def test_trees_of_one_entry_that_differ_give_the_least_and_the_most(planned, opened):
    """Each bowl's own depth stands in a plan that leaves it open."""
    depths = [p.placed.tree.depth for p in opened.stores if p.placed.tree is not None]
    value = fixed(planned(("    crown: 3 m\n", "    crown: 3 m\n    depth: 0.2 m\n")), "depth")
    assert value.work == "trees"
    assert (value.left_open, value.left_open_most) == pytest.approx((min(depths), max(depths)))
    held = sum(p.store.capacity for p in opened.stores if p.placed.tree is not None)
    assert value.after.storage == pytest.approx(held)
    assert "0.20 m (0.66 ft)" in value.said(in_both)


def test_a_drains_section(planned):
    """Sides left open are 2:1, as drains are usually dug; a bed left open is that of
    `design_section`, which its own tests hold against Manning's equation."""
    plan = planned(("works:\n", """\
works:
  - kind: drain
    name: west drain
    from: [500020, 6399930]
    to: pond
    lining: grass
    width: 1.6 m
    side slope: 3
"""))
    width, side = fixed(plan, "width"), fixed(plan, "side slope")
    assert (width.fixed, side.fixed) == (1.6, 3.0)
    assert side.left_open == RULES["drain side slope"].value
    assert side.after.cut < side.before.cut
    drain = next(p.drain for p in plan.stores if p.drain is not None)
    asked = design_section(drain.section.peak, drain.route.grade, Rulebook(), "grass", True, None,
                           None, 3.0)
    assert width.left_open == pytest.approx(asked.width)
    assert asked.width < 1.6
    assert width.after.cut < width.before.cut
