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


def catchment_at(x, y):
    def ask(ground):
        row, column = (int(i) for i in ground.dem.row_column(x, y))
        outlet = np.zeros(ground.dem.shape, bool)
        outlet[row, column] = True
        cells = ground.catchment(outlet)
        return float(ground.contributing_area[row, column]), cells
    return ask


@pytest.mark.parametrize("seed", range(12))
def test_a_window_answers_as_the_whole_raster(tmp_path, write_raster, hills, small_limits, seed):
    path = write_raster(tmp_path / "hills.tif", hills)
    files = open_elevation(path)
    whole = Terrain(files.read())
    random = np.random.default_rng(seed)
    row, column = random.integers(20, 280), random.integers(20, 240)
    x, y = (float(v) for v in whole.dem.xy(row, column))
    expected, cells = catchment_at(x, y)(whole)
    ground, area = window.hold(files, (x, y, x, y), catchment_at(x, y))
    assert area == expected
    assert ground.dem.shape < whole.dem.shape
    r, c = (int(i) for i in ground.dem.row_column(x, y))
    outlet = np.zeros(ground.dem.shape, bool)
    outlet[r, c] = True
    found = ground.catchment(outlet)
    assert np.array_equal(found, cells[row - r:row - r + found.shape[0],
                                       column - c:column - c + found.shape[1]])
    assert ground.dem.notes[-1].startswith("Of 260 by 300 cells the ")


def test_a_catchment_too_large_to_hold_is_said_to_be_cut_off(tmp_path, write_raster, small_limits,
                                                             monkeypatch):
    monkeypatch.setattr(window, "MOST_IN_WINDOW", 3000)
    heights = np.tile(100 - 0.1 * np.arange(400.0), (60, 1)).astype(np.float32)
    files = open_elevation(write_raster(tmp_path / "plane.tif", heights))
    x, y = files.bounds[2] - 20.5, files.bounds[3] - 30.5
    ground, area = window.hold(files, (x, y, x, y), catchment_at(x, y))
    assert area < 380
    assert ground.dem.heights.size <= 3000
    assert "at least" in ground.dem.notes[-1]


def test_a_small_raster_is_read_whole_and_nothing_is_said(tmp_path, write_raster, hills):
    files = open_elevation(write_raster(tmp_path / "hills.tif", hills))
    x, y = files.bounds[0] + 100.5, files.bounds[1] + 100.5
    ground, _ = window.hold(files, (x, y, x, y), catchment_at(x, y))
    assert ground.dem.shape == (300, 260)
    assert ground.dem.notes == files.read().notes


def test_a_raster_s_own_edge_ends_the_growth(tmp_path, write_raster, small_limits):
    heights = np.tile(100 - 0.1 * np.arange(400.0), (60, 1)).astype(np.float32)
    files = open_elevation(write_raster(tmp_path / "plane.tif", heights))
    x, y = files.bounds[2] - 20.5, files.bounds[3] - 30.5
    ground, area = window.hold(files, (x, y, x, y), catchment_at(x, y))
    assert area == 380
    assert not ground.dem.goes_on[0]  # it reaches the raster's western edge
    assert not any("at least" in note for note in ground.dem.notes)
