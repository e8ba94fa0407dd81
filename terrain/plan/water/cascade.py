"""The cascade: catchments and stores of a site, joined by their spills."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from graphlib import CycleError, TopologicalSorter
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.site import Site
from terrain.plan.siting.hydrology import Hydrology
from terrain.plan.siting.layout import Placed, first_sill
from terrain.plan.siting.tank_works import (
    grey_target,
    leader_of,
    refuse_unsourced,
    roof_of,
    top_up_of,
    uses_of,
)
from terrain.plan.water.spills import spill_of
from terrain.plan.water.store_ground import ground_of_stores, mark_cells
from terrain.runoff.catchment import Catchment
from terrain.runoff.curve_number import Condition
from terrain.runoff.green_ampt import texture_named
from terrain.runoff.ground import Ground, Roof
from terrain.runoff.infiltration import rate_of
from terrain.surface.terrain import Terrain
from terrain.works.furrow import Furrow
from terrain.works.roof import RoofCatchment
from terrain.works.rules import Rulebook
from terrain.works.store import Store

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

    def above(self, indices: Iterable[int]) -> tuple[Cascade, dict[int, int]]:
        """Some nodes with all whose spills come to them, and their places in that network.

        What comes to them, and what becomes of it, is the same there to the last bit.
        """
        kept = sorted(frozenset().union(*(self.upstream_of(i) for i in indices)))
        place = {old: new for new, old in enumerate(kept)}

        def led(to: int | None) -> int | None:
            return None if to is None else place.get(to)

        nodes = [replace(node, spills_to=led(node.spills_to), over_to=led(node.over_to),
                         grey_to=tuple(led(to) for to in node.grey_to))
                 for node in (self.nodes[i] for i in kept)]
        order = [place[i] for i in self.order if i in place]
        return replace(self, nodes=nodes, order=order), place

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
    notes: list[str] = []
    overlaps: dict[int, list[int]] = {}
    marks = mark_cells(site, terrain, placed, notes, overlaps)
    tanked = tanked_roofs(site, ground)
    dry = np.zeros(terrain.dem.shape, bool)
    for roofs in tanked.values():
        for roof in roofs:
            dry |= roof.cells
    about = ground_of_stores(terrain, ground, marks, dry, placed, hydrology)
    nodes = []
    for index, place in enumerate(placed):
        fed = (roof_of(place.work, tanked.get(place.name, []), rules) if place.kind == "tank" else
               RoofCatchment(0.0, 0.0))
        spill = spill_of(site, terrain, place, index, marks, placed, rules)
        nodes.append(Node(_store(site, place, ground, rules), about.catchments[index], fed,
                          spill.to, spill.path, spill.led, about.ways[index], spill.led_points,
                          spill.furrow, spill.rise, lifts=spill.lifts, over_to=spill.over_to,
                          over_path=spill.over_path))
    nodes = _with_grey_water(site, placed, nodes)
    return Cascade(nodes, _order(site, placed, nodes), about.open_ground, about.labels,
                   tuple(notes), overlaps)


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
