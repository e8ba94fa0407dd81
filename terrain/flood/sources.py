"""Rain that falls on the cells and water that soaks in, in whole units of depth.

Cells of the same loss and bed make a class.  What falls or may soak in by a time is known for a
class as a number; what of it is not yet a whole unit waits until it is.  So no rain is rounded
away, however short the steps.

References
----------
.. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 2-1 to 2-4, applied to the rain fallen by a time.
.. [2] Chow, Maidment & Mays, Applied Hydrology, 1988, section 4.3 (Green and Ampt).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.flood.local_inertia import PIECE
from terrain.runoff.curve_number import runoff_from_retention
from terrain.runoff.green_ampt import ponded_gain
from terrain.surface.kernels import kernel

FloatArray = NDArray[np.float64]
INT = np.int32


@dataclass(frozen=True)
class CurveNumberLoss:
    """What rain loses where it falls, by the curve number.

    Attributes
    ----------
    retention : number or float64, shape (rows, columns)
        S; see `RunoffRule.retention`. [mm]
    abstraction_ratio : float
        Initial abstraction over S. [-]
    """

    retention: ArrayLike
    abstraction_ratio: float = 0.2


@dataclass(frozen=True)
class GreenAmptLoss:
    """What soaks into bare soil by Green and Ampt, from rain and from water that stands.

    Attributes
    ----------
    suction_deficit : number or float64, shape (rows, columns)
        Suction times the pore space that is empty; see `Texture.suction_deficit`. [mm]
    conductivity : number or float64, shape (rows, columns)
        [mm/h]
    """

    suction_deficit: ArrayLike
    conductivity: ArrayLike


Loss = CurveNumberLoss | GreenAmptLoss


@dataclass
class Sources:
    """Rain and losses of a run; arrays are flat and walled as the kernels want them.

    Attributes
    ----------
    times, depths : float64, shape (n,)
        Rain fallen by each time, straight between. [s], [mm]
    unit : float
        [m]
    kinds : int32, shape (cells,)
        Class of each cell; 0 are walls, where nothing falls or soaks in.
    retention, soak : float64, shape (classes,)
        [mm], [mm/h]
    ratio : float
        Initial abstraction over S.
    counts : int64, shape (classes,)
        Cells of each.
    suction, conductivity : float64, shape (cells,) or (1,)
        Of Green and Ampt, else empty. [mm], [mm/h]
    """

    times: FloatArray
    depths: FloatArray
    unit: float
    kinds: NDArray[np.int32]
    retention: FloatArray
    soak: FloatArray
    ratio: float
    counts: NDArray[np.int64]
    suction: FloatArray
    conductivity: FloatArray
    infiltrated: FloatArray = field(init=False)
    owed: FloatArray = field(init=False)
    soaked: NDArray[Any] = field(init=False)
    given: NDArray[np.int64] = field(init=False)
    taken: NDArray[np.int64] = field(init=False)
    time: float = 0.0

    def __post_init__(self) -> None:
        self.infiltrated = np.zeros(self.suction.size)
        self.owed = np.zeros(self.suction.size)
        self.soaks = bool(self.suction.size or self.soak.any())
        self.soaked = np.zeros(self.kinds.size if self.soaks else 1, np.int32)
        self.given = np.zeros(self.counts.size, np.int64)
        self.taken = np.zeros(self.counts.size, np.int64)

    def fallen(self, time: float) -> float:
        """Rain fallen by a time. [mm]"""
        return float(np.interp(time, self.times, self.depths))

    def excess(self, time: float) -> FloatArray:
        """What of it each class has not lost to its curve number. [m]"""
        made = runoff_from_retention(self.fallen(time), self.retention, self.ratio) / 1000.0
        made[0] = 0.0
        return made

    def until(self, time: float) -> tuple[NDArray[np.int32], NDArray[np.int32], float]:
        """Units that each class gets, and may lose at most, since the last call; hours between."""
        given = np.floor(self.excess(time) / self.unit).astype(np.int64)
        taken = np.floor(self.soak / 3.6e6 * time / self.unit).astype(np.int64)
        add, cap = (given - self.given).astype(INT), (taken - self.taken).astype(INT)
        hours = (time - self.time) / 3600.0
        self.given, self.taken, self.time = given, taken, time
        return add, cap, hours

    def film(self) -> float:
        """Depth summed over cells that fell but makes no whole unit yet. [m]"""
        return float(self.counts @ (self.excess(self.time) - self.given * self.unit))


@kernel
def fall_and_soak(h: NDArray[np.int32], w: int, first: int, last: int, kinds: NDArray[np.int32],
                  add: NDArray[np.int32], cap: NDArray[np.int32], unit: float, hours: float,
                  suction: NDArray[np.float64], conductivity: NDArray[np.float64],
                  infiltrated: NDArray[np.float64], owed: NDArray[np.float64],
                  soaked: NDArray[np.int32], stirred: NDArray[np.uint8]) -> int:
    """Rain on rows first to last, and what soaks in of the water then there; units soaked in.

    Pieces of rows where a depth changes are marked in `stirred`.
    """
    pieces = (w - 3 + PIECE) // PIECE
    thickness = unit * 1000.0  # of a unit, in mm
    lost = np.int64(0)
    for row in range(first, last):
        for j in range(1, w - 1):
            c = row * w + j
            kind = kinds[c]
            had = h[c]
            has = INT(had + add[kind])
            here = np.int64(0)
            if has > 0:
                if suction.size:
                    gain = (ponded_gain(infiltrated[c], suction[c], conductivity[c], hours)
                            / thickness + owed[c])
                    here = min(np.int64(gain), np.int64(has))
                    owed[c] = gain - here if here < has else 0.0
                    infiltrated[c] += here * thickness
                here = min(here + cap[kind], np.int64(has))
                if here > 0:
                    has = INT(has - here)
                    soaked[c] = INT(soaked[c] + here)
                    lost += here
            if has != had:
                h[c] = has
                stirred[(row - 1) * pieces + (j - 1) // PIECE] = 1
    return int(lost)
