"""Even slopes as rasters."""

from __future__ import annotations

import math

import numpy as np

from terrain.inputs.dem import Dem
from terrain.inputs.frame import Frame


def plane(slope: float, bearing: float = 180.0, cell: float = 1.0, size: int = 60) -> Dem:
    """Ground that falls towards a bearing, 100 m high in its middle at (size/2, size/2)."""
    middle = (np.arange(size) + 0.5) * cell - size * cell / 2
    east, north = np.meshgrid(middle, -middle)
    turn = math.radians(bearing)
    heights = 100 - slope * (east * math.sin(turn) + north * math.cos(turn))
    return Dem(heights.astype(np.float32), 0.0, size * cell, cell, Frame(None, None, 1.0),
               "plane.tif")
