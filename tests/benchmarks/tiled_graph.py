"""The graph over borders of a county's tiles, from real tiles that are laid out mirrored.

Run:  .venv/bin/python tests/benchmarks/tiled_graph.py [tiles a side ...] [--side N] [--base M]
          [--rough] [--workers N] [--folder F]

Fractal hills of M tiles a side (two of 2048 cells if left out) are mirrored about their outermost
rows and columns, over and over, so that borders match: ground(r, c) = hills(reflect(r),
reflect(c)).  What a tile hands over depends on its own cells and the two around it, and on flats
that cross its border; so the first steps are run for real on 2 M + 4 tiles a side, which hold
every tile that there is, and moved to the places of all others: cells are counted anew, and flats
that cross borders are numbered as `flats.join` does for the whole.  Then the steps that one
process makes for all tiles are run for real, each size in a process of its own.  Sizes must be 4
more than a multiple of 2 M.  Of each is printed what was handed over, time, memory and size of the
graph; and, for the largest, what the growth over the smaller ones made expect.

--rough adds what a laser scan has: noise of 3 cm, heights in whole centimetres, so that many small
flats cross borders.  tests/surface/tiled/test_graph_at_scale.py checks that moved tiles are those
that a real run gives, array for array.
"""

from __future__ import annotations

import argparse
import json
import pickle
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

#: What tiles hand over that counts cells of the raster.
CELLS = ("exit_cell", "exit_to", "cell", "one_cell", "other_cell", "touching")
#: Tiles at each edge that are as no others are: flats that reach the edge may reach into a second.
EDGE = 2


def reflect(index: np.ndarray, size: int) -> np.ndarray:
    """Places in 0 to size - 1, mirrored about the first and the last."""
    within = index % (2 * (size - 1))
    return np.where(within < size, within, 2 * (size - 1) - within)


@dataclass(frozen=True)
class Mirrored:
    """A square `.npy` file, mirrored over and over."""

    path: str
    shape: tuple[int, int]

    def read(self, window):
        base = np.load(self.path, mmap_mode="r")
        rows = reflect(np.arange(window.top, window.bottom), base.shape[0])
        columns = reflect(np.arange(window.left, window.right), base.shape[1])
        part = np.ascontiguousarray(base[rows.min():rows.max() + 1,
                                         columns.min():columns.max() + 1])
        return part[np.ix_(rows - rows.min(), columns - columns.min())]

    def identity(self) -> str:
        return f"{self.path} {self.shape}"


def work_of(path: Path, tiles: int, side: int, folder: Path | None = None):
    """So many tiles a side of the mirrored ground."""
    from terrain.surface.tiled.grid import Grid
    from terrain.surface.tiled.kept_tiles import KeptTiles
    from terrain.surface.tiled.work import Work

    shape = tiles * side, tiles * side
    return Work(Mirrored(str(path), shape), Grid.square(shape, side), KeptTiles(folder or path))


class Enough(Exception):
    """What is wanted of a route is recorded."""


def first_steps(work, run, whole: bool = False) -> dict[str, Any]:
    """What every tile hands over in a real run of `route`: `flats` and `bowls`, tile by tile.

    With `whole`, the run goes on to its end, and `answers` and the `graph` are told too.
    """
    from terrain.surface.tiled.route import route

    told: dict[str, Any] = {}

    def spy(function, rows):
        if function.__name__ == "drain_tile":
            told["answers"] = [row[2] for row in rows]
            if not whole:
                raise Enough
        found = run(function, rows)
        if function.__name__ == "lie_and_find":
            told["flats"], told["bowls"] = map(list, zip(*found, strict=True))
        if function.__name__ == "find_across":
            for row, part in zip(rows, found, strict=True):
                told["bowls"][row[1]] = part
        return found

    with suppress(Enough):
        told["graph"] = route(work, spy).graph
    return told


def same_place(at: int, tiles: int, few: int, base: int) -> int:
    """Which of `few` tiles along a side is the same ground, edges included, as one of `tiles`."""
    if at < EDGE:
        return at
    if at >= tiles - EDGE:
        return few - (tiles - at)
    return EDGE + (at - EDGE) % (2 * base)


def moved(handed, few_grid, source: int, grid, number: int):
    """What a tile hands over, as the same ground hands it over elsewhere."""
    here, there = few_grid.window(source), grid.window(number)
    down, along = there.top - here.top, there.left - here.left
    found = {}
    for name, array in handed.items():
        if name in CELLS:
            row, column = np.divmod(array, few_grid.shape[1])
            found[name] = np.where(array < 0, array,
                                   (row + down) * grid.shape[1] + column + along)
        elif name == "box":
            found[name] = array + np.array([down, down, along, along])
        else:
            found[name] = array.copy()
    return found


def lay_out(told, few_grid, grid, base: int):
    """Flats and bowls of all tiles of a grid, and its flats joined; seconds of the joining."""
    from terrain.surface.tiled import flats

    tiles, few = grid.across, few_grid.across
    source = [same_place(number // tiles, tiles, few, base) * few
              + same_place(number % tiles, tiles, few, base) for number in range(grid.count)]
    lying = [moved(told["flats"][source[number]], few_grid, source[number], grid, number)
             for number in range(grid.count)]
    began = time.perf_counter()
    joined = flats.join(grid, lying)
    took = time.perf_counter() - began
    here = flats.join(few_grid, told["flats"])
    closed = np.where(joined.open, -1, np.cumsum(~joined.open) - 1).astype(np.int32)
    found = []
    for number in range(grid.count):
        parts = joined.flat_of[number]
        if not np.array_equal(joined.open[parts], here.open[here.flat_of[source[number]]]):
            raise ValueError(f"a flat of tile {number} reaches further than its neighbours: take "
                             "more tiles for real")
        part = moved(told["bowls"][source[number]], few_grid, source[number], grid, number)
        last = int(part["public"][0])
        part["flat_of"][last - parts.size:last] = closed[parts]
        found.append(part)
    return lying, joined, found, took


class Nowhere:
    """Tiles of which nothing is kept."""

    def put(self, step, number, arrays):
        """Forget them."""


def resident(field: str) -> int:
    """VmRSS or VmHWM of this process. [bytes]"""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(field):
            return int(line.split()[1]) * 1024
    return 0


def bytes_of(parts) -> int:
    """Of arrays handed over."""
    return sum(array.nbytes for part in parts for array in
               (part if isinstance(part, dict) else vars(part)).values())


def measure(file: Path, tiles: int) -> dict[str, float]:
    """Run what one process does for all tiles, and say what it took."""
    from terrain.surface.tiled import flats, labelled
    from terrain.surface.tiled.grid import Grid
    from terrain.surface.tiled.spill import Rims, solve
    from terrain.surface.tiled.work import Work

    told = pickle.loads(file.read_bytes())
    side, base = told["side"], told["base"]
    few_grid = Grid.square((told["few"] * side,) * 2, side)
    warm(told, few_grid)
    grid = Grid.square((tiles * side,) * 2, side)
    start = resident("VmRSS")
    lying, joined, handed, joining = lay_out(told, few_grid, grid, base)
    found = {"tiles": grid.count, "cells": grid.shape[0] * grid.shape[1],
             "handed, flats": bytes_of(lying), "handed, bowls": bytes_of(handed),
             "join, s": joining, "flats across": joined.open.size,
             "exits": sum(int((part["exit_to"] >= 0).sum()) for part in handed)}
    del lying
    began = time.perf_counter()
    for which in (joined.open, ~joined.open):
        groups = flats.batches(joined, np.flatnonzero(which))
        [([joined.tiles(flat) for flat in group], joined.box[group]) for group in groups]
        flats.batches_by_tile(joined, groups, grid.count)
    found["flats to tasks, s"] = time.perf_counter() - began
    found["held before"] = resident("VmRSS") - start
    began, used = time.perf_counter(), time.process_time()
    solution = solve(grid, handed, int((~joined.open).sum()))
    found["solve, s"] = time.perf_counter() - began
    found["solve, processor"] = time.process_time() - used
    found["peak"] = resident("VmHWM") - start
    found |= {"nodes": solution.nodes, "edges": solution.edges,
              "answers": bytes_of(solution.answers)}
    del solution, joined
    # Labels: as far as water goes before bowls spill, which is all that a tile knows by itself.
    labels = []
    for part in handed:
        nodes = np.flatnonzero(part["exit_to"] >= 0)
        label = np.zeros(part["exit_to"].size + 1, np.int32)
        label[nodes] = labelled.FIRST_EXIT - np.arange(nodes.size, dtype=np.int32)
        labels.append({"rim_label": label[part["rim_node"]], "exit_to": part["exit_to"][nodes]})
    del handed
    found["handed, labels"] = bytes_of(labels)
    began, used = time.perf_counter(), time.process_time()
    labelled.follow(Work(None, grid, Nowhere()), "marks", labels)
    found["labels, s"] = time.perf_counter() - began
    found["labels, processor"] = time.process_time() - used
    rims = Rims(grid)
    found["rims"] = sum(array.nbytes for array in vars(rims).values())
    return found


def warm(told, grid) -> None:
    """Compile, or load, what is then timed."""
    from terrain.surface.tiled import flats
    from terrain.surface.tiled.spill import solve

    solve(grid, told["bowls"], int((~flats.join(grid, told["flats"]).open).sum()))


def ground(tiles: int, side: int, rough: bool) -> np.ndarray:
    """Hills of so many tiles a side, and one row and column more, to be mirrored."""
    from flow import hills

    size = tiles * side + 1
    heights = hills(size)
    if rough:
        noise = np.random.default_rng(2).standard_normal((size, size), np.float32)
        heights = np.round(100 * (heights + 0.03 * noise)) / np.float32(100)
    return heights.astype(np.float32)


def expected(sizes, values, cells: float) -> float:
    """What the growth over smaller sizes makes expect: a power of the cells, by least squares."""
    sizes, values = np.asarray(sizes, float), np.asarray(values, float)
    if (values <= 0).any():
        return float("nan")
    power, factor = np.polyfit(np.log(sizes), np.log(values), 1)
    return float(np.exp(factor + power * np.log(cells)))


def main() -> None:
    from terrain.district.engine import engine

    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("tiles", nargs="*", type=int, default=[12, 20, 28, 52])
    parser.add_argument("--side", type=int, default=2048)
    parser.add_argument("--base", type=int, default=2)
    parser.add_argument("--rough", action="store_true")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        print(json.dumps(measure(given.measure, given.tiles[0])))
        return
    few = 2 * given.base + 2 * EDGE
    for tiles in given.tiles:
        if tiles < few or (tiles - few) % (2 * given.base):
            parser.error(f"{tiles} tiles a side are not {few} and some times {2 * given.base}")
    with tempfile.TemporaryDirectory(dir=given.folder) as name:
        folder = Path(name)
        np.save(folder / "hills.npy", ground(given.base, given.side, given.rough))
        began = time.perf_counter()
        with engine(workers=given.workers) as its:
            told = first_steps(work_of(folder / "hills.npy", few, given.side, folder / "tiles"),
                               its.run)
        print(f"{few} x {few} tiles of {given.side} for real in "
              f"{time.perf_counter() - began:.0f} s", flush=True)
        file = folder / "told.pickle"
        file.write_bytes(pickle.dumps({**told, "side": given.side, "base": given.base,
                                       "few": few}))
        table = []
        for tiles in given.tiles:
            done = subprocess.run([sys.executable, __file__, f"{tiles}", "--measure", file],
                                  check=True, text=True, stdout=subprocess.PIPE)
            table.append(json.loads(done.stdout))
            print(f"{tiles} x {tiles} tiles done", flush=True)
    sizes = [row["cells"] for row in table]
    print(f"{'':20}" + "".join(f"{size:>12.4g}" for size in sizes)
          + ("    expected" if len(sizes) > 2 else "") + "      a tile")
    for key in table[0]:
        factor = 1e-6 if plainly_bytes(key) else 1.0
        values = [row[key] * factor for row in table]
        if len(sizes) > 2:
            values.append(expected(sizes[:-1], values[:-1], sizes[-1]))
        each = table[-1][key] / table[-1]["tiles"]
        print(f"{key:20}" + "".join(
            f"{value:>12.3g}" if value < 10 or value >= 1e9 else f"{value:>12,.0f}"
            for value in values) + f"{each:>12,.4g}"
            + ("   (MB; bytes)" if plainly_bytes(key) else ""))


def plainly_bytes(key: str) -> bool:
    """Whether a figure is one of bytes."""
    return key.startswith("handed") or key in ("held before", "peak", "answers", "rims")


if __name__ == "__main__":
    sys.exit(main())
