"""Each store in the flood, beside what the cascade says of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, distance, points

from terrain.flood.storm_flow import Flow
from terrain.plan.planned import Plan
from terrain.plan.water.routing import StoreStorm, StormRun
from terrain.proof.flood_ground import FloodGround, Pool
from terrain.units import in_both

FloatArray = NDArray[np.float64]
#: Answers that differ by more are explained. [-]
APART = 0.10
#: A store spills once so much of what it holds has gone over its sill.
SPILLS = 0.002
#: A crest is crossed within so many cells of its line.
BESIDE = 2.0
#: What goes over a crest counts from here. [m3]
COUNTS = 0.01


@dataclass(frozen=True)
class OverBank:
    """Water over a berm or a wall that was to stay dry.

    Attributes
    ----------
    volume : float
        [m3]
    x, y : float
        Where most of it goes. [m]
    """

    volume: float
    x: float
    y: float


@dataclass(frozen=True)
class StoreProof:
    """A store in the flood.

    Attributes
    ----------
    index : int
        Of the plan's store.
    name : str
    inflow, caught, spilled : float
        Caught is what soaked in and what stands in the end. [m3]
    led : float
        Of what it spilled, by pipe, pump or furrow. [m3]
    peak_level : float
        [m]
    peak_spill : float
        [m3/s]
    first_spill : float or None
        [h]
    spills_at : (x, y) or None
        Where most goes over its rim. [m]
    over_bank : OverBank or None
    freeboard : float or None
        Of the crest over the highest water; None without a crest. [m]
    told : StoreStorm
        The cascade's answer.
    why : tuple of str
        Sentences on differences of more than a tenth.
    """

    index: int
    name: str
    inflow: float
    caught: float
    spilled: float
    led: float
    peak_level: float
    peak_spill: float
    first_spill: float | None
    spills_at: tuple[float, float] | None
    over_bank: OverBank | None
    freeboard: float | None
    told: StoreStorm
    why: tuple[str, ...]

    @property
    def told_caught(self) -> float:
        """By the cascade. [m3]"""
        return self.told.infiltrated + self.told.held


def store_proofs(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun
                 ) -> tuple[StoreProof, ...]:
    """What each store does in a run over the ground with works, beside the cascade's answer."""
    measured = {pool.index: _measured(plan, ground, flow, pool) for pool in ground.pools}
    found = []
    for number, pool in enumerate(ground.pools):
        told = run.stores[pool.index]
        inflow, caught, spilled, led, first = measured[pool.index]
        record = flow.rims[told.name]
        level = float(ground.after[pool.deepest] + flow.greatest_depth[pool.deepest])
        crest = plan.stores[pool.index].crest_level
        step = np.diff(flow.times, prepend=-np.inf)
        moved = flow.transfers.get(f"spill of {told.name}", np.zeros(flow.times.size))
        peak = float((np.diff(record.outflow - record.inflow + moved, prepend=0.0) / step).max())
        found.append(StoreProof(
            pool.index, told.name, inflow, caught, spilled, led, level, peak, first,
            _where(ground, record.faces, record.passed) if spilled - led > COUNTS else None,
            _over_bank(ground, flow, pool, told.name), None if crest is None else crest - level,
            told, tuple(_why(plan, ground, flow, run, number, measured))))
    return tuple(found)


def _measured(plan: Plan, ground: FloodGround, flow: Flow, pool: Pool
              ) -> tuple[float, float, float, float, float | None]:
    """Inflow, caught, spilled, led, hours to the first spill."""
    name = plan.stores[pool.index].store.name
    area = ground.grid.cell**2
    caught = float(np.nansum(flow.depth[pool.cells], dtype=np.float64)
                   + np.nansum(flow.soaked[pool.cells], dtype=np.float64)) * area
    record = flow.rims[name]
    moved = flow.transfers.get(f"spill of {name}", np.zeros(flow.times.size))
    gone = np.maximum.accumulate(record.outflow - record.inflow) + moved
    least = max(SPILLS * plan.stores[pool.index].store.capacity, COUNTS)
    over = gone > least
    first = float(flow.times[int(np.argmax(over))]) / 3600 if over.any() else None
    return caught + float(gone[-1]), caught, float(gone[-1]), float(moved[-1]), first


def _where(ground: FloodGround, faces: FloatArray, passed: FloatArray) -> tuple[float, float]:
    row, column = faces[int(np.argmax(passed))]
    return (ground.grid.left + column * ground.grid.cell, ground.grid.top - row * ground.grid.cell)


def _over_bank(ground: FloodGround, flow: Flow, pool: Pool, name: str) -> OverBank | None:
    """What went over a work's crests, away from its sill."""
    shape, grid = pool.shape, ground.grid
    if shape is None or not shape.crests:
        return None
    record = flow.rims[name]
    at = points(grid.left + record.faces[:, 1] * grid.cell, grid.top - record.faces[:, 0]
                * grid.cell)
    near = BESIDE * grid.cell
    crest = np.zeros(len(at), bool)
    for line in shape.crests:
        if len(line) > 1:
            crest |= distance(LineString(line[:, :2]), at) <= near
    if shape.sill is not None and len(shape.sill) > 1:
        crest &= distance(LineString(shape.sill), at) > near
    out = np.where(crest, np.maximum(record.passed, 0.0), 0.0)
    if out.sum() <= COUNTS:
        return None
    x, y = _where(ground, record.faces, out)
    return OverBank(float(out.sum()), x, y)


def _why(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun, number: int,
         measured: dict[int, tuple[float, float, float, float, float | None]]) -> list[str]:
    """Why flood and cascade are more than a tenth apart, in sentences."""
    pool = ground.pools[number]
    told = run.stores[pool.index]
    inflow, caught, *_ = measured[pool.index]
    told_in = told.infiltrated + told.held + told.spilled
    told_caught = told.infiltrated + told.held
    base = max(told_in, 0.02 * plan.stores[pool.index].store.capacity)
    said = []
    if abs(inflow - told_in) > APART * base:
        said.append(_less_comes(plan, ground, flow, run, number, inflow - told_in, measured))
    if abs(caught - told_caught) > APART * max(told_caught, COUNTS) and (
            caught < told_caught) != (inflow < told_in):
        soaked = float(np.nansum(flow.soaked[pool.cells])) * ground.grid.cell**2
        said.append(
            f"It keeps {in_both(abs(caught - told_caught), 'volume')} "
            f"{'more' if caught > told_caught else 'less'} of it: the flood follows it "
            f"{flow.times[-1] / 3600:.0f} hours, in which {in_both(soaked, 'volume')} soak in, the "
            f"cascade to the end of what comes, in which "
            f"{in_both(told.infiltrated, 'volume')} do.")
    return said


def _less_comes(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun, number: int,
                more: float, measured: dict[int, tuple[float, float, float, float, float | None]]
                ) -> str:
    """Why the flood brings more or less than the cascade."""
    area, pool = ground.grid.cell**2, ground.pools[number]
    parts = []
    above = [i for i, node in enumerate(plan.cascade.nodes) if pool.index in node.takers]
    given = sum(measured[i][2] - run.stores[i].spilled for i in above if i in measured)
    rest = more
    if abs(given) > 0.1 * abs(more) and given * more > 0:
        names = ", ".join(run.stores[i].name for i in above if i in measured)
        parts.append(f"{in_both(abs(given), 'volume')} {'more' if given > 0 else 'less'} spill "
                     f"from {names}")
        rest -= given
    own = ground.above(number)
    stands = float(np.nansum(flow.depth[own], dtype=np.float64)) * area
    if more < 0 and stands > 0.1 * -more:
        parts.append(f"{in_both(stands, 'volume')} still lie on the ground that drains to it, in "
                     "dips and on the way")
        rest += stands
    if abs(rest) > 0.3 * abs(more) or not parts:
        parts.append(
            "the plan follows each cell's water down one steepest way, the flood lets it part on "
            "both sides of flat ground and divides" if more < 0 else
            "water that the plan follows by one steepest way past it spreads here and comes in, or "
            "was on its way elsewhere when a store above stood over its sill")
    word = "more" if more > 0 else "less"
    return (f"The flood brings {in_both(abs(more), 'volume')} {word} than the cascade: "
            + "; ".join(parts) + ".")
