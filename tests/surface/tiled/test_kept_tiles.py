"""Kept tiles: a run that was stopped goes on, a tile that was spoilt is made anew."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.surface.depressions import drain
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import ArrayValues, FileValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Work

#: Routes a raster and is killed by the system in the middle of the task whose number is given.
KILLED = """
import os, signal, sys
from pathlib import Path
from terrain.surface.tiled.grid import Grid
from terrain.surface.tiled.ground import FileValues
from terrain.surface.tiled.route import route
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.work import Work
ground, left = FileValues(sys.argv[1]), int(sys.argv[3])
put = KeptTiles.put
def put_once_more(self, *given):
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    put(self, *given)
KeptTiles.put = put_once_more
route(Work(ground, Grid.square(ground.shape, 20), KeptTiles(Path(sys.argv[2]))))
"""


@pytest.fixture
def ground(tmp_path):
    random = np.random.default_rng(8)
    heights = np.round(random.normal(size=(60, 80)).cumsum(0).cumsum(1) / 4).astype(np.float32)
    heights[30:33, 40:44] = np.nan
    np.save(tmp_path / "ground.npy", heights)
    return heights, FileValues(str(tmp_path / "ground.npy"))


def work_in(folder, ground):
    return Work(ground, Grid.square(ground.shape, 20), KeptTiles(folder))


def times(folder):
    return {path.relative_to(folder): path.stat().st_mtime_ns for path in folder.rglob("*.tile")}


def same(tiled, heights):
    whole = Window(0, heights.shape[0], 0, heights.shape[1])
    drainage = drain(heights)
    return (np.array_equal(tiled.direction(whole), drainage.direction)
            and np.array_equal(tiled.filled(whole), drainage.filled(heights), equal_nan=True))


@pytest.mark.parametrize("task", [2, 17, 30])
def test_a_killed_run_goes_on_where_it_was(tmp_path, ground, task):
    heights, file = ground
    folder = tmp_path / "tiles"
    done = subprocess.run([sys.executable, "-c", KILLED, file.path, folder, str(task)],
                          check=False)
    assert done.returncode == -signal.SIGKILL
    before = times(folder)
    assert before
    assert same(route(work_in(folder, file)), heights)
    after = times(folder)
    assert len(after) > len(before)
    assert {name: after[name] for name in before} == before


@pytest.mark.parametrize("step", ["flats", "bowls", "drained"])
@pytest.mark.parametrize("harm", ["a bit", "cut off", "no seal", "a false seal", "gone"])
def test_a_spoilt_tile_is_made_anew_and_no_other(tmp_path, ground, step, harm):
    heights, file = ground
    folder = tmp_path / "tiles"
    work = work_in(folder, file)
    route(work)
    before = times(folder)
    data, seal = (folder / step / f"0000005.{kind}" for kind in ("tile", "json"))
    if harm == "a bit":
        held = bytearray(data.read_bytes())
        held[len(held) // 2] ^= 4
        data.write_bytes(held)
    elif harm == "cut off":
        os.truncate(data, data.stat().st_size // 2)
    elif harm == "a false seal":
        seal.write_text(seal.read_text().replace("[0, ", "[64, ", 1))
    else:
        (seal if harm == "no seal" else data).unlink()
    assert not work.tiles.holds(step, 5)
    assert same(route(work), heights)
    assert work.tiles.holds(step, 5)
    after = times(folder)
    changed = {name for name in before if after[name] != before[name]}
    assert Path(step, "0000005.tile") in changed or harm == "a false seal"
    assert {name.stem for name in changed} == {"0000005"}


def test_tiles_of_another_raster_are_refused(tmp_path, ground):
    heights, file = ground
    folder = tmp_path / "tiles"
    route(work_in(folder, file))
    with pytest.raises(InputError, match="else: the elevation or the culverts changed since"):
        route(work_in(folder, ArrayValues(heights + 1)))
    with pytest.raises(InputError, match=r"else: the cut into tiles changed.*--tiles"):
        route(Work(file, Grid.square(file.shape, 30), KeptTiles(folder)))


def test_tiles_of_another_version_are_refused(tmp_path, ground, monkeypatch):
    work = work_in(tmp_path / "tiles", ground[1])
    route(work)
    monkeypatch.setattr("terrain.surface.tiled.work.__version__", "0.0.0 of another day")
    with pytest.raises(InputError, match="else: the version of levelsill changed"):
        route(work)


@pytest.mark.parametrize("owner", ["", "[1]", "{}"])
def test_an_owner_that_says_nothing_is_another_one(tmp_path, ground, owner):
    work = work_in(tmp_path / "tiles", ground[1])
    work.begin()
    (tmp_path / "tiles" / "owner.json").write_text(owner)
    with pytest.raises(InputError, match="the elevation or the culverts and the"):
        work.begin()


def test_a_run_killed_at_its_first_write_goes_on(tmp_path, ground):
    folder = tmp_path / "tiles"
    done = subprocess.run([sys.executable, "-c", "import os, signal\n"
                           "os.link = lambda *given: os.kill(os.getpid(), signal.SIGKILL)\n"
                           + KILLED, ground[1].path, folder, "99"], check=False)
    assert done.returncode == -signal.SIGKILL
    [left] = folder.iterdir()
    assert left.name.startswith(".draft-")
    assert same(route(work_in(folder, ground[1])), ground[0])


def test_a_folder_of_something_else_is_refused(tmp_path, ground):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    with pytest.raises(InputError, match="no tiles"):
        route(work_in(tmp_path / "mine", ground[1]))


def test_a_place_that_is_no_folder_is_refused(tmp_path, ground):
    (tmp_path / "mine").write_text("dear")
    with pytest.raises(InputError, match="cannot be kept there"):
        route(work_in(tmp_path / "mine", ground[1]))


def test_arrays_come_back_as_they_were(tmp_path):
    tiles = KeptTiles(tmp_path)
    given = {"one": np.arange(6, dtype=np.uint8).reshape(2, 3), "none": np.empty((0, 4)),
             "two": np.array([np.nan, -0.0, 1e300])}
    tiles.put("step", 3, given)
    for name, array in zip(given, tiles.get("step", 3, *given), strict=True):
        assert array.dtype == given[name].dtype
        assert array.tobytes() == given[name].tobytes()
        assert array.shape == given[name].shape
        assert np.array_equal(tiles.mapped("step", 3, name), given[name], equal_nan=True)
