"""How near the shallow flow comes to closed forms, as cells shrink, and what each method takes.

Run:  .venv/bin/python tests/benchmarks/flood_convergence.py

Prints the sum of the errors of depth as a share of the depths, and the order: the power of the
cell with which they fall.

wave     a smooth wave into still water, before it breaks, 6 s; share of the wave (Stoker 1957)
ritter   dam break on a dry bed, 5 s (Ritter 1892)
stoker   dam break over water, 5 s (Stoker, Water Waves, 1957)
thacker  plane surface going round in a bowl, one period (Thacker 1981)
sheet    steady rain on a plane of 50 m, n 0.05, 5 % (uniform flow by Manning)
rising   the same while it rises, after 300 s (Henderson & Wooding 1964)
sill     head of 0.15 m of steady flow over a sill with sides 1 in 2 (critical on a broad crest)

Expect: the full method tends to the first four with an order of 1.5 to 1.8 where all is smooth, 1.6
with a shore, 1 with corners or leaps.  What is left of the sheet does not fall further: it is what
Manning's uniform flow leaves out.  Local inertia tends to the sheet and, as it leaves the advection
of momentum out, to something else than the first four and the sill.

Last, seconds of the processor of either method for the same minute in which a lake breaks out over
rough ground, the least of three runs, and their cell-updates a second.
"""

from __future__ import annotations

import math
import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np

from terrain.flood.storm_flow import Method, Rain, flow_storm
from terrain.flood.transfers import Feed

sys.path.insert(0, str(Path(__file__).parents[1] / "published"))
from closed_flow import G, bowl, ritter, simple_wave, stoker

METHODS: tuple[Method, ...] = ("full", "local inertia")


def wave(method: Method, cell: float) -> float:
    def start(at):
        return 1 + 0.2 * np.exp(-((at - 30) / 6)**2)
    x = (np.arange(round(100 / cell)) + 0.5) * cell
    depth = start(x)
    speed = 2 * (np.sqrt(G * depth) - math.sqrt(G))
    found = flow_storm(np.zeros((1, x.size)), cell, 0.0, until=6.0, depth=depth[None],
                       velocity=(speed[None], 0.0), method=method)
    exact, _ = simple_wave(x, 6.0, start, 1.0)
    return float(abs(found.depth[0] - exact).sum() / abs(exact - 1).sum())


def dam(method: Method, cell: float, low: float) -> float:
    x = (np.arange(round(120 / cell)) + 0.5) * cell - 60
    depth = np.where(x < 0, 2.0, low)[None, :]
    found = flow_storm(np.zeros_like(depth), cell, 0.0, until=5.0, depth=depth, method=method)
    exact = stoker(x, 5.0, 2.0, low) if low else ritter(x, 5.0, 2.0)
    return float(abs(found.depth[0] - exact).sum() / exact.sum())


def thacker(method: Method, cell: float) -> float:
    cell, bed, depth, velocity = bowl(round(4 / cell), 0.0)
    found = flow_storm(bed, cell, 0.0, until=2 * math.pi / math.sqrt(2 * G * 0.1), depth=depth,
                       wet=1e-3, velocity=velocity, method=method)
    return float(abs(found.depth - depth).sum() / depth.sum())


def sheet(method: Method, cell: float, until: float) -> float:
    x = (np.arange(round(50 / cell)) + 0.5) * cell
    found = flow_storm(-0.05 * x[None, :], cell, 0.05, until=until, rain=Rain.even(50, until),
                       edges={"east": "normal"}, method=method)
    rate = 50 / 3.6e6
    exact = np.minimum((rate * x * 0.05 / math.sqrt(0.05))**0.6, rate * until)
    return float(abs(found.depth[0] - exact).sum() / exact.sum())


def sill(method: Method, cell: float) -> float:
    q = (2 / 3)**1.5 * math.sqrt(G) * 0.15**1.5
    x = (np.arange(round(60 / cell)) + 0.5) * cell
    bed = np.maximum(np.minimum(0.0, (1.0 - abs(x - 30)) / 2), -1.0)
    feed = Feed(np.array([[0, 0]]), np.array([0.0, 1e4]), np.array([0.0, 1e4 * q * cell]))
    smooth = 0.0 if method == "full" else 0.01  # which swings without friction
    found = flow_storm(bed[None], cell, smooth, until=300.0, method=method, feeds={"q": feed},
                       depth=np.where(x < 30, -bed, 0.0)[None], edges={"east": "critical"})
    at = round(20 / cell)
    deep = float(found.depth[0, at])
    return abs(deep + float(bed[at]) + (q / deep)**2 / (2 * G) - 0.15) / 0.15


def pace() -> None:
    """A lake breaks out over rough ground, 300 by 300 cells of 2 m, in rain."""
    row, column = np.mgrid[0:300, 0:300] * 2.0
    bed = (0.02 * (600 - row) + 0.03 * abs(column - 300)
           + 0.03 * np.random.default_rng(1).random((300, 300)))
    depth = np.where(row < 150, np.clip(bed[50].min() + 1.5 - bed, 0.0, 1.5), 0.0)
    taken = {}
    for method in METHODS:
        flow_storm(bed[:9, :9], 2.0, 0.04, until=1.0, depth=0.1, rain=Rain.even(60, 1),
                   method=method)  # compiled
        runs = []
        for _ in range(3):
            begun = time.process_time()
            found = flow_storm(bed, 2.0, 0.04, until=60.0, depth=depth, rain=Rain.even(60, 60),
                               method=method)
            runs.append(time.process_time() - begun)
        taken[method] = min(runs)
        print(f"{method:14}{min(runs):6.2f} s, {found.steps} steps, "
              f"{bed.size * found.steps / min(runs) / 1e6:.0f} million cell-updates a second")
    print(f"full takes {taken['full'] / taken['local inertia']:.0f} times as long")


def main() -> None:
    fine = (1.0, 0.5, 0.25, 0.125)
    cases = {"wave": (wave, fine),
             "ritter": (lambda method, cell: dam(method, cell, 0.0), fine),
             "stoker": (lambda method, cell: dam(method, cell, 0.5), fine),
             "thacker": (thacker, (0.1, 0.05, 0.025)),
             "sheet": (lambda method, cell: sheet(method, cell, 900.0), (2.0, 1.0, 0.5, 0.25)),
             "rising": (lambda method, cell: sheet(method, cell, 300.0), (2.0, 1.0, 0.5, 0.25)),
             "sill": (sill, (1.0, 0.5, 0.25))}
    for name, (error, cells) in cases.items():
        for method in METHODS:
            errors = [error(method, cell) for cell in cells]
            orders = [math.log2(a / b) for a, b in pairwise(errors)]
            print(f"{name:8}{method:14}" + "".join(
                f"  {cell:g} m {100 * off:.2f} %" for cell, off in zip(cells, errors, strict=True))
                + "   orders " + " ".join(f"{order:.2f}" for order in orders), flush=True)
    pace()


if __name__ == "__main__":
    main()
