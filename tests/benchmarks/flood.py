"""Speed of the shallow flow beside landlab's OverlandFlow, on the same ground in the same run.

Run:  .venv/bin/python tests/benchmarks/flood.py [cells a side] [--threads N] [--rounds N]

Both run the same storm over the same valley, in which a lake breaks out onto dry ground, so that
their steps are alike.  Counted are cell-updates a second: cells times steps over seconds by the
wall clock, the best of the rounds, which take turns.  Ours is measured with rain, loss by
curve numbers, a soaking bed, wet and dry fronts, extremes, a gate and the account on; landlab's
component (the bench extra) with the same weights, without infiltration or extremes.  Once the
whole valley is wet, once it is dry but for the lake, and ours passes over what is dry.  At the end
both are run to the same time and the depths compared: on a wet lake they agree to millimetres;
where a thin sheet runs slantwise over the grid they do not, for landlab's friction is that of the
flux in each direction alone, which leaves water on slopes at 45 degrees a tenth too shallow
(tests/flood holds ours to the kinematic depth there).
"""

from __future__ import annotations

import argparse
import os
import time

import numpy as np
from numpy.typing import NDArray

from terrain.flood.storm_flow import CurveNumberLoss, Flow, Rain, flow_storm

CELL, ROUGHNESS, RATE = 2.0, 0.04, 60.0
#: Where all is wet: retention, so little that rain runs off at once [mm], and the sheet of water
#: that all of the ground is under at the start. [m]
LITTLE, SHEET = 0.05, 0.005
#: Where it is dry but for the lake: retention that takes all the rain of the run. [mm]
MUCH = 10.0


def valley(side: int, sheet: float = 0.0) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bed and depth: a valley that falls south, rough by some cm, a lake in its north, a sheet of
    water all over it."""
    row, column = np.mgrid[0:side, 0:side] * CELL
    middle = side * CELL / 2
    bed = (0.02 * (side * CELL - row) + 0.03 * abs(column - middle)
           + 0.3 * np.sin(row / 23) * np.cos(column / 17)
           + 0.03 * np.random.default_rng(1).random((side, side)))
    level = bed[side // 6].min() + 1.5
    depth = np.where(row < side // 4 * CELL, np.maximum(level - bed, 0.0), 0.0)
    return bed, np.maximum(np.minimum(depth, 1.5), sheet)


def ours(bed: NDArray, depth: NDArray, until: float, threads: int, retention: float) -> Flow:
    soak = np.zeros_like(bed)
    side = bed.shape[0]
    soak[side // 2:side // 2 + 4, side // 3:-side // 3] = 100.0
    return flow_storm(bed, CELL, ROUGHNESS, until=until, rain=Rain.even(RATE, until),
                      loss=CurveNumberLoss(retention), soak=soak, depth=depth,
                      gates={"low": [(side // 2, 0), (side // 2, side)]}, threads=threads)


class Landlab:
    """landlab's component, stepped by its own rule."""

    def __init__(self, bed: NDArray, depth: NDArray) -> None:
        from landlab import RasterModelGrid
        from landlab.components import OverlandFlow

        self.grid = RasterModelGrid(bed.shape, xy_spacing=CELL)
        self.grid.add_field("topographic__elevation", bed[::-1].reshape(-1).copy(), at="node")
        self.grid.add_field("surface_water__depth",
                            np.maximum(depth[::-1], 1e-5).reshape(-1), at="node")
        self.grid.set_closed_boundaries_at_grid_edges(True, True, True, True)
        self.flow = OverlandFlow(self.grid, mannings_n=ROUGHNESS, alpha=0.7, theta=0.9,
                                 rainfall_intensity=RATE / 3.6e6)
        self.steps, self.time = 0, 0.0

    def run(self, until: float) -> float:
        """Seconds that it takes."""
        begun = time.perf_counter()
        while self.time < until:
            step = min(self.flow.calc_time_step(), until - self.time)
            self.flow.overland_flow(dt=step)
            self.time += step
            self.steps += 1
        return time.perf_counter() - begun

    def depth(self) -> NDArray[np.float64]:
        return np.asarray(self.grid.at_node["surface_water__depth"]).reshape(self.grid.shape)[::-1]


def race(bed: NDArray, depth: NDArray, given: argparse.Namespace, retention: float) -> bool:
    """Both in turns on the same ground; whether landlab was there."""
    ours(bed, depth, 1.0, given.threads, retention)  # compiled
    try:
        theirs: Landlab | None = Landlab(bed, depth)
        theirs.run(0.1)
    except ImportError:
        theirs = None
        print("  landlab is not installed: levelsill alone")
    fastest, other = 0.0, 0.0
    for _ in range(given.rounds):
        begun, work = time.perf_counter(), time.process_time()
        found = ours(bed, depth, given.until, given.threads, retention)
        took, work = time.perf_counter() - begun, time.process_time() - work
        fastest = max(fastest, bed.size * found.steps / took)
        print(f"  levelsill {bed.size * found.steps / took / 1e6:8.1f} million cell-updates a "
              f"second, {found.steps} steps; a second of work "
              f"{bed.size * found.steps / work / 1e6:.1f}; account "
              f"{found.account.error / found.account.came:.1e}; load {os.getloadavg()[0]:.1f}")
        if theirs is not None:
            before, work = theirs.steps, time.process_time()
            took = theirs.run(theirs.time + given.until / 10)
            work = time.process_time() - work
            speed = bed.size * (theirs.steps - before) / took
            other = max(other, speed)
            print(f"  landlab   {speed / 1e6:8.1f} million, {theirs.steps - before} steps; "
                  f"a second of work {bed.size * (theirs.steps - before) / work / 1e6:.1f}")
    print(f"  best: levelsill {fastest / 1e6:.0f} million"
          + (f", landlab {other / 1e6:.1f} million; {fastest / other:.1f} times" if other else ""))
    return theirs is not None


def main() -> None:
    words = argparse.ArgumentParser(description="Speed of the shallow flow beside landlab's.")
    words.add_argument("side", nargs="?", type=int, default=500)
    words.add_argument("--threads", type=int, default=2)
    words.add_argument("--rounds", type=int, default=5)
    words.add_argument("--until", type=float, default=60.0, help="seconds simulated by ours")
    given = words.parse_args()
    beaten = []
    for told, sheet, retention in (("all of it wet and moving", SHEET, LITTLE),
                                   ("dry but for the lake", 0.0, MUCH)):
        print(f"{given.side} x {given.side} cells, {told}")
        beaten.append(race(*valley(given.side, sheet), given, retention))
    theirs = beaten[0]
    if theirs:
        compare("a swell in a lake over rough ground", *lake(120), given.threads)
        compare("a lake that breaks out into a dry valley", *valley(120), given.threads)


def lake(side: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bed and depth: ground rough by some cm under half a metre of water, a swell in its middle."""
    row, column = np.mgrid[0:side, 0:side] * CELL
    bed = 0.05 * np.random.default_rng(2).random((side, side))
    away = np.hypot(row - side * CELL / 2, column - side * CELL / 2)
    return bed, 0.5 - bed + 0.1 * np.exp(-(away / 20.0)**2)


def compare(told: str, bed: NDArray, depth: NDArray, threads: int) -> None:
    """Depths of both after two minutes."""
    theirs = Landlab(bed, depth)
    theirs.flow.rainfall_intensity = 0.0
    theirs.run(120.0)
    mine = flow_storm(bed, CELL, ROUGHNESS, until=120.0, depth=depth, threads=threads).depth
    their = theirs.depth()
    print(f"{told}, {bed.shape[0]} x {bed.shape[1]} cells after 120 s: depths differ by "
          f"{1000 * np.sqrt(np.mean((mine - their)**2)):.1f} mm (root mean square; of "
          f"{1000 * np.sqrt(np.mean(their**2)):.0f} mm), volumes "
          f"{mine.sum() * CELL**2:.1f} and {their.sum() * CELL**2:.1f} m3")


if __name__ == "__main__":
    main()
