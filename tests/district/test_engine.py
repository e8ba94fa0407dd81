"""Tiles on workers: the same answer, whoever makes them and whoever dies."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from terrain.district.engine import engine
from terrain.errors import InputError
from terrain.surface.accumulation import accumulate
from terrain.surface.depressions import drain
from terrain.surface.tiled.gathered import gather_all
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import FileValues
from terrain.surface.tiled.route import route
from terrain.surface.tiled.store import TileStore
from terrain.surface.tiled.work import Work


@pytest.fixture
def ground(tmp_path):
    random = np.random.default_rng(3)
    heights = np.round(random.normal(size=(150, 170)).cumsum(0).cumsum(1)).astype(np.float32)
    np.save(tmp_path / "ground.npy", heights)
    return heights, FileValues(str(tmp_path / "ground.npy"))


def same(work, heights, run):
    whole = Window(0, heights.shape[0], 0, heights.shape[1])
    drainage = drain(heights)
    weights = 0.1
    return (np.array_equal(route(work, run).direction(whole), drainage.direction)
            and np.array_equal(gather_all(work, "weights", weights, run).read(whole),
                               accumulate(drainage.direction, weights)))


def test_a_worker_killed_in_the_middle_changes_nothing(tmp_path, ground):
    heights, file = ground
    folder = tmp_path / "tiles"
    work = Work(file, Grid.square(heights.shape, 20), TileStore(folder))
    at_kill = []

    def kill(process):
        while len(list(folder.glob("flats/*.tile"))) < 4:
            time.sleep(0.002)
        os.kill(process, signal.SIGKILL)
        at_kill.append(len(list(folder.glob("flats/*.tile"))))

    with engine(workers=2) as run:
        workers = set(run(os.getpid, [()] * 12))
        assert len(workers) == 2
        assert os.getpid() not in workers
        victim = min(workers)
        killer = threading.Thread(target=kill, args=(victim,))
        killer.start()
        assert same(work, heights, run)
        killer.join()
        assert victim not in run(os.getpid, [()] * 12)
    assert at_kill[0] < work.grid.count  # it was in the middle


def test_a_scheduler_in_another_process_is_used_by_its_address(tmp_path, ground):
    heights, file = ground
    dask = Path(sys.executable).parent / "dask"
    told = tmp_path / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen([dask, "scheduler", "--host", "127.0.0.1", "--port", "0",
                           "--no-dashboard", "--scheduler-file", told], **quiet) as scheduler:
        try:
            while not told.exists() or not told.read_text().strip():
                time.sleep(0.05)
            import json

            address = json.loads(told.read_text())["address"]
            assert address.startswith("tcp://127.0.0.1:")
            with (pytest.raises(InputError, match="no workers"), engine(address)):
                pass
            with subprocess.Popen([dask, "worker", address, "--nthreads", "1", "--no-dashboard",
                                   "--no-nanny", "--local-directory", tmp_path / "spill"],
                                  **quiet) as worker:
                try:
                    ends = time.monotonic() + 60
                    while True:
                        try:
                            with engine(address) as run:
                                assert set(run(os.getpid, [()])) == {worker.pid}
                                work = Work(file, Grid.square(heights.shape, 60),
                                            TileStore(tmp_path / "tiles"))
                                assert same(work, heights, run)
                            break
                        except InputError:
                            assert time.monotonic() < ends
                            time.sleep(0.1)
                finally:
                    worker.terminate()
        finally:
            scheduler.terminate()


def test_an_address_where_nothing_answers_is_told(monkeypatch):
    monkeypatch.setattr("terrain.district.engine.ANSWERS_WITHIN", 1)
    with (pytest.raises(InputError, match="no scheduler answers"),
          engine("tcp://127.0.0.1:9")):
        pass
