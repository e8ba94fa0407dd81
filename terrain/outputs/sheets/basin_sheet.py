"""The sheet of a basin: its plan, its sections, its wall along its line, its figures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.map_features import draw_pit, draw_pool, points_in
from terrain.outputs.sheets.basin_charts import basin_charts
from terrain.outputs.sheets.basin_sections import basin_section, dug_section, wall_long_profile
from terrain.outputs.sheets.sections import CUT, Section
from terrain.outputs.sheets.sheet import MARGIN, Sheet
from terrain.outputs.sheets.sheet_plan import (
    draw_subject,
    draw_water_line,
    end_plan,
    label_places,
    sill_line,
)
from terrain.outputs.sheets.subject import Subject
from terrain.plan.water.catches import CatchCurve
from terrain.units import shown
from terrain.works.basin import Basin
from terrain.works.footprints import cut_edge, pit_footprint, wall_footprint
from terrain.works.ground_of_bank import spillway_floor

FloatArray = NDArray[np.float64]

#: The pool is named from places of its edge that lie further from the wall than this share of the
#: furthest: a name on the dry side would say that water stands there.
FROM_WALL = 0.5
FORMS = {"wall": "behind a wall", "dug": "dug into the ground",
         "wall and pit": "behind a wall, with a pit"}
#: Heights of the section, of the charts above it, and of the second section or long profile. [in]
SECTION, CHARTS, SECOND = 2.05, 1.55, 1.6


def basin_sheet(subject: Subject, basin: Basin, holds: float,
                charts: tuple[CatchCurve | None, Sequence[tuple[float, float]]] | None = None
                ) -> Figure:
    """Draw the sheet. A4, landscape.

    Parameters
    ----------
    holds : float
        [m3]
    charts : (CatchCurve or None, rains [mm] with what is caught of each [m3]), optional
        For a sheet that answers how much is caught; left out, the wall's long profile, or a
        section across the pit, stands in their place.
    """
    from shapely import LineString, Polygon, union_all

    system, dem = subject.system, subject.terrain.dem
    second = (CHARTS if charts is not None else SECOND) * subject.grows
    section = SECTION * subject.grows
    pit, beyond = pit_footprint(basin), cut_edge(basin, dem)
    taken = [basin.outline, LineString(basin.line)]
    if beyond is not None:
        taken.append(Polygon(beyond).buffer(0))
    if basin.has_wall:
        floor, lip = spillway_floor(dem, basin)
        top, ground = wall_footprint(basin, dem)
        taken += [floor, ground]
    work = union_all(taken)
    sheet = Sheet(subject.terrain, subject.bounds(work), system, subject.name,
                  subject.titled(f"{FORMS[basin.form]}, sill at "
                                 f"{shown(basin.sill.level, 'level', system)}"),
                  below=section + second + 0.12, block=subject.block)
    sheet.work(work)
    letter = draw_subject(sheet, subject)
    draw_pool(sheet.plan, basin.outline, dem.cell)
    sheet.labels.ink(points_in(basin.outline, sheet.view), 0.9)
    if pit is not None:
        rim, bed = pit
        draw_pit(sheet.plan, np.asarray(rim.exterior.coords))
        if beyond is not None:
            x, y = beyond.T
            sheet.plan.add_line(Line2D(x, y, color=sy.EARTH, linewidth=0.9, zorder=15.9,
                                       linestyle=(0, (3, 2)), gid="cut edge"))
            sheet.labels.ink_line(beyond, 0.6)
        if not bed.is_empty:
            base.draw_area(sheet.plan, bed, facecolor="none", edgecolor=sy.WATER, linewidth=0.9,
                           zorder=16.4, gid="floor")
    if basin.has_wall:
        base.draw_area(sheet.plan, floor, facecolor=CUT, edgecolor=sy.EARTH, linewidth=0.9,
                       alpha=0.85, linestyle=(0, (3, 2)), zorder=16.8, gid="spillway",
                       hatch="//")
        sheet.plan.add_line(Line2D(*lip.T, color=sy.WATER, linewidth=2.2, zorder=17.2,
                                   gid="spillway sill"))
        sheet.labels.ink(points_in(floor, sheet.view), 0.5)
        for shape, face, gid in ((ground, sy.BERM, "toes"), (top, sy.EARTH, "wall")):
            base.draw_area(sheet.plan, shape, facecolor=face, edgecolor=sy.EARTH, linewidth=0.8,
                           zorder=17, gid=gid)
        sheet.labels.ink_line(basin.line, 1.0, 3)
    sill = LineString(lip) if basin.has_wall else sill_line(
        LineString(basin.line), basin.sill_x, basin.sill_y, basin.sill.length)
    if not basin.has_wall:
        draw_water_line(sheet, sill, "sill line")
    sheet.labels.ink_line(np.asarray(sill.coords), 1.0, 4)
    sheet.corner()
    sheet.label([f"sill, {shown(basin.sill.length, 'length', system)} long"],
                label_places(sill), sy.WATER, 4.0, 90)
    sheet.label(["pool", sy.brief(holds, "volume", system)], _in_pool(basin), sy.WATER,
                2.0)
    if basin.has_wall:
        sheet.label(["spillway floor"], label_places(floor), sy.EARTH, 0.0, 60)
    if charts is None:
        if basin.has_wall:
            sheet.chainages(basin.line, 0.0)
        if pit is not None and not pit[1].is_empty:
            sheet.label(["pit" if basin.has_wall else "floor"], label_places(pit[1]), sy.WATER, 0.0,
                        60)
            if beyond is not None:
                sheet.label(["edge of the cut"], beyond[::max(len(beyond) // 12, 1)], sy.EARTH,
                            0.0, 20)
    end_plan(sheet, subject, letter)
    figure, wide = sheet.figure, sheet.left_wide
    basin_section(Section(figure, MARGIN, MARGIN, wide, section), basin, dem, system)
    above = MARGIN + section + 0.12
    if charts is not None:
        basin_charts(figure, MARGIN, above, wide, second, basin, *charts, system)
    elif basin.has_wall:
        wall_long_profile(figure, MARGIN, above, wide, second, basin, dem, system)
    else:
        dug_section(Section(figure, MARGIN, above, wide, second), basin, dem, system, across=True)
    sheet.head("Figures")
    rows = [("holds, up to its sill", shown(holds, "volume", system))]
    if basin.has_wall:
        rows.append(("as behind a thin wall", f"{shown(basin.gross, 'volume', system)}, "
                                              f"{shown(basin.gross_area, 'ground', system)}"))
    sheet.rows([
        *rows, ("pool, full", shown(basin.pool_area, "ground", system)), subject.catchment_row(),
        ("deepest water", shown(basin.deepest_water, "size", system)),
        ("sill, level", shown(basin.sill.level, "level", system)),
        ("sill, long", shown(basin.sill.length, "length", system)),
        ("water on the sill, design peak", shown(basin.sill.head, "size", system)),
        *subject.earth_rows(sheet, "wall and trench"),
        *([("of the cut, the spillway", shown(basin.spillway, "earth", system))]
          if basin.spillway else []), *subject.spill_row()])
    sheet.storms(subject.storms, store=True)
    sheet.cautions(subject.cautions, subject.rests_on, subject.told_in)
    return sheet.figure


def _in_pool(basin: Basin) -> FloatArray:
    """Places at the pool's edge to name it from: behind a wall those far from it. [m]"""
    from shapely import LineString, distance, points

    spots = label_places(basin.outline)
    if not basin.has_wall:
        return spots
    away = distance(points(spots), LineString(basin.line))
    return np.asarray(spots[away > FROM_WALL * away.max()])
