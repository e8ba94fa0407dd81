"""Tasks on many processes or machines, by dask.distributed.

Tasks are those of `terrain.surface.tiled`: each makes one tile, keeps it in a store that all
workers see, and hands back what goes with the tile's perimeter.  So a worker that is killed costs
the tile that it was at: another makes that, and all the others are found in the store.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from terrain.errors import InputError
from terrain.surface.kernels import cores
from terrain.surface.tiled.work import Run

#: A task is tried anew on another worker so many times when its worker dies.
TRIES = 5
#: What a worker takes before its first tile: Python, compiled kernels, libraries; and for each
#: cell of a tile at most; measured by tests/benchmarks/tiled.py. [bytes]
WORKER, PER_CELL = 300_000_000, 40
#: Waiting for a scheduler's answer. [s]
ANSWERS_WITHIN = 20


def memory_of(side: int) -> int:
    """Memory that a worker needs for tiles of so many cells a side. [bytes]

    A flat that crosses borders of tiles takes some ten bytes for each of its cells beside that.
    """
    return WORKER + PER_CELL * side**2


@contextmanager
def engine(scheduler: str | None = None, *, workers: int | None = None,
           memory: int | None = None) -> Iterator[Run]:
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

    Yields
    ------
    run : callable
        To be given to `route`, `gather_all` and `label_all`.

    Raises
    ------
    InputError
        If no scheduler answers at the address, it has no workers, or workers died again and again
        at one task.
    """
    import dask
    from distributed import Client, LocalCluster

    with dask.config.set({"distributed.scheduler.allowed-failures": TRIES,
                          "distributed.admin.large-graph-warning-threshold": "1GB"}):
        if scheduler is None:
            with (LocalCluster(n_workers=workers or cores(), threads_per_worker=1, processes=True,
                               memory_limit=memory or "auto", dashboard_address=None,
                               host="127.0.0.1", silence_logs=logging.CRITICAL) as cluster,
                  Client(cluster) as client):
                yield _run_on(client, "the workers of this machine")
            return
        try:
            client = Client(scheduler, timeout=ANSWERS_WITHIN)
        except (OSError, ValueError) as error:
            raise InputError(scheduler, f"no scheduler answers there ({error})", "Start one with "
                             "`dask scheduler`, or leave the address out") from None
        with client:
            if not client.scheduler_info()["workers"]:
                raise InputError(scheduler, "the scheduler there has no workers",
                                 "Start some with `dask worker` and the scheduler's address")
            yield _run_on(client, scheduler)


def _run_on(client: Any, where: str) -> Run:
    from distributed.scheduler import KilledWorker

    def run(function: Callable[..., Any], rows: Sequence[tuple[Any, ...]]) -> list[Any]:
        futures = [client.submit(function, *row, pure=False) for row in rows]
        found = []
        try:
            while futures:  # those that are taken are let go on the workers
                found.append(futures.pop(0).result())
        except KilledWorker as error:
            raise InputError(where, f"{TRIES + 1} workers died at one task ({error.task})",
                             "Give workers more memory, or make tiles smaller") from None
        finally:
            client.cancel(futures)
        return found

    return run
