"""Small plans whose field files are read back: one in metres, one in US survey feet."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from shapely import affinity

from terrain.outputs.field.field_files import write_field
from terrain.outputs.field.setting_out import SettingOut, setting_out
from terrain.plan.plan import make_plan

#: A name that breaks what does not escape it: quotes, markup, a formula, codes of drawings.
HOSTILE = '''=1+1, "a" & <b>'c'</b> %%d ^J {\\H}'''
#: Texas Central in US survey feet (EPSG:2277), and a place within it.
FEET_CRS, EAST, NORTH = "EPSG:2277", 2_300_000.0, 10_200_000.0
US_FOOT = 1200 / 3937  # National Bureau of Standards, Federal Register notice of 1959


@dataclass(frozen=True)
class Written:
    """A list of stakes, and the folder into which all its files were written."""

    field: SettingOut
    folder: Path
    plan: Any


@pytest.fixture(scope="session")
def metric(small_site_folder, tmp_path_factory) -> Written:
    """The small site, its swale and itself named as badly as can be."""
    path = small_site_folder(tmp_path_factory.mktemp("metric"))
    quoted = HOSTILE.replace("'", "''")
    text = path.read_text().replace("name: Small valley", f"name: '{quoted}'")
    text = text.replace("name: east swale", f"name: '{quoted}'")
    path.write_text(text + "benchmark: {at: [500085, 6399955], level: 203.0 m}\n"
                           "setting out: {offset: 1.5 m}\n")
    return _written(path, tmp_path_factory)


@pytest.fixture(scope="session")
def feet(small_site_folder, tmp_path_factory) -> Written:
    """The same ground in Texas, in US survey feet, for a site in US units."""
    path = small_site_folder(tmp_path_factory.mktemp("feet"))
    folder = path.parent
    with rasterio.open(folder / "ground.tif") as held:
        heights, place = held.read(1), held.transform
    west, north = _moved(place.c, place.f)
    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", height=heights.shape[0],
                       width=heights.shape[1], count=1, dtype="float32", crs=FEET_CRS,
                       transform=from_origin(west, north, *[1 / US_FOOT] * 2)) as out:
        out.write(heights / np.float32(US_FOOT), 1)
        out.units = ("US survey foot",)
    for name in ("boundary", "cover", "soils", "roads", "roofs"):
        layer = geopandas.read_file(folder / f"{name}.geojson")
        layer = layer.set_geometry([affinity.affine_transform(shape, [
            1 / US_FOOT, 0, 0, 1 / US_FOOT, *_moved(0, 0)]) for shape in layer.geometry])
        layer.set_crs(FEET_CRS, allow_override=True).to_file(folder / f"{name}.gpkg")
    text = path.read_text().replace(".geojson", ".gpkg").replace(
        "name: Small valley", "name: Small valley\nunits: us")
    text = text.replace("  file: ground.tif", "  file: ground.tif\n  height unit: us-ft")
    text += "benchmark: {at: [500085, 6399955], level: 666.01 ft}\n"
    text = re.sub(r"\[(\d{6}), (\d{7})\]", lambda m: "[{:.4f}, {:.4f}]".format(
        *_moved(float(m[1]), float(m[2]))), text)
    path.write_text(text)
    return _written(path, tmp_path_factory)


def _moved(x: float, y: float) -> tuple[float, float]:
    return EAST + (x - 500_000) / US_FOOT, NORTH + (y - 6_399_850) / US_FOOT


def _written(path: Path, factory: pytest.TempPathFactory) -> Written:
    plan = make_plan(path)
    field, folder = setting_out(plan), factory.mktemp("field")
    write_field(field, folder)
    return Written(field, folder, plan)


@pytest.fixture
def rows():
    """The table's rows, read by Python's csv."""
    import csv

    def read(written: Written) -> list[dict[str, str]]:
        with open(written.folder / "setting_out.csv", encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))

    return read
