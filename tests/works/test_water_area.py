"""The water surface within kernels, against NumPy's own interpolation."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.works.store import tank_curve
from terrain.works.water_area import water_area


@pytest.mark.parametrize("points", [2, 3, 25, 41])
def test_to_the_last_bit_what_numpy_gives(points):
    generator = np.random.default_rng(points)
    volumes = np.concatenate([[0.0], np.cumsum(generator.random(points - 1))])
    areas = np.sort(10 * generator.random(points))
    for volume in (*generator.uniform(-0.2, 1.2 * volumes[-1], 400), *volumes, 0.0):
        assert water_area(volume, volumes, areas) == np.interp(volume, volumes, areas)


def test_curves_that_stand_still():
    volumes, areas = np.array([0.0, 1.0, 1.0, 2.0]), np.array([1.0, 2.0, 5.0, 6.0])
    for volume in (0.0, 0.5, 1.0, 1.5, 2.0, 3.0):
        assert water_area(volume, volumes, areas) == np.interp(volume, volumes, areas)
    tank = tank_curve(40.0)
    assert water_area(13.0, tank.volumes, tank.areas) == pytest.approx(20.0)
