"""A hole, a bucket and a watch: from the sinking water of a test hole to the rate of a floor.

Water leaves a hole through its sides too.  With plan area A and perimeter P, and a soil that takes
water at k through floor and sides alike, A dh/dt = -k (A + P h), so

    k = (A / P) ln((h0 + A / P) / (h1 + A / P)) / t

and k is the rate of a flat floor.  In a round hole A / P is half the radius, which makes it the
inverted auger-hole formula of the reference.

References
----------
.. [1] Kessler & Oosterbaan, Determining hydraulic conductivity of soils, in Drainage Principles and
   Applications, ILRI Publication 16, Wageningen, 1974 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from terrain.inputs.hole_readings import Reading
from terrain.units import in_both, ordered

#: A drop smaller than this says little when a tape is read to 1 mm; common practice, no source.
#: [mm]
LEAST_DROP = 5.0
#: Rates that differ by no more than this share are the same.  Common practice, no source.
STEADY_WITHIN = 0.10
#: What the measured rate is divided by, as soil differs from spot to spot and silts up.  Common
#: practice, no source.
SAFETY = 2.0
#: Shortest and longest side of a hole that is taken for a test. [m]
SIDES = (0.02, 5.0)


class Interval(NamedTuple):
    """Two readings and the rate between them. [min], [mm], [mm/h]

    `clear` is whether the water sank by enough to tell, and was still there at the end.
    """

    filling: int
    start: float
    end: float
    depth_before: float
    depth_after: float
    rate: float
    clear: bool


@dataclass(frozen=True)
class Hole:
    """The plan of a hole with upright sides.

    Attributes
    ----------
    area, perimeter : float
        [m2], [m]
    words : str
    """

    area: float
    perimeter: float
    words: str

    @property
    def ratio(self) -> float:
        """Area over perimeter. [mm]"""
        return 1000 * self.area / self.perimeter


def round_hole(diameter: float) -> Hole:
    """A round hole of a diameter. [m]

    Raises
    ------
    ValueError
        If that is no hole dug to test.
    """
    _refuse_size(diameter)
    return Hole(math.pi * diameter**2 / 4, math.pi * diameter,
                f"a round hole {in_both(diameter, 'size')} across")


def pit(length: float, width: float) -> Hole:
    """A pit with a level rectangular floor. [m]

    Raises
    ------
    ValueError
        If that is no pit dug to test.
    """
    _refuse_size(length)
    _refuse_size(width)
    return Hole(length * width, 2 * (length + width),
                f"a pit {in_both(length, 'size')} by {in_both(width, 'size')}")


def _refuse_size(side: float) -> None:
    if not SIDES[0] <= side <= SIDES[1]:
        raise ValueError(f"{side:g} m across is not the size of a hole dug to test "
                         f"({SIDES[0]:g} to {SIDES[1]:g} m)")


def soak_rate(before: float, after: float, minutes: float, hole: Hole) -> float:
    """Rate of a flat floor from two depths of water in a hole. [mm/h]

    Parameters
    ----------
    before, after : float
        [mm]
    minutes : float
        Between them, above 0. [min]
    hole : Hole

    Returns
    -------
    rate : float
        Below 0 where the water rose.
    """
    ratio = hole.ratio
    return ratio * math.log((before + ratio) / (after + ratio)) / (minutes / 60)


@dataclass(frozen=True)
class HoleTest:
    """What a test says.

    Attributes
    ----------
    hole : Hole
    intervals : tuple of Interval
        Between each two readings of a filling.
    filling_rates : tuple of float
        Of each filling as a whole. [mm/h]
    measured : float
        Rate of the slower half of the last filling. [mm/h]
    safety : float
    steady : bool
        Neither within the last filling nor from the one before did the rate fall by more than
        `STEADY_WITHIN`, as far as is known.
    at_least : bool
        All water was gone when it was looked at, so that the rate may be more.
    cautions : tuple of str
    """

    hole: Hole
    intervals: tuple[Interval, ...]
    filling_rates: tuple[float, ...]
    measured: float
    safety: float
    steady: bool
    at_least: bool
    cautions: tuple[str, ...]

    @property
    def design(self) -> float:
        """Rate to count on. [mm/h]"""
        return self.measured / self.safety


def hole_test(fillings: Sequence[Sequence[Reading]], hole: Hole, safety: float = SAFETY
              ) -> HoleTest:
    """Reckon a percolation test.

    Parameters
    ----------
    fillings : sequence of sequences of Reading
        Each with rising times; at least one holds two readings.
    hole : Hole
    safety : float
        1 or more. [-]

    Raises
    ------
    ValueError
        If no filling has two readings, times do not rise, a depth is negative, or the safety
        factor is below 1.

    Notes
    -----
    The first fillings wet the soil, so the last one counts.  Its slower half does: one interval
    may be slow by a misread millimetre alone, half a filling hardly is, and soil that still takes
    less and less shows in the later half.  An interval that ends with the hole empty says only
    that the rate was at least so much, and is left out where there are others.
    """
    if not safety >= 1:
        raise ValueError(f"the safety factor {safety:g} is below 1")
    kept = [(number, list(filling)) for number, filling in enumerate(fillings, start=1)
            if len(filling) > 1]
    if not kept:
        raise ValueError("no filling has two readings")
    for _, filling in kept:
        _refuse_wrong(filling)
    intervals = tuple(_interval(number, a, b, hole) for number, filling in kept
                      for a, b in pairwise(filling) if a.depth > 0)
    wet = [_while_wet(filling) for _, filling in kept]
    rates = [max(_between(filling[0], filling[-1], hole), 0.0) for filling in wet]
    last = wet[-1]
    measured = max(min(_halves(last, hole)), 0.0)
    at_least = last[-1].depth == 0
    slowing = _slowing(last, hole)
    from_before = 1 - rates[-1] / rates[-2] if len(rates) > 1 and rates[-2] > 0 else 0.0
    told = len(last) > 2 or len(rates) > 1  # one interval says nothing of what comes after it
    steady = told and not at_least and max(slowing, from_before) <= STEADY_WITHIN
    cautions = [*_of_readings(fillings, kept, wet),
                *_of_rates(rates, slowing, from_before, steady, at_least)]
    return HoleTest(hole, intervals, tuple(rates), measured, safety, steady, at_least,
                    tuple(cautions))


def _refuse_wrong(filling: list[Reading]) -> None:
    for reading in filling:
        if not 0 <= reading.depth < math.inf:
            raise ValueError(f"a depth of {reading.depth:g} mm is not 0 or more")
    for before, after in pairwise(filling):
        if not after.minutes > before.minutes:
            raise ValueError(f"after {before.minutes:g} minutes comes {after.minutes:g}")
    if filling[0].depth == 0:
        raise ValueError("a filling starts without water")


def _between(before: Reading, after: Reading, hole: Hole) -> float:
    return soak_rate(before.depth, after.depth, after.minutes - before.minutes, hole)


def _interval(number: int, before: Reading, after: Reading, hole: Hole) -> Interval:
    clear = before.depth - after.depth >= LEAST_DROP and after.depth > 0
    return Interval(number, before.minutes, after.minutes, before.depth, after.depth,
                    _between(before, after, hole), clear)


def _while_wet(filling: list[Reading]) -> list[Reading]:
    """Readings up to the last with water; with the first without, where else one alone is left."""
    wet = [reading for reading in filling if reading.depth > 0]
    return wet if len(wet) > 1 else filling[:2]


def _halves(filling: list[Reading], hole: Hole) -> list[float]:
    """Rates of the two halves of a filling by its drop; of the whole where a half is too small."""
    first, last = filling[0], filling[-1]
    half = (first.depth + last.depth) / 2
    middle = min(filling, key=lambda reading: abs(reading.depth - half))
    if min(first.depth - middle.depth, middle.depth - last.depth) < LEAST_DROP:
        return [_between(first, last, hole)]
    return [_between(first, middle, hole), _between(middle, last, hole)]


def _slowing(filling: list[Reading], hole: Hole) -> float:
    """Share by which the later half of a filling is slower than the earlier."""
    halves = _halves(filling, hole)
    return 1 - halves[-1] / halves[0] if halves[0] > 0 else 0.0


def _of_readings(fillings: Sequence[Sequence[Reading]], kept: list[tuple[int, list[Reading]]],
                 wet: list[list[Reading]]) -> list[str]:
    """What is amiss with the readings themselves."""
    said = []
    lone = [str(n) for n, filling in enumerate(fillings, start=1) if len(filling) < 2]
    if lone:
        said.append(f"Filling {', '.join(lone)} has one reading only and was left out.")
    for number, filling in kept:
        rises = [(a, b) for a, b in pairwise(filling) if b.depth > a.depth]
        if rises:
            a, b = max(rises, key=lambda pair: pair[1].depth - pair[0].depth)
            said.append(f"The water rose from {_said(a.depth)} to {_said(b.depth)} in "
                        f"filling {number}: it was misread, or water ran in. If it rained or was "
                        "topped up, test again.")
        if filling[-1].depth == 0 and len(filling) > 2:
            said.append(f"Filling {number} ran dry before it was looked at again; when is not "
                        "known, so that its last interval was left out.")
    last = kept[-1][1]
    if len(last) < 3:
        said.append(f"The last filling has {len(last)} readings; three or more show whether the "
                    "rate still falls.")
    drop = wet[-1][0].depth - wet[-1][-1].depth
    if drop < 2 * LEAST_DROP:
        said.append(f"The water sank by {_said(max(drop, 0))} in the last filling, of which a tape "
                    f"read to {_said(1)} may miss {1 / drop if drop > 1 else 1:.0%}. Wait longer "
                    "between readings.")
    elif any(a.depth - b.depth < LEAST_DROP for a, b in pairwise(wet[-1])):
        said.append(f"In the last filling the water sank by less than {_said(LEAST_DROP)} between "
                    f"some readings, too little to tell a rate when a tape is read to {_said(1)}; "
                    "only halves of the filling were compared.")
    return said


def _said(depth: float) -> str:
    inches = depth / 25.4
    return ordered(f"{depth:.0f} mm", f"{round(inches, 2 if inches < 1 else 1):g} in")


def _of_rates(rates: list[float], slowing: float, from_before: float, steady: bool,
              at_least: bool) -> list[str]:
    """What is amiss with the rates."""
    said = []
    if at_least:
        said.append("The water was gone before it was looked at again, so the soil takes at least "
                    "this rate, and whether it still falls is not known. Read sooner.")
    elif max(slowing, from_before) > STEADY_WITHIN:
        over, share = (("from the filling before to the last", from_before)
                       if from_before >= slowing else ("within the last filling", slowing))
        said.append(f"The rate was still falling, by {share:.0%} {over}: the ground was not yet "
                    "wetted through, and this rate may be too high. Fill the hole again until two "
                    f"fillings agree within {STEADY_WITHIN:.0%}.")
    elif not steady:
        said.append("One interval alone does not tell whether the rate still falls: read more "
                    "often, or fill the hole again.")
    if len(rates) == 1:
        said.append("Only one filling was read. Unless the hole stood full for some hours before, "
                    "dry soil drank the water and the rate is too high: soak it and fill it again.")
    slowest = min(rates)
    if slowest < (1 - STEADY_WITHIN) * rates[-1]:
        said.append(f"An earlier filling was slower ({in_both(slowest, 'rate')} "
                    f"against {in_both(rates[-1], 'rate')}): a side may have caved in, or a burrow "
                    "or root channel opened. Look, and test again.")
    return said
