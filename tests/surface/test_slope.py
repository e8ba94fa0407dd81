"""Slope and aspect against Horn's windows; hillshade against the light's own geometry."""

import os

import numpy as np
import pytest
from constructed import formula_dem
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.surface.slope import (
    LEAST_SLOPE,
    curvature,
    hillshade,
    hushed,
    terrain_attribute,
    wetness_index,
)
from terrain.surface.terrain import Terrain


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


# Zevenbergen & Thorne, Earth Surface Processes and Landforms 12 (1987), 47-56: exact samples of
# quadratics; the formulas from memory.
@pytest.mark.parametrize("row", rows("zevenbergen_thorne_curvature.csv"),
                         ids=lambda row: row["case"])
def test_curvature_of_exact_quadratics(row):
    heights = np.array([float(row[name]) for name in "abcdefghi"], np.float32).reshape(3, 3)
    for kind in ("profile", "plan"):
        found = float(curvature(heights, float(row["cell"]), kind)[1, 1])
        published = float(row[f"{kind}_curvature"] or 0)  # undefined on level ground: 0 is given
        assert found == pytest.approx(published, abs=2e-6)  # float32 heights of about 100 m


def test_curvature_of_a_hollow_slope_and_of_a_slope_that_steepens_is_above_0():
    row, column = np.indices((7, 7), np.float64) - 3
    valley = (50 - 0.2 * row + 0.05 * column**2).astype(np.float32)
    assert curvature(valley, 1.0, "plan")[3, 3] == pytest.approx(0.1, rel=1e-3)
    brow = (50 - 0.2 * row - 0.05 * row**2).astype(np.float32)
    assert curvature(brow, 1.0, "profile")[3, 3] == pytest.approx(0.1, rel=1e-3)


@pytest.mark.parametrize("tilt", [0.02, 0.3])
def test_wetness_of_a_plane_is_the_formula(tilt):
    """On a plane that falls west a cell at d from the upper edge drains d a metre of contour:
    ln(d / tan b), after Beven & Kirkby (1979)."""
    ground = Terrain(formula_dem(lambda x, y: tilt * x, 60, 160, 2.0))
    reach = 60 - np.arange(30) * 2.0
    inner = ground.wetness[35:45, 1:-1]  # further from the sides than water spreads on its way
    assert inner == pytest.approx(np.log(reach / tilt)[None, 1:-1].repeat(10, 0), abs=2e-3)


def test_wetness_on_level_ground_counts_the_least_slope():
    assert float(wetness_index(np.array([8.0]), np.zeros(1, np.float32), 2.0)[0]
                 ) == pytest.approx(np.log(4 / LEAST_SLOPE))
