"""What leads a spill: furrows between ground stores, pipes of tanks, on ground of known shape.

The small site's side of the valley rises by 0.08 m a metre to the east and 0.04 to the north:
from the first tree 3 m east and 4.5 m south the ground stands 3 x 0.08 - 4.5 x 0.04 = 0.06 m
higher.
"""

import numpy as np
import pytest
from shapely import LineString

from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.field.stakes import stakes_of
from terrain.outputs.gis.layers import layers_of
from terrain.outputs.page.led_water import furrow_rows
from terrain.outputs.quantities.bill import bill_of
from terrain.plan.plan import make_plan
from terrain.units import in_both
from terrain.works.designed_ground import Grid

WORKS = """works:
  - kind: tank
    name: barn tank
    at: [500085, 6399950]
    volume: 5 m3
    roofs: [barn]
    spills to: east swale
  - kind: swale
    name: east swale
    through: [500085, 6399940]
    length: 30 m
    spills to: trees
  - kind: tree basin
    name: trees
    at: [[500085, 6399900], [500088, 6399895.5]]
    crown: 3 m
    depth: 0.2 m
"""


@pytest.fixture(scope="module")
def plan(small_site_folder, tmp_path_factory):
    site = small_site_folder(tmp_path_factory.mktemp("led"))
    text = site.read_text()
    site.write_text(text[:text.index("works:")] + WORKS)
    return make_plan(site)


def store_json(plan, name):
    return next(s for s in plan_object(plan)["stores"] if s["name"] == name)


def named(plan, name):
    index = next(i for i, p in enumerate(plan.stores) if p.store.name == name)
    return plan.stores[index], plan.cascade.nodes[index]


def test_each_spill_is_led_by_one_thing(plan):
    assert [node.led for node in plan.cascade.nodes] == ["pipe", "furrow", "furrow", ""]


def test_a_tank_that_spills_without_a_pipe_has_one_taken_for_granted(plan):
    """10 m north of the swale's point: that is the straight length, told, bought and laid."""
    tank, node = named(plan, "barn tank")
    assert LineString(node.led_way).length == pytest.approx(10.0, abs=0.3)
    check, = (c for c in plan.pipes if c.name == "barn tank")
    assert check.length == pytest.approx(LineString(node.led_way).length)
    assert any("No pipe is stated" in said for said in tank.cautions)
    assert any("no pipe is stated" in said for said in plan.notes)
    assert any("lay the pipe of \"barn tank\"" in step.says for step in plan.order)
    materials, = (t for s in bill_of(plan) for t in s.tables if t.key == "materials")
    assert materials.rows["barn tank"]["pipe"].value == pytest.approx(check.length)


def test_a_furrow_falls_from_the_sill_to_the_rim(plan):
    swale, node = named(plan, "east swale")
    made, to = node.furrow, named(plan, "trees 1")[0]
    assert made.falls
    assert made.bed(0.0) == pytest.approx(swale.store.sill.level - made.depth)
    assert made.sill_length == pytest.approx(swale.store.sill.length)
    assert made.bed(made.length) == pytest.approx(to.store.sill.level)
    assert np.hypot(*(made.line[-1] - (to.store.x, to.store.y))) == pytest.approx(1.5, abs=0.05)


def test_what_it_carries_is_told_where_it_is_too_little_or_too_fast(plan):
    """Figures of the caution and of `plan.json` are those of Manning by hand (Chow 1959)."""
    swale, node = named(plan, "east swale")
    made, facts = node.furrow, store_json(plan, "east swale")["furrow"]
    radius = made.width * made.depth / (made.width + 2 * made.depth)
    full = radius ** (2 / 3) * made.slope**0.5 / 0.03 * made.width * made.depth
    assert facts["capacity_m3_s"] == pytest.approx(full, rel=1e-5)
    assert facts["peak_m3_s"] == pytest.approx(swale.store.sill.peak, rel=1e-5)
    assert facts["enough"] == (full >= swale.store.sill.peak)
    said = [s for s in swale.cautions if s.startswith("The furrow to")]
    assert any("too small" in s for s in said) == (not facts["enough"])
    assert any("scours" in s for s in said) == (
        facts["velocity_m_s"] > facts["permissible_velocity_m_s"])
    assert said


def test_the_step_says_how_water_over_a_long_sill_gets_in(plan):
    step, = (s.says for s in plan.order if s.work == "furrow of east swale")
    assert "along the foot of the sill" in step
    assert "its brim no higher than the sill" in step


def test_the_step_tells_the_width_and_lining_of_the_caution(plan):
    """What the order of work has dug is what the caution says, and what that costs is not hid."""
    swale, _ = named(plan, "east swale")
    runs = swale.furrow_runs
    said, = (s for s in swale.cautions if "scours" in s)
    step, = (s.says for s in plan.order if s.work == "furrow of east swale")
    assert runs.way in ("grass", "stone")
    wide = f"{in_both(runs.dug_width, 'size')} wide"
    assert f"Line it with {runs.lining}, {wide} within that" in said
    assert wide in step
    assert runs.lining in step
    assert "the bill counts its lining but no greater width" in said
    assert "greater width is not priced" in step
    made, thick = swale.furrow, plan.inputs.rules["stone thickness"]
    bed_and_sides = (runs.dug_width + 2 * made.depth) * made.length
    needed = {"grass": in_both(bed_and_sides, "area") + " of sod",
              "stone": in_both(thick * (bed_and_sides + 2 * thick * made.length), "earth")
              + " of stone"}[runs.lining]
    assert f"Have {needed} at hand for the lining" in step
    row, = (cells for name, cells in furrow_rows(plan) if name == "east swale")
    assert row[-1] == f"{runs.dug_width:.2f} m, {runs.lining}"
    assert store_json(plan, "east swale")["furrow"]["dug_as"] == runs.lining


def test_a_mound_stands_over_the_design_peak_in_stake_and_ground(plan):
    tree, _ = named(plan, "trees 2")
    stake, = (s for s in stakes_of(plan) if s.work == "trees 2" and s.mark == "tree")
    assert stake.design >= tree.store.sill.level + tree.store.sill.head
    shape, = (s for s in plan.designed.shapes if s.work == "trees 2")
    spot = Grid(tree.store.x - 0.01, tree.store.y + 0.01, 0.02, 1, 1)
    left = shape.made(spot, spot.heights(plan.inputs.dem))
    assert left[0, 0] == pytest.approx(stake.design)


def test_one_that_cannot_fall_says_so_on_its_page_and_at_its_stakes(plan):
    """The second rim stands 0.06 m over the first sill, so that it must come down by as much and
    the rule's 0.2 % of the way."""
    first, node = named(plan, "trees 1")
    made = node.furrow
    assert not made.falls
    assert made.fall == pytest.approx(-0.06, abs=0.015)
    assert made.lower_by == pytest.approx(-made.fall + 0.002 * made.length)
    assert (np.asarray(made.bed(made.stations)) == made.sill).all()  # it never rises
    said, = (s for s in first.cautions if "The furrow to" in s)
    assert "cannot fall" in said
    assert f"{-made.fall:.2f} m" in said
    stakes = [s for s in stakes_of(plan) if s.work == "trees 1" and s.mark == "furrow"]
    assert all("lower \"trees 2\" first" in s.design_of for s in stakes)
    assert all(s.design == pytest.approx(made.sill) for s in stakes)


def test_stakes_stand_at_both_ends_and_no_further_apart_than_the_rule(plan):
    _, node = named(plan, "east swale")
    stations = [s.station for s in stakes_of(plan)
                if s.work == "east swale" and s.mark == "furrow"]
    assert (stations[0], stations[-1]) == pytest.approx((0.0, node.furrow.length))
    assert max(np.diff(stations)) <= plan.inputs.rules["stake spacing"] + 1e-9


def test_its_earth_days_step_and_rows_are_counted(plan):
    work = next(w for w in plan.earth.works if w.leads_from == "trees")
    made = named(plan, "trees 1")[1].furrow
    assert work.cut == pytest.approx(made.earth)
    assert work.spare == pytest.approx(0.0, abs=1e-9)  # it makes up its own low banks
    assert plan.earth.by_hand[work.name] is not None
    step, = (s for s in plan.order if s.work == work.name)
    assert "by hand" in step.says
    assert "\"trees 2\"" in step.says
    table, = (t for s in bill_of(plan) for t in s.tables if t.key == "furrows")
    assert table.rows["trees 1"]["earth"].value == pytest.approx(made.earth)
    assert set(table.rows) == {"east swale", "trees 1"}


def test_cut_and_bank_add_up_as_they_are_told(plan):
    """Cut is topsoil and subsoil; a berm is its subsoil and the topsoil on it; the rest is left."""
    work = next(w for w in plan.earth.works if w.name == "east swale")
    left = next(s for s in plan.earth.spreads if s.name == "east swale")
    assert work.cut == pytest.approx(work.topsoil + work.usable)
    packed = work.bank / work.compacted_per_bank
    assert packed == pytest.approx(work.wanted + work.topsoil_within)
    assert left.volume == pytest.approx(work.usable - work.wanted)
    assert left.topsoil == pytest.approx(work.topsoil - work.topsoil_within)
    step = next(s.says for s in plan.order if s.work == "east swale")
    for part in (work.wanted, work.topsoil_within, left.volume + left.topsoil):
        assert f"{part:.1f} m³" in step


def test_the_geopackage_has_a_furrows_layer(plan):
    from terrain.outputs.field.setting_out import setting_out

    layers = {layer.name: layer.rows for layer in layers_of(plan, setting_out(plan))}
    assert [row["name"] for row in layers["furrows"]] == ["east swale", "trees 1"]
    assert [row["led"] for row in layers["spills"]][:3] == ["by a pipe", "by a furrow",
                                                            "by a furrow"]
