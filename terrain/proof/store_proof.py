"""Each store in the flood, beside what the cascade says of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, get_x, get_y

from terrain.flood.storm_flow import Flow
from terrain.plan.planned import Plan
from terrain.plan.water.routing import StoreStorm, StormRun
from terrain.proof.flood_ground import FloodGround
from terrain.proof.pools import Cells, Pool
from terrain.proof.why import Measured, levels_in, why

FloatArray = NDArray[np.float64]
#: A store spills once so much of what it holds has gone over its sill.
SPILLS = 0.002
#: What goes over a crest crosses the rim within so many cells of where it does.
BESIDE = 3.0
#: Water over a sill or a bank counts from here. [m], [m3]
OVER, COUNTS = 0.001, 0.01
#: Said of water over a bank where cells are too coarse for the store.
AS_CELLS_TELL = "as far as these cells tell; run with smaller cells"


@dataclass(frozen=True)
class OverBank:
    """Water over a berm or a wall that was to stay dry.

    Attributes
    ----------
    volume : float
        Of what the store spills over its rim; out less in, as that is. [m3]
    x, y : float
        Where most of it goes. [m]
    deep : float
        Most that the water stands over the bank. [m]
    """

    volume: float
    x: float
    y: float
    deep: float


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
    drawn : bool
        Whether the cells show its section, so that its levels mean anything.
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
    drawn: bool
    told: StoreStorm
    why: tuple[str, ...]

    @property
    def may_overtop(self) -> bool:
        """Whether its water may go over its bank on cells too coarse to tell how much."""
        return (not self.drawn and self.over_bank is None and self.freeboard is not None
                and self.freeboard < 0)

    @property
    def told_caught(self) -> float:
        """By the cascade. [m3]"""
        return self.told.infiltrated + self.told.held


def store_proofs(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun
                 ) -> tuple[StoreProof, ...]:
    """What each store does in a run over the ground with works, beside the cascade's answer."""
    spills = [spilled_by(plan, ground, flow, pool) for pool in ground.pools]
    measured = {pool.index: _measured(plan, ground, flow, pool, spill)
                for pool, spill in zip(ground.pools, spills, strict=True)}
    found = []
    for number, pool in enumerate(ground.pools):
        told, got = run.stores[pool.index], measured[pool.index]
        record = flow.rims[told.name]
        crest = plan.stores[pool.index].crest_level
        found.append(StoreProof(
            pool.index, told.name, got.inflow, got.caught, got.spilled, got.led, got.peak_level,
            got.peak_spill, got.first_spill,
            _where(ground, record.faces, record.passed) if got.spilled - got.led > COUNTS
            else None, _over_bank(ground, flow, pool, told.name, got.spilled - got.led),
            None if crest is None else crest - got.peak_level,
            pool.drawn(plan, ground.grid.cell), told,
            tuple(why(plan, ground, flow, run, number, measured))))
    return tuple(found)


def spilled_by(plan: Plan, ground: FloodGround, flow: Flow, pool: Pool) -> FloatArray:
    """What has gone out of a store by each time, shape (records,). [m3]

    Over its rim that is what crosses it while water stands over its sill, or over a bank that lies
    lower, out less in: what crosses at other times fell on the rim itself, or parts there, and was
    never in the store. Where the rim of a store above touches this one's, what that spills
    crosses both.
    """
    from scipy import ndimage

    number = next(n for n, other in enumerate(ground.pools) if other.index == pool.index)
    name = plan.stores[pool.index].store.name
    net = flow.rims[name].outflow - flow.rims[name].inflow
    zone = ndimage.binary_dilation(ground.rim(number)[0], np.ones((3, 3)))
    for above, other in enumerate(ground.pools):
        if pool.index in plan.cascade.nodes[other.index].takers and (
                zone & ground.rim(above)[0]).any():
            over = spilled_by(plan, ground, flow, other)
            net = net + over - _moved(flow, plan.stores[other.index].store.name)
    rim = float(ground.after[pool.deepest] + ground.deep[pool.deepest])
    wet = flow.levels[name] > (rim if rim < pool.level - OVER else pool.level) + OVER
    wet[:-1] |= wet[1:]
    gone = np.cumsum(np.where(wet, np.diff(net, prepend=0.0), 0.0))
    return np.asarray(np.maximum.accumulate(np.maximum(gone, 0.0)) + _moved(flow, name))


def _moved(flow: Flow, name: str) -> FloatArray:
    return flow.transfers.get(f"spill of {name}", np.zeros(flow.times.size))


def _measured(plan: Plan, ground: FloodGround, flow: Flow, pool: Pool, gone: FloatArray
              ) -> Measured:
    store, area = plan.stores[pool.index].store, ground.grid.cell**2
    stands, soaked = (float(np.nansum(depth[pool.cells], dtype=np.float64)) * area
                      for depth in (flow.depth, flow.soaked))
    over = gone > max(SPILLS * store.capacity, COUNTS)
    rate = np.diff(gone, prepend=0.0) / np.diff(flow.times, prepend=-np.inf)
    return Measured(
        stands, soaked, float(gone[-1]), float(_moved(flow, store.name)[-1]),
        float(flow.times[int(np.argmax(over))]) / 3600 if over.any() else None,
        float(rate.max()), float(levels_in(ground, flow, pool).max()))


def _where(ground: FloodGround, faces: FloatArray, passed: FloatArray) -> tuple[float, float]:
    row, column = faces[int(np.argmax(passed))]
    return (float(ground.grid.left + column * ground.grid.cell),
            float(ground.grid.top - row * ground.grid.cell))


def _over_bank(ground: FloodGround, flow: Flow, pool: Pool, name: str, spilled: float
               ) -> OverBank | None:
    """What went over a work's bank, away from its sill, of what it spilled over its rim.

    Water goes over it where the store's water stands higher than the bank does there. It counts as
    what is spilled does: less what comes back over the same faces, and no more than is spilled in
    all; the rest is rain on the bank itself, or parts there.
    """
    from scipy.spatial import cKDTree

    bank = bank_cells(ground, pool)
    if not bank.any():
        return None
    rows, columns = np.nonzero(pool.cells)
    level = (ground.after + flow.greatest_depth)[rows, columns]
    at = np.argwhere(bank)
    beside = cKDTree(np.column_stack([rows, columns])).query(at)[1]
    deep = level[beside] - ground.after[at[:, 0], at[:, 1]]
    over = at[deep > OVER] + 0.5
    record = flow.rims[name]
    if not len(over) or not len(record.faces):
        return None
    near = cKDTree(over).query(record.faces)[0] <= BESIDE
    sill = sill_cells(ground, pool)
    if sill.any():
        to_sill = cKDTree(np.argwhere(sill) + 0.5).query(record.faces)[0]
        near &= cKDTree(over).query(record.faces)[0] < to_sill
    out = np.where(near, record.passed, 0.0)
    volume = min(float(out.sum()), spilled)
    if volume <= COUNTS:
        return None
    return OverBank(volume, *_where(ground, record.faces, out), float(deep.max()))


def bank_cells(ground: FloodGround, pool: Pool) -> Cells:
    """Cells that the crest of a work's bank crosses, but where it comes down to its sill."""
    from scipy import ndimage

    shape, found = pool.shape, np.zeros(ground.grid.shape, bool)
    if shape is None:
        return found
    for line in shape.crests:
        high = line[:, 2] > shape.level + OVER
        # Pieces of the crest that stand above the sill.
        ends = np.flatnonzero(np.diff(np.concatenate([[0], high.astype(np.int8), [0]])))
        for first, last in zip(ends[::2], ends[1::2], strict=True):
            if last - first > 1:
                found |= _crossed(ground, line[first:last, :2])
    by_sill = ndimage.binary_dilation(sill_cells(ground, pool), np.ones((3, 3)))
    answer: Cells = found & ~by_sill & ~pool.cells
    return answer


def sill_cells(ground: FloodGround, pool: Pool) -> Cells:
    """Cells that a work's sill crosses."""
    shape = pool.shape
    if shape is None or shape.sill is None or len(shape.sill) < 2:
        return np.zeros(ground.grid.shape, bool)
    return _crossed(ground, shape.sill[:, :2])


def _crossed(ground: FloodGround, line: FloatArray) -> Cells:
    """Cells that a line crosses."""
    grid, found = ground.grid, np.zeros(ground.grid.shape, bool)
    whole = LineString(line)
    steps = max(int(np.ceil(whole.length / (grid.cell / 8))), 1)
    along = whole.interpolate(np.linspace(0.0, whole.length, steps + 1))
    column = ((get_x(along) - grid.left) // grid.cell).astype(np.int64)
    row = ((grid.top - get_y(along)) // grid.cell).astype(np.int64)
    here = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    found[row[here], column[here]] = True
    return found
