"""What a raster is: extent, units, slopes, hollows, and what to beware of."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from terrain.inputs.elevation import OwnGrid, of_voids
from terrain.plan.question import Question, RasterWords, conditioning, opened
from terrain.surface.depressions import Hollow
from terrain.surface.terrain import Terrain
from terrain.surface.window import ready
from terrain.units import in_both

#: Hollows deeper than this are told apart; common practice, no source. [m]
DEEP = 0.5


@dataclass(frozen=True)
class Survey:
    """What a raster is.

    Lengths in m, slopes in m/m; `low` and `high` are heights.  `own` is the file's own grid where
    the heights were moved onto another.
    """

    question: Question
    rows: int
    columns: int
    cell: float
    area: float
    low: float
    high: float
    slope_shares: dict[str, float]
    hollows: list[Hollow]
    void_cells: int
    checked_by: str
    warnings: tuple[str, ...]
    own: OwnGrid | None = None


def survey(path: Path, words: RasterWords) -> Survey:
    """Say what a raster is: extent, units, slope, hollows, and what to beware of."""
    files = opened(path, words)
    terrain = ready(files.read(), conditioning(words, files))
    question, dem = Question(terrain, words), terrain.dem
    known = np.isfinite(dem.heights)
    slopes = terrain.slope[np.isfinite(terrain.slope)]
    bands = {"under 1 %": (0, .01), "1 to 5 %": (.01, .05), "5 to 10 %": (.05, .10),
             "10 to 15 %": (.10, .15), "over 15 %": (.15, np.inf)}
    shares = {name: float(((slopes >= low) & (slopes < high)).mean()) if slopes.size else 0.0
              for name, (low, high) in bands.items()}
    return Survey(question, *dem.shape, dem.cell, float(known.sum()) * dem.cell_area,
                  float(np.nanmin(dem.heights)), float(np.nanmax(dem.heights)), shares,
                  terrain.hollows, int((~known).sum()), _second_opinion(terrain),
                  tuple(_warnings(terrain)), files.moved_from)


def _second_opinion(terrain: Terrain) -> str:
    """Fill the hollows with the flow library too, and say whether the surfaces agree."""
    from terrain.surface.slope import filled_by_library

    other = filled_by_library(terrain.ground)
    known = np.isfinite(terrain.ground)
    differ = int((other[known] != terrain.filled[known]).sum())
    return ("Hollows were filled a second time by an independent library (richdem): the surfaces "
            "are the same, cell for cell." if not differ else
            "Hollows were filled a second time by an independent library (richdem): the surfaces "
            f"differ in {differ:,} cells, as they do where ground encloses holes in the raster.")


def _warnings(terrain: Terrain) -> list[str]:
    dem = terrain.dem
    said = of_voids(dem.notes)
    values = np.unique(dem.heights[np.isfinite(dem.heights)])
    if values.size < 2:
        said.append("All heights are equal: no water runs on such ground.")
    elif float(np.min(np.diff(values))) >= 0.5 and not any("terraced" in n for n in dem.notes):
        said.append("Heights come in steps of half a metre or more: contours and slopes will "
                    "show terraces that are not there.")
    deep = [h for h in terrain.hollows if h.depth > DEEP]
    if deep:
        said.append(f"Hollows deeper than {in_both(DEEP, 'length')}: {len(deep):,}. A pipe under a "
                    "road, a bridge or a pit may look like that. Go and look before you trust "
                    "the way of the water there.")
    return said
