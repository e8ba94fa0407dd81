"""`Terrain`: everything water needs to know of a raster, computed when asked and only once."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.surface.accumulation import accumulate, longest_upslope_path
from terrain.surface.catchments import edge_cells, label_catchments
from terrain.surface.depressions import Drainage, Hollow, drain, list_hollows
from terrain.surface.flow_paths import trace_downslope
from terrain.surface.slope import terrain_attribute


class Terrain:
    """The ground of a `Dem`, filled and routed.

    The user's heights stay as they are; the filled surface stands beside them.
    """

    def __init__(self, dem: Dem) -> None:
        self.dem = dem

    @cached_property
    def drainage(self) -> Drainage:
        """Directions, and the bowls of the ground with their spill levels."""
        return drain(self.dem.heights)

    @cached_property
    def filled(self) -> NDArray[np.float32]:
        """Heights with every hollow raised to its rim. [m]"""
        return self.drainage.filled(self.dem.heights)

    @property
    def direction(self) -> NDArray[np.uint8]:
        """D8 directions, as `drain` gives them."""
        return self.drainage.direction

    @cached_property
    def contributing_area(self) -> NDArray[np.float64]:
        """Ground that drains to each cell, itself included. [m2]"""
        area = accumulate(self.direction)
        area *= self.dem.cell_area
        return area

    @cached_property
    def path_length(self) -> NDArray[np.float64]:
        """Longest flow path that ends at each cell. [m]"""
        return longest_upslope_path(self.direction, self.dem.cell)

    @cached_property
    def slope(self) -> NDArray[np.float32]:
        """Slope, rise over run (Horn). [m/m]"""
        return terrain_attribute(self.dem.heights, self.dem.cell, "slope_riserun")

    @cached_property
    def edge(self) -> NDArray[np.bool_]:
        """Cells at the border of the known ground."""
        return edge_cells(self.dem.heights)

    @cached_property
    def hollows(self) -> list[Hollow]:
        """Natural hollows that hold more than 0.1 m3, the largest first."""
        return list_hollows(self.dem.heights, self.drainage, self.dem.cell_area, least_volume=0.1)

    def catchment(self, outlet: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """All the cells whose water meets one of the outlet cells, these included."""
        return label_catchments(self.direction, outlet.astype(np.int32)) > 0

    def labels(self, marks: NDArray[np.int32]) -> NDArray[np.int32]:
        """The first mark that each cell's water meets; see `label_catchments`."""
        return label_catchments(self.direction, marks)

    def path(self, row: int, column: int, stop: NDArray[np.bool_] | None = None
             ) -> NDArray[np.int64]:
        """The way down from a cell; see `trace_downslope`."""
        return trace_downslope(self.direction, row, column, stop)

    def touches_edge(self, cells: NDArray[np.bool_]) -> bool:
        """Whether a catchment reaches the border of the known ground, so may be larger."""
        return bool((cells & self.edge).any())

    def mean_slope(self, cells: NDArray[np.bool_]) -> float:
        """Mean slope of the cells. [m/m]"""
        return float(np.nanmean(self.slope[cells])) if cells.any() else float("nan")
