"""Runoff cell by cell, beside what NumPy needs to read and write the same arrays.

Run:  .venv/bin/python tests/benchmarks/runoff.py [million cells] [--storms N] [--runs N]

Curve numbers of every cell, one in twenty unknown; for each storm the runoff of every cell, in mm.
NumPy copies the grid of curve numbers once for each storm: as much is read and written.  A third
line is the same equation written in NumPy, with its arrays in between.  Seconds are the median of
the runs after one to warm up; printed are ratios to NumPy's copying.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from statistics import median

import numpy as np

from terrain.runoff.curve_number import AS_PUBLISHED, runoff_from_retention


def seconds(work: Callable[[], None], runs: int) -> float:
    work()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken)


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("million", nargs="?", type=float, default=16.0)
    words.add_argument("--storms", type=int, default=10)
    words.add_argument("--runs", type=int, default=5)
    given = words.parse_args()
    side = int((given.million * 1e6) ** 0.5)
    rng = np.random.default_rng(4)
    numbers = rng.integers(40, 99, (side, side)).astype(np.float64)
    numbers[rng.random((side, side)) < 0.05] = np.nan
    storms = np.linspace(10, 150, given.storms)

    def copied() -> None:
        for _ in storms:
            numbers.copy()

    def ours() -> None:
        retention = AS_PUBLISHED.retention(numbers)
        for depth in storms:
            runoff_from_retention(depth, retention)

    def plain() -> None:
        for depth in storms:
            retention = 25400 / numbers - 254
            excess = np.maximum(depth - 0.2 * retention, 0.0)
            with np.errstate(invalid="ignore"):
                excess * excess / (excess + retention)

    base = seconds(copied, given.runs)
    print(f"{numbers.size / 1e6:.1f} million cells, {given.storms} storms, float64")
    for name, work in (("NumPy reads and writes", copied), ("levelsill", ours),
                       ("the equation in NumPy", plain)):
        taken = base if work is copied else seconds(work, given.runs)
        print(f"{name:<24} {taken:7.2f} s   {taken / base:5.2f}")


if __name__ == "__main__":
    main()
