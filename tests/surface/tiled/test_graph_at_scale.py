"""Tiles that are moved to other places hand over what they would hand over there, and all that the
simulation of a county rests on: the real run is what is held against it."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.spill import solve
from terrain.surface.tiled.work import one_by_one

_FILE = Path(__file__).parents[2] / "benchmarks/tiled_graph.py"
_SPEC = importlib.util.spec_from_file_location("tiled_graph", _FILE)
tiled_graph = importlib.util.module_from_spec(_SPEC)
sys.modules["tiled_graph"] = tiled_graph
_SPEC.loader.exec_module(tiled_graph)


def rough(side, kind):
    """Ground with hollows; with flats, in whole steps of a height."""
    random = np.random.default_rng(5)
    heights = random.normal(size=(side, side)).cumsum(0).cumsum(1) / side
    heights += random.normal(size=heights.shape) * 0.3
    return np.round(heights * 6 if kind == "flats" else heights, 0 if kind == "flats" else 9
                    ).astype(np.float32)


@pytest.mark.parametrize("kind", ["no flats", "flats"])
@pytest.mark.parametrize(("base", "tiles"), [(1, 10), (2, 12)])
def test_moved_tiles_are_those_of_a_real_run(tmp_path, base, tiles, kind):
    side = 48 // base
    path = tmp_path / "hills.npy"
    np.save(path, rough(base * side + 1, kind))
    few = tiled_graph.work_of(path, 2 * base + 4, side, tmp_path / "few")
    real = tiled_graph.work_of(path, tiles, side, tmp_path / "real")
    told = tiled_graph.first_steps(few, one_by_one)
    wanted = tiled_graph.first_steps(real, one_by_one, whole=True)
    lying, joined, handed, _ = tiled_graph.lay_out(told, few.grid, real.grid, base)
    if kind == "flats":
        assert joined.open.sum() > 20
        assert (~joined.open).sum() > 20
    for made, step in ((lying, "flats"), (handed, "bowls")):
        for number in range(real.grid.count):
            assert made[number].keys() == wanted[step][number].keys()
            for name, array in wanted[step][number].items():
                assert made[number][name].dtype == array.dtype
                assert np.array_equal(made[number][name], array), (step, number, name)
    solution = solve(real.grid, handed, int((~joined.open).sum()))
    assert (solution.nodes, solution.edges) == wanted["graph"]
    for made, answer in zip(solution.answers, wanted["answers"], strict=True):
        for name, array in vars(answer).items():
            assert np.array_equal(getattr(made, name), array), name


def test_borders_match(tmp_path):
    """Mirrored about the outermost rows: neighbours there are those of the hills."""
    hills = np.arange(25.0).reshape(5, 5)
    np.save(tmp_path / "hills.npy", hills)
    ground = tiled_graph.work_of(tmp_path / "hills.npy", 4, 4).ground
    read = ground.read(Window(0, 16, 0, 16))
    assert np.array_equal(read[:5, :5], hills)
    assert np.array_equal(read[4:9, :5], hills[::-1])
    assert np.array_equal(read[8:13, 8:13], hills)
    assert np.array_equal(ground.read(Window(3, 11, 2, 7)), read[3:11, 2:7])


def test_a_flat_that_reaches_too_far_is_told(tmp_path):
    """A level plain cut at every second column of tiles, and open at the western edge alone: what
    lies two tiles from there drains, and the same ground further east does not."""
    side = 8
    np.save(tmp_path / "hills.npy", np.full((side + 1, side + 1), 5.0, np.float32))
    few = tiled_graph.work_of(tmp_path / "hills.npy", 6, side, tmp_path / "few")
    told = tiled_graph.first_steps(few, one_by_one)
    for number, part in enumerate(told["flats"]):
        part["open"] = np.full(part["open"].size, number % 6 == 0)
        if number % 6 == 3:
            for name in ("touching", "height", "part_of"):
                part[name] = part[name][:0]
    big = tiled_graph.work_of(tmp_path / "hills.npy", 8, side).grid
    with pytest.raises(ValueError, match="reaches further"):
        tiled_graph.lay_out(told, few.grid, big, 1)
