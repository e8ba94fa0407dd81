"""Rates counted on without a hole test against the published bands."""

import pytest
from published import rows

from terrain.runoff.infiltration import GROUP_RATES, untested_rate


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
