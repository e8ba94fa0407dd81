"""Green and Ampt's figures for each cell, for a flood whose rain soaks in on its way too.

References
----------
.. [1] USDA SCS, TR-55, 2nd ed., 1986, Appendix A (from memory): textures of the soil groups.
.. [2] Rawls, Brakensiek & Miller, J. Hydraul. Eng. 109 (1983), 62-70, for each texture.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.storm_flow import GreenAmptLoss
from terrain.runoff.green_ampt import texture_named
from terrain.runoff.ground import Ground

#: Textures of the soil groups A to D, of those that [1] names the one named last or next to it.
OF_GROUP = ("sandy loam", "loam", "sandy clay loam", "clay loam")
#: Share of the pores that holds water before the storm; common practice, no source. [-]
WET = 0.5
#: Families of cover that let nothing soak in.
SEALED = ("roof or paving", "paved road", "gravel road", "open water")
#: Ground that takes all that falls on it. [mm/h]
ALL = 1e6


def soaking(ground: Ground, takes_all: NDArray[np.bool_]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Suction times empty pores, and conductivity, of each cell of a raster. [mm], [mm/h]

    Parameters
    ----------
    ground : Ground
        Its soil groups choose the texture; unknown ones count as D.
    takes_all : bool, shape (rows, columns)
        Roofs of tanks, whose rain comes to the ground otherwise.
    """
    kinds = [texture_named(name) for name in OF_GROUP]
    group = np.where((ground.soil >= 0) & (ground.soil < len(kinds)), ground.soil, len(kinds) - 1)
    deficit = np.array([kind.suction_deficit(WET) for kind in kinds])[group]
    rate = np.array([kind.conductivity for kind in kinds])[group]
    sealed = np.isin(ground.cover, [i for i, name in enumerate(ground.classes)
                                    if name.partition(",")[0] in SEALED])
    return (np.where(sealed | takes_all, 0.0, deficit),
            np.where(takes_all, ALL, np.where(sealed, 0.0, rate)))


def in_stores(soils: GreenAmptLoss, stores: NDArray[np.bool_]) -> GreenAmptLoss:
    """The same with nothing soaking in under the water of stores, whose beds have their own
    rates."""
    return GreenAmptLoss(np.where(stores, 0.0, soils.suction_deficit),
                         np.where(stores, 0.0, soils.conductivity))
