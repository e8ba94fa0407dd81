"""Time of many runs of the demo site, with everything in doubt.

Run:  .venv/bin/python tests/benchmarks/doubt.py [runs] [--workers N] [--site FILE]

The plan is made first and not timed.  Printed are seconds on the clock, seconds of the processor
(of all workers), the load of the machine when it began, and how many runs it had been at the end:
on a machine that others use too, the processor's seconds over the workers are the better figure.
"""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path

from terrain.plan.doubt.doubt import with_doubt
from terrain.plan.plan import make_plan

DEMO = Path(__file__).resolve().parents[2] / "demo_dem" / "site.yaml"


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("runs", nargs="?", type=int, default=1000)
    words.add_argument("--workers", type=int, default=2)
    words.add_argument("--site", type=Path, default=DEMO)
    given = words.parse_args()
    plan = make_plan(given.site)
    with_doubt(plan, 20, given.workers)  # compiles what it needs
    load = os.getloadavg()[0]
    clock, processor = time.perf_counter(), _processor()
    doubt = with_doubt(plan, given.runs, given.workers).doubt
    clock, processor = time.perf_counter() - clock, _processor() - processor
    assert doubt is not None
    print(f"{doubt.runs:,} runs and {doubt.alone_runs:,} of each doubt alone, {given.workers} "
          f"workers: {clock:.1f} s on the clock, {processor:.1f} s of the processor "
          f"({processor / given.workers:.1f} s a worker), load {load:.1f}")


def _processor() -> float:
    """Seconds of the processor, those of workers that have ended too."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


if __name__ == "__main__":
    main()
