"""Vertical intervals of swales against published rules."""

import pytest
from published import published

from terrain.works.rules import Rulebook
from terrain.works.spacing import bund_interval, compared, horizontal_interval, terrace_interval


# NRCS practice standard 600 and NEH 650 ch. 8, VI = x s + y in feet, from memory; printed to
# 0.01 ft, 0.1 ft, 0.001 m and 0.01 m.
def test_terrace_intervals_match_the_published_equation():
    table = published("terrace_spacing_checks.csv")
    assert len(table) == 18
    for x, y, percent, feet, apart_feet, metres, apart in table:
        found = terrace_interval(percent / 100, x, y)
        assert found / 0.3048 == pytest.approx(feet, abs=0.005)
        assert found == pytest.approx(metres, abs=0.0005)
        assert horizontal_interval(found, percent / 100) / 0.3048 == pytest.approx(
            apart_feet, abs=0.05)
        assert horizontal_interval(found, percent / 100) == pytest.approx(apart, abs=0.005)


# 0.3 (S / 3 + 2), course notes on contour bunds of Indian universities: 2 % 40 m apart, 5 % 22 m,
# 8 % 17 m, 12 % 15 m (worked by hand, to the metre).
@pytest.mark.parametrize(("percent", "apart"), [(2, 40), (5, 22), (8, 17.5), (12, 15)])
def test_contour_bunds_stand_as_far_apart_as_worked_by_hand(percent, apart):
    found = bund_interval(percent / 100, low_rain=False)
    assert horizontal_interval(found, percent / 100) == pytest.approx(apart, abs=0.5)


def test_where_little_rain_falls_they_stand_further_apart():
    assert bund_interval(0.04, True) == pytest.approx(1.2)  # 0.15 x 4 + 0.6
    for percent in range(1, 16):
        assert bund_interval(percent / 100, True) > bund_interval(percent / 100, False)


@pytest.mark.parametrize(("vertical", "verdict"), [(1.1, ""), (1.2, ""), (1.25, "wider"),
                                                   (0.95, "closer"), (1.0, "")])
def test_an_interval_within_a_tenth_of_the_rule_passes(vertical, verdict):
    """5 %: 0.3 (5 / 3 + 2) = 1.1 m; NRCS practice standard 600 lets a spacing differ by 10 %."""
    asked, found = compared(vertical, 0.05, False, Rulebook())
    assert asked == pytest.approx(1.1)
    assert found == verdict
