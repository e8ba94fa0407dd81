"""Where a road should let its water go: turn-outs and water bars by its grade and soil."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

#: A road's grade is taken over this length, for one cell's height may be off; common practice, no
#: source. [m]
GRADE_OVER = 20.0
#: Grades flatter than this are reckoned as it: nothing runs along them; common practice, no source.
LEAST_GRADE = 0.001


@lru_cache(maxsize=1)
def _spacings() -> dict[str, list[tuple[float, float, float]]]:
    text = resources.files("terrain.works").joinpath("road_spacing.csv").read_text("utf-8")
    found: dict[str, list[tuple[float, float, float]]] = {}
    for row in csv.DictReader(line for line in text.splitlines() if not line.startswith("#")):
        found.setdefault(row["kind"], []).append(
            (float(row["grade_to"] or "inf") / 100, float(row["resistant"]),
             float(row["erodible"])))
    return found


def road_spacing(kind: str, grade: float, erodible: bool) -> float:
    """Greatest distance between two cross-drains or water bars along a road. [m]

    Parameters
    ----------
    kind : {"cross-drain", "water bar"}
        Turn-outs stand as close as cross-drains.
    grade : float
        Of the road; its sign does not count. [m/m]
    erodible : bool
        Whether its soil is easily eroded.

    Raises
    ------
    KeyError
        If the kind is none of the two.

    Notes
    -----
    The table's classes are whole percents; a grade between two of them is of the steeper one, and
    grades beyond the last are of the last.

    References
    ----------
    .. [1] Low-Volume Roads Engineering, Best Management Practices Field Guide, US Forest Service
       and USAID, 2003, Tables 7.1 and 7.2.
    """
    rows = _spacings()[kind]
    _, resistant, soft = next((row for row in rows if abs(grade) <= row[0] + 1e-9), rows[-1])
    return soft if erodible else resistant


def steepest_told(kind: str) -> float:
    """The steepest grade that the table of spacings tells of; endless where its last row is open.

    Parameters
    ----------
    kind : {"cross-drain", "water bar"}
    """
    return _spacings()[kind][-1][0]


@dataclass(frozen=True)
class RoadOutlet:
    """A place where a road should let its water go.

    Attributes
    ----------
    chainage : float
        Along the road's line as it was drawn. [m]
    start, end : float
        The stretch of road whose water comes to it. [m]
    grade : float
        Mean of the stretch, as a fall towards the outlet. [m/m]
    spacing : float
        The table's, at the grade of the road just above it. [m]
    foot : bool
        Whether the road comes lowest there: a dip, or where its line ends.
    """

    chainage: float
    start: float
    end: float
    grade: float
    spacing: float
    foot: bool


def road_outlets(distance: NDArray[np.float64], height: NDArray[np.float64], erodible: bool,
                 tolerance: float) -> list[RoadOutlet]:
    """Where along a road's profile its water should be let go.

    From each crest down to the next foot as many places are due as the way, each part of it over
    the table's spacing at its grade, sums up to; they share it evenly, the last at the foot.

    Parameters
    ----------
    distance : float64, shape (n,)
        Along the road, evenly spaced. [m]
    height : float64, shape (n,)
        Ground along it. [m]
    erodible : bool
    tolerance : float
        Rises and dips of the profile of less than this are taken for roughness. [m]

    Returns
    -------
    outlets : list of RoadOutlet
        In the order of their chainage.
    """
    if distance.size < 2:
        return []
    from scipy.ndimage import uniform_filter1d
    from scipy.signal import find_peaks

    step = float(distance[1] - distance[0])
    half = min(int(GRADE_OVER / step / 2), distance.size - 1)
    # Carried on beyond its ends as it came, so that a straight grade stays straight.
    wide = np.pad(height, half, mode="reflect", reflect_type="odd")
    soft = uniform_filter1d(wide, 2 * half + 1)[half:half + height.size]
    crests, dips = (find_peaks(np.pad(sign * soft, 1, constant_values=-np.inf),
                               prominence=tolerance)[0] - 1 for sign in (1, -1))
    turns = sorted({0, distance.size - 1, *(int(i) for i in crests), *(int(i) for i in dips)})
    found: list[RoadOutlet] = []
    for first, last in pairwise(turns):
        down = np.arange(first, last + 1)
        if soft[last] > soft[first]:
            down = down[::-1]
        found += _down(distance, soft, down, erodible)
    return _joined(sorted(found, key=lambda outlet: outlet.chainage))


def _down(distance: NDArray[np.float64], height: NDArray[np.float64], down: NDArray[np.int64],
          erodible: bool) -> list[RoadOutlet]:
    """Outlets of one stretch that falls in the order of `down`, its foot included."""
    runs = abs(np.diff(distance[down]))
    grades = np.maximum(-np.diff(height[down]) / runs, LEAST_GRADE)
    spacings = np.array([road_spacing("cross-drain", grade, erodible) for grade in grades])
    due = np.cumsum(runs / spacings)
    count = int(np.ceil(due[-1] - 1e-9))
    found, since = [], 0
    for number in range(1, count + 1):
        at = int(np.searchsorted(due, due[-1] * number / count - 1e-9)) + 1
        start, end = sorted((float(distance[down[since]]), float(distance[down[at]])))
        fall = float(height[down[since]] - height[down[at]])
        found.append(RoadOutlet(float(distance[down[at]]), start, end,
                                max(fall, 0.0) / (end - start), float(spacings[at - 1]),
                                number == count))
        since = at
    return found


def _joined(outlets: list[RoadOutlet]) -> list[RoadOutlet]:
    """The same with the two that meet at a low point made one."""
    found: list[RoadOutlet] = []
    for outlet in outlets:
        if found and abs(found[-1].chainage - outlet.chainage) < 1e-9:
            other = found.pop()
            outlet = RoadOutlet(outlet.chainage, min(other.start, outlet.start),
                                max(other.end, outlet.end), max(other.grade, outlet.grade),
                                min(other.spacing, outlet.spacing), True)
        found.append(outlet)
    return found
