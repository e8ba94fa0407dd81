"""Windows of large rasters: they hold the catchment, and answer as the whole raster does."""

import numpy as np
import pytest
from scipy import ndimage

import terrain.surface.window as window
from terrain.inputs.elevation import open_elevation
from terrain.surface.terrain import Terrain


@pytest.fixture
def small_limits(monkeypatch):
    monkeypatch.setattr(window, "WHOLE_UP_TO", 1000)
    monkeypatch.setattr(window, "FIRST_MARGIN", 5.0)


@pytest.fixture(scope="module")
def hills():
    """Rough ground with hollows that falls to the south-east."""
    row, column = np.indices((300, 260))
    rough = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=(300, 260)), 4) * 30
    return (200 - 0.08 * row - 0.05 * column + rough).astype(np.float32)


def at(x, y):
    def outlet(ground):
        found = np.zeros(ground.dem.shape, bool)
        found[ground.dem.row_column(x, y)] = True
        return found
    return outlet


def area_at(ground, x, y):
    return float(ground.contributing_area[ground.dem.row_column(x, y)])


def said(ground):
    """Whether the notes own up that the catchment may be larger."""
    return any("at least" in note or "could not be ruled out" in note
               for note in ground.dem.notes)


@pytest.fixture(scope="module")
def pans(hills):
    """The same ground with 30 pans pressed into it, wider than a first window."""
    row, column = np.indices(hills.shape)
    ground = hills.copy()
    for r, c in np.random.default_rng(8).integers(20, 240, (30, 2)):
        ground -= 2.5 * np.exp(-((row - r)**2 + (column - c)**2) / 300).astype(np.float32)
    return ground


@pytest.mark.parametrize("ground", ["hills", "pans"])
def test_a_window_answers_as_the_whole_raster_or_owns_up(tmp_path, write_raster, small_limits,
                                                         monkeypatch, request, ground):
    monkeypatch.setattr(window, "WHOLE_UP_TO", 10_000)
    files = open_elevation(write_raster(tmp_path / "g.tif", request.getfixturevalue(ground)))
    whole = Terrain(files.read())
    places = np.argwhere((whole.contributing_area > 200) & ~whole.edge)
    same = 0
    for row, column in places[np.random.default_rng(1).permutation(len(places))[:40]]:
        x, y = (float(v) for v in whole.dem.xy(row, column))
        part = window.hold(files, (x, y, x, y), at(x, y))
        assert any(note.startswith("Of 260 by 300 cells the ") for note in part.dem.notes) or (
            part.dem.shape == whole.dem.shape)
        if area_at(part, x, y) == area_at(whole, x, y):
            same += 1
            cells, found = whole.catchment(at(x, y)(whole)), part.catchment(at(x, y)(part))
            r, c = (int(i) for i in part.dem.row_column(x, y))
            assert np.array_equal(found, cells[row - r:row - r + found.shape[0],
                                               column - c:column - c + found.shape[1]])
        else:
            assert said(part)
    assert same >= 20  # the rest own up


def test_a_catchment_too_large_to_hold_is_said_to_be_cut_off(tmp_path, write_raster, small_limits,
                                                             monkeypatch):
    monkeypatch.setattr(window, "MOST_IN_WINDOW", 3000)
    heights = np.tile(100 - 0.1 * np.arange(400.0), (60, 1)).astype(np.float32)
    files = open_elevation(write_raster(tmp_path / "plane.tif", heights))
    x, y = files.bounds[2] - 20.5, files.bounds[3] - 30.5
    ground = window.hold(files, (x, y, x, y), at(x, y))
    assert area_at(ground, x, y) < 380
    assert ground.dem.heights.size <= 3000
    assert "at least" in ground.dem.notes[-1]


def test_a_small_raster_is_read_whole_and_nothing_is_said(tmp_path, write_raster, hills):
    files = open_elevation(write_raster(tmp_path / "hills.tif", hills))
    x, y = files.bounds[0] + 100.5, files.bounds[1] + 100.5
    ground = window.hold(files, (x, y, x, y), at(x, y))
    assert ground.dem.shape == (300, 260)
    assert ground.dem.notes == files.read().notes


def test_a_raster_s_own_edge_ends_the_growth(tmp_path, write_raster, small_limits):
    heights = np.tile(100 - 0.1 * np.arange(400.0), (60, 1)).astype(np.float32)
    files = open_elevation(write_raster(tmp_path / "plane.tif", heights))
    x, y = files.bounds[2] - 20.5, files.bounds[3] - 30.5
    ground = window.hold(files, (x, y, x, y), at(x, y))
    assert area_at(ground, x, y) == 380
    assert not ground.dem.goes_on[0]  # it reaches the raster's western edge
    assert not any("at least" in note for note in ground.dem.notes)


def test_a_pan_far_off_that_spills_this_way_is_held_too(tmp_path, write_raster, small_limits):
    """North of a ridge the ground falls away to a pan; full, it spills by a gap to the valley."""
    row, column = np.indices((300, 300))
    off = abs(column - 150)
    pan = 100 + 0.1 * abs(row - 75)
    pan = np.where((off > 130) | (row < 15), 150, pan)
    valley = 107.5 - 0.05 * (row - 150) + 0.1 * np.minimum(off, 60 - off)
    heights = np.where(row < 150, pan, valley)
    heights[140:160] = np.maximum(heights, 109)[140:160]
    heights[140:160, 150] = 107.6 - 0.01 * np.arange(20)
    files = open_elevation(write_raster(tmp_path / "pan.tif", heights.astype(np.float32)))
    whole = Terrain(files.read())
    x, y = (float(v) for v in whole.dem.xy(280, 150))
    assert area_at(whole, x, y) > 125 * 260  # the pan and the valley's head
    ground = window.hold(files, (x, y, x, y), at(x, y))
    assert area_at(ground, x, y) >= (1 - window.MATTERS) * area_at(whole, x, y)
    assert area_at(ground, x, y) == area_at(whole, x, y) or said(ground)


def test_a_coarse_look_takes_the_lowest_of_each_block(tmp_path, write_raster, hills, monkeypatch):
    heights = hills.copy()
    heights[:9, :9] = np.nan
    heights[50, 60] = -3.0
    files = open_elevation(write_raster(tmp_path / "hills.tif", heights), fill_holes=0)
    monkeypatch.setattr("terrain.inputs.elevation.BAND", 5000)
    coarse, highest = files.read_coarse(9)
    assert coarse.shape == (34, 29)  # 300 and 260 by 9, rounded up
    assert (coarse.cell, coarse.left, coarse.top) == (9.0, files.bounds[0], files.bounds[3])
    for row, column in np.ndindex(34, 29):
        block = heights[9 * row:9 * row + 9, 9 * column:9 * column + 9]
        known = block[np.isfinite(block)]
        assert np.array_equal(coarse.heights[row, column], known.min() if known.size else np.nan,
                              equal_nan=True)
        assert np.array_equal(highest[row, column], block.max(), equal_nan=True)


def test_a_pan_that_may_spill_in_by_a_narrow_channel_is_told(tmp_path, write_raster, small_limits):
    """The catchment is one channel of a cell's width: too narrow for the coarse look."""
    row, column = np.indices((300, 300))
    off = abs(column - 150)
    heights = np.where((row < 150) & (off < 120) & (row > 20), 100 + 0.1 * abs(row - 75), 150.0)
    heights[150:] = 160 - 0.05 * off[150:] - 0.001 * row[150:]  # a smooth back, cut by the channel
    heights[140:, 150] = 107.0 - 0.01 * np.arange(160)
    files = open_elevation(write_raster(tmp_path / "pan.tif", heights.astype(np.float32)))
    whole = Terrain(files.read())
    x, y = (float(v) for v in whole.dem.xy(250, 150))
    assert area_at(whole, x, y) > 20_000
    ground = window.hold(files, (x, y, x, y), at(x, y))
    assert area_at(ground, x, y) == area_at(whole, x, y) or said(ground)
