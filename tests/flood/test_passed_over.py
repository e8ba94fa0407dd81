"""Passing over what holds still must change nothing: the same bits as when every piece of every row
is worked at every step, on any number of threads, however the ground is turned.

What is expected comes from the same run with nothing passed over, and from the symmetry of the
equations.  Steps are kept as long as one another, for water at rest that moves less than half a
unit a step stays, and so may start as steps grow longer.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from terrain.flood import run
from terrain.flood.local_inertia import EAST_BEFORE, JUST_MOVED, PIECE, WEST_BEFORE, _find_live
from terrain.flood.storm_flow import Feed, Flow, GreenAmptLoss, Lip, Rain, Transfer, flow_storm

Case = dict[str, Any]
STEP = 0.125
SHAPES = [(1, 150), (150, 1), (3, 20), (9, 2 * PIECE), (12, 2 * PIECE + 1), (40, 100), (70, 40)]


def storm_on_rough_ground(seed: int, rows: int, columns: int) -> Case:
    """A pool let go, a second rain after the first has come to rest, feed and transfer, holes, open
    edges; ground so rough that water stops and starts, on the last seeds level."""
    rng = np.random.default_rng(seed)
    row, column = np.mgrid[:rows, :columns]
    bed = rng.random((rows, columns)) * rng.choice([0.002, 0.05, 0.3])
    bed += 0.02 * rng.integers(-1, 2) * column + 0.02 * rng.integers(-1, 2) * row
    bed[rng.random(bed.shape) < 0.04] = np.nan
    bed[rows // 2, columns // 2] = 0.0
    ground = np.argwhere(~np.isnan(bed))
    pick = ground[rng.permutation(len(ground))]
    away = (row - pick[0, 0]) ** 2 + (column - pick[0, 1]) ** 2
    case: Case = {
        "bed": bed, "cell": 1.0, "roughness": 0.02 + 0.1 * rng.random(bed.shape), "until": 40.0,
        "depth": np.where(away < 9, 0.4, 0.0), "record": 8.0,
        "film": float(rng.choice([0.0, 0.001])), "holes": str(rng.choice(["walls", "sinks"])),
        "edges": dict(zip(("north", "west", "south", "east"),
                          map(str, rng.choice(["closed", "normal", "critical"], 4)), strict=True)),
        "feeds": {"tank": Feed(pick[1:3], np.array([0.0, 9.0, 10.0, 30.0, 31.0]),
                               np.array([0.0, 0.0, 0.05, 0.05, 0.1]))}}
    if seed % 3:
        case["rain"] = Rain(np.array([0.0, 2.0, 24.0, 26.0]), np.array([0.0, 0.5, 0.5, 4.0]))
        case["loss"] = GreenAmptLoss(rng.random(bed.shape) * 20, rng.random(bed.shape) * 30)
    if seed % 2:
        case["transfers"] = {"pump": Transfer(pick[:1], pick[4:6],
                                              Lip(float(bed[tuple(pick[0])]) + 0.1, 0.05))}
    return case


CASES = [storm_on_rough_ground(seed, *SHAPES[seed % len(SHAPES)]) for seed in range(28)]


@pytest.fixture
def even_steps(monkeypatch):
    monkeypatch.setattr(run, "LONGEST", STEP)


def flow_and_depths(case: Case, threads: int = 1) -> tuple[Flow, list[np.ndarray]]:
    depths: list[np.ndarray] = []
    found = flow_storm(**case, threads=threads, watch=lambda _, depth: depths.append(depth))
    assert abs(found.account.error) < 1e-12 * found.account.came
    assert np.nanmin(found.depth) >= 0
    return found, depths


def all_bits(case: Case, threads: int = 1) -> list[bytes]:
    found, depths = flow_and_depths(case, threads)
    kept = (found.flux_east, found.flux_south, found.greatest_depth, found.arrival, found.soaked)
    return [array.tobytes() for array in (*depths, *kept)]


def work_everything(monkeypatch) -> None:
    """Every piece of every row, step for step; batches end where they would."""
    take = run.Run._take

    def stirred(self, pool, step, count, after, rained):
        steps = self.steps
        for self.steps in range(steps, steps + count):
            take(self, pool, step, 1, after, np.ones_like(rained))
        self.steps = steps

    monkeypatch.setattr(run.Run, "_take", stirred)


def test_nothing_that_is_passed_over_would_have_moved(monkeypatch, even_steps):
    passed_over = [flow_and_depths(case) for case in CASES]
    work_everything(monkeypatch)
    for number, (case, (flow, depths)) in enumerate(zip(CASES, passed_over, strict=True)):
        other, worked = flow_and_depths(case)
        assert flow.shortest_step == other.shortest_step == STEP
        for depth, expected in zip(depths, worked, strict=True):
            np.testing.assert_array_equal(depth, expected, err_msg=f"case {number}")
        np.testing.assert_array_equal(flow.flux_east, other.flux_east)
        np.testing.assert_array_equal(flow.flux_south, other.flux_south)
        assert flow.account == other.account


@pytest.mark.parametrize(("row", "piece", "flag"), [
    (1, 1, JUST_MOVED), (3, 1, JUST_MOVED), (2, 0, EAST_BEFORE), (2, 2, WEST_BEFORE)])
def test_what_lies_beside_water_that_ceased_to_move_is_worked_once_more(row, piece, flag):
    """In the equation a flux also depends on those in line with it and across it, which may have
    held it back: the rule itself, for so little water does so that hardly any run shows it."""
    width, pieces = 3 * PIECE + 2, 3
    live = np.zeros((5, pieces + 2), np.uint8)
    found = np.zeros(pieces, np.uint8)
    assert not _find_live(live.reshape(-1), 2, 3, width, found)
    live[row, piece + 1] = flag
    assert _find_live(live.reshape(-1), 2, 3, width, found)
    assert found[1]


def turn_case(case: Case, turn: Callable[[np.ndarray], np.ndarray], sides: str) -> Case:
    """The same with its ground turned; `sides` are first letters of the sides that north, west,
    south and east become."""
    shape = case["bed"].shape
    numbers = turn(np.arange(np.prod(shape)).reshape(shape))
    places = np.argwhere(numbers >= 0)[np.argsort(numbers.reshape(-1))]
    names = {name[0]: name for name in case["edges"]}

    def moved(cells: np.ndarray) -> np.ndarray:
        return places[cells[:, 0] * shape[1] + cells[:, 1]]

    turned = {**case, **{name: turn(case[name]) for name in ("bed", "roughness", "depth")},
              "edges": {names[to]: case["edges"][names[side]]
                        for side, to in zip("nwse", sides, strict=True)},
              "feeds": {"tank": Feed(moved(case["feeds"]["tank"].target),
                                     case["feeds"]["tank"].times, case["feeds"]["tank"].volumes)}}
    if "loss" in case:
        turned["loss"] = GreenAmptLoss(turn(case["loss"].suction_deficit),
                                       turn(case["loss"].conductivity))
    if "transfers" in case:
        pump = case["transfers"]["pump"]
        turned["transfers"] = {"pump": Transfer(moved(pump.source), moved(pump.target), pump.way)}
    return turned


@pytest.mark.parametrize(("turn", "sides"), [
    (np.rot90, "wsen"), (lambda a: np.rot90(a, 2), "senw"), (lambda a: np.rot90(a, 3), "enws"),
    (np.fliplr, "nesw"), (np.flipud, "swne"), (np.transpose, "wnes")])
def test_ground_that_is_turned_turns_the_depths_bit_for_bit(turn, sides, even_steps):
    """Pieces lie along rows: turned, others are passed over."""
    for number, case in enumerate(CASES[:14]):
        _, depths = flow_and_depths(case)
        _, turned = flow_and_depths(turn_case(case, turn, sides))
        for depth, other in zip(depths, turned, strict=True):
            np.testing.assert_array_equal(turn(depth), other, err_msg=f"case {number}")


@pytest.mark.parametrize("rows", [1, 2, 4, 7, 11])
def test_more_threads_than_rows_give_the_same_bits(rows):
    """A thread waits for its neighbours alone, so it must not read beyond their rows."""
    rng = np.random.default_rng(rows)
    case = {"bed": rng.random((rows, 100)) * 0.3, "cell": 1.0, "roughness": 0.03, "until": 20.0,
            "depth": rng.random((rows, 100)) * 0.2}
    alone = all_bits(case)
    for threads in (2, 3, 4, 40):
        assert all_bits(case, threads) == alone
    for case in CASES[rows % 7::7]:
        assert all_bits(case, 3) == all_bits(case)


def test_steps_grow_as_deep_water_runs_off():
    """A step is bounded by the water there is, not by what stood there at the start: the run takes
    fewer steps than the deepest water of its start would ask for throughout."""
    column = np.tile(np.arange(100.0), (4, 1))
    found = flow_storm(-0.01 * column, 1.0, 0.03, until=400.0, edges={"east": "normal"},
                       depth=np.where(column < 10, 1.5, 0.0))
    assert found.shortest_step * found.steps < 400.0 / 3
