"""Curve numbers of the quick commands, from what the person says of the ground."""

import geopandas
import numpy as np
import pytest
import rasterio
from pyproj import CRS
from rasterio.transform import Affine
from shapely.geometry import box

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, in_metres
from terrain.plan.question import GroundWords, Question, RasterWords, ground_there
from terrain.surface.terrain import Terrain

LEFT, TOP = 512300.0, 6250000.0


@pytest.fixture
def question():
    crs = CRS.from_user_input("EPSG:32734")
    heights = np.arange(32, dtype=np.float32).reshape(4, 8)
    dem = Dem(heights, LEFT, TOP, 2.0, Frame(crs, in_metres(crs)), "hill.tif")
    return Question(Terrain(dem), RasterWords())


def halves(west, east):
    """Numbers of the raster's western and eastern half."""
    return np.repeat([[west, east]], 4, axis=1).repeat(4, axis=0)


def test_paving_within_an_area_counts(tmp_path, question):
    # TR-55 (1986): fair desert shrub on C 81 (Table 2-2d); figure 2-3: 81 + 0.5 (98 - 81) = 89.5.
    geopandas.GeoDataFrame(
        {"cover": ["desert shrub, fair"] * 2, "impervious": [0, 50]},
        geometry=[box(LEFT, TOP - 8, LEFT + 8, TOP), box(LEFT + 8, TOP - 8, LEFT + 16, TOP)],
        crs="EPSG:32734").to_file(tmp_path / "cover.gpkg", engine="pyogrio")
    found = ground_there(question, GroundWords(cover=tmp_path / "cover.gpkg", soils="C"), [20.0])
    assert found.curve_number == pytest.approx(halves(81.0, 89.5))
    assert any("figures 2-3" in note for note in found.notes)


def test_a_raster_of_a_public_list(tmp_path, question):
    # Fair desert shrub and bare soil on C are 81 and 91 (TR-55, 1986, Tables 2-2d and 2-2b).
    with rasterio.open(tmp_path / "land.tif", "w", driver="GTiff", height=1, width=2, count=1,
                       dtype="uint8", crs="EPSG:32734",
                       transform=Affine(8, 0, LEFT, 0, -8, TOP)) as file:
        file.write(np.array([[52, 31]], "uint8"), 1)
    words = GroundWords(cover=tmp_path / "land.tif", codes="nlcd", soils="C")
    found = ground_there(question, words, [20.0])
    assert found.curve_number == pytest.approx(halves(81.0, 91.0))
    assert any("52 (shrub or scrub) as desert shrub, fair on 50.0 %" in note
               for note in found.notes)


def test_a_raster_whose_codes_nobody_explains(tmp_path, question):
    with pytest.raises(InputError, match=r"--cover: nothing says what the codes of .*land\.TIF"):
        ground_there(question, GroundWords(cover=tmp_path / "land.TIF", soils="C"), [20.0])


@pytest.mark.parametrize("storms", [[], [20.0]])
@pytest.mark.parametrize(("option", "said"), [
    ("--soils", {"soils": "C"}), ("--codes", {"codes": "nlcd"}),
    ("--codes", {"codes": "nlcd", "curve_number": 80.0}),
    ("--cover-layer", {"cover_layer": "yards"}), ("--soils-layer", {"soils_layer": "units"})])
def test_what_goes_with_a_cover_layer_is_refused_without_one(question, option, said, storms):
    with pytest.raises(InputError) as caught:
        ground_there(question, GroundWords(**said), storms)
    assert str(caught.value) == (f"{option}: it is of use only beside --cover, which is not given. "
                                 f"Add --cover with a file, or leave {option} out.")


def test_a_soil_group_beside_one_curve_number(question):
    with pytest.raises(InputError, match="--cn: one curve number for all the ground and layers"):
        ground_there(question, GroundWords(curve_number=80.0, soils="C"), [20.0])


def test_one_curve_number_and_no_word_on_the_ground_still_do(question):
    assert (ground_there(question, GroundWords(curve_number=71.0), [20.0]).curve_number == 71).all()
    assert np.isfinite(ground_there(question, GroundWords(), []).curve_number).all()
