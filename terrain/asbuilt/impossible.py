"""Levels that no digging explains: another unit, another zero, a slip of the pen."""

from __future__ import annotations

import numpy as np

from terrain.asbuilt.matching import Matched
from terrain.errors import InputError
from terrain.units import in_both

#: A level further from its design than this is no level of that work: banks and pits that the tool
#: plans are lower and shallower. [m]
FURTHEST = 10.0
#: Differences from the design that all lie so near their median are of one amount. [m]
ALIKE = 2.0
#: Levels are taken to be in another unit where they are so near that many times the design. [-]
NEAR = 0.01

OR_PEG = ", or correct the level of the benchmark or peg that they were read from"


def refuse_impossible(found: Matched) -> None:
    """Refuse a survey with a level that lies further off its design than any work is high or deep.

    Raises
    ------
    InputError
        At the first such point, with the slip that would explain it.
    """
    every = [(line, point) for line, points in found.lines for point in points]
    bad = [(line, point) for line, point in every if not abs(point.difference) <= FURTHEST]
    if not bad:
        return
    line, point = bad[0]
    way = "above" if point.difference > 0 else "below"
    differences = np.array([measured.difference for _, measured in every])
    ratio = np.median([measured.surveyed / measured.designed for _, measured in every
                       if measured.designed] or [np.nan])
    middle = float(np.median(differences))
    remedy = "Correct its level"
    own = point.surveyed / point.designed if point.designed else np.nan
    if abs(ratio * 0.3048 - 1) < NEAR:
        remedy = f"The levels look like feet: end the column's name in _ft{OR_PEG}"
    elif abs(ratio / 0.3048 - 1) < NEAR:
        remedy = f"The levels look like metres: end the column's name in _m{OR_PEG}"
    elif abs(middle) > FURTHEST and (np.abs(differences - middle) <= ALIKE).mean() > 0.8:
        remedy = (f"All lie about {in_both(abs(middle), 'level')} too "
                  f"{'high' if middle > 0 else 'low'}, as from another height datum or zero: give "
                  "levels on the raster's heights, or staff readings with one on the benchmark")
    elif abs(own * 0.3048 - 1) < NEAR:
        remedy = "It looks like feet among metres: correct it, or give it its unit"
    elif abs(own / 0.3048 - 1) < NEAR:
        remedy = "It looks like metres among feet: correct it, or give it its unit"
    raise InputError(point.point.place, f"its level, {in_both(point.surveyed, 'level')}, lies "
                     f"{in_both(abs(point.difference), 'level')} {way} that of {line.work}, "
                     f"{line.name}, and {in_both(FURTHEST, 'length', 0)} is the most", remedy)
