"""Which foot elevation has of its own; the CRS are those of the EPSG register."""

import numpy as np
import pytest

from terrain.inputs.elevation import foot_of, open_elevation
from terrain.units import tenths_words, told_first

HEIGHTS = np.full((6, 6), 300.0, np.float32)


@pytest.mark.parametrize(("crs", "unit", "foot"), [
    ("EPSG:2277", "US survey foot", "us-ft"),   # Texas Central, US survey feet
    ("EPSG:2256", "foot", "ft"),                # Montana, international feet
    ("EPSG:32614", "metre", "ft"), ("EPSG:32614", "US survey foot", "us-ft"),
    ("EPSG:2277", "metre", "us-ft"), ("EPSG:2277", "foot", "ft")])
def test_the_foot_of_the_heights_counts_and_else_that_of_the_plan(write_raster, tmp_path, crs,
                                                                  unit, foot):
    path = write_raster(tmp_path / "ground.tif", HEIGHTS, crs=crs, unit=unit,
                        corner=(600_000.0, 3_500_000.0))
    assert open_elevation(path).frame.foot == foot
    assert foot_of(path) == foot


def test_surveyed_points_have_the_foot_that_is_stated(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text("x,y,z\n0,0,1\n9,0,1\n9,9,2\n0,9,2\n")
    assert foot_of(path, plan_unit="us-ft", height_unit="us-ft") == "us-ft"
    assert foot_of(path, plan_unit="m") == "ft"


def test_levels_are_told_in_the_foot_that_the_heights_are_stated_in(write_raster, tmp_path):
    path = write_raster(tmp_path / "ground.tif", HEIGHTS, crs="EPSG:2277",
                        corner=(600_000.0, 3_500_000.0))
    for stated in ("ft", "us-ft"):
        assert open_elevation(path, height_unit=stated).frame.foot == stated
        with told_first("us", foot_of(path, height_unit=stated)):
            assert ("US survey feet" in tenths_words("us")) == (stated == "us-ft")
