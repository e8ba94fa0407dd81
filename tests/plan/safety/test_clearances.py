"""Distances of works from what lies about them, on even slopes and by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from planes import plane
from shapely.geometry import LineString, Point, box

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.frame import Frame
from terrain.inputs.keep_clear import Thing
from terrain.plan.earth.bodies import Body, body_of
from terrain.plan.plan import check_site, make_plan
from terrain.plan.safety.clearances import (
    clearance_cautions,
    depth_left,
    steep_caution,
    steep_ground,
)
from terrain.surface.terrain import Terrain
from terrain.works.cross_section import Section
from terrain.works.drain import describe, design_section
from terrain.works.drain import finish as finish_drain
from terrain.works.rules import RULES, Rulebook
from terrain.works.setbacks import RULE_OF, setback_of
from terrain.works.sill import Sill
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import finish
from terrain.works.wall import design_wall

FOOT = 0.3048
BODY = Body((("its cut", box(20, 30, 40, 32)), ("its berm", box(20, 27, 40, 30))),
            LineString([(20, 30), (40, 30)]))


def inputs_of(*things, roofs=(), roads=(), boundary=None, rules=None, dem=None):
    ground = SimpleNamespace(roofs=roofs, roads=roads, keep_clear=things,
                             boundary=boundary or box(-1000, -1000, 1000, 1000))
    return SimpleNamespace(rules=rules or Rulebook(), ground=ground, dem=dem or plane(0.05))


def made_of(**more):
    placed = SimpleNamespace(**{"hollow": None, "tree": None, "work": SimpleNamespace(), **more})
    return SimpleNamespace(placed=placed, swale=None, basin=None, drain=None)


def said_of(*things, **more):
    return clearance_cautions(inputs_of(*things, **more), made_of(), BODY)


# Minnesota Stormwater Manual, 2022: septic 35 ft, private well 50 ft, public well to 100 ft,
# building and property line 10 ft, rock or wet soil 3 ft, toe of a slope of 20 % 200 ft.
@pytest.mark.parametrize(("name", "feet"), [
    ("septic setback", 35), ("private well setback", 50), ("public well setback", 100),
    ("building setback", 10), ("rock or wet ground below", 3), ("steep toe setback", 200)])
def test_the_published_distances(name, feet):
    assert RULES[name].value == pytest.approx(feet * FOOT, abs=0.05)
    assert "Minnesota Stormwater Manual, 2022" in RULES[name].source


@pytest.mark.parametrize(("kind", "measure", "distance"), [
    ("septic field", None, 35 * FOOT), ("private well", None, 50 * FOOT),
    ("public well", None, 100 * FOOT), ("foundation", None, 3.0),
    ("retaining wall", 1.5, 3.0), ("fill edge", 2.0, 4.0),  # height x 2: common practice, no source
    ("stream bank", None, 10.0), ("unstable ground", None, 30.0),  # common practice, no source
    ("tree", 12.0, 6.0)])  # the drip line: half the crown's width
def test_a_caution_on_one_side_of_the_distance_and_none_on_the_other(kind, measure, distance):
    def thing(gap):
        at = LineString([(10, 32 + gap), (50, 32 + gap)])
        shape = Point(30, 32 + gap) if kind in ("tree", "private well", "public well") else at
        return Thing(kind, "it", shape, None, measure)

    assert said_of(thing(distance + 0.05)) == []
    near = said_of(thing(distance - 0.06))
    assert len(near) == 1
    assert f"It lies {distance - 0.06:.1f} m" in near[0]
    assert "measured from its cut" in near[0]
    assert f"keep {distance:.1f} m" in near[0]
    assert Rulebook().cited(RULE_OF[kind]) in near[0]
    assert near[0].endswith(".")


def test_the_nearest_part_is_told_and_a_stated_distance_counts():
    below = Thing("septic field", "old", box(25, 10, 30, 18), 12.0)
    said = said_of(below)
    assert ("It lies 9.0 m (29.5 ft) from the septic field \"old\", measured from its berm"
            in said[0])
    assert "keep 12.0 m (39.4 ft) (the distance in the site file, in place of septic setback; the "\
           "local health office decides)" in said[0]
    assert said_of(Thing("septic field", "old", box(25, 10, 30, 18), 8.0)) == []


def test_a_work_within_a_thing_and_a_crown_drawn_as_an_area():
    said = said_of(Thing("unstable ground", "slide", box(0, 0, 100, 29)))
    assert said[0].startswith("Its berm reaches into the unstable ground \"slide\"; keep 30.0 m")
    crown = Point(30, 40).buffer(8.1, quad_segs=64)
    said = said_of(Thing("tree", "oak", crown))
    assert said[0].startswith("Its cut reaches into the tree \"oak\"; keep off its crown's outline")
    assert said_of(Thing("tree", "oak", Point(30, 40).buffer(7.9))) == []


def test_a_line_in_the_ground_is_told_where_it_crosses():
    gas = Thing("buried gas line", "main", LineString([(27, 0), (27, 60)]))
    said = said_of(gas)
    assert len(said) == 1
    assert "crosses the buried gas line \"main\" at 27.0, 30.0, station 7.0 m" in said[0]
    assert "dig by hand within 0.60 m (1.97 ft)" in said[0]  # 24 in
    assert "marks no private lines" in said[0]
    beside = Thing("buried line", "it", LineString([(0, 32.4), (60, 32.4)]))
    assert said_of(beside)[0].startswith("It lies 0.40 m")
    assert said_of(Thing("buried line", "it", LineString([(0, 32.7), (60, 32.7)]))) == []


def test_buildings_and_the_property_line_are_measured_from_the_earth():
    roof = SimpleNamespace(name="shed", outline=box(20, 34, 30, 40))
    said = said_of(roofs=(roof,))
    assert "It lies 2.0 m (6.6 ft) from the roof \"shed\", measured from its cut" in said[0]
    assert said_of(roofs=(SimpleNamespace(name="far", outline=box(20, 35.1, 30, 40)),)) == []
    said = said_of(boundary=box(0, 25, 100, 100))
    assert "It lies 2.0 m (6.6 ft) from the property line, measured from its berm" in said[0]
    said = said_of(boundary=box(0, 28, 100, 100))
    assert said[0].startswith("Its berm reaches beyond the property line")


def test_soil_left_between_a_floor_and_wet_ground():
    """On a plane of 5 % down to the south, 100 m high at (30, 30): a floor at 99 m, wet ground 2 m
    below the surface.  Over the cut (y to 32) the ground rises to 100.1 m, so the wet ground to
    98.1: 0.9 m are left there, 3 ft (0.91 m) are asked for."""
    made = made_of(curve=SimpleNamespace(levels=np.array([99.0, 99.5])))
    dem = plane(0.05)
    left, (_, y) = depth_left(made, dem, BODY.whole, 2.0)
    assert left == pytest.approx(0.9, abs=1e-3)
    assert y == pytest.approx(32)
    wet = Thing("wet ground", "seep", box(0, 0, 60, 60), None, 2.0)
    said = clearance_cautions(inputs_of(wet), made, BODY)
    assert "its floor stands 0.90 m" in said[0]
    assert "keep 0.91 m (2.99 ft) of soil" in said[0]
    deeper = Thing("wet ground", "seep", box(0, 0, 60, 60), None, 2.02)
    assert clearance_cautions(inputs_of(deeper), made, BODY) == []
    higher = Thing("rock", "ledge", box(0, 0, 60, 60), None, 0.5)
    assert "its floor lies 0.60 m" in clearance_cautions(inputs_of(higher), made, BODY)[0]


def test_a_swale_takes_its_cut_uphill_and_its_berm_downhill():
    """On even ground the cut is (bed + 2 side depth) / (1 - side slope) wide and the berm
    (top + 2 side height) / (1 - side slope): plane geometry.  At both ends the berm goes on past
    the channel and turns uphill to where the ground is as high as its crest, H / s off."""
    dem, rules, slope = plane(0.05), Rulebook(), 0.05
    route = SwaleLine(np.array([[10.0, 30.0], [50.0, 30.0]]), 100.0, 0.0, slope, slope)
    sill = Sill(100.0, 4.0, 0.05, 0.1, 1.7)
    swale = finish(dem, route, Section("trapezoid", 0.3, 0.6, 2.0), sill, 30.0, 30.0, rules)
    made = made_of()
    made.swale = swale
    body = body_of(made, dem, rules)
    cut = (0.6 + 2 * 2 * 0.3) / (1 - 2 * slope)
    toe = (0.6 + 2 * 2 * swale.berm_height_built) / (1 - 2 * slope)
    high = swale.berm_height_built
    past = 2 * high + 0.3 + 0.3 + 2 * (high + slope * (2 * high + 0.3))
    assert body.whole.bounds == pytest.approx((10 - past, 30 - toe, 50 + past, 30 + high / slope),
                                              abs=0.05)
    assert body.nearest(Point(30, 60)) == (pytest.approx(30 - cut, abs=1e-3), "its cut")
    assert body.nearest(Point(18, 0)) == (pytest.approx(30 - toe, abs=0.01), "its berm")


def test_under_its_berm_a_swale_s_floor_is_the_ground():
    """Rock 1.3 m down on a plane of 5 %: under the bed's uphill edge, 1.2 m from the line, are
    1.3 - 0.3 - 0.05 x 1.2 = 0.94 m of soil, and under the berm, which is heaped, all of it."""
    dem, rules, slope = plane(0.05), Rulebook(), 0.05
    route = SwaleLine(np.array([[10.0, 30.0], [50.0, 30.0]]), 100.0, 0.0, slope, slope)
    sill = Sill(100.0, 4.0, 0.05, 0.1, 1.7)
    swale = finish(dem, route, Section("trapezoid", 0.3, 0.6, 2.0), sill, 30.0, 30.0, rules)
    made = made_of(curve=swale.curve)
    made.swale = swale
    left, (_, y) = depth_left(made, dem, body_of(made, dem, rules).whole, 1.3)
    assert 0.94 - 1e-3 <= left <= 0.94 + 0.05 * 0.5  # looked at every half metre
    assert 30 < y <= 31.2 + 1e-6
    below = box(15, 28.5, 25, 29.5)
    assert depth_left(made, dem, below, 1.3)[0] == pytest.approx(1.3, abs=1e-3)


def test_a_crescent_digs_no_floor():
    """It heaps its bund on the ground and stores above it."""
    made = made_of(tree=SimpleNamespace(form="crescent"),
                   curve=SimpleNamespace(levels=np.array([99.0, 100.0])))
    assert depth_left(made, plane(0.05), box(20, 20, 40, 40), 1.1)[0] == pytest.approx(
        1.1, abs=1e-4)


def test_a_drain_takes_its_channel_uphill():
    dem, rules = plane(0.05), Rulebook()
    route = describe(dem, np.array([[10.0, 30.0], [50.0, 30.0]]), 100.0, 0.0, "")
    section = design_section(0.01, 0.003, rules, width=0.5, depth=0.3, side_slope=2.0)
    made = made_of()
    made.drain = finish_drain(route, section, rules)
    wide = (0.5 + 2 * 2 * 0.3) / (1 - 2 * 0.05)
    assert body_of(made, dem, rules).whole.bounds == pytest.approx((10, 30, 50, 30 + wide),
                                                                   abs=1e-3)


def test_a_wall_reaches_from_foot_to_foot():
    """A wall 2.2 m high over the floor of a valley that falls to the south: its dry foot lies top/2
    + dry slope x built height below its line, its wet foot top/2 + wet slope x height above."""
    row, column = np.mgrid[0:100, 0:100].astype(float)
    x, y = column + 0.5, 100 - row - 0.5
    dem = Dem((100 + 0.05 * (y - 50) + 0.15 * np.abs(x - 50)).astype(np.float32), 0.0, 100.0, 1.0,
              Frame(None, None, 1.0), "valley.tif")
    rules = Rulebook()
    wall = design_wall(Terrain(dem), [(30.0, 50.0), (70.0, 50.0)], 102.2, 101.6, rules, "pond")
    made = made_of()
    made.basin = wall
    body = body_of(made, dem, rules)
    bank = dict(body.parts)["its bank"]
    high = wall.height * 1.1  # settlement: 10 % (Handbook 590, 1997, from memory)
    assert bank.bounds[1] == pytest.approx(50 - 0.9 - 2.5 * high, abs=0.02)
    assert bank.bounds[3] == pytest.approx(50 + 0.9 + 3.0 * high, abs=0.02)
    assert body.nearest(Point(50, 0))[1] == "its bank"
    assert body.nearest(Point(50, 99))[1] == "its full pool"


def test_the_foot_of_a_steep_slope():
    """Level ground south of y = 120, 30 % north of it.  A mean over 10 m is 20 % where two thirds
    of them are steep, 1.7 m up the slope, and water leaves the last such cell within a cell."""
    row, _ = np.mgrid[0:200, 0:60].astype(float)
    y = 200 - row - 0.5
    heights = 100 + np.where(y > 120, 0.3 * (y - 120), 0.001 * (y - 120))
    dem = Dem(heights.astype(np.float32), 0.0, 200.0, 1.0, Frame(None, None, 1.0), "hill.tif")
    rules = Rulebook()
    steep = steep_ground(Terrain(dem), rules)
    assert not steep.toes.is_empty
    y_toe = min(p.y for p in steep.toes.geoms)
    assert 120 <= y_toe <= 120 + 10 / 6 + 1.5
    near = Body((("its rim", box(20, 50, 30, y_toe - 60)),))
    said = steep_caution(inputs_of(dem=dem), near, steep)
    assert len(said) == 1
    assert "lies 60 m (197 ft) off" in said[0]
    assert "stands" in said[0]
    assert "below it" in said[0]
    assert "keep 61 m (200 ft) (steep toe setback, Minnesota Stormwater Manual" in said[0]
    far = Body((("its rim", box(20, 40, 30, y_toe - 61.5)),))
    assert steep_caution(inputs_of(dem=dem), far, steep) == []
    gentle = plane(0.15)
    assert steep_ground(Terrain(gentle), rules).toes.is_empty


def test_a_narrow_bank_is_no_steep_slope():
    """A road's bank, 1 m high and 2 m wide, on even ground: 10 m hold a fall of 1 m, 10 %."""
    row, _ = np.mgrid[0:80, 0:80].astype(float)
    y = 80 - row - 0.5
    heights = 100 + np.clip((y - 40) / 2, 0, 1) + 0.001 * y
    dem = Dem(heights.astype(np.float32), 0.0, 80.0, 1.0, Frame(None, None, 1.0), "bank.tif")
    assert steep_ground(Terrain(dem), Rulebook()).toes.is_empty


KEEP = """\
keep clear:
  - what: septic field
    name: field
    around: [[500075, 6399956], [500077, 6399956], [500077, 6399958], [500075, 6399958]]
  - what: private well
    name: well
    at: [500063, 6399915]
  - what: buried power line
    name: cable
    along: [[500026, 6399895], [500026, 6399906], [500037, 6399906]]
  - what: tree
    name: oak
    at: [500060, 6399866]
    crown: 8 m
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory, small_site_folder):
    site = small_site_folder(tmp_path_factory.mktemp("clear"))
    site.write_text(site.read_text() + KEEP)
    return make_plan(site)


def named(plan, name):
    return next(p for p in plan.stores if p.store.name == name)


def test_a_plan_tells_what_is_near_with_rule_and_who_decides(planned):
    pond = named(planned, "pond")
    oak = [said for said in pond.cautions if "oak" in said]
    assert len(oak) == 1
    assert "the tree \"oak\"" in oak[0]
    assert "tree drip line, common practice, no source" in oak[0]
    assert "decide" in oak[0]


def test_every_caution_of_a_plan_says_who_decides(planned):
    said = [words for p in planned.stores for words in p.cautions]
    assert len(said) > 20
    for words in said:
        assert "decide" in words, words
        assert words[0].isupper()
        assert words.endswith(".")


def test_a_swale_that_does_not_hold_the_design_storm_says_so(planned):
    """What comes and what it holds are those of the account of the storm."""
    swale = named(planned, "east swale")
    comes = next(e.inflow for e in planned.storms["big day"].entries if e.name == "east swale")
    said = [words for words in swale.cautions if "come to it in the design storm" in words]
    assert (comes > swale.store.capacity) == bool(said)
    assert said
    assert f"It holds {swale.store.capacity:,.1f} m³" in said[0]
    assert f"of the {comes:,.1f} m³" in said[0]


def test_a_swale_ends_before_a_septic_field(planned, small_site):
    """Its own earth counts, as of the deepest usual section on ground of hypot(8 %, 4 %): its cut
    is (0.6 + 2 x 2 x 0.5) / (1 - 2 x 0.089) wide, and the berm turned uphill past its end."""
    swale = named(planned, "east swale")
    field = box(500075, 6399956, 500077, 6399958)
    body = body_of(SimpleNamespace(placed=swale.placed, swale=swale.swale, basin=None, drain=None),
                   planned.inputs.dem, planned.inputs.rules)
    assert body.whole.distance(field) >= 35 * FOOT - 0.05
    assert body.whole.distance(field) < 35 * FOOT + 1.0
    note = [note for note in planned.notes if "Its line ends" in note and "\"field\"" in note]
    assert len(note) == 1
    assert "septic setback, Minnesota Stormwater Manual, 2022: 35 ft" in note[0]
    assert not any("field" in said and "It lies" in said for said in swale.cautions)


def test_a_swale_whose_point_lies_too_near_is_refused(small_site):
    small_site.write_text(small_site.read_text() + """\
keep clear:
  - what: private well
    at: [500085, 6399950]
""")
    with pytest.raises(InputError) as error:
        check_site(small_site)
    assert "works \"east swale\"" in str(error.value)
    assert "from the private well, and 15.24 m (50.00 ft) are to be kept (private well setback" in (
        str(error.value))


def test_a_setback_of_rock_is_its_depth():
    assert setback_of(Thing("rock", "it", box(0, 0, 1, 1), None, 1.0), Rulebook()) is None
