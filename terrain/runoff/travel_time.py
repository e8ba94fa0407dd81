"""How long water takes to arrive."""

from __future__ import annotations


def lag_hours(longest_path: float, curve_number: float, slope: float) -> float:
    """Watershed lag: from the middle of the rain excess to the peak of the runoff. [h]

    Parameters
    ----------
    longest_path : float
        Length of the longest flow path. [m]
    curve_number : float
        Mean of the catchment, 50 to 95 in the data behind the equation. [-]
    slope : float
        Mean slope of the ground in the catchment. [m/m]

    Raises
    ------
    ValueError
        If length or slope is not above 0, or the curve number lies outside (0, 100].

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook Part 630, ch. 15, 2010, eq. 15-4a (in feet,
       inches and percent; after Mockus 1961).
    """
    if not 0 < curve_number <= 100:
        raise ValueError(f"curve number {curve_number:g} is outside 0 to 100")
    if longest_path <= 0 or slope <= 0:
        raise ValueError("the path's length and slope must be above 0")
    retention_in = 1000.0 / curve_number - 10.0
    return float((longest_path / 0.3048) ** 0.8 * (retention_in + 1.0) ** 0.7
                 / (1900.0 * (100.0 * slope) ** 0.5))
