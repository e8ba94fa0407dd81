"""How near the shallow flow comes to closed forms, as cells shrink.

Run:  .venv/bin/python tests/benchmarks/flood_convergence.py

Prints the sum of the errors of depth as a share of the depths, and the order: the power of the
cell with which they fall.

ritter   dam break on a dry bed, 5 s (Ritter 1892)
stoker   dam break over water, 5 s (Stoker, Water Waves, 1957)
thacker  plane surface going round in a bowl, one period (Thacker 1981)
sheet    steady rain on a plane of 50 m, n 0.05, 5 % (uniform flow by Manning)

Expect: the full method tends to the first three with an order near 1, less where the solution has
corners or leaps.  A sheet of water thinner than the fall of the bed from cell to cell it makes too
deep or too thin, as its depths at faces do not see all of that fall: known of it (Delestre,
Cordier, Darboux & James, Comptes Rendus Mathématique 350, 2012), and why storms run by local
inertia.  That tends to the sheet and, as it leaves the advection of momentum out, to something else
than the other three.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq

from terrain.flood.storm_flow import Method, Rain, flow_storm

G = 9.80665


def dam(method: Method, cell: float, low: float) -> float:
    x = (np.arange(round(120 / cell)) + 0.5) * cell - 60
    depth = np.where(x < 0, 2.0, low)[None, :]
    found = flow_storm(np.zeros_like(depth), cell, 0.0, until=5.0, depth=depth, method=method)
    c = math.sqrt(G * 2)
    fan = (2 * c - x / 5)**2 / (9 * G)
    if low == 0:
        exact = np.where(x < -5 * c, 2.0, np.where(x > 10 * c, 0.0, fan))
    else:
        middle = brentq(lambda h: 2 * (c - math.sqrt(G * h)) - (h - low) * math.sqrt(
            G * (h + low) / (2 * h * low)), low, 2.0)
        speed = 2 * (c - math.sqrt(G * middle))
        front = middle * speed / (middle - low)
        exact = np.where(x < -5 * c, 2.0, np.where(
            x < 5 * (speed - math.sqrt(G * middle)), fan, np.where(x < 5 * front, middle, low)))
    return float(abs(found.depth[0] - exact).sum() / exact.sum())


def thacker(method: Method, cell: float) -> float:
    at = (np.arange(round(4 / cell)) + 0.5) * cell - 2
    x, y = np.meshgrid(at, at)
    bed, w = 0.1 * (x * x + y * y - 1), math.sqrt(2 * G * 0.1)
    depth = np.maximum(0.05 * (2 * x - 0.5) - bed, 0.0)
    found = flow_storm(bed, cell, 0.0, until=2 * math.pi / w, depth=depth, wet=1e-3,
                       velocity=(0.0, 0.5 * w), method=method)
    return float(abs(found.depth - depth).sum() / depth.sum())


def sheet(method: Method, cell: float) -> float:
    x = (np.arange(round(50 / cell)) + 0.5) * cell
    found = flow_storm(-0.05 * x[None, :], cell, 0.05, until=900, rain=Rain.even(50, 900),
                       edges={"east": "normal"}, method=method)
    exact = (50 / 3.6e6 * x * 0.05 / math.sqrt(0.05))**0.6
    return float(abs(found.depth[0] - exact).sum() / exact.sum())


def main() -> None:
    cases = {"ritter": (lambda method, cell: dam(method, cell, 0.0), (1.0, 0.5, 0.25, 0.125)),
             "stoker": (lambda method, cell: dam(method, cell, 0.5), (1.0, 0.5, 0.25, 0.125)),
             "thacker": (thacker, (0.1, 0.05, 0.025)),
             "sheet": (sheet, (2.0, 1.0, 0.5, 0.25))}
    methods: tuple[Method, ...] = ("full", "local inertia")
    for name, (error, cells) in cases.items():
        for method in methods:
            errors = [error(method, cell) for cell in cells]
            orders = [math.log2(a / b) for a, b in pairwise(errors)]
            print(f"{name:8}{method:14}" + "".join(
                f"  {cell:g} m {100 * off:.2f} %" for cell, off in zip(cells, errors, strict=True))
                + "   orders " + " ".join(f"{order:.2f}" for order in orders))


if __name__ == "__main__":
    main()
