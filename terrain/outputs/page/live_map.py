"""The report's live map: what it shows, what its places answer, and what its slider changes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.groups import groups_of, tints_of
from terrain.outputs.drawing.map_features import joined, spill_parts
from terrain.outputs.page.capture_tables import and_hollows
from terrain.outputs.page.live_shapes import WIDE, Paper, paper_of, region, shaded, thinned
from terrain.outputs.page.storm_stops import Stop, StopFigures, figures_of, stops_of
from terrain.outputs.page.templates import filled, text_of
from terrain.plan.plan import bare_ground
from terrain.plan.planned import Plan, PlannedStore
from terrain.plan.safety.raster_edge import bound_of
from terrain.plan.water.accounts import MORE_THAN_IT_HOLDS
from terrain.units import shown, unit_name

FloatArray = NDArray[np.float64]
#: What an answer says beside the figures that change: words and figure.
Facts = list[tuple[str, str]]

#: Kinds of stores as a legend tells them.
KINDS = {"swale": "swale", "basin": "basin", "tree basin": "tree basin", "tank": "tank",
         "hollow": "natural hollow", "drain": "drain"}


@dataclass(frozen=True)
class Shape:
    """A shape of the map: its path, its look, and whose place it is."""

    d: str
    look: str = ""
    of: int = 0
    name: str = ""
    tint: str = ""


@dataclass(frozen=True)
class Letter:
    """Lettering of the map, where it belongs, and the group whose figure stands under it."""

    x: float
    y: float
    words: str
    look: str
    group: int = -1


@dataclass
class Drawn:
    """All shapes of the map, each kind from below upwards."""

    catchments: list[Shape] = field(default_factory=list)
    contours: list[Shape] = field(default_factory=list)
    flow: list[Shape] = field(default_factory=list)
    sheds: list[Shape] = field(default_factory=list)
    roofs: list[Shape] = field(default_factory=list)
    stores: list[Shape] = field(default_factory=list)
    spills: list[Shape] = field(default_factory=list)
    letters: list[Letter] = field(default_factory=list)


def live_section(plan: Plan, store_facts: Sequence[Facts], point_facts: Sequence[Facts]) -> Any:
    """The live map, its slider and its table as HTML; empty where no cascade is told.

    Parameters
    ----------
    store_facts : sequence of Facts
        Of each store, printed as the report's tables print them.
    point_facts : sequence of Facts
        Of the first of `Plan.ranked_shed_points`; so many are shown.
    """
    from markupsafe import Markup

    stops = stops_of(plan)
    if not stops:
        return ""
    figures = figures_of(plan, stops)
    paper = paper_of(plan.inputs.ground.boundary.bounds)
    drawn, interval = _drawn(plan, paper)
    start = next(i for i, stop in enumerate(stops) if stop.storm is plan.site.rain.design)
    data = _data(plan, stops, figures, paper, drawn, store_facts, point_facts) | {"start": start}
    system, design = plan.site.units, plan.site.rain.design
    return filled(
        "live_map.html", data=Markup(_harmless(data)), d=data, drawn=drawn, start=start,
        image=shaded(base.cropped(plan.inputs.dem, paper.view), paper.view),
        wide=WIDE, high=round(paper.high, 1), site=plan.site.name,
        boundary=paper.path(plan.inputs.ground.boundary), design=design.name,
        likeness=f"{design.duration:g} h, " + (
            f"type {design.pattern}" if design.pattern in ("I", "IA", "II", "III") else
            f"{design.pattern} in time"),
        unit=unit_name("volume", system), interval=interval,
        more_than_it_holds=MORE_THAN_IT_HOLDS, and_hollows=and_hollows(plan),
        last=max(stop.place for stop in stops), first_row=stops[start].place,
        deepest=shown(stops[-1].depth, "rain", system),
        storms=[(i, stop, f"{shown(stop.depth, 'rain', system)} over {stop.storm.duration:g} h")
                for i, stop in enumerate(stops) if stop.storm is not None],
        rarity=plan.told.capture.rarity.source if plan.told and plan.told.capture.rarity else "")


def live_style() -> str:
    """The live map's style sheet; its colours are those of all drawings."""
    colours = {"paper": sy.PAPER, "ink": sy.INK, "soft": sy.SOFT_INK, "water": sy.WATER,
               "pool": sy.POOL, "hollow": sy.HOLLOW, "flow": sy.FLOW, "earth": sy.EARTH,
               "tree": sy.TREE, "tree-fill": sy.TREE_FILL, "tank": sy.TANK, "roof": sy.ROOF,
               "roof-edge": sy.ROOF_EDGE, "road": sy.ROAD, "road-edge": sy.ROAD_EDGE,
               "road-ink": sy.ROAD_INK, "bare": sy.BARE, "shed": sy.SHED,
               "boundary": sy.BOUNDARY, "contour": sy.CONTOUR, "index": sy.INDEX_CONTOUR,
               "passive": sy.PASSIVE, "roofs": sy.ROOF_WATER, "left": sy.LEFT,
               "rain": sy.RAIN}
    said = "".join(f"--map-{name}:{colour};" for name, colour in colours.items())
    return f":root{{{said}}}\n{text_of('live_map.css')}"


def live_script() -> str:
    """The live map's program."""
    return text_of("live_map.js")


def _harmless(data: dict[str, Any]) -> str:
    """JSON that can end no script and open no tag, whatever names stand in it."""
    said = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        said = said.replace(sign, f"\\u{ord(sign):04x}")
    return said


# Figures -------------------------------------------------------------------------------------


def _data(plan: Plan, stops: Sequence[Stop], figures: StopFigures, paper: Paper, drawn: Drawn,
          store_facts: Sequence[Facts], point_facts: Sequence[Facts]) -> dict[str, Any]:
    """What the page's program reads; volumes as they are printed, without their unit."""
    system = plan.site.units
    number = partial(shown, dimension="volume", system=system, with_unit=False)

    def printed(values: FloatArray) -> list[str]:
        return [number(float(value)) for value in values]

    most = max(float(figures.spilled.max(initial=0.0)), 1e-9)
    passing = max((float(p.max(initial=0.0)) for p in figures.points), default=0.0) or 1.0
    stores = []
    for i, planned in enumerate(plan.stores):
        store = planned.store
        leads = store.kind == "drain"
        fill = (np.zeros(len(stops)) if leads else
                np.clip(figures.most[:, i] / store.capacity, 0.0, 1.0))
        x, y = _middle(planned)
        stores.append({
            "name": store.name, "kind": KINDS.get(store.kind, store.kind), "at": paper.at(x, y),
            "tank": store.kind == "tank", "small": store.kind == "tree basin", "leads": leads,
            "facts": store_facts[i], "holds": number(store.capacity),
            "ground": printed(figures.ground[:, i]), "came": printed(figures.came[:, i]),
            "caught": printed(figures.caught[:, i]), "spilled": printed(figures.spilled[:, i]),
            "fill": [round(float(share), 3) for share in fill],
            "share": ["–" if leads else share_words(float(share)) for share in fill],
            "flow": [round(float(np.sqrt(v / most)), 3) for v in figures.spilled[:, i]],
            "way": _arrows(plan, i, paper), "catchment": _catchment_facts(plan, i)})
    groups = [{"caught": printed(figures.caught[:, list(group.members)].sum(1)),
               "stores": list(group.members)} for group in groups_of(plan)]
    points = []
    for (shed, point), facts, passes in zip(plan.ranked_shed_points, point_facts, figures.points,
                                            strict=False):
        at = plan.inputs.dem.xy(point.row, point.column)
        points.append({"name": shed.name, "at": paper.at(float(at[0]), float(at[1])),
                       "facts": facts, "passes": printed(passes),
                       "size": [round(float(np.sqrt(v / passing)), 3) for v in passes]})
    sheds = [{"name": shed.name, "kind": shed.kind, "leaves": printed(passes),
              "facts": [("its surface", shown(shed.area, "ground", system)),
                        ("ground that drains to it, itself included",
                         shown(shed.catchment.area, "ground", system)),
                        ("leaves it at", f"{len(shed.points)} "
                         + ("place" if len(shed.points) == 1 else "places"))]}
             for shed, passes in zip(plan.sheds, figures.sheds, strict=True)]
    site: dict[str, Any] = {name: printed(values) for name, values in (
        ("rain", figures.rain), ("run_on", figures.run_on), ("soaked", figures.soaked),
        ("passive", figures.passive), ("roof", figures.roof), ("left", figures.left))}
    came = np.maximum(figures.rain + figures.run_on, 1e-12)
    site["shares"] = [[round(float(v[i] / came[i]) * 100, 2) for v in (
        figures.soaked, figures.passive, figures.roof, figures.left)] for i in range(len(stops))]
    return {"stops": [_stop(plan, stop) for stop in stops], "stores": stores, "groups": groups,
            "points": points, "sheds": sheds, "site": site,
            "unit": unit_name("volume", system), "wide": WIDE, "high": round(paper.high, 1),
            "metres": paper.metres, "us": system == "us",
            "letters": [[letter.x, letter.y, letter.words, letter.look, letter.group]
                        for letter in drawn.letters]}


def share_words(share: float) -> str:
    """Such as "83 %"; "full" only where it is."""
    if share >= 1:
        return "full"
    return (f"{min(share * 100, 99):.0f}\u00a0%" if share >= 0.01 or not share else
            "under 1\u00a0%")


def _stop(plan: Plan, stop: Stop) -> dict[str, Any]:
    """A stop's depth and rarity in words."""
    system, design = plan.site.units, plan.site.rain.design
    storm = stop.storm or design
    depth = shown(stop.depth, "rain", system)
    often = ""
    rarity = plan.told.capture.rarity if plan.told is not None else None
    if stop.storm is not None and stop.storm.return_period is not None:
        often = f"once in {stop.storm.return_period:g} years, as the site file says"
    elif rarity is not None and stop.depth > 0 and storm.duration == design.duration:
        often = rarity.words(stop.depth)
    return {"depth": depth, "hours": f"{storm.duration:g} h", "place": stop.place,
            "storm": stop.storm.name if stop.storm else None, "often": often}


def _catchment_facts(plan: Plan, index: int) -> Facts | None:
    """What a store's own ground answers; None where it has none."""
    node, planned = plan.cascade.nodes[index], plan.stores[index]
    ground = node.catchment
    system = plan.site.units
    if node.roof.area:
        return [("roofs seen from above", shown(node.roof.area, "ground", system))]
    if not ground.area:
        return None
    least = bound_of([ground])
    facts = [("area", least + shown(ground.area, "ground", system))]
    if ground.run_on_area:
        facts.append(("of it beyond the boundary", shown(ground.run_on_area, "ground", system)))
    if np.isfinite(ground.mean_curve_number):
        facts.append(("mean curve number", f"{ground.mean_curve_number:.0f}"))
    if ground.longest_path:
        facts.append(("longest way of its water", shown(ground.longest_path, "length", system)))
    if planned.starts_at is not None:
        facts.append(("begins to shed at", shown(planned.starts_at, "rain", system)
                      if planned.starts_at else "any rain"))
    return facts


# Shapes --------------------------------------------------------------------------------------


def _middle(planned: PlannedStore) -> tuple[float, float]:
    """Where a store's mark stands: in the middle of what is drawn of it."""
    from shapely import LineString

    place = planned.placed
    route = place.drain or place.route
    if route is not None:
        spot = LineString(route.line).interpolate(0.5, normalized=True)
    elif place.kind in ("basin", "hollow"):
        spot = place.outline.representative_point()
    else:
        return place.x, place.y
    return float(spot.x), float(spot.y)


def _way(plan: Plan, index: int) -> FloatArray | None:
    """The way of a store's spill from its sill on, as the eye follows it."""
    node, placed = plan.cascade.nodes[index], plan.stores[index].placed
    if placed.kind == "drain" and node.spills_to is not None:
        return None  # it is the drain itself
    led, over = spill_parts(node)
    parts = [] if led is None or len(led) < 2 else [led]
    if over is not None and len(over) > 1:
        rows, columns = plan.inputs.dem.row_column(over[:, 0], over[:, 1])
        cells = np.stack([rows, columns], 1).astype(np.int64)
        cells = cells[np.concatenate([[True], (np.diff(cells, axis=0) != 0).any(1)])]
        if len(cells) > 1:
            parts.append(base.way_of(plan.terrain, cells))
    if not parts:
        return None
    return joined(placed.spill_x, placed.spill_y, np.concatenate(parts), plan.inputs.dem.cell)


def _arrows(plan: Plan, index: int, paper: Paper) -> list[list[float]]:
    """Where arrowheads stand on the way of a spill: place, heading in degrees, units to its end."""
    from shapely import LineString

    way = _way(plan, index)
    if way is None or len(way) < 2:
        return []
    line = LineString(way)
    found = []
    count = max(int(line.length / paper.metres / 90), 1)
    for step in range(count):
        at = (step + 0.6) / count * line.length
        before, here, after = (line.interpolate(min(max(at + d * paper.metres, 0), line.length))
                               for d in (-2, 0, 2))
        if not paper.view.holds(here.x, here.y):
            continue
        heading = np.degrees(np.arctan2(-(after.y - before.y), after.x - before.x))
        found.append([*paper.at(here.x, here.y), round(float(heading), 0),
                      round(line.length / paper.metres, 1)])
    return found


def _drawn(plan: Plan, paper: Paper) -> tuple[Drawn, str]:
    """All shapes, and the interval of the contours in words."""
    from shapely import LineString, unary_union

    drawn, view, ground, dem = Drawn(), paper.view, plan.inputs.ground, plan.inputs.dem
    crop = base.cropped(dem, view)
    system = plan.site.units
    groups = groups_of(plan)
    labels = thinned(plan.cascade.labels, dem, view, crop)
    tints = tints_of(labels, [group.members for group in groups])
    tint = {member: sy.TINTS[colour] for group, colour in zip(groups, tints, strict=True)
            for member in group.members}
    order = sorted(range(len(plan.stores)), key=lambda i: (-plan.stores[i].placed.sill_level
                   if plan.stores[i].store.kind != "tank" else float("inf"), i))
    for i in order:
        mask = labels == i + 1
        planned = plan.stores[i]
        if planned.store.kind != "tank" and mask.any() and min(mask.shape) > 1:
            drawn.catchments.append(Shape(paper.path(region(mask, crop)), "", i,
                                          planned.store.name, tint[i]))
    interval = _contours(drawn, crop, paper, system)
    land = (view.east - view.west) * (view.north - view.south)
    least = max(land / 150, 20 * dem.cell_area)
    for line, area in base.flow_lines(plan.terrain, view, least):
        width = 1 + min(int(np.log10(max(area / least, 1.0)) * 2), 3)
        drawn.flow.append(Shape(paper.path(LineString(line)), f"w{width}"))
    shapes = [road.surface for road in ground.roads
              if (road.cells & ground.inside & ~plan.terrain.in_culverts).any()]
    shapes += [region(thinned(cells, dem, view, crop), crop) for cells in bare_ground(plan.inputs)]
    for number, (shed, shape) in enumerate(zip(plan.sheds, shapes, strict=True)):
        drawn.sheds.append(Shape(paper.path(shape), shed.kind.replace(" ", "-"), number,
                                 shed.name))
    fed: dict[str, int] = {name: i for i, planned in enumerate(plan.stores)
                           for name in getattr(planned.placed.work, "roofs", None) or ()}
    for i in sorted(set(fed.values())):
        mine = [roof.outline for roof in ground.roofs if fed.get(roof.name) == i]
        drawn.catchments.append(Shape(paper.path(unary_union(mine)), "roof", i,
                                      plan.stores[i].store.name))
    drawn.roofs = [Shape(paper.path(roof.outline)) for roof in ground.roofs
                   if roof.name not in fed]
    for i in order:
        _store_shape(drawn, plan, i, paper)
        way = _way(plan, i)
        if way is not None and len(way) > 1:
            drawn.spills.append(Shape(paper.path(LineString(way)), "", i))
    for number, group in enumerate(groups):
        at = [_middle(plan.stores[i]) for i in group.members]
        x, y = paper.at(*min(at, key=lambda a: sum(np.hypot(a[0] - b[0], a[1] - b[1])
                                                   for b in at)))
        drawn.letters.append(Letter(x, y, group.name, "tank" if group.kind == "tank" else
                                    "tree" if group.kind == "tree basin" else "water", number))
    for roof in ground.roofs:
        if roof.outline.intersects(view.box()):
            drawn.letters.append(Letter(*paper.at(roof.outline.centroid.x, roof.outline.bounds[1]),
                                        roof.name, "roof"))
    for road in ground.roads:
        part = road.surface.intersection(view.box())
        if not part.is_empty:
            spot = part.representative_point()
            drawn.letters.append(Letter(*paper.at(spot.x, spot.y), road.name, "road"))
    drawn.letters.sort(key=lambda letter: ("water", "tree", "tank", "roof", "road", "level"
                                           ).index(letter.look))
    return drawn, interval


def _contours(drawn: Drawn, crop: Any, paper: Paper, system: str) -> str:
    """Draw contours; their interval in words, empty where there are none."""
    from shapely import LineString

    if not np.isfinite(crop.heights).any():
        return ""
    interval = base.contour_interval(crop, paper.view.point, system, apart=18.0)
    found = base.contours_of(crop, interval, 30 * paper.view.point)
    unit = 0.3048 if system == "us" else 1.0
    places = 0 if abs(5 * interval / unit - round(5 * interval / unit)) < 1e-6 else 1
    for index in (False, True):
        lines = [c for c in found if c.index is index]
        drawn.contours.append(Shape("".join(paper.path(LineString(c.line)) for c in lines),
                                    "index" if index else ""))
        for c in lines if index else ():
            x, y = c.line[len(c.line) // 2]
            if paper.view.holds(x, y, 12) and len(c.line) > 20:
                drawn.letters.append(Letter(*paper.at(x, y), f"{c.level / unit:,.{places}f}",
                                            "level"))
    return f"{interval / unit:g} {'ft' if system == 'us' else 'm'}"


def _store_shape(drawn: Drawn, plan: Plan, i: int, paper: Paper) -> None:
    """What is drawn of a store on the ground."""
    from shapely import LineString

    place = plan.stores[i].placed
    if place.kind == "tank":
        return
    route = place.drain or place.route
    if route is not None:
        drawn.stores.append(Shape(paper.path(LineString(route.line)), place.kind, i))
    else:
        shape = base.rounded(place.outline, plan.inputs.dem.cell)
        drawn.stores.append(Shape(paper.path(shape), place.kind.replace(" ", "-"), i))
    if place.basin is not None and place.basin.has_wall:
        drawn.stores.append(Shape(paper.path(LineString(place.basin.line)), "wall", i))
