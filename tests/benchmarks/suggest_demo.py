"""How long the search for a layout takes on the demo site, and how good its choice is.

Run:  .venv/bin/python tests/benchmarks/suggest_demo.py [--places N] [--site FILE] [--alone S]

Prints the seconds of each stage and of all of it (the goal is two minutes for 2,000 places on two
cores), and then sets the search's own choice beside `scipy.optimize.milp` (HiGHS) on the same exact
programme, in which works are built or not: for each limit of the front what each reached of the aim
over what stands, and what each proved that nothing can pass.  Both have the same time: the limits
are solved as many at once as there are cores, each for its even share of the seconds that the
search took for all of them.  Last the solver gets all of that time, or as long as is said, for the
largest limit alone.  Each pair of figures has its ratio, the search's over the solver's: over 1 for
the aim and under 1 for the bound the search is ahead; "none" where the solver met no choice, or
proved no bound, in its time.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

import terrain.suggest.suggest as door
from terrain.suggest.front import Layout, Search
from terrain.suggest.programme import Programme, Whole
from terrain.surface.kernels import cores

DEMO = Path(__file__).resolve().parents[2] / "demo_dem" / "site.yaml"


class Watched(Search):
    """A search that keeps what its front found by the model, and how long that took."""

    found: Watched

    def front(self, most: float) -> list[Layout]:
        begun = time.perf_counter()
        self.layouts = super().front(most)
        self.seconds = time.perf_counter() - begun
        Watched.found = self
        return self.layouts


class Stages:
    """The seconds between one message and the next."""

    def __init__(self) -> None:
        self.begun: list[tuple[str, float]] = []

    def __call__(self, what: str) -> None:
        self.begun.append((what, time.perf_counter()))

    def told(self) -> None:
        self("")
        for (what, start), (_, end) in zip(self.begun, self.begun[1:], strict=False):
            print(f"{end - start:8.1f} s  {what}")
        print(f"{self.begun[-1][1] - self.begun[0][1]:8.1f} s  in all")


def main() -> None:
    words = argparse.ArgumentParser(description="Seconds that the search takes on the demo, and "
                                    "its choice beside a solver's.")
    words.add_argument("--places", type=int, default=2000)
    words.add_argument("--site", type=Path, default=DEMO)
    words.add_argument("--alone", type=float, help="seconds of the solver for the largest limit "
                       "alone; as many as the search took for all if left out")
    given = words.parse_args()
    load = os.getloadavg()[0]
    door.Search = Watched  # type: ignore[misc]
    stages = Stages()
    found = door.suggest(given.site, stages, {"places": given.places})
    stages.told()
    search = Watched.found
    kinds = ", ".join(f"{count:,} {kind}" for kind, count in found.looked_at.items())
    print(f"{sum(found.looked_at.values()):,} places looked at ({kinds}), {len(search.free):,} of "
          f"them weighed; {cores()} cores, load {load:.1f} at the start")
    _beside(search, given.alone or search.seconds)


def _beside(search: Watched, alone: float) -> None:
    """The front beside what the solver reaches and proves in the same time."""
    share = search.seconds * cores() / len(search.layouts)
    begun = time.perf_counter()
    with ThreadPoolExecutor(cores()) as at_once:
        solved = list(at_once.map(lambda one: _solved(search, one, share), search.layouts))
    took = time.perf_counter() - begun
    print(f"\nThe search took {search.seconds:.0f} s for {len(search.layouts)} limits, milp "
          f"{took:.0f} s for the same, {share:.1f} s each")
    _table(search, search.layouts, solved)
    begun = time.perf_counter()
    longer = _solved(search, search.layouts[-1], alone)
    print(f"\nmilp on the largest limit alone, {time.perf_counter() - begun:.0f} s")
    _table(search, search.layouts[-1:], [longer])


def _solved(search: Watched, one: Layout, seconds: float) -> Whole:
    """The exact programme at a limit; making it counts into the time."""
    begun = time.perf_counter()
    programme = Programme(search.model, {search.axis: one.limit, **search.others}, True)
    return programme.solved(max(seconds - (time.perf_counter() - begun), 0.1))


def _table(search: Watched, layouts: Sequence[Layout], solved: Sequence[Whole]) -> None:
    print(f"{'limit':>10}{'aim':>10}{'milp':>10}{'ratio':>8}   {'bound':>10}{'milp':>10}"
          f"{'ratio':>8}   {'gap':>7}{'milp':>8}")
    for one, whole in zip(layouts, solved, strict=True):
        aim, bound = one.aim - search.base, one.bound - search.base
        # What the solver chose is weighed by the model as the search's own choice is.
        other = None if whole.chosen is None else search.model.aim(whole.chosen) - search.base
        proven = whole.bound - search.base if np.isfinite(whole.bound) else None
        gap = None if other is None or proven is None else f"{1 - other / proven:.1%}"
        print(f"{one.limit:10,.0f}{aim:10,.1f}{_figure(other):>10}{_over(aim, other):>8}   "
              f"{bound:10,.1f}{_figure(proven):>10}{_over(bound, proven):>8}   "
              f"{1 - aim / bound:7.1%}{gap or 'none':>8}")


def _figure(value: float | None) -> str:
    return "none" if value is None else f"{value:,.1f}"


def _over(one: float, other: float | None) -> str:
    return f"{one / other:.3f}" if other is not None and other > 0 else "–"


if __name__ == "__main__":
    main()
