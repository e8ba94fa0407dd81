"""Stakes and lines for a phone or a hand-held receiver: GPX 1.1.

References
----------
GPX 1.1 Schema Documentation, topografix.com/GPX/1/1: waypoints before tracks, WGS 84 degrees.
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from terrain.outputs.field.field_lines import lines_of
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.field.survey_frame import datum_words
from terrain.outputs.field.words import add_text, levels_of, name_of

SPACE = "http://www.topografix.com/GPX/1/1"


def write_gpx(field: SettingOut, path: Path) -> bool:
    """Write stakes as waypoints and lines as tracks, their heights the design levels in metres.

    Returns
    -------
    written : bool
        False where the raster has no CRS, so that nothing can be placed in degrees.
    """
    frame = field.plan.inputs.dem.frame
    if frame.working is None:
        return False
    root = ET.Element("gpx", {"xmlns": SPACE, "version": "1.1", "creator": "levelsill"})
    about = ET.SubElement(root, "metadata")
    add_text(about, "name", field.plan.site.name)
    add_text(about, "desc", "Stakes to set out; heights are design levels in metres; "
             f"{datum_words(frame)}. A phone finds a stake to some metres: set levels with a "
             f"level. inputs_sha256 {field.made_from}")
    for staked in field.stakes:
        point = ET.SubElement(root, "wpt", _at(staked.at.longitude, staked.at.latitude))
        add_text(point, "ele", f"{staked.stake.design:.3f}")
        add_text(point, "name", name_of(staked))
        add_text(point, "desc", levels_of(field, staked))
        add_text(point, "type", staked.stake.mark)
    for line in lines_of(field.plan):
        track = ET.SubElement(root, "trk")
        add_text(track, "name", f"{line.work}, {line.name}")
        part = ET.SubElement(track, "trkseg")
        degrees = frame.to_lonlat(line.points[:, 0], line.points[:, 1])
        assert degrees is not None
        for lon, lat, level in zip(*degrees, line.points[:, 2], strict=True):
            add_text(ET.SubElement(part, "trkpt", _at(lon, lat)), "ele", f"{level:.3f}")
    ET.indent(root, " ")
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return True


def _at(lon: float | None, lat: float | None) -> dict[str, str]:
    return {"lat": f"{lat:.9f}", "lon": f"{lon:.9f}"}
