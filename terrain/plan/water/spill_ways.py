"""Where every spill goes: its way followed step by step, and what it meets on it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, line_locate_point
from shapely.ops import nearest_points

from terrain.inputs.dem import Dem
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.routing import StormRun
from terrain.surface.depressions import Hollow
from terrain.surface.flow_lines import flow_line
from terrain.units import in_both, ordered

FloatArray = NDArray[np.float64]
_WINDS = ("east", "north-east", "north", "north-west", "west", "south-west", "south",
          "south-east")
#: Pieces of a way on one road that lie closer than this are one crossing. [m]
ONE_CROSSING = 2.0


@dataclass(frozen=True)
class Step:
    """Something that a spill meets on its way.

    Attributes
    ----------
    kind : str
        "pipe", "pump", "furrow" or "drain": led by it from here on; "road" or "culvert": crosses
        a road on its surface or under it; "roof": comes closest to one within the setback;
        "hollow": a dead end until it is full; "leaves" and "returns": crosses the property line;
        "edge": the end of the known ground; "word": led off the site by the owner's word;
        "joins": another store.
    at : float
        Along the way, from the sill or overflow on. [m]
    x, y : float
        [m, working frame]
    name : str
        Of the road, roof, culvert or store; of a crossing of the property line the side it faces.
    size : float or None
        Length led or crossed, gap to the roof or height pumped [m]; what the hollow holds before
        water runs on [m3].
    pool : int or None
        Of a hollow: the same for every way that runs into it.
    """

    kind: str
    at: float
    x: float
    y: float
    name: str = ""
    size: float | None = None
    pool: int | None = None


@dataclass(frozen=True)
class SpillWay:
    """The way of one store's spill.

    Attributes
    ----------
    name : str
        Of the store.
    length : float
        To the store that takes it, to where it leaves the property for good, or to the end of
        the known ground. [m]
    steps : tuple of Step
        In order.
    then : tuple of str
        The stores that take it in turn, as each is full.
    leaves : bool
        Whether the last of them, or the spill itself, leaves the site.
    without_pump : SpillWay or None
        Of a pumped store: the way over the ground of what the pump cannot lift, or of all of its
        spill while the pump stands still.
    """

    name: str
    length: float
    steps: tuple[Step, ...]
    then: tuple[str, ...]
    leaves: bool
    without_pump: SpillWay | None = None


@dataclass(frozen=True)
class _Piece:
    """A piece of a way; `cells` where it runs over the ground from cell to cell."""

    mode: str
    line: FloatArray
    cells: NDArray[np.int64] | None = None


def spill_ways(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed]
               ) -> tuple[SpillWay, ...]:
    """Follow the spill of every store, in the order of the cascade's nodes.

    Notes
    -----
    Over the ground it goes by steepest descent, as all water does here; its length is that of the
    way without the zigzag of cells.  Water is led on through hollows as if they were full: one
    that holds more than the rule "hollow noted" is told as a dead end.
    """
    hollows = _free_hollows(inputs, placed)
    ways = []
    for node, place in zip(cascade.nodes, placed, strict=True):
        way = _followed(inputs, cascade, node, place, hollows)
        if node.rise is not None:
            still = replace(node, spills_to=node.over_to, spill_path=node.over_path, led="",
                            led_points=0, rise=None, lifts=None)
            bare = place.work.model_copy(update={"pump": None, "pipe": None, "spills_to": None})
            failed = _followed(inputs, cascade, still, replace(place, work=bare), hollows)
            way = replace(way, without_pump=failed)
        ways.append(way)
    return tuple(ways)


def _free_hollows(inputs: Inputs, placed: Sequence[Placed]) -> dict[int, Hollow]:
    """Hollows worth a word that are no work's, by their pools."""
    terrain, taken = inputs.terrain, np.zeros(inputs.dem.shape, bool)
    for place in placed:
        taken[place.cells[:, 0], place.cells[:, 1]] = True
    pool, bowl = terrain.drainage.pool, terrain.drainage.bowl
    return {int(pool[bowl[h.row, h.column]]): h for h in terrain.hollows
            if h.volume > inputs.rules["hollow noted"] and not taken[h.row, h.column]}


def _followed(inputs: Inputs, cascade: Cascade, node: Node, place: Placed,
              hollows: dict[int, Hollow]) -> SpillWay:
    steps: list[Step] = []
    gone = 0.0
    end = (place.spill_x, place.spill_y)
    for piece in _pieces(inputs, node, place):
        met, length = _along(inputs, node, piece, hollows)
        steps += [replace(step, at=gone + step.at) for step in met]
        gone += length
        end = (float(piece.line[-1][0]), float(piece.line[-1][1]))
    steps.sort(key=lambda step: step.at)
    then = _below(cascade, node)
    leaves = (cascade.nodes[then[-1]] if then else node).spills_to is None
    if node.spills_to is not None:
        steps.append(Step("joins", gone, *end, cascade.nodes[node.spills_to].store.name))
    elif place.work.spills_to is not None:
        steps.append(Step("word", gone, *end))
    else:
        left = [step for step in steps if step.kind in ("leaves", "returns")]
        if left and left[-1].kind == "leaves":  # what lies beyond is another's
            gone = left[-1].at
            steps = steps[:steps.index(left[-1]) + 1]
        elif inputs.ground.boundary.covers(Point(end)):
            steps.append(Step("edge", gone, *end))
        else:  # it begins beyond the property line
            steps.append(Step("leaves", gone, *end, _side(inputs.ground.boundary, Point(end))))
    return SpillWay(node.store.name, gone, tuple(steps),
                    tuple(cascade.nodes[i].store.name for i in then), leaves)


def _below(cascade: Cascade, node: Node) -> list[int]:
    """The nodes that take a spill in turn."""
    found, to = [], node.spills_to
    while to is not None:
        found.append(to)
        to = cascade.nodes[to].spills_to
    return found


def _pieces(inputs: Inputs, node: Node, place: Placed) -> Iterator[_Piece]:
    """A spill's way in pieces, each with how it is led."""
    path = np.asarray(node.over_way, float)
    if place.drain is not None:
        yield _Piece("drain", np.asarray(place.drain.line, np.float64))
    elif node.led_points > 1:
        yield _Piece(node.led, np.asarray(node.led_way, float))
    if len(path) < 2:
        return
    row, column = inputs.dem.row_column(path[1:, 0], path[1:, 1])
    cells = np.stack([row, column], 1)
    smooth = flow_line(inputs.dem, cells, inputs.terrain.filled).line
    yield _Piece("ground", np.concatenate([path[:1], smooth]), np.concatenate([cells[:1], cells]))


def _along(inputs: Inputs, node: Node, piece: _Piece, hollows: dict[int, Hollow]
           ) -> tuple[list[Step], float]:
    """What a piece of a way meets, distances from its own start; and its length. [m]"""
    line = LineString(piece.line)
    length = float(line.length)
    found = []
    if piece.mode != "ground":
        x, y = (float(v) for v in piece.line[0])
        found.append(Step(piece.mode, 0.0, x, y, "",
                          node.rise if piece.mode == "pump" else length))
    if not length:
        return found, 0.0
    found += list(_property_line(inputs.ground.boundary, line))
    under = piece.mode in ("pipe", "pump")
    found += list(_roads(inputs, piece, line, under))
    if not under:
        found += list(_roofs(inputs, line))
    if piece.cells is not None:
        found += list(_hollows(inputs, piece.cells, piece.line, hollows))
    return found, length


def _at(kind: str, line: LineString, along: float, name: str = "", size: float | None = None
        ) -> Step:
    point = line.interpolate(along)
    return Step(kind, along, float(point.x), float(point.y), name, size)


def _property_line(boundary: Any, line: LineString) -> Iterator[Step]:
    met = line.intersection(boundary.boundary)
    points = [part for part in getattr(met, "geoms", [met]) if not part.is_empty]
    cuts = sorted({round(float(line.project(Point(part.coords[0]))), 6) for part in points})
    edges = [0.0, *[cut for cut in cuts if 0 < cut < line.length], line.length]
    inside = [boundary.covers(line.interpolate((a + b) / 2))
              for a, b in itertools.pairwise(edges)]
    for cut, before, after in zip(edges[1:-1], inside[:-1], inside[1:], strict=True):
        if before != after:
            yield _at("leaves" if before else "returns", line, cut,
                      _side(boundary, line.interpolate(cut)))


def _side(boundary: Any, point: Point) -> str:
    """The side of the property that its line faces beside a point, such as "south-east"."""
    ring = boundary.boundary
    parts = list(getattr(ring, "geoms", [ring]))
    near = min(parts, key=lambda part: part.distance(point))
    along = near.project(point)
    ahead, behind = (near.interpolate((along + d) % near.length) for d in (0.5, -0.5))
    normal = np.array([ahead.y - behind.y, behind.x - ahead.x])
    normal /= max(float(np.hypot(*normal)), 1e-12)
    at = near.interpolate(along)
    if boundary.covers(Point(at.x + 0.1 * normal[0], at.y + 0.1 * normal[1])):
        normal = -normal
    return _WINDS[round(float(np.degrees(np.arctan2(normal[1], normal[0]))) / 45) % 8]


def _roads(inputs: Inputs, piece: _Piece, line: LineString, under: bool) -> Iterator[Step]:
    for road in inputs.ground.roads:
        met = line.intersection(road.surface)
        parts = [p for p in getattr(met, "geoms", [met]) if p.length > 0]
        spans = sorted(_span(line, part) for part in parts)
        merged: list[tuple[float, float]] = []
        for start, end in spans:
            if merged and start - merged[-1][1] < ONE_CROSSING:
                merged[-1] = (merged[-1][0], max(merged[-1][1], end))
            else:
                merged.append((start, end))
        for start, end in merged:
            below = under or _in_culvert(inputs, line, (start + end) / 2)
            yield _at("culvert" if below else "road", line, start, road.name, end - start)


def _span(line: LineString, part: Any) -> tuple[float, float]:
    at = line_locate_point(line, [Point(part.coords[0]), Point(part.coords[-1])])
    return float(at.min()), float(at.max())


def _in_culvert(inputs: Inputs, line: LineString, along: float) -> bool:
    point = line.interpolate(along)
    row, column = inputs.dem.row_column(point.x, point.y)
    return bool(inputs.terrain.in_culverts[int(row), int(column)])


def _roofs(inputs: Inputs, line: LineString) -> Iterator[Step]:
    for roof in inputs.ground.roofs:
        gap = float(line.distance(roof.outline))
        if gap < inputs.rules["building setback"]:
            near, _ = nearest_points(line, roof.outline)
            yield _at("roof", line, float(line.project(near)), roof.name, gap)


def _hollows(inputs: Inputs, cells: NDArray[np.int64], line: FloatArray,
             hollows: dict[int, Hollow]) -> Iterator[Step]:
    """Hollows whose water a way runs into, where it meets that water."""
    drainage, ground = inputs.terrain.drainage, inputs.terrain.ground
    rows, columns = cells[:, 0], cells[:, 1]
    bowl = np.maximum(drainage.bowl[rows, columns], 0)
    pools = np.where(ground[rows, columns] < drainage.spill_level[bowl], drainage.pool[bowl], 0)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    seen = set()
    for i, pool in enumerate(pools.tolist()):
        if pool in hollows and pool not in seen:
            seen.add(pool)
            x, y = (float(v) for v in line[i])
            yield Step("hollow", float(along[i]), x, y, "", hollows[pool].volume, pool)


class Ending(NamedTuple):
    """A spill that comes to hollows: whether these hold it, with all that comes there, and what to
    say: instead of that it leaves where they do, beside that where they do not."""

    held: bool
    said: str


def ends_in_hollows(ways: Sequence[SpillWay], spilled: Sequence[float], dem: Dem
                    ) -> list[Ending | None]:
    """How each spill that leaves stands to the hollows before the line; None without any.

    All spills that run into a hollow fill it together, and what it has no room for runs on to the
    next; so one that would hold each of two spills alone may overflow.

    Parameters
    ----------
    spilled : sequence of float
        By each store along its way, in the design storm. [m3]
    """
    met = [[step for step in way.steps if step.kind == "hollow"] for way in ways]
    comes = _filled(met, spilled)
    said: list[Ending | None] = []
    for way, steps, own in zip(ways, met, spilled, strict=True):
        out = next((step.at for step in way.steps if step.kind in ("leaves", "edge")), np.inf)
        before = [step for step in steps if step.at < out]
        holds = sum(step.size or 0.0 for step in before)
        if not before or own <= 0:
            said.append(None)
            continue
        others = [ways[i].name for i, theirs in enumerate(met)
                  if ways[i] is not way and spilled[i] > 0
                  and {step.pool for step in theirs} & {step.pool for step in before}]
        last = before[-1]
        over = comes[last.pool] - (last.size or 0.0)
        if over > 1e-9 * comes[last.pool]:
            said.append(_overflow(before, own, holds, over, others, dem))
            continue
        first = before[0]
        one = "a hollow" if len(before) == 1 else f"{len(before)} hollows"
        beside = "" if not others else f", with what comes there of {_named(others)}"
        said.append(Ending(
            True, f"Its spill leaves the property only when {one} on its way, the first at "
            f"{dem.named(first.x, first.y)}, {'is' if len(before) == 1 else 'are'} full: "
            f"{in_both(holds, 'volume')} against the {in_both(own, 'volume')} that it spills "
            f"in the design storm{beside}, less what other ground sends there; the accounts count "
            "it as gone. If you know the hollow to be real, name it as a store (kind: hollow, with "
            "its point as at); what you see there decides."))
    return said


def _filled(met: Sequence[Sequence[Step]], spilled: Sequence[float]
            ) -> dict[int | None, float]:
    """What comes to each hollow of all the spills, by its pool. [m3]"""
    room = {step.pool: step.size or 0.0 for steps in met for step in steps}
    follows: dict[int | None, set[int | None]] = {pool: set() for pool in room}
    next_one: dict[int | None, int | None] = {}
    for steps in met:
        for one, then in itertools.pairwise(steps):
            follows[then.pool].add(one.pool)
            next_one[one.pool] = then.pool  # past a hollow water goes one way, whoever sent it
    comes = dict.fromkeys(room, 0.0)
    for steps, volume in zip(met, spilled, strict=True):
        if steps:
            comes[steps[0].pool] += volume
    for pool in TopologicalSorter(follows).static_order():
        if pool in next_one:
            comes[next_one[pool]] += max(comes[pool] - room[pool], 0.0)
    return comes


def _overflow(before: Sequence[Step], own: float, holds: float, over: float,
              others: Sequence[str], dem: Dem) -> Ending | None:
    """What to say where hollows would hold one spill, but not with those of others."""
    if own > holds or not others:
        return None
    first = before[0]
    one = "A hollow" if len(before) == 1 else f"{len(before)} hollows"
    return Ending(False, f"{one} on the way of its spill, the first at "
                  f"{dem.named(first.x, first.y)}, would hold its {in_both(own, 'volume')} of the "
                  f"design storm alone, but {_named(others)} "
                  f"{'spills' if len(others) == 1 else 'spill'} there too: "
                  f"{in_both(over, 'volume')} run on.")


def _named(names: Sequence[str]) -> str:
    quoted = [f"\"{name}\"" for name in names]
    return " and ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else quoted[0]


def pump_notes(cascade: Cascade, placed: Sequence[Placed]) -> list[str]:
    """What the plan takes for granted of its pumps, in whole sentences."""
    said = []
    for node, place in zip(cascade.nodes, placed, strict=True):
        if node.rise is None:
            continue
        height = in_both(abs(node.rise), "size")
        if node.rise <= 0:
            pipe = place.kind == "tank" and place.work.pipe is None  # it starts at the top
            limit = "" if node.lifts is None else (
                f" What comes over its {_pumped(node.lifts)} goes {_over_goes(cascade, node)}.")
            said.append(f"The pump of \"{node.store.name}\" leads its spill {height} down, which "
                        f"needs no pump{', only a pipe' if pipe else ''}.{limit}")
            continue
        taken = "all of it on" if node.lifts is None else (
            f"on up to {_pumped(node.lifts)}, in storms and in years (there by the hour); what is "
            f"over that goes as it would without the pump, {_over_goes(cascade, node)}")
        said.append(f"The pump of \"{node.store.name}\" lifts its spill by {height}, friction "
                    "in its pipe left out. It is taken to run whenever water spills and to pass "
                    f"{taken}; while it stands still, the spill runs over the ground.")
    return said


def _over_goes(cascade: Cascade, node: Node) -> str:
    return ("over the ground and off the site" if node.over_to is None else
            f"over the ground to \"{cascade.nodes[node.over_to].store.name}\"")


def pump_cautions(cascade: Cascade, runs: dict[str, StormRun]) -> dict[int, str]:
    """Pumps that are too small for what would spill in a storm, by their nodes."""
    said = {}
    for index, node in enumerate(cascade.nodes):
        if node.lifts is None:
            continue
        over = [f"\"{name}\" ({_pumped(found.peak_spill)} at its peak, "
                f"{in_both(found.over, 'volume')} of {in_both(found.spilled, 'volume')} not lifted)"
                for name, run in runs.items() if (found := run.stores[index]).over > 0]
        if over:
            said[index] = (f"Its pump lifts {_pumped(node.lifts)}, and more spills in "
                           f"{', '.join(over)}: what it cannot lift goes "
                           f"{_over_goes(cascade, node)}.")
    return said


def _pumped(flow: float) -> str:
    """A pump's flow as pumps are sold. [m3/s in]"""
    return ordered(f"{flow * 6e4:,.4g} L/min", f"{flow * 6e4 / 3.785411784:,.4g} gal/min")

