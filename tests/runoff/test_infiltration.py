"""Rates counted on without a hole test against the published bands; soil groups by conductivity."""

import re
from itertools import product

import pytest
from published import rows

from terrain.runoff.green_ampt import textures
from terrain.runoff.infiltration import GROUP_RATES, group_of, rate_of, untested_rate


# TR-55 (1986), Appendix A; group A has no upper figure there.
@pytest.mark.parametrize("row", rows("hsg_transmission_rates_1986.csv"), ids=lambda r: r["group"])
def test_bands_are_the_published_ones_and_the_default_no_more_than_their_upper_end(row):
    low, high = GROUP_RATES[row["group"]]
    published_low = float(row["mm_per_h_low"])
    published_high = float(row["mm_per_h_high"] or row["mm_per_h_low"])
    assert low == pytest.approx(published_low, abs=0.005)
    assert high == pytest.approx(published_high, abs=0.005)
    assert low == pytest.approx(float(row["in_per_h_low"]) * 25.4, abs=1e-9)
    assert 0 < untested_rate(row["group"]) <= published_high
    assert untested_rate(row["group"]) == pytest.approx((low + high) / 4)


def test_heavier_soil_is_counted_on_for_less():
    rates = [untested_rate(group) for group in "ABCD"]
    assert rates == sorted(rates, reverse=True)


def test_an_unknown_group_has_no_rate():
    with pytest.raises(KeyError):
        untested_rate("E")


def test_a_hole_test_goes_before_texture_and_texture_before_group():
    assert rate_of(12.0, "clay", "A") == (12.0, "the site file", True)
    texture = rate_of(None, "clay", "A")
    assert texture.rate == textures()["clay"].conductivity / 2
    assert "clay" in texture.source
    assert "no hole test" in texture.source
    assert not texture.tested
    group = rate_of(None, None, "C")
    assert (group.rate, group.tested) == (untested_rate("C"), False)
    assert "soil group C" in group.source
    assert rate_of(0.0, None, "A").rate == 0  # a test may find that nothing soaks in
    for nothing in (rate_of(), rate_of(None, None, "")):
        assert nothing.rate == 0
        assert "unknown soil" in nothing.source


def test_an_unknown_texture_is_told_with_those_that_are_known():
    with pytest.raises(ValueError, match=r"gravel.*sandy loam"):
        rate_of(None, "gravel")


#: Depths that the table's words mean. [m]
METRES = {
    "depth to impermeable layer < 20 in (50 cm)": [0.1, 0.49],
    "20 to 40 in (50 to 100 cm)": [0.51, 0.99], "> 40 in (100 cm)": [1.02, 3.0],
    "any": [0.1, 3.0], ">= 24 in (60 cm)": [0.61, 3.0], "> 40 in": [1.02, 3.0],
    "24 to 40 in": [0.61, 0.99]}


# NEH 630, ch. 7, 2009, Table 7-1 (from memory).
@pytest.mark.parametrize("row", rows("neh630_table_7_1_soil_groups.csv"),
                         ids=lambda r: " ".join(r.values()))
def test_groups_are_those_of_table_7_1(row):
    bounds = [float(v) * 25.4 for v in re.findall(r"[\d.]+", row["ksat_in_per_h"])]
    if row["ksat_in_per_h"].startswith(">"):
        rates = [bounds[0] * 1.01, bounds[0] * 50]
    elif row["ksat_in_per_h"].startswith("<="):
        rates = [0.0, bounds[0] * 0.93]  # 0.06 in/h is printed for 0.4 um/s, 0.0567 in/h
    elif bounds:
        rates = [bounds[0] * 1.02, bounds[1] * 0.94]
    else:
        rates = [0.0, 10.0, 1000.0]
    for rate, impermeable, water in product(rates, METRES[row["depth_to_impermeable"]],
                                            METRES[row["depth_to_water_table"]]):
        assert group_of(rate, impermeable, water) == row["group"]


# Same table: a water table within 24 in of the surface makes a dual group.
@pytest.mark.parametrize(("rate", "impermeable", "group"), [
    (200, 0.8, "A/D"), (60, 0.8, "B/D"), (10, 0.8, "C/D"), (3, 0.8, "D"),
    (60, 1.5, "A/D"), (20, 1.5, "B/D"), (10, 1.5, "C/D"), (1, 1.5, "D"), (200, 0.3, "D")])
def test_high_water_makes_dual_groups(rate, impermeable, group):
    assert group_of(rate, impermeable, 0.4) == group


def test_limits_are_whole_micrometres_a_second():
    """40, 10, 4, 1 and 0.4 um/s, of 3.6 mm/h each."""
    for micrometres, depth, at, above in ((40, 0.8, "B", "A"), (10, 0.8, "C", "B"),
                                          (1, 0.8, "D", "C"), (10, 2.0, "B", "A"),
                                          (4, 2.0, "C", "B"), (0.4, 2.0, "D", "C")):
        assert group_of(3.6 * micrometres * 0.999, depth) == at
        assert group_of(3.6 * micrometres * 1.001, depth) == above


@pytest.mark.parametrize("figures", [(-1.0,), (float("nan"),), (1.0, -0.5), (1.0, 1.0, -2.0)])
def test_wrong_figures_have_no_group(figures):
    with pytest.raises(ValueError, match="not 0 or more"):
        group_of(*figures)
