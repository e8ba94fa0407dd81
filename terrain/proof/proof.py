"""A storm over the ground as it will be dug, and what each store, building, road and boundary sees
of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.flood.storm_flow import Flow, Foreseen, Rain, flow_storm
from terrain.inputs.site import Site
from terrain.inputs.site_rain import Storm
from terrain.plan.planned import Plan
from terrain.plan.water.routing import StormRun, run_storm
from terrain.proof.cell_words import cell_option, cells_of
from terrain.proof.crossings import Crossing, crossing_of
from terrain.proof.flood_ground import FloodGround, unlike_the_plan
from terrain.proof.led import feeds_of, transfers_of
from terrain.proof.places import Fast, Spot, fast_ground, spots_of
from terrain.proof.side_by_side import Job, Reached, side_by_side
from terrain.proof.soils import OF_GROUP
from terrain.proof.store_proof import StoreProof, store_proofs
from terrain.runoff.storms import Hyetograph

FloatArray = NDArray[np.float64]
#: Water is followed so long after the rain ends. [h]
AFTER = 6.0
#: Time between records. [s]
RECORD = 60.0
#: A run that will take longer is not begun unless that was asked for. [s]
LONG = 1800.0
#: Pictures of the water that are kept.
FRAMES = 120
#: Name of the rim of the land; no work has it, for a work's name has no such mark.
LAND = "\0the property"


@dataclass(frozen=True)
class Frames:
    """Pictures of the water.

    Attributes
    ----------
    times : list of float
        [s]
    depths : list of uint16, shape (rows, columns)
        [mm]
    """

    times: list[float] = field(default_factory=list)
    depths: list[NDArray[np.uint16]] = field(default_factory=list)


@dataclass(frozen=True)
class Flooded:
    """One run of a storm over one ground.

    Attributes
    ----------
    flow : Flow
    leaves : Crossing
        What crosses the boundary outwards, and what comes in.
    frames : Frames
    """

    flow: Flow
    leaves: Crossing
    frames: Frames


@dataclass(frozen=True)
class Proof:
    """A plan held against a storm that runs over its ground.

    Attributes
    ----------
    plan : Plan
    ground : FloodGround
    storm : str
    depth : float
        [mm]
    until : float
        Hours followed, from the storm's start. [h]
    run : StormRun
        The cascade's own answer.
    after, before : Flooded
        With the works, and without; `before` may be None.
    stores : tuple of StoreProof
    spots : tuple of Spot
        Buildings, roads and the boundary.
    fast : tuple of Fast
        Ground on which water runs faster than it stands.
    notes : tuple of str
    unlike : tuple of str
        What these cells cannot show of the works.
    """

    plan: Plan
    ground: FloodGround
    storm: str
    depth: float
    until: float
    run: StormRun
    after: Flooded
    before: Flooded | None
    stores: tuple[StoreProof, ...]
    spots: tuple[Spot, ...]
    fast: tuple[Fast, ...]
    notes: tuple[str, ...]
    unlike: tuple[str, ...]

    @property
    def cell(self) -> float:
        """[m]"""
        return self.ground.grid.cell


@dataclass(frozen=True)
class How:
    """How a storm is run.

    Attributes
    ----------
    after : float
        Hours that water is followed after the rain. [h]
    method : {"local inertia", "full"}
    threads : int or None
        All cores without.
    patient : bool
        Begin a run that will take long.
    """

    after: float = AFTER
    method: Literal["local inertia", "full"] = "local inertia"
    threads: int | None = None
    patient: bool = False


AS_USUAL = How()


def storm_named(site: Site, name: str | None) -> Storm:
    """A storm of the site file; the design storm without a name.

    Raises
    ------
    InputError
        If there is none of the name.
    """
    if name is None:
        return site.rain.design
    found = next((storm for storm in site.rain.storms if storm.name == name), None)
    if found is None:
        names = ", ".join(storm.name for storm in site.rain.storms)
        raise InputError("--storm", f"the site file has no storm '{name}'", f"Name one of {names}")
    return found


def prove(plan: Plan, ground: FloodGround, storm: Storm, how: How = AS_USUAL, *,
          before: bool = True, progress: Callable[[str], None] = lambda what: None) -> Proof:
    """Run a storm over a plan's ground, with the works and without.

    Parameters
    ----------
    before : bool
        Whether to run it over the ground without works too.

    Raises
    ------
    InputError
        If the storm has no depth, or the run would take long and nobody asked for that.
    """
    if storm.depth <= 0:
        raise InputError("--storm", f"'{storm.name}' has a depth of 0 mm",
                         "Choose a storm that rains")
    shape = plan.inputs.hydrology.shapes[storm.name]
    run = run_storm(plan.cascade, storm.depth, shape)

    def job(works: bool) -> Job[Flooded]:
        return lambda threads, reached: flood(plan, ground, storm.depth, shape,
                                              replace(how, threads=threads), works=works,
                                              reached=reached)

    jobs = {"with the works": job(True)} | ({"without them": job(False)} if before else {})
    with_works, *rest = side_by_side(jobs, how.threads, progress)
    without = rest[0] if rest else None
    _, assumed = transfers_of(plan, ground)
    return Proof(plan, ground, storm.name, storm.depth, shape.duration + how.after, run,
                 with_works, without, store_proofs(plan, ground, with_works.flow, run),
                 spots_of(plan, ground, with_works.flow,
                          None if without is None else without.flow),
                 fast_ground(plan, ground, with_works.flow,
                             None if without is None else without.flow),
                 (*_notes(ground, how), *assumed), tuple(unlike_the_plan(plan, ground)))


def flood(plan: Plan, ground: FloodGround, depth: float, shape: Hyetograph, how: How = AS_USUAL, *,
          works: bool = True, blocked: str | None = None,
          reached: Reached = lambda now, end: None) -> Flooded:
    """Run rain over the ground, with the works or without.

    Parameters
    ----------
    depth : float
        [mm]
    blocked : str, optional
        What lets nothing through: "culvert NAME", or "spill of NAME".
    reached : callable
        Called some times a second with the time come to and the end. [s]

    Raises
    ------
    InputError
        If it would take long and nobody asked for that.
    """
    until = (shape.duration + how.after) * 3600
    frames = Frames()
    every = max(int(np.ceil(until / RECORD / FRAMES)), 1)

    def watch(time: float, depths: NDArray[np.float32]) -> None:
        if round(time / RECORD) % every == 0:
            frames.times.append(time)
            frames.depths.append(np.clip(np.nan_to_num(depths) * 1000, 0, 65535).astype(np.uint16))

    def foresee(found: Foreseen) -> None:
        if found.seconds > LONG and not how.patient:
            wider = ground.grid.cell * 2
            raise InputError("--cell", f"with {cells_of(ground.grid.cell)} this storm takes "
                             f"about {found.seconds / 60:.0f} minutes to run once",
                             f"Take larger cells ({cell_option(wider)}: about "
                             f"{found.with_cell(wider) / 60:.0f} minutes), or add --patient")

    outside = np.isfinite(ground.before) & ~ground.inside
    rims = {LAND: (ground.inside, outside)} if outside.any() else {}
    transfers, _ = transfers_of(plan, ground, blocked)
    if works:
        for number, pool in enumerate(ground.pools):
            rims[plan.stores[pool.index].store.name] = ground.rim(number)
    else:
        transfers = {name: move for name, move in transfers.items() if name.startswith("culvert")}
    flow = flow_storm(
        ground.after if works else ground.before, ground.grid.cell, ground.roughness, until=until,
        rain=Rain.of_storm(shape, depth),
        loss=ground.loss(works),
        soak=ground.soak(plan) if works else 0.0, edges="critical", holes="sinks",
        rims=rims, calm=ground.calm if works else False, transfers=transfers,
        record=RECORD, film=ground.film(depth), threads=how.threads,
        method=how.method, feeds=feeds_of(plan, ground, depth, shape) if works else {},
        gauges={plan.stores[pool.index].store.name: pool.by_sill for pool in ground.pools},
        watch=watch, foresee=foresee, progress=reached)
    return Flooded(flow, crossing_of(flow, LAND, ground.grid), frames)


def _notes(ground: FloodGround, how: How) -> list[str]:
    found = [
        f"Shallow flow on {ground.grid.rows:,} by {ground.grid.columns:,} "
        f"{cells_of(ground.grid.cell)}, by " + ("local inertia (Bates and others, 2010; de Almeida "
        "and others, 2012)." if how.method == "local inertia" else "the full equations."),
        ("Rain loses by curve number where it falls, as in the plan, and soaks in no further on "
         "its way" if ground.soils is None else
         "Water soaks in by Green and Ampt, on its way too, by the texture of each soil group "
         f"({', '.join(OF_GROUP)} for A to D), its pores half full before; the cascade keeps to "
         "curve numbers") + "; beds of stores take water at their own rate. Stores start empty.",
        "Friction: Manning's n of sheet flow by cover (TR-55, 1986, Table 3-1), that of the site "
        "file's channels where channels begin, 0.035 on ground that works change.",
        "Roofs of tanks give the ground only what their tanks spill, as the cascade has it. Spills "
        "that the plan leads by pipe, pump or hand are led so; furrows are taken as dug."]
    return found
