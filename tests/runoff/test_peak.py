"""Peak discharge against TR-55's tables and examples, and the three methods beside each other."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows

from terrain.runoff.catchment import Catchment
from terrain.runoff.peak import (
    LARGEST_RATIONAL,
    graphical_peak,
    peaks_of,
    rational_peak,
    unit_peak,
)
from terrain.runoff.storms import nested_shape, storm_shape
from terrain.runoff.travel_time import Reach

CFS = 0.3048**3
MI2 = 1609.344**2


def catchment(number=80.0, area=1e6, hours=1.0, c=0.4):
    """Ground whose water takes so many hours by segments."""
    return Catchment(np.array([number]), np.array([area]), np.zeros(1), 500.0, 0.05,
                     reaches=(Reach("shallow", "", 500.0, 0.05, hours),), by_segments=True,
                     rational_c=c)


# TR-55 (1986), Appendix F, Table F-1: the equation at the table's own rows.
@pytest.mark.parametrize("row", rows("tr55_table_f1_unit_peak.csv"),
                         ids=lambda r: f"{r['rainfall_type']} {r['ia_over_p']}")
@pytest.mark.parametrize("hours", [0.1, 0.75, 1.53, 10.0])
def test_unit_peak_of_every_row(row, hours):
    log = np.log10(hours)
    expected = 10 ** (float(row["c0"]) + float(row["c1"]) * log + float(row["c2"]) * log**2)
    found = unit_peak(row["rainfall_type"], hours, float(row["ia_over_p"]))
    assert found == pytest.approx(expected, rel=1e-12)


def test_unit_peak_beyond_the_table_takes_its_ends():
    assert unit_peak("II", 0.02, 0.01) == unit_peak("II", 0.1, 0.10)
    assert unit_peak("II", 30.0, 0.9) == unit_peak("II", 10.0, 0.50)


def test_example_4_1():
    """TR-55 (1986), Example 4-1: 250 acres (0.39 mi2), CN 75, 6 in, Q 3.28 in, Tc 1.53 h, type II:
    unit peak 270 csm/in, read from the chart (within 1 %), and 345 ft3/s."""
    printed = {row["quantity"]: float(row["printed"]) for row in rows("tr55_worked_examples.csv")
               if row["example"] == "4-1"}
    share = 0.2 * (1000 / 75 - 10) / 6.0
    assert share == pytest.approx(printed["Ia/P"], abs=0.005)
    assert unit_peak("II", 1.53, share) == pytest.approx(
        printed["unit peak discharge, type II, Tc 1.53 h"], rel=0.01)
    found = graphical_peak("II", 0.39 * MI2, 3.28 * 25.4, 1.53, share) / CFS
    assert found == pytest.approx(345, rel=0.01)


# TR-55 (1986), Table 4-2.
@pytest.mark.parametrize(("percent", "factor"), published("tr55_table_4_2_pond_swamp.csv"))
def test_ponds_lower_the_peak(percent, factor):
    dry = graphical_peak("II", 1e6, 50.0, 1.0, 0.2)
    assert graphical_peak("II", 1e6, 50.0, 1.0, 0.2, percent) == pytest.approx(factor * dry)


def test_the_rational_method_in_its_own_units():
    """ASCE Manual 37 (1969): C i A in in/h and acres gives 1.00833 ft3/s (43,560 / 12 / 3600)."""
    found = rational_peak(0.35, 2.5 * 25.4, 12 * 4046.8564224) / CFS
    assert found == pytest.approx(0.35 * 2.5 * 12 * 43560 / 12 / 3600, rel=1e-9)


@pytest.mark.parametrize(("given", "said"), [
    ((1.2, 10.0, 1.0), "runoff coefficient 1.2 is outside 0 to 1"),
    ((0.5, -1.0, 1.0), "cannot be below 0"), ((0.5, 1.0, -1.0), "cannot be below 0")])
def test_what_cannot_be_a_rational_peak_is_refused(given, said):
    with pytest.raises(ValueError, match=said):
        rational_peak(*given)


# The graphical method was made from runs of the same unit hydrograph over the same storms (TR-55,
# 1986, ch. 4), so the two agree as far as the published ordinates of the storms are fine enough.
@pytest.mark.parametrize("kind", ["I", "II"])
@pytest.mark.parametrize("hours", [0.2, 0.5, 1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize(("number", "rain"), [(70, 100), (80, 150), (90, 150)])
def test_unit_hydrograph_and_graphical_method_agree(kind, hours, number, rain):
    found = peaks_of(catchment(float(number), hours=hours), float(rain), storm_shape(kind, 24.0),
                     1 / 60)
    assert found.unit_hydrograph == pytest.approx(found.graphical, rel=0.18)


@pytest.mark.parametrize("kind", ["IA", "III"])
def test_coarse_types_agree_for_slow_catchments_and_are_told_of_for_quick_ones(kind):
    slow, quick = (peaks_of(catchment(hours=hours), 120.0, storm_shape(kind, 24.0), 1 / 60)
                   for hours in (2.0, 0.2))
    assert slow.unit_hydrograph == pytest.approx(slow.graphical, rel=0.12)
    assert not [note for note in slow.notes if "too low" in note]
    assert 0.65 * quick.graphical < quick.unit_hydrograph < 0.85 * quick.graphical
    assert [note for note in quick.notes if "40 % too low: mind the graphical" in note]


def test_where_a_method_does_not_apply():
    def said(of, shape, rain=60.0):
        found = peaks_of(of, rain, shape, 1 / 60)
        return found, " ".join(found.notes)

    day, short = storm_shape("II", 24.0), storm_shape("even", 1.0)
    found, notes = said(catchment(), short)
    assert found.graphical is None
    assert "24-hour storms of the NRCS types only" in notes
    found, notes = said(catchment(35.0), day, 300.0)
    assert found.graphical is None
    assert "curve numbers of 40 and more" in notes
    assert "the nearer end was taken" in said(catchment(hours=11.0), day)[1]
    assert "over half the rain" in said(catchment(60.0), day, 50.0)[1]
    found, notes = said(catchment(c=float("nan")), day)
    assert found.rational is None
    assert "needs cover and soil group" in notes
    found, notes = said(catchment(area=1.01 * LARGEST_RATIONAL), day)
    assert found.rational is None
    assert "up to 80 ha" in notes
    nothing = peaks_of(catchment(area=0.0), 60.0, day, 1 / 60)
    assert (nothing.unit_hydrograph, nothing.graphical, nothing.rational) == (0.0, None, None)


def test_the_rational_method_takes_the_storms_own_hardest_stretch():
    """30 mm in an even hour, half an hour on the way: 30 mm/h; a nested storm of the same hour
    holds its table's half-hour depth, so 40 mm/h."""
    even = peaks_of(catchment(hours=0.5, area=1e5), 30.0, storm_shape("even", 1.0), 1 / 60)
    assert even.rational == pytest.approx(0.4 * 0.030 / 3600 * 1e5)
    shape = nested_shape(np.array([0.5, 1.0]), np.array([20.0, 30.0]), 1.0)
    nested = peaks_of(catchment(hours=0.5, area=1e5), 30.0, shape, 1 / 60)
    assert nested.rational == pytest.approx(0.4 * 0.040 / 3600 * 1e5)


@given(st.floats(45, 99), st.floats(0, 200), st.floats(0.1, 10))
def test_more_rain_never_peaks_lower(number, rain, hours):
    day = storm_shape("II", 24.0)
    less, more = (peaks_of(catchment(number, hours=hours), depth, day, 1 / 30)
                  for depth in (rain, rain + 10))
    assert more.unit_hydrograph >= less.unit_hydrograph
    if less.graphical is not None:
        assert more.graphical >= less.graphical


def test_no_time_of_concentration_is_below_the_least_of_tr55():
    """TR-55 (1986), ch. 3: 0.1 h."""
    day = storm_shape("II", 24.0)
    quick, least = (peaks_of(catchment(area=1e4, hours=hours), 60.0, day, 1 / 60)
                    for hours in (0.002, 0.1))
    assert quick == least
    assert replace(catchment(), longest_path=0.0, by_segments=False).concentration == 0.1
