"""Slope and aspect against Horn's windows; hillshade against the light's own geometry."""

import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.surface.slope import hillshade, hushed, terrain_attribute


# Horn, Proceedings of the IEEE 69 (1981), 14-47; angles as recomputed, to 4 decimals.
@pytest.mark.parametrize("row", rows("horn_slope_aspect.csv"), ids=lambda row: row["case"])
def test_slope_and_aspect_of_horns_windows(row):
    heights = np.array([float(row[name]) for name in "abcdefghi"], np.float32).reshape(3, 3)
    cell = float(row["cell"])

    def middle(attribute):
        return float(terrain_attribute(heights, cell, attribute)[1, 1])

    assert middle("slope_riserun") == pytest.approx(float(row["slope"]), rel=1e-5)
    assert middle("slope_degrees") == pytest.approx(float(row["slope_deg"]), abs=2e-4)
    assert middle("aspect") == pytest.approx(float(row["aspect_deg"]), abs=2e-4)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.sampled_from([0.5, 1.0, 4.0]))
def test_slope_of_a_plane_is_its_gradient(east, north, cell):
    row, column = np.indices((8, 9)) * cell
    heights = (100 + east * column - north * row).astype(np.float32)
    slope = terrain_attribute(heights, cell, "slope_riserun")[1:-1, 1:-1]
    assert slope == pytest.approx(np.hypot(east, north), abs=3e-5)  # float32 of about 100 m


def test_slope_is_unknown_where_the_height_is():
    heights = np.add.outer(np.arange(6.0), np.zeros(6)).astype(np.float32)
    heights[2, 3] = np.nan
    assert np.array_equal(np.isnan(terrain_attribute(heights, 1.0, "slope_riserun")),
                          np.isnan(heights))


def test_ground_square_to_the_light_is_brightest_ground_turned_away_dark():
    """Light from the north-west, 45 degrees high; flat ground gets the sine of its height."""
    row, column = np.indices((9, 9)) / np.sqrt(2)
    towards = hillshade((50 + row + column).astype(np.float32), 1.0)  # falls 1:1 to the north-west
    away = hillshade((50 - row - column).astype(np.float32), 1.0)
    across = hillshade((50 + row - column).astype(np.float32), 1.0)
    assert towards == pytest.approx(1.0, abs=1e-5)
    assert away == pytest.approx(0.0, abs=1e-5)
    assert across == pytest.approx(0.5, abs=1e-5)  # sine of 45 over root 2, as steep either way
    flat = hillshade(np.zeros((9, 9), np.float32), 1.0)
    assert flat == pytest.approx(np.sin(np.radians(45)))


def test_hushed_keeps_compiled_output_off_and_gives_the_streams_back(capfd):
    with hushed():
        os.write(1, b"noise")
        os.write(2, b"noise")
    os.write(1, b"words")
    out, err = capfd.readouterr()
    assert (out, err) == ("words", "")
