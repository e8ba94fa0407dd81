"""Points as people give them, and what they probably meant where one is off the raster."""

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.inputs.dem import placed_on
from terrain.inputs.elevation import read_elevation


@pytest.fixture
def dem(tmp_path, write_raster):
    """100 by 100 m from 500000, 6400000 (UTM 34S) south and east."""
    return read_elevation(write_raster(tmp_path / "g.tif", np.ones((100, 100), np.float32)))


def test_longitude_and_latitude_of_the_middle(dem):
    # The central meridian of zone 34 is 21 degrees east, where easting is 500,000 m (published).
    x, y = placed_on(dem, (21.0005, -32.5375), True, "--at")
    assert 500000 < x < 500100
    assert placed_on(dem, (x, y), False, "--at") == (x, y)


@pytest.mark.parametrize(("given", "lonlat", "says"), [
    ((500050, 6399950), True, r"no longitude and latitude in degrees\. Leave out --lonlat"),
    ((500050, 50), True, r"no longitude and latitude in degrees\. Write degrees"),
    ((-32.5, 121.0), True, r"in degrees\. Write the longitude first"),
    ((-32.5375, 21.0005), True, r"lies off g\.tif\. Its two numbers look swapped"),
    ((-32.3, 21.1), True, r"-32\.3, 21\.1 lies off g\.tif\. Its two numbers look swapped"),
    ((6399950, 500050), False, "look swapped"), ((21.0005, -32.5375), False, "--lonlat"),
    ((21.0005, -32.6), True, r"m south of g\.tif\. Move the point")])
def test_points_that_were_meant_otherwise(dem, given, lonlat, says):
    with pytest.raises(InputError, match=says):
        placed_on(dem, given, lonlat, "--at")
