"""Where the flood can hurt: buildings, roads and the boundary, and ground it runs over too fast.

References
----------
.. [1] Australian Institute for Disaster Resilience, Guideline 7-3, Flood Hazard, 2017, Table 2
   (from memory): limits of depth, speed and depth times speed for people and vehicles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.storm_flow import Flow
from terrain.plan.planned import Plan
from terrain.proof.flood_ground import FloodGround
from terrain.proof.pools import Cells
from terrain.proof.soils import SEALED
from terrain.units import first_system, shown
from terrain.works.designed_ground import UNCHANGED, WorkShape
from terrain.works.lining import permissible

#: Depth times speed, depth and speed up to which each holds; from [1]. [m2/s], [m], [m/s]
HAZARDS = (
    (0.3, 0.3, 2.0, "safe for people and vehicles"),
    (0.6, 0.5, 2.0, "unsafe for small vehicles"),
    (0.6, 1.2, 2.0, "unsafe for vehicles, children and the elderly"),
    (1.0, 2.0, 2.0, "unsafe for people and vehicles"),
    (4.0, 4.0, 4.0, "unsafe for people and vehicles; buildings need designing for it"),
)
WORST = "unsafe for people and vehicles; buildings fail"
#: What the boundary's place is called.
BOUNDARY = "at the boundary"
#: Water shallower than this is a wet surface. [m]
WET = 0.01
#: Ground so near to a building is beside it, and so near to a work or road is told by it. [m]
BESIDE, NEAR = 2.0, 30.0
#: Shallower water than this carries little earth. [m]
CARRIES = 0.02
#: Fast ground of less than this is left out. [m2]
LEAST = 4.0
#: Families of cover on which nothing grows.
BARE = ("bare soil", "fallow", "newly graded", "dirt road", "desert landscaping")


@dataclass(frozen=True)
class Spot:
    """A building, road or boundary in the flood.

    Attributes
    ----------
    what : str
    depth, speed, strength : float
        Greatest, each by itself. [m], [m/s], [m2/s]
    strength_before : float or None
        Without the works. [m2/s]
    arrives : float or None
        Hours until water deeper than 10 mm is there. [h]
    x, y : float
        Where depth times speed is greatest. [m]
    hazard : str
    """

    what: str
    depth: float
    speed: float
    strength: float
    strength_before: float | None
    arrives: float | None
    x: float
    y: float
    hazard: str


@dataclass(frozen=True)
class Fast:
    """A patch of ground over which water runs faster than it stands.

    Attributes
    ----------
    x, y : float
        Where it is fastest. [m]
    area : float
        [m2]
    speed, limit, depth : float
        [m/s], [m/s], [m]
    speed_before : float or None
        Greatest anywhere on the patch without the works. [m/s]
    cover : str
    source : str
        Of the limit.
    on : str
        What it is on, or near: a work, a road, a channel; "" where none is near.
    """

    x: float
    y: float
    area: float
    speed: float
    limit: float
    depth: float
    speed_before: float | None
    cover: str
    source: str
    on: str


def hazard_of(depth: float, speed: float, strength: float) -> str:
    """What water of a depth [m], speed [m/s] and both [m2/s] does, by [1]."""
    for most, deep, fast, words in HAZARDS:
        if strength <= most and depth <= deep and speed <= fast:
            return words
    return WORST


def spots_of(plan: Plan, ground: FloodGround, flow: Flow, before: Flow | None) -> tuple[Spot, ...]:
    """Buildings, roads and the boundary, the most dangerous first."""
    from scipy import ndimage

    reach = np.ones((3, 3), bool)
    beside = max(round(BESIDE / ground.grid.cell), 1)
    rim = ground.inside & ~ndimage.binary_erosion(ground.inside, reach)
    places: list[tuple[str, Cells]] = []
    for roof in plan.inputs.ground.roofs:
        cells = _cells(plan, ground, roof.cells)
        places.append((f"beside the building \"{roof.name}\"",
                       ndimage.binary_dilation(cells, reach, beside) & ~cells))
    places += [(f"on the road \"{road.name}\"", _cells(plan, ground, road.cells))
               for road in plan.inputs.ground.roads]
    places.append((BOUNDARY, rim))
    found = [spot for what, cells in places
             if (spot := _spot(ground, flow, before, what, cells)) is not None]
    return tuple(sorted(found, key=lambda s: -s.strength))


def _cells(plan: Plan, ground: FloodGround, cells: NDArray[Any]) -> NDArray[Any]:
    dem, grid = plan.terrain.dem, ground.grid
    rows = np.clip(((dem.top - grid.y) // dem.cell).astype(np.int64), 0, dem.shape[0] - 1)
    columns = np.clip(((grid.x - dem.left) // dem.cell).astype(np.int64), 0, dem.shape[1] - 1)
    return np.asarray(cells[rows[:, None], columns[None, :]])


def _spot(ground: FloodGround, flow: Flow, before: Flow | None, what: str, cells: Cells
          ) -> Spot | None:
    cells = cells & np.isfinite(flow.greatest_depth)
    if not cells.any():
        return None
    strength = np.where(cells, np.nan_to_num(flow.greatest_depth_speed), -1.0)
    row, column = divmod(int(np.argmax(strength)), ground.grid.columns)
    depth, speed = (float(np.nanmax(v[cells])) for v in (flow.greatest_depth, flow.greatest_speed))
    came = flow.arrival[cells]
    return Spot(what, depth, speed, float(strength[row, column]),
                None if before is None else float(np.nanmax(before.greatest_depth_speed[cells])),
                float(np.nanmin(came)) / 3600 if np.isfinite(came).any() else None,
                float(ground.grid.x[column]), float(ground.grid.y[row]),
                hazard_of(depth, speed, float(strength[row, column])))


def fast_ground(plan: Plan, ground: FloodGround, flow: Flow, before: Flow | None
                ) -> tuple[Fast, ...]:
    """Patches where speed passes what soil and cover stand, the worst first.

    Bare earth by its soil, grass by soil and slope, as for sills and drains; paving and gravel
    stand all.
    """
    from scipy import ndimage

    cover_of, soil_of = plan.inputs.ground.cover, plan.inputs.ground.soil
    cover, soil = _cells(plan, ground, cover_of), _cells(plan, ground, soil_of)
    names = plan.inputs.ground.classes
    bed = ground.after
    slope = np.hypot(*np.gradient(np.where(np.isnan(bed), np.nanmean(bed), bed), ground.grid.cell))
    limits = np.full(bed.shape, np.inf)
    rules = plan.inputs.rules
    sources: dict[tuple[int, int, int], tuple[float, str]] = {}
    steep = np.digitize(slope, [0.05, 0.10])
    for index, grown in enumerate([*names, ""]):
        family = grown.partition(",")[0]
        if family in SEALED:
            continue
        here = cover == (index if grown else -1)
        for group in range(-1, 4):
            for grade in range(3):
                part = here & (soil == group) & (steep == grade)
                if not part.any():
                    continue
                limit, source = permissible("bare" if family in BARE else "grass",
                                            (0.03, 0.08, 0.15)[grade], group < 3, rules)
                if limit is None:
                    limit, source = permissible("bare", 0.15, group < 3, rules)
                assert limit is not None  # bare earth stands some
                limits[part] = limit
                sources[(index if grown else -1, group, grade)] = (limit, source)
    over = np.where((flow.greatest_depth >= CARRIES) & ground.inside,
                    flow.greatest_speed / limits, 0.0)
    label, count = ndimage.label(over > 1, np.ones((3, 3)))
    area = np.bincount(label.reshape(-1)) * ground.grid.cell**2
    found = []
    for number in range(1, count + 1):
        if area[number] < LEAST:
            continue
        at = np.argmax(np.where(label == number, over, 0.0))
        row, column = divmod(int(at), ground.grid.columns)
        key = (int(cover[row, column]), int(soil[row, column]), int(steep[row, column]))
        on = on_what(plan, ground, row, column)
        found.append(Fast(float(ground.grid.x[column]), float(ground.grid.y[row]),
                          float(area[number]), float(flow.greatest_speed[row, column]),
                          sources[key][0], float(flow.greatest_depth[row, column]),
                          None if before is None else float(np.nanmax(
                              before.greatest_speed[label == number])),
                          names[key[0]] if key[0] >= 0 else "cover that is not known",
                          sources[key][1], on))
    return tuple(sorted(found, key=lambda f: -f.speed / f.limit * f.area))


def on_what(plan: Plan, ground: FloodGround, row: int, column: int) -> str:
    """The work, drain or road that a cell is on; else a channel, and what is near."""
    from shapely import Point

    place = Point(float(ground.grid.x[column]), float(ground.grid.y[row]))
    for pool in ground.pools:
        if pool.cells[row, column]:
            return plan.stores[pool.index].store.name
    shapes = () if plan.designed is None else plan.designed.shapes
    cell = ground.grid.part(slice(row, row + 1), slice(column, column + 1))
    before = ground.before[row:row + 1, column:column + 1]
    for shape in reversed(shapes):
        if abs(shape.made(cell, before) - before).item() > UNCHANGED:
            return shape.name
    nearest = min(((_away(shape, place), shape.name) for shape in shapes), default=(np.inf, ""))
    roads = []
    for road in plan.inputs.ground.roads:
        cells = _cells(plan, ground, road.cells)
        if cells[row, column]:
            return f"the road \"{road.name}\""
        if cells.any():
            rows, columns = np.nonzero(cells)
            roads.append((float(np.hypot(rows - row, columns - column).min()) * ground.grid.cell,
                          f"the road \"{road.name}\""))
    away, name = min([nearest, *roads])
    said = []
    if _cells(plan, ground, plan.terrain.contributing_area)[row, column] >= (
            plan.inputs.hydrology.timing.channel_from):
        said.append("a channel")
    if away <= NEAR:
        said.append(f"{shown(max(away, 1.0), 'length', first_system())} from {name}")
    return ", ".join(said)


def _away(shape: WorkShape, place: Any) -> float:
    """How far a work's lines, its water and its banks are from a place. [m]"""
    from shapely import LineString

    lines = [line[:, :2] for line in (*shape.crests, *(b.points for b in shape.breaklines),
                                      *(() if shape.sill is None else (shape.sill,)))]
    return min([float(LineString(line).distance(place)) for line in lines if len(line) > 1]
               + ([] if shape.pool is None else [float(shape.pool.distance(place))]),
               default=np.inf)
