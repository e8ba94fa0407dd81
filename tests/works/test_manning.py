"""Manning's equation in channels and pipes, against published values and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published, rows
from scipy.optimize import minimize_scalar

from terrain.works.manning import (
    FULLEST,
    Pipe,
    Trapezoid,
    channel_roughness,
    flow,
    full_diameter,
    full_flow,
    full_velocity,
    normal_depth,
    velocity,
)

slopes = st.floats(1e-4, 0.1)
roughnesses = st.floats(0.01, 0.12)
depths = st.floats(0.01, 3.0)


@pytest.mark.parametrize(("bed", "side", "depth", "n", "slope", "area", "wet", "radius", "q", "v"),
                         published("manning_trapezoid.csv"))
def test_trapezoids_and_vees(bed, side, depth, n, slope, area, wet, radius, q, v):
    """The printed figures of the table, to its five or six decimals."""
    shape = Trapezoid(bed, side)
    assert shape.area(depth) == pytest.approx(area, abs=5e-6)
    assert shape.perimeter(depth) == pytest.approx(wet, abs=5e-6)
    assert shape.area(depth) / shape.perimeter(depth) == pytest.approx(radius, abs=5e-6)
    assert flow(shape, depth, slope, n) == pytest.approx(q, abs=5e-7)
    assert velocity(shape, depth, slope, n) == pytest.approx(v, abs=5e-7)
    assert normal_depth(shape, q, slope, n) == pytest.approx(depth, abs=2e-6)


@pytest.mark.parametrize("row", rows("manning_n_channels.csv"))
def test_roughness_is_the_published_one(row):
    """Chow 1959, Table 5-6."""
    assert channel_roughness(row["channel"]) == tuple(
        float(row[name]) for name in ("n_min", "n_normal", "n_max"))


def test_a_kind_of_channel_that_is_not_known():
    with pytest.raises(KeyError):
        channel_roughness("glass")


def test_the_best_trapezoid_is_half_a_hexagon():
    """Of all trapezoids of one area, half a hexagon (sides 1 : sqrt 3, R = y/2) wets least and
    carries most; of rectangles half a square, of vees half a square on its corner (Chow 1959,
    Table 7-2)."""
    area = 2.0

    def least(side):
        def wet(depth):
            return Trapezoid(area / depth - side * depth, side).perimeter(depth)
        return minimize_scalar(wet, bounds=(0.1, math.sqrt(area / max(side, 0.3))),
                               method="bounded", options={"xatol": 1e-10})
    best = minimize_scalar(lambda side: least(side).fun, bounds=(0.1, 2.0), method="bounded",
                           options={"xatol": 1e-9})
    assert best.x == pytest.approx(1 / math.sqrt(3), rel=1e-4)
    depth = least(1 / math.sqrt(3)).x
    assert area / best.fun == pytest.approx(depth / 2, rel=1e-6)
    rectangle = least(0.0)
    assert area / rectangle.x == pytest.approx(2 * rectangle.x, rel=1e-5)
    vee = minimize_scalar(lambda side: Trapezoid(0.0, side).perimeter(math.sqrt(area / side)),
                          bounds=(0.2, 5.0), method="bounded", options={"xatol": 1e-9})
    assert vee.x == pytest.approx(1.0, rel=1e-4)


def test_a_full_pipe_has_a_quarter_of_its_diameter_as_radius():
    pipe = Pipe(0.6)
    assert pipe.area(0.6) == pytest.approx(math.pi * 0.6**2 / 4, rel=1e-12)
    assert pipe.perimeter(0.6) == pytest.approx(math.pi * 0.6, rel=1e-12)
    assert pipe.area(0.6) / pipe.perimeter(0.6) == pytest.approx(0.6 / 4, rel=1e-12)


def test_a_half_full_pipe_runs_as_fast_and_carries_half():
    assert velocity(Pipe(0.3), 0.15, 0.01, 0.013) == pytest.approx(full_velocity(0.3, 0.01, 0.013),
                                                                 rel=1e-12)
    assert flow(Pipe(0.3), 0.15, 0.01, 0.013) == pytest.approx(full_flow(0.3, 0.01, 0.013) / 2,
                                                             rel=1e-12)


def test_a_pipe_carries_most_at_0_938_of_its_diameter():
    """Greatest flow 1.076 times that of the full pipe at 0.938 D, greatest velocity 1.14 times at
    0.81 D (Chow 1959, sect. 6-4 and fig. 6-5; printed to as many figures)."""
    def most(what, low):
        return minimize_scalar(lambda d: -what(Pipe(1.0), d, 0.01, 0.013), bounds=(low, 1.0),
                               method="bounded", options={"xatol": 1e-8})
    fullest = most(flow, 0.6)
    assert fullest.x == pytest.approx(FULLEST, abs=5e-4)
    assert -fullest.fun / full_flow(1.0, 0.01, 0.013) == pytest.approx(1.076, abs=5e-4)
    fastest = most(velocity, 0.6)
    assert fastest.x == pytest.approx(0.81, abs=5e-3)
    assert -fastest.fun / full_velocity(1.0, 0.01, 0.013) == pytest.approx(1.14, abs=5e-3)


@given(st.floats(0.0, 4.0), st.floats(0.2, 4.0), depths, slopes, roughnesses)
def test_normal_depth_undoes_flow(bed, side, depth, slope, n):
    shape = Trapezoid(bed, side)
    carried = flow(shape, depth, slope, n)
    assert normal_depth(shape, carried, slope, n) == pytest.approx(depth, rel=1e-7)


@given(st.floats(0.05, 2.0), st.floats(0.02, FULLEST), slopes, roughnesses)
def test_normal_depth_in_a_pipe(diameter, share, slope, n):
    carried = flow(Pipe(diameter), share * diameter, slope, n)
    assert normal_depth(Pipe(diameter), carried, slope, n) == pytest.approx(share * diameter,
                                                                          rel=1e-5)


@given(st.floats(1e-4, 5.0), slopes, roughnesses)
def test_the_pipe_that_is_needed_carries_the_flow(wanted, slope, n):
    assert full_flow(full_diameter(wanted, slope, n), slope, n) == pytest.approx(wanted, rel=1e-10)


@given(depths, slopes, roughnesses, st.floats(1.01, 4.0))
def test_steeper_and_smoother_is_faster(depth, slope, n, times):
    shape = Trapezoid(0.4, 2.0)
    still = flow(shape, depth, slope, n)
    assert flow(shape, depth, slope * times, n) == pytest.approx(still * math.sqrt(times))
    assert flow(shape, depth, slope, n * times) == pytest.approx(still / times)
    assert normal_depth(shape, still, slope * times, n) < depth


@pytest.mark.parametrize(("call", "says"), [
    (lambda: normal_depth(Trapezoid(0.4, 2), 0.1, 0.0, 0.03), "nothing flows"),
    (lambda: normal_depth(Trapezoid(0.4, 2), -0.1, 0.01, 0.03), "below 0"),
    (lambda: normal_depth(Pipe(0.1), 1.0, 0.01, 0.013), "at most"),
    (lambda: velocity(Pipe(0.1), 0.05, 0.01, 0.0), "not above 0"),
    (lambda: velocity(Pipe(0.1), -0.05, 0.01, 0.013), "below 0"),
    (lambda: full_diameter(0.1, 0.0, 0.013), "nothing flows")])
def test_what_cannot_be(call, says):
    with pytest.raises(ValueError, match=says):
        call()


def test_no_water_stands_nowhere():
    assert normal_depth(Trapezoid(0.4, 2), 0.0, 0.01, 0.03) == 0
    assert flow(Pipe(0.3), 0.0, 0.01, 0.03) == 0
