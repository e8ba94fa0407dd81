"""The ground gathered about each store, against the cells that bear its label."""

from __future__ import annotations

import numpy as np
import pytest


def test_each_store_gathers_the_cells_whose_water_meets_it_first(small_plan):
    terrain, ground = small_plan.terrain, small_plan.inputs.ground
    cascade, cell_area = small_plan.cascade, terrain.dem.cell_area
    assert {node.store.kind for node in cascade.nodes} >= {"swale", "basin", "tree basin", "tank"}
    for number, node in enumerate(cascade.nodes, 1):
        cells = cascade.labels == number
        found = node.catchment
        assert found.area == pytest.approx(cells.sum() * cell_area)
        # A store's water takes the place of ground beyond the boundary too.
        assert found.run_on_area == pytest.approx((cells & ~ground.inside).sum() * cell_area,
                                                  abs=node.store.curve.areas[-1])
        if cells.any():
            assert found.slope == pytest.approx(float(np.nanmean(terrain.slope[cells])))
            assert found.touches_edge == (cells & terrain.edge).any()
    roofed = np.zeros(cells.shape, bool)
    for roof in ground.roofs:  # the one roof feeds the tank, so nothing of it reaches the ground
        roofed |= roof.cells
    rest = (cascade.labels == 0) & terrain.catchment(ground.inside) & ~roofed
    assert cascade.open_ground.area == pytest.approx(rest.sum() * cell_area)


def test_the_longest_way_ends_at_its_store_and_is_as_long_as_told(small_plan):
    dem, cascade = small_plan.terrain.dem, small_plan.cascade
    for number, (node, planned) in enumerate(zip(cascade.nodes, small_plan.stores, strict=True), 1):
        way = node.longest_way
        if planned.placed.kind == "tank":
            assert len(way) == 0
            continue
        rows, columns = dem.row_column(way[:, 0], way[:, 1])
        assert (cascade.labels[rows, columns] == number).all()
        assert [rows[-1], columns[-1]] in planned.placed.cells.tolist()
        assert node.catchment.longest_path == pytest.approx(
            np.hypot(*np.diff(way, axis=0).T).sum())
