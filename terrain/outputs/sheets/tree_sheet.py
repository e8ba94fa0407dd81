"""The sheet of an entry of tree basins: the row in plan, one section, and a table of its trees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Line
from terrain.outputs.drawing.map_features import draw_sill, points_in
from terrain.outputs.sheets.sections import Section
from terrain.outputs.sheets.sheet import MARGIN, Sheet
from terrain.outputs.sheets.sheet_plan import draw_subject, draw_water_line, end_plan, sill_line
from terrain.outputs.sheets.subject import Subject
from terrain.outputs.sheets.tree_sections import tree_section
from terrain.units import PRINTED, shown
from terrain.works.footprints import bund_footprint
from terrain.works.ground_of_trees import tree_shape
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import TreeShape

FloatArray = NDArray[np.float64]

#: Height of the section. [in]
SECTION = 2.25
#: So many trees stand in the table; the rest are counted.
MOST_ROWS = 14


def tree_sheet(subject: Subject, trees: Sequence[TreeShape], areas: Sequence[float],
               heads: Sequence[float], rules: Rulebook) -> Figure:
    """Draw the sheet. A4, landscape.

    Parameters
    ----------
    areas : sequence of float
        Catchment of each tree. [m2]
    heads : sequence of float
        Depth over the sill of each at the design peak. [m]
    """
    from shapely import Polygon, union_all

    system, dem, form = subject.system, subject.terrain.dem, trees[0].form
    count = len(trees)
    shapes = [tree.outline for tree in trees]
    bunds = [bund_footprint(tree.crescent, rules["crescent top width"],
                            rules["crescent side slope"], (tree.x, tree.y))
             if tree.crescent is not None else None for tree in trees]
    edges = [_cut_edge(tree, dem, rules) for tree in trees]
    work = union_all([*shapes, *(bund for bund in bunds if bund is not None),
                      *(Polygon(edge).buffer(0) for edge in edges if edge is not None)])
    plural = {"bowl": "bowls", "crescent": "crescents", "trench": "trenches"}[form]
    sheet = Sheet(subject.terrain, subject.bounds(work), system, subject.name,
                  subject.titled(f"{count} {plural}" if count > 1 else f"a {form}"),
                  below=SECTION * subject.grows, block=subject.block)
    sheet.work(work)
    letter = draw_subject(sheet, subject)
    for tree, shape, bund, edge in zip(trees, shapes, bunds, edges, strict=True):
        if edge is not None:
            sheet.plan.add_line(Line2D(*edge.T, color=sy.EARTH, linewidth=0.9, zorder=15.9,
                                       linestyle=(0, (3, 2)), gid="cut edge"))
            sheet.labels.ink_line(edge, 0.6)
        base.draw_area(sheet.plan, shape, facecolor=sy.POOL, edgecolor=sy.WATER, linewidth=0.9,
                       zorder=16, gid="tree basin")
        sheet.labels.ink(points_in(shape, sheet.view), 0.9)
        if bund is not None:
            base.draw_area(sheet.plan, bund, facecolor=sy.BERM, edgecolor=sy.EARTH, linewidth=0.8,
                           zorder=16.5, gid="bund")
        sheet.plan.add_patch(Circle((tree.x, tree.y), tree.crown / 2, facecolor="none",
                                    edgecolor=sy.TREE, linewidth=0.9, linestyle=(0, (3, 2)),
                                    zorder=16.8, gid="crown"))
        sheet.plan.add_patch(Circle((tree.x, tree.y), 2.4 * sheet.view.point, facecolor=sy.TREE,
                                    edgecolor=sy.PAPER, linewidth=0.7, zorder=17.2, gid="tree"))
        sheet.labels.ink(np.array([[tree.x, tree.y]]), 1.0, 3)
        _draw_sills(sheet, tree)
    sheet.corner()
    for number, tree in enumerate(trees, 1):
        if count > 1:
            sheet.labels.place([Line(str(number), sy.LABEL_SIZE, sy.TREE, "bold")],
                               np.array([[tree.x, tree.y]]), 2.5, "tree number", 40)
    first = trees[0]
    each = " each" if count > 1 or form == "crescent" else ""
    sheet.label([f"sill{'s' if each else ''}, {shown(first.lip, 'length', system)} wide{each}"],
                np.array([[tree.spill_x, tree.spill_y] for tree in trees]), sy.WATER, 4.0, 60)
    drawn = next((edge for edge in edges if edge is not None), None)
    if drawn is not None:
        sheet.label(["edge of the cut"], drawn[::max(len(drawn) // 12, 1)], sy.EARTH, 0.0, 40)
    for shape in shapes:  # nothing is written on a tree
        west, south, east, north = shape.bounds
        corners = sheet.plan.transData.transform([(west, south), (east, north)])
        sheet.labels.block(Bbox(corners))
    end_plan(sheet, subject, letter)
    typical = sorted(range(count), key=lambda i: (trees[i].curve.capacity, i))[count // 2]
    tree_section(Section(sheet.figure, MARGIN, MARGIN, sheet.left_wide, SECTION * subject.grows),
                 trees[typical], f"tree {typical + 1}" if count > 1 else "the tree", dem, rules,
                 system, heads[typical])
    sheet.head("Figures")
    held = sum(tree.curve.capacity for tree in trees)
    sheet.rows([("holds, up to their sills" if count > 1 else "holds, up to its sill",
                 shown(held, "volume", system, 2 if system == "metric" and held < 10 else None)),
                subject.catchment_row(),
                ("crown" if form == "bowl" else "crown, dashed on the plan",
                 shown(trees[0].crown, "length", system)),
                *([("trench, along the contour", shown(trees[0].length, "level", system))]
                  if form == "trench" else []),
                *subject.earth_rows(sheet, "bund as built"), *subject.spill_row()])
    _table(sheet, trees, areas)
    sheet.cautions(subject.cautions, subject.rests_on, subject.told_in)
    return sheet.figure


def _cut_edge(tree: TreeShape, dem: Dem, rules: Rulebook) -> FloatArray | None:
    """Where the sides of a bowl's cut come out of the ground; None for other forms."""
    lines = tree_shape(dem, tree, "", rules).breaklines if tree.form == "bowl" else ()
    return next((line.points[:, :2] for line in lines if line.name == "edge of the cut"), None)


def _draw_sills(sheet: Sheet, tree: TreeShape) -> None:
    """Where a tree's basin spills: a part of its rim, or both tips of a crescent."""
    if tree.crescent is not None:
        for x, y in tree.crescent.arc[[0, -1]]:
            draw_sill(sheet.plan, float(x), float(y), sheet.view)
            sheet.labels.ink(np.array([[x, y]]), 1.0, 3)
        return
    line = sill_line(tree.outline.exterior, tree.spill_x, tree.spill_y, tree.lip)
    draw_water_line(sheet, line, "sill line", width=2.0)
    sheet.labels.ink_line(np.asarray(line.coords), 1.0, 3)


def _table(sheet: Sheet, trees: Sequence[TreeShape], areas: Sequence[float]) -> None:
    """Levels, depth, volume and catchment of each tree's basin."""
    system, column = sheet.system, sheet.column
    sheet.head("Trees")
    level, volume, area = (PRINTED[what][system == "us"][0] for what in ("level", "volume", "area"))
    places = (0.28, 0.48, 0.64, 0.81, 1.0)
    wide = column.width
    column.row([(0, "left", "tree")] + [
        (wide * at, "right", words) for at, words in zip(
            places, (f"sill, {level}", f"floor, {level}",
                     "deep" if system == "us" else f"deep, {level}", f"holds, {volume}",
                     f"ground, {area}"), strict=True)], sy.SMALL_SIZE, sy.SOFT_INK)
    kept = len(trees) if len(trees) <= MOST_ROWS else MOST_ROWS - 1
    for number, (tree, ground) in enumerate(zip(trees[:kept], areas[:kept], strict=True), 1):
        values = [shown(tree.level, "level", system, with_unit=False),
                  shown(tree.level - tree.depth, "level", system, with_unit=False),
                  shown(tree.depth, "size", system, with_unit=system == "us"),
                  shown(tree.curve.capacity, "volume", system, 2 if system == "metric" else None,
                        with_unit=False), shown(ground, "area", system, with_unit=False)]
        column.row([(0, "left", str(number))] + [
            (wide * at, "right", value) for at, value in zip(places, values, strict=True)],
            lead=1.36 if sheet.block is None else 1.24)
    if kept < len(trees):
        column.text(f"{len(trees) - kept} more trees stand in plan.json.", sy.SMALL_SIZE,
                    sy.SHED, style="italic")
