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


def test_a_bed_raised_all_along(swale, surveys):
    bed = surveys.line(SWALE, "bed")
    points = [measured(bed, s, 0.04) for s in (0.0, 7.0, bed.shape.length)]
    built = swale_held(swale, points, (), swale.sill.level)
    assert built.capacity == pytest.approx(prism(swale, swale.depth - 0.04), rel=1e-9)


def test_a_bed_that_rises_evenly_to_one_end(swale, surveys):
    """The integral of (b + z h) h dx with h = d - e x / L:
    L (b (d - e / 2) + z (d2 - d e + e2 / 3))."""
    bed = surveys.line(SWALE, "bed")
    points = [measured(bed, 0.0, 0.0), measured(bed, bed.shape.length, 0.05)]
    built = swale_held(swale, points, (), swale.sill.level)
    b, z, d, e, long = swale.width, swale.side_slope, swale.depth, 0.05, swale.route.length
    assert built.capacity == pytest.approx(
        long * (b * (d - e / 2) + z * (d * d - d * e + e * e / 3)), rel=1e-6)


def test_a_bed_that_stands_out_of_the_water(swale, surveys):
    """A bed from its level up to 2 d: half of the length is wet, a pyramid-like wedge of it."""
    bed = surveys.line(SWALE, "bed")
    d = swale.depth
    points = [measured(bed, 0.0, 0.0), measured(bed, bed.shape.length, 2 * d)]
    built = swale_held(swale, points, (), swale.sill.level)
    b, z, half = swale.width, swale.side_slope, swale.route.length / 2
    assert built.capacity == pytest.approx(half * (b * d / 2 + z * d * d / 3), rel=1e-6)


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


def test_a_bowls_floor_raised(small_plan, surveys):
    """A cone's frustum whose floor is lifted: the floor's disc and, as the sides were said to rise
    less towards the rim, what lies between: pi h (R2 + R r + r2) / 3 of heights raised by
    e (1 - t) on the side, e on the floor."""
    tree = next(p for p in small_plan.stores if p.store.name == "trees 1")
    line, e = surveys.line("trees 1", "floor"), 0.05
    points = [measured(line, 0.0, e)]
    built = ground_held(small_plan.inputs.dem, tree, points, tree.store.sill.level,
                        small_plan.inputs.rules)
    curve = tree.store.curve
    r, big = (float(np.sqrt(area / np.pi)) for area in (curve.areas[0], curve.areas[-1]))
    # On the sides e falls off evenly from the floor's edge to the rim: 2 pi rho e (R - rho)/(R - r)
    side = 2 * np.pi * e / (big - r) * (big * (big**2 - r**2) / 2 - (big**3 - r**3) / 3)
    assert curve.capacity - built.capacity == pytest.approx(np.pi * r * r * e + side, rel=0.01)


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
