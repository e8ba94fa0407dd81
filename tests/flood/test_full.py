"""The full equations against closed forms, and how fast errors fall as cells shrink."""

from itertools import pairwise

import numpy as np
import pytest
from closed_flow import G, bowl, over_rise, ritter, simple_wave, stoker
from published import published

from terrain.flood.storm_flow import Rain, flow_storm
from terrain.flood.transfers import Feed

pytestmark = pytest.mark.long


def orders(errors: list[float]) -> list[float]:
    """Power of the cell with which errors fall, from one size to half of it."""
    return [float(np.log2(coarse / fine)) for coarse, fine in pairwise(errors)]


def broken_dam(low: float, cell: float):
    x = (np.arange(round(120 / cell)) + 0.5) * cell - 60
    depth = np.where(x < 0, 2.0, low)[None]
    found = flow_storm(np.zeros_like(depth), cell, 0.0, until=5.0, depth=depth, method="full")
    return x, found.depth[0], found.flux_east[0]


def test_dam_break_on_a_dry_bed_is_ritters():
    x, depth, flux = broken_dam(0.0, 0.5)
    table = [row for row in published("ritter_dam_break.csv") if -20 < row[0] < 43]
    places = [row[0] for row in table]
    assert np.interp(places, x, depth) == pytest.approx([row[1] for row in table], abs=0.006)
    assert np.interp(places, x, flux) == pytest.approx([row[3] for row in table], abs=0.03)
    assert np.interp(0, x, flux) == pytest.approx(2.624409, rel=0.004)


def test_errors_of_dam_breaks_fall_with_the_cell():
    """Corners and leaps keep any such method to the first order."""
    for low, close in ((0.0, 0.003), (0.5, 0.0025)):
        errors = []
        for cell in (1.0, 0.5, 0.25):
            x, depth, _ = broken_dam(low, cell)
            exact = stoker(x, 5.0, 2.0, low) if low else ritter(x, 5.0, 2.0)
            errors.append(float(abs(depth - exact).sum() / exact.sum()))
        assert errors[1] < close
        assert min(orders(errors)) > 0.9


def test_errors_of_a_smooth_wave_fall_with_the_square_of_the_cell():
    """A wave 0.2 m high on 1 m of water, before it breaks."""
    def start(at):
        return 1 + 0.2 * np.exp(-((at - 30) / 6)**2)
    errors = []
    for cell in (0.5, 0.25, 0.125):
        x = (np.arange(round(100 / cell)) + 0.5) * cell
        depth = start(x)
        speed = 2 * (np.sqrt(G * depth) - np.sqrt(G))
        found = flow_storm(np.zeros((1, x.size)), cell, 0.0, until=6.0, depth=depth[None],
                           velocity=(speed[None], 0.0), method="full")
        exact, _ = simple_wave(x, 6.0, start, 1.0)
        errors.append(float(abs(found.depth[0] - exact).sum() / abs(exact - 1).sum()))
    assert errors[-1] < 0.003
    assert orders(errors)[0] > 1.5
    assert orders(errors)[1] > 1.75


def test_water_goes_round_in_a_bowl_as_thacker_says():
    """The formula is held to the table first; then the water to both."""
    table = published("thacker_planar.csv")
    errors: dict[float, list[float]] = {}
    for side in (40, 80, 160):
        cell, bed, depth, velocity = bowl(side, 0.0)
        for time in sorted({row[0] for row in table} - {0.0}):
            exact = bowl(side, time)[2]
            if side == 160 and time > 2:  # a quarter turn is enough of the finest
                continue
            found = flow_storm(bed, cell, 0.0, until=time, depth=depth, wet=1e-3,
                               velocity=velocity, method="full")
            errors.setdefault(time, []).append(float(abs(found.depth - exact).sum()
                                                     / depth.sum()))
            assert found.account.error == pytest.approx(0, abs=1e-12)
            for t, x, y, _, deep, *_ in table:
                if t == time:
                    row, column = round(y / cell), round(x / cell)
                    corner = np.s_[row - 1:row + 1, column - 1:column + 1]
                    # Where wet all round, the mean of four cells is off by the bed's bend.
                    if exact[corner].all():
                        assert exact[corner].mean() == pytest.approx(deep, abs=0.06 * cell**2)
                    assert found.depth[corner].mean() == pytest.approx(exact[corner].mean(),
                                                                       abs=0.05 * cell)
    quarter = errors[min(errors)]
    assert quarter[-1] < 0.005
    assert min(orders(quarter)) > 1.3
    assert errors[max(errors)][1] < 0.02  # once round, 80 cells across
    assert min(orders(errors[max(errors)])) > 1.5


@pytest.mark.parametrize("rise", [0.2, 0.5, 1.0])
def test_a_broken_dams_water_runs_over_a_dry_rise(rise):
    """The bed rises within 4 m; 20 s on, what the rise throws back has left it behind."""
    x = (np.arange(800) + 0.5) * 0.5 - 200
    bed = np.clip((x + 4) / 4, 0, 1) * rise
    depth = np.where(x < -4, 2.0, 0.0)
    found = flow_storm(bed[None], 0.5, 0.0, until=20.0, depth=depth[None], method="full")
    before, speed = over_rise(2.0, rise)
    there = (x > -12) & (x < -6)
    deep, flux = found.depth[0], found.flux_east[0]
    assert deep[there] == pytest.approx(before, rel=0.01)
    assert flux[there] == pytest.approx(before * speed, rel=0.02)


def head_over_sill(q: float, cell: float, crest: float, batter: float) -> float:
    """Head of steady flow before a sill 1 m high, a free fall behind it. [m]"""
    x = (np.arange(round(60 / cell)) + 0.5) * cell
    off = np.maximum(abs(x - 30) - crest / 2, 0.0)
    bed = np.maximum(-off / batter, -1.0) if batter else np.where(off > 0, -1.0, 0.0)
    feed = Feed(np.array([[0, 0]]), np.array([0.0, 1e4]), np.array([0.0, 1e4 * q * cell]))
    found = flow_storm(bed[None], cell, 0.0, until=300.0, depth=np.where(x < 30, -bed, 0.0)[None],
                       feeds={"q": feed}, edges={"east": "critical"}, method="full")
    at = round(20 / cell)
    return float(bed[at] + found.depth[0, at] + (q / found.depth[0, at])**2 / (2 * G))


@pytest.mark.parametrize(("length", "head", "discharge"),
                         [row[:3] for row in published("broad_crested_weir.csv")])
def test_a_sill_passes_what_a_broad_crest_does(length, head, discharge):
    """Sloping sides and cells of half a metre; then sheer sides and as few cells as a sill has."""
    q = discharge / length
    assert head_over_sill(q, 0.5, 2.0, 2.0) == pytest.approx(head, rel=0.04)
    assert 1.0 < head_over_sill(q, 1.0, 1.0, 0.0) / head < 1.17  # known: too high


def test_water_that_a_step_holds_stays_below_it():
    """The dam's water is thrown back by a step higher than it, and none stands above."""
    x = np.arange(80) + 0.5
    bed = np.where(x > 60, 5.0, 0.0)[None]
    found = flow_storm(bed, 1.0, 0.0, until=30.0, depth=np.where(x < 30, 2.0, 0.0)[None],
                       method="full")
    assert found.greatest_depth[0][:60].min() > 0.1
    assert not found.greatest_depth[0][60:].any()


def test_a_thin_sheet_on_any_slope_is_as_deep_as_manning_says():
    """Planes of 60 m side by side, 1 m cells, walls between; sheets thinner than the fall of the
    bed from cell to cell. Long after the last of the rain's waves is down."""
    slopes, roughness = (0.01, 0.02, 0.05, 0.1, 0.2), (0.035, 0.08, 0.15)
    x, rate = np.arange(60) + 0.5, 20.0
    bed, n, exact = np.full((30, 60), np.nan), np.ones((30, 60)), []
    for i, (slope, rough) in enumerate((s, r) for s in slopes for r in roughness):
        bed[2 * i], n[2 * i] = -slope * x, rough
        exact.append((rate / 3.6e6 * x * rough / np.sqrt(slope))**0.6)
    found = flow_storm(bed, 1.0, n, until=2000, rain=Rain.even(rate, 2000),
                       edges={"east": "normal"}, method="full")
    deep = found.depth[::2][:, 5:]
    assert deep == pytest.approx(np.array(exact)[:, 5:], rel=0.01)
    assert found.flux_east[::2, 10:-1] == pytest.approx(
        np.tile(rate / 3.6e6 * x, (15, 1))[:, 10:-1], rel=0.01)


def test_a_sheet_runs_down_dry_ground_at_the_speed_of_its_flow():
    """A steady feed at the top: behind its front the sheet has Manning's depth h, so that the
    front moves at q / h (a kinematic shock: Lighthill & Whitham 1955, from memory)."""
    slope, n, q = 0.1, 0.05, 1e-3
    x = np.arange(200) + 0.5
    feed = Feed(np.array([[0, 0]]), np.array([0.0, 1e4]), np.array([0.0, 1e4 * q]))
    found = flow_storm(-slope * x[None], 1.0, n, until=300.0, feeds={"top": feed}, method="full",
                       wet=1e-3)
    deep = (q * n / np.sqrt(slope))**0.6
    front = q / deep * 300
    assert found.depth[0, 3:int(front) - 5] == pytest.approx(deep, rel=0.01)
    assert found.depth[0, int(front) + 5:].max() < 0.02 * deep


def test_a_stirred_lake_comes_to_rest():
    """Without friction, over rough ground with islands, its energy falls: nothing stirs it."""
    rng = np.random.default_rng(1)
    bed = rng.random((24, 30)) * 3
    bed[5:8, 10:20] = np.nan
    ground = ~np.isnan(bed)
    depth = np.where(ground, np.maximum(2 + 0.01 * rng.standard_normal(bed.shape) - bed, 0.0), 0.0)

    def energy(h, east, south):
        h, east, south = (np.asarray(part, np.float64)[ground] for part in (h, east, south))
        moving = (east**2 + south**2) / np.where(h > 0, 2 * h, 1.0)
        return (moving + G * h * (h / 2 + bed[ground] - 2)).sum()
    kept = [energy(depth, 0 * depth, 0 * depth)]
    for until in (1.0, 5.0, 30.0, 150.0):
        found = flow_storm(bed, 1.0, 0.0, until=until, depth=depth, method="full")
        kept.append(energy(found.depth, found.flux_east, found.flux_south))
    assert (np.diff(kept) < 0).all()
    assert np.nanmax(np.hypot(found.flux_east, found.flux_south)) < 5e-3
