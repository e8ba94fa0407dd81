"""The cascade: catchments and stores of a site, joined by their spills."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from graphlib import CycleError, TopologicalSorter
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.site import Site
from terrain.plan.earth.shared_ground import SLIVER, overlap
from terrain.plan.siting.hydrology import Hydrology
from terrain.plan.siting.layout import Placed, Places, first_sill
from terrain.plan.siting.tank_works import (
    grey_target,
    leader_of,
    refuse_unsourced,
    roof_of,
    top_up_of,
    uses_of,
)
from terrain.runoff.catchment import Catchment, gather, on_ground, with_water
from terrain.runoff.curve_number import Condition
from terrain.runoff.flow_way import mean_rational_c, reaches_of, timed
from terrain.runoff.green_ampt import texture_named
from terrain.runoff.ground import Ground, Roof
from terrain.runoff.infiltration import rate_of
from terrain.runoff.loss_on_the_way import RunOn
from terrain.runoff.travel_time import Reach
from terrain.surface.accumulation import accumulate, longest_upslope_path
from terrain.surface.flow_paths import longest_path_to
from terrain.surface.neighbours import LEAVES
from terrain.surface.terrain import Terrain
from terrain.units import either, first_system, in_both
from terrain.works.furrow import Furrow, furrow, furrow_line
from terrain.works.ground_of_bank import spillway_outlet
from terrain.works.roof import RoofCatchment
from terrain.works.rules import Rulebook
from terrain.works.store import TANK_HEIGHT, Store

OFF_SITE = "off site"
#: A volume, or one for each step or day. [m3]
Spilled = TypeVar("Spilled", float, NDArray[np.float64])
#: Share of its pores that hold water in a store's bed before a storm; common practice, no source.
SATURATION = 0.5


@dataclass(frozen=True)
class Node:
    """A store in the cascade with what feeds it and where it spills.

    Attributes
    ----------
    store : Store
    catchment : Catchment
        Ground that reaches it before any other store; empty for a tank.
    roof : RoofCatchment
        Roofs piped to it; empty for ground stores.
    spills_to : int or None
        Index of the node that takes its spill; None where that leaves the site.
    spill_path : float64, shape (points, 2)
        The way of the spill: what leads it first, then over the ground. [m]
    led : str
        What leads it, where the owner's word decides and not the ground: "furrow" (dug by hand),
        "pipe" (stated; of or to a tank also taken for granted), "pump", "drain" (the work
        itself), "word" (off the site, nobody says how); "" over the ground.
    longest_way : float64, shape (points, 2)
        The longest way of its catchment's water, from the divide down. [m]
    led_points : int
        So many first points of the way are led. [-]
    furrow : Furrow or None
        That leads its spill; None where none does, or the works touch.
    rise : float or None
        Height that a pump lifts its spill by, below 0 where it falls; None without a pump. [m]
    grey_to : tuple of int or None
        For each use of the store, the node that takes its grey water.
    lifts : float or None
        The most that its pump lifts; None without a pump, or where nobody says. [m3/s]
    over_to : int or None
        Index of the node that takes what comes over that, or all while the pump stands still, as
        if there were no pump; None where that leaves the site, and without a pump.
    over_path : float64, shape (points, 2)
        The way of that over the ground; none without a pump. [m]
    """

    store: Store
    catchment: Catchment
    roof: RoofCatchment
    spills_to: int | None
    spill_path: NDArray[np.float64]
    led: str = ""
    longest_way: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))
    led_points: int = 0
    furrow: Furrow | None = None
    rise: float | None = None
    grey_to: tuple[int | None, ...] = ()
    lifts: float | None = None
    over_to: int | None = None
    over_path: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))

    @property
    def piped(self) -> bool:
        """Whether the owner's pipe or `spills to` decides, not the ground."""
        return bool(self.led)

    @property
    def led_way(self) -> NDArray[np.float64]:
        """The part of its spill's way that is led. [m]"""
        return self.spill_path[:self.led_points]

    @property
    def over_way(self) -> NDArray[np.float64]:
        """The part over the ground, from the end of what leads it on. [m]"""
        return self.spill_path[max(self.led_points - 1, 0):]

    @property
    def takers(self) -> tuple[int | None, ...]:
        """Nodes that its spill goes to, None for off the site."""
        return (self.spills_to,) if self.lifts is None else (self.spills_to, self.over_to)

    def given(self, spilled: Spilled, over: Spilled) -> list[tuple[int | None, Spilled]]:
        """Who takes how much of its spill, `over` being the part that its pump cannot lift."""
        if self.lifts is None:
            return [(self.spills_to, spilled)]
        return [(self.spills_to, spilled - over), (self.over_to, over)]


@dataclass(frozen=True)
class Cascade:
    """A site as a network.

    Attributes
    ----------
    nodes : list of Node
        In the site file's order.
    order : list of int
        Indices of `nodes`, upstream first.
    open_ground : Catchment
        Ground within the boundary, and what drains onto it from beyond, that meets no store.
    labels : int32, shape (rows, columns)
        Node index + 1 of the store each cell's water meets first; 0 for none, and under the
        roofs that feed tanks.
    overlaps : dict of int to list of int
        Nodes whose water covers ground that another node's covers too, by more than a sliver.
    """

    nodes: list[Node]
    order: list[int]
    open_ground: Catchment
    labels: NDArray[np.int32]
    notes: tuple[str, ...] = field(default=())
    overlaps: dict[int, list[int]] = field(default_factory=dict)

    @property
    def ground(self) -> list[Catchment]:
        """All ground: each node's catchment, and last the open ground."""
        return [*(node.catchment for node in self.nodes), self.open_ground]

    @property
    def ground_area(self) -> float:
        """Ground within the boundary that is no tank's roof, stores included. [m2]"""
        return sum(part.area - part.run_on_area for part in self.ground)

    def own_runoff(self, rain: NDArray[np.float64]) -> NDArray[np.float64]:
        """What reaches stores or leaves of the runoff of ground within the boundary. [m3]"""
        return sum((part.runoff_volumes(rain) - part.run_on_volumes(rain)
                    for part in self.ground), np.zeros(rain.size))

    @property
    def roof_area(self) -> float:
        """Plan area of the roofs that feed tanks. [m2]"""
        return sum(node.roof.area for node in self.nodes)

    def upstream_of(self, index: int) -> frozenset[int]:
        """A node and all whose spills come to it."""
        found: set[int | None] = {index}
        for other in reversed(self.order):  # those below come first
            if not found.isdisjoint(self.nodes[other].takers):
                found.add(other)
        return frozenset(i for i in found if i is not None)

    def under(self, condition: Condition) -> Cascade:
        """The same network with its ground in another antecedent runoff condition."""
        return replace(self, open_ground=self.open_ground.under(condition),
                       nodes=[replace(node, catchment=node.catchment.under(condition))
                              for node in self.nodes])

    def with_stores(self, stores: Sequence[Store]) -> Cascade:
        """The same network with other stores in the nodes' places."""
        return replace(self, nodes=[replace(node, store=store, furrow=_gathering(node, store))
                                    for node, store in zip(self.nodes, stores, strict=True)])


def _gathering(node: Node, store: Store) -> Furrow | None:
    """A node's furrow, with the length of the sill that feeds it."""
    return None if node.furrow is None else replace(node.furrow, sill_length=store.sill.length)


def build_cascade(site: Site, terrain: Terrain, ground: Ground, placed: list[Placed],
                  rules: Rulebook, hydrology: Hydrology) -> Cascade:
    """Join the placed works by the way the water takes.

    Raises
    ------
    InputError
        If works overlap wholly, a tank names a roof that is not there, `spills to` names no
        work, or spills run in a circle.
    """
    dem, how = terrain.dem, hydrology
    notes: list[str] = []
    overlaps: dict[int, list[int]] = {}
    marks = _marks(site, terrain, placed, notes, overlaps)
    tanked = tanked_roofs(site, ground)
    dry = np.zeros(dem.shape, bool)
    for roofs in tanked.values():
        for roof in roofs:
            dry |= roof.cells
    numbers = np.where(dry, np.nan, ground.curve_number)
    labels = np.where(dry, 0, terrain.labels(marks))
    reaches = terrain.labels(ground.inside.astype(np.int32)) > 0
    rest = (labels == 0) & reaches
    arounds, ways = _arounds(terrain, ground, numbers, labels, marks, placed, how)
    open_ground = gather(numbers, rest, dem.cell_area, ground.inside, how.rule)
    if how.loss_on_the_way:
        owner = np.where(marks > 0, -1, np.where(rest | dry, len(placed), labels - 1))
        run_on = RunOn(terrain.direction, numbers, owner.astype(np.int32), len(placed) + 1,
                       ground.inside, dem.cell_area, how.rule)
        *arounds, open_ground = _delivered(run_on, [*arounds, open_ground])
    nodes = []
    for index, (place, around, way) in enumerate(zip(placed, arounds, ways, strict=True)):
        cells = labels == index + 1
        under = gather(numbers, cells & (marks > 0), dem.cell_area, ground.inside, how.rule)
        water = 0.0 if place.kind == "tank" else float(place.curve.areas[-1])
        catchment = with_water(around, under, water)
        feeding = tanked.get(place.name, [])
        fed = (roof_of(place.work, feeding, rules) if place.kind == "tank" else
               RoofCatchment(0.0, 0.0))
        store = _store(site, place, ground, rules)
        spills_to, path, led, led_points = _spill(site, terrain, place, index, marks, placed, rules)
        rise = _rise(terrain, place, path, None if spills_to is None else placed[spills_to])
        dug = None if led != "furrow" or spills_to is None else _furrow(
            terrain, place, placed[spills_to], path, rules)
        node = Node(store, catchment, fed, spills_to, path, led, way, led_points, dug, rise)
        if rise is not None:
            over_to, over_path = _overland(terrain, place, index, marks, [(place.spill_x,
                                                                           place.spill_y)])
            lifts = None if isinstance(place.work.pump, bool) else place.work.pump
            node = replace(node, lifts=lifts, over_to=over_to, over_path=over_path)
        nodes.append(node)
    nodes = _with_grey_water(site, placed, nodes)
    return Cascade(nodes, _order(site, placed, nodes), open_ground, labels, tuple(notes), overlaps)


def _with_grey_water(site: Site, placed: list[Placed], nodes: list[Node]) -> list[Node]:
    """The same nodes, tanks with where their grey water goes; refused is one that nothing fills."""
    names = [place.name for place in placed]
    kinds, of_works = [place.kind for place in placed], [place.work.name for place in placed]
    refuse_unsourced(site, of_works, [
        bool(node.roof.area or node.store.top_up) or any(i in n.takers for n in nodes)
        for i, node in enumerate(nodes)])
    return [replace(node, grey_to=tuple(
        grey_target(site, place.work, use, names, kinds, of_works) for use in place.work.uses))
        if place.kind == "tank" else node for place, node in zip(placed, nodes, strict=True)]


def _arounds(terrain: Terrain, ground: Ground, numbers: NDArray[np.float64],
             labels: NDArray[np.int32], marks: NDArray[np.int32], placed: list[Placed],
             how: Hydrology) -> tuple[list[Catchment], list[NDArray[np.float64]]]:
    """The ground about each store, outside its own cells, and the longest way to it."""
    dem = terrain.dem
    # A way to a store starts below the stores above it.
    stopped = np.where(marks > 0, LEAVES, terrain.direction).astype(np.uint8)
    lengths = longest_upslope_path(stopped, dem.cell)
    gathered = accumulate(stopped) * dem.cell_area
    found, ways = [], []
    for index, place in enumerate(placed):
        cells = labels == index + 1
        outside = cells & (marks == 0)
        longest, way = 0.0, np.zeros((0, 2))
        reaches: tuple[Reach, ...] = ()
        own = place.cells[marks[place.cells[:, 0], place.cells[:, 1]] == index + 1]
        if len(own):
            rows, columns = own[:, 0], own[:, 1]
            foot = int(np.argmax(lengths[rows, columns]))
            longest = float(lengths[rows[foot], columns[foot]])
            path = longest_path_to(stopped, lengths, dem.cell, int(rows[foot]), int(columns[foot]))
            way = np.stack(dem.xy(path[:, 0], path[:, 1]), 1)
            reaches = reaches_of(terrain, path, gathered, ground.cover, ground.classes, how.timing)
        around = on_ground(gather(numbers, outside, dem.cell_area, ground.inside, how.rule),
                           terrain, cells, longest)
        coefficient = mean_rational_c(ground.cover, ground.classes, ground.soil, outside,
                                      around.slope)
        found.append(replace(timed(around, reaches, how.timing, how.peak_factor),
                             rational_c=coefficient))
        ways.append(way)
    return found, ways


def _delivered(run_on: RunOn, grounds: list[Catchment]) -> list[Catchment]:
    """Each piece of ground with what arrives of its runoff where some is lost on the way."""
    def made(depth: float) -> NDArray[np.float64]:
        return np.array([ground.runoff(depth) for ground in grounds])

    def made_beyond(depth: float) -> NDArray[np.float64]:
        return np.array([ground.run_on(depth) for ground in grounds])

    return [replace(ground, delivery=delivery) for ground, delivery in
            zip(grounds, run_on.deliveries(made, made_beyond), strict=True)]


def _marks(site: Site, terrain: Terrain, placed: list[Placed], notes: list[str],
           overlaps: dict[int, list[int]]) -> NDArray[np.int32]:
    marks = np.zeros(terrain.dem.shape, np.int32)
    for index, place in enumerate(placed):
        if not len(place.cells):
            continue
        rows, columns = place.cells[:, 0], place.cells[:, 1]
        taken = marks[rows, columns]
        if (taken > 0).all():
            other = placed[int(taken[0]) - 1]
            where = site.where_work(place.work.name)
            if overlap(place, other) > SLIVER:
                raise InputError(where, f"\"{place.name}\" lies wholly on \"{other.name}\"",
                                 "Move one of the two")
            raise InputError(where, f"\"{place.name}\" has no cell of the raster to itself: "
                             f"\"{other.name}\" takes them all",
                             "Move the two apart, or use a raster of finer cells")
        for first in sorted(set((taken[taken > 0] - 1).tolist())):
            shared = overlap(place, placed[first])
            if shared <= SLIVER:  # they stand clear and share a cell
                continue
            notes.append(f"\"{place.name}\" and \"{placed[first].name}\" overlap by "
                         f"{in_both(shared, 'area')}; the shared ground was counted to "
                         f"\"{placed[first].name}\".")
            overlaps.setdefault(index, []).append(first)
            overlaps.setdefault(first, []).append(index)
        marks[rows[taken == 0], columns[taken == 0]] = index + 1
    return marks


def tanked_roofs(site: Site, ground: Ground) -> dict[str, list[Roof]]:
    """The roofs that feed each tank, or the tank that it is joined with, by its name.

    Raises
    ------
    InputError
        If a roof is not there, feeds two tanks or lies outside the boundary.
    """
    by_name = {roof.name: roof for roof in ground.roofs}
    taken: dict[str, str] = {}
    found: dict[str, list[Roof]] = {}
    for work in site.works:
        if not isinstance(work, asked.Tank):
            continue
        for name in work.roofs:
            where = site.where_work(work.name, "roofs")
            if name not in by_name:
                there = ", ".join(sorted(by_name)) or "none"
                raise InputError(where, f"there is no roof \"{name}\" (there are: {there})",
                                 "Correct the name or add the roof to the layer")
            if name in taken:
                raise InputError(where, f"the roof \"{name}\" feeds \"{taken[name]}\" already",
                                 "Let each roof feed one tank; join tanks by their spills")
            if not ground.boundary.intersects(by_name[name].outline):
                raise InputError(where, f"the roof \"{name}\" lies outside the boundary",
                                 "Check the layer, or leave it out")
            taken[name] = work.name
            found.setdefault(leader_of(site, work.name), []).append(by_name[name])
    return found


def _store(site: Site, place: Placed, ground: Ground, rules: Rulebook) -> Store:
    rate, source, suction = 0.0, "a closed tank", 0.0
    if place.kind == "drain":
        source = "a drain: what soaks in on its way is left out"
    elif place.kind != "tank":
        work, texture = place.work, place.work.texture
        seepage = getattr(work, "seepage", None)
        try:
            rate, source, _ = rate_of(work.infiltration, texture,
                                      ground.soil_group_of(place.cells))
            if seepage is not None:
                rate, source = seepage / 24, "the seepage in the site file"
            if texture is not None:
                suction = texture_named(texture).suction_deficit(SATURATION)
        except ValueError as error:
            raise InputError(site.where_work(work.name, "texture"), str(error),
                             "Use one of them, or a rate from a hole test (infiltration:)"
                             ) from None
    uses = uses_of(site, place.work) if isinstance(place.work, asked.DRAWN_FROM) else ()
    top_up = top_up_of(site, place.work) if place.kind == "tank" else None
    demand = getattr(place.work, "demand", 0.0) or sum(use.mean_day for use in uses)
    return Store(place.name, place.kind, place.curve, first_sill(place, rules), place.x, place.y,
                 place.spill_x, place.spill_y, rate, source, demand, place.kind != "tank",
                 suction=suction, uses=uses, top_up=top_up)


def out_level(terrain: Terrain, place: Placed) -> float:
    """Level from which a store's spill is led: its sill; of a tank the overflow where a pipe or a
    pump's line carries it, else the ground that it falls on. [m]"""
    if place.kind != "tank":
        return place.sill_level
    if place.work.pipe is not None or place.work.pump:
        return in_level(terrain, place)
    return float(terrain.dem.height_at(place.x, place.y))


def in_level(terrain: Terrain, place: Placed) -> float:
    """Level at which a full store takes water: its sill, or the top of a tank. [m]"""
    if place.kind != "tank":
        return place.sill_level
    return float(terrain.dem.height_at(place.x, place.y)) + place.sill_level


def heights_assumed(placed: list[Placed]) -> list[str]:
    """A note about tanks whose height nobody states; none where all are stated."""
    taken = [f"\"{place.name}\"" for place in placed
             if place.kind == "tank" and place.work.height is None]
    if not taken:
        return []
    return [f"Nobody says how high {', '.join(taken)} {'is' if len(taken) == 1 else 'are'}: the "
            f"overflow is taken {in_both(TANK_HEIGHT, 'length')} above the ground, which counts "
            "where water goes in, where a pipe leads the overflow on and where a pump lifts it; "
            f"state it (height: {'7 ft' if first_system() == 'us' else '2.2 m'})."]


def _refuse_uphill(site: Site, terrain: Terrain, place: Placed, to: Placed, rules: Rulebook
                   ) -> None:
    """No water is given to a store that stands above the one it comes from."""
    out, into = out_level(terrain, place), in_level(terrain, to)
    if place.work.pump:
        return
    helps = "Choose a lower work, or state a pump (pump: true)"
    if place.kind == "tank" and place.work.pipe is None:
        helps = ("Choose a lower work, lead its overflow there in a pipe (pipe:), which starts at "
                 "the tank's top, or state a pump (pump: true)")
    if into > out + (rules["level tolerance"] if to.drain is None else 0.0):
        raise InputError(site.where_work(place.work.name, "spills to"),
                         f"\"{to.name}\" takes water at "
                         f"{either(f'{into:.2f} m', into, 'level')}, above the "
                         f"{either(f'{out:.2f} m', out, 'level')} at which "
                         f"\"{place.name}\" lets it go, and no pump is named",
                         helps)


def _rise(terrain: Terrain, place: Placed, path: NDArray[np.float64], to: Placed | None
          ) -> float | None:
    """Height that a pump lifts a work's spill by; None without a pump. [m]"""
    if not place.work.pump or (to is not None and to.work.name == place.work.name):
        return None
    ends = []
    if place.work.pipe is not None:
        x, y = path[len(place.work.pipe) - 1]
        ends.append(float(terrain.dem.height_at(x, y)))
    if place.work.spills_to is not None and to is not None:
        ends.append(in_level(terrain, to))
    return max(ends) - out_level(terrain, place) if ends else None


def _spill(site: Site, terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
           placed: list[Placed], rules: Rulebook
           ) -> tuple[int | None, NDArray[np.float64], str, int]:
    """Where a store's spill goes, the way it takes, what leads it and how many points of that."""
    dem = terrain.dem
    x, y = place.spill_x, place.spill_y
    lead = [(x, y)]
    if place.drain is not None and place.drain.to:
        leads_to = next(i for i, other in enumerate(placed) if other.name == place.drain.to)
        return leads_to, np.asarray(lead), "drain", 1
    lower = _next_bowl(place, placed, rules)
    if lower is not None:
        to = placed[lower]
        path = furrow_line((x, y), (to.x, to.y), place.outline, to.outline)
        return lower, path, "furrow", len(path)
    led = "" if place.work.pipe is None else "pump" if place.work.pump else "pipe"
    if place.work.pipe is not None:
        where = site.where_work(place.work.name, "pipe")
        lead = Places(site, terrain).points(place.work.pipe, where)
        x, y = lead[-1]
        end_level = float(dem.height_at(x, y))
        uphill = end_level > out_level(terrain, place) + rules["level tolerance"]
        if uphill and not place.work.pump:
            out = out_level(terrain, place)
            raise InputError(where, "the pipe's end stands at "
                             f"{either(f'{end_level:.2f} m', end_level, 'level')}, above the "
                             f"{either(f'{out:.2f} m', out, 'level')} that water comes out at, "
                             "and no pump is named", "End it lower, or state a pump (pump: true)")
    if place.work.spills_to is not None:
        target = _named_target(site, place, placed)
        if target is None:
            return None, np.asarray(lead), led or "word", len(lead)
        to = placed[target]
        _refuse_uphill(site, terrain, place, to, rules)
        if led:
            return target, np.asarray(lead), led, len(lead)
        end = _entry(to, x, y, out_level(terrain, place))
        if place.work.pump or "tank" in (place.kind, to.kind):
            return target, np.asarray([*lead, end]), "pump" if place.work.pump else "pipe", 2
        path = furrow_line((x, y), end, place.outline, to.outline)
        return target, path, "furrow", len(path)
    dem.cell_of(x, y, site.where_work(place.work.name))
    if not led and place.basin is not None and place.basin.has_wall:
        way = _from_spillway(terrain, place, index, marks, rules)
        if way is not None:
            return *way, "", 0
    found, path = _overland(terrain, place, index, marks, lead)
    return found, path, led, len(lead) if led else 0


def _furrow(terrain: Terrain, place: Placed, to: Placed, path: NDArray[np.float64],
            rules: Rulebook) -> Furrow | None:
    """The furrow that leads a spill along its way."""
    rim = in_level(terrain, to)
    if to.drain is not None:
        station = float(to.outline.project(Point(path[-1])))
        rim = to.drain.start_level - to.drain.grade * station
    return furrow(path, terrain.dem.height_at, out_level(terrain, place), rim,
                  rules["furrow width"], rules["furrow depth"], rules["furrow fall"])


def _overland(terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
              lead: Sequence[tuple[float, float]]) -> tuple[int | None, NDArray[np.float64]]:
    """Who takes a spill from the end of a line on, down the ground, and its way."""
    dem = terrain.dem
    row, column = (int(v) for v in dem.row_column(*lead[-1]))
    # From a pipe's end or a tank the very first cell may be another store's already.
    here = int(marks[row, column])
    if here > 0 and here != index + 1:
        return here - 1, np.asarray(lead)
    path = terrain.path(row, column, (marks > 0) & (marks != index + 1))
    met = int(marks[path[-1][0], path[-1][1]])
    own = np.flatnonzero(marks[path[:, 0], path[:, 1]] == index + 1)
    if own.size and len(lead) == 1:
        path = path[own[-1]:]
    way = np.stack(dem.xy(path[:, 0], path[:, 1]), 1)
    way = np.concatenate([np.asarray(lead), way])
    return (met - 1 if met > 0 and met != index + 1 else None), way


def _from_spillway(terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
                   rules: Rulebook) -> tuple[int | None, NDArray[np.float64]] | None:
    """Who takes what a wall's spillway lets go, and its way from there; None where that lies off
    the known ground, or the way down runs into its own pool."""
    dem = terrain.dem
    assert place.basin is not None  # asked for walls alone
    x, y = spillway_outlet(dem, replace(place.basin, sill=first_sill(place, rules)))
    if not np.isfinite(float(dem.height_at(x, y))):
        return None
    row, column = (int(v) for v in dem.row_column(x, y))
    if marks[row, column] == index + 1:
        return None
    found, path = _overland(terrain, place, index, marks, [(x, y)])
    rows, columns = dem.row_column(path[1:, 0], path[1:, 1])
    if (marks[rows, columns] == index + 1).any():
        return None
    return found, path


def _entry(to: Placed, x: float, y: float, out: float) -> tuple[float, float]:
    """Where water from a place joins a store: a drain as near by as it lies low enough."""
    if to.drain is None:
        return to.x, to.y
    low = to.drain.stations[to.drain.start_level - to.drain.grade * to.drain.stations <= out]
    points = [to.outline.interpolate(station) for station in (*low, to.drain.length)]
    near = min(points, key=lambda p: float(np.hypot(p.x - x, p.y - y)))
    return float(near.x), float(near.y)


def _next_bowl(place: Placed, placed: list[Placed], rules: Rulebook) -> int | None:
    """In a group of tree basins each passes its spill to the next one listed, unless that
    stands higher by more than the level tolerance."""
    if place.kind != "tree basin":
        return None
    group = [i for i, other in enumerate(placed) if other.work.name == place.work.name]
    position = next(n for n, i in enumerate(group) if placed[i].name == place.name)
    if position + 1 == len(group):
        return None
    rise = placed[group[position + 1]].sill_level - place.sill_level
    return group[position + 1] if rise <= rules["level tolerance"] else None


def _named_target(site: Site, place: Placed, placed: list[Placed]) -> int | None:
    name = place.work.spills_to
    if name == OFF_SITE:
        return None
    name = leader_of(site, name)
    here = [i for i, other in enumerate(placed) if other.work.name == name or other.name == name]
    where = site.where_work(place.work.name, "spills to")
    if not here:
        there = ", ".join(f'"{work.name}"' for work in site.works)
        raise InputError(where, f"there is no work \"{name}\" (there are: {there})",
                         f"Name one of them, or write: {OFF_SITE}")
    if placed[here[0]].work.name == place.work.name:
        raise InputError(where, f"\"{place.name}\" spills to itself", "Name another work")
    return here[0]  # of a group of tree basins the first takes the water


def _order(site: Site, placed: list[Placed], nodes: list[Node]) -> list[int]:
    feeds: dict[int, set[int]] = {i: set() for i in range(len(nodes))}
    for i, node in enumerate(nodes):
        for to in (*node.takers, *node.grey_to):
            if to is not None:
                feeds[to].add(i)
    try:
        return list(TopologicalSorter({i: sorted(f) for i, f in feeds.items()}).static_order())
    except CycleError as error:
        indices: list[int] = error.args[1]  # each spills to the next, the last is the first
        ring = [nodes[i] for i in indices]
        grey = any(to is not None for node in ring for to in node.grey_to)
        led = [_led_by(placed[i], nodes[i], to) for i, to in itertools.pairwise(indices)]
        stated = next(((i, field) for i, field in zip(indices, led, strict=False) if field),
                      (indices[0], None))
        where = site.where_work(placed[stated[0]].work.name, stated[1])
        file = f"{site.path} "
        made = "; ".join(
            site.where_work(placed[i].work.name, field).removeprefix(file)
            + ("" if field else ", over the ground")
            for i, field in zip(indices, led, strict=False))
        raise InputError(where, f"spills {'and grey water ' if grey else ''}run in a "
                         "circle: " + " to ".join(f"\"{node.store.name}\"" for node in ring),
            f"They are led so by {made}. Break it with a `spills to` or a pipe of one of them" + (
                ", or lead the drain elsewhere"
                if any(node.store.kind == "drain" for node in ring) else "") + (
                "; of a tank that is filled from a pond and would give back to it, pipe the "
                "overflow to another work, below the pond, or off the site"
                if any(node.store.kind == "tank" for node in ring) else "")) from None


def _led_by(place: Placed, node: Node, to: int) -> str | None:
    """The field that leads a work's water to a node; None where the ground does."""
    if to in node.grey_to:
        return "uses"
    if place.drain is not None:
        return "to"
    if to == node.spills_to and place.work.spills_to is not None:
        return "spills to"
    return "pipe" if to == node.spills_to and place.work.pipe is not None else None
