"""Flow over a raster, beside named general-purpose libraries in the same run.

Run:  .venv/bin/python tests/benchmarks/flow.py [million cells ...] [--runs N] [--tasks NAME ...]

Every library reads the same fractal hills, each in a process of its own: seconds are the median of
the runs after one to warm up, memory is the peak above the process with the hills in it.  Printed
are ratios to levelsill: how many times as long the others take.

Tasks: d8 (raw raster to D8 accumulation), d-infinity, quinn, freeman (accumulation on a surface
without hollows, its directions included), site (all that a plan asks of the ground), start (the
first start, kernels compiled, and the second, kernels from disk; at the smallest size).

Libraries: richdem (a dependency), pyflwdir, topotoolbox and pysheds (the bench extra; left out
where they are not installed, pysheds above 20 million cells too).  All
but richdem send water down the steepest descent; richdem's D8 takes the lowest neighbour, so its
directions differ, its work does not.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
from numpy.typing import NDArray

Work = Callable[[], object]
NOTHING = -9999.0


def hills(side: int, seed: int = 1) -> NDArray[np.float32]:
    """Fractal hills of side x side cells, with hollows in them."""
    from scipy import fft

    noise = np.random.default_rng(seed).standard_normal((side, side), np.float32)
    rate = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    rate[0, 0] = np.inf
    spectrum = fft.rfft2(noise)
    del noise
    spectrum *= rate.astype(np.float32)**-1.9
    del rate
    shape = fft.irfft2(spectrum, s=(side, side))
    return ((shape - shape.min()) / np.ptp(shape) * 200).astype(np.float32)


def _richdem_grid(heights: NDArray[np.float32]):
    import richdem

    grid = richdem.rdarray(heights.copy(), no_data=NOTHING)
    grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
    return grid


def d8_levelsill(heights: NDArray[np.float32]) -> Work:
    from terrain.surface.accumulation import accumulate
    from terrain.surface.depressions import drain

    def work() -> object:
        drainage = drain(heights)
        return drainage.filled(heights), accumulate(drainage.direction)
    return work


def d8_richdem(heights: NDArray[np.float32]) -> Work:
    import richdem

    from terrain.surface.slope import hushed

    def work() -> object:
        with hushed():
            filled = richdem.fill_depressions(_richdem_grid(heights), epsilon=True)
            return richdem.flow_accumulation(filled, method="D8")
    return work


def d8_pyflwdir(heights: NDArray[np.float32]) -> Work:
    import pyflwdir

    return lambda: pyflwdir.from_dem(heights, nodata=NOTHING, outlets="edge").upstream_area()


def d8_topotoolbox(heights: NDArray[np.float32]) -> Work:
    import topotoolbox

    def work() -> object:
        grid = topotoolbox.GridObject()
        grid.z, grid.cellsize = heights, 1.0
        return topotoolbox.FlowObject(grid).flow_accumulation()
    return work


def d8_pysheds(heights: NDArray[np.float32]) -> Work:
    from affine import Affine
    from pysheds.grid import Grid
    from pysheds.sview import Raster, ViewFinder

    if not hasattr(np, "in1d"):  # pysheds 0.5 calls it by the name numpy 2.4 dropped
        np.in1d = np.isin
    def work() -> object:
        view = ViewFinder(affine=Affine(1, 0, 0, 0, -1, 0), shape=heights.shape,
                          nodata=np.float32(NOTHING))
        grid = Grid(viewfinder=view)
        ground = grid.fill_pits(Raster(heights, view))
        ground = grid.resolve_flats(grid.fill_depressions(ground))
        return grid.accumulation(grid.flowdir(ground))
    return work


def _ready(heights: NDArray[np.float32]):
    from terrain.surface.depressions import drain

    drainage = drain(heights)
    return drainage.filled(heights), drainage.direction


def spread_levelsill(method: str) -> Callable[[NDArray[np.float32]], Work]:
    def make(heights: NDArray[np.float32]) -> Work:
        from terrain.surface.d_infinity import accumulate_d_infinity, d_infinity
        from terrain.surface.multiple_flow import accumulate_multiple_flow

        filled, direction = _ready(heights)
        return {
            "d-infinity": lambda: accumulate_d_infinity(d_infinity(filled, direction)),
            "quinn": lambda: accumulate_multiple_flow(filled, direction),
            "freeman": lambda: accumulate_multiple_flow(filled, direction, exponent=1.1,
                                                        contour_lengths=False)}[method]
    return make


def spread_richdem(method: str) -> Callable[[NDArray[np.float32]], Work]:
    def make(heights: NDArray[np.float32]) -> Work:
        import richdem

        from terrain.surface.slope import hushed

        grid = _richdem_grid(_ready(heights)[0])
        named = {"d-infinity": "Dinf", "quinn": "Quinn", "freeman": "Freeman"}[method]
        more = {"exponent": 1.1} if method == "freeman" else {}

        def work() -> object:
            with hushed():
                return richdem.flow_accumulation(grid, method=named, **more)
        return work
    return make


def site_levelsill(heights: NDArray[np.float32]) -> Work:
    from terrain.inputs.dem import Dem
    from terrain.inputs.frame import Frame
    from terrain.surface.terrain import Terrain

    def work() -> object:
        ground = Terrain(Dem(heights, 0.0, float(heights.shape[0]), 1.0, Frame(None, None)))
        outlet = np.zeros(heights.shape, bool)
        outlet[heights.shape[0] // 2, heights.shape[1] // 2] = True
        return (ground.filled, ground.contributing_area, ground.path_length, ground.slope,
                ground.edge, ground.below_edge, ground.hollows, ground.catchment(outlet))
    return work


TASKS: dict[str, dict[str, Callable[[NDArray[np.float32]], Work]]] = {
    "d8": {"levelsill": d8_levelsill, "richdem": d8_richdem, "pyflwdir": d8_pyflwdir,
           "topotoolbox": d8_topotoolbox, "pysheds": d8_pysheds},
    **{method: {"levelsill": spread_levelsill(method), "richdem": spread_richdem(method)}
       for method in ("d-infinity", "quinn", "freeman")},
    "site": {"levelsill": site_levelsill}}


def _resident(field: str) -> int:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(field):
            return int(line.split()[1]) * 1024
    return 0


def measure(task: str, library: str, file: str, runs: int) -> dict[str, float]:
    """Seconds of each run, and the peak of memory above what stood before it [B]."""
    heights = np.load(file)
    make = TASKS[task][library]
    make(np.ascontiguousarray(heights[:300, :300]))()  # kernels compiled, libraries loaded
    work = make(heights)
    work()
    before = _resident("VmRSS")
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")  # the peak starts anew
    taken = []
    for _ in range(runs):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return {"seconds": median(taken), "peak": max(_resident("VmHWM") - before, 0)}


def in_own_process(arguments: list[str], **environment: str) -> str:
    return subprocess.run([sys.executable, __file__, *arguments], check=True, text=True,
                          stdout=subprocess.PIPE, env={**os.environ, **environment}).stdout


def compare(task: str, file: str, cells: int, runs: int) -> None:
    base = None
    for library in TASKS[task]:
        if library != "levelsill" and importlib.util.find_spec(library) is None:
            print(f"  {task:<11} {library:<12} not installed")
            continue
        if library == "pysheds" and cells > 20e6:
            continue
        found = json.loads(in_own_process(["--one", task, library, file, "--runs", str(runs)]))
        base = base or found["seconds"]
        ratio = "" if library == "levelsill" else f"{found['seconds'] / base:6.1f} times as long"
        print(f"  {task:<11} {library:<12} {found['seconds']:8.3f} s "
              f"{found['peak'] / cells:6.1f} B/cell {ratio}", flush=True)


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("million", nargs="*", type=float, default=[1.0])
    asked.add_argument("--runs", type=int, default=5)
    asked.add_argument("--tasks", nargs="+", choices=[*TASKS, "start"], default=[*TASKS, "start"])
    asked.add_argument("--one", nargs=3, metavar=("TASK", "LIBRARY", "FILE"))
    given = asked.parse_args()
    if given.one:
        print(json.dumps(measure(*given.one, given.runs)))
        return
    with tempfile.TemporaryDirectory() as folder:
        for i, million in enumerate(sorted(given.million)):
            heights = hills(int((million * 1e6) ** 0.5))
            file = f"{folder}/hills.npy"
            np.save(file, heights)
            cells = heights.size
            del heights
            print(f"{cells:,} cells", flush=True)
            for task in given.tasks:
                if task != "start":
                    compare(task, file, cells, given.runs)
                elif i == 0:
                    for start in ("first", "second"):
                        began = time.perf_counter()
                        in_own_process(["--one", "site", "levelsill", file, "--runs", "1"],
                                       NUMBA_CACHE_DIR=f"{folder}/kernels")
                        print(f"  {start} start, site: {time.perf_counter() - began:.1f} s",
                              flush=True)


if __name__ == "__main__":
    main()
