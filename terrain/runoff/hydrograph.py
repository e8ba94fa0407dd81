"""When the runoff of a storm arrives: unit hydrograph over the rain excess."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Dimensionless unit hydrograph: time over time to peak, flow over peak flow.
#: Source: USDA NRCS, National Engineering Handbook Part 630, ch. 16, 2007, Table 16-1.
TIME_RATIO = np.array([0, .1, .2, .3, .4, .5, .6, .7, .8, .9, 1, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7,
                       1.8, 1.9, 2, 2.2, 2.4, 2.6, 2.8, 3, 3.2, 3.4, 3.6, 3.8, 4, 4.5, 5])
FLOW_RATIO = np.array([0, .03, .1, .19, .31, .47, .66, .82, .93, .99, 1, .99, .93, .86, .78, .68,
                       .56, .46, .39, .33, .28, .207, .147, .107, .077, .055, .04, .029, .021,
                       .015, .011, .005, 0])
_MASS = np.concatenate([[0.0], np.cumsum(np.diff(TIME_RATIO)
                                         * (FLOW_RATIO[1:] + FLOW_RATIO[:-1]) / 2)])


def unit_shares(lag: float, step: float) -> NDArray[np.float64]:
    """Share of a step's excess that arrives in that step and in each one after; sums to 1.

    Parameters
    ----------
    lag : float
        Lag of the catchment; 0 sends all on at once. [h]
    step : float
        [h]

    References
    ----------
    .. [1] NEH 630, ch. 16, 2007, eq. 16-7: time to peak = step / 2 + lag.
    """
    if lag <= 0:
        return np.ones(1)
    peak = step / 2 + lag
    ends = np.arange(int(np.ceil(TIME_RATIO[-1] * peak / step)) + 1) * step
    arrived = np.interp(ends / peak, TIME_RATIO, _MASS) / _MASS[-1]
    return np.diff(arrived)


def arriving(excess: NDArray[np.float64], lag: float, step: float) -> NDArray[np.float64]:
    """Volume that arrives in each step; as long as the excess and its delay need.

    Parameters
    ----------
    excess : float64, shape (steps,)
        Runoff made in each step. [m3]
    lag, step : float
        [h]
    """
    return np.convolve(excess, unit_shares(lag, step))
