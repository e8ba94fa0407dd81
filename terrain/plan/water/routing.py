"""One storm through the cascade: level-pool routing of every store, upstream first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Cascade
from terrain.plan.water.entry import Entry
from terrain.runoff.green_ampt import ponded_gain
from terrain.runoff.hydrograph import in_steps
from terrain.runoff.storms import Hyetograph, storm_steps
from terrain.works.store import Curve, Store, drain_hours
from terrain.works.water_area import water_area

#: Steps for which water over a sill is followed after the last inflow.
MOST_AFTER = 20_000
#: Steps that it is followed by at a time.
CHUNK = 128


@numba.njit(cache=True, nogil=True)
def _surcharge(spare: float, area: float, flow_step: float) -> float:
    """Height over the sill h with area h + flow_step h^1.5 = spare."""
    h = spare / area
    for _ in range(60):
        root = np.sqrt(h)
        step = (area * h + flow_step * h * root - spare) / (area + 1.5 * flow_step * root)
        h -= step
        if abs(step) <= 1e-14 * (h + 1e-12):
            break
    return max(h, 0.0)


@numba.njit(cache=True, nogil=True)
def _route(inflow: NDArray[np.float64], start: float, wetted: float, volumes: NDArray[np.float64],
           areas: NDArray[np.float64], soak: float, suction: float, weir: float, step: float,
           outflow: NDArray[np.float64]) -> tuple[float, float, float, float, int]:
    """Rates in mm/h, the step in s; `wetted` is the depth that has gone into the bed so far."""
    capacity, top_area = volumes[-1], max(areas[-1], 1e-9)
    held, soaked, most, wet = start, 0.0, start, 0
    hours = step / 3600
    for i in range(inflow.size):
        area = water_area(held, volumes, areas)
        gain = ponded_gain(wetted, suction, soak, hours) if suction > 0 else soak * hours
        taken = min(gain / 1000 * area, held + inflow[i])
        soaked += taken
        if area > 0:
            wetted += taken / area * 1000
        water = held + inflow[i] - taken
        if water > capacity:
            height = _surcharge(water - capacity, top_area, weir * step)
            outflow[i] = min(weir * step * height ** 1.5, water - capacity)
            held = water - outflow[i]
        else:
            outflow[i] = 0.0
            held = water
        most = max(most, held)
        if held > 0:
            wet = i + 1
    return held, soaked, most, wetted, wet


class Routed(NamedTuple):
    """What `route` finds.

    `outflow`, shape (steps or more,): volume over the sill in each step; it goes on after the
    inflow, until what stood over the sill has run off.  `held` at the end, `soaked` and the
    greatest held, `most`. [m3]  `wet`: the last step, counted from 1, at whose end water stood in
    the store; 0 for none.
    """

    outflow: NDArray[np.float64]
    held: float
    soaked: float
    most: float
    wet: int


def route(inflow: NDArray[np.float64], store: Store, step: float, start: float = 0.0) -> Routed:
    """Route inflow through a store.

    Parameters
    ----------
    inflow : float64, shape (steps,)
        Volume that arrives in each step. [m3]
    store : Store
    step : float
        [s]
    start : float
        Volume it holds at the start. [m3]

    Returns
    -------
    routed : Routed

    Notes
    -----
    Storage and outflow are balanced at the end of each step (backward Euler), so the
    account closes and no step is too long to hold; infiltration takes the wetted area at
    the step's start.  Where the store's soil has a suction, its rate falls with the depth that
    has gone into the bed (Green and Ampt); banks that were wetted later would take more.
    """
    curve, sill = store.curve, store.sill
    soak = store.infiltration
    parts, held, soaked, most, wetted = [], start, 0.0, start, 0.0
    wet = gone = 0
    chunk = inflow
    while True:
        outflow = np.zeros(chunk.size)
        held, taken, high, wetted, last = _route(
            chunk, held, wetted, curve.volumes, curve.areas, soak, store.suction,
            sill.coefficient * sill.length, step, outflow)
        parts.append(outflow)
        wet, gone = gone + last if last else wet, gone + chunk.size
        soaked, most = soaked + taken, max(most, high)
        over = held - curve.capacity
        # Where nothing soaks in, a thin sheet falls ever more slowly: the last of it goes at a
        # tenth of the peak or less.  Where water soaks in, the sheet ends; it is followed to there.
        peak = max(float(part.max(initial=0.0)) for part in parts)
        steps = sum(part.size for part in parts)
        if over <= (0.0 if soak > 0 else 0.1 * peak) or steps > inflow.size + MOST_AFTER:
            break
        chunk = np.zeros(CHUNK)
    if over > 0:
        count = min(int(np.ceil(over / (0.1 * peak))), MOST_AFTER) if peak else 1
        parts.append(np.full(count, over / count))
        held = curve.capacity
    return Routed(np.concatenate(parts), held, soaked, most, wet)


@dataclass(frozen=True)
class StoreStorm(Entry):
    """One store's account of a storm, and how high the water came.

    Attributes
    ----------
    infiltrated, held, spilled : float
        By the time the last water has come; `held` is left standing in it. [m3]
    peak_in, peak_spill : float
        Greatest inflow, and greatest flow over the sill. [m3/s]
    most : float
        Greatest volume held, over the sill included. [m3]
    peak_level : float or None
        The water's level then; of a tank its depth.  None for a drain. [m]
    first_spill : float or None
        Hours from the storm's start until water goes over the sill; None where none does. [h]
    empties : float
        Hours from the end of the rain until the store is empty again, by what soaks in or, of a
        tank, by its demand; infinite where nothing does. [h]
    """

    peak_in: float
    peak_spill: float
    most: float
    peak_level: float | None = None
    first_spill: float | None = None
    empties: float = 0.0


@dataclass(frozen=True)
class StormRun:
    """A storm over the whole site.

    Attributes
    ----------
    depth : float
        [mm]
    stores : list of StoreStorm
        In the order of the cascade's nodes.
    rain : float
        Rain on the property. [m3]
    run_on : float
        Runoff that comes from beyond the boundary, into stores or through. [m3]
    soaked_in_place : float
        Rain on the property that never runs off, roof losses included. [m3]
    open_runoff : float
        Runoff that meets no store. [m3]
    left_site : float
        Water that leaves: open runoff and spills that meet no store. [m3]
    """

    depth: float
    stores: list[StoreStorm]
    rain: float
    run_on: float
    soaked_in_place: float
    open_runoff: float
    left_site: float


class _Passed(NamedTuple):
    """What a storm does at one store; series have a value for each step. [m3], peaks [m3/s]

    `share` of its inflow came off roofs; what it keeps and what it spills hold as much.
    """

    ground: NDArray[np.float64]
    roof: NDArray[np.float64]
    from_above: float
    outflow: NDArray[np.float64]
    held: float
    soaked: float
    most: float
    peak_in: float
    peak_out: float
    wet: int
    over: NDArray[np.float64]
    share: float


class StormWater:
    """What ground and roofs bring to the stores of a cascade in a storm, whatever the stores are.

    Parameters
    ----------
    depth : float
        [mm]
    """

    def __init__(self, cascade: Cascade, depth: float, shape: Hyetograph) -> None:
        self.step = storm_steps(shape.duration)
        self._nodes, self._rain = cascade.nodes, shape.cumulative(depth, self.step)
        self._known: dict[int, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}

    def to(self, index: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What arrives off the ground and off roofs in each step, by a node's index. [m3]"""
        if index not in self._known:
            node = self._nodes[index]
            self._known[index] = (node.catchment.hydrograph(self._rain, self.step),
                                  in_steps(node.roof.runoff_volumes(self._rain)))
        return self._known[index]


def _pass_through(cascade: Cascade, water: StormWater, only: frozenset[int] | None = None,
                  full: bool = False) -> list[_Passed | None]:
    """Run a storm through the stores, or some of them, that start empty, or full to their sills."""
    step = water.step
    passed: list[_Passed | None] = [None] * len(cascade.nodes)
    for index in cascade.order:
        if only is not None and index not in only:
            continue
        node = cascade.nodes[index]
        ground, roof = water.to(index)
        given = [(part, p.share) for p, other in zip(passed, cascade.nodes, strict=True)
                 if p is not None for to, part in other.given(p.outflow, p.over) if to == index]
        above = [part for part, _ in given]
        inflow = _added([ground, roof, *above])
        start = node.store.capacity if full else 0.0
        outflow, held, soaked, most, wet = route(inflow, node.store, step * 3600, start)
        over = (np.zeros(outflow.size) if node.lifts is None else
                np.maximum(outflow - node.lifts * step * 3600, 0.0))
        off_roofs = float(roof.sum() + sum(share * part.sum() for part, share in given))
        off_ground = float(ground.sum() + sum((1 - share) * part.sum() for part, share in given))
        passed[index] = _Passed(
            ground, roof, float(sum(s.sum() for s in above)), outflow, held, soaked, most,
            float(inflow.max(initial=0.0)) / (step * 3600),
            float(outflow.max(initial=0.0)) / (step * 3600), wet, over,
            off_roofs / (off_roofs + off_ground) if off_roofs > 0 else 0.0)
    return passed


def peaks_when_full(cascade: Cascade, water: StormWater) -> NDArray[np.float64]:
    """Greatest inflow to each store in a storm that finds every store full. [m3/s]"""
    return np.array([p.peak_in for p in _pass_through(cascade, water, full=True)
                     if p is not None])


def run_storm(cascade: Cascade, depth: float, shape: Hyetograph) -> StormRun:
    """Run a storm through the cascade; every store starts empty.

    Of what spills in a step a pump of stated capacity lifts no more than that; the rest goes where
    it would go without the pump.

    Parameters
    ----------
    depth : float
        [mm]
    shape : Hyetograph

    Raises
    ------
    ValueError
        If the depth is negative.
    """
    if depth < 0:
        raise ValueError(f"storm depth {depth:g} mm is below 0")
    passed = _pass_through(cascade, StormWater(cascade, depth, shape))
    sheds = [(float(runoff[0]), float(beyond[0])) for runoff, beyond in
             (part.volumes(np.array([depth])) for part in cascade.ground)]
    left = sum(float(part.sum()) for p, node in zip(passed, cascade.nodes, strict=True)
               if p is not None for to, part in node.given(p.outflow, p.over) if to is None)
    stores = [
        StoreStorm(node.store.name, node.store.kind, float(p.ground.sum()),
                   beyond, float(p.roof.sum()), p.from_above, p.soaked, 0.0,
                   0.0, p.held, float(p.outflow.sum()), p.peak_in, p.peak_out, p.most,
                   peak_level(node.store, p.most), _first(p.outflow, storm_steps(shape.duration)),
                   _empties(node.store, p, shape.duration), over=float(p.over.sum()),
                   off_roofs=p.share * (float(p.ground.sum() + p.roof.sum()) + p.from_above
                                        - float(p.outflow.sum())))
        for p, node, (_, beyond) in zip(passed, cascade.nodes, sheds[:-1], strict=True)
        if p is not None]
    open_runoff, open_beyond = sheds[-1]
    run_on = open_beyond + sum(s.run_on for s in stores)
    on_ground = cascade.ground_area * depth / 1000
    on_roofs = cascade.roof_area * depth / 1000
    soaked_in_place = (on_ground - sum(runoff - beyond for runoff, beyond in sheds)
                       + on_roofs - sum(s.roof for s in stores))
    return StormRun(depth, stores, on_ground + on_roofs, run_on, soaked_in_place, open_runoff,
                    left + open_runoff)


def storm_spills(cascade: Cascade, depth: float, shape: Hyetograph
                 ) -> dict[int, NDArray[np.float64]]:
    """What each node spills in each step of a storm (`storm_steps`), by its index. [m3]"""
    return {index: passed.outflow for index, passed in
            enumerate(_pass_through(cascade, StormWater(cascade, depth, shape)))
            if passed is not None}


def peak_level(store: Store, most: float) -> float | None:
    """Level of the greatest volume held, over the sill included; None for a drain. [m]"""
    if store.kind == "drain":
        return None
    over = max(most - store.capacity, 0.0)
    return store.curve.level_at(most) + over / max(float(store.curve.areas[-1]), 1e-9)


def _first(outflow: NDArray[np.float64], step: float) -> float | None:
    """Hours until the first water goes over the sill, to the end of its step."""
    flows = outflow > 0
    return (int(np.argmax(flows)) + 1) * step if flows.any() else None


def _empties(store: Store, passed: _Passed, duration: float) -> float:
    """Hours from the end of the rain until a store is empty again."""
    step = storm_steps(duration)
    if passed.held <= 0:
        return max(passed.wet * step - duration, 0.0)
    last = max(passed.outflow.size * step - duration, 0.0)
    if store.kind == "tank":
        return last + (passed.held / store.demand * 24 if store.demand else float("inf"))
    return last + drain_hours(_up_to(store.curve, passed.held), store.infiltration)


def _up_to(curve: Curve, volume: float) -> Curve:
    """The part of a curve below a volume."""
    below = int(np.searchsorted(curve.volumes, volume))
    return Curve(np.append(curve.levels[:below], curve.level_at(volume)),
                 np.append(curve.areas[:below], curve.area_at(volume)),
                 np.append(curve.volumes[:below], min(volume, curve.capacity)))


def _added(series: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    total = np.zeros(max(s.size for s in series))
    for part in series:
        total[:part.size] += part
    return total


def full_at(cascade: Cascade, shape: Hyetograph, most: float = 500.0, within: float = 0.25
            ) -> list[float | None]:
    """The smallest storm that fills each store to its sill. [mm]

    Parameters
    ----------
    most : float
        A store that this does not fill counts as never full: None. [mm]
    within : float
        The answer is that much too high at most. [mm]
    """
    storms: dict[float, StormWater] = {}

    def fills(depth: float, only: frozenset[int] | None = None) -> list[bool]:
        if depth not in storms:
            storms[depth] = StormWater(cascade, depth, shape)
        return [p is not None and p.most >= node.store.capacity * (1 - 1e-9)
                and float(p.ground.sum() + p.roof.sum()) + p.from_above > 0
                for p, node in zip(_pass_through(cascade, storms[depth], only), cascade.nodes,
                                   strict=True)]

    steps = [0.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, most]
    reached = [[False] * len(cascade.nodes)]
    while len(reached) < len(steps) and not all(reached[-1]):
        reached.append(fills(steps[len(reached)]))
    found: list[float | None] = []
    for index in range(len(cascade.nodes)):
        first = next((n for n, some in enumerate(reached) if some[index]), None)
        if first is None:
            found.append(None)
            continue
        low, high = steps[first - 1], steps[first]
        above = cascade.upstream_of(index)
        while high - low > within:
            middle = (low + high) / 2
            if fills(middle, above)[index]:
                high = middle
            else:
                low = middle
        found.append(high)
    return found
