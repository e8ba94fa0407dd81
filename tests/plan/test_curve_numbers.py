"""Curve numbers of the quick commands, from what the person says of the ground."""

import geopandas
import numpy as np
import pytest
from pyproj import CRS
from shapely.geometry import box

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, in_metres
from terrain.plan.question import GroundWords, Question, RasterWords, curve_numbers
from terrain.surface.terrain import Terrain

LEFT, TOP = 512300.0, 6250000.0


@pytest.fixture
def question():
    crs = CRS.from_user_input("EPSG:32734")
    heights = np.arange(32, dtype=np.float32).reshape(4, 8)
    dem = Dem(heights, LEFT, TOP, 2.0, Frame(crs, in_metres(crs)), "hill.tif")
    return Question(Terrain(dem), RasterWords())


def test_paving_within_an_area_counts(tmp_path, question):
    # TR-55 (1986): fair desert shrub on C 81 (Table 2-2d); figure 2-3: 81 + 0.5 (98 - 81) = 89.5.
    geopandas.GeoDataFrame(
        {"cover": ["desert shrub, fair"] * 2, "impervious": [0, 50]},
        geometry=[box(LEFT, TOP - 8, LEFT + 8, TOP), box(LEFT + 8, TOP - 8, LEFT + 16, TOP)],
        crs="EPSG:32734").to_file(tmp_path / "cover.gpkg", engine="pyogrio")
    numbers, notes = curve_numbers(
        question, GroundWords(cover=tmp_path / "cover.gpkg", soils="C"), [20.0])
    assert numbers == pytest.approx(np.repeat([[81.0, 89.5]], 4, axis=1).repeat(4, axis=0))
    assert any("figures 2-3" in note for note in notes)


def test_a_raster_of_codes_needs_a_site_file(tmp_path, question):
    with pytest.raises(InputError, match=r"--cover: what the codes of .*land\.TIF mean") as caught:
        curve_numbers(question, GroundWords(cover=tmp_path / "land.TIF", soils="C"), [20.0])
    assert "site file" in caught.value.remedy
