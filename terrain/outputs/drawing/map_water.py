"""What a map tells of water: where roads shed it, where it runs on, and how much passes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing.base_map import View
from terrain.plan.planned import Plan
from terrain.runoff.sheds import Shed, ShedPoint
from terrain.surface.accumulation import accumulate

FloatArray = NDArray[np.float64]

#: So many places where roads and bare ground shed are numbered.
MOST_SHED_POINTS = 6
#: A place that sheds less in the largest storm is not numbered. [m3]
LEAST_SHED = 1.0
#: So many places where run-on enters are shown, each with at least this share of the property. [-]
MOST_RUN_ON, LEAST_RUN_ON = 3, 0.02


def largest_storm(plan: Plan) -> int:
    """Index of the deepest storm."""
    storms = plan.site.rain.storms
    return max(range(len(storms)), key=lambda i: (storms[i].depth, i))


def shed_points_of(plan: Plan) -> list[tuple[Shed, ShedPoint]]:
    """The first places of the plan's ranking, as far as they shed enough to be numbered."""
    storm = largest_storm(plan)
    return [(shed, point) for shed, point in plan.ranked_shed_points[:MOST_SHED_POINTS]
            if point.volumes[storm] >= LEAST_SHED]


def shed_size(volume: float, most: float) -> float:
    """Radius of the mark of a place that sheds `volume`. [pt]"""
    return 5.8 + 4.2 * float(np.sqrt(volume / most))


def run_on_of(plan: Plan) -> list[tuple[float, float, float, float, float, bool]]:
    """Where most run-on enters: place [m], unit vector of its way, area it comes from [m2], and
    whether the raster cuts that area off."""
    terrain, inside, dem = plan.terrain, plan.inputs.ground.inside, plan.inputs.dem
    marks = np.where(inside, np.arange(1, inside.size + 1).reshape(inside.shape), 0)
    first = terrain.labels(marks.astype(np.int32))
    beyond = first[(~inside) & (first > 0)]
    if not beyond.size:
        return []
    cells, counts = np.unique(beyond, return_counts=True)
    cut_off = set(np.unique(first[terrain.edge & ~inside & (first > 0)]).tolist())
    order = np.lexsort((cells, -counts))
    least = max(LEAST_RUN_ON * inside.sum() * dem.cell_area, 0.0)
    found: list[list[Any]] = []
    for i in order[:4000]:
        row, column = divmod(int(cells[i]) - 1, inside.shape[1])
        x, y = (float(v) for v in dem.xy(row, column))
        area = float(counts[i]) * dem.cell_area
        near = next((f for f in found if np.hypot(f[0] - x, f[1] - y) < 25 * dem.cell), None)
        if near is not None:
            near[2] += area
            near[5] = near[5] or int(cells[i]) in cut_off
        else:
            found.append([x, y, area, row, column, int(cells[i]) in cut_off])
    entries = []
    for x, y, area, row, column, short in sorted(
            found, key=lambda f: (-f[2], f[3], f[4]))[:MOST_RUN_ON]:
        if area < least:
            continue
        path = terrain.path(int(row), int(column))[:14]
        px, py = dem.xy(path[:, 0], path[:, 1])
        way = np.array([px[-1] - x, py[-1] - y])
        norm = float(np.hypot(*way))
        if norm:
            entries.append((x, y, float(way[0] / norm), float(way[1] / norm), area,
                            bool(short)))
    return entries


def run_on_ground(plan: Plan) -> tuple[float, bool]:
    """All the ground beyond the boundary that run-on comes from [m2], and whether the raster cuts
    it off."""
    inside = plan.inputs.ground.inside
    beyond = plan.terrain.catchment(inside) & ~inside
    return float(beyond.sum() * plan.inputs.dem.cell_area), bool((beyond & plan.terrain.edge).any())


def listed_words(listed: int, every: int, where: str = "in the report") -> str:
    """How many of all places a table lists, and where the others stand; nothing if all do."""
    others = "the other stands" if every - listed == 1 else "the others stand"
    return f"{listed} of {every} places; {others} {where}." if listed < every else ""


def passing_of(plan: Plan) -> FloatArray:
    """Runoff that passes each cell of the ground in the design storm, as it is now. [m3]"""
    return accumulate(plan.terrain.direction, plan.inputs.runoff(plan.site.rain.design.depth))


def flow_least(plan: Plan, view: View, passing: FloatArray, system: str) -> float:
    """A round volume from which on the ways of the water in a view are drawn. [m3]

    It is what passes where water gathers from a hundred-and-fiftieth of the view.
    """
    dem = plan.inputs.dem
    rows, columns = base.window(dem, view)
    ground = (view.east - view.west) * (view.north - view.south)
    area, here = plan.terrain.contributing_area[rows, columns], passing[rows, columns]
    least = max(ground / 150, 20 * dem.cell_area)
    share = float((area >= least).mean())
    known = here[np.isfinite(here) & (here > 0)]
    if not known.size or not share:
        return 1.0
    return round_volume(float(np.quantile(known, max(1 - share * here.size / known.size, 0.0))),
                        system)


def round_volume(volume: float, system: str) -> float:
    """The nearest of 1, 2 and 5 times a power of ten, in m3 or gallons. [m3]"""
    unit = 0.003785411784 if system == "us" else 1.0
    power = 10.0 ** np.floor(np.log10(max(volume, 1e-6) / unit))
    return float(min((n * power for n in (1, 2, 5, 10)),
                     key=lambda v: abs(np.log(v * unit / max(volume, 1e-6)))) * unit)
