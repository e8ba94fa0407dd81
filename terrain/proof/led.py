"""Water that the plan leads otherwise than over the ground, as the flood moves it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.flood.transfers import Barrel, Feed, Lip, Transfer
from terrain.plan.planned import Plan
from terrain.plan.water.routing import storm_spills
from terrain.proof.flood_ground import FloodGround
from terrain.runoff.storms import Hyetograph, storm_steps
from terrain.surface.conditioning import Culvert
from terrain.units import in_both

#: Water is given to, and taken from, cells within so far of a place, a cell at least. [m]
ABOUT = 1.0
#: A pump of which nobody says what it lifts lifts as much as comes. [m3/s]
ANY = 1e6


def transfers_of(plan: Plan, ground: FloodGround, blocked: str | None = None
                 ) -> tuple[dict[str, Transfer], list[str]]:
    """Spills by pipe, pump or hand, and culverts, by name; and what had to be assumed.

    Parameters
    ----------
    blocked : str, optional
        One of the names that lets nothing through.
    """
    found: dict[str, Transfer] = {}
    notes: list[str] = []
    pools = {pool.index: pool for pool in ground.pools}
    rules = plan.inputs.rules
    for pool in ground.pools:
        node, work = plan.cascade.nodes[pool.index], plan.stores[pool.index].placed.work
        if node.led in ("", "drain"):  # a drain is dug: the water finds it
            continue
        if f"spill of {node.store.name}" == blocked:
            continue
        source = np.argwhere(pool.cells)
        # Into a store, or off the site, or into a tank: what goes there is gone from the ground.
        target = (np.argwhere(pools[node.spills_to].cells) if node.spills_to in pools else
                  np.zeros((0, 2), np.int64))
        sill = node.store.sill
        way: Barrel | Lip = Lip(pool.level, sill.coefficient * max(sill.length, 1e-3),
                                ANY if node.lifts is None else node.lifts)
        if node.led == "pipe":
            wide, line = work.pipe_diameter or rules["pipe diameter"], node.led_way
            long = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 1.0
            way = Barrel(pool.level, pool.level - max(_fall(plan, line), 0.0), wide, max(long, 0.1),
                         rules["pipe roughness"])
        found[f"spill of {node.store.name}"] = Transfer(source, target, way)
    for culvert in plan.terrain.conditioning.culverts:
        if f"culvert {culvert.name}" == blocked:
            continue
        diameter = culvert.diameter
        if diameter is None:
            diameter = 3 * rules["pipe diameter"]
            notes.append(f"No diameter is stated for the culvert \"{culvert.name}\"; the flood "
                         f"takes it as {in_both(diameter, 'size')} wide, a guess.")
        found[f"culvert {culvert.name}"] = _culvert(ground, culvert, diameter,
                                                    rules["culvert roughness"])
    return found, notes


def _culvert(ground: FloodGround, culvert: Culvert, diameter: float, roughness: float) -> Transfer:
    ends = culvert_ends(ground, culvert)
    inlet, outlet = (_floor(ground, end) for end in ends)
    return Transfer(*ends, Barrel(inlet, outlet, diameter, float(culvert.line.length), roughness))


def culvert_ends(ground: FloodGround, culvert: Culvert
                 ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells at a culvert's upper end and at its lower one."""
    first, last = (_about(ground, x, y) for x, y, *_ in
                   (culvert.line.coords[0], culvert.line.coords[-1]))
    return (first, last) if _floor(ground, first) >= _floor(ground, last) else (last, first)


def _floor(ground: FloodGround, cells: NDArray[np.int64]) -> float:
    return float(np.nanmin(ground.after[cells[:, 0], cells[:, 1]]))


def _fall(plan: Plan, line: NDArray[np.float64]) -> float:
    if len(line) < 2:
        return 0.0
    first, last = plan.terrain.dem.height_at(line[[0, -1], 0], line[[0, -1], 1])
    return float(first - last)


def _about(ground: FloodGround, x: float, y: float) -> NDArray[np.int64]:
    """Cells about a place, where there is ground."""
    near = ground.cells_near(np.array([x]), np.array([y]), max(ABOUT, ground.grid.cell * 0.75))
    found = np.argwhere(near & np.isfinite(ground.after))
    if len(found):
        return found
    rows, columns = np.nonzero(np.isfinite(ground.after))
    nearest = int(np.argmin(np.hypot(ground.grid.x[columns] - x, ground.grid.y[rows] - y)))
    return np.array([[rows[nearest], columns[nearest]]])


def feeds_of(plan: Plan, ground: FloodGround, depth: float, shape: Hyetograph) -> dict[str, Feed]:
    """What tanks spill in a storm, by their name, where it comes to the ground."""
    step = storm_steps(shape.duration) * 3600
    pools = {pool.index: pool for pool in ground.pools}
    found = {}
    for index, spilled in storm_spills(plan.cascade, depth, shape).items():
        node = plan.cascade.nodes[index]
        to = node.spills_to
        if node.store.kind != "tank" or not spilled.any() or (
                to is not None and plan.cascade.nodes[to].store.kind == "tank"):
            continue
        target = (np.argwhere(pools[to].cells) if node.piped and to in pools else
                  _about(ground, *(node.spill_path[0] if len(node.spill_path) else
                                   (node.store.spill_x, node.store.spill_y))))
        found[f"overflow of {node.store.name}"] = Feed(
            target, np.arange(spilled.size + 1, dtype=np.float64) * step,
            np.append(0.0, np.cumsum(spilled)).astype(np.float64))
    return found
