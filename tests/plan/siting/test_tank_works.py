"""Roofs, tanks and uses in a plan of the small site: what is told, what is refused."""

from __future__ import annotations

import json

import numpy as np
import pytest
from shapely.geometry import box

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.charts.tank_charts import draw_size_curve
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.tank_tables import tank_section
from terrain.plan.plan import check_site, make_plan
from terrain.plan.siting.reading import read_inputs
from terrain.plan.siting.tank_works import leader_of, top_up_of, uses_of
from terrain.plan.water.gutter_checks import cloudburst, hardest_piece, no_cloudburst
from terrain.runoff.storms import nested_shape

USES = """
    first flush volume: 30 L
    leaf screen: self-cleaning
    uses:
      - name: house
        kind: household
        heads: 2
        per head: basic access
        rationing: [{below: 50 %, draw: 0.8}, {below: 0.2, draw: 50 %}]
        grey water: 40 %
        grey water to: trees
      - name: birds
        kind: wildlife
        amount: [3, 3, 3, 2, 2, 1, 1, 2, 2, 3, 3, 3]
    top up: {below: 10 %, load: 1 m3, price: 55}
  - kind: tank
    name: second tank
    at: [500102, 6399900]
    volume: 3 m3
    joined with: barn tank
    roofs: [lean-to]
"""
GUTTERS = """
  material field: made of
  gutters:
    - roofs: [barn]
      width: 75 mm
      fall: 0.5 %
      diameter: 50 mm
"""


def changed(site, *pairs):
    """A copy of a site file beside it, with some of its words exchanged."""
    text = site.read_text()
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    copy = site.with_name("changed.yaml")
    copy.write_text(text)
    return copy


@pytest.fixture(scope="module")
def bare(tmp_path_factory, small_site_folder, write_layer):
    """The small site with a second roof; its layer says what both are made of."""
    site = small_site_folder(tmp_path_factory.mktemp("tanks"))
    write_layer(site.parent / "roofs.geojson", [
        {"name": "barn", "made of": "corrugated metal",
         "geometry": box(500095, 6399890, 500105, 6399898)},
        {"name": "lean-to", "made of": "tarpaulin",
         "geometry": box(500086, 6399890, 500090, 6399895)}])
    return site


@pytest.fixture(scope="module")
def furnished(bare):
    """The same with joined tanks, uses and a tanker."""
    (bare.parent / "minutes.csv").write_text("duration,2 yr mm,10 yr mm\n5 min,6,10\n24 h,38,62\n")
    site = changed(bare, ("    demand: 50 L/day\n", USES.lstrip("\n")),
                   ("  daily:\n", "  frequency: minutes.csv\n  daily:\n"),
                   ("  file: roofs.geojson\n", "  file: roofs.geojson" + GUTTERS))
    return site.rename(site.with_name("furnished.yaml"))


@pytest.fixture(scope="module")
def plan(furnished):
    return make_plan(furnished)


def of(plan, name):
    return next(i for i, planned in enumerate(plan.stores) if planned.store.name == name)


def test_joined_tanks_are_one_store_of_both_volumes_and_both_roofs(plan):
    node = plan.cascade.nodes[of(plan, "barn tank")]
    assert node.store.capacity == pytest.approx(8.0)
    assert node.roof.names == ("barn", "lean-to")
    assert not any(planned.store.name == "second tank" for planned in plan.stores)
    assert [other.name for other in plan.stores[of(plan, "barn tank")].placed.joined] == [
        "second tank"]


def test_shares_by_material_less_what_the_screen_lets_go(plan):
    """Corrugated metal 0.70 to 0.90 (Trainers Manual), a tarpaulin 0.75; a filter keeps 0.9 (DIN
    1989-1, from memory); 30 L are turned away whatever the roof."""
    roof = plan.cascade.nodes[of(plan, "barn tank")].roof
    assert roof.area == pytest.approx(100.0, rel=1e-3)
    assert roof.collected == pytest.approx(0.9 * (80 * 0.8 + 20 * 0.75), rel=1e-3)
    assert roof.first_flush * roof.collected / 1000 == pytest.approx(0.030)


def test_the_account_has_grey_water_and_loads(plan):
    tank, trees = (plan.year.entries[of(plan, name)] for name in ("barn tank", "trees 1"))
    house = plan.seasons.stores[of(plan, "barn tank")].uses[0]
    assert trees.grey == pytest.approx(0.4 * plan.seasons.mean(house.used))
    assert plan.year.grey == pytest.approx(trees.grey)
    assert tank.brought == plan.year.brought >= 0
    assert plan.year.unexplained <= 1e-9


def test_cautions_of_gutters_silt_grey_water_and_wild_animals(plan):
    said = " ".join(plan.stores[of(plan, "barn tank")].cautions)
    assert 'the roof "barn" sheds' in said
    assert "its gutter, 75 mm (3.0 in) wide at a fall of 0.5%" in said
    assert "lay a ramp" in said
    assert 'water off "lean-to" (tarpaulin) is not for drinking' in said
    assert "turned away" not in said  # 30 L off these roofs are 0.42 mm, and 0.41 are asked for
    grey = " ".join(plan.stores[of(plan, "trees 1")].cautions)
    assert 'Grey water from "barn tank" comes to it' in grey


@pytest.mark.parametrize(("storm", "minutes", "intensity"), [
    ("depth: 8 mm\n      duration: 5 min\n      pattern: even", 5, 96.0),
    ("depth: 14 mm\n      duration: 10 min\n      pattern: even", 10, 84.0)])
def test_without_a_frequency_table_a_burst_of_a_few_minutes_is_taken(bare, storm, minutes,
                                                                     intensity):
    """8 mm in 5 minutes are 96 mm/h."""
    site = changed(bare, ("    - name: shower\n      depth: 20 mm\n      duration: 2 h\n",
                          f"    - name: burst\n      {storm}\n      return period: 10\n"))
    burst = cloudburst(read_inputs(site))
    assert f"the hardest {minutes} minutes of the storm \"burst\"" in burst.source
    assert burst.intensity == pytest.approx(intensity)


@pytest.mark.parametrize(("storm", "said"), [
    ("", "\"big day\" (15 minutes)"),
    ("      pattern: even\n", "\"big day\" (24 hours)"),
    ("      pattern: even\n      duration: 1 h\n", "\"big day\" (60 minutes)"),
    ("      pattern: IA\n", "\"big day\" (60 minutes)")])
def test_a_storm_that_knows_no_minutes_sizes_no_gutter(bare, storm, said):
    """60 mm evenly in a day are 2.5 mm/h, which any gutter carries; the same place has ten times
    that and more for 5 minutes.  The NRCS types as printed in Chow, Maidment & Mays (1988), Table
    14.4.3, rise for a quarter of an hour (II) or a whole one (IA) on end at their hardest."""
    inputs = read_inputs(changed(bare, ("      return period: 10\n",
                                        storm + "      return period: 10\n")))
    assert cloudburst(inputs) is None
    assert said in no_cloudburst(inputs)
    assert "down to 5 minutes or 10 minutes" in no_cloudburst(inputs)


def test_a_table_that_begins_too_long_says_which_row_to_add(bare):
    (bare.parent / "depths.csv").write_text(
        "duration,2 yr mm,10 yr mm,100 yr mm\n30 min,14,21,30\n1 h,20,33,52\n24 h,38,62,98\n")
    inputs = read_inputs(changed(bare, ("  daily:\n", "  frequency: depths.csv\n  daily:\n")))
    assert cloudburst(inputs) is None
    said = no_cloudburst(inputs)
    assert "the table of depths depths.csv begins at 30 minutes" in said
    assert "Add a row of 5 minutes to it" in said


def test_a_nested_storm_knows_the_minutes_of_its_table(bare):
    """Blocks of 10 minutes: 10 mm in its hardest one."""
    shape = nested_shape(np.array([1 / 6, 0.5, 1.0]), np.array([10.0, 18.0, 24.0]), 1.0)
    assert hardest_piece(shape) == pytest.approx(1 / 6)
    assert shape.greatest_share(1 / 6) * 24 == pytest.approx(10.0)


@pytest.mark.parametrize("years", ["", "      return period: 5\n"])
def test_a_storm_that_comes_too_often_is_no_cloudburst(furnished, years):
    """The rule asks for once in 10 years: a storm once in 5, or without a return period, is not
    taken in its stead."""
    plan = make_plan(changed(furnished, ("      return period: 10\n", years),
                             ("  frequency: minutes.csv\n", "")))
    assert (plan.roofs.burst, plan.roofs.gutters) == (None, ())
    assert any("Gutters are not checked, as the cloudburst" in note for note in plan.notes)
    section = str(tank_section(plan, lambda figure: "data:"))
    assert "The cloudburst is not known." in section
    assert "too small" not in section
    assert json.loads(json.dumps(plan_object(plan)))["gutters"] == []


@pytest.mark.parametrize(("first", "years", "said", "intensity"), [
    ("5 min,6,10,15", "", "5 minutes once in 10 years", 120.0),
    ("10 min,9,14,20", "", "10 minutes once in 10 years", 84.0),
    ("5 min,6,10,15", "\n  gutter return period: 100", "once in 100 years, depths.csv (gutter "
     "return period, as stated)", 180.0)])
def test_the_cloudburst_of_the_frequency_table(bare, first, years, said, intensity):
    (bare.parent / "depths.csv").write_text(
        f"duration,2 yr mm,10 yr mm,100 yr mm\n{first}\n1 h,20,33,52\n24 h,38,62,98\n")
    site = changed(bare, ("  daily:\n", "  frequency: depths.csv\n  daily:\n"),
                   ("  file: roofs.geojson", "  file: roofs.geojson" + years))
    burst = cloudburst(read_inputs(site))
    assert said in burst.source
    assert burst.intensity == pytest.approx(intensity)


def test_all_is_told_to_people_and_programs(plan):
    section = str(tank_section(plan, lambda figure: "data:"))
    for word in ("Roofs and tanks", "barn tank + second tank", "house (household)",
                 "birds (wildlife)", "rules of thumb", "gutter and downspouts too small"):
        assert word in section, word
    facts = json.loads(json.dumps(plan_object(plan)))
    tank = next(s for s in facts["stores"] if s["name"] == "barn tank")["tank"]
    assert tank["joined"][0]["volume_m3"] == 3.0
    assert tank["uses"][0]["grey_to"] == "trees 1"
    assert tank["uses"][1]["amounts_m3_day"][:4] == [0.003, 0.003, 0.003, 0.002]
    assert len(tank["size_curve"]) == 33
    assert tank["own_size"]["volume_m3"] == pytest.approx(tank["joined"][0]["volume_m3"] + 5.0)
    assert sum(point["knee"] for point in tank["size_curve"]) <= 1
    assert [g["gutter_enough"] for g in facts["gutters"]] == [False, None]


def test_the_size_curve_is_lettered_clear_of_itself(plan):
    life = plan.roofs.tanks[0]
    store = plan.stores[life.index].store
    for system in ("metric", "us"):
        figure = draw_size_curve(life, store, system)
        figure.canvas.draw()
        boxes = [text.get_window_extent() for text in figure.findobj(type(figure.texts[0]))
                 if text.get_text().strip()]
        edge = figure.bbox
        assert all(b.x0 >= edge.x0 and b.x1 <= edge.x1 and b.y1 <= edge.y1 for b in boxes)
        pairs = [(a, b) for i, a in enumerate(boxes) for b in boxes[i + 1:]
                 if min(a.x1, b.x1) - max(a.x0, b.x0) > 1 and min(a.y1, b.y1) - max(a.y0, b.y0) > 1]
        assert pairs == []


# ---- what the fields refuse ----

@pytest.mark.parametrize(("old", "new", "said"), [
    ("volume: 5 m3", "volume: 0 m3", "0 m3 is not above 0"),
    ("amount: [3, 3, 3, 2, 2, 1, 1, 2, 2, 3, 3, 3]", "amount: [3, 3]", "it has 2 amounts"),
    ("amount: [3, 3, 3, 2, 2, 1, 1, 2, 2, 3, 3, 3]", "amount: 0", "no amount is above 0"),
    ("amount: [3, 3, 3, 2, 2, 1, 1, 2, 2, 3, 3, 3]", "heads: 4", "heads and per head go together"),
    ("        heads: 2\n", "        heads: 2\n        amount: 3 L/day\n",
     "either an amount a day, or heads"),
    ("name: birds", "name: house", 'two uses are called "house"'),
    ("kind: wildlife", "kind: fishes", "'fishes' is not one of"),
    ("        grey water to: trees\n", "", "needs a work that it goes to"),
    ("draw: 0.8", "draw: 30 %", "draws more from an emptier tank"),
    ("{below: 0.2, draw", "{below: 50 %, draw", "two steps of the rationing begin"),
    ("draw: 0.8", "draw: 140 %", "is not between 0 and 100 %"),
    ("draw: 0.8", "draw: much", "'much' is not a share such as 30 % or 0.3"),
    ("    first flush volume: 30 L\n", "    first flush volume: 30 L\n    first flush: 1 mm\n",
     "as a depth of rain and as a volume too"),
    ("    uses:\n", "    demand: 20 L/day\n    uses:\n", "demand and uses are both given"),
    ("below: 10 %, load", "below: 100 %, load", "before the tank is below full"),
    ("    joined with: barn tank\n", "    joined with: barn tank\n    demand: 3 L/day\n",
     'it is joined with "barn tank", and demand belongs to that one'),
    ("width: 75 mm", "width: 75 m", "a gutter or downspout of more than 1 m is none"),
    ("fall: 0.5 %", "fall: 30 %", "gutter's fall of 30.0% is not between"),
    ("width: 75 mm", "width: 75 mm\n      depth: 40 mm", "half as deep as wide")])
def test_fields_that_make_no_sense_are_refused(furnished, old, new, said):
    with pytest.raises(InputError, match=said.replace("(", r"\(").replace("[", r"\[")) as error:
        read_site(changed(furnished, (old, new)))
    assert "line" in error.value.where
    assert not str(error.value).count("\n")


@pytest.mark.parametrize(("old", "new", "said"), [
    ("per head: basic access", "per head: basic comfort", "nothing is published here for"),
    ("per head: basic access", "per head: goat", "'goat' is not a use of household"),
    ("load: 1 m3", "load: 7.5 m3", "does not fit into"),
    ("joined with: barn tank", "joined with: second tank", "is joined with itself"),
    ("joined with: barn tank", "joined with: pond", '"pond" is no tank'),
    ("joined with: barn tank", "joined with: cistern", '"cistern" is not there')])
def test_tanks_that_do_not_fit_together_are_refused(furnished, old, new, said):
    site = read_site(changed(furnished, (old, new)))
    tanks = [work for work in site.works if work.kind == "tank"]
    with pytest.raises(InputError) as error:
        [(leader_of(site, tank.name), uses_of(site, tank), top_up_of(site, tank))
         for tank in tanks]
    assert said in str(error.value)
    assert "line" in error.value.where


# ---- what only the whole site refuses ----

@pytest.mark.parametrize(("old", "new", "said"), [
    ("grey water to: trees", "grey water to: barn tank", "is a tank, and grey water goes to the "
     "ground only"),
    ("grey water to: trees", "grey water to: lawn", 'there is no work "lawn"'),
    ("material field: made of", "material field: stuff", "there is no column 'stuff'"),
    ("roofs: [barn]\n      width", "roofs: [byre]\n      width", 'there is no roof "byre"'),
    ("material field: made of", "material: straw", "the material 'straw' is not known")])
def test_what_does_not_fit_together_is_refused(furnished, old, new, said):
    with pytest.raises(InputError) as error:
        check_site(changed(furnished, (old, new)))
    assert said in str(error.value)


def test_water_drawn_from_a_tank_that_nothing_fills_is_refused(bare):
    site = changed(bare, ("    roofs: [barn]\n", ""))
    with pytest.raises(InputError, match='drawn from "barn tank" and nothing fills it'):
        check_site(site)
    check_site(changed(site, ("    demand: 50 L/day\n",
                              "    demand: 50 L/day\n    top up: {below: 1 m3, load: 1 m3}\n")))


def test_grey_water_that_comes_round_again_is_refused(bare):
    """The pond spills to the tank, and the tank's grey water goes to the pond."""
    site = changed(
        bare, ("    demand: 50 L/day\n", """
    uses:
      - {name: house, kind: household, amount: 50 L/day, grey water: 1, grey water to: pond}
"""), ("    crest: 195.9 m\n", "    crest: 195.9 m\n    spills to: barn tank\n    pump: true\n"))
    with pytest.raises(InputError, match="spills and grey water run in a circle"):
        check_site(site)


def test_tanks_in_a_ring_of_joins_are_refused(bare):
    tank = """
  - {{kind: tank, name: {0}, at: [500104, 6399902], volume: 1 m3, joined with: {1}}}"""
    more = (tank.format("a", "b") + tank.format("b", "a")).lstrip("\n")
    site = changed(bare, ("    demand: 50 L/day\n", f"    demand: 50 L/day\n{more}\n"))
    with pytest.raises(InputError, match="tanks are joined in a ring"):
        check_site(site)


def test_nothing_new_leaves_a_tank_as_it_was(bare):
    """The plain demand: one use, not rationed, the same every day."""
    made = make_plan(bare)
    index = of(made, "barn tank")
    part = made.seasons.stores[index]
    assert len(part.uses) == 1
    assert np.unique(part.uses[0].wanted) == pytest.approx([0.05])
    assert part.brought.sum() == part.grey.sum() == 0
    assert made.cascade.nodes[index].roof.collected == pytest.approx(0.9 * 80, rel=1e-3)
    silt = next(said for said in made.stores[index].cautions if "silt" in said)
    assert "Nothing is turned away" in silt
    assert "100% of what a storm washes off" in silt
    # 80 m2 and 0.41 mm are 33 L; on every ninth day it rains 14 mm.
    assert "0.03 m³" in silt
    assert f"{0.9 * 80 * 0.41 / 1000 * 365.25 / 9:.1f} m³" in silt
