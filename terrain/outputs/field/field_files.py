"""All files for the field: the table beside the plan, the rest in a folder of its own."""

from __future__ import annotations

from pathlib import Path

from terrain.outputs.field.dxf import write_dxf
from terrain.outputs.field.gpx import write_gpx
from terrain.outputs.field.kml import write_kml
from terrain.outputs.field.landxml import write_landxml
from terrain.outputs.field.paper import write_paper
from terrain.outputs.field.setting_out import SettingOut
from terrain.outputs.field.stake_table import write_stake_table

TABLE, FOLDER = "setting_out.csv", "field"


def write_field(field: SettingOut, folder: Path) -> None:
    """Write `setting_out.csv`, and into `field/` paper, GPX, KML, DXF and LandXML, all of one list.

    Without stakes there is the empty table alone; without a CRS no GPX and KML.
    """
    write_stake_table(field, folder / TABLE)
    if not field.stakes:
        return
    inner = folder / FOLDER
    inner.mkdir(exist_ok=True)
    write_paper(field, inner / "stakes.pdf")
    write_gpx(field, inner / "stakes.gpx")
    write_kml(field, inner / "stakes.kml")
    write_dxf(field, inner / "design.dxf")
    write_landxml(field, inner / "design.xml")
