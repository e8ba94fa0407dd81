"""Directions, filled surface, sums and labels tile by tile: those of the whole, cell for cell."""

import tempfile
from pathlib import Path

import matplotlib.cbook
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from terrain.surface.accumulation import accumulate
from terrain.surface.catchments import label_catchments
from terrain.surface.depressions import drain
from terrain.surface.neighbours import LEAVES
from terrain.surface.slope import filled_by_library
from terrain.surface.tiled.gathered import gather_all
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import ArrayValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.labelled import label_all
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Work

SHAPES = hnp.array_shapes(min_dims=2, max_dims=2, min_side=2, max_side=12)
PLATEAUS = st.integers(0, 3).map(float)
HEIGHTS = st.floats(-400, 8000, width=32)


def surfaces(heights):
    return SHAPES.flatmap(lambda shape: hnp.arrays(np.float32, shape, elements=heights))


def cuts(data, size):
    """Any cuts of a side, down to single cells; mostly few, as each tile is some files."""
    inner = data.draw(st.sets(st.integers(1, size - 1), max_size=5)) if size > 1 else set()
    return (0, *sorted(inner), size)


def check(heights, row_cuts, column_cuts):
    """Everything that tiles give, beside the whole raster's."""
    heights = np.ascontiguousarray(heights, np.float32)
    random = np.random.default_rng(heights.size)
    weights = random.random(heights.shape) * random.choice([1e-8, 1.0, 1e8], heights.shape)
    weights[random.random(heights.shape) < 0.1] = np.nan
    marks = np.where(random.random(heights.shape) < 0.1,
                     random.integers(1, 9, heights.shape), 0).astype(np.int32)
    whole = Window(0, heights.shape[0], 0, heights.shape[1])
    drainage = drain(heights)
    with tempfile.TemporaryDirectory() as folder:
        work = Work(ArrayValues(heights), Grid(heights.shape, row_cuts, column_cuts),
                    KeptTiles(Path(folder)))
        tiled = route(work)
        assert np.array_equal(tiled.direction(whole), drainage.direction)
        assert np.array_equal(tiled.filled(whole), drainage.filled(heights), equal_nan=True)
        assert np.array_equal(gather_all(work, "cells").read(whole),
                              accumulate(drainage.direction), equal_nan=True)
        # To the bit, though the weights span sixteen decimal places.
        assert np.array_equal(gather_all(work, "weights", ArrayValues(weights)).read(whole),
                              accumulate(drainage.direction, weights), equal_nan=True)
        assert np.array_equal(label_all(work, "marks", ArrayValues(marks)).read(whole),
                              label_catchments(drainage.direction, marks))
        return tiled.filled(whole)


@pytest.mark.slow
@settings(max_examples=30)
@given(surfaces(PLATEAUS) | surfaces(HEIGHTS), st.data())
def test_any_ground_cut_anyhow(heights, data):
    check(heights, cuts(data, heights.shape[0]), cuts(data, heights.shape[1]))


@pytest.mark.slow
@settings(max_examples=25)
@given(surfaces(PLATEAUS), st.data())
def test_ground_with_voids_cut_anyhow(heights, data):
    holes = data.draw(hnp.arrays(np.bool_, heights.shape, elements=st.sampled_from(
        [True, False, False, False])))
    heights[holes] = np.nan
    check(heights, cuts(data, heights.shape[0]), cuts(data, heights.shape[1]))


@pytest.mark.slow
@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1), st.data())
def test_rough_ground_with_hollows_of_many_cells_cut_anyhow(seed, data):
    random = np.random.default_rng(seed)
    shape = tuple(map(int, random.integers(12, 40, 2)))
    heights = np.round(random.normal(size=shape).cumsum(0).cumsum(1) / 4, random.integers(0, 3))
    heights[random.random(shape) < random.choice([0, 0.02])] = np.nan
    check(heights, cuts(data, shape[0]), cuts(data, shape[1]))


def nested(side):
    """Rings of walls, each lower than the one around it: a hollow within a hollow, and so on."""
    row, column = np.indices((side, side))
    ring = np.minimum(np.minimum(row, column), np.minimum(side - 1 - row, side - 1 - column))
    return np.where(ring % 2 == 0, 20.0 - ring, 3.0)


def spiral(side, end):
    """A level groove that winds inwards between walls; at its outer end it lies `end` high."""
    heights = np.full((side, side), 9.0)
    row, column, turn = 1, 0, 0
    steps = ((0, 1), (1, 0), (0, -1), (-1, 0))
    heights[row, column] = end
    while True:
        for _ in range(4):
            r, c = row + steps[turn][0], column + steps[turn][1]
            ahead = r + steps[turn][0], c + steps[turn][1]
            if (0 < r < side - 1 and 0 < c < side - 1 and heights[r, c] == 9.0
                    and (min(ahead) < 0 or max(ahead) >= side or heights[ahead] == 9.0)):
                break
            turn = (turn + 1) % 4
        else:
            return heights
        row, column = r, c
        heights[r, c] = 2.0


def tiles(shape, side):
    grid = Grid.square(shape, side)
    return grid.row_cuts, grid.column_cuts


@pytest.mark.parametrize("side", [2, 3, 5, 7])
@pytest.mark.parametrize("ground", [nested(15), spiral(15, 1.0), spiral(15, 5.0),
                                    np.zeros((13, 9)), np.zeros((2, 9)), np.zeros((1, 5))],
                         ids=["nested", "spiral that drains", "spiral that fills", "level",
                              "two rows", "one row"])
def test_contrived_ground(ground, side):
    check(ground, *tiles(ground.shape, side))


def test_a_lake_over_many_tiles_with_an_island_and_a_void():
    row, column = np.indices((60, 70))
    heights = np.hypot(row - 30, column - 35) + 3.0
    heights[heights < 25] = 20.0
    heights[28:33, 30:40] = 26.0
    heights[10, 30:36] = np.nan
    check(heights, *tiles(heights.shape, 9))


@pytest.fixture(scope="module")
def fault():
    """A real raster in whole metres, full of flats: matplotlib's sample data, from SRTM."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.float32)


@pytest.mark.parametrize("side", [47, 128])
def test_a_real_raster(fault, side):
    """The filled surface against richdem's priority-flood too."""
    filled = check(fault, *tiles(fault.shape, side))
    assert np.array_equal(filled, filled_by_library(fault))


def test_a_sum_has_the_same_bits_in_one_strip_and_in_eight(fault, monkeypatch):
    direction = drain(fault).direction
    weights = np.random.default_rng(2).random(fault.shape)
    gathered = accumulate(direction, weights)
    monkeypatch.setattr("terrain.surface.kernels.LEAST_STRIP", 1)
    assert np.array_equal(accumulate(direction, weights), gathered)


@pytest.mark.parametrize("void", [(2, 2), (2, 3), (2, 4), (4, 4)])
@pytest.mark.parametrize("cut", [2, 3, 4, 5])
def test_a_tie_between_ways_out_does_not_depend_on_which_is_seen_first(void, cut):
    """Water of a full hollow may leave beside a void or go down to the east, at one cell and
    level: it leaves, wherever the void lies."""
    heights = np.full((7, 7), 9.0, np.float32)
    heights[4, 2] = 1.0
    heights[3, 3:] = 5.0, 4.0, 3.0, 2.0
    heights[void] = np.nan
    assert drain(heights).direction[3, 3] == LEAVES
    check(heights, (0, cut, 7), (0, cut, 7))
