"""Drains: section, velocity, earth, against published figures and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given, settings
from hypothesis import strategies as st
from published import rows

from terrain.works.drain import (
    LININGS,
    areas,
    describe,
    design_section,
    finish,
)
from terrain.works.lining import grass_velocity
from terrain.works.manning import Trapezoid, channel_roughness, flow
from terrain.works.rules import Rulebook

RULES = Rulebook()


@pytest.mark.parametrize("row", rows("vegetated_channel_velocity.csv"))
def test_grass_stands_the_published_velocity(row):
    """USDA SCS-TP-61, 1954."""
    for soil in ("resistant", "erodible"):
        for word, grade in (("0_5pct", 0.003), ("5_10pct", 0.07), ("over_10pct", 0.12)):
            given_ = row[f"{soil}_{word}"]
            found = grass_velocity(grade, soil == "erodible", row["cover"])
            assert found == (pytest.approx(float(given_) * 0.3048) if given_ else None)


@given(st.floats(1e-4, 1.0), st.floats(0.002, 0.05), st.sampled_from(sorted(LININGS)),
       st.booleans())
def test_the_channel_carries_the_peak_in_its_depth(peak, grade, lining, erodible):
    """Water of the depth told is the peak once the bed has grown, by Manning's equation; and it is
    slower than the velocity told, that of the new bed."""
    found = design_section(peak, grade, RULES, lining, erodible)
    shape = Trapezoid(found.width, found.side_slope)
    grown = channel_roughness(LININGS[lining][1])[1]
    assert flow(shape, found.water, grade, grown) == pytest.approx(peak, rel=1e-6)
    assert found.velocity > peak / shape.area(found.water)
    assert found.depth >= found.water + RULES["drain freeboard"] - 1e-9
    if not found.holds:
        assert found.width == pytest.approx(RULES["drain widest"])


def test_what_is_fixed_stays():
    found = design_section(0.5, 0.02, RULES, "bare", True, 0.3, 0.25, 1.0)
    assert (found.width, found.depth, found.side_slope) == (0.3, 0.25, 1.0)
    assert not found.holds


def test_a_vee():
    found = design_section(0.02, 0.004, RULES, "grass", True, 0.0)
    assert found.width == 0
    assert found.water > 0


def test_no_water_needs_the_shallowest():
    found = design_section(0.0, 0.003, RULES)
    assert (found.water, found.velocity, found.depth) == (0.0, 0.0, RULES["drain shallowest"])


def line_on(slope, grade=0.003, length=60.0):
    """A line that falls steadily over a plane that falls to the south, and the plane."""
    dem = formula_dem(lambda x, y: 50 + slope * y, 120, 80, 1.0)
    share = grade / slope
    end = np.array([30 + length * np.sqrt(1 - share**2), 40 - length * share])
    line = np.array([[30.0, 40.0], end])
    return describe(dem, line, float(dem.height_at(30.0, 40.0)), grade, "")


@pytest.mark.parametrize("slope", [0.02, 0.1, 0.2])
def test_the_cut_is_the_closed_form_on_a_plane(slope):
    """Bed b, sides z, depth d below the lip on ground of cross-slope s: the channel and the wedge
    uphill of it, (b + z d) d + s w^2 / (2 (1 - z s)) with w = b + 2 z d; square to the line the
    plane slopes by sqrt(slope^2 - grade^2)."""
    route = line_on(slope)
    section = design_section(0.01, route.grade, RULES, "bare", True, 0.4, 0.3, 2.0)
    cross = np.sqrt(slope**2 - route.grade**2)
    assert route.cross_slopes == pytest.approx(cross, abs=2e-5)
    assert route.above == pytest.approx(0.0, abs=2e-5)
    wide = 0.4 + 2 * 2 * 0.3
    area = (0.4 + 2 * 0.3) * 0.3 + cross * wide**2 / (2 * (1 - 2 * cross))
    assert areas(route, section, RULES)[0] == pytest.approx(area, rel=1e-3)
    assert finish(route, section, RULES).cut == pytest.approx(area * 60, rel=1e-3)


def test_ground_that_stands_above_the_lip_is_dug_deeper():
    dem = formula_dem(lambda x, y: 50 + 0.1 * y + np.where(abs(x - 60) < 5, 0.5, 0.0), 120, 80, 1)
    line = np.array([[30.0, 40.0], [90.0, 40.0 - 60 * 0.03]])
    route = describe(dem, line, 54.0, 0.003, "")
    section = design_section(0.01, 0.003, RULES, "bare", True, 0.4, 0.3, 2.0)
    assert finish(route, section, RULES).cut > 1.1 * finish(line_on(0.1), section, RULES).cut
    assert any("above its lip" in said for said in finish(route, section, RULES).cautions)


@settings(max_examples=30)
@given(st.floats(0.01, 0.3), st.floats(0.002, 0.02))
def test_advice_holds(peak, grade):
    """What the caution advises holds when it is done."""
    route = line_on(0.1, grade)
    section = design_section(peak, grade, RULES)
    said = finish(route, section, RULES).cautions
    fast = [text for text in said if "water runs at" in text]
    assert bool(fast) == (not section.holds)
    for lining in ("grass", "stone"):
        if fast and f"a lining of {lining}" in fast[0]:
            assert design_section(peak, grade, RULES, lining).holds


def test_levels_along_it():
    route = line_on(0.1)
    section = design_section(0.01, route.grade, RULES, "bare", True, 0.4, 0.3, 2.0)
    made = finish(route, section, RULES)
    assert route.length == pytest.approx(60)
    assert route.end_level == pytest.approx(route.start_level - 0.18)
    assert made.bed(30) == pytest.approx(route.start_level - 0.09 - 0.3)


@pytest.mark.parametrize(("grade", "says"), [(0.001, "flatter than 0.20%"),
                                             (0.02, "steeper than the usual 0.50%")])
def test_grades_beyond_the_usual_are_told(grade, says):
    route = line_on(0.1, grade)
    section = design_section(0.001, grade, RULES)
    assert any(says in text for text in finish(route, section, RULES).cautions)


def test_too_little_freeboard_is_told():
    route = line_on(0.1)
    deep = design_section(0.05, route.grade, RULES, "bare", True, 0.4, 0.2)
    assert any("overflows its lip" in text or "of its side is left" in text
               for text in finish(route, deep, RULES).cautions)
