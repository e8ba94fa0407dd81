"""Gutters and downspouts against plumbing codes, published equations and each other."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.works.gutters import (
    Gutter,
    check_gutter,
    gutter_capacity,
    gutter_width_for,
    outlet_capacity,
    pipe_capacity,
    roof_flow,
)

INCH, GALLON = 0.0254, 231 * 0.0254**3


# US plumbing codes (Uniform Plumbing Code, sizing of roof drains and rainwater piping), gallons a
# minute; from memory.  They rest on Wyly & Eaton, 7/24 filled.
@pytest.mark.parametrize(("inches", "gallons"), [(2, 23), (3, 67), (4, 144), (5, 261), (6, 424)])
def test_downspouts_carry_what_plumbing_codes_allow(inches, gallons):
    found = pipe_capacity(inches * INCH, 7 / 24, 0.00025) * 60 / GALLON
    assert found == pytest.approx(gallons, abs=0.5)


# EN 12056-3 (2000), Table 8, filling degree 0.33, L/s; from memory.
@pytest.mark.parametrize(("mm", "litres"), [(50, 1.7), (75, 5.0), (100, 10.7)])
def test_downspouts_carry_what_the_european_standard_says(mm, litres):
    assert 1000 * pipe_capacity(mm / 1000, 0.33, 0.00025) == pytest.approx(litres, abs=0.06)


# Uniform Plumbing Code, square feet of roof that a downspout drains at 4 inches an hour; by the
# same flows, from memory.
@pytest.mark.parametrize(("inches", "square_feet"), [(3, 1610), (4, 3460), (5, 6280), (6, 10200)])
def test_a_roof_that_the_plumbing_code_gives_a_downspout_is_what_it_drains(inches, square_feet):
    area, burst = square_feet * 0.3048**2, 4 * 25.4
    deep = Gutter("box", 1.0, 1.0, 0.005, 1, 1, inches * INCH)  # so the pipe decides
    found = check(0.99 * area, deep, burst)
    assert found.downspouts_enough
    assert not found.outlet_decides
    assert found.flow / found.downspouts_carry == pytest.approx(0.99, abs=0.01)
    assert check(1.02 * area, deep, burst).downspouts_enough is False


def test_an_outlet_is_a_weir_and_then_an_orifice():
    """A weir of 2 pi r at 60 % of 2/3 sqrt(2g) h^1.5 and more, an orifice at about 0.6 of the jet:
    elementary hydraulics; the two meet within a few percent at half the width."""
    width = 0.1
    at = outlet_capacity(width, width / 2)
    assert outlet_capacity(width, width / 2 + 1e-9) == pytest.approx(at, rel=0.01)
    jet = np.pi / 4 * width**2 * np.sqrt(2 * 9.81 * 0.1)
    assert outlet_capacity(width, 0.1) / jet == pytest.approx(0.6, abs=0.02)
    brim = np.pi * width * 2 / 3 * np.sqrt(2 * 9.81) * 0.03**1.5
    assert 0.4 < outlet_capacity(width, 0.03) / brim < 0.8


def test_gutters_by_manning_written_out():
    """Q = A R^(2/3) S^(1/2) / n, Chow (1959), chapter 5: a half circle and a rectangle."""
    area, radius = np.pi * 0.15**2 / 8, 0.15 / 4
    assert gutter_capacity("half round", 0.15, 0.075, 0.005, 0.012) == pytest.approx(
        area * radius**(2 / 3) * 0.005**0.5 / 0.012)
    area, radius = 0.12 * 0.08, 0.12 * 0.08 / (0.12 + 0.16)
    assert gutter_capacity("box", 0.12, 0.08, 0.01, 0.012) == pytest.approx(
        area * radius**(2 / 3) * 0.01**0.5 / 0.012)


@given(st.floats(1e-4, 0.1), st.sampled_from(["half round", "box"]), st.floats(0.3, 1.0),
       st.floats(0.001, 0.05))
def test_the_width_found_carries_just_the_flow(flow, shape, proportion, fall):
    width = gutter_width_for(flow, shape, proportion, fall, 0.012)
    assert gutter_capacity(shape, width, proportion * width, fall, 0.012) == pytest.approx(flow)


def test_a_millimetre_an_hour_on_a_square_metre():
    assert roof_flow(3600.0, 1.0) * 1000 == pytest.approx(1.0)  # 3,600 m2 at 1 mm/h: 1 L/s


def check(area, gutter, intensity=120.0):
    return check_gutter("house", area, intensity, gutter, 0.005, 0.012, 7 / 24, 0.00025)


def built(area, need, spare=1e-9):
    """The roof again with what is asked for."""
    return check(area, Gutter("half round", need.width + spare, need.width / 2 + spare, 0.005,
                              need.runs, need.count, need.diameter))


def test_a_roof_too_large_needs_more():
    """200 m2 at 120 mm/h are 6.67 L/s; one pipe of 100 mm carries 8.7 by its wall and 5.3 by its
    mouth under 62.5 mm of water."""
    found = check(200.0, Gutter("half round", 0.125, 0.0625, 0.005, 1, 1, 0.1))
    assert found.flow * 1000 == pytest.approx(6.667, abs=0.001)
    assert found.outlet_decides
    assert found.gutter_enough is False
    assert found.downspouts_enough is False
    assert found.downspouts_carry * 1000 == pytest.approx(100**2 * 62.5**0.5 / 15e6 * 1000)
    done = built(200.0, found.needs[-1])
    assert done.gutter_enough
    assert done.downspouts_enough


@given(st.floats(1, 1000), st.integers(1, 6), st.sampled_from([0.075, 0.1, 0.15]),
       st.floats(0.08, 0.25))
def test_what_is_asked_for_is_enough_and_one_less_is_not(area, count, diameter, width):
    found = check(area, Gutter("half round", width, width / 2, 0.005, count, count, diameter))
    for need in found.needs:
        assert need.runs == need.count  # as of the gutter stated, one length to each
        done = built(area, need)
        assert done.gutter_enough
        assert done.downspouts_enough
        if need.count > 1:
            fewer = need.count - 1
            wide = max(width, gutter_width_for(found.flow / fewer, "half round", 0.5, 0.005, 0.012))
            less = built(area, replace(need, count=fewer, runs=fewer, width=wide), 0.0)
            assert not less.downspouts_enough
    more = check(area, Gutter("half round", width, width / 2, 0.005, count, count + 1, diameter))
    assert more.downspouts_carry > found.downspouts_carry


def test_a_roof_without_a_gutter_is_told_what_it_needs_only():
    found = check(50.0, None)
    assert (found.gutter_enough, found.downspouts_enough) == (None, None)
    assert found.needs_width > 0
    assert found.needs[-1].count == 1
    assert found.needs[-1].width == found.needs_width  # one length


def test_fewer_downspouts_go_with_fewer_and_wider_gutters():
    """Manning's flow goes with the width to 8/3 (Chow, 1959, chapter 5): one length that carries
    what two did is 2^(3/8) as wide."""
    found = check(200.0, Gutter("half round", 0.05, 0.025, 0.005, 2, 2, 0.05))
    one = next(need for need in found.needs if need.count == 1)
    two = next(need for need in found.needs if need.count == 2)
    assert (one.runs, two.runs) == (1, 2)
    assert one.width / two.width == pytest.approx(2**(3 / 8))
    assert two.width == pytest.approx(found.needs_width)
