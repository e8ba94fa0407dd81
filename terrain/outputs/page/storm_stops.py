"""What the report's slider of storm depths shows at each of its stops."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.site_rain import Storm
from terrain.plan.planned import Plan
from terrain.plan.water.routing import StormRun
from terrain.runoff.sheds import Shed, ShedPoint

FloatArray = NDArray[np.float64]

#: Steps of the slider between two of its stops, and about how many there are.
STEPS = {"metric": (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0),
         "us": tuple(25.4 * step for step in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0))}
ABOUT = 120
#: A stop closer to one of the plan's storms than this many steps gives way to it.
CLEAR_OF_STORMS = 0.4


@dataclass(frozen=True)
class Stop:
    """A storm that the report shows.

    Attributes
    ----------
    depth : float
        [mm]
    storm : Storm or None
        One of the plan's own; None for a storm like the design storm.
    place : int
        Where the slider stands, counted from 0; several storms of one depth share it.
    """

    depth: float
    storm: Storm | None
    place: int


@dataclass(frozen=True)
class StopFigures:
    """Figures of every stop. [m3]

    Attributes
    ----------
    ground, came, caught, spilled, most : float64, shape (stops, stores)
        Runoff of a store's own ground or roofs; all that comes to it; what it catches; what it
        spills; the most that stands in it below its sill.
    rain, run_on, soaked, passive, roof, left : float64, shape (stops,)
        Of the site: rain and run-on come; what soaks in where it falls, what ground works and
        what tanks keep, and what leaves are together as much.
    sheds : tuple of float64, shape (stops,)
        What leaves each of `Plan.sheds` by all its places.
    points : tuple of float64, shape (stops,)
        What passes each of `Plan.ranked_shed_points`.
    """

    ground: FloatArray
    came: FloatArray
    caught: FloatArray
    spilled: FloatArray
    most: FloatArray
    rain: FloatArray
    run_on: FloatArray
    soaked: FloatArray
    passive: FloatArray
    roof: FloatArray
    left: FloatArray
    sheds: tuple[FloatArray, ...]
    points: tuple[FloatArray, ...]


def stops_of(plan: Plan) -> tuple[Stop, ...]:
    """The stops of the slider, by depth, and the storms that share a place after the first there.

    Of storms of one depth that stands first which has the design storm's duration and pattern.
    """
    told, design = plan.told, plan.site.rain.design
    if told is None:
        return ()
    end = float(told.capture.rain[-1])
    step = min(STEPS[plan.site.units], key=lambda size: abs(np.log(end / size / ABOUT)))
    own = sorted(plan.site.rain.storms, key=lambda storm: (
        storm.depth, storm is not design,
        (storm.duration, storm.pattern) != (design.duration, design.pattern)))
    depths = {storm.depth for storm in own}
    plain = [depth for depth in step * np.arange(int(end / step * (1 + 1e-12)) + 1)
             if all(abs(depth - other) > CLEAR_OF_STORMS * step for other in depths)]
    places = {depth: place for place, depth in enumerate(sorted([*plain, *depths]))}
    found = [Stop(float(depth), None, places[depth]) for depth in plain]
    found += [Stop(storm.depth, storm, places[storm.depth]) for storm in own]
    return tuple(sorted(found, key=lambda stop: stop.place))  # keeps storms of a place in turn


def figures_of(plan: Plan, stops: Sequence[Stop]) -> StopFigures:
    """Figures of the stops: at the plan's own storms exactly its own, else linear in the depth
    between the storms of the capture sweep.

    Notes
    -----
    A road's and a bare patch's water is known of the plan's storms only.  Between these it is
    taken to follow the runoff of all ground that drains to it, from nothing at no rain.
    """
    assert plan.told is not None
    swept = plan.told.capture
    count = len(plan.stores)

    def of_runs(read: Callable[[StormRun], float]) -> FloatArray:
        along = np.array([read(run) for run in swept.runs])
        return np.array([read(plan.runs[stop.storm.name]) if stop.storm is not None else
                         np.interp(stop.depth, swept.rain, along) for stop in stops], np.float64)

    def of_stores(read: Callable[[StormRun, int], float]) -> FloatArray:
        columns = [of_runs(lambda run, index=index: read(run, index))  # type: ignore[misc]
                   for index in range(count)]
        return np.stack(columns, 1) if columns else np.zeros((len(stops), 0))

    def kept(run: StormRun, roof: bool) -> float:
        return sum(store.roof_capture if roof else store.passive_capture for store in run.stores)

    sheds = {id(shed): _shed_shares(plan, shed, stops) for shed in plan.sheds}
    points = tuple(_passing(plan, sheds[id(shed)], point, stops)
                   for shed, point in plan.ranked_shed_points)
    return StopFigures(
        of_stores(lambda run, i: run.stores[i].runoff + run.stores[i].roof),
        of_stores(lambda run, i: run.stores[i].inflow),
        of_stores(lambda run, i: run.stores[i].caught),
        of_stores(lambda run, i: run.stores[i].spilled),
        of_stores(lambda run, i: min(run.stores[i].most, plan.stores[i].store.capacity)),
        of_runs(lambda run: run.rain), of_runs(lambda run: run.run_on),
        of_runs(lambda run: run.soaked_in_place), of_runs(lambda run: kept(run, False)),
        of_runs(lambda run: kept(run, True)), of_runs(lambda run: run.left_site),
        tuple(np.sum([_passing(plan, sheds[id(shed)], point, stops) for point in shed.points],
                     axis=0, dtype=np.float64) + np.zeros(len(stops)) for shed in plan.sheds),
        points)


def _shed_shares(plan: Plan, shed: Shed, stops: Sequence[Stop]) -> tuple[FloatArray, FloatArray]:
    """Runoff of all ground that drains to a shed, at the stops and at the plan's storms. [m3]"""
    ground = replace(shed.catchment, rule=plan.inputs.hydrology.rule)
    return (ground.runoff_volumes(np.array([stop.depth for stop in stops])),
            ground.runoff_volumes(np.array([s.depth for s in plan.site.rain.storms])))


def _passing(plan: Plan, runoff: tuple[FloatArray, FloatArray], point: ShedPoint,
             stops: Sequence[Stop]) -> FloatArray:
    """What passes a place at each stop. [m3]"""
    at_stops, at_storms = runoff
    known, first = np.unique(at_storms, return_index=True)
    passes = np.array(point.volumes)[first]
    if known[0] > 0:
        known, passes = np.concatenate([[0.0], known]), np.concatenate([[0.0], passes])
    found: FloatArray = np.interp(at_stops, known, passes)
    if known[-1] > 0:
        found = np.where(at_stops > known[-1], passes[-1] * at_stops / known[-1], found)
    storms = [storm.name for storm in plan.site.rain.storms]
    for row, stop in enumerate(stops):
        if stop.storm is not None:
            found[row] = point.volumes[storms.index(stop.storm.name)]
    return found
