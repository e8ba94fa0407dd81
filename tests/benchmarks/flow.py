"""Raw raster to D8 accumulation, beside named general-purpose libraries in the same run.

Run:  .venv/bin/python tests/benchmarks/flow.py [million cells]

Prints ratios (how many times as long each library takes), the median of five runs, kernels
compiled before.  All read the same fractal hills and give the same filled surface; richdem's D8
takes the lowest neighbour, so its directions differ, its work does not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median

import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import accumulate
from terrain.surface.depressions import drain
from terrain.surface.slope import hushed


def hills(side: int, seed: int = 1) -> NDArray[np.float32]:
    """Fractal hills of side x side cells, with hollows in them."""
    noise = np.random.default_rng(seed).standard_normal((side, side))
    rate = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    rate[0, 0] = np.inf
    shape = np.fft.irfft2(np.fft.rfft2(noise) * rate**-1.9, s=(side, side))
    return ((shape - shape.min()) / np.ptp(shape) * 200).astype(np.float32)


def ours(heights: NDArray[np.float32]) -> None:
    accumulate(drain(heights).direction)


def by_richdem(heights: NDArray[np.float32]) -> None:
    import richdem

    with hushed():
        grid = richdem.rdarray(heights.copy(), no_data=-9999.0)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        filled = richdem.fill_depressions(grid, epsilon=True)
        richdem.flow_accumulation(filled, method="D8")


def by_pyflwdir(heights: NDArray[np.float32]) -> None:
    import pyflwdir

    pyflwdir.from_dem(heights, nodata=-9999.0, outlets="edge").upstream_area()


def seconds(work: Callable[[NDArray[np.float32]], None], heights: NDArray[np.float32]) -> float:
    """Median time of five runs after one to warm up."""
    work(heights)
    taken = []
    for _ in range(5):
        started = time.perf_counter()
        work(heights)
        taken.append(time.perf_counter() - started)
    return median(taken)


def main() -> None:
    million = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    heights = hills(int((million * 1e6) ** 0.5))
    base = seconds(ours, heights)
    print(f"{heights.size:,} cells, raw raster to D8 accumulation: levelsill {base:.2f} s")
    for name, work in (("richdem", by_richdem), ("pyflwdir", by_pyflwdir)):
        print(f"  {name:<9} takes {seconds(work, heights) / base:5.1f} times as long")


if __name__ == "__main__":
    main()
