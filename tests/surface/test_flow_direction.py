"""D8 directions on a taught grid, on planes, and what must hold on any ground."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from published import rows

from terrain.surface.accumulation import accumulate
from terrain.surface.depressions import drain, fill_hollows
from terrain.surface.kernels import cut_in_strips
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID

#: Codes of the published grid: 1 E, 2 SE, 4 S ... 128 NE; 0 the outlet.
CODES = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0])


def directions(heights):
    return drain(heights.astype(np.float32)).direction


def smooth_ground(seed, shape=(20, 17)):
    """Random ground without hollows and, in 24 random bits a cell, without ties."""
    random = np.random.default_rng(seed)
    rows_, columns = np.indices(shape)
    east, south = random.uniform(-1, 1, 2)
    tilt = rows_ * np.sign(south) * (2 + abs(south)) + columns * np.sign(east) * (2 + abs(east))
    return (500 + tilt + random.uniform(0, 0.9, shape)).astype(np.float32)


def next_cells(direction):
    """Flat index of the cell that each cell sends its water to; itself where water leaves."""
    row, column = np.indices(direction.shape)
    goes = direction < 8
    k = np.where(goes, direction, 0)
    return ((row + ROW_STEP[k] * goes) * direction.shape[1] + column + COLUMN_STEP[k] * goes)


# The grid taught with Jenson & Domingue, Photogramm. Eng. Remote Sens. 54 (1988), 1593-1600.
def test_directions_and_counts_of_the_six_by_six_grid():
    table = rows("d8_six_by_six.csv")

    def grid(name):
        return np.array([float(row[name]) for row in table]).reshape(6, 6)

    direction = directions(grid("elevation"))
    assert np.array_equal(CODES[direction], grid("d8"))
    assert np.array_equal(accumulate(direction) - 1, grid("upstream_cells"))


@pytest.mark.parametrize("k", range(8))
def test_a_plane_that_falls_towards_a_neighbour_drains_to_it(k):
    row, column = np.indices((9, 9))
    direction = directions(100.0 - 0.25 * (row * ROW_STEP[k] + column * COLUMN_STEP[k]))
    assert (direction[1:-1, 1:-1] == k).all()


@pytest.mark.parametrize(("bearing", "k"), [  # 22.5 degrees to each side of a direction are its own
    (0, 0), (22, 0), (23, 1), (45, 1), (67, 1), (68, 2), (112, 2), (113, 3), (202, 4), (203, 5),
    (292, 6), (293, 7), (338, 0)])
def test_the_nearest_of_eight_directions_is_taken_by_angle(bearing, k):
    """On a plane the drop per distance towards k goes with the cosine of the angle to it."""
    row, column = np.indices((9, 9))
    angle = np.radians(bearing)  # clockwise from east, as rows grow southwards
    direction = directions(100.0 - column * np.cos(angle) - row * np.sin(angle))
    assert (direction[1:-1, 1:-1] == k).all()


GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=12),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


@given(GROUND, st.integers(0, 3))
def test_no_loops_and_never_uphill(heights, holes):
    """Every path ends where water leaves, on any plateau, with voids anywhere."""
    for i in range(holes):
        heights[(3 * i) % heights.shape[0], (5 * i + 1) % heights.shape[1]] = np.nan
    drainage = drain(heights)
    filled, direction = drainage.filled(heights), drainage.direction
    known = np.isfinite(heights).ravel()
    assert np.array_equal((direction == VOID).ravel(), ~known)
    step = next_cells(direction).ravel()
    assert known[step[known]].all()
    assert (filled.ravel()[step[known]] <= filled.ravel()[known]).all()
    ends = np.arange(step.size)
    for _ in range(step.size):
        ends = step[ends]
    assert (direction.ravel()[ends[known]] == LEAVES).all()


@given(st.integers(0, 2**32 - 1))
def test_turned_or_mirrored_ground_turns_the_answer(seed):
    heights = smooth_ground(seed)
    assert np.array_equal(fill_hollows(heights), heights)
    direction, gathered = directions(heights), accumulate(directions(heights))
    for quarter in (1, 2, 3):  # against the clock; directions are counted with the clock
        turned = directions(np.rot90(heights, quarter))
        expected = np.rot90(np.where(direction < 8, (direction - 2 * quarter) % 8, direction),
                            quarter)
        assert np.array_equal(turned, expected)
        assert np.array_equal(accumulate(turned), np.rot90(gathered, quarter))
    mirrored = directions(heights[:, ::-1])
    expected = np.where(direction < 8, (4 - direction.astype(int)) % 8, direction)[:, ::-1]
    assert np.array_equal(mirrored, expected)
    assert np.array_equal(accumulate(mirrored), gathered[:, ::-1])


@given(hnp.arrays(np.float32, (9, 11), elements=st.integers(0, 6400).map(lambda n: n / 64)),
       st.sampled_from([-128.0, 256.0, 1024.0]))
def test_higher_ground_of_the_same_shape_drains_the_same(heights, lift):
    """Sixty-fourths of a metre and whole metres add without rounding in float32."""
    drainage, lifted = drain(heights), drain(heights + np.float32(lift))
    assert np.array_equal(lifted.filled(heights + np.float32(lift)),
                          drainage.filled(heights) + np.float32(lift))
    assert np.array_equal(lifted.direction, drainage.direction)


def test_a_raster_worked_in_strips_gives_the_same_answer(monkeypatch):
    """Hills with plateaus, hollows across the cuts and voids, in one strip and in eight."""
    from scipy import ndimage

    random = np.random.default_rng(5)
    heights = ndimage.gaussian_filter(random.normal(size=(90, 70)), 2) * 40
    heights[:, :30] = np.round(heights[:, :30])
    heights[40:44, 20:25] = np.nan
    heights = heights.astype(np.float32)
    weights = random.integers(0, 9, heights.shape).astype(float)
    whole = drain(heights)
    gathered = accumulate(whole.direction, weights)
    monkeypatch.setattr("terrain.surface.kernels.LEAST_STRIP", 1)
    assert len(cut_in_strips(*heights.shape)) == 8
    strips = drain(heights)
    assert np.array_equal(strips.direction, whole.direction)
    assert np.array_equal(strips.bowl, whole.bowl)
    assert np.array_equal(strips.spill_level, whole.spill_level)
    assert np.array_equal(accumulate(strips.direction, weights), gathered, equal_nan=True)
