"""Cautions that a work earns by where it lies and where its water goes."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely import LineString, Point

from terrain.plan.safety.furrow_cautions import furrow_flow_cautions
from terrain.plan.safety.overtopping import met_on
from terrain.plan.safety.raster_edge import beyond_matters, reaches_edge
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, Node
from terrain.units import EXAMPLES, first_system, in_both, lasting
from terrain.works.basin import Basin, drowning
from terrain.works.drain import Drain
from terrain.works.natural_hollow import NaturalHollow
from terrain.works.rules import ENGINEER, HEALTH, OWNER, PRACTICE
from terrain.works.sill import head_for_flow
from terrain.works.spillway import lining_words, spillway, years_asked
from terrain.works.store import Store
from terrain.works.swale_built import Swale
from terrain.works.wall import outflanking

LEAVES = ("Its spill leaves the property: never send it on to a neighbour more gathered than it "
          "came before, and ask about water rights; your neighbour and the local water authority "
          "decide.")

_BEYOND = ("Its full pool reaches beyond the property line: lower its sill, or have your "
           "neighbour's word, who decides.")


def wall_cautions(inputs: Inputs, basin: Basin) -> list[str]:
    """Cautions about a wall's spillway and pool, once its design peak is known."""
    rules, said = inputs.rules, []
    left = basin.crest - basin.sill.level - basin.sill.head
    if left < rules["basin freeboard"] - 1e-6:
        said.append(
            f"At the design peak {in_both(basin.sill.head, 'size')} stands on the spillway and "
            f"{in_both(left, 'size')} of bank is left above it; "
            f"{in_both(rules['basin freeboard'], 'size')} is asked for "
            f"({rules.cited('basin freeboard')}). Widen the spillway or lower the sill.")
    wall = float(np.hypot(*np.diff(basin.line, axis=0).T).sum())
    if basin.sill.length > wall / 2:
        said.append(
            f"The spillway is {in_both(basin.sill.length, 'length')} long beside a wall of "
            f"{in_both(wall, 'length')}: make sure that natural ground gives room for it, or "
            "catch less, hold the crest higher and let it flow deeper over stone; whoever designs "
            "it decides.")
    if basin.spillway > basin.fill:
        said.append(
            f"Its spillway takes {in_both(basin.spillway, 'earth')} of cut, more than the "
            f"{in_both(basin.fill, 'earth')} that bank and trench take: a wall where the ground at "
            "one end is lower, or less water led to it, costs less; a licensed engineer decides "
            "whether another kind of spillway may stand there.")
    around = outflanking(basin, inputs.dem)
    if around is not None:
        said.append(around)
    if not inputs.ground.boundary.covers(basin.outline):
        said.append(_BEYOND)
    return said


def basin_cautions(inputs: Inputs, place: Placed, node: Node, basin: Basin) -> list[str]:
    """Cautions about any basin's sill, once its design peak is known, and about a pond."""
    rules, work, design = inputs.rules, place.work, inputs.site.rain.design
    said = []
    over = spillway(basin.sill, basin.crest if basin.has_wall else None, rules)
    if over.lining == "stone":
        said.append(f"Water runs over its sill at {in_both(over.velocity, 'speed')} at the design "
                    f"peak; {lining_words(over, rules)}. {_first(OWNER)}.")
    years = years_asked(rules, node.catchment.area)
    if basin.has_wall and design.return_period is not None and design.return_period < years:
        said.append(f"Its spillway is sized for the storm \"{design.name}\", once in "
                    f"{design.return_period:g} years; behind a wall with so large a catchment "
                    f"once in {years:g} years is asked for "
                    f"({rules.cited('spillway return period')}). Choose a rarer design storm.")
    if basin.has_wall:
        largest = max(inputs.site.rain.storms, key=lambda storm: storm.depth)
        said.append("Its water is reckoned as a level pool with a free sill. Run levelsill prove "
                    f"with the largest storm, \"{largest.name}\": it shows how fast and how high "
                    "water rises against the crest, which this plan cannot; a licensed engineer "
                    "decides.")
    if work.holds_water:
        said += _pond_cautions(inputs, place, node, basin)
    return said


def _pond_cautions(inputs: Inputs, place: Placed, node: Node, basin: Basin) -> list[str]:
    """Cautions about a pond meant to hold water."""
    rules, work, seepage = inputs.rules, place.work, node.store.infiltration * 24
    said = [f"It is meant to hold water, and water that stands longer than "
            f"{rules['standing water']:.0f} h breeds mosquitoes "
            f"({rules.cited('standing water')}): keep fish in it, which want "
            f"{in_both(rules['fish depth'], 'length')} of water ({rules.cited('fish depth')}); it "
            f"is {in_both(basin.deepest_water, 'size')} deep when full."]
    if work.seepage is None:
        said.append(f"Nobody said what seeps from it; {in_both(seepage, 'seepage')} is a default "
                    f"({node.store.rate_source}). Watch how fast water sinks in a pond or pit "
                    "near by, and state it (seepage: "
                    f"{EXAMPLES['seepage'][first_system() == 'us']}); the ground decides.")
    if seepage > rules["seepage high"]:
        said.append(f"It loses {in_both(seepage, 'seepage')} to the ground, more than "
                    f"{in_both(rules['seepage high'], 'seepage')} "
                    f"({rules.cited('seepage high')}): without a lining of clay or sheet it "
                    "will hardly hold water.")
    lacks = [what for what, there in (("a daily rain record", inputs.record),
                                      ("evapotranspiration", inputs.evaporation)) if there is None]
    if lacks:
        said.append(f"Without {' and '.join(lacks)} in the site file its months cannot be "
                    "reckoned: " + ("nothing tells what comes in a year" if len(lacks) > 1 or
                                    inputs.record is None else "no evaporation is counted")
                    + ". Add them; you decide.")
    return said


def hollow_cautions(inputs: Inputs, place: Placed, hollow: NaturalHollow) -> list[str]:
    """Cautions about a hollow that nobody dug, and that only the raster shows."""
    rules, dem, ground = inputs.rules, inputs.dem, inputs.ground
    said = [f"It is a hollow of {dem.source}, {in_both(hollow.depth, 'size')} deep at most: go "
            "and look, best after rain. A pipe under a bank, thick growth or an error of the "
            "survey makes such hollows where water runs on; then leave this work out, and name "
            "the pipe under culverts. What you see there decides."]
    if dem.filled_holes[hollow.cells[:, 0], hollow.cells[:, 1]].any():
        said.append("Part of its floor was not surveyed, only filled from the rim of that hole in "
                    "the raster: measure it; what you find decides.")
    if hollow.depth > rules["drowning depth"]:
        said.append(drowning(hollow.depth, rules))
    for road in ground.roads:
        if place.outline.intersects(road.surface):
            said.append(f"It reaches the road \"{road.name}\": its water stands there when it is "
                        "full, unless a pipe under the road's bank drains it; whoever keeps the "
                        "road decides.")
    if not ground.boundary.covers(place.outline):
        said.append(_BEYOND)
    return said


def drain_cautions(inputs: Inputs, drain: Drain, placed: list[Placed]) -> list[str]:
    """Cautions about where a drain crosses gathered water, and how it ends."""
    dem, route, said = inputs.dem, drain.route, []
    line = LineString(route.line)
    points = np.array([line.interpolate(s).coords[0] for s in route.stations])
    rows, columns = dem.row_column(points[:, 0], points[:, 1])
    area = inputs.terrain.contributing_area[rows, columns]
    wet = int(np.argmax(area))
    if area[wet] >= inputs.site.runoff.channel_from:
        x, y = points[wet]
        said.append(f"At {dem.named(float(x), float(y))} it crosses a way of gathered water that "
                    f"{in_both(float(area[wet]), 'land')} drain to: that water breaks out over its "
                    "lip unless somebody designs the crossing, and decides how.")
    to = next((place for place in placed if route.to and place.name == route.to), None)
    if to is not None and to.kind != "drain":
        under = to.sill_level - drain.bed(route.length)
        back = min(under / route.grade, route.length)
        if under > 0:
            said.append(f"Its bed meets \"{to.name}\" {in_both(under, 'size')} below its sill: "
                        f"when that is full, water stands back {in_both(back, 'length', 0)} in the "
                        f"drain; armour the way in with stone. {_first(OWNER)}.")
    elif to is None:
        said.append("It lets its water go at a point: spread it there over a level lip on grass or "
                    f"stone, or it cuts a gully. {_first(OWNER)}.")
    return said


def site_cautions(inputs: Inputs, place: Placed, node: Node, empties: float) -> list[str]:
    """Cautions that arise from what lies about a work."""
    rules, ground = inputs.rules, inputs.ground
    said: list[str] = []
    if node.catchment.touches_edge and node.catchment.area and beyond_matters(node.catchment):
        said.append(reaches_edge(node.catchment, inputs.dem, "Its"))
    if place.kind == "tank":
        if node.spills_to is None:
            said.append(LEAVES)
        said.append("Roof water is not fit to drink as it comes: germs, metals and smoke settle on "
                    "roofs. Treat and test it; the local health office decides.")
        return said
    if empties > rules["standing water"] and not getattr(place.work, "holds_water", False):
        how = "does not soak away" if np.isinf(empties) else f"stands about {lasting(empties)}"
        said.append(f"Full, it {how} at {in_both(node.store.infiltration, 'rate')} "
                    f"({node.store.rate_source}); water that stands longer than "
                    f"{rules['standing water']:.0f} h breeds mosquitoes "
                    f"({rules.cited('standing water')}). Test a hole.")
    said += _drawn_cautions(node.store)
    if len(node.spill_path) > 1:
        said += _spill_passes(inputs, place, node)
        as_ever = place.hollow is not None and not node.piped
        if node.spills_to is None and not as_ever and ground.boundary.covers(
                Point(node.spill_path[0])):
            said.append(LEAVES)
    return said


def _drawn_cautions(store: Store) -> list[str]:
    """Cautions about water that is drawn from a store that lies open on the ground."""
    if not store.drawn:
        return []
    kinds = {use.kind for use in store.drawn}
    said = ["Water is drawn from it, and nothing here lifts it: a pump or a carried bucket is your "
            f"own matter. Keep an intake off the floor, where mud settles ({PRACTICE}; "
            f"{OWNER})."]
    if kinds & {"household", "other"}:
        said.append("Open water is not fit to drink as it comes: what animals, birds and the soil "
                    "leave is washed into it, most by the storms that fill it. Settle, filter and "
                    "boil or chlorinate it, and have it tested (WHO, Guidelines for "
                    f"Drinking-water Quality, 4th ed., 2011, from memory); {HEALTH}.")
    if "livestock" in kinds:
        said.append("Let animals drink from a trough below it and fence it off: hoofs break its "
                    f"bank and foul its water ({PRACTICE}; {OWNER}).")
    if "wildlife" in kinds:
        said.append("Wild animals drink from it: leave them one bank flat enough to get out by "
                    f"({PRACTICE}).")
    return said


def _spill_passes(inputs: Inputs, place: Placed, node: Node) -> list[str]:
    """Buildings and roads that a spill comes to on its way over the ground."""
    rules, said = inputs.rules, []
    apart = rules["building setback"]
    over = node.spill_path if node.led == "furrow" else node.over_way
    met = list(met_on(over, inputs.ground, apart)) if len(over) > 1 else []
    if len(node.over_path) > 1:  # what its pump cannot lift, or while it stands still
        met += [found for found in met_on(node.over_path, inputs.ground, apart)
                if found not in met]
    beside = [found.words for found in met if found.kind == "building"]
    if beside:
        said.append(f"The way of its spill passes {', '.join(beside)}; keep "
                    f"{in_both(apart, 'length')} ({rules.cited('building setback')}). Lead it "
                    "clear of buildings.")
    crossed = [found.words for found in met if found.kind == "road"]
    if crossed:
        said.append(f"Its spill runs over {', '.join(crossed)}: give the road a dip of stone or a "
                    "pipe there, or it washes out; whoever keeps the road decides.")
    return said


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]


def too_small(inputs: Inputs, swale: Swale, store: Store, comes: float) -> list[str]:
    """A caution about a swale that does not hold what comes to it in the design storm.

    Parameters
    ----------
    comes : float
        All that comes to it, spills from above included. [m3]
    """
    rules, deepest = inputs.rules, inputs.rules["swale deepest"]
    if comes <= store.capacity:
        return []
    work: Any = next(work for work in inputs.site.works if work.name == store.name)
    found = [field for field in ("length", "depth", "width") if _sought(work, field)]
    may_be = [field for field in ("length", "depth") if getattr(work, field) is not None
              and work.solve in (None, field) and not (field == "length" and work.along)]
    deep = (f"Its water is {in_both(swale.depth, 'size')} deep, and deeper ones are not dug "
            f"({rules.cited('swale deepest')}): make it longer or wider, or catch some of it "
            "higher up." if swale.depth >= deepest - 1e-9 else
            "Make it longer, wider or deeper"
            + (f" (left out, its {_listed(may_be)} would be found)" if may_be else "")
            + f", or see that its spill does no harm; {OWNER}.")
    if found:
        was, it = ("was", "it") if len(found) == 1 else ("were", "they")
        deep = (f"Its {_listed(found)} {was} left open in the site file, so {it} {was} chosen for "
                "what runs off the ground above it, as if no other work stood and no rain fell on "
                f"its own water; all that really comes is another volume. {deep}")
    return [f"It holds {in_both(store.capacity, 'volume')} of the {in_both(comes, 'volume')} that "
            f"come to it in the design storm \"{inputs.site.rain.design.name}\", all works as "
            "built: what they leave of its ground's runoff, their spills and the rain on its own "
            f"water; what does not soak in meanwhile spills. {deep}"]


def _sought(work: Any, field: str) -> bool:
    """Whether a size of a swale was left open and found for a storm."""
    if getattr(work, field) is not None or (field == "length" and work.along is not None):
        return False
    return work.solve == field or (field != "width" and work.solve is None)


def _listed(words: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def overtop_cautions(store: Store, crest: float, peaks: dict[str, float]) -> list[str]:
    """Storms of the list that rise over a bank.

    Parameters
    ----------
    crest : float
        Settled, above the sill. [m]
    peaks : dict of str to float
        Greatest flow over the sill in each storm. [m3/s]
    """
    said = []
    for name, peak in peaks.items():
        head = head_for_flow(peak, store.sill.length, store.sill.coefficient)
        if head > crest:
            said.append(f"In the storm \"{name}\" {in_both(head, 'size')} would stand on the "
                        f"sill, over the settled crest at {in_both(crest, 'level')}: the bank "
                        "would be overtopped and may wash out. Size it for that storm (design "
                        f"storm), or lengthen the sill. {_first(ENGINEER)}.")
    return said


def spill_cautions(inputs: Inputs, cascade: Cascade, index: int, placed: list[Placed]
                    ) -> list[str]:
    """Cautions about where a work's water goes next."""
    place, node, rules = placed[index], cascade.nodes[index], inputs.rules
    if node.led in ("pipe", "pump") and place.work.pipe is None and node.spills_to is not None:
        length = float(LineString(node.led_way).length)
        return [f"No pipe is stated to lead its spill to \"{placed[node.spills_to].name}\": a "
                f"straight one was assumed, {in_both(length, 'length')} over the ground. Lay it, "
                f"or state its points (pipe:); {OWNER}."]
    dug = node.furrow
    if dug is None or node.spills_to is None:
        return []
    to = placed[node.spills_to]
    runs = furrow_flow_cautions(inputs, place, node.store, dug, to.name)
    if dug.falls:
        return runs
    least = max(dug.lower_by, 0.01)
    how = ("stands level with" if abs(dug.fall) < 0.005 else
           f"lies only {in_both(dug.fall, 'size')} below" if dug.fall > 0 else
           f"stands {in_both(-dug.fall, 'size')} above")
    other = ", or list the basins in another order, each lower than the one before" if (
        to.work.name == place.work.name) else ", or lead the spill to a lower work"
    return [*runs,
            f"The furrow to \"{to.name}\" cannot fall: on the raster the rim of \"{to.name}\" "
            f"{how} the sill that feeds it, over {in_both(dug.length, 'length')}, and water needs "
            f"a fall of {rules['furrow fall']:.1%} ({rules.cited('furrow fall')}). Lower the rim "
            f"of \"{to.name}\" by {in_both(least, 'size')} or more, set out with a level{other}."]
