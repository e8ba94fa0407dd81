"""The hole test against its differential equation, the auger-hole formula and hand reckoning."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from terrain.inputs.hole_readings import Reading
from terrain.runoff.hole_test import hole_test, pit, round_hole, soak_rate

ROUND = round_hole(0.3)


def sunk(start: float, rate: float, minutes: float, hole=ROUND) -> float:
    """Depth after a time by scipy's integration of A dh/dt = -k (A + P h). [mm]"""
    per_mm = hole.perimeter / hole.area / 1000
    found = solve_ivp(lambda t, depth: -rate / 60 * (1 + per_mm * depth), (0, minutes), [start],
                      rtol=1e-10, atol=1e-10)
    return float(found.y[0, -1])


def filling(rate: float, start=300.0, times=(0, 10, 20, 30, 40), rounded=False, begun=0.0):
    depths = [sunk(start, rate, t) if t else start for t in times]
    return [Reading(begun + t, float(round(d)) if rounded else d)
            for t, d in zip(times, depths, strict=True)]


@pytest.mark.parametrize("hole", [round_hole(0.1), round_hole(0.6), pit(0.6, 0.6), pit(0.3, 1.2)],
                         ids=lambda h: h.words)
@pytest.mark.parametrize(("start", "rate", "minutes"), [(300, 25, 30), (150, 4, 90), (600, 90, 5)])
def test_the_rate_is_that_of_the_differential_equation(hole, start, rate, minutes):
    after = sunk(start, rate, minutes, hole)
    assert 0 < after < start
    assert soak_rate(start, after, minutes, hole) == pytest.approx(rate, rel=1e-7)


# Kessler & Oosterbaan, ILRI Publication 16, 1974 (from memory), the inverted auger hole:
# k = 1.15 r (log10(h0 + r / 2) - log10(h1 + r / 2)) / t; 1.15 stands for ln(10) / 2 = 1.1513.
@given(st.floats(0.04, 0.5), st.floats(60, 900), st.floats(0.05, 0.95), st.floats(1, 600))
def test_a_round_hole_is_the_inverted_auger_hole(radius, before, share, minutes):
    after = share * before
    r = radius * 1000
    auger = 1.15 * r * (math.log10(before + r / 2) - math.log10(after + r / 2)) / (minutes / 60)
    assert soak_rate(before, after, minutes, round_hole(2 * radius)) == pytest.approx(
        auger, rel=0.0013)  # 1.1513 / 1.15


def test_a_hand_reckoned_round_hole():
    """300 mm across: A / P = 75 mm. 300 to 225 mm in half an hour: 75 ln(375 / 300) x 2."""
    assert soak_rate(300, 225, 30, ROUND) == pytest.approx(75 * 0.22314355 * 2)


def test_a_hand_reckoned_square_pit():
    """0.6 m by 0.6 m: A / P = 0.36 / 2.4 = 150 mm. 450 to 300 mm in an hour: 150 ln(600 / 450)."""
    assert pit(0.6, 0.6).ratio == pytest.approx(150)
    assert soak_rate(450, 300, 60, pit(0.6, 0.6)) == pytest.approx(150 * 0.28768207)


def test_without_sides_the_level_sinks_at_the_rate():
    """Shallow water in a wide pit: the sides take 4 x 10 mm / 5 m of it."""
    assert soak_rate(10, 9, 60, pit(5.0, 5.0)) == pytest.approx(1.0, rel=0.01)
    # Deep water in a narrow hole sinks much faster than a flat floor drains.
    assert soak_rate(600, 500, 60, round_hole(0.1)) < 0.05 * 100


def test_an_even_soil_gives_its_rate_whatever_the_readings():
    test = hole_test([filling(24.0), filling(24.0, start=200.0, times=(0, 6, 20, 41))], ROUND)
    assert test.measured == pytest.approx(24.0, rel=1e-6)
    assert test.design == pytest.approx(12.0, rel=1e-6)
    assert [i.rate for i in test.intervals] == pytest.approx([24.0] * 7, rel=1e-6)
    assert test.filling_rates == pytest.approx((24.0, 24.0))
    assert test.steady
    assert not test.at_least
    assert test.cautions == ()


@pytest.mark.parametrize("rate", [3.0, 12.0, 60.0])
def test_a_tape_read_to_a_millimetre_is_good_to_a_tenth(rate):
    """Half a millimetre at either end of halves that sink by 10 mm and more."""
    times = [t * 12 / rate for t in (0, 10, 20, 30, 40)]
    test = hole_test([filling(rate, times=times, rounded=True)] * 2, ROUND)
    assert test.measured == pytest.approx(rate, rel=0.1)
    assert test.measured <= rate * 1.02


def test_the_last_filling_counts_and_its_slower_half():
    last = filling(30.0, times=(0, 15, 30))
    last += [Reading(30 + t, sunk(last[-1].depth, 20.0, t)) for t in (15, 30, 45)]
    test = hole_test([filling(90.0, times=(0, 5, 10)), filling(50.0), last], ROUND)
    assert 19.99 < test.measured < 26
    assert test.measured < test.filling_rates[-1] < 30
    assert not test.steady
    assert any("still falling" in said for said in test.cautions)


def test_the_slower_half_is_no_faster_than_the_whole():
    uneven = [Reading(0, 300), Reading(10, 290), Reading(20, 230), Reading(30, 200)]
    test = hole_test([uneven], ROUND)
    assert test.measured <= test.filling_rates[0]
    assert test.measured == pytest.approx(min(
        soak_rate(300, 230, 20, ROUND), soak_rate(230, 200, 10, ROUND)))


@pytest.mark.parametrize(("before", "last", "steady"), [(30, 28, True), (30, 26, False),
                                                         (28, 30, True)])
def test_steady_is_within_a_tenth_of_the_filling_before(before, last, steady):
    test = hole_test([filling(80.0), filling(before), filling(last)], ROUND)
    assert test.steady is steady
    assert any("by 13% from the filling before" in said for said in test.cautions) is not steady


def test_a_safety_factor_divides():
    fillings = [filling(30.0), filling(30.0)]
    assert hole_test(fillings, ROUND, 3.0).design == pytest.approx(10.0)
    assert hole_test(fillings, ROUND, 1.0).design == pytest.approx(30.0)
    with pytest.raises(ValueError, match=r"0\.5 is below 1"):
        hole_test(fillings, ROUND, 0.5)


def test_water_that_was_gone_gives_at_least_a_rate():
    test = hole_test([[Reading(0, 100), Reading(30, 0)]], ROUND)
    assert test.at_least
    assert test.measured == pytest.approx(75 * math.log(175 / 75) * 2)
    assert any("at least" in said for said in test.cautions)
    assert not test.intervals[0].clear
    after = hole_test([filling(24.0), [Reading(99, 300), Reading(9999, 0)]], ROUND)
    assert (after.at_least, after.steady) == (True, False)
    assert not any("still falling" in said for said in after.cautions)


def test_an_interval_in_which_the_hole_ran_dry_is_left_out():
    whole = filling(24.0)
    test = hole_test([whole, [*whole, Reading(400, 0), Reading(500, 0)]], ROUND)
    assert test.measured == pytest.approx(24.0, rel=1e-6)
    assert not test.at_least
    assert sum("ran dry" in said for said in test.cautions) == 1
    assert len(test.intervals) == 9  # the one from empty to empty tells nothing


def test_what_is_amiss_is_told():
    def said(*fillings):
        return " ".join(hole_test(fillings, ROUND).cautions)

    assert "Only one filling" in said(filling(24.0))
    assert "has 2 readings" in said(filling(24.0), filling(24.0, times=(0, 30)))
    assert "rose from 250 mm (9.8 in) to 260 mm (10.2 in) in filling 1" in said(
        [Reading(0, 300), Reading(9, 250), Reading(18, 260), Reading(30, 200)], filling(24.0))
    little = said([Reading(0, 300), Reading(10, 298), Reading(20, 296)])
    assert "sank by 4 mm (0.16 in) in the last filling" in little
    assert "read to 1 mm (0.04 in) may miss 25%" in little
    assert "less than 5 mm" in said(filling(24.0, times=(0, 1, 2, 3, 20, 21, 40)))
    assert "earlier filling was slower" in said(filling(20.0), filling(30.0))
    assert "Filling 2 has one reading" in said(filling(24.0), [Reading(99, 300)], filling(24.0))


def test_a_soil_that_takes_nothing_has_no_rate():
    test = hole_test([[Reading(0, 300), Reading(600, 300), Reading(1200, 300)]] * 2, ROUND)
    assert test.measured == test.design == 0
    assert any("sank by 0 mm" in said for said in test.cautions)


@pytest.mark.parametrize(("fillings", "said"), [
    ([[Reading(0, 300)]], "no filling has two readings"),
    ([[Reading(0, 300), Reading(0, 200)]], "after 0 minutes comes 0"),
    ([[Reading(0, 300), Reading(10, -1)]], "-1 mm is not 0 or more"),
    ([[Reading(0, 0), Reading(10, 0)]], "starts without water")])
def test_wrong_readings_are_refused(fillings, said):
    with pytest.raises(ValueError, match=said):
        hole_test(fillings, ROUND)


@pytest.mark.parametrize("size", [300.0, 0.0, 0.001, -1.0, float("nan")])
def test_what_is_no_test_hole_is_refused(size):
    with pytest.raises(ValueError, match="not the size of a hole"):
        round_hole(size)
    with pytest.raises(ValueError, match="not the size of a hole"):
        pit(0.5, size)


@given(st.floats(1, 200), st.floats(0.05, 0.6))
def test_wider_holes_and_faster_soil(rate, diameter):
    """The same readings mean faster soil in a wider hole, and k is linear in 1 / t."""
    narrow, wide = round_hole(diameter), round_hole(diameter * 1.5)
    assert soak_rate(300, 200, 30, wide) > soak_rate(300, 200, 30, narrow)
    assert soak_rate(300, 200, 30, wide) == pytest.approx(2 * soak_rate(300, 200, 60, wide))
    halfway = soak_rate(300, 250, 20, narrow) * 20 + soak_rate(250, 200, 10, narrow) * 10
    assert halfway == pytest.approx(soak_rate(300, 200, 30, narrow) * 30)
