"""How long and deep a swale must be to hold the runoff of its catchment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.terrain import Terrain
from terrain.works.cross_section import depth_for_area
from terrain.works.rules import Rulebook
from terrain.works.swale import SwaleLine, along_of, line_cells, storage_per_metre, window


@dataclass(frozen=True)
class Size:
    """The stretch of a contour to dig, from its start, and the section. [m], side slope H:V"""

    start: float
    end: float
    depth: float
    width: float
    side_slope: float


def size_swale(terrain: Terrain, route: SwaleLine, along: float, rules: Rulebook,
               runoff: NDArray[np.float64] | None, length: float | None, depth: float | None,
               width: float | None, side_slope: float | None = None) -> Size:
    """Size a swale for the runoff of its catchment in a storm.

    Parameters
    ----------
    route, along : SwaleLine, float
        A contour line and where on it the wanted point lies. [m]
    runoff : float64, shape (rows, columns), optional
        Runoff of each cell in the storm to hold; None if there is none to size for. [m3]
    length, depth, width, side_slope : float, optional
        What is fixed already. [m], H:V

    Notes
    -----
    A depth left open becomes what holds the storm, in steps of 5 cm between the rules'
    shallowest and deepest.  A length left open is the rules' usual one, or the first longer one
    that holds the storm; where none does the usual one stays, and the rest spills.
    """
    bed = width or rules["swale width"]
    side = side_slope or rules["swale side slope"]
    usual = length or rules["swale length"]
    start, end = window(route.length, along, usual)
    if runoff is None:
        return Size(start, end, depth or rules["swale depth"], bed, side)
    brings, at = _arrivals(terrain, route, runoff)

    def coming(first: float, last: float) -> float:
        return float(brings[(at >= first) & (at <= last)].sum())

    if depth is None:
        needed = depth_for_area(coming(start, end) / (end - start), bed, side)
        depth = min(max(np.ceil(needed / 0.05 - 1e-9) * 0.05, rules["swale shallowest"]),
                    rules["swale deepest"])
    holds = storage_per_metre(depth, bed, side)
    if length is None:
        for longer in np.arange(usual, route.length, 2.0):
            first, last = window(route.length, along, float(longer))
            if holds * (last - first) >= coming(first, last):
                start, end = first, last
                break
    return Size(start, end, float(depth), bed, side)


def _arrivals(terrain: Terrain, route: SwaleLine, runoff: NDArray[np.float64]
              ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Runoff that first meets each cell of a line, and how far along the line it lies."""
    cells = line_cells(terrain.dem, route.line)
    marks = np.zeros(terrain.dem.shape, np.int32)
    marks[cells[:, 0], cells[:, 1]] = np.arange(1, len(cells) + 1)
    brings = np.bincount(terrain.labels(marks).ravel(), weights=np.nan_to_num(runoff).ravel(),
                         minlength=len(cells) + 1)[1:].astype(np.float64)
    return brings, along_of(terrain.dem, route.line, cells)
