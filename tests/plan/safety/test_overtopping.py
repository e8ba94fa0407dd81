"""Where water goes when a bank fails, on even slopes and by hand; and the permit thresholds."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from planes import plane
from shapely.geometry import LineString, Point, box

from terrain.inputs.keep_clear import Thing
from terrain.plan.safety.overtopping import breach_cautions, breach_of, met_on
from terrain.surface.terrain import Terrain
from terrain.works.cross_section import Section
from terrain.works.permits import ACRE_FOOT, permit_cautions, thresholds
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import finish

FOOT = 0.3048


def ground_of(*things, roofs=(), roads=(), boundary=None):
    return SimpleNamespace(roofs=roofs, roads=roads, keep_clear=things,
                           boundary=boundary or box(0, 10, 60, 60))


def roof(name, shape):
    return SimpleNamespace(name=name, outline=shape)


def swale_on(dem, rules, head=0.05):
    route = SwaleLine(np.array([[10.0, 30.0], [50.0, 30.0]]), 100.0, 0.0, 0.05, 0.05)
    sill = Sill(100.0, 4.0, head, 0.1, 1.7)
    return finish(dem, route, Section("trapezoid", 0.3, 0.6, 2.0), sill, 30.0, 30.0, rules)


def breach(*things, roofs=(), roads=(), others=(), boundary=None):
    """Of a swale at y = 30 on a plane that falls by 5 % to the south, the property ending at 10."""
    dem, rules = plane(0.05), Rulebook()
    inputs = SimpleNamespace(dem=dem, terrain=Terrain(dem), rules=rules,
                             ground=ground_of(*things, roofs=roofs, roads=roads,
                                              boundary=boundary))
    made = SimpleNamespace(placed=SimpleNamespace(name="swale", tree=None), basin=None,
                           swale=swale_on(dem, rules), store=SimpleNamespace(capacity=14.4))
    return breach_of(inputs, made, others), dem, rules


def test_water_runs_down_the_plane_until_it_leaves_the_site():
    """20 m to the boundary on 5 %: a fall of 1 m; cells are 1 m, so both to within one of them."""
    found, dem, rules = breach()
    assert found.length == pytest.approx(20, abs=1.01)
    assert found.fall == pytest.approx(1.0, abs=0.051)
    assert found.volume == 14.4
    assert found.against == pytest.approx(0.05, abs=1e-3)
    assert found.met == ()
    assert breach_cautions(found, dem, rules) == []


def test_the_worst_place_is_that_above_the_house():
    """A house 12 m below the berm, its west side 3 m east of the way from chainage 25 and its
    east side at x = 41: the way from chainage 30 (x = 40) runs into it."""
    house = roof("house", box(38, 12, 41, 18))
    found, dem, rules = breach(roofs=(house,))
    assert found.chainage == pytest.approx(30, abs=0.01)
    met = found.met[0]
    assert (met.kind, met.name, met.gap, met.beyond) == ("building", "house", 0.0, False)
    assert met.along == pytest.approx(12, abs=1.01)
    said = breach_cautions(found, dem, rules)
    assert len(said) == 1
    assert "at station 30.0 m (40.0, 30.0), up to 14.4 m" in said[0]
    assert "the building \"house\" (in it, after 12 m" in said[0]
    assert "breach reach, common practice, no source; a licensed engineer decides" in said[0]


def test_a_house_beside_the_way_is_told_with_its_distance_and_one_further_off_is_not():
    """Ways run down at x = 10, 15 ... 50; the rule tells things up to 10 m beside them."""
    found, _, _ = breach(roofs=(roof("near", box(54.5, 12, 58, 18)),))
    assert found.chainage == pytest.approx(40)
    assert found.met[0].gap == pytest.approx(4.5, abs=1.01)
    way = np.array([[20.5, 30.0], [20.5, 5.0]])
    for gap, told in ((9.9, 1), (10.1, 0)):
        ground = ground_of(roofs=(roof("shed", box(20.5 + gap, 15, 40, 20)),))
        assert len(met_on(way, ground, Rulebook()["breach reach"])) == told


def test_a_house_uphill_of_the_way_is_left_out():
    """On 5 % its south wall at y = 38 stands 0.4 m above the berm's line at y = 30: more than the
    bank, though within reach. One as high as the line, beside it, is told."""
    found, _, _ = breach(roofs=(roof("uphill", box(20, 38, 26, 42)),))
    assert found.met == ()
    found, _, _ = breach(roofs=(roof("beside", box(54, 29, 58, 33)),))
    assert [met.name for met in found.met] == ["beside"]


def test_a_thing_beside_the_way_counts_where_water_as_high_as_the_bank_reaches_it():
    """The way runs down x = 20.5 from y = 30 on 5 %; a shed's near corner lies at (24.5, 35),
    0.25 m higher than where it begins: it counts only if the bank is higher than that."""
    dem = plane(0.05)
    ground = ground_of(roofs=(roof("shed", box(24.5, 35, 30, 36)),))
    way = np.array([[20.5, 30.0], [20.5, 5.0]])
    assert met_on(way, ground, 10.0)  # 6.4 m off
    assert met_on(way, ground, 10.0, dem=dem, bank=0.2) == []  # 0.25 m above the way's start
    met = met_on(way, ground, 10.0, dem=dem, bank=0.3)[0]
    assert met.along == 0.0
    assert met.gap == pytest.approx(np.hypot(4.0, 5.0), abs=0.01)


def test_wells_and_roads_and_what_lies_beyond_the_boundary():
    road = SimpleNamespace(name="lane", surface=box(0, 4, 60, 8))
    well = Thing("private well", "old", Point(23, 20))
    found, dem, rules = breach(well, roads=(road,))
    kinds = {met.kind: met for met in found.met}
    assert kinds["well"].along == pytest.approx(10, abs=1.01)
    assert kinds["road"].beyond
    assert not kinds["well"].beyond
    said = breach_cautions(found, dem, rules)[0]
    assert "the well \"old\"" in said
    assert "the road \"lane\" (in it, after 22 m (72 ft), beyond the property line)" in said


def test_another_work_in_the_way_is_told_but_is_no_harm_by_itself():
    lower = SimpleNamespace(name="lower", kind="swale", outline=LineString([(0, 20), (60, 20)]))
    found, dem, rules = breach(others=(lower,))
    assert [met.name for met in found.met] == ["lower"]
    assert found.harms == ()
    assert breach_cautions(found, dem, rules) == []


def test_a_deep_bank_above_a_house_asks_for_an_engineer():
    from dataclasses import replace

    found, dem, rules = breach(roofs=(roof("house", box(38, 12, 41, 18)),))
    for depth, asks in ((0.89, 0), (0.9, 1), (1.79, 1)):  # NRCS practice standard 378: 3 ft
        said = breach_cautions(replace(found, against=depth), dem, rules)
        assert sum("Engineer and permit check" in words for words in said) == asks


# 33 USC 467: 25 ft high or 50 acre-ft, but none of 6 ft or less or of 15 acre-ft or less.
@pytest.mark.parametrize(("feet", "acre_feet", "federal"), [
    (25.1, 15.5, True), (24.9, 49.5, False), (24.9, 50.1, True), (6.2, 50.1, True),
    (5.9, 500, False), (40, 14.9, False), (26, 49, True)])
def test_the_federal_definition_of_a_dam(feet, acre_feet, federal):
    assert thresholds(feet * FOOT, acre_feet * ACRE_FOOT, Rulebook()).federal is federal


@given(st.floats(0.1, 30), st.floats(1, 1e6), st.floats(1, 2), st.floats(1, 2))
def test_a_higher_or_larger_bank_never_falls_below_a_threshold(height, volume, up, more):
    small = thresholds(height, volume, Rulebook())
    large = thresholds(height * up, volume * more, Rulebook())
    for what in ("federal", "state", "beyond_low_hazard"):
        assert getattr(large, what) >= getattr(small, what)
    if small.federal:
        assert small.state  # states begin lower


def test_thresholds_tell_what_was_measured():
    rules = Rulebook()
    low = permit_cautions(1.28, 93.0, rules)
    assert len(low) == 1
    assert "1.28 m (4.20 ft)" in low[0]
    assert "93 m³ (0.08 acre-ft)" in low[0]
    assert "33 USC 467: 25 ft" in low[0]
    middle = permit_cautions(2.0, 500.0, rules)
    assert "some states regulate dams" in middle[0]
    high = permit_cautions(8.0, 25_000.0, rules)
    assert "a dam under federal law" in high[0]
    assert "licensed engineer" in high[0]
    # NRCS practice standard 378: storage x height under 3,000 acre-ft ft.
    beyond = permit_cautions(30.1 * FOOT, 100 * ACRE_FOOT, rules)
    assert len(beyond) == 2
    assert len(permit_cautions(29.9 * FOOT, 100 * ACRE_FOOT, rules)) == 1


def test_a_plan_tells_the_way_of_each_bank(small_plan):
    plan = small_plan
    told = {p.store.name: p.breach for p in plan.stores}
    assert told["barn tank"] is None
    assert told["trees 1"] is None
    pond = told["pond"]
    basin = next(p.basin for p in plan.stores if p.store.name == "pond")
    assert pond.volume == pytest.approx(basin.storage)
    assert pond.against == pytest.approx(basin.water_at_wall)
    assert pond.chainage == pytest.approx(20, abs=0.6)  # the valley's floor, in the wall's middle
    # The floor falls by 4 % from the wall at y = 6399870 to the boundary at 6399850.
    assert pond.length == pytest.approx(20, abs=1.5)
    assert pond.fall == pytest.approx(0.04 * pond.length, abs=0.05)
