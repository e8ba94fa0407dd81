"""What if something gives way: a berm low in one place, a sill or a culvert blocked, twice the
storm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.site_rain import Storm
from terrain.plan.planned import Plan
from terrain.plan.water.routing import run_storm
from terrain.proof.flood_ground import FloodGround, Pool, with_levels
from terrain.proof.places import Spot, spots_of
from terrain.proof.proof import AS_USUAL, Flooded, How, Proof, flood
from terrain.proof.store_proof import StoreProof, store_proofs
from terrain.units import in_both

#: A low place in a berm lies so much lower, over so much of its length. [m]
LOW, LOW_LENGTH = 0.05, 2.0
#: A blocked sill is heaped this much higher than the bank beside it. [m]
HEAPED = 0.05


@dataclass(frozen=True)
class WhatIf:
    """One thing that gives way, and what the storm does then.

    Attributes
    ----------
    name, told : str
        What it is, and where, in a sentence.
    flooded : Flooded or None
        None where the site has nothing of the kind.
    stores : tuple of StoreProof
    spots : tuple of Spot
    """

    name: str
    told: str
    flooded: Flooded | None = None
    stores: tuple[StoreProof, ...] = ()
    spots: tuple[Spot, ...] = ()

    @property
    def over_banks(self) -> float:
        """Water over banks that were to stay dry. [m3]"""
        return sum(s.over_bank.volume for s in self.stores if s.over_bank is not None)

    @property
    def worst(self) -> Spot | None:
        """The most dangerous place at a building or on a road."""
        return next((spot for spot in self.spots if spot.what != "at the boundary"), None)


def what_if(proof: Proof, storm: Storm, how: How = AS_USUAL, name: str | None = None,
            progress: Callable[[str], None] = lambda what: None) -> tuple[WhatIf, ...]:
    """Run a storm again with each thing that may give way, one at a time.

    Parameters
    ----------
    name : str, optional
        The work whose berm is low, or whose sill is blocked; without one the bank that has least
        freeboard left, and the sill over which most goes.

    Raises
    ------
    InputError
        If there is no such work.
    """
    plan, ground = proof.plan, proof.ground
    shape = plan.inputs.hydrology.shapes[storm.name]
    if name is not None and name not in (s.name for s in proof.stores):
        raise InputError("--work", f"no store that the flood follows is called '{name}'",
                         "Name one of " + ", ".join(s.name for s in proof.stores))
    found = [WhatIf("as planned", "Everything is as it was planned.", proof.after, proof.stores,
                    proof.spots)]

    def run(title: str, told: str, changed: FloodGround, depth: float = storm.depth,
            blocked: str | None = None) -> None:
        progress(f"What if: {title}")
        flooded = flood(plan, changed, depth, shape, how, blocked=blocked, progress=progress)
        ran = run_storm(plan.cascade, depth, shape)
        found.append(WhatIf(title, told, flooded, store_proofs(plan, changed, flooded.flow, ran),
                            spots_of(plan, changed, flooded.flow, None)))

    low = _lowest_bank(proof, name)
    if low is None:
        found.append(WhatIf("berm low", "No work here has a berm or a wall."))
    else:
        changed, told = _with_low_place(plan, ground, low)
        run("berm 50 mm low", told, changed)
    sill = _busiest_sill(proof, name)
    if sill is None:
        found.append(WhatIf("sill blocked", "No work here has a sill."))
    else:
        changed, told = _with_blocked_sill(plan, ground, sill)
        run("sill blocked", told, changed)
    culverts = plan.terrain.conditioning.culverts
    if not culverts:
        found.append(WhatIf("culvert blocked", "The site file names no culvert."))
    else:
        moved = proof.after.flow.transfers
        most = max(culverts, key=lambda c: float(moved[f"culvert {c.name}"][-1]))
        run("culvert blocked", f"The culvert \"{most.name}\", which carried "
            f"{in_both(float(moved[f'culvert {most.name}'][-1]), 'volume')}, lets nothing through.",
            ground, blocked=most.name)
    run("twice the storm", f"It rains {in_both(2 * storm.depth, 'rain')} in the same time.",
        ground, depth=2 * storm.depth)
    return tuple(found)


def _banked(proof: Proof) -> list[tuple[Pool, StoreProof]]:
    by_index = {s.index: s for s in proof.stores}
    return [(pool, by_index[pool.index]) for pool in proof.ground.pools
            if pool.shape is not None and any(len(c) > 1 for c in pool.shape.crests)]


def _lowest_bank(proof: Proof, name: str | None) -> Pool | None:
    banked = [(pool, s) for pool, s in _banked(proof) if name is None or s.name == name]
    if not banked:
        return None
    return min(banked, key=lambda b: (b[1].freeboard if b[1].freeboard is not None else 1e9))[0]


def _with_low_place(plan: Plan, ground: FloodGround, pool: Pool) -> tuple[FloodGround, str]:
    """A berm lowered where the ground below it lies lowest, so that most can run out."""
    assert pool.shape is not None
    crest = np.concatenate([c for c in pool.shape.crests if len(c) > 1])
    heights = plan.terrain.dem.height_at(crest[:, 0], crest[:, 1])
    away = np.ones(len(crest), bool)
    if pool.shape.sill is not None and len(pool.shape.sill):
        away = np.hypot(*(crest[:, None, :2] - pool.shape.sill[None, :, :2]).transpose(2, 0, 1)
                        ).min(1) > 2 * LOW_LENGTH
    where = int(np.argmax(np.where(away if away.any() else True, crest[:, 2] - heights, -np.inf)))
    x, y = float(crest[where, 0]), float(crest[where, 1])
    near = ground.cells_near(np.array([x]), np.array([y]), max(LOW_LENGTH / 2, ground.grid.cell))
    level = crest[where, 2] - LOW
    bank = near & (ground.after > ground.before + 1e-6)
    after = np.where(bank, np.minimum(ground.after, level), ground.after)
    name = plan.stores[pool.index].store.name
    return with_levels(ground, after), (
        f"The bank of \"{name}\" lies {in_both(1000 * LOW, 'rain', 0)} below its crest over "
        f"{in_both(LOW_LENGTH, 'length')} of it, where it is highest over the ground.")


def _busiest_sill(proof: Proof, name: str | None) -> Pool | None:
    by_index = {s.index: s for s in proof.stores}
    with_sill = [pool for pool in proof.ground.pools
                 if pool.shape is not None and pool.shape.sill is not None
                 and len(pool.shape.sill) > 1
                 and (name is None or by_index[pool.index].name == name)]
    if not with_sill:
        return None
    return max(with_sill, key=lambda p: by_index[p.index].spilled - by_index[p.index].led)


def _with_blocked_sill(plan: Plan, ground: FloodGround, pool: Pool) -> tuple[FloodGround, str]:
    """A sill heaped over, all along it and down its fall."""
    assert pool.shape is not None
    assert pool.shape.sill is not None
    planned = plan.stores[pool.index]
    crest = planned.crest_level
    top = (pool.level if crest is None else crest) + HEAPED
    sill = _dense(pool.shape.sill[:, :2], ground.grid.cell / 2)
    near = ground.cells_near(sill[:, 0], sill[:, 1], 1.5 * ground.grid.cell)
    after = np.where(near & ~pool.cells, np.maximum(ground.after, top), ground.after)
    return with_levels(ground, after), (
        f"The sill of \"{planned.store.name}\" is heaped over to {in_both(top, 'level')}, by "
        "branches, silt or a careless load of earth.")


def _dense(line: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """A line with points no further apart than a step. [m]"""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    stations = np.concatenate([[0.0], np.cumsum(gaps)])
    at = np.linspace(0, stations[-1], max(int(np.ceil(stations[-1] / step)) + 1, 2))
    return np.column_stack([np.interp(at, stations, line[:, i]) for i in (0, 1)])
