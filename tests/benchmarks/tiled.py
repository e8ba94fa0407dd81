"""Tiles on workers beside the whole raster in one process: time, and a worker's memory.

Run:  .venv/bin/python tests/benchmarks/tiled.py [million cells ...] [--side N] [--runs N]
          [--workers N] [--folder F]

Fractal hills (a million and ten million cells if left out; 100 needs some 6 GB of memory for the
whole raster, and 4 GB of disk) are read from a file, routed, filled and summed downslope, and the
three results written to disk: once as one raster on all cores, once in tiles of N cells a side on
as many workers.  Printed are the ratios of time on the clock and of processor time, the steps of
the tiled run, the highest memory that a worker took beside what `memory_of` says it may, and the
size of the graph over borders.  Results are compared, cell for cell.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from flow import hills


def peak(_: int) -> tuple[int, int, float]:
    """Process, highest memory so far [bytes], processor time [s]; waits, so that all are asked."""
    time.sleep(0.2)
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return os.getpid(), int(line.split()[1]) * 1024, time.process_time()
    return os.getpid(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024, 0.0


def whole(path: Path, folder: Path) -> tuple[float, float, float]:
    """Seconds on the clock in all, of the processor, and on the clock without the disk."""
    from terrain.surface.accumulation import accumulate
    from terrain.surface.depressions import drain

    began, used = time.perf_counter(), time.process_time()
    heights = np.load(path)
    read = time.perf_counter()
    drainage = drain(heights)
    found = {"direction": drainage.direction, "filled": drainage.filled(heights),
             "cells": accumulate(drainage.direction)}
    made = time.perf_counter()
    for name, array in found.items():
        np.save(folder / f"{name}.npy", array)
    return time.perf_counter() - began, time.process_time() - used, made - read


def tiled(path: Path, folder: Path, side: int, run, steps: dict) -> float:
    from terrain.surface.tiled.gathered import gather_all
    from terrain.surface.tiled.grid import Grid
    from terrain.surface.tiled.ground import FileValues
    from terrain.surface.tiled.route import route
    from terrain.surface.tiled.store import TileStore
    from terrain.surface.tiled.work import Work

    def timed(function, rows):
        began = time.perf_counter()
        found = run(function, rows)
        steps[function.__name__] = (steps.get(function.__name__, 0.0)
                                    + time.perf_counter() - began)
        return found

    ground = FileValues(str(path))
    work = Work(ground, Grid.square(ground.shape, side), TileStore(folder))
    began = time.perf_counter()
    steps["graph"] = route(work, timed).graph
    gather_all(work, "cells", 1.0, timed)
    return time.perf_counter() - began


def same(folder: Path, tiles: Path, path: Path, side: int) -> bool:
    """Whether the two runs wrote the same, tile by tile."""
    from terrain.surface.tiled.gathered import Gathered
    from terrain.surface.tiled.grid import Grid
    from terrain.surface.tiled.ground import FileValues
    from terrain.surface.tiled.route import Tiled
    from terrain.surface.tiled.store import TileStore
    from terrain.surface.tiled.work import Work

    ground = FileValues(str(path))
    work = Work(ground, Grid.square(ground.shape, side), TileStore(tiles))
    reads = {"direction": Tiled(work).direction, "filled": Tiled(work).filled,
             "cells": Gathered(work, "cells").read}
    for name, read in reads.items():
        array = np.load(folder / f"{name}.npy", mmap_mode="r")
        for number in range(work.grid.count):
            tile = work.grid.window(number)
            if not np.array_equal(array[tile.top:tile.bottom, tile.left:tile.right], read(tile),
                                  equal_nan=True):
                return False
    return True


def main() -> None:
    from terrain.district.engine import engine, memory_of

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("millions", nargs="*", type=float, default=[1, 10])
    parser.add_argument("--side", type=int, default=0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    for millions in given.millions:
        cells = round((millions * 1e6) ** 0.5)
        side = given.side or min(2048, -(-cells // 4))
        with tempfile.TemporaryDirectory(dir=given.folder) as name:
            folder = Path(name)
            path = folder / "ground.npy"
            np.save(path, hills(cells))
            warm = folder / "warm.npy"
            np.save(warm, np.load(path, mmap_mode="r")[:600, :600])
            with engine(workers=given.workers, memory=4 << 30) as run:
                whole(warm, folder)
                tiled(warm, folder / "warm", 200, run, {})
                one, many, steps = [], [], {}
                for _ in range(given.runs):
                    one.append(whole(path, folder))
                    tiles = folder / "tiles"
                    shutil.rmtree(tiles, ignore_errors=True)
                    before = {pid: used for pid, _, used in run(peak, [(n,) for n in range(8)])}
                    own, steps = time.process_time(), {}
                    clock = tiled(path, tiles, side, run, steps)
                    own = time.process_time() - own
                    after = run(peak, [(n,) for n in range(8)])
                    used = {pid: used for pid, _, used in after}
                    many.append((clock, own + sum(used[pid] - before.get(pid, 0.0)
                                                  for pid in used)))
            best_one, best_many = min(one), min(many)
            highest = max(bytes_ for _, bytes_, _ in after)
            print(f"{cells**2 / 1e6:6.1f} million cells, tiles of {side}: clock "
                  f"{best_many[0] / best_one[0]:.2f} ({best_many[0]:.2f} s beside "
                  f"{best_one[0]:.2f} s, of it without the disk {best_one[2]:.2f} s), processor "
                  f"{min(m[1] for m in many) / min(o[1] for o in one):.2f}; a worker's memory "
                  f"{highest / 1e6:.0f} MB of {memory_of(side) / 1e6:.0f} MB; "
                  f"{'the same' if same(folder, tiles, path, side) else 'NOT THE SAME'}",
                  flush=True)
            nodes, edges = steps.pop("graph")
            print(f"       {nodes:,} nodes and {edges:,} edges over borders; " + ", ".join(
                f"{step} {took:.2f} s" for step, took in steps.items()), flush=True)


if __name__ == "__main__":
    sys.exit(main())
