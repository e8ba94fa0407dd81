"""The works on a map, and the ways of their spills."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from matplotlib.patches import Circle

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.map_features import (
    draw_breach,
    draw_drain,
    draw_hollow,
    draw_led,
    draw_pit,
    draw_pool,
    draw_sill,
    draw_spill,
    draw_swale_line,
    draw_tree_shape,
    draw_wall,
    joined,
    points_in,
    spill_parts,
)


def draw_works(on: GroundMap) -> None:
    """Draw every work of the plan that the map shows."""
    for index, planned in enumerate(on.plan.stores):
        if planned.placed.outline.intersects(on.view.box()):
            DRAW[planned.placed.kind](on, index)


def _swale(on: GroundMap, index: int) -> None:
    planned = on.plan.stores[index]
    assert planned.placed.route is not None
    draw_swale_line(on.ax, planned.placed.route.line, on.dem, on.view,
                    planned.swale.top_width if planned.swale else 2.0,
                    [c.chainage for c in planned.swale.checks] if planned.swale else ())
    on.ink_of(planned.placed.route.line)
    _sill(on, planned.placed.spill_x, planned.placed.spill_y)
    on.drawn.add("swale")


def _basin(on: GroundMap, index: int) -> None:
    placed = on.plan.stores[index].placed
    assert placed.basin is not None
    draw_pool(on.ax, placed.basin.outline, on.dem.cell)
    if placed.basin.has_wall:
        draw_wall(on.ax, placed.basin.line)
        on.drawn.add("wall")
    if placed.basin.rim is not None:
        draw_pit(on.ax, placed.basin.rim)
        on.drawn.add("pit")
    on.labels.ink(points_in(placed.basin.outline, on.view), 0.9)
    _sill(on, placed.spill_x, placed.spill_y)
    on.drawn.add("basin")


def _tree(on: GroundMap, index: int) -> None:
    placed = on.plan.stores[index].placed
    on.labels.ink(np.array([[placed.x, placed.y]]), 1.0, 4)
    on.drawn.add("tree basin" if placed.tree is None or placed.tree.form == "bowl"
                   else placed.tree.form)
    if placed.tree is not None and placed.tree.form != "bowl":
        draw_tree_shape(on.ax, placed.tree, on.view)
        on.labels.ink(points_in(placed.outline, on.view), 0.9)
        return
    west, _, east, _ = placed.outline.bounds
    radius = max((east - west) / 2, 3.2 * on.view.point)
    on.ax.add_patch(Circle((placed.x, placed.y), radius, facecolor=sy.TREE_FILL,
                             edgecolor=sy.TREE, linewidth=1.2, zorder=17, gid="tree basin"))


def _tank(on: GroundMap, index: int) -> None:
    placed = on.plan.stores[index].placed
    radius = 4.6 * on.view.point
    for at in ((placed.x, placed.y), *((other.x, other.y) for other in placed.joined)):
        for share, face in ((1.0, sy.PAPER), (0.62, sy.TANK)):
            on.ax.add_patch(Circle(at, radius * share, facecolor=face, edgecolor=sy.TANK,
                                     linewidth=1.3, zorder=19, gid="tank"))
        on.block_at(*at, 5.0)
    on.drawn.add("tank")


def _hollow(on: GroundMap, index: int) -> None:
    placed = on.plan.stores[index].placed
    draw_hollow(on.ax, placed.outline, on.dem.cell, on.view)
    on.labels.ink(points_in(placed.outline, on.view), 0.9)
    _sill(on, placed.spill_x, placed.spill_y)
    on.drawn.add("hollow")


def _drain(on: GroundMap, index: int) -> None:
    route = on.plan.stores[index].placed.drain
    assert route is not None
    draw_drain(on.ax, route.line, on.view)
    on.ink_of(route.line)
    on.drawn.add("drain")


def _sill(on: GroundMap, x: float, y: float) -> None:
    if on.view.holds(x, y):
        draw_sill(on.ax, x, y, on.view)
        on.block_at(x, y, 2.5)
        on.drawn.add("sill")


#: How a work of each kind is drawn.
DRAW: dict[str, Callable[[GroundMap, int], None]] = {
    "swale": _swale, "basin": _basin, "tree basin": _tree, "tank": _tank, "hollow": _hollow,
    "drain": _drain}


def draw_spills(on: GroundMap) -> None:
    """Ways of the spills, each drawn only until it joins another."""
    gone: set[tuple[int, int]] = set()
    order = sorted(range(len(on.plan.cascade.nodes)),
                   key=lambda i: (-len(on.plan.cascade.nodes[i].spill_path), i))
    for index in order:
        node, placed = on.plan.cascade.nodes[index], on.plan.stores[index].placed
        path = np.asarray(node.spill_path, float)
        led, over = spill_parts(node)
        within = node.spills_to is not None and (
            on.plan.stores[node.spills_to].placed.work.name == placed.work.name)
        if led is not None and len(led) > 1 and not (
                placed.kind == "drain" and node.spills_to is not None):
            on.drawn.add(draw_led(on.ax, led, on.view, node.led, arrows=not within))
            on.ink_of(led)
        if over is None or len(over) < 2 or len(path) < 2:
            continue
        rows, columns = on.dem.row_column(over[:, 0], over[:, 1])
        cells = [(int(r), int(c)) for r, c in zip(rows, columns, strict=True)]
        met = next((i for i, cell in enumerate(cells) if cell in gone), len(cells) - 1)
        gone.update(cells)
        if met < 1:
            continue
        way = joined(placed.spill_x, placed.spill_y, base.way_of(
            on.plan.terrain, np.array(cells[:met + 1])), on.dem.cell)
        draw_spill(on.ax, way, on.view)
        on.ink_of(way)
        on.drawn.add("spill")


def draw_breaches(on: GroundMap) -> None:
    """Ways of the water where banks fail, each drawn only until it joins another."""
    from shapely import LineString

    gone: set[tuple[int, int]] = set()
    order = sorted((breach for _, breach in on.plan.failing_banks),
                   key=lambda breach: -len(breach.way))
    for breach in order:
        rows, columns = on.dem.row_column(breach.way[:, 0], breach.way[:, 1])
        cells = [(int(r), int(c)) for r, c in zip(rows, columns, strict=True)]
        met = next((i for i, cell in enumerate(cells) if cell in gone), len(cells) - 1)
        gone.update(cells)
        if met < 1:
            continue
        way = base.way_of(on.plan.terrain, np.array(cells[:met + 1]))
        if not LineString(way).intersects(on.view.box()):
            continue
        draw_breach(on.ax, way)
        on.ink_of(way)
        on.drawn.add("breach")
