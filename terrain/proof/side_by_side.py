"""Several floods at once, each on its share of the cores."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from typing import TypeVar

from terrain.surface.kernels import cores

Found = TypeVar("Found")
#: Called with the time that a run has come to and its end. [s]
Reached = Callable[[float, float], None]
#: A run on some threads, all cores if None, that tells how far it is.
Job = Callable[[int | None, Reached], Found]
#: Time between two words on how far they are. [s]
TELL_EVERY = 0.25


class _StoppedError(Exception):
    """Another run failed, or the person stopped."""


def side_by_side(jobs: Mapping[str, Job[Found]], threads: int | None,
                 progress: Callable[[str], None]) -> list[Found]:
    """Run all; their answers in order.  One flood is no faster on two cores than two are on one
    each, which need not wait for each other.

    Parameters
    ----------
    jobs : dict of callables
        By what each is, as in "with the works".
    threads : int or None
        For all of them together; as many as there are cores without.
    progress : callable
        Called from this thread; what it raises stops all runs, as does what a run raises.

    Raises
    ------
    Exception
        The first that a run raises.
    """
    share = threads or cores()
    at_once = max(min(len(jobs), share), 1)
    reached: dict[str, tuple[float, float]] = {}
    halt = threading.Event()

    def told() -> None:
        runs = list(reached.items())
        if runs:
            each = ", ".join(f"{name} {now / 3600:.1f}" for name, (now, _) in runs)
            end = max(end for _, (_, end) in runs) / 3600
            progress(f"Flooding the ground {each} of {end:.1f} hours")

    def work(name: str, job: Job[Found]) -> Found:
        def tell(now: float, end: float) -> None:
            if halt.is_set():
                raise _StoppedError
            reached[name] = (now, end)

        try:
            return job(max(share // at_once, 1), tell)
        finally:
            reached.pop(name, None)

    with ThreadPoolExecutor(at_once) as pool:
        runs: list[Future[Found]] = [pool.submit(work, name, job) for name, job in jobs.items()]
        try:
            left = set(runs)
            while left:
                done, left = wait(left, TELL_EVERY, FIRST_EXCEPTION)
                for run in done:
                    run.result()
                told()
        except BaseException:
            halt.set()
            for run in runs:
                run.cancel()
            raise
    return [run.result() for run in runs]
