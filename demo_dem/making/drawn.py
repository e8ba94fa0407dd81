"""Where things lie, drawn by hand on the ground that the seed gives."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float64]

SEED, RAIN_SEED = 12, 28
COLUMNS, ROWS = 640, 600                    # 1 m cells
EAST, NORTH = 512_180.0, 6_429_740.0        # lower left corner, UTM 34S [m]
PAD = 100                                   # worn with the rest, then cut off [m]
STEP = 2                                    # cell of the wearing [m]

CRS = "EPSG:32734"
VOID = -9999.0

# Drawn by hand on the ground that the seed gives, in metres east and north of the corner.
BOUNDARY = [(96, 158), (236, 131), (441, 137), (512, 246), (503, 397), (468, 499), (331, 507),
            (118, 484), (88, 330)]
ROAD = [(226, 606), (212, 570), (192, 540), (172, 508), (166, 480), (171, 452), (172, 425),
        (181, 395), (183, 371), (174, 352), (169, 338)]
DRIVE = [(169, 338), (160, 331), (151, 321), (146, 309)]
YARD = (180.0, 328.0, 40.0, 31.0, 33.0)      # middle, length, breadth [m], downhill towards [deg]
HOUSE = (177.0, 321.0, 20.0, 9.5)           # middle, length, breadth of the roof [m]
RIB = [(366, 404), (446, 414)]               # hard rock across the main gully
MITRE = (184.0, 387.0)                       # where the road lets its water go
ROAD_WIDTH, DRIVE_WIDTH = 4.0, 3.0
TREE_RIM, TREE_FALL = 1.5, 0.06              # a bowl's radius, and one's sill under the last's [m]

D8 = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]
