"""A storm, or standing water let go, run over the ground."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.flood.grid import GRAVITY, Grid, lay_edges, lay_gates, lay_grid, per_cell
from terrain.flood.moves import Moves
from terrain.flood.sources import CurveNumberLoss, GreenAmptLoss, Loss, Sources
from terrain.flood.transfers import Barrel, Feed, Lip, Transfer
from terrain.runoff.storms import Hyetograph

FloatArray = NDArray[np.float64]
Method = Literal["local inertia", "full"]
Progress = Callable[[float, float], None]
#: Share of the longest step that holds in two directions, 0.7; see `flow_storm`.
COURANT = 0.7


@dataclass(frozen=True)
class Rain:
    """Rain fallen by each time, the same on every cell.

    Attributes
    ----------
    times : float64, shape (n,)
        Rising from 0. [s]
    depths : float64, shape (n,)
        Never falling, from 0; straight between. [mm]
    """

    times: FloatArray
    depths: FloatArray

    @classmethod
    def of_storm(cls, shape: Hyetograph, depth: float) -> Rain:
        """The rain of a storm of some depth. [mm]"""
        return cls(shape.hours * 3600.0, depth * shape.shares)

    @classmethod
    def even(cls, rate: float, duration: float) -> Rain:
        """Rain of one rate for a time. [mm/h], [s]"""
        return cls(np.array([0.0, duration]), np.array([0.0, rate * duration / 3600.0]))


@dataclass(frozen=True)
class WaterAccount:
    """Where the water of a run came from and went. [m3]

    Attributes
    ----------
    rain, stood, fed : float
        Fell on the ground; stood on it at the start; came by feeds.
    lost : float
        Lost where it fell, by curve number.
    soaked : float
        Soaked in by Green and Ampt, and through beds.
    left_edges, left_holes, led_off : float
        Left over open edges, into cells without ground, and by transfers that end nowhere.
    stands : float
        Stands on the ground at the end.
    """

    rain: float
    stood: float
    fed: float
    lost: float
    soaked: float
    left_edges: float
    left_holes: float
    led_off: float
    stands: float

    @property
    def came(self) -> float:
        """All that came. [m3]"""
        return self.rain + self.stood + self.fed

    @property
    def error(self) -> float:
        """What came less where it went; held to 1e-9 of what came. [m3]"""
        return (self.came - self.lost - self.soaked - self.left_edges - self.left_holes
                - self.led_off - self.stands)


@dataclass(frozen=True)
class GateRecord:
    """What passed a line, from its left to its right as it was given.

    Attributes
    ----------
    volume : float64, shape (records,)
        Passed by each time. [m3]
    flow : float64, shape (records,)
        Mean flow since the time before. [m3/s]
    """

    volume: FloatArray
    flow: FloatArray


@dataclass(frozen=True)
class RimRecord:
    """What crossed a rim, face by face net within a record.

    Out is from its first cells to the others.

    Attributes
    ----------
    inflow, outflow : float64, shape (records,)
        Crossed by each time. [m3]
    faces : float64, shape (n, 2)
        Row and column of the middle of each face, in cells from the grid's upper left corner.
    passed : float64, shape (n,)
        Out through each by the end, below 0 inwards. [m3]
    """

    inflow: FloatArray
    outflow: FloatArray
    faces: FloatArray
    passed: FloatArray


@dataclass(frozen=True)
class Flow:
    """What water did over the ground.

    Attributes
    ----------
    depth : float32, shape (rows, columns)
        At the end; NaN where there is no ground, as below. [m]
    flux_east, flux_south : float32, shape (rows, columns)
        At the end, mean of a cell's two sides. [m2/s]
    greatest_depth, greatest_speed, greatest_depth_speed : float32, shape (rows, columns)
        Of each cell over the run, each by itself: looked at every few steps; speed is the flux
        over the cell's depth, and counts where that is more than `wet`. [m], [m/s], [m2/s]
    arrival : float32, shape (rows, columns)
        When water was first deeper than `wet`; NaN where it never was. [s]
    soaked : float32, shape (rows, columns)
        Depth soaked in by Green and Ampt and through beds. [m]
    times : float64, shape (records,)
        Of the records, 0 first. [s]
    gates : dict of GateRecord
    rims : dict of RimRecord
    transfers, feeds : dict of float64, shape (records,)
        Moved, or come, by each time. [m3]
    levels : dict of float64, shape (records,)
        Of the water at each gauge, the bed where it is dry. [m]
    account : WaterAccount
    steps : int
    shortest_step : float
        [s]
    unit : float
        Depth is counted in whole units of this size. [m]
    """

    depth: NDArray[np.float32]
    flux_east: NDArray[np.float32]
    flux_south: NDArray[np.float32]
    greatest_depth: NDArray[np.float32]
    greatest_speed: NDArray[np.float32]
    greatest_depth_speed: NDArray[np.float32]
    arrival: NDArray[np.float32]
    soaked: NDArray[np.float32]
    times: FloatArray
    gates: dict[str, GateRecord]
    rims: dict[str, RimRecord]
    transfers: dict[str, FloatArray]
    feeds: dict[str, FloatArray]
    levels: dict[str, FloatArray]
    account: WaterAccount
    steps: int
    shortest_step: float
    unit: float


@dataclass(frozen=True)
class Foreseen:
    """How long a run will take, from its first steps. [s]

    Attributes
    ----------
    seconds : float
        From the start, if water comes to stand as deep as `depth`.
    depth : float
        The deepest hollow of the ground, or what stands already. [m]
    cell : float
        [m]
    """

    seconds: float
    depth: float
    cell: float

    def with_cell(self, cell: float) -> float:
        """Seconds with cells of another size: cells and steps both go with it. [s]"""
        return self.seconds * (self.cell / cell) ** 3


def flow_storm(bed: ArrayLike, cell: float, roughness: ArrayLike, *, until: float,
               rain: Rain | None = None, loss: Loss | None = None, soak: ArrayLike = 0.0,
               depth: ArrayLike = 0.0, velocity: tuple[ArrayLike, ArrayLike] = (0.0, 0.0),
               edges: str | Mapping[str, str] = "closed", holes: str = "walls",
               gates: Mapping[str, Iterable[tuple[int, int]]] | None = None,
               rims: Mapping[str, tuple[NDArray[np.bool_], NDArray[np.bool_]]] | None = None,
               transfers: Mapping[str, Transfer] | None = None,
               feeds: Mapping[str, Feed] | None = None,
               gauges: Mapping[str, tuple[int, int]] | None = None, record: float = 60.0,
               wet: float = 0.01, film: float = 0.0, courant: float = COURANT,
               deepest: float | None = None, calm: ArrayLike = False,
               threads: int | None = None, method: Method = "local inertia",
               progress: Progress | None = None,
               watch: Callable[[float, NDArray[np.float32]], None] | None = None,
               foresee: Callable[[Foreseen], None] | None = None) -> Flow:
    """Run rain and standing water over the ground until a time.

    Parameters
    ----------
    bed : shape (rows, columns)
        Heights, row 0 in the north; NaN where there is no ground. [m]
    cell : float
        Side of a cell. [m]
    roughness : number or shape (rows, columns)
        Manning's n. [s/m^(1/3)]
    until : float
        [s]
    rain : Rain, optional
    loss : CurveNumberLoss or GreenAmptLoss, optional
        What rain loses where it falls, or what soaks into bare soil; nothing without.
    soak : number or shape (rows, columns)
        Rate at which the bed takes water that stands on it, besides. [mm/h]
    depth : number or shape (rows, columns)
        Of the water at the start, taken to the nearest unit. [m]
    velocity : two numbers or arrays of shape (rows, columns)
        Of the water at the start, to the east and to the south. [m/s]
    edges : {"closed", "normal", "critical"}, or such by "north", "west", "south", "east"
        How water leaves over the grid's rim: not at all; as steady flow down the slope of the bed
        there, where it falls outwards; or at critical depth.
    holes : {"walls", "sinks"}
        Cells without ground keep water out, or take it at critical depth.
    gates : dict of lines, optional
        Each a line of corners (row, column) of cells, 0 to rows and 0 to columns, slanting parts
        as stairs; what crosses from its left to its right counts as positive.
    rims : dict of two bool, shape (rows, columns), optional
        Cells on this side and on that; what crosses between them is kept, out and in.
    transfers : dict of Transfer, optional
        Pipes, culverts and pumps, worked when rain is given.
    feeds : dict of Feed, optional
        Water that comes from elsewhere.
    gauges : dict of (row, column), optional
        Cells whose level is kept.
    record : float
        Time between records of gates, rims and gauges. [s]
    wet : float
        Depth from which a cell counts as reached. [m]
    film : float
        Depth up to which water clings to the ground and does not flow, by local inertia; ground
        that holds no more is passed over, so that a storm's long tail takes less time. [m]
    courant : float
        Step as a share of cell / sqrt(g h) for the deepest water; up to 0.7.
    deepest : float, optional
        Depth of water to leave room for; 16 m, or twice what stands at the start.  More of it
        makes a coarser unit. [m]
    calm : bool, or such of shape (rows, columns)
        Where water only stands, in ponds and hollows: by local inertia it conveys there as if it
        were no deeper than the deepest elsewhere (0.1 m at least), so that a deep pond does not
        shorten every step. Levels even out more slowly there, and all else is as it was.
    threads : int, optional
        As many as there are cores without; the answer is the same, bit by bit.
    method : {"local inertia", "full"}
        The second keeps the advection of momentum, for jets and breaking walls, and takes some
        twenty times as long.
    progress : callable, optional
        Called with seconds simulated and `until` some times a second; what it raises ends the run.
    watch : callable, optional
        Called at each record with its time and the depths then, NaN where there is no ground.
    foresee : callable, optional
        Called once, when a second of work is done, with how long it will take in all; what it
        raises ends the run.

    Returns
    -------
    flow : Flow

    Raises
    ------
    ValueError
        If shapes differ; roughness, soak, depth, loss or rain is negative or unknown where there
        is ground; there is nothing to run: no rain, no feed and no water; the step asked for cannot
        hold;
        an edge, hole, gate or gauge does not fit; or water grows deeper than `deepest`.
    KeyboardInterrupt
        When stopped; nothing goes on running.

    Notes
    -----
    Rain and losses are given every few steps, 5 s apart or a step if that is longer; transfers and
    feeds are worked then, 2 s apart while they bring water.  Water that
    moves less than half a unit a step through a face, tens of nanometres, stays.

    References
    ----------
    .. [1] Bates, Horritt & Fewtrell, Journal of Hydrology 387 (2010), 33-45.
    .. [2] de Almeida, Bates, Freer & Souvignet, Water Resources Research 48 (2012), W05528.
    .. [3] Audusse, Bouchut, Bristeau, Klein & Perthame, SIAM Journal on Scientific Computing 25
       (2004), 2050-2065, for the full method.
    """
    shape = np.shape(bed)
    if not (until > 0 and np.isfinite(until)):
        raise ValueError(f"a run until {until:g} s is not above 0")
    if not record > 0:
        raise ValueError(f"a record every {record:g} s is not above 0")
    if not 0 < courant <= COURANT:
        raise ValueError(f"a step of {courant:g} cell / sqrt(g h) cannot hold; up to {COURANT:g} "
                         "does")
    if not wet > 0:
        raise ValueError(f"wet, {wet:g} m, is not above 0")
    if not 0 <= film < wet:
        raise ValueError(f"a film of {film:g} m is not between 0 and wet, {wet:g} m")
    if threads is not None and threads < 1:
        raise ValueError(f"{threads} threads are not 1 or more")
    if method not in ("local inertia", "full"):
        raise ValueError(f"method '{method}' is neither 'local inertia' nor 'full'")
    standing = per_cell(depth, shape, "depth")
    grid = lay_grid(bed, cell, roughness, standing, deepest)
    _refuse(standing, grid, "depth")
    east, south = (per_cell(part, shape, "velocity") for part in velocity)
    if not (np.isfinite(east[grid.ground]).all() and np.isfinite(south[grid.ground]).all()):
        raise ValueError("a velocity of the water is unknown or endless")
    if rain is None and not feeds and not standing[grid.ground].any():
        raise ValueError("there is neither rain nor water on the ground: nothing to run")
    sources = _sources(grid, rain, loss, per_cell(soak, shape, "soak"))
    moves = Moves(grid, dict(transfers or {}), dict(feeds or {}))
    for name, place in (gauges or {}).items():
        row, column = place
        if not (0 <= row < grid.rows and 0 <= column < grid.columns and grid.ground[row, column]):
            raise ValueError(f"gauge '{name}' at row {row}, column {column} is not on the ground")
    still = np.asarray(calm, bool)
    if still.shape not in ((), shape):
        raise ValueError(f"calm has the shape {still.shape}, the bed {shape}")
    if method == "local inertia" and still.any():
        grid = grid.with_calm(np.broadcast_to(still, shape))
    from terrain.flood.run import Run

    kind = Run
    if method == "full":
        from terrain.flood.full_run import FullRun

        kind = FullRun
    return kind(grid, np.asarray(bed, np.float64), standing, (east, south), sources,
                lay_edges(grid, bed, roughness, edges, holes),
                lay_gates(grid, gates or {}, rims or {}), moves, dict(gauges or {}),
                until, record, wet, film, courant, threads, progress, watch, foresee).flow()


def _refuse(values: FloatArray, grid: Grid, name: str) -> None:
    bad = grid.ground & ~((values >= 0) & np.isfinite(values))
    if bad.any():
        row, column = np.argwhere(bad)[0]
        raise ValueError(f"{name} {values[row, column]:g} at row {row}, column {column} is not 0 "
                         "or more")


def _sources(grid: Grid, rain: Rain | None, loss: Loss | None, soak: FloatArray) -> Sources:
    times, depths = np.array([0.0]), np.array([0.0])
    if rain is not None:
        times, depths = np.asarray(rain.times, np.float64), np.asarray(rain.depths, np.float64)
        if times.ndim != 1 or times.shape != depths.shape or times.size < 2:
            raise ValueError(f"rain has {times.shape} times and {depths.shape} depths; as many of "
                             "both are wanted, two or more")
        if not (times[0] == 0 and depths[0] == 0 and (np.diff(times) > 0).all()
                and (np.diff(depths) >= 0).all() and np.isfinite(times[-1] + depths[-1])):
            raise ValueError("rain does not start with 0 mm at 0 s, or its times or depths fall")
        if depths[-1] == 0:
            raise ValueError("the storm has a depth of 0 mm")
    _refuse(soak, grid, "soak")
    shape = (grid.rows, grid.columns)
    retention, ratio = np.zeros(shape), 0.2
    suction, conductivity = np.empty(0), np.empty(0)
    if isinstance(loss, CurveNumberLoss):
        retention, ratio = per_cell(loss.retention, shape, "retention"), loss.abstraction_ratio
        _refuse(retention, grid, "retention")
        if not 0 <= ratio < 1:
            raise ValueError(f"abstraction ratio {ratio:g} is not between 0 and 1")
    elif isinstance(loss, GreenAmptLoss):
        parts = []
        for values, name in ((loss.suction_deficit, "suction deficit"),
                             (loss.conductivity, "conductivity")):
            parts.append(per_cell(values, shape, name))
            _refuse(parts[-1], grid, name)
        suction, conductivity = (grid.walled(part, np.float64) for part in parts)
    both = retention[grid.ground] + 1j * soak[grid.ground]
    found, kind, count = np.unique(both, return_inverse=True, return_counts=True)
    kinds = np.zeros(shape, np.int32)
    kinds[grid.ground] = kind.reshape(-1) + 1
    return Sources(times, depths, grid.unit, grid.walled(kinds, np.int32),
                   np.append(0.0, found.real), np.append(0.0, found.imag), ratio,
                   np.append(0, count), suction, conductivity)


__all__ = ["GRAVITY", "Barrel", "CurveNumberLoss", "Feed", "Flow", "Foreseen", "GateRecord",
           "GreenAmptLoss", "Lip", "Loss", "Rain", "RimRecord", "Transfer", "WaterAccount",
           "flow_storm"]
