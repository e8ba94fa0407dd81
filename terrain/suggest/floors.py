"""What the ground under a floor allows: how deep water soaks away, and how near rock may lie."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely import intersects_xy

from terrain.inputs.site_keep_clear import DEEP
from terrain.suggest.cells import touched
from terrain.suggest.look import Look

#: Water is to soak away in so much of the time that it may take: the plan sums it in steps. [-]
WELL_WITHIN = 0.98


def soaked_depth(look: Look, rate: float, share: float = 1.0) -> float:
    """Depth of water that a floor takes in within the rule "standing water". [m]

    Parameters
    ----------
    rate : float
        [mm/h]
    share : float
        Of that time that it may take. [-]
    """
    return share * look.inputs.rules["standing water"] * rate / 1000


def near_rock(look: Look, body: Any, floor: float) -> bool:
    """Whether rock or wet ground lies too close below a floor, under all that a work opens.

    Parameters
    ----------
    body : shapely geometry
        All that it opens: so the plan looks at it. [m]
    floor : float
        Its level, taken for all of the body; infinite where nothing is dug. [m]
    """
    dem, keep = look.inputs.dem, look.inputs.rules["rock or wet ground below"]
    deep = [(thing.shape, thing.measure) for thing in look.inputs.ground.keep_clear
            if thing.kind in DEEP and thing.measure is not None]
    if not deep:
        return False
    under = touched(dem, body)
    x, y = dem.xy(under[:, 0], under[:, 1])
    heights = dem.heights[under[:, 0], under[:, 1]]
    for shape, below in deep:
        over = intersects_xy(shape.buffer(dem.cell), x, y)
        if over.any() and below - max(float(np.nanmax(heights[over])) - floor, 0.0) < keep:
            return True
    return False
