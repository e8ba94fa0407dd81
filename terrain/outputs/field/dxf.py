"""Stakes, lines, breaklines and contours of the designed ground for CAD and machines: DXF.

References
----------
The published DXF reference, version AC1024 (2010): header variable $INSUNITS, control codes in
text.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.field.breaklines import breaklines_of
from terrain.outputs.field.field_lines import lines_of
from terrain.outputs.field.mesh import rectangles
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.field.survey_frame import datum_words

FloatArray = NDArray[np.float64]

#: layer: colour of the index, white on a dark screen and black on a light one being 7.
LAYERS = {"stakes": 7, "stake text": 7, "offset stakes": 6, "offset text": 6, "work lines": 5,
          "work text": 5, "breaklines": 3, "contours": 8, "contours main": 30, "contour text": 30,
          "benchmark": 1, "set-ups": 4, "boundary": 9, "notes": 7}
#: Value of $INSUNITS: metres, feet, US survey feet.
INSUNITS = {"m": 6, "ft": 2, "us-ft": 21}
#: Step of contours by the drawing's unit; every so many is a main one.
STEP, MAIN = {"m": 0.25, "ft": 1.0, "us-ft": 1.0}, {"m": 4, "ft": 5, "us-ft": 5}
#: Height of text about stakes; contours are thinned by no more than this. [m]
TEXT, THINNED = 0.2, 0.03
#: Labels of stakes that stand side by side are set so many heights higher or lower.
ASIDE = {"bed": 1.2, "check": 1.2, "floor": 1.2, "cut-off": 1.2, "berm": -1.6}
#: Contours shorter than this are left out. [m]
SHORTEST = 0.5


def write_dxf(field: SettingOut, path: Path) -> None:
    """Write the drawing; places true to the raster's CRS, levels in the same unit.

    A raster in degrees is drawn in the working frame, in metres.
    """
    ezdxf: Any = import_module("ezdxf")
    options = ezdxf.options
    # The same plan gives the same bytes: no time of writing and no random name in the file.
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document: Any = ezdxf.new("R2010", setup=False)
        key = field.survey.unit.key
        document.header["$INSUNITS"] = INSUNITS[key]
        document.header["$MEASUREMENT"] = int(key == "m")
        document.header["$PDMODE"], document.header["$PDSIZE"] = 34, _size(field) * 0.8
        for name, colour in LAYERS.items():
            document.layers.add(name, color=colour)
        sheet = document.modelspace()
        _ground(field, sheet)
        _lines(field, sheet)
        _stakes(field, sheet)
        _marks(field, sheet)
        _notes(field, sheet)
        _opened(document, sheet)
        # ezdxf would add these in the order of a set, which no two runs share.
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        document.saveas(path)
    finally:
        options.write_fixed_meta_data_for_testing = before


def _opened(document: Any, sheet: Any) -> None:
    """Say how far the drawing reaches, and open it on all of it."""
    from ezdxf import bbox, zoom

    reach = bbox.extents(sheet, fast=True)
    if reach.has_data:
        sheet.reset_extents(reach.extmin, reach.extmax)
        zoom.window(sheet, reach.extmin, reach.extmax)


def _size(field: SettingOut) -> float:
    return field.survey.unit.of(TEXT)


def for_dxf(text: str) -> str:
    """Text without what a drawing takes for a control code or a line's end."""
    text = "".join(" " if ord(c) < 32 or 127 <= ord(c) < 160 else c for c in text)
    # ^J and the like, %%c and the like: a blank between breaks the code.
    return text.replace("^", "^ ").replace("%%", "% %").replace("\\U+", "\\ U+")


def _text(sheet: Any, layer: str, said: str, at: FloatArray, height: float) -> None:
    sheet.add_text(for_dxf(said), height=height,
                   dxfattribs={"layer": layer}).set_placement(tuple(map(float, at)))


def _polyline(sheet: Any, layer: str, points: FloatArray) -> None:
    level = float(points[0, 2])
    # A ring is closed as drawings close one, not by coming back to its start.
    close = len(points) > 3 and bool((np.abs(points[0] - points[-1]) < 1e-6).all())
    points = points[:-1] if close else points
    if (points[:, 2] == level).all():
        # A level line holds its level once, and its points are of two numbers: a tenth of the
        # time and half the file.
        sheet.add_lwpolyline(points[:, :2], format="xy", close=close,
                             dxfattribs={"layer": layer, "elevation": level})
    else:
        sheet.add_polyline3d(points.tolist(), close=close, dxfattribs={"layer": layer})


def _stakes(field: SettingOut, sheet: Any) -> None:
    size, unit = _size(field), field.survey.unit
    beside = np.array([0.6, 0.3, 0.0]) * size
    for staked in field.stakes:
        stake, offset = staked.stake, staked.offset
        at = field.survey.points(np.array([[stake.x, stake.y, stake.design]]))[0]
        sheet.add_point(tuple(map(float, at)), dxfattribs={"layer": "stakes"})
        _text(sheet, "stake text", f"{staked.number} {stake.mark} {unit.of(stake.design):.3f}",
              at + beside + np.array([0.0, ASIDE.get(stake.mark, 0.0) * size, 0.0]), size)
        if offset is None:
            continue
        at = field.survey.points(np.array([[offset.x, offset.y, offset.ground]]))[0]
        sheet.add_point(tuple(map(float, at)), dxfattribs={"layer": "offset stakes"})
        word = "C" if offset.cut >= 0 else "F"
        _text(sheet, "offset text", f"{staked.number} off {unit.of(offset.distance):.2f} "
              f"{word} {abs(unit.of(offset.cut)):.2f}", at + beside, size * 0.8)


def _lines(field: SettingOut, sheet: Any) -> None:
    named: set[str] = set()
    for line in lines_of(field.plan):
        points = field.survey.points(line.points)
        _polyline(sheet, "work lines", points)
        if line.work not in named:
            named.add(line.work)
            _text(sheet, "work text", line.work, points[0] - [0, 4 * _size(field), 0],
                  2 * _size(field))
    for line in breaklines_of(field):
        _polyline(sheet, "breaklines", field.survey.points(line.points))
    boundary = field.plan.inputs.ground.boundary
    for part in getattr(boundary, "geoms", [boundary]):
        xy = np.asarray(part.exterior.coords)[:-1, :2]
        placed = field.survey.points(np.column_stack([xy, np.zeros(len(xy))]))
        sheet.add_lwpolyline([tuple(map(float, p[:2])) for p in placed], close=True,
                             dxfattribs={"layer": "boundary"})


def _ground(field: SettingOut, sheet: Any) -> None:
    """Contours of the designed ground about the works."""
    import contourpy
    from shapely import LineString

    designed, grid = field.plan.designed, field.grid
    if designed is None or grid is None or field.level is None:
        return
    unit = field.survey.unit
    step, main = STEP[unit.key], MAIN[unit.key]
    for bounds, _ in rectangles(designed.shapes):
        window = grid.window(bounds)
        part = grid.part(*window)
        level = field.level[window]
        level = np.where(np.isnan(level), part.heights(field.plan.inputs.dem), level)
        level = level * unit.of(1.0)
        if not np.isfinite(level).any():
            continue
        traced = contourpy.contour_generator(part.x, part.y, np.ma.masked_invalid(level))
        first = int(np.ceil(np.nanmin(level) / step))
        for count in range(first, int(np.floor(np.nanmax(level) / step)) + 1):
            # A hair off, so that flat floors at that very level give no tangle.
            for line in traced.lines(count * step + 1e-4 * step):
                thin = LineString(line).simplify(THINNED)
                if thin.length < SHORTEST:
                    continue
                xy = np.asarray(thin.coords)
                east, north = field.survey.place(xy[:, 0], xy[:, 1])
                points = np.column_stack([east, north, np.full(len(xy), count * step)])
                _polyline(sheet, "contours main" if count % main == 0 else "contours", points)
                if count % main == 0:
                    _text(sheet, "contour text", f"{count * step:g}", points[len(points) // 2],
                          _size(field) * 0.8)


def _marks(field: SettingOut, sheet: Any) -> None:
    size, unit = _size(field), field.survey.unit
    if field.benchmark is not None:
        mark = field.benchmark
        at = field.survey.points(np.array([[mark.x, mark.y, mark.level]]))[0]
        sheet.add_point(tuple(map(float, at)), dxfattribs={"layer": "benchmark"})
        _text(sheet, "benchmark", f"benchmark {unit.of(mark.level):.3f}",
              at + np.array([0.6, 0.3, 0.0]) * size, 1.5 * size)
    for set_up in field.set_ups:
        at = field.survey.points(np.array([[set_up.x, set_up.y, set_up.height]]))[0]
        sheet.add_point(tuple(map(float, at)), dxfattribs={"layer": "set-ups"})
        _text(sheet, "set-ups", f"set-up {set_up.number}, line of sight {at[2]:.3f}",
              at + np.array([0.6, 0.3, 0.0]) * size, 1.5 * size)
    for peg in field.pegs:
        at = field.survey.points(np.array([[peg.back_x, peg.back_y, peg.back_level]]))[0]
        sheet.add_point(tuple(map(float, at)), dxfattribs={"layer": "set-ups"})
        _text(sheet, "set-ups", f"{peg.back}, from set-up {peg.of}, ground {at[2]:.2f}",
              at + np.array([0.6, 0.3, 0.0]) * size, 1.5 * size)


def _notes(field: SettingOut, sheet: Any) -> None:
    """What the drawing is and in which unit, below it."""
    places = [(s.stake.x, s.stake.y) for s in field.stakes]
    if not places:
        return
    x, y = np.array(places).T
    size = 2 * _size(field)
    at = field.survey.points(np.array([[x.min(), y.min(), 0.0]]))[0] - [0, 8 * size, 0]
    said = [f"{field.plan.site.name}: designed ground, as freshly built, and stakes",
            f"Coordinates: {field.survey.name}"
            + (f", EPSG:{field.survey.epsg}" if field.survey.epsg else ""),
            f"Unit of places and levels: {field.survey.unit.words}",
            f"Contours every {STEP[field.survey.unit.key]:g} {field.survey.unit.sign}; "
            + datum_words(field.plan.inputs.dem.frame),
            f"inputs_sha256 {field.made_from}"]
    if field.survey.unit.key != field.unit.key:
        said.insert(3, f"The tables of stakes are in {field.unit.words}, this drawing is not")
    for number, line in enumerate(said):
        _text(sheet, "notes", line, at - [0, 2 * number * size, 0], size)
