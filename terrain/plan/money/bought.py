"""What is bought for each work beside the machine: pipe, tanks, stone, sod, trees, seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString

from terrain.inputs.site_works import Tank
from terrain.plan.earth.cost import Range
from terrain.plan.earth.earthworks import Earthworks
from terrain.plan.earth.work_earth import Dug, bank_surface
from terrain.plan.siting.reading import Inputs
from terrain.works.furrow_flow import lining_sod, lining_stone
from terrain.works.rules import Rulebook
from terrain.works.spillway import spillway


@dataclass(frozen=True)
class OneTank:
    """A tank of an entry: what it holds [m3], its own price if stated, what it is made of."""

    volume: float
    price: Range | None
    made_of: str


@dataclass(frozen=True)
class Bought:
    """What one work of the site file takes beside earth, all its tree basins together.

    Attributes
    ----------
    name, kind : str
    pipe : float
        Along the ground. [m]
    tanks : tuple of OneTank
        It and those joined with it.
    stone : float
        On sills, aprons, and in drains and furrows whose lining is stone. [m3]
    gravel : float
        In trenches. [m3]
    trees : int
    raw : float
        Banks and spread earth, to be seeded or mulched. [m2]
    pump : bool
    sod : float
        In furrows lined with grass. [m2]
    drops : float
        Fall of furrows that is taken in drops over stone, whose stone nobody has reckoned. [m]
    beside : int
        Trees that stand beside a swale or basin; no price of theirs is counted.
    """

    name: str
    kind: str
    pipe: float = 0.0
    tanks: tuple[OneTank, ...] = ()
    stone: float = 0.0
    gravel: float = 0.0
    trees: int = 0
    raw: float = 0.0
    pump: bool = False
    sod: float = 0.0
    drops: float = 0.0
    beside: int = 0


def bought(inputs: Inputs, stores: Sequence[Dug], earth: Earthworks) -> tuple[Bought, ...]:
    """What every work takes that is dug or set up, in the site file's order; natural hollows
    count where they have a pipe or pump.

    Parameters
    ----------
    stores : sequence of Dug
        In the order of the nodes.
    """
    entries: dict[str, list[Dug]] = {}
    for store in stores:
        entries.setdefault(store.placed.work.name, []).append(store)
    tanks = {work.name: work for work in inputs.site.works if isinstance(work, Tank)}
    found = []
    for name, parts in entries.items():
        work, kind = parts[0].placed.work, parts[0].placed.kind
        lines = [part.pipe_line for part in parts if part.pipe_line is not None]
        if kind == "hollow" and not lines:
            continue
        length = sum(float(LineString(line).length) for line in lines)
        own = [tanks[name], *(tanks[joined.name] for joined in parts[0].placed.joined)] \
            if kind == "tank" else []
        spread = sum(part.area for part in earth.spreads if part.name == name)
        found.append(Bought(
            name, kind, length,
            tuple(OneTank(one.volume, one.price, one.made_of) for one in own),
            sum(stone_of(part, inputs.rules) for part in parts),
            sum(_gravel(part) for part in parts),
            sum(part.placed.tree is not None for part in parts),
            spread + sum(bank_surface(part, inputs.rules) for part in parts), bool(work.pump),
            beside=sum(part.placed.stand.count for part in parts
                       if part.placed.stand is not None)))
    return (*found, *(_furrows(work.name, work.kind, entries[work.leads_from], inputs.rules)
                      for work in earth.works if work.leads_from))


def _furrows(name: str, kind: str, parts: Sequence[Dug], rules: Rulebook) -> Bought:
    """What the furrows that lead the spills of an entry take, dug and lined as the order of work
    tells."""
    led = [(part.furrow, part.furrow_runs) for part in parts
           if part.furrow is not None and part.furrow_runs is not None]
    return Bought(
        name, kind, stone=sum(lining_stone(made, runs, rules["stone thickness"])
                              for made, runs in led),
        sod=sum(lining_sod(made, runs) for made, runs in led),
        drops=sum(runs.drops or 0.0 for _, runs in led if runs.way == "drops"))


def stone_of(work: Dug, rules: Rulebook) -> float:
    """Stone on a work's sill and apron, or in a drain lined with it; 0 where it needs none. [m3]

    The sill's length times the rules' `stone along the flow`, or a drain's wetted face, times
    `stone thickness`: common practice, no source.  Whether a sill needs stone is what
    `terrain.works.spillway` says of the water on it.
    """
    thick = rules["stone thickness"]
    if work.drain is not None:
        if getattr(work.placed.work, "lining", "bare") != "stone":
            return 0.0
        section = work.drain.section
        face = section.width + 2 * float(np.hypot(1.0, section.side_slope)) * section.depth
        return face * work.drain.route.length * thick
    if work.swale is None and work.basin is None:
        return 0.0
    sill = work.store.sill
    if spillway(sill, None, rules).lining != "stone":
        return 0.0
    return sill.length * rules["stone along the flow"] * thick


def _gravel(work: Dug) -> float:
    tree = work.placed.tree
    if tree is None or tree.porosity >= 1:
        return 0.0
    return work.store.capacity / tree.porosity
