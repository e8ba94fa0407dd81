"""The ground in fewer, larger cells: what a screen shows of a large raster at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from terrain.inputs.dem import Dem
from terrain.outputs.drawing.base_map import MOST_CELLS, means


def thinned(dem: Dem, most: int = MOST_CELLS) -> Dem:
    """A raster with at most about `most` cells a side, each the mean of those in it.

    What is left over in the east and the south, less than a new cell, is left out.
    """
    step = max(int(np.ceil(max(dem.shape) / most)), 1)
    if step == 1:
        return dem
    heights = means(dem.heights, step)
    return replace(dem, heights=heights, cell=dem.cell * step, filled_holes=np.broadcast_to(
        np.False_, heights.shape))
