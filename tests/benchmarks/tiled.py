"""Tiles on workers beside the whole raster in one process: time, and a worker's memory.

Run:  .venv/bin/python tests/benchmarks/tiled.py [million cells ...] [--side N] [--runs N]
          [--workers N] [--folder F] [--model] [--memory]

Fractal hills (a million and ten million cells if left out; 100 needs some 6 GB of memory for the
whole raster, and 4 GB of disk) are read from a file, routed, filled and summed downslope, and the
three results written to disk: once as one raster on all cores, once in tiles of N cells a side on
as many workers.  Printed are the ratios of time on the clock and of processor time, the steps of
the tiled run, the highest memory that a worker took beside what `memory_of` says it may, and the
size of the graph over borders.  Results are compared, cell for cell.

--model screens an invented district on such hills, of which few parcels are looked at, and prints
of each step what docs/district-scale.md says of it: seconds of workers and of the one process that
leads, bytes handed over and kept, highest memory of a task; then, from three sizes or more, the
power of the cells by which each grows, and what 10^10 cells would take: seconds in proportion to
the largest size, all else by its power.  Tiles are of 512 cells a side if that is left out, which
makes enough of them of a small raster; a county's are of 2048.

--memory screens one of 4 tiles of 512, of 1024 and of 2048 cells a side, the first task of each
step in a new worker, and prints the highest memory of that beside `memory_of`.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
import warnings
from contextlib import suppress
from multiprocessing import get_context
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
    from terrain.surface.tiled.kept_tiles import KeptTiles
    from terrain.surface.tiled.route import route
    from terrain.surface.tiled.work import Work

    def timed(function, rows):
        began = time.perf_counter()
        found = run(function, rows)
        steps[function.__name__] = (steps.get(function.__name__, 0.0)
                                    + time.perf_counter() - began)
        return found

    ground = FileValues(str(path))
    work = Work(ground, Grid.square(ground.shape, side), KeptTiles(folder))
    began = time.perf_counter()
    steps["graph"] = route(work, timed).graph
    gather_all(work, "cells", 1.0, timed)
    return time.perf_counter() - began


def same(folder: Path, tiles: Path, path: Path, side: int) -> bool:
    """Whether the two runs wrote the same, tile by tile."""
    from terrain.surface.tiled.gathered import Gathered
    from terrain.surface.tiled.grid import Grid
    from terrain.surface.tiled.ground import FileValues
    from terrain.surface.tiled.kept_tiles import KeptTiles
    from terrain.surface.tiled.route import Tiled
    from terrain.surface.tiled.work import Work

    ground = FileValues(str(path))
    work = Work(ground, Grid.square(ground.shape, side), KeptTiles(tiles))
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


def make_district(folder: Path, cells: int) -> None:
    """A district of so many cells of 1 m a side: hills, a parcel of 5 ha with a house on each
    square of 224 m, a track along every kilometre, rain of ten years."""
    import geopandas
    import rasterio
    from rasterio.transform import from_origin
    from shapely import LineString, box

    folder.mkdir()
    west, north, square = 500_000, 6_400_000, 224
    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", height=cells, width=cells,
                       count=1, dtype="float32", crs="EPSG:32734", tiled=True, blockxsize=512,
                       blockysize=512, BIGTIFF="IF_SAFER",
                       transform=from_origin(west, north, 1, 1)) as out:
        out.write(hills(cells), 1)
        out.units = ("metre",)
    corners = [(west + x, north - cells + y) for y in range(0, cells - square + 1, square)
               for x in range(0, cells - square + 1, square)]
    layers = {
        "parcels": [box(x, y, x + square, y + square) for x, y in corners],
        "roofs": [box(x + 100, y + 100, x + 112, y + 110) for x, y in corners],
        "roads": [LineString([(west + 2, north - at - 50), (west + cells - 2, north - at - 50)])
                  for at in range(0, cells - 100, 1000)]}
    for name, shapes in layers.items():
        geopandas.GeoDataFrame({"name": [f"{name} {n}" for n in range(len(shapes))]},
                               geometry=shapes, crs="EPSG:32734").to_file(
            folder / f"{name}.gpkg", engine="pyogrio")
    geopandas.GeoDataFrame({"cover": ["bare soil"], "group": ["B"]}, geometry=[
        box(west, north - 20, west + 20, north)], crs="EPSG:32734").to_file(
        folder / "ground.gpkg", engine="pyogrio")
    days = np.arange("2010-01-01", "2020-01-01", dtype="datetime64[D]")
    (folder / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{14.0 if n % 9 == 0 else 0.0}\n" for n, day in enumerate(days)))
    (folder / "district.yaml").write_text("""\
name: Square county
elevation: {file: ground.tif}
parcels: {file: parcels.gpkg}
roofs: {file: roofs.gpkg}
roads: {file: roads.gpkg, width: 4 m}
cover: {file: ground.gpkg, otherwise: "pasture, poor"}
soils: {file: ground.gpkg, otherwise: C}
rain:
  storms:
    - {name: big day, depth: 60 mm}
  daily: {file: rain.csv}
suggest: {infiltration: 15 mm/h}
""")


def measured(function, row: tuple) -> tuple:
    """What a task gave, its seconds on the clock and of the processor, and its highest memory."""
    new_peak()
    began, used = time.perf_counter(), time.process_time()
    found = function(*row)
    took = time.perf_counter() - began, time.process_time() - used
    return found, *took, peak_of_process()


def new_peak() -> None:
    """Let the highest memory of this process start anew."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def peak_of_process() -> int:
    """Highest memory since then. [bytes]"""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


#: So many parcels are looked at, evenly over all.
PARCELS = 12


class Steps:
    """Runs tasks and tells what each step took; what the leading process does after a step, under
    its name and `, then`."""

    def __init__(self, run) -> None:
        self.run, self.told, self.last, self.parcels = run, {}, "begin", 0
        self.since = time.perf_counter()

    def __call__(self, function, rows):
        import cloudpickle

        self.then()
        name = function.__name__
        if name == "told_or_fault":  # a few of all the parcels tell how long one takes
            self.parcels = len(rows)
            rows = rows[::-(-len(rows) // PARCELS)]
        sent = sum(len(cloudpickle.dumps(row)) for row in rows)
        new_peak()
        found = self.run(measured, [(function, row) for row in rows])
        back = sum(len(cloudpickle.dumps(one[0])) for one in found)
        step = self.told.setdefault(name, dict.fromkeys(
            ("tasks", "clock, s", "processor, s", "sent", "back", "peak"), 0))
        for key, more in (("tasks", len(rows)), ("sent", sent), ("back", back),
                          ("clock, s", sum(one[1] for one in found)),
                          ("processor, s", sum(one[2] for one in found))):
            step[key] += more
        step["peak"] = max([step["peak"], *(one[3] for one in found)])
        step["leading peak"] = max(step.get("leading peak", 0), peak_of_process())
        new_peak()
        self.last, self.since = name, time.perf_counter()
        return [one[0] for one in found]

    def then(self) -> None:
        """Put down what was done since the last step."""
        step = self.told.setdefault(f"{self.last}, then", {"clock, s": 0.0, "leading peak": 0})
        step["clock, s"] += time.perf_counter() - self.since
        step["leading peak"] = max(step["leading peak"], peak_of_process())


def stepwise(folder: Path, tiles: Path, side: int, run) -> dict[str, dict[str, float]]:
    """Every step of a screening, told by `Steps`; and what is kept of each."""
    from terrain.district.screening import screen

    new_peak()
    steps = Steps(run)
    found = screen(folder, tiles, steps, side=side)
    steps.then()
    told = steps.told
    told["all"] = {"tiles": found.tiles, "nodes": found.graph[0], "edges": found.graph[1],
                   "leading peak": max(keys.get("leading peak", 0) for keys in told.values()),
                   "parcels": steps.parcels,
                   "faults": sum(bool(one.fault) for one in found.parcels)}
    for kept in sorted(path for path in tiles.iterdir() if path.is_dir()):
        step = kept.name.split("-")[0]  # the rest says what it rests on
        told.setdefault("kept", {}).setdefault(step, 0)
        told["kept"][step] += sum(file.stat().st_size for file in kept.rglob("*")
                                  if file.is_file())
    return told


def model(given) -> None:
    """Print every step of several sizes, how each grows, and what a county would take."""
    from terrain.district.engine import engine

    side, table = given.side or 512, []
    for millions in given.millions:
        cells = round((millions * 1e6) ** 0.5)
        with tempfile.TemporaryDirectory(dir=given.folder) as name:
            folder = Path(name)
            for what, size in (("county", cells), ("warm", 600)):
                maker = get_context("spawn").Process(target=make_district,
                                                     args=(folder / what, size))
                maker.start()  # so that its memory is not taken for the leading process's
                maker.join()
            with engine(workers=given.workers) as its:
                for n in range(2):  # kernels compiled, libraries loaded
                    stepwise(folder / "warm", folder / f"warm{n}", 200, its.run)
                began = time.perf_counter()
                told = stepwise(folder / "county", folder / "tiles", side, its.run)
                told["all"]["clock, s"] = time.perf_counter() - began
        flat = {(step, key): value for step, keys in told.items() for key, value in keys.items()}
        table.append((cells**2, flat))
        print(f"{cells**2:,} cells, tiles of {side}, {given.workers} workers", flush=True)
        for step, keys in told.items():
            print(f"  {step:22}" + ", ".join(f"{key} {plainly(key, step, value)}"
                                             for key, value in keys.items()), flush=True)
    if len(table) < 3:
        return
    most, last = table[-1]
    print(f"{'':46}{'at ' + f'{most:.3g}':>14}{'power':>8}{'at 1e10 cells':>16}")
    for name in last:
        sizes = np.array([cells for cells, flat in table if flat.get(name, 0) > 0], float)
        values = np.array([flat[name] for _, flat in table if flat.get(name, 0) > 0], float)
        # Much of any memory is there before the first tile, or has a bound of its own.
        if sizes.size < 3 or name[1].endswith("peak") or name[0] == "told_or_fault":
            continue
        power = np.polyfit(np.log(sizes), np.log(values), 1)[0]
        # Seconds of few tiles are too few to tell a power by: they go by the cells.
        whole = last[name] * (1e10 / most)**(1.0 if name[1].endswith(", s") else power)
        print(f"{name[0] + ': ' + name[1]:46}{plainly(name[1], name[0], last[name]):>14}"
              f"{power:>8.2f}{plainly(name[1], name[0], whole):>16}")
    many = last["all", "parcels"] * 1e10 / most
    each = last["told_or_fault", "processor, s"] / last["told_or_fault", "tasks"]
    print(f"{'a parcel, processor':46}{each:>12.3f} s{'':8}{each * many:>14,.0f} s of "
          f"{many:,.0f} parcels")


def plainly(key: str, step: str, value: float) -> str:
    """A figure with its unit."""
    if key.endswith(", s"):
        return f"{value:,.3f} s"
    if step == "kept" or key in ("sent", "back") or key.endswith("peak"):
        return f"{value / 1e6:,.3f} MB"
    return f"{value:,.0f}"


def memory(given) -> None:
    """Print the highest memory of each task, by the side of a tile."""
    from terrain.district.engine import engine, memory_of
    from terrain.district.screening import screen

    for side in (512, 1024, 2048):
        with tempfile.TemporaryDirectory(dir=given.folder) as name:
            folder = Path(name)
            make_district(folder / "county", 2 * side)
            highest: dict[str, int] = {}

            def alone(function, rows, highest=highest):
                """The first task of each step in a worker that did nothing before."""
                if function.__name__ == "told_or_fault":
                    rows = rows[:1]
                found = []
                for part in filter(None, (rows[:1], rows[1:])):
                    with engine(workers=1, memory=8 << 30) as its:
                        found += its.run(measured, [(function, row) for row in part])
                if found:
                    highest[function.__name__] = found[0][3]
                return [one[0] for one in found]

            screen(folder / "county", folder / "tiles", alone, side=side)
        print(f"tiles of {side}, at most {memory_of(side) / 1e6:.0f} MB: " + ", ".join(
            f"{step} {bytes_ / 1e6:.0f} MB" for step, bytes_ in highest.items()),
            flush=True)


def main() -> None:
    from terrain.district.engine import engine, memory_of

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("millions", nargs="*", type=float, default=[1, 10])
    parser.add_argument("--side", type=int, default=0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--model", action="store_true")
    parser.add_argument("--memory", action="store_true")
    given = parser.parse_args()
    warnings.simplefilter("ignore")  # layers without a coordinate system, which copies are
    if given.model or given.memory:
        (model if given.model else memory)(given)
        return
    for millions in given.millions:
        cells = round((millions * 1e6) ** 0.5)
        side = given.side or min(2048, -(-cells // 4))
        with tempfile.TemporaryDirectory(dir=given.folder) as name:
            folder = Path(name)
            path = folder / "ground.npy"
            np.save(path, hills(cells))
            warm = folder / "warm.npy"
            np.save(warm, np.load(path, mmap_mode="r")[:600, :600])
            with engine(workers=given.workers, memory=4 << 30) as its:
                run = its.run
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
