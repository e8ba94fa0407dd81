"""Tree bowls, what a tree needs, and the published catchment ratios."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows
from scipy.integrate import quad

from terrain.works.rules import Rulebook
from terrain.works.tree_basin import bowl, catchment_ratio, depth_for, tree_need, wanted


# Critchley & Siegert, Water Harvesting, FAO AGL/MISC/17/91 (1991), sect. 4.3: 7.2, 3.2, about 2.
@pytest.mark.parametrize(("section", "printed", "within"), [
    ("4.3 example 1", 7.2, 0.05), ("4.3 example 2", 3.2, 0.05), ("4.3 example 3", 2.0, 0.5)])
def test_catchment_ratios_of_the_fao_examples(section, printed, within):
    row = next(r for r in rows("fao_water_harvesting_ratio.csv") if r["section"] == section)
    found = float(catchment_ratio(*(float(row[name]) for name in (
        "water_requirement_mm", "design_rainfall_mm", "runoff_coefficient", "efficiency"))))
    assert found == pytest.approx(printed, abs=within)
    assert found == pytest.approx(float(row["recomputed"]), abs=5e-4)


# The same, sect. 4.4: 84 m2 for a tree unit, 10 m2 of it the root area.
def test_tree_unit_of_the_fao_example():
    row = next(r for r in rows("fao_water_harvesting_ratio.csv") if r["section"].startswith("4.4"))
    root = float(row["root_area_m2"])
    ratio = float(catchment_ratio(float(row["water_requirement_mm"]),
                                  float(row["design_rainfall_mm"]),
                                  float(row["runoff_coefficient"]), float(row["efficiency"])))
    assert root * ratio == pytest.approx(74.29, abs=0.005)
    assert root * ratio + root == pytest.approx(84, abs=0.5)


def test_rain_enough_asks_for_no_catchment_and_figures_may_come_in_lists():
    found = catchment_ratio([400, 600], [500, 300], 0.5, 0.5)
    assert found == pytest.approx(np.array([0.0, 4.0]))


@pytest.mark.parametrize("given_", [(500, 0, 0.5, 0.5), (500, 300, 0, 0.5), (500, 300, 0.5, -1)])
def test_ratio_without_runoff_is_refused(given_):
    with pytest.raises(ValueError, match="must be above 0"):
        catchment_ratio(*given_)


def test_tree_need_is_depth_over_the_crown():
    """A crown 4 m wide covers 12.566 m2; 0.5 of 1,000 mm less 120 mm of rain is 380 mm."""
    assert tree_need(1000, 0.5, 4.0, 120) == pytest.approx(12.566 * 0.380, rel=1e-4)
    assert tree_need(200, 0.5, 4.0, 120) == 0


def test_a_bowl_is_a_frustum_under_the_crown():
    """Crown 3 m, 0.2 m deep, sides 2:1: radii 1.5 and 1.1 m."""
    curve = bowl(3.0, 0.2, 55.0, Rulebook())
    assert curve.capacity == pytest.approx(math.pi * 0.2 / 3 * (1.5**2 + 1.5 * 1.1 + 1.1**2))
    assert curve.areas[-1] == pytest.approx(math.pi * 1.5**2)
    assert curve.levels[-1] == pytest.approx(55.0)


@pytest.mark.parametrize(("crown", "depth", "side"), [(3.0, 0.2, 2.0), (6.0, 0.3, 3.0),
                                                      (2.0, 0.25, 1.0)])
def test_a_bowl_against_numerical_integration(crown, depth, side):
    volume, _ = quad(lambda z: math.pi * (crown / 2 - side * (depth - z)) ** 2, 0, depth)
    rules = Rulebook({"tree bowl side slope": side})
    assert bowl(crown, depth, 0.0, rules).capacity == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize(("runoff", "depth"), [(0.0, 0.15), (0.85, 0.15), (1.05, 0.2),
                                               (1.3, 0.3), (9.0, 0.3)])
def test_a_bowl_is_deep_enough_for_the_storm_within_the_usual_depths(runoff, depth):
    """A crown 3 m wide with sides 2:1 holds 0.866 m3 at 0.15 m, 1.07 at 0.2, 1.24 at 0.25."""
    assert depth_for(3.0, runoff, Rulebook()) == pytest.approx(depth)


def test_a_small_bowl_is_no_deeper_than_its_sides_allow():
    assert depth_for(0.8, 5.0, Rulebook()) == pytest.approx(0.9 * 0.4 / 2)


def test_a_bowl_whose_sides_meet_is_refused():
    with pytest.raises(ValueError, match=r"sides of 2:1 meet before a bowl 2\.0 m wide is 0\.50 m"):
        bowl(2.0, 0.5, 55.0, Rulebook())


@given(st.floats(0.5, 10), st.floats(0, 5), st.floats(0, 2500), st.floats(0.1, 1.5),
       st.floats(0, 1500))
def test_a_larger_crown_never_needs_less(crown, wider, thirst, factor, rain):
    assert tree_need(thirst, factor, crown + wider, rain) >= tree_need(thirst, factor, crown, rain)


def test_the_least_of_storm_soil_need_and_ratio_decides():
    """A quarter of the ground is enough by the ratio, so a quarter of the storm is wanted."""
    assert wanted(2.0, 1.1).decided_by == "root zone"
    assert wanted(0.8, 1.1, 3.0) == wanted(0.8, 1.1)
    assert (wanted(0.8, 1.1).volume, wanted(0.8, 1.1).decided_by) == (0.8, "storm")
    assert wanted(2.0, 1.1, 0.4).decided_by == "need"
    by_ratio = wanted(2.0, 1.1, 3.0, 400.0, 100.0)
    assert (by_ratio.volume, by_ratio.decided_by) == (0.5, "ratio")
    assert wanted(0.8, 1.1, 3.0, 100.0, 400.0).decided_by == "storm"
