"""What the drawing of the cascade shows: stores, or groups of them, with their flows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from graphlib import CycleError, TopologicalSorter

from terrain.outputs.drawing import symbols as sy
from terrain.plan.planned import Plan
from terrain.plan.water.accounts import Account
from terrain.plan.water.cascade import Node
from terrain.units import ground_unit, shown


@dataclass(frozen=True)
class Box:
    """A store, or the tree basins of one entry together.

    Attributes
    ----------
    name, kind : str
    source : str
        Its own ground or roofs in words; "" where it has none.
    roofed : bool
        Whether those are roofs.
    gives, caught, spilled : float
        What its own ground or roofs give, what it keeps and spills. [m3]
    to : int or None
        The box that takes its spill; None where that leaves the site.
    above, grey, brought : float
        What comes to it beside its own: the spill of other boxes, grey water, and what tankers
        bring.  With `gives` they are as much as `caught` and `spilled`. [m3]
    pumped : bool
        Whether a pump lifts its spill.
    over : float
        The part of its spill that the pump cannot lift. [m3]
    over_to : str
        Who takes that.
    """

    name: str
    kind: str
    source: str
    roofed: bool
    gives: float
    caught: float
    spilled: float
    to: int | None
    above: float = 0.0
    grey: float = 0.0
    brought: float = 0.0
    pumped: bool = False
    over: float = 0.0
    over_to: str = ""

    @property
    def sent(self) -> float:
        """What goes on to `to`. [m3]"""
        return self.spilled - self.over


@dataclass(frozen=True)
class Flows:
    """All that one drawing shows.

    Attributes
    ----------
    title : str
    boxes : tuple of Box
    open_words : str
        The open ground in words.
    open_runoff : float
        What runs off it and meets no store. [m3]
    account : str
        Where all the water went, in a sentence.
    """

    title: str
    boxes: tuple[Box, ...]
    open_words: str
    open_runoff: float
    account: str


def flows_of(plan: Plan, title: str, account: Account) -> Flows:
    """The flows of a storm or a year."""
    system = plan.site.units
    nodes = plan.cascade.nodes
    groups = grouped([p.placed.work.name if p.placed.kind == "tree basin" else None
                      for p in plan.stores], nodes)
    at = {index: number for number, group in enumerate(groups) for index in group}
    boxes = []
    for group in groups:
        last = [nodes[i].spills_to for i in group]
        out = [i for i, to in zip(group, last, strict=True) if to is None or to not in group]
        # Of a group only the spills that leave it count; where they part, the largest leads.
        lead = max(out, key=lambda i: account.entries[i].spilled)
        area = sum(nodes[i].catchment.area for i in group)
        roof = sum(nodes[i].roof.area for i in group)
        entries = [account.entries[i] for i in group]
        kind = plan.stores[group[0]].placed.kind
        name = (plan.stores[group[0]].store.name if len(group) == 1 else
                f"{plan.stores[group[0]].placed.work.name} ({len(group)})")
        to, over_to = nodes[lead].spills_to, nodes[lead].over_to
        within = sum(volume for i in group for taker, volume in nodes[i].given(
            account.entries[i].spilled, account.entries[i].over) if taker in group)
        source = (f"roofs {sy.brief(roof, 'area', system)}" if roof and not area else
                  f"ground {_land(area, system)}" if area else "")
        boxes.append(Box(name, kind, source, bool(roof and not area),
                         sum(e.runoff + e.roof for e in entries), sum(e.caught for e in entries),
                         sum(account.entries[i].spilled for i in out),
                         None if to is None else at[to],
                         max(sum(e.from_above for e in entries) - within, 0.0),
                         sum(e.grey for e in entries), sum(e.brought for e in entries),
                         nodes[lead].rise is not None,
                         sum(account.entries[i].over for i in out
                             if nodes[i].lifts is not None),
                         "off the site" if over_to is None else
                         f"to {plan.stores[over_to].store.name}"))
    spilled = sum(account.entries[i].spilled for i, node in enumerate(nodes)
                  if node.spills_to is None)
    volume = partial(shown, dimension="volume", system=system)
    said = (f"{volume(account.rain)} of rain on the property and {volume(account.run_on)} of "
            f"run-on: {volume(account.soaked_in_place)} soak in where they fall, "
            f"{volume(account.passive)} are kept in the ground works"
            + (f" ({volume(account.led)} of it led into tanks)" if account.led > 0 else "")
            + f" and {volume(account.roof)} in tanks, {volume(account.left_site)} leave the site. "
            "Left: the open ground, whose runoff meets no store.")
    return Flows(title, tuple(boxes), f"open {_land(plan.cascade.open_ground.area, system)}",
                 account.left_site - spilled, said)


def grouped(entries: Sequence[str | None], nodes: Sequence[Node]) -> list[list[int]]:
    """Indices of nodes by box: those of one entry together, unless boxes would then run in a ring
    or a group spill to two places.

    Parameters
    ----------
    entries : sequence of str or None
        The entry that each node may be drawn together with; None for one that stands alone.
    """
    alone: set[str] = set()
    while True:
        groups: dict[object, list[int]] = {}
        for index, entry in enumerate(entries):
            groups.setdefault(index if entry is None or entry in alone else entry,
                              []).append(index)
        at = {index: key for key, group in groups.items() for index in group}
        leads: dict[object, set[object]] = {key: set() for key in groups}
        for index, node in enumerate(nodes):
            to = None if node.spills_to is None else at[node.spills_to]
            if to != at[index]:
                leads[at[index]].add(to)
        parts = {key for key, goals in leads.items() if isinstance(key, str) and len(goals) > 1}
        try:
            TopologicalSorter({key: goals - {None} for key, goals in leads.items()}).prepare()
        except CycleError as error:
            parts |= {key for key in error.args[1] if isinstance(key, str)}
        if not parts:
            return list(groups.values())
        alone |= {str(key) for key in parts}


def _land(area: float, system: str) -> str:
    """An area in the unit that suits it."""
    if ground_unit(area, system) == "area":
        return sy.brief(area, "area", system)
    return shown(area, "land", system, 1 if area >= 40_000 else 2)
