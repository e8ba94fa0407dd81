"""Trenches: upright boxes along the contour."""

import numpy as np
import pytest
from planes import plane

from terrain.works.infiltration_trench import trench_curve, trench_outline
from terrain.works.lie import lie_of
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import trench_depth


def test_a_trench_is_a_box_and_its_gravel_leaves_the_pores():
    curve = trench_curve(50.0, 3.0, 0.6, 0.5)
    assert curve.capacity == pytest.approx(0.9)
    assert curve.areas == pytest.approx(np.full(9, 1.8))
    assert curve.levels[[0, -1]] == pytest.approx([49.5, 50.0])
    assert trench_curve(50.0, 3.0, 0.6, 0.5, 0.35).capacity == pytest.approx(0.9 * 0.35)


def test_a_trench_lies_along_the_contour_uphill_of_its_tree():
    lie = lie_of(plane(0.05, 180), 30, 30, 3.0)  # falls south
    corners = trench_outline(30, 30, 4.0, 0.6, 1.8, lie)
    assert corners[:, 1].tolist() == pytest.approx([31.5, 31.5, 32.1, 32.1, 31.5], abs=5e-3)
    assert sorted(set(np.round(corners[:, 0], 2))) == pytest.approx([28.0, 32.0], abs=0.02)


@pytest.mark.parametrize("given_", [(0, 0.6, 0.5, 1.0), (3, 0, 0.5, 1.0), (3, 0.6, 0, 1.0),
                                    (3, 0.6, 0.5, 0.0), (3, 0.6, 0.5, 1.2)])
def test_trenches_that_cannot_be(given_):
    with pytest.raises(ValueError, match=r"is none|porosity"):
        trench_curve(50.0, *given_)


@pytest.mark.parametrize(("volume", "depth"), [(0, 0.3), (0.53, 0.3), (0.8, 0.45), (9, 0.6)])
def test_a_trench_is_deep_enough_within_the_usual_depths(volume, depth):
    """3 m by 0.6 m hold 0.54 m3 at 0.3 m, 0.81 at 0.45."""
    assert trench_depth(3.0, 0.6, 1.0, volume, Rulebook()) == pytest.approx(depth)
