"""The ground that drains to a point of a raster, and what runs off it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from terrain.plan.answered import EIGHT_WAYS, StormAnswer, gathered, rests_on_storms, storms_on
from terrain.plan.question import (
    CoverArea,
    GroundWords,
    Question,
    RainWords,
    RasterWords,
    around,
    ground_there,
    held,
    marked,
)
from terrain.runoff.catchment import Catchment
from terrain.surface.catchments import outline
from terrain.surface.terrain import Terrain

#: A catchment of no more cells lies on no path of the water; common practice, no source.
FEW_CELLS = 10


class WetterPlace(NamedTuple):
    """A place close by where much more water passes; [m], [m2].

    The area is a lower bound where the ground that drains there was not all read.
    """

    x: float
    y: float
    area: float
    at_least: bool


@dataclass(frozen=True)
class ShedAnswer:
    """The ground that drains to a point."""

    question: Question
    at: tuple[float, float]
    cells: NDArray[np.bool_]
    outline: Any
    catchment: Catchment
    longest_path: float
    storms: tuple[StormAnswer, ...]
    better: WetterPlace | None
    covers: tuple[CoverArea, ...] = field(default=())
    rests_on: tuple[str, ...] = field(default=())

    @property
    def off_path(self) -> str:
        """That the point lies on no path of the water, in a sentence; "" where it does."""
        cells = int(self.cells.sum())
        return "" if cells > FEW_CELLS else (
            f"The point lies on no flow path of size: the water of {cells} "
            f"{'cell' if cells == 1 else 'cells'} comes by there, its own included.")


def catchment_of_point(path: Path, at: tuple[float, float], rain: RainWords,
                       ground: GroundWords, words: RasterWords) -> ShedAnswer:
    """The catchment of a point, and what runs off it in each storm.

    Parameters
    ----------
    at : (float, float)
        In the raster's CRS, or longitude and latitude where `words` says so.
    storms : sequence of float
        [mm]

    Raises
    ------
    InputError
        If the point is off the raster, or storms are asked for ground nobody described.
    """
    def cell(question: Question) -> NDArray[np.int64]:
        return np.array([question.dem.cell_of(*question.point(at, "--at"), "--at")])
    question = held(path, words, around([at], words, "--at"), cell)
    dem, terrain = question.dem, question.terrain
    x, y = question.point(at, "--at")
    row, column = dem.cell_of(x, y, "--at")
    cells = terrain.catchment(marked(dem, cell(question)))
    there = ground_there(question, ground, rain.depths)
    catchment = gathered(question, there, cells, np.array([[row, column]]), rain)
    return ShedAnswer(question, (x, y), cells, outline(cells, dem.transform), catchment,
                      catchment.longest_path, storms_on(catchment, None, rain),
                      _wetter_nearby(terrain, row, column),
                      there.areas_of(cells, dem.cell_area),
                      (*there.notes, EIGHT_WAYS, *rests_on_storms(rain, there, False)))


def _wetter_nearby(terrain: Terrain, row: int, column: int, reach: float = 10.0
                   ) -> WetterPlace | None:
    """A place within reach where ten times as much water passes."""
    span = max(int(reach / terrain.dem.cell), 1)
    top, left = max(row - span, 0), max(column - span, 0)
    near = terrain.contributing_area[top:row + span + 1, left:column + span + 1]
    if not np.isfinite(near).any():
        return None
    r, c = np.unravel_index(int(np.nanargmax(near)), near.shape)
    if near[r, c] < 10 * terrain.contributing_area[row, column]:
        return None
    x, y = terrain.dem.xy(top + int(r), left + int(c))
    return WetterPlace(float(x), float(y), float(near[r, c]), any(terrain.dem.goes_on))
