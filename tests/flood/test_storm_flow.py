"""What a run of the flow must keep on any ground: account, symmetry, bits; and its words."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.flood.storm_flow import (
    CurveNumberLoss,
    Foreseen,
    GreenAmptLoss,
    Rain,
    flow_storm,
)
from terrain.runoff.curve_number import potential_retention, runoff_depth
from terrain.runoff.green_ampt import depth_under_rain, infiltrate, texture_named
from terrain.runoff.storms import storm_shape

STORM = Rain.even(120.0, 60.0)
BOTH = pytest.mark.parametrize("method", ["local inertia", "full"])


def rough_ground(seed: int, rows: int, columns: int, holes: bool = True) -> np.ndarray:
    rng = np.random.default_rng(seed)
    bed = rng.random((rows, columns)) * rng.choice([0.01, 0.3, 3.0])
    bed += rng.uniform(0, 0.2) * np.arange(columns) + 1000 * rng.integers(2)
    if holes:
        bed[rng.random(bed.shape) < 0.05] = np.nan
        bed[0, 0] = 1000.0
    return bed


@settings(max_examples=40)
@given(seed=st.integers(0, 10**6), rows=st.integers(1, 40), columns=st.integers(1, 80),
       cell=st.sampled_from([0.2, 1.0, 10.0]), edges=st.sampled_from(["closed", "normal",
                                                                      "critical"]),
       holes=st.sampled_from(["walls", "sinks"]), loss=st.sampled_from(["none", "cn", "soil"]),
       method=st.sampled_from(["local inertia", "full"]))
def test_every_account_closes_and_no_depth_is_below_0(seed, rows, columns, cell, edges, holes, loss,
                                                      method):
    rng = np.random.default_rng(seed + 1)
    bed = rough_ground(seed, rows, columns)
    shape = bed.shape
    losses = {"none": None, "cn": CurveNumberLoss(rng.random(shape) * 3),
              "soil": GreenAmptLoss(rng.random(shape) * 50, rng.random(shape) * 20)}
    times = np.array([0.0, *np.cumsum(rng.uniform(0.5, 20, 4))])
    found = flow_storm(
        bed, cell, rng.random(shape) * 0.1, until=40, method=method, edges=edges, holes=holes,
        loss=losses[loss], rain=Rain(times, np.array([0.0, *np.cumsum(rng.uniform(0, 9, 4))])),
        soak=rng.random(shape) * 100 * rng.integers(2),
        depth=np.where(rng.random(shape) < 0.3, rng.random(shape) * 2, 0.0))
    account, ground = found.account, ~np.isnan(bed)
    came = account.rain + account.stood
    assert abs(account.error) < 1e-9 * came
    assert found.depth[ground].min() >= 0
    assert np.isnan(found.depth[~ground]).all()
    assert found.depth[ground].sum(dtype=np.float64) * cell**2 == pytest.approx(
        account.stands, rel=1e-6)  # float32
    assert (found.greatest_depth >= found.depth - 1e-4)[ground].all()
    if edges == "closed":
        assert account.left_edges == 0
    if holes == "walls":
        assert account.left_holes == 0


@pytest.mark.parametrize("depth", [8.0, 50.0, 150.0])
def test_rain_loses_what_the_curve_number_takes_to_1e_9(depth):
    """terrain.runoff.curve_number, itself held to TR-55 Table 2-1."""
    numbers = np.random.default_rng(3).choice([55.0, 72.5, 86.0, 98.0, 100.0], (30, 40))
    shape = storm_shape("II", 1.0)
    found = flow_storm(rough_ground(3, 30, 40, holes=False), 2.0, 0.05, until=3600,
                       rain=Rain.of_storm(shape, depth),
                       loss=CurveNumberLoss(potential_retention(numbers)))
    runoff = runoff_depth(depth, numbers).sum() / 1000 * 4
    assert found.account.stands == pytest.approx(runoff, rel=1e-9)
    assert found.account.lost == pytest.approx(1.2 * depth * 4 - runoff, rel=1e-9, abs=1e-9)


def test_soil_takes_what_green_and_ampt_say():
    """On level ground water stays where it fell: terrain.runoff.green_ampt, held to Chow et al."""
    loam = texture_named("silt loam")
    deficit = loam.suction_deficit(0.3)
    found = flow_storm(np.zeros((3, 4)), 1.0, 0.05, until=3600, rain=Rain.even(50.0, 3600),
                       loss=GreenAmptLoss(deficit, loam.conductivity))
    soaked = float(depth_under_rain(1.0, 50.0, deficit, loam.conductivity))
    assert infiltrate([50.0], 1.0, loam, 0.3)[0][0] == pytest.approx(soaked)
    # Rain is given every 2 s, and what waits soaks in later: a little more than as it falls.
    assert found.soaked == pytest.approx(soaked / 1000, rel=0.01)
    assert found.account.soaked == pytest.approx(12 * soaked / 1000, rel=0.01)


def test_a_bed_soaks_at_its_rate():
    found = flow_storm(np.zeros((2, 2)), 1.0, 0.05, until=7200, depth=0.1,
                       soak=[[36.0, 36.0], [36.0, 36.0]])
    assert found.depth == pytest.approx(0.1 - 0.072, abs=1e-6)


def test_water_stays_on_a_sill_until_it_is_passed():
    """A pool fills to its sill, and only then does the gate behind it see water."""
    bed = np.where(np.arange(60) == 30, 0.05, np.where(np.arange(60) < 30, 0.0, -0.5))
    bed = np.tile(bed, (6, 1))
    rain = Rain.even(60.0, 6000)
    found = flow_storm(bed, 1.0, 0.05, until=6000, rain=rain, record=100,
                       edges={"east": "critical"},
                       gates={"sill": [(6, 31), (0, 31)]}, gauges={"pool": (3, 5)})
    # Full when 31 columns' rain makes 30 columns of 0.05 m, rain on the sill flowing either way.
    full = 30 * 0.05 / (30.5 * 60 / 3.6e6)
    at = found.times < 0.9 * full
    assert found.gates["sill"].volume[at][-1] < 0.03 * found.account.rain
    after = found.gates["sill"].flow[-1]
    assert after == pytest.approx(31 * 6 * 60 / 3.6e6, rel=0.05)
    assert found.levels["pool"][0] == 0
    assert found.levels["pool"][-1] > 0.05
    assert np.isnan(flow_storm(bed, 1.0, 0.05, until=50, rain=STORM, wet=0.01).arrival).all()


@BOTH
@pytest.mark.parametrize("turn", [np.flipud, np.fliplr, np.transpose, np.rot90])
def test_ground_that_is_turned_turns_the_answer_bit_for_bit(method, turn):
    bed = rough_ground(5, 40, 75)
    rough = np.random.default_rng(6).random(bed.shape) * 0.1
    more = {"until": 30, "rain": STORM, "edges": "critical", "holes": "sinks", "method": method,
            "loss": CurveNumberLoss(2.0)}
    depth = np.zeros(bed.shape)
    depth[10:20, 20:40] = 1.0
    found = flow_storm(bed, 1.0, rough, depth=depth, **more)
    turned = flow_storm(turn(bed), 1.0, turn(rough), depth=turn(depth), **more)
    for name in ("depth", "greatest_depth", "greatest_speed", "greatest_depth_speed", "arrival"):
        assert np.array_equal(getattr(turned, name), turn(getattr(found, name)), equal_nan=True)


@BOTH
def test_the_same_bytes_for_any_number_of_threads(method):
    bed = rough_ground(8, 150, 90)
    depth = np.zeros(bed.shape)
    depth[40:60, 20:60] = 2.0  # across the seams, and more than the cells below can take
    known = []
    for threads in (1, 2, 3):
        found = flow_storm(bed, 1.0, 0.03, until=25, rain=STORM, depth=depth, threads=threads,
                           edges="normal", soak=50.0, method=method, record=5,
                           gates={"all": [(75, 0), (75, 90)], "side": [(0, 45), (150, 45)]})
        known.append((found.depth.tobytes(), found.flux_east.tobytes(), found.steps,
                      found.greatest_speed.tobytes(), found.arrival.tobytes(),
                      found.gates["all"].volume.tobytes(), found.gates["side"].volume.tobytes()))
    assert known[0] == known[1] == known[2]


@BOTH
def test_a_gate_sees_what_is_beyond_it(method):
    bed = np.tile(-0.02 * np.arange(50), (8, 1))
    found = flow_storm(bed, 1.0, 0.04, until=300, rain=STORM, method=method,
                       gates={"down": [(8, 20), (0, 20)], "up": [(0, 20), (8, 20)],
                              "stair": [(8, 18), (0, 22)]})
    beyond = (found.depth[:, 20:].sum(dtype=np.float64) - 8 * 30 * 0.002)
    assert found.gates["down"].volume[-1] == pytest.approx(beyond, abs=2e-5)
    assert found.gates["up"].volume[-1] == -found.gates["down"].volume[-1]
    assert found.gates["stair"].volume[-1] > 0


def test_dry_ground_is_passed_over_and_water_still_finds_its_way():
    """A lake breaks out over many dry ground: where it comes to is where a run with a drizzle
    everywhere, which keeps all of it awake, brings it."""
    bed = np.tile(0.01 * np.abs(np.arange(120) - 60.0), (200, 1)) - 0.02 * np.arange(200)[:, None]
    depth = np.zeros(bed.shape)
    depth[:20, 40:80] = 1.0
    alone = flow_storm(bed, 2.0, 0.04, until=400, depth=depth)
    drizzle = flow_storm(bed, 2.0, 0.04, until=400, depth=depth, rain=Rain.even(0.001, 400))
    assert alone.greatest_depth[150:].max() > 0.05
    assert alone.greatest_depth == pytest.approx(drizzle.greatest_depth, abs=2e-3)


def test_no_water_is_lost_at_ground_that_is_passed_over():
    """Far from a breaking lake lie pools whose levels differ by so little that they hold still
    until steps grow longer; then they stir beside ground that is passed over."""
    depth = np.full((400, 130), 0.02)
    depth += np.random.default_rng(2).integers(-60, 60, depth.shape) * 2.0**-25
    bed = np.zeros(depth.shape)
    bed[60:62], depth[:62], depth[:10] = 5.0, 0.0, 4.0
    bed[150::40], depth[150::40] = 1.0, 0.0
    # At the rim so little that less than half a unit leaves in a short step, more in a long one.
    bed[300:], depth[300:] = -0.5, np.linspace(4e-6, 2e-5, 100)[:, None]
    known = set()
    for threads in (1, 3):
        found = flow_storm(bed, 1.0, 0.04, until=300, depth=depth, threads=threads,
                           edges="critical")
        assert abs(found.account.error) < 1e-12
        known.add(found.depth.tobytes())
    assert len(known) == 1


def test_a_film_clings():
    bed = np.tile(-0.1 * np.arange(40), (3, 1))
    found = flow_storm(bed, 1.0, 0.05, until=1800, rain=Rain.even(60, 60), film=2e-4,
                       edges={"east": "critical"})
    # The last step that flows, of 4.8 s at most, takes up to q dt / dx of it, 0.021 mm, by Manning.
    assert found.depth[:, :-1].min() >= 2e-4 - 2.1e-5
    assert found.depth.max() < 2.5e-4


@pytest.mark.parametrize(("changed", "words"), [
    ({"rain": None}, "nothing to run"),
    ({"rain": Rain(np.array([0.0, 60.0]), np.array([0.0, 0.0]))}, "depth of 0 mm"),
    ({"rain": Rain(np.array([0.0, 60.0]), np.array([5.0, 0.0]))}, "start with 0 mm"),
    ({"roughness": np.full((5, 6), np.nan)}, "roughness nan"),
    ({"roughness": np.ones((5, 5))}, "roughness has the shape"),
    ({"roughness": -0.1}, "roughness -0.1"),
    ({"depth": np.zeros((6, 5))}, "depth has the shape"),
    ({"depth": -1.0}, "depth -1"),
    ({"soak": np.nan}, "soak nan"),
    ({"courant": 0.9}, "cannot hold"),
    ({"cell": 0.0}, "cell of 0 m"),
    ({"cell": 1e-6}, "cannot hold"),
    ({"until": 0.0}, "until 0 s"),
    ({"bed": np.zeros(5)}, "rows and columns"),
    ({"bed": np.full((5, 6), np.nan)}, "no ground"),
    ({"edges": "weir"}, "edge 'north: weir'"),
    ({"edges": {"top": "normal"}}, "edge 'top: normal'"),
    ({"holes": "open"}, "holes 'open'"),
    ({"gates": {"a": [(0, 0), (0, 3)]}}, "gate 'a' does not run"),
    ({"gates": {"a": [(2, 3)]}}, "gate 'a' has no length"),
    ({"gauges": {"b": (9, 9)}}, "gauge 'b'"),
    ({"loss": CurveNumberLoss(-3.0)}, "retention -3"),
    ({"loss": GreenAmptLoss(1.0, np.ones((2, 2)))}, "conductivity has the shape"),
    ({"depth": 20.0, "deepest": 10.0}, "is not above what stands"),
    ({"method": "best"}, "method 'best'"),
])
def test_what_cannot_be_run_is_told_in_a_sentence(changed, words):
    given = {"bed": np.zeros((5, 6)), "cell": 1.0, "roughness": 0.05, "until": 10.0,
             "rain": STORM} | changed
    with pytest.raises(ValueError, match=words):
        flow_storm(given.pop("bed"), given.pop("cell"), given.pop("roughness"), **given)


def test_water_deeper_than_there_is_room_for_is_told():
    """40 m2 of water gather in a notch 1 in 2, 4.5 m deep."""
    bed = np.tile(0.5 * abs(np.arange(40) - 20.0), (3, 1))
    with pytest.raises(ValueError, match="more than there is room for"):
        flow_storm(bed, 1.0, 0.02, until=60, depth=1.0, deepest=2.0)
    assert flow_storm(bed, 1.0, 0.02, until=60, depth=1.0).greatest_depth.max() > 4


@pytest.mark.parametrize("threads", [1, 2])
def test_a_run_can_be_stopped(threads):
    import threading

    def stop(now: float, until: float) -> None:
        assert 0 < now < until
        raise KeyboardInterrupt
    before = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        flow_storm(rough_ground(1, 120, 120), 1.0, 0.05, until=1e6, rain=Rain.even(50, 1e6),
                   progress=stop, threads=threads)
    assert threading.active_count() == before


def test_the_time_of_a_run_is_foreseen():
    class Enough(Exception):
        pass

    def look(told: Foreseen) -> None:
        assert told.seconds > 10
        assert told.with_cell(2.0) == pytest.approx(told.seconds / 8)
        raise Enough
    with pytest.raises(Enough):
        flow_storm(rough_ground(1, 100, 100), 1.0, 0.05, until=1e7, rain=Rain.even(50, 1e6),
                   foresee=look)
