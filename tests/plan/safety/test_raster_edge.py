"""What is said of catchments that reach the raster's edge."""

import numpy as np

from terrain.plan.safety.raster_edge import beyond_matters, bound_of, reaches_edge
from terrain.runoff.catchment import Catchment


def of(along=0.0, area=10_000.0, edge=True):
    return Catchment(np.array([80.0]), np.array([area]), np.zeros(1), touches_edge=edge,
                     at_risk=20.0, along_edge=along)


class Raster:
    source = "hill.tif"


def test_water_that_came_along_the_edge_makes_no_lower_bound():
    said = reaches_edge(of(along=9000.0), Raster)
    assert "0.90 ha (2.22 acre) of it came along that edge" in said
    assert "at least" not in said
    assert bound_of([of(), of(along=9000.0)]) == "about "
    assert beyond_matters(of(along=9000.0))


def test_a_catchment_that_the_edge_cuts_off_is_a_lower_bound():
    said = reaches_edge(of(along=90.0), Raster)  # less than a hundredth
    assert "came along" not in said
    assert "would cross 20 m² (215 ft²) of it: read every figure of runoff as \"at least\"" in said
    assert bound_of([of(along=90.0), of(edge=False)]) == "at least "
    assert bound_of([of(edge=False), of(area=0.0)]) == ""
