"""The designed ground, the works' lines and the stakes for machine control: LandXML 1.2.

References
----------
LandXML-1.2 schema, landxml.org, 2008, from memory: places are northing, easting, elevation.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.height_words import height_datum
from terrain.inputs.stated_day import stated_day
from terrain.outputs.field.breaklines import breaklines_of
from terrain.outputs.field.field_lines import lines_of
from terrain.outputs.field.mesh import TOLERANCE, Mesh, meshes
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.field.survey_frame import datum_words
from terrain.outputs.field.words import for_xml, levels_of, name_of
from terrain.units import in_both

FloatArray = NDArray[np.float64]

SPACE = "http://www.landxml.org/schema/LandXML-1.2"
#: Decimals of places and levels: a tenth of a millimetre, so that no triangle turns over.
DECIMALS = 4
IMPERIAL = {"areaUnit": "squareFoot", "volumeUnit": "cubicFeet", "temperatureUnit": "fahrenheit",
            "pressureUnit": "inHG"}
METRIC = {"areaUnit": "squareMeter", "volumeUnit": "cubicMeter", "temperatureUnit": "celsius",
          "pressureUnit": "milliBars"}
LINEAR = {"m": "meter", "ft": "foot", "us-ft": "USSurveyFoot"}


def write_landxml(field: SettingOut, path: Path) -> bool:
    """Write a surface for works that lie close together, lines as alignments, stakes as points.

    Places are of the drawing's frame and in its unit, levels too.

    Returns
    -------
    written : bool
        False where no work changes the ground.
    """
    plan = field.plan
    if plan.designed is None or field.grid is None:
        return False
    assert field.level is not None
    assert field.change is not None
    root = ET.Element("LandXML", {
        "xmlns": SPACE, "version": "1.2", "language": "English", "readOnly": "false"})
    # A day that somebody states, never the clock's, and none that is made up.
    day = stated_day(plan.site)
    if day is not None:
        root.set("date", day)
        root.set("time", "00:00:00")
    _units(root, field)
    system = {"name": for_xml(field.survey.name),
              "desc": for_xml(datum_words(plan.inputs.dem.frame))}
    datum = height_datum(plan.inputs.dem.frame.source)
    if datum is not None:
        system["verticalDatum"] = for_xml(datum)
    if field.survey.epsg is not None:
        system["epsgCode"] = str(field.survey.epsg)
    ET.SubElement(root, "CoordinateSystem", system)
    ET.SubElement(root, "Project", {
        "name": for_xml(plan.site.name), "desc": f"inputs_sha256 {field.made_from}"})
    ET.SubElement(root, "Application", {"name": "levelsill"})
    _points(root, field)
    _alignments(root, field)
    _surfaces(root, field, meshes(plan.inputs.dem, plan.designed.shapes, field.grid, field.level,
                                  field.change))
    ET.indent(root, " ")
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return True


def _units(root: ET.Element, field: SettingOut) -> None:
    key = field.survey.unit.key
    ET.SubElement(ET.SubElement(root, "Units"), "Metric" if key == "m" else "Imperial", {
        "linearUnit": LINEAR[key], **(METRIC if key == "m" else IMPERIAL),
        "angularUnit": "decimal degrees", "directionUnit": "decimal degrees"})


def _points(root: ET.Element, field: SettingOut) -> None:
    if not field.stakes:
        return
    group = ET.SubElement(root, "CgPoints", {"name": "stakes"})
    placed = field.survey.points(np.array([[s.stake.x, s.stake.y, s.stake.design]
                                           for s in field.stakes]))
    for staked, point in zip(field.stakes, placed, strict=True):
        ET.SubElement(group, "CgPoint", {
            "name": str(staked.number), "code": for_xml(staked.stake.mark),
            "desc": for_xml(f"{name_of(staked)}: {levels_of(field, staked)}")
        }).text = _northing_first(point)


def _alignments(root: ET.Element, field: SettingOut) -> None:
    lines = lines_of(field.plan)
    if not lines:
        return
    group = ET.SubElement(root, "Alignments", {"name": "lines of the works"})
    used: dict[str, int] = {}
    for line in lines:
        points = field.survey.points(line.points)
        steps = np.hypot(*np.diff(points[:, :2], axis=0).T)
        keep = np.append(True, steps > 0)
        points, length = points[keep], float(steps.sum())
        name = f"{line.work}, {line.name}"
        used[name] = used.get(name, 0) + 1
        alignment = ET.SubElement(group, "Alignment", {
            "name": for_xml(name if used[name] == 1 else f"{name} {used[name]}"),
            "length": f"{length:.{DECIMALS}f}",
            "staStart": f"{field.survey.unit.of(line.start):.{DECIMALS}f}"})
        shape = ET.SubElement(ET.SubElement(alignment, "CoordGeom"), "IrregularLine",
                              {"length": f"{length:.{DECIMALS}f}"})
        ET.SubElement(shape, "Start").text = _northing_first(points[0])
        ET.SubElement(shape, "End").text = _northing_first(points[-1])
        ET.SubElement(shape, "PntList3D").text = " ".join(_northing_first(p) for p in points)


def _surfaces(root: ET.Element, field: SettingOut, found: list[Mesh]) -> None:
    group = ET.SubElement(root, "Surfaces")
    for mesh in found:
        surface = ET.SubElement(group, "Surface", {
            "name": for_xml("designed ground, " + ", ".join(mesh.works)),
            "desc": "as freshly built; the triangles leave it by no more than "
                    f"{in_both(TOLERANCE, 'level', 3)} at the centres of the cells of "
                    "design_ground.tif"})
        source = ET.SubElement(ET.SubElement(surface, "SourceData"), "Breaklines")
        for line in breaklines_of(field):
            if line.work in mesh.works:
                bend = ET.SubElement(source, "Breakline", {
                    "brkType": "standard", "desc": for_xml(f"{line.work}, {line.name}")})
                ET.SubElement(bend, "PntList3D").text = " ".join(
                    _northing_first(p) for p in field.survey.points(line.points))
        _net(ET.SubElement(surface, "Definition", {"surfType": "TIN"}), field, mesh)


def _net(definition: ET.Element, field: SettingOut, mesh: Mesh) -> None:
    used = np.unique(mesh.faces)
    named = np.zeros(len(mesh.points), np.int64)
    named[used] = np.arange(1, len(used) + 1)
    points = ET.SubElement(definition, "Pnts")
    for number, point in enumerate(field.survey.points(mesh.points[used]), 1):
        ET.SubElement(points, "P", {"id": str(number)}).text = _northing_first(point)
    faces = ET.SubElement(definition, "Faces")
    for face in named[mesh.faces].tolist():
        ET.SubElement(faces, "F").text = " ".join(map(str, face))


def _northing_first(point: Any) -> str:
    east, north, level = (float(v) for v in point)
    return f"{north:.{DECIMALS}f} {east:.{DECIMALS}f} {level:.{DECIMALS}f}"
