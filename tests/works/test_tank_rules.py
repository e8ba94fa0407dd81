"""Rules of thumb for tanks against worked examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.works.tank_rules import dry_season_storage, knee_of, monthly_run

GALLON = 231 * 0.0254**3
EXAMPLES = {row["case"]: row for row in rows("roof_examples.csv")}


@pytest.mark.parametrize(("name", "rule"), [("after spillage (YAS)", "after"),
                                            ("before spillage (YBS)", "before")])
def test_the_constructed_year_by_both_release_rules(name, rule):
    """The rules of Jenkins and others (1978) as compared by Fewkes & Butler (2000), from memory."""
    year = [row for row in rows("tank_yas_ybs_constructed.csv") if row["rule"] == name]
    assert len(year) == 12
    found = monthly_run([float(r["inflow_m3"]) for r in year], 3.0, 15.0, rule, 5.0)
    for series, column in ((found.drawn, "yield_m3"), (found.spilled, "spill_m3"),
                           (found.held, "end_m3")):
        assert series == pytest.approx([float(r[column]) for r in year], abs=5e-5)


def test_the_inflow_of_that_year_is_its_roofs():
    """150 m2 at 0.85, of which nothing is turned away."""
    for row in rows("tank_yas_ybs_constructed.csv"):
        assert float(row["inflow_m3"]) == pytest.approx(0.15 * 0.85 * float(row["rain_mm"]))


@given(st.lists(st.floats(0, 30), min_size=1, max_size=40), st.floats(0, 10), st.floats(0.1, 40))
def test_drawn_before_what_spills_is_never_less(inflow, demand, capacity):
    after, before = (monthly_run(inflow, demand, capacity, rule) for rule in ("after", "before"))
    assert before.drawn.sum() >= after.drawn.sum() - 1e-9
    for run in (after, before):
        gap = sum(inflow) - run.drawn.sum() - run.spilled.sum() - run.held[-1]
        assert abs(gap) <= 1e-9 * (sum(inflow) + 1)
        assert (run.held <= capacity + 1e-12).all()


def test_the_published_tank_for_three_dry_months():
    """Home Power, Sizing a whole-house rainwater system: 2 people, 35 gal each, 3 months of 90
    days, less 1,000 gal of supply."""
    use = float(EXAMPLES["two people 35 gal/day each, 3 months of 90 days"]["printed"])
    supply = [9000.0] * 9 + [1000 / 3] * 3
    found = dry_season_storage(np.array(supply) * GALLON, use / 3 * GALLON) / GALLON
    assert found == pytest.approx(
        float(EXAMPLES["tank to bridge 3 dry months less 1,000 gal of supply"]["printed"]))


def test_the_dry_season_may_lie_across_the_new_year_and_no_tank_bridges_a_lacking_year():
    demand = np.full(12, 2.0)
    supply = np.roll([0.0, 0, 0, 8, 8, 8, 4, 4, 2, 2, 1, 1], 11)
    assert dry_season_storage(supply, demand) == pytest.approx(8.0)  # 1 + 1 + 2 + 2 + 2
    assert dry_season_storage(np.full(12, 1.0), demand) == float("inf")
    assert dry_season_storage(np.full(12, 3.0), demand) == 0


def test_the_knee_of_a_bent_line_is_its_bend():
    sizes = np.array([1.0, 2, 3, 4, 6, 8])
    gains = np.array([0.2, 0.5, 0.8, 0.82, 0.86, 0.9])
    assert knee_of(sizes, gains) == 2
    assert knee_of(sizes, np.full(6, 0.7)) is None
    assert knee_of(sizes, 0.1 * sizes) is None  # a straight line has none
