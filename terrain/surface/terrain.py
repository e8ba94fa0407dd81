"""`Terrain`: everything water needs to know of a raster, computed when asked and only once."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.surface.accumulation import accumulate, longest_upslope_path
from terrain.surface.catchments import (
    count_above,
    edge_cells,
    label_catchments,
    led_along_edge,
)
from terrain.surface.conditioning import Conditioned, Conditioning, cells_along, condition
from terrain.surface.d_infinity import accumulate_d_infinity, d_infinity
from terrain.surface.depressions import Drainage, Hollow, drain, list_hollows
from terrain.surface.flow_paths import trace_downslope
from terrain.surface.multiple_flow import accumulate_multiple_flow
from terrain.surface.slope import curvature, hillshade, terrain_attribute, wetness_index

#: Some of a raster's cells: a mask of the raster's shape, or places in its flattened array.
Cells = NDArray[np.bool_] | NDArray[np.int64]

#: Hollows that hold no more than this are roughness of the survey; common practice, no source. [m3]
LEAST_HOLLOW = 0.1

#: Water deeper than this beside a culvert's upper end is told, within so many cells of it; common
#: practice, no source. [m]
STANDING, NEAR_CULVERT = 0.05, 8


def picked(grid: NDArray[Any], cells: Cells) -> NDArray[Any]:
    """The values that a raster has at some of its cells, in the raster's order; shape (n,)."""
    return grid[cells] if cells.ndim == 2 else grid.reshape(-1)[cells]


class Terrain:
    """The ground of a `Dem`, made ready for routing and routed.

    The heights that were read stay as they are (`dem`); water is led over `ground`, where
    culverts are cut through banks and hollows cut open as `conditioning` asks, and hollows stand
    full in `filled`.

    Parameters
    ----------
    dem : Dem
    conditioning : Conditioning, optional
        Nothing is cut if left out.

    Raises
    ------
    ValueError
        When something is asked of it, if a culvert has an end off the known ground.
    """

    def __init__(self, dem: Dem, conditioning: Conditioning | None = None) -> None:
        self.dem = dem
        self.conditioning = conditioning or Conditioning()
        self._drains: tuple[NDArray[np.bool_], NDArray[np.bool_]] | None = None

    @cached_property
    def conditioned(self) -> Conditioned:
        """The surface made ready, and what was changed for it."""
        return condition(self.dem, self.conditioning)

    @cached_property
    def in_culverts(self) -> NDArray[np.bool_]:
        """Cells along which water passes under a bank."""
        cells = np.zeros(self.dem.shape, bool)
        for culvert in self.conditioning.culverts:
            at = cells_along(self.dem, culvert.line)
            cells[at[:, 0], at[:, 1]] = True
        return cells

    @cached_property
    def culvert_faults(self) -> list[str]:
        """What is wrong with culverts once water is led through them, in whole sentences."""
        found = []
        for culvert in self.conditioning.culverts:
            at = cells_along(self.dem, culvert.line)
            first, last = (float(self.dem.heights[row, column]) for row, column in at[[0, -1]])
            into, out = (at[0], at[-1]) if first >= last else (at[-1], at[0])
            way = self.path(int(into[0]), int(into[1]))
            if abs(way - out).max(axis=1).min() > 2:
                found.append(f"Water that goes into the culvert \"{culvert.name}\" does not come "
                             "out of it: the ground beside it lies lower than the straight line "
                             "between its ends. Check its ends, and draw it in several pieces if "
                             "it bends down.")
                continue
            near = tuple(slice(max(i - NEAR_CULVERT, 0), i + NEAR_CULVERT + 1) for i in into)
            deep = float(np.nanmax(self.filled[near] - self.ground[near]))
            if deep > STANDING:
                found.append(f"{deep:.2f} m of water still stand beside the upper end of the "
                             f"culvert \"{culvert.name}\" before it flows: draw its ends out to "
                             "the lowest ground on both sides of the bank.")
        return found

    @property
    def ground(self) -> NDArray[np.float32]:
        """The surface that water is led over, hollows left in it. [m]"""
        return self.conditioned.heights

    @cached_property
    def drainage(self) -> Drainage:
        """Directions, and the bowls of the ground with their spill levels."""
        return drain(self.ground)

    @cached_property
    def filled(self) -> NDArray[np.float32]:
        """The ground with every hollow raised to its rim. [m]"""
        return self.drainage.filled(self.ground)

    @property
    def direction(self) -> NDArray[np.uint8]:
        """D8 directions, as `drain` gives them."""
        return self.drainage.direction

    @cached_property
    def contributing_area(self) -> NDArray[np.float64]:
        """Ground that drains to each cell by D8, itself included. [m2]"""
        area = accumulate(self.direction)
        area *= self.dem.cell_area
        return area

    @cached_property
    def angle(self) -> NDArray[np.float32]:
        """D-infinity directions, in eighths of a turn clockwise from east; see `d_infinity`."""
        return d_infinity(self.filled, self.direction)

    @cached_property
    def contributing_area_d_infinity(self) -> NDArray[np.float64]:
        """Ground that drains to each cell by D-infinity, itself included. [m2]"""
        area = accumulate_d_infinity(self.angle)
        area *= self.dem.cell_area
        return area

    @cached_property
    def contributing_area_multiple(self) -> NDArray[np.float64]:
        """Ground that drains to each cell by several ways (Quinn), itself included. [m2]"""
        area = accumulate_multiple_flow(self.filled, self.direction)
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
    def aspect(self) -> NDArray[np.float32]:
        """Bearing that the slope faces (Horn), clockwise from north. [deg]"""
        return terrain_attribute(self.dem.heights, self.dem.cell, "aspect")

    @cached_property
    def profile_curvature(self) -> NDArray[np.float32]:
        """Curvature down the slope; above 0 where it steepens downslope. [1/m]"""
        return curvature(self.dem.heights, self.dem.cell, "profile")

    @cached_property
    def plan_curvature(self) -> NDArray[np.float32]:
        """Curvature of the contours; above 0 where water gathers, as in a hollow. [1/m]"""
        return curvature(self.dem.heights, self.dem.cell, "plan")

    @cached_property
    def wetness(self) -> NDArray[np.float32]:
        """Topographic wetness index by multiple-flow area; see `wetness_index`. [ln m]"""
        return wetness_index(self.contributing_area_multiple, self.slope, self.dem.cell)

    @cached_property
    def shade(self) -> NDArray[np.float32]:
        """Brightness of the ground lit from the north-west, 0 to 1. [-]"""
        return hillshade(self.dem.heights, self.dem.cell)

    @cached_property
    def edge(self) -> NDArray[np.bool_]:
        """Cells at the border of the known ground."""
        return edge_cells(self.ground)

    @cached_property
    def below_edge(self) -> NDArray[np.bool_]:
        """Cells that water from beyond the border would cross: the edge and all downslope of it."""
        return accumulate(self.direction, self.edge) > 0

    @cached_property
    def _along_edge(self) -> NDArray[np.int64]:
        """Cells that water takes along the border, and where it goes; see `led_along_edge`."""
        return led_along_edge(self.ground, self.direction, self.edge)

    @cached_property
    def hollows(self) -> list[Hollow]:
        """Natural hollows that hold more than 0.1 m3, the largest first."""
        return list_hollows(self.ground, self.drainage, self.dem.cell_area, LEAST_HOLLOW)

    @cached_property
    def in_hollows(self) -> NDArray[np.bool_]:
        """Cells under the water of the hollows that `hollows` lists, all full."""
        bowl = self.drainage.bowl
        pools = self.drainage.pool[np.maximum(bowl, 0)]
        listed = np.zeros(self.drainage.pool.size, bool)
        listed[[pools[hollow.row, hollow.column] for hollow in self.hollows]] = True
        return listed[pools] & (bowl > 0) & (self.filled > self.ground)

    def hollow_catchment(self, hollow: Hollow) -> NDArray[np.bool_]:
        """Ground that drains into a hollow, ground whose own hollows spill into it included."""
        bowl = self.drainage.bowl
        pools = self.drainage.pool[np.maximum(bowl, 0)]
        return self.catchment((pools == self.drainage.pool[bowl[hollow.row, hollow.column]])
                              & (bowl > 0))

    def catchment(self, outlet: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """All the cells whose water meets one of the outlet cells, these included."""
        return label_catchments(self.direction, outlet.astype(np.int32)) > 0

    def drains_to(self, place: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """The same as `catchment`, not to be written to: that of the place asked about last is
        kept, as the boundary is asked about again and again."""
        if self._drains is None or not np.array_equal(self._drains[0], place):
            cells = self.catchment(place)
            cells.flags.writeable = False
            self._drains = place.copy(), cells
        return self._drains[1]

    def labels(self, marks: NDArray[np.int32]) -> NDArray[np.int32]:
        """The first mark that each cell's water meets; see `label_catchments`."""
        return label_catchments(self.direction, marks)

    def path(self, row: int, column: int, stop: NDArray[np.bool_] | None = None
             ) -> NDArray[np.int64]:
        """The way down from a cell; see `trace_downslope`."""
        return trace_downslope(self.direction, row, column, stop)

    @cached_property
    def _outermost(self) -> NDArray[np.bool_]:
        """The first and last rows and columns of the raster."""
        cells = np.ones(self.dem.shape, bool)
        cells[1:-1, 1:-1] = False
        return cells

    def touches_edge(self, cells: Cells) -> bool:
        """Whether a catchment reaches the border of the known ground, so may be larger."""
        return bool(picked(self.edge, cells).any())

    def cut_by_hole(self, cells: Cells) -> bool:
        """Whether it reaches unknown cells within the raster only, not the raster's own edge."""
        return self.touches_edge(cells) and not picked(self._outermost, cells).any()

    def area_at_risk(self, cells: Cells) -> float:
        """The part of a catchment that water from beyond the border would cross. [m2]

        0 where the catchment does not touch the border: nothing can reach it unseen.
        """
        if not self.touches_edge(cells):
            return 0.0
        return float(picked(self.below_edge, cells).sum()) * self.dem.cell_area

    def area_along_edge(self, cells: Cells) -> float:
        """The part of a catchment whose water comes along the border, where ground beyond may
        take it. [m2]"""
        if not self._along_edge.size or not self.touches_edge(cells):
            return 0.0
        mine = (np.flatnonzero(cells) if cells.ndim == 2 else cells).astype(np.int64)
        within = np.isin(self._along_edge, mine).all(axis=1)
        if not within.any():
            return 0.0
        marks = self._along_edge[within, 0]
        return count_above(self.direction, mine, marks) * self.dem.cell_area

    def mean_slope(self, cells: Cells) -> float:
        """Mean slope of the cells. [m/m]"""
        found = picked(self.slope, cells)
        return float(np.nanmean(found)) if found.size else float("nan")
