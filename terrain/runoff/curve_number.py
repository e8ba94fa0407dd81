"""Direct runoff from a storm by the curve-number method."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def potential_retention(curve_number: ArrayLike) -> NDArray[np.float64]:
    """Potential maximum retention S after runoff begins. [mm]

    Raises
    ------
    ValueError
        If a curve number lies outside (0, 100].
    """
    cn = np.asarray(curve_number, dtype=np.float64)
    bad = (cn <= 0) | (cn > 100)
    if bad.any():
        raise ValueError(f"curve number {cn[bad].flat[0]:g} is outside 0 to 100")
    return 25.4 * (1000.0 / cn - 10.0)


def runoff_depth(rain: ArrayLike, curve_number: ArrayLike,
                 abstraction_ratio: float = 0.2) -> NDArray[np.float64]:
    """Depth of direct runoff from one storm. [mm]

    Parameters
    ----------
    rain : broadcasts with `curve_number`
        Storm depth, 0 or more. [mm]
    curve_number : any shape, e.g. (rows, columns)
        For the same abstraction ratio; NaN where unknown. [-]
    abstraction_ratio : float
        Initial abstraction over S; no runoff below it. TR-55: 0.2. [-]

    Returns
    -------
    runoff : broadcast shape
        NaN where the curve number is unknown. [mm]

    Raises
    ------
    ValueError
        If rain is negative or a curve number lies outside (0, 100].

    Notes
    -----
    For a whole storm: within one, apply to cumulative rain and difference.
    Sum over cells; a mean curve number misses most in small storms.

    Examples
    --------
    >>> round(float(runoff_depth(152.4, 70)), 1)   # 6 in on CN 70
    71.3

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 2-1 to 2-4 (in inches).
    """
    depth = np.asarray(rain, dtype=np.float64)
    if (depth < 0).any():
        raise ValueError(f"storm depth {np.nanmin(depth):g} mm is below 0")
    retention = potential_retention(curve_number)
    excess = np.maximum(depth - abstraction_ratio * retention, 0.0)
    return np.divide(excess**2, excess + retention,
                     out=np.zeros_like(excess), where=excess != 0)
