"""Tasks on many processes or machines, by dask.distributed.

Tasks are those of `terrain.surface.tiled`: each makes one tile, keeps it in a folder that all
workers see, and hands back what goes with the tile's perimeter.  So a worker that is killed costs
the tile that it was at: another makes that, and all the others are found in the folder.
"""

from __future__ import annotations

import logging
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from time import monotonic, sleep
from typing import Any
from uuid import uuid4

from terrain import __version__
from terrain.errors import InputError
from terrain.surface.kernels import cores
from terrain.surface.tiled.kept_tiles import DRAFT

#: A task is tried anew on another worker so many times when its worker dies.
TRIES = 5
#: What a worker takes before its first tile: Python, compiled kernels, libraries of rasters and
#: layers; and for each cell of a tile at most.  No task of a screening took more in
#: tests/benchmarks/tiled.py --memory. [bytes]
WORKER, PER_CELL = 450_000_000, 40
#: Waiting for a scheduler's answer. [s]
ANSWERS_WITHIN = 20
#: How often it is looked whether any worker is left, and how long there may be none: one that died
#: takes seconds to come back, on a busy machine half a minute. [s]
LOOKS_EVERY, NONE_LEFT = 5.0, 120.0
#: How often it is looked whether a task that was begun anew for nothing has ended. [s]
STRAYS_EVERY = 0.05
#: A local cluster gives a worker up for good that has not come back so long after it died; the
#: usual 15 s are fewer than a start takes on a busy machine.
COMES_BACK_WITHIN = "1 day"
#: Of another's error so many letters are told.
LONGEST = 300


def memory_of(side: int) -> int:
    """Memory that a worker needs for tiles of so many cells a side. [bytes]

    A flat that crosses borders of tiles takes some ten bytes for each of its cells beside that;
    layers take what their features near a tile take.
    """
    return WORKER + PER_CELL * side**2


@dataclass(frozen=True)
class Workers:
    """Those that run tasks.

    Attributes
    ----------
    client : distributed.Client
    where : str
        What to call them in messages.
    stop : callable
        Ends them at once, where they are this process's own.
    left : callable
        Whether there are any.
    own : bool
        Whether they are this process's own, and so see what it sees.
    """

    client: Any
    where: str
    stop: Callable[[], None]
    left: Callable[[], bool]
    own: bool = True

    def check(self, folder: Path) -> None:
        """See that each worker sees a folder, and has this version of levelsill.

        Parameters
        ----------
        folder : Path
            Of the tiles; made if it is not there.  A file is put there for a moment.

        Raises
        ------
        InputError
            Naming those that do not, or saying why the folder cannot be written.
        """
        if self.own:
            return
        token = uuid4().hex
        path = folder.absolute() / f"{DRAFT}{token}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_text(token, encoding="ascii")
        except OSError as error:
            raise InputError(str(folder), f"tiles cannot be kept there ({error.strerror})",
                             "Name a folder of your own for the tiles") from None
        try:
            told = self.client.run(_token_and_version, str(path), on_error="return")
        except _lost() as error:
            raise InputError(self.where, f"the scheduler was lost ({error})",
                             "See that it runs, and run again") from None
        finally:
            path.unlink(missing_ok=True)
        blind = [name for name, one in told.items() if not isinstance(one, tuple)
                 or one[0] != token]
        other = [name for name, one in told.items() if name not in blind
                 and one[1] != __version__]
        if blind:
            raise InputError(self.where, f"{_named(blind)} cannot see {folder.absolute()}, or has "
                             "no levelsill of this version", "Name a folder for the tiles that "
                             "all workers see under the same name, and install the same levelsill "
                             "for them")
        if other:
            raise InputError(self.where, f"{_named(other)} has levelsill "
                             f"{told[other[0]][1]}, not {__version__} as here",
                             "Install the same levelsill for all of them")

    def run(self, function: Callable[..., Any], rows: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Run a task on each row of arguments, and give what each returned, in their order.

        The first task that fails ends all: its error is raised.  See `Run`.

        Raises
        ------
        InputError
            If workers died again and again at one task, none is left, or the scheduler is lost.
        """
        found: list[Any] = [None] * len(rows)
        with self._submitted(function, rows) as futures:
            for row, future in self._ended(futures):
                try:
                    found[row] = future.result()
                except _killed() as error:
                    raise self._died(error) from None
                future.release()  # its worker need not keep it
        return found

    def run_each(self, function: Callable[..., Any], rows: Sequence[tuple[Any, ...]],
                 done: Callable[[int, Any], None] = lambda row, found: None) -> list[Any]:
        """Run a task on each row of arguments, and give what each returned, in their order; the
        error in its place where one failed.

        Parameters
        ----------
        done : callable
            Told a row's number and what it gave, as soon as it ends.

        Raises
        ------
        InputError
            If no worker is left or the scheduler is lost: that is no fault of any row.

        Notes
        -----
        What waits on a worker that dies is suspected with the task that ran there.  So tasks
        whose workers died again and again are run once more, each alone: that which brings them
        down then fails, as an InputError, and no other.
        """
        found: list[Any] = [None] * len(rows)
        suspects: list[int] = []
        with self._submitted(function, rows) as futures:
            for row, future in self._ended(futures):
                found[row] = _outcome(future)
                if isinstance(found[row], _killed()):
                    suspects.append(row)
                else:
                    done(row, found[row])
                future.release()
        for row in suspects:
            with self._submitted(function, [rows[row]]) as futures:
                for _, future in self._ended(futures):
                    found[row] = _outcome(future)
            if isinstance(found[row], _killed()):
                found[row] = self._died(found[row])
            done(row, found[row])
        return found

    @contextmanager
    def _submitted(self, function: Callable[..., Any], rows: Sequence[tuple[Any, ...]]
                   ) -> Iterator[list[Any]]:
        """Tasks that are taken back where the block ends without them; where it ends with them,
        none of them runs any more.

        A task may: where the worker that held its outcome dies just as that is fetched, another
        begins it anew.
        """
        futures: list[Any] = []
        try:
            futures += [self.client.submit(function, *row, pure=False) for row in rows]
            yield futures
            for future in futures:
                future.release()
            keys = [future.key for future in futures]
            while (self.client.run_on_scheduler(_knows_any, keys)
                   or any(self.client.run(_runs_any, keys, on_error="ignore").values())):
                sleep(STRAYS_EVERY)
        except _lost() as error:
            said = " ".join(str(error).split())[:LONGEST] or type(error).__name__
            raise InputError(self.where, f"the scheduler was lost in the middle of the work "
                             f"({said})", "See that it runs, and run again: what is finished is "
                             "not made again") from None
        except Exception:
            self.client.cancel(futures)
            raise
        except BaseException:  # Ctrl-C: nobody waits for what workers are at
            self.client.cancel(futures)
            self.stop()
            raise

    def _ended(self, futures: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """Numbers and futures as they end."""
        ended: SimpleQueue[Any] = SimpleQueue()
        number = {future: row for row, future in enumerate(futures)}
        for future in futures:
            future.add_done_callback(ended.put)
        last = monotonic()  # when there was a worker
        waiting = len(number)
        while waiting:
            try:
                future = ended.get(timeout=LOOKS_EVERY)
            except Empty:
                if self.left():
                    last = monotonic()
                elif monotonic() - last > NONE_LEFT:
                    raise InputError(
                        self.where, f"no worker has been left for {monotonic() - last:.0f} s",
                        "See what ends them (want of memory, most likely), and run again: what "
                        "is finished is not made again") from None
            else:
                waiting -= 1
                yield number[future], future

    def _died(self, error: Any) -> InputError:
        return InputError(self.where, f"{error.allowed_failures + 1} workers died at one task "
                          f"({error.task})", "Give workers more memory, or make tiles smaller")


def _killed() -> type[Exception]:
    from distributed.scheduler import KilledWorker

    found: type[Exception] = KilledWorker
    return found


def _lost() -> tuple[type[Exception], ...]:
    """Errors of a run whose scheduler is gone."""
    from concurrent.futures import CancelledError

    from distributed.client import ClosedClientError
    from distributed.comm.core import CommClosedError

    return CommClosedError, ClosedClientError, CancelledError


def _outcome(future: Any) -> Any:
    """What a task returned, or its error; that of a lost scheduler is raised."""
    try:
        return future.result()
    except _lost():
        raise
    except Exception as error:
        return error


@contextmanager
def engine(scheduler: str | None = None, *, workers: int | None = None,
           memory: int | None = None) -> Iterator[Workers]:
    """Start workers, or use those of a scheduler, for as long as the block runs.

    Parameters
    ----------
    scheduler : str, optional
        Its address, such as ``tcp://10.0.0.5:8786``; its workers must see the same folders under
        the same names.  Left out, processes of this machine with a thread each.
    workers : int, optional
        How many processes; left out, one for each core.
    memory : int, optional
        A worker that takes more is started anew. [bytes]

    Raises
    ------
    InputError
        If no scheduler answers at the address, or it has no workers.
    """
    import dask
    from distributed import Client, LocalCluster, Security

    with dask.config.set({"distributed.scheduler.allowed-failures": TRIES,
                          "distributed.deploy.lost-worker-timeout": COMES_BACK_WITHIN,
                          "distributed.admin.large-graph-warning-threshold": "1GB"}):
        if scheduler is None:
            # Whoever reaches a scheduler may run anything as the one who started it: so none but
            # those with this run's own key, and no pages about it.
            with (dask.config.set({f"distributed.{part}.http.routes": [] for part in
                                   ("scheduler", "worker", "nanny")}),
                  LocalCluster(n_workers=workers or cores(), threads_per_worker=1, processes=True,
                               memory_limit=memory or "auto", host="127.0.0.1", protocol="tls",
                               security=Security.temporary(), dashboard_address="127.0.0.1:0",
                               scheduler_kwargs={"dashboard": False},
                               silence_logs=logging.CRITICAL) as cluster,
                  Client(cluster) as client):
                client.register_plugin(_deaf())
                yield Workers(client, "the workers of this machine", lambda: _end(cluster),
                              lambda: _any_lives(cluster))
            return
        try:
            client = Client(scheduler, timeout=ANSWERS_WITHIN)
        except (OSError, ValueError, TypeError) as error:  # the last where it asks for keys
            raise InputError(scheduler, f"no scheduler answers there ({error})", "Start one with "
                             "`dask scheduler`, or leave the address out") from None
        with client:
            if not client.scheduler_info()["workers"]:
                raise InputError(scheduler, "the scheduler there has no workers",
                                 "Start some with `dask worker` and the scheduler's address")
            yield Workers(client, scheduler, lambda: None,
                          lambda: bool(client.scheduler_info()["workers"]), own=False)


def _knows_any(keys: list[str], dask_scheduler: Any) -> bool:
    """Whether a scheduler, which dask hands to this, still has any of some tasks."""
    return any(key in dask_scheduler.tasks for key in keys)


def _runs_any(keys: list[str], dask_worker: Any) -> bool:
    """Whether a worker, which dask hands to this, is at any of some tasks, taken back or not."""
    tasks = dask_worker.state.tasks
    return any(key in tasks and tasks[key] in dask_worker.state.all_running_tasks for key in keys)


def _token_and_version(path: str) -> tuple[str, str]:
    """What a worker reads in a file, nothing where it sees none; and its version."""
    from terrain import __version__

    try:
        with open(path, encoding="ascii") as stream:
            return stream.read(), __version__
    except OSError:
        return "", __version__


def _named(workers: Sequence[str]) -> str:
    """The first of some workers, and how many more."""
    more = len(workers) - 1
    return f"the worker {workers[0]}" + (f" (as {more} more)" if more else "")


def _deaf() -> Any:
    """Lets workers leave Ctrl-C, which a terminal sends to all, to the process that made them."""
    from distributed import WorkerPlugin

    class Deaf(WorkerPlugin):
        name = "deaf"

        def setup(self, worker: Any) -> None:
            signal.signal(signal.SIGINT, signal.SIG_IGN)

    return Deaf()


def _any_lives(cluster: Any) -> bool:
    """Whether any worker of this machine runs."""
    return any(nanny.process is not None and nanny.process.is_alive()
               for nanny in cluster.workers.values())


def _end(cluster: Any) -> None:
    """Kill the workers of this machine, which else would first end their tasks."""
    for nanny in cluster.workers.values():
        nanny.close_gracefully(reason="stopped")  # it is not to start another in its place
        if (worker := nanny.pid) is not None:
            with suppress(OSError):
                # Windows knows no such signal; any other ends a process there at once.
                os.kill(worker, getattr(signal, "SIGKILL", signal.SIGTERM))
