"""Tiles on workers: the same answer, whoever makes them and whoever dies."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import dask
import numpy as np
import pytest
from deadly import odd, slow_again

from terrain.district.engine import engine
from terrain.errors import InputError
from terrain.surface.accumulation import accumulate
from terrain.surface.depressions import drain
from terrain.surface.tiled.gathered import gather_all
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import FileValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Work

pytestmark = pytest.mark.long

DASK = Path(sys.executable).parent / "dask"
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


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
    work = Work(file, Grid.square(heights.shape, 20), KeptTiles(folder))
    at_kill = []

    def kill(process):
        while len(list(folder.glob("flats/*.tile"))) < 4:
            time.sleep(0.002)
        os.kill(process, signal.SIGKILL)
        at_kill.append(len(list(folder.glob("flats/*.tile"))))

    with engine(workers=2) as its:
        run = its.run
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


@pytest.fixture
def scheduler(tmp_path):
    """A scheduler in a process of its own: the process, its address."""
    told = tmp_path / "scheduler.json"
    with subprocess.Popen([DASK, "scheduler", "--host", "127.0.0.1", "--port", "0",
                           "--no-dashboard", "--scheduler-file", told], **QUIET) as process:
        try:
            while not told.exists() or not told.read_text().strip():
                time.sleep(0.05)
            yield process, json.loads(told.read_text())["address"]
        finally:
            process.kill()


@contextmanager
def worker_of(address, folder):
    """A worker in a process of its own, and what uses it through the scheduler."""
    with subprocess.Popen([DASK, "worker", address, "--nthreads", "1", "--no-dashboard",
                           "--no-nanny", "--local-directory", folder / "spill"],
                          **QUIET) as process:
        try:
            ends = time.monotonic() + 60
            with ExitStack() as stack:
                while True:
                    try:
                        its = stack.enter_context(engine(address))
                        break
                    except InputError:
                        assert time.monotonic() < ends
                        time.sleep(0.1)
                yield process, its
        finally:
            process.kill()


def test_a_scheduler_in_another_process_is_used_by_its_address(tmp_path, ground, scheduler):
    heights, file = ground
    _, address = scheduler
    assert address.startswith("tcp://127.0.0.1:")
    with (pytest.raises(InputError, match="no workers"), engine(address)):
        pass
    with worker_of(address, tmp_path) as (worker, its):
        its.check(tmp_path / "tiles")
        assert set(its.run(os.getpid, [()])) == {worker.pid}
        work = Work(file, Grid.square(heights.shape, 60), KeptTiles(tmp_path / "tiles"))
        assert same(work, heights, its.run)


def test_workers_that_cannot_are_told_before_the_work(tmp_path, scheduler, monkeypatch):
    """One of another version; one that sees another folder under that name."""
    with worker_of(scheduler[1], tmp_path) as (_, its):
        monkeypatch.setattr("terrain.district.engine.__version__", "0.0.0")
        with pytest.raises(InputError, match=r"the worker tcp.* has levelsill .*not 0\.0\.0"):
            its.check(tmp_path / "tiles")
        monkeypatch.setattr("terrain.district.engine.DRAFT", "../elsewhere/")
        (tmp_path / "elsewhere").mkdir()
        real = its.client.run

        def elsewhere(*given, **named):
            for path in (tmp_path / "elsewhere").iterdir():
                path.unlink()
            return real(*given, **named)

        monkeypatch.setattr(its.client, "run", elsewhere)
        with pytest.raises(InputError, match=r"the worker tcp.* cannot see"):
            its.check(tmp_path / "tiles")
    assert not list((tmp_path / "tiles").iterdir())


@pytest.mark.slow
@pytest.mark.parametrize("how", ["run", "run_each"])
def test_a_lost_scheduler_is_no_fault_of_any_task(tmp_path, scheduler, how):
    process, address = scheduler
    with worker_of(address, tmp_path) as (_, its):
        threading.Timer(2, process.kill).start()
        with pytest.raises(InputError, match="scheduler was lost"):
            getattr(its, how)(time.sleep, [(30,)] * 3)


@pytest.mark.parametrize("how", ["run", "run_each"])
def test_a_run_without_workers_ends(monkeypatch, how):
    monkeypatch.setattr("terrain.district.engine.LOOKS_EVERY", 0.1)
    monkeypatch.setattr("terrain.district.engine.NONE_LEFT", 0.5)
    with engine(workers=1) as its:
        its.stop()
        with pytest.raises(InputError, match="no worker has been left"):
            getattr(its, how)(os.getpid, [()])


def test_an_address_where_nothing_answers_is_told(monkeypatch):
    monkeypatch.setattr("terrain.district.engine.ANSWERS_WITHIN", 1)
    for address in ("tcp://127.0.0.1:9", "tls://127.0.0.1:9"):  # the second without keys
        with pytest.raises(InputError, match="no scheduler answers"), engine(address):
            pass


@pytest.mark.slow
def test_a_failure_is_that_rows_own_even_if_it_takes_its_workers_with_it(monkeypatch):
    monkeypatch.setattr("terrain.district.engine.TRIES", 1)
    told = {}
    with engine(workers=2) as its:
        found = its.run_each(odd, [(number,) for number in range(7)], told.__setitem__)
        with pytest.raises(ValueError, match="one is wrong"):
            its.run(odd, [(number,) for number in (0, 1)])
        with pytest.raises(InputError, match="2 workers died at one task"):
            its.run(odd, [(3,)])
    assert told == dict(enumerate(found))
    dead, wrong = found.pop(3), found.pop(1)
    assert isinstance(wrong, ValueError)
    assert isinstance(dead, InputError)
    assert dead.what.startswith("2 workers died at one task")
    assert found == [(number, True) for number in (0, 2, 4, 5, 6)]


def test_none_of_its_tasks_runs_any_more_when_a_run_ends(tmp_path):
    """Not even one that is begun anew because its worker dies as its outcome is fetched."""
    def kill(row, process):
        os.kill(process, signal.SIGKILL)
        ends = time.monotonic() + 60
        while not (tmp_path / "begun again").exists():
            assert time.monotonic() < ends
            time.sleep(0.02)

    with engine(workers=2) as its:
        [process] = its.run_each(slow_again, [(tmp_path,)], kill)
        assert (tmp_path / "ended again").exists()
        assert process not in its.run(os.getpid, [()] * 4)


def test_workers_come_back_however_long_they_take(monkeypatch):
    """Also where dask would give them up: a start takes longer than the 10 ms here."""
    monkeypatch.setattr("terrain.district.engine.TRIES", 0)
    with (dask.config.set({"distributed.deploy.lost-worker-timeout": "10ms"}),
          engine(workers=1) as its):
        for _ in range(2):
            [dead] = its.run_each(odd, [(3,)])
            assert isinstance(dead, InputError)
        assert its.run(odd, [(0,)]) == [(0, True)]


STOPPED = """
import os, sys, time
from pathlib import Path
from terrain.district.engine import engine

def slow(folder):
    (Path(folder) / str(os.getpid())).touch()
    time.sleep(120)

if __name__ == "__main__":
    with engine(workers=2) as its:
        getattr(its, sys.argv[2])(slow, [(sys.argv[1],)] * 6)
"""


@pytest.mark.parametrize("how", ["run", "run_each"])
def test_ctrl_c_ends_workers_in_the_middle_of_their_tasks(tmp_path, how):
    begun = tmp_path / "begun"
    begun.mkdir()
    (tmp_path / "stopped.py").write_text(STOPPED)
    with subprocess.Popen([sys.executable, tmp_path / "stopped.py", begun, how],
                          start_new_session=True, stderr=subprocess.PIPE, text=True) as process:
        try:
            ends = time.monotonic() + 60
            while len(list(begun.iterdir())) < 2 and time.monotonic() < ends:
                time.sleep(0.05)
            workers = [int(path.name) for path in begun.iterdir()]
            assert len(workers) == 2
            asked = time.monotonic()
            os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to all of them
            said = process.communicate(timeout=60)[1]
            assert time.monotonic() - asked < 5
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
    assert said.strip().endswith("KeyboardInterrupt")
    assert said.count("Traceback") == 1  # workers say nothing
    for pid in workers:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_workers_of_this_machine_let_nobody_else_in():
    from distributed import Client, Security

    with engine(workers=1) as its:
        address = its.client.scheduler.address
        assert address.startswith("tls://127.0.0.1:")
        for way, key in ((address.replace("tls:", "tcp:"), None), (address, Security.temporary())):
            with pytest.raises(OSError, match=r"(?i)connect|closed|handshake|timed out|tls|ssl"):
                Client(way, security=key, timeout=3)
        assert its.run(os.getpid, [()]) != [os.getpid()]  # it still works
