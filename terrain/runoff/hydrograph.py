"""When the runoff of a storm arrives: unit hydrograph over the rain excess."""

from __future__ import annotations

from functools import lru_cache

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
#: Peak rate factor of the tabulated hydrograph, in ft3/s, mi2, in and h.
STANDARD_PEAK_FACTOR = 484.0
#: The same factor of a hydrograph that encloses one unit of time and flow.
_UNIT_FACTOR = 5280.0**2 / 12 / 3600
#: Share of the water that may come after the last ordinate of a gamma hydrograph.
_TAIL = 1e-6


@lru_cache(maxsize=32)
def gamma_shape(peak_factor: float) -> float:
    """Exponent m of the gamma unit hydrograph q/qp = (x e^(1-x))^m with a peak rate factor. [-]

    Parameters
    ----------
    peak_factor : float
        In ft3/s, mi2, in and h: 484 is usual, 100 to 600 tabulated.

    Raises
    ------
    ValueError
        If it lies outside 100 to 600.

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook Part 630, ch. 16, 2007, gamma equation.
    """
    from scipy.optimize import brentq
    from scipy.special import gammaln

    if not 100 <= peak_factor <= 600:
        raise ValueError(f"peak rate factor {peak_factor:g} is outside 100 to 600")

    def too_peaked(m: float) -> float:
        enclosed = m + gammaln(m + 1) - (m + 1) * np.log(m)
        return float(np.log(_UNIT_FACTOR / peak_factor) - enclosed)
    return float(brentq(too_peaked, 0.05, 20.0, xtol=1e-12))


@lru_cache(maxsize=256)
def unit_shares(lag: float, step: float, peak_factor: float = STANDARD_PEAK_FACTOR
                ) -> NDArray[np.float64]:
    """Share of a step's excess that arrives in that step and in each one after; sums to 1.

    Parameters
    ----------
    lag : float
        Lag of the catchment; 0 sends all on at once. [h]
    step : float
        [h]
    peak_factor : float
        484 takes the tabulated hydrograph; another the gamma hydrograph of that factor.

    References
    ----------
    .. [1] NEH 630, ch. 16, 2007, Table 16-1; eq. 16-7: time to peak = step / 2 + lag.
    """
    if lag <= 0:
        return np.ones(1)
    peak = step / 2 + lag
    if peak_factor == STANDARD_PEAK_FACTOR:
        ends = np.arange(int(np.ceil(TIME_RATIO[-1] * peak / step)) + 1) * step
        arrived = np.interp(ends / peak, TIME_RATIO, _MASS) / _MASS[-1]
    else:
        from scipy.special import gammainc, gammaincinv

        m = gamma_shape(peak_factor)
        last = float(gammaincinv(m + 1, 1 - _TAIL)) / m
        ends = np.arange(int(np.ceil(last * peak / step)) + 1) * step
        arrived = gammainc(m + 1, m * ends / peak)
        arrived /= arrived[-1]
    shares: NDArray[np.float64] = np.diff(arrived)
    shares.flags.writeable = False
    return shares


def in_steps(cumulative: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is added in each step of a series that adds up from 0."""
    added = cumulative.copy()
    added[1:] -= cumulative[:-1]
    return added


def arriving(excess: NDArray[np.float64], lag: float, step: float,
             peak_factor: float = STANDARD_PEAK_FACTOR) -> NDArray[np.float64]:
    """Volume that arrives in each step; as long as the excess and its delay need.

    Parameters
    ----------
    excess : float64, shape (steps,)
        Runoff made in each step. [m3]
    lag, step : float
        [h]
    peak_factor : float
        See `unit_shares`.
    """
    return np.convolve(excess, unit_shares(lag, step, peak_factor))
