"""What the plan of every work's sheet shows: catchment, ways of the water, and lettering."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from numpy.typing import NDArray
from shapely import LineString

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.map_features import draw_led, draw_spill, joined
from terrain.outputs.sheets.sheet import Sheet
from terrain.outputs.sheets.subject import Subject, land
from terrain.works.footprints import along

FloatArray = NDArray[np.float64]

#: Water is drawn where it gathers from so many cells: even slopes would be covered by it.
FLOW_FROM = 150.0
#: Ink of a catchment's name.
CATCHMENT_INK = "#6b5a21"


def draw_subject(sheet: Sheet, subject: Subject) -> Callable[[], None]:
    """Draw the catchment, what lies about the work, and the ways of its spill.

    Returns
    -------
    letter : callable
        Letters what lies about it, once the work itself is lettered.
    """
    sheet.catchment(subject.cells)
    sheet.flow(FLOW_FROM)
    sheet.benchmark = subject.benchmark
    letter = subject.around(sheet)
    for way, led in subject.ways:
        if len(way) < 2:
            continue
        if led:
            draw_led(sheet.plan, way, sheet.view, led)
        else:
            cells = np.stack(sheet.dem.row_column(way[:, 0], way[:, 1]), 1)
            way = joined(float(way[0, 0]), float(way[0, 1]),
                         base.way_of(sheet.terrain, cells), sheet.dem.cell)
            draw_spill(sheet.plan, way, sheet.view)
        sheet.labels.ink_line(way, 1.0)
        sheet.ways.append(LineString(way))
    return letter


def end_plan(sheet: Sheet, subject: Subject, letter: Callable[[], None]) -> None:
    """Letter the spill, the catchment and what lies about; then the contours."""
    _label_spill(sheet, subject)
    letter()
    label_catchment(sheet, subject.cells, subject.area, subject.bound)
    sheet.finish_plan()


def _label_spill(sheet: Sheet, subject: Subject) -> None:
    """Write where the spill goes, where its way leaves the plan or ends."""
    if not subject.leads_to or not subject.ways:
        return
    way = np.concatenate([part for part, _ in subject.ways])
    inside = [point for point in way if sheet.view.holds(float(point[0]), float(point[1]), 14)]
    if inside:
        sheet.label([f"to {subject.leads_to}" if not subject.leads_to.startswith(("over", "off"))
                     else subject.leads_to], np.array(inside[::-1][::max(len(inside) // 4, 1)]),
                    sy.WATER, 3.0, 60)


def label_catchment(sheet: Sheet, cells: NDArray[np.bool_], area: float, bound: str) -> None:
    """Write the catchment's size in its broadest place."""
    from scipy.ndimage import distance_transform_edt

    mask = np.pad(sheet.cut(cells), 1)
    if not mask.any():
        return
    clear = mask.copy()
    for shape in sheet.works:  # its leader is not to end in the work
        clear[1:-1, 1:-1] &= ~_cells_in(sheet, shape)
    mask = clear if clear.any() else mask
    deep = distance_transform_edt(mask)[1:-1, 1:-1]
    row, column = np.unravel_index(np.argsort(-deep.ravel(), kind="stable")[:1], deep.shape)
    x, y = sheet.crop.xy(row, column)
    words = f"catchment, {bound}".strip(", ")
    sheet.label([words, land(area, sheet.system)], np.stack([x, y], 1), CATCHMENT_INK, 0.0, 100)


def _cells_in(sheet: Sheet, shape: Any) -> NDArray[np.bool_]:
    """Cells of the plan whose centres lie in a shape or close to it."""
    from shapely import contains_xy

    high, wide = sheet.crop.shape
    rows, columns = np.indices((high, wide))
    x, y = sheet.crop.xy(rows.ravel(), columns.ravel())
    return np.asarray(contains_xy(shape.buffer(sheet.crop.cell), x, y)).reshape(high, wide)


def draw_water_line(sheet: Sheet, shape: Any, gid: str, colour: str = sy.WATER,
                    width: float = 2.6) -> None:
    """Draw a line that stands out on a footprint, such as a sill."""
    x, y = np.asarray(shape.coords).T
    sheet.plan.add_line(Line2D(x, y, color=colour, linewidth=width, zorder=18, gid=gid,
                               solid_capstyle="butt", path_effects=sy.cased(width + 1.6)))


def point_at(line: FloatArray, chainage: float) -> tuple[FloatArray, FloatArray]:
    """A point of a line, and the unit vector to its left there."""
    points, left = along(line, np.array([chainage]))
    return points[0], left[0]


def sill_line(ring: Any, x: float, y: float, length: float) -> Any:
    """The part of a closed line so long about a place on it. [m]"""
    from shapely.geometry import Point

    on, half = ring.project(Point(x, y)), min(length, ring.length) / 2
    return LineString([ring.interpolate((on + at) % ring.length).coords[0]
                       for at in np.linspace(-half, half, 65)])


def label_places(shape: Any) -> FloatArray:
    """Places along a line, or round a shape, to put a label at; the middle of a line first."""
    if shape.geom_type == "LineString":
        spots = [shape.interpolate(s, normalized=True) for s in (0.5, 0.3, 0.7, 0.1, 0.9)]
    else:
        ring = shape.convex_hull.exterior
        spots = [ring.interpolate(s, normalized=True) for s in np.linspace(0, 1, 13)[:-1]]
    return np.array([[p.x, p.y] for p in spots])
