"""Pipes, lips and feeds against closed forms, and the account with them in it.

Sources: Manning's equation for a full pipe (Chow, Open-Channel Hydraulics, 1959, eq. 5-6); weir
flow Q = C L h^1.5 (the same, ch. 3); the orifice Q = C A sqrt(2 g h); what volumes must be follows
from the shapes.
"""

from __future__ import annotations

import numpy as np
import pytest

from terrain.flood.storm_flow import Barrel, Feed, Lip, Rain, Transfer, flow_storm
from terrain.works.manning import full_flow

FLAT = np.zeros((6, 20))


def at(*cells: tuple[int, int]) -> np.ndarray:
    return np.array(cells, np.int64)


def test_a_long_pipe_under_its_own_fall_carries_what_manning_says() -> None:
    # A kilometre at 1 in 500, its mouth just drowned: losses at the ends are a fiftieth of the
    # friction, and its mouth would let in a third more.
    long, slope, wide, n = 1000.0, 0.002, 0.6, 0.013
    pipe = Barrel(long * slope, 0.0, wide, long, n)
    carried = pipe.flow(long * slope + wide, wide)  # levels fall by the fall
    assert carried == pytest.approx(full_flow(wide, slope, n), rel=0.03)


def test_a_drowned_mouth_is_an_orifice() -> None:
    pipe = Barrel(0.0, -5.0, 0.3, 1.0, 0.011)
    head = 2.0
    assert pipe.flow(head, -5.0) == pytest.approx(
        0.6 * np.pi / 4 * 0.3**2 * np.sqrt(2 * 9.80665 * (head - 0.15)))


def test_a_mouth_lets_in_more_the_deeper_it_stands_without_a_jump() -> None:
    pipe = Barrel(0.0, -5.0, 0.3, 1.0, 0.011)
    flows = np.array([pipe.flow(head, -5.0) for head in np.linspace(0, 1, 2001)])
    assert (np.diff(flows) >= 0).all()
    assert np.diff(flows).max() < 5e-4
    assert flows[0] == 0


@pytest.mark.parametrize(("above", "below"), [(1.0, 1.0), (1.0, 1.2), (-0.1, -3.0)])
def test_nothing_runs_back_or_from_below_the_floor(above: float, below: float) -> None:
    assert Barrel(0.0, -0.1, 0.3, 10.0, 0.012).flow(above, below) == 0


def test_a_lip_is_a_weir_up_to_what_a_pump_lifts() -> None:
    assert Lip(1.0, 1.7 * 3.0).flow(1.2, 0.0) == pytest.approx(1.7 * 3.0 * 0.2**1.5)
    assert Lip(1.0, 1.7 * 3.0, 0.01).flow(1.2, 0.0) == 0.01
    assert Lip(1.0, 1.7 * 3.0).flow(1.0, 0.0) == 0


@pytest.mark.parametrize("method", ["local inertia", "full"])
def test_a_pool_runs_down_over_a_lip_as_the_integral_says(method) -> None:
    # A walled pool of area A drains over a weir: dh/dt = -k h^1.5 / A, so
    # h = (h0^-0.5 + k t / (2 A))^-2.
    bed = np.zeros((10, 21))
    bed[:, 10] = 5.0
    depth = np.zeros_like(bed)
    depth[:, :10] = 0.5
    k, area, until = 0.02, 100.0, 600.0
    source = np.argwhere(depth > 0)
    target = np.argwhere(np.broadcast_to(np.arange(21) > 10, bed.shape))
    found = flow_storm(bed, 1.0, 0.03, until=until, depth=depth, method=method, deepest=6.0,
                       transfers={"over": Transfer(source, target, Lip(0.1, k))})
    head = (0.4**-0.5 + k * until / (2 * area))**-2
    assert np.nanmean(found.depth[:, :10]) == pytest.approx(0.1 + head, abs=2e-4)
    assert found.transfers["over"][-1] == pytest.approx(area * (0.4 - head), rel=2e-3)
    assert abs(found.account.error) < 1e-9 * found.account.came
    assert np.nansum(found.depth, dtype=float) == pytest.approx(50.0, rel=1e-6)


def test_a_feed_brings_all_of_its_water_when_it_is_due() -> None:
    feed = Feed(at((2, 3), (2, 4), (3, 3)), np.array([0.0, 100.0, 200.0]),
                np.array([0.0, 1.0, 4.0]))
    found = flow_storm(FLAT, 1.0, 0.03, until=300.0, feeds={"tank": feed}, record=50.0)
    assert found.feeds["tank"] == pytest.approx([0.0, 0.5, 1.0, 2.5, 4.0, 4.0, 4.0], abs=1e-6)
    assert found.account.fed == pytest.approx(4.0, abs=1e-6)
    assert found.account.stands == pytest.approx(4.0, abs=1e-6)
    assert abs(found.account.error) < 1e-9 * found.account.came


def test_a_transfer_without_a_target_leads_water_off() -> None:
    found = flow_storm(FLAT, 1.0, 0.03, until=60.0, depth=0.2, transfers={
        "pump": Transfer(at((0, 0)), np.zeros((0, 2), np.int64), Lip(0.0, 10.0, 0.005))})
    assert found.account.led_off == pytest.approx(0.005 * 60.0, rel=0.02)
    assert abs(found.account.error) < 1e-9 * found.account.came


def test_a_transfer_never_takes_what_lies_below_its_floor() -> None:
    found = flow_storm(FLAT, 1.0, 0.03, until=600.0, depth=0.2, transfers={
        "pump": Transfer(np.argwhere(FLAT == 0), np.zeros((0, 2), np.int64), Lip(0.15, 10.0))})
    assert (found.depth >= 0.15 - 1e-6).all()
    head = (0.05**-0.5 + 10.0 * 600.0 / (2 * FLAT.size))**-2  # as above
    assert np.mean(found.depth) == pytest.approx(0.15 + head, abs=1e-4)


def test_the_answer_is_the_same_on_any_number_of_threads() -> None:
    rng = np.random.default_rng(3)
    bed = rng.random((70, 90)) * 0.2 + np.linspace(1, 0, 70)[:, None]
    pipe = Transfer(at((35, 40), (36, 40)), at((65, 50)),
                    Barrel(bed[35, 40], bed[65, 50], 0.2, 40.0, 0.012))
    tank = Feed(at((10, 10)), np.array([0.0, 200.0]), np.array([0.0, 2.0]))
    parts = [flow_storm(bed, 1.0, 0.04, until=200.0, rain=Rain.even(90.0, 200.0), threads=threads,
                        transfers={"pipe": pipe}, feeds={"tank": tank}) for threads in (1, 2, 4)]
    for other in parts[1:]:
        np.testing.assert_array_equal(parts[0].depth, other.depth)
        assert parts[0].transfers["pipe"].tolist() == other.transfers["pipe"].tolist()


@pytest.mark.parametrize(("change", "words"), [
    ({"transfers": {"a": Transfer(at((9, 9)), at((0, 0)), Lip(0, 1))}}, "no ground"),
    ({"feeds": {"a": Feed(at((0, 0)), np.array([0.0, 1.0]), np.array([1.0, 2.0]))}}, "0 m3 at 0 s"),
    ({"feeds": {"a": Feed(at((0, 0)), np.array([0.0, 1.0]), np.array([0.0, -2.0]))}},
     "volumes fall"),
    ({"rims": {"a": (FLAT == 0, FLAT == 1)}}, "do not meet"),
    ({"rims": {"a": (np.zeros((2, 2), bool), FLAT == 0)}}, "shape"),
    ({"calm": np.zeros((2, 2), bool)}, "calm has the shape")])
def test_what_does_not_fit_is_refused(change, words) -> None:
    with pytest.raises(ValueError, match=words):
        flow_storm(FLAT, 1.0, 0.03, until=1.0, depth=0.1, **change)


def test_a_rim_tells_what_crosses_it_each_way() -> None:
    bed = np.linspace(1.0, 0.0, 40)[None, :] * np.ones((5, 1))
    left = np.broadcast_to(np.arange(40) < 20, bed.shape)
    depth = np.where(left, 0.05, 0.0)
    found = flow_storm(bed, 1.0, 0.03, until=600.0, depth=depth, rims={"down": (left, ~left)})
    rim = found.rims["down"]
    crossed = depth.sum() - np.nansum(found.depth[left], dtype=float)
    assert rim.outflow[-1] - rim.inflow[-1] == pytest.approx(crossed, rel=1e-3)
    assert rim.passed.sum() == pytest.approx(crossed, rel=1e-3)
    assert (rim.faces[:, 1] == 20).all()


def test_calm_water_in_a_pond_keeps_its_level_and_takes_longer_steps() -> None:
    rng = np.random.default_rng(5)
    row, column = np.mgrid[0:60, 0:60]
    bed = (1.5 * ((row - 40) / 20)**2 + 1.5 * ((column - 30) / 25)**2
           + 0.01 * rng.random((60, 60)))
    pond = bed < 1.2
    runs = [flow_storm(bed, 1.0, 0.05, until=3600.0, rain=Rain.even(150.0, 3000.0), calm=calm)
            for calm in (False, pond)]
    levels = [np.where(run.depth > 0.1, bed + run.depth, np.nan) for run in runs]
    assert np.isfinite(levels[0]).sum() > 500
    assert np.nanmax(abs(levels[0] - levels[1])) < 0.0005
    assert runs[1].steps < 0.5 * runs[0].steps
    assert abs(runs[1].account.error) < 1e-9 * runs[1].account.came
