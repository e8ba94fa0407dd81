"""How long the demo's ground takes to flood: a six-hour storm and six hours after, on 1 m cells.

Run:  .venv/bin/python tests/benchmarks/flood_demo.py [--threads N] [--depth MM] [--cell M]

Prints the seconds of one run with the works by the wall clock and of the processor, with rain, loss
by curve numbers, soaking beds, pipes, rims, extremes and the account on; the goal is a minute on
two cores.  The plan and the ground are made before, and kernels compiled, outside the time.
"""

from __future__ import annotations

import argparse
import os
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from terrain.plan.plan import make_plan
from terrain.proof.flood_ground import flood_ground
from terrain.proof.proof import How, flood

DEMO = Path(__file__).parents[2] / "demo_dem" / "site.yaml"


def main() -> None:
    words = argparse.ArgumentParser(description="Seconds that the demo takes to flood.")
    words.add_argument("--threads", type=int, default=2)
    words.add_argument("--depth", type=float, default=40.0, help="rain, mm")
    words.add_argument("--cell", type=float, default=1.0, help="side of a cell, m")
    given = words.parse_args()
    plan = make_plan(DEMO)
    ground = flood_ground(plan, given.cell)
    shape = plan.inputs.hydrology.shapes["summer storm"]
    shape = replace(shape, hours=shape.hours * (6.0 / shape.hours[-1]))
    flood(plan, ground, given.depth, replace(shape, hours=shape.hours / 600),
          How(0.0, threads=given.threads))
    begun, work = time.perf_counter(), time.process_time()
    found = flood(plan, ground, given.depth, shape, How(6.0, threads=given.threads, patient=True))
    took, work = time.perf_counter() - begun, time.process_time() - work
    account = found.flow.account
    print(f"{ground.grid.rows} by {ground.grid.columns} cells of {given.cell:g} m, "
          f"{int(np.isfinite(ground.after).sum()):,} of them ground; {given.depth:g} mm in 6 h, "
          f"6 h after: {took:.0f} s by the clock, {work:.0f} s of the processor, {given.threads} "
          f"threads; {found.flow.steps:,} steps; account {account.error / account.came:.1e}; "
          f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
