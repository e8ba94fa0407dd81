"""Distances on the map's plane and on the ground."""

from __future__ import annotations

import pytest
from pyproj import CRS

from terrain.inputs.frame import Frame
from terrain.outputs.field.grid_distance import combined_factor, grid_note


def frame(code):
    crs = CRS.from_epsg(code)
    return Frame(crs, crs)


def test_on_the_middle_of_a_utm_zone_at_the_sea():
    """0.9996 on the central meridian: Snyder, Map Projections, USGS PP 1395, 1987, p. 57."""
    assert combined_factor(frame(32734), 500_000.0, 6_400_000.0, 0.0) == pytest.approx(
        0.9996, abs=1e-7)


def test_height_shortens_what_a_plane_shows():
    """R / (R + h) with h = 1609 m is 0.99975, a mile up; 0.9996 times that."""
    found = combined_factor(frame(32734), 500_000.0, 6_400_000.0, 1609.0)
    assert found == pytest.approx(0.9996 * 0.999748, abs=2e-6)
    said = grid_note(frame(32734), 500_000.0, 6_400_000.0, 1609.0)
    assert "0.065% longer, 65 mm in 100 m" in said


def test_where_scale_and_height_cancel_nothing_is_said():
    """180 km from the middle a UTM scale is 1: Snyder, p. 58."""
    assert grid_note(frame(32734), 680_000.0, 6_400_000.0, 0.0) is None
    assert grid_note(Frame(None, None), 0.0, 0.0, 0.0) is None
