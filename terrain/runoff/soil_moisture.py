"""Curve numbers that follow the wetness of the soil day by day, as an account of its water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.surface.kernels import kernel


@dataclass(frozen=True)
class SoilMoisture:
    """What became of each day's rain on each class of ground; all of shape (days, classes). [mm]

    Attributes
    ----------
    runoff : ndarray
        Ran off.
    evaporated : ndarray
        Left the soil by evaporation and plants.
    drained : ndarray
        Went below, as the soil could hold no more.
    retention : ndarray
        Potential retention S, the room in the soil, at the start of the day.
    left : ndarray, shape (classes,)
        Retention at the end of the last day.
    """

    runoff: NDArray[np.float64]
    evaporated: NDArray[np.float64]
    drained: NDArray[np.float64]
    retention: NDArray[np.float64]
    left: NDArray[np.float64]


@kernel
def _days(rain: NDArray[np.float64], evapotranspiration: NDArray[np.float64],
          dry: NDArray[np.float64], wet: NDArray[np.float64], abstraction_ratio: float,
          depletion: float, room: NDArray[np.float64], runoff: NDArray[np.float64],
          evaporated: NDArray[np.float64], drained: NDArray[np.float64],
          retention: NDArray[np.float64]) -> None:
    """Fill the last four, day after day and class after class; `room` is carried along."""
    place = 0
    for day in range(rain.size):
        fallen = rain[day]
        for ground in range(dry.size):
            start = room[ground]
            ran_off = 0.0
            over = fallen - abstraction_ratio * start
            if over > 0:
                ran_off = over * (over / (over + start))
            dried = drainage = 0.0
            if dry[ground] > 0:
                dried = evapotranspiration[day] * np.exp(-depletion * start / dry[ground])
                end = start - (fallen - ran_off) + dried
                if end > dry[ground]:  # the soil gives up no more than it has
                    dried -= end - dry[ground]
                    end = dry[ground]
                elif end < wet[ground]:
                    drainage = wet[ground] - end
                    end = wet[ground]
                room[ground] = end
            runoff[place] = ran_off
            evaporated[place] = dried
            drained[place] = drainage
            retention[place] = start
            place += 1


def soil_moisture(rain: ArrayLike, evapotranspiration: ArrayLike, dry: ArrayLike,
                  average: ArrayLike, wet: ArrayLike, abstraction_ratio: float = 0.2,
                  depletion: float = 1.0) -> SoilMoisture:
    """Runoff of every day with retention that follows the water in the soil.

    Parameters
    ----------
    rain : (days,)
        Depth of each day, 0 or more. [mm]
    evapotranspiration : (days,)
        Reference evapotranspiration of each day, 0 or more. [mm]
    dry, average, wet : (classes,)
        Potential retention S of each class of ground when dry (antecedent runoff condition I),
        at the start of the first day, and when wet (condition III); dry >= average >= wet >= 0.
        A class of dry = 0 (water, or paving of curve number 100) sheds all its rain and holds
        none. [mm]
    abstraction_ratio : float
        Initial abstraction over S, the one that the retentions are for. [-]
    depletion : float
        How fast the soil gets slower to give up water as it dries, 0 or more; 0.5 to 2 in [1]_
        (from memory), 1 in its middle. [-]

    Returns
    -------
    moisture : SoilMoisture
        Of each class and day: rain = runoff + evaporated + drained + (retention at its start -
        retention at its end).

    Raises
    ------
    ValueError
        If a depth is negative or unknown, the retentions are not in order, or shapes differ.

    Notes
    -----
    The published step is ``S = S' + ET exp(-B S' / S_dry) - P + Q`` with S' the retention of the
    day before, P rain, Q runoff by the curve number of S', ET reference evapotranspiration and B
    `depletion`. Here S is read as the room in the soil. It never exceeds `dry`, so
    evapotranspiration stops at what the soil has; it never falls under `wet`, so what soaks in
    beyond it drains below. Water held on leaves and in puddles counts as the soil's.
    With B = 0 the soil gives up the whole reference until it is dry; with B without bound none.

    More rain on one day gives no less runoff that day; over a record this is sure only without
    evapotranspiration.

    References
    ----------
    .. [1] N. Kannan, C. Santhi, J. R. Williams & J. G. Arnold, "Development of a continuous soil
       moisture accounting procedure for curve number methodology and its behaviour with
       different evapotranspiration methods", Hydrological Processes 22, 2008, 2114-2121 (step
       and range of B from memory).
    .. [2] J. R. Williams, N. Kannan, X. Wang, C. Santhi & J. G. Arnold, "Evolution of the SCS
       runoff curve number method and its application to continuous runoff simulation", Journal
       of Hydrologic Engineering 17(11), 2012, 1221-1229 (from memory).
    """
    fallen = np.ascontiguousarray(rain, np.float64)
    reference = np.ascontiguousarray(evapotranspiration, np.float64)
    most, start, least = (np.array(given, np.float64) for given in (dry, average, wet))
    if fallen.ndim != 1 or reference.shape != fallen.shape:
        raise ValueError(f"rain of shape {fallen.shape} and evapotranspiration of shape "
                         f"{reference.shape} are not of the same days")
    if most.ndim != 1 or start.shape != most.shape or least.shape != most.shape:
        raise ValueError("dry, average and wet retention are not of the same classes")
    for name, depths in (("rain", fallen), ("evapotranspiration", reference)):
        bad = ~(np.isfinite(depths) & (depths >= 0))
        if bad.any():
            raise ValueError(f"{name} of {depths[bad][0]:g} mm is not a depth of 0 or more")
    disorder = ~((most >= start) & (start >= least) & (least >= 0) & np.isfinite(most))
    if disorder.any():
        at = int(np.argmax(disorder))
        raise ValueError(f"retentions of dry, average and wet ground of {most[at]:g}, "
                         f"{start[at]:g} and {least[at]:g} mm are not in order")
    if not (abstraction_ratio >= 0 and depletion >= 0):
        raise ValueError(f"abstraction ratio {abstraction_ratio:g} or depletion {depletion:g} is "
                         "below 0")
    shape = (fallen.size, most.size)
    runoff, evaporated, drained, retention = (np.empty(shape) for _ in range(4))
    _days(fallen, reference, most, least, float(abstraction_ratio), float(depletion), start,
          runoff.reshape(-1), evaporated.reshape(-1), drained.reshape(-1), retention.reshape(-1))
    return SoilMoisture(runoff, evaporated, drained, retention, start)
