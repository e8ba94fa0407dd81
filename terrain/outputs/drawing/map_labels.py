"""The lettering of a map: works, run-on, roofs and roads."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.groups import Group
from terrain.outputs.drawing.labels import LEADER_FROM, Line
from terrain.plan.safety.gravity import is_grave
from terrain.units import shown

FloatArray = NDArray[np.float64]

#: The mark of a work that has grave cautions.
CAUTION = "\u26a0"
#: A roof this near to another is led to from its name, however near that stands; how far within
#: its edge a leader ends. [pt]
CROWDED, WITHIN = 30.0, 5.0


def label_works(on: GroundMap) -> None:
    """Name every work, with what it holds and how many grave cautions it has.

    Tanks stand close together: the name that finds the best place is written first.
    """
    tanks = []
    order = sorted(on.groups, key=lambda g: (g.kind != "swale", g.kind == "tank", g.name))
    for group in order:
        stores = [on.plan.stores[i] for i in group.members]
        if not any(s.placed.outline.intersects(on.view.box()) for s in stores):
            continue
        held = sum(s.store.capacity for s in stores)
        colour = {"tank": sy.TANK, "tree basin": sy.TREE}.get(group.kind, sy.WATER)
        lines = [Line(group.name, sy.LABEL_SIZE, colour, "bold")]
        if group.kind != "drain":
            lines.append(Line(sy.brief(held, "volume", on.system), sy.LABEL_SIZE, colour))
        grave = {said for store in stores for said in store.cautions if is_grave(said)}
        if grave:
            lines.append(Line(f"{CAUTION} {len(grave)}", sy.SMALL_SIZE, sy.SHED, "bold",
                              gid="caution"))
            on.drawn.add("caution")
        anchors, radius = anchors_of(on, group)
        if group.kind != "tank":
            on.labels.place(lines, anchors, radius, "work label")
            continue
        others = [anchors_of(on, other)[0] for other in order
                  if other is not group and other.kind == "tank"]
        tanks.append((lines, anchors, radius, np.concatenate(others) if others else None))
    for lines, anchors, radius, near in sorted(
            tanks, key=lambda tank: on.labels.cost_of(tank[0], tank[1], tank[2], tank[3])):
        on.labels.place(lines, anchors, radius, "work label", others=near)


def anchors_of(on: GroundMap, group: Group) -> tuple[FloatArray, float]:
    """Places that a label of works may belong to [m], and the radius of their symbol [pt]."""
    placed = [on.plan.stores[i].placed for i in group.members]
    route = placed[0].drain or placed[0].route
    if route is not None:
        from shapely.geometry import LineString

        line = LineString(route.line)
        spots = [line.interpolate(s, normalized=True) for s in (0.5, 0.35, 0.65, 0.2, 0.8, 0.05,
                                                               0.95)]
        return np.array([[p.x, p.y] for p in spots]), 3.0
    if group.kind in ("basin", "hollow"):
        ring = placed[0].outline.exterior if placed[0].outline.geom_type == "Polygon" else (
            placed[0].outline.convex_hull.exterior)
        spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 9)[:-1]]
        return np.array([[p.x, p.y] for p in spots]), 2.0
    return np.array([[p.x, p.y] for p in placed]), 5.0


def label_run_on(on: GroundMap, entries: list[tuple[float, float, float, bool]]) -> None:
    """Say beside each arrow from how much ground the run-on comes."""
    for x, y, area, cut_off in entries:
        size = shown(area, "land", on.system, 1 if area > 8000 else 2)
        words = ("run-on from", f"at least {size}") if cut_off else ("run-on", f"from {size}")
        on.labels.place([Line(part, sy.TEXT_SIZE, sy.WATER, style="italic")
                           for part in words], np.array([[x, y]]), 8.0, "run-on label",
                          far=100)


def label_roofs_and_roads(on: GroundMap, roofs_far: float) -> None:
    """Name roofs, each no further off than so many points, and roads."""
    box = on.view.box()
    for roof in sorted(on.ground.roofs, key=lambda each: each.outline.area):  # small ones first
        if not roof.outline.intersects(box):
            continue
        spot = roof.outline.representative_point()
        ring = roof.outline.convex_hull.exterior
        edge = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 9)[:-1]]
        anchors = np.array([[p.x, p.y] for p in edge])
        if not on.view.holds(spot.x, spot.y):
            continue
        near = roof.outline.buffer(CROWDED * on.view.point)
        crowded = any(other is not roof and other.outline.intersects(near)
                      for other in on.ground.roofs)
        on.labels.place([Line(roof.name, sy.SMALL_SIZE + 0.5, sy.ROOF_EDGE)], anchors, 0.0,
                        "roof label", far=roofs_far, within=_inside(on, roof.outline, anchors),
                        lead_from=0.0 if crowded else LEADER_FROM)
    _label_roads(on)


def _inside(on: GroundMap, outline: Any, anchors: FloatArray) -> FloatArray:
    """Where a leader to each anchor on a roof's edge ends within the roof. [m]"""
    from shapely.geometry import Point

    middle = outline.representative_point()
    heart = np.array([middle.x, middle.y])
    far = np.maximum(np.hypot(*(heart - anchors).T), 1e-9)
    share = np.minimum(WITHIN * on.view.point / far, 1.0)
    ends = anchors + (heart - anchors) * share[:, None]
    return np.array([end if outline.contains(Point(*end)) else heart for end in ends])


def _label_roads(on: GroundMap) -> None:
    """Name roads, each beside its longest stretch."""
    box = on.view.box()
    for road in on.ground.roads:
        shape = road.surface.intersection(box)
        if shape.is_empty:
            continue
        part = max(getattr(shape, "geoms", [shape]), key=lambda g: g.area)
        ring = part.exterior
        spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 25)[:-1]]
        on.labels.place([Line(road.name, sy.SMALL_SIZE + 0.5, sy.ROAD_INK, style="italic")],
                          np.array([[p.x, p.y] for p in spots]), 0.0, "road label", far=12,
                          leader=False)
