"""Cautions that a work earns by what lies about it, measured from its own body."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPoint, Point
from shapely.ops import nearest_points

from terrain.inputs.dem import Dem
from terrain.inputs.keep_clear import Thing
from terrain.inputs.site_keep_clear import DEEP
from terrain.plan.earth.bodies import Body, floor_at
from terrain.plan.earth.built import Built
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Node
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain
from terrain.units import along_words, in_both
from terrain.works.rules import Rulebook
from terrain.works.setbacks import BURIED, WELLS, setback_of

#: Slopes are means over so much ground, so that no ruts and no banks of roads count; common
#: practice, no source. [m]
STEEP_OVER = 10.0

#: What to do about each kind of thing that lies too near.
ADVICE = {
    "septic field": "Water that soaks in beside it floods it and carries its germs off: move the "
                    "work, or lead its water past.",
    "private well": "What soaks in may come to the well, and runoff of the ground must never reach "
                    "a well head: move the work, and raise the ground about the head.",
    "foundation": "Move it off, and let the ground fall away from the building.",
    "retaining wall": "Wet earth leans on a wall: move the work, or have the wall looked at.",
    "fill edge": "Wet fill slides: move the work off its edge.",
    "unstable ground": "Water makes ground slide: move the work, and lead water away from there.",
    "stream bank": "Leave the bank as it is, and ask whether work beside a stream needs a permit.",
    "tree": "Digging there cuts its roots, and earth heaped over them chokes them: move the work, "
            "or dig by hand between the roots.",
    "rock": "Water stands on it and comes out further down: make the work shallower, or move it.",
    "wet ground": "Water has nowhere to soak to, and a pit fills from below: make the work "
                  "shallower, or move it.",
}
ADVICE |= {"public well": ADVICE["private well"]}


def clearance_cautions(inputs: Inputs, made: Built, body: Body) -> list[str]:
    """Cautions about buildings, the property line, roads, and all that the owner named.

    Parameters
    ----------
    body : Body
        Of the work.
    """
    rules, ground, dem, place = inputs.rules, inputs.ground, inputs.dem, made.placed
    said = []
    cited = rules.cited("building setback")
    apart = rules["building setback"]
    for roof in ground.roofs:
        gap, part = body.nearest(roof.outline)
        if gap < apart:
            said.append(f"It lies {in_both(gap, 'length')} from the roof \"{roof.name}\", measured "
                        f"from {part}; keep {in_both(apart, 'length')} ({cited}).{_falls(gap)}")
    edge, part = body.nearest(ground.boundary.boundary)
    if place.hollow is None:
        if not ground.boundary.covers(body.whole):
            out = [name for name, shape in body.parts if not ground.boundary.covers(shape)]
            said.append(f"{_first(' and '.join(out))} "
                        f"{'reaches' if len(out) == 1 else 'reach'} beyond the property line: keep "
                        f"all of it on your land, {in_both(apart, 'length')} clear of the line "
                        f"({cited}), or have your neighbour's word.")
        elif edge < apart:
            said.append(f"It lies {in_both(edge, 'length')} from the property line, measured from "
                        f"{part}; keep {in_both(apart, 'length')} ({cited}).")
        for road in ground.roads:
            if body.whole.intersects(road.surface):
                said.append(f"It lies across the road \"{road.name}\": move it, or cross the road "
                            "with a dip or pipe that somebody designs; whoever keeps the road "
                            "decides.")
    for thing in ground.keep_clear:
        if thing.kind in DEEP:
            said += _over_depth(thing, made, body, dem, rules)
        elif thing.kind not in BURIED:
            said += _too_near(thing, body, rules)
        elif place.hollow is None:
            said += _beside_line(thing, body, dem, rules)
    return said


def _falls(gap: float) -> str:
    return " Let the ground fall away from the building." if gap > 0 else ""


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]


def _too_near(thing: Thing, body: Body, rules: Rulebook) -> list[str]:
    setback = setback_of(thing, rules)
    assert setback is not None
    gap, part = body.nearest(thing.shape)
    if gap >= setback.distance and not (gap == 0 and thing.shape.area):
        return []
    whose = "crown's outline" if thing.kind == "tree" and thing.shape.area else ""
    keep = (f"keep off its {whose}" if whose and setback.distance <= 0 else
            f"keep {in_both(setback.distance, 'length')}")
    where = (f"{_first(part)} reaches into {thing.called}" if gap == 0 and thing.shape.area else
             f"It lies {in_both(gap, 'length')} from "
             f"{'the trunk of ' if thing.kind == 'tree' and not whose else ''}{thing.called}, "
             f"measured from {part}")
    return [f"{where}; {keep} ({setback.told}). {ADVICE[thing.kind]}"]


def crossing(thing: Thing, shape: Any, line: LineString | None, dem: Dem) -> str:
    """Where a line in the ground passes under a work: its place, and the chainage if it has one."""
    met = thing.shape.intersection(shape if line is None or not line.intersects(thing.shape)
                                   else line)
    parts = [part for part in getattr(met, "geoms", [met]) if not part.is_empty]
    places = []
    for part in parts:
        spot = part.centroid
        at = "" if line is None else f", station {along_words(line.project(spot))}"
        places.append(f"{dem.named(spot.x, spot.y)}{at}")
    return " and ".join(places)


def _beside_line(thing: Thing, body: Body, dem: Dem, rules: Rulebook) -> list[str]:
    """Cautions about a line in the ground that a work crosses or comes near to."""
    setback = setback_of(thing, rules)
    assert setback is not None
    gap, part = body.nearest(thing.shape)
    by_hand = (f"dig by hand within {in_both(setback.distance, 'size')} of the marks "
               f"({setback.told}). The locating service marks no private lines: find those "
               "yourself.")
    if gap == 0:
        where = crossing(thing, body.whole, body.line, dem)
        return [f"It crosses {thing.called} at {where}: have the line marked before anybody digs, "
                f"and {by_hand}"]
    if gap < setback.distance:
        return [f"It lies {in_both(gap, 'size')} from {thing.called}, measured from {part}: have "
                f"the line marked before anybody digs, and {by_hand}"]
    return []


def _over_depth(thing: Thing, made: Built, body: Body, dem: Dem, rules: Rulebook) -> list[str]:
    """A caution about rock or wet ground close below a work's floor."""
    shared = body.whole.intersection(thing.shape)
    if shared.is_empty or thing.measure is None:
        return []
    left, (x, y) = depth_left(made, dem, shared, thing.measure)
    return _close_below(thing.called, f"said to lie {in_both(thing.measure, 'size')} below the "
                        "ground", left, dem.named(x, y), rules, ADVICE[thing.kind])


def rock_caution(made: Built, body: Body, dem: Dem, rules: Rulebook) -> list[str]:
    """A caution about rock close below a work for which the owner says how deep it lies."""
    rock = getattr(made.placed.work, "rock_at", None)
    if rock is None:
        return []
    left, (x, y) = depth_left(made, dem, body.whole, rock)
    return _close_below("the rock", f"said to lie {in_both(rock, 'size')} below the ground", left,
                        dem.named(x, y), rules, ADVICE["rock"])


def _close_below(called: str, how_deep: str, left: float, at: str, rules: Rulebook, advice: str
                 ) -> list[str]:
    keep = rules["rock or wet ground below"]
    if left >= keep:
        return []
    what = (f"At {at} its floor stands {in_both(left, 'size')} above {called}" if left >= 0 else
            f"At {at} its floor lies {in_both(-left, 'size')} below the top of {called}")
    return [f"{what}, {how_deep}; keep {in_both(keep, 'size')} of soil between them "
            f"({rules.cited('rock or wet ground below')}). {advice}"]


def depth_left(made: Built, dem: Dem, shape: Any, depth: float
               ) -> tuple[float, tuple[float, float]]:
    """Least soil between a work's floor and something so deep below the ground, and where. [m]"""
    spots = shapely.get_coordinates(shape.segmentize(max(dem.cell, 0.5)))
    west, south, east, north = shape.bounds
    step = max(min(dem.cell, 0.5), (east - west) / 200, (north - south) / 200)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(west, east + step, step),
                                                 np.arange(south, north + step, step)))
    inside = shapely.contains_xy(shape, x, y)
    spots = np.concatenate([spots, np.stack([x[inside], y[inside]], 1)])
    ground = dem.height_at(*spots.T)
    spots, ground = spots[np.isfinite(ground)], ground[np.isfinite(ground)]
    left = floor_at(made, dem, spots[:, 0], spots[:, 1], ground) - (ground - depth)
    worst = int(np.argmin(left))
    return float(left[worst]), (float(spots[worst, 0]), float(spots[worst, 1]))


@dataclass(frozen=True)
class SteepGround:
    """Ground too steep to soak water in above or below it.

    Attributes
    ----------
    toes : shapely geometry
        Cells' centres at its foot. [m]
    """

    toes: MultiPoint


def steep_ground(terrain: Terrain, rules: Rulebook) -> SteepGround:
    """The foot of every slope that is steep over a patch large enough to count.

    A cell of it is at the foot where water runs on to ground that is not steep.
    """
    from scipy import ndimage

    dem = terrain.dem
    wide = max(round(STEEP_OVER / dem.cell), 1)
    slope = np.hypot(*(ndimage.uniform_filter(np.nan_to_num(rise), wide, mode="nearest")
                       for rise in np.gradient(dem.heights.astype(np.float64), dem.cell)))
    steep = (slope >= rules["steep toe slope"]) & np.isfinite(dem.heights)
    labels, count = ndimage.label(steep, np.ones((3, 3)))
    large = np.bincount(labels.ravel(), minlength=count + 1) * dem.cell_area >= rules[
        "steep ground least"]
    large[0] = False
    steep = large[labels]
    rows, columns = np.nonzero(steep & (terrain.direction < 8))
    way = terrain.direction[rows, columns]
    foot = ~steep[rows + ROW_STEP[way], columns + COLUMN_STEP[way]]
    x, y = dem.xy(rows[foot], columns[foot])
    return SteepGround(MultiPoint(np.stack([x, y], 1)))


def steep_caution(inputs: Inputs, body: Body, steep: SteepGround) -> list[str]:
    """A caution where the foot of a steep slope is near."""
    rules, dem = inputs.rules, inputs.dem
    if steep.toes.is_empty:
        return []
    gap, part = body.nearest(steep.toes)
    keep = rules["steep toe setback"]
    if gap >= keep:
        return []
    whole = body.whole
    _, foot = nearest_points(whole, steep.toes)
    near, _ = nearest_points(whole, foot)
    rise = float(dem.height_at(near.x, near.y)) - float(dem.height_at(foot.x, foot.y))
    lies = ("level with" if abs(rise) < 0.05 else
            f"{in_both(abs(rise), 'size')} {'above' if rise > 0 else 'below'}")
    near_by = (f"lies {in_both(gap, 'length', 0)} off, and {part} stands {lies} it" if gap > 0.5
               else f"lies under {part}")
    return [f"The foot of ground of {rules['steep toe slope']:.0%} or steeper, at "
            f"{dem.named(foot.x, foot.y)}, {near_by}; keep "
            f"{in_both(keep, 'length', 0)} ({rules.cited('steep toe setback')}): "
            "water that soaks in near a steep slope may make it slide or come out of it. Have the "
            "slope looked at before digging."]


def water_way_cautions(inputs: Inputs, node: Node) -> list[str]:
    """Cautions about wells and septic fields that a work's spill passes."""
    if len(node.spill_path) < 2:
        return []
    way, said = LineString(node.spill_path), []
    for thing in inputs.ground.keep_clear:
        if thing.kind not in (*WELLS, "septic field"):
            continue
        setback = setback_of(thing, inputs.rules)
        assert setback is not None
        gap = float(way.distance(thing.shape))
        if gap < setback.distance:
            why = ("runoff of the ground must never reach a well head" if thing.kind in WELLS else
                   "water over it floods it")
            spot = way.interpolate(way.project(_middle(thing)))
            said.append(f"Its spill passes {in_both(gap, 'length')} from {thing.called}, at "
                        f"{inputs.dem.named(spot.x, spot.y)}; keep "
                        f"{in_both(setback.distance, 'length')} ({setback.told}): {why}. Turn the "
                        "spill aside, or lead it past in a drain or pipe.")
    return said


def _middle(thing: Thing) -> Point:
    return thing.shape.representative_point()


def led_line_cautions(inputs: Inputs, node: Node) -> list[str]:
    """Cautions about lines in the ground that a work's pipe or furrow crosses."""
    led = node.led_way
    if len(led) < 2 or not LineString(led).length:
        return []
    line, said = LineString(led), []
    for thing in inputs.ground.keep_clear:
        if thing.kind in BURIED and line.intersects(thing.shape):
            setback = setback_of(thing, inputs.rules)
            assert setback is not None
            said.append(
                f"{'The furrow of its spill' if node.led == 'furrow' else 'Its pipe'} crosses "
                f"{thing.called} at {crossing(thing, line, line, inputs.dem)}: have the line "
                f"marked before anybody digs, and dig by hand within "
                f"{in_both(setback.distance, 'size')} of the marks ({setback.told}). The locating "
                "service marks no private lines: find those yourself.")
    return said
