"""Drains, road turn-outs, pipes and culverts in a plan: what they gather, where it goes, and what
is refused."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from types import SimpleNamespace

import geopandas
import numpy as np
import pytest
from PIL import Image
from shapely.geometry import LineString, Point

from terrain.errors import InputError
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.drawing.site_map import draw_site_map
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.field.stake_table import write_stake_table
from terrain.outputs.gis.geopackage import write_geopackage
from terrain.outputs.page.report import report_page
from terrain.plan.plan import check_site, make_plan
from terrain.plan.siting.road_turnouts import Turnout, turnout_notes
from terrain.plan.water.accounts import CLOSES_TO
from terrain.plan.water.routing import StormWater, peaks_when_full
from terrain.works.manning import full_diameter, full_flow
from terrain.works.road_drainage import RoadOutlet

DRAIN = """\
  - kind: drain
    name: west drain
    from: [500020, 6399930]
    to: pond
    lining: grass
"""


def with_works(site, more, *pairs):
    text = site.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    site.write_text(text + more)
    return site


@pytest.fixture(scope="module")
def drained(tmp_path_factory, small_site_folder, write_layer):
    """The small site with a drain, the tank's pipe and a culvert under the track."""
    site = small_site_folder(tmp_path_factory.mktemp("led"))
    write_layer(site.parent / "culverts.geojson", [
        {"name": "track pipe", "diameter": "300 mm",
         "geometry": LineString([(500060.5, 6399962.5), (500060.5, 6399952.5)])}])
    pipe = "[[500100, 6399900], [500061, 6399872]]"
    return make_plan(with_works(site, DRAIN, (
        "name: barn tank", f"name: barn tank\n    pipe: {pipe}\n    pipe diameter: 50 mm"),
        ("rain:\n", "culverts:\n  file: culverts.geojson\nrain:\n")))


@pytest.fixture(scope="module")
def undrained(small_plan):
    return small_plan


def named(plan, name):
    index = next(i for i, s in enumerate(plan.stores) if s.store.name == name)
    return plan.stores[index], plan.cascade.nodes[index]


def test_a_drain_keeps_nothing_and_hands_all_on(drained):
    for account in [account for _, account in drained.accounts]:
        assert account.unexplained <= CLOSES_TO
        entry = next(e for e in account.entries if e.name == "west drain")
        assert entry.inflow > 0
        assert entry.spilled == pytest.approx(entry.inflow, rel=1e-9)
        assert entry.caught == pytest.approx(0, abs=1e-9 * entry.inflow)
        entries = {e.name: e for e in account.entries}
        into = [entries[s.store.name].spilled for s in drained.stores if s.spills_to == "pond"]
        assert "west drain" in [s.store.name for s in drained.stores if s.spills_to == "pond"]
        assert entries["pond"].from_above == pytest.approx(sum(into), rel=1e-9)


def test_it_gathers_the_ground_that_meets_it_before_any_store(drained):
    """Every cell's water is followed down by hand to the first work that it meets."""
    plan = drained
    planned, node = named(plan, "west drain")
    owner = np.full(plan.inputs.dem.shape, -1)
    for i, store in enumerate(plan.stores):
        owner[store.placed.cells[:, 0], store.placed.cells[:, 1]] = i
    index = plan.stores.index(planned)
    steps = {0: (0, 1), 1: (1, 1), 2: (1, 0), 3: (1, -1), 4: (0, -1), 5: (-1, -1), 6: (-1, 0),
             7: (-1, 1)}
    rng = np.random.default_rng(3)
    for row, column in rng.integers(1, [159, 119], (300, 2)):
        at = (int(row), int(column))
        here = at
        while owner[here] < 0 and plan.terrain.direction[here] in steps:
            down, across = steps[int(plan.terrain.direction[here])]
            here = (here[0] + down, here[1] + across)
        assert (plan.cascade.labels[at] == index + 1) == (owner[here] == index)
    assert node.catchment.area > 100


def test_a_drain_makes_and_loses_no_water(small_site, undrained):
    """What soaks in where it falls is the same with the drain and without, and so is the sum of
    what is kept and what leaves."""
    plan = make_plan(with_works(small_site, DRAIN))
    for storm in ("shower", "big day"):
        new, old = plan.storms[storm], undrained.storms[storm]
        assert new.rain == pytest.approx(old.rain, rel=1e-9)
        assert new.soaked_in_place == pytest.approx(old.soaked_in_place, rel=1e-9)
        assert new.run_on == pytest.approx(old.run_on, rel=1e-9)
        assert new.passive + new.left_site == pytest.approx(old.passive + old.left_site, rel=1e-9)


def test_its_section_is_sized_for_the_peak_that_comes(drained):
    planned, _ = named(drained, "west drain")
    index = next(i for i, s in enumerate(drained.stores) if s is planned)
    design = drained.site.rain.design
    peaks = peaks_when_full(drained.cascade, StormWater(
        drained.cascade, design.depth, drained.inputs.hydrology.shapes[design.name]))
    assert planned.drain.section.peak == pytest.approx(peaks[index], rel=2e-3)
    assert planned.full_at is None
    assert planned.drain_hours == 0
    assert planned.quantities.cut == pytest.approx(planned.drain.cut)
    assert any("was left open" in note and "west drain" in note for note in drained.notes)


def test_its_line_falls_from_where_it_begins_into_the_pond(drained):
    planned, node = named(drained, "west drain")
    route = planned.drain.route
    assert tuple(route.line[0]) == (500020, 6399930)
    pond, _ = named(drained, "pond")
    assert pond.placed.outline.distance(planned.placed.outline) < 1.0
    assert route.end_level >= pond.store.sill.level - 0.1
    assert node.spills_to == drained.stores.index(pond)
    # The plane's ground lies at the lip all along, to the rounding of bilinear corners.
    assert np.percentile(abs(route.above), 90) < 0.12


@pytest.mark.parametrize(("drain", "field", "says"), [
    ("from: [500060, 6399880], to: east swale", "to", "takes water at"),
    ("from: [500060, 6399880], to: [500060, 6399940]", "to", "that point stands at"),
    ("from: [500020, 6399930], to: pond, grade: 0", "grade", "does not fall"),
    ("from: [500020, 6399930], to: pond, grade: -0.4 %", "grade", "does not fall"),
    ("from: [500020, 6399930], to: pond, grade: 20 %", "grade", "steeper than the 10%"),
    ("from: [500020, 6399930], to: pond, grade: 4", "grade", "a grade of 400% is no drain's"),
    ("from: [500020, 6399930], to: pond, grade: flat", "grade", "not a grade such as 0.4 %"),
    ("from: [500020, 6399930], to: pond, grade: 0.3 %", "to", "does not come to \"pond\""),
    ("from: [500020, 6399930], to: lake", "to", "there is no work \"lake\""),
    ("from: [500020, 6399930], to: barn tank", "to", "is a tank"),
    ("from: [500020, 6399930], to: west drain", "to", "drains run in a circle"),
    ("from: [500020, 6399930], to: [1]", "to", "neither a work's name nor a point"),
    ("from: [500000, 6399930], to: pond", "from", "outside the boundary"),
    ("from: [500020, 6399930], to: [500112, 6399880]", "to", "outside the boundary"),
    ("from: [600020, 6399930], to: pond", "from", "east of"),
    ("from: [500060.5, 6399883.6], to: pond", "from", "begins in \"pond\" already"),
    ("from: [500020, 6399930], to: pond, spills to: pond", None, "takes no spill"),
])
def test_drains_that_cannot_be(small_site, drain, field, says):
    """One sentence each, that names the work and the field."""
    with_works(small_site, f"  - {{kind: drain, name: west drain, {drain}}}\n")
    with pytest.raises(InputError, match=says) as caught:
        check_site(small_site)
    assert "west drain" in str(caught.value)
    if field is not None:
        assert f", {field}" in caught.value.where


def test_spills_in_a_circle_through_a_drain(small_site, drained):
    """The pond's pipe ends on the drain's last metre, which leads back to the pond."""
    line = LineString(named(drained, "west drain")[0].drain.route.line)
    end = line.interpolate(line.length - 1.0)
    with_works(small_site, DRAIN, ("    name: pond\n", "    name: pond\n    pipe: "
                                   f"[[500060, 6399870], [{end.x:.2f}, {end.y:.2f}]]\n"))
    with pytest.raises(InputError, match=r"spills run in a circle: .*west drain"):
        check_site(small_site)


def test_two_drains_in_a_circle(small_site):
    with_works(small_site, "  - {kind: drain, name: one, from: [500020, 6399930], to: two}\n"
               "  - {kind: drain, name: two, from: [500030, 6399920], to: one}\n")
    with pytest.raises(InputError, match="drains run in a circle: \"one\" to \"two\" to \"one\""):
        check_site(small_site)


def test_a_drain_to_a_point_and_one_into_another(small_site):
    """The second joins the first, and all of it goes the way of the ground from the point on."""
    with_works(small_site, "  - {kind: drain, name: second, from: [500017, 6399935], to: first}\n"
               "  - {kind: drain, name: first, from: [500020, 6399930], to: [500045, 6399928]}\n")
    plan = make_plan(small_site)
    first, node = named(plan, "first")
    second, _ = named(plan, "second")
    assert second.spills_to == "first"
    assert np.hypot(*(first.drain.route.line[-1] - (500045, 6399928))) <= 2
    assert any("lets its water go at a point" in text for text in first.cautions)
    assert first.spills_to == "pond"
    entries = {e.name: e for e in plan.storms["big day"].entries}
    assert entries["first"].from_above == pytest.approx(entries["second"].spilled, rel=1e-9)
    assert node.piped is False


def test_a_spill_led_into_a_drain_joins_it_where_it_lies_low_enough(small_site):
    with_works(small_site, DRAIN, ("name: trees\n", "name: trees\n    spills to: west drain\n"))
    plan = make_plan(small_site)
    drain, _ = named(plan, "west drain")
    trees, node = named(plan, "trees 2")
    assert trees.spills_to == "west drain"
    joins = float(drain.placed.outline.project(Point(node.spill_path[-1])))
    assert drain.drain.route.lip(joins) <= trees.store.sill.level + 0.1


def test_roads_let_their_water_go_at_the_published_spacing(drained):
    """The track falls by less than 3 % and is erodible: 75 m at most between two (Low-Volume Roads
    Field Guide, 2003, Table 7.1)."""
    found = drained.turnouts
    assert [t.road for t in found] == ["track"] * len(found)
    assert all(t.outlet.end - t.outlet.start <= 2 * 75 + 1 for t in found)
    assert found[0].outlet.start == 0
    assert found[-1].outlet.end == pytest.approx(LineString(
        [(500012, 6399960), (500108, 6399955)]).length)
    runoff = np.nan_to_num(drained.inputs.runoff(60.0))
    road = drained.inputs.ground.roads[0].cells & ~drained.terrain.in_culverts
    assert sum(t.own for t in found) == pytest.approx(runoff[road].sum(), rel=1e-9)
    above = drained.terrain.catchment(road)
    assert sum(t.volume for t in found) == pytest.approx(runoff[above].sum(), rel=1e-9)
    assert any("assumed, as the site file does not say" in note for note in drained.notes)


def test_turnouts_lead_to_the_nearest_store_that_lies_lower(drained):
    for turnout in drained.turnouts:
        if turnout.leads_to:
            planned, _ = named(drained, turnout.leads_to)
            assert turnout.fall >= 0.002 * turnout.away
            assert turnout.away <= 100
            if planned.drain is None:
                assert turnout.fall == pytest.approx(turnout.level - planned.store.sill.level,
                                                     abs=1e-6)


def test_a_pipe_is_held_against_the_peak_of_its_roofs(drained):
    check = next(c for c in drained.pipes if c.kind == "pipe")
    run = drained.runs["big day"]
    assert check.must_carry == next(s for s in run.stores if s.name == "barn tank").peak_in
    dem = drained.inputs.dem
    fall = float(dem.height_at(500100, 6399900) - dem.height_at(500061, 6399872))
    assert check.slope == pytest.approx(fall / np.hypot(39, 28))
    assert check.carries == pytest.approx(full_flow(0.05, check.slope, 0.011))
    assert check.needed == pytest.approx(full_diameter(check.must_carry, check.slope, 0.011))
    tank, _ = named(drained, "barn tank")
    assert check.enough == (check.carries >= check.must_carry)
    assert any("Its pipe, 50 mm" in text for text in tank.cautions) == (not check.enough)


def test_a_culvert_is_held_against_the_peak_of_the_ground_above_it(drained):
    check = next(c for c in drained.pipes if c.kind == "culvert")
    assert (check.name, check.diameter) == ("track pipe", 0.3)
    assert check.slope == pytest.approx(0.04, rel=1e-3)  # the valley's own fall
    assert check.must_carry > 0
    assert check.enough == (full_flow(0.3, check.slope, 0.024) >= check.must_carry)


def test_a_pipe_of_no_stated_diameter_is_assumed_and_told(small_site):
    with_works(small_site, "", ("name: barn tank", "name: barn tank\n"
                                "    pipe: [[500100, 6399900], [500061, 6399872]]"))
    plan = make_plan(small_site)
    assert plan.pipes[0].assumed
    assert plan.pipes[0].diameter == 0.1
    assert any("100 mm (3.9 in) was assumed" in note for note in plan.notes)


@pytest.mark.parametrize(("given", "says"), [("-3", "no pipe has a diameter"),
                                             ("450", "no pipe has a diameter of 450"),
                                             ("wide", "does not start with a number")])
def test_culvert_diameters_that_cannot_be(small_site, write_layer, given, says):
    write_layer(small_site.parent / "culverts.geojson", [
        {"name": "a", "diameter": given,
         "geometry": LineString([(500060.5, 6399962.5), (500060.5, 6399952.5)])}])
    with_works(small_site, "", ("rain:\n", "culverts:\n  file: culverts.geojson\nrain:\n"))
    with pytest.raises(InputError, match=says):
        check_site(small_site)


def test_outputs_tell_of_all_of_it(drained, tmp_path):
    found = json.loads(json.dumps(plan_object(drained)))
    drain = next(s for s in found["stores"] if s["kind"] == "drain")
    assert drain["storage_m3"] == 0
    assert drain["sill_level_m"] is None
    assert drain["line"]["coordinates"][0] == pytest.approx([500020, 6399930])
    assert {"grade", "velocity_m_s", "permissible_velocity_m_s", "cut_m3"} <= set(drain)
    assert len(found["road_turnouts"]) == len(drained.turnouts)
    assert [p["kind"] for p in found["pipes"]] == ["pipe", "culvert"]
    write_geopackage(drained, tmp_path / "plan.gpkg")
    for layer, count in (("drains", 1), ("pipes", 1), ("culverts", 1),
                         ("road_turnouts", len(drained.turnouts))):
        assert len(geopandas.read_file(tmp_path / "plan.gpkg", layer=layer)) == count
    sills = geopandas.read_file(tmp_path / "plan.gpkg", layer="sills")
    assert "west drain" not in set(sills["name"])
    write_stake_table(setting_out(drained), tmp_path / "stakes.csv")
    with open(tmp_path / "stakes.csv", encoding="utf-8") as stream:
        stakes = [row for row in csv.DictReader(stream) if row["work"] == "west drain"]
    planned, _ = named(drained, "west drain")
    lips = [row for row in stakes if row["design_of"] == "lip"]
    grade = planned.drain.route.grade
    levels, along = (np.array([float(row[name]) for row in lips])
                     for name in ("design_m", "station_m"))
    # Levels are written to 1 mm and stations to 1 cm, so that two of a kind are off by as much at
    # most; by that a fall between two stakes may seem more or less.
    assert (np.abs(-np.diff(levels) - grade * np.diff(along)) <= 1e-3 + grade * 1e-2 + 1e-9).all()
    long = along[-1] - along[0]
    assert (levels[0] - levels[-1]) / long == pytest.approx(
        grade, abs=(1e-3 + grade * 1e-2) / long, rel=0)
    beds = [float(row["design_m"]) for row in stakes if row["design_of"] == "bed"]
    assert max(beds) < float(lips[0]["design_m"])


def test_map_and_report_show_it(drained):
    figure = draw_site_map(drained)
    assert [a for a in figure.findobj() if a.get_gid() == "drain"]
    assert [a for a in figure.findobj() if a.get_gid() == "legend:drain"]
    png = io.BytesIO()
    Image.new("RGB", (4, 4)).save(png, "PNG")
    page = report_page(drained, png.getvalue(), {})
    for words in ("Road turn-outs", "Pipes and culverts", "track pipe", "leads on",
                  "where it ends in pond"):
        assert words in page, words


def test_every_key_is_documented(drained):
    page = (Path(__file__).parents[2] / "docs" / "plan-json.md").read_text()
    found = plan_object(drained)
    drain = next(s for s in found["stores"] if s["kind"] == "drain")
    for key in [*drain, *found["road_turnouts"][0], *found["pipes"][0], "road_turnouts", "pipes"]:
        assert f"`{key}" in page, key


@pytest.mark.parametrize(("grade", "told"), [(0.2, False), (0.25, True)])
def test_a_road_steeper_than_the_table_of_water_bars_is_told(grade, told):
    """Low-Volume Roads Engineering, US Forest Service and USAID, 2003, Table 7.2 ends at 20 %."""
    outlet = RoadOutlet(50.0, 0.0, 50.0, grade, 50.0, True)
    turnout = Turnout("track", outlet, 0.0, 0.0, 100.0, 35.0, 1.0, 1.0, "", 0.0, 0.0)
    inputs = SimpleNamespace(ground=SimpleNamespace(roads=()), site=SimpleNamespace(roads=None))
    said = " ".join(turnout_notes(inputs, (turnout,)))
    assert ("ends at grades of 20%, and parts of track are steeper" in said) == told
