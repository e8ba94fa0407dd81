"""Stakes and lines for a phone's map: KML 2.2.

References
----------
OGC 07-147r2, OGC KML, version 2.2.0: longitude, latitude, height in WGS 84; colours aabbggrr.
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from terrain.outputs.field.field_lines import FieldLine, lines_of
from terrain.outputs.field.setting_out import SettingOut, Staked
from terrain.outputs.field.survey_frame import datum_words
from terrain.outputs.field.words import add_text, levels_of, name_of

SPACE = "http://www.opengis.net/kml/2.2"
#: Stakes white, as proposed digging is painted (Common Ground Alliance's uniform colour code, from
#: memory); lines dark blue.  As aabbggrr.
STAKE_COLOUR, LINE_COLOUR, LINE_WIDTH = "ffffffff", "ff7a3b12", "3"


def write_kml(field: SettingOut, path: Path) -> bool:
    """Write stakes as placemarks and lines as line strings, a folder for each work.

    Returns
    -------
    written : bool
        False where the raster has no CRS, so that nothing can be placed in degrees.
    """
    frame = field.plan.inputs.dem.frame
    if frame.working is None:
        return False
    root = ET.Element("kml", {"xmlns": SPACE})
    document = ET.SubElement(root, "Document")
    add_text(document, "name", field.plan.site.name)
    add_text(document, "description", f"Stakes to set out; {datum_words(frame)}. A phone finds a "
             f"stake to some metres: set levels with a level. inputs_sha256 {field.made_from}")
    stakes = ET.SubElement(ET.SubElement(document, "Style", {"id": "stake"}), "IconStyle")
    add_text(stakes, "color", STAKE_COLOUR)
    add_text(stakes, "scale", "0.7")
    lines = ET.SubElement(ET.SubElement(document, "Style", {"id": "line"}), "LineStyle")
    add_text(lines, "color", LINE_COLOUR)
    add_text(lines, "width", LINE_WIDTH)
    by_work: dict[str, list[FieldLine]] = {}
    for line in lines_of(field.plan):
        by_work.setdefault(line.work, []).append(line)
    for work, staked in field.works.items():
        folder = ET.SubElement(document, "Folder")
        add_text(folder, "name", work)
        for one in staked:
            _stake(folder, field, one)
        for line in by_work.get(work, []):
            degrees = frame.to_lonlat(line.points[:, 0], line.points[:, 1])
            assert degrees is not None
            _line(folder, line, [f"{lon:.9f},{lat:.9f},{level:.3f}" for lon, lat, level in
                                 zip(*degrees, line.points[:, 2], strict=True)])
    ET.indent(root, " ")
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return True


def _stake(folder: ET.Element, field: SettingOut, staked: Staked) -> None:
    mark = ET.SubElement(folder, "Placemark")
    add_text(mark, "name", name_of(staked))
    add_text(mark, "description", levels_of(field, staked))
    add_text(mark, "styleUrl", "#stake")
    data, unit = ET.SubElement(mark, "ExtendedData"), field.unit
    for name, value in (("stake", str(staked.number)), ("mark", staked.stake.mark),
                        *((f"{name}_{unit.suffix}", f"{unit.of(level):.3f}") for name, level in (
                            ("design", staked.stake.design), ("ground", staked.stake.ground),
                            ("cut", staked.stake.cut)))):
        add_text(ET.SubElement(data, "Data", {"name": name}), "value", value)
    point = ET.SubElement(mark, "Point")
    add_text(point, "altitudeMode", "clampToGround")
    add_text(point, "coordinates",
          f"{staked.at.longitude:.9f},{staked.at.latitude:.9f},{staked.stake.design:.3f}")


def _line(folder: ET.Element, line: FieldLine, places: list[str]) -> None:
    mark = ET.SubElement(folder, "Placemark")
    add_text(mark, "name", f"{line.work}, {line.name}")
    add_text(mark, "styleUrl", "#line")
    drawn = ET.SubElement(mark, "LineString")
    add_text(drawn, "tessellate", "1")
    add_text(drawn, "altitudeMode", "clampToGround")
    add_text(drawn, "coordinates", " ".join(places))
