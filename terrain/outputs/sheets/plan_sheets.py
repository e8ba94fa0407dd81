"""The sheets of a plan: one for every work that is dug, from the top of the land down."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.map_features import spill_parts
from terrain.outputs.sheets.basin_sheet import basin_sheet
from terrain.outputs.sheets.drain_sheet import drain_sheet
from terrain.outputs.sheets.sheet import Sheet
from terrain.outputs.sheets.subject import Subject
from terrain.outputs.sheets.surroundings import draw_surroundings
from terrain.outputs.sheets.swale_sheet import swale_sheet
from terrain.outputs.sheets.tree_sheet import tree_sheet
from terrain.plan.earth.earthworks import earth_rows
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.safety.alike import skeleton, told_as_one
from terrain.plan.safety.gravity import by_gravity
from terrain.plan.safety.raster_edge import bound_of
from terrain.plan.siting.layout import Placed
from terrain.units import shown

FloatArray = NDArray[np.float64]

#: Kinds of work that are dug.
DUG = ("swale", "basin", "tree basin", "drain")
#: Rows of a work's earth that only say what others are made of: they stand among the quantities;
#: but of a berm, that topsoil makes part of, on its sheet too.
PARTS_OF_EARTH = ("of it subsoil", "of it topsoil to spare", "made of")


@dataclass(frozen=True)
class Entry:
    """A work of the site file that is dug: its name, and the stores that it makes."""

    name: str
    members: tuple[int, ...]


def dug_works(plan: Plan) -> list[Entry]:
    """The works that get a sheet, from the top of the land down."""
    together: dict[str, list[int]] = {}
    for index, planned in enumerate(plan.stores):
        if planned.placed.kind in DUG:
            together.setdefault(planned.placed.work.name, []).append(index)
    entries = [Entry(name, tuple(members)) for name, members in together.items()]
    return sorted(entries, key=lambda e: -max(plan.stores[i].store.sill.level for i in e.members))


@sy.styled
def draw_sheet(plan: Plan, entry: Entry) -> Figure:
    """Draw the sheet of a work by itself. A4, landscape."""
    return draw_subject_sheet(plan, entry, subject_of(plan, entry))


def draw_subject_sheet(plan: Plan, entry: Entry, subject: Subject) -> Figure:
    """Draw the sheet of a work, of which so much is said; on the paper of its title block."""
    planned = plan.stores[entry.members[0]]
    if planned.swale is not None:
        return swale_sheet(subject, planned.swale, planned.store.capacity)
    if planned.basin is not None:
        return basin_sheet(subject, planned.basin, planned.store.capacity)
    if planned.drain is not None:
        return drain_sheet(subject, planned.drain)
    trees = [plan.stores[i].placed.tree for i in entry.members]
    return tree_sheet(subject, [tree for tree in trees if tree is not None],
                      [plan.cascade.nodes[i].catchment.area for i in entry.members],
                      [plan.stores[i].over_sill for i in entry.members],
                      plan.inputs.rules)


def subject_of(plan: Plan, entry: Entry) -> Subject:
    """What the sheet of a work says of it."""
    stores = [plan.stores[i] for i in entry.members]
    nodes = [plan.cascade.nodes[i] for i in entry.members]
    ways: list[tuple[FloatArray, str]] = []
    for index, planned, node in zip(entry.members, stores, nodes, strict=True):
        if planned.drain is None:  # from tree to tree first: what leads on is lettered
            found = _ways(plan, index)
            ways = [*found, *ways] if node.spills_to in entry.members else [*ways, *found]
    goes_to = dict.fromkeys(planned.spills_to for planned, node in zip(stores, nodes, strict=True)
                            if node.spills_to not in entry.members)
    return Subject(
        entry.name, plan.terrain, plan.site.units,
        np.isin(plan.cascade.labels, np.array(entry.members) + 1),
        sum(node.catchment.area for node in nodes),
        bound_of(node.catchment for node in nodes),
        ways=tuple(ways), leads_to=" and ".join(goes_to), earth=_earth(plan, entry.name),
        cautions=cautions_of(stores), benchmark=_benchmark(plan),
        told_in="in the report, under Cautions", kind=stores[0].placed.kind.capitalize(),
        around=_around(plan, entry))


def cautions_of(stores: Sequence[PlannedStore]) -> list[str]:
    """Cautions of a work, the gravest first; those of several trees that differ in their figures
    alone are told as one, and each says which trees it is of."""
    alike: dict[str, list[tuple[int, str]]] = {}
    for number, planned in enumerate(stores, 1):
        for said in planned.cautions:
            alike.setdefault(skeleton(said), []).append((number, said))
    told = {told_as_one([said for _, said in whose]): list(dict.fromkeys(
        number for number, _ in whose)) for whose in alike.values()}
    return [said if len(told[said]) == len(stores) else f"{_trees(told[said])}: {said}"
            for said in by_gravity(told)]


def _trees(numbers: Sequence[int]) -> str:
    """Trees by number: `Tree 3`, `Trees 1 to 4`, `Trees 1, 4`."""
    if len(numbers) == 1:
        return f"Tree {numbers[0]}"
    if len(numbers) > 2 and list(numbers) == list(range(numbers[0], numbers[-1] + 1)):
        return f"Trees {numbers[0]} to {numbers[-1]}"
    return "Trees " + ", ".join(str(number) for number in numbers)


def _benchmark(plan: Plan) -> str:
    """Where the site's benchmark is, and its level."""
    mark, source = plan.site.benchmark, plan.inputs.dem.frame.source
    if mark is None:
        return ""
    lonlat = plan.site.points == "lonlat" or (source is not None and source.is_geographic)
    x, y = mark.at
    places = 6 if lonlat else 1
    return (f"Benchmark {shown(mark.level, 'level', plan.site.units)} at "
            f"{x:.{places}f}, {y:.{places}f}.")


def _ways(plan: Plan, index: int) -> list[tuple[FloatArray, str]]:
    """The way of a store's spill: the part that is led, and that over the ground."""
    placed, node = plan.stores[index].placed, plan.cascade.nodes[index]
    led, over = spill_parts(node)
    found = [(part, told) for part, told in ((led, node.led), (over, ""))
             if part is not None and len(part) > 1]
    if found and not found[0][1]:  # begun at its sill
        start = np.array([[placed.spill_x, placed.spill_y]])
        if 0 < float(np.hypot(*(found[0][0][0] - start[0]))) <= 5 * plan.inputs.dem.cell:
            found[0] = (np.concatenate([start, found[0][0]]), "")
    return found


def _earth(plan: Plan, name: str) -> Callable[[str], list[tuple[str, str]]] | None:
    """Rows of a work's earth, hours and money, as the report counts them."""
    if plan.earth is None:
        return None
    system, rates = plan.site.units, plan.site.money
    made = next((work for work in plan.earth.works if work.name == name), None)
    spread = next((part for part in plan.earth.spreads if part.name == name), None)
    furrows = next((work for work in plan.earth.works if work.leads_from == name), None)
    bill = plan.earth.bills.get(name)

    def some(volume: float) -> bool:
        return shown(abs(volume), "earth", system) != shown(0.0, "earth", system)

    def rows(bank: str) -> list[tuple[str, str]]:
        found = []
        if made is not None:
            found += [(what, shown(volume, "earth", system)) for what, volume
                      in earth_rows(made, spread, bank)
                      if some(volume) and not (what.startswith(PARTS_OF_EARTH) and not (
                          made.topsoil_within and what.startswith("made of")))]
        if furrows is not None and some(furrows.cut):
            count = furrows.name.split(" of ")[0]
            found.append((f"its {count}, dug by hand", shown(furrows.cut, "earth", system)))
        if bill is not None:
            low, high = (f"{hours:,.0f}" if hours >= 9.95 else f"{hours:.1f}"
                         for hours in bill.hours)
            found.append(("machine, set-up included",
                          f"{low} to {high} h" if low != high else f"{low} h"))
            if bill.money is not None and rates is not None:
                found.append(("money", f"{bill.money[0]:,.0f} to {bill.money[1]:,.0f} "
                              f"{rates.currency}".strip()))
        return found
    return rows


def _around(plan: Plan, entry: Entry) -> Callable[[Sheet], Callable[[], None]]:
    """Draws the roads, roofs and other works about a work."""
    others: dict[str, list[Placed]] = {}
    for index, planned in enumerate(plan.stores):
        if index not in entry.members:
            others.setdefault(planned.placed.work.name, []).append(planned.placed)
    furrows = [node.led_way for i, node in enumerate(plan.cascade.nodes)
               if i not in entry.members and node.led == "furrow"]
    return lambda sheet: draw_surroundings(sheet, plan.inputs.ground, list(others.items()),
                                           furrows)


def file_name(number: int, name: str) -> str:
    """Name of a sheet's picture: its place in the order, and the work's name without what a file
    name cannot hold."""
    words = re.sub(r"[^\w]+", "_", name).strip("_")[:40]
    return f"{number:02d}_{words}.png" if words else f"{number:02d}.png"
