"""What a work really holds, against prisms and frusta of known section."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.asbuilt.designed_lines import designed_lines
from terrain.asbuilt.held import ground_held, swale_held
from terrain.asbuilt.matching import Measured
from terrain.asbuilt.spills import first_spill, lip_of
from terrain.inputs.asbuilt_points import SurveyedPoint

POINT = SurveyedPoint("here", "", "", "", None, None, False, None, 0.0, None)
SWALE = "east swale"


def measured(line, station, difference):
    """A point of a line, so much too high."""
    spot = line.shape.interpolate(station)
    level = float(line.level_at(station))
    return Measured(POINT, spot.x, spot.y, station, 0.0, level, level + difference)


@pytest.fixture(scope="module")
def lines(small_plan):
    """The swale's designed lines by name."""
    return {line.name: line for line in designed_lines(small_plan) if line.work == SWALE}


@pytest.fixture
def swale(small_plan):
    return next(p for p in small_plan.stores if p.store.name == SWALE).swale


def prism(swale, depth):
    """Volume of a level trapezoid channel: (b + z d) d L (Chow 1959, Table 2-1)."""
    return (swale.width + swale.side_slope * depth) * depth * swale.route.length


def test_as_designed_it_holds_what_the_plan_says(swale):
    built = swale_held(swale, (), (), swale.sill.level)
    assert built.capacity == pytest.approx(swale.curve.capacity, rel=1e-12)
    for volume in np.linspace(0.1, 0.9, 5) * built.capacity:
        assert built.level_at(volume) == pytest.approx(swale.curve.level_at(volume), abs=1e-3)


@pytest.mark.parametrize("low", [0.05, 0.12])
def test_a_low_sill_shortens_the_prism(swale, low):
    built = swale_held(swale, (), (), swale.sill.level - low)
    assert built.capacity == pytest.approx(prism(swale, swale.depth - low), rel=1e-9)


def filled(swale, h):
    """What lies below a level bed so far above the designed one, a metre of line: (b + z h) h."""
    return (swale.width + swale.side_slope * h) * h


def test_a_bed_raised_all_along(swale, surveys):
    """The trench keeps its lips: what silt or undug earth takes up is the prism below it."""
    bed = surveys.line(SWALE, "bed")
    points = [measured(bed, s, 0.04) for s in (0.0, 7.0, bed.shape.length)]
    built = swale_held(swale, points, (), swale.sill.level)
    assert built.capacity == pytest.approx(
        prism(swale, swale.depth) - filled(swale, 0.04) * swale.route.length, rel=1e-9)


def test_a_bed_dug_too_deep_holds_a_slot_more(swale, surveys):
    bed = surveys.line(SWALE, "bed")
    points = [measured(bed, s, -0.06) for s in (0.0, bed.shape.length)]
    built = swale_held(swale, points, (), swale.sill.level)
    assert built.capacity == pytest.approx(
        prism(swale, swale.depth) + swale.width * 0.06 * swale.route.length, rel=1e-9)
    assert built.levels[0] == pytest.approx(swale.sill.level - swale.depth - 0.06)


def test_a_bed_that_rises_evenly_to_one_end(swale, surveys):
    """Below it lies the integral of (b + z h) h dx with h = e x / L: L (b e / 2 + z e2 / 3)."""
    bed = surveys.line(SWALE, "bed")
    points = [measured(bed, 0.0, 0.0), measured(bed, bed.shape.length, 0.05)]
    built = swale_held(swale, points, (), swale.sill.level)
    b, z, e, long = swale.width, swale.side_slope, 0.05, swale.route.length
    assert built.capacity == pytest.approx(
        prism(swale, swale.depth) - long * (b * e / 2 + z * e * e / 3), rel=1e-6)


def test_a_bed_that_stands_out_of_the_water(swale, surveys):
    """A bed from its level up to 2 d: half the length is wet, all but the wedge below the bed."""
    bed = surveys.line(SWALE, "bed")
    d = swale.depth
    points = [measured(bed, 0.0, 0.0), measured(bed, bed.shape.length, 2 * d)]
    built = swale_held(swale, points, (), swale.sill.level)
    b, z, half = swale.width, swale.side_slope, swale.route.length / 2
    assert built.capacity == pytest.approx(
        half * (filled(swale, d) - b * d / 2 - z * d * d / 3), rel=1e-6)


def test_a_swale_at_another_level_as_a_whole_holds_the_same(surveys):
    """Lip, bed, sill and berm all 0.1 m too low are the same trench 0.1 m lower."""
    rows = [row for name in ("sill", "lip", "bed", "berm")
            for row in surveys.rows(SWALE, name, [-0.1] * 5)]
    [work] = surveys.found(rows).works
    assert work.held == pytest.approx(work.held_designed, rel=1e-6)
    assert work.spill.level == pytest.approx(work.planned.store.sill.level - 0.1, abs=1e-5)


def wall_pond(small_plan):
    return next(p for p in small_plan.stores if p.store.name == "pond")


def test_a_pond_without_a_survey_of_its_floor_is_the_plans(small_plan):
    pond = wall_pond(small_plan)
    built = ground_held(small_plan.inputs.dem, pond, (), pond.store.sill.level,
                        small_plan.inputs.rules)
    assert built.capacity == pytest.approx(pond.store.capacity, rel=1e-12)


def test_a_lower_sill_of_a_pond_follows_its_curve(small_plan):
    """Between two levels of its own curve the volume is that of the curve."""
    pond = wall_pond(small_plan)
    curve = pond.store.curve
    level = float(curve.levels[-6])
    built = ground_held(small_plan.inputs.dem, pond, (), level, small_plan.inputs.rules)
    assert built.capacity == pytest.approx(float(curve.volumes[-6]), rel=1e-9)


def test_a_bowls_floor_raised_and_lowered(small_plan, surveys):
    """Its sides stand: a floor lifted by e takes the frustum below it, pi e (r2 + r q + q2) / 3,
    q being the bowl's radius e above its floor; one dug deeper gives the cylinder pi r2 e."""
    tree = next(p for p in small_plan.stores if p.store.name == "trees 1")
    line, e = surveys.line("trees 1", "floor"), 0.05

    def held(off):
        return ground_held(small_plan.inputs.dem, tree, [measured(line, 0.0, off)],
                           tree.store.sill.level, small_plan.inputs.rules).capacity

    curve = tree.store.curve
    r, big = (float(np.sqrt(area / np.pi)) for area in (curve.areas[0], curve.areas[-1]))
    q = r + (big - r) * e / (curve.levels[-1] - curve.levels[0])
    assert curve.capacity - held(e) == pytest.approx(np.pi * e * (r * r + r * q + q * q) / 3,
                                                     rel=0.02)
    assert held(-e) - curve.capacity == pytest.approx(np.pi * r * r * e, rel=0.02)


@settings(max_examples=15)
@given(st.lists(st.floats(-0.3, 0.1), min_size=4, max_size=7), st.data())
def test_lowering_a_crest_never_raises_storage(small_plan, lines, errors, data):
    swale = next(p for p in small_plan.stores if p.store.name == SWALE).swale
    berm, sill = lines["berm"], lines["sill"]

    def held(differences):
        at = np.linspace(*[berm.spans[0][0], berm.spans[-1][1]], len(differences))
        points = tuple(measured(berm, s, d) for s, d in zip(at, differences, strict=True)
                       if berm.counts(s))
        lip = lip_of(small_plan.inputs.dem, [sill, berm], [(), points], small_plan.inputs.rules)
        return swale_held(swale, (), (), first_spill(lip).level).capacity

    lowered = list(errors)
    which = data.draw(st.integers(0, len(errors) - 1))
    lowered[which] -= data.draw(st.floats(0.0, 0.2))
    assert held(lowered) <= held(errors) + 1e-12


def test_a_sill_that_is_too_high_holds_more_until_the_berm_lets_go(swale, small_plan, lines):
    dem, rules = small_plan.inputs.dem, small_plan.inputs.rules
    high = tuple(measured(lines["sill"], s, 1.0) for s in lines["sill"].spans[0])
    spill = first_spill(lip_of(dem, [lines["sill"], lines["berm"]], [high, ()], rules))
    assert spill.line.name == "berm"
    assert spill.level == pytest.approx(swale.sill.level + swale.berm_height_built)
    assert not spill.surveyed
