"""What if something gives way: a berm low in one place, a sill or a culvert blocked, twice the
storm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import LineString, Point, distance, line_locate_point, points

from terrain.errors import InputError
from terrain.inputs.site_rain import Storm
from terrain.plan.planned import Plan
from terrain.plan.water.routing import run_storm
from terrain.proof.flood_ground import FloodGround, with_levels
from terrain.proof.led import culvert_ends
from terrain.proof.places import BOUNDARY, Spot, spots_of
from terrain.proof.pools import Pool
from terrain.proof.proof import AS_USUAL, Flooded, How, Proof, flood
from terrain.proof.side_by_side import Job, side_by_side
from terrain.proof.store_proof import AS_CELLS_TELL, StoreProof, store_proofs
from terrain.units import in_both

#: A low place in a berm lies so much lower, over so much of its length. [m]
LOW, LOW_LENGTH = 0.05, 2.0
#: And all through the bank, which reaches so far from its crest at most. [m]
THROUGH = 6.0
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
        return next((spot for spot in self.spots if spot.what != BOUNDARY), None)

    @property
    def boundary(self) -> Spot | None:
        """The boundary, where it is within the ground that is followed."""
        return next((spot for spot in self.spots if spot.what == BOUNDARY), None)


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
    cases = [*_given_way(proof, name), _Case(
        "twice the storm", f"It rains {in_both(2 * storm.depth, 'rain')} in the same time.", ground,
        share=2.0)]

    def job(case: _Case) -> Job[Flooded]:
        assert case.ground is not None
        changed = case.ground
        return lambda threads, reached: flood(plan, changed, case.share * storm.depth, shape,
                                              replace(how, threads=threads), blocked=case.blocked,
                                              reached=reached)

    tried = [case for case in cases if case.ground is not None]
    floods = iter(side_by_side({f"with the {case.name}" if case.share == 1 else f"with {case.name}":
                                job(case) for case in tried}, how.threads, progress))
    found = [WhatIf("as planned", "Everything is as it was planned.", proof.after, proof.stores,
                    proof.spots)]
    for case in cases:
        if case.ground is None:
            found.append(WhatIf(case.name, case.told))
            continue
        flooded, told = next(floods), case.told
        if case.blocked is not None and case.of is None:
            told += " " + _at_its_mouth(proof, flooded, case.blocked)
        stores = store_proofs(plan, case.ground, flooded.flow,
                              run_storm(plan.cascade, case.share * storm.depth, shape))
        if case.of is not None:
            told += " " + _comes_of_it(next(s for s in stores if s.index == case.of.index))
        found.append(WhatIf(case.name, told, flooded, stores,
                            spots_of(plan, case.ground, flooded.flow, None)))
    return tuple(found)


@dataclass(frozen=True)
class _Case:
    """What is tried: the ground as it then is, None where the site has nothing of the kind; how
    much of the storm; what lets nothing through; the store that it is about."""

    name: str
    told: str
    ground: FloodGround | None = None
    share: float = 1.0
    blocked: str | None = None
    of: Pool | None = None


def _given_way(proof: Proof, name: str | None) -> list[_Case]:
    """A bank low, a sill blocked, a culvert blocked."""
    plan, ground = proof.plan, proof.ground
    whose = "No work here has" if name is None else f"\"{name}\" has not"
    cases = []
    low = _lowest_bank(proof, name)
    if low is None:
        cases.append(_Case("berm low", f"{whose} a berm or a wall."))
    else:
        changed, told = _with_low_place(plan, ground, low)
        cases.append(_Case("berm low", told, changed, of=low))
    sill = _busiest_sill(proof, name)
    if sill is None:
        cases.append(_Case("sill blocked", f"{whose} a sill."))
    else:
        changed, told = _with_blocked_sill(plan, ground, sill)
        cases.append(_Case("sill blocked", told, changed, of=sill,
                           blocked=f"spill of {plan.stores[sill.index].store.name}"))
    culverts = plan.terrain.conditioning.culverts
    if not culverts:
        cases.append(_Case("culvert blocked", "The site file names no culvert."))
    else:
        moved = proof.after.flow.transfers
        most = max(culverts, key=lambda c: float(moved[f"culvert {c.name}"][-1]))
        cases.append(_Case(
            "culvert blocked", f"The culvert \"{most.name}\", which carried "
            f"{in_both(float(moved[f'culvert {most.name}'][-1]), 'volume')}, lets nothing through.",
            ground, blocked=f"culvert {most.name}"))
    return cases


def _banked(proof: Proof) -> list[tuple[Pool, StoreProof]]:
    by_index = {s.index: s for s in proof.stores}
    return [(pool, by_index[pool.index]) for pool in proof.ground.pools
            if pool.shape is not None and any(len(c) > 1 for c in pool.shape.crests)]


def _lowest_bank(proof: Proof, name: str | None) -> Pool | None:
    banked = [(pool, s) for pool, s in _banked(proof) if name is None or s.name == name]
    if not banked:
        return None
    return min(banked, key=lambda b: (b[1].freeboard if b[1].freeboard is not None else 1e9))[0]


def _comes_of_it(store: StoreProof) -> str:
    """What the store that was changed does then, in a sentence."""
    if not store.drawn:
        return _as_cells_tell(store)
    if store.over_bank is not None:
        return (f"{in_both(store.over_bank.volume, 'volume')} go over its bank, up to "
                f"{in_both(1000 * store.over_bank.deep, 'rain', 0)} deep, of "
                f"{in_both(store.spilled, 'volume')} that it spills in all.")
    if store.freeboard is None:
        return "No water goes over its edge elsewhere."
    if store.freeboard < 0:
        return (f"Its water stands {in_both(-1000 * store.freeboard, 'rain', 0)} over the crest it "
                "was to have.")
    return ("Nothing goes over its bank: its highest water stays "
            f"{in_both(1000 * store.freeboard, 'rain', 0)} below the crest it was to have.")


def _as_cells_tell(store: StoreProof) -> str:
    """The same of a store that cells are too coarse for: no levels."""
    if store.over_bank is not None:
        return (f"{in_both(store.over_bank.volume, 'volume')} go over its bank, of "
                f"{in_both(store.spilled, 'volume')} that it spills in all, {AS_CELLS_TELL}.")
    if store.may_overtop:
        return f"Water may go over its bank, {AS_CELLS_TELL}."
    return (f"No water goes over its {'edge elsewhere' if store.freeboard is None else 'bank'}, "
            f"{AS_CELLS_TELL}.")


def _at_its_mouth(proof: Proof, flooded: Flooded, blocked: str) -> str:
    """How deep water stands at a culvert's mouth, blocked and open, in a sentence."""
    culvert = next(c for c in proof.plan.terrain.conditioning.culverts
                   if f"culvert {c.name}" == blocked)
    mouth = culvert_ends(proof.ground, culvert)[0]
    deep, before = (float(np.nanmax(run.flow.greatest_depth[mouth[:, 0], mouth[:, 1]]))
                    for run in (flooded, proof.after))
    return (f"Water comes to stand {in_both(1000 * deep, 'rain', 0)} deep at its mouth, "
            f"{in_both(1000 * before, 'rain', 0)} with it open.")


def _with_low_place(plan: Plan, ground: FloodGround, pool: Pool) -> tuple[FloodGround, str]:
    """A bank lowered through where the deepest water would stand against it, and of such places
    where it is highest over the ground: not where it tapers out, nor beside its sill."""
    assert pool.shape is not None
    line, station = _worst_place(ground, pool)
    x, y, crest = (float(v) for v in line[station])
    bank = np.argwhere(ground.after > ground.before + 1e-6)
    grid = ground.grid
    at = points(grid.x[bank[:, 1]], grid.y[bank[:, 0]])
    whole = LineString(line[:, :2])
    along = line_locate_point(whole, at)
    half = max(LOW_LENGTH, 2 * grid.cell) / 2
    near = (np.abs(along - whole.project(Point(x, y))) <= half) & (distance(whole, at) <= THROUGH)
    rows, columns = bank[near, 0], bank[near, 1]
    after = ground.after.copy()
    after[rows, columns] = np.minimum(after[rows, columns], crest - LOW)
    east, north = (float(v) for v in plan.terrain.dem.frame.to_source(x, y))
    name = plan.stores[pool.index].store.name
    return with_levels(ground, after), (
        f"The bank of \"{name}\" lies {in_both(1000 * LOW, 'rain', 0)} below its crest over "
        f"{in_both(2 * half, 'length')} at {east:.1f}, {north:.1f}, where the deepest water stands "
        "against it.")


def _worst_place(ground: FloodGround, pool: Pool) -> tuple[NDArray[np.float64], int]:
    """A crest, and which of its points is the worst to be low."""
    assert pool.shape is not None
    grid, lines = ground.grid, [c for c in pool.shape.crests if len(c) > 1]
    wet = np.argwhere(pool.cells)
    beside = cKDTree(np.column_stack([grid.x[wet[:, 1]], grid.y[wet[:, 0]]]))
    highest = max(float(line[:, 2].max()) for line in lines)
    best, found = -np.inf, (lines[0], 0)
    for line in lines:
        away, nearest = beside.query(line[:, :2])
        deep = pool.level - ground.after[wet[nearest, 0], wet[nearest, 1]]
        row = np.clip(((grid.top - line[:, 1]) // grid.cell).astype(np.int64), 0, grid.rows - 1)
        column = np.clip(((line[:, 0] - grid.left) // grid.cell).astype(np.int64), 0,
                         grid.columns - 1)
        over = line[:, 2] - np.nan_to_num(ground.before[row, column], nan=np.inf)
        worth = over + deep - away
        # Where a wall is built up to settle it is higher; nobody calls that a taper.
        worth = np.where(line[:, 2] > (highest + pool.level) / 2, worth, -np.inf)
        if pool.shape.sill is not None and len(pool.shape.sill) > 1:
            to_sill = distance(LineString(pool.shape.sill[:, :2]), points(line[:, :2]))
            worth = np.where(to_sill > LOW_LENGTH, worth, worth - 1e3)
        if worth.max() > best:
            best, found = float(worth.max()), (line, int(np.argmax(worth)))
    return found


def _busiest_sill(proof: Proof, name: str | None) -> Pool | None:
    by_index = {s.index: s for s in proof.stores}
    with_sill = [pool for pool in proof.ground.pools
                 if pool.shape is not None and pool.shape.sill is not None
                 and len(pool.shape.sill) > 1
                 and (name is None or by_index[pool.index].name == name)]
    if not with_sill:
        return None
    return max(with_sill, key=lambda p: (by_index[p.index].spilled,
                                         by_index[p.index].peak_level - p.level))


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
    east, north = (float(v) for v in plan.terrain.dem.frame.to_source(*sill[len(sill) // 2]))
    return with_levels(ground, after), (
        f"The sill of \"{planned.store.name}\" at {east:.1f}, {north:.1f} is heaped over to "
        f"{in_both(top, 'level')}, by branches, silt or a careless load of earth.")


def _dense(line: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """A line with points no further apart than a step. [m]"""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    stations = np.concatenate([[0.0], np.cumsum(gaps)])
    at = np.linspace(0, stations[-1], max(int(np.ceil(stations[-1] / step)) + 1, 2))
    return np.column_stack([np.interp(at, stations, line[:, i]) for i in (0, 1)])
