"""Weir flow against the ideal broad crest and TR-55's worked example."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows

from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill, head_for_flow, weir_flow

FOOT = 0.3048
#: (2/3)^1.5 sqrt(g): critical depth on the crest.
IDEAL = (2 / 3)**1.5 * 9.80665**0.5


# Chow, Open-Channel Hydraulics (1959), ch. 3; recomputed to five decimals.
@pytest.mark.parametrize(("length", "head", "flow", "critical"),
                         published("broad_crested_weir.csv"))
def test_flow_over_an_ideal_broad_crest(length, head, flow, critical):
    assert pytest.approx(1.7046, abs=5e-5) == IDEAL
    assert weir_flow(length, head, IDEAL) == pytest.approx(flow, abs=1e-5)
    assert head_for_flow(flow, length, IDEAL) == pytest.approx(head, rel=1e-4)
    assert critical == pytest.approx(2 / 3 * head, abs=5e-6)
    # At critical depth the flow is length x depth x sqrt(g depth); depths come to 5 decimals.
    assert length * critical * (9.80665 * critical)**0.5 == pytest.approx(flow, rel=2e-4)


@given(st.floats(0.1, 60), st.floats(0, 2), st.floats(1, 2.2))
def test_head_undoes_flow(length, head, coefficient):
    flow = weir_flow(length, head, coefficient)
    assert head_for_flow(flow, length, coefficient) == pytest.approx(head, abs=1e-12)


def test_no_water_above_the_lip_no_flow():
    assert weir_flow(4.0, -0.2) == 0
    assert head_for_flow(0.0, 4.0) == 0


# TR-55 (1986), Example 6-1: 180 ft3/s at 5.7 ft over a crest with C 3.2 (US) asks 4.1 ft.
def test_weir_length_of_tr55_example_6_1():
    row = next(r for r in rows("tr55_worked_examples.csv")
               if r["quantity"].startswith("weir length"))
    rules = Rulebook({"sill coefficient": 3.2 * FOOT**0.5, "sill shortest": "0.1 m"})
    sill = design_sill(105.7 * FOOT, 180 * FOOT**3, 5.7 * FOOT, rules)
    assert sill.length / FOOT == pytest.approx(float(row["printed"]), abs=0.05)
    assert sill.length / FOOT == pytest.approx(float(row["recomputed"]), abs=0.005)
    assert sill.head / FOOT == pytest.approx(5.7)


@given(st.floats(0, 5), st.floats(0.02, 0.5))
def test_a_designed_sill_passes_its_peak_within_its_rules(peak, most):
    rules = Rulebook()
    sill = design_sill(10.0, peak, most, rules)
    assert rules["sill shortest"] <= sill.length <= rules["sill longest"]
    assert weir_flow(sill.length, sill.head, sill.coefficient) == pytest.approx(peak, abs=1e-12)
    if sill.length < rules["sill longest"]:
        assert sill.head <= most * (1 + 1e-9)


def test_a_length_that_is_given_is_kept():
    sill = design_sill(10.0, 0.3, 0.05, Rulebook(), length=2.0)
    assert sill.length == 2.0
    assert weir_flow(2.0, sill.head) == pytest.approx(0.3)


def test_no_sill_is_longer_than_what_it_stands_in():
    """The head follows: 0.3 m3/s over 3 m by Q = C L h^1.5."""
    rules = Rulebook()
    for asked in (None, 8.0):
        sill = design_sill(10.0, 0.3, 0.05, rules, asked, longest=3.0)
        assert sill.length == 3.0
        assert sill.head == pytest.approx((0.3 / (rules["sill coefficient"] * 3.0)) ** (2 / 3))
